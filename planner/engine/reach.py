"""How far a site can be served at all: the most water that any set gives there."""

from __future__ import annotations

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import Storage
from planner.engine.bounds import arrays_up_to, largest_array_w, least_of, month_water
from planner.engine.curve import KNOTS
from planner.engine.duty import (
    ABOVE_SAFE_RATE,
    FITS,
    NO_HEAD,
    NO_RISER,
    RELIEF_RATIO,
    Prospect,
    Rig,
    fit_set,
    full_speed_m3_h,
    highest_flow,
    lay_heads,
    prospect_of,
    riser_can_hang,
)
from planner.engine.parts import loose_duty, take_part
from planner.engine.room import DELIVERY, DEMAND, DESIGN_YEAR, OTHER, RISER, Place, Room, largest_storage
from planner.engine.site import Records
from planner.engine.volume import month_curve, open_year, year_curves
from planner.engine.weigh import sleeve_needed, year_of
from planner.engine.well import intake_depth_m
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2


@kernel
def most_used(place: Place, room: Room) -> float:
    """The most water of a year that any set gives, m3: with the largest array, tank, pipes and cable.

    Pumps are taken by what the months' means give at most without friction, until none can give more.
    """
    market, rules = place.market, place.rules
    storage = largest_storage(place)
    for j in range(market.pumps.size):
        room.pumps[j].bound = -loosest_water(j, place, storage, room)
    most = 0.0
    while True:
        j = least_of(room.pumps, market.pumps.size)
        if j < 0 or -room.pumps[j].bound <= most:
            return most
        room.pumps[j].bound = np.inf
        pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
        prospect = prospect_of(pump, drive, place.site, rules, place.well, room.bare)
        for k in range(KNOTS):
            room.desk.flow[k] = room.bare.flow[k]
        rig = Rig(pump, drive, place.site, rules, place.well, room.desk)
        riser, delivery, cable = largest_parts(prospect, rig, place, room)
        if riser < 0:
            continue
        most = max(most, water_through(rig, prospect, place, riser, delivery, cable, storage, most, room))
        if pump.family == HELICAL or not at_runout(prospect, rig, place, room):
            continue
        # Narrower pipes make it run faster, and pass more before runout.
        for riser in range(market.risers.size):
            for delivery in range(market.deliveries.size):
                most = max(most, water_through(rig, prospect, place, riser, delivery, cable, storage, most, room))


@kernel
def water_through(
    rig: Rig, prospect: Prospect, place: Place, riser: int, delivery: int, cable: int, storage: Storage, least: float,
    room: Room,
) -> float:  # fmt: skip
    """The most water of a year, m3, of a pump with these pipes and cable and the largest array; `least` if no more."""
    market, rules, pump, drive = place.market, place.rules, rig.pump, rig.drive
    take_part(RISER, riser, place, room.desk)
    take_part(DELIVERY, delivery, place, room.desk)
    duty = fit_set(
        pump, drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable], place.site,
        rules, place.well, room.desk,
    )  # fmt: skip
    if duty.rule != FITS:
        return least
    open_year(rig, duty, pump.slip_life_factor, room.fan)
    for m in range(12):
        month_curve(rig, duty, room.fan, m, 0.0, room.curves[OTHER, m])
    drawn = False
    for w in range(market.modules.size):
        strings = room.strings[pump.drive, w]
        count = arrays_up_to(strings, room.arrays[pump.drive, w], largest_array_w(pump, drive, rules))
        if (
            count == 0
            or month_water(duty, place, w, strings[count - 1].array_wp, room.curves[OTHER], storage)[0] <= least
        ):
            continue
        if not drawn:
            year_curves(rig, duty, room.fan, 1.0, room.curves[DEMAND])
            drawn = True
        for i in range(count - 1, -1, -1):
            used = year_of(rig, duty, place, w, strings[i].array_wp, DESIGN_YEAR, DEMAND, storage, room.year, room)
            if used <= least:
                break
            if sleeve_needed(pump, place.site, room.year)[0] >= 0:
                least = used
                break
    return least


@kernel
def at_runout(prospect: Prospect, rig: Rig, place: Place, room: Room) -> bool:
    """Whether the set on the desk could pass more but for runout."""
    pump, well = rig.pump, place.well
    static = well.highest_m + place.site.lift_m + place.rules.residual_m
    free = highest_flow(
        pump, rig.drive, prospect.clip_w, 0.0, well.density_kg_m3, static, prospect.top_m3_h, np.inf, 0.0, 0.0,
        room.desk,
    )  # fmt: skip
    return free > (1.0 + 1e-9) * highest_flow(
        pump, rig.drive, prospect.clip_w, 0.0, well.density_kg_m3, static, prospect.top_m3_h, full_speed_m3_h(pump),
        0.0, 0.0, room.desk,
    )  # fmt: skip


