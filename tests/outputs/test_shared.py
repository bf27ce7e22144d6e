"""Coarse positions and withheld texts of shared outputs; the grid is our own rule, its sizes are closed form."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.outputs.shared import (
    EXACT_POSITION,
    PRIVATE_TEXT,
    coarse,
    coarse_checks,
    coarse_sites,
    shared_findings,
)
from planner.texts import sentence

GRIDS = st.floats(10, 20_000)
LATITUDES = st.floats(-85, 85)
LONGITUDES = st.floats(-179, 179)


@given(latitude=LATITUDES, longitude=LONGITUDES, grid_m=GRIDS)
def test_no_position_moves_farther_than_half_a_cell(latitude: float, longitude: float, grid_m: float) -> None:
    # Closed form: half a cell north or south, half a cell east or west; 111 195 m a degree on the mean sphere.
    y, x = coarse(np.array([latitude]), np.array([longitude]), grid_m)
    assert abs(y[0] - latitude) * 111_195 <= grid_m / 2 * (1 + 1e-6)
    assert abs(x[0] - longitude) * 111_195 * np.cos(np.radians(y[0])) <= grid_m / 2 * (1 + 1e-6)


@given(latitude=LATITUDES, longitude=LONGITUDES, grid_m=GRIDS)
def test_a_centre_is_its_own_centre(latitude: float, longitude: float, grid_m: float) -> None:
    # So neither repeated runs nor coarsening twice tell more.
    once = coarse(np.array([latitude]), np.array([longitude]), grid_m)
    twice = coarse(*once, grid_m)
    np.testing.assert_allclose(twice, once, rtol=0, atol=1e-9)


def test_neighbours_in_a_cell_cannot_be_told_apart() -> None:
    y, x = coarse(np.array([-9.8701, -9.8709, np.nan]), np.array([30.0512, 30.0518, np.nan]), 1000.0)
    assert y[0] == y[1] and x[0] == x[1]
    assert np.isnan([y[2], x[2]]).all()


def test_a_frame_is_coarsened_with_all_that_tells_the_place() -> None:
    exact = 5020.4
    said = sentence("outside_area", "", exact, 1000.0)
    sites = pd.DataFrame(
        {
            "inventory_row": [4, 7],
            "latitude": [-9.8765, np.nan],
            "longitude": [30.1234, np.nan],
            "boundary_distance_m": [exact, np.nan],
            "reason_text": [f"{said} No pump.", ""],
            "solar_kwh_m2_day": [5.6789, 5.6],
        }
    )
    before = sites.copy()
    checks = pd.DataFrame(
        {
            "inventory_row": [4, 4],
            "rule": ["outside_area", "no_head"],
            "value": [exact, 138.4],
            "limit": [1000.0, 125.0],
            "pass": False,
        }
    )
    told = coarse_sites(sites, checks, 500.0)
    pd.testing.assert_frame_equal(sites, before)
    assert told["reason_text"][0] == "The position lies 5500 m outside the programme area (more than 1000 m). No pump."
    assert told["boundary_distance_m"][0] == 5500.0 and told["solar_kwh_m2_day"][0] == 5.7
    assert coarse_sites(sites, checks, 0.0) is sites
    assert coarse_checks(checks, 500.0)["value"].tolist() == [5500.0, 138.4]
    assert coarse_checks(checks, 0.0) is checks


@pytest.mark.parametrize(
    ("change", "grid_m", "old", "new"),
    [
        ({"column": "depth_m", "old_value": "355.6mm"}, 500.0, "355.6mm", ""),
        ({"column": "latitude", "old_value": "-9.8765, 30.1"}, 0.0, "-9.8765, 30.1", ""),
        ({"column": "latitude", "old_value": "-9.8765, 30.1"}, 500.0, EXACT_POSITION, ""),
        ({"column": "site", "rule": "swapped_coordinates", "old_value": "a"}, 500.0, EXACT_POSITION, ""),
        ({"column": "latitude", "rule": "near_neighbour", "new_value": "row 17"}, 500.0, "", "row 17"),
        ({"column": "latitude", "row": 0, "old_value": "Arc 1960"}, 500.0, "Arc 1960", ""),
        ({"column": "status", "old_value": "call 0712 345 678"}, 0.0, PRIVATE_TEXT, ""),
        ({"column": "status", "old_value": "x@example.org", "new_value": "unknown"}, 0.0, PRIVATE_TEXT, "unknown"),
    ],
)  # fmt: skip
def test_findings_tell_no_position_and_nothing_private(
    change: dict[str, object], grid_m: float, old: str, new: str
) -> None:
    plain = {"row": 3, "column": "status", "rule": "unknown_word", "old_value": "", "new_value": ""}
    [told] = shared_findings([plain | change], grid_m)
    assert (told["old_value"], told["new_value"]) == (old, new)
