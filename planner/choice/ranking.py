"""The order of the sites to equip."""

from __future__ import annotations

import pandas as pd


def rank(sites: pd.DataFrame) -> pd.Series:
    """Rank by cost per cubic metre of the whole scheme among `equip`, 1 the lowest; equal costs by row.

    sites  columns decision and cost_per_m3, indexed by inventory_row; others get a missing rank
    """
    equip = sites.loc[(sites["decision"] == "equip") & sites["cost_per_m3"].notna(), "cost_per_m3"]
    order = equip.sort_index().sort_values(kind="stable")
    return pd.Series(range(1, len(order) + 1), index=order.index, dtype="float64").reindex(sites.index)
