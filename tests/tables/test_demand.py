"""Demand: hand calculations. Every expected number is worked in the comment beside it."""

from __future__ import annotations

import csv
import math
from importlib.resources import files

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from planner.crops import crops
from planner.glossary import monthly
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.tables import demand, irrigation

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


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(people=st.floats(1, 1e5), more=st.floats(0, 1e5), losses=st.floats(0, 0.8))
def test_more_people_never_need_less(make_sites, make_plan, people, more, losses):
    sites = make_sites(demand.READS, 2, people=[people, people + more])
    columns = demand.run(sites, make_plan(demand={"losses": losses})).columns
    assert columns.at[2, "demand_01"] >= columns.at[1, "demand_01"]
    assert columns["people_share"].tolist() == [1.0, 1.0]


# Irrigation by month ------------------------------------------------------------------------------------------

# A year without seasons on the equator at 500 m: 25 °C ± 5 K, 2 m/s, 6 kWh/m2; ET0 differs from month to month
# only by the sun outside the atmosphere, which the clear sky hangs on.
SAME = {
    **dict.fromkeys(monthly("ghi"), 6.0),
    **dict.fromkeys(monthly("air_temperature"), 25.0),
    **dict.fromkeys(monthly("temperature_range"), 10.0),
    **dict.fromkeys(monthly("wind"), 2.0),
    "latitude": 0.0,
    "elevation_m": 500.0,
}
# Nothing but the bare irrigation: no growth, no losses, all that is brought is taken.
BARE = {"growth": 0.0, "losses": 0.0, "irrigation_efficiency": 1.0}
IRRIGATION = monthly("irrigation_m3_day")


def rained(**months: float) -> dict[str, float]:
    return dict.fromkeys(monthly("rain"), 0.0) | months


def told(step):
    return [(one.row, one.column, one.rule, one.severity) for one in step.findings]


def by_hand_mm_day(lowest, highest, wind, solar, outside, elevation):
    """FAO-56 equation 6 written out: Tdew = Tmin, mean temperature the middle, no soil heat."""
    mean = (lowest + highest) / 2

    def e0(celsius):
        return 0.6108 * math.exp(17.27 * celsius / (celsius + 237.3))

    vapour, gamma = e0(lowest), 0.665e-3 * 101.3 * ((293 - 0.0065 * elevation) / 293) ** 5.26
    slope = 4098 * e0(mean) / (mean + 237.3) ** 2
    clear = min(solar / ((0.75 + 2e-5 * elevation) * outside), 1)
    fourth = ((highest + 273.16) ** 4 + (lowest + 273.16) ** 4) / 2
    longwave = 4.903e-9 * fourth * (0.34 - 0.14 * vapour**0.5) * (1.35 * clear - 0.35)
    air = gamma * 900 / (mean + 273) * wind * ((e0(highest) + e0(lowest)) / 2 - vapour)
    return (0.408 * slope * (0.77 * solar - longwave) + air) / (slope + gamma * (1 + 0.34 * wind))


