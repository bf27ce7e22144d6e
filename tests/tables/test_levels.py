"""Levels: from the casing top and from the sea to the ground, derived values, contradictions.

Numbers are hand calculations (beside them) or made up to sit on one side of a limit; the limits are our own rules.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.glossary import glossary
from planner.plan import LoadedPlan, Plan
from planner.tables import inventory, screening
from planner.tables.cells.read import show
from planner.tables.cells.units import level_datum
from planner.tables.levels import SEVERITY, on_ground, pumping_from_drawdown, to_ground
from planner.tables.step import Step

MakeSites = Callable[..., pd.DataFrame]
MakePlan = Callable[..., LoadedPlan]
NONE = float("nan")
CASING = {"static_level_m": "m below casing top", "pumping_level_m": "m below casing top"}
SEA = {"static_level_m": "m above sea level"}


def read(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Levels brought to the ground and completed, as the inventory does it; every number was written plainly."""
    datum = {name: level_datum(unit) or "ground" for name, unit in plan.plan.inventory.units.items()}
    raw = {name: column.map(show) for name, column in sites.items() if column.dtype == "float64"}
    moved, findings = on_ground(sites, datum, {str(name): texts for name, texts in raw.items()})
    moved["pumping_level_m"], more = pumping_from_drawdown(moved)
    return Step(moved, sorted([*findings, *more], key=lambda one: one.row))


def told(step: Step) -> list[tuple[int, str, str, str, str]]:
    return [(one.row, one.column, one.rule, one.old_value, one.new_value) for one in step.findings]


# --- datum ------------------------------------------------------------------------------------------------


def test_a_level_below_the_casing_top() -> None:
    levels = pd.Series([12.0, 12.0, 12.0, 12.0, NONE], index=[1, 2, 3, 4, 5])
    stickup = pd.Series([0.5, NONE, 59.0, -0.4, NONE], index=levels.index)
    ground, notes = to_ground(levels, "casing_top", stickup, pd.Series(NONE, index=levels.index))
    # hand: 12 − 0.5; as read; as read, for 59 is 0.59 without its point; a casing 0.4 m down in a pit: 12 + 0.4
    assert ground.fillna(-1).tolist() == [11.5, 12.0, 12.0, 12.4, -1]
    assert [(one.row, one.rule, one.new_value) for one in notes] == [
        (2, "stickup_unknown", "12"),
        (3, "stickup_doubtful", "12"),
    ]


def test_an_elevation_of_the_water() -> None:
    levels = pd.Series([1180.0, 1180.0, 1180.0, NONE], index=[1, 2, 3, 4])
    ground = pd.Series([1192.5, NONE, 4000.0, 1192.5], index=levels.index)
    found, notes = to_ground(levels, "sea_level", pd.Series(NONE, index=levels.index), ground)
    # hand: 1192.5 − 1180 = 12.5; 4000 − 1180 = 2820 m is deeper than any level can be
    assert found.fillna(-1).tolist() == [12.5, -1, -1, -1]
    assert [(one.row, one.rule, one.new_value) for one in notes] == [
        (2, "ground_unknown", ""),
        (3, "level_beyond_range", ""),
    ]


@settings(deadline=None)
@given(
    level=st.floats(-100, 5000) | st.just(NONE),
    height=st.floats(-500, 9000) | st.just(NONE),
    datum=st.sampled_from(["casing_top", "sea_level"]),
)
def test_no_level_leaves_the_range_and_none_goes_untold(level: float, height: float, datum: Any) -> None:
    levels, heights = pd.Series([level], index=[7]), pd.Series([height], index=[7])
    found, notes = to_ground(levels, datum, heights, heights)
    quantity = glossary()["static_level_m"]
    assert np.isnan(found[7]) or quantity.low <= found[7] <= quantity.high  # type: ignore[operator]
    assert np.isnan(found[7]) <= (np.isnan(level) or bool(notes))
    assert {note.rule for note in notes} <= set(SEVERITY)


