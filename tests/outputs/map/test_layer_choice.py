"""The choice of what the colours say: legends with counts that follow the filter, marks, printing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.colour_layers import GRADE_COLOURS, VOLUME_COLOURS, colour_layers
from planner.outputs.map.site_data import site_frame
from tests.outputs.map.test_browser import FIND_PAINT

pytestmark = pytest.mark.browser
FRAME = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
# Pixels of a colour on the canvas of the sites.
COUNT_PAINT = """(colour) => {
  const canvas = document.querySelector(".leaflet-sites-pane canvas");
  const paint = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let found = 0;
  for (let at = 0; at < paint.length; at += 4) found += colour.every((part, place) => paint[at + place] === part);
  return found;
}"""


def painted(visit: Any, colour: str) -> int:
    visit.page.evaluate(FRAME)
    return visit.page.evaluate(COUNT_PAINT, [int(colour[place : place + 2], 16) for place in (1, 3, 5)])


def choose(visit: Any, key: str) -> None:
    visit.page.select_option("#layer", key)


def listed(visit: Any) -> dict[str, int]:
    """Words → count of the classes that stand as a list."""
    lines = visit.page.locator(".class-line")
    words = lines.locator("span:not(.count)").all_text_contents()
    return dict(zip(words, map(int, lines.locator(".count").all_text_contents()), strict=True))


def scale_counts(visit: Any) -> list[int]:
    return [int(text.split()[0]) for text in visit.page.locator(".scale-count").all_text_contents()]


def expected_volumes(sites: pd.DataFrame) -> list[int]:
    layer = colour_layers(site_frame(sites))[0]
    volumes = sites["volume_used_m3_day"].dropna().round(2)
    return np.bincount(np.searchsorted(layer["breaks"], volumes, side="right"), minlength=5).tolist()


def test_the_choice_is_a_labelled_list(visit: Any) -> None:
    field = visit.page.get_by_label("Colour by")
    assert field.locator("option").all_text_contents() == [
        "cost of water and decision", "volume used", "evidence grade", "probability of being funded",
    ]  # fmt: skip
    assert field.input_value() == "decision_cost"


def test_volumes_are_classed_and_those_without_are_counted(visit: Any, hostile_sites: pd.DataFrame) -> None:
    choose(visit, "volume_used")
    assert "Volume used, m³/d" in visit.text("#cost-title")
    assert scale_counts(visit) == expected_volumes(hostile_sites)
    assert listed(visit) == {"Without the value": int(hostile_sites["volume_used_m3_day"].isna().sum())}
    assert visit.page.locator("#size-scale").is_visible()
    assert painted(visit, VOLUME_COLOURS[4]) > 100


def test_grades_are_shapes_with_counts(visit: Any, hostile_sites: pd.DataFrame) -> None:
    choose(visit, "evidence_grade")
    counts = hostile_sites["evidence_grade"].value_counts()
    found = listed(visit)
    assert [word[0] for word in found] == ["A", "B", "C", "D", "W"]
    assert list(found.values()) == [*(counts[grade] for grade in "ABCD"), 0]
    assert not visit.page.locator("#size-scale").is_visible()
    for colour in GRADE_COLOURS:
        assert painted(visit, colour) > 20, colour


def test_chances_of_funding_are_classed_by_fifths(visit: Any, hostile_sites: pd.DataFrame) -> None:
    choose(visit, "funded_probability")
    chances = hostile_sites["funded_probability"]
    classes = np.bincount((chances.dropna() * 10).round().astype(int) // 2, minlength=6)
    classes[4] += classes[5]  # a probability of 1 is in the last fifth
    assert listed(visit) == {
        "80 % and more": classes[4], "60 to 80 %": classes[3], "40 to 60 %": classes[2], "20 to 40 %": classes[1],
        "below 20 %": classes[0], "Without the value": int(chances.isna().sum()),
    }  # fmt: skip


def test_counts_follow_the_filter(visit: Any, hostile_sites: pd.DataFrame) -> None:
    visit.page.uncheck("text=Hold")
    left = hostile_sites[hostile_sites["decision"] != "hold"]
    choose(visit, "evidence_grade")
    assert list(listed(visit).values())[:4] == [int((left["evidence_grade"] == grade).sum()) for grade in "ABCD"]
    visit.page.fill("#search", "lu")
    assert sum(listed(visit).values()) == int(visit.page.locator("#grid").get_attribute("aria-rowcount")) - 1
    choose(visit, "decision_cost")
    visit.page.fill("#search", "no such site")
    assert scale_counts(visit) == [0, 0, 0, 0, 0]


def test_marks_are_as_before_after_a_turn_through_all_layers(visit: Any) -> None:
    visit.page.evaluate(FRAME)
    before = visit.page.evaluate("document.querySelector('.leaflet-sites-pane canvas').toDataURL()")
    for key in ("volume_used", "evidence_grade", "funded_probability", "decision_cost"):
        choose(visit, key)
    visit.page.evaluate(FRAME)
    assert visit.page.evaluate("document.querySelector('.leaflet-sites-pane canvas').toDataURL()") == before


def test_a_click_finds_the_mark_of_another_layer(visit: Any) -> None:
    choose(visit, "evidence_grade")
    visit.page.evaluate("document.getElementById('map').scrollIntoView()")
    visit.page.evaluate(FRAME)
    place = visit.page.evaluate(FIND_PAINT, [int(GRADE_COLOURS[3][place : place + 2], 16) for place in (1, 3, 5)])
    visit.page.mouse.click(*place)
    assert visit.page.locator("#popup").is_visible()


def test_grey_tones_keep_the_order(visit: Any) -> None:
    choose(visit, "volume_used")
    visit.page.check("#grey")
    shades = visit.page.locator(".scale-colour").evaluate_all(
        "(all) => all.map((one) => Number(one.style.backgroundColor.match(/\\d+/)[0]))"
    )
    assert shades == sorted(shades, reverse=True) and len(set(shades)) == 5
    assert painted(visit, VOLUME_COLOURS[4]) == 0


def test_the_layer_stands_on_the_printed_sheet(open_page: Callable[..., Any], page_file: Path) -> None:
    visit = open_page(page_file)
    choose(visit, "evidence_grade")
    visit.page.emulate_media(media="print")
    visit.page.wait_for_selector(".printing")
    assert visit.text("#cost-title") == "Evidence grade: what is known of the well"
    assert not visit.page.locator("#layer").is_visible()
    assert visit.page.locator(".class-line").first.is_visible()
    sheet, key = visit.page.locator(".page").bounding_box(), visit.page.locator(".key").bounding_box()
    assert key["x"] + key["width"] <= sheet["x"] + sheet["width"] + 1
    visit.close()
