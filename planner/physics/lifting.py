"""Other ways to lift water than by the sun: generators, the grid, people at a handle; and what is burnt for them."""

from __future__ import annotations

import math

from planner.physics.equation import equation
from planner.physics.water import GRAVITY_M_S2

__all__ = [
    "DIESEL_CO2_KG_L",
    "DIESEL_FULL_LOAD_L_KWH",
    "DIESEL_IDLE_L_H_KW",
    "HANDPUMP_MOST_M3_H",
    "HANDPUMP_USEFUL_W",
    "diesel_co2_kg_l",
    "electric_kw",
    "generator_fuel_l_h",
    "handpump_flow_m3_h",
]

DIESEL_IDLE_L_H_KW = 0.08415
"""Fuel of a running generator set whatever it gives, L/h for each kW of its rating: Skarstein & Uhlen 1989, Wind
Engineering 13(2):72; from memory."""

DIESEL_FULL_LOAD_L_KWH = 0.246
"""Fuel for each kWh that it gives, on top, L/kWh; the same source. Full load: 0.33 L/kWh; half load: 0.41."""

HANDPUMP_MOST_M3_H = 1.02
"""Flow of a handpump where depth does not slow it: 17 L/min (Sphere Handbook; from memory)."""

HANDPUMP_USEFUL_W = 45.0
"""Hydraulic power that people hold for hours at a handle: 75 W of muscle at an efficiency of 0.6 (Fraenkel 1986, FAO
Irrigation and Drainage Paper 43: 60 to 75 W; from memory)."""


@equation
def diesel_co2_kg_l(factor_kg_gj: float, heat_mj_kg: float, density_kg_l: float) -> float:
    """Carbon dioxide of a litre of diesel, kg/L: kg CO2 a GJ × net calorific value × density.

    >>> round(float(diesel_co2_kg_l(74.1, 43.0, 0.84)), 3)
    2.676
    """
    return factor_kg_gj * heat_mj_kg * density_kg_l / 1000.0


DIESEL_CO2_KG_L = float(diesel_co2_kg_l(74.1, 43.0, 0.84))
"""kg CO2 for each litre burnt: IPCC 2006, volume 2: 74.1 kg/GJ, 43.0 MJ/kg; 0.84 kg/L."""


@equation
def electric_kw(flow_m3_h: float, head_m: float, wire_to_water: float) -> float:
    """Electric power that lifts a flow, kW: ρ g Q H / η with ρ 1000 kg/m3; missing without an efficiency above 0.

    >>> round(float(electric_kw(3.6, 50.0, 0.5)), 4)
    0.9807
    """
    if not wire_to_water > 0.0:
        return math.nan
    return GRAVITY_M_S2 * flow_m3_h * head_m / (3600.0 * wire_to_water)


@equation
def generator_fuel_l_h(rated_kw: float, output_kw: float) -> float:
    """Fuel of a diesel generator at a steady output, L/h: linear in rating and output (Skarstein & Uhlen 1989).

    >>> round(float(generator_fuel_l_h(10.0, 10.0)), 4), round(float(generator_fuel_l_h(10.0, 5.0)), 4)
    (3.3015, 2.0715)
    """
    return DIESEL_IDLE_L_H_KW * rated_kw + DIESEL_FULL_LOAD_L_KWH * output_kw


@equation
def handpump_flow_m3_h(head_m: float) -> float:
    """Flow of a handpump against head, m3/h: constant useful power, P / (ρ g H), at most 17 L/min.

    It gives 0.1 to 0.3 L/s at the depths of handpumps, as surveys have it (Bonsor & MacDonald 2011, OR/11/067).

    >>> round(float(handpump_flow_m3_h(10.0)), 2), round(float(handpump_flow_m3_h(45.0)), 3)
    (1.02, 0.367)
    """
    if math.isnan(head_m):
        return math.nan
    power_m4_h = HANDPUMP_USEFUL_W * 3600.0 / (1000.0 * GRAVITY_M_S2)
    if head_m * HANDPUMP_MOST_M3_H <= power_m4_h:
        return HANDPUMP_MOST_M3_H
    return float(power_m4_h / head_m)
