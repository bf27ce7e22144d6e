"""The well: rest level by season, yield, neighbours, and the safe rate."""

from __future__ import annotations

import math

import numpy as np

from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, month_label, n
from planner.engine.well import LIMITS
from planner.glossary import monthly
from planner.physics.aquifer import (
    flow_at_level_m3_h,
    well_function,
)
from planner.tables import neighbours, wells

Z = f"{wells.QUARTILE:.6f}"  # of a P10–P90 half-width, to the quartile


def rest_level(sheet: Sheet, opened: Opened, month: int | None) -> None:
    """The rest level as read, through the year, and the deepest that rules must stand."""
    row, plan = opened.row, opened.plan
    well, years = plan.well, plan.programme.horizon_years
    sheet.section("Rest level")
    if math.isnan(row["rest_level_m"]):
        sheet.text("No rest level is known, neither measured nor regional.")
        return
    one = opened.table.loc[[opened.number]]
    highest = float(wells.highest_month(one, well)[0])
    why = "well.highest_level_month" if well.highest_level_month else "the month after the dullest sky"
    sheet.value("month of the highest level, h", f"{highest:.0f}", why)
    measured = row["rest_level_source"] == "inventory"
    read = float(row["static_level_m"] if measured else row["prior_level_m"])
    test_month = float(row["test_month"])
    if measured and not math.isnan(test_month):
        fall = float(wells.season_fall(np.array(test_month), np.array(highest)))
        sheet.result(
            "g at the reading",
            "(1 - cos(2 pi (month - h) / 12)) / 2: share of the season's fall",
            f"(1 - cos(2 × pi × ({n(test_month)} - {n(highest)}) / 12)) / 2",
            fall,
        )
    else:
        fall = 0.0 if measured else 0.5
        said = "read in an unknown month: taken as the highest" if measured else "a regional value: mean of the year"
        sheet.value("g at the reading", n(fall), said)
    swing, rest = well.season_swing_m, float(row["rest_level_m"])
    sheet.result(
        "rest level at its highest",
        "level as read - swing × g",
        f"{n(read)} - {n(swing)} × {n(fall)}",
        rest,
        "m",
        f"level from the {'inventory' if measured else 'regional raster'}; well.season_swing_m",
    )
    drought = well.level_decline_m
    dry = f" + {n(drought)}" if drought else ""
    if drought:
        sheet.value("drought", f"{n(drought)} m", "well.level_decline_m, added to every rest level below")
    sheet.text(
        f"Rest level of a month = highest + swing × g + decline × horizon / 2 (energy and cost stand at mid-horizon): "
        f"decline {n(well.decline_m_year)} m a year well.decline_m_year over {years} years. Neighbours draw it down "
        f"by {n(row['interference_m'])} m more (worked out below). Metres below ground:"
    )
    rows = []
    for m, name in enumerate(monthly("rest_level")):
        g = float(wells.season_fall(np.array(m + 1.0), np.array(highest)))
        level = rest + swing * g + well.decline_m_year * years / 2 + drought
        agree(f"rest level of {MONTH_NAMES[m]}", level, float(row[name]))
        rows.append((month_label(m, month), n(g), n(level), n(level + row["interference_m"])))
    sheet.table(("month", "g", "rest level", "with neighbours"), rows)
    half = float(row["rest_level_half_width_m"])
    sheet.result(
        "deepest rest level, for rules",
        "highest + swing + z × half-width + decline × horizon: 75th percentile at the end of the horizon",
        f"{n(rest)} + {n(swing)} + {Z} × {n(half)} + {n(well.decline_m_year)} × {years}{dry}",
        float(row["rest_level_rule_m"]),
        "m",
        "half-width P10 to P90 by grade: uncertainty.rest_level_m; z = quartile / 9th decile of the normal law",
    )


