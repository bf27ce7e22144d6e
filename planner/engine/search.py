"""The choice of one site: of every pump × module × strings that can be built, the cheapest that will do.

A design meets the demand when every month gets at least the plan's share of it, and the year its share, with as
much less sun as the rules count on (`Site.low_sun`; an array that much smaller stands for it). Among those the
least life-cycle cost per cubic metre used wins; volumes and costs are of the mean year. When no design meets the
demand, the designs that give at least 0.9 of the most water that any gives compete instead. Equal costs (to 0.1 %)
go to the smaller array, then to the pump that comes first by id.

Nothing is skipped that could win: pumps are taken by a cost that no design of theirs can be below (`least_cost`), and
a search ends where that bound, or that of a larger array, is dearer than the best found. Water rises with the
array, so the smallest that will do is found by halving.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.cost import Market, design_cost, present_volume
from planner.engine.design import (
    COOLING_M_S,
    DAYS,
    NO_DESIGN,
    TIE,
    Arrays,
    Design,
    Fitted,
    Task,
    arrays_of,
    better,
    make_design,
    make_task,
    set_up,
    shares,
    sleeve_needed,
    used_year,
)
from planner.engine.duty import (
    FITS,
    NO_COOLING,
    NO_VOLTAGE_WINDOW,
    Duty,
    drawdown_m,
    fit_pump,
    pipe_head_m,
    well_limits,
)
from planner.engine.light import Light
from planner.engine.site import Record
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LIMITED_SHARE = 0.9  # of the most water, for designs that compete when the demand cannot be met
NO_DUTY = Duty(-1, 0.0, 0.0, 0.0, 0.0, 0, 0.0, -1, -1, -1, 0.0, 0.0, 0.0)
ROUNDING = 1.0 + 1e-9  # room for rounding in bounds


class Choice(NamedTuple):
    """The chosen design, what the best of each family costs, and what stopped the families that have none."""

    chosen: Design
    best_cost: Floats  # (3) cost per m3 of each family's best design that competes; inf where none does
    rule: Integers  # (3) FITS when a pump can be built, else what stopped the furthest; -1: no such pump
    value: Floats  # (3) what that rule found, 0 with FITS
    limit: Floats  # (3) what it allows, 0 with FITS


@kernel
def search(site: Record, light: Light, market: Market, rules: Record, only_pump: int, fixed_array_w: float) -> Choice:
    """Choose the design of a site.

    only_pump, fixed_array_w  an installed set: that pump with an array of so many watts, taken as it stands;
                              -1 and 0 for a new one
    """
    pumps = market.pumps
    well = well_limits(site)
    task = make_task(site, rules, market, well, fixed_array_w)
    rule = np.full(3, -1, np.int64)
    value, limit = np.zeros(3), np.zeros(3)
    best = [NO_DESIGN, NO_DESIGN, NO_DESIGN]  # of each family

    # Pumps that fit, each with what no design of it can cost less than.
    fitted, duties = np.empty(pumps.size, np.int64), [NO_DUTY]
    least = np.empty(pumps.size)
    count = 0
    water_m3 = best_possible_m3(task, site, rules)
    for j in range(pumps.size):
        if only_pump >= 0 and j != only_pump:
            continue
        pump, drive = pumps[j], market.drives[pumps[j].drive]
        duty = fit_pump(pump, drive, market.risers, market.deliveries, market.cables, site, rules, well)
        if duty.rule != FITS:
            note_rule(rule, value, limit, pump.family, duty.rule, duty.value, duty.limit)
            continue
        fitted[count] = j
        duties.append(duty)
        least[count] = least_cost(j, duty, water_m3, task, site, light, market, rules)
        count += 1
    order = np.argsort(least[:count])

    # Cheapest bound first: what meets the demand. A pump whose bound is dearer than the best of its family is only
    # looked at as long as nothing of its family is known to be buildable.
    for place in order:
        j = fitted[place]
        family = pumps[j].family
        if best[family].pump >= 0:
            if beyond(least[place], best[family]):
                continue
        elif least[place] == np.inf and rule[family] == FITS:
            continue
        state = set_up(j, duties[place + 1], task, site, market, rules)
        found = cheapest_that_meets(state, best[family], water_m3, task, site, light, market, rules)
        if better(found, best[family]):
            best[family] = found
        if rule[family] != FITS:
            note_arrays(state, task, site, light, market, rules, rule, value, limit)

    if best[0].pump < 0 and best[1].pump < 0 and best[2].pump < 0:
        nearest(fitted[:count], duties, best, water_m3, task, site, light, market, rules)

    chosen = NO_DESIGN
    cost = np.empty(3)
    for family in range(3):
        cost[family] = best[family].cost_per_m3
        if better(best[family], chosen):
            chosen = best[family]
    return Choice(chosen, cost, rule, value, limit)


@kernel
def nearest(
    fitted: Integers, duties: list[Duty], best: list[Design], water_m3: float, task: Task, site: Record, light: Light,
    market: Market, rules: Record,
) -> None:  # fmt: skip
    """Where nothing meets the demand: the best of each family, into `best`, of the designs near the most water that
    any gives. fitted and duties are the pumps that fit; duties begin one later."""
    upper = np.empty(fitted.size)
    for k in range(fitted.size):
        upper[k] = most_possible_m3(fitted[k], duties[k + 1], task, site, light, market, rules)
    most = 0.0
    for k in np.argsort(-upper):
        if upper[k] <= most:
            break
        state = set_up(fitted[k], duties[k + 1], task, site, market, rules)
        most = max(most, most_water(state, task, site, light, market, rules))
    wanted = LIMITED_SHARE * most
    bounds = np.full(fitted.size, np.inf)
    for k in range(fitted.size):
        if upper[k] >= wanted:
            bounds[k] = near_cost(fitted[k], duties[k + 1], wanted, water_m3, task, site, light, market, rules)
    for k in np.argsort(bounds):
        family = market.pumps[fitted[k]].family
        if bounds[k] == np.inf or beyond(bounds[k], best[family]):
            continue
        state = set_up(fitted[k], duties[k + 1], task, site, market, rules)
        found = cheapest_near(state, wanted, best[family], water_m3, task, site, light, market, rules)
        if better(found, best[family]):
            best[family] = found


@kernel
def most_possible_m3(
    j: int, duty: Duty, task: Task, site: Record, light: Light, market: Market, rules: Record
) -> float:
    """Water used in a year, m3, that no array of a pump can pass."""
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    most = 0.0
    volumes = np.empty(12)
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        if arrays.watts.size == 0:
            continue
        for m in range(12):
            volumes[m] = arrays.watts[-1] * most_m3_w(j, w, m, duty, task, site, light, market, rules)
        used, _, _ = used_year(volumes, site.demand_m3_day, site, rules, task.tank_m3)
        most = max(most, used * ROUNDING)
    return most


@kernel
def near_cost(
    j: int, duty: Duty, wanted_m3: float, water_m3: float, task: Task, site: Record, light: Light, market: Market,
    rules: Record,
) -> float:  # fmt: skip
    """Cost that no design of a pump that gives so much water in a year can be below."""
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    least = np.inf
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        if arrays.watts.size == 0:
            continue
        year = 0.0
        for m in range(12):
            year += DAYS[m] * most_m3_w(j, w, m, duty, task, site, light, market, rules)
        array_w = max(arrays.watts[0], wanted_m3 / year if year > 0.0 else np.inf)
        if array_w <= arrays.watts[-1]:
            least = min(least, cost_bound(j, w, array_w, duty, water_m3, task, site, market, rules))
    return least


@kernel
def best_possible_m3(task: Task, site: Record, rules: Record) -> float:
    """Present value of water that no design of the site can pass: all that is demanded, as far as the well's daily
    limit and the tank give it."""
    endless = np.full(12, np.inf)
    first, _, _ = used_year(endless, task.first_demand, site, rules, task.tank_m3)
    design, _, _ = used_year(endless, site.demand_m3_day, site, rules, task.tank_m3)
    last, _, _ = used_year(endless, task.last_demand, site, rules, task.tank_m3)
    return present_volume(first, design, last, rules) * (1.0 - rules.losses)


@kernel
def cost_bound(
    j: int, w: int, array_w: float, duty: Duty, water_m3: float, task: Task, site: Record, market: Market, rules: Record
) -> float:
    """What a design of pump and module with at least that array cannot cost less than, a cubic metre: no sleeve, no
    pair of rotor and stator replaced, all of `water_m3` (`best_possible_m3`) used."""
    money = design_cost(j, w, array_w, duty, False, task.tank, np.inf, site, rules, market)
    return money.lifecycle / water_m3 / ROUNDING


@kernel
def most_m3_wh(
    pump: Record, drive: Record, duty: Duty, m: int, task: Task, site: Record, market: Market, rules: Record
) -> float:
    """Water that no watt-hour of array can pass in month m: lifted to the rest level only, at the best efficiency of
    pump, motor and drive.

    With losses k_c t² + k_f r^1.5 at torque t and speed r ≤ 1 a motor is never better than 1/(1 + 2 √(k_c k_f)). A
    helical rotor gains with pressure, so its best is that at the highest head.
    """
    head = site.rest_m[m] + site.lift_m + rules.residual_m
    if head <= 0.0:
        return np.inf
    motor = 1.0 / (1.0 + 2.0 * math.sqrt(pump.copper_share * pump.iron_share))
    density = task.well.density_kg_m3
    hydraulic = pump.best_efficiency
    if pump.family == HELICAL:
        friction = pipe_head_m(
            duty.cap_m3_h, site, rules, market.risers, duty.riser, market.deliveries, duty.delivery, duty.intake_m,
            task.well.viscosity_m2_s,
        )  # fmt: skip
        highest = head + site.memory_d_m2 * site.demand_m3_day[m] + drawdown_m(site, duty.cap_m3_h, False) + friction
        ideal = 1e-6 * pump.displacement_cm3 * density * GRAVITY_M_S2 * highest
        hydraulic = ideal / (ideal + 2.0 * math.pi * pump.fit_friction_nm)
    return ROUNDING * 3600.0 * hydraulic * motor * drive.efficiency / (density * GRAVITY_M_S2 * head)


@kernel
def most_m3_w(
    j: int, w: int, m: int, duty: Duty, task: Task, site: Record, light: Light, market: Market, rules: Record
) -> float:
    """Water of the mean day of month m, m3, that no watt of array can pass."""
    energy = light.energy[w, m, light.energy.shape[2] - 1] * duty.availability * task.aged
    if energy <= 0.0:
        return 0.0
    return energy * most_m3_wh(
        market.pumps[j], market.drives[market.pumps[j].drive], duty, m, task, site, market, rules
    )


@kernel
def least_array_w(
    j: int, w: int, duty: Duty, task: Task, site: Record, light: Light, market: Market, rules: Record
) -> float:
    """Array below which no month's share of the demand can be lifted; infinite where well or tank do not let it."""
    most = 0.0
    for m in range(12):
        wanted = rules.reliability_month * site.demand_m3_day[m]
        if wanted <= 0.0:
            continue
        allowed = site.safe_volume_m3_day
        if rules.storage_share > 0.0:
            allowed = min(allowed, task.tank_m3 / rules.storage_share)
        water = min(site.low_sun, 1.0) * most_m3_w(j, w, m, duty, task, site, light, market, rules)
        if allowed < wanted or water <= 0.0:
            return np.inf
        most = max(most, wanted / water)
    return most


