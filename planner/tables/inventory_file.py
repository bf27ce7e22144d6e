"""The inventory's file and its header: text cells, and which column is which quantity in which unit.

Faults of the file, of the mapping, of the units and of the reference system are collected, not raised.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from planner.errors import Fault
from planner.glossary import glossary
from planner.plan import Inventory, LoadedPlan
from planner.tables.cells import allowed_units, unit_factor
from planner.tables.degrees import PACKED

_ALL = tuple(glossary())
# The quantities of the inventory, as they leave it.
QUANTITIES: tuple[str, ...] = _ALL[_ALL.index("site_id") : _ALL.index("well_loss_d2_m5") + 1]
DEGREES = ("latitude", "longitude")
METRES = ("northing", "easting")
# What the columns of a file can be mapped to.
INVENTORY_NAMES: tuple[str, ...] = (
    *(name for name in QUANTITIES if name not in {"row_kind", "test_year", "test_month"}),
    *METRES,
)
NUMBERS: tuple[str, ...] = tuple(
    name for name in INVENTORY_NAMES if name not in DEGREES + METRES and glossary()[name].dtype == "number"
)

_NOT_CSV = {".xlsx", ".xls", ".ods", ".gpkg", ".geojson", ".json", ".shp", ".parquet"}
_SHOWN = 20  # faults of one kind


@dataclass(frozen=True)
class Table:
    """An inventory as text, and what its columns are.

    header    names in the file, without outer spaces
    rows      cells of the data rows, each as long as the header
    place     planner name → place of its column
    factor    planner name → factor to the glossary unit, for units that the plan names
    position  the two columns that hold the position, north first
    """

    header: list[str]
    rows: list[list[str]]
    place: dict[str, int]
    factor: dict[str, float]
    position: tuple[str, str]


def read_table(plan: LoadedPlan) -> tuple[Table, list[Fault]]:
    """The inventory's table as far as it can be read, with every fault that was found."""
    faults: list[Fault] = []
    header, rows = _read_rows(plan.plan.inventory, plan.resolve(plan.plan.inventory.file), faults)
    place = _map_columns(plan, header, faults)
    factor = _factors(plan, faults)
    position = _position(plan, place, faults) if header else DEGREES
    return Table(header, rows, place, factor, position), faults


def _read_rows(settings: Inventory, path: Path, faults: list[Fault]) -> tuple[list[str], list[list[str]]]:
    """Header and data rows; both empty if the file cannot be read as CSV."""
    if path.suffix.lower() in _NOT_CSV:
        faults.append(Fault(settings.file, "file", f"a {path.suffix.lower()} file", "CSV, in UTF-8"))
        return [], []
    text = _decode(settings, path, faults)
    if text is None:
        return [], []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=settings.delimiter, strict=True)
    lines: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            lines.append((reader.line_num, row))
    except csv.Error as error:
        expected = "CSV: a cell in quotes is closed, and quotes inside it are doubled"
        faults.append(Fault(settings.file, f"line {reader.line_num}", str(error), expected))
        return [], []
    while lines and _is_empty(lines[-1][1]):
        lines.pop()
    if not lines:
        faults.append(Fault(settings.file, "file", "nothing", "a header line and data rows"))
        return [], []
    header = [name.strip() for name in lines[0][1]]
    if not any(header):
        faults.append(Fault(settings.file, "line 1", "an empty line", "the header"))
        return [], []
    for name in sorted({name for name in header if name and header.count(name) > 1}):
        found = f"{clip(name)} {header.count(name)} times"
        faults.append(Fault(settings.file, "header", found, "each column name once"))
    if len(lines) == 1:
        faults.append(Fault(settings.file, "file", "no data rows", "at least one row below the header"))
    return header, _even_rows(settings.file, lines[1:], len(header), faults)


def _decode(settings: Inventory, path: Path, faults: list[Fault]) -> str | None:
    encoding = settings.encoding
    try:
        data = path.read_bytes()
    except OSError as error:
        faults.append(Fault(settings.file, "file", error.strerror or "an unreadable file", "a readable file"))
        return None
    try:
        text = data.decode(encoding)
        text.encode("utf-8")  # some encodings let half a surrogate pair through
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        place = f"line {line}, byte {error.start + 1}"
        found = f"{data[error.start : error.start + 4].hex(' ')}, which is not {encoding}"
        faults.append(Fault(settings.file, place, found, "another [inventory] encoding, for example cp1252"))
        return None
    except (LookupError, UnicodeError):
        expected = "an encoding of this text, for example utf-8 or cp1252"
        faults.append(Fault(settings.file, "[inventory] encoding", clip(encoding), expected))
        return None
    return text.removeprefix("\ufeff")


