"""Equipment tables in CSV: rows of text that know their file and number, and checked numbers from them.

Faults are collected in the list that a `Table` carries, never raised here, so that a user mends a file in one
round. A cell that is wrong reads as NaN or "".
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from planner.errors import Fault

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)
IDENTIFIER = re.compile(r"\w[\w .,/()+-]{0,59}")  # letters and digits of any script, no markup, no formula

# More than any list of pumps or prices has; a larger file is another one.
MOST_BYTES = 20_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 500
NEAREST_TOLD = 50  # faults with the nearest known name; looking for it among all takes its time


@dataclass
class Row:
    """One row: its cells as text, and where they stand. `number` 1 is the first row below the header."""

    cells: Mapping[str, str]
    file: str
    number: int
    label: str
    faults: list[Fault]

    def fault(self, column: str, found: str, expected: str) -> None:
        """Note a fault in a cell."""
        name = f" ({self.label})" if self.label else ""
        shown = found if len(found) <= 60 else found[:57] + "…"
        self.faults.append(Fault(self.file, f"row {self.number}{name}, column {column}", shown, expected))

    def number_in(self, column: str, low: float, high: float) -> float:
        """The number in a cell, low ≤ number ≤ high; NaN with a fault otherwise."""
        text = self.cells.get(column)
        if text is None:
            return math.nan  # the missing column is one fault of the table, not one of every row
        expected = f"a number from {low:g} to {high:g}"
        if not NUMBER.fullmatch(text):
            hint = ", with a decimal point" if re.fullmatch(r"-?\d+,\d+", text) else ""
            self.fault(column, repr(text) if text else "nothing", expected + hint)
            return math.nan
        value = float(text)
        if not low <= value <= high:
            self.fault(column, text, expected)
            return math.nan
        return value

    def numbers(self, ranges: Mapping[str, tuple[float, float]]) -> dict[str, float]:
        """Several cells at once, each with its range."""
        return {column: self.number_in(column, low, high) for column, (low, high) in ranges.items()}

    def word(self, column: str, words: Sequence[str]) -> str:
        """One of the given words; "" with a fault otherwise."""
        text = self.cells.get(column)
        if text is None or text in words:
            return text or ""
        expected = "one of " + ", ".join(words) if len(words) > 1 else words[0]
        self.fault(column, repr(text) if text else "nothing", expected)
        return ""

    def money(self) -> tuple[str, float]:
        """Currency and year of the row's prices; "" and NaN with a fault where they are wrong."""
        currency = self.cells.get("currency", "")
        if "currency" in self.cells and not CURRENCY.fullmatch(currency):
            self.fault("currency", repr(currency) if currency else "nothing", "three capital letters, as USD")
            currency = ""
        year = self.number_in("price_year", 1990, 2100)
        if not math.isnan(year) and year != int(year):
            self.fault("price_year", self.cells["price_year"], "a whole year")
        return currency, year

    def ascending(self, values: Mapping[str, float], *pairs: tuple[str, str]) -> None:
        """For each pair of columns: a fault unless the first value is at most the second."""
        for smaller, larger in pairs:
            if values[smaller] > values[larger]:  # false when either is NaN: that cell has its fault already
                self.fault(smaller, f"{values[smaller]:g}", f"at most {larger}, which is {values[larger]:g}")


@dataclass
class Table:
    """A CSV file as text. `text` has its line ends made uniform and is what a digest covers."""

    file: str
    text: str
    columns: list[str] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)


def read_table(data: bytes, file: str, key: str, faults: list[Fault], *, unique: bool = True) -> Table:
    """Parse a CSV file (UTF-8, comma).

    `key` is the column of ids, each once where `unique`. Rows of empty cells are passed over.
    """
    if len(data) > MOST_BYTES:
        faults.append(Fault(file, "file", f"{len(data) / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB"))
        return Table(file, "")
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        faults.append(Fault(file, f"byte {error.start}", "text that is not UTF-8", "UTF-8"))
        return Table(file, "")
    table = Table(file, text)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = list(reader)
    except csv.Error as error:
        faults.append(Fault(file, f"line {reader.line_num}", str(error), "comma-separated values"))
        return table
    if not lines:
        faults.append(Fault(file, "header", "an empty file", "a table with a header"))
        return table
    if len(lines) > MOST_ROWS or len(lines[0]) > MOST_COLUMNS:
        expected = f"at most {MOST_ROWS} rows of {MOST_COLUMNS} cells"
        faults.append(Fault(file, "file", f"{len(lines)} rows of {len(lines[0])} cells", expected))
        return Table(file, "")
    table.columns = [name.strip() for name in lines[0]]
    for name in sorted({name for name in table.columns if table.columns.count(name) > 1}):
        faults.append(Fault(file, "header", f"column {name[:60]!r} twice", "each column once"))
    seen: dict[str, int] = {}
    for number, line in enumerate(lines[1:], start=1):
        cells = [cell.strip() for cell in line]
        if not any(cells):
            continue
        mapping = dict(zip(table.columns, cells, strict=False))
        row = Row(mapping, file, number, "", faults)
        if len(cells) != len(table.columns):
            expected = f"{len(table.columns)}, as in the header"
            faults.append(Fault(file, f"row {number}", f"{len(cells)} cells", expected))
        _identify(row, key, seen if unique else {})
        table.rows.append(row)
    if not table.rows:
        faults.append(Fault(file, "rows", "none", "at least one row below the header"))
    return table


def require_columns(table: Table, columns: Iterable[str], faults: list[Fault]) -> None:
    """One fault for each column that is not there, with the nearest name that is."""
    for column in columns:
        if table.columns and column not in table.columns:
            near = difflib.get_close_matches(column, table.columns, n=1, cutoff=0.7)
            found = f"no such column, but {near[0]!r}" if near else "no such column"
            faults.append(Fault(table.file, f"header, column {column}", found, f"a column {column}"))


def _identify(row: Row, key: str, seen: dict[str, int]) -> None:
    if key not in row.cells:
        return
    label = row.cells[key]
    if not IDENTIFIER.fullmatch(label):
        row.fault(key, repr(label) if label else "nothing", "letters, digits and . , / ( ) + -, at most 60")
        return
    row.label = label
    if label in seen:
        row.fault(key, f"{label!r} again, first in row {seen[label]}", "each id once")
    seen.setdefault(label, row.number)
