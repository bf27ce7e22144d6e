"""The inventory's door: faults stop, odd cells become findings, no row is lost.

Numbers are made up by hand to trip one rule each, unless a line says otherwise.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import InventoryError
from planner.glossary import glossary
from planner.plan import LoadedPlan, Plan
from planner.tables.cells.dates import read_date
from planner.tables.cells.numbers import Format, read_number
from planner.tables.cells.read import allowed_units, unit_factor, vocabulary
from planner.tables.inventory import INVENTORY_NAMES, WRITES, read_inventory
from planner.tables.step import Finding, Step

Read = Callable[..., Step]

# Texts that break careless software: they stay what they are, texts.
HOSTILE = [
    "<script>alert(1)</script>",
    "</td><img src=x onerror=alert(1)>",
    '=HYPERLINK("http://example.invalid","click")',
    "+1+1",
    "@SUM(A1:A9)",
    "-2+3",
    "../../etc/passwd",
    "{{7*7}} ${7*7} %s %n",
    "'; DROP TABLE sites; --",
    "null\x00byte",
    "bell\x07 and escape\x1b[31m",
    "line\nbreak",
    "right\u202eto left",
    "x" * 10_000,
    "ÀéîõÜ ñ ŋ ʼ 𐐷 村",
    " outer spaces ",
]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read an inventory: the file's text (or bytes, or records), and [inventory] keys."""

    def make(content: str | bytes | Iterable[dict[str, str]], name: str = "wells.csv", **keys: Any) -> Step:
        step = read_inventory(plan_of(tmp_path, content, name, **keys))
        # Positions are short here, so that tables are readable; test_positions.py is about that.
        return replace(step, findings=[one for one in step.findings if one.rule != "coarse_position"])

    return make


def plan_of(
    folder: Path, content: str | bytes | Iterable[dict[str, str]], name: str = "wells.csv", **keys: Any
) -> LoadedPlan:
    if isinstance(content, bytes):
        data = content
    elif isinstance(content, str):
        data = content.encode("utf-8")
    else:
        records = list(content)
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, list(records[0]))
        writer.writeheader()
        writer.writerows(records)
        data = text.getvalue().encode("utf-8")
    (folder / name).write_bytes(data)
    return LoadedPlan(Plan.model_validate({"inventory": {"file": name, **keys}}), folder / "plan.toml", {}, {})


def one(column: str, cell: str, **others: str) -> list[dict[str, str]]:
    """A table of one placed site with one cell of interest."""
    return [{"latitude": "-9.5", "longitude": "33.5", column: cell, **others}]


def rules(step: Step, column: str | None = None) -> list[str]:
    return [finding.rule for finding in step.findings if column is None or finding.column == column]


def faults(read: Read, *args: Any, **keys: Any) -> list[str]:
    with pytest.raises(InventoryError) as error:
        read(*args, **keys)
    return [str(fault) for fault in error.value.faults]


# --- the file ---------------------------------------------------------------------------------------------


def test_a_small_table_keeps_the_promise_of_a_step(
    read: Read, keeps_promise: Callable[[Step, pd.DataFrame, tuple[str, ...]], None]
) -> None:
    step = read("site_id,latitude,longitude,depth_m\n00123,-9.5,33.5,60\n7,-9.6,33.6,\n")
    keeps_promise(step, step.columns, WRITES)
    assert step.columns.index.tolist() == [1, 2]
    assert step.columns["site_id"].tolist() == ["00123", "7"]
    assert step.columns["depth_m"].tolist()[0] == 60 and np.isnan(step.columns["depth_m"][2])
    assert step.findings == []


def test_writes_are_the_glossary_from_site_id_to_well_loss() -> None:
    names = list(glossary())
    assert list(WRITES) == names[1 : names.index("position_status")]
    assert set(INVENTORY_NAMES) - set(WRITES) == {"easting", "northing"}


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_byte_order_mark_line_ends_and_empty_last_lines_are_no_rows(read: Read, mark: bytes, ending: str) -> None:
    step = read(mark + f"latitude,longitude{ending}-9.5,33.5{ending}{ending}{ending}".encode())
    assert len(step.columns) == 1


def test_separators_only_are_a_blank_row_and_so_is_an_empty_line_between(read: Read) -> None:
    step = read("site_id,latitude,longitude\na,-9,33\n, ,\n\nb,-9.1,33\n,,\n")
    assert step.columns["row_kind"].tolist() == ["site", "blank", "blank", "site", "blank"]
    assert [finding.row for finding in step.findings if finding.rule == "blank_row"] == [2, 3, 5]


