"""A slow model of one solar pumped borehole: an hour at a time, one root search for each operating point.

It shares no code with the planner and exists to judge it. The year is 12 months × 10 kinds of day × 24 solar
hours × 5 skies; an hour is represented by its midpoint. Nothing is tabulated, interpolated or shared between hours.

Sun      see slow_sun.py
Well     Jacob 1947 (B Q + C Q²) about the rest level, neighbours and the memory of earlier pumping days.
Pipes    Darcy–Weisbach with Colebrook.
Pumps    helical rotor with leakage linear in pressure; centrifugal with a quadratic head curve and affinity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal, NamedTuple

import numpy as np
from scipy.optimize import brentq

from tests.reference.slow_sun import DAYS, KINDS, SKIES, hourly_power

__all__ = ["Case", "hourly_power", "monthly_volumes", "yearly_volume"]

GRAVITY_M_S2 = 9.80665
Months = tuple[float, ...]  # twelve numbers, January first
UNKNOWN: Months = (math.nan,) * 12


@dataclass(frozen=True)
class Case:
    """One site with one installed set: plain numbers, SI or the unit in the name. Fractions are 0…1."""

    # Sun
    latitude_deg: float  # north positive
    ghi_kwh_m2_day: Months  # horizontal irradiation of the mean day of each month
    air_temperature_c: Months
    wind_m_s: Months  # at the modules
    tilt_deg: float  # from the horizontal
    azimuth_deg: float  # direction the modules face, clockwise from north (180 = south)
    tropical: bool  # days by the law of the tropics
    tracking: bool = False  # turns about a level north–south axis; tilt and azimuth have no meaning then
    dhi_kwh_m2_day: Months = UNKNOWN  # diffuse part of the GHI
    clearness_spread: Months = UNKNOWN  # standard deviation of the daily clearness in the month
    albedo: float = 0.2
    daily_range_k: Months = (10.0,) * 12  # range of the mean temperature curve of a day
    # Array
    array_wp: float = 1000.0
    ageing_factor: float = 1.0  # multiplies the array's power
    gamma_per_k: float = -0.0034  # change of module power with cell temperature, from 25 °C
    soiling: Months = (0.0,) * 12  # share of the light lost to dust
    shade: Months = (0.0,) * 12  # share of the light lost to shade
    other_losses: float = 0.0  # mismatch, connections, nameplate: share of the power
    wiring_loss: float = 0.0  # DC cable: share lost at 1 W per Wp, proportional to the current
    # Well: level = rest + interference + memory V + B (24 q) + C (24 q)², metres below ground, q in m3/h
    rest_level_m: Months = (0.0,) * 12
    interference_m: float = 0.0  # drawdown by neighbours
    memory_m_per_m3_day: float = 0.0  # drawdown left by earlier days for each m3/d lifted
    drawdown_b_d_m2: float = 0.0
    drawdown_c_d2_m5: float = 0.0
    demand_m3_day: Months = (math.inf,) * 12  # no more than this is lifted when the memory term is settled
    # Pipes and head
    lift_m: float = 0.0  # tank inlet above ground at the wellhead
    residual_m: float = 0.0  # pressure wanted at the inlet
    water_temperature_c: float = 20.0  # 0…50
    intake_depth_m: float = 0.0  # length of the riser
    riser_inner_mm: float = 50.0
    riser_roughness_mm: float = 0.0015
    minor_loss_k: float = 0.0  # sum of K v²/2g at the riser's velocity
    delivery_length_m: float = 0.0
    delivery_inner_mm: float = 50.0
    delivery_roughness_mm: float = 0.0015
    # Motor, drive, cable
    family: Literal["helical", "centrifugal", "surface"] = "helical"
    rated_speed_rpm: float = 3000.0
    min_speed_ratio: float = 0.25  # of the rated speed
    rated_shaft_w: float = 1000.0
    k_copper: float = 0.0  # loss ∝ torque², share of the rated shaft power
    k_speed: float = 0.0  # loss ∝ speed^1.5, share of the rated shaft power
    cable_to_motor_resistance: float = 0.0  # motor cable ÷ motor winding
    drive_efficiency: float = 1.0
    standby_w: float = 0.0
    clip_w: float = math.inf  # the drive takes no more DC power than this
    flow_cap_m3_h: float = math.inf
    availability: float = 1.0  # multiplies the volumes
    # Helical rotor
    displacement_cm3: float = 0.0  # swept a turn
    slip_m3_h_bar: float = 0.0  # leakage of the new pump for each bar
    slip_factor: float = 1.0  # wear
    fit_torque_nm: float = 0.0
    start_fit_factor: float = 1.6  # friction at breakaway ÷ running
    # Centrifugal and surface, at rated speed
    best_flow_m3_h: float = 0.0
    best_head_m: float = 0.0  # of one stage
    stages: int = 1
    best_efficiency: float = 0.7
    max_flow_ratio: float = 1.4  # x_max = q / (q_b r)


# ---------------------------------------------------------------------------------------- water, head


@cache
def water_density_kg_m3(t_c: float) -> float:
    """Density of water, kg/m3, 0…100 °C (Kell 1975)."""
    above = 999.83952 + t_c * (
        16.945176 + t_c * (-7.9870401e-3 + t_c * (-46.170461e-6 + t_c * (105.56302e-9 - 280.54253e-12 * t_c)))
    )
    return above / (1 + 16.879850e-3 * t_c)


@cache
def water_viscosity_pa_s(t_c: float) -> float:
    """Dynamic viscosity of water, Pa s, 0…100 °C (Kestin, Sokolov & Wakeham 1978)."""
    d = 20 - t_c
    return float(1.002e-3 * 10 ** (d / (t_c + 96) * (1.2364 - 1.37e-3 * d + 5.7e-6 * d * d)))


def friction_factor(reynolds: float, roughness_ratio: float) -> float:
    """Darcy factor: 64/Re below Re 2000, Colebrook above 4000, linear in Re between the two ends."""
    if reynolds <= 2000:
        return 64 / reynolds
    if reynolds < 4000:
        share = (reynolds - 2000) / 2000
        return (1 - share) * 64 / 2000 + share * friction_factor(4000, roughness_ratio)
    wall, film = roughness_ratio / 3.7, 2.51 / reynolds
    root, step = 7.0, 1.0  # 1/√f, by Newton's method
    while abs(step) > 1e-10:
        inside = wall + film * root
        step = (root + 2 * math.log10(inside)) / (1 + 2 / math.log(10) * film / inside)
        root -= step
    return float(root**-2)


def pipe_loss_m(case: Case, flow_m3_h: float, length_m: float, inner_mm: float, roughness_mm: float) -> float:
    """Friction loss of one pipe, m (Darcy–Weisbach)."""
    if flow_m3_h <= 0 or length_m <= 0:
        return 0.0
    v, t = velocity_m_s(flow_m3_h, inner_mm), case.water_temperature_c
    reynolds = water_density_kg_m3(t) * v * inner_mm / 1000 / water_viscosity_pa_s(t)
    f = friction_factor(reynolds, roughness_mm / inner_mm)
    return f * length_m / (inner_mm / 1000) * v**2 / (2 * GRAVITY_M_S2)


def velocity_m_s(flow_m3_h: float, inner_mm: float) -> float:
    """Mean velocity in a pipe."""
    return flow_m3_h / 3600 / (math.pi / 4 * (inner_mm / 1000) ** 2)


def head_m(case: Case, level_m: float, flow_m3_h: float) -> float:
    """Total head at a flow; level_m is the level below ground this day without pumping."""
    q = 24 * flow_m3_h
    level = level_m + case.drawdown_b_d_m2 * q + case.drawdown_c_d2_m5 * q**2
    riser = pipe_loss_m(case, flow_m3_h, case.intake_depth_m, case.riser_inner_mm, case.riser_roughness_mm)
    delivery = pipe_loss_m(case, flow_m3_h, case.delivery_length_m, case.delivery_inner_mm, case.delivery_roughness_mm)
    minor = case.minor_loss_k * velocity_m_s(flow_m3_h, case.riser_inner_mm) ** 2 / (2 * GRAVITY_M_S2)
    return level + case.lift_m + case.residual_m + riser + delivery + minor


def pressure_pa(case: Case, head: float) -> float:
    """Pressure of a head of this water."""
    return water_density_kg_m3(case.water_temperature_c) * GRAVITY_M_S2 * head


# ---------------------------------------------------------------------------------------------- pumps


class Point(NamedTuple):
    """One operating point."""

    speed_ratio: float  # of the rated speed
    flow_m3_h: float
    head_m: float
    shaft_w: float
    electrical_w: float  # DC power taken by the drive


class Window(NamedTuple):
    """The pump runs between two points; from standstill it needs power_start_w."""

    lowest: Point
    highest: Point
    power_start_w: float


def swept_m3_h(case: Case, r: float) -> float:
    """Flow of a helical rotor without leakage."""
    return case.displacement_cm3 * 1e-6 * case.rated_speed_rpm * r * 60


def slip_m3_h(case: Case, head: float) -> float:
    """Leakage past the rotor of the worn pump."""
    return case.slip_factor * case.slip_m3_h_bar * pressure_pa(case, head) / 1e5


def flow_at_speed(case: Case, level_m: float, r: float) -> float:
    """Flow (m3/h) at which the pump at speed ratio r and the pipework agree; 0 below the start of flow."""
    if case.family == "helical":
        swept = swept_m3_h(case, r)

        def excess(q: float) -> float:
            return swept - slip_m3_h(case, head_m(case, level_m, q)) - q

        most = swept
    else:
        top = case.stages * case.best_head_m

        def excess(q: float) -> float:
            return top * (1.30 * r**2 - 0.30 * (q / case.best_flow_m3_h) ** 2) - head_m(case, level_m, q)

        most = case.best_flow_m3_h * r * math.sqrt(1.30 / 0.30)
    return 0.0 if excess(0) <= 0 else float(brentq(excess, 0, most, xtol=1e-10))


def flow_start_speed(case: Case, level_m: float) -> float:
    """Speed ratio at which flow starts."""
    head = head_m(case, level_m, 0)
    if case.family == "helical":
        return slip_m3_h(case, head) / swept_m3_h(case, 1)
    return math.sqrt(max(head, 0) / (1.30 * case.stages * case.best_head_m))


def shaft_power_w(case: Case, r: float, flow: float, head: float) -> float:
    """Mechanical power into the pump end."""
    if case.family == "helical":
        torque = case.displacement_cm3 * 1e-6 * pressure_pa(case, head) / (2 * math.pi) + case.fit_torque_nm
        return torque * r * rated_rad_s(case)
    x = flow / (case.best_flow_m3_h * r)
    efficiency = 1 - (1 - case.best_efficiency) * r**-0.1  # smaller at low speed
    best_w = pressure_pa(case, case.stages * case.best_head_m) * case.best_flow_m3_h / 3600 / efficiency
    return float(best_w * r**3 * (1.30 - 0.30 * x**2) / (2 - x))


def rated_rad_s(case: Case) -> float:
    """Rated angular speed."""
    return 2 * math.pi * case.rated_speed_rpm / 60


def copper_w(case: Case, torque_nm: float) -> float:
    """Loss in motor winding and motor cable, ∝ torque²."""
    t = torque_nm * rated_rad_s(case) / case.rated_shaft_w
    return case.rated_shaft_w * case.k_copper * (1 + case.cable_to_motor_resistance) * t**2


def point_at_speed(case: Case, level_m: float, r: float) -> Point:
    """Everything at a given speed ratio."""
    flow = flow_at_speed(case, level_m, r)
    head = head_m(case, level_m, flow)
    shaft = shaft_power_w(case, r, flow, head)
    losses = copper_w(case, shaft / (r * rated_rad_s(case))) + case.rated_shaft_w * case.k_speed * r**1.5
    return Point(r, flow, head, shaft, (shaft + losses) / case.drive_efficiency + case.standby_w)


def running_window(case: Case, level_m: float) -> Window | None:
    """Lowest and highest running point of a day, or None if there is no permitted speed.

    Flow and q/r rise with speed, so the flow cap and x_max are highest speeds.
    """

    def beyond(r: float) -> float:
        """The more binding of flow ÷ cap and x ÷ x_max, less 1."""
        flow = flow_at_speed(case, level_m, r)
        x = flow / (case.best_flow_m3_h * r) / case.max_flow_ratio if case.family != "helical" else 0.0
        return max(flow / case.flow_cap_m3_h, x) - 1

    low = max(case.min_speed_ratio, flow_start_speed(case, level_m))
    if low > 1 or beyond(low) > 0:
        return None
    high = 1.0 if beyond(1.0) <= 0 else float(brentq(beyond, low, 1.0, xtol=1e-10))
    lowest, highest = point_at_speed(case, level_m, low), point_at_speed(case, level_m, high)
    return Window(lowest, highest, start_power_w(case, level_m, lowest.electrical_w))


def start_power_w(case: Case, level_m: float, run_w: float) -> float:
    """Power needed to start: a helical rotor breaks away against a full riser; others start as they run."""
    if case.family != "helical":
        return run_w
    hydraulic_nm = case.displacement_cm3 * 1e-6 * pressure_pa(case, level_m + case.lift_m) / (2 * math.pi)
    torque = hydraulic_nm + case.start_fit_factor * case.fit_torque_nm
    turning = torque * 0.3 * case.min_speed_ratio * rated_rad_s(case)
    return max(run_w, (copper_w(case, torque) + turning) / case.drive_efficiency + case.standby_w)


def operating_point(case: Case, level_m: float, window: Window | None, available_w: float) -> Point | None:
    """The point that draws the power available, or the highest point; None when the pump stands."""
    power = min(available_w, case.clip_w)
    if window is None or power < window.lowest.electrical_w:
        return None
    if power >= window.highest.electrical_w:
        return window.highest

    def surplus(r: float) -> float:
        return point_at_speed(case, level_m, r).electrical_w - power

    low, high = window.lowest.speed_ratio, window.highest.speed_ratio
    return point_at_speed(case, level_m, float(brentq(surplus, low, high, xtol=1e-8)))


# -------------------------------------------------------------------------------------------- volumes


def unpumped_level_m(case: Case, month: int, lifted_m3_day: float) -> float:
    """Level below ground before pumping, with neighbours and the memory of earlier days."""
    return case.rest_level_m[month] + case.interference_m + case.memory_m_per_m3_day * lifted_m3_day


def volume_m3_day(case: Case, level_m: float, available_w: np.ndarray) -> float:
    """Mean volume of the ten kinds of day and their skies; available_w is (10, 24, 5), W.

    A helical pump that could run but not start counts half: mornings wait, afternoons run on.
    """
    window, volume = running_window(case, level_m), 0.0
    for power in available_w.ravel():
        point = operating_point(case, level_m, window, float(power))
        if window is not None and point is not None:
            volume += point.flow_m3_h * (0.5 if power < window.power_start_w else 1.0)
    return volume / (KINDS * SKIES) * case.availability


def month_volume_m3_day(case: Case, month: int, available_w: np.ndarray) -> float:
    """Pumpable volume of the mean day of a month.

    The volume lifted, min(V, demand), lowers the level of the days after: v = min(V(v), demand). V falls with
    v, so there is one solution, at or below the demand; it is found to 0.01 %.
    """

    @cache
    def pumpable(lifted: float) -> float:
        return volume_m3_day(case, unpumped_level_m(case, month, lifted), available_w)

    if case.memory_m_per_m3_day == 0:
        return pumpable(0.0)
    most = min(case.demand_m3_day[month], pumpable(0.0))
    at_most = pumpable(most)
    if at_most >= most * (1 - 1e-4):
        return at_most
    lifted = brentq(lambda v: pumpable(v) - v, 0, most, xtol=1e-9, rtol=1e-4)
    return pumpable(float(lifted))


def monthly_volumes(case: Case) -> np.ndarray:
    """Pumpable volume of the mean day of each month, m3/d, shape (12,): the tank never fills."""
    available = hourly_power(case) * case.array_wp * case.ageing_factor
    return np.array([month_volume_m3_day(case, month, available[month]) for month in range(12)])


def yearly_volume(case: Case) -> float:
    """Pumpable volume of the year, m3: months weighted by their days."""
    return float(monthly_volumes(case) @ np.array(DAYS))
