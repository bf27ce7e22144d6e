"""Water: the design month knot by knot, the twelve months, and the years from the first to the horizon."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL
from planner.choice.design_checks import SMALL_ARRAY
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, month_label, n
from planner.engine import search
from planner.engine.duty import dynamic_heads_m
from planner.engine.site import Record
from planner.engine.volume import above, curves_of, mean_day, monthly_volumes, no_curves, volume_from
from planner.glossary import monthly
from planner.physics.pumps import CREEP_SPEED_SHARE
from planner.tables.resource import BUILT_IN_SIZING, NINE_IN_TEN, low_year_factor

Floats = NDArray[np.float64]


class Curve(NamedTuple):
    """Flow (m3/h) against power (W) in a month, and the power that starts the pump."""

    power: Floats
    flow: Floats
    start_w: float


class Year(NamedTuple):
    """A year of the horizon: twelve months at the tank inlet, m3/d and hours of the mean day."""

    array_w: float
    demand: Floats
    volumes: Floats
    running: Floats
    used: Floats
    used_m3_year: float
    reliability: float
    worst: float
    curves: list[Curve]


def year_of(sized: Sized, chosen: Chosen, year: float, sun: float = 1.0) -> Year:
    """The design in a year: demand grown, array aged; the same kernels as the search, in the same order.

    sun  of the mean year's, by an array that much smaller
    """
    site, rules, market, duty = sized.site, sized.rules, sized.market, chosen.done.duty
    density, pump, w = sized.well.density_kg_m3, chosen.pump, chosen.design.module
    flows, heads = dynamic_heads_m(duty, site, rules, sized.well, market.risers, market.deliveries)
    demand = site.demand_m3_day * (1.0 + site.growth) ** (year - rules.design_year)
    fixed = (pump, chosen.drive, duty, site, rules, density, pump["slip_life_factor"])
    full = curves_of(*fixed, demand, flows, heads)
    array_w, settled = chosen.design.array_wp * (1.0 - rules.ageing_year * year) * sun, no_curves()
    volumes, running = np.empty(12), np.empty(12)
    monthly_volumes(*fixed, flows, heads, full, demand, sized.light, w, array_w, settled, volumes, running)
    used = np.array(
        [search.used_month(volumes[m], demand[m], site, rules, chosen.tank_m3) for m in range(12)], dtype="float64"
    )
    curves = []
    for m in range(12):
        first, _ = mean_day(
            sized.light, w, m, array_w, full.power_w[m], full.flow_m3_h[m], full.knots[m], full.start_w[m]
        )
        repeated = first * duty.availability < demand[m] and site.memory_d_m2 > 0.0
        at = settled if repeated else full
        knots = int(at.knots[m])
        curves.append(Curve(at.power_w[m, :knots], at.flow_m3_h[m, :knots], float(at.start_w[m])))
    total, reliability, worst = search.used_year(volumes, demand, site, rules, chosen.tank_m3)
    return Year(array_w, demand, volumes, running, used, float(total), float(reliability), float(worst), curves)


def design_month(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """The volume of the design month as the table of knots."""
    m, duty, pump = chosen.done.design_month, chosen.done.duty, chosen.pump
    curve, rules = year.curves[m], sized.rules
    sheet.section(f"Volume of {MONTH_NAMES[m]}, the design month")
    sheet.result(
        "W, array after ageing",
        "rated × (1 - ageing × design year)",
        f"{n(chosen.design.array_wp)} × (1 - {n(rules.ageing_year)} × {n(rules.design_year)})",
        year.array_w,
        "W",
        "array.ageing_year, demand.design_year",
    )
    if curve.power.size == 0:
        sheet.text("No water is lifted at this head.")
        return
    lifted = min(float(year.volumes[m]), float(year.demand[m]))
    sheet.text(
        f"At each flow head, speed and power follow as above (level with V = {n(lifted)} m3/d lifted, the least of "
        "volume and demand, settled to 0.1 %), from the start of flow to the cap or the limit of the set. Between "
        "these knots flow is a straight line of power. Hours with more than P are the hours above x = P / W of the "
        "sun's curve; A is the energy above P in Wh, W × A(x). First knot: flow × hours. Then: (q - q before) / (P - P "
        "before) × (A before - A)."
    )
    rows, run = _knots(sized, chosen.design.module, m, year.array_w, curve, float(curve.power[0]))
    sheet.table(("knot", "P W", "q m3/h", "hours above", "A Wh", "adds m3"), rows)
    exact, _ = _engine_volume(sized, chosen, m, year, float(curve.power[0]))
    agree("sum of the knots", run, exact)
    sheet.value("sum, water while the sun gives more than the first knot", f"{n(run)} m3/d")
    if curve.start_w > curve.power[0]:
        sheet.text(
            "A helical rotor starts against its friction at rest: it breaks away, creeping at "
            f"{n(CREEP_SPEED_SHARE)} of its lowest speed, at {n(curve.start_w)} W only, and once running keeps on down "
            f"to {n(curve.power[0])} W. In the morning it waits, in the afternoon it runs on: the band between counts "
            "half. From the start alone:"
        )
        late_rows, late = _knots(sized, chosen.design.module, m, year.array_w, curve, curve.start_w)
        sheet.table(("knot", "P W", "q m3/h", "hours above", "A Wh", "adds m3"), late_rows)
        exact, _ = _engine_volume(sized, chosen, m, year, curve.start_w)
        agree("sum of the knots from the start", late, exact)
        run = sheet.result(
            "water of the mean day",
            "(while it can run + from its start) / 2",
            f"({n(run)} + {n(late)}) / 2",
            (run + late) / 2,
            "m3/d",
        )
    elif pump["family"] == HELICAL:
        sheet.value("power to start", f"{n(curve.start_w)} W", "not above the first knot")
    volume = float(year.volumes[m])
    agree("volume of the design month", run * duty.availability, volume)
    agree("volume of the design month", volume, float(opened.row[monthly("volume")[m]]))
    sheet.result(
        "pumpable volume",
        "water of the mean day × availability",
        f"{n(run)} × {n(duty.availability)}",
        volume,
        "m3/d",
        "equipment.pump_availability; × 0.97 for priming a surface pump",
    )
    _power_to_run(sheet, opened, sized, chosen, lifted)


def _power_to_run(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, lifted: float) -> None:
    """Power at which water begins to flow, of the array's, beside the limit above which monthly sun is coarse."""
    duty, m, limit = chosen.done.duty, chosen.done.design_month, 100 * SMALL_ARRAY
    flows, heads = dynamic_heads_m(
        duty, sized.site, sized.rules, sized.well, sized.market.risers, sized.market.deliveries
    )
    slip, density = chosen.pump["slip_life_factor"], sized.well.density_kg_m3
    every = np.full(12, lifted)
    curves = curves_of(chosen.pump, chosen.drive, duty, sized.site, sized.rules, density, slip, every, flows, heads)
    watts, rated = float(curves.power_w[m, 0]), chosen.design.array_wp
    agree("power to run", watts / rated, float(opened.row["power_share_to_run"]))
    sheet.result(
        "power to run, of rated",
        "power of the first knot, at the V lifted, / rated power of the array",
        f"{n(watts)} / {n(rated)}",
        watts / rated,
    )
    words = f"not above {n(limit)} %" if watts / rated <= SMALL_ARRAY else f"above {n(limit)} %: the array is small"
    sheet.value("power to run against its limit", f"{n(100 * watts / rated)} %, {words}", "array_small, see Decision")


