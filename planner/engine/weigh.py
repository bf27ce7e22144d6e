"""What a set gives in a year, whether that is enough, and what a complete design costs for each cubic metre."""

from __future__ import annotations

import math

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import Storage, water_used
from planner.engine.cost import rotor_stator_cost, rotor_stator_life_y
from planner.engine.design import behind, ties
from planner.engine.duty import Duty, Prospect, Rig
from planner.engine.room import (
    DEMAND,
    DESIGN_YEAR,
    FIRST_YEAR,
    LAST_YEAR,
    OTHER,
    OWN,
    WORN_YEAR,
    Place,
    Room,
    least_pumped_m3,
    present,
)
from planner.engine.site import Record
from planner.engine.sun import DAYS
from planner.engine.volume import month_volume, open_year, year_curves
from planner.physics.equation import kernel

# Motor cooling, trade practice: water past the motor at 0.08 m/s, none needed for small losses in cool water.
COOLING_M_S = 0.08
COOLING_FREE_C = 30.0
COOLING_FREE_LOSS_W = 250.0
SLEEVE_MM = 12.0
CLEARANCE_MM = 6.0


@kernel
def year_of(
    rig: Rig, duty: Duty, place: Place, w: int, watts: float, part: int, sets: int, storage: Storage, year: Record,
    room: Room,
) -> float:  # fmt: skip
    """Water used, m3 at the tank inlet, in the design year, the first, the last, or the design year with rotor and
    stator at the end of their life; its months into `year`. The fan is that of the set at hand; the curves are drawn
    into the set of curves."""
    task, fan = place.task, room.fan
    share, aged = 1.0, task.aged
    if part == FIRST_YEAR:
        share, aged = task.first, task.aged_first
    elif part == LAST_YEAR:
        share, aged = task.last, task.aged_last
    elif part == WORN_YEAR:
        fan = room.worn
        open_year(rig, duty, rig.pump.slip_end_factor, fan)
    if sets != DEMAND:
        year_curves(rig, duty, fan, share, room.curves[sets])
    used, _, _ = water_used(
        rig, duty, fan, place.light, w, watts * aged, share, room.curves[sets], room.curves[OWN], storage,
        year, room.ledger,
    )  # fmt: skip
    return used


@kernel
def enough(rig: Rig, duty: Duty, place: Place, w: int, watts: float, storage: Storage, room: Room) -> bool:
    """Whether a set meets the demand under the sun that the rules count on."""
    site, rules, task = place.site, place.rules, place.task
    at_demand, own = room.curves[DEMAND], room.curves[OWN]
    array_w = watts * task.aged * site.low_sun
    m = task.hardest
    wanted = site.demand_m3_day[m]
    volume, _, _ = month_volume(rig, duty, room.fan, place.light, w, m, array_w, wanted, at_demand[m], own[m])
    if storage.day_m3 < rules.reliability_month * wanted:
        return False
    if volume < least_pumped_m3(site, rules, storage.over_m3, m):
        return False
    _, year, month = water_used(
        rig, duty, room.fan, place.light, w, array_w, 1.0, at_demand, own, storage, room.year, room.ledger
    )
    return year >= rules.reliability_year and month >= rules.reliability_month


