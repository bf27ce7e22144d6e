"""Volume of a month from flow against power and power against time, integrated exactly.

Flow is piecewise linear in power, with a jump where it starts; N(x) are the hours above power x and
A(x) = ∫ N from x up. Then the volume is  jump · N(start) + Σ slope · (A(left) − A(right))  over the segments.
N and A are exact for the steps of the mean day (see engine/light.py), so no power class adds an error. The volume of
each kind of day is the sum over its own steps.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner.engine.curve import CURVE, fan_curve, open_fan
from planner.engine.duty import Duty, Rig
from planner.engine.light import BUCKETS, COARSE, Light
from planner.engine.site import Record, Records
from planner.physics.equation import kernel

Floats = NDArray[np.float64]

# What is lifted in a month sets the drawdown that earlier days leave, which sets the volume: found by secants.
MEMORY_PASSES = 12
MEMORY_STOP = 1e-7


def curves() -> Records:
    """Room for flow against power in each month."""
    return np.zeros(12, CURVE)


@kernel
def above(light: Light, w: int, m: int, watts_per_wp: float) -> tuple[float, float]:
    """Hours of the mean day above a power, and the integral of those hours from that power up."""
    top = light.steps[w, m, 0].power
    watts_per_wp = max(watts_per_wp, 0.0)
    if not watts_per_wp < top:  # nor for a missing number, which has no place in a table
        return 0.0, 0.0
    k = light.first[w, m, int(watts_per_wp / top * BUCKETS)]
    while light.steps[w, m, k].power > watts_per_wp:
        k += 1
    step = light.steps[w, m, k]
    return step.hours, step.energy - watts_per_wp * step.hours


@kernel
def volume_from(light: Light, w: int, m: int, array_w: float, curve: Record, start_w: float) -> tuple[float, float]:
    """Volume (m3) and hours of a mean day when the pump runs above `start_w` only."""
    knots = curve.knots
    first = 0
    while first < knots and curve.power_w[first] < start_w:
        first += 1
    if first == 0:
        here, at = curve.flow_m3_h[0], curve.power_w[0]
        first = 1
    elif first == knots:
        here, at = curve.flow_m3_h[knots - 1], start_w
    else:
        width = curve.power_w[first] - curve.power_w[first - 1]
        part = (start_w - curve.power_w[first - 1]) / width
        here = curve.flow_m3_h[first - 1] + part * (curve.flow_m3_h[first] - curve.flow_m3_h[first - 1])
        at = start_w
    hours, left = above(light, w, m, at / array_w)
    volume = here * hours
    for k in range(first, knots):
        if left <= 0.0:
            break
        power, flow = curve.power_w[k], curve.flow_m3_h[k]
        _, right = above(light, w, m, power / array_w)
        if power > at:
            volume += (flow - here) / (power - at) * (left - right) * array_w
        else:  # power does not rise: the flow jumps
            jump_hours, _ = above(light, w, m, at / array_w)
            volume += (flow - here) * jump_hours
        here, at, left = flow, power, right
    return volume, hours


@kernel
def mean_day(light: Light, w: int, m: int, array_w: float, curve: Record) -> tuple[float, float]:
    """Volume (m3) and hours of the mean day of a month. Between running and starting power hours count half:
    in the morning the pump waits, in the afternoon it runs on."""
    if curve.knots == 0:
        return 0.0, 0.0
    volume, hours = volume_from(light, w, m, array_w, curve, curve.power_w[0])
    if curve.start_w <= curve.power_w[0]:
        return volume, hours
    late_volume, late_hours = volume_from(light, w, m, array_w, curve, curve.start_w)
    return 0.5 * (volume + late_volume), 0.5 * (hours + late_hours)


@kernel
def kinds_of_day(light: Light, w: int, m: int, array_w: float, curve: Record, availability: float, out: Floats) -> None:
    """Volume, m3, of each kind of day of a month into `out`; their mean is that of the mean day."""
    kinds = light.month.kinds[m]
    for i in range(kinds):
        out[i] = 0.0
    if curve.knots == 0:
        return
    each = availability * light.month.hours[m] * kinds
    k = curve.knots - 1
    most, full = curve.power_w[k], curve.flow_m3_h[k]
    low, high, flow, slope = most, most, full, 0.0
    skip = 0  # steps that give all the pump can
    top = light.steps[w, m, 0].power * array_w
    if max(most, curve.start_w) < top:
        part = max(math.ceil(max(most, curve.start_w) / top * COARSE), 1)
        skip = light.first[w, m, part * BUCKETS // COARSE - 1]
        for i in range(kinds):
            out[i] = each * full * light.ahead[w, m, part, i]
    for n in range(skip, light.steps.shape[2]):
        step = light.steps[w, m, n]
        power = step.power * array_w
        if power < high:
            while k > 0 and power < curve.power_w[k]:
                k -= 1
            low = curve.power_w[k]
            if power < low:
                return
            high, flow = low, curve.flow_m3_h[k]
            slope = 0.0
            if curve.power_w[k + 1] > low:
                slope = (curve.flow_m3_h[k + 1] - flow) / (curve.power_w[k + 1] - low)
        given = flow + slope * (power - low)
        if power >= most:
            given = full
        out[step.kind] += each * (0.5 * given if power < curve.start_w else given)


@kernel
def open_year(rig: Rig, duty: Duty, slip_factor: float, fan: Record) -> None:
    """Open a fan over all static heads of a year: no water lifted at the highest rest level to all that is wanted, in
    the year that wants most, at the lowest."""
    site, rules = rig.site, rig.rules
    most = max((1.0 + site.growth) ** (rules.horizon_y - rules.design_year), 1.0)
    low, high = np.inf, -np.inf
    for m in range(12):
        low = min(low, site.rest_m[m])
        high = max(high, site.rest_m[m] + site.memory_d_m2 * most * site.demand_m3_day[m])
    above_ground = site.lift_m + rules.residual_m
    open_fan(
        rig.pump, rig.drive, duty.cable_ratio, rig.well.density_kg_m3, low + above_ground, high + above_ground,
        slip_factor, duty.floor, rig.desk, fan,
    )  # fmt: skip


@kernel
def month_curve(rig: Rig, duty: Duty, fan: Record, m: int, lifted: float, curve: Record) -> None:
    """Flow against power of month m when `lifted` (m3/d) is pumped day after day, into `curve`."""
    site = rig.site
    static = site.rest_m[m] + site.memory_d_m2 * lifted + site.lift_m + rig.rules.residual_m
    knots, start = fan_curve(
        rig.pump, rig.drive, duty.clip_w, duty.cable_ratio, rig.well.density_kg_m3, static, duty.cap_m3_h,
        duty.runout_m3_h, duty.lowest, fan, rig.desk, curve.power_w, curve.flow_m3_h,
    )  # fmt: skip
    curve.knots, curve.start_w = knots, start


@kernel
def year_curves(rig: Rig, duty: Duty, fan: Record, share: float, room: Records) -> None:
    """Curves of the twelve months when `share` of the design year's demand is lifted."""
    for m in range(12):
        month_curve(rig, duty, fan, m, share * rig.site.demand_m3_day[m], room[m])


