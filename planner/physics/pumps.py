"""Helical rotor and centrifugal pumps, their motors, starting and suction.

`centrifugal_…` is the general form of a pump known by its best point, `curve_…` that of one fitted to measured points.

Symbols: x = q / (q_b r), flow over best flow at that speed; r = n / n_r, speed over rated speed; t = T / T_r,
torque over rated torque. Motor losses: copper ∝ torque², iron and drag ∝ speed^1.5 (the textbook split).
"""

from __future__ import annotations

import math

from planner.physics.equation import equation
from planner.physics.water import (
    GRAVITY_M_S2,
    atmospheric_pressure_kpa,
    density_kg_m3,
    vapour_pressure_kpa,
)

__all__ = [
    "centrifugal_head_m",
    "centrifugal_shaft_power_w",
    "centrifugal_speed_ratio",
    "curve_head_m",
    "curve_shaft_power_w",
    "curve_speed_ratio",
    "displacement_cm3",
    "helical_flow_m3_h",
    "helical_slip_m3_h",
    "helical_speed_rpm",
    "helical_torque_nm",
    "hydraulic_power_w",
    "motor_input_w",
    "motor_torque_nm",
    "npsh_available_m",
    "npsh_required_m",
    "starting_power_w",
    "starting_torque_nm",
]

RPM_TO_RAD_S = 2.0 * math.pi / 60.0
SHUT_OFF = 1.30  # head of a centrifugal stage at no flow, over its head at best flow
DROOP = SHUT_OFF - 1.0
SMALLEST_NPSH_REQUIRED_M = 2.0
CREEP_SPEED_SHARE = 0.3  # share of the lowest running speed at which a pump breaks away


@equation
def hydraulic_power_w(flow_m3_h: float, head_m: float, density_kg_m3: float) -> float:
    """Power given to the water, W: ρ g Q H.

    >>> round(float(hydraulic_power_w(10.0, 60.0, 1000.0)))
    1634
    """
    return density_kg_m3 * GRAVITY_M_S2 * flow_m3_h / 3600.0 * head_m


@equation
def displacement_cm3(eccentricity_mm: float, diameter_mm: float, pitch_mm: float) -> float:
    """Volume swept in one turn of a single-lobe helical rotor, cm3: 4 e D P.

    eccentricity_mm e, diameter_mm D of the rotor's round section, pitch_mm P of the stator (twice the
    rotor's).

    >>> round(float(displacement_cm3(3.0, 18.0, 60.0)), 2)
    12.96
    """
    return 4e-3 * eccentricity_mm * diameter_mm * pitch_mm


@equation
def helical_torque_nm(displacement_cm3: float, pressure_pa: float, fit_friction_nm: float) -> float:
    """Shaft torque, N·m, of a running helical rotor at any speed: V Δp / 2π + friction of the rotor's fit.

    >>> round(float(helical_torque_nm(12.96, 6e5, 0.0)), 3)
    1.238
    """
    return 1e-6 * displacement_cm3 * pressure_pa / (2.0 * math.pi) + fit_friction_nm


@equation
def helical_speed_rpm(flow_m3_h: float, pressure_pa: float, displacement_cm3: float, slip_m3_h_pa: float) -> float:
    """Speed, rev/min, at which a helical rotor delivers the flow: V n − k Δp = q, slip laminar.

    >>> round(float(helical_speed_rpm(2.3328, 6e5, 12.96, 0.0)))
    3000
    """
    return (flow_m3_h + slip_m3_h_pa * pressure_pa) / (60e-6 * displacement_cm3)


@equation
def helical_flow_m3_h(speed_rpm: float, pressure_pa: float, displacement_cm3: float, slip_m3_h_pa: float) -> float:
    """Flow, m3/h, of a helical rotor at a speed: V n − k Δp, negative where slip exceeds the swept volume.

    >>> round(float(helical_flow_m3_h(3000.0, 6e5, 12.96, 0.0)), 3)
    2.333
    """
    return 60e-6 * displacement_cm3 * speed_rpm - slip_m3_h_pa * pressure_pa


