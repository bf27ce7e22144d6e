"""From the inventory to the demand and the limits of the well."""

from __future__ import annotations

import math

from planner.commands.why.opened import Opened, Row, Sized
from planner.commands.why.sheet import Sheet, n, plain
from planner.engine.duty import LIMITS
from planner.glossary import MONTHS, glossary, monthly
from planner.physics.aquifer import theis_drawdown_m, well_function
from planner.tables.inventory import INVENTORY_NAMES

QUARTILE = 0.6745 / 1.2816  # a quartile as a share of the P10 to P90 half-width, normal law
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def read(sheet: Sheet, opened: Opened) -> None:
    """What the inventory says, and what was found in it."""
    row, known = opened.row, glossary()
    sheet.section("What was read")
    for name in INVENTORY_NAMES:
        value = row.get(name)
        if name not in known or value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
            continue
        unit = known[name].unit
        said = plain(value) if isinstance(value, str) else n(float(value))
        sheet.value(name, said if unit == "-" else f"{said} {unit}")
    for _, finding in opened.findings.iterrows():
        change = f" -> {plain(finding['new_value'])}" if finding["new_value"] else ""
        said = f"{finding['rule']}: {plain(finding['old_value'])[:200]}{change} ({finding['action']})"
        sheet.value(f"finding, {plain(finding['column'])}", said)
    sheet.value("evidence grade", str(row["evidence_grade"]))


def demand(sheet: Sheet, opened: Opened) -> None:
    """Demand of the design year by month, at the tank inlet."""
    row, plan = opened.row, opened.plan.demand
    sheet.section("Demand")
    if math.isnan(row["demand_01"]):
        sheet.text("The demand is unknown.")
        return
    if row["demand_source"] == "stated":
        base = float(row["demand_m3_day"])
        sheet.value("base", f"{n(base)} m3/d, stated in the inventory")
    else:
        people, stock, land = (_zero(row[name]) for name in ("people_counted", "livestock_tlu", "irrigated_ha"))
        base = (people * plan.norm_l_person_day + stock * plan.livestock_l_tlu_day) / 1000
        base += land * plan.irrigation_m3_ha_day
        sheet.result(
            "base",
            "people × norm / 1000 + livestock × norm / 1000 + hectares × irrigation",
            f"{n(people)} × {n(plan.norm_l_person_day)} / 1000 + {n(stock)} × {n(plan.livestock_l_tlu_day)} / 1000"
            f" + {n(land)} × {n(plan.irrigation_m3_ha_day)}",
            base,
            "m3/d",
            f"people: {row['people_source'] or 'none'}; plan [demand]",
        )
    growth = float(row["demand_growth"])
    month = _design_month(row)
    sheet.result(
        f"demand of {MONTH_NAMES[month]}",
        "base × season × (1 + growth)^design_year / (1 - losses), at the tank inlet",
        f"{n(base)} × {n(plan.season[month])} × (1 + {n(growth)})^{plan.design_year} / (1 - {n(plan.losses)})",
        float(row[monthly("demand")[month]]),
        "m3/d",
        "plan [demand]",
    )


