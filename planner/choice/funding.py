"""Which sites the budget buys, in which year, and what each rule costs: the selection over the table of sites."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from planner.choice.budget_steps import BudgetStep, budget_steps, masks
from planner.choice.funding_rules import (
    CENTS,
    groups_of,
    in_cents,
    lock_findings,
    look_at,
    phases_of,
    rows_of,
    rules_of,
)
from planner.choice.funding_words import ALL_RULES, PHASES, clash_of, programme_lines
from planner.choice.portfolio import Flags, Problem, Rule, Selection, in_rank_order, select
from planner.plan import LoadedPlan
from planner.plan.phases import money_of
from planner.tables.step import Finding
from planner.texts import Said

__all__ = ["RESERVE", "Funding", "fund", "look_at", "problem_of"]

RESERVE = 20
VALUE_UNITS = 1000  # thousandths of a person, or of a cubic metre a day
TOLD = ("site_id", "capital_cost", "people_served", "volume_used_m3_day")
OBJECTIVE = {"people_served": "people_served", "volume_used": "volume_used_m3_day"}


@dataclass(frozen=True)
class Funding:
    """column: funded, reserve or empty, by inventory_row; phase: year in which a funded site is built; mask: bit k of a
    site to equip, whether budget step k funds it; record: for run.json, None without a budget; lines: the record in
    words; steps: of other budgets, for run.json."""

    column: pd.Series
    phase: pd.Series
    mask: pd.Series
    findings: list[Finding] = field(default_factory=list)
    record: dict[str, Any] | None = None
    lines: list[Said] = field(default_factory=list)
    steps: list[dict[str, Any]] = field(default_factory=list)


def able_to_fund(sites: pd.DataFrame) -> pd.Series:
    """Whether a row is to be equipped, with rank and cost."""
    return (sites["decision"] == "equip") & sites["rank"].notna() & sites["capital_cost"].notna()


def problem_of(sites: pd.DataFrame, shown: pd.DataFrame, plan: LoadedPlan) -> tuple[Problem, pd.Index]:
    """The selection that the plan asks for, and the row of each of its sites, by rank.

    sites  as for fund(); value in thousandths, cost in cents
    """
    able = able_to_fund(sites)
    order = sites.index[able][np.argsort(sites.loc[able, "rank"].to_numpy(), kind="stable")]
    table = sites.loc[order, [_objective(plan), "capital_cost", "rank"]]
    budget = plan.plan.programme.budget
    problem = Problem(
        np.rint(table[_objective(plan)].fillna(0.0).to_numpy() * VALUE_UNITS).astype(np.int64),
        np.ceil(table["capital_cost"].to_numpy() * CENTS - 1e-6).astype(np.int64),  # never above the budget
        table["rank"].to_numpy().astype(np.int64),
        None if budget is None else in_cents(budget),
        rules_of(sites, shown, order, plan),
        phases_of(plan),
        plan.plan.portfolio.carry_over,
    )
    return problem, order


def fund(sites: pd.DataFrame, shown: pd.DataFrame, plan: LoadedPlan) -> Funding:
    """The funded programme: the best set of `equip` sites under budget, phases and rules, and the next 20 in reserve.

    sites  site_id, decision, rank, capital_cost, people_served, volume_used_m3_day, sub_district_used and the columns
           of the rules, by inventory_row; shown: columns of the inventory as text, row by row
    Raises PlanError where rules clash, naming which.
    """
    column = pd.Series("", index=sites.index, dtype="str")
    year, mask = (pd.Series(np.nan, index=sites.index) for _ in range(2))
    look_at(sites, shown, plan)
    money = money_of(plan.plan.programme.budget, plan.plan.phase)
    if money is None:
        return Funding(column, year, mask)
    able = able_to_fund(sites)
    problem, order = problem_of(sites, shown, plan)
    table = sites.loc[order, [*TOLD]]
    findings = [*lock_findings(sites, able, plan), *_unknown_people(table, plan)]
    found = select(problem)
    if found is None:
        raise clash_of(problem, plan)
    column[order[found.chosen]] = "funded"
    out = {row for rule in problem.rules if rule.locked_out is not None for row in order[rule.locked_out]}
    column[[row for row in order[~found.chosen] if row not in out][:RESERVE]] = "reserve"
    for place, phase in enumerate(problem.phases):
        year[order[found.phase == place]] = float(phase.year)
    steps = budget_steps(problem, found.chosen, found.gap)
    mask[order] = masks(steps, len(order)).astype("float64")
    value = int(problem.value[found.chosen].sum())
    record = {
        "budget": money,
        "objective": plan.plan.portfolio.objective,
        **_totals(table, found.chosen),
        "reserve": int((column == "reserve").sum()),
        "gap": found.gap if np.isfinite(found.gap) else None,
        "status": "optimal" if found.optimal else "stopped before it was proven",
        "ties_settled": found.ties,
        "people_unknown": int(table["people_served"].isna().sum()),
        "phases": _phase_record(table, found, plan),
        "carry_over": plan.plan.portfolio.carry_over,
        "price_of_rules": [
            *(_price(problem, rule, value) for rule in problem.rules),
            *_price_of_phases(problem, value),
        ],
        "without_rules": _price(problem, None, value) if len(problem.rules) > 1 else None,
        "rank_order": _totals(table, in_rank_order(problem)),
        "floors": _floors(sites, shown, column, out, able, plan),
        "locks": _lock_record(sites, column, plan),
    }
    lines = programme_lines(record, plan.plan.programme.currency)
    return Funding(column, year, mask, findings, record, lines, [_step_record(table, step) for step in steps])


def _objective(plan: LoadedPlan) -> str:
    return OBJECTIVE[plan.plan.portfolio.objective]


def _phase_record(table: pd.DataFrame, found: Selection, plan: LoadedPlan) -> list[dict[str, Any]]:
    return [
        {"year": one.year, "budget": one.budget, "sites_max": one.sites_max, **_totals(table, found.phase == place)}
        for place, one in enumerate(plan.plan.phase)
    ]


def _step_record(table: pd.DataFrame, step: BudgetStep) -> dict[str, Any]:
    kept = step.chosen is not None
    chosen = np.zeros(len(table), dtype=np.bool_) if step.chosen is None else step.chosen
    gap = step.gap if step.gap is not None and np.isfinite(step.gap) else None
    return {"budget": step.budget / CENTS, "own": step.own, "rules_kept": kept, **_totals(table, chosen), "gap": gap}


def _unknown_people(table: pd.DataFrame, plan: LoadedPlan) -> list[Finding]:
    if plan.plan.portfolio.objective != "people_served":
        return []
    unknown = table.index[table["people_served"].isna()]
    return [
        Finding(int(row), table["site_id"][row], "people_served", "people_unknown_in_budget", "info", "", "0")
        for row in unknown
    ]


def _totals(table: pd.DataFrame, chosen: Flags) -> dict[str, Any]:
    part = table[chosen]
    return {
        "sites": len(part),
        "spent": round(float(part["capital_cost"].sum()), 2),
        "people_served": round(float(part["people_served"].sum()), 3),
        "volume_used_m3_day": round(float(part["volume_used_m3_day"].sum()), 3),
    }


def _price(problem: Problem, rule: Rule | None, value: int) -> dict[str, Any]:
    """What the objective would be more without a rule, or without any; None where the other rules then clash."""
    others = () if rule is None else tuple(one for one in problem.rules if one is not rule)
    return _lost(replace(problem, rules=others), ALL_RULES if rule is None else rule.name, value)


def _price_of_phases(problem: Problem, value: int) -> list[dict[str, Any]]:
    """What the same money would buy more if it could be spent in one year."""
    if not problem.phases:
        return []
    years = ", ".join(str(phase.year) for phase in problem.phases)
    return [_lost(replace(problem.as_one(), sites_max=None), f"{PHASES}{years}", value)]


def _lost(problem: Problem, rule: str, value: int) -> dict[str, Any]:
    free = select(problem, settle_ties=False)
    lost = None if free is None else (int(problem.value[free.chosen].sum()) - value) / VALUE_UNITS
    return {"rule": rule, "objective_lost": lost}


def _floors(
    sites: pd.DataFrame, shown: pd.DataFrame, column: pd.Series, out: set[int], able: pd.Series, plan: LoadedPlan
) -> list[dict[str, Any]]:
    """Each group of each floor: what is asked, what there is to equip, what is funded."""
    may = able & ~sites.index.isin(list(out))
    found = []
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(plan.plan.portfolio, key).items():
            groups = groups_of(sites, shown, name)
            if groups is None:
                continue
            for group in sorted(set(groups) - {""}):
                asked = least.get(group) if isinstance(least, dict) else least
                if asked is not None:
                    there = groups == group
                    numbers = {"available": int((there & may).sum()), "funded": int((column[there] == "funded").sum())}
                    found.append({"rule": f"{key} {name}", "group": group, "asked": asked, **numbers})
    return found


def _lock_record(sites: pd.DataFrame, column: pd.Series, plan: LoadedPlan) -> list[dict[str, Any]]:
    return [
        {"lock": key, "site": wanted, "inventory_row": int(row), "funding": str(column[row]), "reason": reason}
        for key in ("locked_in", "locked_out")
        for wanted, reason in getattr(plan.plan.portfolio, key).items()
        for row in sites.index[rows_of(sites, wanted)]
    ]
