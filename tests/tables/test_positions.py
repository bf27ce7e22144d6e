"""Positions as people write them: the grammar, the area as the judge, grids, datums, placeholders, precision.

Places are made up by hand unless a line says otherwise; pyproj is the independent library of the round trips.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from planner.errors import InventoryError
from planner.plan import LoadedPlan, Plan
from planner.tables.inventory import read_inventory
from planner.tables.positions.datum import datum_of
from planner.tables.positions.degrees import read_angle, read_metres, unpack
from planner.tables.positions.read import repeated_findings, shared_positions
from planner.tables.positions.readings import box_of
from planner.tables.positions.utm import read_zone, zones_covering
from planner.tables.step import Finding, Step

WGS84 = Geod(ellps="WGS84")
AREA = shapely.box(34.0, -16.0, 36.5, -14.0)  # in the south and the east, over the zones 36 and 37
LATITUDE, LONGITUDE = -15.688333, 34.987654  # the place that all cells of this file try to be
EAST_M, NORTH_M = Transformer.from_crs(4326, 32736, always_xy=True).transform(LONGITUDE, LATITUDE)

Rows = list[tuple[str, ...]]
Read = Callable[..., Step]


def plan_of(folder: Path, rows: Rows, header: tuple[str, ...], area: Any = AREA, **keys: Any) -> LoadedPlan:
    with (folder / "wells.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])
    plan: dict[str, Any] = {"inventory": {"file": "wells.csv", "encoding": "utf-8", "delimiter": ",", **keys}}
    if area is not None:
        name = f"area_{abs(hash(area.wkt))}.gpkg"
        if not (folder / name).exists():
            gpd.GeoDataFrame({"name": ["A"]}, geometry=[area], crs="EPSG:4326").to_file(folder / name)
        plan["area"] = {"boundary": name}
    return LoadedPlan(Plan.model_validate(plan), folder / "plan.toml", {}, {})


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read rows under a header (latitude and longitude unless told), with the area unless it is None."""

    def make(*rows: tuple[str, ...], header: tuple[str, ...] = ("latitude", "longitude"), **keys: Any) -> Step:
        return read_inventory(plan_of(tmp_path, list(rows), header, **keys))

    return make


def rules(step: Step) -> list[tuple[str, str]]:
    return [(finding.rule, finding.action) for finding in step.findings]


def away_m(step: Step, row: int = 1) -> float:
    """Distance of a row from the place that is meant."""
    x, y = step.columns["longitude"][row], step.columns["latitude"][row]
    return float(WGS84.inv(x, y, LONGITUDE, LATITUDE)[2]) if np.isfinite(x) else math.inf


# --- the grammar of angles --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        *("15°41'18\"S", "15° 41' 18\" S", "S 15°41'18\"", "15º41’18”S", "15˚41′18″ s", "15°41'18''S"),
        *("15 41 18 S", "S15 41 18", "15:41:18 S", "-15:41:18", "-15 41 18", "−15° 41′ 18″", "15o41'18\"S"),
        *("S15°41.30'", "15 41.30 S", "15°41,3'S", "-15 41.3", "15:41.3S", "15°41'18.0\" Sud", "15°41'18\" Kusini"),
        *("15deg 41min 18sec S", "15d41m18s S", "S15.688333", "15.6883333 S", "15,6883333° S", "-15.68833333°"),
        *("-15.688333 S", "South 15.688333", '15°41\u00a018" S', "１５°41'18\"S"),
    ],
)
def test_every_spelling_of_one_angle(text: str) -> None:
    angle = read_angle(text)
    assert angle is not None
    assert angle.degrees == pytest.approx(-(15 + 41 / 60 + 18 / 3600), abs=1e-6)  # closed form


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            " ",
            "15 61 18 S",
            "15 41 60 S",
            "15°60' S",
            "-15.7 N",
            "N15 S",
            "S 15 S",
            "1°2'3\"4",
            "15 41",
            "15-41-18",
        ),
        *(
            "15.5 41 S",
            "15 41.5 18",
            "1500 S",
            "15°41'18\"X",
            "abc",
            "15 S 34 E",
            "--15",
            "15,41,18",
            "°",
            "S",
            "x" * 99,
        ),
        *("15.41.18", "1/2", "15°'18\"", "15 41 S 18"),
    ],
)
def test_what_the_grammar_does_not_cover_is_no_angle(text: str) -> None:
    assert read_angle(text) is None


