"""Sizing: every site through the engine, chunk by chunk, and what comes out as columns of the table."""

from __future__ import annotations

import time
from collections.abc import Callable

import pandas as pd
import pyarrow as pa

from planner.choice.design_checks import family_checks
from planner.chunks import Loop, Task
from planner.chunks.columns import Gathered, GatheredRules, engine_tables
from planner.chunks.loop import Columns, Settings
from planner.chunks.store import Tables
from planner.engine.assess import Context, Sites, assess
from planner.run_table import Table
from planner.tables.step import Step

FEW, MANY, MANY_FROM = 64, 512, 50_000  # sites a chunk, of few sites and of many


def work(columns: Columns, context: Context, _settings: Settings) -> Tables:
    """Size the sites of a chunk."""
    (sites,) = columns
    return engine_tables(assess(sites, context), sites.inventory_row)


TASK = Task("sizing", work, rehearse=work, sites=FEW)


def take(
    table: Table,
    sites: Sites,
    context: Context,
    loop: Loop,
    progress: Callable[[int, int], None],
    sites_a_chunk: int | None = None,
) -> None:
    """Size the sites and join the engine's columns and the rules of pump families to the table.

    progress  is called with the number of sites that are done, and of all
    """
    started = time.perf_counter()
    columns, rules = size(table.sites.index, sites, context, loop, progress, sites_a_chunk)
    step = Step(columns, [], family_checks(rules))
    table.take("sizing", step, tuple(columns.columns), time.perf_counter() - started)


def size(
    index: pd.Index,
    sites: Sites,
    context: Context,
    loop: Loop,
    progress: Callable[[int, int], None],
    sites_a_chunk: int | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The engine's columns for every row of the table's index, and what decided each pump family at each site."""
    total = sites.inventory_row.size
    places = index.get_indexer(pd.Index(sites.inventory_row))
    columns, rules = Gathered(len(index)), GatheredRules()
    done = 0

    def take(rows: slice, tables: tuple[pa.Table, ...]) -> None:
        nonlocal done
        columns.put(places[rows], tables[0])
        rules.put(sites.inventory_row[rows], tables[1])
        done += rows.stop - rows.start
        progress(done, total)

    loop.run(TASK, (sites,), context, take, sites=sites_a_chunk or (FEW if total < MANY_FROM else MANY))
    return columns.frame(index), rules.frame()