def test_encoding_and_delimiter_of_the_plan(read: Read) -> None:
    text = "site_name;latitude;longitude\nÉtang;-9;33\n".encode("cp1252")
    assert read(text, encoding="cp1252", delimiter=";").columns["site_name"][1] == "Étang"


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", "nothing"),
        ("\n\n", "nothing"),
        ("\nlatitude,longitude\n", "no data rows"),
        ("latitude,longitude\n", "no data rows"),
        ("latitude,longitude\n-9,33\n-9,33,1\n-9\n", "line 3: found 3 cells"),
        ("latitude,longitude\n-9,33\n-9,33,1\n-9\n", "line 4: found 1 cells"),
        ('site_name,latitude,longitude\n"a\nb",-9,33\nc,-9\n', "line 4: found 2 cells"),
        ('site_name,latitude,longitude\n"a,-9,33\n', "closed"),
        ("latitude,longitude,depth_m,depth_m\n-9,33,1,2\n", "'depth_m' 2 times"),
        ("lat,longitude\n-9,33\n", "only longitude"),
        ("a,b\n-9,33\n", "no position column"),
        (
            "é,latitude,longitude\né,-9,33\n".encode() + b"a,-9,\xff\n",
            "line 3, byte 37: found ff 0a, which is not utf-8",
        ),
    ],
)
def test_faults_of_the_file(read: Read, content: str | bytes, expected: str) -> None:
    assert any(expected in fault for fault in faults(read, content))


def test_many_ragged_lines_are_counted_not_listed(read: Read) -> None:
    found = faults(read, "latitude,longitude\n" + "1\n" * 500)
    assert len(found) == 21 and "480 more lines" in found[-1]


def test_workbooks_missing_files_and_unknown_encodings_are_faults(read: Read, tmp_path: Path) -> None:
    assert "no .xlsx file" in faults(read, b"latitude,longitude\n1,2\n", name="wells.xlsx")[0]
    assert "a damaged file" in faults(read, b"PK\x03\x04", name="wells.xlsx")[0]
    assert "line 2, byte 22: found ff 0a" in faults(read, b"latitude,longitude\n1,\xff\n", encoding="utf-8")[0]
    assert "line 1: found an empty line" in faults(read, "\nlatitude,longitude\n1,2\n", header_row=1)[0]
    assert "no-such" in faults(read, "latitude,longitude\n1,2\n", encoding="no-such")[0]
    plan = plan_of(tmp_path, "")
    (tmp_path / "wells.csv").unlink()
    with pytest.raises(InventoryError, match="readable file"):
        read_inventory(plan)


# --- mapping and units ------------------------------------------------------------------------------------


def test_mapped_columns_win_over_columns_of_the_planner_name(read: Read) -> None:
    step = read(
        "LAT ,lon,TD,depth_m\n-9,33,61,99\n",
        columns={"latitude": "LAT", "longitude": "lon", "depth_m": "TD"},
    )
    assert step.columns["depth_m"][1] == 61
    assert [(f.column, f.rule) for f in step.findings] == [("depth_m", "column_not_read")]


def test_a_column_that_another_name_claims_is_not_also_read_under_its_own(read: Read) -> None:
    step = read("latitude,longitude,casing_mm\n-9,33,61\n", columns={"depth_m": "casing_mm"})
    assert step.columns["depth_m"][1] == 61 and np.isnan(step.columns["casing_mm"][1])


def test_all_faults_of_mapping_and_units_come_at_once(read: Read) -> None:
    found = faults(
        read,
        "latitude,longitude,Tiefe,q\n-9,33,60,1\n",
        columns={"dept_m": "q", "depth_m": "Tief", "static_level_m": "q"},
        units={"tested_yield_m3_h": "gpm", "status": "m", "yeild": "L/s"},
        crs="EPSG:0",
    )
    text = "\n".join(found)
    assert "[inventory.columns] 'dept_m': found no inventory name; expected 'depth_m', the nearest" in text
    assert "no column 'Tief'; expected 'Tiefe', the nearest" in text
    assert "column 'q', which 'dept_m' has" in text
    assert "found 'gpm'; expected one of: m3/h, m3/d, L/s, L/min, L/h, USgpm, igpm, USgph, igph" in text
    assert "'status': found 'm'; expected no unit" in text
    assert "'yeild': found no inventory name" in text
    assert "[inventory] crs: found 'EPSG:0'" in text
    assert len(found) == 7


