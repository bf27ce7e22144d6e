"""From monthly means to skies: the sun's place, global, diffuse and beam light, air and wind, step by step.

A pump has a threshold, so one mean day a month misleads. Each month is ten equally likely kinds of day, from
overcast to clear; each has its hours; and each hour is `BINS` equally likely skies, since clouds come and go
inside it. The volume of a month is the mean over all of them.

Kinds of day   Saunier, Reddy & Kumar 1987 where the climate is tropical, Bendt, Collares-Pereira & Rabl 1981
               elsewhere; widened or narrowed to the month's spread of daily clearness where that is known
Hours          Collares-Pereira & Rabl 1979; each solar hour stands at its middle
Inside hours   Aguiar & Collares-Pereira 1992, a bounded beta law that keeps the hour's mean
Diffuse        Erbs, Klein & Duffie 1982, hourly; where the month's diffuse light is known, the beam is scaled to it
Air            four-term wave of the mean day, Erbs, Klein & Beckman 1983
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.physics import sun as sun_physics
from planner.physics.equation import kernel
from planner.physics.sky import BINS, clear_hour_clearness, diffuse_fraction, hour_spread, spread_bins, spread_table
from planner.physics.sun import (
    KINDS,
    SOLAR_CONSTANT_KW_M2,
    declination_rad,
    eccentricity_factor,
    extraterrestrial_kwh_m2,
    hour_fraction,
    sunset_hour_angle_rad,
)

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

HOURS = 24
DAYS = np.array([31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])
CLEARNESS_RANGE = (0.10, 0.80)
TROPIC_DEG = 23.45
# Kind i stands at this share of the month, so that clear and dull days are spread over it.
PLACE_IN_MONTH = (((7 * np.arange(KINDS) + 3) % KINDS) + 0.5) / KINDS
FIRST_DAY = np.concatenate([[0.0], np.cumsum(DAYS)[:-1]])
DAY_NUMBERS = FIRST_DAY[:, None] + PLACE_IN_MONTH * DAYS[:, None] + 0.5
# Amplitude and phase of the daily temperature wave (from memory; a plain cosine changes energy by 0.15 %).
WAVE = np.array([[0.4632, 1, 3.805], [0.0984, 2, 0.360], [0.0168, 3, 0.822], [0.0138, 4, 3.513]])
# Erbs' fraction needs care at low suns: clearness is taken as if the sun stood at 3.7°, and below 3° there is
# no beam, both as pvlib does.
LOWEST_SIN_ERBS = 0.065
LOWEST_SIN_BEAM = math.sin(math.radians(3.0))
MOST_BEAM = 0.95  # of global light on the horizontal, under the clearest of skies


class Climate(NamedTuple):
    """Monthly means of one place, twelve values each, January first; NaN where a value is not known.

    latitude_deg         north positive
    tropical             whether the law of tropical days holds
    ghi, diffuse         global and diffuse irradiation on the horizontal, kWh/m2/d; diffuse may be NaN
    clearness_spread     standard deviation of the daily clearness within the month; may be NaN
    air_temperature_c    mean; temperature_range_k: highest less lowest of a day
    wind_m_s             at the modules
    """

    latitude_deg: float
    tropical: bool
    ghi: Floats
    diffuse: Floats
    clearness_spread: Floats
    air_temperature_c: Floats
    temperature_range_k: Floats
    wind_m_s: Floats

    def key(self) -> bytes:
        """Equal for equal climates, NaN included."""
        return b"".join(np.asarray(part, dtype=np.float64).tobytes() for part in self)


class Sky(NamedTuple):
    """Steps with light of the mean day of each month; arrays (12, steps), empty after the month's own count.

    steps          (12) steps with light
    hours          (12) hours of the mean day that each step stands for
    kinds          (12) kinds of day of the month, each as likely as the others
    kind           the kind of day that a step belongs to, 0 first
    up, east, north   direction to the sun, components of a unit vector
    ghi, dhi, dni  W/m2: global and diffuse on the horizontal, beam normal to its rays
    extra          beam outside the atmosphere, W/m2
    air_c, wind_m_s
    """

    steps: Integers
    hours: Floats
    kinds: Integers
    kind: Integers
    up: Floats
    east: Floats
    north: Floats
    ghi: Floats
    dhi: Floats
    dni: Floats
    extra: Floats
    air_c: Floats
    wind_m_s: Floats


def has_tropical_days(latitude_deg: float, climate_zone: str) -> bool:
    """Whether the law of tropical days holds: between the tropics, and wherever the Köppen–Geiger class is A."""
    return abs(latitude_deg) <= TROPIC_DEG or climate_zone.startswith("A")


def monthly_sky(climate: Climate) -> Sky:
    """The skies of a climate of monthly means.

    The mean day's irradiation of every month is the climate's, and so is its diffuse part where it is known (up
    to `MOST_BEAM`). A month whose sun stays below the horizon is dark.
    """
    kinds = _kinds_of_day(climate)
    sky = _hours_of_days(
        climate.latitude_deg,
        kinds,
        climate.ghi,
        climate.diffuse,
        climate.air_temperature_c,
        climate.temperature_range_k,
        climate.wind_m_s,
        spread_table(),
    )
    most = max(int(sky.steps.max()), 1)
    rest = (np.ascontiguousarray(part[:, :most]) for part in sky[4:])
    return Sky(sky.steps, sky.hours, sky.kinds, np.ascontiguousarray(sky.kind[:, :most]), *rest)


def clearness_of(climate: Climate) -> Floats:
    """Mean clearness of each month, (12): irradiation over that outside the atmosphere; 0 in a month without sun."""
    every_day = np.asarray(sun_physics.daily_extraterrestrial_kwh_m2(climate.latitude_deg, np.arange(1.0, 366.0)))
    outside = np.array([days.mean() for days in np.split(every_day, np.cumsum(DAYS).astype(int)[:-1])])
    return np.divide(climate.ghi, outside, out=np.zeros(12), where=outside > 0)


def _kinds_of_day(climate: Climate) -> Floats:
    """Clearness of the ten kinds of day of each month, (12, 10), dull to clear; 0 in a month without sun."""
    real = clearness_of(climate)
    clearness = np.clip(real, *CLEARNESS_RANGE)
    law = sun_physics.saunier_kinds if climate.tropical else sun_physics.bendt_kinds
    kinds = law(clearness)
    known = ~np.isnan(climate.clearness_spread) & (real > 0)
    if known.any():  # the hours are scaled to the real clearness, and the spread with them
        spread = climate.clearness_spread[known] * clearness[known] / real[known]
        kinds[known] = sun_physics.kinds_with_spread(kinds[known], spread)
    return kinds


@kernel
def _hours_of_days(
    latitude_deg: float, kinds: Floats, ghi: Floats, diffuse: Floats, air: Floats, air_range: Floats, wind: Floats,
    table: Floats,
) -> Sky:  # fmt: skip
    most = KINDS * HOURS * BINS
    steps = np.zeros(12, np.int64)
    room = np.zeros((9, 12, most))
    sky = Sky(
        steps, np.full(12, 1.0 / (KINDS * BINS)), np.full(12, KINDS), np.zeros((12, most), np.int64), room[0], room[1],
        room[2], room[3], room[4], room[5], room[6], room[7], room[8],
    )  # fmt: skip
    sin_lat, cos_lat = math.sin(math.radians(latitude_deg)), math.cos(math.radians(latitude_deg))
    wave = _wave()
    share = np.empty((KINDS, HOURS))
    outside, bins = np.empty(KINDS), np.empty(BINS)
    for m in range(12):
        total = 0.0
        for i in range(KINDS):
            dec = declination_rad(DAY_NUMBERS[m, i])
            outside[i] = extraterrestrial_kwh_m2(latitude_deg, dec, eccentricity_factor(DAY_NUMBERS[m, i]))
            if _shares(sunset_hour_angle_rad(latitude_deg, dec), share[i]):
                total += kinds[m, i] * outside[i]
        if total <= 0.0 or ghi[m] <= 0.0:
            continue
        scale = KINDS * ghi[m] / total
        n = 0
        for i in range(KINDS):
            dec = declination_rad(DAY_NUMBERS[m, i])
            extra = 1000.0 * SOLAR_CONSTANT_KW_M2 * eccentricity_factor(DAY_NUMBERS[m, i])
            day = scale * kinds[m, i] * outside[i]
            for hour in range(HOURS):
                if share[i, hour] <= 0.0:
                    continue
                angle = math.radians(15.0 * (hour + 0.5 - 12.0))
                up = sin_lat * math.sin(dec) + cos_lat * math.cos(dec) * math.cos(angle)
                mean = 1000.0 * day * share[i, hour] / (extra * up)
                highest = max(clear_hour_clearness(hour + 0.5), mean + 0.01)
                clearness = min(scale * kinds[m, i], 0.9)
                spread_bins(mean, hour_spread(clearness, up), highest, table, bins)
                for b in range(BINS):
                    light = bins[b] * extra * up
                    beam = 0.0
                    if up >= LOWEST_SIN_BEAM:
                        beam = light * (1.0 - diffuse_fraction(bins[b] * up / max(up, LOWEST_SIN_ERBS)))
                    sky.up[m, n] = up
                    sky.east[m, n] = -math.cos(dec) * math.sin(angle)
                    sky.north[m, n] = math.sin(dec) * cos_lat - math.cos(dec) * sin_lat * math.cos(angle)
                    sky.ghi[m, n] = light
                    sky.dhi[m, n] = light - beam
                    sky.dni[m, n] = beam / up
                    sky.extra[m, n] = extra
                    sky.air_c[m, n] = air[m] + air_range[m] * wave[hour]
                    sky.wind_m_s[m, n] = wind[m]
                    sky.kind[m, n] = i
                    n += 1
        steps[m] = n
        if diffuse[m] >= 0.0:
            _scale_beam(sky, m, 1000.0 * (ghi[m] - diffuse[m]))
    return sky


@kernel
def _shares(sunset: float, share: Floats) -> bool:
    """Share of a day's irradiation in each hour; False for a day without an hour whose middle has sun."""
    total = 0.0
    for hour in range(HOURS):
        share[hour] = 0.0
        if sunset > 0.0:
            share[hour] = hour_fraction(math.radians(15.0 * (hour + 0.5 - 12.0)), sunset)
        total += share[hour]
    for hour in range(HOURS):
        share[hour] = share[hour] / total if total > 0.0 else 0.0
    return total > 0.0


