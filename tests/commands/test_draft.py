"""`planner draft`: the plan it writes, what it tells, what it refuses, and that no text of a table can do harm."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from planner import cli
from planner.commands.draft.command import draft
from planner.commands.draft.guesses import guess, plan_file
from planner.commands.draft.opening import RawTable
from planner.errors import InventoryError, OutputError, PlanError
from planner.pipeline import check, run
from planner.plan import Plan, read_plan
from tests.conftest import HOSTILE, MakeProgramme

TABLE = """\
BH ID,Village,Ward,Lat,Long,Depth (m),Casing (mm),SWL (m),Yield (L/s),Test hours,Status,Caretaker,Phone,Pump depth (m)
B1,Tundare,Lower Mwesa,-9.91,30.05,60,150,12.5,1.5,24,working,Rosa Test,0700123,40
B2,Kesu,Lower Mwesa,-9.92,30.06,45,125,8,0.4,6,in use,Ali Test,0700124,30
"""


def table_file(folder: Path, text: str = TABLE, name: str = "wells list.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def drafted(folder: Path, text: str) -> tuple[Plan, str]:
    """Plan and report of a table."""
    told = draft(table_file(folder, text), None, force=True)
    return read_plan(folder / "wells list.toml").plan, told


def call(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["planner", *words])
    try:
        cli.main()
    except SystemExit as stopped:
        return int(stopped.code or 0)
    return 0


# The plan -----------------------------------------------------------------------------------------------------


def test_a_plain_table_becomes_a_plan_that_checks(tmp_path: Path) -> None:
    plan, told = drafted(tmp_path, TABLE)
    inventory = plan.inventory
    assert inventory.file == "wells list.csv"
    assert inventory.columns == {
        "site_id": "BH ID",
        "site_name": "Village",
        "sub_district": "Ward",
        "latitude": "Lat",
        "longitude": "Long",
        "depth_m": "Depth (m)",
        "casing_mm": "Casing (mm)",
        "static_level_m": "SWL (m)",
        "tested_yield_m3_h": "Yield (L/s)",
        "test_hours": "Test hours",
        "status": "Status",
    }
    assert inventory.units["tested_yield_m3_h"] == "L/s"
    assert inventory.crs == "EPSG:4326"
    assert inventory.unconfirmed == ()
    assert "check of the plan as drafted: 2 rows" in told
    assert "'Pump depth (m)'" in told
    assert "planner check" in told


@pytest.mark.parametrize("decimal", [".", ","])
def test_a_decimal_comma_is_pinned_and_a_point_is_not(tmp_path: Path, decimal: str) -> None:
    text = TABLE.replace(",", ";").replace(".", decimal)
    plan, _ = drafted(tmp_path, text)
    assert (plan.inventory.decimal, plan.inventory.delimiter) == ("," if decimal == "," else None, ";")
    _, table = check(tmp_path / "wells list.toml")
    assert table.sites["static_level_m"].tolist() == [12.5, 8.0]
    assert table.sites["latitude"].tolist() == [-9.91, -9.92]
    assert not [
        one for one in table.findings if one.rule in {"decimal_comma", "number_rewritten", "position_rewritten"}
    ]


def test_a_workbook_is_drafted_like_the_same_table_as_text(tmp_path: Path) -> None:
    plan, _ = drafted(tmp_path, TABLE)
    book = xlsxwriter.Workbook(tmp_path / "wells.xlsx", {"strings_to_numbers": True})
    sheet = book.add_worksheet("Points d'eau")
    for line, row in enumerate(TABLE.splitlines(), start=2):  # two title lines above
        sheet.write_row(line, 0, row.split(","))
    sheet.write(0, 0, "Water points, 2024")
    book.close()
    draft(tmp_path / "wells.xlsx", None, force=False)
    of_book = read_plan(tmp_path / "wells.toml").plan.inventory
    assert (of_book.sheet, of_book.header_row) == ("Points d'eau", 3)
    assert (of_book.columns, of_book.units) == (plan.inventory.columns, plan.inventory.units)


def test_names_of_people_are_neither_read_nor_shown(tmp_path: Path) -> None:
    _, told = drafted(tmp_path, TABLE)
    written = (tmp_path / "wells list.toml").read_text(encoding="utf-8")
    for secret in ("Rosa", "Ali", "0700123"):
        assert secret not in told + written
    assert "may name people" in told
    assert "'Caretaker', 'Phone'" in told


def test_the_same_table_gives_the_same_bytes(tmp_path: Path) -> None:
    path = table_file(tmp_path)
    draft(path, tmp_path / "a.toml", force=False)
    draft(path, tmp_path / "b.toml", force=False)
    assert (tmp_path / "a.toml").read_bytes() == (tmp_path / "b.toml").read_bytes()


def test_every_default_stands_commented_out_and_is_the_default(tmp_path: Path) -> None:
    draft(table_file(tmp_path), None, force=False)
    path = tmp_path / "wells list.toml"
    before = read_plan(path)
    text = path.read_text(encoding="utf-8")
    settings_lines = re.findall(r"(?m)^#(?=\w+ = )", text)
    assert len(settings_lines) > 60
    # Sections that need a file stay out: `#[area]` and what belongs to it.
    text = re.sub(r"(?m)^#\[\w+\]\n(?:#.*\n)*", "", text)
    path.write_text(re.sub(r"(?m)^#(?=\w+ = )", "", text), encoding="utf-8")
    after = read_plan(path)
    assert after.plan == before.plan
    assert not any(after.defaults_used.values())  # lists and tables that are empty by default


def test_every_key_of_a_plan_is_shown(tmp_path: Path) -> None:
    draft(table_file(tmp_path), None, force=False)
    text = (tmp_path / "wells list.toml").read_text(encoding="utf-8")
    for name, field in Plan.model_fields.items():
        assert re.search(rf"(?m)^#?\[{name}\]$|^# \[\[{name}\]\]", text), name
        for candidate in (field.annotation, *getattr(field.annotation, "__args__", ())):
            for key in getattr(candidate, "model_fields", {}):
                shown = rf"(?m)^(#\s?)?{key} = |^\[{name}\.{key}\]$|nothing here needs to be confirmed"
                assert re.search(shown, text), f"{name}.{key}"


# Doubts -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "cells", "entry"),
    [
        ("Yield", "1.5", "units.tested_yield_m3_h: 'Yield': the header has no unit"),
        ("Yield gpm", "15", "US gallons"),
        ("Casing diameter", "6", "units.casing_mm"),
        ("Water level (m)", "12", "columns.static_level_m"),
        ("longtude", "30.1", "columns.longitude"),
        ("Status", "3", "columns.status: 'Status': none of its words is known"),
    ],
)
def test_what_is_not_certain_waits_for_a_person(tmp_path: Path, header: str, cells: str, entry: str) -> None:
    plan, told = drafted(tmp_path, f"id,lat,{header}\nB1,-9.9,{cells}\nB2,-9.8,{cells}\n")
    assert any(entry in one for one in plan.inventory.unconfirmed)
    assert "to confirm" in told


def test_two_columns_for_one_name_are_told(tmp_path: Path) -> None:
    plan, _ = drafted(tmp_path, "id,lat,lon,Yield (L/s),Discharge (l/s),Test yield (m3/h)\nB1,-9,30,1,2,3\n")
    assert plan.inventory.columns["tested_yield_m3_h"] == "Yield (L/s)"
    assert any("'Test yield (m3/h)'" in one for one in plan.inventory.unconfirmed)


def test_a_village_gives_way_to_a_name_without_a_doubt(tmp_path: Path) -> None:
    plan, _ = drafted(tmp_path, "id,lat,lon,Village,Borehole name\nB1,-9,30,Kesu,Kesu 1\n")
    assert plan.inventory.columns["site_name"] == "Borehole name"
    assert plan.inventory.unconfirmed == ()


def test_run_refuses_what_is_not_confirmed_and_check_tells_it(
    tmp_path: Path,
    make_programme: MakeProgramme,
    plan_text: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    guesses = ["units.tested_yield_m3_h: no unit", "crs: zone 36S"]
    line = 'file = "wells.csv"\nencoding = "utf-8"\ndelimiter = ","\n'
    text = plan_text.replace('file = "wells.csv"\n', f"{line}unconfirmed = {guesses!r}\n")
    path = make_programme(tmp_path, [{}], text)
    with pytest.raises(PlanError) as caught:
        run(path, tmp_path / "out")
    refused = [fault for fault in caught.value.faults if fault.place == "[inventory] unconfirmed"]
    assert [fault.found for fault in refused] == [repr(one) for one in guesses]
    assert all("out of the list" in fault.expected for fault in refused)
    assert not (tmp_path / "out" / "run.json").exists()
    assert call(monkeypatch, "check", str(path)) == 0
    assert capsys.readouterr().err.count("not confirmed yet") == 2


# Positions ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "row", "names", "crs", "doubtful"),
    [
        ("X,Y", "30.1,-9.8", {"longitude": "X", "latitude": "Y"}, "EPSG:4326", True),
        ("X,Y", "500100,8912345", {"easting": "X", "northing": "Y"}, None, True),
        ("Easting,Northing", "500100,8912345", {"easting": "Easting", "northing": "Northing"}, None, True),
        ("UTM Easting 36L,UTM Northing 36L", "500100,8912345", {"easting": "UTM Easting 36L"}, "EPSG:32736", True),
        ("X (UTM 31N),Y (UTM 31N)", "500100,1345678", {"easting": "X (UTM 31N)"}, "EPSG:32631", True),
        ("lat,lon", "8912345,500100", {"northing": "lat", "easting": "lon"}, None, True),
        ("lat,lon,Easting,Northing", "-9.8,30.1,500100,8912345", {"latitude": "lat"}, "EPSG:4326", False),
        (
            "Latitude (Arc 1950),Longitude (Arc 1950)",
            "-9.8,30.1",
            {"latitude": "Latitude (Arc 1950)"},
            "EPSG:4326",
            True,
        ),
    ],
)
def test_reference_systems(
    tmp_path: Path, header: str, row: str, names: dict[str, str], crs: str | None, doubtful: bool
) -> None:
    draft(table_file(tmp_path, f"id,{header}\nB1,{row}\n"), None, force=False)
    written = tomllib.loads((tmp_path / "wells list.toml").read_text(encoding="utf-8"))["inventory"]
    assert names.items() <= written["columns"].items()
    assert written.get("crs") == crs
    assert bool(written.get("unconfirmed")) == doubtful


def test_degrees_with_minutes_and_decimal_commas_are_told(tmp_path: Path) -> None:
    _, told = drafted(tmp_path, 'id,lat,lon\nB1,"9°54\'36""S",30.1\nB2,"-9,91","30,2"\n')
    assert "1 of 2 values are degrees with minutes" in told
    assert "1 of 2 values have a decimal comma" in told


def test_hashtags_below_a_header_name_what_the_header_does_not() -> None:
    found = {"hxl:Coord A": "#geo+lat", "hxl:Coord B": "#geo+lon", "hxl:Whom": "#contact+name"}
    made = guess("a.csv", RawTable(["Coord A", "Coord B", "Whom"], [["-9.9", "30.1", "Rosa"]], None, found, []))
    assert {one.column.name: one.column.header for one in made.guesses} == {
        "latitude": "Coord A",
        "longitude": "Coord B",
    }
    assert made.left == [("Whom", made.left[0][1], True)]


def test_points_of_a_file_of_layers_keep_its_own_reference_system() -> None:
    header = ["Lat", "Long", "northing", "easting"]
    found = {"geometry_columns": "northing,easting"}
    made = guess("a.gpkg", RawTable(header, [["-9.9", "30.1", "8912345", "500100"]], "EPSG:32736", found, []))
    assert [one.column.name for one in made.guesses] == ["northing", "easting"]
    assert made.reference is not None
    assert (made.reference.crs, made.reference.doubt) == ("EPSG:32736", "")


def test_units_in_a_line_of_their_own() -> None:
    table = RawTable(["ID", "Yield l/s"], [["B1", "2"]], None, {}, [], ["ID", "Yield"], ["", "l/s"])
    assert [one.unit for one in guess("a.xlsx", table).guesses] == ["", "L/s"]


# Words --------------------------------------------------------------------------------------------------------


def test_unknown_words_are_told(tmp_path: Path) -> None:
    _, told = drafted(tmp_path, "id,lat,lon,Status\nB1,-9,30,working\nB2,-9,31,sleeping\nB3,-9,32,sleeping\n")
    assert "words of status that are not known: 'sleeping' (2)" in told
    assert "# words that are not known" in (tmp_path / "wells list.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(("word", "mapped"), [("fonctionnel", True), ("public", False)])
def test_words_settle_a_header_of_two_meanings(tmp_path: Path, word: str, mapped: bool) -> None:
    plan, _ = drafted(tmp_path, f"id,lat,lon,Statut\nB1,-9,30,{word}\n")
    assert ("status" in plan.inventory.columns) == mapped
    assert plan.inventory.unconfirmed == ()


# Files --------------------------------------------------------------------------------------------------------


def test_nothing_is_written_over_without_force(tmp_path: Path) -> None:
    path = table_file(tmp_path)
    target = tmp_path / "wells list.toml"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="--force"):
        draft(path, None, force=False)
    assert target.read_text(encoding="utf-8") == "mine"
    draft(path, None, force=True)
    assert "[inventory]" in target.read_text(encoding="utf-8")


def test_the_table_itself_is_never_written_over(tmp_path: Path) -> None:
    path = table_file(tmp_path)
    with pytest.raises(OutputError, match="the table itself"):
        draft(path, path, force=True)
    assert path.read_text(encoding="utf-8") == TABLE


def test_a_plan_in_another_folder_finds_the_table(tmp_path: Path) -> None:
    (tmp_path / "plans").mkdir()
    draft(table_file(tmp_path), tmp_path / "plans" / "p.toml", force=False)
    assert read_plan(tmp_path / "plans" / "p.toml").plan.inventory.file == "../wells list.csv"


@pytest.mark.parametrize("out", ["nowhere/p.toml", "."])
def test_places_that_cannot_hold_a_plan(tmp_path: Path, out: str) -> None:
    with pytest.raises(OutputError):
        draft(table_file(tmp_path), tmp_path / out, force=False)


def test_a_table_that_cannot_be_read_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(monkeypatch, "draft", str(tmp_path / "absent.csv")) == 2
    assert "absent.csv" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", [".", "..", "/"])
def test_a_folder_is_no_table(name: str) -> None:
    with pytest.raises(InventoryError, match="a folder"):
        draft(Path(name), None, force=False)


def test_a_table_without_anything_known(tmp_path: Path) -> None:
    plan, told = drafted(tmp_path, "alpha,beta\n1,2\n")
    assert plan.inventory.columns == {}
    assert "no position was recognised" in told
    assert "planner check would stop at" in told


# Hostile text -------------------------------------------------------------------------------------------------

NASTY = (
    '"""\n[demand]\nlosses = 0.5',
    "a\\",
    "x]\n[area]",
    "'''",
    "#",
    "\x7f\x00",
    "a\u202eb",
    '"',
    "lat = 1",
    "\U000e0041",
)
WORDS = st.sampled_from(
    [*NASTY, *HOSTILE, "Lat", "Long", "Yield", "Depth (m)", "Status", "SWL", "Owner", "X", "#geo+lat"]
)
CELLS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12) | WORDS
HEADERS = st.lists(st.tuples(WORDS, CELLS).map("".join) | CELLS, min_size=1, max_size=8, unique_by=str.strip)