@equation
def helical_slip_m3_h(pressure_pa: float, slip_m3_h_pa: float, exponent: float) -> float:
    """Leakage, m3/h, past a helical rotor: k Δp^a, the same at any speed; none against no pressure.

    slip_m3_h_pa  k, m3/h per Pa^a
    exponent      a: 1 is laminar leakage, 0.5 fully turbulent

    >>> float(helical_slip_m3_h(6e5, 1e-6, 1.0)), round(float(helical_slip_m3_h(6e5, 1e-4, 0.7)), 4)
    (0.6, 1.1084)
    """
    if exponent == 1.0:  # the usual case costs no power function
        return slip_m3_h_pa * pressure_pa
    return float(slip_m3_h_pa * max(pressure_pa, 0.0) ** exponent)


@equation
def centrifugal_head_m(flow_m3_h: float, speed_ratio: float, best_flow_m3_h: float, stages_head_m: float) -> float:
    """Head, m, of all stages at a flow and speed: N h_b r² (1.30 − 0.30 x²); stages_head_m is N h_b.

    Affinity laws hold exactly: at x fixed, head goes as speed squared.

    >>> round(float(centrifugal_head_m(8.0, 0.8, 10.0, 100.0)), 6)
    64.0
    """
    return stages_head_m * (SHUT_OFF * speed_ratio**2 - DROOP * (flow_m3_h / best_flow_m3_h) ** 2)


@equation
def centrifugal_speed_ratio(flow_m3_h: float, head_m: float, best_flow_m3_h: float, stages_head_m: float) -> float:
    """Speed over rated speed at which the stages give the head at the flow: inverse of `centrifugal_head_m`.

    >>> round(float(centrifugal_speed_ratio(8.0, 64.0, 10.0, 100.0)), 6)
    0.8
    """
    return math.sqrt((head_m / stages_head_m + DROOP * (flow_m3_h / best_flow_m3_h) ** 2) / SHUT_OFF)


@equation
def centrifugal_shaft_power_w(
    flow_m3_h: float, speed_ratio: float, best_flow_m3_h: float, best_power_w: float, best_efficiency: float
) -> float:
    """Shaft power, W, of a centrifugal pump at a flow and speed.

    best_power_w     P_b = ρ g q_b N h_b / η_b, at best flow and rated speed
    best_efficiency  η_b, 0 to 1, there

    P_b r³ (1.30 − 0.30 x²)/(2 − x): hydraulic power over η_b (2x − x²), written without the 0/0 at no flow.
    Below rated speed the efficiency falls by 1 − η(r) = (1 − η_b) r^−0.1 (Sârbu & Borza 1998); η(r) is kept ≥
    η_b / 10, which only speeds below any pump's range can reach. 0 at standstill, infinite from x = 2 (far
    beyond runout).

    >>> round(float(centrifugal_shaft_power_w(10.0, 1.0, 10.0, 2000.0, 0.6)))
    2000
    """
    if speed_ratio <= 0.0:
        return 0.0
    x = flow_m3_h / (best_flow_m3_h * speed_ratio)
    if x >= 2.0:
        return math.inf
    efficiency = max(1.0 - (1.0 - best_efficiency) * math.exp(-0.1 * math.log(speed_ratio)), 0.1 * best_efficiency)
    form = (SHUT_OFF - DROOP * x * x) / (2.0 - x)
    return float(best_power_w * speed_ratio**3 * form * best_efficiency / efficiency)


@equation
def curve_head_m(
    flow_m3_h: float, speed_ratio: float, head_0_m: float, head_1_m_h_m3: float, head_2_m_h2_m6: float
) -> float:
    """Head, m, of all stages on a fitted curve: a0 r² + a1 r q + a2 q². Affinity laws hold exactly.

    head_0_m        a0 > 0, shut-off head at rated speed
    head_1_m_h_m3   a1 ≤ 0, slope there
    head_2_m_h2_m6  a2; `centrifugal_head_m` is the case 1.30 N h_b, 0, −0.30 N h_b / q_b²

    >>> round(float(curve_head_m(8.0, 0.8, 130.0, 0.0, -0.3)), 6)
    64.0
    """
    return head_0_m * speed_ratio**2 + head_1_m_h_m3 * speed_ratio * flow_m3_h + head_2_m_h2_m6 * flow_m3_h**2


