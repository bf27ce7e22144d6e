"""The inventory with what was measured: every cell of it as it stood, but for those that a visit changes.

A changed cell goes into the inventory's own column, in the inventory's own decimal mark, with its unit behind the
number where the column has another. Two kinds of column cannot take a measured value so: levels that are not measured
from the ground, and positions in another reference system. For these a column of ours is added, with the value of every
row as it was read, and the plan's copy names it instead.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from planner.commands.update.belonging import NEW
from planner.commands.update.changes import BESIDE, Change
from planner.commands.update.returned import Value
from planner.commands.update.told import Told, What
from planner.glossary import glossary
from planner.plan import LoadedPlan
from planner.tables.cells.numbers import decimal_mark
from planner.tables.cells.read import level_datum, show
from planner.tables.inventory_file import DEGREES, METRES, Table
from planner.tables.positions.degrees import PACKED


@dataclass
class Copy:
    """The table of the copy, and what the plan must say of it.

    header, rows  all cells as text
    place         planner name → place of its column, as the copy is to be read
    rebuilt       planner names whose column is ours now, in glossary units; positions on WGS 84
    told          every cell that differs
    """

    header: list[str]
    rows: list[list[str]]
    place: dict[str, int]
    rebuilt: set[str] = field(default_factory=set)
    told: list[Told] = field(default_factory=list)


def copied(
    plan: LoadedPlan, table: Table, sites: pd.DataFrame, changes: Sequence[Change], site_of: Mapping[int, str]
) -> Copy:
    """The copy of an inventory.

    sites    columns of the inventory as read, by inventory_row
    site_of  id of a site by the row of the form, for what is told
    """
    header = [name or f"column_{number}" for number, name in enumerate(table.header, start=1)]
    copy = Copy(header, [list(row) for row in table.rows], dict(table.place))
    touched = {one.name for one in changes}
    if touched & set(DEGREES) and not _takes_degrees(plan, table):
        for name in DEGREES:
            _rebuild(copy, sites, name)
        for name in (*METRES, "utm_zone"):
            copy.place.pop(name, None)
    for name in sorted(touched & set(table.place)):
        if level_datum(plan.plan.inventory.units.get(name, "")) not in {None, "ground"}:
            _rebuild(copy, sites, name)
    commas = {name for name in (*touched, *DEGREES) if _has_commas(plan, table, name)}
    new_rows: dict[int, int] = {}
    for one in changes:
        if one.row == NEW and one.form_row not in new_rows:
            copy.rows.append([""] * len(copy.header))
            new_rows[one.form_row] = len(copy.rows)
            told = Told("added", one.form_row, len(copy.rows), site_of.get(one.form_row, ""))
            copy.told.append(told)
    for one in changes:
        if one.value is None and one.name not in copy.place:
            continue
        row = new_rows.get(one.form_row, one.row)
        at = _column(copy, one.name)
        old = copy.rows[row - 1][at]
        new = (
            ""
            if one.value is None
            else _cell(one, table.factor if one.name not in copy.rebuilt else {}, one.name in commas)
        )
        if old == new:
            continue
        copy.rows[row - 1][at] = new
        what: What = "emptied" if one.value is None else "filled" if not old.strip() else "replaced"
        names = (site_of.get(one.form_row, ""), one.name, copy.header[at])
        copy.told.append(Told(what, one.form_row, row, *names, old, new))
    return copy


def _takes_degrees(plan: LoadedPlan, table: Table) -> bool:
    """Whether decimal degrees on WGS 84 can stand in the inventory's own columns."""
    from pyproj import CRS

    plain = CRS.from_user_input(table.crs).equals(CRS.from_epsg(4326), ignore_axis_order=True)
    packed = any(plan.plan.inventory.units.get(name, "") in PACKED for name in DEGREES)
    return table.position == DEGREES and plain and not packed and "utm_zone" not in table.place


def _rebuild(copy: Copy, sites: pd.DataFrame, name: str) -> None:
    at = _added(copy, name)
    digits = repr if name in DEGREES else show
    for row, value in zip(copy.rows, sites[name].tolist(), strict=False):
        row[at] = "" if pd.isna(value) else digits(value)
    copy.place[name] = at
    copy.rebuilt.add(name)


def _column(copy: Copy, name: str) -> int:
    """Place of the column that takes a value; one is added where there is none."""
    if name in copy.place:
        return copy.place[name]
    if name in BESIDE.values() and name in copy.header:  # of an earlier update
        return copy.header.index(name)
    at = _added(copy, name)
    if name not in BESIDE.values():
        copy.place[name] = at
        copy.rebuilt.add(name)
    return at


def _added(copy: Copy, name: str) -> int:
    """A column under a name that no other has."""
    titles = {one.casefold() for one in copy.header}
    names = (name, *(f"{name} {number}" for number in range(2, len(titles) + 3)))
    copy.header.append(next(one for one in names if one.casefold() not in titles))
    for row in copy.rows:
        row.append("")
    return len(copy.header) - 1


def _has_commas(plan: LoadedPlan, table: Table, name: str) -> bool:
    """Whether numbers of a column are written with a decimal comma; a column that is new is written as the file is."""
    stated = plan.plan.inventory.decimal
    if name in DEGREES or name not in table.place:
        return (stated or table.decimal) == ","
    cells = pd.Series([row[table.place[name]].strip() for row in table.rows], dtype="str")
    return decimal_mark(cells, stated, table.decimal)[0] == ","


def _cell(change: Change, factor: Mapping[str, float], comma: bool) -> str:
    value = change.value
    if not isinstance(value, float):
        return _no_formula(str(value))
    text = f"{value:.7f}".rstrip("0") if change.name in DEGREES else show(value)
    if comma:
        # Three figures behind a comma could be thousands.
        text = re.sub(r"\.([0-9]{3})$", r".\g<1>0", text).replace(".", ",")
    own = change.name in DEGREES or factor.get(change.name, 1.0) == 1.0
    return text if own else f"{text} {glossary()[change.name].unit}"


def _no_formula(text: str) -> str:
    """A text of the form that a spreadsheet would take for a formula gets an apostrophe before it."""
    return "'" + text if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def file_bytes(copy: Copy, delimiter: str, encoding: str, line_end: str) -> tuple[bytes, str]:
    """The copy as delimited text, and its encoding: UTF-8 where a new text has no place in the inventory's own."""
    marks = (delimiter, '"', "\r", "\n")

    def quoted(cell: str) -> str:
        return '"' + cell.replace('"', '""') + '"' if any(one in cell for one in marks) else cell

    text = "".join(delimiter.join(map(quoted, row)) + line_end for row in (copy.header, *copy.rows))
    try:
        return text.encode(encoding), encoding
    except UnicodeEncodeError:
        return text.encode("utf-8"), "utf-8"


def values_expected(copy: Copy, sites: pd.DataFrame, changes: Sequence[Change]) -> dict[tuple[int, str], Value | None]:
    """Values that must be read from the copy, by row and planner name, of the cells that changed."""
    rows = {one.form_row: one.inventory_row for one in copy.told if one.what == "added"}
    return {
        (rows.get(one.form_row, one.row), one.name): one.value
        for one in changes
        if one.name in sites.columns and one.value is not None
    }