def test_an_s_at_the_end_may_be_seconds_and_leaves_the_hemisphere_open() -> None:
    angle = read_angle("15d41m18s")
    assert angle is not None and angle.letter == "" and angle.degrees > 0


@pytest.mark.parametrize(("text", "letter"), [("34 O", "O"), ("34° Ouest", "W"), ("34 oeste", "W"), ("34° L", "E")])
def test_letters_of_other_languages(text: str, letter: str) -> None:
    angle = read_angle(text)
    assert angle is not None and angle.letter == letter


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("8 264 331", 8264331),
        ("8,264,331", 8264331),
        ("8.264.331", 8264331),
        ("8'264'331.5", 8264331.5),
        ("743,210.5", 743210.5),
        ("743.210,5", 743210.5),
        ("743210,25", 743210.25),
        ("743210 m", 743210),
        ("743210mE", 743210),
        ("743,210", math.nan),  # 743.21 or 743 210
        ("743 21", math.nan),
        ("7e5", 7e5),
        ("", math.nan),
        ("x", math.nan),
    ],
)
def test_metres(text: str, metres: float) -> None:
    assert read_metres(text) == metres or (math.isnan(metres) and math.isnan(read_metres(text)))


@pytest.mark.parametrize(
    ("number", "form", "degrees"),
    [
        (15.4118, "dd.mmss", 15.688333),
        (-15.4118, "dd.mmss", -15.688333),
        (154118, "ddmmss", 15.688333),
        (1541.3, "ddmm.mmm", 15.688333),
        (15.4130, "dd.mmmm", 15.688333),
        (15.58, "dd.mmss", 15.966667),  # 0.58 is a little less in binary
        (15.61, "dd.mmss", math.nan),
        (15.4160, "dd.mmss", math.nan),
        (math.inf, "dd.mmss", math.nan),
    ],
)
def test_packed_figures(number: float, form: str, degrees: float) -> None:
    assert unpack(number, form) == pytest.approx(degrees, abs=1e-6, nan_ok=True)


def test_marked_cells_are_read_without_an_area_and_keep_their_text(read: Read) -> None:
    step = read(("15°41'18\" S", "34,98765"), area=None)
    assert away_m(step) < 1
    assert [(one.column, one.rule, one.old_value, one.action) for one in step.findings] == [
        ("latitude", "position_rewritten", "15°41'18\" S", "repaired"),
        ("longitude", "position_rewritten", "34,98765", "repaired"),
    ]


def test_a_plan_may_say_that_figures_are_packed(read: Read) -> None:
    step = read(("-15.4118", "34.591556"), units={"latitude": "dd.mmss", "longitude": "dd.mmss"})
    assert away_m(step) < 20 and step.findings == []
    with pytest.raises(InventoryError, match="takes none"):
        read(("-15.4118", "34.591556"), units={"latitude": "grad"})


# --- the area as the judge --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("latitude", "longitude", "rule"),
    [
        ("15.688333", "34.987654", "sign_lost"),
        ("-15.688333", "-34.987654", "sign_lost"),
        ("15 41 18", "34.987654", "sign_lost"),
        ("34.987654", "-15.688333", "swapped_coordinates"),
        ("34.987654", "15.688333", "swapped_coordinates"),
        ("34.987654 E", "15.688333 S", "swapped_coordinates"),
        ("-15688333", "34.987654", "decimal_point_lost"),
        ("-15688333", "34987654", "decimal_point_lost"),
        ("-15.688333", "34987654", "decimal_point_lost"),
        ("-15.688333", "34.987654 O", "hemisphere_ambiguous"),
        (f"{NORTH_M:.1f}", f"{EAST_M:.1f}", "utm_in_degrees"),
        (f"{EAST_M:.1f}", f"{NORTH_M:.1f}", "utm_in_degrees"),
        ("8 264 331", "713 025", "utm_in_degrees"),
    ],
)
def test_one_reading_inside_the_area_is_taken(read: Read, latitude: str, longitude: str, rule: str) -> None:
    step = read((latitude, longitude))
    assert away_m(step) < (1 if "8 264" not in latitude else 20_000)
    found = [one for one in step.findings if one.rule == rule]
    assert [(one.action, one.old_value) for one in found] == [("repaired", f"{latitude}, {longitude}")]


