"""How sure an order and a selection are: the same choice over many draws of costs or of weights.

Pure functions of arrays (sites, draws); what is drawn is others' business. A draw without water costs infinity.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner.choice.margin import relax
from planner.choice.model import model_of
from planner.choice.problem import Flags, Problem, Whole, keeps
from planner.choice.solver import Floats

__all__ = ["FundedShare", "funded_probability", "ranks", "top_share", "weight_draws"]

WHOLE = 1 - 1e-9


@dataclass(frozen=True)
class FundedShare:
    """probability: share of draws in which each site is funded; gap_mean, gap_max: how far what was found in a draw may
    lie below the best, relative, proven by the relaxation; rules_kept: share of draws whose set keeps every rule;
    impossible: share of draws in which no set can keep them, with nothing funded."""

    probability: Floats
    gap_mean: float
    gap_max: float
    rules_kept: float
    impossible: float


def ranks(costs: NDArray[np.floating[Any]]) -> Whole:
    """Rank of every site in every draw, (sites, draws), 1 the cheapest: each number once a draw, equal and infinite
    costs in the order of the sites.

    costs  (sites, draws), currency/m3; infinite for no water
    """
    order = np.argsort(costs, axis=0, kind="stable")
    places = np.empty(order.shape, dtype=np.int64)
    np.put_along_axis(places, order, np.arange(1, len(order) + 1)[:, None], axis=0)
    return places


def top_share(scores: Floats, number: int) -> Floats:
    """Share of draws in which each site is among the first so many; in every draw exactly that many are, if there are.

    scores  (sites, draws), higher is better; equal ones in the order of the sites
    """
    if not scores.size:
        return np.zeros(len(scores))
    order = np.argsort(-scores, axis=0, kind="stable")[:number]
    return np.asarray(np.bincount(order.ravel(), minlength=len(scores)) / scores.shape[1])


def weight_draws(weights: Floats, draws: int, concentration: float, seed: int) -> Floats:
    """Weights around the given ones, (criteria, draws), each draw of sum one: Dirichlet, means as given.

    concentration  sum of its parameters: a weight w scatters by √(w (1 − w) / (concentration + 1))
    """
    shares = weights / weights.sum()
    return np.random.default_rng(seed).dirichlet(shares * concentration, draws).T


def funded_probability(costs: Floats, capital: Floats, value: Floats, problem: Problem) -> FundedShare:
    """How often each site is funded when costs, capital and what it serves are drawn: the budget is spent anew in every
    draw, by the linear relaxation, rounded down and filled up.

    costs    (sites, draws), currency/m3: the rank, by which equal gain is settled; infinite: no water, not funded
    capital  (sites, draws), in the unit of problem.cost
    value    (sites, draws), in the unit of problem.value
    problem  budget, rules and phases; phases are not told apart, their money is spent as one
    """
    one = problem.as_one()
    sites, draws = costs.shape
    if not sites or not draws:
        return FundedShare(np.zeros(sites), 0.0, 0.0, 1.0, 0.0)
    places = ranks(costs)
    chosen = np.zeros((sites, draws), dtype=np.bool_)
    gaps, kept, impossible = np.zeros(draws), 0, 0
    for draw in range(draws):
        wet = np.isfinite(costs[:, draw])
        worth = np.where(wet, np.rint(value[:, draw]), 0).astype(np.int64)
        price = np.where(wet, np.ceil(np.where(wet, capital[:, draw], 0.0) - 1e-6), 0).astype(np.int64)
        drawn = replace(one, value=worth, cost=price, rank=places[:, draw])
        found = _in_draw(drawn, wet)
        if found is None:
            impossible += 1
            continue
        chosen[:, draw], gaps[draw], obeyed = found
        kept += obeyed
    solved = max(draws - impossible, 1)
    gap_mean = float(gaps.sum() / solved)
    return FundedShare(chosen.mean(axis=1), gap_mean, float(gaps.max()), kept / draws, impossible / draws)


def _in_draw(problem: Problem, wet: Flags) -> tuple[Flags, float, bool] | None:
    """The set of one draw, its gap and whether it keeps the rules; None where no set can.

    A site without water is out, and floors then count those that have some, as they count no site locked out.
    """
    problem = _without_dry(problem, wet)
    if not problem.rules and problem.sites_max is None:
        share, bound = _knapsack(problem, wet)
    else:
        relaxed = relax(problem, model_of(problem))
        if relaxed is None:
            return None
        share, _, bound = relaxed
        share = share[: problem.cost.size]
    chosen = _filled(problem, share, wet)
    reached = float(problem.value[chosen].sum())
    gap = max(bound - reached, 0.0) / reached if reached else 0.0
    return chosen, gap, keeps(problem, chosen)


def _without_dry(problem: Problem, wet: Flags) -> Problem:
    """The same with the dry sites out of every rule."""
    rules = tuple(
        replace(
            rule,
            counts=tuple((members & wet, least) for members, least in rule.counts),
            shares=tuple((members & wet, share) for members, share in rule.shares),
            locked_in=None if rule.locked_in is None else rule.locked_in & wet,
            locked_out=None if rule.locked_out is None else rule.locked_out | ~wet,
        )
        for rule in problem.rules
    )
    return replace(problem, rules=rules)


def _knapsack(problem: Problem, wet: Flags) -> tuple[Floats, float]:
    """The relaxation without rules in closed form: by value for cost until the money ends, the last one in part."""
    order = _by_gain(problem)
    order = order[wet[order]]
    spent = np.cumsum(problem.cost[order])
    budget = spent[-1] if problem.budget is None and spent.size else problem.budget or 0
    before = spent - problem.cost[order]
    part = np.clip((budget - before) / np.maximum(problem.cost[order], 1), 0.0, 1.0)
    share = np.zeros(problem.cost.size)
    share[order] = part
    return share, float(np.floor((share * problem.value).sum() + 1e-6))


def _by_gain(problem: Problem) -> NDArray[np.intp]:
    """Sites by value for cost, equal ones by rank."""
    gain = problem.value / np.maximum(problem.cost, 1)
    return np.lexsort((problem.rank, -gain))


def _filled(problem: Problem, share: Floats, wet: Flags) -> Flags:
    """Whole sites of the relaxation, then the broken ones, the larger share first, then whatever still fits."""
    chosen = (share >= WHOLE) & wet
    left = np.inf if problem.budget is None else problem.budget - int(problem.cost[chosen].sum())
    seats = (np.inf if problem.sites_max is None else problem.sites_max) - int(chosen.sum())
    may = wet & ~problem.locked_out & ~chosen
    broken = np.flatnonzero(may & (share > 1e-9))
    rest = _by_gain(problem)
    rest = rest[may[rest] & (share[rest] <= 1e-9)]
    for site in [*broken[np.argsort(-share[broken], kind="stable")], *rest[problem.cost[rest] <= left]]:
        if problem.cost[site] <= left and seats >= 1:
            chosen[site] = True
            left -= int(problem.cost[site])
            seats -= 1
    return chosen
