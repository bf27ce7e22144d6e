"""A finished run opened at one row: its tables, its plan and catalogue, and the engine's view of the site again."""

from __future__ import annotations

import difflib
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pydantic import ValidationError

from planner import __version__, chunks
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.choice.ranking import rank
from planner.commands.why.sheet import agree
from planner.engine.assess import Context, assess, make_context, site_record, sized
from planner.engine.balance import Storage, storage_of
from planner.engine.choose import Choice
from planner.engine.cost import Market
from planner.engine.duty import (
    Rig,
)
from planner.engine.light import Light, Plane
from planner.engine.report import Performance
from planner.engine.room import Room, make_room
from planner.engine.site import Record
from planner.engine.sun import Climate
from planner.engine.well import Well, well_limits
from planner.errors import Fault, InternalError, OutputError
from planner.outputs import folder as output_folder
from planner.pipeline import weather_of
from planner.plan import LoadedPlan, Plan
from planner.run_table import engine_columns

NEEDED = ("run_id", "version", "programme", "plan", "plan_file", "inputs", "catalogue")
TABLES = ("sites.parquet", "checks.parquet", "findings.csv")


@dataclass(frozen=True)
class Chosen:
    """The design of a site, what it does, and the rows of the catalogue that it is made of."""

    design: Record  # of engine.design.DESIGN
    done: Performance
    rig: Rig  # in its well, its pipes' friction on the desk
    bare: Record  # the desk of the pump without pipes
    storage: Storage
    pump: Record
    drive: Record
    module: Record
    riser: Record
    delivery: Record
    cable: Record
    tank_m3: float


@dataclass(frozen=True)
class Sized:
    """The engine's calculation of the site, done again."""

    site: Record
    climate: Climate
    plane: Plane
    light: Light
    well: Well
    choice: Choice
    market: Market
    rules: Record
    chosen: Chosen | None  # None where no design can be built, or the set that stands lifts no water


@dataclass(frozen=True)
class Opened:
    """One row of a finished run."""

    record: dict[str, Any]  # run.json
    table: pd.DataFrame  # sites.parquet, indexed by inventory_row
    number: int  # the row
    checks: pd.DataFrame  # of that row
    findings: pd.DataFrame  # of that row, as text
    plan: Plan
    catalogue: Catalogue
    context: Context
    sized: Sized | None  # None where the row was not sized

    @property
    def row(self) -> pd.Series:
        """The row's columns."""
        return series_at(self.table, self.number)


def series_at(table: pd.DataFrame, number: int) -> pd.Series:
    """One row of a table whose index is unique."""
    found = table.loc[number]
    assert isinstance(found, pd.Series)
    return found


def open_row(folder: Path, wanted: str) -> Opened:
    """Open DIR at a site id or `row:17`.

    Raises OutputError where that is no run, no row, or not the same catalogue; InternalError where the row, sized
    again, is not what the run wrote.
    """
    record = _record(folder)
    table = pd.read_parquet(folder / "sites.parquet").set_index("inventory_row", drop=False)
    for name in table.columns:  # nullable types of the file back to those of the steps
        if table[name].dtype == "Int64":
            table[name] = table[name].astype("float64")
    number = _row_number(table, wanted, folder)
    loaded, catalogue = _plan(folder, record)
    plan = loaded.plan
    checks = pd.read_parquet(folder / "checks.parquet")
    findings = pd.read_csv(folder / "findings.csv", dtype="str", keep_default_na=False)
    context = make_context(plan, catalogue, weather_of(loaded))
    _same_as_the_run(table, number, context)
    return Opened(
        record,
        table,
        number,
        checks[checks["inventory_row"] == number],
        findings[findings["row"] == str(number)],
        plan,
        catalogue,
        context,
        _size(table, number, context),
    )


def _record(folder: Path) -> dict[str, Any]:
    """run.json, after the moves of a run that was killed while it put its files into place."""
    output_folder.finish(folder)
    path = folder / output_folder.RECORD
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        missing = [name for name in NEEDED if name not in record]
    except (OSError, ValueError, TypeError) as error:
        found = "no folder" if not folder.is_dir() else "no record of a run"
        raise _wrong(folder, "folder", found, "the folder of a finished run, where run.json lies") from error
    if missing:
        raise _wrong(path, "keys", f"no {', '.join(missing)}", "a record of this version: run the plan again")
    absent = [name for name in TABLES if not (folder / name).is_file()]
    if absent:
        raise _wrong(folder, "files", f"no {', '.join(absent)}", 'a run with "parquet" in [output] files')
    found_record: dict[str, Any] = record
    return found_record


