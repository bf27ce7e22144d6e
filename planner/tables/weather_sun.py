"""The sun over the hours of a weather file: where it stands, the light above the atmosphere, and the file's clock."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from planner.engine.weather import Floats, Integers

Times = NDArray[Any]  # datetime64


def day_of_year(start: Times) -> Integers:
    """Day of the year, from 1."""
    date = start.astype("datetime64[D]")
    return np.asarray((date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype("int64") + 1)


class HourSun(NamedTuple):
    """The sun over each hour of a file: where it stands in its lit part, and the light above the atmosphere.

    Declination and hour angle (radians, at the middle of the hour) are those of pvlib's full ephemeris (Reda &
    Andreas 2004); inside the hour the first is held and the second turns 15 degrees.
    """

    latitude: float
    longitude: float
    middle: Times  # of the hour, UTC
    declination: Floats
    angle: Floats
    extra: Floats  # normal irradiance above the atmosphere, W/m2

    def moved(self, minutes: float) -> HourSun:
        """The sun of hours that stand that many minutes late in the file."""
        middle = self.middle - np.timedelta64(round(minutes * 60), "s")
        angle = (self.angle - np.radians(minutes / 4) + np.pi) % (2 * np.pi) - np.pi
        return self._replace(middle=middle, angle=angle)

    def _lit(self) -> tuple[Floats, Floats]:
        """Hour angles between which the sun is up in the hour, (3, hours): of the day before, this one, the next."""
        sunset = np.arccos(np.clip(-np.tan(np.radians(self.latitude)) * np.tan(self.declination), -1, 1))
        noon = 2 * np.pi * np.array([-1.0, 0.0, 1.0])[:, None]
        rise, fall = (np.clip(self.angle + edge, noon - sunset, noon + sunset) for edge in (-np.pi / 24, np.pi / 24))
        return rise, fall

    def above(self) -> Floats:
        """Horizontal irradiance above the atmosphere, mean of each hour, W/m2."""
        north, (rise, fall) = np.radians(self.latitude), self._lit()
        beam = np.cos(north) * np.cos(self.declination) * (np.sin(fall) - np.sin(rise))
        mean = (beam + np.sin(north) * np.sin(self.declination) * (fall - rise)).sum(axis=0) / (np.pi / 12)
        return np.asarray(self.extra * np.maximum(mean, 0.0))

    def position(self) -> tuple[Floats, Floats]:
        """True zenith and azimuth at the middle of the lit part of each hour, degrees."""
        rise, fall = self._lit()
        longest = np.argmax(fall - rise, axis=0), np.arange(self.angle.size)
        later = np.where(fall > rise, (rise + fall) / 2 - self.angle, 0.0)[longest]
        seconds = np.round(later * 43200 / np.pi).astype("timedelta64[s]")
        return position_of(self.latitude, self.longitude, self.middle + seconds)


def position_of(latitude: float, longitude: float, time: Times) -> tuple[Floats, Floats]:
    """True zenith and azimuth in degrees, times in UTC."""
    index = pd.DatetimeIndex(time).tz_localize("UTC")
    place = pvlib.solarposition.get_solarposition(index, latitude, longitude)
    return place["zenith"].to_numpy(), place["azimuth"].to_numpy()


def hour_sun(latitude: float, longitude: float, start: Times, zone: float) -> HourSun:
    """The sun of hours that begin at `start` in a time zone."""
    middle = start.astype("datetime64[s]") + np.timedelta64(round(1800 - zone * 3600), "s")
    zenith, azimuth = np.radians(position_of(latitude, longitude, middle))
    north, up = np.radians(latitude), np.cos(zenith)
    northward, westward = np.sin(zenith) * np.cos(azimuth), -np.sin(zenith) * np.sin(azimuth)
    declination = np.arcsin(np.clip(up * np.sin(north) + northward * np.cos(north), -1, 1))
    angle = np.arctan2(westward, up * np.cos(north) - northward * np.sin(north))
    extra = pvlib.irradiance.get_extra_radiation(day_of_year(start), method="spencer")
    return HourSun(latitude, longitude, middle, declination, angle, np.asarray(extra, dtype="float64"))


def clock_minutes(ghi: Floats, sun: HourSun) -> float:
    """Minutes by which the light of a file comes after the sun, from the clearest tenth of its days.

    On a clear day irradiance is symmetric about solar noon. Its centroid on the circle of hour angles is set against
    that of the horizontal irradiance above the atmosphere in the same hours; the median over the days counts. The
    hours are then moved and measured again, so that cut hours at sunrise and sunset do not bend the answer.
    """
    turns = (np.arange(ghi.size) + 0.5) / 24 - sun.angle / (2 * np.pi)
    date = np.round(turns - turns[0]).astype("int64")
    date -= date.min()

    def day_sum(value: Floats) -> Floats:
        return np.bincount(date, weights=value).astype("float64")

    def centroid(value: Floats) -> Floats:
        return np.arctan2(day_sum(value * np.sin(sun.angle)), day_sum(value * np.cos(sun.angle)))

    above = day_sum(sun.above())
    whole = (np.bincount(date) >= 23) & (above > 0.1 * above.max())
    clearness = day_sum(ghi)[whole] / above[whole]
    clear = np.flatnonzero(whole)[clearness >= np.quantile(clearness, 0.9)]
    light, minutes = centroid(ghi)[clear], 0.0
    for _ in range(4):
        late = light - centroid(sun.moved(minutes).above())[clear]
        minutes += float(np.median(np.degrees((late + np.pi) % (2 * np.pi) - np.pi))) * 4
        minutes = (minutes + 720) % 1440 - 720
    return minutes


def late_words(minutes: float) -> str:
    """Minutes in words: positive comes after the sun."""
    return f"{abs(minutes):.0f} min {'after' if minutes > 0 else 'before'} the sun"
