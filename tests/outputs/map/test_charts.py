"""Supply curve and months: the sums of the rows shown, steps, reading by keyboard and pointer, tables."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.glossary import monthly
from planner.outputs.map.page import map_page

pytestmark = pytest.mark.browser
MANY = 1500  # more than 600 of them are in the curve
THIN = "\u202f"


@pytest.fixture(scope="module")
def many_sites(invented_sites: Callable[..., pd.DataFrame]) -> pd.DataFrame:
    return invented_sites(MANY)


@pytest.fixture(scope="module")
def many_file(
    many_sites: pd.DataFrame,
    invented_run: Callable[..., Any],
    invented_checks: Callable[..., Any],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    path = tmp_path_factory.mktemp("charts") / "map.html"
    page = map_page(many_sites, None, invented_run(many_sites), checks=invented_checks(many_sites), findings=[])
    path.write_text(page, encoding="utf-8", newline="")
    return path


def numbers(text: str) -> list[float]:
    return [float(found.replace(THIN, "")) for found in re.findall(rf"\d[\d{THIN}]*(?:\.\d+)?", text)]


def rows_of(visit: Any, place: int) -> list[list[str]]:
    """The body of the table of a chart, unfolded if need be."""
    details = visit.page.locator("#charts details").nth(place)
    if details.get_attribute("open") is None:
        details.locator("summary").click()
    return [row.locator("td").all_text_contents() for row in details.locator("tbody tr").all()]


def in_curve(sites: pd.DataFrame) -> pd.DataFrame:
    wanted = sites["decision"].isin(["equip", "test_first"]) & (sites["volume_used_m3_day"] > 0)
    return sites[wanted].sort_values("cost_per_m3", kind="stable")


def test_curve_ends_at_the_sums_of_the_rows_shown(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.click("#tab-charts")
    curve = in_curve(hostile_sites)
    rows = [[float(cell.replace(THIN, "")) for cell in row] for row in rows_of(visit, 0)]
    assert rows[0] == pytest.approx([1, curve["volume_used_m3_day"].iloc[0], curve["cost_per_m3"].iloc[0]], abs=0.051)
    assert rows[-1][0] == len(curve)
    assert rows[-1][1] == pytest.approx(curve["volume_used_m3_day"].sum(), abs=0.6)
    assert rows[-1][2] == pytest.approx(curve["cost_per_m3"].iloc[-1], rel=0.01)
    assert np.all(np.diff(np.array(rows), axis=0)[:, :2] > 0)
    told = visit.text("#charts")
    for words in ("USD of 2026 per m³ used, whole scheme", "Volume used, added up, m³/d", "funded", "to test first"):
        assert words in told


def test_months_are_the_sums_of_the_rows_shown(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.click("#tab-charts")
    visit.page.uncheck("text=Hold")
    left = hostile_sites[hostile_sites["decision"] != "hold"]
    assert f"m³/d of the {int(left['volume_01'].notna().sum())} sites with a set" in visit.text("#charts")
    rows = rows_of(visit, 1)
    assert rows[0][0] == "January" and len(rows) == 12
    for place, name in ((1, "volume"), (2, "demand"), (3, "used")):
        shown = [float(row[place].replace(THIN, "")) for row in rows]
        expected = left.loc[left["volume_01"].notna(), monthly(name)].sum()
        assert shown == pytest.approx(expected.to_list(), rel=0.005)  # a tenth of each site is rounded off


def test_charts_follow_filters_and_may_be_empty(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.click("#tab-charts")
    visit.page.check("text=Only funded")
    funded = hostile_sites[hostile_sites["funding"] == "funded"]
    assert f"{len(funded)} of 600 rows" in visit.text("#charts")
    assert visit.page.locator("#charts .chart-keys").first.locator("li").all_inner_texts() == ["funded"]
    assert rows_of(visit, 0)[-1][0] == str(len(in_curve(funded)))
    for word in ("Equip", "Test first", "Hold"):
        visit.page.locator("#decisions label", has_text=word).locator("input").uncheck()
    assert "No site shown has a cost of water" in visit.text("#charts")
    assert "No site shown has a pump set designed" in visit.text("#charts")
    assert visit.page.locator("#charts svg.chart").count() == 0


def test_curve_is_read_by_keyboard_and_pointer(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.click("#tab-charts")
    curve = in_curve(hostile_sites)
    slider = visit.page.get_by_label("Read the curve")
    slider.press("Home")
    first = visit.text("#charts .reading")
    assert numbers(first)[:2] == pytest.approx(
        [curve["volume_used_m3_day"].iloc[0], curve["cost_per_m3"].iloc[0]], abs=0.051
    )
    assert slider.get_attribute("aria-valuetext") == first
    slider.press("ArrowRight")
    slider.press("ArrowRight")
    assert visit.text("#charts .reading").startswith("The 3 cheapest sites use ")
    slider.press("End")
    funded = int((curve["funding"] == "funded").sum())
    assert visit.text("#charts .reading").endswith(f"Funded: {funded}.")
    visit.page.locator("svg.curve").scroll_into_view_if_needed()
    box = visit.page.locator("svg.curve").bounding_box()
    visit.page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
    middle = int(slider.input_value())
    assert 0 < middle < len(curve) - 1
    assert visit.page.locator(".curve-pointer").get_attribute("visibility") == "visible"


@pytest.mark.parametrize("size", [(1366, 768), (390, 844)], ids=["wide", "narrow"])
def test_charts_fit_the_panel(open_page: Callable[..., Any], page_file: Path, size: tuple[int, int]) -> None:
    visit = open_page(page_file, size)
    visit.page.click("#tab-charts")
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert visit.page.evaluate(
        "(({ scrollWidth, clientWidth }) => scrollWidth <= clientWidth)(document.getElementById('charts'))"
    )
    for chart in visit.page.locator("#charts svg.chart").all():
        box = chart.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= size[0] and box["height"] < 300
    visit.close()


def test_many_sites_are_thinned_without_moving_the_ends(
    open_page: Callable[..., Any], many_file: Path, many_sites: pd.DataFrame
) -> None:
    visit = open_page(many_file)
    visit.page.click("#tab-charts")
    curve = in_curve(many_sites)
    assert len(curve) > 600
    steps = visit.page.locator(".curve-line").get_attribute("d").count("H")
    assert 500 < steps <= 600
    slider = visit.page.get_by_label("Read the curve")
    assert slider.get_attribute("max") == str(steps - 1)
    slider.press("End")
    count, volume, cost = numbers(visit.text("#charts .reading").replace("m³", ""))[:3]
    assert (count, volume) == (len(curve), pytest.approx(curve["volume_used_m3_day"].sum(), rel=1e-3))
    assert cost == pytest.approx(curve["cost_per_m3"].iloc[-1], rel=0.01)
    slider.press("Home")
    assert numbers(visit.text("#charts .reading"))[1] == pytest.approx(curve["cost_per_m3"].iloc[0], abs=6e-4)
    # Inside: the cost of each twelfth is that of the sites there.
    together = curve["volume_used_m3_day"].cumsum().to_numpy()
    for _, used, shown in ([float(cell.replace(THIN, "")) for cell in row] for row in rows_of(visit, 0)[1:-1]):
        place = int(np.searchsorted(together, used - 0.6))
        assert shown == pytest.approx(curve["cost_per_m3"].iloc[place], rel=0.02)
    visit.close()
