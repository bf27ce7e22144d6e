"""The best set of sites under a budget, rules and phases: exact mixed-integer selection, whole numbers in, a set out.

problem.py says what is asked, model.py solves it, margin.py solves what is too large for that at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planner.choice.margin import select_near, select_phased
from planner.choice.model import RELATIVE_GAP, SOLVE_SECONDS, Answer, Model, limits_of, model_of, solve
from planner.choice.problem import NO_PHASE, Flags, Phase, Problem, Rule, Selection, Whole, in_rank_order, keeps
from planner.choice.solver import Floats

__all__ = [
    "NO_PHASE",
    "RELATIVE_GAP",
    "SOLVE_SECONDS",
    "Clash",
    "Flags",
    "Phase",
    "Problem",
    "Rule",
    "Selection",
    "Whole",
    "clash",
    "in_rank_order",
    "keeps",
    "least_cost",
    "select",
]

# Ties are settled up to so many sites (times phases) and within so many nodes, not seconds: the same input gives the
# same set on any machine. Above, sites far from the margin are not tried one by one.
TIE_SITES = 2_000
TIE_PHASED = 450
TIE_NODES = 500


@dataclass(frozen=True)
class Clash:
    """Rules and limits that cannot be kept together, none of which can be spared."""

    rules: tuple[Rule, ...]
    budget: bool  # the budget of the programme is one of them
    phases: tuple[tuple[int, str], ...]  # year, and budget or sites_max of its phase


def select(problem: Problem, *, settle_ties: bool = True) -> Selection | None:
    """The set of highest value, of these that of lowest cost, of these that of lowest rank sum, and of its divisions
    into phases that which has most sites, the best ranked first, in early ones; None if none can be.

    The last: least sum of (place of the phase, the first 0) × (number of sites below in rank + 1). With settle_ties
    off any set of highest value is returned.
    """
    if problem.cost.size == 0:
        nothing = np.zeros(0, dtype=np.int64)
        return Selection(nothing.astype(np.bool_), 0.0, True, True, nothing)
    order = np.argsort(problem.rank, kind="stable")
    ordered = problem.ordered(order)
    small = problem.cost.size <= TIE_SITES and len(problem.phases) * problem.cost.size <= TIE_PHASED
    ties = False
    if small:
        model = _bounded(ordered, model_of(ordered))
        best = None if model is None else solve(ordered, model, -ordered.value, nodes=None)
        if best is not None and model is not None and settle_ties:
            gap, optimal = best.gap, best.optimal
            best, ties = _settled(ordered, model, best)
            best = replace(best, gap=gap, optimal=optimal)
    else:
        best = select_phased(ordered) if problem.phases else select_near(ordered)
    if best is None:
        return None
    chosen, phase = np.empty(order.size, dtype=np.bool_), np.empty(order.size, dtype=np.int64)
    chosen[order], phase[order] = best.chosen, best.phase
    return Selection(chosen, best.gap, best.optimal, ties, phase)


def least_cost(problem: Problem) -> int | None:
    """The lowest budget under which all rules can be kept; None where no budget is enough."""
    free = replace(problem, budget=None)
    answer = solve(free, model_of(free), free.cost, nodes=None)
    return None if answer is None else int(free.cost[answer.chosen].sum())


def clash(problem: Problem) -> Clash:
    """A smallest group of rules and limits that cannot be kept together, none of which can be spared. For a problem
    that has no solution."""

    def possible(rules: Sequence[Rule], budget: int | None, phases: Sequence[Phase]) -> bool:
        tried = replace(problem, rules=tuple(rules), budget=budget, phases=tuple(phases))
        return solve(tried, model_of(tried), np.zeros_like(tried.cost), nodes=None) is not None

    rules, budget, phases = list(problem.rules), problem.budget, list(problem.phases)
    if budget is not None and not possible(rules, None, phases):
        budget = None
    for place, limit in [(place, limit) for place, phase in enumerate(phases) for limit in limits_of(phase)]:
        looser = [*phases]
        looser[place] = _without(phases[place], limit)
        if not possible(rules, budget, looser):
            phases = looser
    for rule in problem.rules:
        others = [one for one in rules if one is not rule]
        if not possible(others, budget, phases):
            rules = others
    named = tuple((phase.year, limit) for phase in phases for limit in limits_of(phase))
    return Clash(tuple(rules), budget is not None, named)


def _without(phase: Phase, limit: str) -> Phase:
    return replace(phase, budget=None) if limit == "budget" else replace(phase, sites_max=None)


def _bounded(problem: Problem, model: Model) -> Model | None:
    """With phases: a row that holds the value at what the money could buy as one, so that the solver need not prove
    it by trying every division; None where not even that can be."""
    if not problem.phases:
        return model
    one = problem.as_one()
    best = solve(one, model_of(one), -one.value, nodes=None)
    if best is None:
        return None
    return model.and_row(problem.value.astype(np.float64), -np.inf, np.floor(-best.bound + 1e-6) + 0.5)


def _settled(problem: Problem, model: Model, best: Answer) -> tuple[Answer, bool]:
    """Of the sets with the value of `best` that of lowest cost, of these that of lowest rank sum, then early phases."""
    answer, settled = best, best.optimal
    goals: list[tuple[NDArray[np.int64], int, Floats]] = [
        (problem.value, 1, problem.cost.astype(np.float64)),
        (problem.cost, -1, problem.rank.astype(np.float64)),
    ]
    if problem.phases:
        goals.append((problem.rank, -1, _lateness(problem, model)))
    for settling, (held, sign, goal) in enumerate(goals, start=2):
        reached = float(held[answer.chosen].sum())
        low, high = (reached - 0.5, np.inf) if sign > 0 else (-np.inf, reached + 0.5)
        model = model.and_row(held.astype(np.float64), low, high)
        found = solve(problem, model, goal, nodes=TIE_NODES)
        if found is None or not found.optimal or _order(problem, found)[:settling] > _order(problem, answer)[:settling]:
            return answer, False
        answer = found
    return answer, settled


def _lateness(problem: Problem, model: Model) -> Floats:
    """What a site in each phase adds to the last goal; sites stand in the order of their ranks."""
    sites = problem.cost.size
    goal = np.zeros(model.lower.size)
    late = np.arange(len(problem.phases))[:, None] * np.arange(sites, 0, -1)[None, :]
    goal[goal.size - late.size :] = late.ravel()
    return goal


def _order(problem: Problem, answer: Answer) -> tuple[int, int, int, int]:
    parts = (-problem.value, problem.cost, problem.rank)
    first, second, third = (int(part[answer.chosen].sum()) for part in parts)
    late = int((np.maximum(answer.phase, 0) * np.arange(problem.cost.size, 0, -1)).sum())
    return first, second, third, late
