"""Every fault of an inventory ends in its reaction: repaired with a note, flagged, or stopped with its reason.

The rows and what is to become of them stand in faults.py, from the list of the fifteen most common faults and of what
is also seen. What is not a matter of one row (datum, calendar, decimal commas, levels from the casing) has a test here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner import pipeline
from planner.choice.decision import decide
from planner.tables.inventory_file import INVENTORY_NAMES
from planner.tables.step import Finding
from tests.inventories.faults import FAULTS, HEADER, Cells, place, rows, sound
from tests.inventories.files import write_csv, write_plan, write_xlsx

KINDS = ("csv", "xlsx")


@dataclass(frozen=True)
class Screened:
    """The table after reading and screening, its findings, and what would be decided of each row that can be sized."""

    sites: pd.DataFrame
    findings: list[Finding]
    decision: pd.Series

    def rules(self, row: int) -> dict[str, str]:
        return {one.rule: one.action for one in self.findings if one.row == row}


def screen(plan: Path) -> Screened:
    _, table = pipeline.check(plan)
    checks = pd.concat(table.checks, ignore_index=True)
    decided = decide(checks, pd.Series(True, index=table.sites.index), False)
    return Screened(table.sites, table.findings, decided["decision"])


@pytest.fixture(scope="module")
def screened(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Screened]:
    """The inventory of faults, read from CSV and from a workbook."""
    found = {}
    for kind in KINDS:
        folder = tmp_path_factory.mktemp(kind)
        if kind == "csv":
            write_csv(folder / "wells.csv", rows())
        else:
            write_xlsx(folder / "wells.xlsx", rows(), marked=True)
        found[kind] = screen(write_plan(folder, f"wells.{kind}"))
    return found


def same(found: Any, wanted: object) -> bool:
    if wanted is None:
        return bool(pd.isna(found))
    # 2e-5 degrees, 2 m: positions that are written in seconds or whole metres
    return abs(found - wanted) <= 2e-5 if isinstance(wanted, float) else found == wanted


def test_the_inventory_has_every_fault() -> None:
    assert len(FAULTS) >= 60
    assert {fault.number for fault in FAULTS} | {5} == set(range(1, 17))  # 5 is the datum of a whole file


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("at", range(len(FAULTS)), ids=[f"{one.number}: {one.name}" for one in FAULTS])
def test_each_fault_ends_in_its_reaction(screened: dict[str, Screened], kind: str, at: int) -> None:
    fault, found, row = FAULTS[at], screened[kind], at + 1
    in_book = kind == "xlsx" and fault.xlsx is not None
    assert found.rules(row) == (fault.xlsx if in_book else fault.rules)
    assert found.decision[row] == fault.decision
    for column, wanted in fault.values.items():
        assert same(found.sites.at[row, column], wanted), f"{column}: {found.sites.at[row, column]!r}"


@pytest.mark.parametrize("kind", KINDS)
def test_rows_in_are_rows_out_and_every_text_can_be_had_back(screened: dict[str, Screened], kind: str) -> None:
    found = screened[kind]
    assert found.sites.index.tolist() == list(range(1, len(FAULTS) + 1))
    for at, row in enumerate(rows(), start=1):
        for one in found.findings:
            if one.row == at and one.action == "repaired" and one.column in row:
                pair = f"{row['latitude']}, {row['longitude']}"
                assert one.old_value in {row[one.column], pair, ""}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_told_of_the_whole_file(screened: dict[str, Screened], kind: str) -> None:
    told = {(one.rule, one.column, one.new_value) for one in screened[kind].findings if one.row == 0}
    # "longtude" is a header with a typing error: named with what it may have meant, not guessed
    assert {("column_not_read", "longtude", "longitude"), ("column_not_read", "remarks", "")} <= told
    others = {rule for rule, _, _ in told} - {"column_not_read"}
    assert others == {"csv": {"decimal_mixed"}, "xlsx": {"hidden_row", "struck_through", "coloured_row"}}[kind]


def test_both_files_say_the_same(screened: dict[str, Screened]) -> None:
    pd.testing.assert_frame_equal(screened["csv"].sites, screened["xlsx"].sites)


# --- what is a matter of the whole file -------------------------------------------------------------------


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Screened]:
    """Screen sound wells with changes: column → texts, one a row; and keys of [inventory]."""

    def make(changed: dict[str, list[str]] | None = None, count: int = 8, **keys: Any) -> Screened:
        wells = [sound(at) | {name: texts[at] for name, texts in (changed or {}).items()} for at in range(count)]
        write_csv(tmp_path / "wells.csv", wells)
        return screen(write_plan(tmp_path, "wells.csv", **keys))

    return make


def of_file(found: Screened) -> list[tuple[str, str]]:
    unread = {"longtude", "remarks"}
    return [(one.rule, one.severity) for one in found.findings if one.row == 0 and one.column not in unread]


def test_5_a_datum_that_is_not_declared_is_told_and_one_that_is_is_used(read: Callable[..., Screened]) -> None:
    assert of_file(read(crs=None)) == [("datum_not_declared", "info")]
    found = read(crs="EPSG:4209")  # Arc 1950
    [told] = [one for one in found.findings if one.rule == "reprojected"]
    assert "m" in told.new_value and told.row == 0
    moved = np.hypot(*(found.sites.loc[1, ["latitude", "longitude"]].to_numpy(float) - place(0))) * 111_195
    assert 100 < moved < 400  # a null shift would be none; published: some 300 m in southern Africa (from memory)


def test_4_and_13_a_table_with_decimal_commas_is_told_once_a_column(read: Callable[..., Screened]) -> None:
    wells = [sound(at) for at in range(8)]
    numbers = [name for name in HEADER if name not in {"test_date", "site_name"}]
    commas = {name: [well[name].replace(".", ",") for well in wells] for name in numbers}
    found, plain = read(commas), read()
    pd.testing.assert_frame_equal(found.sites, plain.sites)
    assert not [one for one in found.findings if one.row]
    assert {rule for rule, _ in of_file(found)} == {"file_read_as", "decimal_comma"}
    assert not [one for one in read(commas, decimal=",").findings if one.column not in {"longtude", "remarks"}]


def test_9_levels_from_the_casing_are_brought_to_the_ground(read: Callable[..., Screened]) -> None:
    units = {"static_level_m": "m below casing top", "pumping_level_m": "m below casing top"}
    columns = {"casing_stickup_m": "longtude"}
    found = read({"longtude": ["0.5", "", "59", *["0.4"] * 5]}, units=units, columns=columns)
    static = [float(sound(at)["static_level_m"]) for at in range(8)]
    # hand: less the height of the casing; as read where that is unknown or 59 m
    assert found.sites["static_level_m"].tolist() == pytest.approx(
        [static[0] - 0.5, static[1], static[2], *(one - 0.4 for one in static[3:])]
    )
    assert (found.rules(2), found.rules(3)) == ({"stickup_unknown": "flagged"}, {"stickup_doubtful": "flagged"})


def test_11_day_numbers_of_two_calendars_are_not_told_apart_by_guessing(read: Callable[..., Screened]) -> None:
    found = read({"test_date": ["43540", "17000", *["2019-05-11"] * 6]})  # 17000: 1946, or 1950 counted from 1904
    assert found.rules(1) == {"date_ambiguous": "flagged"} and found.sites.at[1, "test_date"] == ""


def test_10_a_column_without_any_value_is_told_once(read: Callable[..., Screened]) -> None:
    found = read({name: [""] * 8 for name in ("static_level_m", "pumping_level_m", "drawdown_m")})
    absent = [one.column for one in found.findings if one.rule == "column_absent"]
    assert absent == ["static_level_m", "pumping_level_m"]


def test_15_a_yield_that_many_wells_have_is_the_test_pumps(read: Callable[..., Screened]) -> None:
    found = read({"tested_yield_m3_h": ["3.6"] * 5 + ["3.9", "4.1", "4.3"]})
    assert [found.rules(row) for row in range(1, 9)] == [{"test_pump_limited": "flagged"}] * 5 + [{}] * 3


# --- a clean inventory ------------------------------------------------------------------------------------

MORE = {
    "utm_zone": "36S",
    "water_temperature_c": "23.5",
    "sand_mg_l": "1.5",
    "ec_us_cm": "640",
    "ph": "7.1",
    "iron_mg_l": "0.12",
    "chloride_mg_l": "48",
    "arsenic_mg_l": "0.002",
    "nitrate_mg_l": "11",
    "livestock_tlu": "35",
    "irrigated_ha": "0.25",
    "crop": "tomato",
    "demand_m3_day": "9.5",
    "tank_height_m": "4",
    "pipe_length_m": "120",
    "grid_distance_m": "2400",
    "existing_pump_id": "",
    "existing_array_wp": "",
    "existing_tilt_deg": "",
    "casing_stickup_m": "0.45",
    "transmissivity_m2_d": "14",
    "well_loss_d2_m5": "0.000001",
}


def clean(count: int = 24) -> list[Cells]:
    """Wells in which every column is filled, and well; a set is stated where one stands."""
    wells = []
    for at in range(count):
        well = {name: text for name, text in sound(at).items() if name not in {"longtude", "remarks"}} | MORE
        drawn = float(well["pumping_level_m"]) - float(well["static_level_m"])
        well["drawdown_m"] = f"{drawn:.2f}"
        well["specific_capacity_m3_h_m"] = f"{float(well['tested_yield_m3_h']) / drawn:.3f}"
        if at % 6 == 5:
            solar = {"existing_pump_id": "HR-04", "existing_array_wp": "1200", "existing_tilt_deg": "15"}
            well |= {"equipped_with": "solar", **solar}
        wells.append(well)
    return wells


def write_wells(folder: Path, kind: str, wells: list[Cells]) -> Path:
    header = list(wells[0])
    if kind == "csv":
        write_csv(folder / "wells.csv", wells, header)
    else:
        write_xlsx(folder / "wells.xlsx", wells, header)
    return write_plan(folder, f"wells.{kind}")


@pytest.mark.parametrize("kind", KINDS)
def test_a_clean_inventory_yields_no_finding(tmp_path: Path, kind: str) -> None:
    wells = clean()
    assert set(wells[0]) == set(INVENTORY_NAMES) - {"northing", "easting"}, "every column"
    assert all(any(well[name] for well in wells) for name in wells[0])
    found = screen(write_wells(tmp_path, kind, wells))
    assert found.findings == []
    assert len(found.sites) == len(wells) and set(found.sites["evidence_grade"]) == {"A"}


# --- any text in any cell ---------------------------------------------------------------------------------

USUAL = [row[name] for row in rows() for name in HEADER if row[name]]
ANY_TEXT = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=30),
    st.sampled_from(sorted(set(USUAL))),
    st.sampled_from(["1e999", "-0", "½", "١٢", "NaN", "inf", "=1+1", "<b>", "0x10", "1_000", "1,234.5,6", "\u202e1"]),
    st.from_regex(r"[-+<>~]?[0-9]{1,9}[.,]?[0-9]{0,6} ?(m|ft|L/s|gpm|°|'|N|S|E|W|O)?", fullmatch=True),
)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    folder = tmp_path_factory.mktemp("plain")
    return screen(write_wells(folder, "csv", clean(12)))


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=ANY_TEXT, row=st.integers(1, 12), name=st.sampled_from(sorted(clean(1)[0])))
def test_any_text_in_any_cell_changes_no_other_row(
    tmp_path: Path, plain: Screened, text: str, row: int, name: str
) -> None:
    """Through reading and screening: nothing raises, no row is lost, no other row's result changes.

    Two rows may name each other (one identifier, one place): what is told of the other row then is that, and no number
    of it changes.
    """
    wells = clean(12)
    wells[row - 1] = wells[row - 1] | {name: text}
    found = screen(write_wells(tmp_path, "csv", wells))
    assert found.sites.index.tolist() == list(range(1, 13))
    others = [one for one in found.sites.index if one != row]
    pd.testing.assert_frame_equal(found.sites.loc[others], plain.sites.loc[others])
    about_pairs = {"repeated_id", "id_conflict", "near_neighbour", "duplicate_candidate"}
    assert {one.rule for one in found.findings if one.row in others} <= about_pairs
    pd.testing.assert_series_equal(found.decision.loc[others], plain.decision.loc[others])
