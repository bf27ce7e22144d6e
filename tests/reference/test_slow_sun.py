"""The sun of the slow model against closed forms, published values and integrals of the laws themselves."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from scipy import integrate, stats

from tests.reference import slow_model as slow
from tests.reference import slow_sun as sun

GHI = (5.0, 5.2, 5.5, 5.8, 6.0, 6.2, 6.4, 6.5, 6.3, 6.0, 5.5, 5.1)  # invented, kWh/m2/d
AIR = (24.0, 24.0, 23.0, 22.0, 20.0, 18.0, 18.0, 20.0, 23.0, 25.0, 25.0, 24.0)  # invented, °C
SUN = slow.Case(-12.0, GHI, AIR, (2.0,) * 12, tilt_deg=15.0, azimuth_deg=0.0, tropical=True)


def test_kinds_of_day_are_the_test_vectors() -> None:
    # Ten kinds for a month's clearness of 0.55, computed independently beforehand, printed to three digits.
    herzog = [0.177, 0.333, 0.434, 0.510, 0.570, 0.620, 0.662, 0.700, 0.733, 0.762]
    saunier = [0.258, 0.395, 0.464, 0.515, 0.557, 0.594, 0.627, 0.660, 0.694, 0.736]
    np.testing.assert_allclose(sun.clearness_of_kinds(0.55, tropical=False), herzog, rtol=0, atol=0.0005)
    np.testing.assert_allclose(sun.clearness_of_kinds(0.55, tropical=True), saunier, rtol=0, atol=0.0005)


LAWS = pytest.mark.parametrize("tropical", [True, False], ids=["tropical", "temperate"])


@LAWS
@pytest.mark.parametrize("clearness", [0.10, 0.35, 0.65, 0.80])
def test_kinds_of_day_have_the_mean_and_stay_in_bounds(tropical: bool, clearness: float) -> None:
    kinds = sun.clearness_of_kinds(clearness, tropical)
    assert kinds.mean() == pytest.approx(clearness, rel=1e-12)  # closed form
    assert (np.diff(kinds) > 0).all()
    assert kinds[0] > 0 and kinds[-1] < 0.86  # the formula's greatest daily clearness is 0.845


@LAWS
@pytest.mark.parametrize(("clearness", "held"), [(0.95, 0.80), (0.05, 0.10), (0.03, 0.10)])
def test_beyond_the_range_the_law_keeps_its_shape(tropical: bool, clearness: float, held: float) -> None:
    kinds, at_bound = (sun.clearness_of_kinds(k, tropical) for k in (clearness, held))
    np.testing.assert_allclose(kinds / clearness, at_bound / held, rtol=1e-12)  # definition


@LAWS
@pytest.mark.parametrize("spread", [0.03, 0.12, 0.20])
def test_a_known_spread_is_the_spread_of_the_kinds(tropical: bool, spread: float) -> None:
    plain, kinds = sun.clearness_of_kinds(0.55, tropical), sun.clearness_of_kinds(0.55, tropical, spread)
    assert (kinds.mean(), kinds.std()) == pytest.approx((0.55, spread), rel=0.02)  # definition
    assert kinds.mean() == pytest.approx(0.55, rel=1e-12)
    if plain.std() * 0.9 > spread:  # no bound is touched: closed form
        np.testing.assert_allclose(kinds, 0.55 + (plain - 0.55) * spread / plain.std(), rtol=1e-12)


def test_a_spread_that_no_month_has_ends_at_the_bounds() -> None:
    kinds = sun.clearness_of_kinds(0.40, False, 0.6)
    assert kinds.mean() == pytest.approx(0.40, rel=1e-12)
    np.testing.assert_allclose(kinds[:3] / kinds[0], 1.0, rtol=1e-12)  # all at the lower bound
    assert kinds[-1] <= (sun.greatest_clearness(0.40) + 0.03) * 1.1  # the upper one, but for the mean's sake


def test_kinds_of_day_are_spread_evenly_over_the_month() -> None:
    days = sun.kind_day_numbers(1)  # February: day numbers 32…59, so noon to noon 31.5…59.5
    np.testing.assert_allclose(sorted(days), 31.5 + 28 * (np.arange(10) + 0.5) / 10)
    assert days[0] == pytest.approx(31.5 + 28 * 0.35)  # kind 0: (3 + ½)/10


@pytest.mark.parametrize("latitude", [-38.0, -12.0, 0.0, 23.45, 40.0])
def test_monthly_irradiation_is_recovered_exactly(latitude: float) -> None:
    ghi = GHI if latitude < 0 else tuple(np.roll(GHI, 6))
    case = dataclasses.replace(
        SUN, latitude_deg=latitude, tropical=abs(latitude) < 24, ghi_kwh_m2_day=tuple(0.7 * g for g in ghi)
    )
    hourly = sun.hourly_ghi(case)
    np.testing.assert_allclose(hourly.sum(axis=2).mean(axis=1) / 1000, case.ghi_kwh_m2_day, rtol=1e-12)
    assert (hourly >= 0).all()
    assert (hourly[:, :, [0, 1, 2, 21, 22, 23]] == 0).all()  # no light at night, also on short winter days


def test_extraterrestrial_day() -> None:
    # Duffie & Beckman, example 1.10.1, 43°N 15 April: 33.8 MJ/m2 (from memory; Cooper's declination there).
    assert sun.extraterrestrial_kwh_m2_day(43.0, 105.0) * 3.6 == pytest.approx(33.8, rel=0.006)
    # Closed form: the sun sets at 90° everywhere on the day of zero declination, always on the equator.
    assert sun.sunset_rad(0.0, 172.0) == pytest.approx(math.pi / 2)


def test_sun_position() -> None:
    # Duffie & Beckman, example 1.6.2: 43°N, 9:30 solar, 13 February: zenith 66.5°, azimuth 40° east of south.
    zenith, azimuth = sun.sun_position_deg(43.0, 44.0, math.radians(-37.5))
    assert (zenith, azimuth) == pytest.approx((66.5, 140.0), abs=0.3)  # Spencer's declination, not Cooper's
    # Same, 18:30 solar, 1 July: zenith 79.6°.
    assert sun.sun_position_deg(43.0, 182.0, math.radians(97.5))[0] == pytest.approx(79.6, abs=0.1)


@pytest.mark.parametrize(("day_length_h", "ratio"), [(11, 0.1529), (12, 0.1417), (13, 0.1323)])
def test_noon_hour_ratio(day_length_h: float, ratio: float) -> None:
    # Collares-Pereira & Rabl 1979 evaluated independently, printed to four digits.
    assert sun.hour_ratio(0.0, math.radians(7.5 * day_length_h)) == pytest.approx(ratio, abs=0.00005)


def test_polar_night_is_dark_and_the_lit_days_of_a_month_make_it_up() -> None:
    case = dataclasses.replace(SUN, latitude_deg=70.0, tropical=False, ghi_kwh_m2_day=(0.02, *GHI[1:11], 0.0))
    ghi = sun.hourly_ghi(case)
    assert not ghi[11].any()  # closed form: tan 70° tan 23° > 1, no day of December has a sunrise
    lit = ghi[0].any(axis=1)
    assert 0 < lit.sum() < 10  # the sun comes back in the second half of January
    assert ghi[0].sum() / 10 / 1000 == pytest.approx(0.02, rel=1e-12)  # definition
    assert (ghi[5] > 0).all()  # June: it does not set


# Shares of a beta law by another way: the law's own density between its own quantiles, integrated.
@pytest.mark.parametrize(("mean", "deviation", "top"), [(0.5, 0.1, 0.86), (0.2, 0.15, 0.7), (0.8, 0.05, 0.88)])
def test_parts_of_a_beta_law(mean: float, deviation: float, top: float) -> None:
    x, v = mean / top, (deviation / top) ** 2
    size = x * (1 - x) / v - 1
    law = stats.beta(x * size, (1 - x) * size, scale=top)
    assert (law.mean(), law.std()) == pytest.approx((mean, deviation), rel=1e-12)
    edges = law.ppf(np.linspace(0, 1, 6))
    parts = [
        5 * integrate.quad(lambda k: k * law.pdf(k), low, high, epsabs=1e-12)[0]
        for low, high in itertools.pairwise(edges)
    ]
    np.testing.assert_allclose(sun.beta_parts(mean, deviation, top), parts, rtol=1e-7)


@pytest.mark.parametrize("mean", [0.001, 0.05, 0.5, 0.84, 0.869])
@pytest.mark.parametrize("deviation", [1e-3, 0.03, 0.2, 5.0])
def test_parts_of_a_beta_law_keep_its_mean_and_bounds(mean: float, deviation: float) -> None:
    parts = sun.beta_parts(mean, deviation, 0.88)
    assert parts.mean() == pytest.approx(mean, rel=1e-12)
    assert (np.diff(parts) >= -1e-12).all() and parts[0] >= 0 and parts[-1] <= 0.88 * (1 + 1e-9)


def test_a_beta_law_of_two_points() -> None:
    # As the deviation nears its bound all of the law is at its ends: shares 1 − x and x (limit).
    np.testing.assert_allclose(sun.beta_parts(0.44, 9.0, 0.88, 2), [0.0, 0.88], atol=0.02)


def test_skies_of_an_hour_by_hand() -> None:
    # K 0.45: 0.14 exp(−20 · 0.01) exp(16 · 0.45⁵ (1 − 0.5)) = 0.132856 (worked by hand from the published law).
    assert sun.spread_of_hour(0.45, 0.5) == pytest.approx(0.132856, abs=2e-6)
    assert sun.spread_of_hour(0.95, 0.5) == sun.spread_of_hour(0.9, 0.5)  # held at 0.9
    # Half past nine: 0.88 cos(π 2.5/30) = 0.850; clearness 400/800.
    skies = sun.skies_of_hour(400.0, 0.45, 800.0, 0.5, 9.5)
    np.testing.assert_allclose(skies / 800, sun.beta_parts(0.5, 0.132856, 0.850015), rtol=1e-4)
    # A mean above the clearest sky raises it by a hundredth.
    assert sun.skies_of_hour(790.0, 0.8, 800.0, 0.5, 9.5).max() <= 800 * (790 / 800 + 0.01)


def mean_day_kwh(light: np.ndarray) -> float:
    return float(light.sum()) / (sun.KINDS * sun.SKIES * 1000)


@pytest.mark.parametrize("share", [0.25, 0.40, 0.80, 1.0])
def test_a_known_diffuse_comes_back(share: float) -> None:
    case = dataclasses.replace(SUN, dhi_kwh_m2_day=tuple(share * g for g in GHI))
    means = sun.hourly_ghi(case)[6]
    light, plain = sun.month_light(case, 6, means), sun.month_light(SUN, 6, means)
    assert mean_day_kwh(light.ghi - light.beam) == pytest.approx(share * GHI[6], rel=1e-9)  # definition
    np.testing.assert_array_equal(light.ghi, plain.ghi)
    assert (light.beam <= 0.95 * light.ghi * (1 + 1e-12)).all()
    free = (plain.beam > 0) & (light.beam < 0.949 * light.ghi) & (share < 1)
    if share < 1:  # one factor for all that the bound does not hold
        factors = (light.beam[free] / plain.beam[free]).round(9)
        assert np.ptp(factors) <= 1e-8


def test_less_diffuse_than_can_be_is_the_least() -> None:
    case = dataclasses.replace(SUN, dhi_kwh_m2_day=(0.01,) * 12)
    light = sun.month_light(case, 6, sun.hourly_ghi(case)[6])
    lit = light.beam > 0
    np.testing.assert_allclose(light.beam[lit] / light.ghi[lit], 0.95, rtol=1e-12)


def test_level_modules_see_the_horizontal_irradiance() -> None:
    # Closed form: at tilt 0 beam and sky return to the horizontal whatever the split.
    case = dataclasses.replace(SUN, tilt_deg=0.0, gamma_per_k=0.0)
    np.testing.assert_allclose(sun.hourly_power(case).mean(axis=-1), sun.hourly_ghi(case) / 1000, rtol=1e-9)


def test_east_and_west_are_mirrored_and_the_equator_side_is_sunnier_in_winter() -> None:
    light, day = sun.month_light(SUN, 5, sun.hourly_ghi(SUN)[5]), sun.kind_day_numbers(5)[4]  # June, 12°S

    def plane(azimuth: float) -> np.ndarray:
        return sun.plane_irradiance(dataclasses.replace(SUN, azimuth_deg=azimuth), light, 4, day)

    np.testing.assert_allclose(plane(90.0), plane(270.0)[::-1], rtol=1e-9)
    assert plane(90.0)[8].mean() > plane(270.0)[8].mean()  # an eastern face has the morning sun
    assert plane(0.0).sum() > light.ghi[4].sum() > plane(180.0).sum()


def test_a_tracker_turns_with_the_sun() -> None:
    # Closed forms: flat under a sun in the meridian, square to a sun in the east or west, no steeper than 60°.
    assert sun.turned_plane_deg(30.0, 180.0)[0] == pytest.approx(0.0, abs=1e-9)
    assert sun.turned_plane_deg(45.0, 90.0) == pytest.approx((45.0, 90.0), abs=1e-9)
    assert sun.turned_plane_deg(80.0, 270.0) == pytest.approx((60.0, 270.0), abs=1e-9)
    fixed, turned = (sun.hourly_power(dataclasses.replace(SUN, tracking=yes)).sum() for yes in (False, True))
    assert 1.10 < turned / fixed < 1.30  # bracket of published comparisons, from memory


def test_temperature_curve() -> None:
    curve = sun.air_temperature_c(20.0, 10.0)
    assert curve.mean() == pytest.approx(20.0, abs=1e-12)  # closed form: harmonics sum to zero over 24 hours
    assert np.ptp(curve) == pytest.approx(10.0, rel=0.03)  # by definition of the range, at half hours
    assert 14 <= curve.argmax() <= 16 and 4 <= curve.argmin() <= 6


def test_power_of_one_hour_by_hand() -> None:
    case = dataclasses.replace(
        SUN, soiling=(0.03,) * 12, shade=(0.02,) * 12, other_losses=0.06, wiring_loss=0.02, gamma_per_k=-0.004
    )
    day = sun.kind_day_numbers(3)[7]
    light = sun.month_light(case, 3, sun.hourly_ghi(case)[3])
    plane = sun.plane_irradiance(case, light, 7, day)[11, 3]
    cell = sun.air_temperature_c(22.0, 10.0)[11] + plane / (25.0 + 6.84 * 2.0)  # Faiman 2008
    x = plane / 1000 * 0.97 * 0.98 * (1 - 0.004 * (cell - 25)) * 0.94
    assert sun.hourly_power(case)[3, 7, 11, 3] == pytest.approx(x * (1 - 0.02 * x), rel=1e-12)  # closed form
