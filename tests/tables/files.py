"""Inventory files for the tests of their readers, the two ways of opening one, and columns added to one."""

from __future__ import annotations

import csv
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely
import xlsxwriter

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.raw_table import RawTable
from planner.tables.files.table_file import open_table
from planner.tables.step import Step

HEADER = ["site_id", "site_name", "latitude", "longitude", "depth_m"]
ROWS = [["00123", "Étang", "-9.5", "33.5", "60"], ["7", "Cité", "-9.6", "33.6", "62.5"]]

Fill = Callable[[Any, Any], None]


def written(folder: Path, content: str | bytes | Path, name: str) -> Path:
    if isinstance(content, Path):
        return content
    (folder / name).write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return folder / name


def attempt(folder: Path, content: str | bytes | Path, name: str, **keys: Any) -> tuple[RawTable | None, list[Fault]]:
    faults: list[Fault] = []
    path = written(folder, content, name)
    return open_table(Inventory.model_validate({"file": path.name, **keys}), path, faults), faults


def text(separator: str = ",", rows: list[list[str]] = ROWS) -> str:
    return "".join(separator.join(row) + "\n" for row in [HEADER, *rows])


def told(table: RawTable | Step) -> dict[str, str]:
    """Keys of [inventory] that the reader tells, and their values."""
    found = [one for one in table.findings if one.rule == "file_read_as"]
    return {one.column.removeprefix("[inventory] "): one.new_value for one in found}


def rules(table: RawTable | Step) -> list[tuple[int, str]]:
    return [(one.row, one.rule) for one in table.findings]


def workbook(path: Path, fill: Callable[[Any, Any], None], **options: Any) -> Path:
    """An XLSX file whose only sheet `fill(book, sheet)` writes."""
    with xlsxwriter.Workbook(path, options) as book:
        fill(book, book.add_worksheet("Wells"))
    return path


def plain(book: Any, sheet: Any) -> None:
    for number, row in enumerate([HEADER, *ROWS]):
        sheet.write_row(number, 0, row)


def ods(path: Path, rows: str) -> Path:
    """The least ODS file with these table:table-row elements."""
    spaces = "".join(
        f' xmlns:{one}="urn:oasis:names:tc:opendocument:xmlns:{one}:1.0"' for one in ("office", "table", "text")
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f'<office:document-content{spaces} xmlns:calcext="urn:x"><office:body><office:spreadsheet>'
            f'<table:table table:name="Wells">{rows}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return path


def ods_row(*cells: str, keys: str = "") -> str:
    return f"<table:table-row{keys}>" + "".join(map(ods_cell, cells)) + "</table:table-row>"


def ods_cell(value: str) -> str:
    error = ' calcext:value-type="error"' if value.startswith("#") else ""
    return f'<table:table-cell office:value-type="string"{error}><text:p>{value}</text:p></table:table-cell>'


def places(crs: str | None = "EPSG:4326", **columns: list[Any]) -> gpd.GeoDataFrame:
    """Two sites as points, on the central meridian of zone 36 S where the system is projected."""
    points = [(33.5, -9.5), (33.6, -9.6)] if crs != "EPSG:32736" else [(500000.0, 8900000.0), (500100.5, 8900100.0)]
    return gpd.GeoDataFrame(columns, geometry=[shapely.Point(one) for one in points], crs=crs)


ATTRIBUTES: dict[str, list[Any]] = {"site_id": ["00123", "Étang"], "people": [250, None], "depth_m": [60.0, 62.5]}
FORMATS = [("wells.gpkg", "GPKG"), ("wells.shp", "ESRI Shapefile"), ("wells.geojson", "GeoJSON"), ("wells.parquet", "")]


def save(frame: gpd.GeoDataFrame, path: Path, driver: str, **options: Any) -> Path:
    frame = frame.assign(people=frame["people"].astype("Int64")) if "people" in frame else frame
    if driver:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            frame.to_file(path, driver=driver, **options)
    else:
        frame.to_parquet(path)
    return path


def with_columns(plan: Path, columns: dict[str, list[str]], extra: str = "") -> Path:
    """Add columns to the inventory of a programme, and lines to its [output]."""
    file = plan.parent / "wells.csv"
    with file.open(encoding="utf-8", newline="") as source:
        rows = list(csv.reader(source))
    for name, cells in columns.items():
        for row, cell in zip(rows, [name, *cells], strict=True):
            row.append(cell)
    with file.open("w", encoding="utf-8", newline="") as target:
        csv.writer(target).writerows(rows)
    plan.write_text(plan.read_text(encoding="utf-8") + extra, encoding="utf-8")
    return plan
