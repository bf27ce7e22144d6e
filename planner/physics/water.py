"""Water and air around the pump: density, viscosity, vapour pressure, atmospheric pressure."""

from __future__ import annotations

import math

from planner.physics.equation import equation

__all__ = [
    "GRAVITY_M_S2",
    "atmospheric_pressure_kpa",
    "density_kg_m3",
    "kinematic_viscosity_m2_s",
    "vapour_pressure_kpa",
]

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of gravity, m/s2."""


@equation
def density_kg_m3(temperature_c: float) -> float:
    """Density of air-free water at atmospheric pressure, kg/m3, for 0 to 100 °C.

    Kell 1975, J. Chem. Eng. Data 20:97, equation 16.

    >>> round(float(density_kg_m3(20.0)), 1)
    998.2
    """
    t = float(temperature_c)
    series = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return series / (1.0 + 16.879850e-3 * t)


@equation
def kinematic_viscosity_m2_s(temperature_c: float) -> float:
    """Kinematic viscosity of water at atmospheric pressure, m2/s, for 0 to 100 °C.

    Dynamic viscosity: Pátek et al. 2009, J. Phys. Chem. Ref. Data 38:21, equation 8 (IAPWS SR6-08, liquid
    water at 0.1 MPa), divided by the density above.

    >>> f"{float(kinematic_viscosity_m2_s(20.0)):.4g}"
    '1.003e-06'
    """
    tau = (temperature_c + 273.15) / 300.0
    viscosity_pa_s = 1e-6 * (280.68 * tau**-1.9 + 511.45 * tau**-7.7 + 61.131 * tau**-19.6 + 0.45903 * tau**-40.0)
    return float(viscosity_pa_s / density_kg_m3(temperature_c))


@equation
def vapour_pressure_kpa(temperature_c: float) -> float:
    """Saturation pressure of water, kPa, for 0 to 370 °C.

    Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22:783, equation 1 (IAPWS SR1-86).

    >>> round(float(vapour_pressure_kpa(20.0)), 3)
    2.339
    """
    kelvin = temperature_c + 273.15
    tau = 1.0 - kelvin / 647.096
    exponent = (
        -7.85951783 * tau
        + 1.84408259 * tau**1.5
        - 11.7866497 * tau**3
        + 22.6807411 * tau**3.5
        - 15.9618719 * tau**4
        + 1.80122502 * tau**7.5
    )
    return 22064.0 * math.exp(647.096 / kelvin * exponent)


@equation
def atmospheric_pressure_kpa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere, kPa, at an elevation above sea level in m, −500 to 11 000.

    ISO 2533:1975, layer below 11 km. Weather moves it by about ±1 kPa.

    >>> round(float(atmospheric_pressure_kpa(1500.0)), 2)
    84.56
    """
    return float(101.325 * (1.0 - 2.25577e-5 * elevation_m) ** 5.25588)
