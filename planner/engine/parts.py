"""Cables, risers and delivery pipes of a pump: which may do, what each costs more than the cheapest, what none loses
less than."""

from __future__ import annotations

import numpy as np

from planner.catalogue.arrays import SURFACE
from planner.engine.cost import Market
from planner.engine.curve import KNOTS, speed_power_torque
from planner.engine.duty import (
    FITS,
    RELIEF_RATIO,
    Duty,
    Prospect,
    cable_loss,
    cable_ratio_of,
    delivery_friction,
    full_flow_m3_h,
    lay_heads,
    loose_floor,
    riser_can_hang,
    riser_friction,
)
from planner.engine.room import CABLE, DELIVERY, RISER, Place, Room, least_flow_m3_h, riser_worth, shallowest_m
from planner.engine.site import Record, Records
from planner.engine.well import drawdown_m
from planner.physics.equation import kernel
from planner.physics.pipes import friction_head_m, minor_head_m
from planner.physics.water import GRAVITY_M_S2


@kernel
def list_parts(pump: Record, drive: Record, place: Place, parts: Records) -> float:
    """What each cable, riser and delivery pipe costs more than the cheapest that may do, at the shallowest intake; what
    the three cheapest cost together."""
    site, market, rules = place.site, place.market, place.rules
    surface, intake, flow = pump.family == SURFACE, shallowest_m(pump, place), least_flow_m3_h(place)
    length = rules.cable_to_drive_m + (0.0 if surface else intake)
    head = place.well.deepest_m + drawdown_m(site, flow, True) + site.lift_m + rules.residual_m
    density = place.well.density_kg_m3
    held = RELIEF_RATIO * density * GRAVITY_M_S2 * head
    _, _, torque = speed_power_torque(pump, drive, flow, head, pump.slip_life_factor, 0.0, density)
    total = 0.0
    for kind in range(3):
        least, count = np.inf, part_count(kind, market)
        for i in range(count):
            if kind == CABLE:
                cable = market.cables[i]
                price, may = cable.worth * length, cable_loss(pump, drive, cable, length, torque) <= rules.cable_loss
            elif kind == RISER:
                riser = market.risers[i]
                price = riser_worth(riser, site) * intake
                may = riser.pressure_pa >= held
                may = may and full_flow_m3_h(riser.inside_mm, rules.velocity_riser_m_s) >= flow
                may = may and (surface or riser_can_hang(pump, riser, intake, rules, density))
            else:
                pipe = market.deliveries[i]
                price = pipe.worth * site.pipe_length_m
                may = full_flow_m3_h(pipe.inside_mm, rules.velocity_delivery_m_s) >= flow
                above_ground = RELIEF_RATIO * density * GRAVITY_M_S2 * (site.lift_m + rules.residual_m)
                may = may and pipe.pressure_pa >= above_ground
            parts[kind, i].extra, parts[kind, i].may = price, may
            if may:
                least = min(least, price)
        for i in range(count):
            parts[kind, i].extra -= least
        total += least
    return total


@kernel
def part_count(kind: int, market: Market) -> int:
    """How many cables, risers or delivery pipes there are."""
    if kind == CABLE:
        return market.cables.size
    return market.risers.size if kind == RISER else market.deliveries.size


@kernel
def take_part(kind: int, i: int, place: Place, desk: Record) -> None:
    """Put the friction of a riser or delivery pipe on the desk."""
    if kind == RISER:
        riser_friction(place.market.risers[i], place.rules, place.well, desk)
    elif kind == DELIVERY:
        delivery_friction(place.market.deliveries[i], place.site, place.well, desk)


@kernel
def take_least(kind: int, place: Place, parts: Records, desk: Record) -> None:
    """Put friction on the desk that no riser or delivery pipe which may do goes below: the widest bore, the smoothest
    wall."""
    market, site, well = place.market, place.site, place.well
    bore, wall = 0.0, np.inf
    for i in range(part_count(kind, market)):
        if parts[kind, i].may:
            one = market.risers[i] if kind == RISER else market.deliveries[i]
            bore, wall = max(bore, one.inside_mm), min(wall, one.roughness_mm)
    for k in range(KNOTS):
        flow = desk.flow[k]
        if kind == RISER:
            desk.riser_m[k] = friction_head_m(flow, 1.0, bore, wall, well.viscosity_m2_s) if bore > 0.0 else 0.0
            desk.fitting_m[k] = minor_head_m(flow, bore, place.rules.minor_k) if bore > 0.0 else 0.0
        else:
            desk.delivery_m[k] = (
                friction_head_m(flow, site.pipe_length_m, bore, wall, well.viscosity_m2_s) if bore > 0.0 else 0.0
            )


@kernel
def least_ratio(pump: Record, drive: Record, place: Place, parts: Records) -> float:
    """Cable resistance over that of the winding that no cable which may do goes below, at the shallowest intake."""
    length = place.rules.cable_to_drive_m + (0.0 if pump.family == SURFACE else shallowest_m(pump, place))
    least = np.inf
    for i in range(place.market.cables.size):
        if parts[CABLE, i].may:
            least = min(least, cable_ratio_of(pump, drive, place.market.cables[i], length))
    return least if least < np.inf else 0.0


@kernel
def lay_least(pump: Record, drive: Record, prospect: Prospect, place: Place, room: Room) -> Duty:
    """Lay the least friction of pipes that may do on the bare desk; a duty with the least loss of cable."""
    take_least(RISER, place, room.parts, room.bare)
    take_least(DELIVERY, place, room.parts, room.bare)
    lay_heads(place.site, shallowest_m(pump, place), room.bare)
    return loose_duty(pump, prospect, prospect.top_m3_h, least_ratio(pump, drive, place, room.parts))


@kernel
def loose_duty(pump: Record, prospect: Prospect, cap: float, ratio: float) -> Duty:
    """A pump with some or none of its friction and cable loss, and without the limits that friction can ease."""
    return Duty(
        FITS, 0.0, 0.0, cap, prospect.safe_m3_h, prospect.safe_limit, prospect.intake_m, ratio, prospect.clip_w,
        prospect.availability, np.inf, pump.min_speed_ratio, loose_floor(pump),
    )  # fmt: skip
