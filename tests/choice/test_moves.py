"""Which sites move and why, on tables written by hand: every expected value follows from the tables."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.choice.moves import Between, different, moves, summary, totals
from planner.plan import Change
from planner.tables.step import no_checks, rule_rows

BASE: dict[str, list[Any]] = {
    "decision": ["equip", "equip", "equip", "hold"],
    "funding": ["funded", "funded", "reserve", ""],
    "rank": [1.0, 2.0, 3.0, np.nan],
    "pump_family": ["centrifugal"] * 3 + [""],
    "pump_id": ["A", "A", "B", ""],
    "reason_codes": ["demand_met", "demand_met", "demand_met", "coverage_low"],
    "array_wp": [1000.0, 1000.0, 2000.0, np.nan],
    "capital_cost": [100.0, 200.0, 300.0, np.nan],
    "cost_per_m3": [0.1, 0.2, 0.3, np.nan],
    "volume_used_m3_day": [1.0, 2.0, 3.0, np.nan],
    "people_served": [10.0, 20.0, 30.0, np.nan],
    "static_level_m": [5.0, 6.0, 7.0, 8.0],
    "rest_level_rule_m": [9.0, 10.0, 11.0, 12.0],
}


def table(**changes: list[Any]) -> pd.DataFrame:
    made = pd.DataFrame({**BASE, **changes}, index=pd.Index([1, 2, 3, 4]))
    return made.astype({name: "str" for name in ("decision", "funding", "pump_family", "pump_id", "reason_codes")})


def test_the_same_twice_moves_nothing() -> None:
    found = moves(table(), table(), Between())
    assert len(found) == 0
    told = summary(table(), table(), found)
    assert told["moved"] == 0
    assert told["cost_change_median"] == 0
    assert all(told[key] == [] for key in ("into_funded", "out_of_funded", "into_equip", "out_of_equip"))


def test_a_site_that_fails_a_rule_lets_others_up() -> None:
    new = table(
        decision=["hold", "equip", "equip", "hold"],
        funding=["", "funded", "funded", ""],
        rank=[np.nan, 1.0, 2.0, np.nan],
        reason_codes=["coverage_low", "demand_met", "demand_met", "coverage_low"],
        static_level_m=[7.5, 6.0, 7.0, 8.0],
        rest_level_rule_m=[12.0, 10.0, 11.0, 12.0],
        cost_per_m3=[0.15, 0.2, 0.3, np.nan],
    )
    failed = rule_rows(pd.Index([1]), "coverage_low", pd.Series([False], index=[1]), value=41.0, limit=50.0)
    found = moves(table(), new, Between(money="USD", checks=(no_checks(), failed)))
    assert list(found.index) == [1, 2, 3]
    assert list(found["moved"]) == ["decision;funding;rank", "rank", "funding;rank"]
    why = found["why"]
    assert "Now: The best design gives 41 % of the demand, below the 50 % that the plan asks for." in why[1]
    assert "No longer: demand met." in why[1]  # no check of it is given: its name stands
    assert "Rest level 5 → 7.5 m." in why[1]
    assert "Deepest rest level 9 → 12 m." in why[1]
    assert "Cost of water 0.1 → 0.15 USD/m3." in why[1]
    assert why[2] == "Rank 2 → 1: 1 before it left the ranking."
    assert "The budget is shared out again" in why[3]
    codes = found["why_codes"].str.split(";")
    assert codes[1] == ["rule_fails", "rule_passes", "input_changed", "design_value", "cost_changed", "decision"]
    assert codes[3] == ["others_moved", "budget_shared"]
    told = summary(table(), new, found)
    assert (told["out_of_equip"], told["out_of_funded"], told["into_funded"]) == ([1], [1], [3])
    assert told["cost_change_median"] == 0  # of +50 %, 0, 0
    assert told["cost_compared"] == 3


def test_sites_that_change_places_count_who_passed() -> None:
    new = table(rank=[3.0, 1.0, 2.0, np.nan], cost_per_m3=[0.4, 0.2, 0.3, np.nan])
    found = moves(table(), new, Between(money="USD"))
    assert "Rank 1 → 3: 2 more pass it than fall behind it." in found["why"][1]
    assert found["why"][2] == "Rank 2 → 1: 1 more fall behind it than pass it."


def test_one_that_comes_in_is_told_to_those_behind() -> None:
    new = table(decision=["equip"] * 4, rank=[1.0, 3.0, 4.0, 2.0])
    assert moves(table(), new, Between())["why"][3] == "Rank 3 → 4: 1 came in before it."


def test_keys_of_the_plan_stand_where_they_act() -> None:
    changes = (
        Change("costs.tax", 0.0, 0.2),
        Change("portfolio.minimum_count.ward", 2, None),
        Change("ranking.allow_prior_equip", False, True),
    )
    new = table(
        decision=["equip"] * 4,
        funding=["funded", "reserve", "funded", ""],
        rank=[1.0, 2.0, 3.0, 4.0],
        cost_per_m3=[0.1, 0.2, 0.3, 0.9],
        pump_id=["C", "A", "B", "B"],
    )
    why = moves(table(), new, Between(changes))["why"]
    assert why[1] == "The plan: costs.tax 0 → 0.2."  # another pump
    assert why[2] == (
        "The plan: portfolio.minimum_count.ward 2 → none. "
        "The budget is shared out again among all sites: the best set is another."
    )
    assert "ranking.allow_prior_equip no → yes" in why[4]


def test_other_money_is_no_cause() -> None:
    new = table(cost_per_m3=[10.0, 20.0, 30.0, np.nan], rank=[2.0, 1.0, 3.0, np.nan])
    for row, why in moves(table(), new, Between(comparable=False))["why"].items():
        assert "Cost" not in why, row


def test_a_pump_above_the_new_level_is_told() -> None:
    old = table().assign(intake_depth_m=[12.0, 30.0, 30.0, np.nan])
    new = table(pump_id=["C", "C", "B", ""], rest_level_rule_m=[14.0, 15.0, 11.0, 12.0])
    why = moves(old, new, Between())["why"]
    assert "The set of before hangs at 12 m, the deepest rest level is 14 m." in why[1]
    assert "hangs" not in why[2]


def test_a_result_with_few_columns_is_compared_by_what_it_has() -> None:
    few = table()[["decision", "rank"]]
    found = moves(few, few.assign(decision=["hold", "equip", "equip", "hold"]), Between())
    assert list(found["why"]) == ["The files do not tell why."]


def test_totals_add_up() -> None:
    found = totals(table())
    assert (found["equip"], found["hold"], found["ranked"], found["funded"], found["reserve"]) == (3, 1, 3, 2, 1)
    assert (found["equip_capital_cost"], found["funded_capital_cost"]) == (600, 300)
    assert (found["equip_people_served"], found["funded_volume_used_m3_day"]) == (60, 3)
    assert found["cost_per_m3_median"] == pytest.approx(0.2)


def test_what_six_figures_do_not_tell_apart_is_the_same() -> None:
    old, new = pd.Series([1.0, np.nan, 0.0, 5.0]), pd.Series([1.0000001, np.nan, np.nan, 5.1])
    assert list(different(old, new)) == [False, False, True, True]