@pytest.mark.parametrize(
    ("latitude", "longitude", "rule", "kept"),
    [
        ("15.688333", "34.987654", "", True),
        ("34.987654", "-15.688333", "", True),
        ("34.987654 E", "15.688333 S", "swapped_coordinates", False),
        ("-15688333", "34.987654", "decimal_point_lost", False),
        ("-15.688333", "34.987654 O", "hemisphere_ambiguous", False),
        (f"{NORTH_M:.1f}", f"{EAST_M:.1f}", "utm_zone_unknown", False),
    ],
)
def test_without_an_area_nothing_of_this_kind_is_repaired(
    read: Read, latitude: str, longitude: str, rule: str, kept: bool
) -> None:
    step = read((latitude, longitude), area=None)
    assert np.isfinite(step.columns["latitude"][1]) == kept
    assert not any(one.action == "repaired" and one.rule != "position_rewritten" for one in step.findings)
    assert (rule in [one.rule for one in step.findings]) == bool(rule)


def test_a_position_inside_or_near_the_area_stays_whatever_else_it_could_be(read: Read) -> None:
    square = shapely.box(14.0, 14.0, 16.0, 16.0)  # exchanged it would lie inside as well
    step = read(("15.123456", "14.512345"), ("16.0050001", "15.512345"), area=square)
    assert step.columns["latitude"].tolist() == [15.123456, 16.0050001]
    assert step.findings == []


def test_several_readings_inside_leave_the_position_missing(read: Read) -> None:
    both = shapely.union_all([shapely.box(34.0, -16.0, 36.0, -14.0), shapely.box(-36.0, -16.0, -34.0, -14.0)])
    step = read(("15.688333", "34.987654"), area=both)
    assert step.columns["latitude"].isna()[1]
    (finding,) = step.findings
    assert (finding.rule, finding.action, finding.old_value) == (
        "position_ambiguous",
        "flagged",
        "15.688333, 34.987654",
    )
    assert "-15.688333, 34.987654" in finding.new_value and "-15.688333, -34.987654" in finding.new_value


def test_a_letter_is_a_statement_and_is_not_turned(read: Read) -> None:
    step = read(("15.688333 N", "34.987654 E"))
    assert step.columns["latitude"][1] == 15.688333
    assert rules(step) == [("position_rewritten", "repaired")] * 2


def test_readings_that_agree_on_the_place_are_one(read: Read) -> None:
    step = read(("15.123456", "15.123456"), area=shapely.box(14, -16, 16, -14))
    # Turned, or exchanged and turned: the same place.
    assert (step.columns["latitude"][1], step.columns["longitude"][1]) == (-15.123456, 15.123456)
    assert rules(step) == [("sign_lost", "repaired")]


def test_packed_figures_inside_the_area_are_told_not_converted(read: Read) -> None:
    narrow = shapely.box(34.9, -15.70, 35.1, -15.65)
    step = read(("-15.4118", "34.5915"), area=narrow)
    assert step.columns["latitude"][1] == -15.4118
    (finding,) = step.findings
    assert (finding.rule, finding.action) == ("packed_angle", "flagged")
    assert "-15.688333" in finding.new_value.lower() and "m away" in finding.new_value


# --- grids ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("36S", [(36, True), (36, False)]),
        ("36 s", [(36, True), (36, False)]),
        ("UTM zone 36S", [(36, True), (36, False)]),
        ("36", [(36, True), (36, False)]),
        ("36N", [(36, False)]),
        ("36 south", [(36, True)]),
        ("Fuseau 36 Sud", [(36, True)]),
        ("huso 36 norte", [(36, False)]),
        ("36M", [(36, True)]),
        ("36K", [(36, True)]),
        ("36P", [(36, False)]),
        ("EPSG:32736", [(36, True)]),
        ("WGS 84 / UTM zone 36 south", [(36, True)]),
        *((text, []) for text in ("", "0", "61S", "36I", "36O", "36 LYR", "Arc 1950 36S", "x" * 99, "EPSG:32799")),
    ],
)
def test_zones_as_people_write_them(text: str, meant: list[tuple[int, bool]]) -> None:
    assert [(zone.number, zone.south) for zone in read_zone(text)] == meant


