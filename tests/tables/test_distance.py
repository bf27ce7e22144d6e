"""The way from the supply base: straight, by a raster of roads, or assumed."""

from __future__ import annotations

import numpy as np
import pytest

from planner.tables import distance, rasters
from planner.tables.rasters import READS as RASTER_READS

BASE = {"supply_base": [0.0, 30.0]}
DEGREE_KM = 110.574  # published: length of the first degree of the WGS 84 meridian (NGA, TR 8350.2)


def test_straight_distance_is_geodesic_and_the_road_is_longer(make_sites, make_plan, keeps_promise):
    sites = make_sites(
        distance.READS,
        3,
        latitude=[1.0, 0.0, float("nan")],
        longitude=[30.0, 30.0, float("nan")],
        position_status=["ok", "outside", "missing"],
    )
    step = distance.run(sites, make_plan(costs=BASE))
    keeps_promise(step, sites, distance.WRITES)
    columns = step.columns
    assert columns.at[1, "distance_km"] == pytest.approx(DEGREE_KM, abs=0.0005)
    assert columns.at[1, "road_km"] == pytest.approx(1.35 * DEGREE_KM, abs=0.001)  # the plan's detour
    assert columns.at[2, "distance_km"] == columns.at[2, "road_km"] == 0.0
    assert columns.loc[3, ["distance_km", "road_km"]].isna().all()
    assert columns["distance_source"].tolist() == ["straight", "straight", ""]


def test_without_a_supply_base_the_plans_distance_holds(make_sites, make_plan):
    columns = distance.run(make_sites(distance.READS, 2, row_kind=["site", "blank"]), make_plan()).columns
    assert columns.loc[1].tolist() == [100.0, 135.0, "assumed"]  # the plan's defaults, 100 km × 1.35
    assert columns["road_km"].isna()[2]
    assert columns.at[2, "distance_source"] == ""


def test_a_road_replaces_straight_line_times_detour(make_sites, make_plan):
    sites = make_sites(
        distance.READS, 3, latitude=[1.0, 1.0, 1.0], longitude=[30.0] * 3, road_raster_km=[190.0, np.nan, 97.6]
    )
    step = distance.run(sites, make_plan(costs=BASE))
    assert step.columns["distance_source"].tolist() == ["road", "straight", "road"]
    # 97.6 km is below the straight line, but within what a cell may be off: 0.9 × 110.574 − 2 = 97.517 (our own rule)
    assert step.columns["road_km"].tolist() == pytest.approx([190.0, 1.35 * DEGREE_KM, 97.6], abs=0.001)
    assert step.findings == []


def test_a_road_much_shorter_than_the_straight_line_is_told_and_not_believed(make_sites, make_plan):
    sites = make_sites(distance.READS, 1, latitude=1.0, longitude=30.0, road_raster_km=0.19, site_id="W1")
    step = distance.run(sites, make_plan(costs=BASE))
    assert step.columns["distance_source"].tolist() == ["straight"]
    (told,) = step.findings
    assert (told.row, told.site_id, told.rule, told.old_value) == (1, "W1", "road_below_straight", "0.19 km")
    assert told.new_value == "149.275 km"
    # without a supply base there is nothing to hold it against
    assert distance.run(sites, make_plan()).columns["distance_source"].tolist() == ["road"]


@pytest.mark.parametrize(("unit", "stored"), [("km", 42.0), ("m", 42000.0)])
def test_the_raster_is_in_km_or_m(make_sites, make_plan, make_raster, unit, stored):
    sites = make_sites(RASTER_READS, 1, latitude=-9.85, longitude=30.15)
    file = make_raster("road.tif", np.full((3, 3), stored))
    columns = rasters.run(sites, make_plan(rasters={"road_distance": {"file": file, "unit": unit}})).columns
    assert columns.loc[1, ["road_raster_km", "road_raster_status"]].tolist() == [42.0, "valid"]