@kernel
def _wave() -> Floats:
    """Air temperature of the hours less the day's mean, over the day's range."""
    wave = np.zeros(HOURS)
    for hour in range(HOURS):
        for term in range(WAVE.shape[0]):
            wave[hour] += WAVE[term, 0] * math.cos(WAVE[term, 1] * 2.0 * math.pi * (hour - 0.5) / HOURS - WAVE[term, 2])
    return wave


@kernel
def _scale_beam(sky: Sky, m: int, wanted_wh: float) -> None:
    """Scale the beam of a month's steps so that beam on the horizontal adds up to `wanted_wh` a day; none below 0.

    Clear hours have most of the beam and take most of the change; where a step would pass `MOST_BEAM` of its
    global light it stops there and the others make it up. Each pass solves for the steps that are free; a step that
    was stopped never comes free again, so the passes end.
    """
    factor = 0.0
    for _ in range(sky.steps[m]):
        free = stopped = 0.0
        for n in range(sky.steps[m]):
            beam, most = sky.dni[m, n] * sky.up[m, n], MOST_BEAM * sky.ghi[m, n]
            if factor * beam < most:
                free += sky.hours[m] * beam
            else:
                stopped += sky.hours[m] * most
        if free <= 0.0:
            break
        before, factor = factor, max(wanted_wh - stopped, 0.0) / free
        if factor <= before * (1.0 + 1e-12):
            break
    for n in range(sky.steps[m]):
        beam = min(factor * sky.dni[m, n] * sky.up[m, n], MOST_BEAM * sky.ghi[m, n])
        sky.dni[m, n] = beam / sky.up[m, n]
        sky.dhi[m, n] = sky.ghi[m, n] - beam
