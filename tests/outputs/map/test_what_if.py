"""The page's section of scenarios: totals, sites in and out, a clash; hostile names stay text; print and narrow."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.choice.moves import totals
from planner.outputs.map.page import map_page
from planner.texts import said

pytestmark = pytest.mark.browser
HURT = "<img src=x onerror=window.hurt=1>"


@pytest.fixture
def scenario_page(
    invented_sites: Callable[..., Any], invented_run: Callable[..., Any], invented_checks: Any, tmp_path: Path
) -> Path:
    sites = invented_sites(60)
    sums = totals(sites.assign(funding="", capital_cost=1000.0, people_served=10.0))
    rows = [
        {"name": "", "changes": [], "totals": sums, "clash": "", "in": [], "out": []},
        {
            **{
                "name": "drought",
                "changes": ["well.level_decline_m 0 → 5"],
                "clash": "",
                "in": [HURT],
                "out": ["W2", said("move_row", row="31")],
            },
            "totals": {**sums, "equip": 7, "cost_per_m3_median": None},
        },
        {"name": HURT, "changes": [], "totals": None, "clash": f"rules {HURT} clash", "in": [], "out": []},
    ]
    page = map_page(sites, None, invented_run(sites) | {"scenarios": rows}, checks=invented_checks(sites), findings=[])
    path = tmp_path / "map.html"
    path.write_text(page, encoding="utf-8", newline="")
    return path


@pytest.mark.parametrize("size", [(1366, 768), (390, 844)], ids=["wide", "narrow"])
def test_scenarios_are_told(open_page: Callable[..., Any], scenario_page: Path, size: tuple[int, int]) -> None:
    visit = open_page(scenario_page, size)
    visit.page.click("#tab-what-if")
    words = visit.text("#what-if")
    for text in ("The plan", "row 31", "drought", "well.level_decline_m 0 → 5", HURT, "rules clash: no result", "W2"):
        assert text in words
    assert visit.page.locator("#what-if .scenarios tbody tr").count() == 3
    assert visit.page.locator("#what-if img").count() == 0
    assert visit.page.evaluate("window.hurt") is None
    # the page itself never scrolls sideways
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    visit.close()


def test_scenarios_are_printed(open_page: Callable[..., Any], scenario_page: Path) -> None:
    visit = open_page(scenario_page)
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    assert "What if" in visit.text("#print-rows")
    assert visit.page.locator("#print-rows .scenarios tbody tr").count() == 3
    visit.close()


def test_without_scenarios_there_is_no_tab(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    assert not visit.page.locator("#tab-what-if").is_visible()
    visit.page.focus("#tab-sites")
    visit.page.keyboard.press("ArrowLeft")  # round to the last that is there
    assert visit.page.evaluate("document.activeElement.id") == "tab-assumptions"
    visit.close()
