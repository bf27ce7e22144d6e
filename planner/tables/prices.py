"""Findings about prices: which are illustrative, and which are older than the plan's year by much.

Not a step: prices belong to no row of the inventory.
"""

from __future__ import annotations

from planner.catalogue.loader import Catalogue
from planner.catalogue.quotes import ILLUSTRATIVE, USER, counted
from planner.plan import LoadedPlan
from planner.tables.step import Finding

# Our own rule: prices that are older, with no word on inflation, are told.
OLD_YEARS = 3


def price_findings(catalogue: Catalogue, plan: LoadedPlan) -> list[Finding]:
    """What the owner of the price book should know, of the whole plan (row 0)."""
    return [*_illustrative(catalogue, plan), *_old(catalogue, plan)]


def price_record(catalogue: Catalogue) -> dict[str, object]:
    """Prices of run.json: how many are whose, and the user's items with year, currency, file and source."""
    own = {name: quote for name, quote in sorted(catalogue.quotes.items()) if quote.kind == USER}
    return {
        **counted(catalogue.quotes),
        "user_items": {
            name: {
                "price_year": quote.price_year or None,
                "currency": quote.currency,
                "file": quote.file,
                "source": quote.source,
            }
            for name, quote in own.items()
        },
    }


def _illustrative(catalogue: Catalogue, plan: LoadedPlan) -> list[Finding]:
    """One finding while any price is illustrative. With a book of the user's it names what the book leaves out."""
    count = counted(catalogue.quotes)
    if not count[ILLUSTRATIVE]:
        return []
    told = f"{count[ILLUSTRATIVE]} of {sum(count.values())} prices"
    equipment = plan.plan.equipment
    if not equipment.prices and not equipment.pumps:
        return [Finding(0, "", "prices", "illustrative_prices", "info", told)]
    names = ", ".join(sorted(name for name, quote in catalogue.quotes.items() if quote.kind == ILLUSTRATIVE))
    return [Finding(0, "", "prices", "illustrative_prices", "warning", f"{told}: {names}")]


def _old(catalogue: Catalogue, plan: LoadedPlan) -> list[Finding]:
    """One finding for each year of quotes that lies more than OLD_YEARS before the plan's, without inflation given."""
    if "inflation" in plan.plan.costs.model_fields_set:
        return []
    to = plan.plan.programme.price_year
    years = sorted({one.price_year for one in catalogue.quotes.values() if 0 < one.price_year < to - OLD_YEARS})
    findings = []
    for year in years:
        names = sorted(name for name, quote in catalogue.quotes.items() if quote.price_year == year)
        told = f"{year}: {', '.join(names)}"
        findings.append(Finding(0, "", "prices", "old_prices", "warning", told, f"{to}: the same amounts"))
    return findings
