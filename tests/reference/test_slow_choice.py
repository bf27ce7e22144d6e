"""The slow choice against closed forms, values worked by hand, and the slow model's root searches."""

from __future__ import annotations

import dataclasses
import math
from typing import Literal

import numpy as np
import pytest

from planner.catalogue.arrays import SURFACE
from planner.engine.days import Days, synthetic_days
from tests.reference import choice_sites, slow_choice, slow_cost, slow_model, slow_rules, slow_set
from tests.reference.slow_choice import Design
from tests.reference.slow_set import Numbers, Set, Site, entry

NUMBERS = Numbers()
FAMILIES: tuple[Literal["helical", "centrifugal", "surface"], ...] = ("helical", "centrifugal", "surface")
ORDINARY = synthetic_days(np.full(12, 0.55))


def a_set(site: Site, pump: str, riser: str = "HDPE-SDR11-50", cable: int = 2) -> Set:
    """A set of the generic catalogue, not yet fitted."""
    c = choice_sites.catalogue()
    row = entry(c.pumps, c.pump_ids.index(pump))
    drive = entry(c.drives, int(row["drive"]))
    return Set(
        site, NUMBERS, row, drive, entry(c.risers, c.riser_ids.index(riser)), entry(c.deliveries, 2),
        entry(c.cables, cable),
    )  # fmt: skip


def fitted(one: Set) -> Set:
    found, rule = slow_rules.fit(one)
    assert found is not None, rule
    return found


# ------------------------------------------------------------------------------------------ day by day


def test_balance_of_five_days() -> None:
    """Mass balance by hand: 12, 8, 0, 15, 4 m3 for 10 a day from a full tank of 5 m3: 8 of 50 m3 are missing."""
    kinds = np.zeros((12, 6, 1))
    kinds[0, :, 0] = [12, 8, 0, 15, 4, 99]
    days = Days(np.zeros(6, dtype="int64"), np.array([5, 0, 1, 2, 3, 4]), 1)  # the first day fills the tank
    used = slow_choice.balance(kinds, np.full((12, 1), 10.0), math.inf, np.array([5.0]), days)
    assert 1 - used[0, 0, 0] / 10 == pytest.approx(0.16, abs=1e-12)


def test_without_storage_a_day_gives_the_less_of_supply_and_demand() -> None:
    kinds = np.linspace(2, 20, 120).reshape(12, 10, 1)
    used = slow_choice.balance(kinds, np.full((12, 1), 9.0), 8.0, np.array([0.0]), ORDINARY)
    # Closed form: every kind makes up a tenth of the days, and the well gives no more than 8.
    np.testing.assert_allclose(used[:, 0, 0], np.minimum(kinds[:, :, 0], 8.0).mean(axis=1), rtol=1e-12)


def test_with_endless_storage_the_year_gives_the_less_of_supply_and_demand() -> None:
    kinds = np.tile(np.linspace(0, 20, 10)[None, :, None], (12, 1, 1))  # 10 on the mean day
    wanted = np.stack([np.full(12, 9.0), np.full(12, 11.0)], axis=1)
    used = slow_choice.balance(kinds, wanted, math.inf, np.array([1e6, 1e6]), ORDINARY)
    assert used[:, 0, 0] == pytest.approx(9.0, rel=1e-12)
    # Its half is full at the start and never used up: all that is wanted, too.
    assert used[:, 1, 0] == pytest.approx(11.0, rel=1e-12)


def test_storage_is_between_none_and_endless_and_never_harms() -> None:
    kinds = np.tile(np.linspace(0, 20, 10)[None, :, None], (12, 1, 1))
    sizes = np.array([0.0, 2.0, 5.0, 20.0, 100.0])
    used = slow_choice.balance(kinds, np.full((12, 5), 9.5), math.inf, sizes, ORDINARY)[:, :, 0]
    year = used.mean(axis=0)
    assert (np.diff(year) > 0).all() and year[-1] <= 9.5


def test_shares_of_demand() -> None:
    used, demand = np.full(12, 8.0), np.full(12, 10.0)
    used[6], demand[6] = 0.0, 0.0  # a month without demand is met
    assert slow_choice.reliability(used, demand) == pytest.approx((0.8, 0.8))


# ----------------------------------------------------------------------------------------------- money