@equation
def curve_speed_ratio(
    flow_m3_h: float, head_m: float, head_0_m: float, head_1_m_h_m3: float, head_2_m_h2_m6: float
) -> float:
    """Speed over rated speed at which a fitted curve gives the head at the flow: inverse of `curve_head_m`.

    The larger root of a0 r² + a1 q r + a2 q² − H = 0. With a1 ≤ 0 both terms of the root are ≥ 0, so nothing cancels.
    Flow and head that no speed gives (a negative head; far beyond runout where a2 > 0) have the nearest real root.

    >>> round(float(curve_speed_ratio(8.0, 64.0, 130.0, 0.0, -0.3)), 6)
    0.8
    """
    linear = head_1_m_h_m3 * flow_m3_h
    root = math.sqrt(max(linear * linear - 4.0 * head_0_m * (head_2_m_h2_m6 * flow_m3_h * flow_m3_h - head_m), 0.0))
    return 0.5 * (root - linear) / head_0_m


@equation
def curve_shaft_power_w(
    flow_m3_h: float,
    speed_ratio: float,
    best_flow_m3_h: float,
    max_flow_ratio: float,
    power_0_w: float,
    power_1_w: float,
    power_2_w: float,
    power_3_w: float,
) -> float:
    """Shaft power, W, on a fitted curve: r³ (p0 + p1 x + p2 x² + p3 x³), x = q / (q_b r). Affinity laws hold exactly.

    max_flow_ratio  end of the curve; beyond it x is held there, since a polynomial may do anything outside its points

    In water of the density that the coefficients are given for; power goes with density. 0 at standstill.

    >>> float(curve_shaft_power_w(5.0, 0.5, 10.0, 1.4, 800.0, 400.0, -100.0, 0.0))
    137.5
    """
    if speed_ratio <= 0.0:
        return 0.0
    x = min(flow_m3_h / (best_flow_m3_h * speed_ratio), max_flow_ratio)
    form = power_0_w + x * (power_1_w + x * (power_2_w + x * power_3_w))
    return speed_ratio * speed_ratio * speed_ratio * form


@equation
def motor_torque_nm(
    input_w: float,
    speed_rpm: float,
    rated_power_w: float,
    rated_torque_nm: float,
    rated_speed_rpm: float,
    copper_share: float,
    iron_share: float,
    drive_efficiency: float,
    standby_w: float,
) -> float:
    """Torque at the shaft, N·m, of a motor whose drive takes a direct-current power: inverse of `motor_input_w`.

    Arguments as there, without cable. The positive root of a quadratic in torque; negative where the power does not
    cover standby, iron and drag.

    >>> round(float(motor_torque_nm(753.98, 3000.0, 628.3, 2.0, 3000.0, 0.12, 0.08, 1.0, 0.0)), 3)
    2.0
    """
    speed_ratio = speed_rpm / rated_speed_rpm
    left_w = drive_efficiency * (input_w - standby_w) - rated_power_w * iron_share * speed_ratio**1.5
    shaft = speed_rpm * RPM_TO_RAD_S
    copper = rated_power_w * copper_share / rated_torque_nm**2
    return float(2.0 * left_w / (shaft + math.sqrt(max(shaft * shaft + 4.0 * copper * left_w, 0.0))))


@equation
def motor_input_w(
    torque_nm: float,
    speed_rpm: float,
    rated_power_w: float,
    rated_torque_nm: float,
    rated_speed_rpm: float,
    copper_share: float,
    iron_share: float,
    cable_ratio: float,
    drive_efficiency: float,
    standby_w: float,
) -> float:
    """Direct-current power that the drive takes, W, when the motor gives a torque at a speed.

    torque_nm, speed_rpm   at the shaft, ≥ 0
    rated_*                rated shaft power, torque and speed of the motor
    copper_share           k_c: rated copper loss over rated shaft power
    iron_share             k_f: rated iron and drag loss over rated shaft power; k_c + k_f = 1/η_r − 1
    cable_ratio            resistance of the motor cable over that of the winding (`cables.cable_ratio`)
    drive_efficiency       0 to 1
    standby_w              the drive's own use

    [T ω + P_r (k_c (1 + ratio) t² + k_f r^1.5)] / η_drive + P_standby. Current follows torque, so the cable's
    loss goes with torque², not with power.

    >>> round(float(motor_input_w(2.0, 3000.0, 628.3, 2.0, 3000.0, 0.12, 0.08, 0.0, 1.0, 0.0)))
    754
    """
    torque_ratio = torque_nm / rated_torque_nm
    speed_ratio = speed_rpm / rated_speed_rpm
    shaft_w = torque_nm * speed_rpm * RPM_TO_RAD_S
    iron = iron_share * speed_ratio * math.sqrt(speed_ratio)
    loss_w = rated_power_w * (copper_share * (1.0 + cable_ratio) * torque_ratio**2 + iron)
    return float((shaft_w + loss_w) / drive_efficiency + standby_w)