def _engine_volume(sized: Sized, chosen: Chosen, m: int, year: Year, start_w: float) -> tuple[float, float]:
    curve = year.curves[m]
    volume, hours = volume_from(
        sized.light, chosen.design.module, m, year.array_w, curve.power, curve.flow, curve.power.size, start_w
    )
    return float(volume), float(hours)


def _knots(
    sized: Sized, w: int, m: int, array_w: float, curve: Curve, start_w: float
) -> tuple[list[tuple[str, ...]], float]:
    """Rows of the table of knots from a power up, and what they add up to, m3."""
    points = [(start_w, float(np.interp(start_w, curve.power, curve.flow)))]
    points += [(float(p), float(q)) for p, q in zip(curve.power, curve.flow, strict=True) if p > start_w]
    rows: list[tuple[str, ...]] = []
    total = before = 0.0
    for k, (watts, flow) in enumerate(points):
        hours, energy = above(sized.light, w, m, watts / array_w)
        energy *= array_w
        start, here = points[k - 1] if k else (0.0, 0.0)
        adds = (flow - here) / (watts - start) * (before - energy) if k else flow * hours
        before, total = energy, total + adds
        rows.append((str(k + 1), f"{watts:.3f}", f"{flow:.5f}", n(hours), f"{energy:.3f}", n(adds)))
    return rows, total


