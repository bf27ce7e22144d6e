"""An hourly year of weather at one place: real days in place of kinds of day."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.sun import Sky

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Weather(NamedTuple):
    """An hourly year of one place; every array (hours,), in file order, hours without light included.

    Irradiance is the mean of the hour. The sun stands where it truly is (no refraction) at the middle of the part
    of the hour in which it is up; in a dark hour, at the middle of the hour.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    month: Integers  # 0 to 11
    day: Integers  # day of the year, 1 to 366, of the hour's local standard date
    ghi_w_m2: Floats
    dhi_w_m2: Floats
    dni_w_m2: Floats
    zenith_deg: Floats
    azimuth_deg: Floats
    extra_w_m2: Floats  # normal irradiance outside the atmosphere
    air_temperature_c: Floats
    wind_m_s: Floats


def monthly_ghi_kwh_m2_day(weather: Weather) -> Floats:
    """Irradiation on the horizontal of the mean day of each month, (12)."""
    total: Floats = np.bincount(weather.month, weights=weather.ghi_w_m2, minlength=12) / 1000.0
    return total / _days(weather)


def weather_sky(weather: Weather, ghi_kwh_m2_day: Floats) -> Sky:
    """The skies of the hours with light, each month scaled to the given irradiation of its mean day, (12).

    Global, diffuse and beam of a month are scaled alike. A month without light in the file stays dark.
    """
    own = monthly_ghi_kwh_m2_day(weather)
    factor = np.divide(ghi_kwh_m2_day, own, out=np.zeros(12), where=own > 0)
    up = np.cos(np.radians(weather.zenith_deg))
    lit = (up > 0.0) & (weather.ghi_w_m2 > 0.0)
    # Light of an hour whose sun was down at its middle would be lost: the others make it up.
    seen = np.bincount(weather.month[lit], weights=weather.ghi_w_m2[lit], minlength=12) / 1000.0 / _days(weather)
    factor = np.divide(factor * own, seen, out=np.zeros(12), where=seen > 0)
    azimuth = np.radians(weather.azimuth_deg)
    level = np.sqrt(np.maximum(1.0 - up**2, 0.0))
    month, light = weather.month[lit], factor[weather.month]
    columns = (
        up,
        level * np.sin(azimuth),
        level * np.cos(azimuth),
        weather.ghi_w_m2 * light,
        weather.dhi_w_m2 * light,
        weather.dni_w_m2 * light,
        weather.extra_w_m2,
        weather.air_temperature_c,
        weather.wind_m_s,
    )
    steps = np.bincount(month, minlength=12)
    order = np.argsort(month, kind="stable")
    place = np.arange(month.size) - np.repeat(np.cumsum(steps) - steps, steps)
    filled = np.zeros((len(columns), 12, max(int(steps.max()), 1)))
    for number, values in enumerate(columns):
        filled[number, month[order], place] = values[lit][order]
    kind = np.zeros(filled.shape[1:], np.int64)
    kind[month[order], place] = kind_of_hour(weather)[lit][order]
    days = _days(weather)
    return Sky(steps, 1.0 / days, days.astype(np.int64), kind, *filled)


def kind_of_hour(weather: Weather) -> Integers:
    """Kind of day of every hour of the file, (hours,): see `weather_days`."""
    _, kind, day = days_of_file(weather)
    return kind[day]


def days_of_file(weather: Weather) -> tuple[Integers, Integers, Integers]:
    """Month and kind of the days of the file, and the place among them of the day of each hour."""
    days, day = np.unique(weather.month * 400 + weather.day, return_inverse=True)
    month = days // 400
    kind = np.arange(days.size) - np.searchsorted(month, np.arange(12))[month]
    return month, kind, day


def _days(weather: Weather) -> Floats:
    """Days of each month in the file."""
    hours: Floats = np.bincount(weather.month, minlength=12) / 24.0
    return np.maximum(hours, 1.0)
