"""Water that a well-watered crop takes: reference evapotranspiration of a mean day, and rain that serves it.

FAO-56 is Allen, Pereira, Raes & Smith 1998, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56; its
equation numbers stand beside each function. Radiation is in MJ/m2 a day (1 kWh = 3.6 MJ), vapour pressure in
kPa, evapotranspiration in mm a day (1 mm on 1 ha = 10 m3). The sun outside the atmosphere is `sun`'s.
"""

from __future__ import annotations

import math

from planner.physics.equation import equation

__all__ = [
    "effective_rain_mm_month",
    "field_air_pressure_kpa",
    "field_clear_sky_mj_m2",
    "gross_irrigation_m3_ha_day",
    "mean_saturation_pressure_kpa",
    "net_longwave_mj_m2",
    "net_radiation_mj_m2",
    "psychrometric_constant_kpa_k",
    "reference_evapotranspiration_mm_day",
    "saturation_pressure_kpa",
    "saturation_slope_kpa_k",
    "soil_heat_flux_mj_m2",
    "wind_at_2_m_m_s",
]

STEFAN_BOLTZMANN_MJ_K4_M2_DAY = 4.903e-9  # as FAO-56 has it
ALBEDO = 0.23  # of the reference grass
NO_SUN_MJ_M2 = 1e-9  # a branch would still divide by nought once compiled


@equation
def saturation_pressure_kpa(temperature_c: float) -> float:
    """Saturation vapour pressure of air, kPa, −40 to 60 °C. FAO-56 equation 11.

    The short law that its other equations were fitted with; `water` has the exact one for pumps.

    >>> round(float(saturation_pressure_kpa(24.5)), 3)  # FAO-56 example 3
    3.075
    """
    return 0.6108 * math.exp(17.27 * temperature_c / (temperature_c + 237.3))


@equation
def mean_saturation_pressure_kpa(highest_c: float, lowest_c: float) -> float:
    """Saturation pressure of a day, kPa: the mean of those at its highest and lowest temperature. FAO-56 equation 12.

    >>> round(float(mean_saturation_pressure_kpa(24.5, 15.0)), 2)  # FAO-56 example 3
    2.39
    """
    return float((saturation_pressure_kpa(highest_c) + saturation_pressure_kpa(lowest_c)) / 2.0)


@equation
def saturation_slope_kpa_k(temperature_c: float) -> float:
    """Slope of the saturation pressure over temperature, kPa/K. FAO-56 equation 13.

    >>> round(float(saturation_slope_kpa_k(30.2)), 3)  # FAO-56 example 17
    0.246
    """
    return float(4098.0 * saturation_pressure_kpa(temperature_c) / (temperature_c + 237.3) ** 2)


@equation
def field_air_pressure_kpa(elevation_m: float) -> float:
    """Mean air pressure over a field, kPa, −450 to 6000 m above sea level. FAO-56 equation 7.

    An atmosphere of 20 °C at sea level, which suits crops; `water.atmospheric_pressure_kpa` is the standard one.

    >>> round(float(field_air_pressure_kpa(1800.0)), 1)  # FAO-56 example 2
    81.8
    """
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


@equation
def psychrometric_constant_kpa_k(pressure_kpa: float) -> float:
    """Psychrometric constant, kPa/K, at an air pressure in kPa. FAO-56 equation 8.

    >>> round(float(psychrometric_constant_kpa_k(81.8)), 3)  # FAO-56 example 2
    0.054
    """
    return 0.665e-3 * pressure_kpa


@equation
def wind_at_2_m_m_s(wind_m_s: float, height_m: float) -> float:
    """Wind 2 m above short grass, m/s, from that at another height of 0.5 m or more. FAO-56 equation 47.

    >>> round(float(wind_at_2_m_m_s(3.2, 10.0)), 1)  # FAO-56 example 14
    2.4
    """
    return wind_m_s * 4.87 / math.log(67.8 * height_m - 5.42)


@equation
def field_clear_sky_mj_m2(outside_mj_m2: float, elevation_m: float) -> float:
    """Radiation of a cloudless day, MJ/m2, from that outside the atmosphere. FAO-56 equation 37.

    Only for the outgoing longwave radiation, whose coefficients were fitted with it.

    >>> round(float(field_clear_sky_mj_m2(41.09, 100.0)), 2)  # FAO-56 example 18
    30.9
    """
    return (0.75 + 2e-5 * elevation_m) * outside_mj_m2


