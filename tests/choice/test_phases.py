"""Yearly phases: the solver against every division of every subset, and large programmes against their bound."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.choice.margin import select_near, select_phased
from planner.choice.portfolio import NO_PHASE, RELATIVE_GAP, Phase, Problem, Rule, clash, keeps, select
from tests.choice.test_portfolio import every_set, random_problem

# Brute force --------------------------------------------------------------------------------------------------
# Written apart from problem.py: every set that keeps the other rules, and every division of it.


def fits(problem: Problem, sites: tuple[int, ...], places: tuple[int, ...]) -> bool:
    spent = [sum(int(problem.cost[site]) for site, at in zip(sites, places, strict=True) if at == place)
             for place in range(len(problem.phases))]  # fmt: skip
    built = [places.count(place) for place in range(len(problem.phases))]
    for place, phase in enumerate(problem.phases):
        if phase.sites_max is not None and built[place] > phase.sites_max:
            return False
        if problem.carry_over:
            limits = [one.budget for one in problem.phases[: place + 1]]
            if None not in limits and sum(spent[: place + 1]) > sum(one or 0 for one in limits):
                return False
        elif phase.budget is not None and spent[place] > phase.budget:
            return False
    return True


def best_division(problem: Problem) -> tuple[int, int, int, int] | None:
    """(-value, cost, rank sum, lateness) of the best; the rules of the set first, as in test_portfolio."""
    plain = replace(problem, phases=(), rules=tuple(rule for rule in problem.rules if not rule.shares))
    place_of = np.argsort(np.argsort(problem.rank))
    weight = problem.cost.size - place_of
    sets = every_set(plain)
    for amounts, group in itertools.groupby(sets, key=lambda one: one[:3]):
        late = [
            sum(at * int(weight[site]) for site, at in zip(sites, places, strict=True))
            for *_, sites in group
            for places in itertools.product(range(len(problem.phases)), repeat=len(sites))
            if fits(problem, sites, places)
        ]
        if late:
            return *amounts, min(late)
    return None


def random_phased(number: int) -> Problem:
    draw = np.random.default_rng(10_000 + number)
    plain = random_problem(int(draw.integers(0, 10_000)))
    while plain.cost.size > 6:
        plain = random_problem(int(draw.integers(0, 10_000)))
    total = int(plain.cost.sum())
    phases = tuple(
        Phase(
            2027 + place,
            None if draw.random() < 0.15 else int(total * draw.uniform(0.1, 0.7)),
            None if draw.random() < 0.6 else int(draw.integers(0, 4)),
        )
        for place in range(int(draw.integers(1, 4)))
    )
    rules = tuple(rule for rule in plain.rules if not rule.shares)
    return replace(plain, rules=rules, phases=phases, carry_over=bool(draw.random() < 0.4))


@pytest.mark.parametrize("block", range(10))
def test_the_solver_finds_what_trying_every_division_finds(block: int) -> None:
    for number in range(30 * block, 30 * block + 30):
        problem = random_phased(number)
        best, found = best_division(problem), select(problem)
        if best is None:
            assert found is None, number
            continue
        assert found is not None, number
        assert keeps(problem, found.chosen, found.phase), number
        order = np.argsort(np.argsort(problem.rank))
        late = int((np.maximum(found.phase, 0) * (problem.cost.size - order)).sum())
        amounts = [int(part[found.chosen].sum()) for part in (problem.value, problem.cost, problem.rank)]
        assert (-amounts[0], amounts[1], amounts[2], late) == best, number
        assert found.ties and found.optimal, number


def test_every_clash_with_phases_is_one_and_no_limit_can_be_spared() -> None:
    clashes = 0
    for number in range(400):
        problem = random_phased(number)
        if not problem.rules or select(problem) is not None:
            continue
        clashes += 1
        found = clash(problem)
        kept = tuple(
            Phase(
                phase.year,
                phase.budget if (phase.year, "budget") in found.phases else None,
                phase.sites_max if (phase.year, "sites_max") in found.phases else None,
            )
            for phase in problem.phases
        )
        budget = problem.budget if found.budget else None
        named = replace(problem, rules=found.rules, budget=budget, phases=kept)
        assert best_division(named) is None, number
        for place in range(len(found.rules)):
            fewer = found.rules[:place] + found.rules[place + 1 :]
            assert best_division(replace(named, rules=fewer)) is not None, number
        for year, limit in found.phases:
            looser = tuple(
                replace(one, budget=None) if (one.year, "budget") == (year, limit)
                else replace(one, sites_max=None) if (one.year, "sites_max") == (year, limit) else one
                for one in kept
            )  # fmt: skip
            assert best_division(replace(named, phases=looser)) is not None, number
    assert clashes > 10


def test_money_that_is_left_carries_over_only_where_it_is_said() -> None:
    # Closed form: 5 and 5 a year buy two of 5, or, with money carried over, one of 4 and one of 6.
    value, cost = np.array([10, 10, 30]), np.array([4, 5, 6])
    problem = Problem(value, cost, np.array([1, 2, 3]), None, (), (Phase(2027, 5), Phase(2028, 5)))
    without = select(problem)
    assert without is not None
    assert without.chosen.tolist() == [True, True, False]
    assert without.phase.tolist() == [0, 1, NO_PHASE]
    carried = select(replace(problem, carry_over=True))
    assert carried is not None
    assert carried.chosen.tolist() == [True, False, True]
    assert carried.phase.tolist() == [0, NO_PHASE, 1]


def test_the_best_ranked_come_first() -> None:
    problem = Problem(np.ones(4, dtype=int), np.ones(4, dtype=int), np.array([3, 1, 4, 2]), None, (),
                      (Phase(2027, 2), Phase(2028, 2)))  # fmt: skip
    found = select(problem)
    assert found is not None
    assert found.phase.tolist() == [1, 0, 1, 0]


def large(seed: int, sites: int) -> Problem:
    draw = np.random.default_rng(seed)
    people = draw.lognormal(6.0, 0.7, sites)
    cost = np.rint(100 * (9_000 + 18 * people * draw.lognormal(0.0, 0.4, sites))).astype(np.int64)
    area = draw.integers(0, 4, sites)
    rules = (
        Rule("minimum_count", counts=tuple((area == one, sites // 16) for one in range(4))),
        Rule("minimum_share", shares=tuple((area == one, 0.1) for one in range(4))),
        Rule("locked_in", locked_in=draw.random(sites) < 0.01),
        Rule("locked_out", locked_out=draw.random(sites) < 0.0),
    )
    return Problem(np.rint(people * 1000).astype(np.int64), cost, draw.permutation(sites) + 1,
                   int(cost.sum()) // 3, rules)  # fmt: skip


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 1000))
def test_near_the_margin_is_as_good_as_the_whole(seed: int) -> None:
    problem = large(seed, 250)
    whole, near = select(problem, settle_ties=False), select_near(problem)
    assert whole is not None and near is not None
    assert keeps(problem, near.chosen)
    reached = int(problem.value[near.chosen].sum())
    best = int(problem.value[whole.chosen].sum())
    assert best * (1 - 2 * RELATIVE_GAP) <= reached
    assert best <= -near.bound * (1 + RELATIVE_GAP)


@pytest.mark.parametrize("carry", [False, True])
def test_a_large_programme_in_phases_keeps_all_and_states_its_gap(carry: bool) -> None:
    problem = large(3, 2500)
    third = (problem.budget or 0) // 3
    phases = tuple(Phase(2027 + year, third, 400 if year == 1 else None) for year in range(3))
    problem = replace(problem, phases=phases, carry_over=carry)
    found = select(problem)
    assert found is not None
    assert keeps(problem, found.chosen, found.phase)
    one = select_near(problem.as_one())
    assert one is not None
    assert problem.value[found.chosen].sum() <= -one.bound
    assert found.gap < 1e-4
    small = select_phased(replace(problem, budget=(problem.budget or 0) // 2))
    assert small is not None
