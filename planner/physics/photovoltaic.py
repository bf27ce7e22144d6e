"""Modules in strings: how many in series a drive's voltage window takes, and power at a cell temperature."""

from __future__ import annotations

import math

from planner.physics.equation import equation

__all__ = ["series_maximum", "series_minimum", "temperature_factor"]

ROUNDING = 1e-9  # a voltage that meets its limit up to rounding meets it


@equation
def temperature_factor(cell_temperature_c: float, power_coefficient_per_k: float) -> float:
    """Power at a cell temperature over power at 25 °C: 1 + γ (T_c − 25), γ about −0.0035 per K.

    >>> round(float(temperature_factor(67.5, -0.004)), 3)
    0.83
    """
    return 1.0 + power_coefficient_per_k * (cell_temperature_c - 25.0)


@equation
def series_minimum(mpp_minimum_v: float, module_mpp_v: float, mpp_coefficient_per_k: float, hot_cell_c: float) -> float:
    """Fewest modules in series that reach the drive's lowest maximum-power voltage at the hottest cells.

    ⌈V_min / (V_mp (1 + γ_V (T_hot − 25)))⌉, closed form; a whole number as float.

    >>> float(series_minimum(60.0, 36.0, -0.0034, 70.0))
    2.0
    """
    module_v = module_mpp_v * (1.0 + mpp_coefficient_per_k * (hot_cell_c - 25.0))
    return float(math.ceil(mpp_minimum_v / module_v - ROUNDING))


@equation
def series_maximum(
    input_maximum_v: float,
    mpp_maximum_v: float,
    module_open_v: float,
    module_mpp_v: float,
    open_coefficient_per_k: float,
    mpp_coefficient_per_k: float,
    cold_cell_c: float,
) -> float:
    """Most modules in series within the open-circuit and maximum-power limits at the coldest cells.

    min(⌊V_max / (V_oc (1 + β (T_cold − 25)))⌋, ⌊V_mpp,max / (V_mp (1 + γ_V (T_cold − 25)))⌋), closed form; as
    float.

    >>> float(series_maximum(200.0, 180.0, 43.2, 36.0, -0.0027, -0.0034, 5.0))
    4.0
    """
    open_v = module_open_v * (1.0 + open_coefficient_per_k * (cold_cell_c - 25.0))
    mpp_v = module_mpp_v * (1.0 + mpp_coefficient_per_k * (cold_cell_c - 25.0))
    return float(math.floor(min(input_maximum_v / open_v, mpp_maximum_v / mpp_v) + ROUNDING))
