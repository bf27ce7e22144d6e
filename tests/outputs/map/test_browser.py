"""map.html in a browser, from a file, without a network: map, table, filters, pop-up, findings, assumptions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.page import map_page
from planner.texts import sentence, texts

pytestmark = pytest.mark.browser
Sites = Callable[..., pd.DataFrame]
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
# The share of plain paper among the painted pixels of the ground.
PLAIN_PAPER = """() => {
  const canvas = document.querySelector(".leaflet-ground-pane canvas");
  const paint = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let [plain, painted] = [0, 0];
  for (let at = 0; at < paint.length; at += 4) {
    painted += paint[at + 3] === 255;
    plain += paint[at + 3] === 255 && paint[at] === 253 && paint[at + 2] === 248;
  }
  return plain / painted;
}"""
FRAME = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"


def site_on_screen(visit: Any) -> tuple[float, float]:
    """A place of the canvas that carries the paint of a site to equip, as page coordinates."""
    visit.page.evaluate(FRAME)
    place = visit.page.evaluate(FIND_PAINT, BLUE)
    assert place is not None, "no site is painted"
    return place[0], place[1]


def unfold(visit: Any) -> None:
    visit.page.click("#filter-toggle")


def shown(visit: Any) -> int:
    return int(visit.page.locator("#grid").get_attribute("aria-rowcount")) - 1


def test_opens_quietly_and_offline(visit: Any) -> None:
    assert visit.page.title() == "Kesumba district, rural water"
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert visit.text("#status") == "All 600 rows are shown."


def test_click_on_a_mark_opens_the_popup(visit: Any) -> None:
    visit.page.mouse.click(*site_on_screen(visit))
    popup = visit.page.locator("#popup")
    assert popup.is_visible()
    for words in (
        "USD/m³", "m³/d", "Total head", "Evidence", "Pump", "Capital", "Drive", "Modules", "Riser", "Motor cable",
        "Tank", "Intake", "whole scheme", "equipment only", "Next best family costs", "7.0 % more",
        "Surface pump", "suction reaches 6.5 m here",
        "Other ways to lift the water, whole scheme", "Diesel set", "100 % of demand", "water too deep",
        "distance to the grid not known", "100.0 % more", "fuel burnt only", "People unserved",
    ):  # fmt: skip
        assert words in popup.inner_text(), words
    assert visit.page.locator(".site[aria-selected=true]").count() == 1
    visit.page.keyboard.press("Escape")
    assert popup.is_hidden()


def test_popup_goes_from_the_decision_to_the_equipment(visit: Any, hostile_sites: pd.DataFrame) -> None:
    place = int(np.flatnonzero((hostile_sites["test_rank"] == 1) & (hostile_sites["switch_text"] != ""))[0])
    visit.page.fill("#search", hostile_sites.iloc[place]["site_id"])
    visit.page.keyboard.press("Enter")
    heads = visit.page.locator("#popup h3").all_text_contents()
    wanted = [
        "Water",
        "Cost, USD of 2026",
        "How sure, built as planned",
        "What would change this",
        "Well",
        "Set chosen",
    ]
    assert heads[:6] == wanted
    assert heads.index("Pump families compared") < heads.index("Other ways to lift the water, whole scheme")
    words = visit.text("#popup")
    tests = int(hostile_sites["test_rank"].max())
    assert f"more than it costs; 1 of {tests} tests by worth" in words
    assert "Rest level deeper than 41 m: no pump fits" in words
    assert "of 10 cases" in words and "test_" not in words
    # a sentence stands below its words, over the whole width
    sentence = visit.page.locator("#popup .sentence").first
    assert sentence.locator("dd").bounding_box()["y"] > sentence.locator("dt").bounding_box()["y"]


def test_every_reason_is_in_the_popup(visit: Any, hostile_sites: pd.DataFrame) -> None:
    place = int(np.flatnonzero(hostile_sites["decision"] == "unsuitable")[-5])
    site = hostile_sites.iloc[place]
    visit.page.fill("#search", site["site_id"])
    visit.page.keyboard.press("Enter")
    told = visit.page.locator("#popup .reasons li").all_text_contents()
    assert " ".join(told) == site["reason_text"]
    assert len(told) == 3


def test_what_was_read_stands_beside_what_was_made_of_it(visit: Any, hostile_sites: pd.DataFrame) -> None:
    site = hostile_sites.iloc[99]  # the 34th of every third row: kind 33 % 3, a unit in a cell
    visit.page.fill("#search", site["site_id"])
    visit.page.keyboard.press("Enter")
    words = visit.text("#popup")
    assert "As read from the inventory" in words
    assert f"{site['site_name']}" in visit.page.locator("#popup q").inner_text()
    assert "355.6" in words and "repaired" in words


def test_keyboard_from_the_table(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.keyboard.press("Tab")
    assert visit.page.evaluate("document.activeElement.className") == "skip"
    visit.page.keyboard.press("Enter")
    assert visit.page.evaluate("document.activeElement.id") == "grid"
    for key in ("ArrowDown", "ArrowDown", "Enter"):
        visit.page.keyboard.press(key)
    second = hostile_sites[hostile_sites["rank"] == 2].iloc[0]
    equip = (hostile_sites["decision"] == "equip").sum()
    assert visit.page.locator("#popup-title").text_content() == second["site_name"]
    assert f"rank 2 of {equip}" in visit.text("#popup")
    assert visit.page.evaluate("document.activeElement.id") == "popup"
    visit.page.keyboard.press("Escape")
    assert visit.page.locator("#popup").is_hidden()
    assert visit.page.evaluate("document.activeElement.id") == "grid"
    visit.page.keyboard.press("End")
    visit.page.evaluate(FRAME)
    active = visit.page.locator("#grid").get_attribute("aria-activedescendant")
    assert visit.page.locator(f"#{active}").get_attribute("aria-rowindex") == "601"
    assert visit.page.locator(f"#{active}").is_visible()
    assert visit.page.locator("#rows .site").count() < 60, "only rows in view exist"


def test_pointing_links_table_and_map(visit: Any) -> None:
    visit.page.locator("#rows .site").nth(2).hover()
    assert visit.page.locator(".halo").is_visible()
    visit.page.evaluate("scrollTo(0, 0)")
    visit.page.mouse.move(*site_on_screen(visit))
    visit.page.evaluate(FRAME)
    assert visit.page.locator("#tip").is_visible()


def test_hostile_names_are_plain_text(visit: Any, hostile_sites: pd.DataFrame, hostile_names: tuple[str, ...]) -> None:
    for place, name in enumerate(hostile_names):
        visit.page.fill("#search", name)
        row = visit.page.locator("#rows .name bdi", has_text=name[:30].split("\u2028")[0]).first
        assert row.text_content() == name
        visit.page.keyboard.press("Enter")
        assert visit.page.locator("#popup-title").text_content() == name
        assert f"row {hostile_sites.index[place]}" in visit.text("#popup")
        visit.page.keyboard.press("Escape")
    visit.page.fill("#search", "")
    unfold(visit)
    assert set(hostile_names) <= set(visit.page.locator("#filter-area option").all_text_contents())
    visit.page.select_option("#filter-area", hostile_names[0])
    assert visit.text("#status") == f"1 of 600 rows: sub-district {hostile_names[0]}."
    assert visit.page.evaluate("window.hurt") is None
    assert visit.page.locator("img, #rows script, #popup script, [onmouseover], [onerror]").count() == 0


def test_legend_counts_reconcile_with_the_inventory(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = hostile_sites
    counts = [int(text) for text in visit.page.locator("#decisions .count").all_text_contents()]
    decisions = ["equip", "test_first", "hold", "unsuitable", "not_assessed"]
    assert counts[:5] == [(sites["decision"] == name).sum() for name in decisions]
    assert sum(counts[:5]) == len(sites)
    assert counts[5] == (sites["funding"] == "funded").sum()
    limits = [float(text) for text in visit.page.locator(".scale-limit").all_text_contents()]
    coloured = sites.loc[sites["decision"].isin(decisions[:2]), "cost_per_m3"].round(3)
    expected = np.bincount(np.searchsorted(limits, coloured, side="right"))
    classes = [int(text.split()[0]) for text in visit.page.locator(".scale-count").all_text_contents()]
    assert classes == expected.tolist()


def test_each_filter_takes_what_it_says(visit: Any, hostile_sites: pd.DataFrame) -> None:
    sites = hostile_sites
    unfold(visit)
    cost, volume = sites["cost_per_m3"].round(3), sites["volume_used_m3_day"].round(1)
    for act, wanted, words in (
        (lambda: visit.page.fill("#filter-cost", "0.25"), cost <= 0.25, "cost at most 0.25 USD/m³"),
        (lambda: visit.page.fill("#filter-volume", "9"), volume >= 9, "water used at least 9 m³/d"),
        (lambda: visit.page.check("#filter-equip"), sites["decision"] == "equip", "only sites to equip"),
        (
            lambda: visit.page.select_option("#filter-area", "Temba Hills"),
            sites["sub_district"] == "Temba Hills",
            "sub-district Temba Hills",
        ),
        (
            lambda: visit.page.select_option("#filter-family", "helical_rotor"),
            sites["pump_family"] == "helical_rotor",
            "pump family helical rotor",
        ),
        (lambda: visit.page.uncheck("text=Hold"), sites["decision"] != "hold", "without hold"),
        (lambda: visit.page.check("#filter-off-map"), sites["latitude"].isna(), "not on the map"),
    ):
        act()
        assert visit.text("#status") == f"{wanted.sum()} of 600 rows: {words}."
        assert shown(visit) == wanted.sum()
        visit.page.click("#reset")
        assert visit.text("#status") == "All 600 rows are shown."


def test_totals_follow_the_filters(visit: Any, hostile_sites: pd.DataFrame) -> None:
    unfold(visit)
    visit.page.fill("#filter-cost", "0.2")
    sites = hostile_sites[hostile_sites["cost_per_m3"].round(3) <= 0.2]
    funded = sites[sites["funding"] == "funded"]
    facts = visit.page.locator("#facts dd").all_text_contents()
    assert int(facts[0]) == len(funded)
    used = float(facts[1].replace("\u202f", ""))
    assert used == pytest.approx(funded["volume_used_m3_day"].sum(), rel=0.006)  # shown with three digits
    equip, test = (int((sites["decision"] == name).sum()) for name in ("equip", "test_first"))
    assert f"{equip} of the {len(sites)} rows shown can be equipped now" in visit.text("#scope")
    assert f"{test} more need a test first" in visit.text("#scope")


def test_order_by_any_column_with_missing_values_last(visit: Any, hostile_sites: pd.DataFrame) -> None:
    unfold(visit)
    visit.page.select_option("#order", "volume_used_m3_day")
    column = visit.page.locator("#columns [data-key=volume_used_m3_day]")
    assert column.get_attribute("aria-sort") == "ascending"
    column.locator("button").click()
    assert column.get_attribute("aria-sort") == "descending"
    largest = hostile_sites.sort_values("volume_used_m3_day", ascending=False)["site_name"].iloc[0]
    first = visit.page.locator("#rows [aria-rowindex='2'] .name bdi").first
    assert first.text_content() == largest
    visit.page.locator("#grid").press("End")
    visit.page.evaluate(FRAME)
    assert visit.page.locator("#rows [aria-rowindex='601'] .number").nth(2).text_content() == "–"


def test_rows_without_rank_say_why(visit: Any, hostile_sites: pd.DataFrame) -> None:
    place = int(np.flatnonzero(hostile_sites["decision"] == "hold")[-5])
    site = hostile_sites.iloc[place]
    visit.page.fill("#search", site["site_id"])
    line = visit.page.locator("#rows .site small").first.inner_text()
    # The gravest reason, not the first: that the demand is met holds nobody.
    assert "Hold: " + sentence("fluoride_above_limit", "", 2.125, 1.5) in line


def test_rows_without_position_are_one_press_away(visit: Any) -> None:
    assert visit.text("#off-map") == "3 not on the map"
    visit.page.click("#off-map")
    assert shown(visit) == 3
    visit.page.locator("#rows .site").first.click()
    assert "not on the map" in visit.text("#popup")


def test_all_columns_of_a_wide_table(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    assert not visit.page.locator("#columns .extra").first.is_visible()
    visit.page.click("#columns-toggle")
    heads = visit.page.locator("#columns [role=columnheader]").all_inner_texts()
    assert heads == [
        "Rank", "Site", "Sub-district", "Decision", "Funding", "Pump family", "USD/m³", "m³/d used", "Capital, USD",
        "People",
    ]  # fmt: skip
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    visit.close()


def test_with_lots_there_is_a_column_of_lots(
    open_page: Callable[..., Any],
    invented_sites: Callable[..., Any],
    invented_run: Callable[..., Any],
    invented_checks: Any,
    tmp_path: Path,
) -> None:
    sites = invented_sites(30).assign(lot=2.0)
    file = tmp_path / "map.html"
    page = map_page(sites, None, invented_run(sites), checks=invented_checks(sites), findings=[])
    file.write_text(page, encoding="utf-8", newline="")
    visit = open_page(file)
    visit.page.click("#columns-toggle")
    assert visit.page.locator("#columns [role=columnheader]").all_inner_texts()[-1] == "Lot"
    assert visit.page.locator("#rows .site").first.locator("[role=gridcell]").last.inner_text() == "2"
    visit.close()


def test_relief_can_be_switched_off(visit: Any) -> None:
    visit.page.wait_for_timeout(200)
    assert visit.page.evaluate(PLAIN_PAPER) < 0.3
    visit.page.uncheck("#relief")
    visit.page.evaluate(FRAME)
    assert visit.page.evaluate(PLAIN_PAPER) > 0.9  # the rest are outlines


def test_grey_tones_leave_no_colour(visit: Any) -> None:
    site_on_screen(visit)
    visit.page.check("#grey")
    visit.page.evaluate(FRAME)
    assert visit.page.evaluate(FIND_PAINT, BLUE) is None


def test_findings_are_grouped_counted_and_lead_to_their_sites(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.click("#tab-findings")
    assert visit.text("#tab-findings") == "Findings (201)"
    counts = [int(text or 0) for text in visit.page.locator("#finding-groups .count").all_text_contents()]
    assert sum(counts) == 201
    assert visit.text("#finding-count") == "201 of 201 findings, 67 stop, 66 warning, 68 info."
    visit.page.select_option("#finding-severity", "stop")
    assert visit.page.locator("#finding-groups .rule").count() == 1
    visit.page.locator("#finding-groups .rule-toggle").click()
    link = visit.page.locator("#finding-groups .link").nth(20)
    name = link.text_content()
    link.click()
    assert visit.page.locator("#popup-title").text_content() == name
    visit.page.keyboard.press("Escape")
    visit.page.select_option("#finding-severity", "")
    visit.page.fill("#finding-search", "remarks")
    assert "1 of 201 findings" in visit.text("#finding-count")


def test_read_first_and_assumptions_tell_the_run(
    visit: Any, hostile_sites: pd.DataFrame, invented_run: Callable[..., dict[str, Any]]
) -> None:
    run = invented_run(hostile_sites)
    visit.page.click("#caution")
    words = visit.text("#read")
    for text in (*run["cautions"], *run["notes"], run["run_id"], "4 May 2026", run["version"], "600"):
        assert text in words
    visit.page.click("#tab-assumptions")
    rows = visit.page.locator("#assumptions tr")
    assert "default" in rows.filter(has_text="discount_rate").inner_text()
    assert "default" not in rows.filter(has_text="growth").inner_text()
    assert "0.025" in rows.filter(has_text="growth").inner_text()
    assert "1 in each of 12" in rows.filter(has_text="season").inner_text()
    assert "not compared yet" in visit.text("#assumptions")


def test_sentences_of_every_rule_are_the_tools_own(
    open_page: Callable[..., Any], invented_sites: Sites, invented_run: Callable[..., Any], tmp_path: Path
) -> None:
    rules = [rule for rule, (kind, _) in texts().items() if kind == "reason"]
    sites = invented_sites(len(rules))
    rows, expected = [], []
    for row, rule in zip(sites.index, rules, strict=True):
        subject = ("helical_rotor", "row 7 $& {limit}", "")[row % 3]
        value, limit = (0.0123456, 66.9999, 2.125, 12345.6, float("nan"))[row % 5], (89.96, 0.0)[row % 2]
        rows.append((row, rule, subject, value, limit, False))
        expected.append(sentence(rule, subject, value, limit))
    checks = pd.DataFrame(rows, columns=["inventory_row", "rule", "subject", "value", "limit", "pass"])
    sites["reason_codes"] = rules
    path = tmp_path / "map.html"
    page = map_page(sites, None, invented_run(sites), checks=checks, findings=[])
    path.write_text(page, encoding="utf-8", newline="")
    visit = open_page(path)
    told = []
    for site_id in sites["site_id"]:
        visit.page.fill("#search", site_id)
        visit.page.keyboard.press("Enter")
        told.append(visit.page.locator("#popup .reasons").text_content())
    assert told == expected
    visit.close()


def test_without_boundary_and_without_any_site(
    open_page: Callable[..., Any],
    invented_sites: Sites,
    invented_run: Callable[..., Any],
    invented_checks: Sites,
    tmp_path: Path,
) -> None:
    sites = invented_sites(40)
    sites[["latitude", "longitude"]] = np.nan
    sites["decision"] = "not_assessed"
    sites[["cost_per_m3", "volume_used_m3_day", "rank"]] = np.nan
    path = tmp_path / "map.html"
    page = map_page(sites, None, invented_run(sites), checks=invented_checks(sites), findings=[])
    path.write_text(page, encoding="utf-8", newline="")
    visit = open_page(path)
    assert visit.text("#off-map") == "40 not on the map"
    assert visit.text("#tab-findings") == "Findings (0)"
    visit.close()