def test_lifecycle_cost_by_hand() -> None:
    """Check values C49: 12 000 at first, 2500 in years 8, 16, 24, 1500 in 10 and 20, 240 a year, 8 %, 25 years."""
    cost = 12000 + 240 * slow_cost.annuity(0.08, 25)
    cost += slow_cost.present(2500, 8, 0.08, 25, False) + slow_cost.present(1500, 10, 0.08, 25, False)
    assert cost == pytest.approx(18053.21, abs=0.005)
    water = slow_cost.present_water(6935, 6935, 6935, dataclasses.replace(NUMBERS, horizon_y=25))
    assert cost / water == pytest.approx(0.2439, abs=0.00005)


def test_what_is_left_at_the_end() -> None:
    # Closed form: bought at 0 and 15, a third of 15 years' life used up at 20.
    left = 100 / 1.08**15 - 100 * (1 - 5 / 15) / 1.08**20
    assert slow_cost.present(100, 15, 0.08, 20, True) == pytest.approx(left, rel=1e-12)
    assert slow_cost.present(100, 20, 0.08, 20, True) == 0.0
    assert slow_cost.present(100, 25, 0.08, 20, True) == pytest.approx(-100 * 0.2 / 1.08**20, rel=1e-12)


@pytest.mark.parametrize(
    ("life", "pump_life", "years"),
    [(3.0, 8.0, [3, 6, 11, 14, 19]), (7.5, 8.0, []), (10.0, 8.0, []), (4.0, 30.0, [4, 8, 12, 16])],
)
def test_pairs_by_hand(life: float, pump_life: float, years: list[int]) -> None:
    """The clock starts anew with the pumps of years 8 and 16; none in the year before a pump, none at the end."""
    expected = sum(100 / 1.08**year for year in years)
    assert slow_cost.pairs(100, life, pump_life, 0.08, 20) == pytest.approx(expected, rel=1e-12)


def test_water_on_a_straight_line() -> None:
    # Closed form: 1000 in year 1, 1900 in year 10, 2900 in year 20: 100 more each year.
    line = sum((900 + 100 * year) / 1.08**year for year in range(1, 21))
    assert slow_cost.present_water(1000, 1900, 2900, NUMBERS) == pytest.approx(line, rel=1e-12)


def test_slip_that_wears_a_pump_out() -> None:
    site = choice_sites.plain_site(60.0, 10.0)
    pump = entry(choice_sites.catalogue().pumps, choice_sites.catalogue().pump_ids.index("HR10-12"))
    usual, worn = np.full(12, 10.0), np.full(12, 9.5)
    assert slow_choice.slip_at_limit(pump, site, NUMBERS, usual, worn) == math.inf
    worn[3] = 8.0  # of 10 wanted, 9 are enough: half way from 1.5 to 4
    assert slow_choice.slip_at_limit(pump, site, NUMBERS, usual, worn) == pytest.approx(2.75)
    # By hand: 14 000 h, 4 h a day, slip 1 … 4 over them: 2.75 after 7/12 of 9.589 years.
    assert slow_cost.pair_life_y(pump, math.nan, 4.0, 2.75) == pytest.approx(14000 / 1460 * 1.75 / 3, rel=1e-12)
    assert slow_cost.pair_life_y(pump, 25.0, 4.0, math.inf) == pytest.approx(14000 / 2 / 1460, rel=1e-12)
    assert slow_cost.pair_life_y(pump, 0.0, 1.0, math.inf) == 10.0  # by the calendar


# ----------------------------------------------------------------------------------------------- rules


def test_safe_rate_by_level() -> None:
    # Closed form: 0.05 × 24 q + 0.002 × (24 q)² = 10 m: 24 q = (-0.05 + √(0.0025 + 0.08)) / 0.004.
    site = dataclasses.replace(
        choice_sites.plain_site(40.0, 10.0), b_rule_d_m2=0.05, c_d2_m5=0.002, memory_d_m2=0.0, share_rate_m3_h=9.0,
        level_limit_m=50.0, rest_rule_m=40.0,
    )  # fmt: skip
    assert slow_rules.safe_rate_m3_h(site) == pytest.approx((-0.05 + math.sqrt(0.0825)) / 0.004 / 24, rel=1e-9)
    assert slow_rules.safe_rate_m3_h(dataclasses.replace(site, level_limit_m=39.0)) == 0.0


def test_suction_by_hand() -> None:
    """Check value C37: 1500 m, 25 °C, 3 m required, 0.5 m margin and 0.5 m friction: 4.32 m of lift."""
    site = dataclasses.replace(
        choice_sites.plain_site(4.0, 60.0), rest_rule_m=4.82, memory_d_m2=0.0, b_rule_d_m2=0.0, c_d2_m5=0.0,
        elevation_m=1500.0, water_c=25.0,
    )  # fmt: skip
    c = choice_sites.catalogue()
    one = a_set(site, next(name for name, family in zip(c.pump_ids, c.pumps.family, strict=True) if family == SURFACE))
    one = dataclasses.replace(one, pump=one.pump | {"npshr_best_m": 3.0})
    assert slow_rules._suction_spare_m(one, one.pump["best_flow_m3_h"]) == pytest.approx(0.0, abs=0.02)


