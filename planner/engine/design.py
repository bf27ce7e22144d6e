"""One design of a site: its water, its cost, and how it compares; and the pump as it stands in this well.

A design is pump × module × strings; riser, delivery pipe, cable and tank follow from rules (`engine.duty`, `tank_for`).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.cost import Market, design_cost, present_volume, rotor_stator_life_y
from planner.engine.duty import Duty, Well, dynamic_heads_m
from planner.engine.light import Light
from planner.engine.site import Record, Records
from planner.engine.volume import Curves, curves_of, monthly_volumes, no_curves
from planner.physics.equation import kernel
from planner.physics.photovoltaic import series_maximum, series_minimum

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

DAYS = np.array([31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])
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


class Task(NamedTuple):
    """What the designs of a site share."""

    well: Well
    tank: int
    tank_m3: float
    aged: float  # array power of the design year over new
    first_demand: Floats  # (12) of year 1
    last_demand: Floats  # (12) of the horizon
    fixed_array_w: float  # of an installed set; 0 for a new one


class Arrays(NamedTuple):
    """The arrays of one module that can be built on a drive, ascending by power; equal ones by strings."""

    watts: Floats
    series: Integers
    parallel: Integers


class Fitted(NamedTuple):
    """A pump in this well, with its curves. Those of year 1, of the horizon and of a worn pump are made when asked
    for: `made` says which are."""

    pump: int
    duty: Duty
    flows: Floats
    heads: Floats
    curves: Curves
    first: Curves
    last: Curves
    worn: Curves
    made: Integers  # (3)


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
def days_mean(monthly: Floats) -> float:
    """Mean over the year of a quantity of the months' mean days."""
    return (monthly * DAYS).sum() / DAYS.sum()


@kernel
def make_task(site: Record, rules: Record, market: Market, well: Well, fixed_array_w: float) -> Task:
    """The task of a site."""
    tank = tank_for(site, rules, market.tanks)
    first = (1.0 + site.growth) ** (1.0 - rules.design_year)
    last = (1.0 + site.growth) ** (rules.horizon_y - rules.design_year)
    demand = site.demand_m3_day
    aged = 1.0 - rules.ageing_year * rules.design_year
    return Task(well, tank, market.tanks[tank].volume_m3, aged, demand * first, demand * last, fixed_array_w)


@kernel
def arrays_of(pump: Record, drive: Record, module: Record, site: Record, rules: Record, task: Task) -> Arrays:
    """What can be built of a module: whole strings inside the drive's voltages, current and largest array."""
    if task.fixed_array_w > 0.0:
        return Arrays(np.full(1, task.fixed_array_w), np.ones(1, np.int64), np.ones(1, np.int64))
    fewest, most = series_window(module, drive, site.record_low_c, rules.hot_cell_c)
    strings = math.floor(drive.isc_max_a / module.isc_a + 1e-9)
    largest = (rules.ratio_max if rules.ratio_max > 0.0 else drive.ratio_max) * pump.drive_rating_w
    room = max(strings * (most - fewest + 1), 0)
    watts, series, parallel = np.empty(room), np.empty(room, np.int64), np.empty(room, np.int64)
    count = 0
    for p in range(1, strings + 1):
        for s in range(fewest, most + 1):
            array_w = s * p * module.rated_wp
            if array_w > largest:
                break
            watts[count], series[count], parallel[count] = array_w, s, p
            count += 1
    order = np.argsort(watts[:count], kind="mergesort")
    return Arrays(watts[:count][order], series[:count][order], parallel[:count][order])


@kernel
def set_up(j: int, duty: Duty, task: Task, site: Record, market: Market, rules: Record) -> Fitted:
    """A pump that fits, with the curves of the design year."""
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    flows, heads = dynamic_heads_m(duty, site, rules, task.well, market.risers, market.deliveries)
    curves = curves_of(
        pump, drive, duty, site, rules, task.well.density_kg_m3, pump.slip_life_factor, site.demand_m3_day, flows, heads
    )
    return Fitted(j, duty, flows, heads, curves, no_curves(), no_curves(), no_curves(), np.zeros(3, np.int64))


@kernel
def keep(target: Curves, source: Curves) -> None:
    """Copy curves into their place."""
    target.power_w[:] = source.power_w
    target.flow_m3_h[:] = source.flow_m3_h
    target.knots[:] = source.knots
    target.start_w[:] = source.start_w


