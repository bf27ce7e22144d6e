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
from planner.choice.design_checks import design_checks
from planner.choice.lots import stage as lots
from planner.choice.ranking import rank
from planner.columns_on_disk import ColumnsOnDisk
from planner.engine.assess import Context, Sites, make_context
from planner.engine.weather import Weather
from planner.errors import Fault, InputError, InternalError
from planner.outputs import folder as output_folder
from planner.plan import LoadedPlan, LoadedScenario, read_plan
from planner.plan.text import refuse_unconfirmed
from planner.publish import Outcome, publish
from planner.run_table import Table
from planner.stages import drawing, selection, sizing, well_tests
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
from planner.tables.step import Step, join_checks
from planner.tables.weather_file import read_weather

if TYPE_CHECKING:
    from planner.chunks.cluster import Cluster

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
    chunk_sites: int | None = None,
    scheduler: str | None = None,
    tell: Tell = lambda _: None,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> Outcome:
    """The whole job: read, screen, join, size, cost, rank, write. Raises InputError with every fault at once.

    scheduler  address of a dask scheduler whose workers compute, in place of threads here; nothing else changes
    """
    plan = read_plan(path)
    folder = folder or Path("maps") / slug(plan.plan.programme.name)
    with output_folder.held(folder):
        return _run_in(folder, plan, crew_of(workers, scheduler, tell), fresh, chunk_sites, tell, progress)


def _run_in(
    folder: Path,
    plan: LoadedPlan,
    crew: chunks.Threads | Cluster,
    fresh: bool,
    chunk_sites: int | None,
    tell: Tell,
    progress: Callable[[int, int], None],
) -> Outcome:
    kept = output_folder.chunk_folder(folder)
    catalogue, table = _inputs(plan, kept.parent)
    _tell_fits(catalogue, tell)
    table.findings += price_findings(catalogue, plan)
    tell(f"inventory: {len(table.sites)} rows")
    variants = _scenario_inputs(plan.scenarios, table)
    loop = chunks.Loop(chunks.Store(kept), crew, tell)
    if fresh:
        loop.store.clear()
    size = partial(_computed, chunk_sites=chunk_sites, progress=progress)
    sized = size(plan, catalogue, table, loop=loop, tell=tell)
    funded = drawing.take(table, sized.funded, plan, sized.sites, sized.context, loop, tell)
    well_tests.take(table, sized.sites, sized.context, loop, tell)
    chosen = selection.finish(table, funded, plan, sized.context, loop, tell)
    started = time.perf_counter()
    grouped = lots.group(table.sites, plan)
    table.take("lots", grouped.step, lots.WRITES, time.perf_counter() - started)

    def compute(scenario: LoadedScenario) -> Computed:
        prices, varied = variants.pop(scenario.name)
        found = size(scenario.loaded, prices, varied, loop=replace(loop, tell=lambda _: None), tell=lambda _: None)
        return Computed(varied.sites, found.checks)

    varied = what_if(plan, Computed(table.sites, sized.checks), compute, tell)
    loop.store.drop_others()
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
    loop: chunks.Loop,
    chunk_sites: int | None,
    progress: Callable[[int, int], None],
    tell: Tell,
) -> Sized:
    """From the rows as read to the funded programme, in `table`."""
    _steps(table, plan, STEPS, tell)

    started = time.perf_counter()
    rows = chunks.to_assess(table.sites)
    sites = chunks.engine_sites(table.sites, rows, plan.plan, catalogue)
    context = make_context(plan.plan, catalogue, weather_of(plan))
    sizing.take(table, sites, context, loop, progress, chunk_sites)
    tell(f"sizing: {sites.inventory_row.size} sites in {time.perf_counter() - started:.1f} s")
    alternatives.take(table, context)

    started = time.perf_counter()
    table.checks.append(design_checks(table.sites, plan.plan, catalogue))
    table.checks.append(on_priors(join_checks(frame[~frame["pass"]] for frame in table.checks)))
    checks = table.all_checks()
    decided = decide(
        checks,
        table.sites["engine_status"].isin(["designed", "installed"]),
        plan.plan.ranking.allow_prior_equip,
    )
    decided["rank"] = rank(pd.concat([table.sites[["cost_per_m3"]], decided], axis=1))
    funded = funding.fund(pd.concat([table.sites, decided], axis=1), table.shown, plan)  # no copy, as join would be
    decided["funding"] = funded.column
    table.take("choice", Step(decided, funded.findings), tuple(decided.columns), time.perf_counter() - started)
    return Sized(checks, funded, sites, context)


