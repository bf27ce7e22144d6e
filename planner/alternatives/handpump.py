"""Handpumps: what one on this borehole gives against depth, how many the demand would need, and what they cost.

One handpump stands on one borehole: the others need boreholes of their own. No tank, no pipes, no losses: their water
is at the tap. A working handpump that stands there is kept: nothing is bought now, and it is renewed at its life's end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.alternatives.powered import Way
from planner.alternatives.terms import Floats, Terms, Wanted, a_year, coverage, kept_first, present
from planner.glossary import monthly
from planner.physics.lifting import HANDPUMP_MOST_M3_H, handpump_flow_m3_h

SPOUT_M = 1.0  # outlet above ground


@dataclass(frozen=True)
class Handpumps:
    """Handpumps at n sites; NaN where a level is not known or too deep.

    level_m  pumping level of the driest month at the flow of an unhindered handpump
    deep     whether it takes a pump for deep wells
    day_m3   of one, at the tap
    one      one of them on this borehole
    all      as many as the demand needs; NaN where they are more than the plan allows
    needed   how many those are
    """

    level_m: Floats
    deep: NDArray[np.bool_]
    flow_m3_h: Floats
    day_m3: Floats
    one: Way
    all: Way
    needed: Floats


def level_m(sites: pd.DataFrame) -> Floats:
    """Pumping level of the driest month at the flow of an unhindered handpump, m below ground."""
    rest = sites[monthly("rest_level")].to_numpy(dtype="float64").max(axis=1)
    flow = 24.0 * HANDPUMP_MOST_M3_H
    b, c = (sites[name].to_numpy(dtype="float64") for name in ("drawdown_b_d_m2", "drawdown_c_d2_m5"))
    return np.asarray(rest + b * flow + np.nan_to_num(c) * flow**2)


def kept(sites: pd.DataFrame) -> NDArray[np.bool_]:
    """Where a working handpump stands."""
    return ((sites["equipped_with"] == "handpump") & (sites["status"] == "working")).to_numpy()


def handpumps(sites: pd.DataFrame, demand: Wanted, terms: Terms) -> Handpumps:
    """Yield, number and cost of handpumps at every site."""
    plan, losses = terms.plan.alternatives, float(terms.context.rules.losses)
    level = level_m(sites)
    in_reach = level <= max(plan.handpump_depth_m, plan.handpump_deep_m)
    deep = level > plan.handpump_depth_m
    with np.errstate(invalid="ignore"):
        flow = np.where(in_reach, handpump_flow_m3_h(level + SPOUT_M), np.nan)
    flow = np.where(in_reach, np.fmin(flow, sites["share_rate_m3_h"].to_numpy(dtype="float64")), np.nan)
    day = flow * plan.handpump_hours_day
    need = demand.months * (1.0 - losses)
    with np.errstate(invalid="ignore", divide="ignore"):
        wanted = np.ceil(need[1].max(axis=1) / day - 1e-9)
    wanted = np.where(np.isfinite(wanted), np.maximum(wanted, 1.0), np.nan)
    needed = np.where(wanted <= plan.handpumps_most, wanted, np.nan)
    stands = kept(sites)
    first, more = _cost_of_first(sites, deep, stands, terms), _cost_of_more(deep, terms)
    none = np.full(len(sites), np.nan)
    one = _way(np.minimum(need, day[None, :, None]), need[1], first, none, terms)
    several = np.minimum(need, (day * needed)[None, :, None])
    every = _way(several, need[1], first + (needed - 1.0) * more, none, terms)
    return Handpumps(level, deep, flow, day, one, every, wanted)


def _way(given: Floats, need: Floats, cost: Floats, none: Floats, terms: Terms) -> Way:
    share, covers = coverage(given[1], need, terms)
    return Way(share, covers, cost, present(a_year(given), terms.weights()), none)


def _cost_of_first(sites: pd.DataFrame, deep: NDArray[np.bool_], stands: NDArray[np.bool_], terms: Terms) -> Floats:
    """Life-cycle cost of a handpump on the borehole: bought, or kept where one works."""
    haul = terms.context.rules.km_worth * sites["road_km"].to_numpy(dtype="float64")
    new = _of_kind(deep, "worth", terms) + terms.worth("handpump_apron") + haul
    new = new + terms.first * terms.price("water_quality_test")
    upkeep = terms.annuity * terms.price("handpump_upkeep_year")
    return np.where(stands, _of_kind(deep, "kept", terms), new) + upkeep


def _cost_of_more(deep: NDArray[np.bool_], terms: Terms) -> Floats:
    """Life-cycle cost of a further one on a borehole of its own; the driller's way there is in the borehole's price."""
    cost = _of_kind(deep, "worth", terms) + terms.worth("handpump_apron") + terms.worth("handpump_borehole")
    cost = cost + terms.first * terms.price("water_quality_test")
    return np.asarray(cost + terms.annuity * terms.price("handpump_upkeep_year"))


def kept_worth(item: str, terms: Terms) -> float:
    """Life-cycle cost of a pump that stands and works: its renewals less what is left of the last."""
    life = terms.items[item].life_y
    later, left = kept_first(terms.rate, life, terms.plan.alternatives.handpump_left, terms.horizon_y)
    credit = left if terms.items[item].residual and terms.context.rules.residual else 0.0
    return terms.price(item) * (later - credit)


def _of_kind(deep: NDArray[np.bool_], what: str, terms: Terms) -> Floats:
    common, special = (
        float(terms.worth(item)) if what == "worth" else kept_worth(item, terms)
        for item in ("handpump_set", "handpump_deep_set")
    )
    return np.where(deep, special, common)