@equation
def starting_torque_nm(
    displacement_cm3: float, static_pressure_pa: float, fit_friction_nm: float, breakaway_ratio: float
) -> float:
    """Torque, N·m, that starts a helical rotor against a full riser: V Δp / 2π + β T_fit.

    static_pressure_pa  ρ g (recovered water level + lift), held by the check valve
    breakaway_ratio     β, friction at rest over friction in motion, ≥ 1; from memory about 1.6

    >>> round(float(starting_torque_nm(12.96, 6e5, 0.3, 1.6)), 3)
    1.718
    """
    return 1e-6 * displacement_cm3 * static_pressure_pa / (2.0 * math.pi) + breakaway_ratio * fit_friction_nm


@equation
def starting_power_w(
    starting_torque_nm: float,
    rated_power_w: float,
    rated_torque_nm: float,
    copper_share: float,
    cable_ratio: float,
    minimum_speed_rpm: float,
    drive_efficiency: float,
    standby_w: float,
) -> float:
    """Direct-current power, W, that breaks a rotor away, creeping at 0.3 of the lowest running speed.

    Arguments as in `starting_torque_nm` and `motor_input_w`. A pump starts when both this and the power of
    its lowest running speed are there.

    >>> round(float(starting_power_w(1.7, 600.0, 2.0, 0.12, 0.0, 750.0, 0.965, 12.0)))
    107
    """
    torque_ratio = starting_torque_nm / rated_torque_nm
    copper_w = rated_power_w * copper_share * (1.0 + cable_ratio) * torque_ratio**2
    creep_w = starting_torque_nm * CREEP_SPEED_SHARE * minimum_speed_rpm * RPM_TO_RAD_S
    return (copper_w + creep_w) / drive_efficiency + standby_w


@equation
def npsh_available_m(
    elevation_m: float, temperature_c: float, lift_m: float, suction_friction_m: float, margin_m: float
) -> float:
    """Net positive suction head available, m, less the margin; may be negative.

    elevation_m         of the pump above sea level
    temperature_c       of the water
    lift_m              from the pumping water level up to the pump
    suction_friction_m  of foot valve and suction pipe
    margin_m            kept above the required head; 0.5 is common practice

    (p_atm − p_v) / ρg − lift − friction − margin, closed form.

    >>> round(float(npsh_available_m(1500.0, 25.0, 4.32, 0.5, 0.5)), 1)
    3.0
    """
    pressure_pa = 1e3 * (atmospheric_pressure_kpa(elevation_m) - vapour_pressure_kpa(temperature_c))
    head_m = pressure_pa / (density_kg_m3(temperature_c) * GRAVITY_M_S2)
    return float(head_m - lift_m - suction_friction_m - margin_m)


@equation
def npsh_required_m(flow_m3_h: float, best_flow_m3_h: float, best_npsh_m: float) -> float:
    """Net positive suction head required, m: NPSH_b x² r² = NPSH_b (q / q_b)², at least 2 m.

    The affinity law (head ∝ speed² at fixed x) makes the speed cancel. The floor stands for what a curve
    through the best point cannot know at small flow.

    >>> round(float(npsh_required_m(12.0, 10.0, 3.0)), 2)
    4.32
    """
    return max(SMALLEST_NPSH_REQUIRED_M, best_npsh_m * (flow_m3_h / best_flow_m3_h) ** 2)
