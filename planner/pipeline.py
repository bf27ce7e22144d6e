"""The order of the steps, the promises between them, and the record of a run."""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import os
import re
import time
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from planner import __version__, chunks
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.choice import funding
from planner.choice.decision import DECISIONS, decide, on_priors
from planner.choice.design_checks import design_checks, family_checks
from planner.choice.ranking import rank
from planner.engine.assess import make_context
from planner.engine.weather import Weather
from planner.errors import Fault, InputError, InternalError
from planner.glossary import Quantity, glossary
from planner.outputs import folder as output_folder
from planner.outputs import shared
from planner.outputs import tables as output_tables
from planner.outputs.finding_summary import SEVERITIES, finding_frame, summary_record
from planner.plan import LoadedPlan, input_files, read_plan
from planner.plan_text import refuse_unconfirmed
from planner.tables import catchments, demand, inventory, neighbours, private, rasters, resource, screening, wells
from planner.tables.boundary import read_boundary, read_polygons
from planner.tables.grade import columns_absent
from planner.tables.raster_files import open_raster
from planner.tables.step import Finding, Step
from planner.tables.weather_file import read_weather
from planner.texts import of_kind

if TYPE_CHECKING:
    import geopandas

STEPS: tuple[ModuleType, ...] = (screening, rasters, resource, catchments, demand, wells, neighbours)
SCREENING: tuple[ModuleType, ...] = (screening,)

Tell = Callable[[str], None]


@dataclass
class Table:
    """The growing table of a run, with its findings, checks and stages.

    shown    columns of the inventory that the plan wants in the results, as text by header
    read_as  how the inventory's file was read: format, encoding, sheet, decimal …
    """

    sites: pd.DataFrame
    findings: list[Finding]
    checks: list[pd.DataFrame]
    shown: pd.DataFrame = field(default_factory=pd.DataFrame)
    read_as: dict[str, str] = field(default_factory=dict)
    stages: list[dict[str, Any]] = field(default_factory=list)

    def take(self, name: str, step: Step, writes: tuple[str, ...], seconds: float) -> None:
        """Join the new columns of a step, after checking what it promised."""
        check_step(name, self.sites, step, writes)
        self.sites = pd.concat([self.sites, step.columns], axis=1)
        self.findings += step.findings
        self.checks.append(step.checks)
        self.stages.append(
            {
                "name": name,
                "rows_in": len(step.columns),
                "rows_out": len(self.sites),
                "seconds": round(seconds, 3),
            }
        )


@dataclass(frozen=True)
class Outcome:
    """What a finished run tells its caller."""

    folder: Path
    counts: dict[str, int]
    findings: dict[str, int]
    stages: list[dict[str, Any]]
    run_id: str
    budget: list[str] = field(default_factory=list)


def check(path: Path, tell: Tell = lambda _: None) -> tuple[LoadedPlan, Table]:
    """Read and screen the inventory only, and fit what was measured on the user's pumps."""
    plan = read_plan(path)
    if plan.plan.equipment.pump_points:
        _tell_fits(load_catalogue(plan), tell)
    table = _read(plan)
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
    output_folder.claim(folder)
    catalogue, table = _inputs(plan)
    _tell_fits(catalogue, tell)
    tell(f"inventory: {len(table.sites)} rows")
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

    store = output_folder.chunk_folder(folder)
    if fresh:
        for old in store.glob("*.json"):
            old.unlink()
    results = chunks.run_chunks(sites, context, store, workers or chunks.default_workers(), chunk_sites, count)
    columns = engine_columns(results.rows, table.sites.index)
    table.take(
        "sizing",
        Step(columns, [], family_checks(results.rules)),
        tuple(columns.columns),
        time.perf_counter() - started,
    )
    tell(f"sizing: {sites.inventory_row.size} sites in {time.perf_counter() - started:.1f} s")

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
    for name in ("cost_per_m3_p10", "cost_per_m3_p90", "failure_probability", "funded_probability"):
        decided[name] = np.nan
    table.take("choice", Step(decided, funded.findings), tuple(decided.columns), time.perf_counter() - started)
    return _write(plan, catalogue, table, checks, funded, folder, tell)


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
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "plan"


