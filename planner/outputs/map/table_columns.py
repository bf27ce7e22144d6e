"""The columns of the table that the page hands out as CSV."""

from __future__ import annotations

from planner.glossary import glossary, monthly
from planner.outputs.map.site_data import COSTS, DECIMALS, SHARES, TEXTS, TOLD
from planner.outputs.tables import SITE_COLUMNS

INNER = ("budget_steps_mask",)  # bits of the slider


def table_columns() -> list[str]:
    """Machine names of what the page knows of each site: in the order of sites.csv, then what is not in it."""
    known = {*TEXTS, *TOLD, *DECIMALS, *SHARES, *COSTS, *monthly("demand")}.difference(INNER)
    return [name for name in dict.fromkeys([*SITE_COLUMNS, *glossary()]) if name in known]
