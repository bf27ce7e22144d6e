"""Sun to watts: from monthly means to what one watt of array gives, hour by hour, in ten kinds of day.

A pump has a threshold, so one mean day a month misleads. Each month is ten equally likely kinds of day, from
overcast to clear, each with its hours; the volume of a month is the mean over them.

Kinds of day   Saunier, Reddy & Kumar 1987 inside the tropics, Bendt, Collares-Pereira & Rabl 1981 outside
Hours          Collares-Pereira & Rabl 1979; each solar hour stands at its middle
Diffuse        Erbs, Klein & Duffie 1982, hourly; plane: Hay & Davies 1980; cell: Faiman 2008 (all by pvlib)
Air            four-term wave of the mean day, Erbs, Klein & Beckman 1983, daily range 10 K

What is left out: the spread of clouds inside the hour. Tried on measured years this costs about 4 % rms of a
year's volume.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pvlib
from numpy.typing import NDArray

from planner.physics import sun as sun_physics
from planner.plan import Array

Floats = NDArray[np.float64]

KINDS = 10
HOURS = 24
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
TROPIC_DEG = 23.45
CLEARNESS_RANGE = (0.10, 0.80)
DAILY_RANGE_K = 10.0
# Kind i stands at this share of the month, so that clear and dull days are spread over it.
PLACE_IN_MONTH = (((7 * np.arange(KINDS) + 3) % KINDS) + 0.5) / KINDS
TILTS_DEG = np.arange(10.0, 51.0, 5.0)
# Amplitude and phase of the daily temperature wave (from memory; a plain cosine changes energy by 0.15 %).
WAVE = ((0.4632, 1, 3.805), (0.0984, 2, 0.360), (0.0168, 3, 0.822), (0.0138, 4, 3.513))


class Climate(NamedTuple):
    """Monthly means of one place: latitude in degrees, then twelve values each, January first."""

    latitude_deg: float
    ghi_kwh_m2_day: tuple[float, ...]
    air_temperature_c: tuple[float, ...]
    wind_m_s: tuple[float, ...]


class Duration(NamedTuple):
    """How long an array gives how much power, exact for the steps it is made of.

    power         (12, steps) W/Wp, falling, 0 at the end
    hours         (12, steps + 1) hours of the mean day before step k
    energy        (12, steps + 1) Wh/Wp of the mean day before step k
    """

    power: Floats
    hours: Floats
    energy: Floats


def towards_equator_deg(latitude_deg: float) -> float:
    """Azimuth that faces the equator: 180 (south) on and north of it, 0 (north) south of it."""
    return 180.0 if latitude_deg >= 0 else 0.0


def hourly_power(climate: Climate, tilts_deg: Floats, azimuth_deg: float, gammas: Floats, array: Array) -> Floats:
    """Power of one watt of array, W/Wp, shape (tilts, modules, 12 months, 10 kinds, 24 hours).

    tilts_deg  0–90 from the horizontal; azimuth_deg 0 north, 90 east
    gammas     temperature coefficient of power of each module, 1/K, negative
    array      soiling, shade, other losses, wiring, albedo
    """
    day, sky = _kinds_of_day(climate, array.low_year_factor)
    plane = _plane_irradiance(climate.latitude_deg, day, sky, tilts_deg, azimuth_deg, array.albedo)
    hour = np.arange(HOURS) + 0.5
    wave = sum(a * np.cos(k * 2 * np.pi * (hour - 1) / HOURS - phase) for a, k, phase in WAVE)
    air = np.array(climate.air_temperature_c)[:, None, None] + DAILY_RANGE_K * np.asarray(wave)
    wind = np.array(climate.wind_m_s)[:, None, None]
    cell = pvlib.temperature.faiman(plane, air, wind, u0=25.0, u1=6.84)
    clean = (1 - np.array(array.soiling)) * (1 - np.array(array.shade)) * (1 - array.other_losses)
    light = plane / 1000.0 * clean[:, None, None]
    warm = 1 + gammas[None, :, None, None, None] * (cell[:, None] - 25.0)
    gross = light[:, None] * warm
    return np.maximum(gross * (1 - array.wiring_loss * gross), 0.0)


def duration(power: Floats) -> Duration:
    """Power-duration curves of the twelve months from hourly power of shape (12, 10, 24)."""
    steps = -np.sort(-power.reshape(12, KINDS * HOURS), axis=1)
    lit = int(np.count_nonzero(steps.max(axis=0) > 0)) + 1
    steps = np.ascontiguousarray(steps[:, :lit])
    weight = 1.0 / KINDS
    hours = np.tile(np.arange(lit + 1) * weight, (12, 1))
    energy = np.concatenate([np.zeros((12, 1)), np.cumsum(steps, axis=1) * weight], axis=1)
    return Duration(steps, hours, energy)


def _kinds_of_day(climate: Climate, factor: float) -> tuple[Floats, Floats]:
    """Day numbers (12, 10) and mean irradiance on the horizontal (12, 10, 24) W/m2."""
    before = np.concatenate([[0], np.cumsum(DAYS)[:-1]])
    day = before[:, None] + PLACE_IN_MONTH * DAYS[:, None] + 0.5
    latitude = climate.latitude_deg
    every_day = sun_physics.daily_extraterrestrial_kwh_m2(latitude, np.arange(1.0, 366.0))
    month_mean = np.array([chunk.mean() for chunk in np.split(every_day, np.cumsum(DAYS)[:-1])])
    ghi = np.array(climate.ghi_kwh_m2_day) * factor
    clearness = np.clip(ghi / month_mean, *CLEARNESS_RANGE)
    kinds = sun_physics.saunier_kinds if abs(latitude) <= TROPIC_DEG else sun_physics.bendt_kinds
    total = kinds(clearness) * sun_physics.daily_extraterrestrial_kwh_m2(latitude, day)
    total *= (ghi / total.mean(axis=1))[:, None]
    declination = pvlib.solarposition.declination_spencer71(day)
    sunset = np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1, 1))
    angle = np.radians(15.0 * (np.arange(HOURS) + 0.5 - 12.0))
    share = np.maximum(sun_physics.hour_fraction(angle, sunset[..., None]), 0.0)
    share /= share.sum(axis=-1, keepdims=True)
    return day, total[..., None] * share * 1000.0


def _plane_irradiance(
    latitude_deg: float, day: Floats, ghi: Floats, tilts_deg: Floats, azimuth_deg: float, albedo: float
) -> Floats:
    """Irradiance on the tilted planes, W/m2, shape (tilts, 12, 10, 24)."""
    phi = np.radians(latitude_deg)
    declination = pvlib.solarposition.declination_spencer71(day)[..., None]
    angle = np.radians(15.0 * (np.arange(HOURS) + 0.5 - 12.0))
    up = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
    zenith = np.degrees(np.arccos(np.clip(up, -1, 1)))
    # azimuth from north, clockwise: east component −cos δ sin ω, north component below
    north = np.sin(declination) * np.cos(phi) - np.cos(declination) * np.sin(phi) * np.cos(angle)
    sun_azimuth = np.degrees(np.arctan2(-np.cos(declination) * np.sin(angle), north)) % 360.0
    day = np.broadcast_to(day[..., None], ghi.shape)
    horizontal = np.where(up > 0, ghi, 0.0)
    extra = pvlib.irradiance.get_extra_radiation(day, method="spencer")
    split = pvlib.irradiance.erbs(horizontal, zenith, day, min_cos_zenith=0.065, max_zenith=87.0)
    planes = np.empty((len(tilts_deg), *ghi.shape))
    for number, tilt in enumerate(tilts_deg):
        facing = pvlib.irradiance.aoi_projection(tilt, azimuth_deg, zenith, sun_azimuth)
        sky = pvlib.irradiance.haydavies(
            tilt,
            azimuth_deg,
            split["dhi"],
            split["dni"],
            extra,
            projection_ratio=np.maximum(facing, 0) / np.maximum(up, 0.01745),
        )
        ground = pvlib.irradiance.get_ground_diffuse(tilt, horizontal, albedo)
        planes[number] = np.where(up > 0, split["dni"] * np.maximum(facing, 0) + sky + ground, 0.0)
    return planes
