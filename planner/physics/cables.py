"""Copper cables: resistance, voltage drop, motor current and what the motor cable costs in power."""

from __future__ import annotations

import math

from planner.physics.equation import equation

__all__ = [
    "cable_loss_share",
    "cable_ratio",
    "conductor_resistance_ohm_km",
    "dc_drop_v",
    "motor_current_a",
    "three_phase_drop_v",
]


@equation
def conductor_resistance_ohm_km(r20_ohm_km: float, temperature_c: float) -> float:
    """Resistance of a copper conductor, Ω/km, from its value at 20 °C (IEC 60228 table) and its temperature.

    R20 [1 + 0.00393 (θ − 20)], the constant-mass coefficient of annealed copper (IEC 60028).

    >>> round(float(conductor_resistance_ohm_km(4.61, 70.0)), 2)
    5.52
    """
    return r20_ohm_km * (1.0 + 0.00393 * (temperature_c - 20.0))


@equation
def dc_drop_v(current_a: float, length_m: float, resistance_ohm_km: float) -> float:
    """Voltage lost on a direct-current pair, V: 2 I L R, length one way in m.

    >>> round(float(dc_drop_v(8.0, 60.0, 4.61)), 2)
    4.43
    """
    return 2e-3 * current_a * length_m * resistance_ohm_km


@equation
def three_phase_drop_v(current_a: float, length_m: float, resistance_ohm_km: float, power_factor: float) -> float:
    """Voltage lost between phases of a three-core cable, V: √3 I L R cos φ; its reactance is left out.

    >>> round(float(three_phase_drop_v(10.0, 100.0, 4.61, 0.85)), 2)
    6.79
    """
    return math.sqrt(3.0) * 1e-3 * current_a * length_m * resistance_ohm_km * power_factor


@equation
def motor_current_a(input_w: float, voltage_v: float, power_factor: float) -> float:
    """Line current, A, of a three-phase motor at a voltage between phases: P / (√3 V cos φ).

    >>> round(float(motor_current_a(1000.0, 230.0, 0.85)), 2)
    2.95
    """
    return input_w / (math.sqrt(3.0) * voltage_v * power_factor)


@equation
def cable_loss_share(
    current_a: float, length_m: float, resistance_ohm_km: float, voltage_v: float, power_factor: float
) -> float:
    """Power lost in a three-core motor cable over the power that enters it: √3 I L R / (V cos φ).

    >>> round(float(cable_loss_share(10.0, 100.0, 4.61, 400.0, 0.85)), 4)
    0.0235
    """
    return math.sqrt(3.0) * 1e-3 * current_a * length_m * resistance_ohm_km / (voltage_v * power_factor)


@equation
def cable_ratio(
    rated_current_a: float,
    length_m: float,
    resistance_ohm_km: float,
    rated_power_w: float,
    copper_share: float,
) -> float:
    """Resistance of the motor cable over that of the winding: 3 I_r² R L / (k_c P_r).

    rated_current_a  of the motor
    length_m         one way
    rated_power_w    P_r at the shaft
    copper_share     k_c: rated copper loss over P_r

    >>> round(float(cable_ratio(5.0, 80.0, 4.95, 1300.0, 0.12)), 3)
    0.19
    """
    return 3e-3 * rated_current_a**2 * length_m * resistance_ohm_km / (copper_share * rated_power_w)
