"""Tables as text: comma, semicolon, tab or bar between the cells, in the usual encodings.

Encoding, separator, decimal mark and header are those of the plan, else found; the choice is told where it is not the
plain one (UTF-8, comma, point, first line).
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.header_lines import find_header, header_findings, repeated_names
from planner.tables.files.number_marks import date_order_in, marks_of
from planner.tables.files.raw_table import MAX_CELL_CHARACTERS, MAX_TEXT_BYTES, RawTable, clip, told
from planner.tables.files.text_encoding import decode
from planner.tables.files.text_rows import TextRows
from planner.tables.step import Finding

DELIMITERS = (",", ";", "\t", "|")
_SHOWN = 20  # faults of one kind
_TOP = 1000  # lines among which the header is looked for
_SAMPLE_CHARACTERS = 200_000
_SAMPLE_LINES = 300
_COMMAS_WITH_COMMAS = 3  # cells with a decimal comma that are evidence where the comma separates cells too

Line = tuple[int, list[str]]  # number of its last line in the file, cells


def read_text_table(settings: Inventory, path: Path, faults: list[Fault]) -> RawTable | None:
    """The table of a text file, or None and the faults."""
    data = _bytes_of(settings, path, faults)
    if data is None:
        return None
    decoded = decode(data, settings, faults)
    if decoded is None:
        return None
    text, encoding, findings = decoded
    del data
    found = {"format": "csv", "encoding": encoding}
    separator, skip = _separator_line(text)
    delimiter = settings.delimiter or separator or find_delimiter(text[:_SAMPLE_CHARACTERS])
    found["delimiter"] = delimiter
    if settings.delimiter is None and delimiter != ",":
        findings.append(told("delimiter", {"\t": "tab"}.get(delimiter, delimiter)))
    encoded = text.encode("utf-8", "surrogatepass")
    del text
    lines = _Lines(encoded)
    told_before, limit = len(faults), csv.field_size_limit(MAX_CELL_CHARACTERS)
    try:
        lines.split(delimiter)
        return _table(settings, _without_empty_end(islice(lines, skip, None)), found, findings, faults)
    except csv.Error as error:
        long = "field larger" in str(error)
        what = f"a cell of more than {MAX_CELL_CHARACTERS} characters" if long else str(error)
        expected = "CSV: a cell in quotes is closed, and quotes inside it are doubled"
        faults[told_before:] = [Fault(settings.file, f"line {lines.number}", what, expected)]
    except DelimiterError:
        faults.append(Fault(settings.file, "[inventory] delimiter", clip(delimiter), "a sign such as , ; or |"))
    finally:
        csv.field_size_limit(limit)
    return None


def _table(
    settings: Inventory, source: Iterator[Line], found: dict[str, str], findings: list[Finding], faults: list[Fault]
) -> RawTable | None:
    lines = list(islice(source, _TOP))
    if not lines:
        faults.append(Fault(settings.file, "file", "nothing", "a header line and data rows"))
        return None
    cells = [row for _, row in lines]
    row = settings.header_row
    at = None if row is None else next((place for place, (line, _) in enumerate(lines) if line >= row), len(lines))
    header = find_header(cells, settings, faults, at=at)
    if header is None:
        deque(source, maxlen=0)  # what is wrong with the cells is told first
        return None
    number = lines[header.at - 1][0] + 1 if header.at else 1
    number = row or max(number, lines[header.at][0] - _line_ends(lines[header.at][1]))
    faults += repeated_names(settings.file, header.names)
    if header.body >= len(lines):
        faults.append(Fault(settings.file, "file", "no data rows", "at least one row below the header"))
    body = chain(lines[header.body :], source)
    rows = TextRows(_even_rows(settings.file, body, len(header.names), faults), len(header.names))
    if faults:
        return RawTable(header.names, [], None, found, findings)
    about, more = header_findings(header, cells, number, settings)
    found |= about
    findings += more
    _number_marks(settings, rows, found, findings)
    return RawTable(header.names, rows, None, found, findings, header.title, header.unit)


def _number_marks(settings: Inventory, rows: TextRows, found: dict[str, str], findings: list[Finding]) -> None:
    """Decimal mark and order of dates."""
    columns = [rows.column(place) for place in range(len(rows[0]))] if len(rows) else []

    def cells_with(mark: str) -> Iterator[str]:
        for column in columns:
            yield from column.filter(pc.match_substring(column, mark)).to_pylist()

    decimal = settings.decimal
    if decimal is None:
        commas, _ = marks_of(cells_with(","))
        _, points = marks_of(cells_with(".")) if commas else (0, 0)
        enough = commas >= (_COMMAS_WITH_COMMAS if found["delimiter"] == "," else 1)
        decimal = "," if enough and not points else "."
        if decimal == ",":
            findings.append(told("decimal", ",", f"{commas} cells"))
        elif enough:
            mixed = f"{commas} numbers with a comma, {points} with a point"
            findings.append(Finding(0, "", "[inventory] decimal", "decimal_mixed", "warning", mixed, "."))
    found["decimal"] = decimal
    found["date_order"] = settings.date_order or date_order_in(_Cells(column) for column in columns)


def _bytes_of(settings: Inventory, path: Path, faults: list[Fault]) -> bytes | None:
    try:
        size = path.stat().st_size
        if size > MAX_TEXT_BYTES:
            expected = f"at most {MAX_TEXT_BYTES // 1_000_000} MB of text"
            faults.append(Fault(settings.file, "file", f"{size // 1_000_000} MB", expected))
            return None
        return path.read_bytes()
    except OSError as error:
        faults.append(Fault(settings.file, "file", error.strerror or "an unreadable file", "a readable file"))
        return None


def _separator_line(text: str) -> tuple[str | None, int]:
    """The separator that a first line `sep=;` states, as spreadsheets write it, and how many lines that takes."""
    found = re.match(r'"?sep=([^\r\n])"?\r?\n', text[:10])
    return (found[1], 1) if found else (None, 0)


def find_delimiter(sample: str) -> str:
    """The separator that cuts most lines of the sample into the same number of cells; a comma if none does.

    >>> find_delimiter("site;depth\\nA;12,5\\nB;9,25\\n")
    ';'
    """
    best, best_share = ",", 0.0
    for delimiter in DELIMITERS:
        widths = []
        try:
            for row in csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter):
                if not _is_empty(row):
                    widths.append(len(row))
                if len(widths) >= _SAMPLE_LINES:
                    break
        except csv.Error:
            continue
        if len(widths) < _SAMPLE_LINES and len(sample) >= _SAMPLE_CHARACTERS:
            widths = widths[:-1]  # the sample ends inside a line
        width, lines = Counter(widths).most_common(1)[0] if widths else (1, 0)
        share = lines / len(widths) if width > 1 else 0.0
        if share > best_share + 1e-9:
            best, best_share = delimiter, share
    return best


class DelimiterError(Exception):
    """A line end or a quote as separator."""


class _Lines:
    """The lines of a text, one after the other, each with the number of its last line in the file."""

    def __init__(self, data: bytes) -> None:
        self._text = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", errors="surrogatepass", newline="")
        self.number = 0

    def split(self, delimiter: str) -> None:
        """Begin; raises DelimiterError."""
        try:
            self._reader = csv.reader(self._text, delimiter=delimiter, strict=True)
        except (TypeError, ValueError) as error:
            raise DelimiterError from error

    def __iter__(self) -> Iterator[Line]:
        """Raises csv.Error; `number` is the line where it was."""
        try:
            for row in self._reader:
                yield self._reader.line_num, row
        finally:
            self.number = self._reader.line_num


class _Cells:
    """The cells of a column, as often as they are asked for."""

    def __init__(self, column: pa.ChunkedArray) -> None:
        self._column = column

    def __iter__(self) -> Iterator[str]:
        for chunk in self._column.chunks:
            yield from chunk.to_pylist()


def _without_empty_end(lines: Iterable[Line]) -> Iterator[Line]:
    """The lines up to the last one that has anything."""
    empty: list[Line] = []
    for line in lines:
        if _is_empty(line[1]):
            empty.append(line)
        else:
            yield from empty
            empty.clear()
            yield line


def _line_ends(row: list[str]) -> int:
    """Line ends inside the cells of a row: it takes so many lines more."""
    return sum(len(re.findall(r"\r\n|\r|\n", cell)) for cell in row)


def _is_empty(row: list[str]) -> bool:
    return not row or (len(row) == 1 and not row[0].strip())


def _even_rows(file: str, lines: Iterable[Line], width: int, faults: list[Fault]) -> Iterator[list[str]]:
    """Data rows of `width` cells; an empty line between rows is a row without values. Others are faults."""
    ragged = 0
    for line, row in lines:
        if len(row) == width or _is_empty(row):
            yield row if len(row) == width and not _is_empty(row) else [""] * width
            continue
        ragged += 1
        if ragged <= _SHOWN:
            faults.append(Fault(file, f"line {line}", f"{len(row)} cells", f"{width}, as in the header"))
    if ragged > _SHOWN:
        found = f"{ragged - _SHOWN} more lines of another length"
        faults.append(Fault(file, "file", found, f"{width} cells in each"))
