"""The slow model against closed forms, published values and itself under changes that change nothing."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest

from tests.reference import slow_model as slow
from tests.reference import slow_sun as sun
from tests.reference.test_slow_sun import SUN

# No loss of any kind and a constant head of 60 m: electrical power = hydraulic power.
IDEAL = dataclasses.replace(
    SUN, rest_level_m=(60.0,) * 12, displacement_cm3=20.0, rated_speed_rpm=20_000.0, min_speed_ratio=1e-9
)
# Invented sets with every loss at work; the numbers only have to be ordinary.
REAL = dataclasses.replace(
    SUN,
    soiling=(0.03,) * 12,
    other_losses=0.06,
    wiring_loss=0.02,
    ageing_factor=0.95,
    availability=0.99,
    rest_level_m=(40.0,) * 12,
    drawdown_b_d_m2=0.1,
    drawdown_c_d2_m5=2e-4,
    lift_m=6.0,
    residual_m=1.0,
    intake_depth_m=70.0,
    riser_inner_mm=40.8,
    delivery_length_m=100.0,
    delivery_inner_mm=40.8,
    minor_loss_k=10.0,
    k_copper=0.1,
    k_speed=0.07,
    cable_to_motor_resistance=0.1,
    drive_efficiency=0.96,
    standby_w=12.0,
)
HELICAL = dataclasses.replace(
    REAL,
    displacement_cm3=20.0,
    slip_m3_h_bar=0.03,
    slip_factor=1.5,
    fit_torque_nm=1.0,
    rated_shaft_w=1100.0,
    flow_cap_m3_h=3.0,
    array_wp=1500.0,
)
CENTRIFUGAL = dataclasses.replace(
    REAL,
    family="centrifugal",
    min_speed_ratio=0.5,
    best_flow_m3_h=3.0,
    best_head_m=5.0,
    stages=16,
    best_efficiency=0.55,
    rated_shaft_w=1500.0,
    array_wp=3000.0,
)
BOTH = pytest.mark.parametrize("case", [HELICAL, CENTRIFUGAL], ids=["helical", "centrifugal"])


@pytest.fixture(scope="module")
def watts_per_wp() -> np.ndarray:
    return sun.hourly_power(SUN)


@pytest.fixture(scope="module")
def watts(watts_per_wp: np.ndarray) -> np.ndarray:
    """June's kinds of day and skies, W of a 1 kWp array."""
    return np.asarray(watts_per_wp[5] * 1000)


def hydraulic_w(case: slow.Case, flow_m3_h: float, head: float) -> float:
    return slow.pressure_pa(case, head) * flow_m3_h / 3600


# ---------------------------------------------------------------------------------------- water, head


def test_water() -> None:
    # IAPWS: 998.2 kg/m3 and 1.0035e-6 m2/s at 20 °C; 992.2 kg/m3 at 40 °C (the last from memory).
    assert slow.water_density_kg_m3(20.0) == pytest.approx(998.2, abs=0.05)
    assert slow.water_density_kg_m3(40.0) == pytest.approx(992.2, abs=0.05)
    assert slow.water_viscosity_pa_s(20.0) / slow.water_density_kg_m3(20.0) == pytest.approx(1.0035e-6, rel=1e-3)
    # Dynamic viscosity at 40 °C 0.6527 mPa s (from memory of the 1978 table).
    assert slow.water_viscosity_pa_s(40.0) == pytest.approx(0.6527e-3, rel=2e-4)


@pytest.mark.parametrize(
    ("reynolds", "roughness", "factor"),
    [  # Colebrook, independent library fluids 1.0
        (6e4, 0.0023, 0.026755),
        (1e5, 1e-4, 0.018514),
        (1e5, 0.0, 0.017990),
        (1e4, 1e-3, 0.032382),
        (1e6, 1e-3, 0.019943),
        (4e3, 0.01, 0.049082),
        (1e3, 0.01, 0.064),  # closed form 64/Re
        (3e3, 0.01, (0.032 + 0.049082) / 2),  # half way between the ends of the transition
    ],
)
def test_friction_factor(reynolds: float, roughness: float, factor: float) -> None:
    assert slow.friction_factor(reynolds, roughness) == pytest.approx(factor, abs=5e-6)


