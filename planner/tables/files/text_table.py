"""Tables as text: comma, semicolon, tab or bar between the cells, in the usual encodings.

Encoding, separator, decimal mark and header are those of the plan, else found; the choice is told where it is not the
plain one (UTF-8, comma, point, first line).
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from pathlib import Path

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.header_lines import find_header, header_findings, repeated_names
from planner.tables.files.number_marks import date_order_of, marks_of
from planner.tables.files.raw_table import MAX_CELL_CHARACTERS, MAX_TEXT_BYTES, RawTable, clip, told
from planner.tables.files.text_encoding import decode
from planner.tables.step import Finding

DELIMITERS = (",", ";", "\t", "|")
_SHOWN = 20  # faults of one kind
_SAMPLE_CHARACTERS = 200_000
_SAMPLE_LINES = 300
_COMMAS_WITH_COMMAS = 3  # cells with a decimal comma that are evidence where the comma separates cells too

Lines = list[tuple[int, list[str]]]  # number of the last line in the file, cells


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
    lines = _lines(settings, encoded, delimiter, faults)
    if lines is None:
        return None
    del encoded
    return _table(settings, lines[skip:], found, findings, faults)


def _table(
    settings: Inventory, lines: Lines, found: dict[str, str], findings: list[Finding], faults: list[Fault]
) -> RawTable | None:
    while lines and _is_empty(lines[-1][1]):
        lines.pop()
    if not lines:
        faults.append(Fault(settings.file, "file", "nothing", "a header line and data rows"))
        return None
    cells = [row for _, row in lines[:1000]]
    row = settings.header_row
    at = None if row is None else next((place for place, (line, _) in enumerate(lines) if line >= row), len(lines))
    header = find_header(cells, settings, faults, at=at)
    if header is None:
        return None
    number = lines[header.at - 1][0] + 1 if header.at else 1
    number = row or max(number, lines[header.at][0] - _line_ends(lines[header.at][1]))
    faults += repeated_names(settings.file, header.names)
    if header.body >= len(lines):
        faults.append(Fault(settings.file, "file", "no data rows", "at least one row below the header"))
    rows = _even_rows(settings.file, lines[header.body :], len(header.names), faults)
    if faults:
        return RawTable(header.names, [], None, found, findings)
    about, more = header_findings(header, cells, number, settings)
    found |= about
    findings += more
    _number_marks(settings, rows, len(header.names), found, findings)
    return RawTable(header.names, rows, None, found, findings, header.title, header.unit)


def _number_marks(
    settings: Inventory, rows: list[list[str]], width: int, found: dict[str, str], findings: list[Finding]
) -> None:
    """Decimal mark and order of dates."""
    decimal = settings.decimal
    if decimal is None:
        commas, _ = marks_of(cell for row in rows for cell in row if "," in cell)
        _, points = marks_of(cell for row in rows for cell in row if "." in cell) if commas else (0, 0)
        enough = commas >= (_COMMAS_WITH_COMMAS if found["delimiter"] == "," else 1)
        decimal = "," if enough and not points else "."
        if decimal == ",":
            findings.append(told("decimal", ",", f"{commas} cells"))
        elif enough:
            mixed = f"{commas} numbers with a comma, {points} with a point"
            findings.append(Finding(0, "", "[inventory] decimal", "decimal_mixed", "warning", mixed, "."))
    found["decimal"] = decimal
    found["date_order"] = settings.date_order or date_order_of(rows, width)


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


def _lines(settings: Inventory, data: bytes, delimiter: str, faults: list[Fault]) -> Lines | None:
    lines: Lines = []
    before = csv.field_size_limit(MAX_CELL_CHARACTERS)
    try:
        reader = csv.reader(
            io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", errors="surrogatepass", newline=""),
            delimiter=delimiter,
            strict=True,
        )
        for row in reader:
            lines.append((reader.line_num, row))
    except csv.Error as error:
        long = "field larger" in str(error)
        found = f"a cell of more than {MAX_CELL_CHARACTERS} characters" if long else str(error)
        expected = "CSV: a cell in quotes is closed, and quotes inside it are doubled"
        faults.append(Fault(settings.file, f"line {reader.line_num}", found, expected))
        return None
    except (TypeError, ValueError):  # a line end or a quote as separator
        faults.append(Fault(settings.file, "[inventory] delimiter", clip(delimiter), "a sign such as , ; or |"))
        return None
    finally:
        csv.field_size_limit(before)
    return lines


def _line_ends(row: list[str]) -> int:
    """Line ends inside the cells of a row: it takes so many lines more."""
    return sum(len(re.findall(r"\r\n|\r|\n", cell)) for cell in row)


def _is_empty(row: list[str]) -> bool:
    return not row or (len(row) == 1 and not row[0].strip())


def _even_rows(file: str, lines: Lines, width: int, faults: list[Fault]) -> list[list[str]]:
    """Data rows of `width` cells; an empty line between rows is a row without values."""
    rows = [[""] * width if _is_empty(row) else row for _, row in lines]
    ragged = [(line, len(row)) for (line, _), row in zip(lines, rows, strict=True) if len(row) != width]
    for line, cells in ragged[:_SHOWN]:
        faults.append(Fault(file, f"line {line}", f"{cells} cells", f"{width}, as in the header"))
    if len(ragged) > _SHOWN:
        found = f"{len(ragged) - _SHOWN} more lines of another length"
        faults.append(Fault(file, "file", found, f"{width} cells in each"))
    return rows
