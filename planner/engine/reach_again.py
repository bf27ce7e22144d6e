"""How far a site that has changed can be served: `engine.reach` with the pumps of a short list first."""

from __future__ import annotations

import numpy as np

from planner.catalogue.arrays import HELICAL
from planner.engine.balance import Storage
from planner.engine.bounds import arrays_up_to, largest_array_w, lift_water, lifted_water
from planner.engine.curve import KNOTS
from planner.engine.duty import Rig, prospect_of
from planner.engine.parts import loose_duty
from planner.engine.reach import at_runout, largest_parts, loosest_water, water_through
from planner.engine.room import DEMAND, DESIGN_YEAR, Place, Room, largest_storage
from planner.engine.site import Records
from planner.engine.volume import open_year, year_curves
from planner.engine.weigh import year_of
from planner.physics.equation import kernel


@kernel
def most_again(place: Place, short: Records, room: Room) -> float:
    """The most water of a year that any set gives, m3, as `reach.most_used`: first the pumps that gave most when it was
    last sought, then those that could give more by energy, by the months' means, and by the balance of days."""
    market = place.market
    storage = largest_storage(place)
    count = market.pumps.size
    order = np.argsort(
        -short["gave"][:count]
    )  # those that gave most before: the more the first gives, the fewer follow
    most = 0.0
    for n in range(count):
        j = order[n]
        found = most_of_pump(j, place, short, storage, most, room)
        short[j].gave = max(found, 0.9 * short[j].gave)
        most = max(most, found)
    return most


@kernel
def most_of_pump(j: int, place: Place, short: Records, storage: Storage, most: float, room: Room) -> float:
    """The most water of a year, m3, of any set with pump j; 0 where it is not more than `most`."""
    market, rules = place.market, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    if place.site.casing_mm < pump.casing_min_mm:
        return 0.0
    lift_water(pump, drive, place)
    used, _ = lifted_water(largest_array_w(pump, drive, rules), place)
    if used <= most or loosest_water(j, place, storage, room) <= most:
        return 0.0
    # The fan is that of the pump without friction.
    prospect = prospect_of(pump, drive, place.site, rules, place.well, room.bare)
    bare = Rig(pump, drive, place.site, rules, place.well, room.bare)
    free = loose_duty(pump, prospect, prospect.top_m3_h, 0.0)
    open_year(bare, free, pump.slip_life_factor, room.fan)
    year_curves(bare, free, room.fan, 1.0, room.curves[DEMAND])
    could = 0.0
    for w in range(market.modules.size):
        strings = room.strings[pump.drive, w]
        count = arrays_up_to(strings, room.arrays[pump.drive, w], largest_array_w(pump, drive, rules))
        if count > 0 and could <= most:
            watts = strings[count - 1].array_wp
            used = year_of(bare, free, place, w, watts, DESIGN_YEAR, DEMAND, storage, room.year, room)
            could = max(could, used)
    if could <= most:
        return 0.0
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    rig = Rig(pump, drive, place.site, rules, place.well, room.desk)
    riser, delivery, cable = largest_parts(prospect, rig, place, room)
    if riser < 0:
        return 0.0
    found = water_through(rig, prospect, place, riser, delivery, cable, storage, most, room)
    if pump.family == HELICAL or not at_runout(prospect, rig, place, room):
        return found
    # Narrower pipes make it run faster, and pass more before runout: of these the pairs of the list are tried.
    for s in range(short.size):
        if short[s].pump >= 0:
            found = max(
                found,
                water_through(
                    rig, prospect, place, short[s].riser, short[s].delivery, cable, storage, max(most, found), room
                ),
            )
    return found
