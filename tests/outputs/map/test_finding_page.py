"""The findings of the page, shown columns and coarse positions, in a browser; counts by hand or from the frame."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from planner.outputs.map import finding_data as packing
from planner.outputs.map.block import safe_json
from planner.outputs.map.finding_data import finding_data
from planner.outputs.map.page import map_page
from planner.texts import finding_advice

Sites = Callable[..., pd.DataFrame]
WIDE, NARROW = (1366, 768), (390, 844)


@pytest.fixture(scope="module")
def file(
    invented_sites: Sites,
    invented_run: Callable[..., Any],
    invented_checks: Sites,
    invented_findings: Callable[..., Any],
    hostile_names: tuple[str, ...],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A page with hostile shown columns, hostile findings and a grid of 500 m."""
    sites = invented_sites(120, hostile=hostile_names)
    texts = [*hostile_names, *["rocky"] * 200][: len(sites)]
    shown = pd.DataFrame({name: texts for name in ("remarks", hostile_names[1], "=1+1")}, index=sites.index)
    findings = invented_findings(sites)
    # A rule comes from the tool itself; even so it is text.
    odd = [
        {"row": place + 1, "severity": "warning", "action": "flagged"}
        | dict.fromkeys(("column", "rule", "old_value", "new_value"), name)
        for place, name in enumerate(hostile_names)
    ]
    run = invented_run(sites) | {"coarsen_m": 500.0}
    checks = invented_checks(sites)
    path = tmp_path_factory.mktemp("findings") / "map.html"
    page = map_page(sites, None, run, checks=checks, findings=[*findings, *odd], shown=shown)
    path.write_text(page, encoding="utf-8", newline="")
    return path


@pytest.fixture(params=[WIDE, NARROW], ids=["wide", "narrow"])
def visit(open_page: Callable[..., Any], file: Path, request: pytest.FixtureRequest) -> Iterator[Any]:
    opened = open_page(file, request.param)
    yield opened
    opened.close()


@pytest.mark.browser
def test_a_rule_opens_by_keyboard_with_its_advice_and_leads_to_the_map(visit: Any) -> None:
    page = visit.page
    page.click("#tab-findings")
    toggle = page.locator(".rule-toggle", has_text="static_below_depth")
    toggle.focus()
    page.keyboard.press("Enter")
    assert toggle.get_attribute("aria-expanded") == "true"
    below = page.locator(f"#{toggle.get_attribute('aria-controls')}")
    done, todo = finding_advice("static_below_depth", "stopped")
    assert done in below.inner_text() and todo in below.inner_text()
    page.keyboard.press("Tab")
    name = page.evaluate("document.activeElement.textContent")
    page.keyboard.press("Enter")
    assert page.locator("#popup-title").text_content() == name
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.textContent") == name
    toggle.press("Space")
    assert toggle.get_attribute("aria-expanded") == "false" and not below.is_visible()


