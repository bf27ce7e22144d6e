"""The slow model of any set at a site: a pump with its pipes and cable, and the water of its days.

Written from the model's statement, in plain numpy, and used to judge the engine's choice. At a flow the head, the
speed and the power are explicit; the curve of a month has `KNOTS` flows between its two ends, and every step of the
month's days is looked up on it. Water, friction factor and sun are those of slow_model.py and slow_sun.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import pvlib
from numpy.typing import NDArray

from planner.catalogue.arrays import (
    HELICAL,
    SURFACE,
    Cables,
    Drives,
    Lives,
    Modules,
    Pipes,
    Prices,
    Pumps,
    Tanks,
)
from tests.reference.slow_model import (
    GRAVITY_M_S2,
    Case,
    Months,
    friction_factor,
    velocity_m_s,
    water_density_kg_m3,
    water_viscosity_pa_s,
)
from tests.reference.slow_sun import KINDS, SKIES, air_temperature_c, hourly_ghi, kind_day_numbers, month_light
from tests.reference.slow_sun import plane_irradiance as irradiance_of_kind

Floats = NDArray[np.float64]
Row = dict[str, float]  # one entry of the catalogue, by field

KNOTS = 150  # flows of a month's curve
PRIMING = 0.97  # availability of a surface pump's suction
WARM_C, WARM_PER_K = 30.0, 0.02  # a submersible motor in warmer water takes less


@dataclass(frozen=True)
class Site:
    """One well with its demand and its sun. Levels are metres below ground; names as in the engine's `Site`."""

    name: str
    sun: Case  # climate, tilt, azimuth, soiling and array losses; the rest of the case is not read
    rest_m: Months  # neighbours included
    rest_rule_m: float
    b_d_m2: float
    b_rule_d_m2: float
    c_d2_m5: float
    memory_d_m2: float
    share_rate_m3_h: float
    safe_volume_m3_day: float
    level_limit_m: float
    deepest_intake_m: float
    lift_m: float
    pipe_length_m: float
    casing_mm: float
    water_c: float
    sand_mg_l: float
    corrosive: bool
    elevation_m: float
    record_low_c: float
    demand_m3_day: Months  # design year, at the tank inlet
    low_sun: float
    growth: float
    road_km: float
    taps: float
    storage_share: float


@dataclass(frozen=True)
class Numbers:
    """The plan's numbers; the defaults are the plan's."""

    residual_m: float = 0.0
    velocity_riser_m_s: float = 2.0
    velocity_delivery_m_s: float = 1.5
    minor_k: float = 8.0
    cable_to_drive_m: float = 10.0
    cable_loss: float = 0.03
    hot_cell_c: float = 70.0
    ageing_year: float = 0.005
    availability: float = 0.99
    hdpe_max_m: float = 120.0
    water_temp_max_c: float = 40.0
    submergence_m: float = 2.0
    reliability_year: float = 0.95
    reliability_month: float = 0.90
    losses: float = 0.10
    horizon_y: int = 20
    design_year: int = 10
    discount_rate: float = 0.08
    contingency: float = 0.10
    tax: float = 0.0


class Stock(NamedTuple):
    """A small catalogue: the tables of `planner.catalogue.arrays` with few entries, drives whole."""

    pumps: Pumps
    drives: Drives
    modules: Modules
    risers: Pipes
    deliveries: Pipes
    cables: Cables
    tanks: Tanks
    prices: Prices
    lives: Lives


def entry(table: Any, place: int) -> Row:
    """One entry of a table of the catalogue, by field."""
    return {name: float(values[place]) for name, values in table._asdict().items()}


# ------------------------------------------------------------------------------------------------ sun


@lru_cache(maxsize=64)
def _plane_and_cell(sun: Case) -> tuple[tuple[Floats, Floats], ...]:
    """Irradiance of the modules' plane after dirt and shade (÷ 1000) and cell temperature, (10, 24, 5) a month."""
    means, found = hourly_ghi(sun), []
    for month in range(12):
        light = month_light(sun, month, means[month])
        plane = np.array([irradiance_of_kind(sun, light, k, day) for k, day in enumerate(kind_day_numbers(month))])
        air = air_temperature_c(sun.air_temperature_c[month], sun.daily_range_k[month])[None, :, None]
        cell = pvlib.temperature.faiman(plane, air, sun.wind_m_s[month], u0=25.0, u1=6.84)
        found.append((plane / 1000 * (1 - sun.soiling[month]) * (1 - sun.shade[month]), np.asarray(cell)))
    return tuple(found)