def test_pipe_and_minor_loss() -> None:
    # Independent library: 100 m of plastic pipe, 40.8 mm, 5 m3/h, 20 °C: 1.062 m/s, 3.06 m.
    assert slow.velocity_m_s(5.0, 40.8) == pytest.approx(1.062, abs=0.0005)
    assert slow.pipe_loss_m(SUN, 5.0, 100.0, 40.8, 0.0015) == pytest.approx(3.06, abs=0.005)
    # Closed form: K 2 at 1.5 m/s is 0.229 m.
    case = dataclasses.replace(SUN, minor_loss_k=2.0, riser_inner_mm=40.8)
    assert slow.head_m(case, 0.0, 5.0 * 1.5 / slow.velocity_m_s(5.0, 40.8)) == pytest.approx(0.229, abs=0.0005)


def test_step_drawdown() -> None:
    # Clark 1977 (Kruseman & de Ridder 1990, Table 14.1): steps in m3/d; B and C from memory of the solution.
    case = dataclasses.replace(SUN, drawdown_b_d_m2=3.26e-3, drawdown_c_d2_m5=1.45e-7)
    steps = [1306, 1693, 2423, 3261, 4094, 5019]
    drawdown = [slow.head_m(case, 0.0, q / 24) for q in steps]
    assert drawdown == pytest.approx([4.50, 5.93, 8.75, 12.17, 15.78, 20.01], abs=0.006)


# ---------------------------------------------------------------------------------------------- pumps


def test_helical_rotor_numbers() -> None:
    # Closed form 4 e D P: 12.96 cm3 at 3000 rpm sweeps 2.333 m3/h and takes 1.238 N m at 6 bar.
    case = dataclasses.replace(IDEAL, displacement_cm3=12.96, rated_speed_rpm=3000.0)
    assert slow.flow_at_speed(case, 60.0, 1.0) == pytest.approx(2.333, abs=0.0005)
    head = 6e5 / slow.pressure_pa(case, 1.0)
    torque = slow.shaft_power_w(case, 1.0, 2.333, head) / slow.rated_rad_s(case)
    assert torque == pytest.approx(1.238, abs=0.0005)


def test_lossless_pump_turns_all_energy_into_water(watts_per_wp: np.ndarray) -> None:
    # Closed form: no loss, constant head: V = E / (rho g H) in every month.
    energy_wh = watts_per_wp.mean(axis=3).sum(axis=2).mean(axis=1) * IDEAL.array_wp
    volumes = slow.monthly_volumes(IDEAL)
    np.testing.assert_allclose(volumes, energy_wh * 3600 / slow.pressure_pa(IDEAL, 60.0), rtol=1e-6)
    # Closed form: 2.724 Wh lift a cubic metre of 1000 kg/m3 by a metre; this water has 998.2 kg/m3.
    np.testing.assert_allclose(energy_wh / (volumes * 60.0), 2.724 * 0.9982, rtol=2e-4)


def test_cap_threshold_and_hysteresis_in_closed_form(watts: np.ndarray) -> None:
    cap, availability = 2.0, 0.9
    case = dataclasses.replace(
        IDEAL,
        rated_speed_rpm=3000.0,
        min_speed_ratio=0.3,
        flow_cap_m3_h=cap,
        availability=availability,
        standby_w=10.0,
        k_copper=0.5,
        rated_shaft_w=800.0,
    )
    # Torque is V dp / 2 pi at any speed, so the copper loss is a constant and power is linear in flow.
    torque = 20e-6 * slow.pressure_pa(case, 60.0) / (2 * math.pi)
    omega_rated = 2 * math.pi * 50.0
    constant = 10.0 + 800.0 * 0.5 * (torque * omega_rated / 800.0) ** 2
    per_m3_h = slow.pressure_pa(case, 60.0) / 3600
    run = constant + torque * 0.3 * omega_rated
    flow = np.where(watts < run, 0.0, np.minimum((watts - constant) / per_m3_h, cap))
    assert (flow == cap).any() and ((watts > 0) & (flow == 0)).any()
    expected = flow.sum() / 50 * availability
    assert slow.volume_m3_day(case, 60.0, watts) == pytest.approx(expected, rel=1e-6)

    # A fit that grips at standstill raises only the start; hours between the thresholds count half.
    gripping = dataclasses.replace(case, fit_torque_nm=1e-9, start_fit_factor=3e9)
    start_torque = torque + 3.0
    start = 10.0 + 400.0 * (start_torque * omega_rated / 800.0) ** 2 + start_torque * 0.3 * 0.3 * omega_rated
    assert slow.start_power_w(gripping, 60.0, run) == pytest.approx(start, rel=1e-6)
    between = (watts >= run) & (watts < start)
    assert between.any()
    halved = np.where(between, flow / 2, flow).sum() / 50 * availability
    assert slow.volume_m3_day(gripping, 60.0, watts) == pytest.approx(halved, rel=1e-6)


