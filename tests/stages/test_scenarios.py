"""A run with scenarios: each through the same pipeline, nothing of the plan's own result changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from planner import pipeline, publish
from planner.commands.why.command import why
from planner.errors import CatalogueError, PlanError
from planner.stages import sizing

MakeProgramme = Callable[..., Path]
BUDGET = "\n[programme]\nname = 'P'\nbudget = 70_000\n[portfolio]\nminimum_count = { sub_district = 1 }\n"
SCENARIOS = """
[[scenario]]
name = "drought"
[scenario.well]
level_decline_m = 8
yield_decline_share = 0.5

[[scenario]]
name = "no floor"
[scenario.portfolio]
minimum_count = {}

[[scenario]]
name = "too little"
programme.budget = 100
portfolio.locked_in = { W000 = "promised" }

[[scenario]]
name = "dear"
costs.price_factor = { equipment = 2, works = 2, upkeep = 2 }
"""
ROWS = [
    {"people": "300"},
    {"people": "250", "static_level_m": "25", "pumping_level_m": "30"},
    {"people": "500", "tested_yield_m3_h": "3", "pumping_level_m": "22"},
    {"people": "150", "sub_district": "Upper Mwesa", "static_level_m": "40", "pumping_level_m": "45"},
    {"people": "900", "tested_yield_m3_h": "4"},
    {"people": "350", "site_id": "=1+1"},
    {"latitude": "", "longitude": ""},
]


@pytest.fixture(scope="module")
def plan(make_programme: MakeProgramme, plan_text: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    text = plan_text.replace('[programme]\nname = "Small invented programme"\n', BUDGET)
    return make_programme(tmp_path_factory.mktemp("scenarios"), ROWS, text + SCENARIOS)


@pytest.fixture(scope="module")
def done(plan: Path) -> tuple[publish.Outcome, Path]:
    return pipeline.run(plan, plan.parent / "out"), plan.parent / "out"


@pytest.fixture(scope="module")
def record(done: tuple[publish.Outcome, Path]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((done[1] / "run.json").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def plain(plan: Path) -> Path:
    """The plan without its scenarios."""
    alone = plan.with_name("alone.toml")
    alone.write_text(plan.read_text(encoding="utf-8").partition("[[scenario]]")[0], encoding="utf-8")
    pipeline.run(alone, plan.parent / "alone")
    return plan.parent / "alone"


def test_scenarios_change_nothing_of_the_plans_own_result(done: tuple[publish.Outcome, Path], plain: Path) -> None:
    for name in ("sites.csv", "sites.parquet", "checks.parquet", "findings.csv"):
        assert (done[1] / name).read_bytes() == (plain / name).read_bytes(), name
    assert not (plain / "scenarios.csv").exists()
    assert json.loads((plain / "run.json").read_text(encoding="utf-8"))["scenarios"] == []


def test_each_is_told_with_totals(record: dict[str, Any], done: tuple[publish.Outcome, Path]) -> None:
    drought, free, _, dear = record["scenarios"]
    assert [one["name"] for one in record["scenarios"]] == ["drought", "no floor", "too little", "dear"]
    assert drought["changes"][0] == {"key": "well.level_decline_m", "from": 0.0, "to": 8.0}
    for one in (drought, free, dear):
        assert one["status"] == "computed"
        decisions = ("equip", "test_first", "hold", "unsuitable", "not_assessed")
        assert sum(one["totals"][name] for name in decisions) == len(ROWS)
        assert one["totals"]["funded_capital_cost"] <= 70_000
    # A sanity rule of our own: deeper water and less of it never make water cheaper in the median.
    assert drought["cost_change_median"] > 0
    assert free["cost_change_median"] == 0
    assert dear["cost_change_median"] > 0.9  # all prices twice: twice the cost, or a little less by another set
    assert len(done[0].scenarios) == 4


def test_a_clash_is_told_and_stops_nothing(record: dict[str, Any], done: tuple[publish.Outcome, Path]) -> None:
    clash = record["scenarios"][2]
    assert clash["status"] == "clash"
    assert "rules that clash" in clash["clash"]
    assert "100 USD" in clash["clash"]
    assert any("too little: not computed" in line for line in done[0].scenarios)


def test_the_table_has_who_moved_and_why(done: tuple[publish.Outcome, Path], record: dict[str, Any]) -> None:
    table = pd.read_csv(done[1] / "scenarios.csv", dtype="str", keep_default_na=False)
    assert set(table["scenario"]) <= {"drought", "no floor", "dear"}
    drought = table[table["scenario"] == "drought"]
    assert len(drought) == record["scenarios"][0]["moved"] > 0
    assert (drought["why"] != "").all()
    assert drought["why"].str.contains("Deepest rest level").any()
    # formulas of an inventory stay texts
    assert not any(cell.startswith("=") for column in table for cell in table[column])
    sites = pd.read_parquet(done[1] / "sites.parquet").set_index("inventory_row")
    for _, row in table.iterrows():  # the old side is the plan's own result
        assert row["decision_old"] == sites.at[int(row["inventory_row"]), "decision"]
    assert "scenarios.csv" in record["files"]


def test_no_folder_of_a_scenario_and_chunks_are_kept(done: tuple[publish.Outcome, Path], plan: Path) -> None:
    assert not [path for path in done[1].iterdir() if path.is_dir() and path.name != ".planner"]
    computed: list[int] = []
    assess = sizing.assess

    def counted(part: Any, context: Any) -> Any:
        computed.append(part.inventory_row.size)
        return assess(part, context)

    patch = pytest.MonkeyPatch()
    patch.setattr(sizing, "assess", counted)
    before = (done[1] / "scenarios.csv").read_bytes()
    pipeline.run(plan, done[1])
    patch.undo()
    assert not computed
    assert (done[1] / "scenarios.csv").read_bytes() == before


def test_wrong_inputs_of_a_scenario_stop_the_run_before_it_computes(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    (tmp_path / "dear.csv").write_text("item,unit\nnothing,each\n", encoding="utf-8")
    text = plan_text + '[[scenario]]\nname = "dear"\nequipment.prices = "dear.csv"\n'
    with pytest.raises(CatalogueError) as caught:
        pipeline.run(make_programme(tmp_path, ROWS[:1], text), tmp_path / "out")
    assert all("[[scenario]] dear: " in fault.place for fault in caught.value.faults)
    text = plan_text.replace("[inventory]", "budget = 9e9\n[inventory]", 1)
    text += '[[scenario]]\nname = "lock"\nportfolio.locked_in = ["nobody"]\n'
    with pytest.raises(PlanError) as other:
        pipeline.run(make_programme(tmp_path, ROWS[:1], text), tmp_path / "out")
    assert "[[scenario]] lock: " in other.value.faults[0].place


def test_the_worked_calculation_holds_in_a_drought(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    """`planner why` compares each number it prints with the run's own."""
    text = plan_text + "[well]\nlevel_decline_m = 3\nyield_decline_share = 0.2\n[costs]\nprice_factor = { works = 2 }\n"
    pipeline.run(make_programme(tmp_path, ROWS[:2], text), tmp_path / "out")
    sheet = why(tmp_path / "out", "row:1")
    assert "well.level_decline_m" in sheet
    assert "well.yield_decline_share" in sheet
