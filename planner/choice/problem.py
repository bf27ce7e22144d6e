"""What is asked of a selection: sites with value and cost, a budget, rules, yearly phases; and whether a set obeys.

All amounts are whole numbers (cents, thousandths of the objective), so that sums are exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

SHARE_SLACK = 1e-9
NO_PHASE = -1


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
class Phase:
    """A year of the programme. budget: in the unit of cost; sites_max: how many can be built; None for no limit."""

    year: int
    budget: int | None = None
    sites_max: int | None = None


@dataclass(frozen=True)
class Problem:
    """value, cost, rank: whole numbers ≥ 0, one a site; ranks differ. budget: in the unit of cost, None for none.

    phases      each chosen site belongs to one of them, where there are any; a later phase counts as much
    carry_over  money that a phase leaves may be spent in later ones
    sites_max   most sites of all
    """

    value: Whole
    cost: Whole
    rank: Whole
    budget: int | None
    rules: tuple[Rule, ...] = ()
    phases: tuple[Phase, ...] = ()
    carry_over: bool = False
    sites_max: int | None = None

    def ordered(self, order: NDArray[np.intp]) -> Problem:
        """The same problem with its sites in another order."""
        rules = tuple(rule.ordered(order) for rule in self.rules)
        return replace(self, value=self.value[order], cost=self.cost[order], rank=self.rank[order], rules=rules)

    def as_one(self) -> Problem:
        """The same money and number of sites without phases: what it buys no division into phases can exceed."""
        most = [one.budget for one in self.phases]
        sums = [] if None in most else [sum(one for one in most if one is not None)]
        budgets = [*sums, *([] if self.budget is None else [self.budget])] if self.phases else [self.budget]
        sites = [one.sites_max for one in self.phases]
        caps = [sum(one for one in sites if one is not None)] if sites and None not in sites else []
        caps += [] if self.sites_max is None else [self.sites_max]
        known = [one for one in budgets if one is not None]
        return replace(
            self, phases=(), carry_over=False, budget=min(known, default=None), sites_max=min(caps, default=None)
        )

    @property
    def locked_out(self) -> Flags:
        """Sites that no set may hold."""
        out = np.zeros(self.cost.size, dtype=np.bool_)
        for rule in self.rules:
            if rule.locked_out is not None:
                out |= rule.locked_out
        return out

    @property
    def must_choose(self) -> bool:
        """Shares hold for the empty set, too: where one is asked for, an affordable site of value must not be given
        up."""
        if not any(rule.shares for rule in self.rules):
            return False
        return bool(np.any(self._affordable() & (self.value > 0) & ~self.locked_out))

    def _affordable(self) -> Flags:
        one = self.as_one()
        most = self.cost.max(initial=0) if one.budget is None else one.budget
        if not self.phases:
            return np.asarray((self.cost <= most) & (self.sites_max != 0))
        open_to = np.zeros(self.cost.size, dtype=np.bool_)
        carried: float = 0
        for phase in self.phases:
            limit = (np.inf if phase.budget is None else phase.budget) + (carried if self.carry_over else 0)
            carried = limit
            if phase.sites_max != 0:
                open_to |= self.cost <= min(limit, most)
        return open_to


@dataclass(frozen=True)
class Selection:
    """chosen: one flag a site; gap: relative, proven; ties: whether lower cost, lower ranks and earlier phases were
    settled, too; phase: place in Problem.phases of each chosen site, NO_PHASE of the others."""

    chosen: Flags
    gap: float
    optimal: bool
    ties: bool
    phase: Whole


def keeps(problem: Problem, chosen: Flags, phase: Whole | None = None) -> bool:
    """Whether a set keeps budget, phases and rules, in whole numbers."""
    if problem.budget is not None and int(problem.cost[chosen].sum()) > problem.budget:
        return False
    allowed = ~problem.locked_out
    if np.any(chosen & ~allowed):
        return False
    total = int(chosen.sum())
    if problem.sites_max is not None and total > problem.sites_max:
        return False
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
    if problem.phases and not _keeps_phases(problem, chosen, phase):
        return False
    return total > 0 or not problem.must_choose


def _keeps_phases(problem: Problem, chosen: Flags, phase: Whole | None) -> bool:
    if phase is None or np.any((phase >= 0) != chosen):
        return False
    spent = limit = 0
    bounded = True
    for place, one in enumerate(problem.phases):
        members = phase == place
        if one.sites_max is not None and int(members.sum()) > one.sites_max:
            return False
        cost = int(problem.cost[members].sum())
        spent, limit = (spent + cost, limit + (one.budget or 0)) if problem.carry_over else (cost, one.budget or 0)
        bounded = one.budget is not None and (bounded or not problem.carry_over)
        if bounded and spent > limit:
            return False
    return True


def in_rank_order(problem: Problem) -> Flags:
    """Sites by rank, passing over each that no longer fits into the budget; no rule is kept, and money is one."""
    one = problem.as_one()
    chosen = np.zeros(problem.cost.size, dtype=np.bool_)
    left = int(problem.cost.sum()) if one.budget is None else one.budget
    for site in np.argsort(problem.rank, kind="stable"):
        if problem.cost[site] <= left and (one.sites_max is None or chosen.sum() < one.sites_max):
            chosen[site] = True
            left -= int(problem.cost[site])
    return chosen
