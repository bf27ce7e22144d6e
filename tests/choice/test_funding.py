"""Rules of the plan against a table of sites: funded, reserve, findings, prices and clashes. Sites are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from planner.choice.funding import RESERVE, Funding, fund, look_at
from planner.errors import PlanError
from planner.plan import LoadedPlan, read_plan

Load = Callable[..., LoadedPlan]
NOTHING = pd.DataFrame()


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def plan(budget: float | None, *lines: str) -> LoadedPlan:
        (tmp_path / "wells.csv").write_text("site_id\n", encoding="utf-8")
        money = "" if budget is None else f"[programme]\nbudget = {budget}\n"
        text = money + '[inventory]\nfile = "wells.csv"\n' + ("[portfolio]\n" if lines else "") + "\n".join(lines)
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
        return read_plan(tmp_path / "plan.toml")

    return plan


def table(cost: list[float], people: list[float], area: str, decision: str = "") -> pd.DataFrame:
    """Sites S1, S2 …; area and decision: a letter a site, e equip (all, if empty), h hold."""
    count = len(cost)
    frame = pd.DataFrame(
        {
            "site_id": [f"S{number}" for number in range(1, count + 1)],
            "sub_district_used": [letter.strip() for letter in area],
            "decision": [{"e": "equip", "h": "hold"}[letter] for letter in decision or "e" * count],
            "capital_cost": cost,
            "people_served": people,
            "volume_used_m3_day": [one / 50 for one in people],
        },
        index=pd.RangeIndex(1, count + 1, name="inventory_row"),
    )
    frame["rank"] = (frame["decision"] == "equip").cumsum().astype("float64").where(frame["decision"] == "equip")
    return frame


def ids(found: Funding, sites: pd.DataFrame, what: str) -> list[str]:
    return sites.loc[found.column == what, "site_id"].tolist()


def test_without_a_budget_nothing_is_funded(load: Load) -> None:
    found = fund(table([5.0, 5.0], [1, 1], "AA"), NOTHING, load(None))
    assert found.record is None
    assert set(found.column) == {""}
    assert not found.lines


def test_the_budget_goes_to_most_people_and_the_rest_waits_by_rank(load: Load) -> None:
    sites = table([6.0, 5.0, 5.0, 1.0], [60, 50, 50, 1], "AABB", "eeeh")
    found = fund(sites, NOTHING, load(10))
    assert ids(found, sites, "funded") == ["S2", "S3"]  # 100 people; rank order takes S1 alone: 60
    assert ids(found, sites, "reserve") == ["S1"]
    assert found.record is not None
    assert (found.record["spent"], found.record["people_served"]) == (10.0, 100.0)
    assert found.record["rank_order"]["people_served"] == 60
    assert found.record["gap"] == 0


def test_the_reserve_is_twenty_and_not_the_locked_out(load: Load) -> None:
    sites = table([1.0] * 30, [float(number) for number in range(1, 31)], "A" * 30)
    found = fund(sites, NOTHING, load(3, 'locked_out = { S2 = "in court", "row:30" = "no road" }'))
    assert ids(found, sites, "funded") == ["S27", "S28", "S29"]
    assert len(ids(found, sites, "reserve")) == RESERVE
    assert "S2" not in ids(found, sites, "reserve")
    told = {(one.row, one.rule, one.new_value) for one in found.findings}
    assert told == {(2, "site_locked_out", "in court"), (30, "site_locked_out", "no road")}


def test_a_floor_is_kept_and_priced_and_an_empty_sub_district_is_in_none(load: Load) -> None:
    sites = table([5.0, 5.0, 5.0, 5.0], [90, 80, 20, 5], "AAB ")
    found = fund(sites, NOTHING, load(10, "minimum_count = { sub_district = 1 }"))
    assert ids(found, sites, "funded") == ["S1", "S3"]
    assert found.record is not None
    assert found.record["price_of_rules"] == [{"rule": "minimum_count sub_district = 1", "objective_lost": 60.0}]
    assert [(one["group"], one["funded"]) for one in found.record["floors"]] == [("A", 1), ("B", 1)]


def test_a_floor_may_be_of_one_group_of_a_shown_column(load: Load) -> None:
    sites = table([5.0, 5.0, 5.0], [90, 80, 20], "AAA")
    shown = pd.DataFrame({"Remote": ["no", "no", "yes"]})
    found = fund(sites, shown, load(10, "minimum_count = { Remote = { yes = 1 } }"))
    assert ids(found, sites, "funded") == ["S1", "S3"]


def test_more_than_there_is_means_all_there_is(load: Load) -> None:
    found = fund(table([5.0, 5.0], [9, 8], "AB"), NOTHING, load(10, "minimum_count = { sub_district = 3 }"))
    assert set(found.column) == {"funded"}
    assert any(
        "Fewer sites to equip than the floor asks for: A (1 of 3), B (1 of 3)" in line.text() for line in found.lines
    )


def test_a_lock_on_a_site_that_cannot_be_equipped_is_told(load: Load) -> None:
    sites = table([5.0, 5.0], [9, 8], "AA", "eh")
    found = fund(sites, NOTHING, load(10, 'locked_in = { S2 = "promised" }'))
    assert ids(found, sites, "funded") == ["S1"]
    (told,) = found.findings
    assert (told.row, told.rule, told.old_value, told.new_value) == (2, "locked_in_not_equip", "hold", "promised")


def test_unknown_people_count_nobody_and_are_told(load: Load) -> None:
    sites = table([5.0, 5.0], [float("nan"), 8], "AA")
    found = fund(sites, NOTHING, load(5))
    assert ids(found, sites, "funded") == ["S2"]
    assert [(one.row, one.rule) for one in found.findings] == [(1, "people_unknown_in_budget")]
    assert not fund(sites, NOTHING, load(5, "objective = 'volume_used'")).findings


def test_rules_that_clash_are_named_with_what_they_need(load: Load) -> None:
    sites = table([6.0, 7.0, 5.0], [60, 50, 50], "ABA")
    with pytest.raises(PlanError) as caught:
        fund(sites, NOTHING, load(10, "minimum_count = { sub_district = 1 }", 'locked_in = ["S3"]'))
    (fault,) = caught.value.faults
    assert fault.found == "rules that clash: minimum_count sub_district = 1; budget 10 USD"
    assert "at least 12 USD" in fault.expected


def test_cents_are_never_spent_twice(load: Load) -> None:
    # Closed form: three times 0.1 is 0.3, which sums of floating-point numbers miss.
    found = fund(table([0.1, 0.1, 0.1], [1, 1, 1], "AAA"), NOTHING, load(0.3))
    assert set(found.column) == {"funded"}
    assert fund(table([0.104, 0.104], [1, 1], "AA"), NOTHING, load(0.2)).column.tolist() == ["funded", "reserve"]


@pytest.mark.parametrize(
    ("line", "found", "expected"),
    [
        ('locked_in = ["S11"]', "'S11'", "'S1', the nearest"),
        ("minimum_count = { sub_distrikt = 1 }", "'sub_distrikt'", "'sub_district', the nearest"),
        ("minimum_count = { sub_district = { Bb = 1 } }", "'Bb'", "a value of sub_district"),
    ],
)
def test_what_the_inventory_does_not_have_is_a_fault(load: Load, line: str, found: str, expected: str) -> None:
    with pytest.raises(PlanError) as caught:
        look_at(table([5.0], [9], "A"), NOTHING, load(10, line))
    (fault,) = caught.value.faults
    assert (fault.found, expected in fault.expected) == (found, True)
    assert "[portfolio]" in fault.place


def test_an_id_of_two_sites_to_equip_asks_for_the_row(load: Load) -> None:
    sites = table([5.0, 5.0], [9, 8], "AA").assign(site_id="S1")
    with pytest.raises(PlanError, match="row:1 or row:2"):
        fund(sites, NOTHING, load(10, 'locked_in = ["S1"]'))
    assert fund(sites, NOTHING, load(5, 'locked_in = ["row:2"]')).column.tolist() == ["reserve", "funded"]
