"""Volume of a month from flow against power and power against time, integrated exactly.

Flow is piecewise linear in power, with a jump where it starts; N(x) are the hours above power x and
A(x) = ∫ N from x up. Then the volume is  jump · N(start) + Σ slope · (A(left) − A(right))  over the segments.
N and A are exact for the steps of the mean day (see engine/light.py), so no power class adds an error.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.duty import KNOTS, Duty, flow_curve
from planner.engine.light import Light
from planner.engine.site import Record
from planner.physics.equation import kernel

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# What is lifted in a month sets the drawdown that earlier days leave, which sets the volume.
MEMORY_PASSES = 6
MEMORY_STOP = 1e-3


class Curves(NamedTuple):
    """Flow against power in each month, for some demand and slip."""

    power_w: Floats  # (12, KNOTS + 2)
    flow_m3_h: Floats  # (12, KNOTS + 2)
    knots: Integers  # (12)
    start_w: Floats  # (12)


@kernel
def above(light: Light, w: int, m: int, watts_per_wp: float) -> tuple[float, float]:
    """Hours of the mean day above a power, and the integral of those hours from that power up."""
    power = light.power[w, m]
    low, high = 0, power.size
    while low < high:
        middle = (low + high) // 2
        if power[middle] > watts_per_wp:
            low = middle + 1
        else:
            high = middle
    return light.hours[w, m, low], light.energy[w, m, low] - watts_per_wp * light.hours[w, m, low]


@kernel
def volume_from(
    light: Light, w: int, m: int, array_w: float, power: Floats, flow: Floats, knots: int, start_w: float
) -> tuple[float, float]:
    """Volume (m3) and hours of a mean day when the pump runs above `start_w` only."""
    first = 0
    while first < knots and power[first] < start_w:
        first += 1
    if first == 0:
        here, at = flow[0], power[0]
        first = 1
    elif first == knots:
        here, at = flow[knots - 1], start_w
    else:
        part = (start_w - power[first - 1]) / (power[first] - power[first - 1])
        here, at = flow[first - 1] + part * (flow[first] - flow[first - 1]), start_w
    hours, left = above(light, w, m, at / array_w)
    volume = here * hours
    for k in range(first, knots):
        width = power[k] - at
        _, right = above(light, w, m, power[k] / array_w)
        if width > 0.0:
            volume += (flow[k] - here) / width * (left - right) * array_w
        else:  # power does not rise: the flow jumps
            jump_hours, _ = above(light, w, m, at / array_w)
            volume += (flow[k] - here) * jump_hours
        here, at, left = flow[k], power[k], right
    return volume, hours


@kernel
def mean_day(
    light: Light, w: int, m: int, array_w: float, power: Floats, flow: Floats, knots: int, start_w: float
) -> tuple[float, float]:
    """Volume (m3) and hours of the mean day of a month. Between running and starting power hours count half:
    in the morning the pump waits, in the afternoon it runs on."""
    if knots == 0:
        return 0.0, 0.0
    volume, hours = volume_from(light, w, m, array_w, power, flow, knots, power[0])
    if start_w <= power[0]:
        return volume, hours
    late_volume, late_hours = volume_from(light, w, m, array_w, power, flow, knots, start_w)
    return 0.5 * (volume + late_volume), 0.5 * (hours + late_hours)


@kernel
def no_curves() -> Curves:
    """Room for curves, not yet filled."""
    return Curves(np.empty((12, KNOTS + 2)), np.empty((12, KNOTS + 2)), np.empty(12, np.int64), np.empty(12))


@kernel
def curves_of(
    pump: Record, drive: Record, duty: Duty, site: Record, rules: Record, density: float, slip_factor: float,
    lifted: Floats, flows: Floats, heads: Floats,
) -> Curves:  # fmt: skip
    """Flow against power of the twelve months when `lifted` (m3/d) is pumped day after day."""
    curves = no_curves()
    for m in range(12):
        static = site.rest_m[m] + site.memory_d_m2 * lifted[m] + site.lift_m + rules.residual_m
        knots, start = flow_curve(
            pump,
            drive,
            duty,
            density,
            static,
            slip_factor,
            flows,
            heads,
            curves.power_w[m],
            curves.flow_m3_h[m],
        )
        curves.knots[m] = knots
        curves.start_w[m] = start
    return curves


@kernel
def monthly_volumes(
    pump: Record, drive: Record, duty: Duty, site: Record, rules: Record, density: float, slip_factor: float,
    flows: Floats, heads: Floats, at_demand: Curves, demand: Floats, light: Light, w: int, array_w: float,
    scratch: Curves, volumes: Floats, running: Floats,
) -> None:  # fmt: skip
    """Pumpable volume (m3/d) and running hours of the mean day of each month, into `volumes` and `running`.

    at_demand  curves for `demand` lifted in full: right for every month that meets it. Where less is lifted
               the water stands higher; those months are repeated with what is lifted until it settles.
    scratch    room; of months that were repeated it keeps the last curve
    """
    for m in range(12):
        volume, hours = mean_day(
            light,
            w,
            m,
            array_w,
            at_demand.power_w[m],
            at_demand.flow_m3_h[m],
            at_demand.knots[m],
            at_demand.start_w[m],
        )
        volume *= duty.availability
        if volume < demand[m] and site.memory_d_m2 > 0.0:
            for _ in range(MEMORY_PASSES):
                lifted = min(volume, demand[m])
                static = site.rest_m[m] + site.memory_d_m2 * lifted + site.lift_m + rules.residual_m
                knots, start = flow_curve(
                    pump, drive, duty, density, static, slip_factor, flows, heads, scratch.power_w[m],
                    scratch.flow_m3_h[m],
                )  # fmt: skip
                scratch.knots[m], scratch.start_w[m] = knots, start
                again, hours = mean_day(light, w, m, array_w, scratch.power_w[m], scratch.flow_m3_h[m], knots, start)
                again *= duty.availability
                done = abs(again - volume) <= MEMORY_STOP * again
                volume = again
                if done:
                    break
        volumes[m] = volume
        running[m] = hours