def test_a_site_by_hand(make_sites, make_plan, keeps_promise):
    """Tomatoes of 30 + 40 + 40 + 25 days planted in March, one crop: every number worked beside it."""
    rain = rained(rain_05=60.0, rain_06=100.0)
    sites = make_sites(demand.READS, irrigated_ha=2.0, crop="Tomatoes ", people=250, **SAME, **rain)
    season = [1.0, 2.0] * 6
    plan = make_plan(
        demand={"crops_a_year": 1, "planting_month": 3, "leaching": 0.1, "season": season},
        rasters={"rain": {"file": "r.tif", "unit": "mm/month"}},
    )
    step = demand.run(sites, plan)
    keeps_promise(step, sites, demand.WRITES)
    row = step.columns.loc[1]
    for month, day in enumerate((17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344), start=1):
        outside = 3.6 * float(daily_extraterrestrial_kwh_m2(0.0, float(day)))
        et0 = by_hand_mm_day(20, 30, 2.0 * 4.87 / math.log(67.8 * 2 - 5.42), 21.6, outside, 500)
        assert row[f"et0_mm_day_{month:02d}"] == pytest.approx(et0, rel=1e-6)
    # closed form; FAO-56 table 12: Kc 0.6, 1.15, 0.80; table 11 (arid region, January): 30, 40, 40, 25 days.
    # March: day 0 to 31, April: 31 to 61, May: 61 to 92, June: 92 to 122, July: 122 to 135
    april = 0.6 + 0.55 * (16 / 40)  # days 31 to 61 of a straight line from 30 to 70, mean at 46
    may = (
        9 * (0.6 + 0.55 * 35.5 / 40) + 22 * 1.15
    ) / 31  # to day 70 on the line, mean at 65.5, then in the middle stage
    june = (18 * 1.15 + 12 * (1.15 - 0.35 * 6 / 25)) / 30  # to day 110 in the middle stage, then falling
    july = 13 * (1.15 - 0.35 * 18.5 / 25) / 31  # days 122 to 135
    march = (30 * 0.6 + 1 * (0.6 + 0.55 * 0.5 / 40)) / 31
    kc = [0, 0, march, april, may, june, july, 0, 0, 0, 0, 0]
    served = [0, 0, 0, 0, 26 / 31, 55 / 30, 0, 0, 0, 0, 0, 0]  # published: 60 → 26, 100 → 55 mm a month
    for month in range(12):
        net = kc[month] * row[f"et0_mm_day_{month + 1:02d}"] - served[month]
        gross = 2.0 * 10 * net / (0.60 * 0.9)
        assert row[IRRIGATION[month]] == pytest.approx(gross, rel=1e-9, abs=1e-9)
        base = 250 * 0.020 * season[month] + gross  # the season is not on irrigation
        assert row[f"demand_{month + 1:02d}"] == pytest.approx(base * 1.02**10 / 0.9)
        assert row[f"people_share_{month + 1:02d}"] == pytest.approx(5 * season[month] / base)
    assert row["people_share"] == min(row[monthly("people_share")])
    assert (row["crop_used"], row["planting_month_used"], row["demand_source"]) == ("tomato", 3.0, "people")
    # the month of the largest demand decides: there people are 0.8, irrigation 0.25
    largest = max(range(1, 13), key=lambda month: row[f"demand_{month:02d}"])
    share = row[f"people_share_{largest:02d}"]
    assert row["storage_share"] == pytest.approx(0.8 * share + 0.25 * (1 - share))
    assert told(step) == []


def test_the_constant_of_the_plan_overrides(make_sites, make_plan):
    sites = make_sites(demand.READS, irrigated_ha=2.0, crop="qat", livestock_tlu=100, **SAME)
    season = [0.5] * 6 + [1.0] * 6
    step = demand.run(sites, make_plan(demand={**BARE, "irrigation_m3_ha_day": 10.0, "season": season}))
    row = step.columns.loc[1]
    assert row[monthly("demand")].tolist() == pytest.approx([23 * factor for factor in season])  # hand: 3 + 20
    assert row["storage_share"] == pytest.approx((3 * 0.3 + 20 * 0.25) / 23)  # hand
    assert (row["crop_used"], step.findings) == ("", [])


def test_stated_demand_leaves_irrigation_out(make_sites, make_plan):
    sites = make_sites(demand.READS, irrigated_ha=2.0, demand_m3_day=9.0, **SAME)
    step = demand.run(sites, make_plan(demand=FLAT))
    row = step.columns.loc[1]
    assert row[monthly("demand")].tolist() == pytest.approx([10.0] * 12)  # hand: 9 ÷ 0.9
    assert row[IRRIGATION].isna().all() and row["storage_share"] == 0.8 and step.findings == []


def test_rain_beyond_the_need_leaves_nothing_to_ask(make_sites, make_plan, keeps_promise):
    wet = dict.fromkeys(monthly("rain"), 500.0)  # 375 mm serve, a crop takes less than 200
    sites = make_sites(demand.READS, 2, irrigated_ha=2.0, people=[float("nan"), 100], **SAME, **wet)
    step = demand.run(sites, make_plan(demand=BARE, rasters={"rain": {"file": "r.tif", "unit": "mm/month"}}))
    keeps_promise(step, sites, demand.WRITES)
    assert (step.columns[IRRIGATION] == 0.0).all(axis=None)
    assert step.columns["demand_source"].tolist() == ["", "people"]  # nothing to design for is not known
    assert step.checks["pass"].tolist() == [False, True]
    assert step.columns.loc[2, "people_share"] == 1.0


