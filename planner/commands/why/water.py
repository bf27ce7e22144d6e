"""Water of the design month, knot by knot, and a year of the design as the engine counts it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL
from planner.choice.design_checks import SMALL_ARRAY
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, n
from planner.engine.balance import LEDGER, YEAR, water_used
from planner.engine.curve import FAN
from planner.engine.light import MOST_KINDS
from planner.engine.room import blank
from planner.engine.site import Record
from planner.engine.volume import above, curves, month_curve, open_year, volume_from, year_curves
from planner.glossary import monthly
from planner.physics.pumps import CREEP_SPEED_SHARE

Floats = NDArray[np.float64]

ROUNDING = 1e-12


class Year(NamedTuple):
    """A year of the horizon: twelve months at the tank inlet, m3/d and hours of the mean day."""

    array_w: float
    demand: Floats
    wanted: Floats  # of the demand, what well and tank allow a day to use
    volumes: Floats
    running: Floats
    used: Floats
    kinds: Floats  # (12, kinds) what a day of each kind pumps, at most what the well may give; 0 beyond a month's kinds
    used_m3_year: float
    reliability: float
    worst: float
    curves: list[Record]  # flow against power of each month, at the volume that is lifted in it
    engine: Record  # the engine's own record of the year


def year_of(sized: Sized, chosen: Chosen, year: float, sun: float = 1.0, slip: float | None = None) -> Year:
    """The design in a year: demand grown, array aged; the same kernels as the search, in the same order.

    sun   of the mean year's, by an array that much smaller
    slip  of a helical rotor over new; that of mid-life where it is not given
    """
    site, rules, rig, duty, w = sized.site, sized.rules, chosen.rig, chosen.done.duty, chosen.design.module
    if slip is None:
        slip = float(chosen.pump["slip_life_factor"])
    share = (1.0 + site.growth) ** (year - rules.design_year)
    array_w = chosen.design.array_wp * (1.0 - rules.ageing_year * year) * sun
    full, own, found, ledger, fan = curves(), curves(), blank(YEAR), blank(LEDGER), blank(FAN)
    open_year(rig, duty, slip, fan)
    year_curves(rig, duty, fan, share, full)
    used, reliability, worst = water_used(
        rig, duty, fan, sized.light, w, array_w, share, full, own, chosen.storage, found, ledger
    )
    demand = share * site.demand_m3_day
    wanted = np.minimum(demand, chosen.storage.day_m3)
    return Year(
        array_w,
        demand,
        wanted,
        found.volume.copy(),
        found.hours.copy(),
        np.where(found.used > ROUNDING * wanted, found.used, 0.0),  # of a dark month rounding is left over
        ledger.pumped.reshape(12, MOST_KINDS),
        float(used),
        float(reliability),
        float(worst) if worst > ROUNDING else 0.0,
        [own[m] if found.own[m] else full[m] for m in range(12)],
        found,
    )


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
    if curve["knots"] == 0:
        sheet.text("No water is lifted at this head.")
        return
    lifted = min(float(year.volumes[m]), float(year.demand[m]))
    sheet.text(
        f"At each flow head, speed and power follow as above (level with V = {n(lifted)} m3/d lifted, the least of "
        "volume and demand), from the start of flow to the cap or the limit of the set; the flows are those of the "
        "curve at the highest level. Between these knots flow is a straight line of power. Hours with more than P are "
        "the hours above x = P / W of the sun's curve; A is the energy above P in Wh, W × A(x). First knot: flow × "
        "hours. Then: (q - q before) / (P - P before) × (A before - A)."
    )
    first, start = float(curve["power_w"][0]), float(curve["start_w"])
    run = _table_of_knots(sheet, sized, chosen, year, first)
    sheet.value("sum, water while the sun gives more than the first knot", f"{n(run)} m3/d")
    if start > first:
        sheet.text(
            "A helical rotor starts against its friction at rest: it breaks away, creeping at "
            f"{n(CREEP_SPEED_SHARE)} of its lowest speed, at {n(start)} W only, and once running keeps on down "
            f"to {n(first)} W. In the morning it waits, in the afternoon it runs on: the band between counts "
            "half. From the start alone:"
        )
        late = _table_of_knots(sheet, sized, chosen, year, start)
        run = sheet.result(
            "water of the mean day",
            "(while it can run + from its start) / 2",
            f"({n(run)} + {n(late)}) / 2",
            (run + late) / 2,
            "m3/d",
        )
    elif pump["family"] == HELICAL:
        sheet.value("power to start", f"{n(start)} W", "not above the first knot")
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
    _power_to_run(sheet, opened, chosen, lifted)


def _power_to_run(sheet: Sheet, opened: Opened, chosen: Chosen, lifted: float) -> None:
    """Power at which water begins to flow, of the array's, beside the limit above which monthly sun is coarse."""
    m, limit, curve = chosen.done.design_month, 100 * SMALL_ARRAY, curves()[0]
    fan: Record = blank(FAN)
    open_year(chosen.rig, chosen.done.duty, chosen.pump["slip_life_factor"], fan)
    month_curve(chosen.rig, chosen.done.duty, fan, m, lifted, curve)
    watts, rated = float(curve["power_w"][0]), float(chosen.design.array_wp)
    agree("power to run", watts / rated, float(opened.row["power_share_to_run"]))
    sheet.result(
        "power to run, of rated",
        "power of the first knot, at the V lifted, / rated power of the array",
        f"{n(watts)} / {n(rated)}",
        watts / rated,
    )
    words = f"not above {n(limit)} %" if watts / rated <= SMALL_ARRAY else f"above {n(limit)} %: the array is small"
    sheet.value("power to run against its limit", f"{n(100 * watts / rated)} %, {words}", "array_small, see Decision")


def _table_of_knots(sheet: Sheet, sized: Sized, chosen: Chosen, year: Year, start_w: float) -> float:
    """The knots from a power up with what each adds, held against the engine; returns their sum, m3."""
    m, w = chosen.done.design_month, chosen.design.module
    curve, count = year.curves[m], int(year.curves[m]["knots"])
    power, flow = curve["power_w"][:count], curve["flow_m3_h"][:count]
    points = [(start_w, float(np.interp(start_w, power, flow)))]
    points += [(float(p), float(q)) for p, q in zip(power, flow, strict=True) if p > start_w]
    rows: list[tuple[str, ...]] = []
    total = before = 0.0
    for k, (watts, here) in enumerate(points):
        hours, energy = above(sized.light, w, m, watts / year.array_w)
        energy *= year.array_w
        start, from_flow = points[k - 1] if k else (0.0, 0.0)
        adds = (here - from_flow) / (watts - start) * (before - energy) if k else here * hours
        before, total = energy, total + adds
        # Flow and power by so many digits that their steps can be worked out again where two knots all but meet.
        rows.append((str(k + 1), f"{watts:.4f}", f"{here:.7f}", n(hours), f"{energy:.3f}", n(adds)))
    sheet.table(("knot", "P W", "q m3/h", "hours above", "A Wh", "adds m3"), rows)
    exact, _ = volume_from(sized.light, w, m, year.array_w, curve, start_w)
    agree("sum of the knots", total, float(exact))
    return total
