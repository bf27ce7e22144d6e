"""The sun of the slow model: twelve monthly means to 12 × 10 × 24 × 5 steps of power, an hour at a time.

Spencer 1971; days Saunier et al. 1987 in the tropics, else Bendt et al. 1981 with the limits of Herzog 1985;
hours Collares-Pereira & Rabl 1979; skies inside the hour Aguiar & Collares-Pereira 1992; diffuse share Erbs et
al. 1982; tilted plane Hay & Davies 1980; temperature through the day Erbs et al. 1984; cell temperature Faiman
2008. Skies inside the hour are integrals of the beta law itself, and nothing is tabulated.
"""

from __future__ import annotations

import calendar
import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pvlib
from scipy import special
from scipy.optimize import brentq

if TYPE_CHECKING:
    from tests.reference.slow_model import Case

SOLAR_CONSTANT_W_M2 = 1366.1
DAYS = tuple(calendar.monthrange(2025, month)[1] for month in range(1, 13))  # the 365-day year
KINDS = 10
SKIES = 5  # equally likely skies inside an hour
HOURS = np.arange(24) + 0.5  # the midpoint of each solar hour
HOUR_ANGLES_RAD = np.radians(15 * (HOURS - 12))
MOST_BEAM = 0.95  # of the global light, where the month's diffuse is given


class Light(NamedTuple):
    """Irradiance on the horizontal in the steps of one month, W/m2, (10, 24, 5)."""

    ghi: np.ndarray
    beam: np.ndarray  # ghi less diffuse


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
    """Sunset hour angle, radians: π where the sun does not set, 0 where it does not rise."""
    delta = pvlib.solarposition.declination_spencer71(day)
    return math.acos(min(max(-math.tan(math.radians(latitude_deg)) * math.tan(delta), -1.0), 1.0))


def kind_day_numbers(month: int) -> list[float]:
    """Day number of each kind of day: kind i lies ((7 i + 3) mod 10 + ½)/10 of the way through the month."""
    before = sum(DAYS[:month])
    return [before + ((7 * i + 3) % 10 + 0.5) / 10 * DAYS[month] + 0.5 for i in range(KINDS)]


def month_clearness(case: Case, month: int) -> float:
    """Irradiation of the month ÷ the mean extraterrestrial of all its days."""
    first = sum(DAYS[:month]) + 1
    outside = [extraterrestrial_kwh_m2_day(case.latitude_deg, first + d) for d in range(DAYS[month])]
    return case.ghi_kwh_m2_day[month] / float(np.mean(outside))


def greatest_clearness(clearness: float) -> float:
    """Clearness of the clearest day of a month, from the month's (Hollands & Huget 1983 as used by Herzog 1985)."""
    k = min(max(clearness, 0.10), 0.80)
    return 0.6313 + 0.267 * k - 11.9 * abs(k - 0.75) ** 8


def clearness_of_kinds(clearness: float, tropical: bool, spread: float = math.nan) -> np.ndarray:
    """Daily clearness of the ten kinds of day, ascending, with a month's clearness as their mean.

    The laws are asked for 0.10…0.80, and what they give is scaled to the mean. spread: standard deviation of the
    daily clearness in the month, where it is known.
    """
    k, top = min(max(clearness, 0.10), 0.80), greatest_clearness(clearness)
    kinds = _saunier(k, top) if tropical else _bendt(k, top)
    kinds = kinds * clearness / kinds.mean()
    if not math.isnan(spread):
        kinds = _with_spread(kinds, spread, max(top, clearness) + 0.03)
        kinds = kinds * clearness / kinds.mean()
    return np.asarray(kinds)


def _with_spread(kinds: np.ndarray, spread: float, most: float, least: float = 0.025) -> np.ndarray:
    """Deviations scaled to a standard deviation within bounds: what the bounds take, the others make up."""
    mean = kinds.mean()
    for _ in range(30):
        kinds = np.clip(mean + (kinds - kinds.mean()) * spread / kinds.std(), least, most)
    return kinds


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
    """Horizontal irradiation of the ten kinds of day, kWh/m2; their mean is the month's GHI exactly.

    A day without an hour whose middle has sun gives nothing and the others make it up; a month without a day that
    gives is dark.
    """
    days = np.zeros(KINDS)
    numbers = kind_day_numbers(month)
    lit = [hour_shares(case.latitude_deg, n).any() for n in numbers]
    if any(lit):
        spread = case.clearness_spread[month]
        kinds = clearness_of_kinds(month_clearness(case, month), case.tropical, spread)
        outside = np.array([extraterrestrial_kwh_m2_day(case.latitude_deg, n) for n in numbers])
        days = np.where(lit, kinds * outside, 0)
        days = days * case.ghi_kwh_m2_day[month] / days.mean()
    return np.asarray(days)