@settings(max_examples=150, deadline=None)
@given(header=HEADERS, cell=CELLS)
def test_no_text_of_a_table_can_become_part_of_the_plan(
    header: list[str], cell: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.getbasetemp()
    (folder / "any.csv").write_text("", encoding="utf-8")
    header = [one.strip() for one in header]
    text = plan_file(guess("any.csv", RawTable(header, [[cell] * len(header)], None, {"delimiter": "\t"}, [])))
    assert all(one.isprintable() or one == "\n" for one in text)
    (folder / "any.toml").write_text(text, encoding="utf-8", newline="\n")
    plan = read_plan(folder / "any.toml").plan
    assert set(plan.inventory.columns.values()) <= set(header)
    assert plan.inventory.delimiter == "\t"
    raw = tomllib.loads(text)
    sections = {key for key, value in raw.items() if value}
    assert sections == {"inventory"}
    assert raw["inventory"].keys() <= {"file", "delimiter", "crs", "unconfirmed", "columns", "units"}


def test_the_terminal_is_not_steered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ",".join(f'"{one.replace(chr(34), chr(34) * 2)}"' for one in dict.fromkeys(HOSTILE))
    path = table_file(tmp_path, f"id,lat,lon,status,Yield\x1b[31m,{rows}\nB\x1b]0;x\x07,-9,30,\x1b[2J,1,{rows}\n")
    assert call(monkeypatch, "draft", str(path)) == 0
    captured = capsys.readouterr()
    for text in (captured.out, captured.err):
        assert all(one.isprintable() or one == "\n" for one in text)
