"""Workbooks as text cells, and what their values alone would lose. Tables are invented."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import xlsxwriter
import xlwt

from planner.errors import Fault
from planner.tables.files.raw_table import RawTable
from planner.tables.files.table_file import sheets_of
from planner.tables.step import Step
from tests.tables.files import (
    HEADER,
    ROWS,
    ods,
    ods_row,
    plain,
    rules,
    text,
    told,
    workbook,
)

Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


def test_values_of_a_workbook_as_a_person_would_type_them(opened: Open, tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        day, minute = (book.add_format({"num_format": one}) for one in ("yyyy-mm-dd", "yyyy-mm-dd hh:mm"))
        sheet.write_row(0, 0, ["id", "text", "number", "date", "time", "yes", "sum"])
        sheet.write_row(1, 0, [123, "00123", 0.1])
        sheet.write_datetime(1, 3, datetime.datetime(2019, 3, 5), day)
        sheet.write_datetime(1, 4, datetime.datetime(2019, 3, 5, 10, 30), minute)
        sheet.write_boolean(1, 5, True)
        sheet.write_formula(1, 6, "=1+1", None, 2)
        sheet.write_row(2, 0, [123456789012, "x", 1e-7])
        sheet.write_blank(9, 9, None, day)

    for options in ({}, {"date_1904": True}):
        table = opened(workbook(tmp_path / "wells.xlsx", fill, **options))
        assert table.rows[0] == ["123", "00123", "0.1", "2019-03-05", "2019-03-05 10:30", "TRUE", "2"]
        assert table.rows[1][:3] == ["123456789012", "x", "1e-07"] and len(table.rows) == 2
        assert table.findings == [] and table.found["sheet"] == "Wells"


def test_what_values_alone_would_lose_is_told(opened: Open, read: Read, tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        plain(book, sheet)
        struck, red = book.add_format({"font_strikeout": True}), book.add_format({"bg_color": "#FF0000"})
        sheet.write(0, 0, "site_id", red)  # a coloured header says nothing
        sheet.write(1, 1, "Étang", struck)
        sheet.write(2, 1, "Cité", red)
        sheet.write(3, 0, 45, book.add_format({"num_format": "00000"}))
        sheet.write_row(3, 1, ["c", -9.7, 33.7])
        sheet.write_formula(3, 4, "=A99/0", None, "#DIV/0!")
        sheet.write(4, 0, 1234567890123456789)
        sheet.set_row(2, None, None, {"hidden": True})
        sheet.set_column(1, 1, None, None, {"hidden": True})
        sheet.autofilter("A1:E4")
        sheet.filter_column("A", "x == 7")

    path = workbook(tmp_path / "wells.xlsx", fill)
    table = opened(path)
    assert sorted(rules(table)) == [
        *((0, "coloured_row"), (0, "hidden_column"), (0, "hidden_row"), (0, "long_number")),
        *((0, "shown_with_noughts"), (0, "struck_through")),
        *((1, "struck_through"), (2, "hidden_row"), (3, "formula_error")),
    ]
    assert next(one for one in table.findings if one.rule == "hidden_row").old_value == "1 rows by a filter"
    assert table.rows[2] == ["45", "c", "-9.7", "33.7", "#DIV/0!"]
    step = read(path)
    [error] = [one for one in step.findings if one.rule == "formula_error"]
    assert (error.row, error.site_id, error.column, error.old_value) == (3, "45", "depth_m", "#DIV/0!")


def test_a_title_and_merged_groups_of_columns(opened: Open, tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.merge_range("A1:E1", "Boreholes of the district")
        sheet.write(2, 0, "Id")
        sheet.merge_range("B3:C3", "Position")
        sheet.merge_range("D3:E3", "Level")
        sheet.write_row(3, 1, ["Lat", "Lon", "Rest", "Pumped"])
        sheet.write_row(4, 0, ["A", -9.5, 33.5, 5, 12])

    table = opened(workbook(tmp_path / "wells.xlsx", fill))
    assert table.header == ["Id", "Position Lat", "Position Lon", "Level Rest", "Level Pumped"]
    assert table.rows == [["A", "-9.5", "33.5", "5", "12"]]
    assert told(table) == {"header_row": "3", "header_rows": "2"}


def test_the_sheet_is_the_plans_or_the_only_one_with_a_table(opened: Open, refused: Refuse, tmp_path: Path) -> None:
    path = tmp_path / "wells.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("Read me").write(0, 0, "About")
        plain(book, book.add_worksheet("Wells"))
        plain(book, book.add_worksheet("Old"))
        hidden = book.add_worksheet("Hidden")
        plain(book, hidden)
        hidden.hide()
    assert sheets_of(path) == ["Read me", "Wells", "Old", "Hidden"]
    [fault] = refused(path)
    assert fault.place == "[inventory] sheet" and "'Wells', 'Old'" in fault.expected
    assert opened(path, sheet="Hidden").rows == ROWS
    assert "'Wells'" in refused(path, sheet="Wels")[0].expected

    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("Read me").write(0, 0, "About")
        plain(book, book.add_worksheet("Wells"))
    assert told(opened(path)) == {"sheet": "Wells"}


def test_an_open_document_sheet(opened: Open, tmp_path: Path) -> None:
    rows = (
        ods_row(*HEADER)
        + ods_row("A", "b", "-9", "33", "#REF!")
        + ods_row("B", "c", "-9", "33", "5", keys=' table:visibility="filter"')
    )
    empty = (
        '<table:table-row table:number-rows-repeated="1048000">'
        '<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    )
    table = opened(ods(tmp_path / "wells.ods", rows + empty))
    assert table.rows == [["A", "b", "-9", "33", "#REF!"], ["B", "c", "-9", "33", "5"]]
    assert rules(table) == [(0, "hidden_row"), (2, "hidden_row"), (1, "formula_error")]
    assert sheets_of(tmp_path / "wells.ods") == ["Wells"]


def test_an_old_workbook(opened: Open, tmp_path: Path) -> None:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Wells")
    for number, row in enumerate([HEADER, ["A", "b", -9.5, 33.5, 60]]):
        for place, value in enumerate(row):
            sheet.write(number, place, value)
    book.save(str(tmp_path / "wells.xls"))
    table = opened(tmp_path / "wells.xls")
    assert table.rows == [["A", "b", "-9.5", "33.5", "60"]] and rules(table) == [(0, "marks_not_read")]


def test_text_under_a_workbooks_old_name(opened: Open) -> None:
    table = opened(text("\t"), name="wells.xls")
    assert table.rows == ROWS and told(table) == {"file": "text", "delimiter": "tab"}


def test_keys_that_a_workbook_has_no_use_for_are_told(opened: Open, refused: Refuse, tmp_path: Path) -> None:
    path = workbook(tmp_path / "wells.xlsx", plain)
    assert rules(opened(path, delimiter=";", encoding="cp1252")) == [(0, "setting_not_used")] * 2
    assert refused(text(), sheet="Wells")[0].place == "[inventory] sheet"
