"""Large programmes: a linear relaxation says which sites are near the margin; those alone are chosen exactly.

The relaxation gives a bound that no set can exceed, so the gap of what is found is proven, however it was found.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array, vstack

from planner.choice.model import RELATIVE_GAP, SOLVE_SECONDS, Answer, Model, gap_of, model_of, solve
from planner.choice.problem import NO_PHASE, Flags, Problem, Whole
from planner.choice.solver import Floats, quiet

NEAR = 300  # sites near the margin that are chosen exactly; beside them whatever the relaxation leaves broken
NEAR_PHASES = 90  # the same where each may go to any phase
SECONDS = 20.0
PLAIN_SITES = 2_000  # from which on a budget alone is relaxed without the solver; below, all sites go to it at once
BROKEN = 1e-9


def select_near(problem: Problem, *, near: int = NEAR, prove: bool = True) -> Answer | None:
    """A set without phases whose value is the highest to within the gap it states; None where no set can be.

    With `prove`, a gap above what counts as optimal is worked on once more, with every site that could close it.
    """
    plain = not problem.rules and problem.sites_max is None and not problem.phases
    if plain and problem.budget is not None and problem.cost.size > PLAIN_SITES:
        return _select_plain(problem, problem.budget, near, prove)
    model = model_of(problem)
    relaxed = relax(problem, model)
    if relaxed is None:
        return None
    share, worth, bound = relaxed
    sites = problem.cost.size
    answer = None
    for many in (near, 5 * near):
        free = _nearest(problem, share, worth, many)
        answer = answer or solve(problem, _fixed(model, share, free, sites), -problem.value, nodes=None)
    if answer is None:  # what was fixed leaves no set
        return solve(problem, model, -problem.value, nodes=None)
    reached = int(problem.value[answer.chosen].sum())
    if prove and bound - reached > RELATIVE_GAP * reached:
        # A site whose change would cost more than the gap cannot change in any better set.
        free = np.abs(worth) <= bound - reached
        again = solve(problem, _fixed(model, share, free, sites), -problem.value, nodes=None, seconds=SECONDS)
        if again is not None and int(problem.value[again.chosen].sum()) >= reached:
            answer, bound = again, min(bound, -again.bound)
    return _stated(problem, answer, bound)


def _select_plain(problem: Problem, budget: int, near: int, prove: bool) -> Answer | None:
    """The same where nothing but the budget limits the choice: the relaxation takes sites by value over cost until the
    money is spent (Dantzig 1957), and only the free sites go to the solver."""
    value, cost = problem.value, problem.cost
    density = value / np.maximum(cost, 1)
    order = np.argsort(-density, kind="stable")
    order = order[value[order] > 0]
    spent = np.cumsum(cost[order])
    fit = int(np.searchsorted(spent, budget, side="right"))
    taken = np.zeros(cost.size, dtype=np.bool_)
    taken[order[:fit]] = True
    price, part = 0.0, 0.0
    if fit < order.size:
        price = float(density[order[fit]])
        part = (budget - int(cost[taken].sum())) * price
    bound = float(np.floor(int(value[taken].sum()) + part + 1e-6))
    worth = value - price * cost
    free = np.zeros(cost.size, dtype=np.bool_)
    free[np.argsort(np.abs(worth), kind="stable")[:near]] = True
    answer = _solve_free(problem, budget, taken, free, SOLVE_SECONDS)
    if answer is None:
        return None
    reached = int(value[answer.chosen].sum())
    if prove and bound - reached > RELATIVE_GAP * reached:
        free = np.abs(worth) <= bound - reached
        again = _solve_free(problem, budget, taken, free, SECONDS)
        if again is not None and int(value[again.chosen].sum()) >= reached:
            answer, bound = again, min(bound, -again.bound)
    return _stated(problem, answer, bound)


def _solve_free(problem: Problem, budget: int, taken: Flags, free: Flags, seconds: float) -> Answer | None:
    """The free sites chosen exactly, the others as they were taken."""
    held = taken & ~free
    part = replace(
        problem,
        value=problem.value[free],
        cost=problem.cost[free],
        rank=problem.rank[free],
        budget=budget - int(problem.cost[held].sum()),
    )
    found = solve(part, model_of(part), -part.value, nodes=None, seconds=seconds)
    if found is None:
        return None
    chosen = held.copy()
    chosen[free] = found.chosen
    phase = np.full(chosen.size, NO_PHASE, dtype=np.int64)
    return replace(found, chosen=chosen, phase=phase, bound=found.bound - float(problem.value[held].sum()))


def relax(problem: Problem, model: Model) -> tuple[Floats, Floats, float] | None:
    """The linear relaxation: share of each column of the model, what the change of each site would cost, and the bound
    on the value.

    None where even that cannot be.
    """
    if np.any(model.lower > model.upper):
        return None
    goal = np.zeros(model.lower.size)
    goal[: problem.value.size] = -problem.value
    # Without the half unit of slack that whole sums are given: here it would be spent.
    low = np.where(np.abs(np.modf(model.low)[0]) == 0.5, np.ceil(model.low), model.low)
    high = np.where(np.abs(np.modf(model.high)[0]) == 0.5, np.floor(model.high), model.high)
    below, above = np.isfinite(high), np.isfinite(low)
    rows = csr_array(vstack([model.rows[below], -model.rows[above]]))
    limits = np.concatenate([high[below], -low[above]])
    bounds = np.column_stack([model.lower, model.upper])
    with quiet():
        found = linprog(goal, A_ub=rows, b_ub=limits, bounds=bounds, method="highs")
    if found.x is None:
        return None
    sites = problem.value.size
    worth = (found.lower.marginals + found.upper.marginals)[:sites]
    return found.x, worth, float(np.floor(-found.fun + 1e-6 * max(1.0, abs(found.fun) * 1e-6)))


def _nearest(problem: Problem, share: Floats, worth: Floats, near: int) -> Flags:
    """Sites that are to be chosen exactly: those whose change costs least, the broken ones, and groups of which a share
    is asked that the relaxation took in part for all of it."""
    sites = worth.size
    broken = (share > BROKEN) & (share < 1 - BROKEN)
    free = broken[:sites].copy()
    free[np.argsort(np.abs(worth), kind="stable")[:near]] = True
    groups = [members for rule in problem.rules for members, _ in rule.shares]
    for place, members in enumerate(groups, start=sites + 1):
        if broken[place]:
            free |= members
    return np.asarray(free)


def _fixed(model: Model, share: Floats, free: Flags, sites: int) -> Model:
    """The model with every site but the free ones as the relaxation has it."""
    lower, upper = model.lower.copy(), model.upper.copy()
    held = np.flatnonzero(~free)
    lower[held] = upper[held] = np.rint(share[held])
    return replace(model, lower=lower, upper=upper)


def _stated(problem: Problem, answer: Answer, bound: float) -> Answer:
    reached = float(problem.value[answer.chosen].sum())
    gap = gap_of(reached, max(bound, reached))
    return replace(answer, gap=gap, optimal=gap <= RELATIVE_GAP, bound=-max(bound, reached))


def select_phased(problem: Problem) -> Answer | None:
    """The same with phases: chosen as if the money were one, which no division can exceed; then the sites far from
    the margin are laid into the phases by rank, and those near it exactly."""
    one = problem.as_one()
    best = select_near(one)
    if best is None:
        return None
    model = model_of(problem)
    relaxed = relax(one, model_of(one))
    found = None
    if relaxed is not None:
        share, worth, _ = relaxed
        for near in (NEAR_PHASES, 3 * NEAR_PHASES):
            free = _nearest(one, share, worth, near)
            placed = lay(problem, best.chosen & ~free)
            free |= best.chosen & (placed == NO_PHASE)
            found = solve(problem, _placed(model, placed, free, problem), -problem.value, nodes=None, seconds=SECONDS)
            if found is not None:
                break
    if found is None:
        found = solve(problem, model, -problem.value, nodes=None)
    return None if found is None else _stated(problem, found, -best.bound)


def lay(problem: Problem, chosen: Flags) -> Whole:
    """The phase of each chosen site by rank, the first with room; what is left of the money stays spread over the
    phases as their budgets are, for the sites that are still to come. NO_PHASE where none has room."""
    phases, order = problem.phases, np.argsort(problem.rank, kind="stable")
    infinite = float("inf")
    budgets = np.array([infinite if one.budget is None else one.budget for one in phases])
    counts = np.array([infinite if one.sites_max is None else one.sites_max for one in phases])
    room = _less(budgets, float(problem.cost[chosen].sum()))
    seats = np.floor(_less(counts, float(chosen.sum())))
    phase = np.full(problem.cost.size, NO_PHASE, dtype=np.int64)
    carried = np.cumsum(room) if problem.carry_over else room
    for site in order[chosen[order]]:
        cost = problem.cost[site]
        for place in range(len(phases)):
            left = carried[place:].min() if problem.carry_over else carried[place]
            if left >= cost and seats[place] >= 1:
                phase[site] = place
                seats[place] -= 1
                carried[place : None if problem.carry_over else place + 1] -= cost
                break
    return phase


def _less(limits: Floats, wanted: float) -> Floats:
    """Limits lowered alike, so that they hold what is wanted and little more."""
    total = limits.sum()
    if not np.isfinite(total) or total <= wanted or total == 0:
        return limits.copy()
    return np.asarray(limits - limits / total * (total - wanted))


def _placed(model: Model, placed: Whole, free: Flags, problem: Problem) -> Model:
    """The model with every site but the free ones in the phase it was laid into, or in none."""
    sites = problem.cost.size
    lower, upper = model.lower.copy(), model.upper.copy()
    held = ~free
    lower[:sites][held] = upper[:sites][held] = placed[held] >= 0
    start = lower.size - model.phases * sites
    for place in range(model.phases):
        at = slice(start + place * sites, start + (place + 1) * sites)
        lower[at][held] = upper[at][held] = placed[held] == place
    return replace(model, lower=lower, upper=upper)
