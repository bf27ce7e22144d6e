"""What each well is taken to be: casing, rest level, yield, depth, level limit and drawdown law.

The level in a pumped well is rest level + B Q + C Q² + (memory of earlier days) + (neighbours), Q in m3/d.
This step gives every term but the last, from the inventory where it speaks, else from a regional prior,
else from the plan; each source is written beside its value and each prior or assumption fails a rule of its
own, so that nothing assumed can pass for measured. Energy and cost rest on medians; rules (limits of level
and flow) on the planning values: the 75th percentile of rest level and drawdown, the 25th of yield.

Sources: Theis 1935 (drawdown), Jacob 1946 (well loss C Q²) and 1944 (thinning of an unconfined aquifer).
Shares of the tested yield, available drawdown and widths are the plan's and common practice.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.glossary import glossary, monthly
from planner.physics import aquifer, sun
from planner.plan import LoadedPlan, Plan, Well
from planner.tables.step import Finding, Severity, Step, join_checks, rule_rows

Floats = NDArray[np.float64]

READS: tuple[str, ...] = (
    "site_id",
    "row_kind",
    "duplicate_of",
    "level_conflict",
    "evidence_grade",
    "latitude",
    "solar_latitude",
    *monthly("ghi"),
    "depth_m",
    "casing_mm",
    "static_level_m",
    "tested_yield_m3_h",
    "pumping_level_m",
    "test_hours",
    "test_year",
    "test_month",
    "test_kind",
    "screen_top_m",
    "main_strike_m",
    "aquifer",
    "transmissivity_m2_d",
    "well_loss_d2_m5",
    "water_temperature_c",
    "prior_level_m",
    "prior_yield_m3_h",
)
WRITES: tuple[str, ...] = (
    "casing_used_mm",
    "casing_source",
    "water_temperature_used_c",
    "rest_level_m",
    "rest_level_source",
    "rest_level_half_width_m",
    *monthly("rest_level"),
    "rest_level_rule_m",
    "yield_used_m3_h",
    "yield_source",
    "tested_share",
    "share_rate_m3_h",
    "safe_volume_m3_day",
    "depth_used_m",
    "depth_source",
    "deepest_intake_m",
    "level_limit_m",
    "level_limit_kind",
    "transmissivity_used_m2_d",
    "transmissivity_source",
    "storativity_used",
    "drawdown_b_d_m2",
    "drawdown_b_rule_d_m2",
    "drawdown_c_d2_m5",
    "memory_d_m2",
    "test_clock_h",
)

# Widths are P10 to P90; a quartile of the same normal law lies at this share of the half-width.
QUARTILE = NormalDist().inv_cdf(0.75) / NormalDist().inv_cdf(0.90)
INTAKE_ABOVE_BOTTOM_M = 2.0
INTAKE_ABOVE_SCREEN_M = 1.0
INTAKE_BELOW_TESTED_LEVEL_M = 3.0
# Steps of 0.25 L/s, the sizes of common test pumps: a yield at one of them may be the pump's, not the well's.
TEST_PUMP_SIZES_M3_H = (0.9, 1.8, 2.7, 3.6)
# Less than what a bucket, a dip tape and a watch can tell is no test: 1 L/h, 1 cm, 1 minute.
LEAST_FLOW_M3_H, LEAST_DRAWDOWN_M, LEAST_CLOCK_H = 0.001, 0.01, 1.0 / 60.0
TESTS_FOR_A_MEDIAN = 10
# A transmissivity this many times off the test's own is told as a contradiction (judgement).
TRANSMISSIVITY_FACTOR = 10.0
# Day of the year whose sun is the mean of its month (Klein 1977, Solar Energy 19, table 1).
MEAN_DAYS = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344], dtype=np.float64)


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """The well of every site row; rows that are no sites stay empty.

    Columns are NaN where nothing is known and the plan assumes nothing: rest level and yield have no default.
    """
    rows = sites.loc[sites["row_kind"] == "site"]
    # a repeat visit or a contradictory row is no evidence about the other wells
    evidence = rows["duplicate_of"].isna() & ~rows["level_conflict"]
    casing = _casing(rows, evidence, plan.plan.well)
    level = _rest_level(rows, plan.plan)
    rate = _yield(rows, plan.plan)
    depth = _depth(rows, level, plan.plan.well)
    given = pd.concat([casing, level, rate, depth], axis=1)
    tests = tests_of(rows, evidence, given, plan.plan.well)
    law = _drawdown_law(rows, tests, plan.plan)
    found = pd.concat([given, law], axis=1)
    checks = join_checks([_source_checks(rows, found, plan.plan.uncertainty.yield_factor["D"]), _beyond_half(tests)])
    contradictions = _drawdown_findings(rows, tests)
    columns = found[list(WRITES)].reindex(sites.index)
    texts = [name for name in WRITES if glossary()[name].dtype == "text"]
    columns[texts] = columns[texts].fillna("").astype("str")
    return Step(columns, _lower_bounds(rows) + contradictions, checks)


def season_fall(month: Floats, highest_month: Floats) -> Floats:
    """Share of the seasonal swing by which the rest level lies below its highest.

    month, highest_month: 1 … 12, any shapes that broadcast, NaN gives NaN. Result 0 … 1: 0 in the highest
    month, 1 half a year later, ½ in the mean of the year. A cosine is the simplest yearly wave; no
    published law is claimed.

    >>> season_fall(np.array([3.0, 6.0, 9.0]), np.array(3.0)).round(3).tolist()
    [0.0, 0.5, 1.0]
    """
    return np.asarray(0.5 * (1.0 - np.cos(2.0 * np.pi * (month - highest_month) / 12.0)))


def _casing(rows: pd.DataFrame, evidence: pd.Series, well: Well) -> pd.DataFrame:
    """Inside diameter: the inventory's, else its 25th percentile (a narrow one), else the plan's."""
    known = rows["casing_mm"].notna()
    narrow_mm = (
        rows.loc[known & evidence, "casing_mm"].quantile(0.25) if (known & evidence).any() else well.casing_unknown_mm
    )
    return pd.DataFrame(
        {
            "casing_used_mm": rows["casing_mm"].where(known, narrow_mm),
            "casing_source": _text(rows, np.where(known, "inventory", "assumed")),
            "water_temperature_used_c": rows["water_temperature_c"].fillna(well.water_temperature_c),
        }
    )


def _rest_level(rows: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Rest level at its highest season, by month, and the deepest that rules must stand.

    A measured level is dated: the season's fall at the month of the test is taken off; without a month it
    counts as read at the highest, the safe side. A regional prior is a mean of the year, where the fall is
    half the swing. Months stand at the middle of the horizon (energy and cost), the rule at its end and at
    the 75th percentile. A drought lowers both by level_decline_m; the test was made before it.
    """
    well, widths = plan.well, plan.uncertainty.rest_level_m
    measured = rows["static_level_m"].notna()
    prior = ~measured & rows["prior_level_m"].notna()
    highest = highest_month(rows, well)
    fall_at_reading = pd.Series(season_fall(rows["test_month"].to_numpy(), highest), index=rows.index).fillna(0.0)
    fall_at_reading = fall_at_reading.where(measured, 0.5)
    rest_m = rows["static_level_m"].where(measured, rows["prior_level_m"]) - well.season_swing_m * fall_at_reading
    half_width_m = (
        rows["evidence_grade"].map(widths).astype("float64").where(measured, widths["D"]).where(measured | prior)
    )
    horizon_m, drought_m = well.decline_m_year * plan.programme.horizon_years, well.level_decline_m
    months = {
        name: rest_m + well.season_swing_m * season_fall(np.array(float(month)), highest) + horizon_m / 2.0 + drought_m
        for month, name in enumerate(monthly("rest_level"), start=1)
    }
    return pd.DataFrame(
        {
            "rest_level_m": rest_m,
            "rest_level_source": _text(rows, np.where(measured, "inventory", np.where(prior, "prior", ""))),
            "rest_level_half_width_m": half_width_m,
            **months,
            "rest_level_rule_m": rest_m + well.season_swing_m + QUARTILE * half_width_m + horizon_m + drought_m,
        }
    )