def twelve_months(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """Pumpable and used volume of each month, and the shares of the demand that they give."""
    row, site, rules = opened.row, sized.site, sized.rules
    sheet.section("The twelve months of the design year, m3 a day at the tank inlet")
    sheet.text(
        "Used U = least of demand D, pumpable V, V_safe "
        + (
            f"and tank / storage share = {n(chosen.tank_m3)} / {n(rules.storage_share)} = "
            f"{n(chosen.tank_m3 / rules.storage_share)}"
            if rules.storage_share > 0
            else ""
        )
        + f", with V_safe = {n(site.safe_volume_m3_day)} m3/d. V is what the set gives if the tank never fills."
    )
    rows = []
    for m, name in enumerate(monthly("volume")):
        agree(f"volume of {MONTH_NAMES[m]}", float(year.volumes[m]), float(row[name]))
        demand, volume, used = float(year.demand[m]), float(year.volumes[m]), float(year.used[m])
        ratio = n(volume / demand) if demand > 0 else "-"
        share = n(used / demand) if demand > 0 else "-"
        label = month_label(m, chosen.done.design_month)
        rows.append((label, f"{search.DAYS[m]:.0f}", n(demand), n(volume), ratio, n(used), share, n(year.running[m])))
    sheet.table(("month", "days", "D", "V", "V / D", "U", "U / D", "hours"), rows)
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
    people = float(row["people_counted"])
    if not np.isnan(people) and not np.isnan(row["people_served"]):
        least = float((year.used * row["people_share"]).min())
        norm = opened.plan.demand.norm_l_person_day
        sheet.result(
            "people served",
            "least of people and 1000 × (1 - losses) × least U × people's share / norm",
            f"min({n(people)}, 1000 × (1 - {n(rules.losses)}) × {n(least)} / {n(norm)})",
            float(row["people_served"]),
            "people",
            "today's people; demand.norm_l_person_day",
        )


def _shares(sheet: Sheet, rules: Record, year: Year, when: str, wanted: bool) -> None:
    """Shares of the year's and of the worst month's demand, with what is wanted of them where they are tested."""
    asked = float(search.DAYS @ year.demand)
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
    sheet.section("The same months in a year of low sun")
    _sizing_factor(sheet, opened, factor)
    sheet.result(
        "W, array in low sun",
        "array after ageing × low sun: an array that much smaller stands for less sun",
        f"{n(chosen.design.array_wp)} × (1 - {n(rules.ageing_year)} × {n(rules.design_year)}) × {n(factor)}",
        year.array_w,
        "W",
    )
    rows = []
    for m in range(12):
        demand, volume, used = float(year.demand[m]), float(year.volumes[m]), float(year.used[m])
        share = n(used / demand) if demand > 0 else "-"
        rows.append((MONTH_NAMES[m], f"{search.DAYS[m]:.0f}", n(demand), n(volume), n(used), share))
    sheet.table(("month", "days", "D", "V", "U", "U / D"), rows)
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
