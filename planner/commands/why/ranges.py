"""What was drawn of a site, how wide, and what came out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner import chunks
from planner.commands.why.opened import Opened
from planner.commands.why.sheet import Sheet, n
from planner.doubt.draws import COMMON, OWN, draws_at
from planner.doubt.ranges import in_ten
from planner.doubt.site import doubt_of
from planner.stages import drawing

SETTLED = "test"
LATER = "after the purchase"
TENDER = "tender"
# What is drawn, in words, when it is settled, unit.
INPUTS = {
    "rest_m": ("rest level, off the central value", SETTLED, "m"),
    "b_factor": ("aquifer loss and memory of earlier days", SETTLED, "×"),
    "yield_factor": ("yield", SETTLED, "×"),
    "loss_share": ("well loss, share of tested drawdown", SETTLED, ""),
    "swing_m": ("season's swing", LATER, "m"),
    "decline_m_year": ("long-term fall, all sites", LATER, "m/y"),
    "sun": ("sun, all sites and own", LATER, "×"),
    "demand": ("demand, all sites and own", LATER, "×"),
    "clean": ("light through dust", LATER, "×"),
    "ageing": ("ageing of the array", LATER, "×"),
    "slip": ("wear of helical rotors", LATER, "×"),
    "life": ("lives", LATER, "×"),
    "upkeep": ("upkeep", LATER, "×"),
    "price": ("prices, all sites and own", TENDER, "×"),
}
RANGES = (
    ("cost of water", "cost_per_m3", "{currency}/m3"),
    ("volume used", "volume_used_m3_day", "m3/d"),
    ("pumping level", "pumping_level_m", "m"),
)
CHANCES = (
    ("demand is met", "demand_met_probability"),
    ("fails", "failure_probability"),
    ("chosen family is the cheapest", "family_probability"),
    ("funded", "funded_probability"),
)


def ranges(sheet: Sheet, opened: Opened) -> None:
    """The ranges of a site that was drawn: inputs P10 to P90, results, and the set bought untested beside them."""
    row, widths = opened.row, opened.plan.uncertainty
    sheet.section("Ranges")
    kind = str(row["range_kind"])
    if not kind:
        sheet.text("Nothing was drawn of this site.")
        return
    draws, seed = opened.record["draws"], opened.record["seed"]
    sheet.value("draws", f"{draws} scrambled Sobol points, seed {seed}", "uncertainty.draws, uncertainty.seed")
    sheet.text(
        "The set of the plan is bought; its cap is set to the safe rate that the well proves to have."
        if kind == drawing.COMMIT
        else "A pumping test comes first: the set is chosen anew for what it tells in each draw."
    )
    sites = chunks.engine_sites(opened.table, pd.Index([opened.number]), opened.plan, opened.catalogue)
    doubt = doubt_of(drawing.doubts_of(opened.table, sites, opened.plan), 0, opened.plan)
    # what all sites share and what is the site's own move together here; P10 of both is not P10 of their product
    at = {name: np.array([0.1, 0.5, 0.9]) for name in {*COMMON, *OWN}}
    drawn = draws_at(widths, doubt, at, at)
    sheet.text("What is drawn, nine in ten above the first number and below the last; settled by:")
    rows = []
    for name, (words, when, unit) in INPUTS.items():
        rows.append((words, *(n(value, 4) for value in np.sort(drawn[name])), unit, when))
    sheet.table(("input", "low", "central", "high", "unit", "settled by"), rows)
    currency = opened.plan.programme.currency
    rows = []
    for words, stem, unit in RANGES:
        ends = [n(float(row[f"{stem}_{end}"])) for end in ("p10", "p50", "p90")]
        rows.append((words, *ends, unit.replace("{currency}", currency)))
        if kind == drawing.TEST_FIRST and f"{stem}_p10_untested" in row:
            ends = [n(float(row[f"{stem}_{end}_untested"])) for end in ("p10", "p50", "p90")]
            rows.append((f"{words}, bought untested", *ends, unit.replace("{currency}", currency)))
    sheet.table(("result", "P10", "P50", "P90", "unit"), rows)
    for words, name in CHANCES:
        if np.isnan(row[name]):  # funded: without a budget, or not to equip
            continue
        sheet.value(words, f"{in_ten(float(row[name]))} ({n(float(row[name]), 3)})")
        if kind == drawing.TEST_FIRST and f"{name}_untested" in row:
            share = float(row[f"{name}_untested"])
            sheet.value(f"{words}, bought untested", f"{in_ten(share)} ({n(share, 3)})")
