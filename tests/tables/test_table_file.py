"""Inventory files of every kind as text cells: what is found, what is told, what is refused.

Tables are invented; each has the trait that its test is about.
"""

from __future__ import annotations

import codecs
import datetime
import json
import os
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely
import xlsxwriter

from planner.errors import Fault, InventoryError
from planner.plan import Inventory, LoadedPlan, Plan
from planner.tables import raw_table, workbook_parts
from planner.tables.inventory import read_inventory
from planner.tables.raw_table import RawTable
from planner.tables.step import Step
from planner.tables.table_file import open_table, sheets_of

HEADER = ["site_id", "site_name", "latitude", "longitude", "depth_m"]
ROWS = [["00123", "Étang", "-9.5", "33.5", "60"], ["7", "Cité", "-9.6", "33.6", "62.5"]]

Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


@pytest.fixture
def opened(tmp_path: Path) -> Open:
    """A file's content, or the path of one that is there, as a table; keys are those of [inventory]."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> RawTable:
        table, faults = attempt(tmp_path, content, name, **keys)
        assert not faults, faults
        assert table is not None
        assert all(len(row) == len(table.header) for row in table.rows)
        return table

    return make


@pytest.fixture
def refused(tmp_path: Path) -> Refuse:
    """The faults of a file that is not read."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> list[Fault]:
        faults = attempt(tmp_path, content, name, **keys)[1]
        assert faults
        return faults

    return make


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """The whole way of an inventory's file into the glossary."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> Step:
        path = written(tmp_path, content, name)
        plan = Plan.model_validate({"inventory": {"file": path.name, **keys}})
        return read_inventory(LoadedPlan(plan, tmp_path / "plan.toml", {}, {}))

    return make


def written(folder: Path, content: str | bytes | Path, name: str) -> Path:
    if isinstance(content, Path):
        return content
    (folder / name).write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return folder / name


def attempt(folder: Path, content: str | bytes | Path, name: str, **keys: Any) -> tuple[RawTable | None, list[Fault]]:
    faults: list[Fault] = []
    path = written(folder, content, name)
    return open_table(Inventory.model_validate({"file": path.name, **keys}), path, faults), faults


def text(separator: str = ",", rows: list[list[str]] = ROWS) -> str:
    return "".join(separator.join(row) + "\n" for row in [HEADER, *rows])


def told(table: RawTable | Step) -> dict[str, str]:
    """Keys of [inventory] that the reader tells, and their values."""
    found = [one for one in table.findings if one.rule == "file_read_as"]
    return {one.column.removeprefix("[inventory] "): one.new_value for one in found}


def rules(table: RawTable | Step) -> list[tuple[int, str]]:
    return [(one.row, one.rule) for one in table.findings]


# --- text: encoding, separator, decimal mark -----------------------------------------------------------------------


def test_the_plain_way_is_read_without_a_word(opened: Open) -> None:
    table = opened(text())
    assert (table.header, table.rows, table.findings, table.crs) == (HEADER, ROWS, [], None)
    assert table.found == {
        **{"format": "csv", "encoding": "utf-8", "delimiter": ",", "decimal": ".", "date_order": ""},
        **{"header_row": "1", "header_rows": "1"},
    }


@pytest.mark.parametrize(
    ("encoding", "mark", "told_as"),
    [
        ("utf-8", codecs.BOM_UTF8, None),
        ("utf-16-le", codecs.BOM_UTF16_LE, "utf-16"),
        ("utf-16-be", codecs.BOM_UTF16_BE, "utf-16"),
        ("utf-16-le", b"", "utf-16-le"),
        ("utf-16-be", b"", "utf-16-be"),
        ("utf-32-le", codecs.BOM_UTF32_LE, "utf-32"),
        ("cp1252", b"", "cp1252"),
        ("latin-1", b"", "cp1252"),  # the same for every letter
        ("cp850", b"", "cp850"),
        ("mac_roman", b"", "mac_roman"),
    ],
)
def test_encodings_are_found(opened: Open, encoding: str, mark: bytes, told_as: str | None) -> None:
    table = opened(mark + text().encode(encoding))
    assert table.rows == ROWS
    assert told(table).get("encoding") == told_as


@pytest.mark.parametrize(
    "words", ["débit;forêt;Évry", "poço;avaliação;São João", "año;pozo ñandú;Río", "“Ba”;l’eau;5 °"]
)
@pytest.mark.parametrize("encoding", ["cp1252", "cp850", "mac_roman"])
def test_words_of_four_languages_keep_their_accents(opened: Open, words: str, encoding: str) -> None:
    try:
        data = f"{words}\n1;2;3\n".encode(encoding)
    except UnicodeEncodeError:
        pytest.skip("the encoding lacks a sign")
    assert opened(data).header == words.split(";")


def test_a_guess_between_encodings_is_a_warning_and_the_plan_ends_it(opened: Open) -> None:
    data = text().encode("cp850")
    [finding] = opened(data).findings
    assert (finding.severity, finding.old_value) == ("warning", "Cité, Étang")
    assert opened(data, encoding="cp850").findings == []
    assert opened(data, encoding="latin-1").rows[1][1] == "Cit\x82"  # the plan wins, also when it is wrong


def test_a_damaged_file_in_utf8_is_not_read_as_another_encoding(refused: Refuse) -> None:
    assert "not utf-8" in refused((text() + "8,Forêt,-9,33,").encode() + b"\xc3\n")[0].found


@pytest.mark.parametrize(("separator", "name"), [(";", ";"), ("\t", "tab"), ("|", "|")])
def test_separators_are_found(opened: Open, separator: str, name: str) -> None:
    table = opened(text(separator))
    assert table.rows == ROWS
    assert told(table) == {"delimiter": name}
    assert opened(text(separator), delimiter=separator).findings == []


def test_a_line_that_states_the_separator_is_no_row(opened: Open) -> None:
    table = opened("sep=;\r\n" + text(";"))
    assert (table.header, table.rows) == (HEADER, ROWS)


def test_decimal_commas_are_found_and_told(opened: Open, read: Read) -> None:
    rows = [["1", "A", "-9,5", "33,5", "60"], ["2", "B", "-9,6", "33,6", "62,5"]]
    table = opened(text(";", rows))
    assert table.rows == rows  # text stays as it is written
    assert told(table) == {"delimiter": ";", "decimal": ","}
    step = read(text(";", rows))
    assert step.columns["latitude"].tolist() == [-9.5, -9.6] and step.columns["depth_m"].tolist() == [60, 62.5]
    rewritten = [(one.column, one.old_value, one.new_value) for one in step.findings if one.rule == "decimal_comma"]
    assert ("depth_m", "62,5", "62.5") in rewritten and len(rewritten) == 3


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12,5", 12.5),
        ("1.234,5", 1234.5),
        ("1 234,5", 1234.5),
        ("1234", 1234),
        ("~6,5", 6.5),
        ("3,5-4,5", 4),
        ("12,5 m", 12.5),
        ("12.5", 12.5),  # thousands have three digits
        ("1.234", None),
        ("1,234,567", None),
    ],
)
def test_numbers_beside_decimal_commas(read: Read, cell: str, value: float | None) -> None:
    # The depth is in centimetres, so that 1 234 is no depth out of range.
    rows = [["1", "A", "-9,5", "33,5", cell]]
    step = read(text(";", rows), decimal=",", units={"depth_m": "cm"}, delimiter=";")
    found = step.columns["depth_m"][1]
    if value is None:
        assert pd.isna(found) and (1, "comma_in_number") in rules(step)
    elif cell != "12,5 m":
        assert found == pytest.approx(value / 100)
    else:
        assert found == 12.5


def test_both_decimal_marks_in_one_table_are_flagged_not_repaired(opened: Open, read: Read) -> None:
    rows = [["1", "A", "-9.5", "33.5", "12,5"]]
    table = opened(text(";", rows))
    assert table.found["decimal"] == "." and (0, "decimal_mixed") in rules(table)
    assert (1, "comma_in_number") in rules(read(text(";", rows)))


def test_one_quoted_comma_among_commas_is_no_evidence(opened: Open) -> None:
    assert opened('latitude,longitude,note\n1,2,"3,5"\n').found["decimal"] == "."


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["25/03/2019", "04/03/2019"], "day_first"),
        (["03/25/2019", "03/04/2019"], "month_first"),
        (["04/03/2019"], ""),
        (["25/03/2019", "03/25/2019"], ""),
    ],
)
def test_the_order_of_dates_is_found_where_it_is_one(opened: Open, dates: list[str], order: str) -> None:
    table = opened("site_id,test_date\n" + "".join(f"a,{date}\n" for date in dates))
    assert table.found["date_order"] == order


# --- the header -----------------------------------------------------------------------------------------------------


def test_lines_above_the_header_are_told(opened: Open, read: Read) -> None:
    content = "Ministry of Water,,,,\nBoreholes 2021,as received,,,\n\n" + text()
    table = opened(content)
    assert (table.header, table.rows) == (HEADER, ROWS)
    [finding] = table.findings
    assert (finding.column, finding.new_value) == ("[inventory] header_row", "4")
    assert finding.old_value == "Ministry of Water / Boreholes 2021 as received"
    assert len(read(content).columns) == 2
    assert opened(content, header_row=4).findings == []


@pytest.mark.parametrize(
    ("content", "header"),
    [
        ("Report;2021\nid;lat;lon\n1;-9;33\n", ["id", "lat", "lon"]),
        ("Ministry;Water\nid;lat;lon\n1;-9;33\n", ["id", "lat", "lon"]),
        ("id;lat;\n1;-9;33\n", ["id", "lat", ""]),
        ("id;lat;lon\nA;x;y\n1;-9;33\n", ["id", "lat", "lon"]),
        ("WPDx\n#row_id;#lat_deg;#lon_deg\n1;-9;33\n", ["#row_id", "#lat_deg", "#lon_deg"]),
        ("Name;Lat\nA;15 41 18 S\n", ["Name", "Lat"]),
    ],
)
def test_which_line_is_the_header(opened: Open, content: str, header: list[str]) -> None:
    table = opened(content)
    assert table.header == header
    assert table.rows[-1][:2] == content.splitlines()[-1].split(";")[:2]


def test_names_of_the_plan_decide(opened: Open) -> None:
    content = "x;y;z;one;two\na;b;c;d;e\nLAT;LON;;;\n-9;33;1;2;3\n"
    assert opened(content, columns={"latitude": "LAT", "longitude": "LON"}).found["header_row"] == "3"


def test_a_line_of_units_is_part_of_the_header(opened: Open, read: Read) -> None:
    content = "Id;Latitude;Longitude;Depth;Yield\n;°;°;m;(L/s)\n1;-9;33;60;2\n"
    table = opened(content)
    assert table.header == ["Id", "Latitude °", "Longitude °", "Depth m", "Yield (L/s)"]
    assert (table.title[4], table.unit[4], told(table)["header_rows"], len(table.rows)) == ("Yield", "L/s", "2", 1)
    columns = {"latitude": "Latitude", "longitude": "Longitude °", "depth_m": "Depth", "tested_yield_m3_h": "Yield"}
    with pytest.raises(InventoryError, match="'tested_yield_m3_h': found nothing, and 'L/s' in the file"):
        read(content, columns=columns)
    assert read(content, columns=columns, units={"tested_yield_m3_h": "L/s"}).columns["tested_yield_m3_h"][1] == 7.2


def test_the_plan_says_how_many_lines_the_header_has(opened: Open) -> None:
    content = "Position,,Level\nLat,Lon,Rest\n-9,33,5\n"
    assert opened(content, header_rows=2, header_row=1).header == ["Position Lat", "Lon", "Level Rest"]
    units = "latitude,longitude,depth_m\n,m,m\n"
    assert opened(units, header_rows=1).rows == [["", "m", "m"]]


def test_hashtags_below_the_header_are_no_row(opened: Open, read: Read) -> None:
    content = "site_id,latitude,longitude,note\n#loc+code,#geo+lat,#geo+lon,\nA,-9,33,x\n"
    table = opened(content)
    assert table.rows == [["A", "-9", "33", "x"]]
    assert {key: tag for key, tag in table.found.items() if key.startswith("hxl:")} == {
        "hxl:site_id": "#loc+code",
        "hxl:latitude": "#geo+lat",
        "hxl:longitude": "#geo+lon",
    }
    assert rules(table) == [(0, "hxl_row")]
    assert len(read(content).columns) == 1


def test_names_of_the_water_point_exchange_standard_are_names(opened: Open) -> None:
    table = opened("#row_id,#lat_deg,#lon_deg,#water_source\n1,-9,33,Borehole\n")
    assert table.header[1] == "#lat_deg" and len(table.rows) == 1 and table.findings == []


# --- workbooks ------------------------------------------------------------------------------------------------------


def workbook(path: Path, fill: Callable[[Any, Any], None], **options: Any) -> Path:
    """An XLSX file whose only sheet `fill(book, sheet)` writes."""
    with xlsxwriter.Workbook(path, options) as book:
        fill(book, book.add_worksheet("Wells"))
    return path


def plain(book: Any, sheet: Any) -> None:
    for number, row in enumerate([HEADER, *ROWS]):
        sheet.write_row(number, 0, row)


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


def ods(path: Path, rows: str) -> Path:
    """The least ODS file with these table:table-row elements."""
    spaces = "".join(
        f' xmlns:{one}="urn:oasis:names:tc:opendocument:xmlns:{one}:1.0"' for one in ("office", "table", "text")
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f'<office:document-content{spaces} xmlns:calcext="urn:x"><office:body><office:spreadsheet>'
            f'<table:table table:name="Wells">{rows}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return path


def ods_row(*cells: str, keys: str = "") -> str:
    return f"<table:table-row{keys}>" + "".join(map(ods_cell, cells)) + "</table:table-row>"


def ods_cell(value: str) -> str:
    error = ' calcext:value-type="error"' if value.startswith("#") else ""
    return f'<table:table-cell office:value-type="string"{error}><text:p>{value}</text:p></table:table-cell>'


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
    xlwt = pytest.importorskip("xlwt")
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


# --- layers ---------------------------------------------------------------------------------------------------------


def places(crs: str | None = "EPSG:4326", **columns: list[Any]) -> gpd.GeoDataFrame:
    """Two sites as points, on the central meridian of zone 36 S where the system is projected."""
    points = [(33.5, -9.5), (33.6, -9.6)] if crs != "EPSG:32736" else [(500000.0, 8900000.0), (500100.5, 8900100.0)]
    return gpd.GeoDataFrame(columns, geometry=[shapely.Point(one) for one in points], crs=crs)


ATTRIBUTES: dict[str, list[Any]] = {"site_id": ["00123", "Étang"], "people": [250, None], "depth_m": [60.0, 62.5]}
FORMATS = [("wells.gpkg", "GPKG"), ("wells.shp", "ESRI Shapefile"), ("wells.geojson", "GeoJSON"), ("wells.parquet", "")]


def save(frame: gpd.GeoDataFrame, path: Path, driver: str, **options: Any) -> Path:
    frame = frame.assign(people=frame["people"].astype("Int64")) if "people" in frame else frame
    if driver:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            frame.to_file(path, driver=driver, **options)
    else:
        frame.to_parquet(path)
    return path


@pytest.mark.parametrize(("name", "driver"), FORMATS)
def test_attributes_and_points_become_columns(opened: Open, read: Read, tmp_path: Path, name: str, driver: str) -> None:
    path = save(places(**ATTRIBUTES), tmp_path / name, driver)
    table = opened(path)
    assert table.header == ["site_id", "people", "depth_m", "latitude", "longitude"]
    assert table.crs == "EPSG:4326" and table.found["geometry_columns"] == "latitude,longitude"
    assert [[*row[:2], float(row[2]), *row[3:]] for row in table.rows] == [
        ["00123", "250", 60, "-9.5", "33.5"],
        ["Étang", "", 62.5, "-9.6", "33.6"],
    ]
    assert table.findings == []
    step = read(path)
    assert step.columns["latitude"].tolist() == [-9.5, -9.6] and step.columns["people"][1] == 250


@pytest.mark.parametrize(("name", "driver"), FORMATS)
def test_the_reference_system_is_the_files(read: Read, tmp_path: Path, name: str, driver: str) -> None:
    path = save(places("EPSG:32736", **ATTRIBUTES), tmp_path / name, driver)
    step = read(path)
    assert step.columns["longitude"][1] == pytest.approx(33, abs=1e-6)  # closed form: the central meridian
    assert "EPSG:32736" in told(step)["crs"] or "UTM" in told(step)["crs"]
    assert read(path, crs="EPSG:32736").columns["longitude"][1] == pytest.approx(33, abs=1e-6)
    with pytest.raises(InventoryError, match="crs: found 'EPSG:4326'"):
        read(path, crs="EPSG:4326")


def test_columns_of_the_same_name_are_read_instead_of_the_geometry(opened: Open, tmp_path: Path) -> None:
    frame = places(latitude=[-1.0, -2.0], longitude=[30.0, 31.0])
    table = opened(save(frame, tmp_path / "wells.gpkg", "GPKG"))
    assert table.rows[0] == ["-1", "30"] and rules(table) == [(0, "geometry_not_used")] * 2


def test_a_layer_is_chosen_by_its_points_or_by_the_plan(opened: Open, refused: Refuse, tmp_path: Path) -> None:
    path = tmp_path / "wells.gpkg"
    areas = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(33, -10, 34, -9)], crs="EPSG:4326")
    save(areas, path, "GPKG", layer="areas")
    save(places(**ATTRIBUTES), path, "GPKG", layer="wells")
    assert sheets_of(path) == ["areas", "wells"]
    assert told(opened(path)) == {"sheet": "wells"}
    assert "Polygon" in refused(path, sheet="areas")[0].found
    save(places(**ATTRIBUTES), path, "GPKG", layer="more")
    assert "'wells', 'more'" in refused(path)[0].expected
    assert opened(path, sheet="more").found["sheet"] == "more"


def test_no_reference_system_and_other_geometry_are_told(opened: Open, tmp_path: Path) -> None:
    table = opened(save(places(None, **ATTRIBUTES), tmp_path / "wells.shp", "ESRI Shapefile"))
    assert table.crs is None and rules(table) == [(0, "crs_missing")]
    frame = places(**ATTRIBUTES)
    frame.geometry = [shapely.Point(33.5, -9.5, 1200), shapely.LineString([(33, -9), (34, -9)])]
    table = opened(save(frame, tmp_path / "wells.geojson", "GeoJSON"))
    assert table.rows[1][-2:] == ["", ""]
    assert rules(table) == [(2, "geometry_not_a_point"), (0, "height_not_read")]


def test_dates_flags_and_lists_of_a_parquet_file(opened: Open, tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "latitude": [-9.5],
            "longitude": [33.5],
            "test_date": [pd.Timestamp("2019-03-05")],
            "ok": [True],
            "tags": [["a", "é"]],
        }
    )
    frame.to_parquet(tmp_path / "wells.parquet")
    table = opened(tmp_path / "wells.parquet")
    assert table.rows == [["-9.5", "33.5", "2019-03-05 00:00", "TRUE", '["a", "é"]']]


def test_numbers_of_geojson_keep_their_text(opened: Open) -> None:
    properties = '{"q":1.10,"n":9007199254740993}'
    geometry = '{"type":"Point","coordinates":[33.50,-9.5]}'
    feature = f'{{"type":"Feature","id":7,"geometry":{geometry},"properties":{properties}}}'
    table = opened('{"type":"FeatureCollection","features":[' + feature + "]}", name="wells.geojson")
    assert table.header == ["q", "n", "id", "latitude", "longitude"]
    assert table.rows == [["1.10", "9007199254740993", "7", "-9.5", "33.5"]]


# --- hostile and broken files ---------------------------------------------------------------------------------------


def xlsx_with(path: Path, source: Path, part: str, content: bytes) -> Path:
    """A copy of a workbook with one part replaced or added."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, content if name == part else old.read(name))
        if part not in old.namelist():
            new.writestr(part, content)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_zip_bombs_are_refused(refused: Refuse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    bomb = xlsx_with(tmp_path / "bomb.xlsx", good, "xl/media/image1.bin", b"\0" * 30_000_000)
    assert "unpacks to 30 MB" in refused(bomb)[0].found
    # A directory that lies about the size: the stream itself is counted.
    data = bytearray(bomb.read_bytes())
    size = (30_000_000).to_bytes(4, "little")
    while (at := data.find(size)) >= 0:
        data[at : at + 4] = (1000).to_bytes(4, "little")
    assert refused(bytes(data), name="lie.xlsx")
    monkeypatch.setattr(workbook_parts, "MAX_UNPACKED_BYTES", 1000)
    assert "unpacks" in refused(good)[0].found


def test_a_cell_far_away_does_not_fill_the_memory(refused: Refuse, tmp_path: Path) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    for reference in ('r="XFD1048576"', "r='XFD1048576'"):
        sheet = zipfile.ZipFile(good).read(SHEET).decode()
        far = f'<row r="1048576"><c {reference}><v>1</v></c></row></sheetData>'
        path = xlsx_with(tmp_path / "far.xlsx", good, SHEET, sheet.replace("</sheetData>", far).encode())
        assert "row 1048576 and column 16384" in refused(path)[0].found
    repeated = (
        ods_row(*HEADER)
        + '<table:table-row table:number-rows-repeated="1048576">'
        + (
            '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="16384"/>'
            "</table:table-row>"
        )
    )
    assert "column 16384" in refused(ods(tmp_path / "far.ods", repeated))[0].found


def test_entities_are_never_expanded(refused: Refuse, tmp_path: Path) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    secret = tmp_path / "secret.txt"
    secret.write_text("secret", encoding="utf-8")
    for part in (SHEET, "xl/sharedStrings.xml", "xl/styles.xml", "xl/workbook.xml"):
        content = zipfile.ZipFile(good).read(part).decode()
        doctype = f'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY s SYSTEM "{secret.as_uri()}">]>'
        evil = content.replace("?>", "?>" + doctype, 1).encode()
        [fault] = refused(xlsx_with(tmp_path / "evil.xlsx", good, part, evil))
        assert fault.found == "XML with a document type"


def test_a_cell_beyond_all_measure_is_refused(refused: Refuse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    long = "x" * 40_000
    assert "more than 32767 characters" in refused(text() + f"9,{long},-9,33,5\n")[0].found
    assert "longer cell" in refused(json.dumps(collection(note=long)), name="wells.geojson")[0].found
    monkeypatch.setattr("planner.tables.text_table.MAX_TEXT_BYTES", 1000)
    assert "at most" in refused(text() + long)[0].expected
    assert raw_table.MAX_TEXT_BYTES < 1_000_000_000  # so a cell of 1 GB is refused by the size of its file, unread


def collection(**properties: Any) -> dict[str, Any]:
    point = {"type": "Point", "coordinates": [33.5, -9.5]}
    return {"type": "FeatureCollection", "features": [{"geometry": point, "properties": properties}]}


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "link", "properties": {"href": "http://example.invalid/crs"}},
        {"type": "name", "properties": {"name": "http://example.invalid/crs"}},
        {"type": "name", "properties": {"name": "+proj=longlat +nadgrids=/etc/passwd"}},
        {"type": "name", "properties": {"name": "EPSG:0"}},
        [],
    ],
)
def test_a_reference_system_by_address_is_refused(refused: Refuse, crs: Any) -> None:
    assert refused(json.dumps({**collection(a=1), "crs": crs}), name="wells.geojson")[0].place == "crs"


