"""Grades of evidence: why, what would raise them, and what an empty column costs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.plan import LoadedPlan
from planner.tables import inventory, screening
from planner.tables.grade import KEY_COLUMNS, columns_absent, explained, grades
from planner.texts import texts

MakeSites = Callable[..., pd.DataFrame]
MakePlan = Callable[..., LoadedPlan]
NONE = float("nan")
TESTED: dict[str, Any] = {
    "static_level_m": 12.0,
    "pumping_level_m": 18.0,
    "tested_yield_m3_h": 3.0,
    "depth_m": 60.0,
    "test_kind": "constant_rate",
}


@pytest.mark.parametrize(
    ("change", "grade", "reason", "raising"),
    [
        ({}, "A", "evidence_drawdown", ""),
        ({"pumping_level_m": NONE}, "B", "evidence_no_pumping_level", "raise_pumping_level"),
        ({"pumping_level_m": 11.0}, "B", "evidence_no_drawdown", "raise_levels_again"),
        ({"pumping_level_m": 61.0}, "B", "evidence_pumping_too_deep", "raise_levels_again"),
        ({"existing_intake_m": 15.0}, "B", "evidence_pumping_too_deep", "raise_levels_again"),
        ({"test_kind": "airlift"}, "B", "evidence_yield_rough", "raise_pump_test"),
        ({"test_kind": "bailer"}, "B", "evidence_yield_rough", "raise_pump_test"),
        ({"tested_yield_m3_h": NONE}, "C", "evidence_no_yield", "raise_yield"),
        ({"static_level_m": NONE}, "C", "evidence_no_level", "raise_rest_level"),
        ({"static_level_m": NONE, "pumping_level_m": NONE}, "C", "evidence_no_level", "raise_rest_level_and_test"),
        ({"static_level_m": NONE, "test_kind": "airlift"}, "C", "evidence_yield_rough", "raise_rest_level_and_test"),
        ({"static_level_m": NONE, "tested_yield_m3_h": NONE}, "D", "evidence_no_yield", "raise_test"),
    ],
)
def test_the_grade_says_why_and_what_would_raise_it(
    make_sites: MakeSites, make_plan: MakePlan, change: dict[str, Any], grade: str, reason: str, raising: str
) -> None:
    row = screening.run(make_sites(screening.READS, 1, **TESTED | change), make_plan()).columns.loc[1]
    assert row["evidence_grade"] == grade
    assert texts()[reason][1] in row["evidence_reasons"]
    assert row["evidence_raise"] == (texts()[raising][1] if raising else "")


def test_a_row_that_is_no_site_has_no_reasons(make_sites: MakeSites, make_plan: MakePlan) -> None:
    columns = screening.run(make_sites(screening.READS, 2, row_kind=["blank", "total"]), make_plan()).columns
    assert columns[["evidence_reasons", "evidence_raise"]].eq("").all(axis=None)
    assert columns["visits"].tolist() == [0, 0]


@pytest.mark.parametrize(("kind", "findings"), [("airlift", 1), ("bailer", 1), ("step", 0)])
def test_a_rough_yield_is_told(make_sites: MakeSites, make_plan: MakePlan, kind: str, findings: int) -> None:
    sites = make_sites(screening.READS, 1, latitude=-9.5, longitude=33.5, **TESTED | {"test_kind": kind})
    assert [one.rule for one in screening.run(sites, make_plan()).findings] == ["rough_yield"] * findings


@pytest.mark.parametrize("name", KEY_COLUMNS)
def test_an_empty_key_column_is_told_once_with_its_cost(make_sites: MakeSites, name: str) -> None:
    known = {**TESTED, "casing_mm": 150.0, "test_date": "2020"}
    sites = make_sites(inventory.WRITES, 3, **known | {name: "" if name == "test_date" else NONE})
    found = columns_absent(sites)
    assert [(one.row, one.column, one.rule) for one in found] == [(0, name, "column_absent")]
    assert found[0].new_value == texts()[f"absent_{name}"][1]


def test_a_single_value_makes_a_column_present(make_sites: MakeSites) -> None:
    known = {**TESTED, "casing_mm": [150.0, NONE, NONE], "test_date": ["2020", "", ""]}
    assert columns_absent(make_sites(inventory.WRITES, 3, **known)) == []
    blank = make_sites(inventory.WRITES, 2, row_kind="blank")
    assert columns_absent(blank) == []


LEVEL = st.just(NONE) | st.sampled_from([5.0, 12.0, 70.0])


@settings(deadline=None)
@given(
    static=LEVEL,
    pumping=LEVEL,
    tested=LEVEL,
    depth=LEVEL,
    intake=LEVEL,
    kind=st.sampled_from(["airlift", "bailer", "step", "constant_rate", "unknown", ""]),
)
def test_what_is_missing_never_raises_the_grade(
    static: float, pumping: float, tested: float, depth: float, intake: float, kind: str
) -> None:
    row = {
        "static_level_m": static,
        "pumping_level_m": pumping,
        "tested_yield_m3_h": tested,
        "depth_m": depth,
        "existing_intake_m": intake,
    }
    names = ["static_level_m", "pumping_level_m", "tested_yield_m3_h"]
    sites = pd.DataFrame([row, *({**row, name: NONE} for name in names)]).assign(test_kind=kind, row_kind="site")
    grade = grades(sites)
    assert (grade >= grade[0]).all()
    said = explained(sites, grade)
    assert said["evidence_reasons"].ne("").all()
    assert said["evidence_raise"].eq("").eq(grade == "A").all()