def hour_ratio(w: Any, ws: float) -> Any:
    """Share of the day's irradiation in an hour centred on hour angle w (Collares-Pereira & Rabl 1979).

    Only for |w| < ws: on short days a + b cos w is negative at midnight, so the product is positive there.
    """
    a = 0.409 + 0.5016 * math.sin(ws - math.pi / 3)
    b = 0.6609 - 0.4767 * math.sin(ws - math.pi / 3)
    smooth = math.pi / 24 * (np.cos(w) - math.cos(ws)) / (math.sin(ws) - ws * math.cos(ws))
    return np.maximum((a + b * np.cos(w)) * smooth, 0)


def hour_shares(latitude_deg: float, day: float) -> np.ndarray:
    """Shares of the day's irradiation in its 24 hours; they sum to 1; night is 0, and so is a night of all day."""
    ws = sunset_rad(latitude_deg, day)
    lit = np.abs(HOUR_ANGLES_RAD) < ws
    if not lit.any():
        return np.zeros(24)
    ratio = np.where(lit, hour_ratio(HOUR_ANGLES_RAD, ws), 0)
    return np.asarray(ratio / ratio.sum())


def hourly_ghi(case: Case) -> np.ndarray:
    """Mean horizontal irradiance of each hour, W/m2, shape (12, 10, 24)."""
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


def spread_of_hour(day_clearness: float, sin_elevation: float) -> float:
    """Standard deviation of the clearness inside an hour (Aguiar & Collares-Pereira 1992)."""
    k = min(day_clearness, 0.9)
    return float(
        0.14 * math.exp(-20 * (k - 0.35) ** 2) * math.exp((3 * (k - 0.45) ** 2 + 16 * k**5) * (1 - sin_elevation))
    )


def beta_parts(mean: float, deviation: float, top: float, parts: int = SKIES) -> np.ndarray:
    """Means of the equally likely parts of a beta law on 0…top, their mean made exact.

    deviation  taken as 0.98 of the largest possible where it is above that
    """
    sd = min(deviation, 0.98 * math.sqrt(mean * (top - mean)))
    x = mean / top
    size = x * (1 - x) / (sd / top) ** 2 - 1  # alpha + beta
    alpha, beta = x * size, (1 - x) * size
    # Moment below a share p, from whichever end the quantile is nearer to: with a small beta a tenth of the law
    # can lie closer to 1 than a double tells apart.
    share = np.arange(1, parts) / parts
    low = special.betaincinv(alpha, beta, share)
    high = special.betaincinv(beta, alpha, 1 - share)
    from_low = x * special.betainc(alpha + 1, beta, low)
    from_high = share - (1 - x) * (1 - special.betainc(beta + 1, alpha, high))
    below = np.where(low < 0.5, from_low, from_high)
    means = np.diff(np.concatenate([[0], below, [x]])) * parts * top
    return np.asarray(means * mean / means.mean())


def skies_of_hour(
    mean_w_m2: float, day_clearness: float, outside_w_m2: float, sin_elevation: float, hour: float
) -> Any:
    """Irradiance of the five equally likely skies of an hour, W/m2; hour: solar time of its middle.

    outside_w_m2  on the horizontal, outside the atmosphere
    """
    km = mean_w_m2 / outside_w_m2
    top = max(0.88 * math.cos(math.pi * (hour - 12) / 30), km + 0.01)
    return beta_parts(km, spread_of_hour(day_clearness, sin_elevation), top) * outside_w_m2


