"""The plan file: every fault told once, with its line and the nearest right word; every default told as well."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from planner.errors import PlanError
from planner.plan import LoadedPlan, Plan, input_files, read_plan
from planner.plan.text import WITHOUT_EFFECT

Write = Callable[[str], Path]
START = '[inventory]\nfile = "wells.csv"\n'


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a plan file beside an inventory that is there; returns its path."""
    (tmp_path / "wells.csv").write_text("latitude,longitude\n-9.9,30.1\n", encoding="utf-8")

    def plan(text: str) -> Path:
        path = tmp_path / "plan.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return plan


def faults(path: Path) -> list[str]:
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    return [str(fault) for fault in caught.value.faults]


def one_fault(path: Path) -> str:
    found = faults(path)
    assert len(found) == 1, found
    return found[0]


# Keys -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("added", "place", "nearest"),
    [
        ("[programme]\ncurency = 'USD'\n", "[programme] curency, line 4", "'currency'"),
        ("\n[demand]\n# people\ngrowht = 0.03\n", "[demand] growht, line 6", "'growth'"),
        ("[demnad]\ngrowth = 0.03\n", "demnad, line 3", "'demand'"),
        ("[programme]\nbugdet = 5\n", "[programme] bugdet, line 4", "'budget'"),
        (
            "[rasters]\nsolar = { file = 'wells.csv', unit = 'W/m2', nodta = 0 }\n",
            "[rasters] solar nodta, line 4",
            "'nodata'",
        ),
        (
            "[rasters.solar]\nfile = 'wells.csv'\nunit = 'W/m2'\nnodta = 0\n",
            "[rasters] solar nodta, line 6",
            "'nodata'",
        ),
    ],
)
def test_an_unknown_key_is_told_with_line_and_nearest_key(write: Write, added: str, place: str, nearest: str) -> None:
    path = write(START + added)
    assert one_fault(path) == (f"{path}: {place}: found an unknown key; expected {nearest}, the nearest known key")


def test_a_key_like_no_other_is_told_with_all_keys(write: Write) -> None:
    fault = one_fault(write(START + "[ranking]\nzzzz = 1\n"))
    assert "one of: allow_prior_equip, weights" in fault


def test_the_only_mandatory_key(write: Write) -> None:
    fault = one_fault(write("[programme]\nname = 'A'\n"))
    assert "inventory: found nothing; expected this key, it has no default" in fault
    assert "[inventory] file" in one_fault(write("[inventory]\ncrs = 'EPSG:4326'\n"))


def test_all_faults_are_told_at_once(write: Write) -> None:
    found = faults(
        write(
            START
            + "[programme]\ncurency = 'USD'\ndiscount_rate = 8\nhorizon_years = 'twenty'\n"
            + "[array]\nsoiling = [0.1]\nmounting = 'floating'\n"
            + "[rasters]\nsolar = { file = 'nowhere.tif', unit = 'W/m2' }\n"
            + "[area]\nboundary = 'https://example.org/a.gpkg'\n"
        )
    )
    # Closed form: as many faults as were written above.
    assert len(found) == 7
    for place in ("curency, line 4", "discount_rate, line 5", "horizon_years, line 6", "soiling, line 8"):
        assert any(place in fault for fault in found), place
    for place in ("mounting, line 9", "solar file, line 11", "boundary, line 13"):
        assert any(place in fault for fault in found), place
    assert not any("\n" in fault for fault in found)


