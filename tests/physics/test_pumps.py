"""Pumps, motors, cables: closed forms, inverses, and order of power from water to wire."""

from __future__ import annotations

import math

import numba
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.physics import cables, pumps


@given(flow=st.floats(0.0, 14.0), head=st.floats(1.0, 200.0))
def test_centrifugal_speed_is_the_inverse_of_head(flow: float, head: float) -> None:
    speed = pumps.centrifugal_speed_ratio(flow, head, 10.0, 120.0)
    assert pumps.centrifugal_head_m(flow, speed, 10.0, 120.0) == pytest.approx(head, rel=1e-9)


def test_affinity_laws() -> None:
    """50 to 40 Hz: flow 10 to 8, head 100 to 64, power 4 to 2.05 kW at constant efficiency (closed form)."""
    assert pumps.centrifugal_speed_ratio(8.0, 64.0, 10.0, 100.0) == pytest.approx(0.8)
    power = pumps.centrifugal_shaft_power_w(8.0, 0.8, 10.0, 4000.0, 0.6)
    efficiency = 1.0 - 0.4 * 0.8**-0.1
    assert power * efficiency / 0.6 == pytest.approx(2048.0)


def test_centrifugal_power_at_its_marks() -> None:
    """Shut-off 0.65, best flow 1, x = 1.4 about 1.19 of the power at best flow (closed form)."""
    marks = pumps.centrifugal_shaft_power_w(np.array([0.0, 10.0, 14.0]), 1.0, 10.0, 1000.0, 0.6)
    np.testing.assert_allclose(marks, [650.0, 1000.0, 1186.7], atol=0.05)
    assert pumps.centrifugal_shaft_power_w(0.0, 0.0, 10.0, 1000.0, 0.6) == 0.0
    assert pumps.centrifugal_shaft_power_w(20.0, 1.0, 10.0, 1000.0, 0.6) == math.inf


@given(x=st.floats(0.05, 1.4), speed=st.floats(0.5, 1.1), best=st.floats(0.25, 0.8))
def test_centrifugal_never_beats_its_best_efficiency_at_that_speed(x: float, speed: float, best: float) -> None:
    flow = 10.0 * x * speed
    head = pumps.centrifugal_head_m(flow, speed, 10.0, 60.0)
    best_power = pumps.hydraulic_power_w(10.0, 60.0, 1000.0) / best
    shaft = pumps.centrifugal_shaft_power_w(flow, speed, 10.0, best_power, best)
    water = pumps.hydraulic_power_w(flow, head, 1000.0)
    assert water <= shaft * max(1.0 - (1.0 - best) * speed**-0.1, 0.0) * (1.0 + 1e-9)


@given(flow=st.floats(0.0, 100.0), head=st.floats(0.0, 300.0), best=st.floats(0.5, 60.0), stages=st.floats(5.0, 250.0))
def test_the_general_curve_is_one_of_the_fitted_ones(flow: float, head: float, best: float, stages: float) -> None:
    """Closed form: 1.30 N h_b, 0, −0.30 N h_b / q_b²; the same speed to 1e-12."""
    curve = pumps.SHUT_OFF * stages, 0.0, -pumps.DROOP * stages / best**2
    speed = pumps.centrifugal_speed_ratio(flow, head, best, stages)
    assert pumps.curve_speed_ratio(flow, head, *curve) == pytest.approx(speed, rel=1e-12, abs=1e-12)
    assert pumps.curve_head_m(flow, speed, *curve) == pytest.approx(
        pumps.centrifugal_head_m(flow, speed, best, stages), rel=1e-9, abs=1e-9 * stages * (1 + speed**2)
    )


@given(x=st.floats(0.0, 1.0), r=st.floats(0.2, 1.2), first=st.floats(0.0, 0.5), second=st.floats(-0.2, 0.45))
def test_fitted_speed_is_the_inverse_of_head(x: float, r: float, first: float, second: float) -> None:
    """Closed form, wherever H = 90 (1 − first x − second x²) falls; never NaN, even where no speed will do."""
    second = max(second, -first / 2)
    curve = 90.0, -9.0 * first, -0.9 * second
    assert pumps.curve_speed_ratio(10 * x * r, pumps.curve_head_m(10 * x * r, r, *curve), *curve) == pytest.approx(r)
    for head in (-50.0, 0.0, 1e-300, 500.0):
        assert math.isfinite(pumps.curve_speed_ratio(300.0 * x, head, *curve))


def test_fitted_power_follows_the_affinity_laws_and_stops_at_the_end_of_its_points() -> None:
    """Closed form."""
    curve = 10.0, 1.3, 500.0, 400.0, -100.0, 20.0
    assert pumps.curve_shaft_power_w(8.0, 0.8, *curve) == pytest.approx(0.8**3 * 820.0)
    assert pumps.curve_shaft_power_w(30.0, 1.0, *curve) == pumps.curve_shaft_power_w(13.0, 1.0, *curve)
    assert pumps.curve_shaft_power_w(0.0, 0.0, *curve) == 0.0


@given(pressure=st.floats(0.0, 3e6), exponent=st.floats(0.5, 1.0))
def test_slip_of_any_exponent(pressure: float, exponent: float) -> None:
    slip = 0.2 / 2e6**exponent  # 0.2 m3/h at 20 bar
    found = pumps.helical_slip_m3_h(pressure, slip, exponent)
    assert found == pytest.approx(0.2 * (pressure / 2e6) ** exponent, abs=1e-12)
    assert pumps.helical_slip_m3_h(-1e5, slip, 0.7) == 0.0 and pumps.helical_slip_m3_h(-1e5, 1e-7, 1.0) < 0.0