def test_without_a_rain_raster_no_rain_counts_and_this_is_told_once(make_sites, make_plan):
    sites = make_sites(demand.READS, 2, irrigated_ha=1.0, **SAME)
    step = demand.run(sites, make_plan(demand=BARE))
    assert told(step) == [(0, "rain", "no_rain", "warning")]
    assert told(demand.run(make_sites(demand.READS, people=9, **SAME), make_plan())) == []
    dry = demand.run(
        make_sites(demand.READS, 2, irrigated_ha=1.0, **SAME, **rained()),
        make_plan(demand=BARE, rasters={"rain": {"file": "r.tif", "unit": "mm/month"}}),
    )
    pd.testing.assert_frame_equal(dry.columns, step.columns)


def test_an_unknown_crop_is_told_and_takes_the_plans(make_sites, make_plan):
    crops = ["qat", "", "  ONION ", "Maïs"]
    sites = make_sites(demand.READS, 4, irrigated_ha=[1.0, 1.0, 1.0, 1.0], crop=crops, **SAME)
    step = demand.run(sites, make_plan(demand={"crop": "Cabbages"}))
    assert step.columns["crop_used"].tolist() == ["cabbage", "cabbage", "onion", "maize"]
    unknown = [one for one in step.findings if one.rule == "unknown_crop"]
    assert [(one.row, one.old_value, one.new_value) for one in unknown] == [(1, "qat", "cabbage")]


def test_a_crop_without_irrigated_area_is_not_looked_at(make_sites, make_plan):
    step = demand.run(make_sites(demand.READS, people=9, crop="qat", **SAME), make_plan())
    assert (step.findings, step.columns.at[1, "crop_used"]) == ([], "")
    assert step.columns.loc[1, IRRIGATION].isna().all()


def test_an_unknown_crop_of_the_plan_is_refused_with_near_names(make_plan):
    with pytest.raises(ValidationError, match="one of: tomato"):
        make_plan(demand={"crop": "tomatto"})


def test_without_sun_irrigation_is_unknown(make_sites, make_plan, keeps_promise):
    sites = make_sites(demand.READS, 2, irrigated_ha=[1.0, float("nan")], people=50)
    step = demand.run(sites, make_plan(demand=FLAT))
    keeps_promise(step, sites, demand.WRITES)
    assert step.checks["pass"].tolist() == [False, True]
    assert step.columns["demand_source"].tolist() == ["", "people"]
    assert step.columns["storage_share"].tolist() == [0.8, 0.8]


def test_seasons_run_over_new_year_and_change_sides_with_the_hemisphere(make_sites, make_plan):
    """A dry half year from November to April, and its mirror: the garden is planted so that it stands in it."""
    dry_north = [6, 4, 2, 1, 60, 120, 200, 220, 150, 60, 3, 2]
    dry_south = dry_north[6:] + dry_north[:6]
    place = {"latitude": [13.0, -13.0]} | {
        name: [a, b] for name, a, b in zip(monthly("rain"), dry_north, dry_south, strict=True)
    }
    sites = make_sites(demand.READS, 2, irrigated_ha=1.0, **(SAME | place))
    plan = {"rasters": {"rain": {"file": "r.tif", "unit": "mm/month"}}}
    free = demand.run(sites, make_plan(demand={**BARE, "crops_a_year": 1, "crop": "tomato"}, **plan)).columns
    month = free["planting_month_used"]
    assert month[1] in {11, 12, 1} and (month[2] - month[1]) % 12 in {5, 6, 7}
    fixed = demand.run(
        sites, make_plan(demand={**BARE, "crops_a_year": 1, "crop": "tomato", "planting_month": 11}, **plan)
    ).columns
    # closed form: 135 days from 1 November end on 15 March
    assert ((fixed.loc[1, IRRIGATION] > 0).to_numpy() == [m in {11, 12, 1, 2, 3} for m in range(1, 13)]).all()
    assert (free[IRRIGATION].sum(axis=1) >= fixed[IRRIGATION].sum(axis=1)).all()


@pytest.mark.parametrize(
    ("crop", "asked", "planting", "fit", "under"),
    [
        ("small vegetables", 1, 1, 1, 95),  # closed form: 25 + 35 + 25 + 10 days
        ("small vegetables", 3, 1, 3, 285),  # from 1 January, 1 May (6 April gone) and … 1 September
        ("small vegetables", 4, 11, 3, 285),  # a fourth would be planted on the first's day
        ("banana", 2, 7, 1, 365),
        ("sugar cane", 3, 2, 1, 320),
    ],
)
def test_crops_stand_behind_one_another(crop, asked, planting, fit, under):
    kc, share, found = irrigation.month_shares(crops()[crop], asked, planting)
    assert found == fit
    assert share @ irrigation.CALENDAR == pytest.approx(under)
    assert (kc >= 0).all() and (kc <= 1.3).all() and ((share >= 0) & (share <= 1)).all()