@pytest.mark.parametrize(
    ("name", "content", "found"),
    [
        ("wells.geojson", b"[" * 100_000, "no JSON"),
        ("wells.geojson", b'{"type":"Topology"}', "no list of features"),
        ("wells.geojson", b'{"features":[{"properties":[1]}]}', "no object"),
        ("wells.geojson", b'{"features":[]}', "no features"),
        ("wells.geojson", b"\xff\xfe{", "no JSON"),
        ("wells.gpkg", b"<OGRVRTDataSource/>", "web page or XML"),
        ("wells.shp", b"<OGRVRTDataSource/>", "web page or XML"),
        ("wells.gpkg", b"SQLite format 3\x00" + bytes(100), "another kind"),
        ("wells.gpkg", b"SQLite format 3\x00" + bytes(52) + b"GPKG" + bytes(100), "damaged"),
        ("wells.shp", b"\x00\x00\x27\x0a" + bytes(100), "damaged"),
        ("wells.parquet", b"PAR1" + bytes(100), "damaged"),
        ("wells.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "damaged"),
        ("wells.xls", b"<html><table></table></html>", "web page"),
        ("wells.xlsx", b"", "nothing"),
        ("wells.pdf", b"%PDF-1.4", "another kind"),
    ],
)
def test_broken_files_are_one_clear_fault(refused: Refuse, name: str, content: bytes, found: str) -> None:
    [fault] = refused(content, name=name)
    assert found in fault.found


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("name", ["wells.xlsx", *(name for name, _ in FORMATS)])
def test_truncated_files_are_one_clear_fault_or_fewer_rows(tmp_path: Path, name: str, share: float) -> None:
    if name == "wells.xlsx":
        path = workbook(tmp_path / name, plain)
    else:
        path = save(places(**ATTRIBUTES), tmp_path / name, dict(FORMATS)[name])
    data = path.read_bytes()
    table, faults = attempt(tmp_path, data[: int(len(data) * share)], name)
    assert len(faults) == 1 or (table is not None and table.rows)


def test_folders_devices_and_pipes_are_no_files(refused: Refuse, tmp_path: Path) -> None:
    assert refused(tmp_path)[0].found == "a folder"
    assert refused(tmp_path / "none.csv")[0].expected == "a readable file"
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.csv")
        assert refused(tmp_path / "pipe.csv")[0].found == "no file"
        assert refused(Path("/dev/zero"))[0].found == "no file"
