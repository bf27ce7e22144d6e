"""Draws by themselves: laws, seeds, independence. Values are closed forms of the laws or our own rules."""

from __future__ import annotations

import numpy as np
import pytest

from planner.choice.stability import ranks
from planner.doubt.draws import COMMON, OWN, common_points, draws_at, level, points, site_draws
from planner.doubt.ranges import quantile, rank_interval
from planner.engine.drawn import PARTS
from planner.plan import Plan
from tests.doubt.bed import doubt_of, doubts_of, wells

PLAN = Plan.model_validate({"inventory": {"file": "none.csv"}})
WIDTHS = PLAN.uncertainty
DOUBT = doubt_of(doubts_of(wells()), 0, PLAN)


def test_draws_repeat_bit_for_bit_and_hang_on_seed_and_site() -> None:
    def drawn(seed: int, row: int) -> bytes:
        widths = WIDTHS.model_copy(update={"seed": seed})
        return site_draws(widths, DOUBT, row, 50, common_points(50, seed)).tobytes()

    assert drawn(1, 7) == drawn(1, 7)
    assert drawn(1, 7) != drawn(2, 7)
    assert drawn(1, 7) != drawn(1, 8)


def test_fewer_draws_of_what_is_common_are_the_first_of_more() -> None:
    few, many = common_points(20, 3), common_points(64, 3)
    assert all((few[name] == many[name][:20]).all() for name in COMMON)


def test_the_median_of_every_input_is_the_plain_value() -> None:
    middle = {name: np.array([0.5]) for name in {*COMMON, *OWN}}
    one = draws_at(WIDTHS, DOUBT, middle, middle)[0]
    plain = {"rest_m": 0.0, "loss_share": 0.2, "swing_m": 3.0, "decline_m_year": 0.0}
    for name in one.dtype.names:
        expected = np.ones(len(PARTS)) if name == "part" else plain.get(name, 1.0)
        assert one[name] == pytest.approx(expected, abs=1e-12), name


def test_half_widths_are_p10_and_p90() -> None:
    """Eight in ten of many draws lie within the widths that the plan states (closed form, 4096 points)."""
    drawn = site_draws(WIDTHS, DOUBT, 5, 4096, common_points(4096, 1))
    for name, low, high in [
        ("rest_m", -2.0, 2.0),
        ("b_factor", 1 / 2.0, 2.0),
        ("yield_factor", 1 / 1.5, 1.5),
        ("slip", 1 / 1.5, 1.5),
        ("upkeep", 1 / 1.4, 1.4),
        ("sun", 1 / 1.08, 1.08),
    ]:
        assert np.mean((drawn[name] >= low) & (drawn[name] <= high)) == pytest.approx(0.8, abs=0.01), name
    assert drawn["swing_m"].min() >= 0.0
    assert drawn["swing_m"].max() <= 10.0
    assert 0.0 <= drawn["loss_share"].min() <= drawn["loss_share"].max() <= 0.5


def test_what_is_common_says_nothing_about_a_site_nor_one_site_about_another() -> None:
    """Plain scrambled Sobol sequences of one generator fail this: dimension by dimension their first digits agree or
    are turned, a correlation of ±0.75."""
    common, a, b = points(1024, OWN, 1), points(1024, OWN, 1, 4), points(1024, OWN, 1, 5)
    for name in OWN:
        assert abs(np.corrcoef(common[name], a[name])[0, 1]) < 0.15
        assert abs(np.corrcoef(a[name], b[name])[0, 1]) < 0.15


def test_sites_share_what_is_common() -> None:
    common = common_points(512, 1)
    a, b = (site_draws(WIDTHS, DOUBT, row, 512, common) for row in (1, 2))
    assert (a["part"] == b["part"]).all()
    assert np.corrcoef(np.log(a["price"]), np.log(b["price"]))[0, 1] == pytest.approx(
        np.log(1.15) ** 2 / (np.log(1.15) ** 2 + np.log(1.1) ** 2), abs=0.08
    )


def test_quantiles_of_few_draws_hold_the_next_draw() -> None:
    """Closed form: of n draws, one more lies below place k with probability k / (n + 1)."""
    values = np.arange(1.0, 10.0)[None, :]
    assert quantile(values, 0.1)[0] == 1.0
    assert quantile(values, 0.9)[0] == 9.0
    assert quantile(values, 0.5)[0] == 5.0


def test_quantiles_stand_what_is_infinite_or_missing() -> None:
    values = np.array([[1.0, np.inf, 2.0, 3.0], [np.nan, 5.0, np.nan, 5.0], [np.nan] * 4, [np.inf] * 4])
    assert quantile(values, 0.5)[0] == 2.5
    assert quantile(values, 0.9)[0] == np.inf
    assert quantile(values, 0.9)[1] == 5.0
    assert np.isnan(quantile(values, 0.5)[2])
    assert quantile(values, 0.1)[3] == np.inf


def test_rank_probabilities_sum_to_one() -> None:
    """By rank and by site; draws without water come last."""
    costs = np.random.default_rng(1).lognormal(size=(30, 200))
    costs[3, :50] = np.inf
    places = ranks(costs)
    share = np.stack([(places == rank).mean(axis=1) for rank in range(1, 31)], axis=1)
    assert share.sum(axis=0) == pytest.approx(np.ones(30))
    assert share.sum(axis=1) == pytest.approx(np.ones(30))
    assert (places[3, :50] == 30).all()
    low, high = rank_interval(costs)
    assert (low <= high).all()
    assert low.min() >= 1
    assert high.max() <= 30


def test_levels_are_normal() -> None:
    assert level(np.array([0.9]), 5.0) == pytest.approx(5.0)
