"""The choice of one site: of every pump × module × strings that can be built, the cheapest that will do.

A design meets the demand when every month gets at least the plan's share of it, and the year its share, with as
much less sun as the rules count on (`Site.low_sun`; an array that much smaller stands for it). Among those the
least life-cycle cost per cubic metre used wins; volumes and costs are of the mean year. When no design meets the
demand, the designs that give at least 0.9 of the most water that any gives compete instead. Equal costs (to 0.1 %)
go to the smaller array, then to the pump that comes first by id. Nothing is skipped: the search is exhaustive in
pump, module and strings; riser, delivery pipe, cable and tank follow from rules (`engine.duty`, `tank_for`).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.cost import Market, design_cost, present_volume, rotor_stator_life_y
from planner.engine.duty import (
    FITS,
    NO_COOLING,
    NO_VOLTAGE_WINDOW,
    dynamic_heads_m,
    fit_pump,
    well_limits,
)
from planner.engine.light import Light
from planner.engine.site import Record, Records
from planner.engine.volume import curves_of, monthly_volumes, no_curves
from planner.physics.equation import kernel
from planner.physics.photovoltaic import series_maximum, series_minimum

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

DAYS = np.array([31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])
LIMITED_SHARE = 0.9  # of the most water, for designs that compete when the demand cannot be met
TIE = 1e-3
# Motor cooling, trade practice: water past the motor at 0.08 m/s, none needed for small losses in cool water.
COOLING_M_S = 0.08
COOLING_FREE_C = 30.0
COOLING_FREE_LOSS_W = 250.0
SLEEVE_MM = 12.0
CLEARANCE_MM = 6.0


class Design(NamedTuple):
    """One buildable design; `NO_DESIGN`, with pump -1, stands where there is none."""

    pump: int
    module: int
    series: int
    parallel: int
    array_wp: float
    tank: int
    sleeve: bool
    meets: bool  # meets the demand by the plan's shares
    used_m3_year: float  # at the tank inlet, design year
    cost_per_m3: float
    capital: float
    lifecycle: float
    equipment_lifecycle: float
    present_m3: float


NO_DESIGN = Design(-1, -1, 0, 0, 0.0, -1, False, False, 0.0, np.inf, 0.0, 0.0, 0.0, 0.0)


class Choice(NamedTuple):
    """The chosen design, what the best of each family costs, and what stopped the families that have none."""

    chosen: Design
    best_cost: Floats  # (3) cost per m3 of each family's best design that competes; inf where none does
    rule: Integers  # (3) FITS when a pump can be built, else what stopped the furthest; -1: no such pump
    value: Floats  # (3) what that rule found, 0 with FITS
    limit: Floats  # (3) what it allows, 0 with FITS


@kernel
def series_window(module: Record, drive: Record, record_low_c: float, hot_c: float) -> tuple[int, int]:
    """Fewest and most modules in series: hot above the drive's lowest voltage, cold below its limits."""
    fewest = series_minimum(drive.mpp_min_v, module.vmp_v, module.gamma_vmp_per_k, hot_c)
    most = series_maximum(
        drive.v_max_v, drive.mpp_max_v, module.voc_v, module.vmp_v, module.beta_voc_per_k,
        module.gamma_vmp_per_k, record_low_c,
    )  # fmt: skip
    return int(fewest), int(most)


@kernel
def tank_for(site: Record, rules: Record, tanks: Records) -> int:
    """The smallest tank that holds the day's share of what can be demanded of the well; else the largest."""
    wanted = rules.storage_share * min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    for k in range(tanks.size):
        if tanks[k].volume_m3 >= wanted - 1e-9:
            return k
    return tanks.size - 1


@kernel
def used_month(volume: float, demand: float, site: Record, rules: Record, tank_m3: float) -> float:
    """Water used on the mean day of a month, m3 at the tank inlet: what is demanded, as far as the pump, the
    well's daily limit and the share of a day that the tank holds give it."""
    used = min(demand, volume, site.safe_volume_m3_day)
    return min(used, tank_m3 / rules.storage_share) if rules.storage_share > 0.0 else used


@kernel
def used_year(
    volumes: Floats, demand: Floats, site: Record, rules: Record, tank_m3: float
) -> tuple[float, float, float]:
    """Water used in a year (m3 at the tank inlet), share of the year's demand, least share of a month's."""
    used = wanted = 0.0
    worst = 1.0
    for m in range(12):
        month = used_month(volumes[m], demand[m], site, rules, tank_m3)
        used += DAYS[m] * month
        wanted += DAYS[m] * demand[m]
        if demand[m] > 0.0:
            worst = min(worst, month / demand[m])
    return used, used / wanted if wanted > 0.0 else 1.0, worst


