"""The printed sheet: A4 lying, map with relief, totals, filters in words, first rows, cautions, run."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

pytestmark = pytest.mark.browser


@pytest.fixture
def printed(open_page: Callable[..., Any], page_file: Path) -> Any:
    visit = open_page(page_file)
    visit.page.click("#filter-toggle")
    visit.page.fill("#filter-volume", "5")
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    yield visit
    visit.close()


def test_sheet_tells_filters_totals_cautions_and_run(
    printed: Any, hostile_sites: pd.DataFrame, invented_run: Callable[..., Any]
) -> None:
    run = invented_run(hostile_sites)
    count = int((hostile_sites["volume_used_m3_day"].round(1) >= 5).sum())
    told = printed.text("#print-filters")
    assert told == (
        f"Filters: water used at least 5 m³/d. {count} of 600 inventory rows are shown. "
        "Marks are coloured by cost of water and decision."
    )
    for text in run["cautions"]:
        assert text in printed.text("#print-cautions")
    assert run["run_id"] in printed.text("#print-run")
    assert printed.page.locator("#facts").is_visible()
    assert not printed.page.locator(".panel").is_visible()
    assert f"{count - 26} more rows are left out here" in printed.text("#print-rows")
    assert printed.page.locator("#print-rows tbody tr").count() == 26


def test_everything_of_the_first_sheet_fits(printed: Any) -> None:
    # A4 lying less margins of 9 mm: 279 by 192 mm at 96 dots to the inch.
    box = printed.page.locator(".page").bounding_box()
    assert box["width"] <= 279 / 25.4 * 96 and box["height"] <= 192 / 25.4 * 96
    words = printed.page.locator("#print-run").bounding_box()
    assert words["y"] + words["height"] <= box["y"] + box["height"]


def test_pdf_has_three_sheets_lying_and_the_relief(
    open_page: Callable[..., Any], page_file: Path, pictures: Path
) -> None:
    visit = open_page(page_file)
    visit.page.wait_for_timeout(300)
    before = visit.page.evaluate("document.getElementById('map').offsetWidth")
    pdf = visit.page.pdf(path=pictures / "page_print_a4.pdf", prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert len(boxes) == 3  # map, rows, charts
    assert all(abs(float(width) - 842) < 1 and abs(float(height) - 595) < 1 for width, height in boxes)
    # The relief is the one large picture; its width is that of the picture in the page.
    assert [int(width) for width in re.findall(rb"/Width (\d+)", pdf) if int(width) > 400]
    visit.page.wait_for_selector(".printing", state="detached")
    assert visit.page.evaluate("document.getElementById('map').offsetWidth") == before
    visit.close()


def test_no_filter_is_said_in_words(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    assert visit.text("#print-filters") == (
        "No filter is active. 600 of 600 inventory rows are shown. Marks are coloured by cost of water and decision."
    )
    visit.close()


def boxes_of(pdf: bytes) -> list[tuple[int, int]]:
    """Width and height of each sheet, mm."""
    found = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    return [(round(float(width) * 25.4 / 72), round(float(height) * 25.4 / 72)) for width, height in found]


def test_a3_lies_too_and_has_more_rows(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    visit.page.select_option("#paper", "a3")
    assert boxes_of(visit.page.pdf(prefer_css_page_size=True)) == [(420, 297)] * 3
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    assert visit.page.locator("#print-rows tbody tr").count() == 41
    box = visit.page.locator(".page").bounding_box()
    # A3 lying less margins of 9 mm: 402 by 279 mm.
    assert box["width"] <= 402 / 25.4 * 96 and box["height"] <= 279 / 25.4 * 96
    rows = visit.page.locator("#print-rows").bounding_box()
    assert rows["height"] <= 279 / 25.4 * 96
    visit.close()


def test_without_colour_the_print_is_grey_and_the_page_is_not(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    tones = "() => [...document.querySelectorAll('.scale-colour')].map((one) => getComputedStyle(one).backgroundColor)"
    before = visit.page.evaluate(tones)
    visit.page.select_option("#paper", "a4_grey")
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    greys = [[int(part) for part in re.findall(r"\d+", tone)[:3]] for tone in visit.page.evaluate(tones)]
    assert all(red == green == blue for red, green, blue in greys)
    lightness = [tone[0] for tone in greys]
    assert lightness in (sorted(set(lightness)), sorted(set(lightness), reverse=True))
    visit.page.emulate_media(media="screen")
    visit.page.wait_for_selector(".printing", state="detached")
    assert visit.page.evaluate(tones) == before
    assert not visit.page.is_checked("#grey")
    visit.close()


def test_print_names_the_layer_of_colour(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    visit.page.select_option("#layer", "evidence_grade")
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    assert visit.text("#print-filters").endswith("Marks are coloured by evidence grade.")
    for part in (".north", ".leaflet-control-scale-line", "#cost-scale", "#print-run"):
        assert visit.page.locator(part).first.is_visible(), part
    visit.close()


def test_charts_have_a_sheet_with_their_numbers(printed: Any) -> None:
    page = printed.page
    sheet = page.locator("#print-charts")
    assert sheet.locator("svg.chart").count() == 2
    # Twelve steps of the curve at most, and the months; no tool of the screen.
    assert sheet.locator("table").first.locator("tbody tr").count() <= 12
    assert sheet.locator("table").last.locator("tbody tr").count() == 12
    assert all(table.is_visible() for table in sheet.locator("table").all())
    assert not any(tool.is_visible() for tool in sheet.locator("input, summary, output").all())
    told = printed.text("#print-charts")
    assert "Filters: water used at least 5 m³/d." in told and "Costs: USD of 2026, whole scheme." in told
    # A4 lying less margins of 9 mm.
    assert sheet.bounding_box()["height"] <= 192 / 25.4 * 96
