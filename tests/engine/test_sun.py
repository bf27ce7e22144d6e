"""Twelve monthly means to skies: means come back, bounds hold, the sun stands where an ephemeris has it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.engine import light, sun
from planner.physics import sun as sun_physics
from planner.plan import Array
from tests.engine import bed

CLEAN = Array(soiling=(0.0,) * 12, other_losses=0.0, wiring_loss=0.0)
UNKNOWN = np.full(12, np.nan)
SKIES = 5


def climate(
    latitude: float,
    ghi: object,
    *,
    tropical: bool | None = None,
    diffuse: object = UNKNOWN,
    spread: float = np.nan,
) -> sun.Climate:
    months, hot = np.ones(12), abs(latitude) <= 23.45 if tropical is None else tropical
    return sun.Climate(
        latitude,
        hot,
        np.asarray(ghi) * months,
        np.asarray(diffuse) * months,
        spread * months,
        25.0 * months,
        10.0 * months,
        3.0 * months,
    )


def outside(latitude: float) -> np.ndarray:
    """Mean daily irradiation outside the atmosphere of each month, kWh/m2."""
    days = np.asarray(sun_physics.daily_extraterrestrial_kwh_m2(latitude, np.arange(1.0, 366.0)))
    return np.array([part.mean() for part in np.split(days, np.cumsum(bed.DAYS)[:-1])])


def monthly(sky: sun.Sky, irradiance: np.ndarray) -> np.ndarray:
    """kWh/m2 of the mean day of each month."""
    return np.asarray(irradiance.sum(axis=1) * sky.hours / 1000.0)


def energy(sky: sun.Sky, tilt: float, azimuth: float, gamma: float = 0.0) -> np.ndarray:
    """Wh a watt of the mean day of each month."""
    watts = light.power(sky, [light.Plane(tilt, azimuth, False)], np.array([gamma]), CLEAN)[0, 0]
    return np.asarray(watts.sum(axis=1) * sky.hours)


def solar_hour(sky: sun.Sky, latitude: float) -> np.ndarray:
    """Solar time of each step, from the direction to the sun alone."""
    phi = np.radians(latitude)
    return 12.0 + np.degrees(np.arctan2(-sky.east, sky.up * np.cos(phi) - sky.north * np.sin(phi))) / 15.0


# ------------------------------------------------------------------------------------- means and bounds

spreads = st.one_of(st.just(np.nan), st.floats(0.01, 0.30))


@given(st.floats(-66.0, 66.0), st.floats(0.03, 0.85), st.booleans(), spreads)
def test_monthly_irradiation_comes_back(latitude: float, clearness: float, tropical: bool, spread: float) -> None:
    """Definition: whatever the law of days and the skies inside the hours, the month's mean is the given one."""
    ghi = clearness * outside(latitude)
    sky = sun.monthly_sky(climate(latitude, ghi, tropical=tropical, spread=spread))
    np.testing.assert_allclose(monthly(sky, sky.ghi), ghi, rtol=1e-9)
    # Flat modules without temperature coefficient and losses see exactly that (closed form).
    np.testing.assert_allclose(energy(sky, 0.0, 180.0), ghi, rtol=1e-9)
    for m in range(12):
        n = sky.steps[m]
        assert (sky.ghi[m, :n] >= 0).all() and (sky.up[m, :n] > 0).all()
        assert (sky.dhi[m, :n] >= 0).all() and (sky.dhi[m, :n] <= sky.ghi[m, :n] * (1 + 1e-12)).all()
        np.testing.assert_allclose(
            sky.dhi[m, :n] + sky.dni[m, :n] * sky.up[m, :n], sky.ghi[m, :n], rtol=1e-9, atol=1e-9
        )
        assert not sky.ghi[m, n:].any()