@given(torque=st.floats(0.01, 20.0), rpm=st.floats(100.0, 3600.0), copper=st.floats(0.0, 0.3))
def test_torque_is_the_inverse_of_motor_input(torque: float, rpm: float, copper: float) -> None:
    motor = 1800.0, 6.0, 2900.0, copper, 0.08
    power = pumps.motor_input_w(torque, rpm, *motor, 0.0, 0.965, 12.0)
    assert pumps.motor_torque_nm(power, rpm, *motor, 0.965, 12.0) == pytest.approx(torque, rel=1e-9)
    assert pumps.motor_torque_nm(12.0, rpm, *motor, 0.965, 12.0) < 0.0


@given(flow=st.floats(0.0, 5.0), pressure=st.floats(0.0, 3e6), slip=st.floats(0.0, 1e-7))
def test_helical_speed_is_the_inverse_of_flow(flow: float, pressure: float, slip: float) -> None:
    speed = pumps.helical_speed_rpm(flow, pressure, 12.96, slip)
    assert pumps.helical_flow_m3_h(speed, pressure, 12.96, slip) == pytest.approx(flow, abs=1e-9)


def test_helical_shaft_power_exceeds_the_water_s_by_slip_and_fit() -> None:
    pressure, slip, fit = 6e5, 2e-7, 0.3
    speed = pumps.helical_speed_rpm(2.0, pressure, 12.96, slip)
    torque = pumps.helical_torque_nm(12.96, pressure, fit)
    omega = speed * 2 * math.pi / 60
    water = 2.0 / 3600.0 * pressure
    lost = slip * pressure / 3600.0 * pressure + fit * omega
    assert torque * omega == pytest.approx(water + lost)  # closed form


def test_helical_torque_at_twelve_bar() -> None:
    ideal = pumps.helical_torque_nm(20.0, 1.2e6, 0.0)
    assert ideal / 0.7 == pytest.approx(5.457, abs=5e-4)  # computed by hand: V Δp / 2π η


def test_motor_at_its_rating_has_its_rated_efficiency() -> None:
    """k_c + k_f = 1/η − 1, so at rated torque and speed the input is P/η/η_drive + standby (closed form)."""
    efficiency, split = 0.84, 0.6
    loss = 1.0 / efficiency - 1.0
    speed, power = 3000.0, 900.0
    torque = power / (speed * 2 * math.pi / 60)
    got = pumps.motor_input_w(torque, speed, power, torque, speed, split * loss, (1 - split) * loss, 0.0, 0.965, 12.0)
    assert got == pytest.approx(power / efficiency / 0.965 + 12.0)


@given(share=st.floats(0.0, 1.6), speed=st.floats(0.0, 1.1), cable=st.floats(0.0, 1.0))
def test_motor_takes_more_than_it_gives(share: float, speed: float, cable: float) -> None:
    arguments = (900.0, 2.8648, 3000.0, 0.1, 0.08)
    shaft = share * 2.8648 * speed * 3000.0 * 2 * math.pi / 60
    got = pumps.motor_input_w(share * 2.8648, speed * 3000.0, *arguments, cable, 0.965, 12.0)
    assert got >= shaft + 12.0
    assert got >= pumps.motor_input_w(share * 2.8648, speed * 3000.0, *arguments, 0.0, 0.965, 12.0)


def test_start_by_hand() -> None:
    torque = pumps.starting_torque_nm(10.0, 1e6, 0.5, 1.6)
    assert torque == pytest.approx(10.0 / (2 * math.pi) + 0.8)
    power = pumps.starting_power_w(torque, 900.0, 2.0, 0.1, 0.2, 750.0, 0.96, 10.0)
    by_hand = (900 * 0.1 * 1.2 * (torque / 2) ** 2 + torque * 0.3 * 750 * 2 * math.pi / 60) / 0.96 + 10
    assert power == pytest.approx(by_hand)  # closed form


def test_suction() -> None:
    heights = np.linspace(0.0, 3000.0, 31)
    assert (np.diff(pumps.npsh_available_m(heights, 25.0, 3.0, 0.5, 0.5)) < 0).all()
    assert pumps.npsh_required_m(0.0, 10.0, 3.0) == 2.0
    assert pumps.npsh_required_m(10.0, 10.0, 3.0) == 3.0


def test_cable_loss_is_the_same_seen_from_current_and_from_torque() -> None:
    """At rated torque, cable ratio × the motor's copper loss gives the same watts as I²R (closed form)."""
    power, copper, length, ohm_km, volts, factor = 1300.0, 0.12, 80.0, 4.95, 230.0, 0.85
    current = cables.motor_current_a(1600.0, volts, factor)
    ratio = cables.cable_ratio(current, length, ohm_km, power, copper)
    watts = 3.0 * current**2 * ohm_km * length / 1000.0
    assert ratio * copper * power == pytest.approx(watts)
    assert cables.cable_loss_share(current, length, ohm_km, volts, factor) * 1600.0 == pytest.approx(watts)


def test_equations_run_inside_a_compiled_kernel() -> None:
    @numba.njit
    def kernel(flow: float) -> float:
        speed = pumps.helical_speed_rpm(flow, 6e5, 12.96, 0.0)
        return float(speed + pumps.npsh_required_m(flow, 10.0, 3.0))

    assert kernel(2.3328) == pytest.approx(3002.0)
