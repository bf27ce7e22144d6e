"""Cells of the workbook: texts that stay texts, numbers with the format of their unit, days as days."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST = 32_767  # what a cell of the format holds, in UTF-16 units
FIRST_DAY = datetime.date(1900, 3, 1)  # before it spreadsheets disagree: one counts a 29 February 1900
# XML 1.0 has no place for these; \r is allowed, but every reader of XML turns it into \n.
UNWRITABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")

Kind = str  # text, wrapped, number, integer, flag, date
NUMBERS = {
    "%": "0.0%",
    "m": "#,##0.0",
    "km": "#,##0.0",
    "mm": "0",
    "mm2": "0.0",
    "m3": "#,##0.0",
    "m3/h": "0.00",
    "m3/d": "#,##0.0",
    "W": "#,##0",
    "Wp": "#,##0",
    "kW": "#,##0.0",
    "deg": "0.00000",
    "degC": "0.0",
    "h": "0.0",
    "h/d": "0.0",
    "people": "#,##0",
    "kWh/m2/d": "0.00",
    "t/year": "#,##0.0",
    "L/year": "#,##0",
    "currency": "#,##0",
    "currency/year": "#,##0",
    "currency/person": "#,##0.00",
    "currency/m3": "#,##0.000",
    "cents": "#,##0.00",
}
OTHER = "General"


def shown(text: str) -> str:
    """The text without what XML cannot hold: control characters as their pictures, half characters as U+FFFD.

    >>> shown("bell\\x07")
    'bell␇'
    """
    return UNWRITABLE.sub(_picture, text)


def _picture(found: re.Match[str]) -> str:
    code = ord(found[0])
    if code == 0x7F:
        return "\u2421"
    return chr(0x2400 + code) if code < 0x20 else "\ufffd"


def fitted(text: str, mark: str) -> str:
    """The text as a cell holds it; what is longer is cut, and `mark` stands at its end.

    >>> len(fitted("n" * 40_000, " [cut]"))
    32767
    """
    text = shown(text)
    if len(text) <= LONGEST // 2:
        return text
    units = text.encode("utf-16-le")
    if len(units) <= 2 * LONGEST:
        return text
    room = 2 * (LONGEST - len(mark.encode("utf-16-le")) // 2)
    return units[:room].decode("utf-16-le", "ignore") + mark


def day_of(text: str) -> datetime.date | str:
    """A whole date as a date; a year or a month alone stays text, no day is made up for it."""
    if not DAY.fullmatch(text):
        return text
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        return text
    return day if day >= FIRST_DAY else text


def number_format(unit: str, kind: Kind) -> str:
    """The number format of a unit: marks and spaces are those of the reader's locale, the value stays as it is."""
    return "0" if kind == "integer" and unit not in NUMBERS else NUMBERS.get(unit, OTHER)


def put_text(sheet: Worksheet, row: int, column: int, text: str, style: Format) -> None:
    """A text as text, whatever it looks like: no formula, no link, no number.

    XlsxWriter takes a text from <r> to </r> for its own markup and would write it bare; in two runs it is escaped.
    """
    if text.startswith("<r>") and text.endswith("</r>"):
        sheet.write_rich_string(row, column, text[0], style, text[1:], style)
    else:
        sheet.write_string(row, column, text, style)


Writer = Callable[["Worksheet", int, int, Any, "Format", "Format"], None]


def put(sheet: Worksheet, row: int, column: int, value: Any, style: Format, day_style: Format) -> None:
    """A value of any kind; nothing where it is missing."""
    if value is None or value == "":
        return
    if isinstance(value, str):
        put_text(sheet, row, column, value, style)
    elif isinstance(value, datetime.date):
        sheet.write_datetime(row, column, datetime.datetime(value.year, value.month, value.day), day_style)
    elif math.isfinite(value):
        sheet.write_number(row, column, value, style)
