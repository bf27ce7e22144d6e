"""Losses and loads of full pipes: Darcy–Weisbach friction, velocity, fittings, weight of a hanging riser."""

from __future__ import annotations

import math

from planner.physics.equation import equation
from planner.physics.water import GRAVITY_M_S2

__all__ = ["friction_factor", "friction_head_m", "hanging_stress_mpa", "minor_head_m", "velocity_m_s"]

LAMINAR_END = 2000.0
TURBULENT_START = 4000.0


@equation
def velocity_m_s(flow_m3_h: float, inside_diameter_mm: float) -> float:
    """Mean velocity, m/s, of a flow in m3/h in a full pipe of the given inside diameter in mm (> 0).

    >>> round(float(velocity_m_s(5.0, 40.8)), 3)
    1.062
    """
    return flow_m3_h / 3600.0 / (0.25 * math.pi * (1e-3 * inside_diameter_mm) ** 2)


@equation
def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a full round pipe, dimensionless.

    reynolds            V D / ν, > 0 (at or below zero: infinite, as the laminar law says)
    relative_roughness  roughness over inside diameter, 0 to 0.05

    Below 2000: 64/Re. Above 4000: Colebrook 1939 (with White), J. Inst. Civ. Eng. 11:133, 1/√f = −2
    log10(ε/3.7 + 2.51/(Re √f)), solved by Newton's method to 1e-12. Between, where no law holds, one cubic in
    ln f over ln Re that meets both laws in value and slope. Head loss goes as f Re², whose slope in ln–ln is
    1 at the lower end, at most 2 at the upper end and above 2.3 on average, so the cubic is monotone (Fritsch
    & Carlson 1980, SIAM J. Numer. Anal. 17:238) and the head always grows with the flow.

    >>> round(float(friction_factor(1e5, 1e-4)), 6)
    0.018514
    """
    if math.isnan(reynolds) or math.isnan(relative_roughness):
        return math.nan
    if reynolds <= 0.0:
        return math.inf
    if reynolds <= LAMINAR_END:
        return 64.0 / reynolds
    re = max(float(reynolds), TURBULENT_START)
    roughness = relative_roughness / 3.7
    root = -2.0 * math.log10(roughness + 5.74 / re**0.9)  # 1/√f, first value: Swamee & Jain 1976
    slope = 0.0
    for _ in range(20):
        inner = roughness + 2.51 * root / re
        slope = 2.0 / math.log(10.0) * 2.51 / (re * inner)
        step = (root + 2.0 * math.log10(inner)) / (1.0 + slope)
        root -= step
        if abs(step) <= 1e-12 * root:
            break
    turbulent = 1.0 / root**2
    if reynolds >= TURBULENT_START:
        return turbulent
    width = math.log(TURBULENT_START / LAMINAR_END)
    z = math.log(reynolds / LAMINAR_END) / width
    low, high = math.log(64.0 / LAMINAR_END), math.log(turbulent)
    low_slope, high_slope = -width, -2.0 * slope / (1.0 + slope) * width  # d ln f / d ln Re at the two ends
    return math.exp(
        low * (1.0 + 2.0 * z) * (1.0 - z) ** 2
        + low_slope * z * (1.0 - z) ** 2
        + high * z * z * (3.0 - 2.0 * z)
        - high_slope * z * z * (1.0 - z)
    )


@equation
def friction_head_m(
    flow_m3_h: float, length_m: float, inside_diameter_mm: float, roughness_mm: float, viscosity_m2_s: float
) -> float:
    """Friction head, m of water, of a straight pipe (Darcy–Weisbach).

    flow_m3_h           ≥ 0
    length_m            ≥ 0
    inside_diameter_mm  > 0
    roughness_mm        0.0015 drawn plastic, 0.15 galvanised steel, common textbook values
    viscosity_m2_s      kinematic

    >>> round(float(friction_head_m(5.0, 100.0, 40.8, 0.0015, 1.0035e-6)), 2)
    3.06
    """
    if flow_m3_h <= 0.0:
        return 0.0
    diameter_m = 1e-3 * inside_diameter_mm
    velocity = velocity_m_s(flow_m3_h, inside_diameter_mm)
    reynolds = velocity * diameter_m / viscosity_m2_s
    if reynolds <= LAMINAR_END:  # the same with f = 64/Re, which would overflow at the smallest flows
        return float(32.0 * viscosity_m2_s * length_m * velocity / (GRAVITY_M_S2 * diameter_m**2))
    factor = friction_factor(reynolds, roughness_mm / inside_diameter_mm)
    return float(factor * length_m / diameter_m * velocity**2 / (2.0 * GRAVITY_M_S2))


@equation
def minor_head_m(flow_m3_h: float, inside_diameter_mm: float, loss_k: float) -> float:
    """Head lost in fittings, m: K V² / 2g, with K the sum of the loss coefficients.

    >>> round(float(minor_head_m(1.5 * 3600 * 3.14159265 / 4 * 0.01, 100.0, 2.0)), 3)
    0.229
    """
    return float(loss_k * velocity_m_s(flow_m3_h, inside_diameter_mm) ** 2 / (2.0 * GRAVITY_M_S2))


@equation
def hanging_stress_mpa(
    length_m: float,
    inside_diameter_mm: float,
    outside_diameter_mm: float,
    hanging_mass_kg: float,
    density_kg_m3: float,
) -> float:
    """Axial stress, MPa, at the top of a plastic riser full of water that carries the pump and its cable.

    (ρ g L A_in + g m) / A_wall, closed form. Plastic weighs about as much as the water it displaces, so the
    pipe's own weight is left out; buoyancy of the pump too (safe side).

    >>> round(float(hanging_stress_mpa(100.0, 40.8, 50.0, 40.0, 1000.0)), 2)
    2.55
    """
    inside_m2 = 0.25 * math.pi * (1e-3 * inside_diameter_mm) ** 2
    wall_m2 = 0.25 * math.pi * (1e-3 * outside_diameter_mm) ** 2 - inside_m2
    load_n = GRAVITY_M_S2 * (density_kg_m3 * length_m * inside_m2 + hanging_mass_kg)
    return 1e-6 * load_n / wall_m2
