"""A sheet that is a list: three rows of header, then a row each; frozen, filtered, set up for printing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

from planner.glossary import glossary
from planner.outputs.workbook.cells import Kind, day_of, fitted, put, shown
from planner.outputs.workbook.words import Words

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

    from planner.outputs.workbook.styles import Styles

HEADER_ROWS = 3
# Unit and kind of columns that are no quantity of the glossary.
FIELDS: dict[str, tuple[str, Kind]] = {
    "quantity": ("-", "number"), "unit_price": ("cents", "number"), "amount": ("cents", "number"),
    "price_year": ("year", "integer"), "quoted_year": ("year", "integer"), "sites": ("-", "integer"),
    "price": ("cents", "number"), "life_y": ("year", "number"), "row": ("-", "integer"), "count": ("-", "integer"),
    "base_latitude": ("deg", "number"), "base_longitude": ("deg", "number"),
    "centre_latitude": ("deg", "number"), "centre_longitude": ("deg", "number"), "value_deviation": ("%", "number"),
    "pump_types": ("-", "integer"), "mean_base_km": ("km", "number"), "max_base_km": ("km", "number"),
    "compactness": ("%", "number"), "equip": ("-", "integer"), "test_first": ("-", "integer"),
    "hold": ("-", "integer"), "unsuitable": ("-", "integer"), "not_assessed": ("-", "integer"),
    "ranked": ("-", "integer"), "funded": ("-", "integer"), "reserve": ("-", "integer"),
    "equip_capital_cost": ("currency", "number"), "funded_capital_cost": ("currency", "number"),
    "equip_people_served": ("people", "number"), "funded_people_served": ("people", "number"),
    "equip_volume_used_m3_day": ("m3/d", "number"), "funded_volume_used_m3_day": ("m3/d", "number"),
    "cost_per_m3_median": ("currency/m3", "number"), "cumulative_volume_m3_day": ("m3/d", "number"),
    "reason": ("-", "wrapped"), "meaning": ("-", "wrapped"), "advice": ("-", "wrapped"), "note": ("-", "wrapped"),
    "why": ("-", "wrapped"), "changes": ("-", "wrapped"), "sites_in": ("-", "wrapped"), "sites_out": ("-", "wrapped"),
    "clash": ("-", "wrapped"), "sheets": ("-", "wrapped"), "pumps": ("-", "wrapped"), "setting": ("-", "any"),
}  # fmt: skip
SHARES = {"family_margin", "family_margin_equipment", "alternative_margin", "power_share_to_run"}
CODES = {
    "decision", "funding", "pump_family", "supply_limited", "safe_rate_limit", "severity", "action", "boundary", "item",
    "price_kind", "resource_source", "mounting", "range_kind", "alternative_cheapest", "group", "status",
    "equipped_with", "test_kind", "base_source", "origin", "decision_old", "decision_new", "funding_old",
    "funding_new", "pump_family_old", "pump_family_new",
}  # fmt: skip
WIDEST, WRAPPED, WRAPPED_SHORT, SAMPLE = 30, 80.0, 44.0, 200
LONG = {"reason_text", "meaning", "note", "why"}
LINE_HEIGHT, MOST_LINES = 15.0, 8
SIGNS_A_WIDTH = 1.05  # signs of running text in the width of a figure; fewer in a wide font


@dataclass(frozen=True)
class Column:
    """A column of a list: machine name, unit and kind, and its cells, None where a value is missing."""

    name: str
    unit: str
    kind: Kind
    cells: list[Any]


@dataclass(frozen=True)
class Listing:
    """A list as its sheet shows it.

    key      of the sheet, as in words.SHEETS
    total    rows that there are; the list holds the first ones, at most the plan's row limit
    rest     file that holds all of them
    frozen   columns that stay in sight
    printed  columns that are printed; the others are for the screen
    """

    key: str
    columns: list[Column]
    total: int
    rest: str
    frozen: int = 1
    printed: int | None = None
    written: int = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "written", len(self.columns[0].cells) if self.columns else 0)

    def place(self, name: str) -> int | None:
        """Number of a column, from 0; None where the list has none of this name."""
        return next((number for number, one in enumerate(self.columns) if one.name == name), None)

    def cells(self, name: str) -> list[Any]:
        """Cells of a column; none where the list has no such column."""
        place = self.place(name)
        return [] if place is None else self.columns[place].cells


def described(name: str) -> tuple[str, Kind]:
    """Unit and kind of a column by its machine name; text where nothing is known of it."""
    base = name.removesuffix("_old").removesuffix("_new")
    if base in FIELDS:
        return FIELDS[base]
    quantity = glossary().get(base)
    if quantity is None:
        return "-", "text"
    if base == "test_date":
        return "-", "date"
    if base in {"reason_text", "evidence_raise", "evidence_reasons", "switch_text"}:
        return "-", "wrapped"
    share = quantity.unit == "-" and quantity.dtype == "number" and (quantity.low, quantity.high) == (0, 1)
    return "%" if share or base in SHARES else quantity.unit, quantity.dtype


def columns_of(frame: pd.DataFrame, words: Words, names: Sequence[str] | None = None) -> list[Column]:
    """Columns of a table by its machine names, in the order of `names`; those that the table lacks are left out."""
    mark = words.say("cut")
    yes, no = words.say("yes"), words.say("no")
    found = []
    for name in frame.columns if names is None else [one for one in names if one in frame.columns]:
        unit, kind = described(str(name))
        values = frame[name]
        if kind == "flag":
            cells = [None if pd.isna(one) else yes if one else no for one in values]
        elif kind in {"number", "integer"}:
            numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype="float64").tolist()
            cells = [None if math.isnan(one) else one for one in numbers]
        elif kind == "any":
            cells = values.tolist()
        else:
            cells = _texts(str(name), kind, values, words, mark)
        found.append(Column(str(name), unit, kind, cells))
    return found


def _texts(name: str, kind: Kind, values: pd.Series, words: Words, mark: str) -> list[Any]:
    codes, distinct = pd.factorize(values, use_na_sentinel=True)
    told = [fitted(words.code(name, str(one)) if name in CODES else str(one), mark) for one in distinct]
    cells = [day_of(one) if kind == "date" else one for one in told]
    return [cells[code] if code >= 0 and told[code] else None for code in codes]


def write_list(sheet: Worksheet, listing: Listing, styles: Styles, words: Words) -> None:
    """The header in three rows (words, machine names, units with the filter), then the rows."""
    columns, last = listing.columns, max(len(listing.columns) - 1, 0)
    cells = [(column.cells, styles.of(column.unit, column.kind), styles.of(column.unit, "date")) for column in columns]
    _set_up(sheet, listing, words)
    widths = [width_of(column, words.label(column.name), words.unit(column.unit)) for column in columns]
    wrapped = [(column.cells, width) for column, width in zip(columns, widths, strict=True) if column.kind == "wrapped"]
    for number, width in enumerate(widths):
        sheet.set_column(number, number, width)
    labels = [header(words.label(column.name)) for column in columns]
    sheet.set_row(0, LINE_HEIGHT * max(map(_header_lines, labels, widths), default=1))
    for number, label in enumerate(labels):
        sheet.write_string(0, number, label, styles.header)
    for number, column in enumerate(columns):
        sheet.write_string(1, number, header(column.name), styles.machine)
    for number, column in enumerate(columns):
        sheet.write_string(2, number, words.unit(column.unit), styles.unit)
    for row in range(listing.written):
        lines = max((lines_of(values[row] or "", width) for values, width in wrapped), default=1)
        if lines > 1:  # not every program fits the height to the text by itself
            sheet.set_row(row + HEADER_ROWS, LINE_HEIGHT * min(lines, MOST_LINES))
        for number, (values, style, day) in enumerate(cells):
            value = values[row]
            if value is not None:
                put(sheet, row + HEADER_ROWS, number, value, style, day)
    bottom = HEADER_ROWS + max(listing.written, 1) - 1
    sheet.autofilter(HEADER_ROWS - 1, 0, bottom, last)
    if not listing.written:
        sheet.write_string(HEADER_ROWS, 0, words.say("empty_list"), styles.note)
    elif listing.written < listing.total:
        sheet.write_string(bottom + 2, 0, rest_text(listing, words), styles.note)


def rest_text(listing: Listing, words: Words) -> str:
    """Where the rows are that the list has no room for."""
    key = "rest_in_file" if listing.rest else "rest_nowhere"
    filled = {"written": listing.written, "total": listing.total}
    return words.say(key, **filled, file=listing.rest) if listing.rest else words.say(key, **filled)


def _set_up(sheet: Worksheet, listing: Listing, words: Words) -> None:
    last = max(len(listing.columns) - 1, 0)
    bottom = HEADER_ROWS + max(listing.written, 1) - 1
    sheet.freeze_panes(HEADER_ROWS, listing.frozen)
    sheet.ignore_errors({"number_stored_as_text": f"A1:XFD{bottom + 3}"})
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.set_margins(left=0.4, right=0.4, top=0.6, bottom=0.6)
    sheet.repeat_rows(0, HEADER_ROWS - 1)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&L&8&A&R&8&P / &N")
    if listing.printed is not None and listing.printed <= last:
        sheet.print_area(0, 0, bottom + 2, listing.printed - 1)


def header(text: str) -> str:
    """A text for a cell of the header: without control characters, at most 250 characters."""
    text = shown(text)
    return text if len(text) <= 250 else text[:249] + "…"


def lines_of(text: str, width: float) -> int:
    """Lines that a text takes in a cell of a width."""
    return sum(max(math.ceil(len(part) / (width * SIGNS_A_WIDTH)), 1) for part in text.split("\n"))


def _header_lines(label: str, width: float) -> int:
    """Lines of a heading, bold, broken between its words."""
    room, lines, used = max(width - 1.5, 1.0), 1, 0
    for word in label.split():
        if used and used + 1 + len(word) > room:
            lines, used = lines + 1, 0
        used += len(word) + (1 if used else 0)
    return min(lines, MOST_LINES)


def width_of(column: Column, label: str, unit: str) -> float:
    """A width that shows the cells, within bounds; the header wraps."""
    if column.kind == "wrapped":
        return WRAPPED if column.name in LONG else WRAPPED_SHORT
    longest = max((len(word) for word in label.split()), default=0) + 1
    if column.kind in {"text", "any"}:
        longest = max([longest, *(len(str(one)) for one in column.cells[:SAMPLE] if one is not None)])
    if column.kind == "date":
        longest = max(longest, 12)
    return float(min(max(longest + 1, len(unit) + 2, len(column.name) * 0.5, 8), WIDEST))
