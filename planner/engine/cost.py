"""What a design costs over the plan's horizon, inside two boundaries.

equipment  array, mounting, wiring, pump, drive, riser, cable, protection, their installation and upkeep
scheme     equipment and delivery pipe, tank, taps, civil works, fence, earthing, tests, transport, training,
           supervision and upkeep

Real money of the plan's price year: capital at time 0, upkeep at year ends, replacements when a life ends
before the horizon, unused life of goods credited at the end.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, STEEL, SURFACE
from planner.engine.site import Record, Records
from planner.physics.equation import kernel
from planner.physics.money import annuity_factor, discount_factor, replacement_factor, residual_factor

Floats = NDArray[np.float64]


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

    capital: float  # scheme, supervision, contingency and tax included
    lifecycle: float  # scheme: capital, replacements and upkeep less residual, present value
    equipment_lifecycle: float


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


# The bill of a design, in order: item, boundary, whether its unused life is worth anything (goods, not works).
ITEMS = (
    ("modules", "equipment", True),
    ("pump and motor", "equipment", True),
    ("drive", "equipment", True),
    ("mounting", "equipment", True),
    ("array wiring", "equipment", True),
    ("isolators and fuses", "equipment", True),
    ("riser", "equipment", True),
    ("motor cable", "equipment", True),
    ("valves or suction set", "equipment", True),
    ("dry-run and level switch", "equipment", True),
    ("cooling sleeve", "equipment", True),
    ("installation", "equipment", False),
    ("delivery pipe", "scheme", True),
    ("tank on stand", "scheme", True),
    ("fence", "scheme", False),
    ("tap stands", "scheme", False),
    ("wellhead", "scheme", False),
    ("earthing and lightning", "scheme", False),
    ("pumping test", "scheme", False),
    ("water-quality test", "scheme", False),
    ("transport", "scheme", False),
    ("theft protection", "scheme", False),
    ("training", "scheme", False),
    ("supervision", "scheme", False),  # last: a share of all others
)
EQUIPMENT_ITEMS = sum(boundary == "equipment" for _, boundary, _ in ITEMS)
EQUIPMENT_GOODS = sum(boundary == "equipment" and goods for _, boundary, goods in ITEMS)
IS_GOODS = np.array([goods for _, _, goods in ITEMS])
TANK = [item for item, _, _ in ITEMS].index("tank on stand")
SUPERVISION = len(ITEMS) - 1


@kernel
def bill(design: Record, intake_m: float, site: Record, rules: Record, market: Market) -> tuple[Floats, Floats]:
    """Price and life (years, 0 once only) of each of ITEMS of a design."""
    pump, prices, lives = market.pumps[design.pump], market.prices, market.lives
    module, riser, cable = market.modules[design.module], market.risers[design.riser], market.cables[design.cable]
    delivery = market.deliveries[design.delivery]
    array_wp, family = design.array_wp, pump.family
    price, life = np.zeros(len(ITEMS)), np.zeros(len(ITEMS))
    price[0], life[0] = module.price_wp * array_wp, module.life_y
    price[1], life[1] = pump.pump_price, pump.life_y
    price[2], life[2] = pump.drive_price, market.drives[pump.drive].life_y
    price[3], life[3] = prices.mounting_wp * array_wp, lives.mounting_wp
    if rules.tracking:
        price[3], life[3] = prices.mounting_tracker_wp * array_wp, lives.mounting_tracker_wp
    price[4], life[4] = prices.dc_wiring_wp * array_wp, lives.dc_wiring_wp
    price[5], life[5] = prices.dc_wiring_site, lives.dc_wiring_site
    price[6] = riser.price_m * intake_m
    life[6] = riser.life_corrosive_y if site.corrosive and riser.material == STEEL else riser.life_y
    price[7] = cable.price_m * (rules.cable_to_drive_m + (0.0 if family == SURFACE else intake_m))
    life[7] = cable.life_y
    if family == HELICAL:
        price[8], life[8] = prices.relief_and_check_set, lives.relief_and_check_set
    elif family == SURFACE:  # its foot valve holds the water
        price[8], life[8] = prices.suction_set, lives.suction_set
    else:
        price[8], life[8] = prices.check_valve_set, lives.check_valve_set
    price[9], life[9] = prices.dry_run_and_level_switch, lives.dry_run_and_level_switch
    if design.sleeve:
        price[10], life[10] = prices.cooling_sleeve, lives.cooling_sleeve
    price[11] = prices.installation_site + prices.installation_share * (price[0] + price[1] + price[2])
    if family == HELICAL:
        price[11] += prices.installation_helical
    price[12], life[12] = delivery.price_m * site.pipe_length_m, delivery.life_y
    price[13], life[13] = market.tanks[design.tank].price, market.tanks[design.tank].life_y
    price[14], life[14] = prices.fence_site + prices.fence_wp * array_wp, lives.fence_site
    price[15], life[15] = prices.tap_stand * site.taps, lives.tap_stand
    price[16], life[16] = prices.wellhead_civil, lives.wellhead_civil
    price[17], life[17] = prices.earthing_lightning, lives.earthing_lightning
    price[18] = prices.pumping_test
    price[19] = prices.water_quality_test
    price[20] = prices.transport_km * 2.0 * site.road_km  # there and back
    price[21], life[21] = prices.anti_theft_site, lives.anti_theft_site
    price[22] = prices.training_site
    price[SUPERVISION] = prices.supervision_site + prices.supervision_share * price[:SUPERVISION].sum()
    return price, life


@kernel
def renewal(price: float, life_y: float, is_goods: bool, rules: Record) -> float:
    """Present value of replacing an item over the horizon, less what is left of it if it is goods."""
    if price == 0.0 or life_y <= 0.0:
        return 0.0
    value = price * replacement_factor(rules.discount_rate, life_y, rules.horizon_y)
    if is_goods and rules.residual:
        value -= price * residual_factor(rules.discount_rate, life_y, rules.horizon_y)
    return value


@kernel
def upkeep_year(price: Floats, array_wp: float, rules: Record, market: Market) -> tuple[float, float]:
    """Upkeep a year of the scheme and of the equipment."""
    prices = market.prices
    goods = price[:EQUIPMENT_GOODS].sum()
    scheme = prices.om_scheme_year + prices.om_scheme_share * goods
    scheme += prices.om_tank_share * price[TANK] + prices.guard_year
    tracker = prices.om_tracker_wp * array_wp if rules.tracking else 0.0
    return scheme + tracker, prices.om_equipment_year + prices.om_equipment_share * goods + tracker


@kernel
def design_cost(
    design: Record, intake_m: float, rotor_stator_y: float, site: Record, rules: Record, market: Market
) -> Money:  # fmt: skip
    """Costs of a design, item by item."""
    pump = market.pumps[design.pump]
    price, life = bill(design, intake_m, site, rules, market)
    capital = price.sum() * (1.0 + rules.contingency) * (1.0 + rules.tax)
    capital_equipment = price[:EQUIPMENT_ITEMS].sum() * (1.0 + rules.contingency_equipment) * (1.0 + rules.tax)
    later = later_equipment = 0.0
    for item in range(price.size):
        value = renewal(price[item], life[item], IS_GOODS[item], rules)
        later += value
        if item < EQUIPMENT_ITEMS:
            later_equipment += value
    if pump.family == HELICAL:
        pairs = rotor_stator_cost(pump.rotor_stator_price, rotor_stator_y, pump.life_y, rules)
        later += pairs
        later_equipment += pairs
    upkeep, upkeep_equipment = upkeep_year(price, design.array_wp, rules, market)
    annuity = annuity_factor(rules.discount_rate, rules.horizon_y)
    return Money(
        capital,
        capital + later + upkeep * annuity,
        capital_equipment + later_equipment + upkeep_equipment * annuity,
    )


def price_market(market: Market, rules: Record) -> None:
    """Fill `worth` of everything that can be bought, and of what every site pays.

    The worth of a thing is its life-cycle cost, scheme boundary: first cost with supervision, contingency and tax,
    replacements and upkeep over the horizon less what is left at its end, present value. Costs add up, so a design's is
    the sum of the worth of its parts (`design_cost` says the same, item by item): of a pump (with its drive, valves and
    all that each site pays besides), of a watt-peak with mounting, wiring and fence, of a metre of pipe or cable, of a
    tank.
    """
    prices, lives = market.prices, market.lives
    supervised = (1.0 + rules.contingency) * (1.0 + rules.tax)
    first = supervised * (1.0 + prices.supervision_share)
    annuity = float(annuity_factor(rules.discount_rate, rules.horizon_y))

    def item(price: Any, life_y: Any, goods: bool, upkeep_share: float) -> Any:
        later = np.vectorize(lambda one, life: renewal(one, life, goods, rules), otypes=[float])(price, life_y)
        return price * (first + upkeep_share * annuity) + later

    share = prices.om_scheme_share
    site = item(prices.dc_wiring_site, lives.dc_wiring_site, True, share)
    site += item(prices.dry_run_and_level_switch, lives.dry_run_and_level_switch, True, share)
    site += item(prices.fence_site, lives.fence_site, False, 0.0)
    site += item(prices.wellhead_civil, lives.wellhead_civil, False, 0.0)
    site += item(prices.earthing_lightning, lives.earthing_lightning, False, 0.0)
    site += item(prices.anti_theft_site, lives.anti_theft_site, False, 0.0)
    site += first * (prices.pumping_test + prices.water_quality_test + prices.installation_site + prices.training_site)
    site += supervised * prices.supervision_site
    site += annuity * (prices.om_scheme_year + prices.guard_year)

    pumps, family = market.pumps, market.pumps["family"]
    valves = np.array([prices.relief_and_check_set, prices.check_valve_set, prices.suction_set])
    valve_lives = np.array([lives.relief_and_check_set, lives.check_valve_set, lives.suction_set])
    pump = site + item(pumps["pump_price"], pumps["life_y"], True, share)
    pump += item(pumps["drive_price"], market.drives["life_y"][pumps["drive"]], True, share)
    pump += first * prices.installation_share * (pumps["pump_price"] + pumps["drive_price"])
    pump += item(valves[family], valve_lives[family], True, share)
    pumps["worth"] = pump + np.where(family == HELICAL, first * prices.installation_helical, 0.0)

    modules = market.modules
    mounting = "mounting_tracker_wp" if rules.tracking else "mounting_wp"
    module = item(modules["price_wp"], modules["life_y"], True, share)
    module += first * prices.installation_share * modules["price_wp"]
    module += item(prices[mounting], lives[mounting], True, share)
    module += item(prices.dc_wiring_wp, lives.dc_wiring_wp, True, share)
    module += item(prices.fence_wp, lives.fence_site, False, 0.0)
    modules["worth"] = module + (annuity * prices.om_tracker_wp if rules.tracking else 0.0)

    risers = market.risers
    corrosive = np.where(risers["material"] == STEEL, risers["life_corrosive_y"], risers["life_y"])
    risers["worth"] = item(risers["price_m"], risers["life_y"], True, share)
    risers["worth_corrosive"] = item(risers["price_m"], corrosive, True, share)
    market.cables["worth"] = item(market.cables["price_m"], market.cables["life_y"], True, share)
    market.deliveries["worth"] = item(market.deliveries["price_m"], market.deliveries["life_y"], True, 0.0)
    market.tanks["worth"] = item(market.tanks["price"], market.tanks["life_y"], True, prices.om_tank_share)
    rules.sleeve_worth = item(prices.cooling_sleeve, lives.cooling_sleeve, True, share)
    rules.tap_worth = item(prices.tap_stand, lives.tap_stand, False, 0.0)
    rules.km_worth = first * prices.transport_km * 2.0
    rules.water_first = present_volume(1.0, 0.0, 0.0, rules)
    rules.water_design = present_volume(0.0, 1.0, 0.0, rules)
    rules.water_last = present_volume(0.0, 0.0, 1.0, rules)


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
