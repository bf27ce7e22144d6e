"""Links to a site: what stands after # opens it, goes back and forth, and is never more than something to look up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

pytestmark = pytest.mark.browser
FRESH = "() => { history.replaceState(null, '', location.pathname); }"


def go(visit: Any, part: str) -> None:
    visit.page.evaluate("(part) => { window.location.hash = part; }", part)


def shown_row(visit: Any) -> str:
    return visit.text(".place")


@pytest.fixture
def opened(open_page: Callable[..., Any], page_file: Path) -> Any:
    visit = open_page(page_file)
    yield visit
    visit.close()


def test_a_link_opens_the_site_in_its_language_and_layer(visit: Any, page_file: Path) -> None:
    visit.page.goto("about:blank")
    visit.page.goto(f"{page_file.as_uri()}#site=00300&language=fr&layer=evidence_grade")
    visit.page.wait_for_selector("#popup:not([hidden])")
    assert "00300" in shown_row(visit)
    assert visit.page.get_attribute("html", "lang") == "fr"
    assert visit.page.input_value("#layer") == "evidence_grade"
    assert visit.page.input_value("#language") == "fr"


def test_back_and_forward_follow(opened: Any) -> None:
    page = opened.page
    for site in ("00301", "00302"):
        page.fill("#search", site)
        page.press("#search", "Enter")
    page.keyboard.press("Escape")
    assert "#" not in page.url
    page.go_back()
    page.wait_for_function("document.querySelector('.place').textContent.includes('00302')")
    assert page.locator("#popup").is_visible()
    page.go_back()
    page.wait_for_function("document.querySelector('.place').textContent.includes('00301')")
    page.go_back()
    page.wait_for_selector("#popup", state="hidden")
    page.go_forward()
    page.wait_for_selector("#popup:not([hidden])")
    assert "00301" in shown_row(opened)
    page.keyboard.press("Escape")
    # The skip link's own address is none of ours and leaves everything as it is.
    go(opened, "#site=00303")
    page.wait_for_selector("#popup:not([hidden])")
    go(opened, "#grid")
    assert page.locator("#popup").is_visible()


def test_every_identifier_comes_back(opened: Any, hostile_sites: pd.DataFrame, hostile_names: tuple[str, ...]) -> None:
    """Whatever an identifier holds, its own link opens its own row; `close` looks that nothing ran."""
    counts = hostile_sites["site_id"].value_counts()
    for number in hostile_sites.index[: len(hostile_names)]:
        go(opened, f"#row={number}")
        opened.page.wait_for_function(f"document.querySelector('.place')?.textContent.includes('row {number}')")
        opened.page.keyboard.press("Escape")
        opened.page.evaluate(FRESH)
        opened.page.fill("#search", "")
        go(opened, f"#row={number}")
        opened.page.wait_for_selector("#popup:not([hidden])")
        opened.page.evaluate("() => { navigator.clipboard.writeText = async (text) => { window.copied = text; }; }")
        opened.page.locator(".actions button").nth(1).click()
        link = opened.page.evaluate("window.copied")
        opened.page.keyboard.press("Escape")
        part = link[link.index("#") :]
        assert set(part[1:]) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789%=&-_.")
        if part.startswith("#site="):
            assert counts[hostile_sites["site_id"][number]] == 1
        go(opened, part)
        opened.page.wait_for_selector("#popup:not([hidden])")
        assert opened.page.locator(".place").text_content().find(f"row {number}") >= 0, part


@pytest.mark.parametrize("part", ["#site=no%20such", "#row=99999", "#row=<img>", "#site=%E0%A4%A", "#site=__proto__"])
def test_a_link_to_nothing_says_so(opened: Any, part: str) -> None:
    go(opened, part)
    opened.page.wait_for_selector("#link-note:not([hidden])")
    assert opened.text("#link-note") == "The link names a site that this page does not have."
    assert not opened.page.locator("#popup").is_visible()
    go(opened, "#site=00304")
    opened.page.wait_for_selector("#popup:not([hidden])")
    assert not opened.page.locator("#link-note").is_visible()


@pytest.mark.parametrize(
    "part", ["#language=<b>&row=300", "#layer=constructor&row=300", "#&&==&row=300", "#row=300&row=1"]
)
def test_what_the_page_does_not_know_is_left_alone(opened: Any, part: str) -> None:
    go(opened, part)
    opened.page.wait_for_selector("#popup:not([hidden])")
    assert opened.page.get_attribute("html", "lang") == "en"
    assert opened.page.input_value("#layer") == "decision_cost"


def test_where_the_clipboard_is_closed_the_link_stands_to_be_copied(opened: Any, page_file: Path) -> None:
    page = opened.page
    page.evaluate("() => { navigator.clipboard.writeText = () => Promise.reject(new Error()); }")
    go(opened, "#site=00300")
    page.locator(".actions button").nth(1).click()
    page.wait_for_selector(".address:not([hidden])")
    link = f"{page_file.as_uri()}#site=00300"
    assert page.input_value(".address") == link
    assert page.evaluate("window.getSelection().toString() || document.activeElement.value") == link
    assert opened.text(".actions [role=status]") == "Copy the link from here:"
