"""Demand: hand calculations. Every expected number is worked in the comment beside it."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.glossary import monthly
from planner.tables import demand

FLAT = {"norm_l_person_day": 20.0, "growth": 0.02, "design_year": 10, "losses": 0.10}


def test_people_livestock_and_irrigation_add_up(make_sites, make_plan, keeps_promise):
    sites = make_sites(demand.READS, people=500, livestock_tlu=100, irrigated_ha=0.1)
    plan = make_plan(demand={**FLAT, "livestock_l_tlu_day": 30.0, "irrigation_m3_ha_day": 50.0})
    step = demand.run(sites, plan)
    keeps_promise(step, sites, demand.WRITES)
    row = step.columns.loc[1]
    # hand: base 500×0.020 + 100×0.030 + 0.1×50 = 10 + 3 + 5 = 18 m3/d; 1.02^10 = 1.218994; ÷ 0.9
    assert row["demand_01"] == pytest.approx(18 * 1.2189944 / 0.9, rel=1e-6)
    assert row["people_share"] == pytest.approx(10 / 18)  # hand
    assert (row["demand_source"], row["people_source"], row["people_counted"]) == ("people", "inventory", 500)
    assert row["demand_growth"] == 0.02
    assert step.checks["pass"].all()


def test_growth_is_geometric(make_sites, make_plan):
    # worked: 1000 people at 2.5 %, 15 years → 1448 people, closed form 1000 × 1.025^15
    plan = make_plan(demand={"growth": 0.025, "design_year": 15, "losses": 0.0, "norm_l_person_day": 1000.0})
    step = demand.run(make_sites(demand.READS, people=1000), plan)
    assert step.columns.at[1, "demand_06"] == pytest.approx(1448, abs=0.5)


def test_stated_demand_overrides_and_does_not_grow(make_sites, make_plan):
    step = demand.run(make_sites(demand.READS, demand_m3_day=9, people=5000), make_plan(demand=FLAT))
    row = step.columns.loc[1]
    assert row["demand_01"] == pytest.approx(10)  # hand: 9 ÷ 0.9, no growth
    assert (row["demand_source"], row["demand_growth"], row["people_share"]) == ("stated", 0.0, 1.0)
    assert row["people_counted"] == 5000


def test_season_multiplies_month_by_month(make_sites, make_plan):
    season = [0.7, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.3, 1.2, 1.0, 0.8]
    step = demand.run(make_sites(demand.READS, demand_m3_day=9), make_plan(demand={**FLAT, "season": season}))
    assert step.columns.loc[1, monthly("demand")].tolist() == pytest.approx([10 * s for s in season])  # hand


def test_people_from_raster_are_told(make_sites, make_plan):
    sites = make_sites(
        demand.READS,
        4,
        people=[float("nan"), float("nan"), 40, 0],
        people_nearest=[250, 0, 900, 900],
        livestock_tlu=[float("nan")] * 3 + [10],
        site_id=["001", "002", "003", "004"],
    )
    step = demand.run(sites, make_plan(demand=FLAT))
    assert step.columns["people_source"].tolist() == ["raster", "", "inventory", "inventory"]
    assert step.columns["demand_source"].tolist() == ["people", "", "people", "other"]
    assert [(f.row, f.site_id, f.rule, f.new_value) for f in step.findings] == [(1, "001", "people_from_raster", "250")]
    assert step.columns.at[4, "people_share"] == 0.0  # livestock only
    assert step.checks.set_index("inventory_row")["pass"].tolist() == [True, False, True, True]


def test_all_missing_is_unknown_and_other_rows_stay_empty(make_sites, make_plan, keeps_promise):
    sites = make_sites(demand.READS, 3, row_kind=["site", "blank", "total"], people=[float("nan"), float("nan"), 1e5])
    step = demand.run(sites, make_plan())
    keeps_promise(step, sites, demand.WRITES)
    assert step.columns[monthly("demand")].isna().all(axis=None)
    assert step.columns["demand_source"].tolist() == ["", "", ""]
    assert step.columns["people_counted"].isna().all()
    assert step.checks[["inventory_row", "rule", "pass"]].to_numpy().tolist() == [[1, "demand_unknown", False]]


def test_distance_is_geodesic(make_sites, make_plan):
    sites = make_sites(
        demand.READS,
        3,
        latitude=[1.0, 0.0, float("nan")],
        longitude=[30.0, 30.0, float("nan")],
        position_status=["ok", "outside", "missing"],
    )
    distance = demand.run(sites, make_plan(costs={"supply_base": [0.0, 30.0]})).columns["distance_km"]
    # published: length of the first degree of the WGS 84 meridian, 110.574 km (NGA, TR 8350.2)
    assert distance[1] == pytest.approx(110.574, abs=0.0005)
    assert distance[2] == 0.0
    assert distance.isna()[3]
    assert demand.run(sites, make_plan()).columns["distance_km"].tolist() == [100.0] * 3  # the plan's default


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(people=st.floats(1, 1e5), more=st.floats(0, 1e5), losses=st.floats(0, 0.8))
def test_more_people_never_need_less(make_sites, make_plan, people, more, losses):
    sites = make_sites(demand.READS, 2, people=[people, people + more])
    columns = demand.run(sites, make_plan(demand={"losses": losses})).columns
    assert columns.at[2, "demand_01"] >= columns.at[1, "demand_01"]
    assert columns["people_share"].tolist() == [1.0, 1.0]
