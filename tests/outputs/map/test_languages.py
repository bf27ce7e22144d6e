"""Another language is chosen in the page: words, numbers, months and dates change, choices and the open pop-up stay.

French is here the English of the table behind a mark, so that a word that does not go through the table shows; Swahili
has a few words of its own and falls back to English elsewhere. Decimal signs, month names and dates are those of CLDR.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from planner.outputs.map.block import safe_json
from planner.outputs.map.page import map_page
from planner.texts import texts

pytestmark = pytest.mark.browser
MARK = "¤"
SWAHILI = {"page_tab_read": "Soma kwanza", "page_decision_test_first": "Pima kwanza", "no_design": "Hakuna pampu hapa."}
DATA = re.compile(r'(<script type="application/json" id="data">)(.*?)(</script>)', re.S)
# Words that the page itself says: those of elements that carry no text of the data.
UNMARKED = """(mark) => {
  const kinds = "h2, h3, dt, th, label, legend, button, option, caption, .kicker, .skip";
  const names = ["language", "filter-area", "finding-area"];
  const isData = (one) => one.querySelector("bdi") || names.includes(one.parentElement.id);
  const own = (one) => [...one.childNodes].filter(({ nodeType, nodeName }) => nodeType === 3 || nodeName === "SPAN");
  return [...document.querySelectorAll(kinds)]
    .filter((one) => !isData(one))
    .map((one) => own(one).map((part) => part.textContent).join(""))
    .filter((text) => /[A-Za-zÀ-ÿ]{3,}/.test(text.replaceAll("USD", "")) && !text.includes(mark));
}"""
LABELS = "[...document.querySelectorAll('[aria-label], [title]')].map((one) => one.ariaLabel || one.title)"


@pytest.fixture(scope="module")
def file(
    invented_sites: Callable[..., pd.DataFrame],
    invented_run: Callable[..., Any],
    invented_checks: Any,
    invented_findings: Callable[..., Any],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    sites = invented_sites(200)
    cautions = [{"en": "Two notes.", "fr": f"{MARK}Deux notes."}, "In one language."]
    run = invented_run(sites) | {"language": "fr", "cautions": cautions, "coarsen_m": 500.0}
    page = map_page(sites, None, run, checks=invented_checks(sites), findings=invented_findings(sites))
    path = tmp_path_factory.mktemp("languages") / "map.html"
    path.write_text(DATA.sub(translated, page), encoding="utf-8", newline="")
    return path


def translated(found: re.Match[str]) -> str:
    data = json.loads(found[2])
    block = data["texts"]
    english = block["texts"]["en"]
    names = block["keys"].index("page_language_name")
    own = {language: block["texts"][language][names] for language in ("fr", "sw")}
    block["texts"]["fr"] = [f"{MARK}{text}" for text in english]
    block["texts"]["sw"] = [SWAHILI.get(key, "") for key in block["keys"]]
    for language, name in own.items():
        block["texts"][language][names] = name
    return f"{found[1]}{safe_json(data)}{found[3]}"


@pytest.fixture
def visit(open_page: Callable[..., Any], file: Path) -> Iterator[Any]:
    opened = open_page(file)
    yield opened
    opened.close()


def lang(visit: Any) -> str:
    return str(visit.page.evaluate("document.documentElement.lang"))


def choose(visit: Any, language: str) -> None:
    visit.page.select_option("#language", language)


def test_the_page_opens_in_the_language_of_the_plan_and_every_word_goes_through_the_table(visit: Any) -> None:
    page = visit.page
    assert lang(visit) == "fr"
    assert page.locator("#language option").all_text_contents() == [
        *("English", "Français", "Português", "Español", "Kiswahili"),
    ]
    page.locator("#rows .site").first.click()
    page.click("#tab-findings")
    page.locator(".rule-toggle").first.click()
    assert page.evaluate(UNMARKED, MARK) == []
    labels = page.evaluate(
        "[...document.querySelectorAll('[aria-label], [title]')].map((one) => one.ariaLabel || one.title)"
    )
    assert [text for text in labels if re.search("[A-Za-z]{3}", text) and MARK not in text] == []
    for part in ("#status", "#scope", "#foot", "#finding-count", ".map .note", "#popup .place", "#popup .reasons"):
        assert MARK in visit.text(part), part
    page.emulate_media(media="print")
    page.wait_for_selector(".printing")
    for part in ("#print-filters", "#print-run", "#print-rows h2", "#print-rows th"):
        assert MARK in page.locator(part).first.inner_text(), part


def test_texts_of_the_run_come_in_the_language_where_they_have_it(visit: Any) -> None:
    page = visit.page
    page.click("#tab-read")
    assert f"{MARK}Deux notes." in visit.text("#read") and "In one language." in visit.text("#read")
    assert f"{MARK}Deux notes." in visit.text("#caution")
    choose(visit, "en")
    assert "Two notes." in visit.text("#read") and "Two notes." in visit.text("#caution")


def test_numbers_months_and_dates_are_those_of_the_language(visit: Any) -> None:
    page = visit.page
    page.locator("#rows .site").first.click()

    def seen() -> tuple[str, str, str, str]:
        cost = page.locator("#rows [aria-rowindex='2'] .strong").inner_text()
        chart = page.locator(".chart").get_attribute("aria-label")
        return cost, chart or "", visit.text("#foot"), page.locator(".chart-month").first.text_content()

    cost, chart, foot, _ = seen()
    assert re.fullmatch(r"0,\d{3}", cost) and "janvier" in chart and "4 mai 2026" in foot
    choose(visit, "sw")
    cost, chart, foot, _ = seen()
    assert re.fullmatch(r"0\.\d{3}", cost) and "Januari" in chart and "4 Mei 2026" in foot
    choose(visit, "pt")
    cost, chart, foot, _ = seen()
    assert re.fullmatch(r"0,\d{3}", cost) and "janeiro" in chart and "4 de maio de 2026" in foot
    choose(visit, "es")
    cost, chart, foot, letter = seen()
    assert re.fullmatch(r"0,\d{3}", cost) and letter == "E" and "4 de mayo de 2026" in foot


def test_filters_focus_and_the_open_popup_stay(visit: Any) -> None:
    page = visit.page
    page.click("#filter-toggle")
    page.select_option("#filter-family", "helical_rotor")
    page.fill("#filter-cost", "0.25")
    page.uncheck("#decisions label:nth-child(3) input")
    page.select_option("#order", "volume_used_m3_day")
    page.locator("#rows .site", has=page.locator("small", has_text="Test first")).first.click()
    title, rows = page.locator("#popup-title").text_content(), page.locator("#grid").get_attribute("aria-rowcount")
    page.evaluate("document.getElementById('popup').scrollTop = 60")
    first = page.locator("#rows [aria-rowindex='2'] .name bdi").first.text_content()
    page.locator("#language").focus()
    choose(visit, "sw")
    assert lang(visit) == "sw"
    assert page.evaluate("document.activeElement.id") == "language"
    assert page.locator("#tab-read").inner_text() == SWAHILI["page_tab_read"]
    assert page.locator("#popup").is_visible() and page.locator("#popup-title").text_content() == title
    assert page.evaluate("document.getElementById('popup').scrollTop") == 60
    assert page.locator("#popup .verdict strong").inner_text() == SWAHILI["page_decision_test_first"]
    assert page.locator("#grid").get_attribute("aria-rowcount") == rows
    assert page.locator("#rows [aria-rowindex='2'] .name bdi").first.text_content() == first
    assert page.input_value("#filter-cost") == "0.25"  # what is typed stays a plain number
    assert page.input_value("#filter-family") == "helical_rotor" and page.input_value("#order") == "volume_used_m3_day"
    assert not page.locator("#decisions label:nth-child(3) input").is_checked()
    assert "cost at most 0.25 USD/m³" in visit.text("#status")  # what Swahili lacks is said in English
    choose(visit, "fr")
    assert "0,25 USD/m³" in visit.text("#status") and MARK in visit.text("#status")
    page.keyboard.press("Escape")


def test_opened_findings_stay_open_and_reasons_are_said_anew(visit: Any) -> None:
    page = visit.page
    page.click("#tab-findings")
    page.locator(".rule-toggle").nth(1).click()
    choose(visit, "sw")
    toggles = page.locator(".rule-toggle")
    assert [one.get_attribute("aria-expanded") for one in toggles.all()].count("true") == 1
    assert toggles.nth(1).get_attribute("aria-expanded") == "true"
    page.click("#tab-sites")
    page.fill("#search", "")
    page.uncheck("#decisions label:nth-child(1) input")
    page.uncheck("#decisions label:nth-child(2) input")
    page.uncheck("#decisions label:nth-child(3) input")
    page.locator("#rows .site").first.click()
    assert SWAHILI["no_design"] in page.locator("#popup .reasons li").all_text_contents()
    choose(visit, "en")
    assert texts()["no_design"][1] in page.locator("#popup .reasons li").all_text_contents()
    page.keyboard.press("Escape")