def test_arrays_that_a_drive_takes() -> None:
    """The generic catalogue's table: modules of 330 Wp in a string, record low 5 °C: DC-S 2–4, DC-M 6–9, DC-L 10–18."""
    c, site = choice_sites.catalogue(), dataclasses.replace(choice_sites.plain_site(40.0, 10.0), record_low_c=5.0)
    pump, found = {"drive_rating_w": 1e6}, {}
    for name in ("DC-S", "DC-M", "DC-L"):
        drive = entry(c.drives, c.drive_ids.index(name)) | {"isc_max_a": 10.0}  # one string
        sizes = slow_choice.arrays_of(pump, drive, entry(c.modules, 0), site, NUMBERS)
        found[name] = (round(sizes[0] / 330), round(sizes[-1] / 330))
    assert found == {"DC-S": (2, 4), "DC-M": (6, 9), "DC-L": (10, 18)}


def test_velocity_is_a_limit_of_the_cap() -> None:
    site = choice_sites.plain_site(10.0, 40.0)
    one = fitted(a_set(site, "CF5-6", "HDPE-SDR17-32"))
    assert slow_model.velocity_m_s(one.cap_m3_h, 28.2) == pytest.approx(2.0, rel=1e-9)


def test_sleeve_by_hand() -> None:
    """Motor 97 mm, warm water: 1 m3/h past it in a casing of 150 mm, 0.027 m/s; in a sleeve of 109 mm, 0.143."""
    one = a_set(dataclasses.replace(choice_sites.plain_site(40.0, 10.0), water_c=35.0), "CF2-6")
    assert one.pump["outside_mm"] == 97
    assert slow_rules.sleeve_of(one, 8.0, 8.0) == 1
    assert slow_rules.sleeve_of(one, 32.0, 8.0) == 0  # 0.108 m/s without a sleeve
    assert slow_rules.sleeve_of(one, 4.0, 8.0) == -1  # 0.072 m/s even in a sleeve
    narrow = dataclasses.replace(one, site=dataclasses.replace(one.site, casing_mm=114.0))
    assert slow_rules.sleeve_of(narrow, 5.6, 8.0) == -1  # a sleeve and its clearance need 115 mm; 0.069 m/s without


# ---------------------------------------------------------------------------------------------- volumes


def case_of(one: Set, array_w: float, gamma: float) -> slow_model.Case:
    """The set as a case of the slow model."""
    p, site, numbers = one.pump, one.site, one.numbers
    return dataclasses.replace(
        site.sun,
        array_wp=array_w,
        gamma_per_k=gamma,
        rest_level_m=site.rest_m,
        memory_m_per_m3_day=site.memory_d_m2,
        drawdown_b_d_m2=site.b_d_m2,
        drawdown_c_d2_m5=site.c_d2_m5,
        demand_m3_day=site.demand_m3_day,
        lift_m=site.lift_m,
        residual_m=numbers.residual_m,
        water_temperature_c=site.water_c,
        intake_depth_m=one.intake_m,
        riser_inner_mm=one.riser["inside_mm"],
        riser_roughness_mm=one.riser["roughness_mm"],
        minor_loss_k=numbers.minor_k,
        delivery_length_m=site.pipe_length_m,
        delivery_inner_mm=one.delivery["inside_mm"],
        delivery_roughness_mm=one.delivery["roughness_mm"],
        family=FAMILIES[one.family],
        rated_speed_rpm=p["rated_speed_rpm"],
        min_speed_ratio=p["min_speed_ratio"],
        rated_shaft_w=p["motor_w"],
        k_copper=p["copper_share"],
        k_speed=p["iron_share"],
        cable_to_motor_resistance=one.cable_ratio,
        drive_efficiency=one.drive["efficiency"],
        standby_w=one.drive["standby_w"],
        clip_w=one.clip_w,
        flow_cap_m3_h=one.cap_m3_h,
        availability=one.availability,
        displacement_cm3=p["displacement_cm3"],
        slip_m3_h_bar=1e5 * p["slip_m3_h_pa"],
        slip_factor=p["slip_life_factor"],
        fit_torque_nm=p["fit_friction_nm"],
        start_fit_factor=p["breakaway_ratio"],
        best_flow_m3_h=p["best_flow_m3_h"],
        best_head_m=p["head_at_best_m"],
        best_efficiency=p["best_efficiency"],
        max_flow_ratio=p["max_flow_ratio"],
    )


