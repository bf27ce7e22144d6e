"""The pump's curve and the system's, from the columns of a site and the catalogue, by the equations of the engine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL
from planner.catalogue.loader import Catalogue
from planner.physics.pipes import friction_head_m, minor_head_m
from planner.physics.pumps import (
    curve_head_m,
    curve_speed_ratio,
    helical_flow_m3_h,
    helical_slip_m3_h,
    helical_speed_rpm,
)
from planner.physics.water import GRAVITY_M_S2, density_kg_m3, kinematic_viscosity_m2_s
from planner.plan import Plan

Floats = NDArray[np.float64]
POINTS = 25
HIGHEST = 2.4  # end of a helical rotor's curve over the head of the duty point, by judgement


@dataclass(frozen=True)
class Curves:
    """Flows in m3/h, heads in m, in the design month."""

    static_m: float  # head at no flow
    friction: Friction  # what flow adds to it
    pump_flow: Floats  # of the pump's curve
    pump_head: Floats  # at rated speed
    slow_flow: Floats  # the pump at the speed of the duty point
    slow_head: Floats
    speed: float  # that speed over rated


class Friction:
    """Friction of a site's pipes and the rise of its drawdown."""

    def __init__(self, row: pd.Series, catalogue: Catalogue, plan: Plan) -> None:
        riser = catalogue.riser_ids.index(row["riser_id"])
        delivery = catalogue.delivery_ids.index(row["delivery_id"])
        self.riser_mm, self.riser_rough = _pipe(catalogue.risers, riser)
        self.delivery_mm, self.delivery_rough = _pipe(catalogue.deliveries, delivery)
        self.riser_m, self.delivery_m = float(row["intake_depth_m"]), float(row["delivery_m"])
        self.viscosity = float(kinematic_viscosity_m2_s(float(row["water_temperature_used_c"])))
        self.minor_k = plan.pipes.minor_loss_k
        self.b, self.c = float(row["drawdown_b_d_m2"]), float(row["drawdown_c_d2_m5"])

    def rise_m(self, flow: Floats) -> Floats:
        """What a flow adds to the static head: drawdown of a pumping day, riser, fittings and delivery pipe."""
        day = 24.0 * flow
        rise: Floats = (
            self.b * day
            + self.c * day * day
            + friction_head_m(flow, self.riser_m, self.riser_mm, self.riser_rough, self.viscosity)
            + minor_head_m(flow, self.riser_mm, self.minor_k)
            + friction_head_m(flow, self.delivery_m, self.delivery_mm, self.delivery_rough, self.viscosity)
        )
        return rise


def static_head_m(row: pd.Series, plan: Plan) -> float:
    """Head at no flow in the design month: level without the day's drawdown, lift, and what is left at the tank.

    The level holds what earlier days of pumping and the neighbours add.
    """
    day = 24.0 * float(row["peak_flow_m3_h"])
    drawdown = float(row["drawdown_b_d_m2"]) * day + float(row["drawdown_c_d2_m5"]) * day * day
    lift = float(row["tank_height_m"])
    if np.isnan(lift):
        lift = plan.pipes.stand_m + plan.pipes.tank_height_m
    return float(row["design_pumping_level_m"]) - drawdown + lift + plan.pipes.residual_pressure_m


def curves(row: pd.Series, catalogue: Catalogue, plan: Plan) -> Curves:
    """The curves of a site that has a design; row: its columns of sites.csv and those behind them."""
    at = catalogue.pump_ids.index(row["pump_id"])
    pump = {name: float(getattr(catalogue.pumps, name)[at]) for name in _NEEDED}
    peak, friction, static = float(row["peak_flow_m3_h"]), Friction(row, catalogue, plan), static_head_m(row, plan)
    head = static + friction.rise_m(np.array([peak]))[0]
    if pump["family"] == HELICAL:
        pascal = float(density_kg_m3(float(row["water_temperature_used_c"]))) * GRAVITY_M_S2
        slip = pump["slip_life_factor"] * pump["slip_m3_h_pa"]
        heads = np.linspace(0.0, HIGHEST * head, POINTS)
        leak = np.array([helical_slip_m3_h(one * pascal, slip, pump["slip_exponent"]) for one in heads])
        there = float(helical_slip_m3_h(head * pascal, slip, pump["slip_exponent"]))
        speed = float(helical_speed_rpm(peak + there, 0.0, pump["displacement_cm3"], 0.0)) / pump["rated_speed_rpm"]
        full, slow = (
            float(helical_flow_m3_h(ratio * pump["rated_speed_rpm"], 0.0, pump["displacement_cm3"], 0.0)) - leak
            for ratio in (1.0, speed)
        )
        return Curves(static, friction, full, heads, slow, heads, speed)
    form = (pump["head_0_m"], pump["head_1_m_h_m3"], pump["head_2_m_h2_m6"])
    speed = float(curve_speed_ratio(peak, head, *form))
    most = np.linspace(0.0, pump["max_flow_ratio"] * pump["best_flow_m3_h"], POINTS)
    return Curves(
        static,
        friction,
        most,
        np.asarray(curve_head_m(most, 1.0, *form)),
        most * speed,
        np.asarray(curve_head_m(most * speed, speed, *form)),
        speed,
    )


_NEEDED = (
    "family",
    "slip_life_factor",
    "slip_m3_h_pa",
    "slip_exponent",
    "displacement_cm3",
    "rated_speed_rpm",
    "head_0_m",
    "head_1_m_h_m3",
    "head_2_m_h2_m6",
    "max_flow_ratio",
    "best_flow_m3_h",
)


def _pipe(pipes: Any, place: int) -> tuple[float, float]:
    """Inside diameter and roughness, mm."""
    return float(pipes.inside_mm[place]), float(pipes.roughness_mm[place])
