"""field_form.csv and field_form.xlsx: the same form for a program and for people."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.outputs.field import form
from planner.outputs.field.form import Column, Value
from planner.outputs.field.visits import Visit, heading, language_of, plain
from planner.outputs.material import Material
from planner.outputs.tables import write_rows
from planner.texts import of_kind, say

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

TITLE_LINES = 2  # above the labels
HEADER_LINES = TITLE_LINES + 3  # labels, units, names for the program
_WIDTHS = {"site_name": 22, "sub_district": 18, "decision": 20, "remarks": 40, "visitor": 18, "run_id": 14}
_LIST_CHARACTERS = 255  # of a list of words in a rule of a cell


def write_form_csv(visits: Sequence[Visit], material: Material, path: Path) -> None:
    """Names for the program above, a row a site."""
    cells = form.rows(visits, material, for_people=False)
    texts = (["" if cell is None else str(cell) for cell in row] for row in cells)
    write_rows(path, [one.name for one in form.columns()], texts)


def write_form_xlsx(visits: Sequence[Visit], material: Material, path: Path) -> None:
    """A sheet to fill in, protected but for its white cells, and one that explains. No text becomes a formula."""
    from xlsxwriter.workbook import Workbook

    with Workbook(
        str(path), {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    ) as book:
        day = datetime.datetime.fromisoformat(material.about["date"])
        book.set_properties({"created": day, "title": heading(material)[0]})
        language = language_of(material)
        sheet = book.add_worksheet(_sheet_name(say("field_sheet_form", language)))
        _fill_form(book, sheet, form.rows(visits, material, for_people=True), material)
        _fill_help(book, book.add_worksheet(_sheet_name(say("field_sheet_help", language))), material)


def _sheet_name(text: str) -> str:
    """A name that a workbook takes: at most 31 characters, none of those that mean something in a reference."""
    return "".join(" " if one in "[]:*?/\\'" else one for one in text)[:31]


def _fill_form(book: Workbook, sheet: Worksheet, rows: list[list[Value]], material: Material) -> None:
    language = language_of(material)
    columns = form.columns()
    title, text = heading(material)
    bold = book.add_format({"bold": True, "font_size": 13})
    sheet.write_string(0, 0, title, bold)
    sheet.write_string(1, 0, text.replace("\n", " "))
    formats = _formats(book)
    for at, column in enumerate(columns):
        shade = "open" if column.open else "grey"
        sheet.write_string(TITLE_LINES, at, form.label(column, language), formats[f"label_{shade}"])
        sheet.write_string(TITLE_LINES + 1, at, form.unit(column, language), formats[f"unit_{shade}"])
        sheet.write_string(TITLE_LINES + 2, at, column.name, formats["name"])
        sheet.set_column(at, at, _WIDTHS.get(column.name, 13))
    for number in range(len(rows) + form.NEW_LINES):
        row = rows[number] if number < len(rows) else [None] * len(columns)
        for at, (column, value) in enumerate(zip(columns, row, strict=True)):
            to_fill = column.open or number >= len(rows)
            _write(sheet, HEADER_LINES + number, at, value, formats[_format_of(column, to_fill)])
    last = HEADER_LINES + len(rows) + form.NEW_LINES - 1
    for at, column in enumerate(columns):
        if column.open:
            _rule(sheet, HEADER_LINES, last, at, column, language)
    _arrange(sheet, last, len(columns))


def _arrange(sheet: Worksheet, last: int, width: int) -> None:
    sheet.set_row(TITLE_LINES, 48)
    sheet.freeze_panes(HEADER_LINES, form.IDENTITY.index("site_name") + 1)
    sheet.autofilter(HEADER_LINES - 1, 0, last, width - 1)
    sheet.protect("", {"format_columns": True, "format_rows": True, "autofilter": True, "sort": True})
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.fit_to_pages(3, 0)
    sheet.repeat_rows(TITLE_LINES, HEADER_LINES - 1)
    sheet.repeat_columns(0, form.IDENTITY.index("site_name"))


def _formats(book: Workbook) -> dict[str, Format]:
    line = {"border": 1, "border_color": "#9a9a9a", "valign": "top"}
    grey = line | {"bg_color": "#e6e6e6", "locked": True}
    white = line | {"locked": False}
    head = {"bold": True, "text_wrap": True, "border": 1, "valign": "top"}
    looks: dict[str, dict[str, Any]] = {
        "grey": grey,
        "open": white,
        "open_text": white | {"num_format": "@"},
        "open_date": white | {"num_format": "yyyy-mm-dd"},
        "label_grey": head | {"bg_color": "#d0d0d0"},
        "label_open": head | {"bg_color": "#fff2cc"},
        "unit_grey": line | {"italic": True, "bg_color": "#d0d0d0"},
        "unit_open": line | {"italic": True, "bg_color": "#fff2cc"},
        "name": line | {"font_size": 8, "font_color": "#606060"},
    }
    return {name: book.add_format(look) for name, look in looks.items()}


def _format_of(column: Column, to_fill: bool) -> str:
    if not to_fill:
        return "grey"
    return {"date": "open_date", "text": "open_text"}.get(column.kind, "open")


def _write(sheet: Worksheet, row: int, at: int, value: Value, form_of: Format) -> None:
    if value is None:
        sheet.write_blank(row, at, None, form_of)
    elif isinstance(value, str):
        sheet.write_string(row, at, value, form_of)
    else:
        sheet.write_number(row, at, value, form_of)


def _rule(sheet: Worksheet, first: int, last: int, at: int, column: Column, language: str) -> None:
    """Drop-down lists; bounds of numbers and dates that warn, since a unit or a remark may stand in a cell."""
    if column.kind == "word":
        words = [say(key, language) for key in form.WORDS[column.name].values()]
        if len(",".join(words)) <= _LIST_CHARACTERS and not any("," in one for one in words):
            sheet.data_validation(first, at, last, at, {"validate": "list", "source": words})
    elif column.kind == "number":
        low, high = form.bounds(column.name)
        limits = {"criteria": "between", "minimum": low or 0, "maximum": high, "error_type": "warning"}
        if high is not None:
            sheet.data_validation(first, at, last, at, {"validate": "decimal", **limits})
    elif column.kind == "date":
        since = datetime.date(1950, 1, 1)
        rule = {"validate": "date", "criteria": ">", "value": since, "error_type": "warning"}
        sheet.data_validation(first, at, last, at, rule)


def _fill_help(book: Workbook, sheet: Worksheet, material: Material) -> None:
    language = language_of(material)
    wrap, bold = book.add_format({"text_wrap": True, "valign": "top"}), book.add_format({"bold": True})
    lines: list[tuple[str, str, bool]] = [(heading(material)[0], "", True), *_about(material)]
    keys = ("cells", "empty", "number", "level", "test", "dates", "position", "new", "machine", "return")
    limit = {"position": {"limit": f"{form.FAR_M:.0f}"}}
    lines += [(say(f"field_help_{key}", language, **limit.get(key, {})), "", False) for key in keys]
    lines.append((say("field_help_words", language), "", True))
    answers = [one for one in form.columns() if one.open]
    for column in answers:
        if column.kind == "word":
            words = ", ".join(say(key, language) for key in form.WORDS[column.name].values())
            lines.append((form.label(column, language), words, False))
    lines.append((say("field_help_meanings", language), "", True))
    for column in answers:
        unit = form.unit(column, language)
        lines.append((form.label(column, language) + (f" ({unit})" if unit else ""), column.name, False))
    lines.append((say("field_help_cautions", language), "", True))
    lines += [(caution, "", False) for caution in of_kind("caution", language)]
    sheet.set_column(0, 0, 80)
    sheet.set_column(1, 1, 60)
    for number, (left, right, strong) in enumerate(lines):
        sheet.set_row(
            number, 15 * max(-(-len(left) // 80), -(-len(right) // 60), 1)
        )  # viewers fit no height of their own
        sheet.write_string(number, 0, left, bold if strong else wrap)
        if right:
            sheet.write_string(number, 1, right, wrap)
    sheet.protect()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)


def _about(material: Material) -> list[tuple[str, str, bool]]:
    return [(plain(line), "", False) for line in heading(material)[1].split("\n")[:2]]