@pytest.mark.parametrize(
    ("name", "unit", "cell", "expected"),
    [
        ("tested_yield_m3_h", "L/s", "1", 3.6),
        ("tested_yield_m3_h", "l/min", "100", 6.0),
        ("tested_yield_m3_h", "L/h", "500", 0.5),
        ("tested_yield_m3_h", "m³/h", "2", 2.0),
        ("tested_yield_m3_h", "m3/d", "48", 2.0),
        ("tested_yield_m3_h", "USgpm", "10", 2.271247),  # NIST Handbook 44: 231 cubic inches a gallon
        ("tested_yield_m3_h", "igpm", "10", 2.727654),  # 4.54609 L a gallon
        ("depth_m", "ft", "100", 30.48),
        ("depth_m", "cm", "6000", 60.0),
        ("depth_m", "mm", "60000", 60.0),
        ("casing_mm", "in", "6", 152.4),
        ("demand_m3_day", "L/d", "12000", 12.0),
        ("sand_mg_l", "g/m3", "5", 5.0),
        ("arsenic_mg_l", "µg/L", "10", 0.01),
        ("existing_array_wp", "kWp", "3.3", 3300.0),
    ],
)
def test_units_of_columns(read: Read, name: str, unit: str, cell: str, expected: float) -> None:
    step = read(one(name, cell), units={name: unit})
    assert step.columns[name][1] == pytest.approx(expected, rel=1e-6)
    assert step.findings == []


def test_every_number_has_its_own_unit_among_the_allowed() -> None:
    for name in WRITES:
        if glossary()[name].dtype == "number":
            assert unit_factor(name, glossary()[name].unit) == 1.0
            assert allowed_units(name)[glossary()[name].unit] == 1.0
    assert unit_factor("tested_yield_m3_h", "gpm") is None  # of which gallon?


# --- numbers ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "cell", "value", "rule", "action"),
    [
        ("tested_yield_m3_h", ">5", 5.0, "lower_bound", "flagged"),
        ("tested_yield_m3_h", "≥ 5", 5.0, "lower_bound", "flagged"),
        ("arsenic_mg_l", "<0.005", 0.005, "upper_bound", "flagged"),
        ("static_level_m", "~6", 6.0, "approximate", "flagged"),
        ("static_level_m", "ca. 6", 6.0, "approximate", "flagged"),
        ("tested_yield_m3_h", "3-4", 3.0, "range", "flagged"),
        ("tested_yield_m3_h", "3 – 4 m3/h", 3.0, "range", "flagged"),
        ("casing_mm", "355.6mm", 355.6, "unit_in_cell", "repaired"),
        ("casing_mm", '6 "', 152.4, "unit_converted", "repaired"),
        ("tested_yield_m3_h", "1 L/s", 3.6, "unit_converted", "repaired"),
        ("static_level_m", "−3.5", -3.5, "number_rewritten", "repaired"),  # a typographic minus
        ("static_level_m", "dry", np.nan, "dry_as_value", "flagged"),
        ("tested_yield_m3_h", "À sec", np.nan, "dry_as_value", "flagged"),
        ("depth_m", "dry", np.nan, "not_a_number", "flagged"),
        ("depth_m", "NA", np.nan, "no_value", "flagged"),
        ("depth_m", "n/a", np.nan, "no_value", "flagged"),
        ("depth_m", "-", np.nan, "no_value", "flagged"),
        ("depth_m", "nil", np.nan, "no_value", "flagged"),
        ("depth_m", "None", np.nan, "no_value", "flagged"),
        ("depth_m", "#REF!", np.nan, "not_a_number", "flagged"),
        ("depth_m", "4-3", np.nan, "not_a_number", "flagged"),
        ("depth_m", "60 L/s", np.nan, "not_a_number", "flagged"),
        ("casing_mm", "The drilling diameter is 200", np.nan, "not_a_number", "flagged"),
        ("depth_m", "0x20", np.nan, "not_a_number", "flagged"),
        ("depth_m", "inf", np.nan, "not_a_number", "flagged"),
        ("depth_m", "1_000", np.nan, "not_a_number", "flagged"),
        ("depth_m", "1,234", np.nan, "comma_in_number", "flagged"),
        ("depth_m", "12,5", 12.5, "number_rewritten", "repaired"),
        ("depth_m", "1e9", np.nan, "out_of_range", "flagged"),
        ("depth_m", "1" * 400, np.nan, "out_of_range", "flagged"),
        ("tested_yield_m3_h", "5400", np.nan, "out_of_range", "flagged"),  # L/h? not for a program to say
        ("casing_mm", "6", np.nan, "out_of_range", "flagged"),
        ("depth_m", "0", np.nan, "zero_as_missing", "flagged"),
        ("casing_mm", "0.0", np.nan, "zero_as_missing", "flagged"),
        ("tested_yield_m3_h", "0", np.nan, "zero_as_missing", "flagged"),
        ("people", "1", np.nan, "zero_as_missing", "flagged"),
        ("people", "0", np.nan, "zero_as_missing", "flagged"),
        ("static_level_m", "0", np.nan, "artesian_undeclared", "flagged"),
    ],
)
def test_one_odd_number(read: Read, name: str, cell: str, value: float, rule: str, action: str) -> None:
    step = read(one(name, cell))
    np.testing.assert_allclose(step.columns[name][1], value, rtol=1e-12, equal_nan=True)
    found = [finding for finding in step.findings if finding.column == name and finding.rule == rule]
    assert [(finding.old_value, finding.action) for finding in found] == [(cell, action)]


