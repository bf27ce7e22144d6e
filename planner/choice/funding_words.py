"""The programme in plain sentences, for whoever reads its results; and what to say where rules clash."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from planner.choice.funding_rules import CENTS, fault
from planner.choice.portfolio import Problem, clash, least_cost
from planner.errors import Fault, PlanError
from planner.plan import LoadedPlan
from planner.texts import Figure, Listed, Said, Value, counted, said

ALL_RULES, PHASES = "all rules", "phases "


def programme_lines(record: dict[str, Any], money: str) -> list[Said]:
    """The record of fund() in a few sentences; money: the currency."""
    by_people = record["objective"] == "people_served"
    stem = "people" if by_people else "water"

    def bought(key: str, totals: dict[str, Any], **more: Value) -> Said:
        spent, people, water = (Figure(totals[name]) for name in ("spent", "people_served", "volume_used_m3_day"))
        return counted(key, totals["sites"], spent=spent, money=money, people=people, water=water, **more)

    budget = Figure(record["budget"])
    lines = [bought("budget_funded", record, budget=budget, reserve=record["reserve"])]
    for one in record["phases"]:
        limit = {} if one["budget"] is None else {"limit": Figure(one["budget"])}
        most = {} if one["sites_max"] is None else {"most": one["sites_max"]}
        kind = "_both" if limit and most else "_money" if limit else "_sites" if most else ""
        lines.append(bought(f"budget_phase{kind}", one, year=str(one["year"]), **limit, **most))
    if record["phases"]:
        lines.append(said("budget_carried" if record["carry_over"] else "budget_not_carried"))
    gap = said("budget_gap_unknown") if record["gap"] is None else Figure(record["gap"], ".2g")
    proof = "proven" if record["status"] == "optimal" else "stopped"
    lines.append(said(f"budget_chosen_{stem}_{proof}", gap=gap))
    lines.append(bought("budget_rank_order", record["rank_order"]))
    for one in [*record["price_of_rules"], *filter(None, [record["without_rules"]])]:
        lost, rule = one["objective_lost"], rule_words(one["rule"])
        if lost is None:
            lines.append(said("budget_price_clash", rule=rule))
        else:
            lines.append(said(f"budget_price_{stem}", rule=rule, lost=Figure(max(lost, 0.0))))
    short = [one for one in record["floors"] if "count" in one["rule"] and one["available"] < one["asked"]]
    if short:
        groups = (
            said("budget_floor_group", group=one["group"], available=one["available"], asked=one["asked"])
            for one in short
        )
        lines.append(said("budget_floor_short", groups=Listed(tuple(groups))))
    if by_people and record["people_unknown"]:
        lines.append(counted("budget_people_unknown", record["people_unknown"]))
    return lines


def rule_words(rule: str) -> Value:
    """The name of a rule in a sentence: keys of the plan stay as they are written there."""
    if rule == ALL_RULES:
        return said("budget_all_rules")
    return said("budget_phases", years=rule.removeprefix(PHASES)) if rule.startswith(PHASES) else rule


def whole(number: float) -> str:
    """A number without decimals, thousands apart, for terminal and faults."""
    return Figure(number).text()


class ClashError(PlanError):
    """Rules that cannot be kept together; told: the same as a sentence in any language."""

    def __init__(self, fault: Fault, told: Said) -> None:
        super().__init__([fault])
        self.told = told


def clash_of(problem: Problem, plan: LoadedPlan) -> ClashError:
    """The rules, phases and budget that cannot be kept together, and what would be enough."""
    found = clash(problem)
    names: list[Value] = [rule_words(rule.name) for rule in found.rules]
    money = plan.plan.programme.currency
    for year, limit in found.phases:
        phase = next(one for one in plan.plan.phase if one.year == year)
        if limit == "budget":
            amount = Figure(phase.budget or 0.0)
            names.append(said("budget_clash_phase_money", year=str(year), amount=amount, money=money))
        else:
            names.append(said("budget_clash_phase_sites", year=str(year), most=str(phase.sites_max)))
    expected = said("budget_clash_relax")
    if found.budget:
        names.append(said("budget_clash_budget", amount=Figure(plan.plan.programme.budget or 0.0), money=money))
        least = None if found.phases else least_cost(replace(problem, rules=found.rules, phases=(), sites_max=None))
        if least is not None:
            expected = said("budget_clash_relax_budget", amount=Figure(np.ceil(least / CENTS)), money=money)
    elif found.phases and all(limit == "budget" for _, limit in found.phases):
        least = least_cost(replace(problem, rules=found.rules, phases=(), sites_max=None))
        if least is not None and least > sum(one.budget or 0 for one in problem.phases):
            expected = said("budget_clash_relax_phases", amount=Figure(np.ceil(least / CENTS)), money=money)
    key = found.rules[0].name.split()[0] if found.rules else "minimum_count"
    rules = said("budget_clash", rules=Listed(tuple(names), "; "))
    told = said("budget_clash_told", found=rules, expected=expected)
    return ClashError(fault(plan, key, rules.text(), expected.text(), plain=True), told)
