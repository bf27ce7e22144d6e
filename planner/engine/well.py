"""The well before any pump is known: its safe rate, the levels it is judged at, drawdown and intake."""

from __future__ import annotations

import math
from typing import NamedTuple

from planner.engine.site import Record
from planner.physics.aquifer import flow_at_level_m3_h
from planner.physics.equation import kernel
from planner.physics.water import density_kg_m3, kinematic_viscosity_m2_s

SURFACE_SUBMERGENCE_M = 1.0  # common practice
# Which limit of the well binds the safe rate.
LIMITS = ("tested_share", "level", "screen", "suction")


class Well(NamedTuple):
    """Planning limits of the well, before any pump is known."""

    safe_m3_h: float
    limit: int  # index of LIMITS
    deepest_m: float  # planning rest level with the memory of earlier days
    highest_m: float  # median rest level of the shallowest month, likewise
    density_kg_m3: float
    viscosity_m2_s: float


@kernel
def well_limits(site: Record) -> Well:
    """Safe rate of the well and the levels it is judged at."""
    density = density_kg_m3(site.water_c)
    viscosity = kinematic_viscosity_m2_s(site.water_c)
    lifted = min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    # P75 of the aquifer loss goes with the memory term: both are 1/transmissivity.
    memory_rule = site.memory_d_m2 * (site.b_rule_d_m2 / site.b_d_m2 if site.b_d_m2 > 0 else 1.0)
    deepest = site.rest_rule_m + memory_rule * lifted
    highest = site.rest_m.min() + site.memory_d_m2 * lifted
    by_level = flow_at_level_m3_h(site.level_limit_m, deepest, site.b_rule_d_m2, site.c_d2_m5)
    if by_level < site.share_rate_m3_h:
        return Well(by_level, 2 if site.level_is_screen else 1, deepest, highest, density, viscosity)
    return Well(site.share_rate_m3_h, 0, deepest, highest, density, viscosity)


@kernel
def drawdown_m(site: Record, flow_m3_h: float, rule: bool) -> float:
    """Drawdown of a pumping day at a flow, median or planning (P75)."""
    day = 24.0 * flow_m3_h
    return (site.b_rule_d_m2 if rule else site.b_d_m2) * day + site.c_d2_m5 * day * day


@kernel
def intake_depth_m(site: Record, well: Well, flow: float, surface: bool) -> float:
    """Intake for a flow at the planning level: submergence below, whole metres, at most the deepest place."""
    submergence = SURFACE_SUBMERGENCE_M if surface else site.submergence_m
    wanted = math.ceil(well.deepest_m + drawdown_m(site, flow, True) + submergence - 1e-9)
    return min(max(wanted, 1.0), site.deepest_intake_m)