def month_light(case: Case, month: int, means: np.ndarray) -> Light:
    """Global light of the month's steps and the beam in it, from the hours' means (10, 24)."""
    ghi, beam = np.zeros((KINDS, 24, SKIES)), np.zeros((KINDS, 24, SKIES))
    for kind, day in enumerate(kind_day_numbers(month)):
        normal = extraterrestrial_normal_w_m2(day)
        for hour in np.flatnonzero(means[kind]):
            day_clearness = means[kind].sum() / 1000 / extraterrestrial_kwh_m2_day(case.latitude_deg, day)
            zenith = sun_position_deg(case.latitude_deg, day, HOUR_ANGLES_RAD[hour])[0]
            sin_h = math.cos(math.radians(zenith))
            skies = skies_of_hour(means[kind, hour], day_clearness, normal * sin_h, sin_h, HOURS[hour])
            split = pvlib.irradiance.erbs(skies, zenith, day, min_cos_zenith=0.065, max_zenith=87)
            ghi[kind, hour] = skies
            beam[kind, hour] = skies - split["dhi"] if zenith <= 87 else 0
    diffuse = case.dhi_kwh_m2_day[month]
    if not math.isnan(diffuse) and beam.any():
        beam = _beam_of_month(ghi, beam, 1000 * (case.ghi_kwh_m2_day[month] - diffuse) * KINDS * SKIES)
    return Light(ghi, beam)


def _beam_of_month(ghi: np.ndarray, beam: np.ndarray, wanted: float) -> np.ndarray:
    """The beam times one factor, no more than `MOST_BEAM` of the light, so that it sums to what is wanted."""

    def scaled(factor: float) -> np.ndarray:
        return np.minimum(beam * factor, MOST_BEAM * ghi)

    most = 1e9  # where there is any beam, all of it is at its bound
    if float(scaled(most).sum()) <= wanted:
        return scaled(most)
    if wanted <= 0:
        return np.zeros_like(beam)
    return scaled(float(brentq(lambda factor: float(scaled(factor).sum()) - wanted, 0, most, xtol=1e-14)))


def turned_plane_deg(zenith: float, azimuth: float) -> tuple[float, float]:
    """Tilt and azimuth of a plane that turns about a level north–south axis, ±60°, without backtracking."""
    turned = pvlib.tracking.singleaxis(
        np.array([zenith]), np.array([azimuth]), axis_tilt=0, axis_azimuth=0, max_angle=60, backtrack=False
    )
    return float(turned["surface_tilt"][0]), float(turned["surface_azimuth"][0])


def plane_irradiance(case: Case, light: Light, kind: int, day: float) -> np.ndarray:
    """Irradiance of the modules' plane in the steps of one kind of day, W/m2, (24, 5)."""
    outside, plane = extraterrestrial_normal_w_m2(day), np.zeros((24, SKIES))
    for hour, w in enumerate(HOUR_ANGLES_RAD):
        ghi, beam = light.ghi[kind, hour], light.beam[kind, hour]
        if not ghi.any():  # night: hour_shares gives no light when the midpoint's sun is down
            continue
        sun = sun_position_deg(case.latitude_deg, day, w)
        module = turned_plane_deg(*sun) if case.tracking else (case.tilt_deg, case.azimuth_deg)
        dni, dhi = beam / math.cos(math.radians(sun[0])), ghi - beam
        direct = dni * max(float(pvlib.irradiance.aoi_projection(*module, *sun)), 0)
        sky = pvlib.irradiance.haydavies(*module, dhi, dni, outside, *sun)
        ground = case.albedo * ghi * (1 - math.cos(math.radians(module[0]))) / 2
        plane[hour] = direct + sky + ground
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
    """Power at the drive's terminals, W per Wp of new array, shape (12, 10, 24, 5)."""
    means, power = hourly_ghi(case), np.zeros((12, KINDS, 24, SKIES))
    for month in range(12):
        light = month_light(case, month, means[month])
        air = air_temperature_c(case.air_temperature_c[month], case.daily_range_k[month])[:, None]
        clean = (1 - case.soiling[month]) * (1 - case.shade[month])
        for kind, day in enumerate(kind_day_numbers(month)):
            plane = plane_irradiance(case, light, kind, day)
            cell = pvlib.temperature.faiman(plane, air, case.wind_m_s[month], u0=25.0, u1=6.84)
            x = plane / 1000 * clean * (1 + case.gamma_per_k * (cell - 25)) * (1 - case.other_losses)
            power[month, kind] = np.maximum(x * (1 - case.wiring_loss * x), 0)
    return power
