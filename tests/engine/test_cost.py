"""Cost of a site rebuilt item by item in plain Python from the price list, and money against numpy-financial."""

from __future__ import annotations

import math

import numpy_financial as npf
import pytest

from planner.engine.cost import present_volume, rotor_stator_cost
from planner.engine.report import perform
from planner.engine.search import search
from tests.engine import bed

RATE, YEARS = 0.08, 20


def present(amounts: dict[float, float]) -> float:
    return sum(amount / (1 + RATE) ** year for year, amount in amounts.items())


def later(price: float, life: float, residual: bool) -> float:
    """Replacements before the horizon, less the straight-line value of what is left at it."""
    bought = [k * life for k in range(1, 100) if k * life < YEARS - 1e-9]
    age = YEARS - (bought[-1] if bought else 0.0)
    left = price * (1 - age / life) / (1 + RATE) ** YEARS if residual else 0.0
    return present(dict.fromkeys(bought, price)) - left


def test_cost_by_hand() -> None:
    """A centrifugal set: no pair of rotor and stator, so the hand has nothing to look up but the price list."""
    sites = bed.one_site(20.0, 20.0)
    bench = bed.bench(sites)
    choice = search(bench.site, bench.light, bench.context.market, bench.context.rules, -1, 0.0)
    row = bed.row_of(sites)
    assert row["pump_family"] == "centrifugal" and not row["sleeve"]
    duty = perform(choice.chosen, bench.site, bench.light, bench.context.market, bench.context.rules).duty
    c, p = bench.context.catalogue, bench.context.catalogue.prices
    j, w = choice.chosen.pump, choice.chosen.module
    array, lives = row["array_wp"], c.lives
    people = 1000 * 20.0 * 0.9 / 20.0  # demand at the tap over the norm
    taps = math.ceil(people / p.people_per_tap)
    goods = [
        (c.modules.price_wp[w] * array, c.modules.life_y[w]),
        (c.pumps.pump_price[j], c.pumps.life_y[j]),
        (c.pumps.drive_price[j], c.drives.life_y[c.pumps.drive[j]]),
        (p.mounting_wp * array, lives.mounting_wp),
        (p.dc_wiring_wp * array, lives.dc_wiring_wp),
        (p.dc_wiring_site, lives.dc_wiring_site),
        (c.risers.price_m[duty.riser] * duty.intake_m, c.risers.life_y[duty.riser]),
        (c.cables.price_m[duty.cable] * (duty.intake_m + 10.0), c.cables.life_y[duty.cable]),
        (p.check_valve_set, lives.check_valve_set),
        (p.dry_run_and_level_switch, lives.dry_run_and_level_switch),
    ]
    installation = p.installation_site + p.installation_share * sum(price for price, _ in goods[:3])
    equipment = sum(price for price, _ in goods)
    tank = c.tanks.price[choice.chosen.tank]
    delivery = c.deliveries.price_m[duty.delivery] * 30.0
    works = [
        (p.fence_site + p.fence_wp * array, lives.fence_site),
        (p.tap_stand * taps, lives.tap_stand),
        (p.wellhead_civil, lives.wellhead_civil),
        (p.earthing_lightning, lives.earthing_lightning),
    ]
    once = p.pumping_test + p.water_quality_test + 2 * 100.0 * 1.35 * p.transport_km
    scheme = equipment + installation + tank + delivery + sum(price for price, _ in works) + once
    assert row["capital_cost"] == pytest.approx(1.18 * scheme, rel=1e-9)

    upkeep = p.om_scheme_year + p.om_scheme_share * equipment + p.om_tank_share * tank + p.guard_year
    lifecycle = 1.18 * scheme - npf.pv(RATE, YEARS, upkeep)
    lifecycle += sum(later(price, life, True) for price, life in goods)
    lifecycle += later(tank, c.tanks.life_y[choice.chosen.tank], True)
    lifecycle += later(delivery, c.deliveries.life_y[duty.delivery], True)
    lifecycle += sum(later(price, life, False) for price, life in works)
    assert row["lifecycle_cost"] == pytest.approx(lifecycle, rel=1e-9)
    assert row["annual_cost"] == pytest.approx(-npf.pmt(RATE, YEARS, lifecycle), rel=1e-9)
    assert row["cost_per_m3"] == pytest.approx(lifecycle / choice.chosen.present_m3, rel=1e-9)
    cheap = 1.10 * (equipment + installation) - npf.pv(
        RATE, YEARS, p.om_equipment_year + p.om_equipment_share * equipment
    )
    cheap += sum(later(price, life, True) for price, life in goods)
    assert row["cost_equipment_per_m3"] == pytest.approx(cheap / choice.chosen.present_m3, rel=1e-9)


def test_present_volume() -> None:
    rules = bed.context().rules
    level = present_volume(1000.0, 1000.0, 1000.0, rules)
    assert level == pytest.approx(-npf.pv(RATE, YEARS, 1000.0), rel=1e-12)
    # Closed form: 1000 in year 1, 1900 in year 10, 2900 in year 20, a straight line of 100 a year.
    line = [0.0, *(900.0 + 100.0 * year for year in range(1, YEARS + 1))]
    assert present_volume(1000.0, 1900.0, 2900.0, rules) == pytest.approx(npf.npv(RATE, line), rel=1e-12)


@pytest.mark.parametrize(
    ("life", "pump_life", "years"),
    [
        (3.0, 8.0, [3.0, 6.0, 11.0, 14.0, 19.0]),  # the clock restarts with each pump, at 8 and 16
        (7.5, 8.0, []),  # none in the year before a new pump
        (10.0, 8.0, []),
        (4.0, 30.0, [4.0, 8.0, 12.0, 16.0]),  # none at the horizon
    ],
)
def test_rotor_and_stator_by_hand(life: float, pump_life: float, years: list[float]) -> None:
    expected = present(dict.fromkeys(years, 100.0))
    assert rotor_stator_cost(100.0, life, pump_life, bed.context().rules) == pytest.approx(expected, rel=1e-12)
