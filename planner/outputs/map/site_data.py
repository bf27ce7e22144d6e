"""The sites as packed columns of the page, rounded as they are shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.errors import InternalError
from planner.glossary import monthly
from planner.outputs.map.calculation import present_volume
from planner.outputs.map.pack import Packed, Presence, decimals_for, pack_texts, pack_told
from planner.outputs.sentences import COLUMNS

TEXTS = (
    "site_id",
    "site_name",
    "sub_district",
    "evidence_grade",
    "decision",
    "funding",
    "pump_family",
    "pump_id",
    "drive_id",
    "module_id",
    "riser_id",
    "safe_rate_limit",
    "supply_limited",
    "resource_source",
    "mounting",
    "alternative_cheapest",
    "alternatives_missing",
    "pump_id_standard",
    "range_kind",
)
# Sentences of the run, in one language or in all.
TOLD = ("evidence_reasons", "evidence_raise")
# Decimals that the page keeps; those of costs follow the currency's value.
DECIMALS = {
    "inventory_row": 0,
    "latitude": 5,
    "longitude": 5,
    "rank": 0,
    "solar_kwh_m2_day": 1,
    "solar_range_share": 2,
    "design_month": 0,
    "design_static_level_m": 1,
    "design_pumping_level_m": 1,
    "total_head_m": 1,
    "peak_flow_m3_h": 2,
    "safe_rate_m3_h": 2,
    "intake_depth_m": 0,
    "motor_w": 0,
    "riser_mm": 0,
    "delivery_mm": 0,
    "cable_mm2": 1,
    "array_wp": 0,
    "modules_series": 0,
    "modules_parallel": 0,
    "tilt_deg": 0,
    "azimuth_deg": 0,
    "tank_m3": 1,
    "sleeve": 0,
    "design_demand_m3_day": 1,
    "volume_used_m3_day": 2,  # sums of the page then agree with those of the run
    "capital_cost": 0,
    "annual_cost": 0,
    "lifecycle_cost": 0,
    "present_volume_m3": 0,
    "cost_per_person": 0,
    "family_margin": 3,
    "family_margin_equipment": 3,
    "days_below_80pct": 3,
    "people_served": 0,
    "lot": 0,
    "lot_base_km": 0,
    "handpumps_needed": 0,
    "alternative_margin": 3,
    "people_unserved_do_nothing": 0,
    "co2_diesel_t_year": 1,
    "co2_grid_t_year": 1,
    "co2_avoided_t_year": 1,
    "phase": 0,
    "rank_rests_on_prior": 0,
    "budget_steps_mask": 0,  # a bit a step of the budget slider
    "volume_used_m3_day_p10": 1,
    "volume_used_m3_day_p90": 1,
    "demand_met_probability": 2,
    "failure_probability": 2,
    "family_probability": 2,
    "funded_probability": 2,
    "rank_p10": 0,
    "rank_p90": 0,
    "test_value": 0,
    "test_cost": 0,
    "test_rank": 0,
    "test_funded": 0,
} | dict.fromkeys([*monthly("volume"), *monthly("used")], 1)
# In hundredths, rounded down.
SHARES = (
    "supply_reliability",
    "supply_reliability_worst_month",
    "low_sun_reliability_worst_month",
    *(f"coverage_{way}" for way in ("handpump", "diesel", "diesel_solar", "grid", "do_nothing")),
)
FAMILIES = ("helical_rotor", "centrifugal", "surface")
COSTS = (
    "cost_per_m3",
    "cost_equipment_per_m3",
    *(f"cost_{family}_per_m3" for family in FAMILIES),
    *(f"cost_{way}_per_m3" for way in ("handpump", "handpumps", "diesel", "diesel_solar", "grid")),
    "cost_per_m3_p10",
    "cost_per_m3_p90",
)
DECISIONS = ("equip", "test_first", "hold", "unsuitable", "not_assessed")


def site_frame(sites: pd.DataFrame) -> pd.DataFrame:
    """The sites with `inventory_row` and `reason_codes` as columns and 0, 1, 2 … as index.

    sites: one row for each row of the inventory, columns of sites.csv; `inventory_row` may be the index. The
    sub-district is the one used, where the frame tells it. Raises InternalError that names every missing column.
    """
    frame = sites if "inventory_row" in sites.columns else sites.rename_axis("inventory_row").reset_index()
    frame = frame.reset_index(drop=True)
    if "sub_district_used" in frame.columns:
        frame = frame.assign(sub_district=frame["sub_district_used"])
    needed = [
        "inventory_row",
        "reason_codes",
        "switch_text",
        *TEXTS,
        *TOLD,
        *(name for name in DECIMALS if name != "present_volume_m3"),
        *SHARES,
        *COSTS,
        *monthly("demand"),
    ]
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise InternalError(f"the map lacks the columns {', '.join(missing)}")
    return frame.assign(present_volume_m3=present_volume(frame))


def site_columns(frame: pd.DataFrame) -> dict[str, Any]:
    """Packed columns of the frame of site_frame: {"count", "numbers", "present", "texts", "season"}."""
    presence = Presence()
    numbers = {name: presence.pack_numbers(floats(frame[name]), places) for name, places in DECIMALS.items()}
    digits = decimals_for(floats(frame["cost_per_m3"]))
    costs = {name: presence.pack_numbers(floats(frame[name]), digits) for name in COSTS}
    shares = {name: presence.pack_numbers(hundredths(frame[name]), 2) for name in SHARES}
    texts = {name: pack_texts(frame[name]) for name in TEXTS}
    told = {name: pack_told(frame[name], COLUMNS[name]) for name in TOLD}
    return {
        "count": len(frame),
        "numbers": numbers | costs | shares,
        "present": presence.packed,
        "texts": texts | told,
        "season": seasons(frame),
    }


def seasons(frame: pd.DataFrame) -> Packed:
    """Demand by month as patterns: twelve whole numbers, the largest 1000; level 0 is empty for no demand."""
    demand = np.column_stack([floats(frame[name]) for name in monthly("demand")])
    largest = demand.max(axis=1) if demand.size else np.zeros(len(frame))
    known = np.isfinite(largest) & (largest > 0)
    shares = np.round(demand[known] / largest[known, None] * 1000).astype(np.int64)
    levels, place = np.unique(shares, axis=0, return_inverse=True)
    codes = np.zeros(len(frame), dtype=np.int64)
    codes[known] = place.ravel() + 1
    return {"levels": [[], *levels.tolist()], "codes": codes}


def significant(costs: pd.Series) -> NDArray[np.float64]:
    """Costs of water with the digits that the page keeps; NaN stays."""
    values = floats(costs)
    return np.round(values, decimals_for(values))


def floats(column: pd.Series) -> NDArray[np.float64]:
    """Numbers and flags as numbers; missing is NaN."""
    return column.to_numpy(dtype="float64", na_value=np.nan)


def hundredths(column: pd.Series) -> NDArray[np.float64]:
    """Shares rounded down to 0.01, so that 1 is said only of what is met in full; NaN stays."""
    return np.floor(floats(column) * 100 + 1e-9) / 100


def decision_counts(sites: pd.DataFrame, stated: Mapping[str, int]) -> dict[str, int]:
    """Sites by decision, counted here and compared with what the run states."""
    counted = {name: int((sites["decision"] == name).sum()) for name in DECISIONS}
    if sum(counted.values()) != len(sites) or any(counted[name] != stated.get(name, 0) for name in DECISIONS):
        raise InternalError(f"the run counts {dict(stated)}, the {len(sites)} sites of the map {counted}")
    return counted