def test_slip_in_closed_form() -> None:
    # Constant head: slip is a constant flow, and flow starts where the swept flow equals it.
    case = dataclasses.replace(IDEAL, rated_speed_rpm=3000.0, slip_m3_h_bar=0.03, slip_factor=1.5)
    slip = 0.03 * 1.5 * slow.pressure_pa(case, 60.0) / 1e5
    assert slow.flow_at_speed(case, 60.0, 0.8) == pytest.approx(20e-6 * 3000 * 60 * 0.8 - slip, rel=1e-9)
    assert slow.flow_start_speed(case, 60.0) == pytest.approx(slip / (20e-6 * 3000 * 60), rel=1e-12)
    window = slow.running_window(case, 60.0)
    assert window is not None
    assert window.lowest.electrical_w == pytest.approx(hydraulic_w(case, slip, 60.0), rel=1e-9)


def test_centrifugal_pump_at_its_best_point_shut_off_and_runout() -> None:
    # Closed forms of the curve: H = N h_b, efficiency eta_b at q_b; shut-off 0.65 P_b, runout (x = 1.4) 1.19.
    case = dataclasses.replace(CENTRIFUGAL, intake_depth_m=0.0, delivery_length_m=0.0, minor_loss_k=0.0)
    assert slow.flow_at_speed(
        dataclasses.replace(case, lift_m=20.0, residual_m=0.0, drawdown_b_d_m2=0.0, drawdown_c_d2_m5=0.0),
        60.0,
        1.0,
    ) == pytest.approx(3.0)
    best = slow.shaft_power_w(case, 1.0, 3.0, 80.0)
    assert hydraulic_w(case, 3.0, 80.0) / best == pytest.approx(0.55, rel=1e-12)
    assert slow.shaft_power_w(case, 1.0, 0.0, 104.0) / best == pytest.approx(0.65, rel=1e-12)
    assert slow.shaft_power_w(case, 1.0, 4.2, 0.0) / best == pytest.approx(1.19, abs=0.005)
    # Half speed: cubes of affinity, and 1 − eta grows by 2^0.1.
    eta = 1 - 0.45 * 2**0.1
    assert slow.shaft_power_w(case, 0.5, 1.5, 20.0) / best == pytest.approx(0.125 * 0.55 / eta, rel=1e-12)


def test_centrifugal_pump_on_a_constant_head() -> None:
    case = dataclasses.replace(
        CENTRIFUGAL,
        intake_depth_m=0.0,
        delivery_length_m=0.0,
        minor_loss_k=0.0,
        residual_m=0.0,
        lift_m=0.0,
        drawdown_b_d_m2=0.0,
        drawdown_c_d2_m5=0.0,
    )
    for r in (0.75, 0.9, 1.0):  # closed form: x = q/q_b from the head curve
        x = math.sqrt((1.30 * r**2 - 50.0 / 80.0) / 0.30)
        assert slow.flow_at_speed(case, 50.0, r) == pytest.approx(3.0 * x, rel=1e-8)
    assert slow.flow_start_speed(case, 50.0) == pytest.approx(math.sqrt(50.0 / 104.0), rel=1e-12)
    # Runout: x = 1.4 r limits the speed to r where (1.30 − 0.30 · 1.96) r² = 50/80.
    window = slow.running_window(case, 50.0)
    assert window is not None
    assert window.highest.speed_ratio == pytest.approx(math.sqrt(0.625 / (1.30 - 0.30 * 1.96)), rel=1e-8)
    assert window.highest.flow_m3_h / window.highest.speed_ratio == pytest.approx(4.2, rel=1e-8)