@pytest.mark.parametrize("cell", ["5", "+5", " 5 ", "5.", "5.0", "5e0", ".5E1"])
def test_plain_numbers_leave_no_finding(read: Read, cell: str) -> None:
    step = read(one("tested_yield_m3_h", cell))
    assert step.columns["tested_yield_m3_h"][1] == 5.0 and step.findings == []


def test_a_unit_in_the_cell_counts_before_the_columns(read: Read) -> None:
    step = read(one("depth_m", "60 m"), units={"depth_m": "ft"})
    assert step.columns["depth_m"][1] == 60 and rules(step) == ["unit_converted"]


@pytest.mark.parametrize(("status", "expected"), [("", "dry"), ("working", "working")])
def test_dry_in_a_level_is_a_status_where_none_is_stated(read: Read, status: str, expected: str) -> None:
    step = read(one("static_level_m", "dry", status=status))
    assert step.columns["status"][1] == expected
    assert "dry_as_value" in rules(step, "static_level_m")


def test_a_dry_well_may_have_no_yield(read: Read) -> None:
    step = read(one("tested_yield_m3_h", "0", status="dry"))
    assert step.columns["tested_yield_m3_h"][1] == 0 and step.findings == []


# --- dates and words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "expected", "rule"),
    [
        ("", "", ""),
        ("2019", "2019", ""),
        ("2019-03", "2019-03", ""),
        ("2019-03-05", "2019-03-05", ""),
        ("2019-03-05 00:00:00", "2019-03-05", ""),
        ("25/03/2019", "2019-03-25", ""),
        ("25.3.2019", "2019-03-25", ""),
        ("03/25/2019", "2019-03-25", ""),
        ("05/05/2019", "2019-05-05", ""),
        ("03/04/2019", "2019", "date_ambiguous"),
        ("31/31/2019", "", "not_a_date"),
        ("2019-02-30", "", "not_a_date"),
        (
            "36892",
            "2001-01-01",
            "date_from_serial",
        ),  # the example of users.md; 2001 from memory of the calendar of 1900
        ("03/04/19", "", "date_ambiguous"),
        ("1066", "", "out_of_range"),
        ("n/a", "", "no_value"),
    ],
)
def test_dates(cell: str, expected: str, rule: str) -> None:
    assert read_date(cell) == (expected, rule)


