"""Neighbours: Theis by hand, who counts, and that the order of rows does not matter."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy.special import exp1

from planner.glossary import monthly
from planner.tables import neighbours

NONE = float("nan")
# Metres a degree at the equator of WGS 84: closed form from its semi-axis and squared eccentricity.
EAST_M = 6378137.0 * math.pi / 180
NORTH_M = EAST_M * (1 - 0.00669437999014)

WELL = {
    "tested_yield_m3_h": 2.0,
    "safe_volume_m3_day": 10.0,
    "transmissivity_used_m2_d": 10.0,
    "storativity_used": 1e-3,
    "status": "working",
}


@pytest.fixture
def row_of_wells(make_sites):
    """Factory of wells on the equator at given distances east, m, from the first."""

    def make(east_m, **given):
        longitude = [30.0 + x / EAST_M for x in east_m]
        return make_sites(neighbours.READS, len(east_m), latitude=0.0, longitude=longitude, **{**WELL, **given})

    return make


def theis_m(volume, radius, transmissivity=10.0, storativity=1e-3, days=180):
    """Closed form, with the exponential integral of an independent library."""
    return volume / (4 * math.pi * transmissivity) * exp1(radius**2 * storativity / (4 * transmissivity * days))


def test_two_wells(row_of_wells, make_plan, keeps_promise):
    demand = {name: [4.0, 25.0] for name in monthly("demand")}
    sites = row_of_wells([0, 100], **demand)
    step = neighbours.run(sites, make_plan())
    keeps_promise(step, sites, neighbours.WRITES)
    # hand: u = 100² × 1e-3 ÷ (4 × 10 × 180) = 1.389e-3, W = 6.0033; 10 ÷ 125.664 × 6.0033 = 0.4777 m
    assert step.columns["interference_m"].tolist() == pytest.approx([0.4777, 0.4777 * 0.4], abs=1e-4)
    assert step.columns["interference_m"].tolist() == pytest.approx([theis_m(10, 100), theis_m(4, 100)])
    # the first needs 4 m3/d of its 10; the second needs 25 and may take 10
    assert step.columns["neighbour_abstraction_m3_day"].tolist() == [10.0, pytest.approx(4.0)]
    assert step.columns["neighbours"].tolist() == [1, 1]


def test_superposition_radius_and_least_distance(row_of_wells, make_plan):
    sites = row_of_wells([0, 0, 200, 299.9, 300.1])
    step = neighbours.run(sites, make_plan(well={"interference_radius_m": 300.0}))
    assert step.columns["neighbours"].tolist() == [3, 3, 4, 4, 2]
    expected = theis_m(10, 10) + theis_m(10, 200) + theis_m(10, 299.9)  # the same place counts as 10 m
    assert step.columns.at[1, "interference_m"] == pytest.approx(expected)
    off = neighbours.run(sites, make_plan(well={"interference_radius_m": 0.0})).columns
    assert off["neighbours"].sum() == 0 and (off["interference_m"] == 0).all()


def test_aquifer_and_season_are_those_of_the_receiver(row_of_wells, make_plan):
    sites = row_of_wells([0, 100], transmissivity_used_m2_d=[5.0, 50.0], storativity_used=[0.1, 1e-3])
    columns = neighbours.run(sites, make_plan(well={"days_since_recovery": 90})).columns
    expected = [theis_m(10, 100, 5.0, 0.1, 90), theis_m(10, 100, 50.0, 1e-3, 90)]
    assert columns["interference_m"].tolist() == pytest.approx(expected)


def test_distance_holds_north_and_south(make_sites, make_plan):
    sites = make_sites(neighbours.READS, 2, latitude=[0.0, 250 / NORTH_M], longitude=30.0, **WELL)
    columns = neighbours.run(sites, make_plan()).columns
    assert columns.at[1, "interference_m"] == pytest.approx(theis_m(10, 250), rel=1e-6)


def test_who_counts_as_a_neighbour(row_of_wells, make_plan, keeps_promise):
    sites = row_of_wells(
        [0, 10, 20, 30, 40, 50, 60, 70],
        status=["working", "dry", "abandoned", "unknown", "working", "working", "working", "working"],
        duplicate_of=[NONE, NONE, NONE, NONE, 1, NONE, NONE, NONE],
        tested_yield_m3_h=[2, 2, 2, 2, 2, NONE, 2, 2],
        position_status=["ok"] * 6 + ["outside", "placeholder"],
    )
    step = neighbours.run(sites, make_plan())
    keeps_promise(step, sites, neighbours.WRITES)
    # of the eight only the first and the fourth give; all but the placeholder receive
    assert step.columns["neighbours"].tolist() == [1, 2, 2, 1, 2, 2, 2, 0]
    assert step.columns["interference_m"].isna().tolist() == [False] * 7 + [True]


def test_order_of_rows_does_not_matter(make_sites, make_plan):
    random = np.random.default_rng(1)
    rows = 400
    sites = make_sites(
        neighbours.READS,
        rows,
        latitude=(random.random(rows) * 0.02 - 13).tolist(),
        longitude=(random.random(rows) * 0.02 + 34).tolist(),
        **{**WELL, "safe_volume_m3_day": (random.random(rows) * 20).tolist()},
        **{name: (random.random(rows) * 20).tolist() for name in monthly("demand")},
    )
    straight = neighbours.run(sites, make_plan()).columns
    shuffled = neighbours.run(sites.sample(frac=1.0, random_state=2), make_plan()).columns
    assert straight["neighbours"].max() > 10
    pd.testing.assert_frame_equal(shuffled.sort_index(), straight, check_exact=True)


def test_more_neighbours_never_less_drawdown(row_of_wells, make_plan):
    few = neighbours.run(row_of_wells([0, 120]), make_plan()).columns
    more = neighbours.run(row_of_wells([0, 120, 240]), make_plan()).columns
    assert (more.loc[[1, 2], "interference_m"] > few["interference_m"]).all()


@pytest.mark.parametrize("rows", [0, 1, 3])
def test_nothing_known(make_sites, make_plan, keeps_promise, rows):
    sites = make_sites(neighbours.READS, rows)
    step = neighbours.run(sites, make_plan())
    keeps_promise(step, sites, neighbours.WRITES)
    assert step.columns["interference_m"].isna().all()
    assert step.columns["neighbours"].tolist() == [0] * rows