HEADER = ("northing", "easting", "utm_zone")
CELLS = (f"{NORTH_M:.2f}", f"{EAST_M:.2f}")


def test_rows_in_another_zone_than_the_inventorys(read: Read) -> None:
    place = (36.2, -15.0)
    x, y = Transformer.from_crs(4326, 32737, always_xy=True).transform(*place)
    rows = [(*CELLS, "36S"), (*CELLS, ""), (f"{y:.2f}", f"{x:.2f}", "37 south")]
    step = read(*rows, header=HEADER, crs="EPSG:32736", area=None)
    assert [away_m(step, row) < 1 for row in (1, 2)] == [True] * 2
    assert WGS84.inv(step.columns["longitude"][3], step.columns["latitude"][3], *place)[2] < 1
    assert [(one.row, one.rule, one.action) for one in step.findings if one.row] == [(3, "utm_zone_used", "repaired")]


def test_a_zone_that_the_area_alone_tells(read: Read) -> None:
    place = (36.4, -15.0)  # zone 37, and outside the area when taken for zone 36
    x, y = Transformer.from_crs(4326, 32737, always_xy=True).transform(*place)
    step = read((f"{y:.2f}", f"{x:.2f}", ""), header=HEADER, crs="EPSG:32736")
    assert WGS84.inv(step.columns["longitude"][1], step.columns["latitude"][1], *place)[2] < 1
    assert ("utm_zone_found", "repaired") in rules(step)


def test_36s_beside_degrees_of_a_datum_is_settled_by_the_area_alone(read: Read) -> None:
    step = read((*CELLS, "36S"), (*CELLS, "36M"), (*CELLS, "36 nowhere"), header=HEADER)
    assert [away_m(step, row) < 1 for row in (1, 2, 3)] == [True] * 3
    assert [(one.row, one.rule) for one in step.findings] == [
        (0, "reprojected"),
        (1, "utm_zone_found"),
        (3, "utm_zone_not_read"),
        (3, "utm_zone_found"),
    ]
    step = read((*CELLS, "36S"), (*CELLS, "36M"), (*CELLS, ""), header=HEADER, area=None)
    assert step.columns["latitude"].isna().tolist() == [True, False, True]
    assert [(one.row, one.rule) for one in step.findings if one.row] == [
        (1, "utm_zone_unknown"),
        (3, "utm_zone_unknown"),
    ]


def test_a_row_of_metres_among_degrees_uses_its_own_zone(read: Read) -> None:
    header = ("latitude", "longitude", "utm_zone")
    step = read((*CELLS, "36 south"), ("-15.688333", "34.987654", "36S"), header=header, area=None)
    assert away_m(step, 1) < 1 and away_m(step, 2) < 0.01
    assert rules(step) == [("utm_in_degrees", "repaired")]


@pytest.mark.parametrize(
    ("north", "east"), [("-15.688333", "34.987654"), ("15.688333", "34.987654"), ("34.987654", "-15.688333")]
)
def test_a_row_of_degrees_among_metres(read: Read, north: str, east: str) -> None:
    header = ("northing", "easting")
    step = read((north, east), CELLS, header=header, crs="EPSG:32736")
    assert away_m(step, 1) < 1 and away_m(step, 2) < 1
    assert ("degrees_in_metres", "repaired") in rules(step)
    step = read((north, east), CELLS, header=header, crs="EPSG:32736", area=None)
    assert step.columns["latitude"].isna().tolist() == [True, False]
    assert ("degrees_in_metres", "flagged") in rules(step)


def test_marked_degrees_among_metres_need_no_area(read: Read) -> None:
    step = read(("15°41'18\"S", "34°59'15.554\"E"), header=("northing", "easting"), crs="EPSG:32736", area=None)
    assert away_m(step) < 1


def test_easting_and_northing_exchanged(read: Read) -> None:
    step = read(CELLS[::-1], header=("northing", "easting"), crs="EPSG:32736")
    assert away_m(step) < 1 and not step.columns["latitude"].isna()[1]


def test_the_zones_of_an_area(tmp_path: Path) -> None:
    from planner.tables.boundary import read_boundary

    boundary, _ = read_boundary(plan_of(tmp_path, [], ("latitude", "longitude")))
    assert boundary is not None
    assert sorted({zone.number for zone in zones_covering(boundary)}) == [36, 37]
    assert box_of(boundary) == pytest.approx((33.9, -16.1, 36.6, -13.9), abs=1e-6)