def test_dates_give_year_and_month_at_their_precision(read: Read) -> None:
    step = read("latitude,longitude,test_date\n1,2,2019-03-05\n1,2,2019\n1,2,03/04/2019\n1,2,soon\n")
    assert step.columns["test_year"].tolist()[:3] == [2019, 2019, 2019]
    assert step.columns["test_month"][1] == 3
    assert step.columns["test_month"].isna().tolist() == [False, True, True, True]
    assert rules(step) == ["date_ambiguous", "not_a_date"]


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("status", "WORKING", "working"),
        ("status", "Fonctionnel", "working"),
        ("status", "en  panne", "needs_repair"),
        ("status", "Abandonné", "abandoned"),
        ("status", "seco", "dry"),
        ("status", "haijulikani", "unknown"),
        ("status", "", "unknown"),
        ("status", "n/a", "unknown"),
        ("equipped_with", "Pompe à main", "handpump"),
        ("equipped_with", "none", "none"),
        ("equipped_with", "umeme wa gridi", "grid"),
        ("test_kind", "Constant-rate", "constant_rate"),
        ("test_kind", "air lift", "airlift"),
        ("aquifer", "nappe captive", "confined"),
        ("aquifer", "unknown", ""),
    ],
)
def test_words_of_the_vocabulary(read: Read, column: str, cell: str, expected: str) -> None:
    step = read(one(column, cell))
    assert step.columns[column][1] == expected and step.findings == []


@pytest.mark.parametrize(("cell", "column"), [("F", "status"), ("working?", "status"), ("karst", "aquifer")])
def test_unknown_words_are_flagged_not_guessed(read: Read, cell: str, column: str) -> None:
    step = read(one(column, cell))
    assert step.columns[column][1] == ("" if column == "aquifer" else "unknown")
    assert [(finding.rule, finding.old_value) for finding in step.findings] == [("unknown_word", cell)]


def test_the_vocabulary_gives_only_meanings_of_the_glossary() -> None:
    for column, words in vocabulary().items():
        allowed = glossary()[column].meaning.replace(" or ", ", ").split(", ")
        assert {meaning or "empty" for meaning in words.values()} <= set(allowed), column


# --- rows, texts and positions ----------------------------------------------------------------------------


def test_total_rows_have_a_totals_name_and_no_position(read: Read) -> None:
    step = read(
        "site_id,site_name,latitude,longitude,people\n"
        "1,a,-9,33,200\nTOTAL:,,,,200\n,Sous-total,,,200\n4,Total,-9.1,33,300\n,Jumla,n/a,,1\n"
    )
    assert step.columns["row_kind"].tolist() == ["site", "total", "total", "site", "site"]
    assert step.columns["people"].fillna(-1).tolist() == [200, -1, -1, 300, -1]  # a total is nobody's demand
    assert step.columns["site_name"][3] == "Sous-total"


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_texts_survive_untouched(read: Read, text: str) -> None:
    step = read([{"site_id": "x", "site_name": text, "latitude": "-9", "longitude": "33", "crop": text}])
    assert step.columns["site_name"][1] == text and step.columns["crop"][1] == text
    odd = any(sign in text for sign in "\x00\x07\x1b\n\u202e")
    spaces = ["outer_spaces"] * 2 if text != text.strip() else []
    assert rules(step) == (["control_character"] * 2 if odd else spaces)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_numbers_dates_and_words_are_findings(read: Read, text: str) -> None:
    row = {"site_id": text, "latitude": "-9", "longitude": "33"}
    step = read([{**row, "depth_m": text, "test_date": text, "status": text}])
    assert step.columns["site_id"][1] == text.strip()
    assert np.isnan(step.columns["depth_m"][1])
    assert {"not_a_number", "not_a_date", "unknown_word"} <= set(rules(step))


def test_identifiers_lose_outer_spaces_only(read: Read) -> None:
    step = read([{"site_id": " 00 7\u00a0", "site_name": " A ", "latitude": "-9", "longitude": "33"}])
    assert step.columns["site_id"][1] == "00 7" and step.columns["site_name"][1] == " A "
    assert step.findings == [
        Finding(1, "00 7", "site_id", "outer_spaces", "info", " 00 7\u00a0", "00 7", "repaired"),
        Finding(1, "00 7", "site_name", "outer_spaces", "info", " A ", " A ", "flagged"),
    ]


@pytest.mark.parametrize(
    ("latitude", "longitude", "rule"),
    [
        ("15 61 18 S", "33", "position_not_decimal"),
        ("999", "999", "position_placeholder"),
        ("-15688367", "33", "decimal_point_lost"),
        ("95.5", "33", "out_of_range"),
        ("8264331", "743210", "utm_zone_unknown"),
        ("", "33", "half_position"),
    ],
)
def test_positions_that_cannot_be_read_are_missing(read: Read, latitude: str, longitude: str, rule: str) -> None:
    step = read([{"latitude": latitude, "longitude": longitude}])
    assert step.columns[["latitude", "longitude"]].isna().all(axis=None)
    assert rule in rules(step)


