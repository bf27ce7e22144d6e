"""The best set of sites under a budget and under rules: exact mixed-integer selection, whole numbers in, a set out.

All amounts are whole numbers (cents, thousandths of the objective), so that sums are exact and every answer of the
solver is tested again without rounding. Solver: HiGHS, through scipy.optimize.milp.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, vstack

from planner.errors import InternalError

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

RELATIVE_GAP = 1e-6  # what counts as optimal
SOLVE_SECONDS = 60.0
# Ties are settled up to so many sites and within so many nodes, not seconds: the same input gives the same set on any
# machine. Settling 10 000 sites takes minutes.
TIE_SITES = 2_000
TIE_NODES = 500
CUTS = 50
SHARE_SLACK = 1e-9


@dataclass(frozen=True)
class Rule:
    """One rule of the plan, over the sites of a Problem. A rule may hold several groups; it is dropped as a whole.

    counts      (members, least number chosen among them; all of them where they are fewer)
    shares      (members, least share of all chosen sites; all of them where they are fewer)
    locked_in   sites that must be chosen
    locked_out  sites that must not
    """

    name: str
    counts: tuple[tuple[Flags, int], ...] = ()
    shares: tuple[tuple[Flags, float], ...] = ()
    locked_in: Flags | None = None
    locked_out: Flags | None = None

    def ordered(self, order: NDArray[np.intp]) -> Rule:
        """The same rule over sites in another order."""
        return Rule(
            self.name,
            tuple((members[order], least) for members, least in self.counts),
            tuple((members[order], share) for members, share in self.shares),
            None if self.locked_in is None else self.locked_in[order],
            None if self.locked_out is None else self.locked_out[order],
        )


@dataclass(frozen=True)
class Problem:
    """value, cost, rank: whole numbers ≥ 0, one a site; ranks differ. budget: in the unit of cost, None for none."""

    value: Whole
    cost: Whole
    rank: Whole
    budget: int | None
    rules: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class Selection:
    """chosen: one flag a site; gap: relative, proven; ties: whether lower cost and lower ranks were settled, too."""

    chosen: Flags
    gap: float
    optimal: bool
    ties: bool


@dataclass(frozen=True)
class _Model:
    """Rows low ≤ A x ≤ high over the sites and, where there are shares, the number of chosen sites and a switch for
    each share: 1 where the whole group is chosen."""

    rows: csr_array
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]

    def and_row(self, row: NDArray[np.float64], low: float, high: float) -> _Model:
        wide = np.zeros(self.lower.size)
        wide[: row.size] = row
        rows = csr_array(vstack([self.rows, csr_array(wide[None, :])]))
        return replace(self, rows=rows, low=np.append(self.low, low), high=np.append(self.high, high))


@dataclass(frozen=True)
class _Answer:
    chosen: Flags
    gap: float
    optimal: bool


def select(problem: Problem, *, settle_ties: bool = True) -> Selection | None:
    """The set of highest value, of these that of lowest cost, of these that of lowest rank sum; None if none can be.

    With settle_ties off any set of highest value is returned.
    """
    if problem.cost.size == 0:
        return Selection(np.zeros(0, dtype=np.bool_), 0.0, True, True)
    order = np.argsort(problem.rank, kind="stable")
    ordered = _ordered(problem, order)
    model = _model(ordered)
    best = _solve(ordered, model, -ordered.value, nodes=None)
    if best is None:
        return None
    answer, ties = best, False
    if settle_ties:
        answer, ties = _settled(ordered, model, best)
    chosen = np.empty(order.size, dtype=np.bool_)
    chosen[order] = answer.chosen
    return Selection(chosen, best.gap, best.optimal, ties)


def least_cost(problem: Problem) -> int | None:
    """The lowest budget under which all rules can be kept; None where no budget is enough."""
    free = replace(problem, budget=None)
    answer = _solve(free, _model(free), free.cost, nodes=None)
    return None if answer is None else int(free.cost[answer.chosen].sum())


def clash(problem: Problem) -> tuple[tuple[Rule, ...], bool]:
    """A smallest group of rules that cannot be kept together, none of which can be spared; and whether the budget is
    part of it. For a problem that has no solution."""

    def possible(rules: Sequence[Rule], budget: int | None) -> bool:
        tried = replace(problem, rules=tuple(rules), budget=budget)
        return _solve(tried, _model(tried), np.zeros_like(tried.cost), nodes=None) is not None

    rules, budget = list(problem.rules), problem.budget
    if budget is not None and not possible(rules, None):
        budget = None
    for rule in problem.rules:
        others = [one for one in rules if one is not rule]
        if not possible(others, budget):
            rules = others
    return tuple(rules), budget is not None


def in_rank_order(problem: Problem) -> Flags:
    """Sites by rank, passing over each that no longer fits into the budget; no rule is kept."""
    chosen = np.zeros(problem.cost.size, dtype=np.bool_)
    left = int(problem.cost.sum()) if problem.budget is None else problem.budget
    for site in np.argsort(problem.rank, kind="stable"):
        if problem.cost[site] <= left:
            chosen[site] = True
            left -= int(problem.cost[site])
    return chosen


def keeps(problem: Problem, chosen: Flags) -> bool:
    """Whether a set keeps budget and rules, in whole numbers."""
    if problem.budget is not None and int(problem.cost[chosen].sum()) > problem.budget:
        return False
    allowed = ~_locked_out(problem)
    if np.any(chosen & ~allowed):
        return False
    total = int(chosen.sum())
    for rule in problem.rules:
        if rule.locked_in is not None and np.any(rule.locked_in & ~chosen):
            return False
        for members, least in rule.counts:
            if int(chosen[members].sum()) < min(least, int((members & allowed).sum())):
                return False
        for members, share in rule.shares:
            taken = int(chosen[members].sum())
            if taken < share * total - SHARE_SLACK and taken < int((members & allowed).sum()):
                return False
    return total > 0 or not _must_choose(problem)


def _must_choose(problem: Problem) -> bool:
    """Shares hold for the empty set, too: where one is asked for, an affordable site of value must not be given up."""
    if not any(rule.shares for rule in problem.rules):
        return False
    affordable = problem.cost <= (problem.cost.max(initial=0) if problem.budget is None else problem.budget)
    return bool(np.any(affordable & (problem.value > 0) & ~_locked_out(problem)))


def _locked_out(problem: Problem) -> Flags:
    out = np.zeros(problem.cost.size, dtype=np.bool_)
    for rule in problem.rules:
        if rule.locked_out is not None:
            out |= rule.locked_out
    return out


def _ordered(problem: Problem, order: NDArray[np.intp]) -> Problem:
    rules = tuple(rule.ordered(order) for rule in problem.rules)
    return Problem(problem.value[order], problem.cost[order], problem.rank[order], problem.budget, rules)


def _model(problem: Problem) -> _Model:
    sites = problem.cost.size
    shares = [(members, share) for rule in problem.rules for members, share in rule.shares]
    width = sites + (1 + len(shares) if shares else 0)
    allowed = ~_locked_out(problem)
    lower, upper = np.zeros(width), np.ones(width)
    upper[:sites] = allowed
    rows: list[csr_array] = []
    low: list[float] = []
    high: list[float] = []

    def add(
        of_sites: NDArray[Any], least: float, most: float = np.inf, others: Sequence[tuple[int, float]] = ()
    ) -> None:
        row = np.zeros(width)
        row[:sites] = of_sites
        for column, factor in others:
            row[column] = factor
        rows.append(csr_array(row[None, :]))
        low.append(least)
        high.append(most)

    # Half a unit of slack: sums are whole, so nothing else gets in, and the solver's tolerance keeps nothing out.
    add(problem.cost, -np.inf, np.inf if problem.budget is None else problem.budget + 0.5)
    for rule in problem.rules:
        if rule.locked_in is not None:
            lower[:sites] = np.maximum(lower[:sites], rule.locked_in)
        for members, least in rule.counts:
            add(members, min(least, int((members & allowed).sum())) - 0.5)
    if shares:
        upper[sites] = most_sites = _most_sites(problem, allowed)
        add(np.ones(sites), 0.0, 0.0, [(sites, -1.0)])
    for switch, (members, share) in enumerate(shares, start=sites + 1):
        group = int((members & allowed).sum())
        if group >= share * most_sites:  # never all of it: no switch is needed
            upper[switch] = 0.0
        add(members, -SHARE_SLACK, others=[(sites, -share), (switch, share * most_sites)])
        add(members, -0.5, others=[(switch, -float(group))])
    if _must_choose(problem):
        add(np.ones(sites), 0.5)
    return _Model(csr_array(vstack(rows)), np.array(low), np.array(high), lower, upper)


def _most_sites(problem: Problem, allowed: Flags) -> int:
    """How many sites the budget can buy at most: the cheapest ones."""
    cheap = np.cumsum(np.sort(problem.cost[allowed]))
    return int(cheap.size if problem.budget is None else np.searchsorted(cheap, problem.budget, side="right"))


def _settled(problem: Problem, model: _Model, best: _Answer) -> tuple[_Answer, bool]:
    """Of the sets with the value of `best` that of lowest cost, of these that of lowest rank sum."""
    answer, settled = best, best.optimal
    if problem.cost.size > TIE_SITES:
        return best, False
    goals = ((problem.value, 1), (problem.cost, -1))
    for (held, sign), goal in zip(goals, (problem.cost, problem.rank), strict=True):
        reached = float(held[answer.chosen].sum())
        low, high = (reached - 0.5, np.inf) if sign > 0 else (-np.inf, reached + 0.5)
        model = model.and_row(held.astype(np.float64), low, high)
        found = _solve(problem, model, goal, nodes=TIE_NODES)
        if found is None or not found.optimal or not _no_worse(problem, found.chosen, answer.chosen):
            return answer, False
        answer = found
    return answer, settled


def _no_worse(problem: Problem, one: Flags, other: Flags) -> bool:
    def order(chosen: Flags) -> tuple[int, int, int]:
        parts = (-problem.value, problem.cost, problem.rank)
        first, second, third = (int(part[chosen].sum()) for part in parts)
        return first, second, third

    return order(one) <= order(other)


def _solve(problem: Problem, model: _Model, goal: Whole, *, nodes: int | None) -> _Answer | None:
    """The set of lowest goal. A set that keeps the rows only within the solver's tolerance is cut off."""
    if np.any(model.lower > model.upper):
        return None
    sites = problem.cost.size
    full = np.zeros(model.lower.size)
    full[:sites] = goal
    options = {"mip_rel_gap": RELATIVE_GAP, "time_limit": SOLVE_SECONDS}
    if nodes is not None:
        options = {"mip_rel_gap": 0.0, "node_limit": nodes}
    for _ in range(CUTS):
        with _quiet():
            found = milp(
                full,
                integrality=np.ones(full.size),
                bounds=Bounds(model.lower, model.upper),
                constraints=LinearConstraint(model.rows, model.low, model.high),
                options=options,
            )
        if found.status == 2 or (found.status == 4 and "infeasible" in found.message.lower()):
            return None
        if found.x is None:
            if nodes is not None:
                return None
            raise InternalError(f"the selection was not solved: {found.message}")
        chosen = found.x[:sites] > 0.5
        if keeps(problem, chosen):
            return _Answer(chosen, _gap(found.fun, found.mip_dual_bound), found.status == 0)
        # Any other set differs from this one in a site.
        model = model.and_row(np.where(chosen, -1.0, 1.0), 0.5 - float(chosen.sum()), np.inf)
    raise InternalError("the solver kept no rule exactly")


@contextmanager
def _quiet() -> Iterator[None]:
    """The solver prints a remark of its own now and then; standard output belongs to what a command promises."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _gap(reached: float, bound: float | None) -> float:
    """How far the best that can be lies from what was reached, as a share of it."""
    if bound is None or reached == bound:
        return 0.0
    return abs(reached - bound) / abs(reached) if reached else float("inf")
