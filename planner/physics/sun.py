"""The sun's geometry on a mean day, its hours, and the kinds of day that a month is made of.

Angles of hours and sunset in radians from solar noon; clearness is irradiation on the horizontal over that
outside the atmosphere.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner.physics.equation import equation

__all__ = [
    "bendt_kinds",
    "clearness_maximum",
    "daily_extraterrestrial_kwh_m2",
    "declination_rad",
    "diffuse_hour_fraction",
    "eccentricity_factor",
    "extraterrestrial_kwh_m2",
    "hour_fraction",
    "kinds_with_spread",
    "saunier_kinds",
    "sunset_hour_angle_rad",
]

Floats = NDArray[np.float64]

KINDS = 10
SOLAR_CONSTANT_KW_M2 = 1.3661  # ASTM E490; FAO-56 has 0.0820 MJ/m2/min = 1.3667, satellites since 2003 1.361
# The laws of kinds of day were fitted well inside these limits; outside, the nearest limit gives the shape.
LOWEST_CLEARNESS = 0.10
HIGHEST_CLEARNESS = 0.80
DULLEST_DAY = 0.05
CLEAREST_MARGIN = 0.03  # of a single day above the law's clearest, seen on measured years
SPREAD_PASSES = 30


@equation
def declination_rad(day_of_year: float) -> float:
    """Declination of the sun, rad, on a day of the year (1 = 1 January; may be fractional).

    Spencer 1971, Search 2(5):172. Against an ephemeris of the years 2020 to 2030: within 0.4°, most of it the
    leap day.

    >>> round(math.degrees(float(declination_rad(172.0))), 1)
    23.5
    """
    angle = 2.0 * math.pi * (day_of_year - 1.0) / 365.0
    return (
        0.006918
        - 0.399912 * math.cos(angle)
        + 0.070257 * math.sin(angle)
        - 0.006758 * math.cos(2.0 * angle)
        + 0.000907 * math.sin(2.0 * angle)
        - 0.002697 * math.cos(3.0 * angle)
        + 0.00148 * math.sin(3.0 * angle)
    )


@equation
def eccentricity_factor(day_of_year: float) -> float:
    """Square of mean over actual distance of the sun on a day of the year, 0.967 to 1.035.

    Spencer 1971, Search 2(5):172.

    >>> round(float(eccentricity_factor(3.0)), 3)
    1.035
    """
    angle = 2.0 * math.pi * (day_of_year - 1.0) / 365.0
    return (
        1.00011
        + 0.034221 * math.cos(angle)
        + 0.00128 * math.sin(angle)
        + 0.000719 * math.cos(2.0 * angle)
        + 0.000077 * math.sin(2.0 * angle)
    )


@equation
def sunset_hour_angle_rad(latitude_deg: float, declination_rad: float) -> float:
    """Hour angle of sunset, rad: arccos(−tan φ tan δ); 0 in polar night, π in polar day. |latitude| < 90.

    >>> round(float(sunset_hour_angle_rad(-20.0, 0.12)), 3)
    1.527
    """
    cosine = -math.tan(math.radians(latitude_deg)) * math.tan(declination_rad)
    return math.acos(min(max(cosine, -1.0), 1.0))


@equation
def extraterrestrial_kwh_m2(latitude_deg: float, declination_rad: float, eccentricity_factor: float) -> float:
    """Irradiation of a day on the horizontal outside the atmosphere, kWh/m2, |latitude| < 90.

    (24/π) G_sc E0 (ω_s sin φ sin δ + cos φ cos δ sin ω_s); Allen et al. 1998, FAO Irrigation and Drainage
    Paper 56, equation 21, whose example 8 this is:

    >>> round(float(extraterrestrial_kwh_m2(-20.0, 0.120, 0.985)) * 3.6, 1)
    32.2
    """
    sunset = sunset_hour_angle_rad(latitude_deg, declination_rad)
    latitude = math.radians(latitude_deg)
    along = sunset * math.sin(latitude) * math.sin(declination_rad)
    across = math.cos(latitude) * math.cos(declination_rad) * math.sin(sunset)
    return float(24.0 / math.pi * SOLAR_CONSTANT_KW_M2 * eccentricity_factor * (along + across))


@equation
def daily_extraterrestrial_kwh_m2(latitude_deg: float, day_of_year: float) -> float:
    """Irradiation outside the atmosphere, kWh/m2, on a day of the year, after Spencer 1971.

    The shorter declination of FAO-56 (equation 24) is up to 1° off and its daily values up to 1.6 %.

    >>> round(float(daily_extraterrestrial_kwh_m2(0.0, 80.0)), 1)
    10.5
    """
    return float(extraterrestrial_kwh_m2(latitude_deg, declination_rad(day_of_year), eccentricity_factor(day_of_year)))


@equation
def diffuse_hour_fraction(hour_angle_rad: float, sunset_angle_rad: float) -> float:
    """Diffuse irradiation of one hour over that of the day, Liu & Jordan 1960; 0 at night.

    Also the share of an hour in the extraterrestrial day. Hours at their middle do not add up to 1 exactly.

    >>> round(float(diffuse_hour_fraction(0.0, math.pi / 2)), 4)
    0.1309
    """
    if abs(hour_angle_rad) >= sunset_angle_rad:
        return 0.0
    cosine = math.cos(sunset_angle_rad)
    area = math.sin(sunset_angle_rad) - sunset_angle_rad * cosine
    return math.pi / 24.0 * (math.cos(hour_angle_rad) - cosine) / area


@equation
def hour_fraction(hour_angle_rad: float, sunset_angle_rad: float) -> float:
    """Global irradiation of one hour over that of the day; 0 at night.

    Collares-Pereira & Rabl 1979, Solar Energy 22:155: r = (a + b cos ω) times the diffuse fraction, a = 0.409
    + 0.5016 sin(ω_s − 60°), b = 0.6609 − 0.4767 sin(ω_s − 60°), ω_s > 0. Never below 0. Hours add up to
    0.99–1.00: scale to the day.

    >>> round(float(hour_fraction(0.0, math.pi / 2)), 4)
    0.1417
    """
    shift = math.sin(sunset_angle_rad - math.pi / 3.0)
    form = 0.409 + 0.5016 * shift + (0.6609 - 0.4767 * shift) * math.cos(hour_angle_rad)
    return float(max(form, 0.0) * diffuse_hour_fraction(hour_angle_rad, sunset_angle_rad))


@equation
def clearness_maximum(clearness: float) -> float:
    """Clearness of the clearest day of a month with the given mean clearness, 0.1 to 0.8.

    0.6313 + 0.267 K − 11.9 |K − 0.75|^8, Herzog 1985, for the law of Bendt, Collares-Pereira & Rabl 1981.

    >>> round(float(clearness_maximum(0.55)), 3)
    0.778
    """
    return 0.6313 + 0.267 * clearness - 11.9 * abs(clearness - 0.75) ** 8


def bendt_kinds(clearness: ArrayLike) -> Floats:
    """Clearness of ten equally likely kinds of day, dull to clear, outside the tropics.

    clearness  mean of the month, any shape (…), 0 to 0.9; returns (…, 10) with that mean. NaN gives NaN.

    Bendt, Collares-Pereira & Rabl 1981, Solar Energy 27:1, exponential law between 0.05 and
    `clearness_maximum`, its exponent after Herzog 1985; each kind at the middle of its tenth. Outside
    0.10–0.80 the shape of that limit, scaled.

    >>> bendt_kinds(0.55)[[0, 4, 9]].round(3).tolist()
    [0.177, 0.57, 0.762]
    """
    mean = np.asarray(clearness, dtype=np.float64)
    shape = np.clip(mean, LOWEST_CLEARNESS, HIGHEST_CLEARNESS)
    highest = np.asarray(clearness_maximum(shape))
    width = highest - DULLEST_DAY
    xi = width / (highest - shape)
    exponent = -1.498 + (1.184 * xi - 27.182 * np.exp(-1.5 * xi)) / width
    exponent = np.where(np.abs(exponent) < 1e-6, 1e-6, exponent)[..., None]  # 0/0 at an even spread
    share = (np.arange(KINDS) + 0.5) / KINDS
    # exp(g K) taken relative to the dullest day, which keeps it small
    rise = np.log1p(share * np.expm1(exponent * width[..., None]))
    return _scaled(DULLEST_DAY + rise / exponent, mean)


def saunier_kinds(clearness: ArrayLike) -> Floats:
    """Clearness of ten equally likely kinds of day, dull to clear, inside the tropics.

    clearness  mean of the month, any shape (…), 0 to 0.9; returns (…, 10) with that mean. NaN gives NaN.

    Saunier, Reddy & Kumar 1987, Solar Energy 38:169: density ∝ x (K_max − x) exp(g x) on 0 … K_max, K_max as
    in `clearness_maximum`, g such that the mean is right; each kind is the mean of its tenth. Outside
    0.10–0.80 the shape of that limit, scaled.

    >>> saunier_kinds(0.55)[[0, 4, 9]].round(3).tolist()
    [0.258, 0.557, 0.736]
    """
    mean = np.asarray(clearness, dtype=np.float64)
    shape = np.clip(mean, LOWEST_CLEARNESS, HIGHEST_CLEARNESS)
    nodes, table = _saunier_table()
    kinds = np.stack([np.interp(shape, nodes, column) for column in table.T], axis=-1)
    return _scaled(kinds, mean)


def kinds_with_spread(kinds: Floats, spread: ArrayLike) -> Floats:
    """The kinds of day of months, moved so that their standard deviation is the given one; the mean stays.

    kinds   (…, 10) clearness, dull to clear
    spread  (…) standard deviation of the daily clearness, 0 to about 0.3; NaN gives NaN

    Deviations from the mean are scaled, and held between a very dull day and a little above
    `clearness_maximum`, where no day goes; what that takes away the others make up, as far as they can.

    >>> wide = kinds_with_spread(bendt_kinds(0.55), 0.21)
    >>> round(float(wide.mean()), 3), round(float(wide.std()), 3)
    (0.55, 0.21)
    """
    mean = kinds.mean(axis=-1, keepdims=True)
    wanted = np.asarray(spread, dtype=np.float64)[..., None]
    highest = np.maximum(np.asarray(clearness_maximum(np.clip(mean, LOWEST_CLEARNESS, HIGHEST_CLEARNESS))), mean)
    moved = kinds
    for _ in range(SPREAD_PASSES):
        deviation = moved - moved.mean(axis=-1, keepdims=True)
        found = np.maximum(np.sqrt((deviation**2).mean(axis=-1, keepdims=True)), 1e-9)
        moved = np.clip(mean + deviation * (wanted / found), DULLEST_DAY * 0.5, highest + CLEAREST_MARGIN)
    return _scaled(moved, mean[..., 0])


@cache
def _saunier_table() -> tuple[Floats, Floats]:
    """Clearness nodes (n,) and the ten bin means at each (n, 10); 0.005 apart: lines err below 1e-4."""
    nodes = np.arange(LOWEST_CLEARNESS, HIGHEST_CLEARNESS + 0.0025, 0.005)
    place = (np.arange(4000) + 0.5) / 4000.0  # x / K_max, at the middle of 4000 strips
    target = nodes / np.asarray(clearness_maximum(nodes))
    low, high = np.full_like(nodes, -200.0), np.full_like(nodes, 200.0)  # g K_max
    for _ in range(50):
        middle = 0.5 * (low + high)
        density = place * (1.0 - place) * np.exp(middle[:, None] * (place - (middle > 0)[:, None]))
        below = (density @ place) / density.sum(axis=1) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    density /= density.sum(axis=1, keepdims=True)
    first = np.zeros((len(nodes), 1))
    shares = np.concatenate([first, np.cumsum(density, axis=1)], axis=1)
    moments = np.concatenate([first, np.cumsum(density * place, axis=1)], axis=1)
    edges = np.linspace(0.0, 1.0, KINDS + 1)
    at_edges = np.array([np.interp(edges, share, moment) for share, moment in zip(shares, moments, strict=True)])
    table = np.diff(at_edges, axis=1) * KINDS * np.asarray(clearness_maximum(nodes))[:, None]
    return nodes, table


def _scaled(kinds: Floats, mean: Floats) -> Floats:
    """The kinds, scaled so that their mean is exact."""
    scaled: Floats = kinds * (mean / kinds.mean(axis=-1))[..., None]
    return scaled
