"""Which family wins where, on the illustrative catalogue's own test bed.

The numbers are no measurements: the catalogue and its prices are invented, and the map below is what they lead to.
Its sense is that of the trade: helical rotors for small flows from deep wells, centrifugal pumps for shallow wells
and large flows. Cells where two families cost the same within `TIE` count for either.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import pytest

from planner.engine.assess import Context
from tests.engine import bed

TIE = 0.005
HEADS_M = (3.0, 8.0, 15.0, 30.0, 50.0, 80.0, 120.0, 180.0, 230.0)
VOLUMES_M3_DAY = (4.0, 8.0, 15.0, 30.0, 60.0, 120.0)


@cache
def context() -> Context:
    """No losses and a tank for any volume, so that a cell is its head and volume."""
    return bed.make_context(demand={"losses": 0.0}, equipment={"tank_max_m3": 150.0})


def expected(static_m: float, volume: float) -> str:
    """The family that should win; empty where either may."""
    if static_m <= 15.0:
        return "centrifugal"
    if (volume <= 8.0 and static_m >= 30.0) or (volume == 15.0 and static_m >= 50.0):
        return "helical_rotor"
    return "centrifugal" if volume >= 60.0 else ""


@pytest.mark.parametrize("volume", VOLUMES_M3_DAY)
@pytest.mark.parametrize("static_m", HEADS_M)
def test_family(static_m: float, volume: float) -> None:
    row = bed.row_of(bed.one_site(static_m, volume), context())
    assert row["engine_status"] == "designed"
    # The catalogue's gaps: no pump for much water from great depth.
    gap = volume * static_m > 30.0 * 180.0 and static_m >= 180.0
    assert row["supply_limited"] == ("catalogue" if gap else "")
    if gap:
        return
    family = expected(static_m, volume)
    if family:
        assert row[f"cost_{family}_per_m3"] <= (1.0 + TIE) * row["cost_per_m3"], row["pump_id"]
    # Brackets, from memory: few sets give less than 100 or more than 1100 m4/kWp/d, or more than 0.6 wire to water.
    assert 100.0 < row["specific_output_m4_kwp_day"] < 1100.0
    assert 0.10 < row["wire_to_water"] < 0.60
    # The scheme's cost stays in the bracket that the price book was tuned to (invented).
    assert 0.1 < row["cost_per_m3"] < 2.0


def test_helical_rotors_gain_with_depth() -> None:
    """At 8 m3/d the lead of the helical rotor grows with head, from none at 30 m."""
    lead = []
    for static in (15.0, 30.0, 50.0, 80.0, 120.0, 180.0):
        row = bed.row_of(bed.one_site(static, 8.0), context())
        lead.append(row["cost_centrifugal_per_m3"] / row["cost_helical_rotor_per_m3"] - 1.0)
    assert lead[0] < -0.01 and abs(lead[1]) < 0.02 and lead[-1] > 0.1
    assert all(b > a - 0.02 for a, b in pairwise(lead))  # but for the catalogue's steps


def test_no_surface_pump_beyond_suction() -> None:
    for static in (7.0, 10.0, 30.0):
        row = bed.row_of(bed.one_site(static, 40.0), context())
        assert row["pump_family"] != "surface"
        assert "cost_surface_per_m3" not in row
