"""The columns of the table that the page hands out as CSV."""

from __future__ import annotations

from planner.glossary import glossary, monthly
from planner.outputs.map.site_data import COSTS, DECIMALS, SHARES, TEXTS

INNER = ("budget_steps_mask", "switch_text")  # bits of the slider; a sentence


def table_columns() -> list[str]:
    """Machine names, in the order of sites.csv, of what the page knows of each site."""
    known = {*TEXTS, *DECIMALS, *SHARES, *COSTS, *monthly("demand")}.difference(INNER)
    return [name for name in glossary() if name in known]