@kernel
def sleeve_needed(pump: Record, site: Record, volumes: Floats, running: Floats) -> tuple[int, float]:
    """0 no sleeve, 1 sleeve, -1 neither will do, and velocity past the motor, m/s, at the mean running flow."""
    loss = pump.motor_input_w - pump.motor_w
    if site.water_c <= COOLING_FREE_C and loss <= COOLING_FREE_LOSS_W:
        return 0, COOLING_M_S
    hours = running.sum()
    mean = volumes.sum() / hours / 3600.0 if hours > 0.0 else 0.0
    outside = pump.outside_mm / 1000.0
    open_area = math.pi / 4.0 * ((site.casing_mm / 1000.0) ** 2 - outside**2)
    velocity = mean / open_area if open_area > 0.0 else 0.0
    if velocity >= COOLING_M_S:
        return 0, velocity
    sleeve = outside + SLEEVE_MM / 1000.0
    velocity = mean / (math.pi / 4.0 * (sleeve**2 - outside**2))
    if velocity >= COOLING_M_S and site.casing_mm >= 1000.0 * sleeve + CLEARANCE_MM:
        return 1, velocity
    return -1, velocity


@kernel
def better(a: Design, b: Design) -> bool:
    """Whether design a comes before b: cost to 0.1 %, then array, then order of the catalogue."""
    if b.pump < 0:
        return a.pump >= 0
    if a.pump < 0:
        return False
    key_a = round(math.log(a.cost_per_m3) / TIE)
    key_b = round(math.log(b.cost_per_m3) / TIE)
    if key_a != key_b:
        return key_a < key_b
    if a.array_wp != b.array_wp:
        return a.array_wp < b.array_wp
    if a.pump != b.pump:
        return a.pump < b.pump
    return a.module < b.module


@kernel
def search(site: Record, light: Light, market: Market, rules: Record, only_pump: int, fixed_array_w: float) -> Choice:
    """Choose the design of a site.

    only_pump, fixed_array_w  an installed set: that pump with an array of so many watts, taken as it stands;
                              -1 and 0 for a new one
    """
    pumps, modules = market.pumps, market.modules
    well = well_limits(site)
    tank = tank_for(site, rules, market.tanks)
    tank_m3 = market.tanks[tank].volume_m3
    growth_first = (1.0 + site.growth) ** (1.0 - rules.design_year)
    growth_last = (1.0 + site.growth) ** (rules.horizon_y - rules.design_year)
    demand = site.demand_m3_day
    first_demand, last_demand = demand * growth_first, demand * growth_last
    aged = 1.0 - rules.ageing_year * rules.design_year

    rule = np.full(3, -1, np.int64)
    value = np.zeros(3)
    limit = np.zeros(3)
    best = [NO_DESIGN, NO_DESIGN, NO_DESIGN]  # of each family, meeting the demand
    limited = [NO_DESIGN]  # designs that do not meet it, near the most water so far
    most_used = 0.0
    any_meets = False

    volumes, running = np.empty(12), np.empty(12)
    other, hours = np.empty(12), np.empty(12)
    for j in range(pumps.size):
        if only_pump >= 0 and j != only_pump:
            continue
        pump, drive = pumps[j], market.drives[pumps[j].drive]
        family = pump.family
        duty = fit_pump(pump, drive, market.risers, market.deliveries, market.cables, site, rules, well)
        if duty.rule != FITS:
            note_rule(rule, value, limit, family, duty.rule, duty.value, duty.limit)
            continue
        flows, heads = dynamic_heads_m(duty, site, rules, well, market.risers, market.deliveries)
        density = well.density_kg_m3
        slip = pump.slip_life_factor
        curves = curves_of(pump, drive, duty, site, rules, density, slip, demand, flows, heads)
        scratch = no_curves()
        have_other = have_worn = False
        first_curves = last_curves = worn_curves = curves
        built = wet = cooled = False
        cooling = 0.0
        ratio = rules.ratio_max if rules.ratio_max > 0.0 else drive.ratio_max
        largest = ratio * pump.drive_rating_w
        for w in range(modules.size):
            if fixed_array_w > 0.0 and w > 0:
                break
            module = modules[w]
            fewest, most = series_window(module, drive, site.record_low_c, rules.hot_cell_c)
            strings = math.floor(drive.isc_max_a / module.isc_a + 1e-9)
            if fixed_array_w > 0.0:
                fewest, most, strings = 1, 1, 1
            for parallel in range(1, strings + 1):
                for series in range(fewest, most + 1):
                    array_w = series * parallel * module.rated_wp
                    if fixed_array_w > 0.0:
                        array_w = fixed_array_w
                    elif array_w > largest:
                        break
                    built = True
                    monthly_volumes(
                        pump, drive, duty, site, rules, density, slip, flows, heads, curves, demand, light, w,
                        array_w * aged, scratch, volumes, running,
                    )  # fmt: skip
                    used, year, month = used_year(volumes, demand, site, rules, tank_m3)
                    if used <= 0.0:
                        continue
                    wet = True
                    sleeve = 0
                    if family != SURFACE:
                        sleeve, cooling = sleeve_needed(pump, site, volumes, running)
                        if sleeve < 0 and fixed_array_w <= 0.0:
                            continue
                    cooled = True
                    meets = year >= rules.reliability_year and month >= rules.reliability_month
                    if meets and site.low_sun < 1.0:
                        monthly_volumes(
                            pump, drive, duty, site, rules, density, slip, flows, heads, curves, demand, light, w,
                            array_w * aged * site.low_sun, scratch, other, hours,
                        )  # fmt: skip
                        _, year, month = used_year(other, demand, site, rules, tank_m3)
                        meets = year >= rules.reliability_year and month >= rules.reliability_month
                    any_meets = any_meets or meets
                    most_used = max(most_used, used)
                    if not meets and (any_meets or used < LIMITED_SHARE * most_used):
                        continue
                    rotor_life = np.inf
                    if family == HELICAL:
                        slip_at_limit = np.inf
                        if meets:
                            if not have_worn:
                                worn_curves = curves_of(
                                    pump, drive, duty, site, rules, density, pump.slip_end_factor, demand, flows, heads
                                )
                                have_worn = True
                            monthly_volumes(
                                pump, drive, duty, site, rules, density, pump.slip_end_factor, flows, heads,
                                worn_curves, demand, light, w, array_w * aged, scratch, other, hours,
                            )  # fmt: skip
                            slip_at_limit = worn_out_slip(pump, site, rules, volumes, other)
                        rotor_life = rotor_stator_life_y(pump, site.sand_mg_l, days_mean(running), slip_at_limit)
                    money = design_cost(j, w, array_w, duty, sleeve == 1, tank, rotor_life, site, rules, market)
                    if not have_other:
                        first_curves = curves_of(
                            pump, drive, duty, site, rules, density, slip, first_demand, flows, heads
                        )
                        last_curves = curves_of(
                            pump, drive, duty, site, rules, density, slip, last_demand, flows, heads
                        )
                        have_other = True
                    monthly_volumes(
                        pump, drive, duty, site, rules, density, slip, flows, heads, first_curves,
                        first_demand, light, w, array_w * (1.0 - rules.ageing_year), scratch, other, hours,
                    )  # fmt: skip
                    first, _, _ = used_year(other, first_demand, site, rules, tank_m3)
                    monthly_volumes(
                        pump, drive, duty, site, rules, density, slip, flows, heads, last_curves, last_demand,
                        light, w, array_w * (1.0 - rules.ageing_year * rules.horizon_y), scratch, other,
                        hours,
                    )  # fmt: skip
                    last, _, _ = used_year(other, last_demand, site, rules, tank_m3)
                    present = present_volume(first, used, last, rules) * (1.0 - rules.losses)
                    design = Design(
                        j, w, series, parallel, array_w, tank, sleeve == 1, meets, used,
                        money.lifecycle / present, money.capital, money.lifecycle, money.equipment_lifecycle,
                        present,
                    )  # fmt: skip
                    if meets:
                        if better(design, best[family]):
                            best[family] = design
                    else:
                        limited.append(design)
        if not built:
            note_rule(rule, value, limit, family, NO_VOLTAGE_WINDOW, largest, modules[0].rated_wp)
        elif not wet:  # no array that the drive takes gives the power to start
            note_rule(rule, value, limit, family, NO_VOLTAGE_WINDOW, largest, curves.start_w.max())
        elif not cooled:
            note_rule(rule, value, limit, family, NO_COOLING, cooling, COOLING_M_S)
        else:
            note_rule(rule, value, limit, family, FITS, 0.0, 0.0)

    if not any_meets:
        for design in limited:
            if design.pump >= 0 and design.used_m3_year >= LIMITED_SHARE * most_used:
                family = pumps[design.pump].family
                if better(design, best[family]):
                    best[family] = design
    chosen = NO_DESIGN
    cost = np.empty(3)
    for family in range(3):
        cost[family] = best[family].cost_per_m3
        if better(best[family], chosen):
            chosen = best[family]
    return Choice(chosen, cost, rule, value, limit)