def tested_yield(sheet: Sheet, opened: Opened) -> None:
    """Yield, its safe share, and the rate and daily volume that follow."""
    row, plan = opened.row, opened.plan
    sheet.section("Yield and its safe share")
    if math.isnan(row["yield_used_m3_h"]):
        sheet.text("No yield is known, neither tested nor regional.")
        return
    measured = row["yield_source"] == "inventory"
    flow, share = float(row["yield_used_m3_h"]), float(row["tested_share"])
    sheet.value("yield, Q", f"{n(flow)} m3/h", "tested" if measured else "regional raster, a prior")
    lost = plan.well.yield_decline_share
    if lost:
        before = float(row["tested_yield_m3_h" if measured else "prior_yield_m3_h"])
        agree("yield in the drought", before * (1 - lost), flow)
        sheet.text(f"Of {n(before)} m3/h a drought took {n(lost)}: well.yield_decline_share.")
    kind = str(wells.test_class(opened.table.loc[[opened.number]]).iloc[0]) if measured else "unknown"
    named = plan.well.tested_share[kind]  # type: ignore[index]
    old = plan.well.old_test_factor if measured and named and not math.isclose(share, named, rel_tol=1e-9) else 1.0
    agree("tested share", named * old, share)
    age = "" if not measured else f"; {'older than' if old != 1 else 'within'} {n(plan.well.old_test_years)} years"
    year = "no year" if math.isnan(row["test_year"]) else f"year {row['test_year']:.0f}"
    sheet.result(
        "safe share",
        "share by kind of test × factor by age",
        f"{n(named)} × {n(old)}",
        share,
        "",
        f"well.tested_share {kind}{age} ({year})" if measured else "well.tested_share unknown",
    )
    grade = str(row["evidence_grade"]) if measured else "D"
    factor = plan.uncertainty.yield_factor[grade]  # type: ignore[index]
    rate = float(row["share_rate_m3_h"])
    sheet.result(
        "q_a, rate by tested share",
        "share × Q / factor^z: 25th percentile of the yield",
        f"{n(share)} × {n(flow)} / {n(factor)}^{Z}",
        rate,
        "m3/h",
        f"uncertainty.yield_factor {grade}",
    )
    sheet.result(
        "V_safe, daily limit",
        "q_a × hours",
        f"{n(rate)} × {n(plan.well.safe_hours_day)}",
        float(row["safe_volume_m3_day"]),
        "m3/d",
        "well.safe_hours_day",
    )


def interference(sheet: Sheet, opened: Opened) -> None:
    """What the wells nearby take."""
    row, well = opened.row, opened.plan.well
    sheet.section("Neighbours")
    total, count = float(row["interference_m"]), int(row["neighbours"])
    if math.isnan(total) or count == 0:
        sheet.text(f"None within {n(well.interference_radius_m)} m well.interference_radius_m.")
        return
    pairs = neighbours.contributions(opened.table, well)
    mine = pairs[pairs["at"] == opened.table.index.get_loc(opened.number)]
    agree("interference", float(mine["drawdown_m"].sum()), total)
    t, storage = float(row["transmissivity_used_m2_d"]), float(row["storativity_used"])
    sheet.text(
        f"Each takes V, the least of its demand and its daily limit, and draws this well down by V / (4 pi T) × W(u), "
        f"u = r^2 S / (4 T t), t = {well.days_since_recovery} d, T = {n(t)} m2/d, S = {n(storage)}, r at least "
        f"{n(neighbours.NEAREST_M)} m (Theis 1935)."
    )
    rows = []
    for pair in mine.to_dict("records"):
        r = max(pair["distance_m"], neighbours.NEAREST_M)
        u = r**2 * storage / (4 * t * well.days_since_recovery)
        who = f"row {opened.table.index[int(pair['by'])]}"
        rows.append((who, n(r), n(pair["volume_m3_day"]), n(u), n(float(well_function(u))), n(pair["drawdown_m"])))
    sheet.table(("neighbour", "r m", "V m3/d", "u", "W(u)", "drawdown m"), rows)
    sheet.value("interference, their sum", f"{n(total)} m")


