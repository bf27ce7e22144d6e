"""The way back of the field form: read, held against the inventory, written into copies, run and compared."""

from __future__ import annotations

import csv
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from planner import cli, pipeline
from planner.commands.update.command import Updated, update
from planner.commands.update.inventory_copy import file_bytes
from planner.errors import InputError
from planner.outputs.field.form import columns
from planner.outputs.field.form_files import HEADER_LINES
from planner.outputs.field.write import write_field
from planner.plan import read_plan
from planner.tables.inventory import read_inventory
from tests.outputs.field.conftest import material_of

MakeProgramme = Callable[..., Path]
Cells = Mapping[str, str]

UNTESTED = dict.fromkeys(("tested_yield_m3_h", "pumping_level_m", "test_hours", "test_kind", "test_date"), "")
TEST = {
    **{"visit_date": "2025-03-12", "tested_yield_m3_h": "5.2", "pumping_level_m": "18.4", "static_level_m": "12.6"},
    **{"measuring_point_m": "0.5", "test_kind": "constant rate", "test_hours": "24"},
}


def form_of(plan: Path) -> list[dict[str, str]]:
    """The form of a plan as a run writes it, decisions by hand; every row of the inventory is to be visited."""
    material = material_of(plan)
    material.sites["decision"], material.sites["funding"] = "test_first", ""
    write_field(material, plan.parent)
    with (plan.parent / "field_form.csv").open(encoding="utf-8", newline="") as file:
        return sorted(csv.DictReader(file), key=lambda row: int(row["inventory_row"]))


def send_back(plan: Path, answers: Mapping[int, Cells], more: Sequence[Cells] = (), name: str = "back.csv") -> Path:
    """The form with answers by row of the inventory, rows without an answer left out, and rows more."""
    rows: list[Cells] = [
        row | dict(answers[at]) for row in form_of(plan) if (at := int(row["inventory_row"])) in answers
    ]
    path = plan.parent / name
    names = list(dict.fromkeys(key for row in [*rows, *more] for key in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, restval="")
        writer.writeheader()
        writer.writerows([*rows, *more])
    return path


def done(plan: Path, back: Path) -> Updated:
    return update(plan, back, run=False)


def rows_of(path: Path, **options: Any) -> list[dict[str, str]]:
    with path.open(encoding=options.pop("encoding", "utf-8"), newline="") as file:
        return list(csv.DictReader(file, **options))


def told_of(updated: Updated, what: str) -> list[dict[str, str]]:
    return [one for one in rows_of(updated.changes) if one["what"] == what]


def faults_of(plan: Path, back: Path) -> str:
    with pytest.raises(InputError) as raised:
        done(plan, back)
    assert not list(plan.parent.glob("*updated*"))
    return str(raised.value)


# What is written -------------------------------------------------------------------------------------------------


def test_a_test_fills_the_inventory_and_nothing_else_moves(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, UNTESTED, {}])
    before = (tmp_path / "wells.csv").read_bytes(), plan.read_bytes()
    old = rows_of(tmp_path / "wells.csv")
    updated = done(plan, send_back(plan, {2: TEST}))
    new = rows_of(updated.inventory)
    assert ((tmp_path / "wells.csv").read_bytes(), plan.read_bytes()) == before
    assert [new[0][name] for name in old[0]] == list(old[0].values())
    changed = {name: new[1][name] for name in old[1] if new[1][name] != old[1][name]}
    # Levels come down by the height of the measuring point; the test has the day of the visit.
    assert changed == {
        **{"static_level_m": "12.1", "pumping_level_m": "17.9", "tested_yield_m3_h": "5.2", "test_hours": "24"},
        **{"test_kind": "constant_rate", "test_date": "2025-03-12"},
    }
    assert new[1]["visit_date"] == "2025-03-12"
    said = {one["column"]: (one["old"], one["new"]) for one in rows_of(updated.changes)}
    assert said == {name: (old[1][name], value) for name, value in changed.items()} | {"visit_date": ("", "2025-03-12")}
    assert read_inventory(read_plan(updated.plan)).columns["tested_yield_m3_h"].tolist() == [6.0, 5.2, 6.0]


