"""What stops a pump: every rule is met by a well made for it, and told by its own name with value and limit."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from planner.catalogue.arrays import FAMILIES
from planner.engine import assess as engine
from planner.engine.assess import Context, FamilyRule, Sites, make_context
from planner.engine.choose import note_rule
from planner.engine.duty import RULES
from tests.engine import bed


def told(sites: Sites, where: Context) -> dict[str, FamilyRule]:
    """What decided each family."""
    return {rule.family: rule for rule in engine.assess(sites, where).rules}


def with_catalogue(table: str, **columns: Any) -> Context:
    """The plain context with columns of one table of the catalogue set to a value."""
    catalogue = bed.context().catalogue
    old = getattr(catalogue, table)
    new = old._replace(**{name: np.full_like(getattr(old, name), value) for name, value in columns.items()})
    return make_context(bed.make_plan(), dataclasses.replace(catalogue, **{table: new}))


@pytest.mark.parametrize(
    ("rule", "family", "static_m", "columns"),
    [
        ("no_safe_rate", "helical_rotor", 40.0, {"level_limit_m": 39.0}),
        ("no_safe_rate", "surface", 3.0, {"share_rate_m3_h": 0.0}),
        ("no_casing", "helical_rotor", 40.0, {"casing_used_mm": 60.0}),
        ("no_casing", "centrifugal", 40.0, {"casing_used_mm": 60.0}),
        ("no_casing", "surface", 3.0, {"casing_used_mm": 60.0}),
        ("water_too_warm", "helical_rotor", 40.0, {"water_temperature_used_c": 45.0}),
        ("water_too_warm", "centrifugal", 40.0, {"water_temperature_used_c": 45.0}),
        ("sand_above_limit", "helical_rotor", 40.0, {"sand_mg_l": 60.0}),
        ("sand_above_limit", "centrifugal", 40.0, {"sand_mg_l": 60.0}),
        ("no_head", "centrifugal", 350.0, {}),
        ("no_suction", "surface", 60.0, {}),
        ("no_suction", "surface", 9.0, {"elevation_m": 2500.0}),
        ("no_pressure", "helical_rotor", 350.0, {}),
    ],
)
def test_a_family_is_stopped_by_name(rule: str, family: str, static_m: float, columns: dict[str, Any]) -> None:
    found = told(bed.one_site(static_m, 10.0, **columns), bed.context())[family]
    assert found.rule == rule
    assert np.isfinite([found.value, found.limit]).all()
    low = {"no_casing"}  # the value lies below the limit; elsewhere above
    if rule == "no_safe_rate":
        assert found.value <= found.limit
    else:
        assert (found.value < found.limit) == (rule in low)


@pytest.mark.parametrize(
    ("rule", "table", "columns", "site"),
    [
        # Every pump is tried with every pipe in vain, 40 s.
        pytest.param("no_delivery_pipe", "deliveries", {"pressure_pa": 1.0}, {}, marks=pytest.mark.slow),
        ("no_riser", "risers", {"pressure_pa": 1e5}, {}),
        ("no_cable", "cables", {"r20_ohm_m": 0.1}, {}),
        ("no_voltage_window", "modules", {"voc_v": 2000.0}, {}),
        ("above_safe_rate", "pumps", {"min_speed_ratio": 0.999}, {"share_rate_m3_h": 0.4}),
        ("no_start_torque", "pumps", {"peak_torque_ratio": 0.01}, {}),
    ],
)
def test_a_catalogue_without_the_part_is_told(
    rule: str, table: str, columns: dict[str, float], site: dict[str, float]
) -> None:
    """Catalogues made to lack one thing, so that only this rule can stop the helical rotors."""
    results = engine.assess(bed.one_site(40.0, 10.0, **site), with_catalogue(table, **columns))
    assert bed.rules_of(results)["helical_rotor"] == rule


def test_cooling_is_told() -> None:
    """Warm water and a small flow: past a motor of 97 mm in a casing of 110 mm too slow, and a sleeve too wide."""
    site = bed.one_site(60.0, 8.0, water_temperature_used_c=32.0, casing_used_mm=110.0, share_rate_m3_h=0.4)
    rule = told(site, bed.context())["centrifugal"]
    assert rule.rule == "no_cooling"
    assert rule.value < rule.limit == 0.08  # m/s, trade practice


def test_where_nothing_fits_every_family_says_why() -> None:
    results = engine.assess(bed.one_site(100.0, 5.0, casing_used_mm=50.0), bed.context())
    assert results.rows[0]["engine_status"] == "no_design"
    assert "pump_id" not in results.rows[0] and "cost_per_m3" not in results.rows[0]
    assert bed.rules_of(results) == dict.fromkeys(FAMILIES, "no_casing")


def test_a_family_that_fits_has_neither_value_nor_limit() -> None:
    for rule in told(bed.one_site(60.0, 8.0), bed.context()).values():
        if rule.rule == "pump_fits":
            assert (rule.value, rule.limit) == (0.0, 0.0)


def test_of_several_pumps_the_furthest_and_then_the_nearest_counts() -> None:
    rule, value, limit = np.full(3, -1), np.zeros(3), np.zeros(3)
    steps: list[tuple[str, float, float, tuple[str, float, float]]] = [
        ("no_head", 90.0, 50.0, ("no_head", 90.0, 50.0)),
        ("no_casing", 80.0, 84.0, ("no_head", 90.0, 50.0)),  # stopped earlier: not kept
        ("no_head", 90.0, 80.0, ("no_head", 90.0, 80.0)),  # nearer to passing
        ("no_head", 90.0, 40.0, ("no_head", 90.0, 80.0)),
        ("no_pressure", 30.0, 12.0, ("no_pressure", 30.0, 12.0)),  # got further
    ]
    for name, at, bound, kept in steps:
        note_rule(rule, value, limit, 1, RULES.index(name), at, bound)
        assert (RULES[rule[1]], value[1], limit[1]) == kept
    assert rule[0] == rule[2] == -1


def test_warm_water_lowers_what_a_motor_may_take() -> None:
    cool, warm = bed.bench(bed.one_site()), bed.bench(bed.one_site(water_temperature_used_c=38.0))
    pump = bed.context().catalogue.pump_ids.index("HR10-12")
    fitted = cool.fit(pump), warm.fit(pump)
    # 2 % for each kelvin above 30 °C, common practice
    assert fitted[0] is not None and fitted[1] is not None
    assert fitted[1].duty.clip_w == pytest.approx(fitted[0].duty.clip_w * (1 - 0.02 * 8), rel=1e-12)


def test_rules_of_choosing_are_not_tested_on_a_set_that_stands() -> None:
    """A pump that hangs in a narrow well of sandy warm water is assessed; one that lifts no water counts as such."""
    place = bed.context().catalogue.pump_ids.index("HR6.3-12")
    spoilt = {"casing_used_mm": 60.0, "sand_mg_l": 500.0, "water_temperature_used_c": 45.0}
    stands = {"existing_pump": place, "existing_array_wp": 1200.0}
    new = engine.assess(bed.one_site(50.0, 8.0, **spoilt), bed.context())
    assert set(bed.rules_of(new).values()) == {"no_casing"}
    row = bed.row_of(bed.one_site(50.0, 8.0, **spoilt, **stands))
    assert (row["engine_status"], row["pump_id"]) == ("installed", "HR6.3-12")
    assert row["volume_pumped_m3_day"] > 0.0
    dry = bed.row_of(bed.one_site(50.0, 8.0, level_limit_m=20.0, **stands))
    assert (dry["engine_status"], dry["supply_reliability"], dry["array_wp"]) == ("installed", 0.0, 1200.0)