@kernel
def weigh(
    rig: Rig, duty: Duty, prospect: Prospect, place: Place, price: float, first: float, last: float, storage: Storage,
    best: Record, room: Room,
) -> bool:  # fmt: skip
    """Complete the trial design, whose price lacks rotors; whether it can be built and comes before the best.

    first, last  the most water of the first and the last year; the curves DEMAND are those of the set at hand

    `trial.present_m3` is left at what the design gives, or more.
    """
    site, rules, trial = place.site, place.rules, room.trial
    pump, w, watts, year = rig.pump, room.trial.module, room.trial.array_wp, room.year
    used = year_of(rig, duty, place, w, watts, DESIGN_YEAR, DEMAND, storage, year, room)
    sleeve, _ = sleeve_needed(pump, site, year)
    trial.present_m3 = present(place.rules, first, used, last)
    if used <= 0.0 or used < place.task.goal_m3 or sleeve < 0:
        return False
    certain, _ = sleeve_at(pump, site, prospect.top_m3_h)
    price += (sleeve - certain) * rules.sleeve_worth
    trial.sleeve, trial.used_m3_year, trial.rotor_life_y = sleeve, used, np.inf
    if pump.family == HELICAL:
        limit = np.inf
        if trial.meets:
            year_of(rig, duty, place, w, watts, WORN_YEAR, OTHER, storage, room.other, room)
            limit = worn_out_slip(pump, site, rules, year, room.other)
        trial.rotor_life_y = rotor_stator_life_y(pump, site.sand_mg_l, running_hours_day(year), limit)
        price += rotor_stator_cost(pump.rotor_stator_price, trial.rotor_life_y, pump.life_y, rules)
    if behind(price / trial.present_m3, watts, trial.pump, best):
        return False
    first = year_of(rig, duty, place, w, watts, FIRST_YEAR, OTHER, storage, room.other, room)
    last = year_of(rig, duty, place, w, watts, LAST_YEAR, OTHER, storage, room.other, room)
    trial.present_m3 = present(place.rules, first, used, last)
    trial.lifecycle = price
    trial.cost_per_m3 = price / trial.present_m3
    return not behind(trial.cost_per_m3, watts, trial.pump, best)


@kernel
def sleeve_needed(pump: Record, site: Record, year: Record) -> tuple[int, float]:
    """0 no sleeve, 1 sleeve, -1 neither will do, and velocity past the motor, m/s, at the mean running flow."""
    volume = hours = 0.0
    for m in range(12):
        volume += year.volume[m]
        hours += year.hours[m]
    return sleeve_at(pump, site, volume / hours if hours > 0.0 else 0.0)


@kernel
def sleeve_at(pump: Record, site: Record, flow_m3_h: float) -> tuple[int, float]:
    """The same at a flow."""
    loss = pump.motor_input_w - pump.motor_w
    if pump.family == SURFACE or (site.water_c <= COOLING_FREE_C and loss <= COOLING_FREE_LOSS_W):
        return 0, COOLING_M_S
    mean = flow_m3_h / 3600.0
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
def running_hours_day(year: Record) -> float:
    """Mean running hours a day over the year."""
    total = 0.0
    for m in range(12):
        total += DAYS[m] * year.hours[m]
    return total / 365.0


@kernel
def worn_out_slip(pump: Record, site: Record, rules: Record, middle: Record, worn: Record) -> float:
    """Slip ÷ new slip at which the first month's water used falls below its target; infinite when none does.

    middle  the year at the slip of mid-life, where every month meets its target; between there and `worn`, at the
            end of the life, the water used in a month falls along a straight line
    """
    least, most = pump.slip_life_factor, pump.slip_end_factor
    first = np.inf
    for m in range(12):
        target = rules.reliability_month * site.demand_m3_day[m]
        if worn.used[m] < target <= middle.used[m]:
            part = (middle.used[m] - target) / (middle.used[m] - worn.used[m])
            first = min(first, least + part * (most - least))
        elif worn.used[m] < target:
            first = least
    return first


@kernel
def copy_design(a: Record, b: Record) -> None:
    """Design a into b, with the bounds of costs that count as equal to its own."""
    b.pump, b.riser, b.delivery, b.cable, b.module = a.pump, a.riser, a.delivery, a.cable, a.module
    b.series, b.parallel, b.tank, b.sleeve, b.meets = a.series, a.parallel, a.tank, a.sleeve, a.meets
    b.array_wp, b.used_m3_year, b.cost_per_m3 = a.array_wp, a.used_m3_year, a.cost_per_m3
    b.lifecycle, b.present_m3, b.rotor_life_y = a.lifecycle, a.present_m3, a.rotor_life_y
    b.tie_low, b.tie_high = ties(a.cost_per_m3)
