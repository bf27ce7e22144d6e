"""The rules of [portfolio] and the list [[phase]], read against the table: groups, locks, faults."""

from __future__ import annotations

import difflib

import numpy as np
import pandas as pd

from planner.choice.portfolio import Flags, Phase, Rule
from planner.errors import Fault, PlanError, raise_if
from planner.glossary import glossary
from planner.plan import LoadedPlan
from planner.plan.phases import money_of
from planner.plan.text import place_of, text_of
from planner.tables.step import Finding

CENTS = 100


def look_at(sites: pd.DataFrame, shown: pd.DataFrame, plan: LoadedPlan) -> None:
    """Raise PlanError for site ids, columns and groups of [portfolio] that the inventory does not have."""
    if plan.plan.programme.budget is None and not plan.plan.phase:
        return
    rules = plan.plan.portfolio
    faults = []
    if money_of(plan.plan.programme.budget, plan.plan.phase) is None:
        place = place_of(["phase", "budget"], text_of(plan.path))
        expected = "a budget in every [[phase]], or one in [programme]"
        faults.append(Fault(str(plan.path), place, "no sum of money", expected))
    ids = set(sites["site_id"]) - {""}
    for key in ("locked_in", "locked_out"):
        for wanted in getattr(rules, key):
            if not rows_of(sites, wanted).any():
                faults.append(fault(plan, key, wanted, nearest(wanted, ids, "site id of the inventory, or row:17")))
    texts = {name for name, quantity in glossary().items() if quantity.dtype == "text"}
    names = {"sub_district"} | set(shown.columns) | texts
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(rules, key).items():
            if name not in names:
                expected = nearest(name, names, "column of the results, or one of [output] show_columns")
                faults.append(fault(plan, key, name, expected))
            elif isinstance(least, dict) and (groups := groups_of(sites, shown, name)) is not None:
                known = set(groups) - {""}
                unknown = [group for group in least if group not in known]
                faults += [fault(plan, key, group, nearest(group, known, f"value of {name}")) for group in unknown]
    raise_if(faults, PlanError)


def rows_of(sites: pd.DataFrame, wanted: str) -> pd.Series:
    """Rows with a site id, else the one of `row:17`."""
    found: pd.Series = (sites["site_id"] == wanted) & (wanted != "")
    if not found.any() and wanted.startswith("row:") and wanted[4:].isdecimal():
        found = pd.Series(sites.index == int(wanted[4:]), index=sites.index)
    return found


def groups_of(sites: pd.DataFrame, shown: pd.DataFrame, name: str) -> pd.Series | None:
    """The group of every row, "" for none; None for a column that is not there yet."""
    if name in shown.columns:
        return pd.Series(shown[name].to_numpy(), index=sites.index).astype("str")
    name = "sub_district_used" if name == "sub_district" else name
    return sites[name].astype("str") if name in sites.columns else None


def rules_of(sites: pd.DataFrame, shown: pd.DataFrame, order: pd.Index, plan: LoadedPlan) -> tuple[Rule, ...]:
    """The rules over the sites to equip, in the given order of rows."""
    rules = []
    for key in ("minimum_count", "minimum_share"):
        for name, least in getattr(plan.plan.portfolio, key).items():
            groups = groups_of(sites, shown, name)
            if groups is None:
                raise PlanError([fault(plan, key, name, "a column of the results")])
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


def phases_of(plan: LoadedPlan) -> tuple[Phase, ...]:
    """The phases with their money in cents."""
    return tuple(
        Phase(one.year, None if one.budget is None else in_cents(one.budget), one.sites_max) for one in plan.plan.phase
    )


def in_cents(money: float) -> int:
    """An amount that may be spent, in whole cents."""
    return int(np.floor(money * CENTS + 1e-6))


def _one_row(sites: pd.DataFrame, order: pd.Index, wanted: str, key: str, plan: LoadedPlan) -> pd.Index:
    """The row of a lock among the sites to equip, or none; two of one id are not told apart by us."""
    found = order.intersection(sites.index[rows_of(sites, wanted)])
    if len(found) > 1:
        rows = " or ".join(f"row:{row}" for row in sorted(found))
        raise PlanError([fault(plan, key, f"{wanted}, the id of {len(found)} sites to equip", rows, plain=True)])
    return found


def lock_findings(sites: pd.DataFrame, able: pd.Series, plan: LoadedPlan) -> list[Finding]:
    """The locks stay visible at their sites, with the reason that the plan gives."""
    findings = []
    for wanted, reason in plan.plan.portfolio.locked_in.items():
        rows = rows_of(sites, wanted)
        for row in sites.index[rows & able]:
            findings.append(Finding(int(row), sites["site_id"][row], "funding", "site_locked_in", "info", "", reason))
        if not (rows & able).any():
            row = sites.index[rows][0]
            was = str(sites["decision"][row])
            name = sites["site_id"][row]
            findings.append(Finding(int(row), name, "funding", "locked_in_not_equip", "warning", was, reason))
    for wanted, reason in plan.plan.portfolio.locked_out.items():
        for row in sites.index[rows_of(sites, wanted)]:
            findings.append(Finding(int(row), sites["site_id"][row], "funding", "site_locked_out", "info", "", reason))
    return findings


def fault(plan: LoadedPlan, key: str, found: str, expected: str, *, plain: bool = False) -> Fault:
    """A fault at a key of [portfolio]."""
    place = place_of(["portfolio", key], text_of(plan.path))
    return Fault(str(plan.path), place, found if plain else repr(found), expected)


def nearest(wanted: str, known: set[str], what: str) -> str:
    """What is right in place of an unknown name."""
    near = difflib.get_close_matches(wanted, sorted(known), n=1, cutoff=0.5)
    return f"{near[0]!r}, the nearest" if near else f"a {what}"
