"""What a run leaves behind: every file of its folder, and run.json, its record."""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import os
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from planner import __version__
from planner.alternatives.compare import totals as alternatives_totals
from planner.catalogue.loader import Catalogue
from planner.choice.decision import DECISIONS
from planner.choice.funding import Funding
from planner.choice.lots.stage import Grouping
from planner.errors import Fault, InputError, InternalError
from planner.outputs import folder as output_folder
from planner.outputs import tables as output_tables
from planner.outputs.bill import write_bills
from planner.outputs.finding_summary import SEVERITIES, finding_frame, summary_record
from planner.outputs.lots import write_lots_csv
from planner.outputs.material import Material
from planner.outputs.sizes import left_out
from planner.plan import LoadedPlan, input_files
from planner.run_table import Table
from planner.stages.scenarios import WhatIf
from planner.stages.selection import Chosen
from planner.tables.boundary import read_polygons
from planner.tables.prices import price_record
from planner.tables.step import FINDING_COLUMNS
from planner.texts import Said, english, words_of_kind

if TYPE_CHECKING:
    import geopandas

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Outcome:
    """What a finished run tells its caller."""

    folder: Path
    counts: dict[str, int]
    findings: dict[str, int]
    stages: list[dict[str, Any]]
    run_id: str
    material: Material
    budget: list[Said] = field(default_factory=list)
    scenarios: list[str] = field(default_factory=list)


def publish(
    plan: LoadedPlan,
    catalogue: Catalogue,
    table: Table,
    checks: pd.DataFrame,
    funded: Funding,
    chosen: Chosen,
    lots: Grouping,
    folder: Path,
    tell: Tell,
    varied: WhatIf,
) -> Outcome:
    """Write the files that the plan wants and put them in the place of the last run's, all or none."""
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
    cut = left_out(sites, plan.plan)
    for one in cut:
        tell(one.text())
    lines = [*funded.lines, *chosen.lines, *lots.lines, *table.tests[1]]
    about = {
        "programme": plan.plan.programme.name,
        "language": plan.plan.programme.language,
        "currency": plan.plan.programme.currency,
        "price_year": plan.plan.programme.price_year,
        "run_id": run_id,
        "date": date,
        "version": __version__,
        "counts": counts,
        "defaults_used": plan.defaults_used,
        "without_effect": plan.without_effect,
        "cautions": words_of_kind("caution"),
        "notes": [*table.notes, *cut, *words_of_kind("note")],
        "coarsen_m": plan.plan.output.coarsen_m,
        "budget": lines,
        "budget_steps": funded.steps,
    }
    material = Material(
        plan,
        catalogue,
        sites,
        checks,
        [{name: getattr(one, name) for name in FINDING_COLUMNS} for one in table.findings],
        table.shown,
        _polygons(plan),
        about,
        lots.table,
        varied.rows,
        varied.table,
        chosen.weights,
    )
    bills = draw(material, new, table.disk.release)
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
        **english(about),
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
        "lots": lots.record,
        "alternatives": alternatives_totals(sites),
        "prices": price_record(catalogue),
        "bill": bills,
        "scenarios": varied.records,
        "pump_types": chosen.pump_types,
        "ranking": chosen.ranking,
        "tests": table.tests[0],
        "findings": summary,
        "draws": table.draws.get("draws", 0),
        "seed": table.draws.get("seed"),
    }
    output_folder.commit(folder, record)
    tell(f"outputs: {table.stages[-1]['seconds']} s")
    return Outcome(
        folder,
        counts,
        {kind: summary[kind] for kind in SEVERITIES},
        table.stages,
        run_id,
        material,
        lines,
        varied.lines,
    )


def draw(material: Material, new: Path, read: Callable[[], None] = lambda: None) -> dict[str, Any] | None:
    """Write the files that the plan wants; the sums of the bills, if they are among them.

    read  called whenever a part of the tables was read for good
    """
    wanted, sites = material.plan.plan.output.files, material.sites
    bills = None
    if "csv" in wanted:
        output_tables.write_sites_csv(sites, new / "sites.csv", material.shown, read)
        if material.scenarios:
            output_tables.write_moves_csv(material.moves, new / "scenarios.csv")
    if "parquet" in wanted:
        output_tables.write_parquet(sites, new / "sites.parquet", material.shown, read)
        output_tables.write_parquet(material.checks, new / "checks.parquet", written=read)
    output_tables.write_findings_csv(material.findings, new / "findings.csv")
    if material.lots is not None:
        write_lots_csv(material.lots, new / "lots.csv")
    if "bill" in wanted:
        bills = write_bills(sites, material.catalogue, material.plan.plan, new)
    if material.weights is not None:
        output_tables.write_weights_csv(material.weights, new / "weights.csv")
    if "workbook" in wanted:
        from planner.outputs.workbook.write import write_workbook

        write_workbook(material, new / "programme.xlsx")
    if "field" in wanted:  # working files: exact positions
        from planner.outputs.field.write import write_field

        write_field(material, new)
    handed_on = material.handed_on()
    if "map" in wanted:
        from planner.outputs.map.write import write_map

        write_map(handed_on, new / "map.html")
    if "charts" in wanted:
        from planner.outputs.charts.write import write_charts

        write_charts(handed_on, new)
    if "sheets" in wanted:
        from planner.outputs.sheets.write import write_sheets

        write_sheets(material, new / "site_sheets.pdf")
    if "brief" in wanted:
        from planner.outputs.sheets.write import write_brief

        write_brief(handed_on, new / "brief.pdf")
    if "gpkg" in wanted:
        from planner.outputs.geopackage.geopackage import write_geopackage

        write_geopackage(
            handed_on.sites,
            handed_on.polygons,
            handed_on.name_field,
            handed_on.findings,
            english(handed_on.about),
            new / "plan.gpkg",
            handed_on.lots,
        )
    return bills


def _polygons(plan: LoadedPlan) -> geopandas.GeoDataFrame | None:
    area = plan.plan.area
    return None if area is None else read_polygons(area.boundary, plan.resolve(area.boundary)).to_crs("EPSG:4326")


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