# --- datums -----------------------------------------------------------------------------------------------


def test_a_datum_that_leads_nowhere_is_refused_not_taken_for_wgs84(read: Read) -> None:
    with pytest.raises(InventoryError, match="no known operation"):
        read(("-15.6", "34.9"), crs="+proj=longlat +ellps=clrk80 +type=crs")


@pytest.mark.parametrize("crs", ["EPSG:4209", "EPSG:20936", "EPSG:4222"])
def test_old_datums_move_by_a_known_operation_with_its_accuracy(read: Read, crs: str) -> None:
    step = read(
        CELLS if crs == "EPSG:20936" else ("-15.688333", "34.987654"),
        header=("northing", "easting") if crs == "EPSG:20936" else ("latitude", "longitude"),
        crs=crs,
        area=None,
    )
    moved = [one for one in step.findings if one.rule == "reprojected"]
    if crs == "EPSG:4222":  # Cape: made for South Africa, 6 degrees away
        assert step.columns["latitude"].isna()[1] and ("position_not_converted", "flagged") in rules(step)
    else:
        assert 100 < away_m(step) < 500  # from memory: 200 to 400 m between Arc 1950 and WGS 84
        assert len(moved) == 1 and "accuracy" in moved[0].new_value and "Arc 1950 to WGS 84" in moved[0].new_value


def test_a_shift_that_the_plan_writes_is_used(read: Read) -> None:
    crs = "+proj=utm +zone=36 +south +a=6378249.145 +rf=293.465 +towgs84=-143,-90,-294,0,0,0,0 +units=m +type=crs"
    step = read(CELLS, header=("northing", "easting"), crs=crs, area=None)
    # Independent library: the whole chain at once.
    x, y = Transformer.from_crs(crs, 4326, always_xy=True).transform(float(CELLS[1]), float(CELLS[0]))
    assert WGS84.inv(x, y, step.columns["longitude"][1], step.columns["latitude"][1])[2] < 0.01
    assert 100 < away_m(step) < 500


def test_each_point_takes_the_most_accurate_way_that_is_made_for_it() -> None:
    ways = datum_of("EPSG:4210").ways
    known = [way.accuracy_m for way in ways if way.accuracy_m >= 0]
    assert known == sorted(known) and len(known) == len(ways)
    longitude, latitude = np.array([37.0, 34.0, 0.0]), np.array([-1.0, -9.5, 50.0])
    alone = [datum_of("EPSG:4210").shift(longitude[[at]], latitude[[at]])[0][0] for at in range(3)]
    together, _, taken = datum_of("EPSG:4210").shift(longitude, latitude)
    np.testing.assert_array_equal(together, alone)
    assert taken[2] == -1 and np.isnan(together[2])


def test_an_undeclared_datum_is_told_once_a_file(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, [("-15.688333", "34.987654")] * 3, ("latitude", "longitude"))
    assert read_inventory(plan).findings == []
    assumed = LoadedPlan(plan.plan, plan.path, {"inventory.crs": "EPSG:4326"}, {})
    assert [(one.row, one.rule, one.severity) for one in read_inventory(assumed).findings] == [
        (0, "datum_not_declared", "info")
    ]


# --- placeholders and precision ---------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [("0", "0"), ("-2e-08", "0"), ("0.0005", "-0.0005"), ("0.000", "34.987654")])
def test_noughts_stay_for_the_screening_to_name(read: Read, cells: tuple[str, str]) -> None:
    step = read(cells, area=shapely.box(-36, -16, 36, 16).difference(shapely.box(-1, -1, 35.5, 1)))
    assert (step.columns["latitude"][1], step.columns["longitude"][1]) == (float(cells[0]), float(cells[1]))
    assert not any(one.action == "repaired" or one.rule == "coarse_position" for one in step.findings)


@pytest.mark.parametrize("cells", [("999", "34.98765"), ("9999", "9999"), ("-999.0", "999")])
def test_nines_are_placeholders(read: Read, cells: tuple[str, str]) -> None:
    step = read(cells)
    assert step.columns["latitude"].isna()[1]
    assert "position_placeholder" in [one.rule for one in step.findings]


