"""How long rotor and stator of a helical pump last: hours, calendar, or slip that makes a month fall short."""

from __future__ import annotations

import math

from planner.commands.why.opened import Chosen, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, n
from planner.commands.why.water import Year, year_of
from planner.engine import cost, weigh
from planner.engine.sun import DAYS

FINE = 9  # digits of volumes whose difference is worked with


def pair_life(sheet: Sheet, sized: Sized, chosen: Chosen, year: Year) -> float:
    """Years a rotor and stator last; `year` is the design year at the slip of mid-life."""
    pump, site = chosen.pump, sized.site
    sand = 0.0 if math.isnan(site.sand_mg_l) else float(site.sand_mg_l)
    clean, wear, calendar = (float(pump[name]) for name in ("hours_life", "wear_sand_mg_l", "rotor_stator_cap_y"))
    hours_day = float(DAYS @ year.running) / 365
    by_hours = sheet.result(
        "rotor and stator, life by hours",
        "hours in clean water / (1 + sand / wear) / hours a year",
        f"{n(clean)} / (1 + {n(sand)} / {n(wear)}) / max({n(hours_day)} × 365, 1)",
        clean / (1 + sand / wear) / max(hours_day * 365, 1.0),
        "years",
        "catalogue; sand of the inventory",
    )
    bounds = [n(by_hours), n(calendar)]
    slip = _slip_at_limit(sheet, sized, chosen, year) if chosen.design.meets else math.inf
    end = float(pump["slip_end_factor"])
    if slip < end:
        worn = sheet.result(
            "life until a month falls short",
            "life by hours × (slip at the limit - 1) / (slip at the end - 1), slip rising in a straight line from new",
            f"{n(by_hours)} × ({n(slip)} - 1) / ({n(end)} - 1)",
            by_hours * (slip - 1) / (end - 1),
            "years",
        )
        bounds.append(n(worn))
    life = float(cost.rotor_stator_life_y(pump, site.sand_mg_l, hours_day, slip))
    agree("life of rotor and stator", life, float(chosen.design.rotor_life_y))
    return sheet.result(
        "rotor and stator, life",
        "least of these and the calendar cap, at least a year",
        f"max(min({', '.join(bounds)}), 1)",
        life,
        "years",
        "bought on that clock, restarted with each pump; none in the year before a new pump or the horizon",
    )


def _slip_at_limit(sheet: Sheet, sized: Sized, chosen: Chosen, year: Year) -> float:
    """Slip over new at which the first month of the mean year has less than its share; infinite where none has."""
    pump, rules = chosen.pump, sized.rules
    middle, end = float(pump["slip_life_factor"]), float(pump["slip_end_factor"])
    worn = year_of(sized, chosen, float(rules.design_year), slip=end)
    slip = float(weigh.worn_out_slip(pump, sized.site, rules, year.engine, worn.engine))
    targets = rules.reliability_month * sized.site.demand_m3_day
    sheet.text(
        f"Wear lets more water slip back. U of the design year, m3 a day, with slip {n(middle)} × new (mid-life) and "
        f"{n(end)} × new (end), and what a month must have, {n(rules.reliability_month)} of D, "
        "equipment.reliability_worst_month:"
    )
    rows = []
    for m in range(12):
        cells = (n(float(one), FINE) for one in (year.used[m], worn.used[m], targets[m]))
        rows.append((MONTH_NAMES[m], *cells))
    sheet.table(("month", "U at mid-life", "U at the end", "wanted"), rows)
    short = [m for m in range(12) if worn.used[m] < targets[m]]
    if not short:
        sheet.value("life until a month falls short", "no month does")
        return slip
    found = {m: _slip_of(middle, end, float(year.used[m]), float(worn.used[m]), float(targets[m])) for m in short}
    m = min(found, key=lambda one: found[one])
    agree("slip at the limit", found[m], slip)
    before, after, target = (n(float(one), FINE) for one in (year.used[m], worn.used[m], targets[m]))
    sheet.result(
        f"slip at the limit, of new: {MONTH_NAMES[m]} falls short first",
        "mid-life + (U at mid-life - wanted) / (U at mid-life - U at the end) × (end - mid-life)",
        f"{n(middle)} + max({before} - {target}, 0) / ({before} - {after}) × ({n(end)} - {n(middle)})",
        slip,
    )
    return slip


def _slip_of(middle: float, end: float, used: float, worn: float, target: float) -> float:
    return middle + max(used - target, 0.0) / (used - worn) * (end - middle)