def check_step(name: str, sites: pd.DataFrame, step: Step, writes: tuple[str, ...]) -> None:
    """Hold a step to its promise: same rows, exactly its columns, all new, type and range as in the glossary."""
    known = glossary()
    columns = step.columns
    if not columns.index.equals(sites.index):
        raise InternalError(f"{name}: rows were lost, added or reordered")
    if set(columns.columns) != set(writes) or len(columns.columns) != len(writes):
        raise InternalError(f"{name}: wrote {sorted(set(columns.columns) ^ set(writes))} against its promise")
    for column in columns:
        if column in sites.columns:
            raise InternalError(f"{name}: {column} stands already")
        if column not in known:
            raise InternalError(f"{name}: {column} is not in the glossary")
        quantity = known[column]
        values = columns[column]
        kind = values.dtype.kind
        fits = {
            "text": values.dtype == "str",
            "flag": kind == "b",
            "integer": kind in "iuf",
            "number": kind in "fi",
        }
        if not fits[quantity.dtype]:
            raise InternalError(f"{name}: {column} has type {values.dtype}, the glossary says {quantity.dtype}")
        wrong = values.isna() if quantity.dtype in {"text", "flag"} else _beyond(values, quantity)
        if wrong.any():
            row = columns.index[wrong][0]
            raise InternalError(
                f"{name}: row {row}: {column} = {values[row]} is not {quantity.dtype} {quantity.low}…{quantity.high}"
            )


def _beyond(values: pd.Series, quantity: Quantity) -> pd.Series:
    """Which numbers cannot be: out of range, infinite, or broken where whole ones belong. Missing ones can."""
    low = -np.inf if quantity.low is None else quantity.low
    high = np.inf if quantity.high is None else quantity.high
    whole = quantity.dtype == "integer"
    wrong: pd.Series = (values < low) | (values > high) | np.isinf(values)
    return wrong | (values.notna() & (values % 1 != 0)) if whole else wrong


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


def engine_columns(rows: list[dict[str, object]], index: pd.Index) -> pd.DataFrame:
    """Results as columns of the whole table; rows that were not assessed are `skipped` and empty."""
    known = glossary()
    names = list(known)
    start, stop = names.index("engine_status"), names.index("decision")
    data = {}
    for name in names[start:stop]:
        kind = known[name].dtype
        empty: Any = "" if kind == "text" else False if kind == "flag" else np.nan
        values = {row["inventory_row"]: row.get(name, empty) for row in rows}
        column = pd.Series([values.get(row, empty) for row in index], index=index)
        data[name] = column.astype("str" if kind == "text" else "bool" if kind == "flag" else "float64")
    status = data["engine_status"]
    data["engine_status"] = status.mask(status == "", "skipped").astype("str")
    return pd.DataFrame(data, index=index)


def _write(
    plan: LoadedPlan,
    catalogue: Catalogue,
    table: Table,
    checks: pd.DataFrame,
    funded: funding.Funding,
    folder: Path,
    tell: Tell,
) -> Outcome:
    started = time.perf_counter()
    sites = table.sites.reset_index(names="inventory_row")
    counts = {decision: int((sites["decision"] == decision).sum()) for decision in DECISIONS}
    if sum(counts.values()) != len(sites):
        raise InternalError("the decisions do not add up to the rows of the inventory")
    inputs = {
        key: {"file": name, **fingerprint(plan.resolve(name))} for key, name in sorted(input_files(plan.plan).items())
    }
    run_id = _run_id(plan, inputs, catalogue)
    date = _date(plan)
    new = output_folder.new_folder(folder)
    wanted = plan.plan.output.files
    if "csv" in wanted:
        output_tables.write_sites_csv(sites, new / "sites.csv", table.shown)
    if "parquet" in wanted:
        output_tables.write_parquet(sites, new / "sites.parquet", table.shown)
        output_tables.write_parquet(checks, new / "checks.parquet")
    output_tables.write_findings_csv(table.findings, new / "findings.csv")
    about = {
        "programme": plan.plan.programme.name,
        "currency": plan.plan.programme.currency,
        "price_year": plan.plan.programme.price_year,
        "run_id": run_id,
        "date": date,
        "version": __version__,
        "counts": counts,
        "defaults_used": plan.defaults_used,
        "without_effect": plan.without_effect,
        "cautions": of_kind("caution"),
        "notes": of_kind("note"),
        "coarsen_m": plan.plan.output.coarsen_m,
        "budget": funded.lines,
    }
    area = plan.plan.area
    polygons = None if area is None else read_polygons(area.boundary, plan.resolve(area.boundary)).to_crs("EPSG:4326")
    grid_m = plan.plan.output.coarsen_m
    findings = shared.shared_findings([dict(vars(one)) for one in table.findings], grid_m)
    public = shared.coarse_sites(sites, checks, grid_m)
    if "map" in wanted:
        told = shared.coarse_checks(checks, grid_m)
        _write_map(plan, public, polygons, about, told, findings, table.shown, new / "map.html")
    if "gpkg" in wanted:
        from planner.outputs.geopackage.geopackage import write_geopackage

        name_field = "" if area is None else area.name_field
        write_geopackage(public, polygons, name_field, findings, about, new / "plan.gpkg")
    table.stages.append(
        {
            "name": "outputs",
            "rows_in": len(sites),
            "rows_out": len(sites),
            "seconds": round(time.perf_counter() - started, 3),
        }
    )
    summary = summary_record(finding_frame(table.findings), table.sites["sub_district_used"])
    record = {
        **about,
        "plan": plan.plan.model_dump(mode="json", exclude_none=True),
        "plan_file": _relative(plan.path, folder),
        "inputs": inputs,
        "inventory_read_as": table.read_as,
        "catalogue": catalogue.digest,
        "pump_fits": {name: dataclasses.asdict(fit) for name, fit in catalogue.fits.items()},
        "stages": table.stages,
        "counts": {
            **counts,
            "rows": len(sites),
            "ranked": int(sites["rank"].notna().sum()),
            "funded": int((sites["funding"] == "funded").sum()),
            "reserve": int((sites["funding"] == "reserve").sum()),
        },
        "funding": funded.record,
        "findings": summary,
        "seed": None,
    }
    output_folder.commit(folder, record)
    tell(f"outputs: {table.stages[-1]['seconds']} s")
    return Outcome(folder, counts, {kind: summary[kind] for kind in SEVERITIES}, table.stages, run_id, funded.lines)