@kernel
def least_cost(
    j: int, duty: Duty, water_m3: float, task: Task, site: Record, light: Light, market: Market, rules: Record
) -> float:
    """Cost that no design of a pump that meets the demand can be below; infinite where none can meet it."""
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    least = np.inf
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        needed = least_array_w(j, w, duty, task, site, light, market, rules)
        if arrays.watts.size > 0 and arrays.watts[-1] >= needed:
            array_w = max(arrays.watts[0], needed)
            least = min(least, cost_bound(j, w, array_w, duty, water_m3, task, site, market, rules))
    return least


@kernel
def beyond(bound: float, design: Design) -> bool:
    """Whether what costs at least `bound` comes after the design whatever else: more than a tie dearer."""
    return design.pump >= 0 and bound > design.cost_per_m3 * math.exp(TIE) * ROUNDING


@kernel
def cheapest_that_meets(
    state: Fitted, incumbent: Design, water_m3: float, task: Task, site: Record, light: Light, market: Market,
    rules: Record,
) -> Design:  # fmt: skip
    """The best design of a pump that meets the demand, if it is better than the incumbent."""
    pump, drive = market.pumps[state.pump], market.drives[market.pumps[state.pump].drive]
    best = incumbent
    volumes, running = np.empty(12), np.empty(12)
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        count = arrays.watts.size
        needed = least_array_w(state.pump, w, state.duty, task, site, light, market, rules)
        low = int(np.searchsorted(arrays.watts, needed / ROUNDING))
        if low >= count:
            continue
        if beyond(cost_bound(state.pump, w, arrays.watts[low], state.duty, water_m3, task, site, market, rules), best):
            continue
        if not shares(state, w, arrays.watts[-1], task, site, light, market, rules, volumes, running)[1]:
            continue
        high = count - 1
        while low < high:
            middle = (low + high) // 2
            if shares(state, w, arrays.watts[middle], task, site, light, market, rules, volumes, running)[1]:
                high = middle
            else:
                low = middle + 1
        for k in range(low, count):
            bound = cost_bound(state.pump, w, arrays.watts[k], state.duty, water_m3, task, site, market, rules)
            if beyond(bound, best):
                break
            design = at(state, w, arrays, k, task, site, light, market, rules)
            if design.meets and better(design, best):
                best = design
    return best


