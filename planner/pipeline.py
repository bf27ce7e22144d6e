"""The order of the steps, the promises between them, and the record of a run."""

from __future__ import annotations

import re
import time
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from planner import chunks
from planner.alternatives import compare as alternatives
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.choice import funding, weights
from planner.choice.decision import decide, on_priors
from planner.choice.design_checks import design_checks, family_checks
from planner.choice.lots import stage as lots
from planner.choice.ranking import rank
from planner.engine.assess import Context, Sites, make_context
from planner.engine.weather import Weather
from planner.errors import Fault, InputError, InternalError
from planner.outputs import folder as output_folder
from planner.plan import LoadedPlan, LoadedScenario, read_plan
from planner.plan.text import refuse_unconfirmed
from planner.publish import Outcome, publish
from planner.run_table import Table, engine_columns
from planner.stages import drawing, selection, well_tests
from planner.stages.scenarios import Computed, what_if
from planner.tables import (
    catchments,
    demand,
    distance,
    inventory,
    neighbours,
    private,
    rasters,
    resource,
    screening,
    wells,
)
from planner.tables.boundary import read_boundary
from planner.tables.grade import columns_absent
from planner.tables.prices import price_findings
from planner.tables.raster_files import open_raster
from planner.tables.step import Step
from planner.tables.weather_file import read_weather

if TYPE_CHECKING:
    pass

STEPS: tuple[ModuleType, ...] = (screening, rasters, resource, catchments, demand, distance, wells, neighbours)
SCREENING: tuple[ModuleType, ...] = (screening,)

Tell = Callable[[str], None]


def check(path: Path, tell: Tell = lambda _: None) -> tuple[LoadedPlan, Table]:
    """Read and screen the inventory only, and fit what was measured on the user's pumps."""
    plan = read_plan(path)
    catalogue = None
    if plan.plan.equipment.pump_points or plan.plan.equipment.prices:
        catalogue = load_catalogue(plan)
        _tell_fits(catalogue, tell)
    table = _read(plan)
    table.findings += price_findings(catalogue, plan) if catalogue is not None else []
    _steps(table, plan, SCREENING, lambda _: None)
    return plan, table


