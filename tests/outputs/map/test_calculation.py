"""The calculation in the pop-up: every line agrees with a pocket calculator, from the numbers as they are shown."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.calculation import money_rules, present_volume


def test_present_volume_is_what_the_cost_is_divided_by() -> None:
    # Closed form: cost = life-cycle cost / present volume.
    sites = pd.DataFrame({"lifecycle_cost": [28_865.1, np.nan, 5.0], "cost_per_m3": [0.5, np.nan, 0.0]})
    found = present_volume(sites)
    assert found[0] == pytest.approx(57_730.2) and found[1:].isna().all()


def test_money_rules_are_those_of_the_plan() -> None:
    assert money_rules({"programme": {"discount_rate": 0.08, "horizon_years": 20}}) == {"rate": 0.08, "years": 20.0}
    assert money_rules({"programme": {"name": "x"}}) is None and money_rules({}) is None


def numbers(text: str) -> str:
    return text.replace("\u202f", "").replace("−", "-").replace("×", "*").replace(",", ".")


def worked(line: str) -> tuple[float, float, int]:
    """What the left side comes to, what the right says, and its decimals; "1.7 + 1.4 = 3.1 m" gives 3.1, 3.1, 1."""
    left, right = re.split(r"[=≈]", numbers(line))
    told = re.match(r"\s*(-?[\d.]+)", right)
    assert told and re.fullmatch(r"[-\d.+*/ ]+", left)
    value = float(eval(left, {"__builtins__": {}}))  # digits and signs alone, as the line above has seen
    return value, float(told[1]), len(told[1].partition(".")[2])


@pytest.mark.browser
@pytest.mark.parametrize("language", ["en", "fr"])
def test_every_line_checks(visit: Any, hostile_sites: pd.DataFrame, language: str) -> None:
    sites = hostile_sites[hostile_sites["cost_per_m3"].notna()].iloc[-8:]
    visit.page.select_option("#language", language)
    for number, site in sites.iterrows():
        visit.page.evaluate(f"window.location.hash = '#row={number}'")
        visit.page.wait_for_function(
            f"document.querySelector('.calculation .quiet')?.textContent.includes('row:{number}')"
        )
        lines = visit.page.locator(".calculation dd").all_text_contents()
        assert len(lines) == 9
        for line in lines:
            value, told, decimals = worked(line)
            # A mean year is rounded to a cubic metre before it is multiplied: the sign says about.
            room = 10 if "≈" in line else 0.5001 * 10.0**-decimals
            assert math.isclose(value, told, abs_tol=room), line
        assert worked(lines[-1])[1] == pytest.approx(site["cost_per_m3"], abs=0.0006)
        assert worked(lines[0])[1] == pytest.approx(site["design_pumping_level_m"], abs=0.051)
        assert worked(lines[5])[1] == pytest.approx(site["lifecycle_cost"], abs=0.51)


@pytest.mark.browser
def test_a_site_without_a_cost_has_none(visit: Any, hostile_sites: pd.DataFrame) -> None:
    number = hostile_sites.index[hostile_sites["cost_per_m3"].isna()][-1]
    visit.page.evaluate(f"window.location.hash = '#row={number}'")
    visit.page.wait_for_selector("#popup:not([hidden])")
    assert visit.page.locator(".calculation").count() == 0


@pytest.mark.browser
def test_it_stays_open_from_site_to_site(visit: Any, hostile_sites: pd.DataFrame) -> None:
    def known(place: int) -> int:
        return int(hostile_sites.index[hostile_sites["cost_per_m3"].notna()][place])

    visit.page.evaluate(f"window.location.hash = '#row={known(-1)}'")
    visit.page.click(".calculation summary")
    visit.page.evaluate(f"window.location.hash = '#row={known(-2)}'")
    visit.page.wait_for_function(
        f"document.querySelector('.calculation .quiet')?.textContent.includes('row:{known(-2)}')"
    )
    assert visit.page.locator(".calculation[open]").count() == 1