def limits(sheet: Sheet, opened: Opened, sized: Sized | None) -> None:
    """Depth, intake, level limit, and the safe rate."""
    row, well = opened.row, opened.plan.well
    sheet.section("Limits of the well")
    limit = float(row["level_limit_m"])
    if math.isnan(limit):
        sheet.text("Without level or depth there is no limit to work out.")
        return
    depth, screen, strike = (float(row[name]) for name in ("depth_used_m", "screen_top_m", "main_strike_m"))
    above = f"{n(wells.INTAKE_ABOVE_BOTTOM_M)}"
    if row["depth_source"] == "inventory":
        sheet.value("depth", f"{n(depth)} m", "inventory")
    elif row["depth_source"] == "test":
        sheet.result(
            "depth",
            "tested pumping level + 3 m + 2 m: a pump hung there",
            f"{n(row['pumping_level_m'])} + 3 + 2",
            depth,
            "m",
            "depth unknown",
        )
    else:
        sheet.result(
            "depth",
            "rest level + water column",
            f"{n(row['rest_level_m'])} + {n(well.depth_unknown_m)}",
            depth,
            "m",
            "depth unknown: well.depth_unknown_m",
        )
    places = f"{n(depth)} - {above}" if math.isnan(screen) else f"min({n(depth)} - {above}, {n(screen)} - 1)"
    intake = float(row["deepest_intake_m"])
    sheet.result("deepest intake", "2 m above the bottom, 1 m above the screen", f"max({places}, 0)", intake, "m")
    rest, deepest = float(row["rest_level_rule_m"]), intake - well.submergence_m
    sheet.result(
        "deepest level over the intake",
        "intake - submergence",
        f"{n(intake)} - {n(well.submergence_m)}",
        deepest,
        "m",
        "well.submergence_m",
    )
    also = "" if math.isnan(strike) else f", {n(strike)}"
    sheet.result(
        "level limit",
        "least of: deepest rest level + share of the water above the intake; deepest level over the intake"
        + ("" if math.isnan(strike) else "; main strike"),
        f"min({n(rest)} + {n(well.available_share)} × ({n(deepest)} - {n(rest)}), {n(deepest)}{also})",
        limit,
        "m",
        f"well.available_share; of kind {row['level_limit_kind']}",
    )
    if sized is None:
        return
    site, found = sized.site, sized.well
    most, safe, b, b_rule = (
        float(v) for v in (site.demand_m3_day.max(), site.safe_volume_m3_day, site.b_d_m2, site.b_rule_d_m2)
    )
    lifted = sheet.result(
        "V, volume lifted a day",
        "least of the largest monthly demand and V_safe",
        f"min({n(most)}, {n(safe)})",
        min(most, safe),
        "m3/d",
    )
    ratio = f"{n(b_rule)} / {n(b)}" if b > 0 else "1"
    sheet.result(
        "planning level before pumping",
        "deepest rest level + neighbours + M × (B for rules / B) × V",
        f"{n(rest)} + {n(row['interference_m'])} + {n(site.memory_d_m2)} × {ratio} × {n(lifted)}",
        found.deepest_m,
        "m",
    )
    by_level = float(flow_at_level_m3_h(limit, found.deepest_m, b_rule, site.c_d2_m5))
    gap = limit - found.deepest_m
    if gap > 0 and math.isfinite(by_level):
        sheet.result(
            "q_b, rate by level",
            "2 s / (B + sqrt(B^2 + 4 C s)) / 24, s = limit - planning level: the root of B Q + C Q^2 = s",
            f"2 × ({n(limit)} - {n(found.deepest_m)}) / ({n(b_rule)} + sqrt({n(b_rule)}^2 + 4 × {n(site.c_d2_m5)} × "
            f"({n(limit)} - {n(found.deepest_m)}))) / 24",
            by_level,
            "m3/h",
            "Jacob 1946",
        )
    else:
        sheet.value(
            "q_b, rate by level",
            f"{n(by_level)} m3/h",
            "the planning level stands at or below the limit" if gap <= 0 else "no drawdown",
        )
    sheet.result(
        "safe rate",
        "least of q_a and q_b",
        f"min({n(site.share_rate_m3_h)}, {n(by_level)})",
        found.safe_m3_h,
        "m3/h",
        f"binds: {LIMITS[found.limit]}",
    )
