"""What a chosen design does, hour by hour of the power-duration table: flows, levels, heads and energy."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.balance import storage_of, through, water_used
from planner.engine.cost import Market
from planner.engine.curve import KNOTS
from planner.engine.duty import (
    Duty,
    Prospect,
    Rig,
    delivery_friction,
    delivery_head_m,
    fit_set,
    prospect_of,
    riser_friction,
    riser_head_m,
)
from planner.engine.light import LANES, Light
from planner.engine.room import DEMAND, OWN, Room
from planner.engine.site import Record
from planner.engine.sun import DAYS
from planner.engine.volume import month_curve, open_year, year_curves
from planner.engine.weigh import running_hours_day
from planner.engine.well import Well, drawdown_m, well_limits
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]

SHORT_SHARE = 0.2  # of a day's demand missing: a short day
PEAK_SHARE = 0.02  # of the pumping hours of the design month, for the design peak


class Performance(NamedTuple):
    """Results of a design; volumes are at the tank inlet."""

    prospect: Prospect
    duty: Duty
    well: Well
    volumes_m3_day: Floats  # (12) pumpable
    used_m3_month_day: Floats  # (12) used on the mean day of each month
    used_share: Floats  # (12) of each month's demand delivered
    short_days: float  # share of days that get less than 0.8 of what is wanted
    reliability: float
    worst_month: float
    low_sun_reliability: float  # the same two with the sun that the sizing rules count on
    low_sun_worst_month: float
    used_m3_day: float
    run_share: float  # power at which water begins to flow in the design month ÷ rated power of the array
    running_hours_day: float
    design_month: int  # 0 to 11
    peak_m3_h: float
    peak_design_m3_h: float
    rest_m: float  # design month, with the memory of earlier days not counted
    level_m: float  # design month, at the peak
    head_m: float
    level_rule_m: float
    head_rule_m: float
    wire_to_water: float
    specific_output: float  # m4/kWp/d


@kernel
def flow_at(power_w: float, curve: Record) -> float:
    """Flow (m3/h) at a power, 0 below the start, the last flow above the last knot."""
    knots = curve.knots
    if knots == 0 or power_w < curve.power_w[0]:
        return 0.0
    for k in range(1, knots):
        if power_w < curve.power_w[k]:
            part = (power_w - curve.power_w[k - 1]) / (curve.power_w[k] - curve.power_w[k - 1])
            return curve.flow_m3_h[k - 1] + part * (curve.flow_m3_h[k] - curve.flow_m3_h[k - 1])
    return float(curve.flow_m3_h[knots - 1])


@kernel
def perform(design: Record, site: Record, light: Light, market: Market, rules: Record, room: Room) -> Performance:
    """Run a design through the year; its curves are left in `room.curves[DEMAND]`, months that fall short settled."""
    j, w = design.pump, design.module
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    riser, delivery, cable = (
        market.risers[design.riser],
        market.deliveries[design.delivery],
        market.cables[design.cable],
    )
    well = well_limits(site)
    prospect = prospect_of(pump, drive, site, rules, well, room.bare)
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    riser_friction(riser, rules, well, room.desk)
    delivery_friction(delivery, site, well, room.desk)
    duty = fit_set(pump, drive, prospect, riser, delivery, cable, site, rules, well, room.desk)
    rig = Rig(pump, drive, site, rules, well, room.desk)
    density, demand = well.density_kg_m3, site.demand_m3_day
    storage = storage_of(site, market.tanks[design.tank].volume_m3)
    curves, own = room.curves[DEMAND], room.curves[OWN]
    array_w = design.array_wp * (1.0 - rules.ageing_year * rules.design_year)
    open_year(rig, duty, pump.slip_life_factor, room.fan)
    year_curves(rig, duty, room.fan, 1.0, curves)
    _, low_reliability, low_worst = water_used(
        rig, duty, room.fan, light, w, array_w * site.low_sun, 1.0, curves, own, storage, room.other, room.ledger
    )
    used, reliability, worst = water_used(
        rig, duty, room.fan, light, w, array_w, 1.0, curves, own, storage, room.year, room.ledger
    )
    short = short_days(light, storage.over_m3, room.ledger) if rules.daily else 0.0
    year = room.year
    volumes, month_used, lifted = np.empty(12), np.empty(12), np.empty(12)
    used_share = np.ones(12)
    month, least = 0, np.inf
    for m in range(12):
        volumes[m], month_used[m], lifted[m] = year.volume[m], year.used[m], min(year.volume[m], demand[m])
        month_curve(rig, duty, room.fan, m, lifted[m], curves[m])
        if demand[m] > 0.0:
            used_share[m] = year.used[m] / demand[m]
            if volumes[m] / demand[m] < least:
                month, least = m, volumes[m] / demand[m]
    run_share = curves[month].power_w[0] / design.array_wp if curves[month].knots > 0 else np.nan

    peak = peak_design = 0.0
    hydraulic = electrical = lift_volume = 0.0
    friction_flow, drawdown, riser_head, delivery_head = (
        -1.0,
        0.0,
        0.0,
        0.0,
    )  # many steps have one flow, that of the cap
    for m in range(12):
        static = site.rest_m[m] + site.memory_d_m2 * lifted[m] + site.lift_m + rules.residual_m
        counted = 0.0
        for k in range(light.steps.shape[2] - 1):
            available = light.steps[w, m, k].power * array_w
            flow = flow_at(available, curves[m])
            if flow <= 0.0:
                break
            hours = light.month.hours[m]
            if available < curves[m].start_w:
                hours *= 0.5
            peak = max(peak, flow)
            counted += hours
            if m == month and counted <= max(PEAK_SHARE * year.hours[m], hours):
                peak_design = flow
            if flow != friction_flow:
                friction_flow, drawdown = flow, drawdown_m(site, flow, False)
                riser_head = riser_head_m(flow, riser, duty.intake_m, rules, well)
                delivery_head = delivery_head_m(flow, delivery, site, well)
            head = static + drawdown + riser_head + delivery_head
            hydraulic += DAYS[m] * hours * density * GRAVITY_M_S2 * flow / 3600.0 * head
            electrical += DAYS[m] * hours * min(available, curves[m].power_w[curves[m].knots - 1])
            lift_volume += DAYS[m] * hours * flow * head

    friction = riser_head_m(peak, riser, duty.intake_m, rules, well) + delivery_head_m(peak, delivery, site, well)
    cap = duty.cap_m3_h
    friction_cap = riser_head_m(cap, riser, duty.intake_m, rules, well) + delivery_head_m(cap, delivery, site, well)
    level = site.rest_m[month] + site.memory_d_m2 * lifted[month] + drawdown_m(site, peak, False)
    level_rule = well.deepest_m + drawdown_m(site, cap, True)
    above_ground = site.lift_m + rules.residual_m
    return Performance(
        prospect, duty, well, volumes, month_used, used_share, short, reliability, worst, low_reliability, low_worst,
        used / 365.0, run_share, running_hours_day(year), month, peak, peak_design, site.rest_m[month], level,
        level + above_ground + friction, level_rule, level_rule + above_ground + friction_cap,
        hydraulic / electrical if electrical > 0.0 else 0.0,
        duty.availability * lift_volume / 365.0 / (design.array_wp / 1000.0),
    )  # fmt: skip


@kernel
def short_days(light: Light, over_m3: float, ledger: Record) -> float:
    """Share of the counted days that get less than 0.8 of what is wanted."""
    short = days = 0
    for lane in range(LANES):
        stored = 0.5 * over_m3
        for span in range(light.spans.shape[0]):
            m, counted = light.spans[span, 0], light.spans[span, 3]
            for n in range(light.spans[span, 1], light.spans[span, 2]):
                surplus = ledger.pumped[light.day[n, lane]] - ledger.wanted[m]
                stored, lacks = through(stored, surplus, over_m3)
                if counted:
                    days += 1
                    short += lacks > SHORT_SHARE * ledger.wanted[m]
    return short / days


@kernel
def intake_of(design: Record, site: Record, market: Market, rules: Record, room: Room) -> float:
    """Intake of a design, m below ground."""
    pump, drive = market.pumps[design.pump], market.drives[market.pumps[design.pump].drive]
    well = well_limits(site)
    prospect = prospect_of(pump, drive, site, rules, well, room.bare)
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    riser_friction(market.risers[design.riser], rules, well, room.desk)
    delivery_friction(market.deliveries[design.delivery], site, well, room.desk)
    duty = fit_set(
        pump, drive, prospect, market.risers[design.riser], market.deliveries[design.delivery],
        market.cables[design.cable], site, rules, well, room.desk,
    )  # fmt: skip
    return duty.intake_m
