"""Skies, modules and trackers against pvlib element by element; the bins of a beta law against the law itself."""

from __future__ import annotations

import numpy as np
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from planner.physics import sky

BINS = 5
TABLE = sky.spread_table()


def parts(mean: float, deviation: float, highest: float) -> np.ndarray:
    bins = np.empty(BINS)
    sky.spread_bins(mean, deviation, highest, TABLE, bins)
    return bins


def exact_parts(mean: float, deviation: float) -> np.ndarray:
    """Means of five equally likely parts of a beta law on 0…1, from the law's own quantiles: the mean of a law's
    quantiles over a part is the mean of the part (independent library)."""
    size = mean * (1 - mean) / deviation**2 - 1
    shares = (np.arange(2_000) + 0.5) / 2_000
    quantiles = stats.beta.ppf(shares, mean * size, (1 - mean) * size)
    return quantiles.reshape(BINS, -1).mean(axis=1)


def widest(mean: float) -> float:
    """Largest standard deviation of a law on 0…1 (closed form)."""
    return float(np.sqrt(mean * (1 - mean)))


# ------------------------------------------------------------------------------- against pvlib, to 0.1 %


def test_diffuse_fraction() -> None:
    day, zenith = 100, 30.0
    clearness = np.linspace(0.0, 1.0, 201)[1:]
    ghi = clearness * pvlib.irradiance.get_extra_radiation(day) * np.cos(np.radians(zenith))
    split = pvlib.irradiance.erbs(ghi, zenith, day)
    np.testing.assert_allclose(sky.diffuse_fraction(clearness), split["dhi"] / ghi, rtol=1e-3)


def test_sky_on_a_tilted_plane() -> None:
    rng = np.random.default_rng(3)
    tilt, azimuth = rng.uniform(0, 90, 500), rng.uniform(0, 360, 500)
    zenith, sun_azimuth = rng.uniform(0, 88, 500), rng.uniform(0, 360, 500)
    dhi, dni, extra = rng.uniform(5, 500, 500), rng.uniform(0, 1000, 500), rng.uniform(1320, 1412, 500)
    facing = pvlib.irradiance.aoi_projection(tilt, azimuth, zenith, sun_azimuth)
    ours = sky.sky_irradiance_w_m2(
        dhi, dni, extra, np.maximum(facing, 0), np.cos(np.radians(zenith)), np.cos(np.radians(tilt))
    )
    theirs = pvlib.irradiance.haydavies(tilt, azimuth, dhi, dni, extra, zenith, sun_azimuth)
    np.testing.assert_allclose(ours, theirs, rtol=1e-3)


def test_cell_temperature() -> None:
    plane, air, wind = np.meshgrid([0.0, 300.0, 1100.0], [-10.0, 20.0, 45.0], [0.0, 1.0, 8.0])
    theirs = pvlib.temperature.faiman(plane, air, wind, u0=25.0, u1=6.84)
    np.testing.assert_allclose(sky.cell_temperature_c(plane, air, wind), theirs, rtol=1e-3)


def test_tracker() -> None:
    zenith, azimuth = (grid.ravel() for grid in np.meshgrid(np.linspace(1, 89, 45), np.linspace(1, 359, 180)))
    turned = pvlib.tracking.singleaxis(zenith, azimuth, axis_tilt=0, axis_azimuth=0, max_angle=60, backtrack=False)
    east = np.sin(np.radians(zenith)) * np.sin(np.radians(azimuth))
    rotation = np.degrees(sky.tracker_rotation_rad(east, np.cos(np.radians(zenith)), np.radians(60.0)))
    np.testing.assert_allclose(np.abs(rotation), turned["surface_tilt"], rtol=1e-3, atol=1e-9)
    clear = np.abs(rotation) > 1e-6  # a level plane faces nowhere
    np.testing.assert_allclose(np.where(rotation > 0, 90.0, 270.0)[clear], turned["surface_azimuth"][clear], atol=1e-6)


# --------------------------------------------------------------------------------- spread inside the hour


