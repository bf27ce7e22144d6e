"""The map for notebooks: nothing of an inventory runs in it, names stay the same text, it takes more layers."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import folium
import pytest
from playwright.sync_api import Browser, Page

import planner
from planner.notebook.preview import preview_data, script_string
from planner.outputs.shared import coarse_sites


def opened(browser: Browser, file: Path) -> tuple[Page, list[str]]:
    """A page without network, and what it complained of or asked for."""
    context = browser.new_context(viewport={"width": 1000, "height": 700})
    context.set_offline(True)
    page, trouble = context.new_page(), []
    page.on("console", lambda message: trouble.append(message.text))
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.on("dialog", lambda dialog: (trouble.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda one: None if one.url.startswith(("file:", "data:")) else trouble.append(one.url))
    page.goto(file.as_uri())
    return page, trouble


POPUPS = """name => {
  const found = [];
  const map = window[name];
  const marks = [];
  map.eachLayer((layer) => { if (layer instanceof L.CircleMarker) marks.push(layer); });
  for (const mark of marks) {
    mark.openPopup();
    const box = document.querySelector(".planner-popup");
    found.push([box.querySelector("strong").textContent, [...box.querySelectorAll("dd")].map((one) => one.textContent),
      box.querySelectorAll("*").length - 2 - 2 * box.querySelectorAll("dd").length]);
    map.closePopup();
    document.querySelectorAll(".leaflet-popup").forEach((one) => one.remove());
  }
  return found;
}"""


@pytest.mark.browser
def test_nothing_of_an_inventory_runs(done: planner.Run, browser: Browser, tmp_path: Path) -> None:
    shown = planner.preview(done)
    shown.save(tmp_path / "preview.html")
    page, trouble = opened(browser, tmp_path / "preview.html")
    popups = page.evaluate(POPUPS, shown.get_name())
    placed = done.results[done.results.geometry.notna()]
    assert sorted(title for title, _, _ in popups) == sorted(placed["site_name"])
    assert {rest for _, _, rest in popups} == {0}  # no element but ours
    assert any(len(title) > 9990 for title, _, _ in popups)
    assert any("{{7*7}}{% raw %}" in title for title, _, _ in popups)
    told = {(title, *values) for title, values, _ in popups}
    for one in placed.itertuples(index=False):
        assert any({one.site_name, one.site_id, one.reason_text} <= set(texts) for texts in told), one.site_id
    assert page.evaluate("window.hurt") is None
    assert page.locator(".planner-legend > summary").text_content() == done.about["programme"]
    assert trouble == []
    page.context.close()


def test_the_file_holds_no_text_that_could_run(done: planner.Run) -> None:
    text = planner.preview(done).get_root().render()
    block = re.search(r'JSON\.parse\((".*")\)\);', text)
    assert block is not None
    assert not re.search(r"[{}%<>&`$#'\x00-\x1f\x7f-\uffff]", block[1])
    told = json.loads(json.loads(block[1]))
    assert len(told["sites"]) == done.results.geometry.notna().sum()
    rest = text.replace(block[1], "")
    for name in done.results["site_name"]:
        assert len(name) < 8 or (name not in rest and html.escape(name) not in rest)
    assert not re.search(r'(?:src|href)="(?!data:)', rest)  # nothing is fetched


def test_any_text_survives_its_escapes(hostile_names: tuple[str, ...]) -> None:
    texts = [*hostile_names, "\\{", "\\\\%}", "\x00\x1f\u2029", "\ud800", "é{é"]
    written = script_string({"a": texts})
    assert json.loads(json.loads(written)) == {"a": texts}
    assert folium.template.Template(folium.template.Template(written).render()).render() == written


@pytest.mark.browser
def test_an_analyst_adds_layers(done: planner.Run, browser: Browser, tmp_path: Path) -> None:
    shown = planner.preview(done)
    folium.Marker([-9.8, 30.2], popup="Depot", tooltip="Our depot").add_to(shown)
    road = {"type": "LineString", "coordinates": [[30.05, -9.9], [30.2, -9.8]]}
    folium.GeoJson({"type": "Feature", "properties": {}, "geometry": road}, name="Road").add_to(shown)
    folium.LayerControl(collapsed=False).add_to(shown)
    shown.save(tmp_path / "preview.html")
    page, trouble = opened(browser, tmp_path / "preview.html")
    page.locator("img.leaflet-marker-icon").click()
    assert page.locator(".leaflet-popup-content").inner_text().strip() == "Depot"
    assert page.locator("img.leaflet-marker-icon").evaluate("one => one.naturalWidth") > 0
    names = page.locator(".leaflet-control-layers-expanded label").all_inner_texts()
    equip = done.results[done.results.geometry.notna() & (done.results["decision"] == "equip")]
    assert [name.strip() for name in names] == [
        "Areas",
        f"Equip ({len(equip)})",
        "Test first (1)",
        "Hold (0)",
        "Unsuitable (1)",
        "Not assessed (0)",
        "Road",
    ]
    assert trouble == []
    page.context.close()


def test_maps_do_not_change_one_another(done: planner.Run) -> None:
    stock = list(folium.Map.default_js)
    iconed = planner.preview(done)
    folium.Marker([-9.8, 30.2], icon=folium.Icon(color="red")).add_to(iconed)
    assert "awesome-markers" in iconed.get_root().render()  # what draws such icons comes from the network
    assert "awesome-markers" not in planner.preview(done).get_root().render()
    assert folium.Map.default_js == stock


def test_tiles_only_when_asked_for(done: planner.Run) -> None:
    address = "https://tiles.invalid/{z}/{x}/{y}.png"
    assert "tiles.invalid" in planner.preview(done, tiles=address, attribution="Ours").get_root().render()
    assert "tileLayer" not in planner.preview(done).get_root().render()


@pytest.mark.browser
def test_a_notebook_shows_it(done: planner.Run, browser: Browser, tmp_path: Path) -> None:
    """As Jupyter does: the HTML of the cell in a page of its own."""
    shown = planner.preview(done)
    cell: Any = shown._repr_html_()
    assert "<iframe" in cell
    (tmp_path / "cell.html").write_text(f"<!DOCTYPE html><body>{cell}</body>", encoding="utf-8")
    page, trouble = opened(browser, tmp_path / "cell.html")
    page.frame_locator("iframe").locator(".planner-legend").wait_for()
    assert trouble == []
    page.context.close()


def test_positions_are_on_the_grid_of_the_plan(done: planner.Run) -> None:
    rough = replace(done, about={**done.about, "coarsen_m": 1000.0})
    text = planner.preview(rough).get_root().render()
    placed = coarse_sites(done.results.drop(columns="geometry"), done.checks, 1000.0).dropna(subset="latitude")
    told = preview_data(rough, placed)
    assert f"JSON.parse({script_string(told)})" in text
    assert [one["at"] for one in told["sites"]] == placed[["latitude", "longitude"]].to_numpy().tolist()
    assert not set(placed["latitude"]) & set(done.results["latitude"])
    assert "1\u00a0000 m" in told["legend"]["coarse"]
