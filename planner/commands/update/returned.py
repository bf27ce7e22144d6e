"""A returned form, read as an inventory is read: any table file, columns in any order, units and commas in cells."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pandas as pd

from planner.commands.update.told import Told, not_used, quoted
from planner.errors import Fault, InventoryError, raise_if
from planner.glossary import glossary
from planner.outputs.field import form
from planner.plan import Inventory, LoadedPlan
from planner.tables.cells.dates import read_dates
from planner.tables.cells.numbers import Format, decimal_mark, read_number
from planner.tables.cells.read import NO_VALUE, fold, vocabulary
from planner.tables.files.raw_table import RawTable
from planner.tables.files.table_file import open_table, sheets_of
from planner.tables.inventory import read_opened
from planner.tables.inventory_file import DEGREES, Table
from planner.tables.step import Finding
from planner.texts import LANGUAGES, finding_words, texts

Value = float | str

GPS = {"latitude": "gps_latitude", "longitude": "gps_longitude"}
TEXTS = ("site_id", "site_name", "sub_district")
FREE = ("visitor", "shade", "remarks")  # kept as they are beside the inventory's columns
QUANTITIES = tuple(name for name, _ in form.ANSWERS if name in glossary())
_IDENTIFIED = ("inventory_row", "site_id")


@dataclass(frozen=True)
class Row:
    """One row of the form that has anything in it.

    number         data row of the form, 1 = first
    inventory_row  as it says; 0: it names none
    latitude, longitude  the position in the plan, as the form has it; NaN where it cannot be read
    values         answers that could be read: inventory names in the inventory's units and words, positions on
                   WGS 84, `measuring_point_m`, `visit_date`, and texts of FREE
    """

    number: int
    inventory_row: int
    site_id: str
    site_name: str
    sub_district: str
    run_id: str
    inventory_file: str
    latitude: float
    longitude: float
    values: dict[str, Value]


def read_returned(path: Path, plan: LoadedPlan) -> tuple[list[Row], list[Told]]:
    """The rows of a form with something in them, and its cells that could not be read or are doubtful.

    Raises InventoryError where the file is no table or not the form.
    """
    raw = _open(path)
    table = _table(raw)
    own = dataclasses.replace(
        plan, plan=plan.plan.model_copy(update={"inventory": Inventory(file=str(path.resolve()))})
    )
    step = read_opened(own, table)
    at = {name: place for place, name in enumerate(table.header)}
    cells = {name: [row[place].strip() for row in table.rows] for name, place in at.items()}
    values, told = _values(step.columns, step.findings, cells, table.place)
    own_values, own_told = _own_values(cells, table, plan)
    rows = []
    for place in range(len(table.rows)):
        if not any(cell.strip() for cell in table.rows[place]):
            continue
        row, wrong = _row(place, cells, values[place] | own_values[place])
        rows.append(row)
        told += wrong
    return rows, sorted([*told, *own_told], key=lambda one: one.form_row)


def _open(path: Path) -> RawTable:
    """The table of the form: of a workbook the sheet that has its names."""
    faults: list[Fault] = []
    sheets: list[str | None] = [*sheets_of(path)]
    for sheet in sheets or [None]:
        of_sheet: list[Fault] = []
        raw = open_table(Inventory(file=path.name, sheet=sheet), path, of_sheet)
        if raw is not None and _is_form(raw.header):
            raise_if(of_sheet, InventoryError)
            return raw
        faults += of_sheet if sheet is None else []
    names = ", ".join((*_IDENTIFIED, "tested_yield_m3_h"))
    faults.append(Fault(path.name, "header", "no line with the names of the form", f"a line with {names} and others"))
    raise InventoryError(faults)


def _is_form(header: list[str]) -> bool:
    names = {name.casefold() for name in header}
    answers = {name for name, _ in form.ANSWERS}
    return any(name in names for name in _IDENTIFIED) and bool(names & answers)


def _table(raw: RawTable) -> Table:
    """The form as an inventory: its answers under the inventory's names, columns that it lacks empty."""
    header = [name.casefold() for name in raw.header]
    wanted = [name for name in (*GPS.values(), *TEXTS) if name not in header]
    rows = [[*row, *([""] * len(wanted))] for row in raw.rows]
    header += wanted
    for name in form.WORDS:
        if name in header:
            at = header.index(name)
            for row in rows:
                row[at] = _words(name).get(fold(row[at]), row[at])
    place = {name: header.index(GPS.get(name, name)) for name in (*DEGREES, *TEXTS)}
    place |= {name: header.index(name) for name in QUANTITIES if name in header}
    findings = [one for one in raw.findings if one.row]
    decimal = raw.found.get("decimal", ".")
    return Table(header, rows, place, {}, DEGREES, "EPSG:4326", True, decimal, raw.found, findings)


@cache
def _words(name: str) -> dict[str, str]:
    """What the words of a drop-down list mean, in every language of the texts."""
    keys = form.WORDS[name]
    return {fold(texts(language)[key][1]): meaning for language in LANGUAGES for meaning, key in keys.items()}


