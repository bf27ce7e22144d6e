"""The scenarios of a plan, each through the same pipeline as the plan itself, and what moves in them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from planner.choice.moves import Between, moves, summary, totals
from planner.errors import PlanError
from planner.plan import LoadedPlan, LoadedScenario

Tell = Callable[[str], None]
LISTED = 20  # sites by name in a line; scenarios.csv has all
SITE_NAMES = ("site_id", "site_name", "sub_district")


@dataclass(frozen=True)
class Computed:
    """A plan's results before they are written: sites and their checks, both by inventory_row."""

    sites: pd.DataFrame
    checks: pd.DataFrame


@dataclass(frozen=True)
class WhatIf:
    """What the scenarios of a run give.

    records  of run.json, one a scenario; table: scenarios.csv; rows: the table of the page, the plan itself first;
    lines: for the terminal
    """

    records: list[dict[str, Any]] = field(default_factory=list)
    table: pd.DataFrame = field(default_factory=pd.DataFrame)
    rows: list[dict[str, Any]] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


def what_if(
    plan: LoadedPlan, base: Computed, compute: Callable[[LoadedScenario], Computed], tell: Tell = lambda _: None
) -> WhatIf:
    """Compute each scenario and hold it against the plan. One whose rules clash is told and has no result."""
    found = WhatIf()
    if not plan.scenarios:
        return found
    money = plan.plan.programme.currency
    found.rows.append({"name": "", "changes": [], "totals": totals(base.sites), "clash": "", "in": [], "out": []})
    tables = []
    for scenario in plan.scenarios:
        started = time.perf_counter()
        record: dict[str, Any] = {
            "name": scenario.name,
            "changes": [{"key": one.key, "from": one.old, "to": one.new} for one in scenario.changes],
        }
        row: dict[str, Any] = {"name": scenario.name, "changes": list(map(str, scenario.changes)), "clash": ""}
        try:
            done = compute(scenario)
        except PlanError as error:
            clash = "; ".join(f"{fault.found}; expected {fault.expected}" for fault in error.faults)
            found.records.append(record | {"status": "clash", "clash": clash})
            found.rows.append(row | {"totals": None, "clash": clash, "in": [], "out": []})
            found.lines.append(f"scenario {scenario.name}: not computed, {clash}")
            continue
        between = Between(scenario.changes, money, checks=(base.checks, done.checks))
        moved = moves(base.sites, done.sites, between)
        told = summary(base.sites, done.sites, moved)
        sums = totals(done.sites)
        lists = {key: _named(base.sites, rows) for key, rows in told.items() if isinstance(rows, list)}
        found.records.append(record | {"status": "computed", "totals": sums, **told, **lists})
        by_budget = plan.plan.programme.budget is not None or scenario.loaded.plan.programme.budget is not None
        word = "funded" if by_budget else "equip"
        found.rows.append(
            row
            | {"totals": sums}
            | {key: _labels(lists[f"{way}_{word}"]) for key, way in (("in", "into"), ("out", "out_of"))}
        )
        found.lines.append(_line(scenario, sums, told, word, money))
        named = base.sites.loc[moved.index, list(SITE_NAMES)]
        tables.append(pd.concat([named, moved], axis=1).assign(scenario=scenario.name))
        tell(f"scenario {scenario.name}: {len(moved)} sites move, {time.perf_counter() - started:.1f} s")
    table = pd.concat(tables).rename_axis("inventory_row").reset_index() if tables else _no_rows(base.sites)
    return WhatIf(found.records, table[["scenario", *table.columns.drop("scenario")]], found.rows, found.lines)


def _no_rows(sites: pd.DataFrame) -> pd.DataFrame:
    none = sites.iloc[:0]
    moved = pd.concat([none[list(SITE_NAMES)], moves(none, none, Between())], axis=1)
    return moved.assign(scenario="").rename_axis("inventory_row").reset_index()


def _named(sites: pd.DataFrame, rows: Sequence[Any]) -> list[dict[str, Any]]:
    return [{"inventory_row": int(row), "site_id": str(sites.at[row, "site_id"])} for row in rows]


def _labels(sites: list[dict[str, Any]]) -> list[str]:
    """Site ids for a line, else the row; the last says how many are left out."""
    names = [one["site_id"] or f"row {one['inventory_row']}" for one in sites[:LISTED]]
    return [*names, *([f"{len(sites) - LISTED} more"] if len(sites) > LISTED else [])]


def _line(scenario: LoadedScenario, sums: dict[str, Any], told: dict[str, Any], word: str, money: str) -> str:
    change = told["cost_change_median"]
    way = "" if change is None else f"{round(change, 3) + 0.0:+.1%}"  # never -0.0 %
    cost = f", median cost of water {way} over {told['cost_compared']} sites" if way else ""
    return (
        f"scenario {scenario.name}: {sums['equip']} to equip, {sums['funded']} funded for "
        f"{sums['funded_capital_cost']:.0f} {money}, {sums['funded_people_served']:.0f} people; "
        f"{len(told[f'into_{word}'])} into {word}, {len(told[f'out_of_{word}'])} out{cost}"
    )