@given(st.floats(-66.0, 66.0), st.floats(0.03, 0.85), st.booleans(), spreads)
def test_no_sky_is_clearer_than_the_clear_sky(latitude: float, clearness: float, tropical: bool, spread: float) -> None:
    """Definition of the law: 0.88 cos(π (t − 12)/30), raised to a hundredth above the hour's mean where that is
    above it."""
    sky = sun.monthly_sky(climate(latitude, clearness * outside(latitude), tropical=tropical, spread=spread))
    hour = solar_hour(sky, latitude)
    for m in range(12):
        n = sky.steps[m]
        kt = (sky.ghi[m, :n] / (sky.extra[m, :n] * sky.up[m, :n])).reshape(-1, SKIES)
        hours = hour[m, :n].reshape(-1, SKIES)
        middle = np.broadcast_to(np.round(hours[:, :1] - 0.5) + 0.5, hours.shape)
        np.testing.assert_allclose(hours, middle, atol=1e-6)  # five to each hour
        clear = 0.88 * np.cos(np.pi * (hours - 12.0) / 30.0)
        highest = np.maximum(clear, kt.mean(axis=1, keepdims=True) + 0.01)
        assert (kt <= highest * (1 + 1e-9)).all()


@given(st.floats(-60.0, 60.0), st.floats(0.30, 0.80), st.floats(0.0, 1.0), spreads)
def test_a_known_diffuse_comes_back(latitude: float, clearness: float, place: float, spread: float) -> None:
    """Definition, wherever it can be: the clearest skies have a twentieth of diffuse light, dull and low ones more,
    and a sun below 3° has nothing else."""
    ghi = clearness * outside(latitude)
    least = 0.30 if abs(latitude) < 50.0 else 0.5
    share = least + (0.97 - least) * place
    sky = sun.monthly_sky(climate(latitude, ghi, diffuse=share * ghi, spread=spread))
    np.testing.assert_allclose(monthly(sky, sky.ghi), ghi, rtol=1e-9)
    np.testing.assert_allclose(monthly(sky, sky.dhi) / ghi, share, atol=1e-6)  # definition
    assert (sky.ghi - sky.dhi <= 0.95 * sky.ghi + 1e-9).all()


@pytest.mark.parametrize(("clearness", "share"), [(0.45, 0.45), (0.55, 0.35), (0.65, 0.30), (0.75, 0.20)])
def test_a_clear_month_with_little_diffuse(clearness: float, share: float) -> None:
    """Shares at the low end of what stations measure at that clearness (common practice: a diffuse of a fifth is
    the clearest of dry uplands)."""
    ghi = clearness * outside(-12.0)
    sky = sun.monthly_sky(climate(-12.0, ghi, diffuse=share * ghi))
    np.testing.assert_allclose(monthly(sky, sky.dhi) / ghi, share, atol=1e-9)


def test_diffuse_beyond_reach_leaves_the_bound() -> None:
    """Less diffuse than a twentieth cannot be: no step has more beam than 0.95 of its light."""
    ghi = 0.7 * outside(-12.0)
    sky = sun.monthly_sky(climate(-12.0, ghi, diffuse=0.01 * ghi))
    assert (sky.ghi - sky.dhi <= 0.95 * sky.ghi + 1e-9).all()
    assert (monthly(sky, sky.dhi) < 0.06 * ghi).all()  # the bound, and what low suns add
    np.testing.assert_allclose(monthly(sky, sky.ghi), ghi, rtol=1e-9)


def test_nothing_but_diffuse() -> None:
    """Diffuse as much as global, or by a rounding more: no beam."""
    ghi = 0.4 * outside(-12.0)
    for more in (1.0, 1.01):
        assert not sun.monthly_sky(climate(-12.0, ghi, diffuse=more * ghi)).dni.any()


def test_no_beam_from_a_sun_below_three_degrees() -> None:
    for diffuse in (UNKNOWN, 1.0):
        sky = sun.monthly_sky(climate(60.0, 2.5, diffuse=diffuse))
        low = (sky.up > 0) & (sky.up < np.sin(np.radians(3.0)))
        assert low.any() and not sky.dni[low].any()  # definition


# ------------------------------------------------------------------------------- mirrors, planes and tilts


