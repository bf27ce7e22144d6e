"""The columns of the table that the page hands out as CSV."""

from __future__ import annotations

from planner.glossary import glossary, monthly
from planner.outputs.map.site_data import COSTS, DECIMALS, SHARES, TEXTS
from planner.outputs.tables import SITE_COLUMNS

INNER = ("budget_steps_mask", "switch_text")  # bits of the slider; a sentence


def table_columns() -> list[str]:
    """Machine names of what the page knows of each site: in the order of sites.csv, then what is not in it."""
    known = {*TEXTS, *DECIMALS, *SHARES, *COSTS, *monthly("demand")}.difference(INNER)
    return [name for name in dict.fromkeys([*SITE_COLUMNS, *glossary()]) if name in known]