def crew_of(workers: int | None, scheduler: str | None, tell: Tell) -> chunks.Threads | Cluster:
    """Who computes chunks. Raises InputError where a cluster was asked for that cannot be used."""
    if scheduler is None:
        return chunks.Threads(workers or chunks.default_workers())
    from planner.chunks.cluster import Cluster

    return Cluster(scheduler, tell)


def before_sizing(path: Path, disk: Path | None = None) -> tuple[LoadedPlan, Catalogue, Table]:
    """Plan, catalogue and the table as it goes into the sizing; raises InputError with every fault at once.

    disk  folder for the columns of a large table, which else stay in memory
    """
    plan = read_plan(path)
    catalogue, table = _inputs(plan, disk)
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
                found[scenario.name] = _inputs(scenario.loaded, read.disk.folder)
                found[scenario.name][1].ahead.clear()  # there may be many scenarios
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


def _read(plan: LoadedPlan, disk: Path | None = None) -> Table:
    started = time.perf_counter()
    opened = inventory.open_inventory(plan)
    step = inventory.read_opened(plan, opened)
    step.findings.extend(columns_absent(step.columns))
    empty = pd.DataFrame(index=step.columns.index)
    table = Table(empty, [], [], disk=ColumnsOnDisk(disk))
    kept = private.shown_columns(plan, opened)
    table.take("inventory", step, inventory.WRITES, time.perf_counter() - started)
    table.findings += kept.findings
    table.shown = kept.columns
    table.read_as = dict(sorted(opened.found.items()))
    return table


def _inputs(plan: LoadedPlan, disk: Path | None = None) -> tuple[Catalogue, Table]:
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
    table = attempt(lambda: _read(plan, disk))
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
        screened = attempt(partial(_ahead, table, screening, table.sites, plan))
        if screened is not None:
            sites = pd.concat([table.sites, screened.columns], axis=1)
            ground = attempt(partial(_ahead, table, rasters, sites, plan))
            height = np.nan if ground is None else ground.columns["elevation_m"]
            attempt(partial(_ahead, table, resource, sites.assign(elevation_m=height), plan))
    if first is not None or catalogue is None or table is None:
        raise type(first)(faults) if first is not None else InternalError("inputs were not read")
    return catalogue, table


def _ahead(table: Table, step: ModuleType, sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """A step whose inputs are looked at before the first one begins; `_steps` takes what it returned."""
    started = time.perf_counter()
    done = table.stored(step.run(sites[list(step.READS)], plan))
    table.ahead[step.__name__] = done, time.perf_counter() - started
    return done


def _steps(table: Table, plan: LoadedPlan, steps: tuple[ModuleType, ...], tell: Tell) -> None:
    for step in steps:
        name = step.__name__.rsplit(".", 1)[-1]
        started = time.perf_counter()
        missing = [column for column in step.READS if column not in table.sites.columns]
        if missing:
            raise InternalError(f"{name}: reads {missing}, which no step wrote")
        ahead, seconds = table.ahead.pop(step.__name__, (None, 0.0))
        done = ahead or step.run(table.sites[list(step.READS)], plan)
        seconds += time.perf_counter() - started
        table.take(name, done, step.WRITES, seconds, stored=ahead is not None)
        tell(f"{name}: {table.stages[-1]['seconds']} s")
