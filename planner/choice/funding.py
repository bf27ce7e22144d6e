"""Which sites the budget buys: rules of [portfolio] read against the table, the selection, and what each rule costs."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from planner.choice.portfolio import Flags, Problem, Rule, clash, in_rank_order, least_cost, select
from planner.errors import Fault, PlanError, raise_if
from planner.glossary import glossary
from planner.plan import LoadedPlan
from planner.plan.text import place_of, text_of
from planner.tables.step import Finding

RESERVE = 20
VALUE_UNITS = 1000  # thousandths of a person, or of a cubic metre a day
CENTS = 100
OBJECTIVE = {"people_served": "people_served", "volume_used": "volume_used_m3_day"}


@dataclass(frozen=True)
class Funding:
    """column: funded, reserve or empty, by inventory_row; record: for run.json, None without a budget; lines: the
    record in words."""

    column: pd.Series
    findings: list[Finding] = field(default_factory=list)
    record: dict[str, Any] | None = None
    lines: list[str] = field(default_factory=list)


def look_at(sites: pd.DataFrame, shown: pd.DataFrame, plan: LoadedPlan) -> None:
    """Raise PlanError for site ids, columns and groups of [portfolio] that the inventory does not have."""
    if plan.plan.programme.budget is None:
        return
    rules = plan.plan.portfolio
    faults = []
    ids = set(sites["site_id"]) - {""}
    for key in ("locked_in", "locked_out"):
        for wanted in getattr(rules, key):
            if not _rows(sites, wanted).any():
                faults.append(_fault(plan, key, wanted, _nearest(wanted, ids, "site id of the inventory, or row:17")))
    texts = {name for name, quantity in glossary().items() if quantity.dtype == "text"}
    names = {"sub_district"} | set(shown.columns) | texts
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(rules, key).items():
            if name not in names:
                expected = _nearest(name, names, "column of the results, or one of [output] show_columns")
                faults.append(_fault(plan, key, name, expected))
            elif isinstance(least, dict) and (groups := _groups(sites, shown, name)) is not None:
                known = set(groups) - {""}
                unknown = [group for group in least if group not in known]
                faults += [_fault(plan, key, group, _nearest(group, known, f"value of {name}")) for group in unknown]
    raise_if(faults, PlanError)


def fund(sites: pd.DataFrame, shown: pd.DataFrame, plan: LoadedPlan) -> Funding:
    """The funded programme: the best set of `equip` sites under budget and rules, and the next 20 in reserve.

    sites  site_id, decision, rank, capital_cost, people_served, volume_used_m3_day, sub_district_used and the columns
           of the rules, by inventory_row; shown: columns of the inventory as text, row by row
    Raises PlanError where rules clash, naming which.
    """
    column = pd.Series("", index=sites.index, dtype="str")
    budget = plan.plan.programme.budget
    if budget is None:
        return Funding(column)
    look_at(sites, shown, plan)
    able = (sites["decision"] == "equip") & sites["rank"].notna() & sites["capital_cost"].notna()
    order = sites.index[able][np.argsort(sites.loc[able, "rank"].to_numpy(), kind="stable")]
    table = sites.loc[order]
    findings = [*_locks(sites, able, plan), *_unknown_people(table, plan)]
    problem = Problem(
        np.rint(table[_objective(plan)].fillna(0.0).to_numpy() * VALUE_UNITS).astype(np.int64),
        np.ceil(table["capital_cost"].to_numpy() * CENTS - 1e-6).astype(np.int64),  # never above the budget
        table["rank"].to_numpy().astype(np.int64),
        int(np.floor(budget * CENTS + 1e-6)),
        _rules(sites, shown, order, plan),
    )
    found = select(problem)
    if found is None:
        raise PlanError([_clash(problem, plan)])
    column[order[found.chosen]] = "funded"
    out = {row for rule in problem.rules if rule.locked_out is not None for row in order[rule.locked_out]}
    column[[row for row in order[~found.chosen] if row not in out][:RESERVE]] = "reserve"
    totals = _totals(table, found.chosen)
    value = int(problem.value[found.chosen].sum())
    record = {
        "budget": budget,
        "objective": plan.plan.portfolio.objective,
        **totals,
        "reserve": int((column == "reserve").sum()),
        "gap": found.gap if np.isfinite(found.gap) else None,
        "status": "optimal" if found.optimal else "stopped before it was proven",
        "ties_settled": found.ties,
        "people_unknown": int(table["people_served"].isna().sum()),
        "price_of_rules": [_price(problem, rule, value) for rule in problem.rules],
        "without_rules": _price(problem, None, value) if len(problem.rules) > 1 else None,
        "rank_order": _totals(table, in_rank_order(problem)),
        "floors": _floors(sites, shown, column, out, able, plan),
        "locks": _lock_record(sites, column, plan),
    }
    return Funding(column, findings, record, _lines(record, plan))


def _objective(plan: LoadedPlan) -> str:
    return OBJECTIVE[plan.plan.portfolio.objective]


def _rows(sites: pd.DataFrame, wanted: str) -> pd.Series:
    """Rows with a site id, else the one of `row:17`."""
    found: pd.Series = (sites["site_id"] == wanted) & (wanted != "")
    if not found.any() and wanted.startswith("row:") and wanted[4:].isdecimal():
        found = pd.Series(sites.index == int(wanted[4:]), index=sites.index)
    return found


def _groups(sites: pd.DataFrame, shown: pd.DataFrame, name: str) -> pd.Series | None:
    """The group of every row, "" for none; None for a column that is not there yet."""
    if name in shown.columns:
        return pd.Series(shown[name].to_numpy(), index=sites.index).astype("str")
    name = "sub_district_used" if name == "sub_district" else name
    return sites[name].astype("str") if name in sites.columns else None


def _rules(sites: pd.DataFrame, shown: pd.DataFrame, order: pd.Index, plan: LoadedPlan) -> tuple[Rule, ...]:
    rules = []
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(plan.plan.portfolio, key).items():
            groups = _groups(sites, shown, name)
            if groups is None:
                raise PlanError([_fault(plan, key, name, "a column of the results")])
            of = groups.loc[order].to_numpy()
            if isinstance(least, dict):
                made = [
                    (f"{key} {name} {group} = {number}", [(of == group, number)]) for group, number in least.items()
                ]
            else:
                known = sorted(set(of) - {""})
                made = [(f"{key} {name} = {least}", [(of == group, least) for group in known])]
            for title, parts in made:
                rules.append(
                    Rule(title, counts=tuple(parts))
                    if key == "minimum_count"
                    else Rule(title, shares=tuple((members, float(share)) for members, share in parts))
                )
    for key in ("locked_in", "locked_out"):
        flags: Flags = np.zeros(len(order), dtype=np.bool_)
        for wanted in getattr(plan.plan.portfolio, key):
            flags |= order.isin(_one_row(sites, order, wanted, key, plan))
        if flags.any():
            name = f"{key} ({int(flags.sum())})"
            rules.append(Rule(name, locked_in=flags) if key == "locked_in" else Rule(name, locked_out=flags))
    return tuple(rules)


def _one_row(sites: pd.DataFrame, order: pd.Index, wanted: str, key: str, plan: LoadedPlan) -> pd.Index:
    """The row of a lock among the sites to equip, or none; two of one id are not told apart by us."""
    found = order.intersection(sites.index[_rows(sites, wanted)])
    if len(found) > 1:
        rows = " or ".join(f"row:{row}" for row in sorted(found))
        raise PlanError([_fault(plan, key, f"{wanted}, the id of {len(found)} sites to equip", rows, plain=True)])
    return found


def _locks(sites: pd.DataFrame, able: pd.Series, plan: LoadedPlan) -> list[Finding]:
    """The locks stay visible at their sites, with the reason that the plan gives."""
    findings = []
    for wanted, reason in plan.plan.portfolio.locked_in.items():
        rows = _rows(sites, wanted)
        for row in sites.index[rows & able]:
            findings.append(Finding(int(row), sites["site_id"][row], "funding", "site_locked_in", "info", "", reason))
        if not (rows & able).any():
            row = sites.index[rows][0]
            was = str(sites["decision"][row])
            name = sites["site_id"][row]
            findings.append(Finding(int(row), name, "funding", "locked_in_not_equip", "warning", was, reason))
    for wanted, reason in plan.plan.portfolio.locked_out.items():
        for row in sites.index[_rows(sites, wanted)]:
            findings.append(Finding(int(row), sites["site_id"][row], "funding", "site_locked_out", "info", "", reason))
    return findings


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
    free = select(replace(problem, rules=others), settle_ties=False)
    lost = None if free is None else (int(problem.value[free.chosen].sum()) - value) / VALUE_UNITS
    return {"rule": "all rules" if rule is None else rule.name, "objective_lost": lost}


def _floors(
    sites: pd.DataFrame, shown: pd.DataFrame, column: pd.Series, out: set[int], able: pd.Series, plan: LoadedPlan
) -> list[dict[str, Any]]:
    """Each group of each floor: what is asked, what there is to equip, what is funded."""
    may = able & ~sites.index.isin(list(out))
    found = []
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(plan.plan.portfolio, key).items():
            groups = _groups(sites, shown, name)
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
        for row in sites.index[_rows(sites, wanted)]
    ]


def _lines(record: dict[str, Any], plan: LoadedPlan) -> list[str]:
    """The record in a few plain sentences, for the terminal and the map."""
    money = plan.plan.programme.currency
    by_people = record["objective"] == "people_served"
    unit = "people served" if by_people else "m³ a day"

    def bought(totals: dict[str, Any]) -> str:
        people, water = f"{_whole(totals['people_served'])} people", f"{_whole(totals['volume_used_m3_day'])} m³ a day"
        return f"{_whole(totals['sites'])} sites for {_whole(totals['spent'])} {money}, {people}, {water}"

    lines = [f"Budget {_whole(record['budget'])} {money}: funded {bought(record)}; reserve {record['reserve']}."]
    gap = "unknown" if record["gap"] is None else f"{record['gap']:.2g}"
    proof = "the most that can be" if record["status"] == "optimal" else f"{record['status']}"
    lines.append(f"Chosen for {'people served' if by_people else 'water used'}: {proof} (relative gap {gap}).")
    lines.append(f"In plain rank order, without rules, the budget would fund {bought(record['rank_order'])}.")
    for one in [*record["price_of_rules"], *filter(None, [record["without_rules"]])]:
        lost = one["objective_lost"]
        cost = "the others clash without it" if lost is None else f"costs {_whole(max(lost, 0.0))} {unit}"
        lines.append(f"{one['rule']}: {cost}.")
    short = [one for one in record["floors"] if "count" in one["rule"] and one["available"] < one["asked"]]
    if short:
        parts = ", ".join(f"{one['group']} ({one['available']} of {one['asked']})" for one in short)
        lines.append(f"Fewer sites to equip than the floor asks for: {parts}.")
    if by_people and record["people_unknown"]:
        lines.append(f"{record['people_unknown']} sites to equip have no count of people; they count 0.")
    return lines


def _whole(number: float) -> str:
    return f"{number:,.0f}".replace(",", " ")


def _clash(problem: Problem, plan: LoadedPlan) -> Fault:
    rules, with_budget = clash(problem)
    names = [rule.name for rule in rules]
    money = plan.plan.programme.currency
    expected = "one of them relaxed"
    if with_budget:
        names.append(f"budget {_whole(plan.plan.programme.budget or 0.0)} {money}")
        least = least_cost(replace(problem, rules=rules))
        if least is not None:
            expected += f", or a budget of at least {_whole(np.ceil(least / CENTS))} {money}"
    key = rules[0].name.split()[0] if rules else "minimum_count"
    return _fault(plan, key, "rules that clash: " + "; ".join(names), expected, plain=True)


def _fault(plan: LoadedPlan, key: str, found: str, expected: str, *, plain: bool = False) -> Fault:
    place = place_of(["portfolio", key], text_of(plan.path))
    return Fault(str(plan.path), place, found if plain else repr(found), expected)


def _nearest(wanted: str, known: set[str], what: str) -> str:
    near = difflib.get_close_matches(wanted, sorted(known), n=1, cutoff=0.5)
    return f"{near[0]!r}, the nearest" if near else f"a {what}"