@given(st.floats(-60.0, 60.0), st.floats(0.0, 90.0), st.floats(0.0, 360.0))
def test_north_and_south_are_mirrored(latitude: float, tilt: float, azimuth: float) -> None:
    """Closed form: the same skies with north and south exchanged, and the plane with them, give the same power."""
    sky = sun.monthly_sky(climate(latitude, 0.6 * outside(latitude)))
    turned = sky._replace(north=-sky.north)
    np.testing.assert_allclose(
        energy(turned, tilt, 180.0 - azimuth, -0.0035), energy(sky, tilt, azimuth, -0.0035), rtol=1e-9
    )


@pytest.mark.parametrize("latitude", [5.0, 12.0, 25.0, 40.0, 55.0])
def test_hemispheres_half_a_year_apart(latitude: float) -> None:
    """The other hemisphere with months shifted by six has the same geometry but for the distance to the sun (3.4 %
    nearer in January), the months' lengths and the days between: same irradiation, energy within 3 %; measured
    0.6 to 0.9 %."""
    season = 0.5 + 0.1 * np.cos(2 * np.pi * (np.arange(12) - 5) / 12)
    ghi = season * outside(latitude)
    north = energy(sun.monthly_sky(climate(latitude, ghi)), 20.0, 180.0, -0.0035)
    south = energy(sun.monthly_sky(climate(-latitude, np.roll(ghi, 6))), 20.0, 0.0, -0.0035)
    assert south @ bed.DAYS == pytest.approx(north @ bed.DAYS, rel=0.03)


# NASA Surface meteorology and Solar Energy, 22-year table for 42.075° N 1.821° E (published): kWh/m2/d on the
# horizontal and on a plane of 42° to the equator, whose annual mean is 4.53. Best tilt of the year 37°.
NASA_HORIZONTAL = (1.81, 2.77, 3.92, 4.66, 5.44, 6.28, 6.56, 5.67, 4.51, 2.96, 2.00, 1.56)
NASA_TILTED = (3.20, 4.07, 4.84, 4.78, 4.99, 5.46, 5.83, 5.59, 5.21, 4.10, 3.35, 2.95)


def test_tilted_year_of_a_published_table() -> None:
    """The table's diffuse and its plane are other models; ours is Hay & Davies over kinds of day and skies. The year
    is held to 1.5 % (measured +1.3 %: skies apart have more beam than their mean), a month to 4 % (measured −2.4 % in
    January to +3.0 % in September)."""
    found = energy(sun.monthly_sky(climate(42.075, NASA_HORIZONTAL)), 42.0, 180.0)
    assert found @ bed.DAYS / 365 == pytest.approx(4.53, rel=0.015)
    np.testing.assert_allclose(found, NASA_TILTED, rtol=0.04)


def test_best_tilt_of_a_published_table() -> None:
    """Check value C55, published: 37°. Ours 34°, and at 37° 0.1 % less than at our best."""
    sky = sun.monthly_sky(climate(42.075, NASA_HORIZONTAL))
    year = {tilt: float(energy(sky, tilt, 180.0) @ bed.DAYS) for tilt in range(20, 56)}
    best = max(year, key=lambda tilt: year[tilt])
    assert best == pytest.approx(37, abs=4)
    assert year[37] == pytest.approx(year[best], rel=0.002)


def test_the_tilt_faces_the_equator() -> None:
    for latitude, azimuth in ((12.0, 180.0), (-12.0, 0.0)):
        assert light.towards_equator_deg(latitude) == azimuth
        winter = 11 if latitude > 0 else 5
        sky = sun.monthly_sky(climate(latitude, bed.GHI))
        flat, facing, away = (
            energy(sky, tilt, to)[winter] for tilt, to in ((0.0, azimuth), (20.0, azimuth), (20.0, 180.0 - azimuth))
        )
        assert facing > flat > away


# ------------------------------------------------------------------------------------------- high latitudes


def test_polar_night_and_midnight_sun() -> None:
    """Closed form: at 70° N the sun does not rise in December nor set in June (tan 70° tan 23.4° > 1)."""
    ghi = 0.5 * outside(70.0)
    sky = sun.monthly_sky(climate(70.0, ghi))
    assert sky.steps[11] == 0 and sky.steps[5] == 10 * 24 * SKIES
    assert not energy(sky, 40.0, 180.0)[11]
    lit = sky.steps > 0
    np.testing.assert_allclose(monthly(sky, sky.ghi)[lit], ghi[lit], rtol=1e-9)
    # A little light measured in a month without a sun is twilight: dark.
    assert not monthly(sky, sun.monthly_sky(climate(70.0, 0.02)).ghi)[11]