@pytest.mark.parametrize("cells", [("0", "0"), ("0.0", "0.0005"), ("9999999", "999999"), ("999", "999")])
def test_placeholders_among_metres(read: Read, cells: tuple[str, str]) -> None:
    step = read(cells, header=("northing", "easting"), crs="EPSG:32736")
    assert step.columns["latitude"].isna()[1]
    assert "position_placeholder" in [one.rule for one in step.findings]


def test_one_place_for_many_sites_is_told_repeat_visits_are_not() -> None:
    sites = pd.DataFrame(
        {
            "site_id": pd.Series(list("abcde") + ["f"] * 5 + [""], dtype="str"),
            "site_name": pd.Series([""] * 11, dtype="str"),
            "latitude": [-15.5] * 5 + [-15.6] * 5 + [np.nan],
            "longitude": [35.0] * 11,
        }
    )
    sites.index = pd.RangeIndex(1, 12, name="inventory_row")
    every = pd.Series(True, index=sites.index)
    assert shared_positions(sites, sites["latitude"].notna()).tolist() == [5] * 5 + [1] * 5 + [0]
    found = repeated_findings(sites, every)
    assert [one.row for one in found] == [1, 2, 3, 4, 5]
    assert found[0] == Finding(
        1, "a", "latitude", "repeated_position", "warning", "", "5 sites at one position", "flagged"
    )


@pytest.mark.parametrize(
    ("cells", "metres"),
    [
        (("-15.68", "34.98"), "±560 m"),  # closed form: half of 0.01 degrees of 6 371 km
        (("-15.7", "34.98"), "±5600 m"),
        (("-15", "35"), "±56000 m"),
        (("15°41' S", "34°59' E"), "±930 m"),  # half of a minute
        (("-15.688", "34.98"), ""),
        (("15°41'18\" S", "34°59'15\" E"), ""),
        (("-15.680", "34.980"), ""),
    ],
)
def test_coarse_positions(read: Read, cells: tuple[str, str], metres: str) -> None:
    found = [one.new_value for one in read(cells).findings if one.rule == "coarse_position"]
    assert found == ([metres] if metres else [])


def packed(rng: np.random.Generator, count: int) -> list[str]:
    return [f"-15.{minutes:02d}{seconds:02d}" for minutes, seconds in rng.integers(0, 60, (count, 2)).tolist()]


def test_a_column_that_looks_packed_is_told_once(read: Read) -> None:
    rng = np.random.default_rng(3)
    rows = [(north, f"34.{east:06d}") for north, east in zip(packed(rng, 30), rng.integers(0, 10**6, 30), strict=True)]
    step = read(*rows, area=None)
    assert [(one.row, one.column, one.rule) for one in step.findings] == [(0, "latitude", "packed_angle")]
    assert "m apart" in step.findings[0].new_value
    assert step.columns["latitude"].tolist() == [float(north) for north, _ in rows]


def test_a_row_that_looks_packed_among_others_is_told_with_the_metres(read: Read) -> None:
    rng = np.random.default_rng(4)
    rows = [(f"-15.{a:05d}", f"34.{b:05d}") for a, b in rng.integers(10**4, 10**5, (40, 2)).tolist()]
    step = read(*rows, ("-15.4118", "34.5915"), area=None)
    assert [(one.row, one.rule) for one in step.findings] == [(41, "packed_angle")]
    # Closed form: (0.688333 - 0.4118) and (0.9875 - 0.5915) degrees of 111 195 m.
    assert step.findings[0].new_value.startswith("54000 m")


# --- whatever comes ---------------------------------------------------------------------------------------

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=25)
LIKE = st.from_regex(
    r"[NSEWO]?[-+]?[0-9]{1,8}[.,:° ']?[0-9]{0,6}[.,:' \"]?[0-9]{0,4}[\"°']? ?[NSEWOm]?", fullmatch=True
)
ZONES = st.one_of(TEXT, st.sampled_from(["", "36S", "36M", "37 south", "EPSG:32736", "1N", "60X"]))
DEGREES, METRES = ("latitude", "longitude"), ("northing", "easting")
PAIRS = [(DEGREES, "EPSG:4326"), (DEGREES, "EPSG:4209")]
PAIRS += [(METRES, "EPSG:32736"), (METRES, "EPSG:20936"), (METRES, "EPSG:4326")]


Pair = tuple[tuple[str, str], str]
Alone = dict[tuple[Pair, bool], Step]