def test_eastings_are_taken_to_degrees(read: Read) -> None:
    # Closed form: on the central meridian of UTM zone 36 (33 E), northing 10 000 km is the equator.
    step = read("easting,northing\n500000,10000000\n500000,x\n", crs="EPSG:32736")
    assert step.columns["longitude"][1] == pytest.approx(33, abs=1e-9)
    assert step.columns["latitude"][1] == pytest.approx(0, abs=1e-9)
    assert step.columns["latitude"].isna()[2]
    assert rules(step) == ["reprojected", "position_not_decimal"]


def test_another_datum_is_shifted_and_its_accuracy_stated(read: Read) -> None:
    step = read(one("depth_m", "60"), crs="EPSG:4210")
    shift_m = np.hypot(step.columns["latitude"][1] + 9.5, step.columns["longitude"][1] - 33.5) * 111_000
    assert 200 < shift_m < 400  # from memory: about 300 m between Arc 1960 and WGS 84 in East Africa
    assert step.findings[0].rule == "reprojected" and "accuracy" in step.findings[0].new_value


def test_points_that_a_projection_cannot_hold_are_missing(read: Read) -> None:
    step = read("easting,northing\n99999999,99999999\n,\n", crs="EPSG:32736")
    assert step.columns["latitude"].isna().all()


@pytest.mark.parametrize(
    ("header", "crs", "wanted"),
    [("latitude,longitude", "EPSG:32736", "geographic"), ("easting,northing", "EPSG:4326", "projected")],
)
def test_the_reference_system_must_fit_the_columns(read: Read, header: str, crs: str, wanted: str) -> None:
    assert f"expected a {wanted} reference system" in faults(read, header + "\n1,2\n", crs=crs)[0]


def test_with_both_pairs_the_reference_system_decides(read: Read) -> None:
    text = "latitude,longitude,easting,northing\n-9,33,500000,10000000\n"
    assert read(text).columns["latitude"][1] == -9
    step = read(text, crs="EPSG:32736")
    assert step.columns["latitude"][1] == pytest.approx(0, abs=1e-9)
    assert "position_column_not_used" in rules(step, "latitude")


# --- whatever comes ---------------------------------------------------------------------------------------

ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
NUMBER_LIKE = st.from_regex(r"[<>~]?-?[0-9]{0,3}[.,]?[0-9]{0,2}[-–e]?[0-9]{0,2} ?(m|L/s|ft|dry)?", fullmatch=True)
CELLS = st.one_of(ANY_TEXT, NUMBER_LIKE, st.sampled_from(["", "0", "NA", "dry", "2019-03", "Total"]))
COLUMNS = [
    *("site_id", "site_name", "latitude", "longitude", "depth_m", "static_level_m"),
    *("tested_yield_m3_h", "people", "test_date", "status"),
]


@settings(max_examples=75, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(CELLS, min_size=len(COLUMNS), max_size=len(COLUMNS)), min_size=1, max_size=5))
def test_any_text_is_read_without_losing_a_row_or_a_cell(tmp_path: Path, rows: list[list[str]]) -> None:
    records = [dict(zip(COLUMNS, row, strict=True)) for row in rows]
    step = read_inventory(plan_of(tmp_path, records))
    assert len(step.columns) == len(rows)
    noted = {(finding.row, finding.column) for finding in step.findings}
    for number, record in enumerate(records, start=1):
        for name in ("depth_m", "static_level_m", "tested_yield_m3_h", "people", "test_date"):
            value = step.columns[name][number]
            lost = value == "" if name == "test_date" else np.isnan(value)
            if lost and record[name].strip() and step.columns["row_kind"][number] == "site":
                assert (number, name) in noted
        if step.columns["row_kind"][number] != "blank":
            assert step.columns["site_name"][number] == record["site_name"]
        assert (step.columns["row_kind"][number] == "blank") == (not "".join(record.values()).strip())


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(tmp_path: Path, data: bytes) -> None:
    try:
        read_inventory(plan_of(tmp_path, b"latitude,longitude,depth_m\n" + data))
    except InventoryError as error:
        assert error.faults


@given(ANY_TEXT | NUMBER_LIKE, st.sampled_from(["depth_m", "tested_yield_m3_h", "casing_mm"]))
def test_a_cell_is_a_number_or_has_a_rule(text: str, name: str) -> None:
    value, found = read_number(text.strip(), name, Format())
    assert found
    assert np.isnan(value) or np.isfinite(value)