def test_more_crops_than_fit_are_told_when_the_plan_asks_for_them(make_sites, make_plan):
    sites = make_sites(demand.READS, irrigated_ha=1.0, crop="banana", **SAME, **rained())
    rasters = {"rain": {"file": "r.tif", "unit": "mm/month"}}
    assert demand.run(sites, make_plan(rasters=rasters)).findings == []
    step = demand.run(sites, make_plan(rasters=rasters, demand={"crops_a_year": 2}))
    assert told(step) == [(0, "crop", "crops_do_not_fit", "info")]


def test_flooded_rice_loses_water_to_the_ground(make_sites, make_plan):
    sites = make_sites(demand.READS, irrigated_ha=1.0, crop="rice", **SAME)
    row = demand.run(sites, make_plan(demand={**BARE, "crops_a_year": 1, "planting_month": 1})).columns.loc[1]
    # hand: January in the initial stage, Kc 1.05 but for its 31st day; 6 mm a day to the ground
    assert row[IRRIGATION[0]] == pytest.approx(10 * (1.05 * row["et0_mm_day_01"] + 6), rel=1e-3)


def test_dry_climates_and_the_plan_lower_the_dew_point(make_sites, make_plan):
    sites = make_sites(demand.READS, 2, climate_zone=["Aw", "BSh"], **SAME)
    wet, dry = demand.run(sites, make_plan()).columns["et0_mm_day_01"]
    assert wet < dry < 1.1 * wet
    of_plan = demand.run(sites, make_plan(demand={"dew_point_below_minimum_k": 2.0})).columns["et0_mm_day_01"]
    assert of_plan.tolist() == [dry, dry]


def test_wind_is_brought_to_two_metres(make_sites, make_plan):
    sites = make_sites(demand.READS, **SAME)
    low, high = (
        demand.run(sites, make_plan(demand={"wind_height_m": metres})).columns.at[1, "et0_mm_day_01"]
        for metres in (2.0, 10.0)
    )
    of_file = demand.run(sites, make_plan(weather={"file": "a.epw"})).columns.at[1, "et0_mm_day_01"]
    assert high < low and of_file == high


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    area=st.floats(0.01, 50),
    rain=st.lists(st.floats(0, 400), min_size=12, max_size=12),
    more=st.floats(0, 200),
    planted=st.integers(1, 12),
    latitude=st.floats(-60, 60),
    crop=st.sampled_from(list(crops())),
)
def test_irrigation_is_never_negative_grows_with_area_and_falls_with_rain(
    make_sites, make_plan, area, rain, more, planted, latitude, crop
):
    place = (
        SAME | {"latitude": latitude} | {name: [r, r + more, r] for name, r in zip(monthly("rain"), rain, strict=True)}
    )
    sites = make_sites(demand.READS, 3, irrigated_ha=[area, area, 2 * area], crop=crop, people=1, **place)
    plan = make_plan(
        demand={"planting_month": planted, "crops_a_year": 3}, rasters={"rain": {"file": "r.tif", "unit": "mm/month"}}
    )
    columns = demand.run(sites, plan).columns
    usual, wetter, double = columns[IRRIGATION].to_numpy()
    assert (usual >= 0).all() and (wetter <= usual).all()
    assert double == pytest.approx(2 * usual)
    assert (columns.loc[2, monthly("demand")].to_numpy() <= columns.loc[1, monthly("demand")].to_numpy()).all()
    shares = columns[monthly("people_share")]
    assert ((shares > 0) & (shares <= 1)).all(axis=None)
    assert ((columns["storage_share"] >= 0.25) & (columns["storage_share"] <= 0.8)).all()


def test_every_crop_of_the_table_has_a_source():
    with files("planner").joinpath("data", "crops.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    assert {row["tag"] for row in rows} == {"copy", "from memory"}
    assert all(row["stages_of"] for row in rows)
    assert list(crops()) == [row["crop"] for row in rows]
