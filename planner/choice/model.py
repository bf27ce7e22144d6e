"""A Problem as rows and columns for the solver, and its answers.

Every answer of the solver is tested again in whole numbers; a set that keeps the rows only within the solver's
tolerance is cut off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, eye_array, hstack, vstack

from planner.choice.problem import NO_PHASE, SHARE_SLACK, Flags, Phase, Problem, Whole, keeps
from planner.choice.solver import Floats, Programme, minimise
from planner.errors import InternalError

RELATIVE_GAP = 1e-6  # what counts as optimal
SOLVE_SECONDS = 60.0
CUTS = 50


@dataclass(frozen=True)
class Model:
    """Rows low ≤ A x ≤ high over the sites; where there are shares, the number of chosen sites and a switch for
    each share: 1 where the whole group is chosen; where there are phases, last, each site in each phase."""

    rows: csr_array
    low: Floats
    high: Floats
    lower: Floats
    upper: Floats
    phases: int = 0

    def and_row(self, row: Floats, low: float, high: float) -> Model:
        """The same with a row more; what the row does not reach counts 0."""
        wide = np.zeros(self.lower.size)
        wide[: row.size] = row
        rows = csr_array(vstack([self.rows, csr_array(wide[None, :])]))
        return replace(self, rows=rows, low=np.append(self.low, low), high=np.append(self.high, high))

    def in_phases(self, numbers: Floats, sites: int) -> Floats:
        """The columns of the sites in their phases, (phases, sites)."""
        return numbers[numbers.size - self.phases * sites :].reshape(self.phases, sites)


@dataclass(frozen=True)
class Answer:
    """A set that keeps all rules; bound: no set has a goal below."""

    chosen: Flags
    phase: Whole
    gap: float
    optimal: bool
    bound: float


class _Rows:
    """Rows as they come, kept sparse."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.parts: list[csr_array] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, start: int, values: NDArray[Any], low: float, high: float = np.inf,
            others: Sequence[tuple[int, float]] = ()) -> None:  # fmt: skip
        row = np.zeros(self.width)
        row[start : start + values.size] = values
        for column, factor in others:
            row[column] = factor
        self.parts.append(csr_array(row[None, :]))
        self.low.append(low)
        self.high.append(high)


def model_of(problem: Problem) -> Model:
    """The rows of a problem. Half a unit of slack: sums are whole, so nothing else gets in, and the solver's tolerance
    keeps nothing out."""
    sites = problem.cost.size
    shares = [(members, share) for rule in problem.rules for members, share in rule.shares]
    narrow = sites + (1 + len(shares) if shares else 0)
    width = narrow + len(problem.phases) * sites
    allowed = ~problem.locked_out
    lower, upper = np.zeros(width), np.ones(width)
    upper[:sites] = allowed
    rows = _Rows(width)
    every = np.ones(sites)
    rows.add(0, problem.cost, -np.inf, np.inf if problem.budget is None else problem.budget + 0.5)
    if problem.sites_max is not None:
        rows.add(0, every, -np.inf, problem.sites_max + 0.5)
    for rule in problem.rules:
        if rule.locked_in is not None:
            lower[:sites] = np.maximum(lower[:sites], rule.locked_in)
        for members, least in rule.counts:
            rows.add(0, members, min(least, int((members & allowed).sum())) - 0.5)
    if shares:
        upper[sites] = most_sites = _most_sites(problem, allowed)
        rows.add(0, every, 0.0, 0.0, [(sites, -1.0)])
    for switch, (members, share) in enumerate(shares, start=sites + 1):
        group = int((members & allowed).sum())
        if group >= share * most_sites:  # never all of it: no switch is needed
            upper[switch] = 0.0
        rows.add(0, members, -SHARE_SLACK, others=[(sites, -share), (switch, share * most_sites)])
        rows.add(0, members, -0.5, others=[(switch, -float(group))])
    if problem.must_choose:
        rows.add(0, every, 0.5)
    _add_phases(problem, rows, narrow)
    low, high, matrix = np.array(rows.low), np.array(rows.high), csr_array(vstack(rows.parts))
    if problem.phases:  # each chosen site in one phase, the others in none
        gap = coo_array((sites, narrow - sites))
        one = hstack([-eye_array(sites), gap, *(eye_array(sites) for _ in problem.phases)])
        matrix = csr_array(vstack([matrix, one]))
        low, high = np.append(low, np.zeros(sites)), np.append(high, np.zeros(sites))
    return Model(matrix, low, high, lower, upper, len(problem.phases))


