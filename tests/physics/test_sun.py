"""Geometry against pvlib, hours, and the laws of kinds of day."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from planner.physics import sun


def test_declination_and_distance_against_pvlib() -> None:
    day = np.arange(1.0, 366.0)
    np.testing.assert_allclose(
        sun.declination_rad(day), pvlib.solarposition.declination_spencer71(day), atol=1e-6
    )  # independent library, same source
    outside = pvlib.irradiance.get_extra_radiation(day, solar_constant=1.0, method="spencer")
    np.testing.assert_allclose(sun.eccentricity_factor(day), outside, atol=1e-4)


def test_declination_against_an_ephemeris() -> None:
    noon = pd.date_range("2020-01-01 12:00", "2029-12-31 12:00", freq="D", tz="UTC")
    place = pvlib.solarposition.get_solarposition(noon, 0.0, 0.0, method="nrel_numpy")
    # seen from the equator, the northward part of the direction to the sun is sin δ at any hour
    sine = np.cos(np.radians(place["azimuth"])) * np.sin(np.radians(place["zenith"]))
    ours = np.degrees(sun.declination_rad(noon.day_of_year.to_numpy(dtype=float) + 0.5))
    assert np.abs(ours - np.degrees(np.arcsin(sine))).max() < 0.4  # independent library


@pytest.mark.parametrize("latitude", [-35.0, -12.0, 0.0, 12.0, 35.0])
def test_day_outside_the_atmosphere_is_the_sum_of_its_hours(latitude: float) -> None:
    for day in (20.0, 110.0, 172.0, 300.0):
        declination = float(sun.declination_rad(day))
        phi = np.radians(latitude)
        angle = (np.arange(24 * 3600) + 0.5) / 3600 * np.pi / 12 - np.pi
        up = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
        total = 1.3661 * float(sun.eccentricity_factor(day)) * np.maximum(up, 0).sum() / 3600
        assert sun.daily_extraterrestrial_kwh_m2(latitude, day) == pytest.approx(total, rel=1e-6)


def test_polar_day_and_night() -> None:
    assert sun.sunset_hour_angle_rad(80.0, 0.4) == pytest.approx(np.pi)
    assert sun.sunset_hour_angle_rad(-80.0, 0.4) == 0.0
    assert sun.daily_extraterrestrial_kwh_m2(-80.0, 172.0) == pytest.approx(0.0, abs=1e-12)
    assert sun.hour_fraction(0.0, 0.0) == 0.0
    assert np.isfinite(sun.hour_fraction(np.linspace(-3, 3, 9), np.pi)).all()


@pytest.mark.parametrize("length_h", [9.0, 10.5, 12.0, 13.5, 15.0])
def test_hours_nearly_fill_the_day(length_h: float) -> None:
    angle = np.radians(15.0 * (np.arange(24) + 0.5 - 12.0))
    sunset = np.radians(7.5 * length_h)
    shares = sun.hour_fraction(angle, sunset)
    assert 0.98 < shares.sum() < 1.01
    assert (shares >= 0).all() and (shares[np.abs(angle) >= sunset] == 0).all()
    np.testing.assert_allclose(shares, shares[::-1], atol=1e-15)


# Computed by a second implementation of both laws.
HERZOG = [0.177, 0.333, 0.434, 0.510, 0.570, 0.620, 0.662, 0.700, 0.733, 0.762]
SAUNIER = [0.258, 0.395, 0.464, 0.515, 0.557, 0.594, 0.627, 0.660, 0.694, 0.736]


def test_kinds_of_day_at_one_clearness() -> None:
    np.testing.assert_allclose(sun.bendt_kinds(0.55), HERZOG, atol=6e-4)
    np.testing.assert_allclose(sun.saunier_kinds(0.55), SAUNIER, atol=6e-4)


@pytest.mark.parametrize("kinds", [sun.bendt_kinds, sun.saunier_kinds])
def test_kinds_keep_the_mean_rise_and_keep_the_shape(kinds) -> None:  # type: ignore[no-untyped-def]
    clearness = np.linspace(0.0, 0.9, 181).reshape(1, 181)
    ten = kinds(clearness)
    assert ten.shape == (1, 181, 10)
    np.testing.assert_allclose(ten.mean(axis=-1), clearness, atol=1e-12)
    assert (np.diff(ten[0, 1:], axis=-1) > 0).all()
    assert (ten >= 0).all() and ten.max() < 1.0
    assert (np.diff(ten[0], axis=0)[20:] > -0.003).all()  # no kind falls as the month clears, but for rounding
    assert np.isnan(kinds(np.nan)).all()
    np.testing.assert_array_equal(kinds([0.5, 0.6])[1], kinds(0.6))


def test_saunier_table_between_its_nodes() -> None:
    """Straight lines between nodes against the law solved at the middle of two nodes (quadrature)."""
    clearness = 0.5525
    highest = float(sun.clearness_maximum(clearness))
    x = (np.arange(200_000) + 0.5) / 200_000 * highest
    low, high = -100.0, 100.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        density = x * (highest - x) * np.exp(middle * (x - highest))
        low, high = (middle, high) if (density @ x) / density.sum() < clearness else (low, middle)
    share = np.cumsum(density) / density.sum()
    bins = np.minimum((share * 10).astype(int), 9)
    means = np.bincount(bins, density * x) / np.bincount(bins, density)
    np.testing.assert_allclose(sun.saunier_kinds(clearness), means, atol=2e-4)


@pytest.mark.parametrize("kinds", [sun.bendt_kinds, sun.saunier_kinds])
@pytest.mark.parametrize("spread", [0.03, 0.10, 0.20])
def test_kinds_with_a_known_spread(kinds, spread: float) -> None:  # type: ignore[no-untyped-def]
    """Definition: mean exact, standard deviation as given where the bounds allow it, order kept."""
    clearness = np.array([0.35, 0.50, 0.65])
    plain = kinds(clearness)
    moved = sun.kinds_with_spread(plain, spread)
    np.testing.assert_allclose(moved.mean(axis=-1), clearness, rtol=1e-12)
    np.testing.assert_allclose(moved.std(axis=-1), spread, rtol=0.03)
    assert (np.diff(moved, axis=-1) >= 0).all() and (moved > 0).all()
    # No bound touched: deviations are scaled (closed form).
    scaled = clearness[:, None] + (plain - clearness[:, None]) * spread / plain.std(axis=-1, keepdims=True)
    top = sun.clearness_maximum(clearness)[:, None] + 0.03
    free = ((scaled >= 0.025) & (scaled <= top)).all(axis=-1)
    np.testing.assert_allclose(moved[free], scaled[free], rtol=1e-9)
    assert free.any() or spread > 0.1


def test_kinds_with_a_spread_beyond_all_months_end_at_the_bounds() -> None:
    moved = sun.kinds_with_spread(sun.bendt_kinds(0.4), 0.6)
    assert moved.mean() == pytest.approx(0.4, rel=1e-12)
    assert moved.min() > 0.0 and moved.max() < 0.9
    assert np.isnan(sun.kinds_with_spread(sun.bendt_kinds(0.4), np.nan)).all()