def _plan(folder: Path, record: dict[str, Any]) -> tuple[LoadedPlan, Catalogue]:
    """Plan and catalogue of the run: the same, with the same hourly weather, or refused."""
    path = folder / output_folder.RECORD
    again = "the same version as the run's: run the plan again"
    if record["version"] != __version__:
        raise _wrong(path, "version", f"{record['version']!r}, this program is {__version__!r}", again)
    try:
        plan = Plan.model_validate(record["plan"])
    except ValidationError as error:
        raise _wrong(path, "plan", str(error.errors()[0]["msg"]), again) from error
    plan_file = (folder.resolve() / record["plan_file"]).resolve()
    loaded = LoadedPlan(plan, plan_file, {}, {})
    books = {key: name for key in ("pumps", "pump_points", "prices") if (name := getattr(plan.equipment, key))}
    for key, name in books.items():
        if not loaded.resolve(name).is_file():
            expected = f"the file {name!r} of the run, beside {plan_file}"
            raise _wrong(path, f"[equipment] {key}", f"no file at {loaded.resolve(name)}", expected)
    catalogue = load_catalogue(loaded)
    if catalogue.digest != record["catalogue"]:
        which = " or ".join(str(loaded.resolve(name)) for name in books.values()) or "the built-in catalogue"
        raise _wrong(path, "catalogue", f"{which} changed since the run", "that of the run: run the plan again")
    if plan.weather is not None:
        weather = loaded.resolve(plan.weather.file)
        if not weather.is_file():
            expected = f"the file {plan.weather.file!r} of the run, beside {plan_file}"
            raise _wrong(path, "[weather] file", f"no file at {weather}", expected)
        if hashlib.sha256(weather.read_bytes()).hexdigest() != record["inputs"]["weather.file"]["sha256"]:
            raise _wrong(path, "inputs", f"{weather} changed since the run", "that of the run: run the plan again")
    return loaded, catalogue


def _row_number(table: pd.DataFrame, wanted: str, folder: Path) -> int:
    """The row of a site id, else of `row:17`."""
    rows = table.index[table["site_id"] == wanted]
    if wanted == "":
        rows = rows[:0]
    if len(rows) == 0 and wanted.startswith("row:") and wanted[4:].isdecimal():
        rows = table.index[table.index == int(wanted[4:])]
    place = folder / "sites.parquet"
    if len(rows) == 0:
        near = difflib.get_close_matches(wanted, sorted(set(table["site_id"]) - {""}), n=3, cutoff=0.4)
        such = f", such as {', '.join(map(repr, near))}" if near else ""
        raise _wrong(place, "site", repr(wanted), f"a site id of the run{such}, or row:1 to row:{table.index.max()}")
    if len(rows) > 1:
        names, decisions = table["site_name"], table["decision"]
        several = ", ".join(f"row:{row} ({names[row]!r}, {decisions[row]!s})" for row in rows)
        raise _wrong(place, "site", f"{wanted!r} in {len(rows)} rows: {several}", f"one of them: row:{rows[0]}")
    return int(rows[0])


def _same_as_the_run(table: pd.DataFrame, number: int, context: Context) -> None:
    """Size the row as a run does and hold every column of the result, and the rank, against the written ones.

    The sections compare what they print; this also holds what no printed line leads to, such as the head for rules.
    """
    rows = chunks.to_assess(table.loc[[number]])
    sites = chunks.engine_sites(table, rows, context.plan, context.catalogue)
    again = engine_columns(assess(sites, context).rows, pd.Index([number])).assign(rank=rank(table))
    ours, theirs = series_at(again, number), series_at(table, number)
    for name in map(str, again.columns):
        found, written = ours[name], theirs[name]
        if again[name].dtype != "float64":
            if found != written:
                raise InternalError(f"{name}: worked out as {found!r}, the run wrote {written!r}")
        elif not (np.isnan(found) and np.isnan(written)):
            agree(name, float(found), float(written))


def _size(table: pd.DataFrame, number: int, context: Context) -> Sized | None:
    """The search and the year of the chosen design, as the run did them."""
    row = series_at(table, number)
    if row["engine_status"] == "skipped":
        return None
    market, rules = context.market, context.rules
    sites = chunks.engine_sites(table, pd.Index([number]), context.plan, context.catalogue)
    site = site_record(sites, 0, context)
    climate, skies, installed = sites.climate(0), context.skies(), int(sites.existing_pump[0])
    plane = skies.plane(climate, site, float(sites.existing_tilt_deg[0]) if installed >= 0 else np.nan)
    light = skies.light(climate, plane)
    array_w = float(sites.existing_array_wp[0]) if installed >= 0 else 0.0
    room = make_room(market)
    choice, done = sized(site, light, context, room, installed, array_w)
    chosen = _chosen(choice.chosen, done, site, market, rules, room) if done is not None else None
    return Sized(site, climate, plane, light, well_limits(site), choice, market, rules, chosen)


def _chosen(design: Record, done: Performance, site: Record, market: Market, rules: Record, room: Room) -> Chosen:
    """The chosen design with its parts; the room is as `perform` left it."""
    pump = market.pumps[design.pump]
    drive, tank_m3 = market.drives[pump["drive"]], float(market.tanks[design.tank]["volume_m3"])
    return Chosen(
        design,
        done,
        Rig(pump, drive, site, rules, done.well, room.desk),
        room.bare,
        storage_of(site, tank_m3),
        pump,
        drive,
        market.modules[design.module],
        market.risers[design.riser],
        market.deliveries[design.delivery],
        market.cables[design.cable],
        tank_m3,
    )


def _wrong(path: Path, place: str, found: str, expected: str) -> OutputError:
    return OutputError([Fault(str(path), place, found, expected)])
