"""The twelve months of the design year, in the mean year and in one of low sun."""

from __future__ import annotations

import numpy as np

from planner.commands.why.days import even, held_against
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, month_label, n
from planner.commands.why.water import Year, year_of
from planner.engine.site import Record
from planner.engine.sun import DAYS
from planner.glossary import monthly
from planner.physics.sun import KINDS
from planner.tables.resource import BUILT_IN_SIZING, NINE_IN_TEN, low_year_factor


def twelve_months(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """Pumpable and used volume of each month, and the shares of the demand that they give."""
    row, site, rules = opened.row, sized.site, sized.rules
    sheet.section("The twelve months of the design year, m3 a day at the tank inlet")
    days = held_against(sized.light, year, chosen.storage.over_m3)
    sheet.text(
        f"U, used, is the mean of what the days of the month take, from the balance of {days.month.size} days; w is "
        "what a day wants, V what the set gives if the tank never fills."
    )
    rows = []
    for m, name in enumerate(monthly("volume")):
        agree(f"volume of {MONTH_NAMES[m]}", float(year.volumes[m]), float(row[name]))
        demand, volume, used = float(year.demand[m]), float(year.volumes[m]), float(year.used[m])
        written = float(row[monthly("used")[m]])
        agree(f"used in {MONTH_NAMES[m]}", demand + used * (1 - rules.losses), demand + written)
        ratio = n(volume / demand) if demand > 0 else "-"
        share = n(used / demand) if demand > 0 else "-"
        cells = (n(demand), n(float(year.wanted[m])), n(volume), ratio, n(used), share, n(float(year.running[m])))
        rows.append((month_label(m, chosen.done.design_month), f"{DAYS[m]:.0f}", *cells))
    sheet.table(("month", "days", "D", "w", "V", "V / D", "U", "U / D", "hours"), rows)
    _kinds_of_months(sheet, sized, year)
    sheet.value("design month", MONTH_NAMES[chosen.done.design_month], "least V / D")
    agree("demand met", year.reliability, float(row["supply_reliability"]))
    agree("demand met in the worst month", year.worst, float(row["supply_reliability_worst_month"]))
    stands = bool(site.stands)
    _shares(sheet, rules, year, "", stands)
    if stands:
        _limited_by(sheet, opened, rules)
    else:
        sheet.text("These volumes, and the costs, are of the mean year. What is wanted is tested in a year of low sun.")
    tap = float(row["volume_used_m3_day"])
    agree("volume used at the tap", year.used_m3_year / 365 * (1 - rules.losses), tap)
    sheet.result(
        "used at the tap, mean day",
        "sum of days × U / 365 × (1 - losses)",
        f"{n(year.used_m3_year)} / 365 × (1 - {n(rules.losses)})",
        tap,
        "m3/d",
        "demand.losses",
    )
    _people(sheet, opened, rules, year)


def _kinds_of_months(sheet: Sheet, sized: Sized, year: Year) -> None:
    """What each kind of day pumps in each month, where kinds are few enough for a line."""
    if int(sized.light.month.kinds.max()) > KINDS:
        return
    sheet.text("s, what a day of each kind pumps, from the dullest to the clearest, m3:")
    largest = float(year.kinds.max())
    rows = [(MONTH_NAMES[m], *even(year.kinds[m, :KINDS], largest)) for m in range(12)]
    sheet.table(("month", *(str(k + 1) for k in range(KINDS))), rows)


def _people(sheet: Sheet, opened: Opened, rules: Record, year: Year) -> None:
    """People of today whose need is met in the worst month."""
    row = opened.row
    people = float(row["people_counted"])
    if np.isnan(people) or np.isnan(row["people_served"]):
        return
    asked = [m for m in range(12) if year.demand[m] > 0.0]
    theirs = {m: float(year.used[m]) * float(row[monthly("people_share")[m]]) for m in asked}
    worst = min(theirs, key=lambda m: theirs[m])
    served = theirs[worst] * 1000 * (1 - rules.losses) / opened.plan.demand.norm_l_person_day
    agree("people served", people + min(people, served), people + float(row["people_served"]))
    share = float(row[monthly("people_share")[worst]])
    sheet.result(
        "people served",
        "least of people and, of all months, 1000 × (1 - losses) × U × people's share of the month / norm",
        f"min({n(people)}, 1000 × (1 - {n(rules.losses)}) × {n(float(year.used[worst]))} × {n(share)} / "
        f"{n(opened.plan.demand.norm_l_person_day)})",
        float(row["people_served"]),
        "people",
        f"today's people; fewest in {MONTH_NAMES[worst]}; demand.norm_l_person_day",
    )


def _shares(sheet: Sheet, rules: Record, year: Year, when: str, wanted: bool) -> None:
    """Shares of the year's and of the worst month's demand, with what is wanted of them where they are tested."""
    asked = float(DAYS @ year.demand)
    at_year = f"wanted: {n(rules.reliability_year)}, equipment.reliability_year" if wanted else ""
    at_month = f"; wanted: {n(rules.reliability_month)}, equipment.reliability_worst_month" if wanted else ""
    sheet.result(
        f"demand met in the year{when}",
        "sum of days × U / sum of days × D",
        f"{n(year.used_m3_year)} / {n(asked)}",
        year.reliability,
        "",
        at_year,
    )
    sheet.value(f"demand met in the worst month{when}", n(year.worst), f"least U / D{at_month}")


def _limited_by(sheet: Sheet, opened: Opened, rules: Record) -> None:
    limited = str(opened.row["supply_limited"])
    if limited:
        said = (
            f"{n(rules.safe_hours_day)} h at the safe rate do not give it"
            if limited == "well"
            else ("the well could, no pump of the catalogue can")
        )
        sheet.value("limited by", limited, said)


def low_sun(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """The twelve months with the sun that the sizing rules count on, and the shares that are tested."""
    row, rules, factor = opened.row, sized.rules, float(sized.site.low_sun)
    year = year_of(sized, chosen, float(rules.design_year), factor)
    days = held_against(sized.light, year, chosen.storage.over_m3)
    sheet.section("The same months in a year of low sun")
    _sizing_factor(sheet, opened, factor)
    sheet.result(
        "W, array in low sun",
        "array after ageing × low sun: an array that much smaller stands for less sun",
        f"{n(chosen.design.array_wp)} × (1 - {n(rules.ageing_year)} × {n(rules.design_year)}) × {n(factor)}",
        year.array_w,
        "W",
    )
    sheet.text(f"U again from the balance of {days.month.size} days, with less pumped on each:")
    rows = []
    for m in range(12):
        demand, volume, used = float(year.demand[m]), float(year.volumes[m]), float(year.used[m])
        share = n(used / demand) if demand > 0 else "-"
        rows.append((MONTH_NAMES[m], f"{DAYS[m]:.0f}", n(demand), n(volume), n(used), share))
    sheet.table(("month", "days", "D", "V", "U", "U / D"), rows)
    _kinds_of_months(sheet, sized, year)
    agree("demand met in low sun", year.reliability, float(row["low_sun_reliability"]))
    agree("demand met in the worst month of low sun", year.worst, float(row["low_sun_reliability_worst_month"]))
    stands = bool(sized.site.stands)
    _shares(sheet, rules, year, " of low sun", not stands)
    if stands:
        sheet.text("A set that stands already is judged by the mean year.")
    else:
        _limited_by(sheet, opened, rules)


def _sizing_factor(sheet: Sheet, opened: Opened, factor: float) -> None:
    """How much of the mean year's sun the sizing rules count on, and why."""
    row, given = opened.row, opened.plan.array.low_year_factor
    zone = str(row["climate_zone"])
    year = float(low_year_factor(np.array([zone]), given)[0])
    name, built_in = "low sun, of the mean year's", row["resource_source"] == "built-in"
    if built_in:
        why = "the built-in sun is taken lower, so that nine in ten places and years have more"
        if given is None:
            sheet.value(name, n(BUILT_IN_SIZING), why)
        else:
            sheet.result(
                name,
                "built-in × array.low_year_factor",
                f"{n(BUILT_IN_SIZING)} × {n(given)}",
                BUILT_IN_SIZING * given,
                "",
                why,
            )
        year = BUILT_IN_SIZING * (given or 1.0)
    elif given is not None:
        sheet.value(name, n(given), "array.low_year_factor")
    else:
        spread = (1.0 - year) / NINE_IN_TEN
        sheet.result(
            name,
            "1 - 1.2816 × spread of years: nine in ten years have more",
            f"1 - {n(NINE_IN_TEN)} × {n(spread)}",
            year,
            "",
            f"spread of a year's irradiation by climate zone, {zone or 'at sea'}; array.low_year_factor",
        )
    agree("sizing factor of irradiation", year, factor)