@pytest.mark.browser
def test_sub_district_and_severity_ask_together(
    visit: Any, invented_sites: Sites, hostile_names: tuple[str, ...]
) -> None:
    page = visit.page
    page.click("#tab-findings")
    sites = invented_sites(120, hostile=hostile_names)
    wanted = "Temba Hills"
    rows = [place for place in range(0, 120, 3) if sites["sub_district"].iloc[place] == wanted]
    stops = [place for place in rows if (place // 3) % 3 == 1]
    page.select_option("#finding-area", label=wanted)
    assert page.locator("#finding-count").inner_text().startswith(f"{len(rows)} of ")
    page.select_option("#finding-severity", "stop")
    assert page.locator("#finding-count").inner_text().startswith(f"{len(stops)} of ")
    page.locator(".rule-toggle").click()
    assert page.locator("#finding-groups .finding-list li").count() == len(stops)
    page.select_option("#finding-severity", "")
    page.select_option("#finding-area", "")
    page.locator("#finding-places .link", has_text=wanted).click()
    assert page.locator("#finding-count").inner_text().startswith(f"{len(rows)} of ")


@pytest.mark.browser
def test_hostile_findings_and_columns_are_text(visit: Any, hostile_names: tuple[str, ...]) -> None:
    page = visit.page
    page.click("#tab-findings")
    for toggle in page.locator(".rule-toggle").all():
        toggle.click()
    told = page.locator("#finding-groups").text_content()
    for name in hostile_names[:-1]:
        assert name.replace("_", " ") in told
    page.click("#tab-sites")
    for place, name in enumerate(hostile_names[:-1]):
        page.fill("#search", name)
        page.keyboard.press("Enter")
        group = page.locator("#popup .details").all_text_contents()
        assert any(f"remarks{name}" in part and f"{hostile_names[1]}{name}" in part for part in group), place
        page.keyboard.press("Escape")
    assert page.evaluate("window.hurt") is None
    assert page.locator("img, .page script, .page [onmouseover], .page [onerror]").count() == 0


@pytest.mark.browser
def test_coarse_positions_are_said_on_map_popup_and_paper(visit: Any) -> None:
    page = visit.page
    words = "Positions are rounded to a grid of 500\u00a0m: a mark is not the well"
    assert visit.text(".map .note") == words
    page.locator("#rows .site").first.click()
    assert "position to 500\u00a0m" in visit.text(".place")
    page.keyboard.press("Escape")
    page.emulate_media(media="print")
    page.wait_for_selector(".printing")
    assert words in visit.text("#print-run")
    page.emulate_media(media="screen")
    page.wait_for_selector(".printing", state="detached")


@pytest.mark.browser
def test_findings_print_alone_with_their_advice(visit: Any) -> None:
    page = visit.page
    page.click("#tab-findings")
    page.evaluate("window.print = () => {}")
    page.click("#finding-print")
    page.emulate_media(media="print")
    assert not page.locator("#map").is_visible() and not page.locator(".tabs").is_visible()
    assert page.locator(".advice").first.is_visible()
    assert page.locator("#finding-places").is_visible()
    assert page.evaluate("document.body.classList.contains('printing')") is False
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.emulate_media(media="screen")
    assert page.locator("#map").is_visible()


@pytest.mark.browser
def test_a_cut_page_counts_all_and_says_where_the_rest_is(
    open_page: Callable[..., Any],
    invented_sites: Sites,
    invented_run: Callable[..., Any],
    invented_checks: Sites,
    invented_findings: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(packing, "MOST", 31)
    sites = invented_sites(120)
    path = tmp_path / "map.html"
    page = map_page(sites, None, invented_run(sites), checks=invented_checks(sites), findings=invented_findings(sites))
    path.write_text(page, encoding="utf-8", newline="")
    visit = open_page(path)
    visit.page.click("#tab-findings")
    assert (
        visit.text("#finding-count") == "41 of 41 findings, 13 stop, 13 warning, 15 info. findings.csv has all of them."
    )
    visit.page.locator(".rule-toggle").first.click()
    assert visit.page.locator("#finding-groups .finding-list li").count() == 10
    assert "3 more rows are not in this page; findings.csv has them." in visit.text("#finding-groups")
    visit.page.fill("#finding-search", "lu")
    assert "The search sees the 31 that this page carries." in visit.text("#finding-count")
    visit.close()


def test_size_of_many_findings(invented_sites: Sites) -> None:
    # Limits by judgement: 60 000 findings on 10 000 sites add less than a mega-byte.
    sites = invented_sites(10_000)
    columns = ("depth_m", "casing_mm", "people", "ph", "crop", "status")
    rows = [
        {"row": row, "column": column, "rule": f"rule_of_{column}", "severity": "info", "action": "repaired"}
        | {"old_value": f"{row % 977}.{row % 7} L/s", "new_value": f"{row % 977}"}
        for column in columns
        for row in range(1, 10_001)
    ]
    data = finding_data(rows, sites.reset_index())
    assert (data["count"], data["carried"]) == (60_000, 30_000)
    assert sum(group["count"] for group in data["groups"]) == 60_000
    assert len(safe_json(data)) < 1_000_000


def test_long_values_are_cut_for_the_page(invented_sites: Sites) -> None:
    finding = {
        "row": 1,
        "column": "x",
        "rule": "r",
        "severity": "info",
        "old_value": "n" * 9000,
        "new_value": "",
        "action": "flagged",
    }
    data = finding_data([finding], invented_sites(3).reset_index())
    [text] = data["groups"][0]["old_value"]["texts"]
    assert re.fullmatch("n{199}…", text)
