"""The inventory's file and its header: text cells, and which column is which quantity in which unit.

Faults of the file, of the mapping, of the units and of the reference system are collected, not raised.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from planner.errors import Fault
from planner.glossary import glossary
from planner.plan import LoadedPlan
from planner.tables.cells.read import allowed_units, unit_factor
from planner.tables.files.raw_table import RawTable, clip, told
from planner.tables.files.table_file import open_table
from planner.tables.positions.degrees import PACKED
from planner.tables.step import Finding

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


@dataclass(frozen=True)
class Table:
    """An inventory as text, and what its columns are.

    header    names in the file, without outer spaces
    rows      cells of the data rows, each as long as the header
    place     planner name → place of its column
    factor    planner name → factor to the glossary unit, for units that the plan names
    position  the two columns that hold the position, north first
    crs       their reference system; crs_declared: the plan or the file says so
    decimal   the decimal mark of text cells
    found     what was detected of the file, see RawTable
    findings  of the file
    """

    header: list[str]
    rows: Sequence[list[str]]
    place: dict[str, int]
    factor: dict[str, float]
    position: tuple[str, str]
    crs: str
    crs_declared: bool
    decimal: str
    found: dict[str, str]
    findings: list[Finding]


def read_table(plan: LoadedPlan) -> tuple[Table, list[Fault]]:
    """The inventory's table as far as it can be read, with every fault that was found."""
    faults: list[Fault] = []
    settings = plan.plan.inventory
    raw = open_table(settings, plan.resolve(settings.file), faults) or RawTable([], [], None, {}, [])
    place = _map_columns(plan, raw, faults)
    factor = _factors(plan, faults)
    crs = _crs(plan, raw, place, faults)
    position = _position(plan, crs, place, faults) if raw.header else DEGREES
    _check_unit_line(plan, raw, place, faults)
    findings = [_placed(finding, raw, place) for finding in raw.findings]
    if crs != settings.crs:
        findings.append(told("crs", crs[:500]))
    decimal = raw.found.get("decimal", ".")
    declared = "inventory.crs" not in plan.defaults_used or _has_crs(raw, place)
    return Table(raw.header, raw.rows, place, factor, position, crs, declared, decimal, raw.found, findings), faults


def _placed(finding: Finding, raw: RawTable, place: dict[str, int]) -> Finding:
    """A finding of the file under the planner's name of its column, with the identifier of its row."""
    names = {raw.header[at]: name for name, at in place.items()}
    at = place.get("site_id")
    site_id = raw.rows[finding.row - 1][at].strip() if finding.row and at is not None else ""
    return replace(finding, column=names.get(finding.column, finding.column), site_id=site_id)


def _map_columns(plan: LoadedPlan, raw: RawTable, faults: list[Fault]) -> dict[str, int]:
    """planner name → place of its column: by the plan, else a column that has exactly the planner name.

    Where the header has several lines, its first line alone counts as well.
    """
    header = [
        title if title and name not in plan.plan.inventory.columns.values() and raw.title.count(title) == 1 else name
        for name, title in zip(raw.header, raw.title or raw.header, strict=True)
    ]
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


def _check_unit_line(plan: LoadedPlan, raw: RawTable, place: dict[str, int], faults: list[Fault]) -> None:
    """A fault where the header's line of units names another unit than the one that would be taken."""
    for name, at in place.items():
        written = raw.unit[at] if raw.unit else ""
        if name in NUMBERS and name not in plan.plan.inventory.units and written:
            factor = unit_factor(name, written)
            if factor is not None and factor != 1.0:
                here = f"[inventory.units] {clip(name)}"
                faults.append(Fault(str(plan.path), here, f"nothing, and {clip(written)} in the file", clip(written)))


def _has_crs(raw: RawTable, place: dict[str, int]) -> bool:
    """Whether the position is the file's geometry, in a reference system that the file names."""
    columns = [raw.header.index(name) for name in raw.found.get("geometry_columns", "").split(",") if name]
    return raw.crs is not None and bool(columns) and set(columns) <= set(place.values())


def _crs(plan: LoadedPlan, raw: RawTable, place: dict[str, int], faults: list[Fault]) -> str:
    """The plan's reference system, or the file's where the position is the file's geometry and the plan has none."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    settings = plan.plan.inventory
    if raw.crs is None or not _has_crs(raw, place):
        return settings.crs
    if "crs" not in settings.model_fields_set:
        return raw.crs
    try:
        same = CRS.from_user_input(settings.crs).equals(raw.crs, ignore_axis_order=True)
    except CRSError:
        return settings.crs  # told with the position
    if not same:
        expected = f"{clip(raw.crs)}, as in {settings.file}, or no such key"
        faults.append(Fault(str(plan.path), "[inventory] crs", clip(settings.crs), expected))
    return raw.crs


def _position(plan: LoadedPlan, crs: str, place: dict[str, int], faults: list[Fault]) -> tuple[str, str]:
    """The pair of columns that goes with the reference system; a fault if the inventory lacks it."""
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
