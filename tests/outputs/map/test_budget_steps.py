"""The slider of budgets: it shows what the tool chose for each, and solves nothing. Sites and steps are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.page import map_page


def test_each_step_shows_its_sites_and_says_so(
    open_page: Callable[..., Any],
    invented_sites: Callable[..., pd.DataFrame],
    invented_run: Callable[[pd.DataFrame], dict[str, Any]],
    invented_checks: Callable[[pd.DataFrame], pd.DataFrame],
    tmp_path: Path,
) -> None:
    sites = invented_sites()
    equip = (sites["decision"] == "equip").to_numpy()
    first = equip & (np.arange(len(sites)) % 3 == 0)
    second = equip & (np.arange(len(sites)) % 3 != 0)  # sets need not lie inside one another
    sites = sites.assign(budget_steps_mask=np.where(equip, first + 2.0 * second, np.nan))
    steps = [
        {
            "budget": money,
            "own": own,
            "rules_kept": True,
            "sites": int(taken.sum()),
            "people_served": 1234.0,
            "gap": gap,
        }
        for money, own, taken, gap in ((50_000.0, False, first, 0.002), (100_000.0, True, second, 0.0))
    ]
    steps.append({"budget": 5.0, "own": False, "rules_kept": False, "sites": 0, "people_served": 0.0, "gap": None})
    run = {**invented_run(sites), "budget_steps": steps}
    file = tmp_path / "map.html"
    with file.open("w", encoding="utf-8", newline="") as opened:
        opened.write(map_page(sites, None, run, checks=invented_checks(sites), findings=[]))
    visit = open_page(file)
    page = visit.page
    page.click("#filter-toggle")
    for step, taken in ((1, first), (2, second)):
        page.locator("#filter-step").fill(str(step))
        assert visit.text("#status").startswith(f"{taken.sum()} of {len(sites)}")
    assert "the plan's own" in visit.text("#step-words")
    # the headline sums what this budget would fund, not what the plan funds
    assert f"would fund the {second.sum()} sites shown" in visit.text("#scope")
    assert "sites it would fund" in visit.text("#facts")
    page.locator("#filter-step").fill("1")
    assert "at most 0.20 % below the best" in visit.text("#step-words")
    page.locator("#filter-step").fill("3")
    assert "the rules cannot be kept" in visit.text("#step-words")
    page.click("#reset")
    assert visit.text("#status").startswith("All")
    assert not visit.trouble
    visit.close()


def test_without_steps_there_is_no_slider(visit: Any) -> None:
    visit.page.click("#filter-toggle")
    assert visit.page.locator("#filter-equip").is_visible()
    assert not visit.page.locator("#steps").is_visible()
