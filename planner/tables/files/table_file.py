"""Any inventory file as a header and text cells: which reader takes it, by its first bytes and then by its name."""

from __future__ import annotations

import zipfile
from pathlib import Path

from planner.errors import Fault, InventoryError
from planner.plan import Inventory
from planner.tables.files.layers import LayerError, layer_names, read_layers
from planner.tables.files.raw_table import MAX_CELL_CHARACTERS, RawTable, clip, told
from planner.tables.files.text_table import read_text_table
from planner.tables.files.vector_door import GEOPACKAGES, SHAPEFILE, SQLITE
from planner.tables.files.workbook import read_workbook, sheet_names
from planner.tables.files.workbook_parts import PartsError
from planner.tables.step import Finding

__all__ = ["FORMATS", "RawTable", "open_table", "sheets_of"]

FORMATS = "CSV, TSV, XLSX, XLS, ODS, GeoPackage, GeoJSON, Shapefile or Parquet"
_WORKBOOKS = ("xlsx", "xls", "ods")
_LAYERS = ("gpkg", "shp", "parquet", "geojson")
_BY_NAME = {".xlsx": "xlsx", ".xlsm": "xlsx", ".xls": "xls", ".ods": "ods", ".gpkg": "gpkg", ".shp": "shp"} | {
    ".parquet": "parquet",
    ".geoparquet": "parquet",
    ".geojson": "geojson",
    ".json": "geojson",
}
_OTHERS = {".pdf", ".docx", ".doc", ".kml", ".kmz", ".gpx", ".mdb", ".accdb", ".dbf", ".zip", ".xlsb", ".html", ".xml"}
_MAGIC = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "xls"),
    (SHAPEFILE, "shp"),
    (b"PAR1", "parquet"),
)


def open_table(settings: Inventory, path: Path, faults: list[Fault]) -> RawTable | None:
    """Header and text cells of the inventory's file, or None and the faults.

    What the plan states about the file counts; what it leaves out is found, and told as a finding where it is not the
    plain way of writing a table. Rows that the file has are all there, in order.
    """
    try:
        kind = _kind(settings, path, faults)
        if kind is None:
            return None
        if kind == "text":
            table = read_text_table(settings, path, faults)
        elif kind in _WORKBOOKS:
            table = read_workbook(settings, path, kind, faults)
        else:
            table = read_layers(settings, path, kind, faults)
    except OSError as error:
        faults.append(Fault(settings.file, "file", error.strerror or "an unreadable file", "a readable file"))
        return None
    if table is not None and kind == "text":
        if path.suffix.lower() in _BY_NAME:
            table.findings.insert(0, told("file", "text", settings.file[-200:]))
        return table
    if table is None:
        return None
    for number, row in enumerate(table.rows, start=1):
        if len(max(row, key=len, default="")) > MAX_CELL_CHARACTERS:
            expected = f"at most {MAX_CELL_CHARACTERS} characters"
            faults.append(Fault(settings.file, f"data row {number}", "a longer cell", expected))
            return None
    unused = [key for key in ("encoding", "delimiter") if getattr(settings, key) and key not in table.found]
    table.findings.extend(
        Finding(0, "", f"[inventory] {key}", "setting_not_used", "info", getattr(settings, key)) for key in unused
    )
    return table


def sheets_of(path: Path) -> list[str]:
    """Sheets of a workbook or layers of a GeoPackage; [] of files that hold one table. Raises InventoryError."""
    settings = Inventory.model_validate({"file": path.name})
    faults: list[Fault] = []
    kind = _kind(settings, path, faults)
    if kind is None:
        raise InventoryError(faults)
    try:
        return sheet_names(path, kind) if kind in _WORKBOOKS else layer_names(path, kind)
    except PartsError as error:
        raise InventoryError([Fault(path.name, "file", error.args[0], error.args[1])]) from error
    except LayerError as error:
        raise InventoryError([Fault(path.name, error.args[2], error.args[0], error.args[1])]) from error


def _kind(settings: Inventory, path: Path, faults: list[Fault]) -> str | None:
    """The reader that takes a file, or None and a fault."""

    def refuse(found: str, expected: str = FORMATS) -> None:
        faults.append(Fault(settings.file, "file", found, expected))

    if not path.is_file():
        refuse("a folder" if path.is_dir() else "no file", "a readable file")
        return None
    try:
        with path.open("rb") as file:
            start = file.read(512)
    except OSError as error:
        refuse(error.strerror or "an unreadable file", "a readable file")
        return None
    suffix = path.suffix.lower()
    named = _BY_NAME.get(suffix, "text")
    kind = _by_content(start, path, named)
    if kind is None:
        if suffix in _OTHERS or start.startswith((b"PK", b"%PDF", SQLITE)):
            refuse(f"a file of another kind ({clip(suffix)})")
        elif start.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
            refuse("a web page or XML", f"{FORMATS}; open it in a spreadsheet and save it as xlsx")
        else:
            refuse(f"no {suffix} file, whatever its name says" if start else "nothing")
        return None
    if kind == "text" and settings.sheet is not None:
        faults.append(Fault(settings.file, "[inventory] sheet", clip(settings.sheet), "no sheet: a text file has none"))
        return None
    return kind


def _by_content(start: bytes, path: Path, named: str) -> str | None:
    if start.startswith(b"PK\x03\x04") or start.startswith(b"PK\x05\x06"):
        return _zip_kind(path, named)
    if start.startswith(SQLITE):
        return "gpkg" if start[68:72] in GEOPACKAGES else None
    for magic, kind in _MAGIC:
        if start.startswith(magic):
            return kind
    if named == "geojson":
        return named if start else None
    if start.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<" and named != "text":
        return None
    # Many systems export text under a workbook's old name.
    return (
        "text"
        if named in {"text", "xls"} and path.suffix.lower() not in _OTHERS and (start or named == "text")
        else None
    )


def _zip_kind(path: Path, named: str) -> str | None:
    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
    # zipfile raises NotImplementedError for a zip version that it cannot read.
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return named if named in {"xlsx", "ods"} else "xlsx"  # its reader says what is wrong with it
    if names & {"xl/workbook.xml", "xl/workbook.bin"}:
        return "xlsx"
    return "ods" if "content.xml" in names else None