# Values -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("added", "place"),
    [
        ("[programme]\ndiscount_rate = 8\n", "[programme] discount_rate"),
        ("[programme]\ndiscount_rate = -0.01\n", "[programme] discount_rate"),
        ("[programme]\ndiscount_rate = nan\n", "[programme] discount_rate"),
        ("[programme]\nhorizon_years = 20.5\n", "[programme] horizon_years"),
        ("[programme]\nname = ''\n", "[programme] name"),
        ("[programme]\ncurrency = 'dollars'\n", "[programme] currency"),
        ("[demand]\nnorm_l_person_day = 0\n", "[demand] norm_l_person_day"),
        ("[demand]\nlosses = 1\n", "[demand] losses"),
        ("[demand]\nseason = [1, 1, 1]\n", "[demand] season"),
        ("[demand]\nseason = [-1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]\n", "[demand] season"),
        ("[demand]\nseason = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n", "[demand] season"),
        ("[array]\nsoiling = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]\n", "[array] soiling"),
        ("[array]\nshade = [-1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n", "[array] shade"),
        ("[array]\nhot_cell_c = 900\n", "[array] hot_cell_c"),
        ("[array]\ntilt_deg = 'flat'\n", "[array] tilt_deg"),
        ("[well]\nhighest_level_month = 13\n", "[well] highest_level_month"),
        ("[well]\ntested_share = { airlift = 40 }\n", "[well] tested_share airlift"),
        ("[well]\ntested_share = { guess = 0.4 }\n", "[well] tested_share guess"),
        ("[equipment]\nfamilies = ['jet']\n", "[equipment] families"),
        ("[equipment]\nfamilies = []\n", "[equipment] families"),
        ("[costs]\nsupply_base = [200, 30]\n", "[costs] supply_base"),
        ("[costs]\nsupply_base = [-10]\n", "[costs] supply_base"),
        ("[costs]\nexchange_rate = { KES = 0 }\n", "[costs] exchange_rate KES"),
        ("[output]\nfiles = ['pdf']\n", "[output] files"),
        ("[output]\ndate = '1 March 2026'\n", "[output] date"),
        ("[output]\ndate = '2026-13-45'\n", "[output] date"),
        ("[output]\ndate = 20260101\n", "[output] date"),
        ("[output]\ntiles = 'http://tiles.example.org/{z}/{x}/{y}.png'\ntiles_attribution = 'A'\n", "[output] tiles"),
        ("[output]\ntiles = 'https://tiles.example.org/{z}/{x}/{y}.png'\n", "output"),
        ("[output]\ndate = 2026-01-01T08:00:00\n", "[output] date"),
        ("programme = 3\n", "programme"),
    ],
)
def test_a_wrong_value_is_told_with_its_place(write: Write, added: str, place: str) -> None:
    path = write(START + added if added.startswith("[") else added + START)
    found = faults(path)
    assert all(fault.startswith(f"{path}: {place}") for fault in found), found
    assert all("expected" in fault for fault in found)


def test_a_date_may_be_text_or_a_date_of_toml(write: Write) -> None:
    for written in ("'2026-02-03'", "2026-02-03"):
        assert read_plan(write(f"{START}[output]\ndate = {written}\n")).plan.output.date == "2026-02-03"


def test_a_long_value_is_told_shortly(write: Write) -> None:
    fault = one_fault(write(f"{START}[programme]\ncurrency = '{'x' * 10_000}'\n"))
    assert len(fault) < 400


def test_both_names_of_a_norm_are_known(write: Write) -> None:
    loaded = read_plan(write(START + "[demand]\nlitres_per_person_day = 25\nlitres_per_tlu_day = 40\n"))
    assert loaded.plan.demand.norm_l_person_day == 25.0
    assert loaded.plan.demand.livestock_l_tlu_day == 40.0
    assert "demand.norm_l_person_day" not in loaded.defaults_used


# What a reader of the results must know ---------------------------------------------------------------------


def test_every_key_that_is_not_written_is_a_default_used(write: Write) -> None:
    loaded = read_plan(write(START + "[programme]\nhorizon_years = 20\n[array]\ntilt_deg = 15\n"))
    used = loaded.defaults_used
    assert used["programme.discount_rate"] == 0.08
    assert used["demand.season"] == [1.0] * 12
    assert used["equipment.families"] == ["helical_rotor", "centrifugal", "surface"]
    assert used["inventory.crs"] == "EPSG:4326"
    # A key that is written, though as the default has it, is not one; nor is one that has no value.
    for key in ("programme.horizon_years", "array.tilt_deg", "array.azimuth_deg", "inventory.file", "area"):
        assert key not in used
    written = {"programme.horizon_years", "array.tilt_deg", "inventory.file"}
    assert set(used) == _keys_with_value(loaded) - written


def _keys_with_value(loaded: LoadedPlan) -> set[str]:
    dump = loaded.plan.model_dump(exclude_none=True)
    return {f"{section}.{key}" for section, keys in dump.items() for key in keys}