@lru_cache(maxsize=256)
def watts_per_wp(sun: Case, gamma_per_k: float) -> tuple[Floats, ...]:
    """Power at the drive's terminals of the lit steps of each month, W per Wp of new array, (10, steps)."""
    months = []
    for plane, cell in _plane_and_cell(sun):
        x = plane * (1 + gamma_per_k * (cell - 25)) * (1 - sun.other_losses)
        power = np.maximum(x * (1 - sun.wiring_loss * x), 0)
        lit = power.any(axis=(0, 2))
        months.append(np.ascontiguousarray(power[:, lit].reshape(KINDS, -1)))
    return tuple(months)


# ---------------------------------------------------------------------------------------- pipes, pump


@lru_cache(maxsize=512)
def _loss_table(inner_mm: float, roughness_mm: float, water_c: float, fastest_m_s: float) -> tuple[Floats, Floats]:
    """Flows (m3/h) up to a velocity and the friction there, m a metre of pipe."""
    flow = fastest_m_s * 1.02 / velocity_m_s(1.0, inner_mm) * np.linspace(0, 1, 2001)
    velocity = velocity_m_s(1.0, inner_mm) * flow
    reynolds = water_density_kg_m3(water_c) * velocity * inner_mm / 1000 / water_viscosity_pa_s(water_c)
    factor = np.array([0.0, *(friction_factor(re, roughness_mm / inner_mm) for re in reynolds[1:])])
    return flow, factor / (inner_mm / 1000) * velocity**2 / (2 * GRAVITY_M_S2)


