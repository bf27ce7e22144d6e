"""Sites into lots: exactly where they are few, else by search, with the gap that is proven."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from planner.choice.lots.exact import solve
from planner.choice.lots.problem import Answer, Problem, broken, cost_km, excess
from planner.choice.lots.search import search

EXACT_CELLS = 120  # sites × lots


def assign(problem: Problem, found: Answer | None = None) -> Answer | None:
    """The lots of least excess over the bounds of value, of these those of least cost; None where it is proven that the
    rules that must be kept cannot be. An answer of the search may break them: see broken().

    found: what search() gave, where it was asked before.
    """
    if problem.lots == 1:
        lot = np.zeros(problem.sites, dtype=np.intp)
        cost = cost_km(problem, lot)
        return Answer(lot, excess(problem, lot), cost, cost, True, "exact")
    found = found or search(problem)
    if problem.sites * problem.lots > EXACT_CELLS:
        return found
    keeps = not broken(problem, found.lot)
    exact = solve(problem, found.cost_km if keeps and found.excess == 0 else np.inf)
    if exact.impossible:
        return None
    best = exact.answer
    if best is not None and (best.optimal or not keeps or _order(best) < _order(found)):
        return best
    if exact.excess is not None and found.excess <= exact.excess:
        return replace(found, bound_km=min(max(found.bound_km, exact.bound_km), found.cost_km))
    return found


def _order(answer: Answer) -> tuple[int, float]:
    return answer.excess, answer.cost_km
