"""The sites as JSON columns, rounded as they are shown and safe inside an HTML script element."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from planner.errors import InternalError
from planner.glossary import monthly

TEXTS = (
    "site_id",
    "site_name",
    "sub_district",
    "evidence_grade",
    "decision",
    "funding",
    "pump_family",
    "pump_id",
    "safe_rate_limit",
    "supply_limited",
    "reason_text",
)
# Decimals that the page keeps. Costs keep four digits instead: currencies differ a thousandfold in value.
DECIMALS = {
    "inventory_row": 0,
    "latitude": 5,
    "longitude": 5,
    "rank": 0,
    "solar_kwh_m2_day": 1,
    "design_month": 0,
    "design_static_level_m": 1,
    "design_pumping_level_m": 1,
    "total_head_m": 1,
    "peak_flow_m3_h": 2,
    "safe_rate_m3_h": 2,
    "intake_depth_m": 0,
    "motor_w": 0,
    "array_wp": 0,
    "modules_series": 0,
    "modules_parallel": 0,
    "tilt_deg": 0,
    "tank_m3": 1,
    "design_demand_m3_day": 1,
    "volume_pumped_m3_day": 1,
    "volume_used_m3_day": 1,
    "capital_cost": 0,
    "annual_cost": 0,
    "people_served": 0,
}
SHARES = ("supply_reliability", "supply_reliability_worst_month")  # hundredths, rounded down
COSTS = ("cost_per_m3", "cost_equipment_per_m3")
COST_DIGITS = 4
MONTHLY = ("volume", "demand")  # demand only where the frame has it; else the page shows the design month's
DECISIONS = ("equip", "test_first", "hold", "unsuitable", "not_assessed")

_UNSAFE = re.compile("[<>&\u2028\u2029\ud800-\udfff]")


def safe_json(value: Any) -> str:
    r"""JSON that can stand in a script element: no markup, no line separator, no half of a surrogate pair.

    >>> safe_json({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return _UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def site_columns(sites: pd.DataFrame) -> dict[str, Any]:
    """Columns of the page: numbers as lists with null for missing, texts as lists or as levels and codes.

    sites: one row for each row of the inventory, columns of sites.csv; `inventory_row` may be the index.
    """
    frame = sites if "inventory_row" in sites.columns else sites.rename_axis("inventory_row").reset_index()
    _require(frame)
    months = [name for stem in MONTHLY for name in monthly(stem) if set(monthly(stem)) <= set(frame.columns)]
    decimals = DECIMALS | dict.fromkeys(months, 1)
    numbers = {name: _numbers(rounded(frame[name], places)) for name, places in decimals.items()}
    costs = {name: _numbers(significant(frame[name])) for name in COSTS}
    shares = {name: _numbers(hundredths(frame[name])) for name in SHARES}
    texts = {name: _texts(frame[name]) for name in TEXTS}
    return {"count": len(frame), "numbers": numbers | costs | shares, "texts": texts}


def rounded(column: pd.Series, places: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Numbers with the given decimals; NaN stays."""
    return np.round(column.to_numpy(dtype="float64", na_value=np.nan), places)


def hundredths(column: pd.Series) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Shares rounded down to 0.01, so that 1 is said only of what is met in full; NaN stays."""
    return np.floor(column.to_numpy(dtype="float64", na_value=np.nan) * 100 + 1e-9) / 100


def significant(column: pd.Series) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Costs with four digits; NaN stays."""
    values = column.to_numpy(dtype="float64", na_value=np.nan)
    return np.array([float(f"{value:.{COST_DIGITS}g}") for value in values], dtype="float64")


def decision_counts(sites: pd.DataFrame, stated: Mapping[str, int]) -> dict[str, int]:
    """Sites by decision, counted here and compared with what the run states."""
    counted = {name: int((sites["decision"] == name).sum()) for name in DECISIONS}
    if sum(counted.values()) != len(sites) or any(counted[name] != stated.get(name, 0) for name in DECISIONS):
        raise InternalError(f"the run counts {dict(stated)}, the {len(sites)} sites of the map {counted}")
    return counted


def _require(frame: pd.DataFrame) -> None:
    needed = [*TEXTS, *DECIMALS, *SHARES, *COSTS, *monthly("volume")]
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise InternalError(f"the map lacks the columns {', '.join(missing)}")


def _numbers(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | int | None]:
    """Plain numbers, whole ones without decimal point (a tenth of the file), null for missing."""
    return [
        None if not np.isfinite(value) else int(value) if value.is_integer() else value
        for value in values.tolist()
    ]


def _texts(column: pd.Series) -> list[str] | dict[str, Any]:
    codes, levels = pd.factorize(column.fillna("").astype("str"))
    if len(levels) * 2 > len(column):
        return [str(text) for text in column.fillna("")]
    return {"levels": [str(level) for level in levels], "codes": codes.tolist()}
