"""The sun of the slow model: twelve monthly means to 12 × 10 × 24 hours of power, an hour at a time.

Spencer 1971; days Saunier et al. 1987 inside the tropics, else Bendt et al. 1981 with the limits of
Herzog 1985; hours Collares-Pereira & Rabl 1979; diffuse share Erbs et al. 1982; tilted plane Hay & Davies
1980; temperature through the day Erbs et al. 1984; cell temperature Faiman 2008.
"""

from __future__ import annotations

import calendar
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pvlib
from scipy.optimize import brentq

if TYPE_CHECKING:
    from tests.reference.slow_model import Case

SOLAR_CONSTANT_W_M2 = 1366.1
TROPIC_DEG = 23.45
DAYS = tuple(calendar.monthrange(2025, month)[1] for month in range(1, 13))  # the 365-day year
KINDS = 10
HOURS = np.arange(24) + 0.5  # the midpoint of each solar hour
HOUR_ANGLES_RAD = np.radians(15 * (HOURS - 12))


def extraterrestrial_normal_w_m2(day: float) -> float:
    """Irradiance normal to the rays outside the atmosphere, W/m2; day number 1.0 is the noon of 1 January."""
    return float(pvlib.irradiance.get_extra_radiation(day, SOLAR_CONSTANT_W_M2, method="spencer"))


def extraterrestrial_kwh_m2_day(latitude_deg: float, day: float) -> float:
    """Daily irradiation of a horizontal plane outside the atmosphere, kWh/m2 (Duffie & Beckman)."""
    phi, delta = math.radians(latitude_deg), pvlib.solarposition.declination_spencer71(day)
    ws = sunset_rad(latitude_deg, day)
    geometry = math.cos(phi) * math.cos(delta) * math.sin(ws) + ws * math.sin(phi) * math.sin(delta)
    return 24 / math.pi * extraterrestrial_normal_w_m2(day) * geometry / 1000


def sunset_rad(latitude_deg: float, day: float) -> float:
    """Sunset hour angle, radians."""
    delta = pvlib.solarposition.declination_spencer71(day)
    return math.acos(-math.tan(math.radians(latitude_deg)) * math.tan(delta))


def kind_day_numbers(month: int) -> list[float]:
    """Day number of each kind of day: kind i lies ((7 i + 3) mod 10 + ½)/10 of the way through the month."""
    before = sum(DAYS[:month])
    return [before + ((7 * i + 3) % 10 + 0.5) / 10 * DAYS[month] + 0.5 for i in range(KINDS)]


def month_clearness(case: Case, month: int) -> float:
    """Irradiation of the month ÷ the mean extraterrestrial of all its days."""
    first = sum(DAYS[:month]) + 1
    outside = [extraterrestrial_kwh_m2_day(case.latitude_deg, first + d) for d in range(DAYS[month])]
    return case.ghi_kwh_m2_day[month] / float(np.mean(outside))


def clearness_of_kinds(clearness: float, latitude_deg: float) -> np.ndarray:
    """Daily clearness of the ten kinds of day, ascending, for a month's clearness (held to 0.05…0.80).

    The greatest daily clearness formula falls below the mean under 0.065: no such month is accepted.
    """
    k = min(max(clearness, 0.05), 0.80)
    top = 0.6313 + 0.267 * k - 11.9 * abs(k - 0.75) ** 8
    if top <= k:
        raise ValueError(f"clearness {k:.3f} is not below the greatest daily clearness {top:.3f}")
    kinds = _saunier(k, top) if abs(latitude_deg) <= TROPIC_DEG else _bendt(k, top)
    return np.asarray(kinds * k / kinds.mean())


def _saunier(k: float, top: float) -> np.ndarray:
    """Means of ten equally likely bins of p(x) ∝ x (top − x) e^(g x), g such that the mean is k."""
    edges = np.linspace(0, top, 20_001)
    x = (edges[1:] + edges[:-1]) / 2

    def density(g: float) -> np.ndarray:
        p = x * (top - x) * np.exp(g * (x - (top if g > 0 else 0)))
        return np.asarray(p / p.sum())

    g = brentq(lambda g: float(density(g) @ x) - k, -300 / top, 300 / top)
    p = density(g)
    probability = np.concatenate([[0], np.cumsum(p)])
    moment = np.concatenate([[0], np.cumsum(p * x)])
    at_edges = np.interp(np.linspace(0, 1, KINDS + 1), probability, moment)
    return np.asarray(np.diff(at_edges) * KINDS)


def _bendt(k: float, top: float, low: float = 0.05) -> np.ndarray:
    """The 5, 15 … 95 % quantiles of the truncated exponential between low and top."""
    xi = (top - low) / (top - k)
    g = -1.498 + (1.184 * xi - 27.182 * math.exp(-1.5 * xi)) / (top - low)
    share = (np.arange(KINDS) + 0.5) / KINDS
    return np.asarray(np.log((1 - share) * math.exp(g * low) + share * math.exp(g * top)) / g)


