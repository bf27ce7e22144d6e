"""A finished run as tables for the analyst: computed now, or read back from its folder."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from planner import offline
from planner.choice.decision import DECISIONS
from planner.errors import Fault, OutputError
from planner.outputs.folder import RECORD, finish
from planner.outputs.tables import exact_frame
from planner.tables.step import FINDING_COLUMNS
from planner.texts import ENGLISH, english

if TYPE_CHECKING:
    import geopandas

# What the outputs say of a run; all of it stands in run.json.
ABOUT = ("programme", "currency", "price_year", "run_id", "date", "version", "counts", "cautions", "notes", "coarsen_m")


@dataclass(frozen=True, repr=False)
class Run:
    """A finished run.

    folder    where its files are
    run_id    as on every output
    counts    sites by decision
    results   geopandas.GeoDataFrame in EPSG:4326: a row an inventory row, in its order, with the columns of
              sites.parquet; the geometry is None where a site has no usable position. Positions are exact
    checks    a row a rule that was tested on a site: value, limit, unit, pass
    findings  a row a fault or repair of the inventory, columns of findings.csv
    areas     geopandas.GeoDataFrame in EPSG:4326 with `area_name`; None without [area]
    lines     what was funded and chosen, in sentences
    about     what every output says: programme, currency, price_year, date, cautions, notes, coarsen_m …
    language  of the plan's files, and of the preview
    """

    folder: Path
    run_id: str
    counts: Mapping[str, int]
    results: geopandas.GeoDataFrame
    checks: pd.DataFrame
    findings: pd.DataFrame
    areas: geopandas.GeoDataFrame | None
    lines: tuple[str, ...]
    about: Mapping[str, Any]
    language: str = ENGLISH

    def __repr__(self) -> str:
        counted = ", ".join(f"{name} {count}" for name, count in self.counts.items())
        return f"Run({self.run_id}, {len(self.results)} rows: {counted}; {str(self.folder)!r})"


def run(
    plan: str | Path,
    out: str | Path | None = None,
    *,
    workers: int | None = None,
    fresh: bool = False,
    tell: Callable[[str], None] = lambda _: None,
) -> Run:
    """Run a plan file, as `planner run` does, and return its results.

    plan     the plan file
    out      folder of the results; maps/ and the programme's name if None
    workers  threads; all cores if None
    fresh    compute stored sites again
    tell     is handed a line a step, such as `print`
    Raises InputError, a ValueError that names every fault of the inputs at once.
    """
    from planner import pipeline  # numba and the engine: not for who opens a finished run

    folder = None if out is None else Path(out)
    with offline.closed():
        done = pipeline.run(Path(plan), folder, workers=workers, fresh=fresh, tell=tell)
    material = done.material
    areas = material.polygons
    if areas is not None:
        named = areas[[material.name_field, "geometry"]].rename(columns={material.name_field: "area_name"})
        areas = named.reset_index(drop=True)
    return Run(
        done.folder,
        done.run_id,
        dict(done.counts),
        placed(exact_frame(material.sites, material.shown)),
        exact_frame(material.checks).reset_index(drop=True),
        pd.DataFrame(material.findings, columns=FINDING_COLUMNS).astype(_finding_types()),
        areas,
        tuple(line.text() for line in done.budget),
        {key: english(material.about[key]) for key in ABOUT},
        _language(material.plan.plan.model_dump(mode="json")),
    )


def open_run(folder: str | Path) -> Run:
    """A finished run from its folder: run.json, sites.parquet, checks.parquet, findings.csv, areas of plan.gpkg.

    The same as `run` returned, but for the areas, whose parts of one name are one row, and which are None where the run
    wrote no plan.gpkg. Raises OutputError if the folder holds no run, or the run wrote no parquet files.
    """
    folder = Path(folder)
    finish(folder)
    record = _record(folder)
    for name in ("sites.parquet", "checks.parquet"):
        if not (folder / name).is_file():
            expected = 'a run whose [output] files name "parquet"'
            raise OutputError([Fault(str(folder / name), "file", "nothing", expected)])
    counts = {name: int(record["counts"][name]) for name in record["counts"] if name in DECISIONS}
    return Run(
        folder,
        str(record["run_id"]),
        counts,
        placed(pd.read_parquet(folder / "sites.parquet")),
        pd.read_parquet(folder / "checks.parquet"),
        _findings(folder / "findings.csv"),
        _areas(folder / "plan.gpkg"),
        tuple(str(line) for line in record["budget"]),
        {**{key: record[key] for key in ABOUT}, "counts": counts},
        _language(record["plan"]),
    )


def placed(frame: pd.DataFrame) -> geopandas.GeoDataFrame:
    """The rows with points where they have a usable position, else None."""
    import geopandas
    import shapely

    known = frame["latitude"].notna() & frame["longitude"].notna()
    if "position_status" in frame.columns:
        known &= ~frame["position_status"].isin(["missing", "placeholder"])
    points = pd.Series([None] * len(frame), index=frame.index, dtype="object")
    points[known] = shapely.points(frame.loc[known, "longitude"].to_numpy(), frame.loc[known, "latitude"].to_numpy())
    return geopandas.GeoDataFrame(frame, geometry=geopandas.GeoSeries(points, crs="EPSG:4326"))


def _record(folder: Path) -> dict[str, Any]:
    path = folder / RECORD
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(found, dict) and not {*ABOUT, "budget", "plan"} - found.keys():
            return found
        what = "a record of another version"
    except OSError:
        what = "nothing"
    except ValueError:
        what = "no JSON"
    raise OutputError([Fault(str(path), "results folder", what, "the folder of a finished run")])


def _findings(path: Path) -> pd.DataFrame:
    """findings.csv with cells as they were before they were kept from being formulas."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    frame = pd.DataFrame(rows, columns=FINDING_COLUMNS, dtype="str")
    for name in FINDING_COLUMNS:
        frame[name] = frame[name].str.replace(r"^'(?=[=+\-@\t\r])", "", regex=True)
    return frame.astype(_finding_types())


def _finding_types() -> dict[str, str]:
    return {name: "int64" if name == "row" else "str" for name in FINDING_COLUMNS}


def _areas(path: Path) -> geopandas.GeoDataFrame | None:
    import pyogrio

    if not path.is_file() or "areas" not in pyogrio.list_layers(path)[:, 0]:
        return None
    areas = pyogrio.read_dataframe(path, layer="areas", columns=["area_name"])
    return areas[areas.geometry.notna()].reset_index(drop=True)


def _language(plan: Mapping[str, Any]) -> str:
    return str(plan.get("programme", {}).get("language", ENGLISH))