@BOTH
def test_power_is_conserved_and_ordered(case: slow.Case) -> None:
    window = slow.running_window(case, 45.0)
    assert window is not None
    assert slow.operating_point(case, 45.0, window, window.lowest.electrical_w - 0.01) is None
    last = 0.0
    for available in np.linspace(window.lowest.electrical_w, 1.3 * window.highest.electrical_w, 25):
        point = slow.operating_point(case, 45.0, window, float(available))
        assert point is not None
        # By definition of the operating point: all power is used until a limit binds.
        assert point.electrical_w == pytest.approx(min(available, window.highest.electrical_w), abs=1e-3)
        hydraulic = hydraulic_w(case, point.flow_m3_h, point.head_m)
        assert hydraulic <= point.shaft_w <= point.electrical_w  # conservation of energy
        assert point.flow_m3_h >= last
        last = point.flow_m3_h
    assert last <= case.flow_cap_m3_h * (1 + 1e-9)


def test_limits_bind() -> None:
    window = slow.running_window(HELICAL, 45.0)
    assert window is not None and window.highest.flow_m3_h == pytest.approx(3.0, abs=1e-6)  # the cap
    clipped = dataclasses.replace(HELICAL, clip_w=500.0)
    point = slow.operating_point(clipped, 45.0, window, 5000.0)
    assert point is not None and point.electrical_w == pytest.approx(500.0, abs=1e-3)
    # A cap below the flow at the lowest speed, or a lift out of reach, leaves no permitted speed.
    assert slow.running_window(dataclasses.replace(HELICAL, flow_cap_m3_h=0.3), 45.0) is None
    assert slow.running_window(CENTRIFUGAL, 120.0) is None


# -------------------------------------------------------------------------------------------- volumes


def test_memory_of_earlier_days(watts: np.ndarray) -> None:
    watts = watts * 1.5
    base = slow.month_volume_m3_day(HELICAL, 5, watts)
    # Demand below the volume: the level falls by memory × demand (closed form).
    limited = dataclasses.replace(HELICAL, memory_m_per_m3_day=0.5, demand_m3_day=(8.0,) * 12)
    assert slow.month_volume_m3_day(limited, 5, watts) == slow.volume_m3_day(HELICAL, 44.0, watts) < base
    # Demand never met: the volume reproduces itself.
    free = dataclasses.replace(HELICAL, memory_m_per_m3_day=0.5)
    volume = slow.month_volume_m3_day(free, 5, watts)
    assert volume == pytest.approx(slow.volume_m3_day(HELICAL, 40.0 + 0.5 * volume, watts), rel=2e-4)


@BOTH
def test_same_water_for_the_same_physics(case: slow.Case, watts: np.ndarray) -> None:
    watts = watts * case.array_wp / 1000
    volume = slow.month_volume_m3_day(case, 5, watts)
    assert volume > 5.0
    # Neighbours' drawdown, rest level, lift and residual pressure are the same metres (start torque aside).
    moved = dataclasses.replace(case, interference_m=3.0, rest_level_m=(37.0,) * 12)
    assert slow.month_volume_m3_day(moved, 5, watts) == pytest.approx(volume, rel=1e-9)
    # More loss is never more water.
    worse: list[dict[str, Any]] = [
        dict(minor_loss_k=50.0),
        dict(riser_inner_mm=32.0),
        dict(k_copper=0.2),
        dict(drive_efficiency=0.9),
        dict(lift_m=16.0),
        dict(slip_factor=4.0, best_efficiency=0.5),
    ]
    for change in worse:
        assert slow.month_volume_m3_day(dataclasses.replace(case, **change), 5, watts) < volume


@BOTH
def test_a_year(case: slow.Case, monkeypatch: pytest.MonkeyPatch, watts_per_wp: np.ndarray) -> None:
    monkeypatch.setattr(slow, "hourly_power", lambda _: watts_per_wp)
    volumes = slow.monthly_volumes(case)
    assert volumes.shape == (12,)
    # Plausibility: m4 a day for each kWp (V × H), common range of working sets 300…1100.
    duty = volumes * 50.0 / (case.array_wp / 1000)
    assert (duty > 300).all() and (duty < 1100).all()
    # Closed form: months weighted by their days, proportional to availability.
    half = dataclasses.replace(case, availability=case.availability / 2)
    days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    assert slow.yearly_volume(half) == pytest.approx(float(volumes @ days) / 2, rel=1e-9)


def test_a_surface_pump_is_a_centrifugal_pump_here() -> None:
    # By definition: suction is a rule, not a volume.
    surface = dataclasses.replace(CENTRIFUGAL, family="surface")
    assert slow.running_window(surface, 45.0) == slow.running_window(CENTRIFUGAL, 45.0)
