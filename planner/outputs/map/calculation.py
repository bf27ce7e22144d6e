"""What the page needs to show how the cost of a cubic metre comes about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd


def present_volume(sites: pd.DataFrame) -> pd.Series:
    """Present volume of the water used over the horizon, at the tap, m3: what the life-cycle cost is divided by."""
    cost = sites["cost_per_m3"].astype("float64")
    return sites["lifecycle_cost"].astype("float64") / cost.where(cost > 0)


def money_rules(plan: Mapping[str, Any]) -> dict[str, float] | None:
    """{"rate", "years"}: real discount rate a year and horizon of the plan; None where it does not tell both."""
    programme = plan.get("programme", {})
    rate, years = programme.get("discount_rate"), programme.get("horizon_years")
    return None if rate is None or years is None else {"rate": float(rate), "years": float(years)}