def _write_map(
    plan: LoadedPlan,
    sites: pd.DataFrame,
    polygons: geopandas.GeoDataFrame | None,
    about: dict[str, Any],
    checks: pd.DataFrame,
    findings: list[dict[str, Any]],
    shown: pd.DataFrame,
    path: Path,
) -> None:
    from planner.outputs.map.areas import simplify_areas
    from planner.outputs.map.page import map_page
    from planner.outputs.map.relief import make_relief

    area, elevation = plan.plan.area, plan.plan.rasters.elevation
    areas = None
    bounds = tuple(getattr(sites[name], side)() for side in ("min", "max") for name in ("longitude", "latitude"))
    if area is not None and polygons is not None:
        areas, bounds = simplify_areas(polygons, area.name_field), tuple(polygons.total_bounds)
    relief = None
    if elevation is not None:
        relief = make_relief(plan.resolve(elevation.names[0]), bounds, elevation.nodata)
    page = map_page(
        sites,
        areas,
        {**about, "plan": plan.plan.model_dump(mode="json", exclude_none=True)},
        checks=checks,
        findings=findings,
        relief=relief,
        shown=shown,
    )
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(page)


def _relative(path: Path, folder: Path) -> str:
    """The way from the results to a file, with / on every system; the full path where there is none."""
    try:
        return Path(os.path.relpath(path, folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.as_posix()


def fingerprint(path: Path) -> dict[str, Any]:
    """Size and sha256 of an input; of a shapefile those of its parts too, without which it says nothing."""
    found: dict[str, Any] = {"bytes": path.stat().st_size, "sha256": _sha256(path)}
    if path.suffix.lower() == ".shp":
        parts = (path.with_suffix(end) for end in (".dbf", ".shx", ".prj", ".cpg"))
        found["parts"] = {one.suffix: fingerprint(one) for one in parts if one.is_file()}
    return found


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _run_id(plan: LoadedPlan, inputs: dict[str, dict[str, Any]], catalogue: Catalogue) -> str:
    parts = [
        __version__,
        plan.plan.model_dump_json(),
        *(
            f"{key}={one['sha256']}{''.join(part['sha256'] for part in one.get('parts', {}).values())}"
            for key, one in inputs.items()
        ),
        catalogue.digest,
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]


def _date(plan: LoadedPlan) -> str:
    """The date on outputs: the plan's, else SOURCE_DATE_EPOCH, else that of the newest input; never today."""
    if plan.plan.output.date is not None:
        return plan.plan.output.date
    if epoch := os.environ.get("SOURCE_DATE_EPOCH", ""):
        if not re.fullmatch("[0-9]{1,11}", epoch):
            fault = Fault("environment", "SOURCE_DATE_EPOCH", repr(epoch), "whole seconds since 1970")
            raise InputError([fault])
        stamp = float(epoch)
    else:
        stamp = max(plan.resolve(name).stat().st_mtime for name in input_files(plan.plan).values())
    return datetime.datetime.fromtimestamp(stamp, tz=datetime.UTC).date().isoformat()