def limits(sheet: Sheet, opened: Opened, sized: Sized | None) -> None:
    """Rest level, drawdown law and safe rate."""
    row, plan = opened.row, opened.plan
    sheet.section("Well")
    if math.isnan(row["rest_level_m"]) or math.isnan(row["yield_used_m3_h"]):
        sheet.text("Level or yield is not known from anywhere: the well cannot be worked out.")
        return
    well, month = plan.well, _design_month(row)
    decline, years = well.decline_m_year, plan.programme.horizon_years
    rest, level = float(row["rest_level_m"]), float(row[f"rest_level_{MONTHS[month]}"])
    swing = well.season_swing_m
    fall = (level - rest - decline * years / 2) / swing if swing else 0.0
    sheet.value("rest level at the highest season", f"{n(rest)} m", f"from the {row['rest_level_source']}")
    sheet.result(
        f"rest level of {MONTH_NAMES[month]}",
        "highest + swing × g + decline × horizon / 2 + neighbours, g = (1 - cos(2 pi (month - highest) / 12)) / 2",
        f"{n(rest)} + {n(swing)} × {n(fall)} + {n(decline)} × {years} / 2 + {n(row['interference_m'])}",
        level + float(row["interference_m"]),
        "m",
        "plan [well]; neighbours by Theis 1935",
    )
    sheet.result(
        "deepest rest level, for rules",
        "highest + swing + 0.5263 × half-width (P75) + decline × horizon",
        f"{n(rest)} + {n(swing)} + 0.5263 × {n(row['rest_level_half_width_m'])} + {n(decline)} × {years}",
        float(row["rest_level_rule_m"]),
        "m",
        "plan [uncertainty] rest_level_m",
    )
    _drawdown(sheet, opened)
    factor = plan.uncertainty.yield_factor["D" if row["yield_source"] == "prior" else str(row["evidence_grade"])]  # type: ignore[index]
    sheet.result(
        "rate by tested share",
        "tested share × yield / factor^0.5263 (P25)",
        f"{n(row['tested_share'])} × {n(row['yield_used_m3_h'])} / {n(factor)}^0.5263",
        float(row["share_rate_m3_h"]),
        "m3/h",
        f"yield from the {row['yield_source']}; plan [well] tested_share, [uncertainty] yield_factor",
    )
    sheet.value(
        "level limit",
        f"{n(row['level_limit_m'])} m ({row['level_limit_kind']}); deepest intake {n(row['deepest_intake_m'])} m",
        "plan [well] available_share, submergence_m",
    )
    if sized is None:
        return
    lifted = min(float(sized.site.demand_m3_day.max()), float(row["safe_volume_m3_day"]))
    ratio = float(row["drawdown_b_rule_d_m2"]) / float(row["drawdown_b_d_m2"])
    neighbours = float(row["interference_m"])
    sheet.result(
        "planning level before pumping",
        "deepest rest level + neighbours + memory × P75 ratio × volume lifted",
        f"{n(row['rest_level_rule_m'])} + {n(neighbours)} + {n(row['memory_d_m2'])} × {n(ratio)} × {n(lifted)}",
        sized.well.deepest_m,
        "m",
    )
    sheet.value(
        "safe rate of the well",
        f"{n(sized.well.safe_m3_h)} m3/h, set by {LIMITS[sized.well.limit]}",
        "the least of the tested share and of the flow that draws the planning level to its limit",
    )


def _drawdown(sheet: Sheet, opened: Opened) -> None:
    row, well = opened.row, opened.plan.well
    transmissivity, clock = float(row["transmissivity_used_m2_d"]), float(row["test_clock_h"])
    sheet.value("transmissivity T", f"{n(transmissivity)} m2/d", f"from: {row['transmissivity_source']}")
    drawdown = float(row["pumping_level_m"]) - float(row["static_level_m"])
    if row["transmissivity_source"] == "test" and drawdown > 0:
        flow = 24 * float(row["tested_yield_m3_h"])
        loss = float(row["drawdown_c_d2_m5"]) * flow**2
        radius, storage = float(row["casing_used_mm"]) / 2000, float(row["storativity_used"])
        u = radius**2 * storage / (4 * transmissivity * clock / 24)
        again = float(theis_drawdown_m(flow, transmissivity, storage, radius, clock / 24))
        sheet.text(
            f"T solves, by trial, s - C Q^2 = Q / (4 pi T) × W(u) with s = {n(drawdown)} m, C Q^2 = {n(loss)} m, "
            f"Q = {n(flow)} m3/d, u = r^2 S / (4 T t) = {n(u)}, W(u) = {n(float(well_function(u)))} (Theis 1935). "
            "Check:"
        )
        sheet.result(
            "drawdown of the test by Theis",
            "Q / (4 pi T) × W(u)",
            f"{n(flow)} / (4 × 3.14159 × {n(transmissivity)}) × {n(float(well_function(u)))}",
            again,
            "m",
        )
    sheet.value(
        "aquifer loss of a pumping day, B",
        f"{n(row['drawdown_b_d_m2'])} d/m2, P75 {n(row['drawdown_b_rule_d_m2'])}",
        f"B of the test + ln({n(well.pumping_hours_day)} / {n(clock)}) / (4 pi T), Cooper & Jacob 1946",
    )
    sheet.value("well loss, C", f"{n(row['drawdown_c_d2_m5'])} d2/m5", "plan [well] well_loss_share, or the inventory")
    sheet.value(
        "memory of earlier days",
        f"{n(row['memory_d_m2'])} m for each m3/d lifted",
        f"superposition over {well.days_since_recovery} days",
    )


def _zero(value: float) -> float:
    return 0.0 if math.isnan(value) else float(value)


def _design_month(row: Row) -> int:
    """0 to 11; January where there is no design."""
    return 0 if math.isnan(row["design_month"]) else int(row["design_month"]) - 1