@dataclass(frozen=True)
class Set:
    """A pump with its pipes and cable at a site; `intake_m` and `cable_ratio` are settled by `fit`."""

    site: Site
    numbers: Numbers
    pump: Row
    drive: Row
    riser: Row
    delivery: Row
    cable: Row
    intake_m: float = 0.0
    cable_ratio: float = 0.0  # R_cable ÷ R_winding
    cap_m3_h: float = 0.0

    @property
    def family(self) -> int:
        return int(self.pump["family"])

    @property
    def pascal_per_m(self) -> float:
        return water_density_kg_m3(self.site.water_c) * GRAVITY_M_S2

    @property
    def clip_w(self) -> float:
        """Most DC power that the drive takes."""
        warm = 0.0 if self.family == SURFACE else max(0.0, self.site.water_c - WARM_C)
        return self.pump["drive_rating_w"] * (1 - WARM_PER_K * warm)

    @property
    def availability(self) -> float:
        return self.numbers.availability * (PRIMING if self.family == SURFACE else 1.0)

    def drawdown_m(self, flow: Any, rule: bool = False) -> Any:
        q = 24 * flow
        return (self.site.b_rule_d_m2 if rule else self.site.b_d_m2) * q + self.site.c_d2_m5 * q**2

    def riser_m(self, flow: Any) -> Any:
        table = self.riser["inside_mm"], self.riser["roughness_mm"], self.site.water_c, self.numbers.velocity_riser_m_s
        return self.intake_m * np.interp(flow, *_loss_table(*table))

    def delivery_m(self, flow: Any) -> Any:
        pipe, fastest = self.delivery, self.numbers.velocity_delivery_m_s
        table = _loss_table(pipe["inside_mm"], pipe["roughness_mm"], self.site.water_c, fastest)
        return self.site.pipe_length_m * np.interp(flow, *table)

    def friction_m(self, flow: Any) -> Any:
        """Riser, fittings and delivery pipe."""
        v = velocity_m_s(1.0, self.riser["inside_mm"]) * flow
        fittings = self.numbers.minor_k * v**2 / (2 * GRAVITY_M_S2)
        return self.riser_m(flow) + fittings + self.delivery_m(flow)

    def head_m(self, level: Any, flow: Any, rule: bool = False) -> Any:
        """Total head; level: the water's before pumping."""
        lift = self.site.lift_m + self.numbers.residual_m
        return level + self.drawdown_m(flow, rule) + lift + self.friction_m(flow)

    def speed(self, flow: Any, head: Any, slip: float) -> Any:
        """Speed ratio that gives a flow at a head; slip ÷ that of the new pump."""
        p = self.pump
        if self.family == HELICAL:
            swept = p["displacement_cm3"] * 60e-6 * p["rated_speed_rpm"]
            return (flow + slip * p["slip_m3_h_pa"] * self.pascal_per_m * head) / swept
        squared = (head / p["head_at_best_m"] + 0.30 * (flow / p["best_flow_m3_h"]) ** 2) / 1.30
        return np.sqrt(np.maximum(squared, 1e-12))

    def shaft_w(self, flow: Any, head: Any, speed: Any) -> Any:
        p = self.pump
        if self.family == HELICAL:
            torque = p["displacement_cm3"] * 1e-6 * self.pascal_per_m * head / (2 * math.pi) + p["fit_friction_nm"]
            return torque * speed * self.rated_rad_s
        x = np.minimum(flow / (p["best_flow_m3_h"] * speed), 1.9)  # far beyond the end of any curve
        efficiency = 1 - (1 - p["best_efficiency"]) * speed**-0.1
        best = self.pascal_per_m * p["head_at_best_m"] * p["best_flow_m3_h"] / 3600 / efficiency
        return best * speed**3 * (1.30 - 0.30 * x**2) / (2 - x)

    @property
    def rated_rad_s(self) -> float:
        return 2 * math.pi * self.pump["rated_speed_rpm"] / 60

    def copper_w(self, torque_nm: Any) -> Any:
        p = self.pump
        t = torque_nm * self.rated_rad_s / p["motor_w"]
        return p["motor_w"] * p["copper_share"] * (1 + self.cable_ratio) * t**2

    def electrical_w(self, flow: Any, head: Any, speed: Any) -> Any:
        """DC power taken by the drive."""
        shaft = self.shaft_w(flow, head, speed)
        losses = self.copper_w(shaft / (speed * self.rated_rad_s)) + self.pump["motor_w"] * (
            self.pump["iron_share"] * speed**1.5
        )
        return (shaft + losses) / self.drive["efficiency"] + self.drive["standby_w"]

    def excess(self, flow: Any, level: Any, slip: float) -> Any:
        """The most binding of speed, drive and end of curve at a flow, less 1: not above 0 where the set can."""
        head = self.head_m(level, flow)
        speed = self.speed(flow, head, slip)
        worst = np.maximum(speed, self.electrical_w(flow, head, speed) / self.clip_w)
        if self.family != HELICAL:
            worst = np.maximum(worst, flow / (self.pump["best_flow_m3_h"] * speed) / self.pump["max_flow_ratio"])
        return worst - 1

    def start_w(self, level: Any, run_w: Any) -> Any:
        """Power to start: a helical rotor breaks away against a full riser."""
        if self.family != HELICAL:
            return run_w
        p = self.pump
        full = p["displacement_cm3"] * 1e-6 * self.pascal_per_m * (level + self.site.lift_m) / (2 * math.pi)
        torque = full + p["breakaway_ratio"] * p["fit_friction_nm"]
        turning = torque * 0.3 * p["min_speed_ratio"] * self.rated_rad_s
        power = (self.copper_w(torque) + turning) / self.drive["efficiency"] + self.drive["standby_w"]
        return np.maximum(run_w, power)


# -------------------------------------------------------------------------------------------- volumes


class Curve(NamedTuple):
    """Flow against power at a number of levels, (levels, KNOTS), and the power to start, (levels,)."""

    power_w: Floats
    flow_m3_h: Floats
    start_w: Floats


def curves(one: Set, levels: Floats, slip: float) -> Curve:
    """One row a level; a level at which the pump has no permitted speed has powers of infinity."""
    column, slowest = levels[:, None], one.pump["min_speed_ratio"]
    can = one.excess(np.zeros(levels.size), levels, slip) <= 0
    high = _end_of(lambda q: one.excess(q, column, slip) <= 0, np.full(levels.size, one.cap_m3_h))
    beyond = np.maximum(high, 1e-9) * 1.001
    low = _end_of(lambda q: one.speed(q, one.head_m(column, q), slip) < slowest, beyond)
    can &= low <= high
    flow = low[:, None] + np.linspace(0, 1, KNOTS) * np.maximum(high - low, 0)[:, None]
    head = one.head_m(levels[:, None], flow)
    power = one.electrical_w(flow, head, np.maximum(one.speed(flow, head, slip), slowest))
    power = np.maximum.accumulate(power, axis=1)
    return Curve(np.where(can[:, None], power, np.inf), flow, one.start_w(levels, power[:, 0]))