def test_a_new_test_takes_the_old_one_away(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    updated = done(plan, send_back(plan, {1: {"tested_yield_m3_h": "4", "static_level_m": "13"}}))
    [row] = rows_of(updated.inventory)
    assert (row["tested_yield_m3_h"], row["pumping_level_m"], row["test_date"], row["test_hours"]) == ("4", "", "", "")
    assert {one["column"] for one in told_of(updated, "emptied")} >= {"pumping_level_m", "test_date", "test_hours"}


def test_a_workbook_filled_in_comes_back(make_programme: MakeProgramme, tmp_path: Path) -> None:
    """Cells as a spreadsheet keeps them: numbers, dates, words of the lists; a new well at the end."""
    plan = make_programme(tmp_path, [{}, UNTESTED])
    form_of(plan)
    grid = CalamineWorkbook.from_path(str(tmp_path / "field_form.xlsx")).get_sheet_by_index(0).to_python()
    at = {one.name: place for place, one in enumerate(columns())}
    row = next(row for row in grid[HEADER_LINES:] if row[at["inventory_row"]] == 2)
    for name, value in {"tested_yield_m3_h": 5.2, "pumping_level_m": "18,4", "status": "needs repair"}.items():
        row[at[name]] = value
    row[at["visit_date"]] = "2025-03-12"
    new = [""] * len(row)
    for name, value in {"site_id": "N1", "gps_latitude": -9.88, "gps_longitude": 30.06, "depth_m": "200 ft"}.items():
        new[at[name]] = value
    path = tmp_path / "back.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        book.add_worksheet("notes").write_row(0, 0, ["a", "b"])
        sheet = book.add_worksheet("Form")
        for number, cells in enumerate([*grid[: HEADER_LINES + 2], new]):
            sheet.write_row(number, 0, cells)
    rows = rows_of(done(plan, path).inventory)
    assert (rows[1]["tested_yield_m3_h"], rows[1]["pumping_level_m"]) == ("5.2", "18.4")
    assert (rows[1]["status"], rows[1]["test_date"]) == ("needs_repair", "2025-03-12")
    assert [rows[2][name] for name in ("site_id", "latitude", "longitude", "depth_m")] == [
        "N1",
        "-9.88",
        "30.06",
        "60.96",
    ]


def test_other_headers_units_marks_and_encoding_stay(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    text = (
        "N°;Latitude;Longitude;Débit (L/s);Niveau (ft);Diamètre;Remarques\n"
        "P-1;-9,8700;30,0500;1,5;40,5;150;près du marché\n"
        "P-2;-9,8700;30,0600;>2;;;\n"
    )
    (tmp_path / "wells.csv").write_bytes(text.encode("cp1252").replace(b"\n", b"\r\n"))
    keys = {
        **{"site_id": "N°", "latitude": "Latitude", "longitude": "Longitude", "casing_mm": "Diamètre"},
        **{"tested_yield_m3_h": "Débit (L/s)", "static_level_m": "Niveau (ft)"},
    }
    lines = "".join(f'{name} = "{header}"\n' for name, header in keys.items())
    old = plan.read_text(encoding="utf-8")
    added = f'file = "wells.csv"  # of the office\n[inventory.columns]\n{lines}'
    added += '[inventory.units]\ntested_yield_m3_h = "L/s"\nstatic_level_m = "ft"\npeople = "people"\n'
    plan.write_text(old.replace('file = "wells.csv"\n', added), encoding="utf-8")
    answers = {"tested_yield_m3_h": "7.2", "static_level_m": "12", "people": "250", "casing_mm": "125,5"}
    updated = done(plan, send_back(plan, {1: answers}))
    first, second = rows_of(updated.inventory, encoding="cp1252", delimiter=";")
    assert b"\r\n" in updated.inventory.read_bytes()
    # In the inventory's own columns, the unit behind the number; what it had no column for comes at the end.
    assert (first["Débit (L/s)"], first["Niveau (ft)"], first["people"]) == ("7,2 m3/h", "12 m", "250")
    assert first["Remarques"] == "près du marché" and first["Diamètre"] == "125,5"
    assert [second[name] for name in ("Latitude", "Débit (L/s)", "people")] == ["-9,8700", ">2", ""]
    copy = updated.plan.read_text(encoding="utf-8")
    assert "# of the office" in copy
    assert tomllib.loads(copy)["inventory"]["units"] == {"tested_yield_m3_h": "L/s", "static_level_m": "ft"}
    read = read_inventory(read_plan(updated.plan)).columns
    assert read["tested_yield_m3_h"].tolist() == pytest.approx([7.2, 7.2])  # 2 L/s: closed form
    assert read["static_level_m"][1] == 12.0 and read["people"][1] == 250.0


def test_levels_from_the_casing_top_get_a_column_from_the_ground(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    text = plan.read_text(encoding="utf-8")
    units = 'file = "wells.csv"\n[inventory.units]\nstatic_level_m = "m below casing top"\n'
    plan.write_text(text.replace('file = "wells.csv"\n', units), encoding="utf-8")
    before = read_inventory(read_plan(plan)).columns["static_level_m"]
    updated = done(plan, send_back(plan, {1: {"static_level_m": "14"}}))
    rows = rows_of(updated.inventory)
    assert [row["static_level_m"] for row in rows] == ["12", "12"]
    assert read_inventory(read_plan(updated.plan)).columns["static_level_m"].tolist() == [14.0, before[2]]


def test_positions_in_metres_get_columns_in_degrees(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    # -9.87, 30.05 and -9.87, 30.06 in UTM zone 36 south, by pyproj to the metre
    from pyproj import Transformer

    to = Transformer.from_crs("EPSG:4326", "EPSG:32736", always_xy=True)
    places = [to.transform(30.05, -9.87), to.transform(30.06, -9.87)]
    lines = [f"W{number},{east:.2f},{north:.2f},6\n" for number, (east, north) in enumerate(places)]
    (tmp_path / "wells.csv").write_text("site_id,easting,northing,tested_yield_m3_h\n" + "".join(lines), "utf-8")
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace('"wells.csv"\n', '"wells.csv"\ncrs = "EPSG:32736"\n'), encoding="utf-8")
    updated = done(plan, send_back(plan, {1: {"gps_latitude": "-9.8701", "gps_longitude": "30.0502"}}))
    read = read_inventory(read_plan(updated.plan)).columns
    assert read["latitude"].tolist() == pytest.approx([-9.8701, -9.87], abs=1e-6)
    assert read["longitude"].tolist() == pytest.approx([30.0502, 30.06], abs=1e-6)
    assert [row["easting"] for row in rows_of(updated.inventory)] == [line.split(",")[1] for line in lines]


def test_a_workbook_becomes_a_text_table(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    with (tmp_path / "wells.csv").open(encoding="utf-8", newline="") as file:
        grid = list(csv.reader(file))
    with xlsxwriter.Workbook(str(tmp_path / "wells.xlsx"), {"strings_to_numbers": True}) as book:
        sheet = book.add_worksheet("Wells")
        for number, row in enumerate([["A title"], [], *grid]):
            sheet.write_row(number, 0, row)
    plan.write_text(plan.read_text(encoding="utf-8").replace("wells.csv", "wells.xlsx"), encoding="utf-8")
    updated = done(plan, send_back(plan, {2: {"people": "450"}}))
    assert updated.inventory.name == "wells-updated.csv"
    assert read_inventory(read_plan(updated.plan)).columns["people"].tolist() == [300.0, 450.0]


def test_the_next_visit_updates_the_update(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    first = done(plan, send_back(plan, {1: {"people": "400", "remarks": "a"}}))
    second = done(first.plan, send_back(first.plan, {2: {"people": "500", "remarks": "b"}}))
    assert [second.plan.name, second.inventory.name] == ["plan-updated-2.toml", "wells-updated-2.csv"]
    rows = rows_of(second.inventory)
    assert [(row["people"], row["visit_remarks"]) for row in rows] == [("400", "a"), ("500", "b")]


def test_same_bytes_twice(make_programme: MakeProgramme, tmp_path: Path) -> None:
    made = []
    for name in ("a", "b"):
        plan = make_programme(tmp_path / name, [{}, UNTESTED])
        updated = done(plan, send_back(plan, {2: TEST}))
        made.append([path.read_bytes() for path in (updated.plan, updated.inventory, updated.changes)])
    assert made[0] == made[1]


# What does not belong ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"inventory_row": "2"}, "row 2 of site 'W000'; expected site 'W001' there"),
        ({"site_id": "W001"}, "row 1 of site 'W001'; expected site 'W000' there"),
        ({"inventory_row": "77"}, "row 77 of site 'W000'; expected a row from 1 to 2"),
        ({"inventory_row": "first"}, "'first'; expected the number of a row"),
        ({"inventory_row": "", "site_id": "X"}, "not in the inventory, without a position"),
        ({"gps_latitude": "-9.87", "gps_longitude": "30.2"}, "a place 16.4 km from the site"),
        ({"latitude": "9.87"}, "km from the site"),
    ],
)
def test_a_wrong_row_is_never_used(make_programme: MakeProgramme, tmp_path: Path, change: Cells, said: str) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    assert said in faults_of(plan, send_back(plan, {1: {"people": "500", **change}}))


def test_a_row_that_moved_in_another_inventory_is_told(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    back = send_back(plan, {2: {"people": "500"}})
    table = tmp_path / "wells.csv"
    head, *rows = table.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text(head + rows[1] + rows[0], encoding="utf-8")
    updated = done(plan, back)
    assert [row["people"] for row in rows_of(updated.inventory)] == ["500", "300"]
    [told] = told_of(updated, "doubtful")
    assert "which is row 1 of this inventory" in told["found"]


def test_two_rows_of_one_site_are_not_used(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}, {}])
    back = send_back(plan, {1: {"people": "500"}}, [{"site_id": "W000", "people": "600"}])
    assert faults_of(plan, back).count("a second row of site 'W000'") == 2


def test_bad_cells_are_told_and_the_others_used(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    bad = {"depth_m": "deep", "ph": "77", "status": "so so", "test_kind": "tasting", "visit_date": "soon"}
    bad |= {"measuring_point_m": "45", "gps_latitude": "north", "gps_longitude": "30"}
    updated = done(plan, send_back(plan, {1: {"people": "500", **bad}}))
    told = {one["column"]: one for one in told_of(updated, "not_used")}
    assert set(told) == {name for name in bad if name != "gps_longitude"} | {"gps_longitude"}
    assert told["ph"]["found"].startswith("'77'") and told["ph"]["expected"] == "a number from 0 to 14"
    assert told["status"]["expected"].startswith("one of: working, needs_repair")
    [row] = rows_of(updated.inventory)
    assert (row["people"], row["depth_m"], row["status"]) == ("500", "60", "working")
    assert any("not used: back.csv: data row 1, depth_m: found 'deep'" in line for line in updated.lines)


def test_a_level_without_its_rate_is_not_used(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    assert "no rate" in faults_of(plan, send_back(plan, {1: {"pumping_level_m": "19"}}))


def test_an_empty_form_and_another_table_are_wrong_input(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    assert "none with an answer" in faults_of(plan, send_back(plan, {1: {}}))
    assert "all as the inventory has them" in faults_of(plan, send_back(plan, {1: {"people": "300"}}))
    other = tmp_path / "other.csv"
    other.write_text("a,b\n1,2\n", encoding="utf-8")
    assert "no line with the names of the form" in faults_of(plan, other)
    assert "no file" in faults_of(plan, tmp_path / "nowhere.xlsx")


def test_copies_that_are_there_are_kept(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    back = send_back(plan, {1: {"people": "500"}})
    updated = done(plan, back)
    kept = updated.inventory.read_bytes()
    with pytest.raises(InputError, match="already"):
        done(plan, back)
    assert updated.inventory.read_bytes() == kept
    assert update(plan, back, run=False, force=True).inventory.read_bytes() == kept


def test_hostile_names_and_answers_go_through(
    make_programme: MakeProgramme, tmp_path: Path, hostile_names: tuple[str, ...]
) -> None:
    """Each site is found again by its hostile id; hostile remarks come back as text, formulas with an apostrophe."""
    plan = make_programme(tmp_path, [{"site_id": one, "site_name": one} for one in hostile_names])
    answers = {row: {"people": "500", "remarks": one} for row, one in enumerate(hostile_names, start=1)}
    updated = done(plan, send_back(plan, answers))
    old, new = rows_of(tmp_path / "wells.csv"), rows_of(updated.inventory)
    assert [row["people"] for row in new] == ["500"] * len(hostile_names)
    assert [row["site_id"] for row in new] == [row["site_id"] for row in old] == list(hostile_names)
    for name, row in zip(hostile_names, new, strict=True):
        assert row["visit_remarks"].lstrip("'") == name.strip().lstrip("'")
        assert row["visit_remarks"][:1] not in set("=+-@")
    assert not told_of(updated, "not_used")
    assert all(line.isprintable() for line in updated.lines)


def test_text_that_an_encoding_lacks_makes_it_utf8() -> None:
    from planner.commands.update.inventory_copy import Copy

    assert file_bytes(Copy(["é"], [["井"]], {}), ";", "cp1252", "\n") == ("é\n井\n".encode(), "utf-8")
    assert file_bytes(Copy(["é"], [['a"\r']], {}), ";", "cp1252", "\n")[0] == b'\xe9\n"a""\r"\n'


# The whole loop ----------------------------------------------------------------------------------------------------


def test_a_well_to_test_first_comes_back_tested(
    make_programme: MakeProgramme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    prior = {"latitude": "-9.6700", "longitude": "30.0700"}
    plan = make_programme(tmp_path, [{}, {**UNTESTED, **prior}])
    plan.write_text(plan.read_text(encoding="utf-8").replace("files = [", 'files = ["field", '), encoding="utf-8")
    before = pipeline.run(plan, tmp_path / "first")
    assert before.material.sites["decision"].tolist() == ["equip", "test_first"]
    [form] = [row for row in rows_of(tmp_path / "first" / "field_form.csv") if row["inventory_row"] == "2"]
    back = tmp_path / "back.csv"
    with back.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(form))
        writer.writeheader()
        writer.writerow(form | TEST)
    words = ["planner", "update", str(plan), str(back), "--against", "first", "--out", "second"]
    monkeypatch.setattr(sys, "argv", words)
    cli.app(standalone_mode=False, args=words[1:])
    told = capsys.readouterr().out
    assert "row 2 'W001': grade C → A, decision test_first → equip, rank none → " in told
    assert "Rows: 2 paired (2 by row)." in told
    assert (tmp_path / "second" / "map.html").is_file() and (tmp_path / "plan-updated.toml").is_file()


def test_without_a_run_before_nothing_is_written(
    make_programme: MakeProgramme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    plan = make_programme(tmp_path, [{}])
    back = send_back(plan, {1: {"people": "500"}})
    with pytest.raises(InputError, match="planner run first"):
        update(plan, back)
    assert not list(tmp_path.glob("*updated*"))
