"""Which wells to test first: tests that are worth more than they cost, packed into the budget for tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.choice.portfolio import Flags, Problem, Rule, select

Floats = NDArray[np.float64]

CENTS = 100


@dataclass(frozen=True)
class Packing:
    """Tests of one round, in the order of the sites handed in.

    cost      of each test at the price that holds, money
    value     gain less cost; NaN where no gain is known
    rank      1 the most worth, of those worth more than they cost; 0 for the others
    funded    bought from the budget; none without a budget
    campaign  whether the price of a campaign holds
    """

    cost: Floats
    value: Floats
    rank: NDArray[np.int64]
    funded: Flags
    campaign: bool


def pack(gain: Floats, single: Floats, campaign: Floats, campaign_tests: int, budget: float | None) -> Packing:
    """The tests that are worth most together, less what they cost, of those the budget pays for; exact.

    gain      of each site, money, before the cost of its test; NaN for none
    single    cost of each test that is mobilised alone, the trip included
    campaign  the same where at least `campaign_tests` are made; nowhere more than `single`

    No test that costs more than it is worth is made, not even to fill a campaign. A set of single tests that is large
    enough for a campaign is never better than the same set as one, so neither price needs a most.
    """
    best, is_campaign = _chosen(gain - campaign, campaign, budget, campaign_tests), True
    alone = _chosen(gain - single, single, budget, 0)
    if best is None or _worth(gain - campaign, best) <= _worth(gain - single, alone):
        best, is_campaign = alone, False
    cost = campaign if is_campaign else single
    value = gain - cost
    worth = np.flatnonzero(value > 0.0)
    rank = np.zeros(gain.size, dtype=np.int64)
    rank[worth[np.argsort(-value[worth], kind="stable")]] = np.arange(1, worth.size + 1)
    nothing = np.zeros(gain.size, dtype=np.bool_)
    return Packing(cost, value, rank, nothing if budget is None or best is None else best, is_campaign)


def _worth(value: Floats, chosen: Flags | None) -> float:
    return 0.0 if chosen is None else float(np.rint(value[chosen] * CENTS).sum())


def _chosen(value: Floats, cost: Floats, budget: float | None, least: int) -> Flags | None:
    """The best set of at least so many tests; None where there are not so many to be had."""
    cents = np.where(np.isfinite(value), np.rint(value * CENTS), 0.0).astype(np.int64)
    able = cents > 0
    price = np.ceil(np.where(np.isfinite(cost), cost, 0.0) * CENTS - 1e-6).astype(np.int64)
    if int(able.sum()) < least:
        return None
    rules = [Rule("not worth its cost", locked_out=~able)]
    if least:
        rules.append(Rule("campaign", counts=((able, least),)))
    money = None if budget is None else int(np.floor(budget * CENTS + 1e-6))
    rank = np.empty(value.size, dtype=np.int64)
    rank[np.argsort(-cents, kind="stable")] = np.arange(value.size)
    found = select(Problem(np.where(able, cents, 0), price, rank, money, tuple(rules)), settle_ties=False)
    return None if found is None else found.chosen
