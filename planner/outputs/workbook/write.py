"""programme.xlsx from the material of a run: sheets in reading order, the same bytes for the same run."""

from __future__ import annotations

import datetime
from pathlib import Path

import pandas as pd

from planner.outputs.material import Material
from planner.outputs.workbook.lists import Listing, header, write_list
from planner.outputs.workbook.money_lists import bill_lists, price_list
from planner.outputs.workbook.read_me import write_read_me
from planner.outputs.workbook.run_lists import (
    assumption_list,
    finding_list,
    glossary_list,
    lot_list,
    scenario_lists,
    supply_curve,
)
from planner.outputs.workbook.site_lists import in_language, site_lists, with_shown
from planner.outputs.workbook.summary import write_summary
from planner.outputs.workbook.words import SHEETS, Words

# Texts are texts: nothing of them becomes a formula, a link or a number. Rows go to disk as they are written.
OPTIONS = {
    "constant_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}


def write_workbook(material: Material, path: Path) -> None:
    """Write the workbook of a run. A working file: positions are exact, private texts stand in findings as written.

    material: as the run has it, not `handed_on()`. Lists hold at most [output] workbook_row_limit rows each.
    """
    import xlsxwriter  # not for --help

    about = material.about
    words = Words(language_of(material), about["currency"], about["price_year"])
    sites = with_shown(in_language(material, words.language), material)
    listings = _listings(material, sites, words)
    with xlsxwriter.Workbook(path, OPTIONS) as book:
        from planner.outputs.workbook.styles import Styles

        styles = Styles(book)
        sheets = {
            key: book.add_worksheet(words.sheets[key])
            for key in SHEETS
            if key in {"read_me", "summary"} or any(one.key == key for one in listings)
        }
        write_read_me(sheets["read_me"], styles, words, material, sites, listings)
        write_summary(book, sheets["summary"], styles, words, material, sites, {one.key: one for one in listings})
        for listing in listings:
            write_list(sheets[listing.key], listing, styles, words)
        book.set_properties(
            {
                "title": header(words.say("title", programme=about["programme"])),
                "comments": words.say("properties", run=about["run_id"], version=about["version"]),
                "created": datetime.datetime.fromisoformat(about["date"]),
            }
        )


def language_of(material: Material) -> str:
    """The language of the report."""
    return material.plan.plan.programme.language


def _listings(material: Material, sites: pd.DataFrame, words: Words) -> list[Listing]:
    lots = lot_list(material, words)
    listings = [
        *site_lists(material, sites, words),
        *bill_lists(material, sites, words),
        price_list(material, words),
        *([] if lots is None else [lots]),
        *scenario_lists(material, words),
        assumption_list(material, words),
        finding_list(material, words),
        supply_curve(material, words),
    ]
    return [*listings, glossary_list(listings, words)]