def run(
    path: Path,
    folder: Path | None = None,
    *,
    workers: int | None = None,
    fresh: bool = False,
    chunk_sites: int = chunks.CHUNK_SITES,
    tell: Tell = lambda _: None,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> Outcome:
    """The whole job: read, screen, join, size, cost, rank, write. Raises InputError with every fault at once."""
    plan = read_plan(path)
    folder = folder or Path("maps") / slug(plan.plan.programme.name)
    with output_folder.held(folder):
        return _run_in(folder, plan, workers, fresh, chunk_sites, tell, progress)


def _run_in(
    folder: Path,
    plan: LoadedPlan,
    workers: int | None,
    fresh: bool,
    chunk_sites: int,
    tell: Tell,
    progress: Callable[[int, int], None],
) -> Outcome:
    catalogue, table = _inputs(plan)
    _tell_fits(catalogue, tell)
    table.findings += price_findings(catalogue, plan)
    tell(f"inventory: {len(table.sites)} rows")
    variants = _scenario_inputs(plan.scenarios, table)
    store = output_folder.chunk_folder(folder)
    if fresh:
        for old in [one for end in ("json", "npz", "npy") for one in store.rglob(f"*.{end}")]:
            old.unlink()
    kept: set[str] = set()
    size = partial(_computed, store=store, workers=workers, chunk_sites=chunk_sites, kept=kept, progress=progress)
    workers = workers or chunks.default_workers()
    sized = size(plan, catalogue, table, tell=tell)
    funded = drawing.take(table, sized.funded, plan, sized.sites, sized.context, store, workers, tell)
    well_tests.take(table, sized.sites, sized.context, store, workers, tell)
    chosen = selection.finish(table, funded, plan, sized.context, store, workers, fresh, tell)
    started = time.perf_counter()
    grouped = lots.group(table.sites, plan)
    table.take("lots", grouped.step, lots.WRITES, time.perf_counter() - started)

    def compute(scenario: LoadedScenario) -> Computed:
        prices, varied = variants.pop(scenario.name)
        found = size(scenario.loaded, prices, varied, tell=lambda _: None)
        return Computed(varied.sites, found.checks)

    varied = what_if(plan, Computed(table.sites, sized.checks), compute, tell)
    chunks.drop_others(store, kept)
    return publish(plan, catalogue, table, sized.checks, funded, chosen, grouped, folder, tell, varied)


@dataclass(frozen=True)
class Sized:
    """Rules tested and money spent, the sites as the engine takes them, and what they share."""

    checks: pd.DataFrame
    funded: funding.Funding
    sites: Sites
    context: Context


def _computed(
    plan: LoadedPlan,
    catalogue: Catalogue,
    table: Table,
    *,
    store: Path,
    workers: int | None,
    chunk_sites: int,
    kept: set[str],
    progress: Callable[[int, int], None],
    tell: Tell,
) -> Sized:
    """From the rows as read to the funded programme, in `table`.

    kept  names of the stored chunks that are of this run; added to
    """
    _steps(table, plan, STEPS, tell)

    started = time.perf_counter()
    rows = chunks.to_assess(table.sites)
    sites = chunks.engine_sites(table.sites, rows, plan.plan, catalogue)
    context = make_context(plan.plan, catalogue, weather_of(plan))
    done = 0

    def count(finished: int) -> None:
        nonlocal done
        done += finished
        progress(done, sites.inventory_row.size)

    results = chunks.run_chunks(sites, context, store, workers or chunks.default_workers(), chunk_sites, count, kept)
    columns = engine_columns(results.rows, table.sites.index)
    table.take(
        "sizing",
        Step(columns, [], family_checks(results.rules)),
        tuple(columns.columns),
        time.perf_counter() - started,
    )
    tell(f"sizing: {sites.inventory_row.size} sites in {time.perf_counter() - started:.1f} s")
    alternatives.take(table, context)

    started = time.perf_counter()
    table.checks.append(design_checks(table.sites, plan.plan, catalogue))
    table.checks.append(on_priors(pd.concat(table.checks, ignore_index=True)))
    checks = pd.concat(table.checks, ignore_index=True).sort_values(["inventory_row", "rule", "subject"], kind="stable")
    decided = decide(
        checks,
        table.sites["engine_status"].isin(["designed", "installed"]),
        plan.plan.ranking.allow_prior_equip,
    )
    decided["rank"] = rank(table.sites.join(decided))
    funded = funding.fund(table.sites.join(decided), table.shown, plan)
    decided["funding"] = funded.column
    table.take("choice", Step(decided, funded.findings), tuple(decided.columns), time.perf_counter() - started)
    return Sized(checks, funded, sites, context)


def before_sizing(path: Path) -> tuple[LoadedPlan, Catalogue, Table]:
    """Plan, catalogue and the table as it goes into the sizing; raises InputError with every fault at once."""
    plan = read_plan(path)
    catalogue, table = _inputs(plan)
    _steps(table, plan, STEPS, lambda _: None)
    return plan, catalogue, table


def _scenario_inputs(scenarios: Sequence[LoadedScenario], read: Table) -> dict[str, tuple[Catalogue, Table]]:
    """Catalogue and rows of each scenario; the rows as read for the plan, where nothing changes how they are read.

    Raises what wrong inputs raise, with the faults of all scenarios, each naming its own.
    """
    found, faults = {}, []
    first: InputError | None = None
    for scenario in scenarios:
        sections = {change.key.partition(".")[0] for change in scenario.changes}
        try:
            if sections & {"inventory", "area", "rasters", "weather"}:
                found[scenario.name] = _inputs(scenario.loaded)
            else:
                funding.look_at(read.sites, read.shown, scenario.loaded)
                found[scenario.name] = load_catalogue(scenario.loaded), read.copy()
        except InputError as error:
            first = first or error
            faults += [replace(one, place=f"[[scenario]] {scenario.name}: {one.place}") for one in error.faults]
    if first is not None:
        raise type(first)(faults)
    return found


def _tell_fits(catalogue: Catalogue, tell: Tell) -> None:
    for fit in catalogue.fits.values():
        tell(fit.line())


def weather_of(plan: LoadedPlan) -> Weather | None:
    """The hourly year that the plan names."""
    if plan.plan.weather is None:
        return None
    name = plan.plan.weather.file
    return read_weather(name, plan.resolve(name))[0]


def slug(name: str) -> str:
    """A folder name of letters, digits and hyphens; never a path."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    found = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].rstrip("-") or "plan"
    return f"{found}-programme" if output_folder.RESERVED.fullmatch(found) else found  # of a device, on Windows


def _read(plan: LoadedPlan) -> Table:
    started = time.perf_counter()
    opened = inventory.open_inventory(plan)
    step = inventory.read_opened(plan, opened)
    step.findings.extend(columns_absent(step.columns))
    empty = pd.DataFrame(index=step.columns.index)
    table = Table(empty, [], [])
    kept = private.shown_columns(plan, opened)
    table.take("inventory", step, inventory.WRITES, time.perf_counter() - started)
    table.findings += kept.findings
    table.shown = kept.columns
    table.read_as = dict(sorted(opened.found.items()))
    return table


def _inputs(plan: LoadedPlan) -> tuple[Catalogue, Table]:
    """Read catalogue and inventory and look at every other input, so that all faults are told at once."""
    faults: list[Fault] = []
    first: InputError | None = None
    catalogue: Catalogue | None = None
    table: Table | None = None

    def attempt(action: Callable[[], Any]) -> Any:
        nonlocal first
        try:
            return action()
        except InputError as error:
            first = first or error
            faults.extend(fault for fault in error.faults if fault not in faults)
            return None

    def look_at(name: str) -> None:
        with open_raster(name, getattr(plan.plan.rasters, name), plan.resolve):
            pass

    attempt(lambda: refuse_unconfirmed(plan.plan.inventory.unconfirmed, plan.path))
    catalogue = attempt(lambda: load_catalogue(plan))
    table = attempt(lambda: _read(plan))
    for name in type(plan.plan.rasters).model_fields:
        if getattr(plan.plan.rasters, name) is not None:
            attempt(partial(look_at, name))
    weather = plan.plan.weather
    if weather is not None:
        attempt(lambda: read_weather(weather.file, plan.resolve(weather.file)))
    attempt(lambda: read_boundary(plan))
    if table is not None:
        attempt(lambda: funding.look_at(table.sites, table.shown, plan))
        attempt(lambda: weights.look_at(pd.DataFrame(), plan))
        screened = attempt(lambda: screening.run(table.sites, plan))
        if screened is not None:
            sites = table.sites.join(screened.columns)
            ground = attempt(lambda: rasters.run(sites, plan))
            height = np.nan if ground is None else ground.columns["elevation_m"]
            attempt(lambda: resource.run(sites.assign(elevation_m=height), plan))
    if first is not None or catalogue is None or table is None:
        raise type(first)(faults) if first is not None else InternalError("inputs were not read")
    return catalogue, table


def _steps(table: Table, plan: LoadedPlan, steps: tuple[ModuleType, ...], tell: Tell) -> None:
    for step in steps:
        name = step.__name__.rsplit(".", 1)[-1]
        started = time.perf_counter()
        missing = [column for column in step.READS if column not in table.sites.columns]
        if missing:
            raise InternalError(f"{name}: reads {missing}, which no step wrote")
        table.take(name, step.run(table.sites, plan), step.WRITES, time.perf_counter() - started)
        tell(f"{name}: {table.stages[-1]['seconds']} s")