@pytest.mark.parametrize(
    ("head", "demand", "pump", "riser", "array_w", "memory"),
    [
        (60.0, 10.0, "HR10-12", "HDPE-SDR11-40", 900.0, 0.5),  # too little sun: the memory is settled
        (45.0, 12.0, "CF3-19", "HDPE-SDR17-50", 1150.0, 0.3),
        (2.5, 90.0, "SF15-14", "HDPE-SDR17-75", 900.0, 0.0),
    ],
)
def test_volumes_are_those_of_the_root_searches(
    head: float, demand: float, pump: str, riser: str, array_w: float, memory: float
) -> None:
    site = choice_sites.plain_site(head, demand, memory_d_m2=memory, water_c=28.0)
    one, gamma = fitted(a_set(site, pump, riser)), -0.0036
    watts = slow_set.watts_per_wp(site.sun, gamma)
    given = slow_set.water(one, [watts], np.array([array_w]), site.demand_m3_day, one.pump["slip_life_factor"])
    ours = given.kinds.mean(axis=1)[:, 0]
    case = case_of(one, array_w, gamma)
    months = [0, 6, 10]  # three of twelve: a second each
    power = slow_model.hourly_power(case) * array_w
    theirs = [slow_model.month_volume_m3_day(case, m, power[m]) for m in months]
    np.testing.assert_allclose(ours[months], theirs, rtol=1e-4)
    assert (ours < np.array(site.demand_m3_day)).any()


# ----------------------------------------------------------------------------------------------- choice


def design(pump: int, array_wp: float, cost: float, used: float = 100.0, meets: bool = True) -> Design:
    return Design(
        pump, 0, 0, 0, 0, array_wp, 0, False, 50.0, 2.0, used, 1.0, 1.0, 1.0, 1.0, meets, cost, 1000.0
    )  # fmt: skip


def test_a_choice_by_hand() -> None:
    dear, cheap, short = design(0, 900, 0.50), design(1, 990, 0.48), design(2, 660, 0.20, meets=False)
    assert slow_choice.competing([dear, cheap, short]) == [dear, cheap]
    assert slow_choice.cheapest([dear, cheap]) == cheap
    # Equal to 0.1 %: the smaller array, then the first pump.
    small = design(3, 660, 0.4802)
    assert slow_choice.cheapest([dear, cheap, small]) == small
    assert slow_choice.cheapest([design(5, 660, 0.4802), small]) == small
    # Nobody meets: the cheapest with nine tenths of the most water.
    most, enough, less = (design(i, 900, 0.5 - i / 10, used=u, meets=False) for i, u in enumerate((100, 90, 89)))
    assert slow_choice.competing([most, enough, less]) == [most, enough]
    assert slow_choice.cheapest([most, enough]) == enough


def test_a_whole_choice_holds_together() -> None:
    """Every design of a site: what storage, sun and array do to the water, and what the chosen one is."""
    trial = choice_sites.trials()[120]
    found = slow_choice.choose(trial.site, choice_sites.stock_of(trial.lists), NUMBERS, ORDINARY)
    assert found.chosen is not None and found.chosen.meets
    by_key = {d.key: d for d in found.designs}
    next_tank = [(*d.key[:-1], d.tank + 1) for d in found.designs]
    larger = [(by_key[key], d) for key, d in zip(next_tank, found.designs, strict=True) if key in by_key]
    assert larger
    for more, less in larger:
        assert more.used_m3_year >= less.used_m3_year * (1 - 1e-9) and more.worst_month >= less.worst_month - 1e-9
    for d in found.designs:
        assert d.low_sun_reliability <= d.reliability + 1e-6
        assert math.isnan(d.cost_per_m3) == (not d.meets)
    least = min(d.cost_per_m3 for d in found.designs if d.meets)
    assert least <= found.chosen.cost_per_m3 <= least * 1.001001


def test_the_trials_are_what_they_say() -> None:
    trials = choice_sites.trials()
    assert len(trials) == choice_sites.COUNT == 320
    assert len({t.site.name for t in trials}) == 320
    families = choice_sites.catalogue().pumps.family
    assert {int(families[j]) for t in trials for j in t.lists.pumps} == {0, 1, 2}
    for t in trials:
        assert all(list(places) == sorted(set(places)) for places in t.lists)
        assert len(t.lists.pumps) == 6 and len(t.lists.risers) == 3 and len(t.lists.tanks) == 3
        assert len(t.lists.deliveries) == 2 and len(t.lists.cables) == 2