def _end_of(holds: Callable[[Floats], NDArray[np.bool_]], high: Floats) -> Floats:
    """The end of the stretch from 0, up to `high`, where a condition holds; 0 where it never does.

    The stretch is cut into 32 parts, six times over, for all levels at once.
    """
    first, width, rows = np.zeros(high.size), high.copy(), np.arange(high.size)
    for _ in range(6):
        cuts = first[:, None] + width[:, None] * np.linspace(0, 1, 33)
        good = np.logical_and.accumulate(holds(cuts), axis=1).sum(axis=1) - 1  # the last cut where it holds
        first = cuts[rows, np.maximum(good, 0)]
        width = np.where((good >= 0) & (good < 32), width / 32, 0.0)
    return first


class Water(NamedTuple):
    """Days of a number of arrays on one set."""

    kinds: Floats  # m3 pumpable on a day of each kind, (12, 10, arrays)
    hours: Floats  # running hours of the mean day, (12, arrays)


def water(one: Set, watts: list[tuple[Floats, ...]], array_w: Floats, demand: Months, slip: float) -> Water:
    """Water of the days of arrays; watts: per Wp, for each array that of its module.

    Earlier days lower the level by the month's mean volume, no more than the demand: v = min(V(v), D).
    """
    memory, count = one.site.memory_d_m2, array_w.size
    kinds, hours = np.zeros((12, KINDS, count)), np.zeros((12, count))
    curve = curves(one, np.array(one.site.rest_m) + memory * np.array(demand), slip)
    for m in range(12):
        for a in range(count):
            kinds[m, :, a], hours[m, a] = _day(curve, m, watts[a][m] * array_w[a], one.availability)
    if memory > 0:
        _settle(one, watts, array_w, np.array(demand), slip, kinds, hours)
    return Water(kinds, hours)


def _day(curve: Curve, row: int, watts: Floats, availability: float) -> tuple[Floats, float]:
    """Volumes of the kinds of day and running hours; hours between run and start count half."""
    if math.isinf(curve.power_w[row, 0]):
        return np.zeros(KINDS), 0.0
    flow = np.interp(watts, curve.power_w[row], curve.flow_m3_h[row], left=-1.0)
    weight = np.where(flow < 0, 0.0, np.where(watts < curve.start_w[row], 0.5, 1.0))
    return (flow * weight).sum(axis=1) / SKIES * availability, float(weight.sum()) / (KINDS * SKIES)


def _settle(
    one: Set,
    watts: list[tuple[Floats, ...]],
    array_w: Floats,
    demand: Floats,
    slip: float,
    kinds: Floats,
    hours: Floats,
) -> None:
    """Months and arrays that give less than the demand, all together by regula falsi (Illinois), to 0.01 %."""
    months, arrays = np.nonzero(kinds.mean(axis=1) < demand[:, None] * (1 - 1e-6))
    rest = np.array(one.site.rest_m)

    def spare(lifted: Floats, at: NDArray[np.int64]) -> Floats:
        """Pumpable less lifted, of the pairs `at`."""
        curve = curves(one, rest[months[at]] + one.site.memory_d_m2 * lifted[at], slip)
        for i, (m, a) in enumerate(zip(months[at], arrays[at], strict=True)):
            kinds[m, :, a], hours[m, a] = _day(curve, i, watts[a][m] * array_w[a], one.availability)
        return np.asarray(kinds[months[at], :, arrays[at]].mean(axis=1) - lifted[at])

    low, high, left = np.zeros(months.size), demand[months], np.arange(months.size)
    below = kinds[months, :, arrays].mean(axis=1) - high
    above = spare(low, left)
    left, last = left[above > 0], np.zeros(months.size)  # the others give nothing even at rest
    while left.size:
        there = high.copy()
        there[left] -= below[left] * (high - low)[left] / (below - above)[left]
        found = np.zeros(months.size)
        found[left] = spare(there, left)
        done = np.abs(found) <= 1e-4 * there
        up = found > 0
        halve = up == last  # the same side again
        last = up.astype(float)
        above = np.where(up, found, np.where(halve, above / 2, above))
        below = np.where(up, np.where(halve, below / 2, below), found)
        low, high = np.where(up, there, low), np.where(up, high, there)
        left = left[~done[left] & ((high - low)[left] > 1e-9)]