def _add_phases(problem: Problem, rows: _Rows, start: int) -> None:
    """What each phase may spend and build; with money carried over, all phases up to each."""
    sites, money = problem.cost.size, 0
    bounded = True
    for place, phase in enumerate(problem.phases):
        at = start + place * sites
        if phase.sites_max is not None:
            rows.add(at, np.ones(sites), -np.inf, phase.sites_max + 0.5)
        bounded = phase.budget is not None and (bounded or not problem.carry_over)
        money = (money if problem.carry_over else 0) + (phase.budget or 0)
        if bounded and problem.carry_over:
            rows.add(start, np.tile(problem.cost, place + 1), -np.inf, money + 0.5)
        elif bounded:
            rows.add(at, problem.cost, -np.inf, money + 0.5)


def _most_sites(problem: Problem, allowed: Flags) -> int:
    """How many sites the money can buy at most: the cheapest ones."""
    one = problem.as_one()
    cheap = np.cumsum(np.sort(problem.cost[allowed]))
    most = int(cheap.size if one.budget is None else np.searchsorted(cheap, one.budget, side="right"))
    return most if one.sites_max is None else min(most, one.sites_max)


def solve(
    problem: Problem, model: Model, goal: NDArray[Any], *, nodes: int | None, seconds: float = SOLVE_SECONDS
) -> Answer | None:
    """The set of lowest goal; None if none can be.

    goal  one number a site, or one for every column of the model
    """
    sites = problem.cost.size
    full = np.zeros(model.lower.size)
    full[: goal.size] = goal
    stop: dict[str, Any] = {"relative_gap": RELATIVE_GAP, "seconds": seconds} if nodes is None else {"nodes": nodes}
    whole = np.ones(full.size, dtype=np.bool_)
    for _ in range(CUTS):
        found = minimise(Programme(full, whole, model.lower, model.upper, model.rows, model.low, model.high), **stop)
        if found.impossible:
            return None
        if found.x is None:
            if nodes is not None or seconds < SOLVE_SECONDS:
                return None
            raise InternalError(f"the selection was not solved: {found.message}")
        chosen = found.x[:sites] > 0.5
        phase = np.full(sites, NO_PHASE, dtype=np.int64)
        taken = found.x > 0.5
        if model.phases:
            placed = model.in_phases(found.x, sites) > 0.5
            phase[placed.any(axis=0)] = placed.argmax(axis=0)[placed.any(axis=0)]
        if keeps(problem, chosen, phase):
            bound = found.cost if found.optimal and found.bound == -np.inf else found.bound
            return Answer(chosen, phase, gap_of(found.cost, bound), found.optimal, bound)
        # Any other answer differs from this one in a site, or in the phase of one.
        model = model.and_row(*_but(taken, sites, model))
    raise InternalError("the solver kept no rule exactly")


def _but(taken: Flags, sites: int, model: Model) -> tuple[Floats, float, float]:
    """A row that every answer keeps but this one."""
    row = np.zeros(taken.size)
    told = np.zeros(taken.size, dtype=np.bool_)
    told[taken.size - model.phases * sites if model.phases else 0 :] = True
    told[sites if not model.phases else taken.size :] = False
    row[told] = np.where(taken[told], -1.0, 1.0)
    return row, 0.5 - float(taken[told].sum()), np.inf


def gap_of(reached: float, bound: float) -> float:
    """How far the best that can be lies from what was reached, as a share of it."""
    if reached == bound:
        return 0.0
    return abs(reached - bound) / abs(reached) if reached else float("inf")


def limits_of(phase: Phase) -> list[str]:
    """Which of its limits a phase has."""
    return [name for name in ("budget", "sites_max") if getattr(phase, name) is not None]