@equation
def net_longwave_mj_m2(
    highest_c: float, lowest_c: float, vapour_kpa: float, solar_mj_m2: float, clear_sky_mj_m2: float
) -> float:
    """Net outgoing longwave radiation of a day, MJ/m2. FAO-56 equation 39, with R_s / R_so at most 1.

    vapour_kpa       actual vapour pressure
    clear_sky_mj_m2  radiation of a cloudless day; without sun (0) the sky counts as clear

    >>> round(float(net_longwave_mj_m2(21.5, 12.3, 1.409, 22.07, 30.90)), 2)  # FAO-56 example 18
    3.71
    """
    clear = (min(solar_mj_m2, clear_sky_mj_m2) + NO_SUN_MJ_M2) / (clear_sky_mj_m2 + NO_SUN_MJ_M2)
    fourth = ((highest_c + 273.16) ** 4 + (lowest_c + 273.16) ** 4) / 2.0
    return STEFAN_BOLTZMANN_MJ_K4_M2_DAY * fourth * (0.34 - 0.14 * math.sqrt(vapour_kpa)) * (1.35 * clear - 0.35)


@equation
def net_radiation_mj_m2(solar_mj_m2: float, longwave_mj_m2: float) -> float:
    """Net radiation of a day on the reference grass, MJ/m2. FAO-56 equations 38 and 40, albedo 0.23.

    >>> round(float(net_radiation_mj_m2(22.07, 3.71)), 2)  # FAO-56 example 18
    13.28
    """
    return (1.0 - ALBEDO) * solar_mj_m2 - longwave_mj_m2


@equation
def soil_heat_flux_mj_m2(month_before_c: float, month_after_c: float) -> float:
    """Heat that goes into the soil on a mean day of a month, MJ/m2, from its neighbours' mean temperature.

    FAO-56 equation 43.

    >>> round(float(soil_heat_flux_mj_m2(14.1, 18.8)), 2)  # FAO-56 example 13
    0.33
    """
    return 0.07 * (month_after_c - month_before_c)


@equation
def reference_evapotranspiration_mm_day(
    net_radiation_mj_m2: float,
    soil_heat_mj_m2: float,
    temperature_c: float,
    wind_2_m_m_s: float,
    saturation_kpa: float,
    vapour_kpa: float,
    pressure_kpa: float,
) -> float:
    """Evapotranspiration of the reference grass, mm a day, never below 0. Penman–Monteith, FAO-56 equation 6.

    saturation_kpa  mean of the day (equation 12)
    vapour_kpa      actual vapour pressure
    pressure_kpa    of the air

    >>> round(float(reference_evapotranspiration_mm_day(14.33, 0.14, 30.2, 2.0, 4.42, 2.85, 101.3)), 2)  # example 17
    5.71
    """
    slope = saturation_slope_kpa_k(temperature_c)
    gamma = psychrometric_constant_kpa_k(pressure_kpa)
    radiation = 0.408 * slope * (net_radiation_mj_m2 - soil_heat_mj_m2)
    air = gamma * 900.0 / (temperature_c + 273.0) * wind_2_m_m_s * (saturation_kpa - vapour_kpa)
    return float(max((radiation + air) / (slope + gamma * (1.0 + 0.34 * wind_2_m_m_s)), 0.0))


@equation
def effective_rain_mm_month(rain_mm_month: float) -> float:
    """Share of a month's rain that serves a crop, mm a month, never below 0, for slopes of at most 4 to 5 %.

    0.8 P − 25 above 75 mm, else 0.6 P − 10. Brouwer & Heibloem 1986, Irrigation water needs, FAO Irrigation
    Water Management Training Manual 3.

    >>> [round(float(effective_rain_mm_month(rain)), 6) for rain in (10.0, 60.0, 100.0, 200.0)]
    [0.0, 26.0, 55.0, 135.0]
    """
    if rain_mm_month > 75.0:
        return 0.8 * rain_mm_month - 25.0
    return float(max(0.6 * rain_mm_month - 10.0, 0.0))


@equation
def gross_irrigation_m3_ha_day(net_mm_day: float, efficiency: float, leaching: float) -> float:
    """Water to bring to a field, m3 a hectare a day, for a net need in mm a day.

    efficiency  share of what is brought that the roots can take, above 0, at most 1
    leaching    share that must drain to carry salt away, 0 to below 1: Ayers & Westcot 1985, Water quality for
                agriculture, FAO Irrigation and Drainage Paper 29, equation 7

    >>> round(float(gross_irrigation_m3_ha_day(6.0, 0.54, 0.0)), 1)
    111.1
    """
    return 10.0 * net_mm_day / (efficiency * (1.0 - leaching))
