"""map.html in a browser, from a file, without a network."""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.pipeline import run

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
# Continuous integration installs Chromium: there the tests fail rather than skip.
MISSING = CHROMIUM is None and not os.environ.get("CI")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(MISSING, reason="no Chromium on this machine")]
DEMO = Path(__file__).parents[3] / "data_demo"

Sites = Callable[..., pd.DataFrame]
Run = Callable[[pd.DataFrame], dict[str, Any]]
WIDE = (1366, 768)
NARROW = (390, 844)
BLUE = [15, 116, 196]  # second colour of the palette
# The first pixel of that colour well inside the map, as page coordinates.
FIND_PAINT = """(colour) => {
  const canvas = document.querySelector(".leaflet-sites-pane canvas");
  const paint = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  const box = canvas.getBoundingClientRect();
  const map = document.getElementById("map").getBoundingClientRect();
  for (let at = 0; at < paint.length; at += 4) {
    if (colour.some((part, place) => paint[at + place] !== part)) continue;
    const x = box.left + (((at / 4) % canvas.width) * box.width) / canvas.width;
    const y = box.top + (Math.floor(at / 4 / canvas.width) * box.height) / canvas.height;
    if (x > map.left + 120 && y > map.top + 90 && x < map.right - 20 && y < map.bottom - 60) return [x, y];
  }
  return null;
}"""


class Visit:
    """A page that was opened, with all that it said and asked for."""

    def __init__(self, browser: Browser, file: Path, size: tuple[int, int]) -> None:
        self.trouble: list[str] = []
        self.context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        self.context.set_offline(True)
        self.context.route("**/*", self._route)
        self.page: Page = self.context.new_page()
        self.page.on("console", lambda message: self.trouble.append(message.text))
        self.page.on("pageerror", lambda error: self.trouble.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.trouble.append(dialog.message), dialog.dismiss()))
        self.page.goto(file.as_uri())
        self.page.wait_for_selector("#list .site")

    def _route(self, route: Any) -> None:
        if route.request.url.startswith(("file:", "data:", "blob:")):
            route.continue_()
        else:
            self.trouble.append(route.request.url)
            route.abort()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def sites(invented_sites: Sites) -> pd.DataFrame:
    return invented_sites(600, hostile=True)


