"""Text files as cells: encoding, separator, decimal mark, header; what is told. Tables are invented."""

from __future__ import annotations

import codecs
from collections.abc import Callable

import pandas as pd
import pytest

from planner.errors import Fault, InventoryError
from planner.tables.files.raw_table import RawTable
from planner.tables.step import Step
from tests.tables.files import (
    HEADER,
    ROWS,
    rules,
    text,
    told,
)

Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


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
    except UnicodeEncodeError:  # no file in that encoding can hold these words, so there is nothing to read
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
    assert rewritten == [("depth_m", "62,5", "62.5"), ("latitude", "", ""), ("longitude", "", "")]


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12,5", 12.5),
        ("1.234,5", 1234.5),
        ("1 234,5", 1234.5),
        ("1234", 1234),
        ("~6,5", 6.5),
        ("3,5-4,5", 3.5),  # the cautious end
        ("12,5 m", 12.5),
        ("12.5", None),  # against what the plan states
        ("1.234", 1234),  # which leaves one reading
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


def test_of_a_table_with_both_decimal_marks_each_column_is_read_by_its_own_numbers(opened: Open, read: Read) -> None:
    rows = [["1", "A", "-9.5", "33.5", "12,5"]]
    table = opened(text(";", rows))
    assert table.found["decimal"] == "." and (0, "decimal_mixed") in rules(table)
    assert (1, "number_rewritten") in rules(read(text(";", rows)))
    rows.append(["2", "B", "-9.6", "33.5", "12.5"])
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
