"""The light of a site: its sky, how its array stands, and how long a watt of it gives how much power."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.engine import sun
from planner.engine.days import Days, clearness_of, synthetic_days, weather_days
from planner.engine.light import Light, Plane, light, power, tilts_deg, towards_equator_deg
from planner.engine.site import Record
from planner.engine.weather import Weather, weather_sky
from planner.plan import Array

Floats = NDArray[np.float64]

TILT_PUMPING_HOURS = 6.0  # a day's demand at this many hours gives the head that a tilt is chosen with
POLAR_SHARE = 0.05  # of the best month's energy: darker months have no water at any tilt and decide nothing


@dataclass(frozen=True)
class Suns:
    """Columns of the sites' sun, (n,) or (n, 12): see `engine.sun.Climate`.

    With an hourly year of weather only `ghi` is read: each month of the hours is scaled to it.
    """

    solar_latitude: Floats
    tropical: NDArray[np.bool_]
    ghi: Floats
    diffuse: Floats
    clearness_spread: Floats
    air_temperature: Floats
    temperature_range: Floats
    wind: Floats

    def climate(self, i: int) -> sun.Climate:
        """The climate of site i."""
        return sun.Climate(
            float(self.solar_latitude[i]),
            bool(self.tropical[i]),
            self.ghi[i],
            self.diffuse[i],
            self.clearness_spread[i],
            self.air_temperature[i],
            self.temperature_range[i],
            self.wind[i],
        )


class Skies:
    """Light of the climates met in a chunk, the latest kept: sites come sorted by solar cell."""

    def __init__(self, array: Array, gammas: Floats, weather: Weather | None) -> None:
        self.array, self.gammas, self.weather = array, gammas, weather
        self._file_days = weather_days(weather) if weather is not None else None
        self._key = b""
        self._sky: sun.Sky | None = None
        self._energy: Floats = np.empty(0)
        self._lights: dict[Plane, Light] = {}

    def plane(self, climate: sun.Climate, site: Record, existing_tilt_deg: float) -> Plane:
        """How the array of a site stands: as it does (a tilt that is not NaN), as the plan fixes it, or at the
        tilt whose worst month gives most energy for its demand and head. Only new arrays turn with the sun."""
        array = self.array
        azimuth = towards_equator_deg(climate.latitude_deg) if array.azimuth_deg is None else array.azimuth_deg
        if not np.isnan(existing_tilt_deg):
            return Plane(existing_tilt_deg, azimuth, False)
        if array.mounting == "single_axis" and not site.stands:
            return Plane(0.0, azimuth, True)
        if array.tilt_deg is not None:
            return Plane(array.tilt_deg, azimuth, False)
        tilts = tilts_deg(climate.latitude_deg)
        energy = self._energies(climate, [Plane(float(tilt), azimuth, False) for tilt in tilts])
        day = site.demand_m3_day * 24.0 / TILT_PUMPING_HOURS
        head = site.rest_m + site.memory_d_m2 * site.demand_m3_day + site.lift_m
        head = head + site.b_d_m2 * day + site.c_d2_m5 * day**2
        bright = energy.max(axis=0) > POLAR_SHARE * energy.max()
        worst = (energy / np.maximum(site.demand_m3_day * head, 1e-9))[:, bright].min(axis=1, initial=np.inf)
        return Plane(float(tilts[int(np.argmax(worst))]), azimuth, False)

    def light(self, climate: sun.Climate, plane: Plane) -> Light:
        """Power-duration of every module of the catalogue on a plane."""
        sky = self._sky_of(climate)
        if plane not in self._lights:
            self._lights[plane] = light(sky, self._days_of(climate), plane, self.gammas, self.array)
        return self._lights[plane]

    def _days_of(self, climate: sun.Climate) -> Days:
        """The order of days: of the file, or of the Markov chain for the climate's clearness."""
        return self._file_days or synthetic_days(clearness_of(climate))

    def _energies(self, climate: sun.Climate, planes: list[Plane]) -> Floats:
        """Wh/Wp of the mean day of each month, (planes, 12), for the first module."""
        sky = self._sky_of(climate)
        if self._energy.size == 0:
            self._energy = power(sky, planes, self.gammas[:1], self.array)[:, 0].sum(axis=-1) * sky.hours
        return self._energy

    def _sky_of(self, climate: sun.Climate) -> sun.Sky:
        key = climate.key()
        if self._sky is None or key != self._key:
            self._sky = sun.monthly_sky(climate) if self.weather is None else weather_sky(self.weather, climate.ghi)
            self._key, self._energy, self._lights = key, np.empty(0), {}
        return self._sky