@kernel
def at(
    state: Fitted, w: int, arrays: Arrays, k: int, task: Task, site: Record, light: Light, market: Market, rules: Record
) -> Design:
    """The design with array k."""
    return make_design(
        state, w, arrays.watts[k], arrays.series[k], arrays.parallel[k], task, site, light, market, rules
    )


@kernel
def most_water(state: Fitted, task: Task, site: Record, light: Light, market: Market, rules: Record) -> float:
    """The most water that a pump gives in a year with an array whose motor stays cool, m3."""
    pump, drive = market.pumps[state.pump], market.drives[market.pumps[state.pump].drive]
    most = 0.0
    volumes, running = np.empty(12), np.empty(12)
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        for k in range(arrays.watts.size - 1, -1, -1):
            used, _ = shares(state, w, arrays.watts[k], task, site, light, market, rules, volumes, running)
            if used <= most:
                break
            cool = pump.family == SURFACE or task.fixed_array_w > 0.0
            if cool or sleeve_needed(pump, site, volumes, running)[0] >= 0:
                most = used
                break
    return most


@kernel
def cheapest_near(
    state: Fitted, least_m3: float, incumbent: Design, water_m3: float, task: Task, site: Record, light: Light,
    market: Market, rules: Record,
) -> Design:  # fmt: skip
    """The best design of a pump that gives at least so much water in a year, if it is better than the incumbent."""
    pump, drive = market.pumps[state.pump], market.drives[market.pumps[state.pump].drive]
    best = incumbent
    volumes, running = np.empty(12), np.empty(12)
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        low, high = 0, arrays.watts.size - 1
        if high < 0:
            continue
        if shares(state, w, arrays.watts[high], task, site, light, market, rules, volumes, running)[0] < least_m3:
            continue
        while low < high:
            middle = (low + high) // 2
            if (
                shares(state, w, arrays.watts[middle], task, site, light, market, rules, volumes, running)[0]
                >= least_m3
            ):
                high = middle
            else:
                low = middle + 1
        for k in range(low, arrays.watts.size):
            bound = cost_bound(state.pump, w, arrays.watts[k], state.duty, water_m3, task, site, market, rules)
            if beyond(bound, best):
                break
            design = at(state, w, arrays, k, task, site, light, market, rules)
            if design.used_m3_year >= least_m3 and better(design, best):
                best = design
    return best