def test_levels_of_the_inventory_are_brought_to_the_ground(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(
        inventory.WRITES,
        3,
        static_level_m=[12.0, 20.0, NONE],
        pumping_level_m=[18.0, NONE, NONE],
        casing_stickup_m=[0.5, NONE, 0.3],
    )
    plan = make_plan(inventory={"file": "a.csv", "units": CASING})
    step = read(sites, plan)
    assert step.columns["static_level_m"].fillna(-1).tolist() == [11.5, 20.0, -1]
    assert step.columns["pumping_level_m"].fillna(-1).tolist() == [17.5, -1, -1]
    assert told(step) == [
        (0, "static_level_m", "level_to_ground", "m below casing top", "m below ground, 1 rows"),
        (0, "pumping_level_m", "level_to_ground", "m below casing top", "m below ground, 1 rows"),
        (2, "static_level_m", "stickup_unknown", "20", "20"),
    ]
    assert sites["static_level_m"][1] == 12.0, "the table that came in is left alone"
    other = [name for name in inventory.WRITES if not name.endswith("level_m")]
    pd.testing.assert_frame_equal(step.columns[other], sites[other])


def test_a_file_without_any_casing_height_is_told_once(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(inventory.WRITES, 3, static_level_m=[12.0, 20.0, 5.0])
    step = read(sites, make_plan(inventory={"file": "a.csv", "units": {"static_level_m": CASING["static_level_m"]}}))
    assert step.columns["static_level_m"].tolist() == [12.0, 20.0, 5.0]
    assert [(row, rule) for row, _, rule, _, _ in told(step)] == [(0, "level_to_ground"), (0, "stickup_unknown")]


def test_an_elevation_is_lost_with_its_text_where_the_ground_is_unknown(
    make_sites: MakeSites, make_plan: MakePlan
) -> None:
    sites = make_sites(inventory.WRITES, 2, static_level_m=[1180.0, 1180.0], ground_elevation_m=[1190.0, NONE])
    step = read(sites, make_plan(inventory={"file": "a.csv", "units": SEA}))
    assert step.columns["static_level_m"].fillna(-1).tolist() == [10.0, -1]
    assert told(step)[-1] == (2, "static_level_m", "ground_unknown", "1180", "")


def test_a_casing_height_that_is_doubtful_is_the_cell_that_is_shown(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(inventory.WRITES, 1, static_level_m=12.0, casing_stickup_m=59.0)
    step = read(sites, make_plan(inventory={"file": "a.csv", "units": {"static_level_m": "m btoc"}}))
    assert told(step)[-1] == (1, "casing_stickup_m", "stickup_doubtful", "59", "12")


def test_levels_below_ground_are_left_as_they_are(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(inventory.WRITES, 1, static_level_m=12.0, casing_stickup_m=0.5)
    step = read(sites, make_plan())
    pd.testing.assert_frame_equal(step.columns, sites)
    assert step.findings == []


# --- artesian wells ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("aquifer", "level", "findings"), [("artesian", 0.0, 0), ("confined", NONE, 1), ("", NONE, 1)])
def test_a_rest_level_of_nought_stands_where_it_is_declared(
    tmp_path: Path, aquifer: str, level: float, findings: int
) -> None:
    step = read_file(tmp_path, {"static_level_m": "0", "aquifer": aquifer})
    assert step.columns["static_level_m"].tolist() == pytest.approx([level], nan_ok=True)
    assert [one.rule for one in step.findings] == ["artesian_undeclared"] * findings


# --- the range and the nought, after the correction -------------------------------------------------------


def read_file(folder: Path, row: dict[str, str], **units: str) -> Step:
    row = {"latitude": "-9.12347", "longitude": "33.51236", **row}
    (folder / "wells.csv").write_text(",".join(row) + "\n" + ",".join(row.values()) + "\n", encoding="utf-8")
    plan = Plan.model_validate({"inventory": {"file": "wells.csv", "units": units}})
    return inventory.read_inventory(LoadedPlan(plan, folder / "plan.toml", {}, {}))


def test_the_range_is_that_of_the_level_below_ground(tmp_path: Path) -> None:
    high = {"static_level_m": "1850", "ground_elevation_m": "1862.5"}
    step = read_file(tmp_path, high, static_level_m="m above sea level")
    assert step.columns["static_level_m"].tolist() == [12.5]  # hand: 1862.5 − 1850
    assert [(one.row, one.rule) for one in step.findings] == [(0, "level_to_ground")]
    step = read_file(tmp_path, {**high, "ground_elevation_m": ""}, static_level_m="m above sea level")
    assert [(one.row, one.rule, one.old_value) for one in step.findings if one.row] == [(1, "ground_unknown", "1850")]
    step = read_file(tmp_path, {**high, "ground_elevation_m": "4000"}, static_level_m="m above sea level")
    assert [(one.row, one.rule, one.old_value) for one in step.findings if one.row] == [
        (1, "level_beyond_range", "1850")
    ]


def test_a_nought_that_was_read_is_none_and_so_is_one_that_was_worked_out(tmp_path: Path) -> None:
    casing = {"static_level_m": "m below casing top"}
    step = read_file(tmp_path, {"static_level_m": "0", "casing_stickup_m": "0.5"}, **casing)
    assert step.columns["static_level_m"].isna().all()
    assert [(one.rule, one.old_value) for one in step.findings if one.row] == [("zero_as_missing", "0")]
    step = read_file(tmp_path, {"static_level_m": "0.5", "casing_stickup_m": "0.5"}, **casing)
    assert step.columns["static_level_m"].isna().all()
    assert [(one.rule, one.old_value) for one in step.findings if one.row] == [("artesian_undeclared", "0.5")]


@pytest.mark.parametrize(("aquifer", "held"), [("artesian", False), ("confined", True), ("", True)])
def test_a_negative_rest_level_is_held_unless_declared(
    make_sites: MakeSites, make_plan: MakePlan, aquifer: str, held: bool
) -> None:
    sites = make_sites(screening.READS, 1, static_level_m=-0.5, aquifer=aquifer, latitude=-9.5, longitude=33.5)
    assert screening.run(sites, make_plan()).columns["level_conflict"].tolist() == [held]


# --- derived values ---------------------------------------------------------------------------------------


def test_a_stated_drawdown_gives_the_pumping_level(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(
        inventory.WRITES,
        4,
        static_level_m=[12.0, 12.0, NONE, 12.0],
        pumping_level_m=[NONE, 20.0, NONE, NONE],
        drawdown_m=[6.0, 6.0, 6.0, 0.0],
    )
    step = read(sites, make_plan())
    assert step.columns["pumping_level_m"].fillna(-1).tolist() == [18.0, 20.0, -1, -1]
    assert told(step) == [(1, "pumping_level_m", "pumping_level_from_drawdown", "", "18")]


@pytest.mark.parametrize(
    ("stated", "differs"),
    [
        ({"drawdown_m": 6.5}, False),
        ({"drawdown_m": 6.7}, True),
        ({"specific_capacity_m3_h_m": 0.5}, False),
        ({"specific_capacity_m3_h_m": 0.55}, False),
        # users' example of a file: 0.15 where Q ÷ s is another number
        ({"specific_capacity_m3_h_m": 0.15}, True),
    ],
)
def test_stated_values_are_compared_with_the_tests_own(
    make_sites: MakeSites, make_plan: MakePlan, stated: dict[str, float], differs: bool
) -> None:
    # hand: 3 m3/h over 18 − 12 = 6 m is 0.5 m3/h/m; a tenth of it either way passes
    test = {"static_level_m": 12.0, "pumping_level_m": 18.0, "tested_yield_m3_h": 3.0}
    step = screening.run(make_sites(screening.READS, 1, latitude=-9.5, longitude=33.5, **test, **stated), make_plan())
    (name,) = stated
    found = [(one.column, one.rule, one.new_value) for one in step.findings]
    own = {"drawdown_m": "6", "specific_capacity_m3_h_m": "0.5"}[name]
    assert found == ([(name, "derived_differs", own)] if differs else [])
    check = step.checks[step.checks["rule"] == "derived_differs"]
    assert check["pass"].tolist() == [not differs] and check["subject"].tolist() == [name]


# --- contradictions ---------------------------------------------------------------------------------------

SOUND = {
    "static_level_m": 20.0,
    "pumping_level_m": 35.0,
    "existing_intake_m": 42.0,
    "screen_top_m": 45.0,
    "main_strike_m": 47.0,
    "depth_m": 60.0,
    "casing_mm": 150.0,
    "test_hours": 24.0,
}


@pytest.mark.parametrize(
    ("change", "rule", "value", "limit"),
    [
        ({"existing_intake_m": 61.0}, "intake_below_depth", 61.0, 60.0),
        ({"existing_intake_m": 34.0}, "pumping_below_intake", 35.0, 34.0),
        ({"screen_top_m": 30.0}, "pumping_below_screen", 35.0, 30.0),
        ({"screen_top_m": 61.0}, "screen_below_depth", 61.0, 60.0),
        ({"main_strike_m": 61.0}, "strike_below_depth", 61.0, 60.0),
        ({"main_strike_m": 16.9}, "strike_above_static", 16.9, 17.0),  # 20 m less the plan's swing of 3 m
        ({"main_strike_m": 23.1, "aquifer": "unconfined"}, "strike_under_pressure", 23.1, 23.0),
        ({"casing_mm": 351.0}, "casing_wide", 351.0, 350.0),
        ({"test_hours": 721.0}, "test_long", 721.0, 720.0),
        ({"pumping_level_m": 61.0, "existing_intake_m": NONE, "screen_top_m": NONE}, "pumping_below_depth", 61.0, 60.0),
        ({"pumping_level_m": 19.0}, "pumping_above_static", 19.0, 20.0),
        ({"pumping_level_m": 20.0}, "no_drawdown", 20.0, 20.0),
    ],
)
def test_each_contradiction_is_a_finding_and_a_check(
    make_sites: MakeSites, make_plan: MakePlan, change: dict[str, Any], rule: str, value: float, limit: float
) -> None:
    sites = make_sites(screening.READS, 2, latitude=[-9.5, -9.6], longitude=33.5, **SOUND)
    for name, changed in change.items():
        sites.loc[1, name] = changed
    step = screening.run(sites, make_plan())
    assert [(one.row, one.rule, one.severity != "stop") for one in step.findings] == [(1, rule, True)]
    failed = step.checks[~step.checks["pass"] & (step.checks["rule"] == rule)]
    assert failed[["inventory_row", "value", "limit"]].values.tolist() == [[1, value, limit]]
    assert step.columns["level_conflict"].tolist() == [False, False]


def test_a_wide_dug_well_is_no_contradiction(make_sites: MakeSites, make_plan: MakePlan) -> None:
    sites = make_sites(screening.READS, 1, latitude=-9.5, longitude=33.5, casing_mm=1500.0, depth_m=12.0)
    assert screening.run(sites, make_plan()).findings == []
