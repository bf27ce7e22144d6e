"""Invented wells of the engine's test bed with what is not known of them."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.doubt.run import Bench, both_runs
from planner.doubt.site import QUARTILE, Doubts, doubt_of
from planner.engine.assess import Context, Sites
from planner.engine.drawn_set import make_cuts
from planner.engine.room import make_room
from planner.engine.site import Records
from tests.engine.bed import make_context, one_site, together

# Widths of nothing: every draw is the plain run.
CERTAIN: dict[str, Any] = {
    "rest_level_m": dict.fromkeys("ABCD", 0.0),
    "drawdown_factor": dict.fromkeys("ABCD", 1.0),
    "yield_factor": dict.fromkeys("ABCD", 1.0),
    "well_loss_range": (0.2, 0.2),
    "season_swing_range_m": (3.0, 3.0),
    "decline_half_width_m_year": 0.0,
    **dict.fromkeys(
        (
            "demand_common_factor",
            "demand_site_factor",
            "soiling_factor",
            "ageing_factor",
            "slip_factor",
            "life_factor",
            "upkeep_factor",
            "price_common_factor",
            "price_part_factor",
            "price_site_factor",
        ),
        1.0,
    ),
}
SWING_M = 3.0
FALL = 0.5 * (1.0 - np.cos(2.0 * np.pi * (np.arange(12) - 3.0) / 12.0))


def wells(certain: bool = False) -> Sites:
    """Three wells, shallow to deep, whose columns fit one another as those of the tables do."""
    found = []
    factor, half = (1.0, 0.0) if certain else (1.5, 2.0)
    for row, (rest_m, demand) in enumerate([(12.0, 6.0), (35.0, 14.0), (60.0, 9.0)], start=1):
        rule = rest_m + SWING_M + QUARTILE * half
        deepest = 2.0 * rest_m + 20.0
        rate = demand / 4.0 / factor**QUARTILE
        loss = 0.8 * 0.15 * rest_m / (24.0 * demand / 6.0)
        found.append(
            one_site(
                rest_m,
                demand,
                inventory_row=row,
                rest_level=tuple(rest_m + SWING_M * FALL),
                rest_level_rule_m=rule,
                drawdown_b_d_m2=loss,
                drawdown_b_rule_d_m2=loss * (1.0 if certain else 1.6),
                drawdown_c_d2_m5=0.25 * loss / (24.0 * demand / 6.0),
                memory_d_m2=0.2 * loss,
                share_rate_m3_h=rate,
                safe_volume_m3_day=10.0 * rate,
                deepest_intake_m=deepest,
                level_limit_m=rule + 2.0 / 3.0 * (deepest - 2.0 - rule),
                demand_growth=0.02,
                sand_mg_l=5.0,
            )
        )
    return together(found)


def doubts_of(sites: Sites, certain: bool = False, tested: bool = False, sun: float = 0.08) -> Doubts:
    """Widths of grade B, or none."""
    count = sites.inventory_row.size
    one = np.ones(count)
    return Doubts(
        inventory_row=sites.inventory_row,
        rest_half_width_m=one * (0.0 if certain else 2.0),
        drawdown_factor=one * (1.0 if certain else 2.0),
        yield_factor=one * (1.0 if certain else 1.5),
        sun_half_width=one * (0.0 if certain else sun),
        fall=np.tile(FALL, (count, 1)),
        fall_read=0.0 * one,
        loss_known=np.zeros(count, dtype=bool),
        test_flow_m3_d=100.0 * one,
        main_strike_m=np.nan * one,
        tested=np.full(count, tested),
    )


def outcomes(sites: Sites, doubts: Doubts, i: int, where: Context, drawn: Records) -> tuple[Records, Records]:
    """Both runs of a site, as the kernels leave them."""
    return both_runs(sites, doubts, i, where, drawn, Bench(where.skies(), make_room(where.market), make_cuts()))


__all__ = ["CERTAIN", "doubt_of", "doubts_of", "make_context", "outcomes", "wells"]