@kernel
def note_rule(rule: Integers, value: Floats, limit: Floats, family: int, failed: int, at: float, bound: float) -> None:
    """Keep, for a family, FITS once a pump fits, else the rule at which its furthest pump stopped; of equals
    the one nearest to passing."""
    if rule[family] == FITS or FITS < failed < rule[family]:
        return
    equal = failed == rule[family] and bound != 0.0 and limit[family] != 0.0
    if equal and abs(at / bound - 1.0) >= abs(value[family] / limit[family] - 1.0):
        return
    rule[family], value[family], limit[family] = failed, at, bound


@kernel
def days_mean(monthly: Floats) -> float:
    """Mean over the year of a quantity of the months' mean days."""
    return (monthly * DAYS).sum() / DAYS.sum()


@kernel
def worn_out_slip(pump: Record, site: Record, rules: Record, volumes: Floats, worn: Floats) -> float:
    """Slip ÷ new slip at which the first month's volume falls below its target; infinite when none does.

    volumes  pumpable at the slip of mid-life, where every month meets its target; between there and `worn`, at the
             end of the life, a month's volume falls along a straight line
    """
    middle, end = pump.slip_life_factor, pump.slip_end_factor
    first = np.inf
    for m in range(12):
        target = rules.reliability_month * site.demand_m3_day[m]
        if worn[m] < target:
            part = (volumes[m] - target) / (volumes[m] - worn[m])
            first = min(first, middle + part * (end - middle))
    return first
