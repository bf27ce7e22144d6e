"""Evapotranspiration: limits and shapes; its check values stand in planner/data/checks.csv and tests/published."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.physics import evapotranspiration as et
from planner.physics.water import atmospheric_pressure_kpa, vapour_pressure_kpa


def reference(lowest_c: float, swing_k: float, solar: float, wind: float, drier_k: float = 0.0) -> float:
    """A mean day at 500 m under a clear sky of 30 MJ/m2."""
    highest_c, vapour = lowest_c + swing_k, et.saturation_pressure_kpa(lowest_c - drier_k)
    net = et.net_radiation_mj_m2(solar, et.net_longwave_mj_m2(highest_c, lowest_c, vapour, solar, 30.0))
    saturation = et.mean_saturation_pressure_kpa(highest_c, lowest_c)
    pressure = et.field_air_pressure_kpa(500.0)
    mean = lowest_c + swing_k / 2.0
    return float(et.reference_evapotranspiration_mm_day(net, 0.0, mean, wind, saturation, vapour, pressure))


def test_the_short_laws_agree_with_the_exact_ones() -> None:
    celsius, metres = np.arange(0.0, 51.0), np.linspace(0.0, 3000.0, 31)
    np.testing.assert_allclose(et.saturation_pressure_kpa(celsius), vapour_pressure_kpa(celsius), rtol=0.003)
    np.testing.assert_allclose(et.field_air_pressure_kpa(metres), atmospheric_pressure_kpa(metres), rtol=0.01)


def test_slope_is_the_derivative() -> None:
    celsius = np.arange(-10.0, 51.0)
    rise = et.saturation_pressure_kpa(celsius + 0.01) - et.saturation_pressure_kpa(celsius - 0.01)
    np.testing.assert_allclose(et.saturation_slope_kpa_k(celsius), rise / 0.02, rtol=5e-4)  # closed form, 4098 rounded


def test_wind_at_two_metres_is_itself() -> None:
    assert et.wind_at_2_m_m_s(3.0, 2.0) == pytest.approx(3.0, rel=1e-3)  # closed form: 4.87 = ln(67.8 × 2 − 5.42)


def test_without_radiation_and_dryness_nothing_evaporates() -> None:
    assert et.reference_evapotranspiration_mm_day(0.0, 0.0, 20.0, 2.0, 2.3, 2.3, 100.0) == 0.0  # closed form
    assert et.reference_evapotranspiration_mm_day(-5.0, 0.0, 0.0, 2.0, 0.6, 0.6, 100.0) == 0.0  # dew is not counted


def test_a_day_without_sun_has_a_clear_sky() -> None:
    dark = et.net_longwave_mj_m2(-10.0, -20.0, 0.1, 0.0, 0.0)
    assert dark == et.net_longwave_mj_m2(-10.0, -20.0, 0.1, 9.0, 8.0) > 0  # R_s / R_so is at most 1


def test_rain_is_served_continuously() -> None:
    # closed form: 0.8 × 75 − 25 = 35 = 0.6 × 75 − 10
    assert et.effective_rain_mm_month(75.0) == pytest.approx(35.0)
    assert et.effective_rain_mm_month(75.0 + 1e-9) == pytest.approx(35.0)
    rain = np.linspace(0.0, 600.0, 601)
    served = et.effective_rain_mm_month(rain)
    assert (np.diff(served) >= 0).all() and (served <= rain).all()
    rival = np.where(rain <= 250, rain * (125 - 0.2 * rain) / 125, 125 + 0.1 * rain)
    usual = (rain >= 20) & (rain <= 150)
    assert (served <= rival)[usual].all()  # the chosen law counts less rain than the USDA's: the safe side


def test_leaching_is_on_top() -> None:
    assert et.gross_irrigation_m3_ha_day(6.0, 0.6, 0.25) == pytest.approx(60 / 0.6 / 0.75)  # hand


@given(
    lowest_c=st.floats(0, 28),
    swing_k=st.floats(4, 20),
    solar=st.floats(10, 30),
    wind=st.floats(0.5, 6),
    more=st.floats(0.1, 5),
)
def test_sun_wind_and_dry_air_take_more(
    lowest_c: float, swing_k: float, solar: float, wind: float, more: float
) -> None:
    usual = reference(lowest_c, swing_k, solar, wind)
    assert 0.0 < usual < 20.0
    assert reference(lowest_c, swing_k, min(solar + more, 30.0), wind) >= usual
    assert reference(lowest_c, swing_k, solar, wind, drier_k=more) > usual * 0.98  # drier air also sends more heat out
