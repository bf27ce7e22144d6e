"""What is not known of sites: columns beside `engine.assess.Sites`, one site of them with its central values."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.assess import Sites
from planner.engine.drawn import Ground
from planner.engine.site import Record, record
from planner.plan import Plan

Floats = NDArray[np.float64]

# Planning values are quartiles of the same law whose P10–P90 half-width the plan gives (as in tables.wells).
QUARTILE = NormalDist().inv_cdf(0.75) / NormalDist().inv_cdf(0.90)


@dataclass(frozen=True)
class Doubts:
    """Columns of the sites that are drawn: (n,), `fall` (n, 12). Half-widths and factors are P10 to P90."""

    inventory_row: NDArray[np.int64]
    rest_half_width_m: Floats
    drawdown_factor: Floats
    yield_factor: Floats
    sun_half_width: Floats  # share
    fall: Floats  # share of the season's swing by which the rest level lies below its highest, January first
    fall_read: Floats  # the same when the rest level was read
    loss_known: NDArray[np.bool_]  # the inventory has the well loss itself
    test_flow_m3_d: Floats
    main_strike_m: Floats  # NaN unknown
    tested: NDArray[np.bool_]  # grade A: nothing more to learn from a test; its ranges are those of commit


class Doubt(NamedTuple):
    """One site's widths and the central values that they lie about."""

    rest_half_width_m: float
    drawdown_factor: float
    yield_factor: float
    sun_half_width: float
    loss_known: bool
    loss_share: float
    swing_m: float
    decline_m_year: float
    soiling: float  # share of light lost, mean of the year


def doubt_of(doubts: Doubts, i: int, plan: Plan) -> Doubt:
    """Site i of the columns."""
    return Doubt(
        float(doubts.rest_half_width_m[i]),
        float(doubts.drawdown_factor[i]),
        float(doubts.yield_factor[i]),
        float(doubts.sun_half_width[i]),
        bool(doubts.loss_known[i]),
        plan.well.well_loss_share,
        plan.well.season_swing_m,
        plan.well.decline_m_year,
        float(np.mean(plan.array.soiling)),
    )


def ground_of(sites: Sites, doubts: Doubts, i: int, plan: Plan) -> Record:
    """The record that a draw of site i needs beside the site's own (`engine.drawn.Ground`)."""
    return record(
        Ground(
            fall=np.ascontiguousarray(doubts.fall[i]),
            fall_read=float(doubts.fall_read[i]),
            swing_m=plan.well.season_swing_m,
            decline_m_year=plan.well.decline_m_year,
            rest_margin_m=float(QUARTILE * doubts.rest_half_width_m[i]),
            rate_margin=float(doubts.yield_factor[i] ** QUARTILE),
            loss_share=plan.well.well_loss_share,
            test_flow_m3_d=float(doubts.test_flow_m3_d[i]),
            main_strike_m=float(doubts.main_strike_m[i]),
            available_share=plan.well.available_share,
            interference_m=float(sites.interference_m[i]),
        )
    )
