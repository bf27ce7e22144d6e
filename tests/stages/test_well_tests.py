"""The stage of pumping tests on an invented table: worth, rank and budget as worked out by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from planner.stages.well_tests import COLUMNS, lines_of, value_tests
from tests.engine import bed


def table() -> pd.DataFrame:
    """Five sites at the supply base; the fourth held, the fifth without draws."""
    return pd.DataFrame(
        {
            "site_id": list("abcde"),
            "decision": ["test_first", "equip", "test_first", "hold", "test_first"],
            "cost_per_m3": 1.0,
            "road_km": 0.0,
            "expected_lifecycle_cost_untested": [9_000.0, 5_000.0, 8_000.0, 9_000.0, np.nan],
            "expected_used_m3_untested": [10_000.0, 6_000.0, 8_000.0, 9_000.0, np.nan],
            "expected_lifecycle_cost": [7_000.0, 5_000.0, 8_000.0, 1_000.0, np.nan],
            "expected_used_m3": [12_000.0, 6_000.0, 11_000.0, 9_000.0, np.nan],
        },
        index=pd.Index([1, 2, 3, 4, 5], name="inventory_row"),
    )


def blank(sites: pd.DataFrame) -> pd.DataFrame:
    columns = pd.DataFrame(np.nan, index=sites.index, columns=[name for name in COLUMNS if name.startswith("test_")])
    return columns.assign(test_funded=False)


def test_worth_rank_and_budget() -> None:
    """Gains 4 000, 0 and 3 000 at a worth of 1; a test alone 1 500 × 1.08 × 1.10 = 1 782.

    Illustrative price and share of supervision; contingency.
    """
    context, sites = bed.make_context(testing={"budget": 2_000.0}), table()
    columns = blank(sites)
    record, lines = value_tests(sites, context, columns)
    assert record is not None
    assert columns.loc[[1, 2, 3], "test_value"].tolist() == pytest.approx([4_000 - 1_782, -1_782, 3_000 - 1_782])
    assert columns.loc[[4, 5], "test_value"].isna().all()
    assert columns["test_rank"].fillna(0).tolist() == [1, 0, 2, 0, 0]
    assert columns.index[columns["test_funded"].astype(bool)].tolist() == [1]
    assert record["water_value_m3"] == 1.0
    assert [one["site_id"] for one in record["test_first"]] == ["a", "c"]
    assert record["funded_cost"] == pytest.approx(1_782.0)
    assert "2 of 3 wells" in lines[0].text()
    assert "1 test for" in lines[1].text()
    assert lines == lines_of(record, context)


def test_a_campaign_is_cheaper() -> None:
    context, sites = bed.make_context(testing={"campaign_tests": 2, "campaign_share": 0.5}), table()
    columns = blank(sites)
    record, _ = value_tests(sites, context, columns)
    assert record is not None
    assert record["campaign"]
    assert columns.loc[1, "test_cost"] == pytest.approx(891.0)
    assert record["funded"] == 0  # no budget


def test_the_trip_is_priced_by_road() -> None:
    """There and back at the price of a kilometre, with contingency; the straight line is shorter and does not count."""
    context = bed.make_context()
    near, far = blank(table()), blank(table())
    value_tests(table(), context, near)
    value_tests(table().assign(road_km=30.0, distance_km=20.0), context, far)
    trip = 2.0 * 30.0 * context.market.prices["transport_km"] * 1.08 * 1.10  # supervision, contingency
    assert trip > 0.0
    assert far.loc[1, "test_cost"] - near.loc[1, "test_cost"] == pytest.approx(trip)


def test_without_draws_nothing_is_said() -> None:
    sites = table().drop(columns="expected_used_m3")
    columns = blank(sites)
    assert value_tests(sites, bed.context(), columns) == (None, [])
    assert columns["test_value"].isna().all()
