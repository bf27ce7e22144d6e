"""Wells: hand calculations (beside the numbers), closed forms, and the superposition of pumping days."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.glossary import monthly
from planner.physics import aquifer
from planner.tables import wells

NONE = float("nan")
# A complete grade A row: 2 m3/h for 8 h from a 200 mm casing, 6 m of drawdown.
TESTED = {
    "casing_mm": 200.0,
    "depth_m": 60.0,
    "static_level_m": 10.0,
    "pumping_level_m": 16.0,
    "tested_yield_m3_h": 2.0,
    "test_kind": "constant_rate",
    "test_hours": 8.0,
    "test_year": 2020.0,
    "test_month": 3.0,
}
# Quartile of a normal law over its P90, from memory of any table: 0.6745 / 1.2816.
QUARTILE = 0.6745 / 1.2816


def test_law_gives_back_the_superposition_of_days(make_sites, make_plan):
    """T 10 m2/d, S 1e-3, radius 0.1 m, 2 m3/h, 8 h a day: 5.167, 5.641, 5.961 m after days 1, 30, 365.

    The three drawdowns are computed independently, by superposing Theis for every start and stop.
    """
    sites = make_sites(wells.READS, **{**TESTED, "pumping_level_m": 15.167})
    for days, expected_m in [(30, 5.641), (365, 5.961)]:
        plan = make_plan(well={"well_loss_share": 0.0, "storativity": 1e-3, "days_since_recovery": days})
        row = wells.run(sites, plan).columns.loc[1]
        assert row["transmissivity_used_m2_d"] == pytest.approx(10.0, rel=2e-3)
        assert row["drawdown_b_d_m2"] * 48 == pytest.approx(5.167, abs=0.001)
        assert row["drawdown_b_d_m2"] * 48 + row["memory_d_m2"] * 16 == pytest.approx(expected_m, abs=0.01)


def test_law_gives_back_its_own_test(make_sites, make_plan):
    row = wells.run(make_sites(wells.READS, **TESTED), make_plan(well={"pumping_hours_day": 8.0})).columns.loc[1]
    # hand: C = 0.2 × 6 ÷ 48² = 5.2083e-4 d2/m5; B = 0.8 × 6 ÷ 48 = 0.1 d/m2 as the test lasted a pumping day
    assert row["drawdown_c_d2_m5"] == pytest.approx(0.2 * 6 / 48**2)
    assert row["drawdown_b_d_m2"] == pytest.approx(0.1)
    # hand: grade A factor 1.3, 75th percentile 1.3^0.5263 = 1.1481
    assert row["drawdown_b_rule_d_m2"] == pytest.approx(0.11481, rel=1e-4)
    assert row["transmissivity_source"] == "test"


def test_longer_test_is_corrected_to_the_day(make_sites, make_plan):
    row = wells.run(make_sites(wells.READS, **{**TESTED, "test_hours": 24.0}), make_plan()).columns.loc[1]
    # closed form: B_test + ln(8/24) ÷ 4πT
    expected = 0.1 + math.log(8 / 24) / (4 * math.pi * row["transmissivity_used_m2_d"])
    assert row["drawdown_b_d_m2"] == pytest.approx(expected)
    assert row["test_clock_h"] == 24.0


def test_well_loss_of_the_inventory(make_sites, make_plan):
    sites = make_sites(wells.READS, 3, **{**TESTED, "well_loss_d2_m5": [1e-3, 1e-2, 1e-3]})
    sites.loc[3, "pumping_level_m"] = NONE
    step = wells.run(sites, make_plan())
    c = step.columns["drawdown_c_d2_m5"]
    # hand: C Q² = 1e-3 × 48² = 2.304 m of 6 m, B = 3.696 ÷ 48; 1e-2 would take 23 m of 6 m: the share instead
    assert c.tolist() == pytest.approx([1e-3, 0.2 * 6 / 48**2, 1e-3])
    assert step.columns.at[1, "drawdown_b_d_m2"] == pytest.approx(3.696 / 48)
    assert [(f.row, f.column, f.rule, f.severity) for f in step.findings] == [
        (2, "well_loss_d2_m5", "well_loss_exceeds_drawdown", "warning")
    ]


def test_transmissivity_of_the_inventory(make_sites, make_plan):
    sites = make_sites(wells.READS, 3, **{**TESTED, "transmissivity_m2_d": [20.0, 20.0, 2000.0]})
    sites.loc[2, "pumping_level_m"] = NONE
    step = wells.run(sites, make_plan())
    columns = step.columns
    assert columns["transmissivity_used_m2_d"].tolist() == [20.0, 20.0, 2000.0]
    assert set(columns["transmissivity_source"]) == {"inventory"}
    assert columns.at[1, "drawdown_b_d_m2"] == pytest.approx(0.1)  # as tested
    # closed form, Theis: W(0.1² × 1e-3 ÷ (4 × 20 × 8/24)) ÷ (4π × 20); 0.2 of all drawdown is well loss
    theis = float(aquifer.well_function(0.1**2 * 1e-3 / (4 * 20 / 3))) / (80 * math.pi)
    assert columns.at[2, "drawdown_b_d_m2"] == pytest.approx(theis)
    well_loss_m = columns.at[2, "drawdown_c_d2_m5"] * 48**2
    assert well_loss_m / (well_loss_m + theis * 48) == pytest.approx(0.2)
    # the test alone says about 10 m2/d
    assert [(f.row, f.rule) for f in step.findings] == [(3, "transmissivity_contradicts_test")]
    assert _passed(step, "drawdown_prior") == [True] * 3


def test_unconfined_aquifer_thins(make_sites, make_plan):
    given = {**TESTED, "aquifer": "unconfined", "static_level_m": 10.0, "depth_m": 50.0}
    sites = make_sites(wells.READS, 3, **{**given, "pumping_level_m": [22.0, 13.0, 31.0]})
    step = wells.run(sites, make_plan(well={"well_loss_share": 0.0, "specific_yield": 0.1}))
    # hand: 12 m of 40 m is above a tenth: s' = 12 − 144/80 = 10.2 m; 3 m of 40 m is not
    for row, equal_m in [(1, 10.2), (2, 3.0)]:
        t = step.columns.at[row, "transmissivity_used_m2_d"]
        assert float(aquifer.theis_drawdown_m(48, t, 0.1, 0.1, 8 / 24)) == pytest.approx(equal_m)
    assert step.columns.at[1, "drawdown_b_d_m2"] == pytest.approx(12 / 48)  # the drawdown itself is as measured
    assert set(step.columns["storativity_used"]) == {0.1}
    beyond = step.checks[step.checks["rule"] == "drawdown_beyond_half"]
    assert beyond["value"].tolist() == pytest.approx([12 / 40, 3 / 40, 21 / 40])
    assert beyond["pass"].tolist() == [True, True, False]


def test_wide_well_on_its_own_storage_is_told(make_sites, make_plan, keeps_promise):
    given = {**TESTED, "aquifer": "unconfined", "casing_mm": 2000.0, "tested_yield_m3_h": 0.2}
    sites = make_sites(wells.READS, **given)
    step = wells.run(sites, make_plan())
    keeps_promise(step, sites, wells.WRITES)
    assert step.columns.at[1, "transmissivity_used_m2_d"] > 0
    assert [f.rule for f in step.findings] == ["test_within_well_storage"]


@pytest.mark.parametrize(("tests", "source"), [(10, "inventory_median"), (9, "assumed")])
def test_specific_capacity_of_the_inventory(make_sites, make_plan, tests, source):
    sites = make_sites(wells.READS, tests + 3, **TESTED)
    sites.loc[tests + 1, "pumping_level_m"] = NONE
    # neither a repeat visit nor a contradictory row is evidence
    sites.loc[tests + 2, ["pumping_level_m", "duplicate_of"]] = [11.0, 1.0]
    sites.loc[tests + 3, "pumping_level_m"] = 11.0
    sites.loc[tests + 3, "level_conflict"] = True
    step = wells.run(sites, make_plan(well={"test_hours_unknown": 8.0}))
    row = step.columns.loc[tests + 1]
    assert row["transmissivity_source"] == source
    # hand: of ten equal tests the same aquifer loss, 0.8 × 6 ÷ 48; else 0.8 ÷ (24 × 0.33)
    assert row["drawdown_b_d_m2"] == pytest.approx(0.1 if source == "inventory_median" else 0.8 / (24 * 0.33))
    assert not _passed(step, "drawdown_prior")[tests]


def test_without_a_flow_all_loss_is_the_aquifers(make_sites, make_plan):
    sites = make_sites(wells.READS, 2, tested_yield_m3_h=[NONE, 0.0], static_level_m=10.0)
    columns = wells.run(sites, make_plan(well={"test_hours_unknown": 8.0})).columns
    assert columns["drawdown_b_d_m2"].tolist() == pytest.approx([1 / (24 * 0.33)] * 2)  # hand
    assert columns["drawdown_c_d2_m5"].tolist() == [0.0, 0.0]


def test_rest_level_is_dated(make_sites, make_plan):
    sites = make_sites(
        wells.READS,
        4,
        evidence_grade=["A", "C", "D", "A"],
        static_level_m=[10.0, 10.0, NONE, 10.0],
        test_month=[9.0, NONE, NONE, 6.0],
        prior_level_m=20.0,
    )
    plan = make_plan(
        well={"season_swing_m": 4.0, "highest_level_month": 3, "decline_m_year": 0.1},
        programme={"horizon_years": 20},
    )
    columns = wells.run(sites, plan).columns
    # hand: highest in March. Read in September, at the lowest: 10 − 4; undated: as read; prior, a mean:
    # 20 − 4/2; read in June, a quarter of the year on: 10 − 2
    assert columns["rest_level_m"].tolist() == pytest.approx([6, 10, 18, 8])
    assert columns["rest_level_source"].tolist() == ["inventory", "inventory", "prior", "inventory"]
    assert columns["rest_level_half_width_m"].tolist() == [1, 3, 10, 1]
    # hand: March + 0 + 0.1 × 10 years; September + 4 + 1
    assert columns["rest_level_03"].tolist() == pytest.approx([7, 11, 19, 9])
    assert columns["rest_level_09"].tolist() == pytest.approx([11, 15, 23, 13])
    # hand: deepest month, 0.5263 half-widths, 2 m at the end
    assert columns["rest_level_rule_m"].tolist() == pytest.approx(
        [6 + 4 + 2 + QUARTILE, 10 + 6 + 3 * QUARTILE, 18 + 6 + 10 * QUARTILE, 8 + 6 + QUARTILE], abs=1e-3
    )
    # closed form: the mean of the season is half the swing, so a prior stays the mean of the year
    assert columns.loc[3, monthly("rest_level")].mean() - 1 == pytest.approx(20)


def test_highest_level_follows_the_rains(make_sites, make_plan):
    south = [5.0] * 12
    south[1] = 4.0  # a dull February near the equator
    sites = make_sites(
        wells.READS,
        4,
        static_level_m=10.0,
        solar_latitude=[-12.0, -12.0, 12.0, -40.0],
        latitude=-12.0,
        **{
            name: [value, NONE, NONE, winter]
            for name, value, winter in zip(
                monthly("ghi"),
                south,
                [7.0, 6.0, 5.0, 3.5, 2.4, 1.9, 2.1, 2.9, 4.0, 5.3, 3.0, 7.0],
                strict=True,
            )
        },
    )
    columns = wells.run(sites, make_plan()).columns
    highest = columns[monthly("rest_level")].to_numpy().argmin(axis=1) + 1
    # month after: March; none given: February south, August north; 40° south November is dull, June only low
    assert highest.tolist() == [3, 2, 8, 12]


@pytest.mark.parametrize(
    ("kind", "hours", "share"),
    [
        ("constant_rate", 24.0, 0.70),
        ("constant_rate", 23.9, 0.60),
        ("constant_rate", 6.0, 0.60),
        ("constant_rate", 5.0, 0.50),
        ("constant_rate", NONE, 0.50),
        ("step", 4.0, 0.60),
        ("airlift", 24.0, 0.40),
        ("bailer", NONE, 0.40),
        ("unknown", 24.0, 0.40),
        ("", 24.0, 0.40),
    ],
)
def test_share_of_the_tested_yield(make_sites, make_plan, kind, hours, share):
    given = {**TESTED, "test_kind": kind, "test_hours": hours, "test_year": [2016.0, 2015.0, NONE]}
    columns = wells.run(make_sites(wells.READS, 3, **given), make_plan(programme={"price_year": 2026})).columns
    assert columns["tested_share"].tolist() == pytest.approx([share, 0.9 * share, 0.9 * share])  # the plan's defaults


def test_yield_and_its_limits(make_sites, make_plan):
    sites = make_sites(
        wells.READS,
        4,
        evidence_grade=["A", "B", "D", "D"],
        tested_yield_m3_h=[2.0, 2.0, NONE, NONE],
        prior_yield_m3_h=[9.0, 9.0, 2.0, NONE],
        test_kind=["step", "airlift", "", ""],
        test_year=2026.0,
    )
    columns = wells.run(sites, make_plan()).columns
    assert columns["yield_source"].tolist() == ["inventory", "inventory", "prior", ""]
    # hand: share × 2 ÷ factor^0.5263: 0.6 × 2 ÷ 1.0763; 0.4 × 2 ÷ 1.2379; 0.4 × 2 ÷ 1.7828
    assert columns["share_rate_m3_h"].tolist()[:3] == pytest.approx([1.1149, 0.6463, 0.4487], abs=1e-4)
    assert columns["safe_volume_m3_day"].tolist()[:3] == pytest.approx([11.149, 6.463, 4.487], abs=1e-3)
    assert columns.loc[4, ["tested_share", "share_rate_m3_h", "safe_volume_m3_day"]].isna().all()


def test_zero_yield_is_not_replaced_by_a_prior(make_sites, make_plan):
    sites = make_sites(wells.READS, tested_yield_m3_h=0.0, prior_yield_m3_h=5.0)
    row = wells.run(sites, make_plan()).columns.loc[1]
    assert (row["yield_used_m3_h"], row["yield_source"], row["share_rate_m3_h"]) == (0.0, "inventory", 0.0)


def test_partial_tables_of_the_plan_keep_the_other_defaults(make_sites, make_plan):
    plan = make_plan(well={"tested_share": {"step": 0.55}}, uncertainty={"yield_factor": {"D": 4.0}})
    columns = wells.run(make_sites(wells.READS, 2, **{**TESTED, "test_kind": ["step", "airlift"]}), plan).columns
    assert columns["tested_share"].tolist() == [0.55, 0.40]
    assert columns["share_rate_m3_h"].notna().all()


def test_depth_and_level_limit(make_sites, make_plan):
    sites = make_sites(
        wells.READS,
        7,
        evidence_grade="A",
        static_level_m=[10.0, 10.0, 10.0, 10.0, 10.0, NONE, 30.0],
        depth_m=[60.0, 60.0, 60.0, NONE, NONE, 60.0, 1.0],
        screen_top_m=[NONE, 40.0, 40.0, NONE, NONE, NONE, NONE],
        main_strike_m=[NONE, NONE, 20.0, NONE, NONE, NONE, NONE],
        pumping_level_m=[NONE, NONE, NONE, 25.0, NONE, NONE, NONE],
    )
    plan = make_plan(well={"season_swing_m": 0.0}, uncertainty={"rest_level_m": {"A": 0.0}})
    columns = wells.run(sites, plan).columns
    # hand: bottom − 2; screen − 1; same; tested level + 3; rest + 20 − 2; bottom − 2; nothing left of 1 m
    assert columns["deepest_intake_m"].tolist() == [58, 39, 39, 28, 28, 58, 0]
    assert columns["depth_source"].tolist() == ["inventory"] * 3 + ["test", "assumed"] + ["inventory"] * 2
    assert columns["depth_used_m"].tolist() == [60, 60, 60, 30, 30, 60, 1]
    # hand: rest + ⅔ (intake − 2 − rest): 10 + ⅔ 46; 10 + ⅔ 27; strike; 10 + ⅔ 16 twice; no rest level; 0 − 2
    expected = [10 + 46 * 2 / 3, 28, 20, 10 + 16 * 2 / 3, 10 + 16 * 2 / 3, NONE, -2]
    assert columns["level_limit_m"].tolist() == pytest.approx(expected, nan_ok=True)
    assert columns["level_limit_kind"].tolist() == ["level", "screen", "level", "level", "level", "", "level"]


def test_casing_is_a_narrow_one_of_the_inventory(make_sites, make_plan):
    sites = make_sites(wells.READS, 6, casing_mm=[100, 110, 125, 150, 200, NONE])
    step = wells.run(sites, make_plan())
    assert step.columns["casing_used_mm"].tolist() == [
        100,
        110,
        125,
        150,
        200,
        110,
    ]  # hand: 25th percentile of five
    assert _passed(step, "casing_assumed") == [True] * 5 + [False]
    assert wells.run(make_sites(wells.READS), make_plan()).columns.at[1, "casing_used_mm"] == 100.0  # the plan's


def test_yield_at_a_test_pump_size_is_told(make_sites, make_plan):
    sites = make_sites(wells.READS, 4, site_id="00123", tested_yield_m3_h=[0.9, 1.79, 1.7, 5.0])
    step = wells.run(sites, make_plan())
    assert [(f.row, f.site_id, f.rule, f.severity, f.old_value) for f in step.findings] == [
        (1, "00123", "yield_is_lower_bound", "info", "0.9"),
        (2, "00123", "yield_is_lower_bound", "info", "1.79"),
    ]
    assert step.columns["yield_used_m3_h"].tolist() == [0.9, 1.79, 1.7, 5.0]


def test_nothing_known(make_sites, make_plan, keeps_promise):
    sites = make_sites(wells.READS, 4, row_kind=["site", "blank", "total", "site"], evidence_grade="D")
    sites.loc[4, "prior_level_m"] = 12.0
    before = sites.copy()
    step = wells.run(sites, make_plan())
    keeps_promise(step, sites, wells.WRITES)
    pd.testing.assert_frame_equal(sites, before)
    assert step.columns.loc[[2, 3]].replace("", np.nan).isna().all(axis=None)
    assert step.columns.loc[1, ["rest_level_m", "yield_used_m3_h", "depth_used_m", "level_limit_m"]].isna().all()
    assert _passed(step, "no_level_or_yield") == [False, True]
    for rule in ("drawdown_prior", "casing_assumed"):
        assert _passed(step, rule) == [False, False]
    # Where nothing stands in for what was not measured, no rule says that something does.
    for rule, tested in (("level_prior", [False]), ("depth_assumed", [False]), ("yield_prior", [])):
        assert _passed(step, rule) == tested
    assert step.checks.set_index(["rule", "inventory_row"]).at[("level_prior", 4), "subject"] == "prior"
    for rows in (0, 1):
        empty = make_sites(wells.READS, rows, row_kind=["blank"] * rows)
        keeps_promise(wells.run(empty, make_plan()), empty, wells.WRITES)


def _number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.just(NONE) | st.floats(low, high)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    depth=_number(0, 1500),
    casing=_number(20, 2000),
    level=_number(-50, 1500),
    rate=_number(0, 1000),
    pumping=_number(-50, 1500),
    hours=_number(0, 1000),
    month=st.just(NONE) | st.integers(1, 12),
    kind=st.sampled_from(["constant_rate", "step", "airlift", "bailer", "unknown", ""]),
    screen=_number(0, 1500),
    strike=_number(0, 1500),
    aquifer_kind=st.sampled_from(["", "confined", "unconfined"]),
    transmissivity=_number(0.001, 1e5),
    well_loss=_number(0, 1),
    prior=_number(0, 1500),
    grade=st.sampled_from(["A", "B", "C", "D"]),
    ghi=_number(0, 12),
    latitude=_number(-70, 70),
)
def test_any_row_keeps_the_promise(
    make_sites,
    make_plan,
    keeps_promise,
    depth,
    casing,
    level,
    rate,
    pumping,
    hours,
    month,
    kind,
    screen,
    strike,
    aquifer_kind,
    transmissivity,
    well_loss,
    prior,
    grade,
    ghi,
    latitude,
):
    sites = make_sites(
        wells.READS,
        depth_m=depth,
        casing_mm=casing,
        static_level_m=level,
        tested_yield_m3_h=rate,
        pumping_level_m=pumping,
        test_hours=hours,
        test_month=float(month),
        test_kind=kind,
        screen_top_m=screen,
        main_strike_m=strike,
        aquifer=aquifer_kind,
        transmissivity_m2_d=transmissivity,
        well_loss_d2_m5=well_loss,
        prior_level_m=prior,
        prior_yield_m3_h=prior / 2,
        evidence_grade=grade,
        ghi_01=ghi,
        latitude=latitude,
    )
    step = wells.run(sites, make_plan(well={"decline_m_year": 0.05}))
    keeps_promise(step, sites, wells.WRITES)
    row = step.columns.loc[1]
    law = ["transmissivity_used_m2_d", "drawdown_b_d_m2", "drawdown_b_rule_d_m2", "memory_d_m2"]
    assert (row[law].astype(float) > 0).all()
    assert row["drawdown_b_rule_d_m2"] >= row["drawdown_b_d_m2"]
    assert not row["rest_level_rule_m"] < row[monthly("rest_level")].astype(float).max()
    assert not row["level_limit_m"] > row["deepest_intake_m"] - 2.0
    assert not row["share_rate_m3_h"] > 0.7 * row["yield_used_m3_h"]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawdown=st.floats(0.1, 50), more=st.floats(0.1, 50))
def test_more_drawdown_means_a_tighter_aquifer(make_sites, make_plan, drawdown, more):
    sites = make_sites(wells.READS, 2, **{**TESTED, "pumping_level_m": [10 + drawdown, 10 + drawdown + more]})
    columns = wells.run(sites, make_plan()).columns
    assert columns.at[2, "transmissivity_used_m2_d"] < columns.at[1, "transmissivity_used_m2_d"]
    for name in ("drawdown_b_d_m2", "drawdown_c_d2_m5", "memory_d_m2"):
        assert columns.at[2, name] > columns.at[1, name]


def _passed(step: wells.Step, rule: str) -> list[bool]:
    checks: pd.DataFrame = step.checks
    return checks.loc[checks["rule"] == rule, "pass"].tolist()


def test_a_drought_lowers_levels_and_yields_but_not_the_test(make_sites, make_plan):
    sites = make_sites(wells.READS, 2, **TESTED)
    sites.loc[2, "pumping_level_m"] = NONE
    before = wells.run(sites, make_plan()).columns
    after = wells.run(sites, make_plan(well={"level_decline_m": 5.0, "yield_decline_share": 0.25})).columns
    # hand: every level 5 m deeper, three quarters of every yield and of what follows from it
    for name in ("rest_level_01", "rest_level_12", "rest_level_rule_m"):
        assert (after[name] - before[name]).tolist() == pytest.approx([5.0, 5.0])
    for name in ("yield_used_m3_h", "share_rate_m3_h", "safe_volume_m3_day"):
        assert (after[name] / before[name]).tolist() == pytest.approx([0.75, 0.75])
    # hand: the limit gives up a third of what the level falls, as two thirds of the rest may be drawn down
    assert (after["level_limit_m"] - before["level_limit_m"]).tolist() == pytest.approx([5.0 / 3] * 2)
    for name in ("drawdown_b_d_m2", "drawdown_c_d2_m5", "transmissivity_used_m2_d", "rest_level_m", "depth_used_m"):
        assert after[name].tolist() == pytest.approx(before[name].tolist()), name
