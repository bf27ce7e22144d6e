"""Screening: positions, levels, duplicates, evidence and the checks that record them.

Numbers are made up by hand to sit on one side of a limit, unless a line says otherwise.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from planner.errors import AreaError
from planner.plan import LoadedPlan, Plan
from planner.tables.boundary import read_boundary
from planner.tables.screening import READS, WRITES, run
from planner.tables.step import Step

MakeSites = Callable[..., pd.DataFrame]
MakePlan = Callable[..., LoadedPlan]
WEST = shapely.box(33.0, -10.0, 33.5, -9.0)
EAST = shapely.box(33.5, -10.0, 34.0, -9.0)
WGS84 = Geod(ellps="WGS84")
EDGE_M = WGS84.inv(34.0, -9.5, 34.01, -9.5)[2]  # independent library: 0.01 degrees east of the area


def area_plan(folder: Path, frame: gpd.GeoDataFrame | None = None, name: str = "area.gpkg", **area: Any) -> LoadedPlan:
    if frame is None:
        frame = gpd.GeoDataFrame({"name": ["West", "East"]}, geometry=[WEST, EAST], crs="EPSG:4326")
    frame.to_file(folder / name)
    plan = Plan.model_validate({"inventory": {"file": "a.csv"}, "area": {"boundary": name, **area}})
    return LoadedPlan(plan, folder / "plan.toml", {}, {})


def at(*points: tuple[float, float]) -> dict[str, list[float]]:
    return {"latitude": [one for one, _ in points], "longitude": [one for _, one in points]}


def rules(step: Step) -> list[tuple[int, str]]:
    return [(finding.row, finding.rule) for finding in step.findings]


def check(step: Step, rule: str) -> dict[int, bool]:
    """inventory_row → passed all rows of one rule."""
    rows = step.checks[step.checks["rule"] == rule]
    return rows.groupby("inventory_row")["pass"].all().to_dict()


# --- the boundary -----------------------------------------------------------------------------------------


def test_every_row_is_placed_inside_near_or_outside(
    make_sites: MakeSites, tmp_path: Path, keeps_promise: Callable[..., None]
) -> None:
    sites = make_sites(
        READS,
        6,
        **at((-9.5, 33.2), (-9.5, 33.7), (-9.5, 34.005), (-9.5, 34.01), (np.nan, np.nan), (40.0, -100.0)),
    )
    step = run(sites, area_plan(tmp_path))
    keeps_promise(step, sites, WRITES)
    assert step.columns["position_status"].tolist() == ["ok", "ok", "ok", "outside", "missing", "outside"]
    assert step.columns["area_name"].tolist() == ["West", "East", "East", "", "", ""]
    assert step.columns["boundary_distance_m"][1] == 0
    # 0.1 %: the projection's scale; the eastern edge runs along a meridian.
    assert step.columns["boundary_distance_m"][4] == pytest.approx(EDGE_M, rel=1e-3)
    assert np.isnan(step.columns["boundary_distance_m"][5])
    assert check(step, "outside_area") == {1: True, 2: True, 3: True, 4: False, 6: False}
    assert (4, "outside_area") in rules(step) and (5, "position_missing") in rules(step)


def test_the_point_on_a_shared_border_has_the_first_polygons_name(make_sites: MakeSites, tmp_path: Path) -> None:
    step = run(make_sites(READS, 1, **at((-9.5, 33.5))), area_plan(tmp_path))
    assert step.columns["area_name"][1] == "West"


def test_a_boundary_in_metres_and_with_a_hole(make_sites: MakeSites, tmp_path: Path) -> None:
    ring = WEST.difference(shapely.box(33.2, -9.6, 33.3, -9.5))
    frame = gpd.GeoDataFrame({"name": ["Ring"]}, geometry=[ring], crs="EPSG:4326").to_crs("EPSG:32736")
    step = run(make_sites(READS, 2, **at((-9.55, 33.25), (-9.4, 33.25))), area_plan(tmp_path, frame))
    assert step.columns["position_status"].tolist() == ["outside", "ok"]
    # Half the hole's height, the nearer side: 0.05 degrees of either coordinate (independent library).
    nearest = min(WGS84.inv(33.25, -9.55, 33.3, -9.55)[2], WGS84.inv(33.25, -9.55, 33.25, -9.5)[2])
    assert step.columns["boundary_distance_m"][1] == pytest.approx(nearest, rel=1e-3)


def test_an_area_across_the_180th_meridian(make_sites: MakeSites, tmp_path: Path) -> None:
    boxes = [shapely.box(179.5, -18, 180, -17), shapely.box(-180, -18, -179.5, -17)]
    frame = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=boxes, crs="EPSG:4326")
    step = run(
        make_sites(READS, 3, **at((-17.5, 179.9), (-17.5, -179.9), (-17.5, 179.4))),
        area_plan(tmp_path, frame),
    )
    assert step.columns["area_name"].tolist() == ["a", "b", ""]
    assert step.columns["boundary_distance_m"][3] == pytest.approx(WGS84.inv(179.4, -17.5, 179.5, -17.5)[2], rel=1e-3)


def test_a_self_crossing_polygon_is_mended_with_a_finding(make_sites: MakeSites, tmp_path: Path) -> None:
    bow = shapely.Polygon([(33, -10), (34, -9), (34, -10), (33, -9)])
    frame = gpd.GeoDataFrame({"name": ["Bow"]}, geometry=[bow], crs="EPSG:4326")
    step = run(make_sites(READS, 2, **at((-9.5, 33.1), (-9.1, 33.5))), area_plan(tmp_path, frame))
    assert step.columns["position_status"].tolist() == ["ok", "outside"]
    assert rules(step)[0] == (0, "boundary_repaired")


def test_without_an_area_nothing_is_outside(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = run(make_sites(READS, 1, **at((-9.5, 33.2))), make_plan())
    assert step.columns["position_status"][1] == "ok" and step.columns["area_name"][1] == ""
    assert np.isnan(step.columns["boundary_distance_m"][1]) and check(step, "outside_area") == {}


def test_faults_of_the_boundary_come_at_once(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"nome": ["a"]}, geometry=[shapely.Point(33, -9)], crs=None)
    with warnings.catch_warnings(action="ignore"):  # that the file has no CRS, which is the point here
        plan = area_plan(tmp_path, frame, "area.shp")
    with pytest.raises(AreaError) as error:
        read_boundary(plan)
    text = str(error.value)
    assert "found Point; expected polygons" in text
    assert "reference system: found none" in text
    assert "found 'name'; expected 'nome', the nearest" in text


def test_missing_and_unreadable_boundaries(tmp_path: Path) -> None:
    plan = area_plan(tmp_path)
    (tmp_path / "area.gpkg").write_bytes(b"not a package")
    with pytest.raises(AreaError, match="cannot be read"):
        read_boundary(plan)
    (tmp_path / "area.gpkg").unlink()
    with pytest.raises(AreaError, match="nothing at this path"):
        read_boundary(plan)


def test_coordinates_that_the_reference_system_lacks(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(5e5, 9e6, 6e5, 9.1e6)], crs="EPSG:4326")
    with pytest.raises(AreaError, match="inside their reference system"):
        read_boundary(area_plan(tmp_path, frame))


# --- positions --------------------------------------------------------------------------------------------


def test_placeholders(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(READS, 4, **at((-2e-8, 0.0), (0.005, -0.005), (0.0, 33.0), (0.5, 33.0)))
    step = run(sites, make_plan())
    assert step.columns["position_status"].tolist() == ["placeholder"] * 3 + ["ok"]
    assert check(step, "position_placeholder") == {1: False, 2: False, 3: False, 4: True}


def test_the_equator_is_no_placeholder_inside_an_area_on_it(make_sites: MakeSites, tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": ["Mid"]}, geometry=[shapely.box(33, -1, 34, 1)], crs="EPSG:4326")
    step = run(make_sites(READS, 1, **at((0.0, 33.5))), area_plan(tmp_path, frame))
    assert step.columns["position_status"][1] == "ok"


@pytest.mark.parametrize(("rows", "expected"), [(4, "ok"), (5, "placeholder")])
def test_one_coordinate_for_many_sites_is_a_placeholder(
    make_sites: MakeSites, make_plan: MakePlan, rows: int, expected: str
) -> None:
    names = [f"village {one}" for one in "abcde"[:rows]]
    step = run(make_sites(READS, rows, **at(*[(-9.5, 33.5)] * rows), site_name=names), make_plan())
    assert set(step.columns["position_status"]) == {expected}


def test_repeat_visits_to_one_well_are_duplicates_not_placeholders(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = run(make_sites(READS, 6, **at(*[(-9.5, 33.5)] * 6), site_id=["7"] * 6), make_plan())
    assert set(step.columns["position_status"]) == {"ok"}
    assert step.columns["duplicate_of"].fillna(0).tolist() == [0, 1, 1, 1, 1, 1]


def test_swapped_coordinates_are_shown_not_repaired(make_sites: MakeSites, tmp_path: Path) -> None:
    step = run(make_sites(READS, 2, **at((33.2, -9.5), (33.2, -20.0))), area_plan(tmp_path))
    assert step.columns["position_status"].tolist() == ["outside", "outside"]
    found = [finding for finding in step.findings if finding.rule == "swapped_coordinates"]
    assert [(one.row, one.severity, one.old_value, one.new_value) for one in found] == [
        (1, "stop", "33.2, -9.5", "-9.5, 33.2")
    ]


def test_an_empty_sub_district_takes_the_polygons_name(make_sites: MakeSites, tmp_path: Path) -> None:
    sites = make_sites(READS, 3, **at((-9.5, 33.2), (-9.5, 33.2), (-9.5, 40)), sub_district=["", "Old West", ""])
    step = run(sites, area_plan(tmp_path))
    assert step.columns["sub_district_used"].tolist() == ["West", "Old West", ""]
    assert [row for row, rule in rules(step) if rule == "sub_district_from_area"] == [1]


# --- duplicates -------------------------------------------------------------------------------------------

NORTH_20_M = -9.5 + 20 / 110_600  # from memory: 110.6 km a degree of latitude near the equator


def pair(make_sites: MakeSites, make_plan: MakePlan, latitude: float = NORTH_20_M, **given: Any) -> Step:
    return run(make_sites(READS, 2, **at((-9.5, 33.5), (latitude, 33.5)), **given), make_plan())


def test_the_same_folded_name_or_identifier_nearby_is_one_well(make_sites: MakeSites, make_plan: MakePlan) -> None:
    by_name = pair(make_sites, make_plan, site_name=["Étang-1", "ETANG 1"])
    by_id = pair(make_sites, make_plan, site_id=["07", "07"], site_name=["a", "b"])
    for step in (by_name, by_id):
        assert step.columns["duplicate_of"].fillna(0).tolist() == [0, 1]
        assert rules(step)[-1] == (2, "duplicate") and check(step, "duplicate") == {1: True, 2: False}


def test_different_names_nearby_are_neighbours_only(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = pair(make_sites, make_plan, site_name=["a", "b"])
    assert step.columns["duplicate_of"].isna().all()
    assert rules(step) == [(1, "near_neighbour"), (2, "near_neighbour")]


def test_nameless_rows_are_never_duplicates(make_sites: MakeSites, make_plan: MakePlan) -> None:
    assert pair(make_sites, make_plan).columns["duplicate_of"].isna().all()


def test_the_limit_is_30_m(make_sites: MakeSites, make_plan: MakePlan) -> None:
    for distance, expected in ((29.5, 1), (30.5, 0)):
        _, north, _ = WGS84.fwd(33.5, -9.5, 0, distance)  # independent library
        step = pair(make_sites, make_plan, latitude=north, site_name=["a", "a"])
        assert step.columns["duplicate_of"].notna().sum() == expected


def test_a_repeated_identifier_far_away_is_a_conflict(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = pair(make_sites, make_plan, latitude=-9.6, site_id=["7", "7"])
    assert step.columns["duplicate_of"].isna().all()
    assert rules(step) == [(1, "id_conflict"), (2, "id_conflict")]
    assert [finding.new_value for finding in step.findings] == ["row 2", "row 1"]


def test_a_repeated_identifier_within_1_km_is_flagged(make_sites: MakeSites, make_plan: MakePlan) -> None:
    _, north, _ = WGS84.fwd(33.5, -9.5, 0, 900.0)  # independent library
    step = pair(make_sites, make_plan, latitude=north, site_id=["7", "7"])
    assert rules(step) == [(1, "repeated_id"), (2, "repeated_id")]


@pytest.mark.parametrize(
    ("given_columns", "kept"),
    [
        ({"test_date": ["2010", "2019-03"]}, 2),
        ({"test_date": ["2019-03-02", "2019-03"]}, 1),
        ({"test_date": ["", "1999"], "depth_m": [60.0, np.nan]}, 2),
        ({"depth_m": [np.nan, 60.0]}, 2),
        ({}, 1),
    ],
)
def test_the_later_test_then_the_fuller_row_then_the_first_is_kept(
    make_sites: MakeSites, make_plan: MakePlan, given_columns: dict[str, list[Any]], kept: int
) -> None:
    step = pair(make_sites, make_plan, site_name=["a", "a"], **given_columns)
    assert step.columns["duplicate_of"].dropna().to_dict() == {3 - kept: float(kept)}


def test_clusters_chain(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step_north = 20 / 110_600
    points = [(-9.5 + number * step_north, 33.5) for number in range(4)]
    step = run(
        make_sites(READS, 4, **at(*points), site_name=["a"] * 3 + ["b"], site_id=["", "", "9", "9"]),
        make_plan(),
    )
    assert step.columns["duplicate_of"].fillna(0).tolist() == [0, 1, 1, 1]


# --- levels, evidence, rules ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("levels", "rule", "conflict"),
    [
        ({"static_level_m": 60.0, "depth_m": 60.0}, "static_below_depth", True),
        ({"static_level_m": -0.5}, "artesian_undeclared", True),
        ({"static_level_m": 20.0, "pumping_level_m": 15.0}, "pumping_above_static", False),
        ({"static_level_m": 20.0, "pumping_level_m": 20.0}, "no_drawdown", False),
        ({"pumping_level_m": 61.0, "depth_m": 60.0}, "pumping_below_depth", False),
        ({"screen_top_m": 61.0, "depth_m": 60.0}, "screen_below_depth", False),
    ],
)
def test_levels_that_contradict_each_other(
    make_sites: MakeSites, make_plan: MakePlan, levels: dict[str, float], rule: str, conflict: bool
) -> None:
    step = run(make_sites(READS, 1, **at((-9.5, 33.5)), **levels), make_plan())
    assert rules(step) == [(1, rule)]
    assert step.columns["level_conflict"][1] == conflict
    assert all(check(step, "level_conflict").values()) == (not conflict)


def test_levels_in_order_pass(make_sites: MakeSites, make_plan: MakePlan) -> None:
    levels = {"static_level_m": 20.0, "pumping_level_m": 35.0, "screen_top_m": 45.0, "depth_m": 60.0}
    step = run(make_sites(READS, 1, **at((-9.5, 33.5)), **levels), make_plan())
    assert step.findings == [] and check(step, "level_conflict") == {1: True}


@pytest.mark.parametrize(
    ("tested_yield", "static", "pumping", "kind", "grade"),
    [
        (5, 20, 30, "constant_rate", "A"),
        (5, 20, 30, "unknown", "A"),
        (5, 20, 30, "airlift", "B"),
        (5, 20, 30, "bailer", "B"),
        (5, 20, np.nan, "step", "B"),
        (5, 20, 20, "step", "B"),
        (5, np.nan, 30, "step", "C"),
        (np.nan, 20, 30, "unknown", "C"),
        (np.nan, np.nan, 30, "unknown", "D"),
    ],
)
def test_evidence_grades(
    make_sites: MakeSites,
    make_plan: MakePlan,
    tested_yield: float,
    static: float,
    pumping: float,
    kind: str,
    grade: str,
) -> None:
    sites = make_sites(
        READS,
        1,
        tested_yield_m3_h=float(tested_yield),
        static_level_m=float(static),
        pumping_level_m=float(pumping),
        test_kind=kind,
    )
    step = run(sites, make_plan())
    assert step.columns["evidence_grade"][1] == grade
    assert check(step, "grade_below_a") == {1: grade == "A"}


def test_rules_of_status_equipment_and_quality(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(
        READS,
        5,
        **at(*[(-9.5 - 0.1 * row, 33.5) for row in range(5)]),
        status=["working", "dry", "abandoned", "unknown", "working"],
        equipped_with=["none", "grid", "solar", "unknown", "solar"],
        existing_pump_id=["", "", "p", "", "p"],
        existing_array_wp=[np.nan, np.nan, np.nan, np.nan, 900.0],
        arsenic_mg_l=[0.01, 0.011, np.nan, np.nan, 0.0],
        fluoride_mg_l=[1.5, 1.6, np.nan, 0.2, 0.0],
        nitrate_mg_l=[50.0, 51.0, np.nan, np.nan, 0.0],
    )
    step = run(sites, make_plan())
    assert check(step, "status_dry") == {1: True, 2: False, 3: True, 5: True}
    assert check(step, "status_abandoned") == {1: True, 2: True, 3: False, 5: True}
    assert check(step, "already_grid") == {1: True, 2: False, 3: True, 5: True}
    assert check(step, "solar_unspecified") == {1: True, 2: True, 3: False, 5: True}
    # WHO 2022, Guidelines for drinking-water quality: 0.01, 1.5 and 50 mg/L.
    assert check(step, "arsenic_above_limit") == {1: True, 2: False, 5: True}
    assert check(step, "fluoride_above_limit") == {1: True, 2: False, 4: True, 5: True}
    assert check(step, "nitrate_above_limit") == {1: True, 2: False, 5: True}
    assert check(step, "quality_untested") == {1: True, 2: True, 3: False, 4: False, 5: True}
    fluoride = step.checks[step.checks["rule"] == "fluoride_above_limit"].iloc[1]
    assert fluoride.drop("pass").tolist() == [2, "fluoride_above_limit", "", 1.6, "<=", 1.5, "mg/L"]


def test_blank_and_total_rows_have_only_their_own_rule(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = run(make_sites(READS, 3, row_kind=["blank", "total", "site"]), make_plan())
    rows = step.checks.groupby("inventory_row")["rule"].unique()
    assert rows[1].tolist() == ["blank_row"] and rows[2].tolist() == ["total_row"]
    assert check(step, "blank_row") == {1: False, 3: True} and check(step, "total_row") == {2: False, 3: True}
    assert rules(step) == [(3, "position_missing")]
    assert step.columns["position_status"].tolist() == ["missing"] * 3


# --- whatever comes ---------------------------------------------------------------------------------------

COORDINATE = st.one_of(st.just(float("nan")), st.sampled_from([0.0, 33.2, -9.5, -9.50001]), st.floats(-90, 90))


@settings(max_examples=40, deadline=None)
@given(points=st.lists(st.tuples(COORDINATE, COORDINATE, st.sampled_from(["", "a", "b"])), min_size=1, max_size=12))
def test_no_row_is_lost_and_kept_rows_are_kept(
    tmp_path_factory: pytest.TempPathFactory, points: list[tuple[float, float, str]]
) -> None:
    folder = tmp_path_factory.getbasetemp() / "area"
    folder.mkdir(exist_ok=True)
    sites = pd.DataFrame({name: pd.Series(np.nan, index=range(len(points))) for name in READS})
    texts = ["site_id", "site_name", "sub_district", "row_kind", "test_date", "test_kind"]
    for name in [*texts, "status", "equipped_with", "existing_pump_id"]:
        sites[name] = pd.Series("", index=sites.index, dtype="str")
    sites["latitude"], sites["longitude"] = [one[0] for one in points], [one[1] for one in points]
    sites["site_name"] = pd.Series([one[2] for one in points], dtype="str")
    sites["row_kind"] = pd.Series("site", index=sites.index, dtype="str")
    sites.index = pd.RangeIndex(1, len(points) + 1, name="inventory_row")
    step = run(sites, area_plan(folder))
    assert step.columns.index.equals(sites.index)
    kept = step.columns["duplicate_of"].dropna()
    assert step.columns["duplicate_of"].isna().sum() + len(kept) == len(points)
    assert step.columns.loc[kept.astype(int), "duplicate_of"].isna().all()
    counts = step.columns["position_status"].value_counts()
    assert counts.sum() == len(points) and set(counts.index) <= {"ok", "missing", "placeholder", "outside"}


@pytest.mark.slow
def test_100_000_rows_are_screened_in_seconds(make_sites: MakeSites, tmp_path: Path) -> None:
    count = 100_000
    draw = np.random.default_rng(1)
    sites = make_sites(
        READS,
        count,
        latitude=draw.uniform(-10, -9, count).tolist(),
        longitude=draw.uniform(33, 34.5, count).tolist(),
        site_name=[f"village {number % 30_000}" for number in range(count)],
    )
    circle = shapely.Point(33.5, -9.5).buffer(0.5, quad_segs=3000)
    plan = area_plan(tmp_path, gpd.GeoDataFrame({"name": ["Circle"]}, geometry=[circle], crs="EPSG:4326"))
    start = time.process_time()
    run(sites, plan)
    assert time.process_time() - start < 15  # snapshot: 3 s
