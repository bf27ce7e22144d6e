"""Workbooks: XLSX, XLS and ODS by their cached values, as the text that a person would type.

Calamine reads the values; what it drops without a word (failed formulas, hidden rows, strike-through, colours) is
looked up beside it and told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.header_lines import Header, find_header, header_findings, repeated_names
from planner.tables.files.number_marks import date_order_of
from planner.tables.files.raw_table import RawTable, clip, text_of, told
from planner.tables.files.workbook_parts import MAX_DENSE_CELLS, Marks, PartsError, check_parts, ods_marks, sheet_marks
from planner.tables.step import Finding

_MAX_OLD_BYTES = 200_000_000  # of an XLS file, which is not compressed
_ROWS_TOLD = 500  # rows with a mark that get a finding each
_DIGITS = 1e15  # a spreadsheet keeps fifteen digits

Grid = list[list[str]]


def read_workbook(settings: Inventory, path: Path, kind: str, faults: list[Fault]) -> RawTable | None:
    """The table of a workbook of this kind (xlsx, xls, ods), or None and the faults."""
    try:
        with _open(path, kind) as book:
            sheet, chosen = _choose(settings, path, kind, book)
    except PartsError as error:
        faults.append(Fault(settings.file, "file", error.args[0], error.args[1]))
        return None
    except _SheetError as error:
        faults.append(Fault(settings.file, "[inventory] sheet", error.args[0], error.args[1]))
        return None
    grid = chosen.cells
    at = None if settings.header_row is None else settings.header_row - 1
    header = find_header(grid, settings, faults, at=at, groups=chosen.groups)
    if header is None:
        return None
    faults += repeated_names(settings.file, [name for name in header.names if name])
    rows = grid[header.body :]
    if not rows:
        faults.append(Fault(settings.file, "file", "no data rows", "at least one row below the header"))
    found = {"format": kind, "sheet": sheet}
    about, findings = header_findings(header, grid, header.at + 1, settings)
    found |= about
    found["decimal"] = settings.decimal or "."
    found["date_order"] = settings.date_order or date_order_of(rows, len(header.names))
    findings = [*chosen.findings, *findings, *_mark_findings(chosen.marks, header, rows)]
    return RawTable(header.names, rows, None, found, findings, header.title, header.unit)


def sheet_names(path: Path, kind: str) -> list[str]:
    """Names of the sheets with cells; raises PartsError."""
    with _open(path, kind) as book:
        return _worksheets(book)


@dataclass
class _Sheet:
    """Cells from A1 as text, (row, first column, last column) of cells merged over columns, from 0, and the rest."""

    cells: Grid
    groups: list[tuple[int, int, int]]
    marks: Marks | None
    findings: list[Finding]


class _SheetError(Exception):
    """What was found (args[0]) and what is expected (args[1])."""


def _open(path: Path, kind: str) -> Any:
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    if kind == "xls":
        if path.stat().st_size > _MAX_OLD_BYTES:
            raise PartsError(f"{path.stat().st_size // 1_000_000} MB", f"at most {_MAX_OLD_BYTES // 1_000_000} MB")
    else:
        parts = check_parts(path)
        if "xl/workbook.bin" in parts:
            raise PartsError("a binary workbook (xlsb)", "the same saved as xlsx")
        if kind == "ods":
            ods_marks(path, "")  # the reader lays out every sheet when it opens the file
    try:
        return CalamineWorkbook.from_path(str(path))
    except PasswordError:
        raise PartsError("a file with a password", "one without") from None
    except (CalamineError, OSError, ValueError) as error:
        raise PartsError(f"a damaged file ({clip(str(error))})", "a workbook that is whole") from error
    except BaseException as error:
        raise _unless_panic(error) from error


def _unless_panic(error: BaseException) -> BaseException:
    """A defect of the reader on a hostile file is raised past `Exception`; here it is a damaged file."""
    if type(error).__name__ != "PanicException":
        return error
    return PartsError("a damaged file", "a workbook that is whole")


def _worksheets(book: Any) -> list[str]:
    return [one.name for one in book.sheets_metadata if str(one.typ).endswith("WorkSheet")]


def _choose(settings: Inventory, path: Path, kind: str, book: Any) -> tuple[str, _Sheet]:
    """The sheet that is read; raises _SheetError, PartsError."""
    names = _worksheets(book)
    if settings.sheet is not None:
        if settings.sheet not in names:
            raise _SheetError(clip(settings.sheet), f"one of: {_listed(names)}")
        return settings.sheet, _sheet(path, kind, book, settings.sheet)
    hidden = [one.name for one in book.sheets_metadata if not str(one.visible).endswith(".Visible")]
    tables: dict[str, _Sheet] = {}
    for name in names:
        if name not in hidden:
            sheet = _sheet(path, kind, book, name)
            if len(sheet.cells) > 1 and any(sum(map(bool, row)) > 1 for row in sheet.cells[1:]):
                tables[name] = sheet
            if len(tables) > 1:
                break
    if not tables:
        raise _SheetError("no sheet with a table", f"one of: {_listed(names)}")
    if len(tables) > 1:
        raise _SheetError("nothing, and several sheets have a table", f"one of: {_listed(names)}")
    [(name, sheet)] = tables.items()
    if len(names) > 1:
        others = _listed([one for one in names if one != name])
        sheet.findings.insert(0, told("sheet", name, f"not read: {others}"))
    return name, sheet


def _listed(names: Sequence[str]) -> str:
    return ", ".join(clip(one) for one in names[:30]) + (", …" if len(names) > 30 else "")


def _sheet(path: Path, kind: str, book: Any, name: str) -> _Sheet:
    from python_calamine import CalamineError

    # Before the values: the marks refuse a sheet that is too large to be laid out.
    marks = sheet_marks(path, name) if kind == "xlsx" else ods_marks(path, name) if kind == "ods" else None
    try:
        sheet = book.get_sheet_by_name(name)
        end = sheet.end or (0, 0)
        if (end[0] + 1) * (end[1] + 1) > MAX_DENSE_CELLS:
            raise PartsError(f"{end[0] + 1} rows of {end[1] + 1} cells", f"at most {MAX_DENSE_CELLS} cells")
        values = sheet.to_python(skip_empty_area=False)
        merged = sheet.merged_cell_ranges or []
    except (CalamineError, OSError, ValueError) as error:
        raise PartsError(f"a damaged sheet {clip(name)} ({clip(str(error))})", "a workbook that is whole") from error
    except PartsError:
        raise
    except BaseException as error:
        raise _unless_panic(error) from error
    findings: list[Finding] = []
    grid = _texts(values, findings)
    groups = [(top, left, right) for (top, left), (bottom, right) in merged if right > left]
    return _Sheet(grid, groups, marks, findings)


def _texts(values: list[list[Any]], findings: list[Finding]) -> Grid:
    """Text of each cell; rows without values at the end and columns without any are left out."""
    long = 0
    for row in values:
        for place, value in enumerate(row):
            kind = value.__class__
            if kind is float:
                row[place] = str(int(value)) if value.is_integer() and -_DIGITS < value < _DIGITS else text_of(value)
                long += not -_DIGITS < value < _DIGITS
            elif kind is not str:
                row[place] = text_of(value)
    if long:
        findings.append(Finding(0, "", "", "long_number", "warning", f"{long} cells"))
    while values and not any(cell.strip() for cell in values[-1]):
        values.pop()
    width = max((place + 1 for row in values for place in _last_filled(row)), default=0)
    if values and width < len(values[0]):
        values = [row[:width] for row in values]
    return values


def _last_filled(row: list[str]) -> tuple[int, ...]:
    for place in range(len(row) - 1, -1, -1):
        if row[place]:
            return (place,)
    return ()


def _mark_findings(marks: Marks | None, header: Header, rows: Grid) -> list[Finding]:
    """What the values alone do not show: for the whole sheet, and for the first rows of each kind."""
    if marks is None:
        return [Finding(0, "", "", "marks_not_read", "info")]
    findings = []

    def inventory_rows(found: set[int]) -> list[int]:
        return sorted(row - header.body for row in found if header.body < row <= header.body + len(rows))

    for rule, found, note in (
        ("hidden_row", marks.hidden_rows, "by a filter" if marks.filtered else ""),
        ("struck_through", marks.struck, ""),
        ("coloured_row", marks.coloured, ""),
    ):
        at = inventory_rows(found)
        severity = "info" if rule == "coloured_row" else "warning"
        if at:
            findings.append(Finding(0, "", "", rule, severity, f"{len(at)} rows {note}".strip()))  # type: ignore[arg-type]
        if rule != "coloured_row":
            findings += [Finding(row, "", "", rule, "warning") for row in at[:_ROWS_TOLD]]
    names = header.names
    hidden = [names[place - 1] for place in sorted(marks.hidden_columns) if place <= len(names) and names[place - 1]]
    findings += [Finding(0, "", name, "hidden_column", "info", name) for name in hidden]
    for column, count in sorted(marks.padded.items()):
        if column <= len(names):
            findings.append(Finding(0, "", names[column - 1], "shown_with_noughts", "warning", f"{count} cells"))
    for row, column, text in marks.errors:
        if column <= len(names) and header.body < row <= header.body + len(rows):
            findings.append(Finding(row - header.body, "", names[column - 1], "formula_error", "warning", text))
            rows[row - header.body - 1][column - 1] = text
    return findings
