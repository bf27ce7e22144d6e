"""The common shape of an inventory file of any kind: a header and text cells, and what was noticed on the way."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from planner.tables.step import Finding, Severity

# Nothing larger is opened. A row of an inventory is some 300 bytes, so these hold a country several times over.
MAX_TEXT_BYTES = 250_000_000
MAX_FILE_BYTES = 1_000_000_000
MAX_CELLS = 40_000_000
MAX_CELL_CHARACTERS = 32_767  # what a cell of a workbook holds


@dataclass(frozen=True)
class RawTable:
    """An inventory as text, before any of its columns has a meaning.

    header    outer spaces removed; lines of a header of several lines joined by a space
    rows      text cells, each row as long as the header
    crs       reference system of a file with geometry, as text that pyproj understands
    found     what was detected or used: format, encoding, delimiter, decimal, sheet, header_row, header_rows,
              date_order; `geometry_columns`, two names, where the file's points are columns now; `hxl:NAME`, the
              hashtag of the column NAME
    findings  row 0: how the file was read where that is not the plain way, and what would be lost without a word;
              other rows: cells with faults of the file's kind, under the name in the header
    title     the header's first line alone, where it has several; else empty
    unit      the header's last line, where it holds units; else empty
    """

    header: list[str]
    rows: Sequence[list[str]]
    crs: str | None
    found: dict[str, str]
    findings: list[Finding]
    title: list[str] = field(default_factory=list)
    unit: list[str] = field(default_factory=list)


def told(key: str, value: str, old: str = "", severity: Severity = "info") -> Finding:
    """The finding for a key of [inventory] that the plan leaves out and that was found in the file."""
    return Finding(0, "", f"[inventory] {key}", "file_read_as", severity, old, value)


def clip(text: str) -> str:
    """Foreign text for a message: quoted, control characters escaped, short."""
    return repr(text) if len(text) <= 60 else repr(text[:59] + "…")


def text_of(value: Any) -> str:
    """A value of a cell as text: whole numbers without a point or exponent, dates in ISO order.

    >>> text_of(12.0), text_of(1e17), text_of(0.25), text_of(True), text_of(datetime.date(2019, 3, 5))
    ('12', '100000000000000000', '0.25', 'TRUE', '2019-03-05')
    """
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e22 else repr(value)
    if isinstance(value, datetime.datetime):
        return value.isoformat(" ", "minutes" if value.second == value.microsecond == 0 else "seconds")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return "" if value is None else str(value)
