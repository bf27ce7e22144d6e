"""The first sheet: what the workbook is, what was refused and why, what to verify before money is spent."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from planner.outputs.map.reason_data import said
from planner.outputs.material import Material
from planner.outputs.workbook.lists import Listing, lines_of, rest_text
from planner.outputs.workbook.page import Page
from planner.outputs.workbook.words import Words
from planner.texts import of_kind, sentence

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

    from planner.outputs.workbook.styles import Styles

WIDTHS = (26, 13, 28, 70)
TEXT_WIDTH = sum(WIDTHS)
REFUSED = ("not_assessed", "unsuitable", "hold", "test_first")
MOST_REASONS = 12  # of a decision
HOW_TO_READ = (
    "how_header",
    "how_numbers",
    "how_empty",
    "how_shares",
    "how_live",
    "how_print",
    "how_sort",
    "how_levels",
)
TO_VERIFY = ("pumping_test", "water_quality_test")


def write_read_me(
    sheet: Worksheet, styles: Styles, words: Words, material: Material, sites: pd.DataFrame, listings: Sequence[Listing]
) -> None:
    """Title and run, refusals, verification, contents, how to read, cautions and notes."""
    page = Page(sheet, styles, words.say("cut"))
    for column, width in enumerate(WIDTHS):
        sheet.set_column(column, column, width)
    about = material.about
    page.text(0, 0, words.say("title", programme=about["programme"]), styles.title)
    page.height(0, 2)
    page.row = 1
    _line(page, words.say("what_it_is"))
    _line(page, words.say("working_file"), strong=True)
    page.row += 1
    _facts(page, words, material)
    _refused(page, words, material, sites)
    _verify(page, words, material)
    _contents(page, words, listings)
    page.heading(words.say("heading_how"), len(WIDTHS))
    for key in HOW_TO_READ:
        _line(page, words.say(key))
    page.row += 1
    page.heading(words.say("heading_notes"), len(WIDTHS))
    for line in about["notes"]:
        _line(page, words.spoken(line))
    page.set_up(landscape=False)
    sheet.freeze_panes(1, 0)
    page.write()


def _line(page: Page, text: str, strong: bool = False) -> None:
    """A paragraph over the width of the page."""
    style = page.styles.make(dict(bold=True, valign="top")) if strong else page.styles.plain
    page.paragraph(text, style, TEXT_WIDTH * (0.9 if strong else 1.0))


def _facts(page: Page, words: Words, material: Material) -> None:
    about = material.about
    facts: list[tuple[str, str | datetime.date]] = [
        ("fact_programme", about["programme"]),
        ("fact_run", about["run_id"]),
        ("fact_date", datetime.date.fromisoformat(about["date"])),
        ("fact_version", about["version"]),
        ("fact_money", words.say("money", currency=about["currency"], year=str(about["price_year"]))),
        ("fact_boundary", words.say("boundary")),
        ("fact_positions", words.say("positions")),
    ]
    for key, value in facts:
        page.text(page.row, 0, words.say(key), page.styles.strong)
        if isinstance(value, str):
            page.paragraph(value, page.styles.text, TEXT_WIDTH - WIDTHS[0], 1)
        else:
            page.value(page.row, 1, value, page.styles.day)
            page.row += 1
    page.row += 1


def _refused(page: Page, words: Words, material: Material, sites: pd.DataFrame) -> None:
    """Every row of the inventory once, by decision and the reason that decided: a sum that comes out."""
    page.heading(words.say("heading_refused"), len(WIDTHS))
    _line(page, words.say("refused_intro"))
    heads = [words.say(f"head_{name}") for name in ("decision", "rows", "reason", "example")]
    page.header(heads, page.styles.header, 1)
    style, count = page.styles.wrapped, page.styles.make(dict(num_format="#,##0", valign="top"))
    first = first_reasons(sites, material.checks)
    total = 0
    for decision in (*REFUSED, "equip"):
        rows = int((sites["decision"] == decision).sum())
        if not rows:
            continue
        total += rows
        page.text(page.row, 0, words.code("decision", decision), page.styles.strong)
        page.value(page.row, 1, rows, page.styles.make(dict(num_format="#,##0", bold=True, valign="top")))
        page.row += 1
        groups = first[first["decision"] == decision].groupby("rule", sort=True)
        ordered = sorted(groups, key=lambda one: -len(one[1]))
        for rule, group in ordered[:MOST_REASONS] if decision != "equip" else []:
            one = group.iloc[0]
            text = sentence(str(rule), str(one["subject"]), float(one["value"]), float(one["limit"]), words.language)
            where = words.say("example", site=one["site_id"] or f"#{one['inventory_row']}", text=text)
            page.value(page.row, 1, len(group), count)
            page.text(page.row, 2, str(rule), page.styles.text)
            page.text(page.row, 3, where, style)
            page.height(page.row, lines_of(where, WIDTHS[3]))
            page.row += 1
        others = sum(len(group) for _, group in ordered[MOST_REASONS:]) if decision != "equip" else 0
        others += rows - sum(len(group) for _, group in ordered) if decision != "equip" else 0
        if others:
            page.value(page.row, 1, others, count)
            page.text(page.row, 2, words.say("other_reasons"), page.styles.text)
            page.row += 1
    page.text(page.row, 0, words.say("inventory_rows"), page.styles.strong)
    page.value(page.row, 1, total, page.styles.make(dict(num_format="#,##0", bold=True, valign="top", top=1)))
    page.row += 2


def first_reasons(sites: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """The failed check that comes first among the reasons of each site, with its decision and site_id."""
    found = said(sites, checks)
    found = found[~found["pass"].astype(bool)].drop_duplicates("place")
    place = found["place"].to_numpy()
    return found.assign(
        decision=sites["decision"].to_numpy()[place], site_id=sites["site_id"].to_numpy(dtype=object)[place]
    )


def _verify(page: Page, words: Words, material: Material) -> None:
    """Before money is spent: the cautions, and what the two tests of a site cost by the price book."""
    page.heading(words.say("heading_verify"), len(WIDTHS))
    for text in of_kind("caution", words.language):
        _line(page, f"• {text}")
    prices = {row.item: row.price for row in material.catalogue.price_rows}
    style = page.styles.make(dict(num_format="#,##0.00", valign="top"))
    for item in TO_VERIFY:
        if item in prices:
            page.text(page.row, 0, words.say(f"verify_{item}"), page.styles.text)
            page.value(page.row, 2, prices[item], style)
            page.text(page.row, 3, words.say("verify_price", unit=words.unit("currency")), page.styles.text)
            page.row += 1
    page.row += 1


def _contents(page: Page, words: Words, listings: Sequence[Listing]) -> None:
    page.heading(words.say("heading_contents"), len(WIDTHS))
    page.header([words.say(f"head_{name}") for name in ("sheet", "rows", "holds")], page.styles.header, 1)
    known = {one.key: one for one in listings}
    for key, name in words.sheets.items():
        if key not in known and key not in {"read_me", "summary"}:
            continue
        page.link(page.row, 0, name, page.styles.link)
        page.text(page.row, 2, words.say(f"holds_{key}"), page.styles.text)
        if key in known:
            one = known[key]
            page.value(page.row, 1, one.written, page.styles.make(dict(num_format="#,##0", valign="top")))
            if one.written < one.total:
                page.row += 1
                page.text(page.row, 2, rest_text(one, words), page.styles.note)
        page.row += 1
    page.row += 1
