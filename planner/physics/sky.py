"""Clouds and light of an hour: how clearness spreads inside it, how light splits, tilted planes, warm cells.

Irradiance in W/m2; clearness of an hour is irradiance on the horizontal over that outside the atmosphere.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, betaln, xlogy

from planner.physics.equation import equation, kernel

__all__ = [
    "BINS",
    "cell_temperature_c",
    "clear_hour_clearness",
    "diffuse_fraction",
    "hour_spread",
    "sky_irradiance_w_m2",
    "spread_bins",
    "spread_table",
    "tracker_rotation_rad",
]

Floats = NDArray[np.float64]

BINS = 5  # equally likely skies of an hour
# Bin means are tabulated on the mean, x = sin² of even steps, closer where the law is lopsided, and on the standard
# deviation relative to the largest that the mean allows.
MEAN_NODES = 81
SPREAD_NODES = 50
WIDEST_SPREAD = 0.98
MEAN_PASSES = 20
LOWEST_SIN = 0.01745  # 1°: lower suns count as this high where something is divided by it, as pvlib does


@equation
def hour_spread(clearness_day: float, sin_elevation: float) -> float:
    """Standard deviation of the clearness of an hour about its mean, on a day of the given clearness.

    0.14 exp(−20 (K − 0.35)²) exp([3 (K − 0.45)² + 16 K⁵] (1 − sin h)), K 0 to 0.85, sun up; Aguiar &
    Collares-Pereira 1992, Solar Energy 49:167.

    >>> round(float(hour_spread(0.35, 1.0)), 3)
    0.14
    """
    widest = 0.14 * math.exp(-20.0 * (clearness_day - 0.35) ** 2)
    rise = 3.0 * (clearness_day - 0.45) ** 2 + 16.0 * clearness_day**5
    return widest * math.exp(rise * (1.0 - sin_elevation))


@equation
def clear_hour_clearness(solar_hour: float) -> float:
    """Clearness of an hour under a clear sky, the most that the spread of an hour reaches; solar time, 0 to 24.

    0.88 cos(π (t − 12)/30), Aguiar & Collares-Pereira 1992, Solar Energy 49:167, who number the hours 1 to 24 and so
    write 12.5; here t is the time itself.

    >>> round(float(clear_hour_clearness(12.0)), 2)
    0.88
    """
    return 0.88 * math.cos(math.pi * (solar_hour - 12.0) / 30.0)


@equation
def diffuse_fraction(clearness_hour: float) -> float:
    """Diffuse over global irradiance on the horizontal, by the clearness of the hour, 0 to 1.

    Erbs, Klein & Duffie 1982, Solar Energy 28:293, hourly.

    >>> round(float(diffuse_fraction(0.5)), 3)
    0.659
    """
    k = clearness_hour
    if k <= 0.22:
        return 1.0 - 0.09 * k
    if k <= 0.80:
        return 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return 0.165


@equation
def sky_irradiance_w_m2(
    diffuse_w_m2: float,
    beam_normal_w_m2: float,
    extraterrestrial_normal_w_m2: float,
    cos_incidence: float,
    sin_elevation: float,
    cos_tilt: float,
) -> float:
    """Diffuse irradiance of the sky on a tilted plane, W/m2.

    D [A R + (1 − A)(1 + cos β)/2], A beam over extraterrestrial, R the beam's gain on the plane; Hay & Davies
    1980. A plane that lies flat sees all of it:

    >>> round(float(sky_irradiance_w_m2(120.0, 500.0, 1350.0, 0.7, 0.7, 1.0)), 6)
    120.0
    """
    bright = beam_normal_w_m2 / extraterrestrial_normal_w_m2
    gain = max(cos_incidence, 0.0) / max(sin_elevation, LOWEST_SIN)
    return diffuse_w_m2 * (bright * gain + (1.0 - bright) * 0.5 * (1.0 + cos_tilt))


@equation
def cell_temperature_c(plane_w_m2: float, air_temperature_c: float, wind_m_s: float) -> float:
    """Temperature of the cells of an open rack, °C: T + G / (25 + 6.84 v), Faiman 2008, wind at the modules.

    >>> round(float(cell_temperature_c(900.0, 20.0, 5.0)), 2)
    35.2
    """
    return air_temperature_c + plane_w_m2 / (25.0 + 6.84 * wind_m_s)


@equation
def tracker_rotation_rad(east: float, up: float, most_rad: float) -> float:
    """Rotation about a level north–south axis that faces the sun, rad; 0 flat, positive to the east.

    east, up  components of the direction to the sun; closed form, held between −most and most

    >>> round(math.degrees(float(tracker_rotation_rad(1.0, 1.0, 1.05))), 1)
    45.0
    """
    return min(max(math.atan2(east, up), -most_rad), most_rad)


@cache
def spread_table() -> Floats:
    """Means of the equally likely bins of a beta law on 0 to 1, shape (means, spreads, BINS).

    First axis: mean 0 to 1, `_nodes`. Second: standard deviation over the largest that the mean allows, 0 to
    `WIDEST_SPREAD`. Each row of bins has the mean of its node.
    """
    # The upper half is the lower one seen from the other end, where numbers close to 1 have no digits.
    mean = _nodes()[: MEAN_NODES // 2 + 1, None]
    spread = np.linspace(0.0, WIDEST_SPREAD, SPREAD_NODES)[None, :]
    inside = np.maximum(mean, 1e-5)
    both = 1.0 / np.maximum(spread, 1e-3) ** 2 - 1.0
    a, b = inside * both, (1.0 - inside) * both
    shares = np.arange(BINS + 1) / BINS
    a, b = a[..., None], b[..., None]
    # ∫ x f up to the quantile of each share, with the quantile from both ends: near 1 only 1 − x has digits
    below, above = betaincinv(a, b, shares), betaincinv(b, a, 1.0 - shares)
    part = np.exp(xlogy(a, below) + xlogy(b, above) - betaln(a, b)) / a
    moments = inside[..., None] * (shares - part)
    # The quantiles of all-or-nothing laws are good to about 0.03: sorted, held inside, and brought to their mean.
    table = np.sort(np.clip(np.diff(moments, axis=-1) * BINS, 0.0, 1.0), axis=-1)
    for _ in range(MEAN_PASSES):
        table = np.minimum(table * (mean / np.maximum(table.mean(axis=-1), 1e-12))[..., None], 1.0)
    upper = 1.0 - table[:-1][::-1, :, ::-1]
    return np.ascontiguousarray(np.concatenate([table, upper]))


def _nodes() -> Floats:
    """Means of the table, ascending from 0 to 1, the middle one 1/2."""
    return np.asarray(np.sin(np.linspace(0.0, 0.5 * np.pi, MEAN_NODES)) ** 2)


@kernel
def _node(place: int) -> float:
    return math.sin(0.5 * math.pi * place / (MEAN_NODES - 1)) ** 2


@kernel
def spread_bins(mean: float, deviation: float, highest: float, table: Floats, bins: Floats) -> None:
    """Means of equally likely parts of a beta law on 0 to `highest`, into `bins`; their mean is `mean`.

    deviation  standard deviation, taken as `WIDEST_SPREAD` of the largest possible where it is above that
    table      of `spread_table`; between its nodes bilinear: within 0.002 of `highest` in 99 of 100 cases, 0.03 in
               the corner of all-or-nothing laws
    """
    x = mean / highest
    if not (0.0 < x < 1.0 and deviation >= 0.0):  # a missing number has no place in a table
        bins[:] = mean
        return
    largest = highest * math.sqrt(x * (1.0 - x))
    at = 2.0 / math.pi * math.asin(math.sqrt(x)) * (MEAN_NODES - 1)
    to = min(deviation / largest, WIDEST_SPREAD) / WIDEST_SPREAD * (SPREAD_NODES - 1)
    i, j = min(int(at), MEAN_NODES - 2), min(int(to), SPREAD_NODES - 2)
    here, after = _node(i), _node(i + 1)
    p, q = min(max((x - here) / (after - here), 0.0), 1.0), to - j
    total = 0.0
    for k in range(bins.size):
        value = (1.0 - p) * ((1.0 - q) * table[i, j, k] + q * table[i, j + 1, k])
        value += p * ((1.0 - q) * table[i + 1, j, k] + q * table[i + 1, j + 1, k])
        bins[k] = value
        total += value
    scale = mean * bins.size / total
    for k in range(bins.size):
        bins[k] *= scale