@kernel
def month_volume(
    rig: Rig, duty: Duty, fan: Record, light: Light, w: int, m: int, array_w: float, wanted: float,
    at_wanted: Record, own: Record,
) -> tuple[float, float, bool]:  # fmt: skip
    """Pumpable volume (m3/d) and running hours of the mean day of a month, and whether `own` holds its curve.

    at_wanted  the curve for `wanted` (m3/d) lifted in full: right for a month that gives it. Where less is lifted
               the water stands higher: what is lifted is then sought that gives itself, and its curve left in `own`.
               More lifted gives less, so there is one such volume, between what `wanted` gives and `wanted`.
    """
    volume, hours = mean_day(light, w, m, array_w, at_wanted)
    volume *= duty.availability
    if volume >= wanted or rig.site.memory_d_m2 <= 0.0:
        return volume, hours, False
    before, gave = wanted, volume
    lifted = volume
    for _ in range(MEMORY_PASSES):
        month_curve(rig, duty, fan, m, lifted, own)
        volume, hours = mean_day(light, w, m, array_w, own)
        volume *= duty.availability
        excess, excess_before = volume - lifted, gave - before
        if abs(excess) <= MEMORY_STOP * lifted or excess == excess_before:
            break
        step = lifted - excess * (lifted - before) / (excess - excess_before)
        before, gave = lifted, volume
        lifted = min(max(step, 0.0), wanted)
    return volume, hours, True


@kernel
def pump_year(
    rig: Rig, duty: Duty, fan: Record, light: Light, w: int, array_w: float, share: float, at_demand: Records,
    own: Records, year: Record,
) -> None:  # fmt: skip
    """Pumpable volume and running hours of each month's mean day into `year`.

    share      of the design year's demand that is wanted
    at_demand  curves for it lifted in full (`year_curves`); `own` gets the curves of the months that fall short
    """
    for m in range(12):
        wanted = share * rig.site.demand_m3_day[m]
        volume, hours, short = month_volume(
            rig, duty, fan, light, w, m, array_w, wanted, at_demand[m], own[m]
        )  # fmt: skip
        year.volume[m], year.hours[m], year.own[m] = volume, hours, short