@kernel
def loosest_water(j: int, place: Place, storage: Storage, room: Room) -> float:
    """Water of a year, m3, that no set with pump j exceeds: by the months' means, without friction."""
    market, rules = place.market, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    prospect = prospect_of(pump, drive, place.site, rules, place.well, room.bare)
    if prospect.rule != FITS:
        return -np.inf
    rig = Rig(pump, drive, place.site, rules, place.well, room.bare)
    free = loose_duty(pump, prospect, prospect.top_m3_h, 0.0)
    open_year(rig, free, pump.slip_life_factor, room.fan)
    for m in range(12):
        month_curve(rig, free, room.fan, m, 0.0, room.curves[OTHER, m])
    most = -np.inf
    for w in range(market.modules.size):
        strings = room.strings[pump.drive, w]
        count = arrays_up_to(strings, room.arrays[pump.drive, w], largest_array_w(pump, drive, rules))
        if count > 0:
            used, _ = month_water(free, place, w, strings[count - 1].array_wp, room.curves[OTHER], storage)
            most = max(most, used)
    return most


@kernel
def largest_parts(prospect: Prospect, rig: Rig, place: Place, room: Room) -> tuple[int, int, int]:
    """The widest delivery pipe and riser with which the pump passes its rules, and the thickest cable: riser, delivery
    pipe, cable. Where none do, the widest riser that stands the pressure, −1 without one."""
    market = place.market
    cable = 0
    for c in range(market.cables.size):
        if market.cables[c].r20_ohm_m < market.cables[cable].r20_ohm_m:
            cable = c
    head = place.well.deepest_m + place.site.lift_m + place.rules.residual_m
    held = RELIEF_RATIO * place.well.density_kg_m3 * GRAVITY_M_S2 * head  # without any flow
    shallow = intake_depth_m(place.site, place.well, 0.0, rig.pump.family == SURFACE)
    stands, first, widest = -1, True, next_narrower(market.deliveries, np.inf)
    delivery = widest
    while delivery >= 0:
        take_part(DELIVERY, delivery, place, room.desk)
        riser = next_narrower(market.risers, np.inf)
        while riser >= 0:
            one = market.risers[riser]
            if one.pressure_pa < held or not riser_can_hang(
                rig.pump, one, shallow, place.rules, place.well.density_kg_m3
            ):  # nor with any flow
                riser = next_narrower(market.risers, one.inside_mm)
                continue
            take_part(RISER, riser, place, room.desk)
            duty = fit_set(
                rig.pump, rig.drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable],
                place.site, place.rules, place.well, room.desk,
            )  # fmt: skip
            if duty.rule == FITS:
                return riser, delivery, cable
            if first and duty.rule == NO_HEAD:  # nor through narrower pipes
                return riser, delivery, cable
            if first and duty.rule == ABOVE_SAFE_RATE and too_strong(prospect, rig, place, room):
                return riser, delivery, cable
            first = False
            if stands < 0 and duty.rule != NO_RISER:
                stands = riser
            riser = next_narrower(market.risers, one.inside_mm)
        delivery = next_narrower(market.deliveries, market.deliveries[delivery].inside_mm)
    return stands, widest, cable


@kernel
def too_strong(prospect: Prospect, rig: Rig, place: Place, room: Room) -> bool:
    """Whether a pump passes the safe rate, or its runout, at its lowest speed through the narrowest pipes too."""
    market = place.market
    riser = delivery = 0
    for r in range(market.risers.size):
        if market.risers[r].inside_mm < market.risers[riser].inside_mm:
            riser = r
    for d in range(market.deliveries.size):
        if market.deliveries[d].inside_mm < market.deliveries[delivery].inside_mm:
            delivery = d
    take_part(RISER, riser, place, room.desk)
    take_part(DELIVERY, delivery, place, room.desk)
    lay_heads(place.site, prospect.intake_m, room.desk)
    pump, well = rig.pump, place.well
    static = well.highest_m + place.site.lift_m + place.rules.residual_m
    flow = highest_flow(
        pump, rig.drive, prospect.clip_w, 0.0, well.density_kg_m3, static, prospect.top_m3_h, full_speed_m3_h(pump),
        pump.min_speed_ratio, 0.0, room.desk,
    )  # fmt: skip
    return flow < 0.0


@kernel
def next_narrower(pipes: Records, bore_mm: float) -> int:
    """The widest pipe narrower than a bore, the strongest of equals; −1 when there is none."""
    found = -1
    for i in range(pipes.size):
        bore, strong = pipes[i].inside_mm, pipes[i].pressure_pa
        if bore >= bore_mm or (found >= 0 and bore < pipes[found].inside_mm):
            continue
        if found < 0 or bore > pipes[found].inside_mm or strong > pipes[found].pressure_pa:
            found = i
    return found
