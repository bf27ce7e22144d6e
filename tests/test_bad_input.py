"""Wrong input through the command line: exit status 2, every fault in one message, no traceback, nothing touched."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio

from planner import cli, publish
from planner.stages import sizing

MakeProgramme = Callable[..., Path]
Planner = Callable[..., tuple[int, str]]

PRICES = "item,unit,price,currency,price_year\n"


@pytest.fixture
def planner(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Planner:
    """Run a command; returns its exit status and what it told."""

    def run(*arguments: object) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["planner", *map(str, arguments)])
        try:
            cli.main()
        except SystemExit as stopped:
            code = stopped.code if isinstance(stopped.code, int) else 0
        else:
            code = 0
        captured = capfd.readouterr()
        return code, captured.out + captured.err

    return run


@pytest.fixture
def programme(make_programme: MakeProgramme, tmp_path: Path) -> Path:
    """The plan of a programme with one good well and one that was abandoned."""
    return make_programme(tmp_path / "programme", [{}, {"status": "abandoned"}])


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, computed chunks left out."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and "chunks" not in path.parts
    }


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def lines_of(told: str) -> list[str]:
    assert "Traceback" not in told, told
    return [line for line in told.splitlines() if line.startswith("error: ")]


# One fault at a time: how the programme is spoilt, and what the message must name -----------------------------


def no_inventory(plan: Path) -> None:
    (plan.parent / "wells.csv").unlink()


def no_plan(plan: Path) -> None:
    plan.unlink()


def unknown_key(plan: Path) -> None:
    rewrite(plan, 'name = "Small', 'nmae = "Small')


def wrong_unit(plan: Path) -> None:
    rewrite(plan, "[area]", '[inventory.units]\ntested_yield_m3_h = "buckets"\n\n[area]')


def unknown_column(plan: Path) -> None:
    rewrite(plan, "[area]", '[inventory.columns]\npeople = "peolpe"\n\n[area]')


def wrong_crs(plan: Path) -> None:
    rewrite(plan, 'file = "wells.csv"', 'file = "wells.csv"\ncrs = "EPSG:999999"')


def projected_crs(plan: Path) -> None:
    rewrite(plan, 'file = "wells.csv"', 'file = "wells.csv"\ncrs = "EPSG:32736"')


def empty_inventory(plan: Path) -> None:
    (plan.parent / "wells.csv").write_text("", encoding="utf-8")


def header_only(plan: Path) -> None:
    (plan.parent / "wells.csv").write_text("site_id,latitude,longitude\n", encoding="utf-8")


def binary_inventory(plan: Path) -> None:
    (plan.parent / "wells.csv").write_bytes(b"PK\x03\x04\xff\xfe\x00" * 40)


def workbook(plan: Path) -> None:
    (plan.parent / "wells.csv").rename(plan.parent / "wells.xlsx")
    rewrite(plan, "wells.csv", "wells.xlsx")


def write_solar(plan: Path, west: float = 30.0, crs: str | None = "EPSG:4326", bands: int = 12) -> None:
    profile = {"driver": "GTiff", "dtype": "float64", "crs": crs, "width": 4, "height": 4, "count": bands}
    with rasterio.open(
        plan.parent / "solar.tif", "w", transform=rasterio.Affine(0.1, 0, west, 0, -0.1, -9.6), **profile
    ) as target:
        target.write(np.full((bands, 4, 4), 5.5))


def raster_without_crs(plan: Path) -> None:
    write_solar(plan, crs=None)


def raster_elsewhere(plan: Path) -> None:
    write_solar(plan, west=40.0)


def raster_of_three_bands(plan: Path) -> None:
    write_solar(plan, bands=3)


def raster_unit(plan: Path) -> None:
    rewrite(plan, '"kWh/m2/day"', '"kWh"')


def raster_in_another_unit(plan: Path) -> None:
    rewrite(plan, '"kWh/m2/day"', '"MJ/m2/day"')


def no_raster(plan: Path) -> None:
    (plan.parent / "solar.tif").write_bytes(b"no raster at all")


def one_raster_as_twelve(plan: Path) -> None:
    names = ", ".join(['"solar.tif"'] * 12)
    rewrite(plan, 'file = "solar.tif"', f"files = [{names}]")


def no_weather(plan: Path) -> None:
    (plan.parent / "hours.epw").write_text("no weather at all\n", encoding="utf-8")
    with plan.open("a", encoding="utf-8") as file:
        file.write('\n[weather]\nfile = "hours.epw"\n')


def no_polygons(plan: Path) -> None:
    (plan.parent / "area.geojson").write_text('{"type": "Nothing"}', encoding="utf-8")


def unknown_name_field(plan: Path) -> None:
    rewrite(plan, 'boundary = "area.geojson"', 'boundary = "area.geojson"\nname_field = "nmae"')


def negative_price(plan: Path) -> None:
    text = PRICES + "mounting_wp,Wp,-0.22,USD,2026\n"
    (plan.parent / "prices.csv").write_text(text, encoding="utf-8")
    with plan.open("a", encoding="utf-8") as file:
        file.write('\n[equipment]\nprices = "prices.csv"\n')


def foreign_currency(plan: Path) -> None:
    rewrite(plan, "[inventory]", 'currency = "KES"\n\n[inventory]')


SPOILT = {
    no_plan: ("plan.toml", "nothing at this path"),
    no_inventory: ("[inventory] file, line 5", "wells.csv"),
    unknown_key: ("[programme] nmae, line 2", "'name'"),
    wrong_unit: ("[inventory.units] 'tested_yield_m3_h'", "'buckets'", "L/s"),
    unknown_column: ("[inventory.columns] 'people'", "'peolpe'", "expected 'people'"),
    wrong_crs: ("[inventory] crs", "EPSG:999999", "EPSG:4326"),
    projected_crs: ("[inventory] crs", "EPSG:32736", "geographic"),
    empty_inventory: ("wells.csv", "found nothing"),
    header_only: ("wells.csv", "no data rows"),
    binary_inventory: ("wells.csv", "a damaged file", "a workbook that is whole"),
    workbook: ("wells.xlsx", "no .xlsx file", "CSV"),
    raster_without_crs: ("solar.tif", "CRS", "found none"),
    raster_elsewhere: ("solar.tif", "extent", "40.000", "30.0"),
    raster_of_three_bands: ("solar.tif", "bands", "12 or 1"),
    raster_unit: ("solar.tif", "'kWh'", "kWh/m2/day"),
    raster_in_another_unit: ("solar.tif", "the values fit unit = 'kWh/m2/day'"),
    no_raster: ("solar.tif", "a raster that can be read"),
    one_raster_as_twelve: ("solar.tif", "[rasters] solar files", "a file for each", "bands: found 12"),
    no_weather: ("hours.epw",),
    no_polygons: ("area.geojson",),
    unknown_name_field: ("[area] name_field", "'nmae'", "'name'"),
    negative_price: ("prices.csv", "-0.22"),
    foreign_currency: ("exchange_rate", "USD"),
}


@pytest.mark.parametrize("spoil", SPOILT, ids=lambda spoil: spoil.__name__)
def test_wrong_input_is_told_and_nothing_is_touched(
    programme: Path, planner: Planner, spoil: Callable[[Path], None]
) -> None:
    out = programme.parent / "out"
    assert planner("run", programme, "--out", out)[0] == 0
    before = snapshot(out)
    spoil(programme)
    code, told = planner("run", programme, "--out", out)
    assert code == 2, told
    found = lines_of(told)
    assert found
    for word in SPOILT[spoil]:
        assert any(word in line for line in found), (word, found)
    assert all(": found " in line and "; expected " in line for line in found)
    assert snapshot(out) == before


@pytest.mark.parametrize("spoil", [wrong_unit, raster_elsewhere, negative_price], ids=lambda spoil: spoil.__name__)
def test_a_first_run_that_is_refused_leaves_no_folder(
    programme: Path, planner: Planner, spoil: Callable[[Path], None]
) -> None:
    spoil(programme)
    assert planner("run", programme, "--out", programme.parent / "out")[0] == 2
    assert not (programme.parent / "out").exists()


def test_all_faults_are_told_in_one_message(programme: Path, planner: Planner) -> None:
    spoilt = (wrong_unit, unknown_column, raster_without_crs, no_weather, no_polygons, negative_price)
    for spoil in spoilt:
        spoil(programme)
    code, told = planner("run", programme, "--out", programme.parent / "out")
    assert code == 2
    found = lines_of(told)
    for spoil in spoilt:
        for word in SPOILT[spoil]:
            assert any(word in line for line in found), (spoil.__name__, word, found)
    assert len(found) == len(set(found))


def test_check_tells_the_faults_of_the_inventory(programme: Path, planner: Planner) -> None:
    wrong_unit(programme)
    unknown_column(programme)
    code, told = planner("check", programme)
    assert code == 2
    assert len(lines_of(told)) == 2


def test_check_prints_findings_and_steers_no_terminal(
    make_programme: MakeProgramme, tmp_path: Path, planner: Planner
) -> None:
    plan = make_programme(tmp_path, [{"site_id": "\x1b[31mred", "people": "many"}])
    rewrite(tmp_path / "wells.csv", "site_id,", "site_id,\x1b]0;title\x07,")
    rewrite(tmp_path / "wells.csv", "\x1b[31mred,", "\x1b[31mred,,")
    code, told = planner("check", plan)
    assert code == 0
    assert "not_a_number" in told
    assert "title" in told
    assert "\x1b" not in told
    assert "\x07" not in told


# Exit status ------------------------------------------------------------------------------------------------


def test_a_run_in_which_nothing_can_be_assessed_exits_with_1(
    make_programme: MakeProgramme, tmp_path: Path, planner: Planner
) -> None:
    plan = make_programme(tmp_path, [{"latitude": "", "longitude": ""}, None])
    code, told = planner("run", plan, "--out", tmp_path / "out")
    assert code == 1
    assert "No site could be assessed" in told
    assert (tmp_path / "out" / "run.json").is_file()
    assert (tmp_path / "out" / "map.html").is_file()


def test_an_internal_fault_exits_with_3_and_says_whose_it_is(
    programme: Path, planner: Planner, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("an equation of ours")

    monkeypatch.setattr(sizing, "assess", fail)
    out = programme.parent / "out"
    code, told = planner("run", programme, "--out", out)
    assert code == 3
    assert "internal fault: ZeroDivisionError: an equation of ours" in told
    assert "not of your files" in told
    assert not (out / "run.json").exists()


def test_a_full_disk_is_told_as_such(programme: Path, planner: Planner, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: object, path: Path, *_rest: object) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(publish.output_tables, "write_parquet", fail)
    out = programme.parent / "out"
    code, told = planner("run", programme, "--out", out)
    assert code == 2
    assert "no space left on the disk" in told
    assert "sites.parquet" in told
    assert not (out / "run.json").exists()


def test_a_wrong_date_in_the_environment_is_told(
    programme: Path, planner: Planner, monkeypatch: pytest.MonkeyPatch
) -> None:
    rewrite(programme, 'date = "2026-01-01"', "")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    code, told = planner("run", programme, "--out", programme.parent / "out")
    assert code == 2
    assert "SOURCE_DATE_EPOCH: found 'yesterday'" in lines_of(told)[0]


def test_a_wrong_option_exits_with_2(programme: Path, planner: Planner) -> None:
    for arguments in (["run"], ["run", programme, "--workers", "0"], ["run", programme, "--nonsense"], ["dig"]):
        assert planner(*arguments)[0] == 2


# Results go to files, messages to stderr ----------------------------------------------------------------------


def test_only_the_map_goes_to_stdout(
    programme: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    out = programme.parent / "out"
    monkeypatch.setattr(sys, "argv", ["planner", "run", str(programme), "--out", str(out)])
    with pytest.raises(SystemExit):
        cli.main()
    assert capfd.readouterr().out == f"{out / 'map.html'}\n"


def test_keys_without_effect_and_inputs_elsewhere_are_told(programme: Path, planner: Planner) -> None:
    (programme.parent / "solar.tif").rename(programme.parent.parent / "solar.tif")
    rewrite(programme, '"solar.tif"', '"../solar.tif"')
    rewrite(programme, "[rasters]", "[rasters]\nrecharge = 'recharge.tif'")
    code, told = planner("run", programme, "--out", programme.parent / "out")
    assert code == 0
    assert "rasters.recharge has no effect" in told
    assert f"lies outside the plan's folder: {(programme.parent.parent / 'solar.tif').resolve()}" in told


def test_the_default_folder_lies_where_the_command_is_given(
    programme: Path, planner: Planner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert planner("run", programme)[0] == 0
    assert (tmp_path / "maps" / "small-invented-programme" / "run.json").is_file()


# The output folder ------------------------------------------------------------------------------------------


def test_an_output_folder_that_is_a_file_is_refused(programme: Path, planner: Planner, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    for out in (taken, taken / "below"):
        code, told = planner("run", programme, "--out", out)
        assert code == 2
        assert "output folder: found a file; expected a folder" in lines_of(told)[0]
    assert taken.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["thesis.docx", "run.json"])
def test_a_foreign_folder_is_refused(programme: Path, planner: Planner, tmp_path: Path, name: str) -> None:
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / name).write_text('{"files": []}', encoding="utf-8")
    code, told = planner("run", programme, "--out", foreign)
    assert code == 2
    assert "files that no run of ours wrote" in lines_of(told)[0]
    assert snapshot(foreign) == {name: b'{"files": []}'}


# As a person starts it --------------------------------------------------------------------------------------


def test_as_a_process(programme: Path) -> None:
    wrong_unit(programme)
    command = [sys.executable, "-m", "planner", "run", str(programme), "--out", str(programme.parent / "out")]
    ended = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=60, check=False)
    assert ended.returncode == 2
    assert ended.stdout == ""
    assert len(lines_of(ended.stderr)) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
def test_an_interrupted_run_says_how_to_go_on(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{"people": str(200 + number)} for number in range(130)])
    out = tmp_path / "out"
    command = [sys.executable, "-m", "planner", "run", str(plan), "--out", str(out), "--workers", "1"]
    # A shell that starts the tests in the background has SIGINT ignored, and children inherit that but no handler.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, encoding="utf-8") as running:
            until = time.monotonic() + 60
            while not list(out.glob(".planner/chunks/sizing/*.chunk")) and time.monotonic() < until:
                time.sleep(0.02)
            os.kill(running.pid, signal.SIGINT)
            _, told = running.communicate(timeout=60)
    finally:
        signal.signal(signal.SIGINT, before)
    assert running.returncode == 130, told
    assert "repeat the command to go on" in told
    assert "Traceback" not in told
    assert not (out / "run.json").exists()
    ended = subprocess.run(command, capture_output=True, timeout=60, check=False)
    assert ended.returncode == 0
    assert json.loads((out / "run.json").read_text(encoding="utf-8"))["counts"]["rows"] == 130
