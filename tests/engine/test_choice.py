"""What prices and demand do to the choice; that it is the cheapest of all designs is proved in test_brute_force."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.catalogue.arrays import Prices
from planner.engine.assess import Sites, make_context
from planner.engine.design import TIE, no_designs
from planner.engine.room import make_room
from planner.engine.search import search
from planner.engine.weigh import worn_out_slip
from tests.engine import bed

# Prices of the catalogue and of the price list, as (table, column); yearly guards are 0 in the generic list.
PRICES = (
    ("pumps", "pump_price"),
    ("pumps", "drive_price"),
    ("pumps", "rotor_stator_price"),
    ("modules", "price_wp"),
    ("risers", "price_m"),
    ("deliveries", "price_m"),
    ("cables", "price_m"),
    ("tanks", "price"),
    *(("prices", name) for name in Prices._fields if name not in ("people_per_tap", "guard_year", "cooling_sleeve")),
)


@given(bed.random_sites(), st.sampled_from(PRICES), st.floats(1.01, 3.0))
@settings(max_examples=30)
def test_a_dearer_price_never_makes_the_best_cheaper(sites: Sites, price: tuple[str, str], factor: float) -> None:
    """Prices move no water: the designs that compete stay, each at least as dear as before. Costs within 0.1 % are
    taken as equal, so much may the chosen one lie above the least, and so much may it seem to fall."""
    before = bed.row_of(sites)
    if before["engine_status"] == "no_design":
        return
    table, column = price
    catalogue = bed.context().catalogue
    old = getattr(catalogue, table)
    dearer = dataclasses.replace(catalogue, **{table: old._replace(**{column: getattr(old, column) * factor})})
    after = bed.row_of(sites, make_context(bed.make_plan(), dearer))
    assert after["cost_per_m3"] >= before["cost_per_m3"] * math.exp(-TIE)
    assert after["supply_limited"] == before["supply_limited"]


@given(bed.random_sites(), st.floats(1.05, 2.0))
@settings(max_examples=20)
def test_more_demand_never_costs_less_in_all(sites: Sites, factor: float) -> None:
    """Where both are met. The choice is the cheapest a cubic metre, not the cheapest of all that do: it may buy more
    for more water, so that the whole is held to a tenth only."""
    more = dataclasses.replace(sites, demand=sites.demand * factor)
    rows = [bed.row_of(one) for one in (sites, more)]
    if any(row["engine_status"] == "no_design" or row["supply_limited"] for row in rows):
        return
    assert rows[1]["volume_used_m3_day"] > rows[0]["volume_used_m3_day"]
    assert rows[1]["annual_cost"] / rows[0]["annual_cost"] > 0.9


@pytest.mark.parametrize("price", PRICES, ids=lambda price: price[1])
def test_every_price_counts(price: tuple[str, str]) -> None:
    """Ten times the price, or 1 000 for nought, shows in the cost of a set that buys it: no price is read past."""
    table, column = price
    family = {"suction_set": "surface", "check_valve_set": "centrifugal"}.get(column, "helical_rotor")
    sites = bed.one_site(3.0, 40.0) if family == "surface" else bed.one_site(60.0, 10.0)
    array = {"mounting": "single_axis" if "tracker" in column else "fixed"}
    plan = bed.make_plan(equipment={"families": [family]}, array=array)
    catalogue = bed.catalogue_of(plan)
    old = getattr(catalogue, table)
    now = np.asarray(getattr(old, column))
    more = np.where(now == 0.0, 1000.0, now * 10.0)[()]  # a little more could be lost among choices of equal worth
    dearer = dataclasses.replace(catalogue, **{table: old._replace(**{column: more})})
    before, after = (bed.row_of(sites, make_context(plan, one)) for one in (catalogue, dearer))
    # The scheme's upkeep stands for that of the equipment too.
    cost = "cost_equipment_per_m3" if column.startswith("om_equipment") else "cost_per_m3"
    assert after[cost] > before[cost]


def test_where_the_demand_is_out_of_reach_the_choice_is_among_the_most_water() -> None:
    sites = bed.one_site(90.0, 12.0, share_rate_m3_h=0.6, safe_volume_m3_day=6.0)
    row = bed.row_of(sites)
    assert row["supply_limited"] == "well"  # ten hours at the safe rate give half of the demand
    bench = bed.bench(sites)
    room = make_room(bench.context.market)
    assert not search(bench.site, bench.light, bench.context.market, bench.context.rules, no_designs(3), room)
    assert 365 * row["volume_used_m3_day"] / 0.9 >= room.task.goal_m3 > 0.0  # losses of a tenth between tank and tap
    assert row["supply_reliability"] == pytest.approx(365 * row["volume_used_m3_day"] / 0.9 / (365 * 12.0))
    # The well can, no pump can: a demand beyond the largest set at this depth.
    deep = bed.row_of(bed.one_site(180.0, 120.0))
    assert deep["supply_limited"] == "catalogue" and deep["supply_reliability"] < 0.95


@pytest.mark.parametrize(("static_m", "demand", "pump_id"), [(60.0, 10.0, "HR10-12"), (40.0, 6.0, "HR6.3-12")])
def test_slip_that_wears_a_pump_out(static_m: float, demand: float, pump_id: str) -> None:
    """By definition: with the slip found, the worst month gives its share of the demand and no more."""
    bench = bed.bench(bed.one_site(static_m, demand))
    fitted = bench.fit(bench.context.catalogue.pump_ids.index(pump_id))
    assert fitted is not None
    pump, target = fitted.rig.pump, bench.context.rules["reliability_month"]
    tank = 0.8 * demand  # nothing carried over
    low, high = 100.0, 3000.0  # the array with which the worst month gives a little more than it must
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fitted.water(middle, tank).month < target + 0.004 else (low, middle)

    def slip_of(array_w: float) -> float:
        years = []
        for wear in (pump["slip_life_factor"], pump["slip_end_factor"]):
            fitted.water(array_w, tank, wear=wear)
            years.append(np.array([fitted.room.year]).view(np.recarray)[0])
        return float(worn_out_slip(pump, bench.site, bench.context.rules, *years))

    slip = slip_of(high)
    assert pump["slip_life_factor"] < slip < pump["slip_end_factor"]
    # Water falls almost in a straight line with slip: 0.2 % from the target in the cases measured.
    assert fitted.water(high, tank, wear=slip).month == pytest.approx(target, rel=2e-3)
    # With array to spare it still gives enough when it is worn to the end.
    assert slip_of(3.0 * high) == np.inf
    assert fitted.water(3.0 * high, tank, wear=pump["slip_end_factor"]).month > target
