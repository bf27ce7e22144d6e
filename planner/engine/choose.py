"""The decision of a site: the chosen design, the best of each pump family, and what stops the families without one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.balance import storage_of
from planner.engine.bounds import arrays_up_to, largest_array_w
from planner.engine.cost import Market
from planner.engine.curve import KNOTS, speed_power_torque
from planner.engine.design import no_designs
from planner.engine.duty import (
    FITS,
    NO_COOLING,
    NO_RISER,
    NO_VOLTAGE_WINDOW,
    RELIEF_RATIO,
    SHORT_OF_DEMAND,
    Rig,
    cable_loss,
    fit_set,
    full_flow_m3_h,
    prospect_of,
)
from planner.engine.light import Light
from planner.engine.parts import take_part
from planner.engine.reach import largest_parts
from planner.engine.room import DELIVERY, DEMAND, DESIGN_YEAR, RISER, Place, Room, tank_for
from planner.engine.search import search
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.volume import open_year, year_curves
from planner.engine.weigh import COOLING_M_S, sleeve_needed, year_of
from planner.engine.well import drawdown_m, well_limits
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Choice(NamedTuple):
    """The chosen design, the best of each family, and what stopped the families that have none."""

    family: int  # of the chosen design, −1 where no design can be built
    best: Records  # (3) of DESIGN: each family's best that competes; pump −1 where none does
    rule: Integers  # (3) FITS where a design competes, else what stopped the furthest; −1: no such pump
    value: Floats  # (3) what that rule found, 0 with FITS
    limit: Floats  # (3) what it allows, 0 with FITS

    @property
    def chosen(self) -> Record:
        """The chosen design; pump −1 where there is none."""
        return self.best[max(self.family, 0)]


def choose(site: Record, light: Light, market: Market, rules: Record, room: Room) -> Choice:
    """Choose the design of a new set."""
    best = no_designs(3)
    search(site, light, market, rules, best, room)
    family = -1
    for one in range(3):
        if best[one].pump >= 0 and (family < 0 or comes_before(best[one], best[family])):
            family = one
    rule, value, limit = np.full(3, -1, np.int64), np.zeros(3), np.zeros(3)
    for one in range(3):
        if best[one].pump >= 0:
            rule[one] = FITS
        else:
            why_not(one, site, light, market, rules, room, rule, value, limit)
    return Choice(family, best, rule, value, limit)


def comes_before(a: Record, b: Record) -> bool:
    """Whether design a is better: cost to 0.1 %, then array, then pump."""
    if not b.tie_low <= a.cost_per_m3 < b.tie_high:
        return bool(a.cost_per_m3 < b.cost_per_m3)
    return bool((a.array_wp, a.pump) < (b.array_wp, b.pump))


def as_it_stands(
    pump: int, array_w: float, site: Record, light: Light, market: Market, rules: Record, room: Room
) -> Choice:
    """The choice of a set that stands already: that pump with so many watts, the pipes, cable and tank of the rules."""
    best = no_designs(3)
    family = int(market.pumps[pump]["family"])
    rule, value, limit = np.full(3, -1, np.int64), np.zeros(3), np.zeros(3)
    rule[family] = FITS
    if not standing(pump, array_w, site, light, market, rules, best[family], room):
        family = -1
    return Choice(family, best, rule, value, limit)


@kernel
def standing(
    j: int, array_w: float, site: Record, light: Light, market: Market, rules: Record, design: Record, room: Room
) -> bool:
    """Fill the design of a set that stands; whether it lifts water.

    Riser and delivery pipe are the cheapest that carry the pump's highest flow at the plan's velocities, the riser
    one that holds its pressure; the cable is the thinnest within the plan's loss; else the last of each.
    """
    place = Place(site, light, market, rules, well_limits(site), room.task)
    pump, drive, well = market.pumps[j], market.drives[market.pumps[j].drive], place.well
    prospect = prospect_of(pump, drive, site, rules, well, room.bare)
    if prospect.rule != FITS:
        return False
    top, lift = prospect.top_m3_h, site.lift_m + rules.residual_m
    head = well.deepest_m + drawdown_m(site, top, True) + lift
    held = RELIEF_RATIO * well.density_kg_m3 * GRAVITY_M_S2 * head
    _, _, torque = speed_power_torque(pump, drive, top, head, pump.slip_life_factor, 0.0, well.density_kg_m3)
    riser, delivery, cable = market.risers.size - 1, market.deliveries.size - 1, market.cables.size - 1
    for r in range(market.risers.size - 1, -1, -1):
        one = market.risers[r]
        if one.pressure_pa >= held and full_flow_m3_h(one.inside_mm, rules.velocity_riser_m_s) >= top:
            riser = r
    for d in range(market.deliveries.size - 1, -1, -1):
        if full_flow_m3_h(market.deliveries[d].inside_mm, rules.velocity_delivery_m_s) >= top:
            delivery = d
    for c in range(market.cables.size - 1, -1, -1):
        length = rules.cable_to_drive_m + prospect.intake_m
        if cable_loss(pump, drive, market.cables[c], length, torque) <= rules.cable_loss:
            cable = c
    design.pump, design.riser, design.delivery, design.cable = j, riser, delivery, cable
    design.module, design.series, design.parallel, design.array_wp = 0, 1, 1, array_w
    design.tank = tank_for(site, market.tanks)
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    take_part(RISER, riser, place, room.desk)
    take_part(DELIVERY, delivery, place, room.desk)
    duty = fit_set(
        pump, drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable], site, rules,
        well, room.desk,
    )  # fmt: skip
    return duty.rule == FITS


@kernel
def why_not(
    family: int, site: Record, light: Light, market: Market, rules: Record, room: Room, rule: Integers, value: Floats,
    limit: Floats,
) -> None:  # fmt: skip
    """What stops a family without a design: the rule at which its furthest pump stops with the widest pipes, the
    thickest cable and the largest array and tank; `SHORT_OF_DEMAND` where it can be built but gives too little, in the
    worst month or, with every month served, in the year, under low sun."""
    place = Place(site, light, market, rules, well_limits(site), room.task)
    storage = storage_of(site, market.tanks[market.tanks.size - 1].volume_m3)
    room.task.goal_m3 = 0.0
    for j in range(market.pumps.size):
        pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
        if pump.family != family:
            continue
        prospect = prospect_of(pump, drive, site, rules, place.well, room.bare)
        if prospect.rule != FITS:
            note_rule(rule, value, limit, family, prospect.rule, prospect.value, prospect.limit)
            continue
        for k in range(KNOTS):
            room.desk.flow[k] = room.bare.flow[k]
        rig = Rig(pump, drive, site, rules, place.well, room.desk)
        riser, delivery, cable = largest_parts(prospect, rig, place, room)
        if riser < 0:
            weight = place.well.density_kg_m3 * GRAVITY_M_S2
            head = place.well.deepest_m + drawdown_m(site, prospect.top_m3_h, True) + site.lift_m + rules.residual_m
            strongest = 0.0
            for r in range(market.risers.size):
                strongest = max(strongest, market.risers[r].pressure_pa / weight)
            note_rule(rule, value, limit, family, NO_RISER, RELIEF_RATIO * head, strongest)
            continue
        take_part(RISER, riser, place, room.desk)
        take_part(DELIVERY, delivery, place, room.desk)
        duty = fit_set(
            pump, drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable], site,
            rules, place.well, room.desk,
        )  # fmt: skip
        if duty.rule != FITS:
            note_rule(rule, value, limit, family, duty.rule, duty.value, duty.limit)
            continue
        open_year(rig, duty, pump.slip_life_factor, room.fan)
        year_curves(rig, duty, room.fan, 1.0, room.curves[DEMAND])
        largest = largest_array_w(pump, drive, rules)
        start = 0.0
        for m in range(12):
            start = max(start, room.curves[DEMAND, m].start_w)
        built = False
        for w in range(market.modules.size):
            strings = room.strings[pump.drive, w]
            count = arrays_up_to(strings, room.arrays[pump.drive, w], largest)
            if count == 0:
                continue
            built = True
            watts = strings[count - 1].array_wp
            year_of(rig, duty, place, w, watts, DESIGN_YEAR, DEMAND, storage, room.year, room)
            sleeve, velocity = sleeve_needed(pump, site, room.year)
            used, worst = 0.0, 1.0
            for m in range(12):
                used += room.year.used[m]
            low = year_of(rig, duty, place, w, watts * site.low_sun, DESIGN_YEAR, DEMAND, storage, room.year, room)
            demanded = 0.0
            for m in range(12):
                demanded += DAYS[m] * site.demand_m3_day[m]
                if site.demand_m3_day[m] > 0.0:
                    worst = min(worst, room.year.used[m] / site.demand_m3_day[m])
            if used <= 0.0:  # no array that the drive takes gives the power to start
                note_rule(rule, value, limit, family, NO_VOLTAGE_WINDOW, largest, start)
            elif sleeve < 0:
                note_rule(rule, value, limit, family, NO_COOLING, velocity, COOLING_M_S)
            elif worst < rules.reliability_month:
                note_rule(rule, value, limit, family, SHORT_OF_DEMAND, 100.0 * worst, 100.0 * rules.reliability_month)
            else:
                note_rule(
                    rule, value, limit, family, SHORT_OF_DEMAND, 100.0 * low / demanded, 100.0 * rules.reliability_year
                )
        if not built:
            note_rule(rule, value, limit, family, NO_VOLTAGE_WINDOW, largest, market.modules[0].rated_wp)


@kernel
def note_rule(rule: Integers, value: Floats, limit: Floats, family: int, failed: int, at: float, bound: float) -> None:
    """Keep, for a family, the rule at which its furthest pump stopped; of equals the one nearest to passing."""
    if failed < rule[family]:
        return
    equal = failed == rule[family] and bound != 0.0 and limit[family] != 0.0
    if equal and abs(at / bound - 1.0) >= abs(value[family] / limit[family] - 1.0):
        return
    rule[family], value[family], limit[family] = failed, at, bound
