"""Bill and life-cycle cost of a set, item by item from the price list, and the present value of its water.

Capital stands at time 0, upkeep and water at year ends. An item of life L is renewed at k L < N; goods are credited
at N with the straight-line value of their unused life, works, labour and transport are not.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from tests.reference.slow_set import Numbers, Row, Set, Stock

DAY = 365


def present(price: float, life: float, rate: float, years: int, residual: bool) -> float:
    """Present value of the renewals of an item, less its rest at the end."""
    factor, rest = _renewals(life, rate, years)
    return price * (factor - (rest if residual else 0.0))


@lru_cache(maxsize=512)
def _renewals(life: float, rate: float, years: int) -> tuple[float, float]:
    count = math.ceil(years / life - 1e-9) - 1  # k L < N
    factor = sum((1 + rate) ** (-k * life) for k in range(1, count + 1))
    return factor, (1 - (years - count * life) / life) * (1 + rate) ** -years


def annuity(rate: float, years: int) -> float:
    return sum((1 + rate) ** -t for t in range(1, years + 1))


def pairs(price: float, life: float, pump_life: float, rate: float, years: int) -> float:
    """Rotor and stator: the clock starts anew with each pump; none in the year before a new pump or the end."""
    total, start = 0.0, 0.0
    while start < years - 1e-9:
        end, due = min(start + pump_life, float(years)), start + life
        while math.ceil(due - 1e-9) < math.ceil(end - 1e-9):
            total += price * (1 + rate) ** -due
            due += life
        start += pump_life
    return total


def pair_life_y(pump: Row, sand_mg_l: float, hours_day: float, slip_at_limit: float) -> float:
    """By hours, by calendar, or when slip, growing in a straight line over the hours, reaches its limit."""
    sand = 0.0 if math.isnan(sand_mg_l) else sand_mg_l
    hours_life = pump["hours_life"] / (1 + sand / pump["wear_sand_mg_l"])
    by_hours = hours_life / (DAY * hours_day) if hours_day > 0 else math.inf
    by_slip = math.inf
    if math.isfinite(slip_at_limit):
        by_slip = by_hours * (slip_at_limit - 1) / (pump["slip_end_factor"] - 1)
    return max(1.0, min(by_hours, by_slip, pump["rotor_stator_cap_y"]))


def lifecycle(
    one: Set, module: Row, array_wp: float, tank: Row, sleeve: bool, pair_life: float, stock: Stock, numbers: Numbers
) -> tuple[float, float]:
    """First cost and life-cycle cost of the whole scheme. pair_life is read for helical rotors only."""
    p, lives, site, pump = stock.prices, stock.lives, one.site, one.pump
    protection = {HELICAL: "relief_and_check_set", SURFACE: "suction_set"}.get(one.family, "check_valve_set")
    cable_m = numbers.cable_to_drive_m + (0.0 if one.family == SURFACE else one.intake_m)
    bought = [
        (module["price_wp"] * array_wp, module["life_y"]),
        (pump["pump_price"], pump["life_y"]),
        (pump["drive_price"], one.drive["life_y"]),
        (p.mounting_wp * array_wp, lives.mounting_wp),
        (p.dc_wiring_wp * array_wp, lives.dc_wiring_wp),
        (p.dc_wiring_site, lives.dc_wiring_site),
        (one.riser["price_m"] * one.intake_m, one.riser["life_corrosive_y" if site.corrosive else "life_y"]),
        (one.cable["price_m"] * cable_m, one.cable["life_y"]),
        (getattr(p, protection), getattr(lives, protection)),
        (p.dry_run_and_level_switch, lives.dry_run_and_level_switch),
    ]
    if sleeve:
        bought.append((p.cooling_sleeve, lives.cooling_sleeve))
    equipment = sum(price for price, _ in bought)
    installation = p.installation_site + p.installation_share * sum(price for price, _ in bought[:3])
    installation += p.installation_helical if one.family == HELICAL else 0.0
    bought += [
        (one.delivery["price_m"] * site.pipe_length_m, one.delivery["life_y"]),
        (tank["price"], tank["life_y"]),
    ]
    works = [
        (p.fence_site + p.fence_wp * array_wp, lives.fence_site),
        (p.tap_stand * site.taps, lives.tap_stand),
        (p.wellhead_civil, lives.wellhead_civil),
        (p.earthing_lightning, lives.earthing_lightning),
        (p.anti_theft_site, lives.anti_theft_site),
    ]
    once = p.pumping_test + p.water_quality_test + 2 * site.road_km * p.transport_km
    watched = sum(price for price, _ in bought + works) + installation + once + p.training_site
    total = watched * (1 + p.supervision_share) + p.supervision_site
    capital = total * (1 + numbers.contingency) * (1 + numbers.tax)
    upkeep = p.om_scheme_year + p.om_scheme_share * equipment + p.om_tank_share * tank["price"] + p.guard_year
    rate, years = numbers.discount_rate, numbers.horizon_y
    cost = capital + upkeep * annuity(rate, years)
    cost += sum(present(price, life, rate, years, True) for price, life in bought)
    cost += sum(present(price, life, rate, years, False) for price, life in works)
    if one.family == HELICAL:
        cost += pairs(pump["rotor_stator_price"], pair_life, pump["life_y"], rate, years)
    return capital, cost


def present_water(first: float, design: float, last: float, numbers: Numbers) -> float:
    """Present value of the years' water, m3: straight lines between year 1, the design year and the last."""
    years = np.arange(1, numbers.horizon_y + 1)
    each = np.interp(years, [1, numbers.design_year, numbers.horizon_y], [first, design, last])
    return float(each @ (1 + numbers.discount_rate) ** -years.astype(float))