@pytest.mark.parametrize(
    ("clearness", "sin_elevation", "deviation"),
    [  # worked by hand from the published law
        (0.35, 1.0, 0.14),  # 0.14 · 1 · 1
        (0.45, 1.0, 0.114622),  # 0.14 exp(−0.2)
        (0.45, 0.5, 0.132856),  # · exp(16 · 0.45⁵ · 0.5)
        (0.65, 0.8, 0.034361),  # 0.14 exp(−1.8) exp((0.12 + 1.85646) · 0.2)
        (0.20, 0.3, 0.102153),  # 0.14 exp(−0.45) exp((0.1875 + 0.00512) · 0.7)
    ],
)
def test_spread_of_an_hour(clearness: float, sin_elevation: float, deviation: float) -> None:
    assert sky.hour_spread(clearness, sin_elevation) == pytest.approx(deviation, rel=1e-4)


def test_clearest_sky_is_symmetrical_about_noon() -> None:
    hours = np.arange(24) + 0.5
    clear = sky.clear_hour_clearness(hours)
    np.testing.assert_allclose(clear, clear[::-1], rtol=1e-12)
    np.testing.assert_allclose(clear, 0.88 * np.cos(np.pi * (hours - 12) / 30), rtol=1e-12)  # definition
    assert sky.clear_hour_clearness(12.0) == 0.88  # published: constant of the law


@given(st.floats(0.0, 1.0), st.floats(0.0, 10.0), st.floats(0.05, 1.5))
def test_bins_keep_the_mean(share: float, deviation: float, highest: float) -> None:
    bins = parts(share * highest, deviation, highest)
    assert bins.mean() == pytest.approx(share * highest, rel=1e-12, abs=1e-300)
    assert (bins >= 0).all() and bins.max() <= highest * (1 + 1e-12)


MEANS = np.concatenate([[0.01, 0.03], np.linspace(0.05, 0.95, 19), [0.97, 0.99]])


@pytest.mark.parametrize(
    ("means", "widths", "off"),
    [  # greatest error of a bin, as a share of the highest (measured, rounded up)
        ((0.05, 0.95), (0.02, 0.90), 0.0015),
        ((0.05, 0.95), (0.02, 0.95), 0.0025),
        ((0.05, 0.95), (0.02, 0.98), 0.008),
        ((0.01, 0.99), (0.02, 0.98), 0.030),
    ],
)
def test_bins_are_those_of_the_law(means: tuple[float, float], widths: tuple[float, float], off: float) -> None:
    """The table is finest where hours are: their deviation is below 0.55 of the widest in 99 of 100."""
    for mean in MEANS[(means[0] <= MEANS) & (means[1] >= MEANS)]:
        for width in np.linspace(*widths, 8):
            deviation = float(width) * widest(mean)
            np.testing.assert_allclose(parts(mean, deviation, 1.0), exact_parts(mean, deviation), rtol=0, atol=off)


def test_bins_rise_where_hours_are() -> None:
    for mean in MEANS[2:-2]:
        for width in np.linspace(0.02, 0.90, 12):
            assert (np.diff(parts(mean, float(width) * widest(mean), 1.0)) >= -1e-15).all()


def test_what_five_means_lose_of_the_variance() -> None:
    """Means of parts leave out what varies inside a part: 3 to 13 % of the variance at the usual widths of an hour,
    0.1 to 0.5 of the widest, in the middle of the scale; up to 22 % at its ends (measured on the exact law too)."""
    for means, least in (((0.25, 0.75), 0.87), ((0.10, 0.90), 0.77)):
        for mean in np.linspace(*means, 11):
            for width in (0.1, 0.2, 0.3, 0.4, 0.5):
                deviation = width * widest(mean)
                kept = parts(float(mean), deviation, 1.0).var() / deviation**2
                assert least < kept < 0.97
                assert kept == pytest.approx(exact_parts(mean, deviation).var() / deviation**2, abs=0.02)


def test_nodes_of_the_table_have_their_mean() -> None:
    """Definition; nodes at sin² of even steps. The upper half mirrors the lower one."""
    means = np.sin(np.linspace(0.0, 0.5 * np.pi, TABLE.shape[0])) ** 2
    assert TABLE.shape[2] == BINS
    np.testing.assert_allclose(TABLE.mean(axis=2), np.broadcast_to(means[:, None], TABLE.shape[:2]), atol=1e-12)
    np.testing.assert_allclose(TABLE, 1.0 - TABLE[::-1, :, ::-1], atol=1e-12)
    assert (np.diff(TABLE, axis=2) >= 0).all()