@kernel
def volumes_of(
    state: Fitted, w: int, array_w: float, curves: Curves, demand: Floats, slip: float, task: Task, site: Record,
    light: Light, market: Market, rules: Record, volumes: Floats, running: Floats,
) -> None:  # fmt: skip
    """Pumpable volumes (m3/d) and running hours of the months, into `volumes` and `running`."""
    pump = market.pumps[state.pump]
    monthly_volumes(
        pump, market.drives[pump.drive], state.duty, site, rules, task.well.density_kg_m3, slip, state.flows,
        state.heads, curves, demand, light, w, array_w, no_curves(), volumes, running,
    )  # fmt: skip


@kernel
def shares(
    state: Fitted, w: int, array_w: float, task: Task, site: Record, light: Light, market: Market, rules: Record,
    volumes: Floats, running: Floats,
) -> tuple[float, bool]:  # fmt: skip
    """Water used in the mean design year (m3), and whether the year and every month get their share of the demand
    with as much less sun as the rules count on. Leaves the mean year's volumes and hours."""
    slip = market.pumps[state.pump].slip_life_factor
    demand = site.demand_m3_day
    volumes_of(
        state, w, array_w * task.aged, state.curves, demand, slip, task, site, light, market, rules, volumes, running
    )
    used, year, month = used_year(volumes, demand, site, rules, task.tank_m3)
    meets = year >= rules.reliability_year and month >= rules.reliability_month
    if meets and site.low_sun < 1.0:
        low, hours = np.empty(12), np.empty(12)
        volumes_of(
            state, w, array_w * task.aged * site.low_sun, state.curves, demand, slip, task, site, light, market,
            rules, low, hours,
        )  # fmt: skip
        _, year, month = used_year(low, demand, site, rules, task.tank_m3)
        meets = year >= rules.reliability_year and month >= rules.reliability_month
    return used, meets


@kernel
def make_design(
    state: Fitted, w: int, array_w: float, series: int, parallel: int, task: Task, site: Record, light: Light,
    market: Market, rules: Record,
) -> Design:  # fmt: skip
    """The design with its water and its cost; `NO_DESIGN` where it lifts none or its motor stays too warm."""
    pump, drive = market.pumps[state.pump], market.drives[market.pumps[state.pump].drive]
    slip, density = pump.slip_life_factor, task.well.density_kg_m3
    volumes, running = np.empty(12), np.empty(12)
    used, meets = shares(state, w, array_w, task, site, light, market, rules, volumes, running)
    if used <= 0.0:
        return NO_DESIGN
    sleeve = 0
    if pump.family != SURFACE:
        sleeve, _ = sleeve_needed(pump, site, volumes, running)
        if sleeve < 0 and task.fixed_array_w <= 0.0:
            return NO_DESIGN
    other, hours = np.empty(12), np.empty(12)
    fixed_slips = (slip, pump.slip_end_factor)
    rotor_life = np.inf
    if pump.family == HELICAL:
        slip_at_limit = np.inf
        if meets:
            if state.made[2] == 0:
                keep(state.worn, curves_of(
                    pump, drive, state.duty, site, rules, density, fixed_slips[1], site.demand_m3_day, state.flows,
                    state.heads,
                ))  # fmt: skip
                state.made[2] = 1
            volumes_of(
                state, w, array_w * task.aged, state.worn, site.demand_m3_day, fixed_slips[1], task, site, light,
                market, rules, other, hours,
            )  # fmt: skip
            slip_at_limit = worn_out_slip(pump, site, rules, volumes, other)
        rotor_life = rotor_stator_life_y(pump, site.sand_mg_l, days_mean(running), slip_at_limit)
    money = design_cost(state.pump, w, array_w, state.duty, sleeve == 1, task.tank, rotor_life, site, rules, market)
    used_then = np.empty(2)
    for k in range(2):
        demand = task.first_demand if k == 0 else task.last_demand
        curves = state.first if k == 0 else state.last
        if state.made[k] == 0:
            keep(curves, curves_of(
                pump, drive, state.duty, site, rules, density, slip, demand, state.flows, state.heads
            ))  # fmt: skip
            state.made[k] = 1
        year = 1.0 if k == 0 else rules.horizon_y
        volumes_of(
            state, w, array_w * (1.0 - rules.ageing_year * year), curves, demand, slip, task, site, light, market,
            rules, other, hours,
        )  # fmt: skip
        used_then[k], _, _ = used_year(other, demand, site, rules, task.tank_m3)
    present = present_volume(used_then[0], used, used_then[1], rules) * (1.0 - rules.losses)
    return Design(
        state.pump, w, series, parallel, array_w, task.tank, sleeve == 1, meets, used, money.lifecycle / present,
        money.capital, money.lifecycle, money.equipment_lifecycle, present,
    )  # fmt: skip


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