def test_keys_without_effect_are_told_and_read_away(write: Write) -> None:
    loaded = read_plan(
        write(
            START
            + "[programme]\nbudget = 2_000_000\n[rasters]\nrecharge = 'r.tif'\n"
            + "[portfolio]\nobjective = 'people_served'\n"
        )
    )
    keys = {"rasters.recharge"}
    assert set(loaded.without_effect) == keys
    assert all(told.text() for told in loaded.without_effect.values())
    assert read_plan(write(START)).without_effect == {}


def test_rules_without_a_budget_are_told(write: Write) -> None:
    loaded = read_plan(write(START + "[portfolio]\nminimum_count = { sub_district = 2 }\n"))
    assert "budget is not written" in loaded.without_effect["portfolio"].text()


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("minimum_count = { sub_district = 1.5 }", "whole numbers"),
        ("minimum_count = 3", "whole numbers"),
        ("minimum_share = { sub_district = 20 }", "shares 0 to 1"),
        ("minimum_share = { sub_district = { A = true } }", "shares 0 to 1"),
        ("locked_in = [7]", "site ids as text"),
        ("objective = 'people'", "'people_served' or 'volume_used'"),
        ("locked_in = ['7']\nlocked_out = { '7' = 'no road' }", "in both are 7"),
    ],
)
def test_a_wrong_rule_is_one_fault(write: Write, line: str, expected: str) -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(write(START + f"[portfolio]\n{line}\n"))
    (fault,) = caught.value.faults
    assert expected in fault.expected
    assert "portfolio" in fault.place


def test_a_key_without_effect_is_no_key_that_acts() -> None:
    for dotted in WITHOUT_EFFECT:
        section, _, key = dotted.partition(".")
        fields = Plan.model_fields
        if key:
            assert key not in getattr(fields[section].annotation, "model_fields", {})
        else:
            assert section not in fields


# Rasters and weather ----------------------------------------------------------------------------------------

TWELVE = "['" + "', '".join(["wells.csv"] * 12) + "']"


@pytest.mark.parametrize(
    ("added", "place", "expected"),
    [
        ("solar = { unit = 'W/m2' }\n", "[rasters] solar, line 4", "either file = one name or files = [12 names]"),
        (
            f"solar = {{ file = 'wells.csv', files = {TWELVE}, unit = 'W/m2' }}\n",
            "[rasters] solar, line 4",
            "either file = one name or files = [12 names]",
        ),
        (
            "solar = { files = ['wells.csv'], unit = 'W/m2' }\n",
            "[rasters] solar files, line 4",
            "at least 12 items",
        ),
        (
            "diffuse = { file = 'wells.csv', unit = 'W/m2' }\ntemperature_range = { file = 'wells.csv', unit = 'K' }\n",
            "rasters, line 3",
            "a solar raster beside diffuse, temperature_range",
        ),
    ],
)
def test_a_raster_is_one_file_or_twelve_and_has_the_sun_beside_it(
    write: Write, added: str, place: str, expected: str
) -> None:
    path = write(f"{START}[rasters]\n{added}")
    fault = one_fault(path)
    assert fault.startswith(f"{path}: {place}: found ")
    assert expected in fault


def test_every_file_of_twelve_is_an_input(write: Write) -> None:
    loaded = read_plan(write(f"{START}[rasters]\nsolar = {{ files = {TWELVE}, unit = 'W/m2' }}\n"))
    keys = {"inventory.file", *(f"rasters.solar.files.{number:02d}" for number in range(1, 13))}
    assert set(input_files(loaded.plan)) == keys
    assert loaded.plan.rasters.solar is not None
    assert loaded.plan.rasters.solar.names == ("wells.csv",) * 12


@pytest.mark.parametrize(
    ("head", "line"),
    [("[rasters]\nsolar = { unit = 'W/m2', files = ", 4), ("[rasters.solar]\nunit = 'W/m2'\nfiles = ", 5)],
)
def test_one_missing_file_of_twelve_is_told(write: Write, head: str, line: int) -> None:
    names = TWELVE.replace("wells.csv", "nowhere.tif", 3).replace("nowhere.tif", "wells.csv", 2)
    fault = one_fault(write(START + head + names + (" }\n" if "{" in head else "\n")))
    assert f"[rasters] solar files, line {line}: found no file at 'nowhere.tif'" in fault


def test_a_weather_file_is_an_input(write: Write) -> None:
    loaded = read_plan(write(START + "[weather]\nfile = 'wells.csv'\n"))
    assert input_files(loaded.plan)["weather.file"] == "wells.csv"
    assert "weather" not in loaded.without_effect
    assert "[weather] file, line 4: found no file" in one_fault(write(START + "[weather]\nfile = 'hours.epw'\n"))
    assert "[weather] file" in one_fault(write(START + "[weather]\n"))


