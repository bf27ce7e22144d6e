"""The lines of a run on the page: grouped under headings, in plain words, none lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.outputs.map.page import map_page
from planner.outputs.map.run_lines import line_groups, plain_line
from planner.texts import texts

# Invented lines in the form of a run's own.
LINES = [
    "Budget 1 000 000 USD: funded 48 sites.",
    "minimum_count sub_district = 2: costs 251 people served.",
    "Weighted order by cost_per_m3 0.50 (low is better): of its first 48 sites 41 are also first by cost.",
    "Standard pumps: 13 types in place of 27 suit 114 sites.",
    "They cost 2 304 USD a year more.",
    "Lots: no site to group.",
    "Pumping tests: 52 of 130 wells are worth one.",
    "Test budget 20 000 USD: 18 tests.",
]


def test_every_line_stands_under_its_heading() -> None:
    groups = line_groups(LINES)
    assert [heading for heading, _ in groups] == [
        "page_told_budget",
        "page_told_weights",
        "page_told_standard",
        "page_told_lots",
        "page_told_tests",
    ]
    assert groups[0][1][1] == "Minimum count sub-district = 2: costs 251 people served."
    assert [len(lines) for _, lines in groups] == [2, 1, 2, 1, 2]
    assert groups[3][1] == ["No site to group."]


def test_without_a_budget_tests_come_under_their_own_heading() -> None:
    assert [heading for heading, _ in line_groups(LINES[6:])] == ["page_told_tests"]
    assert line_groups([]) == []


def test_codes_become_words_and_other_text_stays() -> None:
    assert plain_line(LINES[1]) == "minimum count sub-district = 2: costs 251 people served."
    assert "cost per m³ 0.50" in plain_line(LINES[2])
    assert plain_line("ward my_ward_1 in 2027, 300 sites; 1 of 2") == "ward my_ward_1 in 2027, 300 sites; 1 of 2"
    assert plain_line("12 345 678 USD") == "12\u202f345\u202f678 USD"


@pytest.mark.browser
def test_read_first_has_the_groups(
    open_page: Callable[..., Any],
    invented_sites: Callable[..., Any],
    invented_run: Callable[..., Any],
    invented_checks: Any,
    tmp_path: Path,
) -> None:
    sites = invented_sites(60)
    run = invented_run(sites) | {"budget": [*LINES, "<img src=x onerror=window.hurt=1>"]}
    file = tmp_path / "map.html"
    file.write_text(map_page(sites, None, run, checks=invented_checks(sites), findings=[]), "utf-8", newline="")
    visit = open_page(file)
    visit.page.click("#tab-read")
    heads = visit.page.locator("#read h2").all_text_contents()
    assert heads[1:6] == [texts()[heading][1] for heading, _ in line_groups(LINES)]
    assert "<img src=x" in visit.text("#read")
    assert visit.page.locator("#read img").count() == 0
    visit.close()