def anchored(pair: Pair, with_area: bool) -> tuple[tuple[str, ...], Rows, dict[str, Any]]:
    """Header, a row whose place is plain, and keys of a plan."""
    anchor = ("-15.688333", "34.987654") if pair[0][0] == "latitude" else CELLS
    return (
        (*pair[0], "utm_zone", "site_name"),
        [(*anchor, "36 south", "anchor")],
        {"crs": pair[1], "area": AREA if with_area else None},
    )


@pytest.fixture(scope="module")
def anchors_alone(tmp_path_factory: pytest.TempPathFactory) -> Alone:
    folder = tmp_path_factory.mktemp("anchors")
    found: Alone = {}
    for pair in PAIRS:
        for with_area in (False, True):
            header, anchors, keys = anchored(pair, with_area)
            found[pair, with_area] = read_inventory(plan_of(folder, anchors, header, **keys))
    return found


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(TEXT | LIKE, TEXT | LIKE, ZONES), min_size=1, max_size=4), st.sampled_from(PAIRS), st.booleans()
)
def test_any_text_is_a_position_or_a_finding_and_moves_no_other_row(
    tmp_path: Path, anchors_alone: Alone, rows: Rows, pair: Pair, with_area: bool
) -> None:
    header, anchors, keys = anchored(pair, with_area)
    alone = anchors_alone[pair, with_area].columns
    step = read_inventory(plan_of(tmp_path, [*anchors, *((*row, "x") for row in rows)], header, **keys))
    assert len(step.columns) == len(rows) + 1
    for name in ("latitude", "longitude"):
        assert step.columns[name][1] == alone[name][1]
    assert (step.columns["latitude"].isna() == step.columns["longitude"].isna()).all()
    assert step.columns["latitude"].dropna().between(-90, 90).all()
    assert step.columns["longitude"].dropna().between(-180, 180).all()
    noted = {one.row for one in step.findings}
    for number, row in enumerate(rows, start=2):
        if step.columns["latitude"].isna()[number] and (row[0].strip() or row[1].strip()):
            assert number in noted


PLACES = st.tuples(st.floats(-79.9, 83.9), st.floats(-179.9, 179.9))


def sixty(degrees: float, letters: str, parts: int, marks: str) -> str:
    """An independent writer of angles, from whole hundredths of the last part."""
    letter = letters[0] if degrees >= 0 else letters[1]
    unit = 60 * 10_000 if parts == 2 else 3600 * 100
    whole = round(abs(degrees) * unit)
    if parts == 2:
        d, rest = divmod(whole, 600_000)
        return f"{d}{marks[0]}{rest / 10_000:07.4f}{marks[1].replace(':', '')}{letter}"
    d, rest = divmod(whole, 360_000)
    m, s = divmod(rest, 6_000)
    return f"{d}{marks[0]}{m:02d}{marks[1]}{s / 100:05.2f}{marks[2]}{letter}"


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(PLACES, st.sampled_from([2, 3]), st.sampled_from(["°'\"", "   ", ":: ", "º′″"]))
def test_a_place_written_in_sixties_comes_back(
    tmp_path: Path, place: tuple[float, float], parts: int, marks: str
) -> None:
    cells = (sixty(place[0], "NS", parts, marks), sixty(place[1], "EW", parts, marks))
    step = read_inventory(plan_of(tmp_path, [cells], ("latitude", "longitude"), None))
    x, y = step.columns["longitude"][1], step.columns["latitude"][1]
    assert WGS84.inv(x, y, place[1], place[0])[2] < 1


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(-79, 83).filter(lambda latitude: abs(latitude) > 0.02), st.floats(-2.9, 2.9), st.integers(1, 60))
def test_a_place_written_in_a_zone_comes_back(tmp_path: Path, latitude: float, off: float, number: int) -> None:
    longitude = 6 * number - 183 + off
    code = (32700 if latitude < 0 else 32600) + number
    x, y = Transformer.from_crs(4326, code, always_xy=True).transform(longitude, latitude)
    cells = (f"{y:.2f}", f"{x:.2f}", f"{number} {'south' if latitude < 0 else 'north'}")
    step = read_inventory(plan_of(tmp_path, [cells], HEADER, None))
    assert WGS84.inv(step.columns["longitude"][1], step.columns["latitude"][1], longitude, latitude)[2] < 1