# The file and the files it names ----------------------------------------------------------------------------


def test_a_byte_order_mark_is_read_over(tmp_path: Path, write: Write) -> None:
    path = write(START)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_plan(path).plan.inventory.file == "wells.csv"


@pytest.mark.parametrize("written", [r"C:\data\wells.csv", r"C:\users\wells.csv", r"\\server\wells.csv"])
def test_a_backslash_path_is_told_how_to_write_it(write: Write, written: str) -> None:
    fault = one_fault(write(f'[inventory]\nfile = "{written}"\n'))
    assert "write paths with /" in fault


@pytest.mark.parametrize("written", [r"'data\wells.csv'", r'"data\new.csv"', r'"data\\wells.csv"'])
def test_a_backslash_that_toml_lets_through_is_told_too(write: Write, written: str) -> None:
    fault = one_fault(write(f"[inventory]\nfile = {written}\n"))
    assert "[inventory] file, line 2: found no file at" in fault
    assert "write paths with /" in fault


@pytest.mark.parametrize(
    "address",
    [
        "https://example.org/wells.csv",
        "s3://bucket/wells.csv",
        "file:///etc/passwd",
        "/vsicurl/https://example.org/wells.csv",
        "/vsizip/wells.zip/wells.csv",
        "/vsimem/wells.csv",
    ],
)
@pytest.mark.parametrize(
    "plan",
    [
        "[inventory]\nfile = '{}'\n",
        START + "[area]\nboundary = '{}'\n",
        START + "[rasters]\nelevation = {{ file = '{}', unit = 'm' }}\n",
        START + "[rasters]\nelevation = {{ files = ['{}'" + ", 'wells.csv'" * 11 + "], unit = 'm' }}\n",
        START + "[weather]\nfile = '{}'\n",
        START + "[equipment]\npumps = '{}'\n",
        START + "[equipment]\npumps = 'wells.csv'\npump_points = '{}'\n",
        START + "[equipment]\nprices = '{}'\n",
    ],
)
def test_addresses_are_refused(write: Write, plan: str, address: str) -> None:
    fault = one_fault(write(plan.format(address)))
    assert f"found {address!r}; expected a file on disk, not an address" in fault


def test_measured_points_belong_to_a_table_of_pumps(write: Write) -> None:
    both = read_plan(write(START + "[equipment]\npumps = 'wells.csv'\npump_points = 'wells.csv'\n"))
    assert input_files(both.plan)["equipment.pump_points"] == "wells.csv"
    fault = one_fault(write(START + "[equipment]\npump_points = 'wells.csv'\n"))
    assert "equipment, line 3" in fault and fault.endswith("expected a table of pumps beside pump_points")


def test_a_missing_file_is_told(write: Write, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    for name in ("nowhere.csv", "folder", "", "x" * 5000, "a\x00b"):
        written = name.replace("\x00", "\\u0000")
        assert "[inventory] file, line 2" in one_fault(write(f'[inventory]\nfile = "{written}"\n'))


def test_files_are_found_from_the_plan(write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "elsewhere").mkdir()
    path = write(START)
    monkeypatch.chdir(tmp_path / "elsewhere")
    loaded = read_plan(Path("..") / path.name)
    assert loaded.resolve("wells.csv") == (tmp_path / "wells.csv").resolve()
    assert input_files(loaded.plan) == {"inventory.file": "wells.csv"}


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (b"[inventory\nfile = 'a'\n", "TOML"),
        (b"[inventory]\nfile = 'a'\nfile = 'b'\n", "TOML"),
        (b"[inventory]\nfile = 'w\xe9lls.csv'\n", "byte 21"),
        ("[inventory]\nfile = 'wells.csv'\n".encode("utf-16"), "byte 0"),
        (b"", "inventory"),
    ],
)
def test_a_file_that_is_no_plan_is_told(tmp_path: Path, content: bytes, place: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    assert one_fault(path).startswith(f"{path}: {place}: found")


def test_a_plan_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert "found nothing at this path" in one_fault(tmp_path / "nowhere.toml")
    assert "found a folder" in one_fault(tmp_path)
