"""The sun on the array: where it comes from, how the array stands, and what a watt of it gives in each month."""

from __future__ import annotations

import math

import numpy as np

from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import DIGITS, MONTH_NAMES, Sheet, month_label, n, plain
from planner.engine.light import TRACKER_MOST_RAD
from planner.engine.sun import CLEARNESS_RANGE, HOURS, TROPIC_DEG
from planner.engine.volume import above
from planner.physics.sky import BINS
from planner.physics.sun import KINDS

FEWER = 4  # digits of what no printed line is worked from
POWERS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)  # W/Wp of the printed curve


def sun(sheet: Sheet, opened: Opened, sized: Sized) -> None:
    """Irradiation, how the array stands, and what a watt of array gives in each month."""
    plan, chosen = opened.plan.array, sized.chosen
    sheet.section("Sun")
    w, month = (chosen.design.module, chosen.done.design_month) if chosen else (0, None)
    _source(sheet, opened, sized)
    if chosen:
        _stand(sheet, opened, sized)
    if opened.context.weather is None:
        _laws(sheet, sized)
    else:
        sheet.text(
            "Each hour with light of the weather file is a step, with its own sun, air and wind; a month's steps share "
            "the 24 hours of its mean day. Global, diffuse and beam light of a month are scaled alike to its "
            "irradiation. Air and wind of the file stand in for those of the months, but for the coldest dawn."
        )
    sheet.text(
        "A watt of array gives light on the plane (Hay & Davies 1980) × (1 - soiling) (1 - shade) (1 - other losses) × "
        "temperature factor (cells after Faiman 2008), less wiring: other losses "
        f"{n(plan.other_losses)}, wiring {n(plan.wiring_loss)} at rated power. Sums on the mean day; wind in m/s; * "
        "design month:"
    )
    _months(sheet, opened, sized, w, month)
    if month is None:
        return
    sheet.text(
        f"Power of the design month ({MONTH_NAMES[month]}): hours of the mean day with more than x W/Wp, and A(x), the "
        "energy above x in Wh/Wp (the area under the hours from x up)."
    )
    found = [(x, *above(sized.light, w, month, x)) for x in POWERS]
    sheet.table(("x W/Wp", "hours above", "A(x)"), [(n(x), n(hours), n(energy)) for x, hours, energy in found])


def _source(sheet: Sheet, opened: Opened, sized: Sized) -> None:
    """Irradiation of the year with its source and range, the climate zone, diffuse light and spread of days."""
    row, plan, climate = opened.row, opened.plan, sized.climate
    if plan.weather is not None:
        scaled = ", its months scaled to rasters.solar" if plan.rasters.solar is not None else ""
        source = f"weather: hours of {plain(plan.weather.file)}{scaled}; latitude of its place"
    elif row["resource_source"] == "raster":
        source = "raster; latitude of its cell"
    else:
        source = "built-in climate of the place; latitude of its cell"
    sheet.value(
        "irradiation, mean of the year on the horizontal",
        f"{n(row['solar_kwh_m2_day'])} kWh/m2/d",
        f"{source} {n(row['solar_latitude'])}°",
    )
    sheet.value(
        "range of a year's irradiation, P10 to P90",
        f"± {n(row['solar_range_share'])} of it",
        "of the built-in climate"
        if row["resource_source"] == "built-in"
        else "uncertainty.solar_share; wider far from the place of a weather file",
    )
    zone = str(row["climate_zone"])
    sheet.value("climate zone", zone or "none: at sea", "Köppen–Geiger, built-in" if zone else "")
    if plan.weather is not None:
        sheet.value("diffuse light and spread of days", "those of the file's hours")
        return
    for name, values, key, law in (
        ("diffuse light", climate.diffuse, "diffuse", "Erbs 1982"),
        ("spread of the days' clearness", climate.clearness_spread, "clearness_spread", "the law of days"),
    ):
        known = int(np.isfinite(values).sum())
        if known:
            sheet.value(
                name,
                "given" if known == 12 else f"given in {known} of 12 months, else modelled by {law}",
                f"rasters.{key}",
            )
        else:
            sheet.value(name, f"not given: modelled by {law}")


def _stand(sheet: Sheet, opened: Opened, sized: Sized) -> None:
    """Tilt and azimuth of a fixed array, or the axis of one that turns."""
    row, plan, plane = opened.row, opened.plan.array, sized.plane
    if plane.tracking:
        most = math.degrees(TRACKER_MOST_RAD)
        sheet.value(
            "mounting", f"turns with the sun about a level north-south axis, {n(most)}° at most", "array.mounting"
        )
        return
    why = "multiple of 5°, from 10°, whose worst month gives most energy for its demand and head"
    if row["engine_status"] == "installed" and not math.isnan(row["existing_tilt_deg"]):
        why = "of the installed array"
    elif plan.tilt_deg is not None:
        why = "array.tilt_deg"
    sheet.value("mounting", "fixed")
    sheet.value("tilt", f"{n(plane.tilt_deg)}°", why)
    sheet.value("azimuth", f"{n(plane.azimuth_deg)}° from north", "towards the equator unless array.azimuth_deg")


def _laws(sheet: Sheet, sized: Sized) -> None:
    """How days, hours and skies are made of monthly means."""
    days = (
        f"Saunier 1987, the law of tropical days: latitude within {n(TROPIC_DEG)}° or climate zone A"
        if sized.climate.tropical
        else f"Bendt 1981 with Herzog 1985: latitude beyond {n(TROPIC_DEG)}° and climate zone not A"
    )
    low, high = CLEARNESS_RANGE
    sheet.value("law of days", days)
    sheet.text(
        f"Each month is {KINDS} equally likely kinds of day, dull to clear (shape of a clearness from {n(low)} to "
        f"{n(high)}), hour by hour (Collares-Pereira & Rabl 1979), and each hour is {BINS} equally likely skies "
        f"(Aguiar & Collares-Pereira 1992); diffuse light: Erbs 1982. {KINDS} × {HOURS} × {BINS} = "
        f"{KINDS * HOURS * BINS} steps a month of 1/{KINDS * BINS} h each, those without sun included."
    )


def _months(sheet: Sheet, opened: Opened, sized: Sized, w: int, month: int | None) -> None:
    """Table of the months; diffuse light and spread have a column where they are given."""
    plan, site, climate = opened.plan.array, sized.site, sized.climate
    hourly = opened.context.weather is not None
    columns = [("kWh/m2/d", climate.ghi, DIGITS)]
    if not hourly:
        given = (("diffuse", climate.diffuse, DIGITS), ("spread", climate.clearness_spread, FEWER))
        columns += [column for column in given if np.isfinite(column[1]).any()]
    columns.append(("air °C", climate.air_temperature_c, FEWER))
    if not hourly:
        columns += [("range K", climate.temperature_range_k, FEWER), ("wind", climate.wind_m_s, FEWER)]
    columns.append(("soiling", np.array(plan.soiling), FEWER))
    rows = []
    for m in range(12):
        lit, energy = above(sized.light, w, m, 0.0)
        ratio = n(site.demand_m3_day[m] / energy) if energy > 0.0 else "-"
        cells = [n(float(values[m]), digits) for _, values, digits in columns]
        rows.append((month_label(m, month), *cells, n(lit), n(energy), ratio))
    sheet.table(("month", *(head for head, _, _ in columns), "h lit", "Wh/Wp", "D/(Wh/Wp)"), rows)
