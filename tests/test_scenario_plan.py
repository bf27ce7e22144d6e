"""[[scenario]] in the plan file: laid over the plan, validated like it, every fault named with scenario and key."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import PlanError
from planner.plan import Plan, input_files, plan_changes, read_plan
from planner.plan.changes import value_words
from planner.plan.scenario import merged

START = '[inventory]\nfile = "wells.csv"\n'


def write(folder: Path, text: str) -> Path:
    (folder / "wells.csv").write_text("latitude,longitude\n-9.9,30.1\n", encoding="utf-8")
    path = folder / "plan.toml"
    path.write_text(START + text, encoding="utf-8")
    return path


def faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        read_plan(write(folder, text))
    return [f"{fault.place}: {fault.found}; {fault.expected}" for fault in caught.value.faults]


def test_a_scenario_says_only_what_it_changes(tmp_path: Path) -> None:
    text = """
[demand]
litres_per_person_day = 25
[well]
tested_share = { short = 0.4 }
[portfolio]
minimum_count = { sub_district = 2 }
locked_in = ["1", "2"]
[[scenario]]
name = "drought"
[scenario.well]
level_decline_m = 5
tested_share = { step = 0.5 }
[[scenario]]
name = "norm"
demand.norm_l_person_day = 40
[[scenario]]
name = "free choice"
portfolio = { minimum_count = {}, locked_in = ["3"] }
[[scenario]]
name = "nothing"
"""
    loaded = read_plan(write(tmp_path, text))
    assert [one.name for one in loaded.scenarios] == ["drought", "norm", "free choice", "nothing"]
    assert [list(map(str, one.changes)) for one in loaded.scenarios] == [
        ["well.tested_share.step 0.6 → 0.5", "well.level_decline_m 0 → 5"],
        ["demand.norm_l_person_day 25 → 40"],
        [
            "portfolio.minimum_count.sub_district 2 → none",
            "portfolio.locked_in.1 empty → none",
            "portfolio.locked_in.2 empty → none",
            "portfolio.locked_in.3 none → empty",
        ],
        [],
    ]
    drought = loaded.scenarios[0].loaded.plan
    assert (drought.well.tested_share["short"], drought.well.tested_share["step"]) == (0.4, 0.5)
    assert drought.demand.norm_l_person_day == 25
    assert loaded.plan.well.level_decline_m == 0
    assert drought.scenario is None


def test_faults_name_scenario_key_and_line(tmp_path: Path) -> None:
    text = """[[scenario]]
name = "drought"
[scenario.well]
level_declin_m = 5
yield_decline_share = 1.2
[[scenario]]
name = "prices"
equipment = { prices = "nowhere.csv" }
[scenario.rasters]
solar = { file = "https://a.org/a.tif", unit = "W/m2" }
"""
    found = faults(tmp_path, text)
    assert len(found) == 4
    for told in (
        "[[scenario]] drought: [well] level_declin_m, line 6: an unknown key; 'level_decline_m', the nearest known key",
        "[[scenario]] drought: [well] yield_decline_share, line 7: 1.2; less than 1",
        "[[scenario]] prices: [equipment] prices, line 10: no file at 'nowhere.csv'; a file, relative to the plan file",
        "[[scenario]] prices: [rasters] solar file, line 12: 'https://a.org/a.tif'; a file on disk, not an address",
    ):
        assert told in found


@pytest.mark.parametrize("name", ["../x", "", "a/b", "a\\\\b", ".hidden", "x" * 41, "a\\u001b[31m", "=1+1", "-x"])
def test_names_that_could_be_more_than_names_are_refused(tmp_path: Path, name: str) -> None:
    (fault,) = faults(tmp_path, f'[[scenario]]\nname = "{name}"\n')
    assert fault.startswith("[[scenario]] number 1: name, line 4")
    assert "1 to 40 letters" in fault


def test_names_stand_once_and_must_stand(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, '[[scenario]]\nname = "Dry"\n[[scenario]]\nname = "dry"\n')
    assert "more than once: dry" in fault
    (fault,) = faults(tmp_path, "[[scenario]]\ncosts.tax = 0.1\n")
    assert "nothing; this key, it has no default" in fault
    (fault,) = faults(tmp_path, "scenario = 3\n")


@pytest.mark.parametrize(
    "line",
    ['programme.currency = "EUR"', "programme.price_year = 2020", 'output.files = ["csv"]', 'inventory.file = "b.csv"'],
)
def test_what_makes_another_plan_is_no_scenario(tmp_path: Path, line: str) -> None:
    (fault,) = faults(tmp_path, f'[[scenario]]\nname = "a"\n{line}\n')
    assert "planner compare" in fault
    assert ", line 5" in fault


def test_a_fault_of_the_plan_is_told_once(tmp_path: Path) -> None:
    found = faults(tmp_path, '[programme]\ndiscount_rate = 8\n[[scenario]]\nname = "a"\ncosts.tax = 2\n')
    assert [fault.partition(",")[0] for fault in found] == ["[programme] discount_rate", "[[scenario]] a: [costs] tax"]


def test_files_of_scenarios_are_inputs(tmp_path: Path) -> None:
    (tmp_path / "dear.csv").write_text("item\n", encoding="utf-8")
    plan = read_plan(write(tmp_path, '[[scenario]]\nname = "dear"\nequipment.prices = "dear.csv"\n')).plan
    assert input_files(plan) == {"inventory.file": "wells.csv", "scenario.dear.equipment.prices": "dear.csv"}


def test_a_raster_goes_whole() -> None:
    old = {"rasters": {"solar": {"file": "a.tif", "unit": "x", "scale": 0.01}, "rain": {"file": "r.tif"}}}
    new = merged(old, {"rasters": {"solar": {"file": "b.tif", "unit": "y"}}})
    assert new == {"rasters": {"solar": {"file": "b.tif", "unit": "y"}, "rain": {"file": "r.tif"}}}
    assert old["rasters"]["solar"]["scale"] == 0.01  # neither is changed


def test_an_empty_section_changes_nothing() -> None:
    assert merged({"well": {"a": 1}}, {"well": {}}) == {"well": {"a": 1}}


values = st.recursive(st.none() | st.integers(0, 3) | st.text("ab", max_size=2), lambda one: st.lists(one, max_size=2))
tables = st.dictionaries(
    st.sampled_from("abc"), st.dictionaries(st.sampled_from("xyz"), values, min_size=1), max_size=3
)


@given(plan=tables, changes=tables)
def test_laid_over_holds_the_changes_and_the_rest_of_the_plan(plan: dict, changes: dict) -> None:
    """Our own rule: every leaf of the changes stands, every other leaf is the plan's."""
    found = merged(plan, changes)
    for section in {*plan, *changes}:
        expected = {**plan.get(section, {}), **changes.get(section, {})}
        assert found[section] == expected
    assert {change.key for change in plan_changes(plan, plan)} == set()


def test_a_plan_with_scenarios_reads_back_from_its_record(tmp_path: Path) -> None:
    plan = read_plan(write(tmp_path, '[[scenario]]\nname = "dry"\nwell.level_decline_m = 5\n')).plan
    again = Plan.model_validate(plan.model_dump(mode="json", exclude_none=True))
    assert again.scenario is not None
    assert again.scenario[0].changes == {"well": {"level_decline_m": 5}}


def test_values_in_few_words() -> None:
    assert [value_words(one) for one in (None, {}, True, [1.0] * 12, ["a", "b"], 0.08, "x" * 200)] == [
        *("none", "none", "yes", "1 in each of 12", "a, b", "0.08"),
        "x" * 79 + "…",
    ]
