"""Where each price comes from, the user's book or the illustrative ones beside this file, and of which year it is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from planner.catalogue.reading import Row

ILLUSTRATIVE, USER = "illustrative", "user"
SHARES = ("share", "people")  # units that are no money: neither converted nor inflated, and never old


class Quote(NamedTuple):
    """Where the price of an item stands. `price_year` is 0 for what has none (shares, counts)."""

    kind: str  # illustrative, user
    price_year: int  # the year it was quoted for
    currency: str  # that it was quoted in, "" for shares
    file: str
    source: str  # as its row says


def quote_of(row: Row, own_files: Iterable[str]) -> Quote:
    """The quote of a row of an equipment table or price list.

    A row of the user's that still says it is illustrative, as a copied one does, is no quote of the user's.
    """
    cells = row.cells
    source, year = cells.get("source", ""), cells.get("price_year", "")
    ours = row.file in set(own_files) or source.casefold().startswith(ILLUSTRATIVE)
    plain = cells.get("unit") in SHARES
    return Quote(
        ILLUSTRATIVE if ours else USER,
        0 if plain or not year else int(float(year)),
        "" if plain else cells.get("currency", ""),
        row.file,
        source,
    )


def counted(quotes: Mapping[str, Quote]) -> dict[str, int]:
    """How many prices are of each kind."""
    kinds = [quote.kind for quote in quotes.values()]
    return {kind: kinds.count(kind) for kind in (ILLUSTRATIVE, USER)}
