"""Packing of tests into their budget against every set of up to ten sites, and cases by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.choice.testing import pack


def best_by_hand(gain: np.ndarray, single: np.ndarray, campaign: np.ndarray, least: int, budget: float | None) -> float:
    """The greatest sum over every set, at the price that its size gets; no test at a loss."""
    best = 0.0
    for size in range(1, gain.size + 1):
        price = campaign if size >= least else single
        for each in itertools.combinations(range(gain.size), size):
            of = list(each)
            value = gain[of] - price[of]
            if np.all(value > 0.0) and (budget is None or price[of].sum() <= budget):
                best = max(best, float(value.sum()))
    return best


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_against_every_set(data: st.DataObject) -> None:
    sites = data.draw(st.integers(0, 7))
    whole = st.integers(0, 60)
    gain = np.array([data.draw(st.integers(-40, 90)) for _ in range(sites)], dtype=float)
    single = np.array([10.0 + data.draw(whole) for _ in range(sites)])
    campaign = np.floor(single * 0.6)
    least = data.draw(st.integers(1, 4))
    budget = data.draw(st.one_of(st.none(), st.integers(0, 200).map(float)))
    found = pack(gain, single, campaign, least, 1e9 if budget is None else budget)
    reached = found.value[found.funded].sum()
    if found.campaign:
        assert found.funded.sum() >= least
    assert reached == pytest.approx(best_by_hand(gain, single, campaign, least, budget))
    assert found.cost[found.funded].sum() <= (np.inf if budget is None else budget)


def test_without_a_budget_tests_are_ranked_and_none_is_bought() -> None:
    found = pack(np.array([500.0, np.nan, 2_000.0, 1_500.0]), np.full(4, 1_000.0), np.full(4, 600.0), 3, None)
    assert not found.campaign  # two are worth their price, three would make a campaign
    assert found.rank.tolist() == [0, 0, 1, 2]
    assert not found.funded.any()
    assert np.isnan(found.value[1])


def test_a_campaign_makes_more_tests_worth_while() -> None:
    found = pack(np.array([700.0, 2_000.0, 1_500.0]), np.full(3, 1_000.0), np.full(3, 600.0), 3, 2_000.0)
    assert found.campaign
    assert found.funded.all()
    assert found.rank.tolist() == [3, 1, 2]
