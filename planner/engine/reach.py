"""How far a site can be served at all: the most water that any set gives there."""

from __future__ import annotations

import numpy as np

from planner.engine.balance import storage_of
from planner.engine.bounds import arrays_up_to, largest_array_w, take_part
from planner.engine.duty import (
    FITS,
    KNOTS,
    NO_RISER,
    RELIEF_RATIO,
    Prospect,
    Rig,
    fit_set,
    prospect_of,
)
from planner.engine.room import DELIVERY, DEMAND, DESIGN_YEAR, RISER, Place, Room, wanted_year
from planner.engine.site import Records
from planner.engine.volume import year_curves
from planner.engine.weigh import sleeve_needed, year_of
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2


@kernel
def most_used(place: Place, room: Room) -> float:
    """The most water of a year that any set gives, m3: with the largest array, tank, pipes and cable."""
    market, rules = place.market, place.rules
    storage = storage_of(place.site, market.tanks[market.tanks.size - 1].volume_m3)
    ceiling = wanted_year(place.site, 1.0, storage.day_m3)
    most = 0.0
    for j in range(market.pumps.size):
        pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
        prospect = prospect_of(pump, drive, place.site, rules, place.well, room.bare)
        if prospect.rule != FITS or most >= ceiling:
            continue
        for k in range(KNOTS):
            room.desk.flow[k] = room.bare.flow[k]
        rig = Rig(pump, drive, place.site, rules, place.well, room.desk)
        riser, delivery, cable = largest_parts(prospect, rig, place, room)
        if riser < 0:
            continue
        take_part(RISER, riser, place, room.desk)
        take_part(DELIVERY, delivery, place, room.desk)
        duty = fit_set(
            pump, drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable], place.site,
            rules, place.well, room.desk,
        )  # fmt: skip
        if duty.rule != FITS:
            continue
        year_curves(rig, duty, pump.slip_life_factor, 1.0, room.curves[DEMAND])
        for w in range(market.modules.size):
            strings = room.strings[pump.drive, w]
            for i in range(
                arrays_up_to(strings, room.arrays[pump.drive, w], largest_array_w(pump, drive, rules)) - 1, -1, -1
            ):
                used = year_of(rig, duty, place, w, strings[i].array_wp, DESIGN_YEAR, DEMAND, storage, room.year, room)
                if used <= most:
                    break
                if sleeve_needed(pump, place.site, room.year)[0] >= 0:
                    most = used
                    break
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
    stands, widest = -1, next_narrower(market.deliveries, np.inf)
    delivery = widest
    while delivery >= 0:
        take_part(DELIVERY, delivery, place, room.desk)
        riser = next_narrower(market.risers, np.inf)
        while riser >= 0:
            take_part(RISER, riser, place, room.desk)
            duty = fit_set(
                rig.pump, rig.drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable],
                place.site, place.rules, place.well, room.desk,
            )  # fmt: skip
            if duty.rule == FITS:
                return riser, delivery, cable
            if stands < 0 and duty.rule != NO_RISER and market.risers[riser].pressure_pa >= held:
                stands = riser
            riser = next_narrower(market.risers, market.risers[riser].inside_mm)
        delivery = next_narrower(market.deliveries, market.deliveries[delivery].inside_mm)
    return stands, widest, cable


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