def highest_month(rows: pd.DataFrame, well: Well) -> Floats:
    """Month (1 to 12) of the highest rest level of each row: the plan's, else the one after that of the dullest sky.

    Dullest: least irradiation for what the sun gives outside the air, which marks the rains where
    irradiation alone marks the winter. Without irradiation: February south of the equator, August north of
    it.
    """
    if well.highest_level_month is not None:
        return np.full(len(rows), float(well.highest_level_month))
    # a row without any latitude has no irradiation either: the equator stands in and changes nothing
    latitude_deg = rows["solar_latitude"].fillna(rows["latitude"]).fillna(0.0).to_numpy()
    ghi = rows[monthly("ghi")].to_numpy(dtype="float64")
    above = np.asarray(sun.daily_extraterrestrial_kwh_m2(latitude_deg[:, None], MEAN_DAYS[None, :]))
    clearness = np.full(ghi.shape, np.inf)
    np.divide(ghi, above, out=clearness, where=np.isfinite(ghi) & (above > 0.1))
    after_dullest = (clearness.argmin(axis=1) + 1) % 12 + 1
    without = np.where(latitude_deg > 0, 8, 2)
    return np.where(np.isfinite(clearness).any(axis=1), after_dullest, without).astype("float64")


def _yield(rows: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Yield, and the rate and daily volume that the well may give: share of the 25th percentile of the yield.

    A tested yield of zero is a measurement and is never replaced by a prior. A drought takes yield_decline_share
    of either.
    """
    well, factors = plan.well, plan.uncertainty.yield_factor
    measured = rows["tested_yield_m3_h"].notna()
    prior = ~measured & rows["prior_yield_m3_h"].notna()
    before_m3_h = rows["tested_yield_m3_h"].where(measured, rows["prior_yield_m3_h"])
    median_m3_h = before_m3_h * (1.0 - well.yield_decline_share)
    factor = rows["evidence_grade"].map(factors).astype("float64").where(measured, factors["D"])
    share = _tested_share(rows, plan).where(measured, well.tested_share["unknown"])
    share_rate_m3_h = share * median_m3_h / factor**QUARTILE
    return pd.DataFrame(
        {
            "yield_used_m3_h": median_m3_h,
            "yield_source": _text(rows, np.where(measured, "inventory", np.where(prior, "prior", ""))),
            "tested_share": share.where(measured | prior),
            "share_rate_m3_h": share_rate_m3_h,
            "safe_volume_m3_day": share_rate_m3_h * well.safe_hours_day,
        }
    )


def _tested_share(rows: pd.DataFrame, plan: Plan) -> pd.Series:
    """Safe share of the tested yield by kind, length and age of test; a test without a year counts as old."""
    well, shares = plan.well, plan.well.tested_share
    recent = plan.programme.price_year - rows["test_year"] <= well.old_test_years
    age_factor = np.where(recent, 1.0, well.old_test_factor)
    return test_class(rows).map(shares).astype("float64") * age_factor


def test_class(rows: pd.DataFrame) -> pd.Series:
    """Key of [well] tested_share for each row, from columns test_kind and test_hours (h, may be missing)."""
    kind, hours = rows["test_kind"], rows["test_hours"]
    constant = kind == "constant_rate"
    named = np.select(
        [
            constant & (hours >= 24),
            constant & (hours >= 6),
            constant,
            kind.isin(["step", "airlift", "bailer"]),
        ],
        ["constant_rate_24h", "constant_rate_6h", "short", kind],
        default="unknown",
    )
    return pd.Series(named, index=rows.index)


def _depth(rows: pd.DataFrame, level: pd.DataFrame, well: Well) -> pd.DataFrame:
    """Depth, deepest intake and the deepest pumping level that is allowed.

    Depth: the inventory's; else so deep that an intake 3 m below the tested pumping level fits (a pump hung
    there); else the plan's water column below the rest level. The intake stays 2 m above the bottom and 1 m
    above the screen.

    The level limit is the shallowest of: intake − submergence; deepest rest level + share × available
    drawdown; main strike. With a positive drawdown and a share below 1 the second is always the shallower
    of the first two and inherits what holds the intake up, so the limit is of kind `screen` when the
    screen, not the bottom, sets the intake and no main strike lies higher.
    """
    known = rows["depth_m"].notna()
    from_test = ~known & rows["pumping_level_m"].notna()
    tested_m = rows["pumping_level_m"] + INTAKE_BELOW_TESTED_LEVEL_M + INTAKE_ABOVE_BOTTOM_M
    assumed_m = level["rest_level_m"] + well.depth_unknown_m
    depth_m = rows["depth_m"].where(known, tested_m.where(from_test, assumed_m))
    assumed = ~known & ~from_test & depth_m.notna()
    source = np.select([known, from_test, assumed], ["inventory", "test", "assumed"], default="")

    above_bottom_m = depth_m - INTAKE_ABOVE_BOTTOM_M
    above_screen_m = rows["screen_top_m"] - INTAKE_ABOVE_SCREEN_M
    screen_holds = above_screen_m < above_bottom_m
    # a hole too shallow for any intake keeps an intake at the surface: its limits then let nothing be built
    intake_m = above_bottom_m.where(~screen_holds, above_screen_m).clip(lower=0.0)
    deepest_m = intake_m - well.submergence_m
    rest_m = level["rest_level_rule_m"]
    available_m = rest_m + well.available_share * (deepest_m - rest_m)
    inherited_m = available_m.where(~(deepest_m < available_m), deepest_m)
    limit_m = inherited_m.where(~(rows["main_strike_m"] < inherited_m), rows["main_strike_m"])
    kind = np.where(limit_m.isna(), "", np.where(screen_holds & (limit_m == inherited_m), "screen", "level"))
    return pd.DataFrame(
        {
            "depth_used_m": depth_m,
            "depth_source": _text(rows, source),
            "deepest_intake_m": intake_m,
            "level_limit_m": limit_m,
            "level_limit_kind": _text(rows, kind),
        }
    )


def tests_of(rows: pd.DataFrame, evidence: pd.Series, given: pd.DataFrame, well: Well) -> pd.DataFrame:
    """The test of each site: drawdown split into well loss and aquifer loss, and the transmissivity from it.

    Without a drawdown the specific capacity is the median of the inventory's grade A tests if there are
    ten, else the plan's; where even the flow is unknown nothing tells at which flow to split, and all of it
    counts as aquifer loss. Well loss is the inventory's C at the tested flow, else the plan's share; a C
    that alone exceeds the tested drawdown is not used. A wide well of little yield lives on its own storage
    and has no solution of Theis: the least transmissivity that Theis allows stands in, the safe side.

    Columns: measured, source (of the drawdown), flow_m3_d, drawdown_m, loss_share, given_c (usable C or
    missing), aquifer_m, clock_h, thickness_m (water column, missing where the aquifer does not thin),
    radius_m, storativity, transmissivity, solved.
    """
    tested_m = rows["pumping_level_m"] - rows["static_level_m"]
    measured = (tested_m >= LEAST_DRAWDOWN_M) & (rows["tested_yield_m3_h"] >= LEAST_FLOW_M3_H)
    specific_m3_h_m, otherwise = _specific_capacity(rows, evidence & measured, tested_m, well)
    tested_m3_h = given["yield_used_m3_h"] / (1.0 - well.yield_decline_share)  # the test was made before a drought
    flow_known = tested_m3_h >= LEAST_FLOW_M3_H
    # without a flow any one does: specific capacity × drawdown cancels it
    flow_m3_h = tested_m3_h.where(flow_known, 1.0)
    flow_m3_d = 24.0 * flow_m3_h
    drawdown_m = tested_m.where(measured, flow_m3_h / specific_m3_h_m)
    loss_share = flow_known * well.well_loss_share
    well_loss_m = rows["well_loss_d2_m5"] * flow_m3_d**2
    given_c = rows["well_loss_d2_m5"].mask(measured & (well_loss_m >= drawdown_m))
    thins = measured & (rows["aquifer"] == "unconfined")
    tests = pd.DataFrame(
        {
            "measured": measured,
            "source": _text(rows, np.where(measured, "test", otherwise)),
            "flow_m3_d": flow_m3_d,
            "drawdown_m": drawdown_m,
            "loss_share": loss_share,
            "given_c": given_c,
            "aquifer_m": drawdown_m - (loss_share * drawdown_m).mask(measured & given_c.notna(), well_loss_m),
            "clock_h": rows["test_hours"].where(
                measured & (rows["test_hours"] >= LEAST_CLOCK_H), well.test_hours_unknown
            ),
            "thickness_m": (given["depth_used_m"] - rows["static_level_m"]).where(thins),
            "radius_m": given["casing_used_mm"] / 2000.0,
            "storativity": np.where(rows["aquifer"] == "unconfined", well.specific_yield, well.storativity),
        }
    )
    radius_m, storativity, clock_d = tests["radius_m"], tests["storativity"], tests["clock_h"] / 24.0
    confined_m = confined_equal(tests["aquifer_m"], drawdown_m, tests["thickness_m"])
    solved = _series(rows, aquifer.transmissivity_from_test(flow_m3_d, confined_m, radius_m, storativity, clock_d))
    least = radius_m**2 * storativity / (4.0 * clock_d * aquifer.LARGEST_U)
    return tests.assign(transmissivity=solved.fillna(least), solved=solved.notna())


def _drawdown_law(rows: pd.DataFrame, tests: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """B, C and memory of s = B Q + C Q² + memory × V for every site, Q and V in m3/d.

    The aquifer loss of the test gives the transmissivity by Theis and, moved from the clock of the test to
    a pumping day, B. A transmissivity of the inventory takes the place of the test's and leaves the tested
    loss as measured; without a test it gives B by Theis.
    """
    well = plan.well
    flow_m3_d, clock_h, day_h = tests["flow_m3_d"], tests["clock_h"], well.pumping_hours_day
    given_t = rows["transmissivity_m2_d"]
    transmissivity = given_t.fillna(tests["transmissivity"])
    test_loss = tests["aquifer_m"] / flow_m3_d
    day_loss = _series(rows, aquifer.day_loss_d_m2(test_loss, transmissivity, clock_h, day_h))
    only_t = given_t.notna() & ~tests["measured"]
    theis_m = aquifer.theis_drawdown_m(1.0, transmissivity, tests["storativity"], tests["radius_m"], day_h / 24.0)
    day_loss = day_loss.mask(only_t, _series(rows, theis_m))
    # the share is of all drawdown: where only B is known, C Q² = share ÷ (1 − share) × B Q
    share = tests["loss_share"]
    well_loss_m = (share * tests["drawdown_m"]).mask(only_t, share / (1.0 - share) * day_loss * flow_m3_d)
    factors = plan.uncertainty.drawdown_factor
    factor = rows["evidence_grade"].map(factors).astype("float64")
    memory = aquifer.memory_coefficient_d_m2(transmissivity, well.days_since_recovery, day_h / 24.0)
    return pd.DataFrame(
        {
            "transmissivity_used_m2_d": transmissivity,
            "transmissivity_source": tests["source"].mask(given_t.notna(), "inventory").astype("str"),
            "storativity_used": tests["storativity"],
            "drawdown_b_d_m2": day_loss,
            "drawdown_b_rule_d_m2": day_loss * factor**QUARTILE,
            "drawdown_c_d2_m5": tests["given_c"].fillna(well_loss_m / flow_m3_d**2),
            "memory_d_m2": _series(rows, memory),
            "test_clock_h": clock_h,
        }
    )


def _drawdown_findings(rows: pd.DataFrame, tests: pd.DataFrame) -> list[Finding]:
    """Contradictions between a test and the aquifer values beside it."""
    measured = tests["measured"]
    ratio = rows["transmissivity_m2_d"] / tests["transmissivity"]
    differs = (ratio > TRANSMISSIVITY_FACTOR) | (ratio < 1.0 / TRANSMISSIVITY_FACTOR)
    unused_c = rows["well_loss_d2_m5"].notna() & tests["given_c"].isna()
    return [
        *_flagged(rows, unused_c, "well_loss_d2_m5", "well_loss_exceeds_drawdown", "warning"),
        *_flagged(rows, measured & differs, "transmissivity_m2_d", "transmissivity_contradicts_test", "warning"),
        *_flagged(rows, measured & ~tests["solved"], "pumping_level_m", "test_within_well_storage", "warning"),
    ]


def _beyond_half(tests: pd.DataFrame) -> pd.DataFrame:
    """An unconfined aquifer that the test drew down by more than half is no base for a linear law."""
    thins = tests["thickness_m"].notna()
    return rule_rows(
        tests.index[thins],
        "drawdown_beyond_half",
        tests["drawdown_m"] <= 0.5 * tests["thickness_m"],
        value=tests["drawdown_m"] / tests["thickness_m"].where(tests["thickness_m"] > 0),
        operator="<=",
        limit=0.5,
    )


def _specific_capacity(rows: pd.DataFrame, tested: pd.Series, tested_m: pd.Series, well: Well) -> tuple[float, str]:
    """Specific capacity of wells without a drawdown, m3/h/m, and its source."""
    usable = tested & (rows["evidence_grade"] == "A")
    if usable.sum() >= TESTS_FOR_A_MEDIAN:
        return float((rows["tested_yield_m3_h"] / tested_m)[usable].median()), "inventory_median"
    return well.specific_capacity_m3_h_m, "assumed"


def confined_equal(aquifer_m: pd.Series, drawdown_m: pd.Series, thickness_m: pd.Series) -> pd.Series:
    """Drawdown that a confined aquifer of the same transmissivity would show: s' = s − s²/2b (Jacob 1944).

    thickness_m is missing where the aquifer does not thin. Below a tenth of the thickness the correction is
    less than 5 % and left out, as is usual; a drawdown beyond the thickness is a fault of the row and stays
    as it is.
    """
    thinned_m = aquifer_m - aquifer_m**2 / (2.0 * thickness_m)
    applies = (drawdown_m > 0.1 * thickness_m) & (drawdown_m <= thickness_m)
    return aquifer_m.where(~applies, thinned_m)


def _source_checks(rows: pd.DataFrame, found: pd.DataFrame, prior_yield_factor: float) -> pd.DataFrame:
    """One rule for each thing to be measured; it fails where a prior or an assumption stands in for it.

    A regional prior is a range (P10 to P90) and its check says how wide: ± metres, × and ÷ a factor.
    Where nothing stands in there is nothing to test: `no_level_or_yield` and the rules of the design tell that.
    """
    at = rows.index
    known = found["rest_level_m"].notna() | found["yield_used_m3_h"].notna()
    checks = [rule_rows(at, "no_level_or_yield", known)]
    widths = {
        "level_prior": (found["rest_level_half_width_m"], "±"),
        "yield_prior": (pd.Series(prior_yield_factor, index=at), "×÷"),
    }
    for rule, source, measured, value, unit in [
        ("level_prior", "rest_level_source", ["inventory"], "rest_level_m", "m"),
        ("yield_prior", "yield_source", ["inventory"], "yield_used_m3_h", "m3/h"),
        (
            "drawdown_prior",
            "transmissivity_source",
            ["inventory", "test"],
            "transmissivity_used_m2_d",
            "m2/d",
        ),
        ("depth_assumed", "depth_source", ["inventory", "test"], "depth_used_m", "m"),
        ("casing_assumed", "casing_source", ["inventory"], "casing_used_mm", "mm"),
    ]:
        stands = at[found[source] != ""]
        passed = found[source].isin(measured)
        width, sign = widths.get(rule, (pd.Series(np.nan, index=at), ""))
        range_width = width.where(~passed)
        checks.append(
            rule_rows(
                stands,
                rule,
                passed,
                value=found[value],
                operator=sign,
                limit=range_width,
                unit=unit,
                subject=found[source],
            )
        )
    return join_checks(checks)


def _lower_bounds(rows: pd.DataFrame) -> list[Finding]:
    """Yields within 2 % of a common test pump's size: perhaps the pump's limit, so a lower bound; kept."""
    tested = rows["tested_yield_m3_h"].to_numpy(dtype="float64")
    at_size = np.isclose(tested[:, None], TEST_PUMP_SIZES_M3_H, rtol=0.02, atol=0.0).any(axis=1)
    at_size_rows = pd.Series(at_size, index=rows.index)
    return _flagged(rows, at_size_rows, "tested_yield_m3_h", "yield_is_lower_bound", "info")


def _flagged(rows: pd.DataFrame, which: pd.Series, column: str, rule: str, severity: Severity) -> list[Finding]:
    """A finding with the value as read for each row that `which` marks."""
    marked = rows.loc[which, ["site_id", column]]
    return [
        Finding(int(row), site_id, column, rule, severity, old_value=f"{value:g}")
        for row, site_id, value in marked.itertuples(name=None)
    ]


def _series(rows: pd.DataFrame, values: Floats) -> pd.Series:
    return pd.Series(np.asarray(values, dtype="float64"), index=rows.index)


def _text(rows: pd.DataFrame, values: NDArray[np.str_]) -> pd.Series:
    return pd.Series(values, index=rows.index, dtype="str")
