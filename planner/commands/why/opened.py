"""A finished run opened at one row: its tables, its plan and catalogue, and the engine's view of the site again."""

from __future__ import annotations

import difflib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner import chunks
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.engine import sun
from planner.engine.assess import Context, Skies, make_context, site_record
from planner.engine.duty import Well, well_limits
from planner.engine.report import Performance, perform
from planner.engine.search import Choice, search
from planner.engine.site import Record
from planner.engine.volume import Light
from planner.errors import Fault, OutputError
from planner.plan import LoadedPlan, Plan

Row = Any  # one row of sites.parquet, by column name


@dataclass(frozen=True)
class Sized:
    """The engine's calculation of the site, done again."""

    site: Record
    light: Light
    well: Well
    choice: Choice
    done: Performance | None  # of the chosen design, if there is one


@dataclass(frozen=True)
class Opened:
    """One row of a finished run."""

    row: Row  # of sites.parquet
    checks: pd.DataFrame  # of that row
    findings: pd.DataFrame  # of that row, as text
    plan: Plan
    catalogue: Catalogue
    context: Context
    sized: Sized | None  # None where the row was not sized


def open_row(folder: Path, wanted: str) -> Opened:
    """Open DIR at a site id or `row:17`; raises OutputError where that is no run, no row, or not the same catalogue."""
    record = _record(folder)
    sites = pd.read_parquet(folder / "sites.parquet")
    number = _row_number(sites, wanted, folder)
    plan = Plan.model_validate(record["plan"])
    beside = (folder / record["plan_file"]).resolve()
    catalogue = load_catalogue(LoadedPlan(plan, beside, {}, {}))
    if catalogue.digest != record["catalogue"]:
        found = "pumps or prices that changed since the run"
        raise OutputError([Fault(str(folder), "catalogue", found, "those of the run: repeat `planner run`")])
    context = make_context(plan, catalogue)
    checks = pd.read_parquet(folder / "checks.parquet")
    findings = pd.read_csv(folder / "findings.csv", dtype="str", keep_default_na=False)
    table = sites.set_index("inventory_row", drop=False)
    for name in table.columns:  # nullable types of the file back to those of the steps
        if table[name].dtype == "Int64":
            table[name] = table[name].astype("float64")
    return Opened(
        table.loc[number],
        checks[checks["inventory_row"] == number],
        findings[findings["row"] == str(number)],
        plan,
        catalogue,
        context,
        _size(table, number, context),
    )


def _record(folder: Path) -> dict[str, Any]:
    try:
        record: dict[str, Any] = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        needed = {"plan", "plan_file", "catalogue", "files"} - set(record)
    except (OSError, ValueError) as error:
        raise OutputError([Fault(str(folder), "folder", "no finished run", "the folder of a finished run")]) from error
    missing = [name for name in ("sites.parquet", "checks.parquet", "findings.csv") if not (folder / name).is_file()]
    if needed or missing:
        found = f"a run without {', '.join([*sorted(needed), *missing])}"
        raise OutputError([Fault(str(folder), "run", found, "a run with [output] files holding parquet")])
    return record


def _row_number(sites: pd.DataFrame, wanted: str, folder: Path) -> int:
    ids = sites["site_id"]
    if wanted.startswith("row:") and wanted[4:].isdigit():
        rows = sites.loc[sites["inventory_row"] == int(wanted[4:]), "inventory_row"]
        expected = f"row:1 to row:{len(sites)}"
    else:
        rows = sites.loc[ids == wanted, "inventory_row"]
        near = difflib.get_close_matches(wanted, sorted(set(ids) - {""}), n=3, cutoff=0.4)
        expected = "a site id of the run" + (f", such as {', '.join(map(repr, near))}" if near else "")
    if len(rows) == 0:
        raise OutputError([Fault(str(folder / "sites.parquet"), "site", repr(wanted), expected)])
    if len(rows) > 1:
        several = ", ".join(f"row:{row}" for row in rows)
        found = f"{wanted!r} in {len(rows)} rows"
        raise OutputError([Fault(str(folder / "sites.parquet"), "site", found, f"one of {several}")])
    return int(rows.iloc[0])


def _size(table: pd.DataFrame, number: int, context: Context) -> Sized | None:
    row: Row = table.loc[number]
    if row["engine_status"] == "skipped":
        return None
    sites = chunks.engine_sites(table, pd.Index([number]), context.plan, context.catalogue)
    site = site_record(sites, 0, context)
    months = (tuple(getattr(sites, name)[0]) for name in ("ghi", "air_temperature", "wind"))
    climate = sun.Climate(float(sites.solar_latitude[0]), *months)
    skies, installed = Skies(context), int(sites.existing_pump[0])
    tilt = float(row["tilt_deg"])
    light = skies.light(climate, skies.tilt(climate, site) if np.isnan(tilt) else tilt)
    array_w = float(sites.existing_array_wp[0]) if installed >= 0 else 0.0
    choice = search(site, light, context.market, context.rules, installed, array_w)
    done = perform(choice.chosen, site, light, context.market, context.rules) if choice.chosen.pump >= 0 else None
    return Sized(site, light, well_limits(site), choice, done)