@kernel
def note_arrays(
    state: Fitted, task: Task, site: Record, light: Light, market: Market, rules: Record, rule: Integers, value: Floats,
    limit: Floats,
) -> None:  # fmt: skip
    """Note FITS when an array makes the pump lift water and keeps its motor cool, else what none of them does."""
    pump, drive = market.pumps[state.pump], market.drives[market.pumps[state.pump].drive]
    volumes, running = np.empty(12), np.empty(12)
    largest = (rules.ratio_max if rules.ratio_max > 0.0 else drive.ratio_max) * pump.drive_rating_w
    built = wet = False
    fastest = 0.0
    for w in range(1 if task.fixed_array_w > 0.0 else market.modules.size):
        arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
        for k in range(arrays.watts.size - 1, -1, -1):
            built = True
            used, _ = shares(state, w, arrays.watts[k], task, site, light, market, rules, volumes, running)
            if used <= 0.0:
                break
            wet = True
            sleeve, velocity = 0, COOLING_M_S
            if pump.family != SURFACE:
                sleeve, velocity = sleeve_needed(pump, site, volumes, running)
            if sleeve >= 0 or task.fixed_array_w > 0.0:
                note_rule(rule, value, limit, pump.family, FITS, 0.0, 0.0)
                return
            fastest = max(fastest, velocity)
    if not built:
        note_rule(rule, value, limit, pump.family, NO_VOLTAGE_WINDOW, largest, market.modules[0].rated_wp)
    elif not wet:  # no array that the drive takes gives the power to start
        note_rule(rule, value, limit, pump.family, NO_VOLTAGE_WINDOW, largest, state.curves.start_w.max())
    else:
        note_rule(rule, value, limit, pump.family, NO_COOLING, fastest, COOLING_M_S)


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
