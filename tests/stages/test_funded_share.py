"""How often a site is funded over the draws: the arithmetic by hand on invented sites and draws."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.choice.funding import fund
from planner.doubt.run import Drawn, Outcomes
from planner.errors import InternalError
from planner.glossary import monthly
from planner.plan import LoadedPlan, read_plan
from planner.stages.funded_share import people_in_draws, with_share

NOTHING = pd.DataFrame()


def load(folder: Path, text: str) -> LoadedPlan:
    (folder / "wells.csv").write_text("site_id\n", encoding="utf-8")
    (folder / "plan.toml").write_text(f'{text}\n[inventory]\nfile = "wells.csv"\n', encoding="utf-8")
    return read_plan(folder / "plan.toml")


def table() -> pd.DataFrame:
    """Four sites in rows 3, 5, 8, 9, the last not to equip; 20 L a person and day, losses of a tenth, demand level."""
    people, served = np.array([500.0, 400.0, 300.0, 900.0]), np.array([400.0, 400.0, 300.0, 900.0])
    demand = people * 0.020 / 0.9 * np.array([1.0, 1.25, 1.0, 1.0])  # the second's demand grows by a quarter
    months = {name: demand for name in monthly("demand")} | dict.fromkeys(monthly("people_share"), 1.0)
    frame = pd.DataFrame(
        {
            "site_id": ["S1", "S2", "S3", "S4"],
            "sub_district_used": "A",
            "decision": ["equip", "equip", "equip", "hold"],
            "rank": [2.0, 1.0, 3.0, np.nan],
            "capital_cost": [10.0, 12.0, 10.0, 1.0],
            "people_counted": people,
            "people_served": served,
            "supply_reliability_worst_month": [0.8, 1.0, 1.0, 1.0],
            "volume_used_m3_day": [8.0, 10.0, 6.0, 18.0],
            **months,
        },
        index=pd.Index([3, 5, 8, 9], name="inventory_row"),
    )
    return frame


def drawn(capital: list[list[float]], volume: list[list[float]]) -> Drawn:
    """Rows 3, 5, 8; the last is tested first. What a run does not report is dear and dry."""
    cost, used = np.array(capital, dtype=np.float32), np.array(volume, dtype=np.float32)
    flags = used > 0.0
    tested = np.array([True, True, False])

    def run(counts: np.ndarray) -> Outcomes:
        which = counts[:, None]
        spent, water = np.where(which, cost, np.float32(1e6)), np.where(which, used, np.float32(0.0))
        return Outcomes(spent, water, spent, water, water, flags, flags, flags, flags)

    return Drawn(np.array([3, 5, 8]), tested, run(tested), run(~tested))


def test_people_follow_the_water_up_to_those_counted(tmp_path: Path) -> None:
    """S1 400 of 500: water a quarter more serves all, a half of it 200. S2 has a quarter in hand: 0.8 × keeps all 400,
    0.5 × serves 250. S3 has nothing in hand."""
    rows = table().loc[[3, 5, 8]]
    moved = np.array([1.0, 1.25, 2.0, 0.8, 0.5, 0.0])
    volume = rows["volume_used_m3_day"].to_numpy()[:, None] * moved
    found = people_in_draws(rows, volume, load(tmp_path, "").plan)
    assert found[0] == pytest.approx([400, 500, 500, 320, 200, 0])
    assert found[1] == pytest.approx([400, 400, 400, 400, 250, 0])
    assert found[2] == pytest.approx([300, 300, 300, 240, 150, 0])
    unknown = people_in_draws(rows.assign(people_counted=np.nan, people_served=np.nan), volume, load(tmp_path, "").plan)
    assert (unknown == 0.0).all()


def test_the_budget_is_spent_anew_in_every_draw(tmp_path: Path) -> None:
    """22 buys S1 and S2. Draws: as planned; S1 without water (S2 and S3); S2 dearer, so that S1 and S3 serve most."""
    plan = load(tmp_path, "[programme]\nbudget = 22")
    sites = table()
    funded = fund(sites, NOTHING, plan)
    sites["funding"] = funded.column
    assert sites["funding"].tolist()[:2] == ["funded", "funded"]
    draws = drawn(
        [[10, 0, 10, 10], [12, 12, 13, 12], [10, 10, 10, 10]],
        [[8, 0, 8, 8], [10, 10, 10, 10], [6, 6, 6, 6]],
    )
    column, after = with_share(funded, sites, NOTHING, draws, plan)
    assert column.tolist() == pytest.approx([0.75, 0.75, 0.5, np.nan], nan_ok=True)
    assert after.record is not None
    found = after.record["funded_probability"]
    assert (found["draws"], found["rules_kept"], found["no_set"]) == (4, 1.0, 0.0)
    # Third draw: the relaxation adds 2 of 13 of S2 to S1 and S3 (people for money 40, 31, 30): 400 + 12/13 × 400 people
    # cannot be exceeded, S1 with S3, which fits beside it, serves 700.
    assert found["gap_most"] == pytest.approx((400 + 12 / 13 * 400) / 700 - 1, rel=1e-3)
    assert found["gap_mean"] == pytest.approx(found["gap_most"] / 4)
    assert after.lines[-1].text().startswith("2 funded sites: 0 are funded in at least 8 of 10 draws")
    assert "within 2.5 % of the best in the mean" in after.lines[-1].text()


def test_water_counts_where_the_plan_asks_for_it(tmp_path: Path) -> None:
    plan = load(tmp_path, "[programme]\nbudget = 12\n[portfolio]\nobjective = 'volume_used'")
    sites = table()
    funded = fund(sites, NOTHING, plan)
    sites["funding"] = funded.column
    column, _ = with_share(
        funded, sites, NOTHING, drawn([[10] * 2, [12] * 2, [10] * 2], [[8, 8], [10, 10], [6, 30]]), plan
    )
    assert column.tolist() == pytest.approx([0, 0.5, 0.5, np.nan], nan_ok=True)


def test_nothing_is_said_without_budget_or_draws(tmp_path: Path) -> None:
    sites = table()
    draws = drawn([[10], [12], [10]], [[8], [10], [6]])
    for text, found in (("", draws), ("[programme]\nbudget = 22", None)):
        plan = load(tmp_path, text)
        funded = fund(sites, NOTHING, plan)
        column, after = with_share(funded, sites, NOTHING, found, plan)
        assert column.isna().all()
        assert after is funded
    with pytest.raises(InternalError, match="row 9 can be funded and was not drawn"):
        with_share(funded, sites.assign(decision="equip", rank=[1.0, 2.0, 3.0, 4.0]), NOTHING, draws, plan)
