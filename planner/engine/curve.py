"""Flow against power of one pump at a static head, and how that moves with the head.

The unknown of an operating point is usually the speed at a given power. Here flow is marched instead: at a
given flow the head, then the speed, then the power follow explicitly for every family, so nothing has to be
solved and the steep start of a centrifugal pump is resolved. A curve has its knots at the same `KNOTS` flows for all
pipes and cables of a pump, so that less friction can only move it one way.

The static head of a site moves with the months and with what is lifted. Speed and power of every knot are worked out
at a few heads, not more than `FAN_STEP` apart where the site's range allows, and lie on straight lines between them:
a fan. The lines keep the order of curves, so that bounds stay bounds.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL
from planner.catalogue.equipment import WATER_KG_M3
from planner.engine.site import Record
from planner.physics.equation import kernel
from planner.physics.pumps import (
    centrifugal_shaft_power_w,
    curve_shaft_power_w,
    curve_speed_ratio,
    helical_slip_m3_h,
    helical_speed_rpm,
    helical_torque_nm,
    motor_input_w,
    starting_power_w,
    starting_torque_nm,
)
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]

KNOTS = 20
RIBS = 8  # static heads of a fan at most
FAN_STEP = 0.03  # of the static head: power, about head^1.5, then errs by 0.75 × 0.03² / 8 = 8e-5 at most
RPM_TO_RAD_S = math.pi / 30.0

# Flow against power. Of the pump at hand: the flows of its knots, what they add to the static head, friction at them,
# speed and power; room to try a curve. A fan: speed and power of the knots at each of its heads.
CURVE = [("power_w", "f8", KNOTS + 2), ("flow_m3_h", "f8", KNOTS + 2), ("knots", "i8"), ("start_w", "f8")]
DESK = np.dtype(
    [(name, "f8", KNOTS) for name in ("flow", "head", "riser_m", "fitting_m", "delivery_m", "speed", "power")]
    + [(name, "f8", KNOTS + 2) for name in ("try_power", "try_flow")]
)
FAN = np.dtype(
    [("ribs", "i8"), ("low_m", "f8"), ("step_m", "f8"), ("speed", "f8", RIBS * KNOTS), ("power", "f8", RIBS * KNOTS)]
)


@kernel
def speed_power_torque(
    pump: Record, drive: Record, flow: float, head: float, slip_factor: float, ratio: float, density: float
) -> tuple[float, float, float]:
    """Speed ratio, electrical power (W) and torque (N m) at a flow (m3/h) against a head (m)."""
    rated = pump.rated_speed_rpm
    if pump.family == HELICAL:
        pressure = density * GRAVITY_M_S2 * head
        displacement = pump.displacement_cm3
        slip = slip_factor * pump.slip_m3_h_pa
        if pump.slip_exponent == 1.0:  # the call with its power function costs 20 ns
            rpm = helical_speed_rpm(flow, pressure, displacement, slip)
        else:
            leak = helical_slip_m3_h(pressure, slip, pump.slip_exponent)
            rpm = helical_speed_rpm(flow + leak, 0.0, displacement, 0.0)
        torque = helical_torque_nm(displacement, pressure, pump.fit_friction_nm)
        speed = rpm / rated
    else:
        speed = curve_speed_ratio(flow, head, pump.head_0_m, pump.head_1_m_h_m3, pump.head_2_m_h2_m6)
        rpm = speed * rated
        torque = centrifugal_torque_nm(pump, flow, speed, density)
    return speed, input_w(pump, drive, torque, speed, ratio), torque


@kernel
def centrifugal_torque_nm(pump: Record, flow: float, speed: float, density: float) -> float:
    """Torque, N m, of a centrifugal pump at a flow (m3/h) and a speed ratio."""
    if pump.measured:
        shaft = density / WATER_KG_M3 * curve_shaft_power_w(
            flow, speed, pump.best_flow_m3_h, pump.max_flow_ratio,
            pump.power_0_w, pump.power_1_w, pump.power_2_w, pump.power_3_w,
        )  # fmt: skip
    else:
        shaft = centrifugal_shaft_power_w(
            flow, speed, pump.best_flow_m3_h, pump.best_power_w * density / WATER_KG_M3, pump.best_efficiency
        )
    return shaft / (speed * pump.rated_speed_rpm * RPM_TO_RAD_S) if speed > 0.0 else 0.0


@kernel
def input_w(pump: Record, drive: Record, torque_nm: float, speed: float, ratio: float) -> float:
    """Electrical power, W, at a torque and a speed ratio."""
    rated = pump.rated_speed_rpm
    return motor_input_w(
        torque_nm, speed * rated, pump.motor_w, pump.rated_torque_nm, rated, pump.copper_share, pump.iron_share,
        ratio, drive.efficiency, drive.standby_w,
    )  # fmt: skip


@kernel
def start_power_w(pump: Record, drive: Record, static_pa: float, ratio: float) -> float:
    """Power, W, that starts a helical rotor against a full riser."""
    torque = starting_torque_nm(pump.displacement_cm3, static_pa, pump.fit_friction_nm, pump.breakaway_ratio)
    return starting_power_w(
        torque, pump.motor_w, pump.rated_torque_nm, pump.copper_share, ratio,
        pump.min_speed_ratio * pump.rated_speed_rpm, drive.efficiency, drive.standby_w,
    )  # fmt: skip


@kernel
def march(
    pump: Record, drive: Record, ratio: float, density: float, static_m: float, slip_factor: float, floor: float,
    flows: Floats, heads: Floats, speeds: Floats, powers: Floats,
) -> None:  # fmt: skip
    """Speed (over rated) and power (W) at each knot's flow, against a static head and what the flow adds to it.

    floor  speed that is not gone below: 0, or the lowest speed where the curve is to lie above that of every friction.
           With friction that speed gives less flow, but none for less power
    """
    for k in range(KNOTS):
        speed, power, _ = speed_power_torque(pump, drive, flows[k], static_m + heads[k], slip_factor, ratio, density)
        if speed < floor:
            speed = floor
            power = input_w(pump, drive, centrifugal_torque_nm(pump, flows[k], speed, density), speed, ratio)
        speeds[k], powers[k] = speed, power


@kernel
def trace(
    flows: Floats, speeds: Floats, powers: Floats, clip_w: float, cap: float, runout_m3_h: float, lowest: float,
    power_out: Floats, flow_out: Floats,
) -> int:  # fmt: skip
    """The knots of a curve into `power_out` and `flow_out`, from the start of flow (a jump, where the lowest speed
    already lifts water) to the first limit met: speed, drive, runout or cap; how many. None: no water at this head.

    Friction makes a pump run faster, which lets it pass more before runout: where a curve is to lie above that of every
    friction it has none (`parts.loose_duty`).
    """
    n = 0
    for k in range(KNOTS):
        flow, speed, power = flows[k], speeds[k], powers[k]
        runout = flow / runout_m3_h - speed
        if speed > 1.0 + 1e-9 or power > clip_w * (1.0 + 1e-9) or flow > cap * (1.0 + 1e-9) or runout > 1e-9:
            if k == 0:
                break
            flow_before, speed_before, power_before = flows[k - 1], speeds[k - 1], powers[k - 1]
            part = 1.0  # of the way from the knot before, where the first limit is met
            if speed > 1.0:
                part = min(part, (1.0 - speed_before) / (speed - speed_before))
            if power > clip_w:
                part = min(part, (clip_w - power_before) / (power - power_before))
            if flow > cap:
                part = min(part, (cap - flow_before) / (flow - flow_before))
            if runout > 0.0:
                runout_before = flow_before / runout_m3_h - speed_before
                part = min(part, runout_before / (runout_before - runout))
            part = max(part, 0.0)
            if speed_before + part * (speed - speed_before) >= lowest:
                if n == 0:  # it starts and ends between the same two knots
                    start = (lowest - speed_before) / (speed - speed_before)
                    power_out[0] = power_before + start * (power - power_before)
                    flow_out[0] = flow_before + start * (flow - flow_before)
                    n = 1
                power_out[n] = power_before + part * (power - power_before)
                flow_out[n] = flow_before + part * (flow - flow_before)
                n += 1
            break
        if speed >= lowest:
            if n == 0 and k > 0:
                start = (lowest - speeds[k - 1]) / (speed - speeds[k - 1])
                power_out[0] = powers[k - 1] + start * (power - powers[k - 1])
                flow_out[0] = flows[k - 1] + start * (flow - flows[k - 1])
                n = 1
            power_out[n] = power
            flow_out[n] = flow
            n += 1
    return n


@kernel
def flow_curve(
    pump: Record, drive: Record, clip_w: float, ratio: float, density: float, static_m: float, slip_factor: float,
    cap: float, runout_m3_h: float, lowest: float, floor: float, desk: Record, power_out: Floats, flow_out: Floats,
) -> tuple[int, float]:  # fmt: skip
    """Flow against power at a static head with the flows and heads on the desk: fills `power_out`, `flow_out` and
    returns the number of knots and the power at which the pump starts."""
    march(pump, drive, ratio, density, static_m, slip_factor, floor, desk.flow, desk.head, desk.speed, desk.power)
    n = trace(desk.flow, desk.speed, desk.power, clip_w, cap, runout_m3_h, lowest, power_out, flow_out)
    if n == 0:
        return 0, 0.0
    return n, starts_at_w(pump, drive, power_out[0], density * GRAVITY_M_S2 * static_m, ratio)


@kernel
def starts_at_w(pump: Record, drive: Record, first_w: float, static_pa: float, ratio: float) -> float:
    """Power at which a pump starts whose curve begins at `first_w`."""
    if pump.family == HELICAL:
        return max(first_w, start_power_w(pump, drive, static_pa, ratio))
    return first_w


@kernel
def open_fan(
    pump: Record, drive: Record, ratio: float, density: float, low_m: float, high_m: float, slip_factor: float,
    floor: float, desk: Record, fan: Record,
) -> None:  # fmt: skip
    """Speeds and powers at static heads from the lowest to the highest of a site, into a fan."""
    step = max(FAN_STEP * max(low_m, 1.0), (high_m - low_m) / (RIBS - 1))
    fan.ribs = min(max(math.ceil((high_m - low_m) / step) + 1, 2), RIBS)
    fan.low_m, fan.step_m = low_m, max((high_m - low_m) / (fan.ribs - 1), 1e-3)
    for rib in range(fan.ribs):
        at = rib * KNOTS
        march(
            pump, drive, ratio, density, low_m + rib * fan.step_m, slip_factor, floor, desk.flow, desk.head,
            fan.speed[at : at + KNOTS], fan.power[at : at + KNOTS],
        )  # fmt: skip


@kernel
def fan_curve(
    pump: Record, drive: Record, clip_w: float, ratio: float, density: float, static_m: float, cap: float,
    runout_m3_h: float, lowest: float, fan: Record, desk: Record, power_out: Floats, flow_out: Floats,
) -> tuple[int, float]:  # fmt: skip
    """As `flow_curve`, with speed and power on straight lines between the heads of a fan."""
    place = (static_m - fan.low_m) / fan.step_m
    rib = min(max(int(place), 0), fan.ribs - 2)
    part, at = place - rib, rib * KNOTS
    for k in range(KNOTS):
        desk.speed[k] = fan.speed[at + k] + part * (fan.speed[at + KNOTS + k] - fan.speed[at + k])
        desk.power[k] = fan.power[at + k] + part * (fan.power[at + KNOTS + k] - fan.power[at + k])
    n = trace(desk.flow, desk.speed, desk.power, clip_w, cap, runout_m3_h, lowest, power_out, flow_out)
    if n == 0:
        return 0, 0.0
    return n, starts_at_w(pump, drive, power_out[0], density * GRAVITY_M_S2 * static_m, ratio)