def daily_irradiation(case: Case, month: int) -> np.ndarray:
    """Horizontal irradiation of the ten kinds of day, kWh/m2; their mean is the month's GHI exactly."""
    kinds = clearness_of_kinds(month_clearness(case, month), case.latitude_deg)
    outside = np.array([extraterrestrial_kwh_m2_day(case.latitude_deg, n) for n in kind_day_numbers(month)])
    days = kinds * outside
    return np.asarray(days * case.ghi_kwh_m2_day[month] / days.mean())


def hour_ratio(w: Any, ws: float) -> Any:
    """Share of the day's irradiation in an hour centred on hour angle w (Collares-Pereira & Rabl 1979).

    Only for |w| < ws: on short days a + b cos w is negative at midnight, so the product is positive there.
    """
    a = 0.409 + 0.5016 * math.sin(ws - math.pi / 3)
    b = 0.6609 - 0.4767 * math.sin(ws - math.pi / 3)
    smooth = math.pi / 24 * (np.cos(w) - math.cos(ws)) / (math.sin(ws) - ws * math.cos(ws))
    return np.maximum((a + b * np.cos(w)) * smooth, 0)


def hour_shares(latitude_deg: float, day: float) -> np.ndarray:
    """Shares of the day's irradiation in its 24 hours; they sum to 1; night is 0."""
    ws = sunset_rad(latitude_deg, day)
    ratio = np.where(np.abs(HOUR_ANGLES_RAD) < ws, hour_ratio(HOUR_ANGLES_RAD, ws), 0)
    return np.asarray(ratio / ratio.sum())


def hourly_ghi(case: Case) -> np.ndarray:
    """Horizontal irradiance, W/m2, shape (12, 10, 24)."""
    ghi = np.zeros((12, KINDS, 24))
    for month in range(12):
        days = daily_irradiation(case, month)
        for kind, n in enumerate(kind_day_numbers(month)):
            ghi[month, kind] = 1000 * days[kind] * hour_shares(case.latitude_deg, n)
    return ghi


def sun_position_deg(latitude_deg: float, day: float, hour_angle_rad: float) -> tuple[float, float]:
    """Zenith and azimuth (clockwise from north) of the sun, degrees."""
    phi, delta = math.radians(latitude_deg), pvlib.solarposition.declination_spencer71(day)
    up = math.sin(phi) * math.sin(delta) + math.cos(phi) * math.cos(delta) * math.cos(hour_angle_rad)
    south = math.sin(phi) * math.cos(delta) * math.cos(hour_angle_rad) - math.cos(phi) * math.sin(delta)
    west = math.cos(delta) * math.sin(hour_angle_rad)
    return math.degrees(math.acos(up)), 180 + math.degrees(math.atan2(west, south))


def plane_irradiance(case: Case, ghi: np.ndarray, day: float) -> np.ndarray:
    """Irradiance of the modules' plane, W/m2, from the 24 horizontal ones of one day."""
    outside, plane = extraterrestrial_normal_w_m2(day), np.zeros(24)
    for hour, w in enumerate(HOUR_ANGLES_RAD):
        if ghi[hour] <= 0:  # night: hour_shares gives no light when the midpoint's sun is down
            continue
        sun = sun_position_deg(case.latitude_deg, day, w)
        split = pvlib.irradiance.erbs(ghi[hour], sun[0], day, min_cos_zenith=0.065, max_zenith=87)
        module, dni, dhi = (case.tilt_deg, case.azimuth_deg), float(split["dni"]), float(split["dhi"])
        beam = dni * max(float(pvlib.irradiance.aoi_projection(*module, *sun)), 0)
        sky = float(pvlib.irradiance.haydavies(*module, dhi, dni, outside, *sun))
        ground = case.albedo * ghi[hour] * (1 - math.cos(math.radians(case.tilt_deg))) / 2
        plane[hour] = beam + sky + ground
    return plane


def air_temperature_c(mean_c: float, range_k: float) -> np.ndarray:
    """Air temperature at the 24 hour midpoints (Erbs, Klein & Beckman 1984)."""
    t = 2 * math.pi * (HOURS - 1) / 24
    wave = (
        0.4632 * np.cos(t - 3.805)
        + 0.0984 * np.cos(2 * t - 0.360)
        + 0.0168 * np.cos(3 * t - 0.822)
        + 0.0138 * np.cos(4 * t - 3.513)
    )
    return np.asarray(mean_c + range_k * wave)


def hourly_power(case: Case) -> np.ndarray:
    """Power at the drive's terminals, W per Wp of new array, shape (12, 10, 24)."""
    ghi, power = hourly_ghi(case), np.zeros((12, KINDS, 24))
    for month in range(12):
        air = air_temperature_c(case.air_temperature_c[month], case.daily_range_k)
        clean = (1 - case.soiling[month]) * (1 - case.shade[month])
        for kind, day in enumerate(kind_day_numbers(month)):
            plane = plane_irradiance(case, ghi[month, kind], day)
            cell = pvlib.temperature.faiman(plane, air, case.wind_m_s[month], u0=25.0, u1=6.84)
            x = plane / 1000 * clean * (1 + case.gamma_per_k * (cell - 25)) * (1 - case.other_losses)
            power[month, kind] = np.maximum(x * (1 - case.wiring_loss * x), 0)
    return power