def _values(
    read: pd.DataFrame, findings: list[Finding], cells: dict[str, list[str]], place: dict[str, int]
) -> tuple[list[dict[str, Value]], list[Told]]:
    """Answers of each row that are quantities, and what is wrong with the others."""
    rules: dict[tuple[int, str], Finding] = {}
    for one in findings:
        if one.row and one.severity != "info":
            rules.setdefault((one.row, one.column), one)
    found: list[dict[str, Value]] = [{} for _ in range(len(read))]
    told: list[Told] = []
    for name in (*DEGREES, *(one for one in QUANTITIES if one in place)):
        column = GPS.get(name, name)
        for at, (cell, value) in enumerate(zip(cells[column], read[name].tolist(), strict=True)):
            if not cell or (fold(cell) in NO_VALUE and not _is_word(name, cell)):
                continue
            said = rules.get((at + 1, name))
            if pd.isna(value) or value == "" or (said is not None and said.rule == "unknown_word"):
                told.append(_unread(at + 1, column, cell, said))
                continue
            found[at][name] = value
            if said is not None and said.rule not in _NOT_OF_A_FORM:
                why = f"{quoted(cell)}: {finding_words(said.rule)}"
                told.append(Told("doubtful", at + 1, column=column, found=why, expected="a look at it"))
    return found, told


# What an inventory says of its columns as a whole, of which a form has a few rows only.
_NOT_OF_A_FORM = frozenset({"unit_doubtful", "test_pump_limited", "control_character", "unit_converted"})


def _is_word(name: str, cell: str) -> bool:
    return fold(cell) in vocabulary().get(name, {})


def _unread(number: int, column: str, cell: str, said: Finding | None) -> Told:
    why = f" ({finding_words(said.rule).rstrip('.')})" if said is not None else ""
    return not_used(number, f"{quoted(cell)}{why}", expected(column), column=column)


def expected(column: str) -> str:
    """What would be right in a cell of the form."""
    kind = dict(form.ANSWERS)[column]
    if kind == "word":
        return "one of: " + ", ".join(form.WORDS[column])
    if kind == "date":
        return "a date, year-month-day, not later than the year of the plan's prices or date"
    low, high = form.bounds(column)
    unit = form.OWN_UNITS.get(column) or glossary()[column].unit.strip("-")
    return f"a number from {low or 0:g} to {high:g} {unit}".rstrip()


def _own_values(
    cells: dict[str, list[str]], table: Table, plan: LoadedPlan
) -> tuple[list[dict[str, Value]], list[Told]]:
    """Answers that no inventory has: the measuring point, the date of the visit, free texts."""
    found: list[dict[str, Value]] = [{} for _ in range(len(table.rows))]
    told: list[Told] = []
    empty = [""] * len(table.rows)
    points = pd.Series(cells.get("measuring_point_m", empty), dtype="str")
    mark, by = decimal_mark(points, None, table.decimal)
    low, high = form.OWN_BOUNDS["measuring_point_m"]
    for at, cell in enumerate(points.tolist()):
        if cell:
            typed = table.found.get("format") != "csv"
            value, _ = read_number(cell, "casing_stickup_m", Format(mark, by, typed=typed))
            if low <= value <= high:
                found[at]["measuring_point_m"] = value
            else:
                told.append(_unread(at + 1, "measuring_point_m", cell, None))
    written = plan.plan.output.date
    last_year = max(plan.plan.programme.price_year, int(written[:4]) if written else 0)
    index = pd.RangeIndex(1, len(table.rows) + 1)
    days = pd.Series(cells.get("visit_date", empty), index=index, dtype="str")
    dates, _, _ = read_dates(days, None, last_year, table.found.get("date_order"))
    for at, (cell, day) in enumerate(zip(days.tolist(), dates.tolist(), strict=True)):
        if day:
            found[at]["visit_date"] = day
            if len(day) < len("2025-03-12"):  # day and month can be taken for one another
                why = f"{quoted(cell)}, read as {day}"
                told.append(Told("doubtful", at + 1, column="visit_date", found=why, expected="year-month-day"))
        elif cell:
            told.append(_unread(at + 1, "visit_date", cell, None))
    for name in FREE:
        for at, cell in enumerate(cells.get(name, empty)):
            if cell:
                found[at][name] = as_written(cell)
    return found, told


def _row(place: int, cells: dict[str, list[str]], values: dict[str, Value]) -> tuple[Row, list[Told]]:
    def cell(name: str) -> str:
        return cells[name][place] if name in cells else ""

    stated, told = cell("inventory_row"), []
    number = int(stated) if re.fullmatch("[0-9]{1,9}", stated) else 0
    if stated and not number:
        told.append(not_used(place + 1, quoted(stated), "the number of a row of the inventory", column="inventory_row"))
        number = -1
    row = Row(
        place + 1,
        number,
        as_written(cell("site_id")),
        as_written(cell("site_name")),
        as_written(cell("sub_district")),
        cell("run_id"),
        cell("inventory_file"),
        _degrees(cell("latitude")),
        _degrees(cell("longitude")),
        values,
    )
    return row, told


def _degrees(cell: str) -> float:
    try:
        return float(cell.replace(",", "."))
    except ValueError:
        return float("nan")


def as_written(text: str) -> str:
    """Without the apostrophe that keeps a text from being a formula."""
    return text[1:] if text[:1] == "'" and text[1:2] in set("=+-@\t\r") else text
