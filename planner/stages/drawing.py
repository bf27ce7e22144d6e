"""The draws of a run: what is not known of the table's sites, drawn chunk by chunk, and the ranges as columns.

Drawn are new sets that have a design and the decision equip or test_first: what holds a site back comes before any
range, and a set that stands is not bought. A chunk is kept and found by content as in `chunks`; the ranges are read
from what is kept, so neither the size of chunks nor the number of workers nor an interruption changes them.
"""

from __future__ import annotations

import dataclasses
import json
import os
import time
import zipfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner import chunks
from planner.choice.funding import Funding
from planner.doubt.ranges import draws_for, rank_interval, site_ranges
from planner.doubt.run import Drawn, Outcomes, draw_sites
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
    table: Table, funded: Funding, plan: LoadedPlan, sites: Sites, context: Context, store: Path, workers: int,
    tell: Callable[[str], None],
) -> Funding:  # fmt: skip
    """Draw the sites of a decided table and join the ranges to it; the programme with what the draws say of it."""
    started = time.perf_counter()
    which = chosen_sites(table.sites, sites)
    widths = context.plan.uncertainty
    draws = draws_for(widths.draws, which.size, DRAWS, MOST_DRAWN) if which.size else 0
    drawn = None
    if draws:
        picked = Sites(**{one.name: getattr(sites, one.name)[which] for one in dataclasses.fields(Sites)})
        drawn = run_chunks(picked, doubts_of(table.sites, picked, context.plan), context, draws, store, workers)
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


def run_chunks(sites: Sites, doubts: Doubts, context: Context, draws: int, store: Path, workers: int) -> Drawn:
    """Both runs of all sites, in threads; chunks of other plans are dropped from the store."""
    widths = context.plan.uncertainty.model_dump(mode="json")
    digest = chunks.context_digest(context) + json.dumps({**widths, "draws": draws}, sort_keys=True)
    total = sites.inventory_row.size
    parts = [(start, min(start + CHUNK_SITES, total)) for start in range(0, total, CHUNK_SITES)]
    store.mkdir(parents=True, exist_ok=True)

    def part_of(columns: Any, start: int, stop: int) -> Any:
        return type(columns)(
            **{one.name: getattr(columns, one.name)[start:stop] for one in dataclasses.fields(columns)}
        )

    def one(ends: tuple[int, int]) -> tuple[str, Drawn]:
        part, unknown = part_of(sites, *ends), part_of(doubts, *ends)
        path = store / f"{chunks.key_of(digest, part, unknown)}.npz"
        found = load(path, draws)
        if found is None:
            found = draw_sites(part, unknown, context, draws)
            save(found, path)
        return path.name, found

    if not all(
        (store / f"{chunks.key_of(digest, part_of(sites, *ends), part_of(doubts, *ends))}.npz").exists()
        for ends in parts
    ):
        for which in (True, False):  # compile before the threads start
            draw_sites(
                part_of(sites, 0, 1), dataclasses.replace(part_of(doubts, 0, 1), tested=np.array([which])), context, 1
            )
    with ThreadPoolExecutor(max_workers=workers) as executor:
        done = list(executor.map(one, parts))
    used = {name for name, _ in done}
    for old in store.glob("*.npz"):
        if old.name not in used:
            old.unlink(missing_ok=True)
    return together([drawn for _, drawn in done])


def together(parts: list[Drawn]) -> Drawn:
    """Chunks one below the other."""

    def run(name: str) -> Outcomes:
        runs = [getattr(part, name) for part in parts]
        return Outcomes(
            **{
                one.name: np.concatenate([getattr(run, one.name) for run in runs])
                for one in dataclasses.fields(Outcomes)
            }
        )

    rows, tested = (np.concatenate([getattr(part, name) for part in parts]) for name in ("inventory_row", "tested"))
    return Drawn(rows, tested, run(COMMIT), run(TEST_FIRST))


def save(drawn: Drawn, path: Path) -> None:
    """Keep a chunk; it is there whole or not at all."""
    arrays: dict[str, NDArray[Any]] = {"inventory_row": drawn.inventory_row, "tested": drawn.tested}
    for run in RUNS:
        arrays |= {f"{run}_{one.name}": getattr(getattr(drawn, run), one.name) for one in dataclasses.fields(Outcomes)}
    part = path.with_suffix(f".{os.getpid()}.part")
    with part.open("wb") as file:
        np.savez(file, **cast(Any, arrays))
    part.replace(path)


def load(path: Path, draws: int) -> Drawn | None:
    """A chunk that was kept; None where there is none that is whole."""
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            runs = [
                Outcomes(**{one.name: kept[f"{run}_{one.name}"] for one in dataclasses.fields(Outcomes)})
                for run in RUNS
            ]
            found = Drawn(kept["inventory_row"], kept["tested"], runs[0], runs[1])
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    return found if found.commit.cost.shape == (found.inventory_row.size, draws) else None


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
