"""What other budgets would buy, for the page's slider: twenty steps, each a set of its own under the same rules.

Sets need not lie inside one another, so every site has a bit for each step. The step of the plan's own budget is the
programme itself. The others are chosen near the margin of a linear relaxation, with the gap to it; phases are not told
apart in them: their money is spent as one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planner.choice.margin import select_near
from planner.choice.portfolio import Flags, Problem

STEPS = 20
OWN = 10  # the plan's budget is the tenth step


@dataclass(frozen=True)
class BudgetStep:
    """budget in the unit of cost; chosen: one flag a site, None where the rules cannot be kept with so little; gap:
    relative, proven; own: the budget of the plan."""

    budget: int
    chosen: Flags | None
    gap: float | None
    own: bool


def step_budgets(budget: int, total: int) -> list[int]:
    """Ten equal steps up to the plan's budget, and ten beyond, up to twice of it or what all sites to equip cost.

    >>> step_budgets(100, 150)[8:12], step_budgets(100, 80)[-1]
    ([90, 100, 105, 110], 100)
    """
    below = [budget * step // OWN for step in range(1, OWN + 1)]
    most = min(2 * budget, total)
    above = [budget + (most - budget) * step // (STEPS - OWN) for step in range(1, STEPS - OWN + 1)]
    return list(dict.fromkeys(below + (above if most > budget else [])))


def budget_steps(problem: Problem, chosen: Flags, gap: float) -> list[BudgetStep]:
    """The steps of a programme whose own set is `chosen`, with the gap proven for it."""
    one = problem.as_one()
    if one.budget is None:
        return []
    found = []
    for budget in step_budgets(one.budget, int(one.cost.sum())):
        if budget == one.budget:
            found.append(BudgetStep(budget, chosen, gap, True))
            continue
        answer = select_near(replace(one, budget=budget), prove=False)
        found.append(
            BudgetStep(budget, None, None, False)
            if answer is None
            else BudgetStep(budget, answer.chosen, answer.gap, False)
        )
    return found


def masks(steps: list[BudgetStep], sites: int) -> NDArray[np.int64]:
    """Bit k of a site: whether step k (the first 0) funds it."""
    mask = np.zeros(sites, dtype=np.int64)
    for place, step in enumerate(steps):
        if step.chosen is not None:
            mask |= step.chosen.astype(np.int64) << place
    return mask
