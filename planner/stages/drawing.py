"""The draws of a run: what is not known of the table's sites, drawn chunk by chunk, and the ranges as columns.

Drawn are new sets that have a design and the decision equip or test_first: what holds a site back comes before any
range, and a set that stands is not bought. Chunks are drawn, kept and found again by `chunks.loop`; the ranges are read
from what is kept, so neither the size of chunks nor the number of workers nor an interruption changes them.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from planner.choice.funding import Funding
from planner.chunks import Loop, Task
from planner.chunks.cut import part_of
from planner.chunks.loop import Columns, Settings
from planner.chunks.store import Tables
from planner.doubt.ranges import draws_for, rank_interval, site_ranges
from planner.doubt.run import FLAGS, NUMBERS, Drawn, Outcomes, draw_sites
from planner.doubt.site import Doubts
from planner.engine.assess import Context, Sites
from planner.glossary import glossary
from planner.plan import LoadedPlan, Plan
from planner.plan.uncertainty import DRAWS, MOST_DRAWN
from planner.run_table import Table
from planner.stages.funded_share import with_share
from planner.tables import wells
from planner.tables.step import Step
from planner.texts import said

CHUNK_SITES = 8
COMMIT, TEST_FIRST = "commit", "test_first"
RUNS = (COMMIT, TEST_FIRST)
PRIOR_FALL = 0.5  # a regional level is a mean of the year (as in tables.wells)
FIRST, LAST = "range_kind", "funded_probability"  # columns of the glossary that this stage writes, and those between


def take(
    table: Table, funded: Funding, plan: LoadedPlan, sites: Sites, context: Context, loop: Loop,
    tell: Callable[[str], None],
) -> Funding:  # fmt: skip
    """Draw the sites of a decided table and join the ranges to it; the programme with what the draws say of it."""
    started = time.perf_counter()
    which = chosen_sites(table.sites, sites)
    widths = context.plan.uncertainty
    draws = draws_for(widths.draws, which.size, DRAWS, MOST_DRAWN) if which.size else 0
    drawn = None
    if draws:
        picked = part_of(sites, which)
        drawn = draw(picked, doubts_of(table.sites, picked, context.plan), context, draws, loop)
        tell(f"draws: {draws} of {which.size} sites in {time.perf_counter() - started:.1f} s")
    table.draws = {"draws": draws, "seed": widths.seed if draws else None}
    drawn_how = said("drawn_with", draws=str(draws), seed=str(widths.seed), words=said("drawn"))
    table.notes.append(drawn_how if draws else said("not_drawn"))
    columns = range_columns(table.sites, drawn)
    columns["funded_probability"], funded = with_share(funded, table.sites, table.shown, drawn, plan)
    table.take("draws", Step(columns, []), tuple(columns.columns), time.perf_counter() - started)
    return funded


def chosen_sites(table: pd.DataFrame, sites: Sites) -> NDArray[np.int64]:
    """Places in `sites` of those that are drawn, by row."""
    said = table["decision"].isin(["equip", "test_first"]) & (table["engine_status"] == "designed")
    which = np.flatnonzero(said.reindex(sites.inventory_row).to_numpy())
    return which[np.argsort(sites.inventory_row[which], kind="stable")] if which.size else which


def doubts_of(table: pd.DataFrame, sites: Sites, plan: Plan) -> Doubts:
    """How wide what is known of each site may be wrong, in the order of `sites`."""
    rows, widths = table.loc[sites.inventory_row], plan.uncertainty
    highest = wells.highest_month(rows, plan.well)
    measured = rows["static_level_m"].notna().to_numpy()
    read = np.nan_to_num(wells.season_fall(floats(rows["test_month"]), highest), nan=0.0)
    grade, tested = rows["evidence_grade"], rows["tested_yield_m3_h"].notna()
    yields = grade.map(widths.yield_factor).astype("float64").where(tested, widths.yield_factor["D"])
    return Doubts(
        inventory_row=sites.inventory_row,
        rest_half_width_m=floats(rows["rest_level_half_width_m"]),
        drawdown_factor=floats(grade.map(widths.drawdown_factor)),
        yield_factor=floats(yields),
        sun_half_width=floats(rows["solar_range_share"].fillna(widths.solar_share)),
        fall=np.asarray(wells.season_fall(np.arange(1.0, 13.0)[None, :], highest[:, None])),
        fall_read=np.where(measured, read, PRIOR_FALL),
        loss_known=(rows["drawdown_c_d2_m5"] == rows["well_loss_d2_m5"]).to_numpy(),
        test_flow_m3_d=np.maximum(24.0 * floats(rows["yield_used_m3_h"]), 24.0 * 1e-3),
        main_strike_m=floats(rows["main_strike_m"]),
        tested=(grade == "A").to_numpy(),
    )


def floats(values: pd.Series) -> NDArray[np.float64]:
    """A column of numbers for the engine."""
    return np.asarray(values, dtype=np.float64)


def work(columns: Columns, context: Context, settings: Settings) -> Tables:
    """Both runs of every site of a chunk as one table: a column for each outcome, a list of draws for each site."""
    (draws,) = settings
    sites, doubts = columns
    drawn = draw_sites(sites, doubts, context, draws)
    data = {
        f"{run}_{name}": pa.FixedSizeListArray.from_arrays(pa.array(values.ravel()), draws)
        for run in RUNS
        for name, values in _outcomes(getattr(drawn, run))
    }
    return (pa.table(data),)


def rehearse(columns: Columns, context: Context, _settings: Settings) -> Tables:
    """A draw of one site as if it were tested, and as if not: each has kernels of its own."""
    sites, doubts = columns
    for tested in (True, False):
        found = work((sites, dataclasses.replace(doubts, tested=np.array([tested]))), context, (1,))
    return found


TASK = Task("draws", work, rehearse, CHUNK_SITES, sections=("uncertainty",), sources=("doubt",), by_row=True)


def draw(sites: Sites, doubts: Doubts, context: Context, draws: int, loop: Loop) -> Drawn:
    """Both runs of all sites."""
    size = (sites.inventory_row.size, draws)
    kinds = {name: np.float32 if name in NUMBERS else np.bool_ for name in (*NUMBERS, *FLAGS)}
    runs = {run: Outcomes(**{name: np.zeros(size, kind) for name, kind in kinds.items()}) for run in RUNS}

    def take(rows: slice, tables: Tables) -> None:
        for run in RUNS:
            for name, values in _outcomes(runs[run]):
                found = tables[0].column(f"{run}_{name}").combine_chunks().flatten()
                values[rows] = found.to_numpy(zero_copy_only=False).reshape(-1, draws)

    loop.run(TASK, (sites, doubts), context, take, (draws,), CHUNK_SITES)
    return Drawn(sites.inventory_row, doubts.tested, runs[COMMIT], runs[TEST_FIRST])


def _outcomes(run: Outcomes) -> list[tuple[str, NDArray[Any]]]:
    return [(one.name, getattr(run, one.name)) for one in dataclasses.fields(Outcomes)]


def range_columns(table: pd.DataFrame, drawn: Drawn | None) -> pd.DataFrame:
    """Every column of this stage, for all rows; empty where nothing was drawn, and funded_probability for now."""
    names = list(glossary())
    names = names[names.index(FIRST) : names.index(LAST) + 1]
    columns = pd.DataFrame(np.nan, index=table.index, columns=names)
    columns[FIRST] = pd.Series("", index=table.index, dtype="str")
    if drawn is None:
        return columns
    found = pd.DataFrame(site_ranges(drawn), index=drawn.inventory_row)
    columns[found.columns] = found.reindex(table.index)
    kinds = pd.Series(np.where(drawn.tested, COMMIT, TEST_FIRST), index=drawn.inventory_row)
    columns[FIRST] = kinds.reindex(table.index).fillna("").astype("str")
    equip = (table["decision"].reindex(drawn.inventory_row) == "equip").to_numpy()
    if equip.any():
        low, high = rank_interval(drawn.reported().cost_per_m3()[equip])
        ranked = pd.DataFrame({"rank_p10": low, "rank_p90": high}, index=drawn.inventory_row[equip])
        columns[ranked.columns] = ranked.reindex(table.index)
    return columns
