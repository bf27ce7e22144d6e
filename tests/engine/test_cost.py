"""Cost of a site rebuilt item by item in plain Python from the price list, and money against numpy-financial."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest

from planner.catalogue.arrays import STEEL
from planner.engine.cost import present_volume, rotor_stator_cost, rotor_stator_life_y
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


def pairs(price: float, life: float, pump_life: float) -> float:
    """Rotor and stator of a set whose pump is renewed at 8 and 16 years; none in the year before that."""
    years = [start + k * life for start in (0.0, 8.0, 16.0) for k in range(1, 21)]
    ends = [min(start + pump_life, YEARS) for start in (0.0, 8.0, 16.0) for _ in range(1, 21)]
    bought = [year for year, end in zip(years, ends, strict=True) if math.ceil(year) < math.ceil(end)]
    return present(dict.fromkeys(bought, price))


@pytest.mark.parametrize(
    ("family", "static_m", "demand", "columns"),
    [
        ("centrifugal", 20.0, 20.0, {}),
        ("helical_rotor", 60.0, 8.0, {"people_counted": 430.0, "road_km": 49.95, "sand_mg_l": 12.0}),
        ("surface", 3.0, 40.0, {"pipe_length_m": 120.0}),
        ("centrifugal", 160.0, 20.0, {"ph": 6.0}),  # a steel riser, and a sleeve past its large motor
    ],
    ids=["centrifugal", "helical rotor", "surface", "corrosive water"],
)
def test_cost_by_hand(family: str, static_m: float, demand: float, columns: dict[str, float]) -> None:
    sites, context = bed.one_site(static_m, demand, **columns), bed.family_context(family)
    bench = bed.bench(sites, context)
    choice = bench.choose()
    row = bed.row_of(sites, context)
    done, chosen = bench.perform(choice.chosen), choice.chosen
    duty, c, p = done.duty, context.catalogue, context.catalogue.prices
    j, w = choice.chosen.pump, choice.chosen.module
    array, lives = row["array_wp"], c.lives
    people = columns.get("people_counted", 1000 * demand * 0.9 / 20.0)  # else the demand at the tap over the norm
    taps = math.ceil(people / p.people_per_tap)
    protection = {"helical_rotor": "relief_and_check_set", "centrifugal": "check_valve_set", "surface": "suction_set"}
    steel = c.risers.material[chosen.riser] == STEEL
    assert steel or "ph" not in columns
    riser_lives = c.risers.life_corrosive_y if "ph" in columns else c.risers.life_y
    goods = [
        (c.modules.price_wp[w] * array, c.modules.life_y[w]),
        (c.pumps.pump_price[j], c.pumps.life_y[j]),
        (c.pumps.drive_price[j], c.drives.life_y[c.pumps.drive[j]]),
        (p.mounting_wp * array, lives.mounting_wp),
        (p.dc_wiring_wp * array, lives.dc_wiring_wp),
        (p.dc_wiring_site, lives.dc_wiring_site),
        (c.risers.price_m[chosen.riser] * duty.intake_m, riser_lives[chosen.riser]),
        (c.cables.price_m[chosen.cable] * (10.0 + (duty.intake_m if family != "surface" else 0.0)),
         c.cables.life_y[chosen.cable]),
        (getattr(p, protection[family]), getattr(lives, protection[family])),
        (p.dry_run_and_level_switch, lives.dry_run_and_level_switch),
    ]  # fmt: skip
    if row["sleeve"]:
        goods.append((p.cooling_sleeve, lives.cooling_sleeve))
    assert row["sleeve"] == ("ph" in columns)
    installation = p.installation_site + p.installation_share * sum(price for price, _ in goods[:3])
    wear = 0.0
    if family == "helical_rotor":
        installation += p.installation_helical
        hours = c.pumps.hours_life[j] / (1 + columns["sand_mg_l"] / c.pumps.wear_sand_mg_l[j])
        life = min(hours / (365 * done.running_hours_day), c.pumps.rotor_stator_cap_y[j])
        wear = pairs(c.pumps.rotor_stator_price[j], life, c.pumps.life_y[j])
        assert wear > 0.0
    equipment = sum(price for price, _ in goods)
    tank = c.tanks.price[choice.chosen.tank]
    delivery = c.deliveries.price_m[chosen.delivery] * columns.get("pipe_length_m", 30.0)
    works = [
        (p.fence_site + p.fence_wp * array, lives.fence_site),
        (p.tap_stand * taps, lives.tap_stand),
        (p.wellhead_civil, lives.wellhead_civil),
        (p.earthing_lightning, lives.earthing_lightning),
        (p.anti_theft_site, lives.anti_theft_site),
    ]
    once = p.pumping_test + p.water_quality_test + 2 * columns.get("road_km", 135.0) * p.transport_km
    watched = equipment + installation + tank + delivery + sum(price for price, _ in works) + once + p.training_site
    scheme = watched * (1 + p.supervision_share) + p.supervision_site
    assert row["capital_cost"] == pytest.approx(1.10 * scheme, rel=1e-9)

    upkeep = p.om_scheme_year + p.om_scheme_share * equipment + p.om_tank_share * tank + p.guard_year
    lifecycle = 1.10 * scheme - npf.pv(RATE, YEARS, upkeep) + wear
    lifecycle += sum(later(price, life, True) for price, life in goods)
    lifecycle += later(tank, c.tanks.life_y[choice.chosen.tank], True)
    lifecycle += later(delivery, c.deliveries.life_y[chosen.delivery], True)
    lifecycle += sum(later(price, life, False) for price, life in works)
    assert row["lifecycle_cost"] == pytest.approx(lifecycle, rel=1e-9)
    assert row["annual_cost"] == pytest.approx(-npf.pmt(RATE, YEARS, lifecycle), rel=1e-9)
    # No growth: the same water every year but for ageing, which the demand hides where it is met in full.
    water = 365 * row["volume_used_m3_day"]
    assert choice.chosen.present_m3 == pytest.approx(-npf.pv(RATE, YEARS, water), rel=0.02)
    assert row["cost_per_m3"] == pytest.approx(lifecycle / choice.chosen.present_m3, rel=1e-9)
    plain = 1.10 * (equipment + installation) + wear
    plain -= npf.pv(RATE, YEARS, p.om_equipment_year + p.om_equipment_share * equipment)
    plain += sum(later(price, life, True) for price, life in goods)
    assert row["cost_equipment_per_m3"] == pytest.approx(plain / choice.chosen.present_m3, rel=1e-9)


def test_what_has_a_rest_is_what_the_price_list_says() -> None:
    """Goods are credited with their unused life, works are not: as the price list marks each item."""
    goods = {"mounting_wp", "mounting_tracker_wp", "dc_wiring_wp", "dc_wiring_site", "relief_and_check_set",
             "check_valve_set", "suction_set", "dry_run_and_level_switch", "cooling_sleeve"}  # fmt: skip
    goods |= {"generator_set", "generator_kw", "ac_supply_panel", "handpump_set", "handpump_deep_set"}  # of other ways
    assert {row.item for row in bed.context().catalogue.price_rows if row.residual} == goods


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


@pytest.mark.parametrize(
    ("sand_mg_l", "hours_day", "slip_at_limit", "years"),
    [
        (np.nan, 7.0, np.inf, 14000 / (7 * 365)),  # by hours
        (25.0, 7.0, np.inf, 14000 / 2 / (7 * 365)),  # 25 mg/L of sand halves the life
        (0.0, 3.0, np.inf, 10.0),  # by calendar
        (0.0, 7.0, 2.5, 14000 / (7 * 365) / 2),  # slip ×1 … ×4 over the life: ×2.5 is half of it
        (0.0, 7.0, 1.0, 1.0),  # never below a year
        (0.0, 0.0, np.inf, 10.0),  # it never runs
    ],
)
def test_life_of_rotor_and_stator_by_hand(
    sand_mg_l: float, hours_day: float, slip_at_limit: float, years: float
) -> None:
    catalogue = bed.context().catalogue
    pump = bed.context().market.pumps[catalogue.pump_ids.index("HR6.3-12")]
    # The generic catalogue: 14 000 h in clean water, 10 years at most, slip at the end 4 × new.
    assert (pump["hours_life"], pump["rotor_stator_cap_y"], pump["slip_end_factor"]) == (14000, 10, 4)
    assert rotor_stator_life_y(pump, sand_mg_l, hours_day, slip_at_limit) == pytest.approx(years, rel=1e-12)
