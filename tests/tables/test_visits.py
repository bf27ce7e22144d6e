"""Rows of one well: keys, score, series of visits. The score and its limits are our own rule."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from planner.plan import LoadedPlan
from planner.tables import screening
from planner.tables.duplicates import id_keys, match, name_keys, score
from planner.tables.step import Step

MakeSites = Callable[..., pd.DataFrame]
MakePlan = Callable[..., LoadedPlan]
WGS84 = Geod(ellps="WGS84")
NONE = float("nan")


def north_of(*metres: float) -> dict[str, list[float]]:
    """Positions so many metres north of one place (independent library)."""
    places = [WGS84.fwd(33.5, -9.5, 0, distance) for distance in metres]
    return {"latitude": [place[1] for place in places], "longitude": [place[0] for place in places]}


def screened(make_sites: MakeSites, make_plan: MakePlan, *metres: float, **columns: Any) -> Step:
    return screening.run(make_sites(screening.READS, len(metres), **north_of(*metres), **columns), make_plan())


def told(step: Step, *rules: str) -> list[tuple[int, str, str, str]]:
    return [(one.row, one.column, one.old_value, one.new_value) for one in step.findings if one.rule in rules]


# --- keys and score ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Nkhoma 1", "Nkhoma I", True),
        ("Nkhoma II", "NKHOMA-02", True),
        ("Nkhoma1", "nkhoma  1", True),
        ("Étang 3", "etang iii", True),
        ("Nkhoma 1", "Nkhoma 11", False),
        ("Nkhoma I", "Nkhoma II", False),
        ("I", "1", False),  # a name of one word is no number
        ("Nkhoma", "Nkhoma 1", False),
    ],
)
def test_names_are_compared_with_the_number_at_their_end(one: str, other: str, same: bool) -> None:
    keys = name_keys(pd.Series([one, other]))
    assert (keys[0] == keys[1]) == same and (keys != "").all()


@pytest.mark.parametrize("written", ["", "-", "n/a", "N.A.", "none", "0", "???", "Unknown", "sans numéro", "nil"])
def test_placeholders_are_no_keys(written: str) -> None:
    assert id_keys(pd.Series([written])).tolist() == [""]
    assert name_keys(pd.Series([written])).tolist() == [""]


def test_leading_noughts_of_identifiers_count() -> None:
    assert id_keys(pd.Series(["00123", "123", "BH-7", "bh 7"])).tolist() == ["00123", "123", "bh 7", "bh 7"]


@pytest.mark.parametrize(
    ("pair", "expected"),
    [
        # hand: 0.40 × (1 − 15/60) = 0.30, and what the two share
        ({"same_id": True}, 0.70),
        ({"same_name": True}, 0.65),
        ({"same_name": True, "other_id": True}, 0.45),
        ({"same_name": True, "other_id": True, "depth_a": 60.0, "depth_b": 61.0}, 0.55),
        ({"same_name": True, "depth_a": 60.0, "depth_b": 40.0}, 0.50),
        ({"same_name": True, "other_id": True, "same_day": True}, 0.55),
        ({"same_id": True, "other_name": True}, 0.60),
        ({"distance_m": 90.0, "same_name": True}, 0.35),
    ],
)
def test_the_score_is_as_it_is_stated(pair: dict[str, Any], expected: float) -> None:
    usual = {
        "distance_m": 15.0,
        **dict.fromkeys(["same_id", "other_id", "same_name", "other_name", "same_day"], False),
        "depth_a": NONE,
        "depth_b": NONE,
    }
    assert score(pd.DataFrame([usual | pair])).tolist() == pytest.approx([expected])


# --- one well or two --------------------------------------------------------------------------------------


def test_two_wells_25_m_apart_stay_two(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = screened(make_sites, make_plan, 0, 25, site_id=["A1", "A2"], site_name=["Nkhoma School", "Nkhoma Market"])
    assert step.columns["duplicate_of"].isna().all() and step.columns["visits"].tolist() == [1, 1]
    assert [one.rule for one in step.findings] == ["near_neighbour"] * 2


def test_two_wells_of_one_village_with_numbers_of_their_own_are_candidates(
    make_sites: MakeSites, make_plan: MakePlan
) -> None:
    step = screened(make_sites, make_plan, 0, 15, site_id=["A1", "A2"], site_name=["Nkhoma", "Nkhoma"])
    assert step.columns["duplicate_of"].isna().all()
    # hand: 0.40 × (1 − 15/60) − 0.20 + 0.35
    assert told(step, "duplicate_candidate") == [
        (1, "site_id", "A1", "row 2, score 0.45, 15 m"),
        (2, "site_id", "A2", "row 1, score 0.45, 15 m"),
    ]
    assert {one.rule for one in step.findings} == {"duplicate_candidate"}


def test_a_roman_number_is_the_same_well(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = screened(make_sites, make_plan, 0, 20, site_name=["Nkhoma 1", "Nkhoma I"])
    assert step.columns["duplicate_of"].fillna(0).tolist() == [0, 1]


def test_placeholder_identifiers_make_no_well_one(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = screened(make_sites, make_plan, 0, 10, 5000, site_id=["n/a", "n/a", "-"], site_name=["a", "b", "c"])
    assert step.columns["duplicate_of"].isna().all()
    assert {one.rule for one in step.findings} == {"near_neighbour"}


def test_one_identifier_far_apart_is_a_conflict_on_both(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = screened(make_sites, make_plan, 0, 400, 1500, site_id=["7", "7", "7"], site_name=["a", "b", "c"])
    assert step.columns["duplicate_of"].isna().all()
    assert told(step, "id_conflict") == [
        (1, "site_id", "7", "row 3"),
        (2, "site_id", "7", "row 3"),
        (3, "site_id", "7", "row 1"),
    ]


# --- a series of visits -----------------------------------------------------------------------------------

SERIES: dict[str, Any] = {
    "site_id": ["N1", "N1", "N1"],
    "test_date": ["2012-05-03", "2019", "2023-08-01"],
    "tested_yield_m3_h": [3.0, 4.0, 2.0],
    "static_level_m": [12.0, 14.0, 18.0],
    "pumping_level_m": [18.0, 25.0, NONE],
    "depth_m": [60.0, 60.0, NONE],
    "casing_mm": [NONE, NONE, 125.0],
    "test_kind": ["constant_rate", "constant_rate", "airlift"],
    "status": ["working", "working", "needs_repair"],
}


def test_the_latest_good_test_is_kept_and_the_rest_held_with_their_data(
    make_sites: MakeSites, make_plan: MakePlan, keeps_promise: Callable[..., None]
) -> None:
    sites = make_sites(screening.READS, 3, **north_of(0, 5, 8), **SERIES)
    before = sites.copy()
    step = screening.run(sites, make_plan())
    keeps_promise(step, sites, screening.WRITES)
    # row 3 is later, but by airlift and without a pumping level
    assert step.columns["duplicate_of"].fillna(0).tolist() == [2, 0, 2]
    assert step.columns["visits"].tolist() == [3, 3, 3]
    assert told(step, "repeat_visit") == [(1, "site_id", "N1", "row 2"), (3, "site_id", "N1", "row 2")]
    pd.testing.assert_frame_equal(sites, before)


def test_visits_that_differ_are_told_as_a_range_and_nothing_is_filled(
    make_sites: MakeSites, make_plan: MakePlan
) -> None:
    step = screened(make_sites, make_plan, 0, 5, 8, **SERIES)
    assert told(step, "visits_differ") == [
        (2, "static_level_m", "14", "12 to 18"),
        (2, "tested_yield_m3_h", "4", "2 to 4"),
        (2, "pumping_level_m", "25", "18 to 25"),
        (2, "status", "working", "needs_repair, working"),
    ]
    assert told(step, "other_visit_has") == [(2, "casing_mm", "", "125 in row 3")]


@pytest.mark.parametrize(
    ("dates", "rule"),
    [
        (["2019", "2020"], "repeat_visit"),
        (["2019-03-01", "2019-04"], "repeat_visit"),
        (["2019", "2019-04"], "duplicate"),
        (["", "2020"], "duplicate"),
        (["", ""], "duplicate"),
    ],
)
def test_another_day_of_test_is_a_visit(
    make_sites: MakeSites, make_plan: MakePlan, dates: list[str], rule: str
) -> None:
    step = screened(make_sites, make_plan, 0, 5, site_id=["1", "1"], test_date=dates)
    failed = step.checks[~step.checks["pass"] & step.checks["rule"].isin(["duplicate", "repeat_visit"])]
    assert failed["rule"].tolist() == [rule]
    assert failed["value"].tolist() == step.columns["duplicate_of"].dropna().tolist()


def test_a_contradictory_row_is_not_the_one_that_is_kept(make_sites: MakeSites, make_plan: MakePlan) -> None:
    step = screened(
        make_sites,
        make_plan,
        *(0, 5),
        site_id=["1", "1"],
        test_date=["2010", "2020"],
        depth_m=60.0,
        static_level_m=[20.0, 70.0],
    )
    assert step.columns["duplicate_of"].fillna(0).tolist() == [0, 1]


@pytest.mark.parametrize(
    ("dates", "ended"),
    [(["2020", "2023"], True), (["2020", "2020-05"], True), (["2020", ""], True), (["2020", "2015"], False)],
)
def test_a_well_that_another_visit_found_dry_is_held(
    make_sites: MakeSites, make_plan: MakePlan, dates: list[str], ended: bool
) -> None:
    step = screened(
        make_sites,
        make_plan,
        *(0, 5),
        site_id=["1", "1"],
        test_date=dates,
        status=["working", "dry"],
        static_level_m=[12.0, NONE],
    )
    check = step.checks[step.checks["rule"] == "other_visit_ended"]
    assert check[["inventory_row", "pass"]].values.tolist() == [[1, not ended]]


# --- whatever comes ---------------------------------------------------------------------------------------

ROW = st.tuples(
    st.sampled_from([0.0, 5.0, 25.0, 45.0, 95.0, 2000.0]),
    st.sampled_from(["", "-", "7", "8"]),
    st.sampled_from(["", "Nkhoma 1", "Nkhoma I", "b"]),
    st.sampled_from([NONE, 40.0, 60.0]),
    st.sampled_from(["", "2019", "2019-03-01"]),
)


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(ROW, min_size=1, max_size=9), seed=st.randoms())
def test_wells_do_not_depend_on_the_order_of_rows(rows: list[tuple[Any, ...]], seed: Any) -> None:
    def clusters(some: list[tuple[Any, ...]]) -> pd.Series:
        metres, site_id, name, depth, date = zip(*some, strict=True)
        frame = pd.DataFrame(
            {
                **north_of(*metres),
                "site_id": pd.Series(site_id, dtype="str"),
                "site_name": pd.Series(name, dtype="str"),
                "depth_m": pd.Series(depth, dtype="float64"),
                "test_date": pd.Series(date, dtype="str"),
            }
        )
        return match(frame).cluster

    order = list(range(len(rows)))
    seed.shuffle(order)
    plain, shuffled = clusters(rows), clusters([rows[place] for place in order])
    back = pd.Series(shuffled.to_numpy(), index=order).sort_index()
    same = plain.to_numpy()[:, None] == plain.to_numpy()
    assert (same == (back.to_numpy()[:, None] == back.to_numpy())).all()
    for place, (_, site_id, name, *_) in enumerate(rows):
        if site_id in {"", "-"} and name == "":
            assert same[place].sum() == 1, "nothing names this row"


def test_a_stack_of_thousands_of_visits_is_one_well() -> None:
    count = 5000
    draw = np.random.default_rng(3)
    frame = pd.DataFrame(
        {
            "latitude": -9.5 + draw.normal(0, 2e-5, count),
            "longitude": 33.5 + draw.normal(0, 2e-5, count),
            "site_id": pd.Series(["7"] * count, dtype="str"),
            "site_name": pd.Series([""] * count, dtype="str"),
            "depth_m": draw.uniform(58, 62, count),
            "test_date": pd.Series([""] * count, dtype="str"),
        }
    )
    assert match(frame).cluster.nunique() == 1
