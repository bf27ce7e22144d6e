"""The scenarios of a plan, each through the same pipeline as the plan itself, and what moves in them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from planner.choice.funding_words import ClashError, whole
from planner.choice.moves import Between, moves, site_labels, summary, totals
from planner.errors import PlanError
from planner.plan import LoadedPlan, LoadedScenario
from planner.plan.phases import money_of

Tell = Callable[[str], None]
SITE_NAMES = ("site_id", "site_name", "sub_district")


@dataclass(frozen=True)
class Computed:
    """A plan's results before they are written: sites and their checks, both by inventory_row."""

    sites: pd.DataFrame
    checks: pd.DataFrame


@dataclass(frozen=True)
class WhatIf:
    """What the scenarios of a run give.

    records  of run.json, one a scenario; table: scenarios.csv, and `why_said`, the sentences of `why` before their
             language is known; rows: the table of the page, the plan itself first, sentences as Said; lines: for the
             terminal
    """

    records: list[dict[str, Any]] = field(default_factory=list)
    table: pd.DataFrame = field(default_factory=pd.DataFrame)
    rows: list[dict[str, Any]] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


def what_if(
    plan: LoadedPlan, base: Computed, compute: Callable[[LoadedScenario], Computed], tell: Tell = lambda _: None
) -> WhatIf:
    """Compute each scenario and hold it against the plan. One whose rules clash is told and has no result."""
    if not plan.scenarios:
        return WhatIf()
    money = plan.plan.programme.currency
    rows: list[dict[str, Any]] = [
        {"name": "", "changes": [], "totals": totals(base.sites), "clash": "", "in": [], "out": []}
    ]
    records, lines, tables = [], [], []
    for scenario in plan.scenarios:
        started = time.perf_counter()
        try:
            done = compute(scenario)
        except PlanError as error:
            clash = "; ".join(f"{fault.found}; expected {fault.expected}" for fault in error.faults)
            records.append(_record(scenario) | {"status": "clash", "clash": clash})
            told_clash = error.told if isinstance(error, ClashError) else clash
            rows.append({**_row(scenario), "totals": None, "clash": told_clash, "in": [], "out": []})
            lines.append(f"scenario {scenario.name}: not computed, {clash}")
            continue
        moved = moves(base.sites, done.sites, Between(scenario.changes, money, checks=(base.checks, done.checks)))
        told, sums = summary(base.sites, done.sites, moved), totals(done.sites)
        lists: dict[str, Any] = {key: _named(base.sites, one) for key, one in told.items() if isinstance(one, list)}
        records.append(_record(scenario) | {"status": "computed", "totals": sums, **told, **lists})
        budgets = [money_of(one.programme.budget, one.phase) for one in (plan.plan, scenario.loaded.plan)]
        word = "equip" if budgets == [None, None] else "funded"
        ways = {way: site_labels(base.sites, told[f"{key}_{word}"]) for way, key in (("in", "into"), ("out", "out_of"))}
        rows.append({**_row(scenario), "totals": sums, "clash": "", **ways})
        lines.append(_line(scenario, sums, told, word, money))
        tables.append(
            pd.concat([base.sites.loc[moved.index, list(SITE_NAMES)], moved], axis=1).assign(scenario=scenario.name)
        )
        tell(f"scenario {scenario.name}: {len(moved)} sites move, {time.perf_counter() - started:.1f} s")
    table = pd.concat(tables).rename_axis("inventory_row").reset_index() if tables else _no_rows(base.sites)
    return WhatIf(records, table[["scenario", *table.columns.drop("scenario")]], rows, lines)


def _record(scenario: LoadedScenario) -> dict[str, Any]:
    changes = [{"key": one.key, "from": one.old, "to": one.new} for one in scenario.changes]
    return {"name": scenario.name, "changes": changes}


def _row(scenario: LoadedScenario) -> dict[str, Any]:
    return {"name": scenario.name, "changes": [one.said() for one in scenario.changes]}


def _no_rows(sites: pd.DataFrame) -> pd.DataFrame:
    none = sites.iloc[:0]
    moved = pd.concat([none[list(SITE_NAMES)], moves(none, none, Between())], axis=1)
    return moved.assign(scenario="").rename_axis("inventory_row").reset_index()


def _named(sites: pd.DataFrame, rows: Sequence[Any]) -> list[dict[str, Any]]:
    return [{"inventory_row": int(row), "site_id": str(sites.at[row, "site_id"])} for row in rows]


def _line(scenario: LoadedScenario, sums: dict[str, Any], told: dict[str, Any], word: str, money: str) -> str:
    change = told["cost_change_median"]
    way = "" if change is None else f"{round(change, 3) + 0.0:+.1%}"  # never -0.0 %
    cost = f", median cost of water {way} over {told['cost_compared']} sites" if way else ""
    return (
        f"scenario {scenario.name}: {sums['equip']} to equip, {sums['funded']} funded for "
        f"{whole(sums['funded_capital_cost'])} {money}, {whole(sums['funded_people_served'])} people; "
        f"{len(told[f'into_{word}'])} into {word}, {len(told[f'out_of_{word}'])} out{cost}"
    )
