"""The worked calculation of one site, section by section."""

from __future__ import annotations

from pathlib import Path

from planner.commands.why import (
    bill,
    days,
    drawdown,
    families,
    hour,
    money,
    months,
    point,
    pump,
    ranges,
    reading,
    rules,
    sun,
    water,
    ways,
    well,
)
from planner.commands.why.opened import Chosen, Opened, Sized, open_row
from planner.commands.why.sheet import Sheet, n
from planner.texts import of_kind


def why(folder: Path, wanted: str) -> str:
    """The calculation of one site of a finished run, as text of at most 100 columns.

    wanted  site_id or `row:17`
    Raises OutputError where folder or site is not one, InternalError where the calculation is not that of the run.
    """
    opened = open_row(folder, wanted)
    sized, sheet = opened.sized, Sheet()
    chosen = sized.chosen if sized is not None else None
    month = chosen.done.design_month if chosen is not None else None
    reading.heading(sheet, opened)
    reading.what_was_read(sheet, opened)
    reading.demand(sheet, opened, month)
    well.rest_level(sheet, opened, month)
    well.tested_yield(sheet, opened)
    drawdown.drawdown(sheet, opened)
    well.interference(sheet, opened)
    well.limits(sheet, opened, sized)
    if sized is not None:
        sun.sun(sheet, opened, sized)
        if chosen is not None:
            hour.one_hour(sheet, opened, sized)
            _design(sheet, opened, sized, chosen)
        elif opened.row["engine_status"] == "installed":
            sheet.section("The installed set")
            sheet.text(f"The set that stands here, {opened.row['pump_id']}, gives no water here.")
        if opened.row["engine_status"] != "installed":
            families.families(sheet, opened, sized)
            ranges.ranges(sheet, opened)
    ways.other_ways(sheet, opened)
    reading.decision(sheet, opened)
    sheet.section("Read first")
    for caution in of_kind("caution"):
        sheet.text(caution)
    return f"{sheet}\n{_last_line(opened)}\n"


def _design(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """The chosen set from its rules to its cost; an installed set ends with its water."""
    year = water.year_of(sized, chosen, float(sized.rules.design_year))
    pump.the_set(sheet, opened, sized, chosen)
    if opened.row["engine_status"] == "designed":
        rules.rules(sheet, opened, sized, chosen, year)
    point.operating_point(sheet, opened, sized, chosen)
    water.design_month(sheet, opened, sized, chosen, year)
    days.day_by_day(sheet, opened, sized, chosen, year)
    months.twelve_months(sheet, opened, sized, chosen, year)
    months.low_sun(sheet, opened, sized, chosen)
    if opened.row["engine_status"] == "installed":
        sheet.text("The set stands already and is taken as it is: rules of choosing, cost and rank are not for it.")
        return
    bought = bill.bill_of_quantities(sheet, opened, sized, chosen)
    lifecycle, fitted = money.later_costs(sheet, opened, sized, chosen, year, bought)
    present = money.horizon_water(sheet, opened, sized, chosen, year)
    money.cost_of_water(sheet, opened, lifecycle, fitted, present)


def _last_line(opened: Opened) -> str:
    row = opened.row
    if row["engine_status"] == "designed":
        unit = f"{opened.plan.programme.currency}/m3"
        return f"cost per m3 = {n(row['cost_per_m3'])} {unit}, whole scheme; decision: {row['decision']}"
    if row["engine_status"] == "installed":
        return f"coverage = {n(row['supply_reliability'])} of the year's demand; decision: {row['decision']}"
    return f"decision: {row['decision']}; no design, no cost per m3"
