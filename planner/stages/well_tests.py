"""The stage after the choice: what would change each decision, and which wells are worth a pumping test first.

The worth of a test is read from the draws of both runs (columns expected_…, expected_…_untested); without draws it
stays empty.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from planner.choice.testing import Packing, pack
from planner.chunks import Loop, Task
from planner.chunks.columns import Texts
from planner.chunks.cut import part_of
from planner.chunks.loop import Columns, Settings
from planner.chunks.store import Tables
from planner.doubt.switch import Widths, switches
from planner.doubt.test_value import gain_of_test, worth_of_water
from planner.engine.assess import Context, Sites
from planner.run_table import Table
from planner.tables.step import Step
from planner.texts import Figure, Said, counted, said

CHUNK_SITES = 8
MOST_SITES = 5_000
LISTED = 200  # tests that run.json lists
DEMAND_FACTOR, PRICE_FACTOR = 1.2, 1.15  # × and ÷, P10 to P90 (common practice: judgement)
TEXTS = ("switch_input", "switch_unit", "switch_to", "switch_text")
COLUMNS = (*TEXTS, "switch_value", "test_value", "test_cost", "test_rank", "test_funded")
UNTESTED = "_untested"  # columns of the run that buys at once


def take(table: Table, sites: Sites, context: Context, loop: Loop, tell: Callable[[str], None]) -> None:
    """Join the columns of this stage, and leave its record and lines in `table.tests`."""
    started = time.perf_counter()
    columns = pd.DataFrame(np.nan, index=table.sites.index, columns=list(COLUMNS))
    columns[list(TEXTS)] = ""
    columns["test_funded"] = False
    columns = columns.astype(dict.fromkeys(TEXTS, "str") | {"test_funded": "bool"})
    which = switched(table.sites, sites)
    wanted = context.plan.testing.switch_values
    if which.size and (wanted or (wanted is None and which.size <= MOST_SITES)):
        found = find_switches(table.sites, part_of(sites, which), context, loop)
        for name in found.columns:
            columns.loc[found.index, name] = found[name]
        tell(f"switch values: {which.size} sites in {time.perf_counter() - started:.1f} s")
    elif wanted is None and which.size:
        left = said("sizes_switch", sites=which.size, most=MOST_SITES)
        table.notes.append(left)
        tell(left.text())
    table.tests = value_tests(table.sites, context, columns)
    table.take("testing", Step(columns, []), COLUMNS, time.perf_counter() - started)


def switched(table: pd.DataFrame, sites: Sites) -> NDArray[np.int64]:
    """Places in `sites` of those whose decision rests on their inputs: bought, tested, not to be built, or held for
    their coverage alone; no set that stands."""
    rows = table[["reason_codes", "decision", "engine_status"]].loc[sites.inventory_row]
    codes = rows["reason_codes"].astype("str")
    said = rows["decision"].isin(["equip", "test_first"]) | (codes == "coverage_low")
    said |= (rows["decision"] == "unsuitable") & (rows["engine_status"] == "no_design")
    return np.flatnonzero(said.to_numpy() & (sites.existing_pump < 0))


def work(columns: Columns, context: Context, settings: Settings) -> Tables:
    """The columns switch_… of the sites of a chunk, in their order."""
    (cutoff,) = settings
    sites, widths = columns
    rows = switches(sites, widths, context, cutoff)
    texts = {name: pa.array([row[name] for row in rows], pa.string()).dictionary_encode() for name in TEXTS}
    return (pa.table({**texts, "switch_value": pa.array([row["switch_value"] for row in rows], pa.float64())}),)


TASK = Task("switch_values", work, rehearse=work, sites=CHUNK_SITES, sources=("doubt",))


def find_switches(table: pd.DataFrame, sites: Sites, context: Context, loop: Loop) -> pd.DataFrame:
    """The columns switch_… of those sites, by inventory_row."""
    funded = table["funding"] == "funded"
    cutoff = float(table.loc[funded, "cost_per_m3"].max()) if funded.any() else float("nan")
    size = sites.inventory_row.size
    texts, value = {name: Texts(size) for name in TEXTS}, np.full(size, np.nan)

    def take(rows: slice, tables: Tables) -> None:
        value[rows] = tables[0].column("switch_value").to_numpy()
        for name, column in texts.items():
            column.put(rows, tables[0].column(name))

    loop.run(TASK, (sites, widths_of(table, sites, context)), context, take, (cutoff,), CHUNK_SITES)
    data = {**{name: column.array() for name, column in texts.items()}, "switch_value": value}
    return pd.DataFrame(data, index=pd.Index(sites.inventory_row))


def widths_of(table: pd.DataFrame, sites: Sites, context: Context) -> Widths:
    """Ranges of the inputs of each of `sites`, from the plan by grade, and the solar range of its map."""
    plan, rows = context.plan.uncertainty, table.loc[sites.inventory_row]
    grade, count = rows["evidence_grade"], sites.inventory_row.size
    yields = grade.map(plan.yield_factor).astype("float64").where(rows["tested_yield_m3_h"].notna())
    return Widths(
        rest_half_width_m=rows["rest_level_half_width_m"].to_numpy(dtype="float64"),
        drawdown_factor=np.asarray(grade.map(plan.drawdown_factor), dtype=np.float64),
        yield_factor=np.asarray(yields.fillna(plan.yield_factor["D"]), dtype=np.float64),
        demand_factor=np.full(count, getattr(plan, "demand_site_factor", DEMAND_FACTOR)),
        price_factor=np.full(count, getattr(plan, "price_common_factor", PRICE_FACTOR)),
        sun_share=rows["solar_range_share"].fillna(plan.solar_share).to_numpy(dtype="float64"),
        rest_level_m=rows["rest_level_m"].to_numpy(dtype="float64"),
        yield_m3_h=rows["yield_used_m3_h"].to_numpy(dtype="float64"),
        ranked=rows["decision"].isin(["equip", "test_first"]).to_numpy(),
    )


def value_tests(
    table: pd.DataFrame, context: Context, columns: pd.DataFrame
) -> tuple[dict[str, Any] | None, list[Said]]:
    """Fill the columns test_… where the draws tell what a test is worth; record for run.json and the same in words."""
    plan = context.plan.testing
    names = [f"expected_{kind}{end}" for end in (UNTESTED, "") for kind in ("lifecycle_cost", "used_m3")]
    if any(name not in table.columns for name in names) or table[names].notna().all(axis=1).sum() == 0:
        return None, []
    able = table["decision"].isin(["equip", "test_first"])
    worth = plan.water_value_m3 or worth_of_water(table.loc[able, "cost_per_m3"])
    rows = table.index[able & table[names].notna().all(axis=1)]
    cost_commit, water_commit, cost_first, water_first = (table.loc[rows, name].to_numpy() for name in names)
    gain = gain_of_test(cost_commit, water_commit, cost_first, water_first, worth)
    trip = float(context.rules["km_worth"]) * table.loc[rows, "road_km"].to_numpy(dtype="float64")
    costs = context.plan.costs
    prices = context.market.prices
    supervised = float(prices["pumping_test"]) * (1.0 + float(prices["supervision_share"]))  # as on the bill of a set
    alone = supervised * (1.0 + costs.contingency) * (1.0 + costs.tax)
    packed = pack(gain, alone + trip, plan.campaign_share * alone + trip, plan.campaign_tests, plan.budget)
    columns.loc[rows, "test_value"], columns.loc[rows, "test_cost"] = packed.value, packed.cost
    columns.loc[rows, "test_rank"] = np.where(packed.rank > 0, packed.rank, np.nan)
    columns.loc[rows, "test_funded"] = packed.funded
    record = record_of(table, rows, packed, worth, context)
    return record, lines_of(record, context)


def record_of(table: pd.DataFrame, rows: pd.Index, packed: Packing, worth: float, context: Context) -> dict[str, Any]:
    """What run.json tells of the tests; `test_first` lists the best of them."""
    plan, order = context.plan.testing, np.argsort(np.where(packed.rank > 0, packed.rank, packed.rank.size + 1))
    best = [place for place in order if packed.rank[place] > 0][:LISTED]
    return {
        "budget": plan.budget,
        "water_value_m3": round(worth, 6),
        "water_value_from": "plan" if plan.water_value_m3 else "P75 of the cost of water of equip and test_first",
        "campaign": packed.campaign,
        "compared": len(rows),
        "worth_their_cost": int((packed.rank > 0).sum()),
        "value": round(float(packed.value[packed.rank > 0].sum()), 2),
        "funded": int(packed.funded.sum()),
        "funded_cost": round(float(packed.cost[packed.funded].sum()), 2),
        "funded_value": round(float(packed.value[packed.funded].sum()), 2),
        "test_first": [
            {
                "inventory_row": int(rows[place]),
                "site_id": str(table.loc[rows[place], "site_id"]),
                "rank": int(packed.rank[place]),
                "value": round(float(packed.value[place]), 2),
                "cost": round(float(packed.cost[place]), 2),
                "funded": bool(packed.funded[place]),
            }
            for place in best
        ],
    }


def lines_of(record: dict[str, Any], context: Context) -> list[Said]:
    """The record in plain sentences, for whoever reads the results."""
    money = context.plan.programme.currency
    first = counted(
        "tests_worth_campaign" if record["campaign"] else "tests_worth_single",
        record["worth_their_cost"],
        compared=record["compared"],
        value=Figure(record["value"]),
        money=money,
        worth=Figure(record["water_value_m3"], ".3g"),
    )
    lines = [said("tests_said", text=first)]
    if record["budget"] is not None:
        budget, cost, value = (Figure(record[name]) for name in ("budget", "funded_cost", "funded_value"))
        lines.append(counted("tests_budget", record["funded"], budget=budget, money=money, cost=cost, value=value))
    return lines
