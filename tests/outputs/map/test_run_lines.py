"""The lines of a run on the page: grouped under headings, in plain words, none lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.outputs.map.page import map_page
from planner.outputs.map.run_lines import line_groups, plain_line
from planner.texts import Figure, Listed, Value, counted, said

# Sentences of a run with invented values.
AMOUNTS: dict[str, Value] = {"spent": 9e5, "money": "USD", "people": 4200.0, "water": 90.0}
LOW = said("order_low", column="cost_per_m3", weight=Figure(0.5, ".2f"))
LINES = [
    counted("budget_funded", 48, budget=Figure(1e6), reserve=20, **AMOUNTS),
    said("budget_price_people", rule="minimum_count sub_district = 2", lost=251),
    said("order_weighted", criteria=Listed((LOW,)), first=48, by_cost=41, stay=30),
    said("pumps_said", text=said("budget_gap_unknown")),
    said("pumps_cost", more=Figure(2304), money="USD", mean=Figure(1.0, ".1f"), most=Figure(2.0, ".1f")),
    said("lots_said", text=said("lots_none")),
    said("tests_said", text=said("budget_gap_unknown")),
    counted("tests_budget", 18, budget=Figure(2e4), money="USD", cost=1, value=2),
]


def test_every_line_stands_under_its_heading() -> None:
    groups = line_groups(LINES)
    assert [str(heading) for heading, _ in groups] == [
        "Budget",
        "A second order, by weights",
        "Standard pumps",
        "Lots for tender",
        "Pumping tests",
    ]
    assert groups[0][1][1].text() == "Minimum count sub-district = 2: costs 251 people served."
    assert [len(lines) for _, lines in groups] == [2, 1, 2, 1, 2]
    assert [line.text() for line in groups[3][1]] == ["No site to group."]


def test_without_a_budget_tests_come_under_their_own_heading() -> None:
    assert [str(heading) for heading, _ in line_groups(LINES[6:])] == ["Pumping tests"]
    assert line_groups([]) == []


def test_codes_become_words_and_other_text_stays() -> None:
    assert plain_line(LINES[1].text()) == "minimum count sub-district = 2: costs 251 people served."
    assert "cost per m³ 0.50" in plain_line(LINES[2].text())
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
    hostile = said("budget_price_clash", rule="<img src=x onerror=window.hurt=1>")
    run = invented_run(sites) | {"budget": [*LINES, hostile]}
    file = tmp_path / "map.html"
    file.write_text(map_page(sites, None, run, checks=invented_checks(sites), findings=[]), "utf-8", newline="")
    visit = open_page(file)
    visit.page.click("#tab-read")
    heads = visit.page.locator("#read h2").all_text_contents()
    assert heads[1:6] == [str(heading) for heading, _ in line_groups(LINES)]
    assert "<img src=x" in visit.text("#read")
    assert visit.page.locator("#read img").count() == 0
    visit.close()