@pytest.mark.parametrize("latitude", [89.0, -89.0, 90.0, -90.0])
def test_at_the_poles(latitude: float) -> None:
    ghi = 0.4 * outside(latitude)
    sky = sun.monthly_sky(climate(latitude, ghi))
    lit = sky.steps > 0
    assert 6 <= lit.sum() <= 8
    np.testing.assert_allclose(monthly(sky, sky.ghi)[lit], ghi[lit], rtol=1e-9)
    assert np.isfinite(energy(sky, 60.0, light.towards_equator_deg(latitude))).all()


# ------------------------------------------------------------------------------------- against an ephemeris


def test_declination_of_the_months() -> None:
    """Mean over the ten kinds of day against the ephemeris' mean over the days of the month, four years of a leap
    cycle (independent library). Spencer's series lags today's sun by 0.9 day, 0.4° at the equinoxes: 0.47° at most,
    0.09° for a day later."""
    noon = pd.date_range("2022-01-01 12:00", "2025-12-31 12:00", freq="D", tz="UTC")
    place = pvlib.solarposition.get_solarposition(noon, 0.0, 0.0, method="nrel_numpy")
    northward = np.cos(np.radians(place["azimuth"])) * np.sin(np.radians(place["zenith"]))  # at 0° N it is sin δ
    theirs = np.degrees(np.arcsin(northward)).groupby(noon.month).mean().to_numpy()
    ours, later = (np.degrees(sun_physics.declination_rad(sun.DAY_NUMBERS + days)).mean(axis=1) for days in (0, 1))
    np.testing.assert_allclose(ours, theirs, atol=0.5)
    np.testing.assert_allclose(later, theirs, atol=0.1)


def unit_vector(place: pd.Series) -> np.ndarray:
    """Up, east, north from a row of pvlib's positions."""
    zenith, azimuth = np.radians(place["zenith"]), np.radians(place["azimuth"])
    return np.array([np.cos(zenith), np.sin(zenith) * np.sin(azimuth), np.sin(zenith) * np.cos(azimuth)])


@pytest.mark.parametrize("latitude", [-40.0, -12.0, 0.0, 24.0, 52.0])
def test_where_the_sun_stands(latitude: float) -> None:
    """The first kind of day of each month against the ephemeris of 2023, which is midway between leap years: less than
    half a degree apart (independent library). A step is seen at the moment of the day's own number from the longitude
    that has the step's solar time then."""
    sky = sun.monthly_sky(climate(latitude, 0.5 * outside(latitude)))
    hour = solar_hour(sky, latitude)
    apart = []
    for m in range(12):
        moment = pd.DatetimeIndex([pd.Timestamp("2023-01-01 12:00", tz="UTC") + pd.Timedelta(days=FIRST_KIND[m])])
        clock = (moment[0] - moment[0].normalize()).total_seconds() / 3600
        equation = pvlib.solarposition.get_solarposition(moment, 0.0, 0.0, method="nrel_numpy")["equation_of_time"]
        step = 0
        while step == 0 or hour[m, step] > hour[m, step - 1]:  # until the next day begins
            longitude = 15.0 * (hour[m, step] - clock - float(equation.iloc[0]) / 60.0)
            longitude = (longitude + 180.0) % 360.0 - 180.0
            seen = pvlib.solarposition.get_solarposition(moment, latitude, longitude, method="nrel_numpy").iloc[0]
            ours = np.array([sky.up[m, step], sky.east[m, step], sky.north[m, step]])
            apart.append(np.degrees(np.arccos(np.clip(ours @ unit_vector(seen), -1.0, 1.0))))
            step += SKIES
    assert len(apart) > 100
    assert max(apart) < 0.5


FIRST_KIND = sun.DAY_NUMBERS[:, 0] - 1.0  # days after noon of 1 January