def _is_empty(row: list[str]) -> bool:
    return not row or (len(row) == 1 and not row[0].strip())


def _even_rows(file: str, lines: list[tuple[int, list[str]]], width: int, faults: list[Fault]) -> list[list[str]]:
    """Data rows of `width` cells; an empty line between rows is a row without values."""
    rows = [[""] * width if _is_empty(row) else row for _, row in lines]
    ragged = [(line, len(row)) for (line, _), row in zip(lines, rows, strict=True) if len(row) != width]
    for line, cells in ragged[:_SHOWN]:
        faults.append(Fault(file, f"line {line}", f"{cells} cells", f"{width}, as in the header"))
    if len(ragged) > _SHOWN:
        found = f"{len(ragged) - _SHOWN} more lines of another length"
        faults.append(Fault(file, "file", found, f"{width} cells in each"))
    return rows


def _map_columns(plan: LoadedPlan, header: list[str], faults: list[Fault]) -> dict[str, int]:
    """planner name → place of its column: by the plan, else a column that has exactly the planner name."""
    mapping = {name: written.strip() for name, written in plan.plan.inventory.columns.items()}
    place: dict[str, int] = {}
    user: dict[str, str] = {}

    def fault(name: str, found: str, expected: str) -> None:
        faults.append(Fault(str(plan.path), f"[inventory.columns] {clip(name)}", found, expected))

    for name, written in mapping.items():
        if name not in INVENTORY_NAMES:
            fault(name, "no inventory name", _nearest(name, INVENTORY_NAMES))
        if written in user:
            fault(name, f"column {clip(written)}, which {clip(user[written])} has", "a column of its own")
        user[written] = name
        if header and (not written or written not in header):
            fault(name, f"no column {clip(written)}", _nearest(written, [one for one in header if one]))
        elif header and name in INVENTORY_NAMES:
            place[name] = header.index(written)
    for name in INVENTORY_NAMES:
        if name not in mapping and name not in user and name in header:
            place[name] = header.index(name)
    return place


def _factors(plan: LoadedPlan, faults: list[Fault]) -> dict[str, float]:
    factors: dict[str, float] = {}
    for name, written in plan.plan.inventory.units.items():
        place = f"[inventory.units] {clip(name)}"
        if name not in INVENTORY_NAMES:
            faults.append(Fault(str(plan.path), place, "no inventory name", _nearest(name, INVENTORY_NAMES)))
        elif name in DEGREES and (written in PACKED or unit_factor(name, written) == 1.0):
            pass  # read by positions
        elif name not in NUMBERS:
            faults.append(Fault(str(plan.path), place, clip(written), "no unit: this column takes none"))
        else:
            factor = unit_factor(name, written)
            if factor is None:
                allowed = ", ".join(allowed_units(name))
                faults.append(Fault(str(plan.path), place, clip(written), f"one of: {allowed}"))
            else:
                factors[name] = factor
    return factors


def _position(plan: LoadedPlan, place: dict[str, int], faults: list[Fault]) -> tuple[str, str]:
    """The pair of columns that goes with the reference system; a fault if the inventory lacks it."""
    crs = plan.plan.inventory.crs
    have = [pair for pair in (DEGREES, METRES) if all(name in place for name in pair)]
    if not have:
        single = [name for name in DEGREES + METRES if name in place]
        found = f"only {single[0]}" if single else "no position column"
        expected = "latitude and longitude, or easting and northing, there or in [inventory.columns]"
        faults.append(Fault(plan.plan.inventory.file, "header", found, expected))
    kind = _kind_of(crs)
    if have == [METRES] and kind == DEGREES and "utm_zone" in place:
        return METRES  # the datum is the plan's, the zone each row's own
    if kind is None or (have and kind not in have):
        found = clip(crs) + (f" for {have[0][0]} and {have[0][1]}" if have and kind else "")
        metres = have == [METRES]
        wanted = "projected" if metres else "geographic" if have == [DEGREES] else "geographic or projected"
        expected = f"a {wanted} reference system, for example EPSG:{32736 if metres else 4326}"
        faults.append(Fault(str(plan.path), "[inventory] crs", found, expected))
    return kind or DEGREES


def _kind_of(crs: str) -> tuple[str, str] | None:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(crs)
    except CRSError:
        return None
    return DEGREES if system.is_geographic else METRES if system.is_projected else None


def _nearest(name: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(name[:200], [one[:200] for one in known], n=1, cutoff=0.5)
    if near:
        return f"{clip(near[0])}, the nearest"
    return "one of: " + ", ".join(clip(one) for one in known[:60]) + (", …" if len(known) > 60 else "")


def clip(text: str) -> str:
    """Foreign text for a message: quoted, control characters escaped, short."""
    return repr(text) if len(text) <= 60 else repr(text[:59] + "…")
