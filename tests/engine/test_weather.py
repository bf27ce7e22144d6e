"""An hourly year in place of kinds of day: against pvlib's own elementwise functions, and its scaling to a raster."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pvlib
import pytest

from planner.engine.light import Plane, power
from planner.engine.sun import DAYS
from planner.engine.weather import Weather, monthly_ghi_kwh_m2_day, weather_sky
from planner.plan import Array
from planner.tables.weather_file import read_weather
from tests.engine import bed

BARE = Array(soiling=(0.0,) * 12, other_losses=0.0, wiring_loss=0.0)
GREENSBORO = "723170TYA.CSV"  # TMY3 of 36° N that pvlib ships


@cache
def year() -> Weather:
    """The shipped year."""
    return read_weather(GREENSBORO, Path(pvlib.__file__).parent / "data" / GREENSBORO)[0]


def monthly_energy(weather: Weather, ghi: np.ndarray, plane: Plane) -> np.ndarray:
    sky = weather_sky(weather, ghi)
    return np.asarray(power(sky, [plane], np.array([-0.0035]), BARE)[0, 0].sum(axis=1) * sky.hours)


@pytest.mark.parametrize(("tilt", "azimuth"), [(0.0, 180.0), (30.0, 180.0), (20.0, 90.0)])
def test_an_hourly_year_on_a_plane_is_that_of_pvlib(tilt: float, azimuth: float) -> None:
    """Independent library, hour by hour: Hay & Davies, Faiman. The few hours whose light comes with the sun below
    the horizon are scaled in, 0.1 % of the year."""
    w = year()
    total = pvlib.irradiance.get_total_irradiance(
        tilt, azimuth, w.zenith_deg, w.azimuth_deg, w.dni_w_m2, w.ghi_w_m2, w.dhi_w_m2, dni_extra=w.extra_w_m2,
        albedo=BARE.albedo, model="haydavies",
    )["poa_global"]  # fmt: skip
    light = np.where(w.zenith_deg < 90.0, total, 0.0)
    cell = pvlib.temperature.faiman(light, w.air_temperature_c, w.wind_m_s, 25.0, 6.84)
    expected = np.bincount(w.month, light / 1000.0 * (1.0 - 0.0035 * (cell - 25.0))) / DAYS
    found = monthly_energy(w, monthly_ghi_kwh_m2_day(w), Plane(tilt, azimuth, False))
    np.testing.assert_allclose(found, expected, rtol=2e-3)
    assert found @ DAYS == pytest.approx(expected @ DAYS, rel=1e-3)


def test_months_are_scaled_to_the_given_irradiation() -> None:
    """Closed form: a flat bare array without temperature coefficient sees the raster's months."""
    wanted = np.array([2.2, 3.1, 4.4, 5.2, 5.9, 6.3, 6.1, 5.5, 4.8, 3.9, 2.7, 2.1])
    sky = weather_sky(year(), wanted)
    found = power(sky, [Plane(0.0, 180.0, False)], np.array([0.0]), BARE)[0, 0].sum(axis=1) * sky.hours
    np.testing.assert_allclose((sky.ghi / 1000.0).sum(axis=1) * sky.hours, wanted, rtol=1e-12)
    # Diffuse and beam are scaled alike, so their sum on the plane is the file's own closure, within 1 %.
    np.testing.assert_allclose(found, wanted, rtol=0.01)


def test_a_leap_year_has_the_months_of_its_own_days() -> None:
    """Closed form: 29 equal days in February weigh as 29."""
    w = year()
    february = np.flatnonzero(w.month == 1)
    more = np.insert(np.arange(w.month.size), february[-1] + 1, february[-24:])
    longer = Weather(*w[:3], *(part[more] for part in w[3:]))
    last = w.ghi_w_m2[february[-24:]].sum() / 1000.0
    expected = (28 * monthly_ghi_kwh_m2_day(w)[1] + last) / 29
    assert monthly_ghi_kwh_m2_day(longer)[1] == pytest.approx(expected, rel=1e-12)
    assert weather_sky(longer, monthly_ghi_kwh_m2_day(longer)).hours[1] == pytest.approx(1 / 29)


def test_a_weather_year_serves_every_site_of_a_district() -> None:
    """Each site's months are its own, the hours are the file's; twice the sun does not mean the same volume."""
    context = bed.make_context()
    hourly = bed.engine.make_context(context.plan, context.catalogue, year())
    rows = [bed.row_of(bed.one_site(30.0, 8.0, ghi=np.array(bed.GHI) * factor), hourly) for factor in (0.8, 1.1)]
    assert rows[0]["array_wp"] >= rows[1]["array_wp"]
    assert rows[0]["solar_kwh_m2_day"] == pytest.approx(0.8 / 1.1 * rows[1]["solar_kwh_m2_day"])
