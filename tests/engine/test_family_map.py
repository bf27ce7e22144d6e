"""Which family wins where: heads and volumes of the illustrative catalogue's own test bed (invented)."""

from __future__ import annotations

import pytest

from tests.engine import bed

CONTEXT = {"demand": {"losses": 0.0}, "equipment": {"tank_max_m3": 150.0}}


@pytest.mark.parametrize(
    ("static_m", "demand_m3_day", "family"),
    [
        (3.0, 4.0, "centrifugal"),
        (8.0, 8.0, "centrifugal"),
        (15.0, 15.0, "centrifugal"),
        (15.0, 60.0, "centrifugal"),
        (30.0, 30.0, "centrifugal"),
        (50.0, 60.0, "centrifugal"),
        (80.0, 120.0, "centrifugal"),
        (50.0, 4.0, "helical_rotor"),
        (50.0, 8.0, "helical_rotor"),
        (80.0, 15.0, "helical_rotor"),
        (120.0, 4.0, "helical_rotor"),
        (120.0, 15.0, "helical_rotor"),
        (180.0, 30.0, "helical_rotor"),
        (230.0, 15.0, "helical_rotor"),
    ],
)
def test_family(static_m: float, demand_m3_day: float, family: str) -> None:
    row = bed.row_of(bed.one_site(static_m, demand_m3_day), bed.make_context(**CONTEXT))
    assert row["pump_family"] == family
    assert row["supply_limited"] == ""
    # Plausible for pumps of this size (wide brackets, from memory): m4/kWp/d and wire to water.
    assert 100.0 < row["specific_output_m4_kwp_day"] < 1100.0
    assert 0.10 < row["wire_to_water"] < 0.60


def test_no_surface_pump_beyond_suction() -> None:
    for static in (7.0, 10.0, 30.0):
        row = bed.row_of(bed.one_site(static, 40.0), bed.make_context(**CONTEXT))
        assert row["pump_family"] != "surface"
        assert "cost_surface_per_m3" not in row
