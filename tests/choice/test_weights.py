"""The weighted order: closed forms; what the plan may not ask for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.choice.budget_steps import budget_steps, masks, step_budgets
from planner.choice.portfolio import Problem, Rule
from planner.choice.weights import look_at, normalised, weigh
from planner.errors import PlanError
from planner.plan import LoadedPlan, read_plan

Load = Callable[[str], LoadedPlan]


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def plan(weights: str) -> LoadedPlan:
        (tmp_path / "wells.csv").write_text("site_id\n", encoding="utf-8")
        text = f'[inventory]\nfile = "wells.csv"\n[ranking]\nweights = {weights}\n'
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
        return read_plan(tmp_path / "plan.toml")

    return plan


def table() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site_id": ["a", "b", "c", "d"],
            "rank": [1.0, 2.0, 3.0, np.nan],
            "cost_per_m3": [1.0, 2.0, 3.0, 0.1],
            "people_served": [0.0, 100.0, np.nan, 900.0],
            "evidence_grade": ["A"] * 4,
        },
        index=pd.RangeIndex(1, 5),
    )


def test_scores_by_hand(load: Load) -> None:
    # Closed form: cost 1, ½, 0 and people 0, 1, missing 0; weights 3 : 1.
    found = weigh(table(), pd.Series(False, index=table().index), load("{ cost_per_m3 = 3, people_served = 1 }"))
    assert found.score[:3].tolist() == pytest.approx([0.75, 0.625, 0.0])
    assert found.rank[:3].tolist() == [1, 2, 3]
    assert np.isnan(found.rank[4])
    assert found.record is not None and found.table is not None
    assert [one["missing"] for one in found.record["criteria"]] == [0, 1]
    assert found.table["people_served_normalised"].tolist() == [0, 1, 0]
    assert found.share[:3].tolist() == [1, 1, 1]  # all three are among the first


def test_the_weights_decide_and_the_share_says_how_surely(load: Load) -> None:
    one = pd.Series([True, False, False, False], index=table().index)
    found = weigh(table(), one, load("{ cost_per_m3 = 1, people_served = 1.2 }"))
    assert found.rank[:2].tolist() == [2, 1]
    assert found.share.sum() == pytest.approx(1)
    assert 0.4 < found.share[2] < 1


def test_all_alike_count_alike() -> None:
    assert normalised(pd.Series([2.0, 2.0, np.nan]), "low").tolist() == [1, 1, 0]


@pytest.mark.parametrize(
    ("weights", "found", "expected"),
    [
        ("{ people_serve = 1 }", "'people_serve'", "'people_served', the nearest"),
        ("{ evidence_grade = 1 }", "'evidence_grade'", "column of numbers"),
        ("{ depth_m = 1 }", "'depth_m'", 'better = "low"'),
    ],
)
def test_what_cannot_be_weighed_is_a_fault(load: Load, weights: str, found: str, expected: str) -> None:
    with pytest.raises(PlanError) as caught:
        look_at(pd.DataFrame(), load(weights))
    (fault,) = caught.value.faults
    assert (fault.found, expected in fault.expected) == (found, True)
    look_at(pd.DataFrame(), load('{ depth_m = { weight = 1, better = "low" } }'))


@pytest.mark.parametrize("weights", ["{ cost_per_m3 = 0 }", "{ cost_per_m3 = { weight = 1, better = 'up' } }", "3"])
def test_weights_of_nothing_are_refused(load: Load, weights: str) -> None:
    with pytest.raises(PlanError):
        load(weights)


# Budget steps -------------------------------------------------------------------------------------------------


def test_twenty_steps_about_the_budget() -> None:
    assert step_budgets(100, 1000) == list(range(10, 201, 10))
    assert step_budgets(100, 60) == list(range(10, 101, 10))


def test_each_step_has_its_bit_and_its_set() -> None:
    # Closed form: three sites of 10 that serve 3, 2 and 1; the plan's money buys one, a floor asks for the last.
    problem = Problem(np.array([3, 2, 1]), np.array([10, 10, 10]), np.array([1, 2, 3]), 10)
    own = np.array([True, False, False])
    steps = budget_steps(problem, own, 0.0)
    sets = {step.budget: None if step.chosen is None else step.chosen.tolist() for step in steps}
    assert sets[9] == [False] * 3 and sets[10] == own.tolist() and sets[20] == [True, True, False]
    assert [step.own for step in steps].index(True) == 9
    assert masks(steps, 3).tolist() == [2**20 - 2**9, 2**19, 0]
    floor = Rule("floor", counts=((np.array([False, False, True]), 1),))
    poor = budget_steps(Problem(problem.value, problem.cost, problem.rank, 10, (floor,)), ~own, 0.0)
    assert poor[0].chosen is None and poor[0].gap is None
