"""Lists of money: the bill of quantities and its sums, and the price book of the run."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from planner.catalogue.loader import Catalogue
from planner.outputs.bill import BILL_COLUMNS, TOTAL_COLUMNS, bill_rows, bill_totals, together
from planner.outputs.material import Material
from planner.outputs.workbook.lists import Listing, columns_of
from planner.outputs.workbook.words import Words

SITES_AT_ONCE = 2_000
FUNDING = ("funded", "reserve", "")
DECISIONS = ("equip", "test_first", "hold", "unsuitable", "not_assessed")  # as the bill is needed


def bill_lists(material: Material, sites: pd.DataFrame, words: Words) -> list[Listing]:
    """The bill site by site, funded sites first, and its sums over all sites."""
    output = material.plan.plan.output
    limit = output.workbook_row_limit
    funding = sites["funding"].map({name: place for place, name in enumerate(FUNDING)}).fillna(len(FUNDING))
    decision = sites["decision"].map({name: place for place, name in enumerate(DECISIONS)}).astype("float64")
    order = np.lexsort((sites["rank"].fillna(np.inf).to_numpy(), decision.to_numpy(), funding.to_numpy()))
    sorted_sites = sites.iloc[order].reset_index(drop=True)
    kept, totals, rows = [], [], 0
    for start in range(0, max(len(sites), 1), SITES_AT_ONCE):
        lines = bill_rows(sorted_sites.iloc[start : start + SITES_AT_ONCE], material.catalogue, material.plan.plan)
        if rows < limit:
            kept.append(lines.head(limit - rows))
        rows += len(lines)
        totals.append(bill_totals(lines))
    whole = together(totals)
    written = "bill" in output.files
    names = ["site_id", *(name for name in BILL_COLUMNS if name not in {"site_id", "inventory_row"}), "inventory_row"]
    bill = columns_of(pd.concat(kept, ignore_index=True), words, names)
    sums = columns_of(whole.head(limit), words, TOTAL_COLUMNS)
    return [
        Listing("bill", bill, rows, "bill.csv" if written else "", 1),
        Listing("bill_totals", sums, len(whole), "bill_totals.csv" if written else "", 3),
    ]


def price_list(material: Material, words: Words) -> Listing:
    """The price book of the run: every price in the plan's money, and where it comes from."""
    rows = list(_prices(material.catalogue, words))
    quotes = material.catalogue.quotes
    frame = pd.DataFrame(rows, columns=["price_item", "group", "unit", "price", "life_y", "boundary", "note"])
    known = [quotes.get(name) for name in frame["price_item"]]
    frame["price_kind"] = [quote.kind if quote else "" for quote in known]
    frame["quoted_currency"] = [quote.currency if quote else "" for quote in known]
    frame["quoted_year"] = [quote.price_year or None if quote else None for quote in known]
    frame["file"] = [quote.file if quote else "" for quote in known]
    frame["source"] = [quote.source if quote else "" for quote in known]
    limit = material.plan.plan.output.workbook_row_limit
    return Listing("prices", columns_of(frame.head(limit), words), len(frame), "", 1)


def _prices(c: Catalogue, words: Words) -> Iterator[tuple[str, str, str, float | None, float | None, str, str]]:
    for row in c.price_rows:
        yield row.item, "item", row.unit, row.price, row.life_y or None, row.boundary, row.note
    parts = (
        ("pump", c.pump_ids, "each", c.pumps.pump_price),
        ("module", c.module_ids, "Wp", c.modules.price_wp),
        ("riser", c.riser_ids, "m", c.risers.price_m),
        ("delivery", c.delivery_ids, "m", c.deliveries.price_m),
        ("cable", c.cable_ids, "m", c.cables.price_m),
    )
    for group, ids, unit, prices in parts:
        for name, price in zip(ids, prices, strict=True):
            yield name, group, unit, float(price), None, "scheme" if group == "delivery" else "equipment", ""
    told = set()
    for name, price in zip(c.tank_ids, c.tanks.price, strict=True):
        if name not in told:  # whole multiples of the largest have its id
            told.add(name)
            yield name, "tank", "each", float(price), None, "scheme", ""
    for name in c.drive_ids:
        yield name, "drive", "each", None, None, "equipment", words.say("drive_price")
