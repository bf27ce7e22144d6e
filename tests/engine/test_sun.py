"""Sun to watts: monthly means come back, published tilted energy, the power-duration curve against its own steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.engine import sun
from planner.engine.volume import Light, above, mean_day
from planner.plan import Array
from tests.engine import bed

CLEAN = Array(soiling=(0.0,) * 12, other_losses=0.0, wiring_loss=0.0)


def climate(latitude: float, ghi: tuple[float, ...]) -> sun.Climate:
    return sun.Climate(latitude, ghi, (25.0,) * 12, (3.0,) * 12)


@given(st.floats(-55.0, 55.0), st.floats(0.03, 0.85))
def test_monthly_irradiation_comes_back(latitude: float, clearness: float) -> None:
    """Closed form: a flat array without temperature coefficient and losses sees the month's mean exactly, inside
    and outside the tropics, also where the clearness is beyond the range of the kinds of day."""
    days = np.arange(1.0, 366.0)
    outside = sun.sun_physics.daily_extraterrestrial_kwh_m2(latitude, days)
    month = [part.mean() for part in np.split(outside, np.cumsum(sun.DAYS)[:-1])]
    ghi = tuple(clearness * float(value) for value in month)
    power = sun.hourly_power(climate(latitude, ghi), np.array([0.0]), 180.0, np.array([0.0]), CLEAN)[0, 0]
    np.testing.assert_allclose(power.sum(axis=-1).mean(axis=-1), ghi, rtol=1e-12)
    assert (power >= 0).all()


def test_tilted_year_of_a_published_table() -> None:
    """NASA Surface meteorology and Solar Energy, 22-year table for 42.075° N 1.821° E (published): monthly
    horizontal and at 42° tilt, annual mean 4.53 kWh/m2/d. Its transposition is another one; ours is Hay & Davies
    over ten kinds of day. The year is held to 1 % (measured 0.1 %) and a month to 7 % (measured −6.2 % in January,
    when a tilted plane gains most from the beam, to +2.9 % in August)."""
    horizontal = (1.81, 2.77, 3.92, 4.66, 5.44, 6.28, 6.56, 5.67, 4.51, 2.96, 2.00, 1.56)
    tilted = (3.20, 4.07, 4.84, 4.78, 4.99, 5.46, 5.83, 5.59, 5.21, 4.10, 3.35, 2.95)
    power = sun.hourly_power(climate(42.075, horizontal), np.array([42.0]), 180.0, np.array([0.0]), CLEAN)[0, 0]
    found = power.sum(axis=-1).mean(axis=-1)
    assert found @ sun.DAYS / 365 == pytest.approx(4.53, rel=0.01)
    np.testing.assert_allclose(found, tilted, rtol=0.07)


def test_the_tilt_faces_the_equator() -> None:
    for latitude, azimuth in ((12.0, 180.0), (-12.0, 0.0)):
        assert sun.towards_equator_deg(latitude) == azimuth
        winter = 11 if latitude > 0 else 5
        flat, facing, away = (
            sun.hourly_power(climate(latitude, bed.GHI), np.array([tilt]), to, np.array([0.0]), CLEAN)[
                0, 0, winter
            ].sum()
            for tilt, to in ((0.0, azimuth), (20.0, azimuth), (20.0, 180.0 - azimuth))
        )
        assert facing > flat > away


def test_duration_is_exact_for_its_steps() -> None:
    """Direct sums over the hours of the ten kinds of day, for the curve and for a piecewise linear flow."""
    gamma = np.array([-0.0035])
    power = sun.hourly_power(climate(-12.0, bed.GHI), np.array([15.0]), 0.0, gamma, Array())[0, 0]
    curve = sun.duration(power)
    light = Light(curve.power[None], curve.hours[None], curve.energy[None])
    knots, flows = np.array([150.0, 300.0, 500.0, 650.0]), np.array([0.4, 1.0, 1.5, 1.6])
    for m in (0, 5, 8):
        steps = power[m].ravel() / 1.0
        for level in (0.05, 0.2, 0.55):
            hours, energy = above(light, 0, m, level)
            assert hours == pytest.approx((steps > level).sum() / 10, rel=1e-12)
            assert energy == pytest.approx(np.maximum(steps - level, 0).sum() / 10, rel=1e-12)
        watts = 800.0 * steps
        flow = np.where(watts >= knots[0], np.interp(watts, knots, flows), 0.0)
        volume, running = mean_day(light, 0, m, 800.0, knots, flows, 4, knots[0])
        assert volume == pytest.approx(flow.sum() / 10, rel=1e-9)
        assert running == pytest.approx((watts > knots[0]).sum() / 10, rel=1e-12)
        # Between running and starting power an hour counts half.
        late = np.where(watts < 400.0, 0.5, 1.0) * flow
        volume, _ = mean_day(light, 0, m, 800.0, knots, flows, 4, 400.0)
        assert volume == pytest.approx(late.sum() / 10, rel=1e-9)
