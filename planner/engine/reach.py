"""How far a site can be served at all: the most water that any set gives there."""

from __future__ import annotations

from planner.catalogue.arrays import SURFACE
from planner.engine.balance import storage_of
from planner.engine.bounds import arrays_up_to, largest_array_w, take_part
from planner.engine.duty import (
    FITS,
    KNOTS,
    RELIEF_RATIO,
    Prospect,
    Rig,
    fit_set,
    prospect_of,
    riser_can_hang,
)
from planner.engine.room import DELIVERY, DEMAND, DESIGN_YEAR, RISER, Place, Room, wanted_year
from planner.engine.volume import year_curves
from planner.engine.weigh import sleeve_needed, year_of
from planner.engine.well import drawdown_m
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
        riser, delivery, cable = largest_parts(prospect, rig, place)
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
def largest_parts(prospect: Prospect, rig: Rig, place: Place) -> tuple[int, int, int]:
    """The widest riser that holds the pump's pressure and weight, the widest delivery pipe, the thickest cable."""
    market, well = place.market, place.well
    held = (
        RELIEF_RATIO
        * well.density_kg_m3
        * GRAVITY_M_S2
        * (
            well.deepest_m
            + drawdown_m(place.site, prospect.top_m3_h, True)
            + place.site.lift_m
            + place.rules.residual_m
        )
    )
    riser = delivery = cable = -1
    for r in range(market.risers.size):
        one = market.risers[r]
        if riser >= 0 and one.inside_mm <= market.risers[riser].inside_mm:
            continue
        hangs = rig.pump.family == SURFACE or riser_can_hang(
            rig.pump, one, prospect.intake_m, place.rules, well.density_kg_m3
        )
        if one.pressure_pa >= 1.02 * held and hangs:
            riser = r
    for d in range(market.deliveries.size):
        if delivery < 0 or market.deliveries[d].inside_mm > market.deliveries[delivery].inside_mm:
            delivery = d
    for c in range(market.cables.size):
        if cable < 0 or market.cables[c].r20_ohm_m < market.cables[cable].r20_ohm_m:
            cable = c
    return riser, delivery, cable
