"""Two sites side by side: kept from a pop-up, set beside the next, differences in words, closed by Escape, printed."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

pytestmark = pytest.mark.browser


def find(visit: Any, site_id: str) -> None:
    visit.page.fill("#search", site_id)
    visit.page.press("#search", "Enter")
    visit.page.wait_for_selector("#popup:not([hidden])")


def ranked(sites: pd.DataFrame) -> pd.DataFrame:
    plain = sites["site_id"].str.fullmatch(r"\d{5}")
    return sites[plain & sites["rank"].notna()].sort_values("rank")


def side_by_side(visit: Any, first: str, second: str) -> None:
    find(visit, first)
    visit.page.click(".compare-button")
    find(visit, second)
    visit.page.click(".compare-button")
    visit.page.wait_for_selector("#compare[open]")


def row(visit: Any, words: str) -> list[str]:
    cells = visit.page.locator("#compare tbody tr", has=visit.page.get_by_role("rowheader", name=words, exact=True))
    return [text.replace("\u202f", " ").replace("\xa0", " ") for text in cells.locator("td").all_inner_texts()]


def test_quantities_and_their_difference(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = ranked(hostile_sites)
    first, second = sites.iloc[3], sites.iloc[30]
    side_by_side(visit, first["site_id"], second["site_id"])
    costs = row(visit, "Per m³ used, whole scheme")
    assert costs[:2] == [f"{site['cost_per_m3']:.3f} USD/m³" for site in (first, second)]
    share = round(second["cost_per_m3"], 3) / round(first["cost_per_m3"], 3) - 1
    wanted = f"{share:.0%} more".replace("%", " %") if share < 1 else f"{1 + share:.1f} times as much"
    assert costs[2] == wanted
    ranks = [int(site["rank"]) for site in (first, second)]
    assert row(visit, "Rank") == [str(ranks[0]), str(ranks[1]), f"{ranks[1] - ranks[0]} places later"]
    assert row(visit, "Decision") == ["Equip", "Equip", "the same"]
    depth = round(second["design_pumping_level_m"], 1) - round(first["design_pumping_level_m"], 1)
    assert row(visit, "Pumping level at peak flow")[2] == f"{abs(depth):.1f} m {'deeper' if depth > 0 else 'higher'}"
    charts = visit.page.locator("#compare .compared-charts svg")
    assert charts.count() == 2
    scales = [charts.nth(place).locator(".chart-number").all_inner_texts() for place in (0, 1)]
    assert scales[0] == scales[1]


def test_nothing_stands_out_of_the_window(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = ranked(hostile_sites)
    side_by_side(visit, sites.iloc[0]["site_id"], sites.iloc[1]["site_id"])
    wide = "() => { const one = document.getElementById('compare'); return one.scrollWidth - one.clientWidth; }"
    assert visit.page.evaluate(wide) <= 0


def test_keyboard_alone_opens_and_escape_closes_the_comparison_only(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = ranked(hostile_sites)
    find(visit, sites.iloc[0]["site_id"])
    visit.page.focus(".compare-button")
    visit.page.keyboard.press("Enter")
    assert visit.page.get_attribute(".compare-button", "aria-pressed") == "true"
    assert sites.iloc[0]["site_name"] in visit.text("#kept")
    visit.page.keyboard.press("Escape")
    assert not visit.page.locator("#popup").is_visible()
    find(visit, sites.iloc[1]["site_id"])
    visit.page.keyboard.press("Tab")  # close
    visit.page.keyboard.press("Tab")
    assert visit.page.evaluate("document.activeElement.className").endswith("compare-button")
    visit.page.keyboard.press("Enter")
    visit.page.wait_for_selector("#compare[open]")
    assert visit.page.evaluate("document.getElementById('compare').contains(document.activeElement)")
    visit.page.keyboard.press("Escape")
    visit.page.wait_for_selector("#compare", state="hidden")
    assert visit.page.locator("#popup").is_visible()
    assert visit.page.evaluate("document.activeElement.className").endswith("compare-button")


def test_a_kept_site_can_be_dropped(visit: Any, hostile_sites: pd.DataFrame) -> None:
    find(visit, ranked(hostile_sites).iloc[0]["site_id"])
    visit.page.click(".compare-button")
    visit.page.click(".compare-button")
    assert not visit.page.locator("#kept").is_visible()
    assert visit.text(".compare-button") == "Compare"


def test_texts_of_the_inventory_stay_texts(
    visit: Any, hostile_sites: pd.DataFrame, hostile_names: tuple[str, ...]
) -> None:
    """Every hostile name beside an ordinary site: nothing runs (`close` looks), nothing becomes an element."""
    rows = hostile_sites.index[: len(hostile_names)]
    visit.page.evaluate("window.location.hash = '#row=300'")
    visit.page.wait_for_selector("#popup:not([hidden])")
    visit.page.click(".compare-button")
    for number in rows:
        visit.page.evaluate(f"window.location.hash = '#row={number}'")
        visit.page.wait_for_function(f"document.querySelector('.place').textContent.includes('row {number}')")
        visit.page.click(".compare-button")
        visit.page.wait_for_selector("#compare[open]")
        assert visit.page.locator("#compare :is(script, img, iframe, a, object)").count() == 0
        visit.page.keyboard.press("Escape")


def test_it_prints_alone_with_cautions_and_run(
    open_page: Callable[..., Any],
    page_file: Path,
    hostile_sites: pd.DataFrame,
    invented_run: Callable[..., Any],
) -> None:
    run, sites = invented_run(hostile_sites), ranked(hostile_sites)
    visit = open_page(page_file)
    side_by_side(visit, sites.iloc[0]["site_id"], sites.iloc[1]["site_id"])
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing-compare")
    told = visit.text("#print-compare")
    assert all(text in told for text in (*run["cautions"], run["run_id"], run["programme"], "Cost, USD of 2026"))
    assert not visit.page.locator("main").is_visible() and not visit.page.locator("#compare").is_visible()
    visit.page.emulate_media(media="screen")
    visit.page.wait_for_selector("#compare[open]")
    pdf = visit.page.pdf(prefer_css_page_size=True)
    assert 1 <= len(re.findall(rb"/MediaBox", pdf)) <= 2
    visit.close()


def test_it_speaks_the_language_of_the_page(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = ranked(hostile_sites)
    visit.page.select_option("#language", "fr")
    side_by_side(visit, sites.iloc[3]["site_id"], sites.iloc[30]["site_id"])
    assert "," in visit.page.locator("#compare tbody td").nth(18).inner_text() or "," in visit.text("#compare")
