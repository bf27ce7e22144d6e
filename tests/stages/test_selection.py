"""A run with budget, phases, floors, standard pump types and a weighted order: what stands in the files adds up."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from planner import pipeline
from planner.errors import PlanError

MakeProgramme = Callable[..., Path]

CHOICE = """
[portfolio]
minimum_count = { sub_district = 1 }
max_pump_types = 1
pump_type_tolerance = 0.02

[[phase]]
year = 2027
budget = {first}
sites_max = 2

[[phase]]
year = 2028
budget = {second}

[ranking]
allow_prior_equip = true
weights = { cost_per_m3 = 0.6, people_served = 0.4 }
"""
WELLS: list[dict[str, str]] = [
    {"people": "150", "sub_district": "North"},
    {"people": "600", "sub_district": "North"},
    {"people": "300", "sub_district": "South"},
    {"people": "350", "sub_district": "South", "static_level_m": "35", "pumping_level_m": "45", "depth_m": "80"},
    {"people": "450", "sub_district": "North"},
    {"people": "200", "sub_district": "South", "pumping_level_m": "", "test_kind": "airlift"},
]


def plan_of(text: str, first: int, second: int) -> str:
    return text + CHOICE.replace("{first}", str(first)).replace("{second}", str(second))


@pytest.fixture(scope="module")
def done(make_programme: MakeProgramme, plan_text: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("selection")
    path = make_programme(folder, WELLS, plan_of(plan_text, 45_000, 40_000))
    pipeline.run(path, folder / "out", workers=2)
    return folder / "out"


@pytest.fixture(scope="module")
def record(done: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((done / "run.json").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def sites(done: Path) -> pd.DataFrame:
    return pd.read_parquet(done / "sites.parquet").set_index("inventory_row")


def test_each_funded_site_has_a_year_within_its_money(sites: pd.DataFrame, record: dict[str, Any]) -> None:
    funded = sites["funding"] == "funded"
    assert funded.sum() >= 2
    assert (sites["phase"].notna() == funded).all()
    for phase in record["funding"]["phases"]:
        there = sites[sites["phase"] == phase["year"]]
        assert len(there) == phase["sites"] <= (phase["sites_max"] or len(sites))
        assert there["capital_cost"].sum() == pytest.approx(phase["spent"], abs=0.01)
        assert phase["spent"] <= phase["budget"]
    assert sum(one["sites"] for one in record["funding"]["phases"]) == record["counts"]["funded"]
    assert record["funding"]["budget"] == 85_000
    assert set(sites.loc[funded, "sub_district"]) == {"North", "South"}
    assert any(line.startswith("2027") for line in record["budget"])


def test_the_bits_of_a_site_are_the_steps_that_fund_it(sites: pd.DataFrame, record: dict[str, Any]) -> None:
    steps = record["budget_steps"]
    assert 10 <= len(steps) <= 20
    own = [step["own"] for step in steps].index(True)
    mask = sites["budget_steps_mask"].fillna(0).astype(int)
    for place, step in enumerate(steps):
        taken = mask.to_numpy() >> place & 1 == 1
        assert taken.sum() == step["sites"]
        assert sites.loc[taken, "capital_cost"].sum() == pytest.approx(step["spent"], abs=0.01)
        assert step["spent"] <= step["budget"]
    assert ((mask.to_numpy() >> own & 1 == 1) == (sites["funding"] == "funded")).all()
    assert (sites["budget_steps_mask"].notna() == (sites["decision"] == "equip")).all()


def test_standard_pumps_are_few_and_near(sites: pd.DataFrame, record: dict[str, Any]) -> None:
    types = record["pump_types"]
    suited = sites["pump_id_standard"] != ""
    assert set(sites.loc[suited, "pump_id_standard"]) == {one["pump_id"] for one in types["types"]}
    assert len(types["types"]) == 1
    limit = sites.loc[suited, "cost_per_m3"] * 1.02
    assert (sites.loc[suited, "cost_standard_per_m3"] <= limit * (1 + 1e-6)).all()
    assert not suited[sites["decision"] != "equip"].any()
    left = sites.index[(sites["decision"] == "equip") & ~suited]
    assert [one["inventory_row"] for one in types["not_suited"]] == list(left)
    assert types["types_needed"] >= 1


def test_ranks_on_priors_and_weights_are_told(sites: pd.DataFrame, done: Path, record: dict[str, Any]) -> None:
    assert sites.index[sites["rank_rests_on_prior"]].tolist() == [6]
    assert any("1 of 6 ranked sites rests on what was not measured" in line for line in record["budget"])
    ranked = sites["rank"].notna()
    assert sorted(sites.loc[ranked, "rank_weighted"]) == sorted(sites.loc[ranked, "rank"])
    assert sites.loc[ranked, "score_weighted"].between(0, 1).all()
    with (done / "weights.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == ranked.sum()
    assert {"cost_per_m3", "cost_per_m3_normalised", "people_served_normalised", "top_share_weighted"} <= set(rows[0])
    assert record["ranking"]["criteria"][0]["better"] == "low"


def test_phases_that_cannot_hold_the_floors_are_named(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    path = make_programme(tmp_path, WELLS[:4], plan_of(plan_text, 1000, 1000))
    with pytest.raises(PlanError, match=r"rules that clash: .*phase 2027 budget 1 000 USD"):
        pipeline.run(path, tmp_path / "out", workers=2)


def test_how_often_each_site_is_funded(sites: pd.DataFrame, record: dict[str, Any]) -> None:
    """Of four draws; floors are kept, phases are one budget."""
    shares = sites["funded_probability"]
    assert (shares.notna() == (sites["decision"] == "equip")).all()
    assert set(shares.dropna() * 4) <= {0, 1, 2, 3, 4}
    assert shares[sites["funding"] == "funded"].mean() >= shares[sites["funding"] != "funded"].mean()
    found = record["funding"]["funded_probability"]
    assert found["draws"] == 4
    assert 0 <= found["gap_mean"] <= found["gap_most"]
    assert found["no_set"] == 0
