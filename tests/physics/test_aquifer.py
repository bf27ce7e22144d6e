"""Theis against scipy and an independent solver, its inverse, memory against superposition, classes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import exp1

from planner.physics import aquifer


@pytest.mark.parametrize("u", [1e-8, 1e-3, 0.5, 5.0])
def test_well_function_is_the_integral_that_theis_wrote(u: float) -> None:
    integral, _ = quad(lambda x: math.exp(-math.exp(x)), math.log(u), math.log(60.0 + u), epsabs=1e-13)
    assert aquifer.well_function(u) == pytest.approx(integral, rel=1e-9)  # ∫ exp(−y)/y dy with y = exp(x)


@pytest.mark.slow
def test_theis_against_an_independent_solver() -> None:
    ttim = pytest.importorskip("ttim")  # compiles for ten seconds
    model = ttim.ModelMaq(kaq=[10.0], z=[0.0, -10.0], Saq=[1e-4], tmin=0.01, tmax=10.0)
    ttim.Well(model, xw=0.0, yw=0.0, rw=0.1, tsandQ=[(0.0, 500.0)], layers=0)
    model.solve(silent=True)
    time = np.array([0.1, 0.5, 1.0, 5.0])
    theirs = -model.head(50.0, 0.0, time)[0]
    ours = aquifer.theis_drawdown_m(500.0, 100.0, 1e-3, 50.0, time)
    np.testing.assert_allclose(ours, theirs, rtol=1e-3)  # independent library; its well has a radius


def test_largest_u() -> None:
    assert brentq(lambda u: exp1(u) - math.exp(-u), 0.1, 1.0, xtol=1e-15) == pytest.approx(aquifer.LARGEST_U, rel=1e-12)


@given(
    log_t=st.floats(-2.0, 4.0),
    log_s=st.floats(-5.0, -1.0),
    radius=st.floats(0.05, 0.2),
    hours=st.floats(1.0, 72.0),
    flow=st.floats(5.0, 2000.0),
)
def test_inverse_gives_back_the_transmissivity(
    log_t: float, log_s: float, radius: float, hours: float, flow: float
) -> None:
    transmissivity, storativity = 10.0**log_t, 10.0**log_s
    drawdown = aquifer.theis_drawdown_m(flow, transmissivity, storativity, radius, hours / 24.0)
    if radius**2 * storativity / (4.0 * transmissivity * hours / 24.0) >= aquifer.LARGEST_U:
        return  # the smaller of two solutions: the inverse gives the larger
    back = aquifer.transmissivity_from_test(flow, drawdown, radius, storativity, hours / 24.0)
    assert back == pytest.approx(transmissivity, rel=1e-9)


def test_inverse_is_missing_where_it_must_be() -> None:
    flow = np.array([100.0, 100.0, 0.0, np.nan, 100.0, 100.0])
    drawdown = np.array([np.nan, 0.0, 5.0, 5.0, -1.0, 1e9])
    assert np.isnan(aquifer.transmissivity_from_test(flow, drawdown, 0.1, 1e-3, 1.0)).all()


def test_inverse_falls_with_drawdown() -> None:
    drawdown = np.linspace(0.5, 60.0, 200)
    assert (np.diff(aquifer.transmissivity_from_test(50.0, drawdown, 0.08, 1e-3, 0.25)) < 0).all()


@pytest.mark.parametrize("days", [2, 30, 180, 365])
@pytest.mark.parametrize("hours", [4.0, 8.0, 12.0])
def test_memory_is_what_superposition_leaves(days: int, hours: float) -> None:
    """Day N against day 1, both at the end of pumping; late-time Theis at the well face."""
    share = hours / 24.0
    case = {"transmissivity_m2_d": 10.0, "storativity": 1e-3, "radius_m": 0.1, "hours_per_day": hours}
    last = aquifer.intermittent_drawdown_m(48.0, **case, time_d=days - 1 + share)
    first = aquifer.intermittent_drawdown_m(48.0, **case, time_d=share)
    memory = aquifer.memory_coefficient_d_m2(10.0, days, share) * 48.0 * share
    assert memory == pytest.approx(last - first, abs=0.001)


def test_memory_of_many_days_is_the_logarithm() -> None:
    share = 8.0 / 24.0
    rise = aquifer.memory_coefficient_d_m2(1.0 / (4.0 * math.pi), 180, share)
    assert rise == pytest.approx(math.log(180.0) - math.lgamma(1.0 + share) / share, abs=0.003)  # closed form
    assert aquifer.memory_coefficient_d_m2(10.0, 1, share) == pytest.approx(0.0, abs=1e-12)


def test_intermittent_before_restart_and_continuous() -> None:
    """By a second implementation: 0.155, 0.550, 0.867 m before restart; a third all day 1.722 … 2.613 m."""
    for day, before, steady in ((1, 0.155, 1.722), (30, 0.550, 2.292), (365, 0.867, 2.613)):
        assert aquifer.intermittent_drawdown_m(48.0, 10.0, 1e-3, 0.1, 8.0, day) == pytest.approx(before, abs=6e-4)
        at = day - 1 + 8 / 24
        assert aquifer.intermittent_drawdown_m(16.0, 10.0, 1e-3, 0.1, 24.0, at) == pytest.approx(
            float(aquifer.theis_drawdown_m(16.0, 10.0, 1e-3, 0.1, at)), abs=1e-9
        )
        assert aquifer.theis_drawdown_m(16.0, 10.0, 1e-3, 0.1, at) == pytest.approx(steady, abs=0.03)


def test_day_loss_goes_both_ways_and_has_a_floor() -> None:
    assert aquifer.day_loss_d_m2(0.05, 10.0, 1.0, 8.0) > 0.05 > aquifer.day_loss_d_m2(0.05, 10.0, 24.0, 8.0)
    assert aquifer.day_loss_d_m2(0.05, 10.0, 8.0, 8.0) == 0.05
    assert aquifer.day_loss_d_m2(0.01, 0.5, 72.0, 8.0) == pytest.approx(0.0005)


@given(
    depth=st.floats(1.0, 200.0),
    rest=st.floats(0.0, 100.0),
    linear=st.floats(0.0, 1.0),
    square=st.floats(0.0, 1e-2),
)
def test_flow_at_level_is_the_root(depth: float, rest: float, linear: float, square: float) -> None:
    flow = 24.0 * aquifer.flow_at_level_m3_h(rest + depth, rest, linear, square)
    if math.isfinite(flow) and flow < 1e8:
        assert linear * flow + square * flow**2 == pytest.approx((rest + depth) - rest, rel=1e-9)


def test_flow_at_level_ends() -> None:
    assert aquifer.flow_at_level_m3_h(20.0, 20.0, 0.01, 0.0) == 0.0
    assert aquifer.flow_at_level_m3_h(10.0, 20.0, 0.01, 1e-4) == 0.0
    assert aquifer.flow_at_level_m3_h(30.0, 20.0, 0.0, 0.0) == math.inf
    assert aquifer.flow_at_level_m3_h(30.0, 20.0, 0.01, 0.0) == pytest.approx(1000.0 / 24.0)
    assert math.isnan(aquifer.flow_at_level_m3_h(math.nan, 20.0, 0.01, 0.0))


def test_classes_at_their_bounds() -> None:
    yields = [0.0, 0.1, 0.49, 0.5, 1.0, 5.0, 20.0, 20.1, math.nan]
    assert aquifer.productivity_class(yields).tolist() == ["VL", "L", "L", "LM", "M", "H", "H", "VH", ""]
    depths = [0.0, 7.0, 25.0, 50.0, 100.0, 250.0, 251.0, math.nan]
    assert aquifer.depth_class(depths).tolist() == ["VS", "S", "SM", "M", "D", "D", "VD", ""]