@pytest.fixture(scope="module")
def file(
    sites: pd.DataFrame,
    invented_run: Run,
    invented_district: gpd.GeoDataFrame,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    text = map_page(sites, simplify_areas(invented_district, "name"), invented_run(sites))
    path.write_text(text, encoding="utf-8", newline="")
    return path


@pytest.fixture(params=[WIDE, NARROW], ids=["wide", "narrow"])
def visit(browser: Browser, file: Path, request: pytest.FixtureRequest) -> Iterator[Visit]:
    opened = Visit(browser, file, request.param)
    yield opened
    opened.context.close()
    assert opened.trouble == []


def site_on_screen(visit: Visit) -> tuple[float, float]:
    """A place of the canvas that carries the paint of a site to equip, as page coordinates."""
    place = visit.page.evaluate(FIND_PAINT, BLUE)
    assert place is not None, "no site is painted"
    return place[0], place[1]


def test_opens_quietly_and_offline(visit: Visit) -> None:
    assert visit.page.title() == "Kesumba district, rural water"
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_click_on_a_mark_opens_the_popup(visit: Visit) -> None:
    visit.page.mouse.click(*site_on_screen(visit))
    popup = visit.page.locator("#popup")
    assert popup.is_visible()
    for words in ("USD/m³", "m³/d", "Total head", "Evidence", "Pump", "Capital"):
        assert words in popup.inner_text()
    visit.page.keyboard.press("Escape")
    assert popup.is_hidden()


def test_keyboard_from_the_list(visit: Visit, sites: pd.DataFrame) -> None:
    visit.page.keyboard.press("Tab")
    assert visit.page.evaluate("document.activeElement.className") == "skip"
    visit.page.locator("#list .site").first.focus()
    visit.page.keyboard.press("ArrowDown")
    visit.page.keyboard.press("Enter")
    second = sites[sites["rank"] == 2].iloc[0]
    assert visit.page.locator("#popup-title").text_content() == second["site_name"]
    assert f"rank 2 of {(sites['decision'] == 'equip').sum()}" in visit.page.locator("#popup").inner_text()
    assert visit.page.evaluate("document.activeElement.id") == "popup"
    visit.page.keyboard.press("Escape")
    assert visit.page.locator("#popup").is_hidden()
    assert second["site_name"] in (visit.page.evaluate("document.activeElement.textContent") or "")


def test_hostile_names_are_plain_text(
    visit: Visit, sites: pd.DataFrame, hostile_names: tuple[str, ...]
) -> None:
    for place, name in enumerate(hostile_names):
        visit.page.fill("#search", name)
        row = visit.page.locator("#list .name > bdi", has_text=name.strip()).first
        assert row.text_content() == name
        visit.page.keyboard.press("Enter")
        assert visit.page.locator("#popup-title").text_content() == name
        assert f"row {sites.index[place]}" in visit.page.locator("#popup").inner_text()
        assert visit.page.locator("#popup .reasons").text_content() == name
        visit.page.keyboard.press("Escape")
    assert visit.page.evaluate("window.hurt") is None
    assert visit.page.locator("img, #list script, #popup script").count() == 0


def test_legend_counts_reconcile_with_the_inventory(visit: Visit, sites: pd.DataFrame) -> None:
    shown = [int(text) for text in visit.page.locator(".switch .count").all_text_contents()]
    decisions = ["equip", "test_first", "hold", "unsuitable", "not_assessed"]
    assert shown[:5] == [(sites["decision"] == name).sum() for name in decisions]
    assert sum(shown[:5]) == len(sites)
    assert shown[5] == (sites["funding"] == "funded").sum()
    limits = [float(text) for text in visit.page.locator(".scale-limit").all_text_contents()]
    coloured = sites.loc[sites["decision"].isin(decisions[:2]), "cost_per_m3"]
    expected = np.bincount(np.searchsorted(limits, coloured, side="right"))
    classes = [int(text.split()[0]) for text in visit.page.locator(".scale-count").all_text_contents()]
    assert classes == expected.tolist()


def test_switches_filter_list_and_map(visit: Visit, sites: pd.DataFrame) -> None:
    for words in ("Test first", "Hold", "Unsuitable", "Not assessed"):
        visit.page.get_by_label(words).uncheck()
    equip = (sites["decision"] == "equip").sum()
    assert visit.page.locator("#status").text_content() == f"{equip} of 600 rows shown"
    visit.page.get_by_label("Only funded").check()
    assert visit.page.locator("#status").text_content() == "60 of 600 rows shown"
    assert visit.page.locator("#list .site").count() == 60
    site_on_screen(visit)
    visit.page.get_by_label("Equip").uncheck()
    assert visit.page.locator("#list .site").count() == 0


def test_rows_without_position_are_listed_with_their_reason(visit: Visit, sites: pd.DataFrame) -> None:
    visit.page.click("#tab-off")
    items = visit.page.locator("#off li")
    assert items.count() == 3
    assert "no usable position" in items.first.inner_text()
    visit.page.locator("#off .link").first.click()
    assert "not on the map" in visit.page.locator("#popup").inner_text()


def test_read_first_tells_the_run(visit: Visit, invented_run: Run, sites: pd.DataFrame) -> None:
    visit.page.click("#caution")
    words = visit.page.locator("#read").inner_text()
    run = invented_run(sites)
    for text in (
        *run["cautions"],
        *run["notes"],
        *run["defaults_used"],
        run["run_id"],
        run["date"],
        "1 in each of 12",
    ):
        assert text in words
    assert "600" in words


def test_long_list_grows_by_keyboard(visit: Visit) -> None:
    assert visit.page.locator("#list .site").count() == 100
    visit.page.locator("#more").press("Enter")
    assert visit.page.locator("#list .site").count() == 200


def test_without_boundary_and_without_any_site(
    browser: Browser, invented_sites: Sites, invented_run: Run, tmp_path: Path
) -> None:
    sites = invented_sites(40)
    sites[["latitude", "longitude"]] = np.nan
    sites["decision"] = "not_assessed"
    sites[["cost_per_m3", "volume_used_m3_day", "rank"]] = np.nan
    path = tmp_path / "map.html"
    path.write_text(map_page(sites, None, invented_run(sites)), encoding="utf-8", newline="")
    opened = Visit(browser, path, WIDE)
    assert opened.page.locator("#tab-off").inner_text() == "Not on the map (40)"
    opened.context.close()
    assert opened.trouble == []


@pytest.fixture(scope="module")
def demo(
    hostile_names: tuple[str, ...], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, pd.DataFrame]:
    """The demo run from its inventory, with hostile names written into its first rows; the map and its table."""
    folder = tmp_path_factory.mktemp("demo") / "data"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("__pycache__"))
    path = folder / "boreholes.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    place = rows[0].index("village")
    for row, name in zip(rows[1:], hostile_names, strict=False):
        row[place] = name
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    out = folder.parent / "out"
    run(folder / "plan.toml", out)
    return out / "map.html", pd.read_parquet(out / "sites.parquet")


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_demo_map(
    browser: Browser, demo: tuple[Path, pd.DataFrame], size: tuple[int, int], hostile_names: tuple[str, ...]
) -> None:
    file, sites = demo
    visit = Visit(browser, file, size)
    first = sites[sites["rank"] == 1].iloc[0]
    visit.page.locator("#list .site").first.click()
    assert visit.page.locator("#popup-title").text_content() == first["site_name"]
    assert f"{first['cost_per_m3']:.3f}" in visit.page.locator("#popup").inner_text()
    visit.page.keyboard.press("Escape")
    assert list(sites["site_name"].iloc[: len(hostile_names)]) == list(hostile_names)
    for name in hostile_names:
        visit.page.locator("#search").fill(name)
        shown = visit.page.locator("#list .site", has_text=name.split("\u2028")[0])
        assert shown.count() >= 1, name
    assert visit.page.evaluate("window.hurt") is None
    visit.context.close()
    assert visit.trouble == []
