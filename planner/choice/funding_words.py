"""The programme in plain sentences, for the terminal and the map; and what to say where rules clash."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from planner.choice.funding_rules import CENTS, fault
from planner.choice.portfolio import Problem, clash, least_cost
from planner.errors import Fault
from planner.plan import LoadedPlan


def programme_lines(record: dict[str, Any], money: str) -> list[str]:
    """The record of fund() in a few sentences; money: the currency."""
    by_people = record["objective"] == "people_served"
    unit = "people served" if by_people else "m³ a day"

    def bought(totals: dict[str, Any]) -> str:
        people, water = f"{whole(totals['people_served'])} people", f"{whole(totals['volume_used_m3_day'])} m³ a day"
        return f"{whole(totals['sites'])} sites for {whole(totals['spent'])} {money}, {people}, {water}"

    lines = [f"Budget {whole(record['budget'])} {money}: funded {bought(record)}; reserve {record['reserve']}."]
    for one in record["phases"]:
        limits = [] if one["budget"] is None else [f"{whole(one['budget'])} {money}"]
        limits += [] if one["sites_max"] is None else [f"{one['sites_max']} sites"]
        of = f" (at most {', '.join(limits)})" if limits else ""
        lines.append(f"{one['year']}{of}: {bought(one)}.")
    if record["phases"]:
        left = "can be spent in later ones" if record["carry_over"] else "is not spent in another"
        lines.append(f"A later phase counts as much as an early one; money that a phase leaves {left}.")
    gap = "unknown" if record["gap"] is None else f"{record['gap']:.2g}"
    proof = "the most that can be" if record["status"] == "optimal" else f"{record['status']}"
    lines.append(f"Chosen for {'people served' if by_people else 'water used'}: {proof} (relative gap {gap}).")
    lines.append(f"In plain rank order, without rules, the budget would fund {bought(record['rank_order'])}.")
    for one in [*record["price_of_rules"], *filter(None, [record["without_rules"]])]:
        lost = one["objective_lost"]
        cost = "the others clash without it" if lost is None else f"costs {whole(max(lost, 0.0))} {unit}"
        lines.append(f"{one['rule']}: {cost}.")
    short = [one for one in record["floors"] if "count" in one["rule"] and one["available"] < one["asked"]]
    if short:
        parts = ", ".join(f"{one['group']} ({one['available']} of {one['asked']})" for one in short)
        lines.append(f"Fewer sites to equip than the floor asks for: {parts}.")
    if by_people and record["people_unknown"]:
        lines.append(f"{record['people_unknown']} sites to equip have no count of people; they count 0.")
    return lines


def whole(number: float) -> str:
    """A number without decimals, thousands apart."""
    return f"{number:,.0f}".replace(",", " ")


def clash_fault(problem: Problem, plan: LoadedPlan) -> Fault:
    """The rules, phases and budget that cannot be kept together, and what would be enough."""
    found = clash(problem)
    names = [rule.name for rule in found.rules]
    money = plan.plan.programme.currency
    for year, limit in found.phases:
        phase = next(one for one in plan.plan.phase if one.year == year)
        amount = f"{whole(phase.budget or 0.0)} {money}" if limit == "budget" else str(phase.sites_max)
        names.append(f"phase {year} {limit} {amount}")
    expected = "one of them relaxed"
    if found.budget:
        names.append(f"budget {whole(plan.plan.programme.budget or 0.0)} {money}")
        least = None if found.phases else least_cost(replace(problem, rules=found.rules, phases=(), sites_max=None))
        if least is not None:
            expected += f", or a budget of at least {whole(np.ceil(least / CENTS))} {money}"
    elif found.phases and all(limit == "budget" for _, limit in found.phases):
        least = least_cost(replace(problem, rules=found.rules, phases=(), sites_max=None))
        if least is not None and least > sum(one.budget or 0 for one in problem.phases):
            expected += f", or phases of at least {whole(np.ceil(least / CENTS))} {money} together"
    key = found.rules[0].name.split()[0] if found.rules else "minimum_count"
    return fault(plan, key, "rules that clash: " + "; ".join(names), expected, plain=True)
