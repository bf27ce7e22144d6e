"""What a design costs over the plan's horizon, inside two boundaries.

equipment  array, mounting, wiring, pump, drive, riser, cable, protection, their installation and upkeep
scheme     equipment and delivery pipe, tank, taps, civil works, fence, earthing, tests, transport and upkeep

Real money of the plan's price year: capital at time 0, upkeep at year ends, replacements when a life ends
before the horizon, unused life of goods credited at the end.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from planner.catalogue.arrays import HELICAL, STEEL, SURFACE
from planner.engine.duty import Duty
from planner.engine.site import Record, Records
from planner.physics.equation import kernel
from planner.physics.money import annuity_factor, discount_factor, replacement_factor, residual_factor


class Market(NamedTuple):
    """Everything that can be bought."""

    pumps: Records
    drives: Records
    modules: Records
    risers: Records
    deliveries: Records
    cables: Records
    tanks: Records
    prices: Record
    lives: Record


class Money(NamedTuple):
    """Costs of a design, plan currency of the price year."""

    capital: float  # scheme, contingency and tax included
    lifecycle: float  # scheme: capital, replacements and upkeep less residual, present value
    equipment_lifecycle: float


@kernel
def goods(price: float, life_y: float, rules: Record) -> float:
    """Present value of replacing a part over the horizon less what is left of it, without its first price."""
    if price == 0.0 or life_y <= 0.0:
        return 0.0
    value = price * replacement_factor(rules.discount_rate, life_y, rules.horizon_y)
    if rules.residual:
        value -= price * residual_factor(rules.discount_rate, life_y, rules.horizon_y)
    return value


@kernel
def works(price: float, life_y: float, rules: Record) -> float:
    """The same for works: they are renewed, but nothing of them can be sold."""
    if price == 0.0 or life_y <= 0.0:
        return 0.0
    return price * replacement_factor(rules.discount_rate, life_y, rules.horizon_y)


@kernel
def rotor_stator_life_y(pump: Record, sand_mg_l: float, hours_day: float, slip_at_limit: float) -> float:
    """Years a rotor and stator last: by hours, by calendar, or until slip makes the worst month fall short.

    slip_at_limit  slip ÷ new slip at which the worst month just meets its target; infinite if it always does
    """
    sand = sand_mg_l if sand_mg_l > 0.0 else 0.0
    hours = pump.hours_life / (1.0 + sand / pump.wear_sand_mg_l)
    by_hours = hours / max(hours_day * 365.0, 1.0)
    life = min(by_hours, pump.rotor_stator_cap_y)
    if slip_at_limit < pump.slip_end_factor:
        life = min(life, by_hours * (slip_at_limit - 1.0) / (pump.slip_end_factor - 1.0))
    return max(life, 1.0)


@kernel
def rotor_stator_cost(price: float, life_y: float, pump_life_y: float, rules: Record) -> float:
    """Present value of the pairs bought; the clock restarts with a new pump, and none is bought in the year
    before a new pump or before the horizon."""
    total = 0.0
    start = 0.0
    while start < rules.horizon_y - 1e-9:
        end = min(start + pump_life_y, rules.horizon_y)
        at = start + life_y
        while at < end - 1e-9 and math.ceil(at - 1e-9) < math.ceil(end - 1e-9):
            total += price * discount_factor(rules.discount_rate, at)
            at += life_y
        start += pump_life_y
    return total


@kernel
def design_cost(
    j: int, w: int, array_wp: float, duty: Duty, sleeve: bool, tank: int, rotor_stator_y: float, site: Record,
    rules: Record, market: Market,
) -> Money:  # fmt: skip
    """Costs of pump j with `array_wp` of module w, its pipes, cable and tank."""
    pump, prices, lives = market.pumps[j], market.prices, market.lives
    module, riser, cable = market.modules[w], market.risers[duty.riser], market.cables[duty.cable]
    delivery = market.deliveries[duty.delivery]
    family = pump.family
    array = module.price_wp * array_wp

    goods_now = array + pump.pump_price + pump.drive_price
    later = goods(array, module.life_y, rules)
    later += goods(pump.pump_price, pump.life_y, rules)
    later += goods(pump.drive_price, market.drives[pump.drive].life_y, rules)
    later += goods(prices.mounting_wp * array_wp, lives.mounting_wp, rules)
    goods_now += prices.mounting_wp * array_wp
    later += goods(prices.dc_wiring_wp * array_wp, lives.dc_wiring_wp, rules)
    later += goods(prices.dc_wiring_site, lives.dc_wiring_site, rules)
    goods_now += prices.dc_wiring_wp * array_wp + prices.dc_wiring_site

    riser_price = riser.price_m * duty.intake_m
    riser_life = riser.life_corrosive_y if site.corrosive and riser.material == STEEL else riser.life_y
    cable_price = cable.price_m * (rules.cable_to_drive_m + (0.0 if family == SURFACE else duty.intake_m))
    later += goods(riser_price, riser_life, rules) + goods(cable_price, cable.life_y, rules)
    goods_now += riser_price + cable_price

    if family == HELICAL:
        protection, protection_life = prices.relief_and_check_set, lives.relief_and_check_set
    elif family == SURFACE:  # its foot valve holds the water
        protection, protection_life = prices.suction_set, lives.suction_set
    else:
        protection, protection_life = prices.check_valve_set, lives.check_valve_set
    later += goods(protection, protection_life, rules)
    later += goods(prices.dry_run_and_level_switch, lives.dry_run_and_level_switch, rules)
    goods_now += protection + prices.dry_run_and_level_switch
    if sleeve:
        later += goods(prices.cooling_sleeve, lives.cooling_sleeve, rules)
        goods_now += prices.cooling_sleeve
    if family == HELICAL:
        later += rotor_stator_cost(pump.rotor_stator_price, rotor_stator_y, pump.life_y, rules)

    installation = prices.installation_site + prices.installation_share * (array + pump.pump_price + pump.drive_price)
    if family == HELICAL:
        installation += prices.installation_helical
    equipment = goods_now + installation

    delivery_price = delivery.price_m * site.pipe_length_m
    tank_price = market.tanks[tank].price
    fence = prices.fence_site + prices.fence_wp * array_wp
    taps = prices.tap_stand * site.taps
    scheme_later = later
    scheme_later += goods(delivery_price, delivery.life_y, rules)
    scheme_later += goods(tank_price, market.tanks[tank].life_y, rules)
    scheme_later += works(fence, lives.fence_site, rules) + works(taps, lives.tap_stand, rules)
    scheme_later += works(prices.wellhead_civil, lives.wellhead_civil, rules)
    scheme_later += works(prices.earthing_lightning, lives.earthing_lightning, rules)
    scheme = equipment + delivery_price + tank_price + fence + taps + prices.wellhead_civil + prices.earthing_lightning
    scheme += prices.pumping_test + prices.water_quality_test
    scheme += prices.transport_km * 2.0 * site.distance_km * rules.detour  # there and back

    annuity = annuity_factor(rules.discount_rate, rules.horizon_y)
    upkeep_equipment = prices.om_equipment_year + prices.om_equipment_share * goods_now
    upkeep_scheme = prices.om_scheme_year + prices.om_scheme_share * goods_now
    upkeep_scheme += prices.om_tank_share * tank_price + prices.guard_year

    capital = scheme * (1.0 + rules.contingency) * (1.0 + rules.tax)
    capital_equipment = equipment * (1.0 + rules.contingency_equipment) * (1.0 + rules.tax)
    return Money(
        capital,
        capital + scheme_later + upkeep_scheme * annuity,
        capital_equipment + later + upkeep_equipment * annuity,
    )


@kernel
def present_volume(first: float, design: float, last: float, rules: Record) -> float:
    """Present value of the water used, m3, from the volumes of year 1, the design year and the last; linear
    between."""
    total = 0.0
    horizon = int(rules.horizon_y)
    for year in range(1, horizon + 1):
        if year <= rules.design_year and rules.design_year > 1.0:
            part = (year - 1.0) / (rules.design_year - 1.0)
            volume = first + part * (design - first)
        elif rules.horizon_y > rules.design_year:
            part = (year - rules.design_year) / (rules.horizon_y - rules.design_year)
            volume = design + part * (last - design)
        else:
            volume = design
        total += volume * discount_factor(rules.discount_rate, float(year))
    return total
