"""The smallest set of pump types against every set of types; and the pumps near a site's optimum one by one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from planner.choice.pump_types import NONE, _cover, _greedy, standard_types
from planner.engine.assess import assess, site_record
from planner.engine.choose import choose
from planner.engine.near import near_costs
from planner.engine.room import make_room
from tests.engine import bed


def random_costs(number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whole numbers, so that ties are frequent; the first pump that suits is the site's choice."""
    draw = np.random.default_rng(number)
    sites, pumps = int(draw.integers(1, 9)), int(draw.integers(1, 7))
    extra = draw.integers(0, 5, (sites, pumps)).astype(float)
    fits = draw.random((sites, pumps)) < 0.4
    fits[np.arange(sites), draw.integers(0, pumps, sites)] = True
    return np.where(fits, 10 + extra, np.inf), extra, draw.random(sites) < 0.5


def every_set(costs: np.ndarray, extra: np.ndarray, first: np.ndarray, most: int | None) -> tuple[int, int, int, float]:
    """(funded sites left, sites left, types, extra) of the best set of types, from the words of the rule."""
    fits, pumps = np.isfinite(costs), costs.shape[1]
    best = None
    for size in range(0, pumps + 1 if most is None else min(most, pumps) + 1):
        for types in itertools.combinations(range(pumps), size):
            some = fits[:, list(types)].any(axis=1)
            more = np.where(fits, extra, np.inf)[:, list(types)][some].min(axis=1).sum() if types else 0.0
            found = (int((first & ~some).sum()), int((~some).sum()), size, float(more))
            best = found if best is None or found < best else best
    assert best is not None
    return best


@pytest.mark.parametrize("most", [None, 1, 2])
def test_the_smallest_set_is_found_and_of_those_the_cheapest(most: int | None) -> None:
    for number in range(100):
        costs, extra, first = random_costs(number)
        left_first, left, types, more = every_set(costs, extra, first, most)
        found = standard_types(costs, extra, first, most)
        none = found.pump == NONE
        assert (int((none & first).sum()), int(none.sum())) == (left_first, left), number
        at = np.flatnonzero(~none)
        assert np.isfinite(costs[at, found.pump[at]]).all()
        assert found.types.size <= types, number
        assert extra[at, found.pump[at]].sum() <= more + 1e-9, number
        assert found.cheapest


def test_greedy_covers_and_is_never_better_than_the_exact_set() -> None:
    for number in range(40):
        fits = np.isfinite(random_costs(number)[0])
        exact, gap = _cover(fits)
        greedy = _greedy(fits)
        assert gap == 0
        assert fits[:, greedy].any(axis=1).all() and exact.size <= greedy.size


@pytest.mark.parametrize(("static_m", "demand"), [(20.0, 5.0), (60.0, 20.0), (90.0, 8.0)])
def test_near_pumps_cost_what_a_catalogue_of_that_pump_alone_gives(static_m: float, demand: float) -> None:
    context, sites, tolerance = bed.context(), bed.one_site(static_m, demand), 0.05
    costs = near_costs(sites, context, tolerance)[0]
    own = float(assess(sites, context).rows[0]["cost_per_m3"])  # type: ignore[arg-type]
    site, skies, climate = site_record(sites, 0, context), context.skies(), sites.climate(0)
    light = skies.light(climate, skies.plane(climate, site, np.nan))
    market, limit = context.market, own * (1 + tolerance)
    assert costs.min() == pytest.approx(own, rel=2e-3)
    for pump in range(market.pumps.size):
        alone = market._replace(pumps=market.pumps[pump : pump + 1].view(np.recarray))
        found = choose(site, light, alone, context.rules, make_room(alone))
        cost = found.chosen.cost_per_m3 if found.family >= 0 and found.chosen.meets else np.inf
        if cost < limit * (1 - 2e-3) or cost > limit * (1 + 2e-3):  # costs count as equal to 0.1 %
            assert np.isfinite(costs[pump]) == (cost < limit)
        if np.isfinite(costs[pump]):
            assert costs[pump] == pytest.approx(cost, rel=2e-3)
