"""The tank, the money and the string: closed forms and an independent library."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.physics import money, photovoltaic, storage


def test_tank_of_equal_patterns_is_none_and_of_opposite_is_all() -> None:
    day, night = np.r_[np.zeros(12), np.ones(12)], np.r_[np.ones(12), np.zeros(12)]
    assert storage.inside_day_share(day, day) == 0.0
    assert storage.inside_day_share(day, 5 * night) == pytest.approx(1.0)
    assert np.isnan(storage.inside_day_share(np.zeros(24), night))
    assert storage.inside_day_share(np.stack([day, night]), day).shape == (2,)


@given(
    st.lists(st.floats(0, 10), min_size=24, max_size=24),
    st.lists(st.floats(0, 10), min_size=24, max_size=24),
    st.integers(0, 23),
)
def test_tank_does_not_depend_on_where_the_day_begins(pumped: list[float], drawn: list[float], shift: int) -> None:
    pumped[0], drawn[0] = pumped[0] + 1, drawn[0] + 1
    first = storage.inside_day_share(pumped, drawn)
    assert 0.0 <= first <= 1.0 + 1e-12
    assert storage.inside_day_share(np.roll(pumped, shift), np.roll(drawn, shift)) == pytest.approx(first)


def test_tank_by_hand() -> None:
    ends, unmet = storage.daily_balance([12, 8, 0, 15, 4], 10, capacity_m3=5, start_m3=5)
    assert ends.tolist() == [5, 3, 0, 5, 0]  # by hand
    assert unmet.tolist() == [0, 0, 7, 0, 1]


@given(supply=st.lists(st.floats(0, 30), min_size=1, max_size=60), capacity=st.floats(0, 50))
def test_water_is_kept(supply: list[float], capacity: float) -> None:
    ends, unmet = storage.daily_balance(supply, 10.0, capacity, 0.0)
    lost = sum(supply) - (10.0 * len(supply) - unmet.sum()) - ends[-1]
    assert lost >= -1e-9
    assert (ends <= capacity).all() and (unmet >= 0).all() and (unmet <= 10.0).all()
    assert storage.daily_balance(supply, 10.0, capacity + 5.0, 0.0)[1].sum() <= unmet.sum() + 1e-9


@given(rate=st.floats(0.001, 0.3), years=st.integers(1, 40))
def test_annuities_against_an_independent_library(rate: float, years: int) -> None:
    assert money.annuity_factor(rate, years) == pytest.approx(-numpy_financial.pv(rate, years, 1.0), rel=1e-9)
    assert money.capital_recovery_factor(rate, years) == pytest.approx(-numpy_financial.pmt(rate, years, 1.0), rel=1e-9)
    assert money.discount_factor(rate, years) == pytest.approx(-numpy_financial.pv(rate, years, 0.0, 1.0))


def test_annuity_at_and_near_rate_zero() -> None:
    assert money.annuity_factor(0.0, 20) == 20.0
    assert money.annuity_factor(1e-9, 20.0) == pytest.approx(20.0, rel=1e-7)
    assert money.capital_recovery_factor(0.0, 20.0) == 0.05


def test_replacements_are_strictly_inside_the_horizon() -> None:
    assert money.replacement_factor(0.0, 10.0, 20.0) == 1.0  # year 10, not 20
    assert money.replacement_factor(0.0, 20.0, 20.0) == 0.0
    assert money.replacement_factor(0.0, 25.0, 20.0) == 0.0
    assert money.replacement_factor(0.0, 0.1, 1.0) == 9.0  # ten times 0.1 is not quite 1 in binary
    assert money.replacement_factor(0.0, 20.0 / 3.0, 20.0) == 2.0
    assert money.replacement_factor(0.08, math.inf, 20.0) == 0.0
    assert math.isnan(money.replacement_factor(0.08, 0.0, 20.0))
    assert money.replacement_factor(0.08, 7.5, 20.0) == pytest.approx(1.08**-7.5 + 1.08**-15.0)


def test_residual_by_hand() -> None:
    assert money.residual_factor(0.0, 8.0, 20.0) == pytest.approx(0.5)  # bought in year 16, half used
    assert money.residual_factor(0.0, 25.0, 20.0) == pytest.approx(0.2)
    assert money.residual_factor(0.08, 25.0, 20.0) == pytest.approx(0.2 * 1.08**-20)
    assert money.residual_factor(0.0, 10.0, 20.0) == pytest.approx(0.0, abs=1e-9)
    assert money.residual_factor(0.0, 20.0 / 3.0, 20.0) == pytest.approx(0.0, abs=1e-9)
    assert money.residual_factor(0.08, math.inf, 20.0) == pytest.approx(1.08**-20)


@given(life=st.floats(0.5, 60.0), horizon=st.integers(1, 40))
def test_years_bought_are_years_used_plus_years_left(life: float, horizon: int) -> None:
    """At rate 0 price × (1 + replacements − residual) pays for exactly the horizon (closed form)."""
    bought = 1.0 + money.replacement_factor(0.0, life, horizon)
    assert (bought - money.residual_factor(0.0, life, horizon)) * life == pytest.approx(horizon, rel=1e-6)


def test_strings_of_a_generic_module_and_drives() -> None:
    """330 Wp module (Vmp 36.0, Voc 43.2), 5 to 70 °C: by hand at −0.27 and −0.34 %/K."""
    windows = [(60, 180, 200), (160, 370, 410), (280, 750, 850), (330, 750, 800), (540, 850, 1000)]
    least = [photovoltaic.series_minimum(low, 36.0, -0.0034, 70.0) for low, _, _ in windows]
    most = [photovoltaic.series_maximum(top, high, 43.2, 36.0, -0.0027, -0.0034, 5.0) for _, high, top in windows]
    assert least == [2, 6, 10, 11, 18]
    assert most == [4, 9, 18, 17, 21]


def test_string_that_meets_its_limit_exactly() -> None:
    assert photovoltaic.series_minimum(0.3, 0.1, 0.0, 70.0) == 3.0
    assert photovoltaic.series_maximum(0.3, 1.0, 0.1, 0.1, 0.0, 0.0, 5.0) == 3.0
