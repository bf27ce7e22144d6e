"""Totals that live: formulas over the lists, which follow what is filtered, changed or left out there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from planner.outputs.workbook.lists import HEADER_ROWS, Listing
from planner.outputs.workbook.page import Page
from planner.outputs.workbook.words import Words

SUMMED = (("capital_cost", "currency"), ("people_served", "people"), ("volume_used_m3_day", "m3/d"))
LISTS = ("funded", "reserve", "test_first", "all_sites")
GROUPS = (
    ("decision", "equip"), ("funding", "funded"), ("funding", "reserve"), ("decision", "test_first"),
    ("decision", "hold"), ("decision", "unsuitable"), ("decision", "not_assessed"),
)  # fmt: skip


def write_live(
    page: Page, words: Words, listings: Mapping[str, Listing], districts: Sequence[str], columns: int
) -> None:
    """Visible rows of the lists, all rows by decision and funding, funded sites by sub-district.

    Each formula is written with the result that it has on the lists as they are written.
    """
    styles = page.styles
    page.heading(words.say("heading_live"), columns, styles.live_heading)
    page.text(page.row, 0, words.say("live_intro"), styles.live_text)
    page.row += 1
    if any(one.written < one.total for one in listings.values() if one.key in LISTS):
        page.text(page.row, 0, words.say("live_short"), styles.live_text)
        page.row += 1
    page.row += 1
    _visible(page, words, listings)
    _by_group(page, words, listings["all_sites"])
    _by_district(page, words, listings["funded"], districts)


def _heads(page: Page, words: Words, first: str) -> None:
    texts = [first, words.say("head_rows"), *(f"{words.label(name)}, {words.unit(unit)}" for name, unit in SUMMED)]
    page.header(texts, page.styles.live_header, 4)


def _visible(page: Page, words: Words, listings: Mapping[str, Listing]) -> None:
    """SUBTOTAL counts what a filter leaves."""
    _heads(page, words, words.say("live_visible"))
    for key in LISTS:
        one = listings[key]
        page.text(page.row, 0, words.sheets[key], page.styles.live_text)
        rows = sum(cell is not None for cell in one.cells("inventory_row"))
        _formula(page, 1, f"SUBTOTAL(103,{span(one, words, 'inventory_row')})", "people", rows)
        for column, (name, unit) in enumerate(SUMMED, start=2):
            _formula(page, column, f"SUBTOTAL(109,{span(one, words, name)})", unit, _sum(one.cells(name)))
        page.row += 1
    bill = listings["bill"]
    page.text(page.row, 0, words.sheets["bill"], page.styles.live_text)
    _formula(page, 1, f"SUBTOTAL(103,{span(bill, words, 'inventory_row')})", "people", bill.written)
    _formula(page, 2, f"SUBTOTAL(109,{span(bill, words, 'amount')})", "currency", _sum(bill.cells("amount")))
    page.row += 2


def _by_group(page: Page, words: Words, listing: Listing) -> None:
    """COUNTIFS and SUMIFS over all sites, by the words in the column beside them."""
    _heads(page, words, words.say("live_groups", sheet=words.sheets["all_sites"]))
    for column_name, code in GROUPS:
        told = words.code(column_name, code)
        where, label = span(listing, words, column_name), f"$A{page.row + 1}"
        chosen = [cell == told for cell in listing.cells(column_name)]
        page.text(page.row, 0, told, page.styles.live_text)
        _formula(page, 1, f"COUNTIFS({where},{label})", "people", sum(chosen))
        for column, (name, unit) in enumerate(SUMMED, start=2):
            result = _sum(cell for cell, held in zip(listing.cells(name), chosen, strict=True) if held)
            _formula(page, column, f"SUMIFS({span(listing, words, name)},{where},{label})", unit, result)
        page.row += 1
    page.row += 1


def _by_district(page: Page, words: Words, listing: Listing, districts: Sequence[str]) -> None:
    """EXACT in place of a criterion: a name may look like one (">5", "A*") and must not act as one."""
    _heads(page, words, words.say("live_districts", sheet=words.sheets["funded"]))
    where = span(listing, words, "sub_district_used")
    for district in districts:
        label = f"$A{page.row + 1}" if district else '""'
        chosen = [(cell or "") == district for cell in listing.cells("sub_district_used")]
        chosen = chosen if listing.written else []
        page.text(page.row, 0, district or words.say("no_district"), page.styles.live_text)
        match, rows = f"--EXACT({where},{label})", span(listing, words, "inventory_row")
        _formula(page, 1, f'SUMPRODUCT({match},--({rows}<>""))', "people", sum(chosen))
        for column, (name, unit) in enumerate(SUMMED, start=2):
            result = _sum(cell for cell, held in zip(listing.cells(name), chosen, strict=True) if held)
            _formula(page, column, f"SUMPRODUCT({match},{span(listing, words, name)})", unit, result)
        page.row += 1
    page.row += 1


def span(listing: Listing, words: Words, name: str) -> str:
    """The cells of a column, as a formula names them."""
    from xlsxwriter.utility import xl_range_abs

    place = listing.place(name) or 0
    quoted = words.sheets[listing.key].replace("'", "''")
    last = HEADER_ROWS + max(listing.written, 1) - 1
    return f"'{quoted}'!{xl_range_abs(HEADER_ROWS, place, last, place)}"


def _sum(cells: Any) -> float:
    return float(sum(cell for cell in cells if cell is not None))


def _formula(page: Page, column: int, formula: str, unit: str, result: float) -> None:
    page.formula(page.row, column, f"={formula}", page.styles.live(unit), result)
