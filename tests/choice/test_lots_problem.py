"""Lots against every grouping of small cases, closed forms of the p-median and of the graph of neighbours.

The brute force is written apart from the package, from the words of the rules. Sites are invented.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.choice.lots.assign import assign
from planner.choice.lots.bases import clusters, kept, p_median
from planner.choice.lots.exact import relaxed, solve
from planner.choice.lots.graph import middle_degrees, neighbours, parts, plane_m
from planner.choice.lots.problem import Problem, broken, cost_km, excess
from planner.choice.lots.search import search

# Brute force --------------------------------------------------------------------------------------------------


def hangs_together(members: list[int], around: tuple[tuple[int, ...], ...]) -> bool:
    reached = {members[0]}
    while True:
        more = {site for site in members if site not in reached and reached & set(around[site])}
        if not more:
            return len(reached) == len(members)
        reached |= more


def every_grouping(problem: Problem) -> list[tuple[int, float]]:
    """(excess, cost) of every grouping that keeps the rules that must be kept, best first."""
    sites, lots = problem.distance_km.shape
    found = []
    for lot in itertools.product(range(lots), repeat=sites):
        groups = [[site for site in range(sites) if lot[site] == one] for one in range(lots)]
        worth = [sum(int(problem.value[site]) for site in members) for members in groups]
        if not all(groups) or not all(hangs_together(members, problem.around) for members in groups):
            continue
        if problem.value_max is not None and max(worth) > problem.value_max:
            continue
        if problem.sites_max is not None and max(len(members) for members in groups) > problem.sites_max:
            continue
        if problem.reach is not None and not all(problem.reach[site, one] for site, one in enumerate(lot)):
            continue
        outside = max(max(one - problem.high, problem.low - one, 0) for one in worth)
        types = sum(len({int(problem.kind[site]) for site in members}) for members in groups)
        driven = sum(float(problem.distance_km[site, one]) for site, one in enumerate(lot))
        found.append((outside, driven + problem.kind_km * types))
    return sorted(found)


def invented(number: int, sites: int | None = None, lots: int | None = None) -> Problem:
    draw = np.random.default_rng(number)
    sites = sites or int(draw.integers(3, 9))
    lots = lots or int(draw.integers(2, 4))
    xy = draw.random((sites, 2)) * 50_000
    places = xy[draw.choice(sites, lots, replace=False)] + draw.normal(0, 4_000, (lots, 2))
    distance = np.hypot(*(xy[:, None] - places[None]).transpose(2, 0, 1)) / 1000
    value = draw.integers(1, [4, 50, 100_000][number % 3], sites, endpoint=True)
    mean, tolerance = value.sum() / lots, [0.1, 0.3, 0.0][number // 3 % 3]
    return Problem(
        distance,
        value,
        draw.integers(0, 3, sites),
        [0.0, 5.0, 40.0][number // 9 % 3],
        neighbours(xy),
        min(math.ceil(mean * (1 - tolerance)), int(mean)),
        max(math.floor(mean * (1 + tolerance)), math.ceil(mean)),
        value_max=int(value.sum() * 0.6) if number % 4 == 1 else None,
        sites_max=-(-sites // lots) + 1 if number % 5 == 1 else None,
        reach=distance <= 35.0 if number % 6 == 1 else None,
    )


@pytest.mark.parametrize("number", range(54))
def test_the_exact_lots_are_the_best_of_all_groupings(number: int) -> None:
    problem = invented(number)
    best = every_grouping(problem)
    found = solve(problem)
    assert found.impossible == (not best)
    if not best:
        assert assign(problem) is None
        return
    assert found.answer is not None
    assert found.answer.optimal
    assert not broken(problem, found.answer.lot)
    assert (found.answer.excess, found.answer.cost_km) == (best[0][0], pytest.approx(best[0][1], rel=1e-6))
    assigned = assign(problem)
    assert assigned is not None
    assert (assigned.excess, assigned.cost_km) == (best[0][0], pytest.approx(best[0][1], rel=1e-6))
    assert assigned.gap == 0.0


def test_the_cases_reach_what_they_should() -> None:
    answers = [solve(invented(number)) for number in range(54)]
    assert sum(one.impossible for one in answers) >= 2
    assert sum(one.answer is not None and one.answer.excess > 0 for one in answers) >= 10
    assert sum(one.answer is not None and one.answer.excess == 0 for one in answers) >= 10


@pytest.mark.parametrize("number", range(27))
def test_the_search_is_never_better_and_its_bound_holds(number: int) -> None:
    problem = invented(number)
    best = every_grouping(problem)
    found = search(problem)
    assert np.bincount(found.lot, minlength=problem.lots).min() >= 1
    assert "connected" not in broken(problem, found.lot)
    if broken(problem, found.lot) or not best:
        return
    assert (found.excess, found.cost_km) >= (best[0][0], best[0][1] * (1 - 1e-9))
    cheapest = min(cost for outside, cost in best if outside <= found.excess)
    assert found.bound_km <= cheapest * (1 + 1e-6) + 1e-6
    assert relaxed(problem, found.excess)[0] <= cheapest * (1 + 1e-6) + 1e-6


def test_a_lot_never_reaches_over_another() -> None:
    # Five sites on a line, the dear ones at its ends: balanced in value only if the ends were one lot.
    xy = np.column_stack([np.arange(5) * 1000.0, np.zeros(5)])
    distance = np.abs(np.arange(5)[:, None] - np.array([0, 2])[None, :]).astype("float64")
    problem = Problem(distance, np.array([5, 3, 4, 3, 5]), np.zeros(5, dtype=np.intp), 0.0, neighbours(xy), 10, 10)
    found = assign(problem)
    assert found is not None
    assert sorted(np.bincount(found.lot).tolist()) == [2, 3]
    assert found.excess == 2  # 8 and 12, closed form: cuts of a line give 5|15, 8|12, 12|8, 15|5
    assert not broken(problem, found.lot)


def test_pump_types_draw_lots_together() -> None:
    # Two rows of two sites, 1 km apart each way; bases lie west and east. Types: northern row 0, southern row 1.
    xy = np.array([[0.0, 1000.0], [1100.0, 1000.0], [0.0, 0.0], [1100.0, 0.0]])
    distance = np.array([[1.0, 2.0], [2.0, 1.0], [1.0, 2.0], [2.0, 1.0]])
    problem = Problem(distance, np.full(4, 10), np.array([0, 0, 1, 1]), 0.0, neighbours(xy), 20, 20)
    apart = assign(problem)
    assert apart is not None
    assert apart.cost_km == 4.0  # west and east: each site 1 km
    together = assign(replace(problem, kind_km=1.5))
    assert together is not None
    assert together.lot[0] == together.lot[1] != together.lot[2] == together.lot[3]
    assert together.cost_km == 6.0 + 1.5 * 2  # closed form; west and east would cost 4 + 1.5 × 4


def test_cost_and_excess_by_hand() -> None:
    problem = Problem(
        np.array([[1.0, 9.0], [2.0, 9.0], [9.0, 4.0]]),
        np.array([10, 20, 50]),
        np.array([0, 1, 1]),
        10.0,
        ((1,), (0, 2), (1,)),
        35,
        45,
    )
    lot = np.array([0, 0, 1])
    assert cost_km(problem, lot) == 1 + 2 + 4 + 10 * 3
    assert excess(problem, lot) == 5
    assert broken(problem, np.array([0, 1, 0])) == ["connected"]
    assert broken(problem, np.array([0, 0, 0])) == ["sites"]


@pytest.mark.parametrize(("sites", "lots"), [(150, 5), (400, 12)])
def test_many_sites(sites: int, lots: int) -> None:
    problem = invented(4, sites, lots)  # values to 50, tolerance 0.3
    found = assign(replace(problem, value_max=None, sites_max=None, reach=None))
    assert found is not None
    assert found.method == "search"
    assert not broken(problem, found.lot)
    assert found.excess == 0
    assert found.gap is not None
    again = assign(replace(problem, value_max=None, sites_max=None, reach=None))
    assert again is not None
    assert np.array_equal(again.lot, found.lot)


# p-median -----------------------------------------------------------------------------------------------------


def line(places: list[float]) -> np.ndarray:
    at = np.array(places)
    return np.abs(at[:, None] - at[None, :])


@pytest.mark.parametrize(
    ("places", "count", "chosen", "cost"),
    [
        ([0, 1, 2, 3, 10], 1, [2], 12.0),  # closed form: the median of a line
        ([0, 1, 2, 10, 11, 12], 2, [1, 4], 4.0),  # the middles of two equal groups
        ([0, 1, 2, 10, 11, 12, 30], 3, [1, 4, 6], 4.0),
        ([0, 5], 2, [0, 1], 0.0),
    ],
)
def test_the_median_of_a_line(places: list[float], count: int, chosen: list[int], cost: float) -> None:
    found = p_median(line(places), count)
    assert found is not None
    assert (found.places.tolist(), found.cost, found.optimal) == (chosen, pytest.approx(cost), True)


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_the_median_is_the_best_of_all_choices(number: int) -> None:
    draw = np.random.default_rng(number)
    distance = draw.random((int(draw.integers(2, 10)), int(draw.integers(2, 8))))
    count = int(draw.integers(1, distance.shape[1] + 1))
    radius = float(draw.choice([2.0, 0.6]))
    costs = [
        float(part.min(axis=1).sum())
        for chosen in itertools.combinations(range(distance.shape[1]), count)
        for part in [distance[:, list(chosen)]]
        if part.min(axis=1).max() <= radius
    ]
    found = p_median(distance, count, radius)
    assert (found is None) == (not costs)
    if found is not None:
        assert found.cost == pytest.approx(min(costs))
        assert len(kept(distance, count)) == count


def test_clusters_of_a_line_are_its_groups() -> None:
    xy = np.array([[at, 0.0] for at in (0, 1, 2, 100, 101, 102, 300, 301, 302)], dtype="float64")
    assert clusters(xy, 3).tolist() == [1, 4, 7]


# Neighbours ---------------------------------------------------------------------------------------------------


def by_definition(xy: np.ndarray) -> set[tuple[int, int]]:
    """Gabriel graph, word by word: no third point in the circle."""
    found = set()
    for one, other in itertools.combinations(range(len(xy)), 2):
        middle, half = (xy[one] + xy[other]) / 2, np.linalg.norm(xy[one] - xy[other]) / 2
        others = [place for place in range(len(xy)) if place not in (one, other)]
        if all(np.linalg.norm(xy[place] - middle) > half for place in others):
            found.add((one, other))
    return found


@given(st.integers(0, 10_000), st.integers(2, 25))
@settings(max_examples=40, deadline=None)
def test_neighbours_are_those_of_the_definition_and_reach_all(number: int, sites: int) -> None:
    xy = np.random.default_rng(number).random((sites, 2)) * 100_000
    around = neighbours(xy)
    assert {(one, other) for one, near in enumerate(around) for other in near if one < other} == by_definition(xy)
    assert len(parts(around, range(sites))) == 1


@pytest.mark.parametrize(
    "xy",
    [
        np.zeros((0, 2)),
        np.zeros((1, 2)),
        np.zeros((4, 2)),
        np.array([[0, 0], [3000, 0], [1000, 0], [2000, 0]]),
        np.array([[0, 0], [0, 2000], [0, 1000]]),
        np.array([[0, 0], [0, 0.2], [5000, 5000], [5000, 0]]),
        np.stack(np.meshgrid(np.arange(5) * 500.0, np.arange(4) * 500.0), axis=-1).reshape(-1, 2),
    ],
)
def test_sites_on_one_place_on_a_line_or_on_a_lattice_hang_together(xy: np.ndarray) -> None:
    around = neighbours(xy.astype("float64"))
    assert len(parts(around, range(len(xy)))) == min(1, len(xy))
    assert all(site in around[other] for site, near in enumerate(around) for other in near)


def test_a_line_is_a_chain() -> None:
    xy = np.array([[0.0, 0.0], [3000.0, 0.0], [1000.0, 0.0], [2000.0, 0.0]])
    assert neighbours(xy) == ((2,), (3,), (0, 3), (1, 2))


def test_the_plane_has_its_middle_among_the_sites_and_true_distances() -> None:
    from pyproj import Geod

    latitude, longitude = np.array([-10.0, -10.4]), np.array([179.8, -179.9])  # over the date line
    north, east = middle_degrees(latitude, longitude)
    assert (north, abs(east)) == (pytest.approx(-10.2, abs=1e-3), pytest.approx(179.95, abs=1e-3))
    xy = plane_m(latitude, longitude)
    metres = Geod(ellps="WGS84").inv(179.8, -10.0, -179.9, -10.4)[2]  # independent library: PROJ
    assert np.hypot(*(xy[0] - xy[1])) == pytest.approx(metres, rel=1e-6)
