"""Other ways to lift the water: worked by hand, closed forms, what must never happen. Sites and prices are invented."""

from __future__ import annotations

import dataclasses
import itertools
import math
from functools import cache
from typing import Any

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.alternatives.compare import WRITES, compare, totals
from planner.alternatives.handpump import kept_worth
from planner.alternatives.terms import kept_first, terms_of
from planner.engine.assess import Context, Sites, assess
from planner.glossary import glossary, monthly
from planner.physics import lifting
from planner.run_table import check_step, engine_columns
from planner.tables.step import Step
from tests.engine import bed

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
RATE, YEARS = 0.08, 20  # defaults of [programme]

FIRST = 1.08 * 1.10  # capital ÷ prices: supervision of the price book, contingency of the plan, no tax


def table_of(sites: Sites, context: Context, **more: Any) -> pd.DataFrame:
    """The table of a run after sizing, as far as the stage reads it."""
    index = pd.Index(sites.inventory_row, name="inventory_row")
    columns: dict[str, Any] = {}
    for field in dataclasses.fields(sites):
        values = getattr(sites, field.name)
        if values.ndim == 2:
            columns |= {name: values[:, m] for m, name in enumerate(monthly(field.name))}
        elif field.name != "inventory_row":
            columns[field.name] = values
    columns |= {"row_kind": "site", "status": "working", "equipped_with": "none", "grid_distance_m": np.nan}
    before = pd.DataFrame(columns | more, index=index)
    before = before.astype({name: "str" for name in ("row_kind", "status", "equipped_with")})
    return pd.concat([before, engine_columns(assess(sites, context).rows, index)], axis=1)


@cache
def sized(**more: Any) -> pd.DataFrame:
    """One tested well at 40 m with 300 people, sized by the engine."""
    sites = bed.one_site(40.0, 6.0, people_counted=300.0, demand_growth=0.0)
    return table_of(sites, bed.context(), **more)


def ways(frame: pd.DataFrame, context: Context | None = None) -> pd.Series:
    found = compare(frame, context or bed.context())
    check_step("alternatives", frame, Step(found, []), WRITES)  # type, range and names as promised
    return found.iloc[0]


def plan(**alternatives: Any) -> Context:
    return bed.make_context(alternatives=alternatives)


def test_diesel_by_hand() -> None:
    """Every term in plain numbers, present values by numpy-financial; no growth, so every year has the same water."""
    frame = sized()
    row, found, context = frame.iloc[0], ways(frame), bed.context()
    prices = {one.item: one.price for one in context.catalogue.price_rows}
    power = 9.80665 * row["peak_flow_m3_h"] * row["total_head_m"] / 3600 / row["wire_to_water"] / 0.95
    rated = max(1.25 * power, 3.0)
    assert found["generator_kw"] == pytest.approx(rated, rel=1e-12)
    litres_hour = 0.08415 * rated + 0.246 * power
    water = sum(d * row[name] for d, name in zip(DAYS, monthly("demand"), strict=True))  # all of it: see coverage
    assert found["coverage_diesel"] == 1.0
    hours = water / row["peak_flow_m3_h"]
    assert max(row[monthly("demand")]) / row["peak_flow_m3_h"] < 10.0
    fuel = hours * litres_hour
    assert found["diesel_l_year"] == pytest.approx(fuel, rel=1e-9)
    assert found["co2_diesel_t_year"] == pytest.approx(fuel * 2.676 / 1000, rel=1e-3)

    life = min(12000.0 / hours, 10.0)

    def later(price: float, years: float) -> float:
        bought = [k * years for k in range(1, 60) if k * years < YEARS - 1e-9]
        left = 1.0 - (YEARS - (bought[-1] if bought else 0.0)) / years
        return price * (sum(1.08**-t for t in bought) - left * 1.08**-YEARS)

    generator, panel = prices["generator_set"] + prices["generator_kw"] * rated, prices["ac_supply_panel"]
    market, module = context.market, list(context.catalogue.module_ids).index(row["module_id"])
    sizes, worth = market.tanks["volume_m3"], market.tanks["worth"]
    alike = float(worth[sizes >= 0.8 * max(row[monthly("demand")]) - 1e-9][0])
    own = float(worth[sizes == row["tank_m3"]][0])
    cost = row["lifecycle_cost"] - row["array_wp"] * market.modules["worth"][module] - own + min(alike, own)
    cost += FIRST * 1.08 * (generator + panel) + later(generator, life) + later(panel, 10.0)
    cost += FIRST * prices["generator_house"]  # lasts the horizon
    a_year = prices["generator_operator_year"] + 0.45 * hours + prices["diesel_litre"] * fuel
    cost += -npf.pv(RATE, YEARS, a_year)
    tap = -npf.pv(RATE, YEARS, 0.9 * water)
    assert found["cost_diesel_per_m3"] == pytest.approx(cost / tap, rel=1e-9)


def test_grid_by_hand() -> None:
    frame = sized(grid_distance_m=2500.0)
    row, found, near = frame.iloc[0], ways(frame), ways(sized(grid_distance_m=0.0))
    prices = {one.item: one.price for one in bed.context().catalogue.price_rows}
    water = sum(d * row[name] for d, name in zip(DAYS, monthly("demand"), strict=True))
    tap = -npf.pv(RATE, YEARS, 0.9 * water)
    line = FIRST * 2.5 * prices["grid_line_km"] / tap
    assert found["cost_grid_per_m3"] - near["cost_grid_per_m3"] == pytest.approx(line, rel=1e-9)
    kwh = 9.80665 * row["total_head_m"] / 3600 / row["wire_to_water"] / 0.95 * water
    assert found["co2_grid_t_year"] == pytest.approx(0.5 * kwh / 1000, rel=1e-9)
    there = ways(sized(equipped_with="grid"))
    assert there["cost_grid_per_m3"] + FIRST * prices["grid_connection"] / tap == pytest.approx(
        near["cost_grid_per_m3"], rel=1e-9
    )
    assert math.isnan(ways(sized())["cost_grid_per_m3"])
    assert "grid distance_unknown" in ways(sized())["alternatives_missing"].split(";")


def test_handpumps_by_hand() -> None:
    frame = sized()
    row, found = frame.iloc[0], ways(frame)
    level = 40.0 + row["drawdown_b_d_m2"] * 24.48 + row["drawdown_c_d2_m5"] * 24.48**2
    flow = 45.0 * 3600 / (9806.65 * (level + 1.0))
    assert flow < min(1.02, row["share_rate_m3_h"])
    need = 0.9 * row["demand_01"]
    assert found["coverage_handpump"] == pytest.approx(8 * flow / need, rel=1e-9)
    assert found["handpumps_needed"] == math.ceil(need / (8 * flow))
    prices = {one.item: one.price for one in bed.context().catalogue.price_rows}
    pump, apron, bore = (prices[name] for name in ("handpump_set", "handpump_apron", "handpump_borehole"))
    upkeep = -npf.pv(RATE, YEARS, prices["handpump_upkeep_year"])
    one = FIRST * (pump + apron + prices["water_quality_test"]) + pump * 1.08**-10 + upkeep  # renewed once
    haul = FIRST * prices["transport_km"] * 2 * row["road_km"]
    day = 8 * flow
    assert found["cost_handpump_per_m3"] == pytest.approx((one + haul) / -npf.pv(RATE, YEARS, 365 * day), rel=1e-9)
    several = one + haul + (found["handpumps_needed"] - 1) * (one + FIRST * bore)
    assert found["cost_handpumps_per_m3"] == pytest.approx(several / -npf.pv(RATE, YEARS, 365 * need), rel=1e-9)


def test_a_handpump_that_works_is_kept() -> None:
    """Half of ten years left: bought in years 5 and 15, half of the last one left at 20."""
    later, left = kept_first(RATE, 10.0, 0.5, 20.0)
    assert later == pytest.approx(1.08**-5 + 1.08**-15) and left == pytest.approx(0.5 * 1.08**-20)
    terms = terms_of(bed.context())
    assert kept_worth("handpump_set", terms) == pytest.approx(1500 * (later - left))
    kept = ways(sized(equipped_with="handpump"))
    assert kept["cost_handpump_per_m3"] < ways(sized())["cost_handpump_per_m3"]
    assert kept["coverage_do_nothing"] == kept["coverage_handpump"]
    served = kept["coverage_handpump"] * sized().iloc[0]["demand_01"] * 0.9 * 1000 / 20
    assert kept["people_unserved_do_nothing"] == pytest.approx(300 - min(300, served))


@pytest.mark.parametrize(
    ("more", "share", "unserved"),
    [
        ({"equipped_with": "none"}, 0.0, 300.0),
        ({"equipped_with": "handpump", "status": "needs_repair"}, 0.0, 300.0),
        ({"equipped_with": "diesel"}, math.nan, math.nan),
        ({"equipped_with": "unknown"}, math.nan, math.nan),
    ],
)
def test_do_nothing(more: dict[str, str], share: float, unserved: float) -> None:
    found = ways(sized(**more))
    assert found["coverage_do_nothing"] == pytest.approx(share, nan_ok=True)
    assert found["people_unserved_do_nothing"] == pytest.approx(unserved, nan_ok=True)


def test_dearer_fuel_never_cheapens_diesel() -> None:
    found = [ways(sized(), plan(diesel_price_growth=growth)) for growth in (-0.05, 0.0, 0.01, 0.1)]
    for cheap, dear in itertools.pairwise(found):
        assert dear["cost_diesel_per_m3"] > cheap["cost_diesel_per_m3"]
        assert dear["cost_handpumps_per_m3"] == cheap["cost_handpumps_per_m3"]
        assert dear["co2_diesel_t_year"] == cheap["co2_diesel_t_year"]


def test_price_growth_in_closed_form() -> None:
    """Σ (1 + e)^t / (1 + i)^t; at e = i every year counts alike."""
    weights = terms_of(plan(diesel_price_growth=0.03)).weights(0.03)
    assert sum(weights) == pytest.approx(sum((1.03 / 1.08) ** t for t in range(1, 21)), rel=1e-12)
    assert sum(terms_of(bed.context()).weights(0.08)) == pytest.approx(20.0, rel=1e-9)
    assert sum(terms_of(bed.context()).weights()) == pytest.approx(-npf.pv(RATE, YEARS, 1.0), rel=1e-12)


def test_short_hours_are_shown_and_never_the_cheapest() -> None:
    short = ways(sized(), plan(diesel_hours_day=0.5))
    assert short["coverage_diesel"] < 0.95 and "diesel short" in short["alternatives_missing"].split(";")
    assert short["alternative_cheapest"] != "diesel"
    assert short["cost_diesel_per_m3"] > 0  # shown all the same


def test_the_cheapest_is_the_least_of_those_that_keep_the_rules() -> None:
    found, row = ways(sized(grid_distance_m=100.0)), sized().iloc[0]
    costs = {"handpump": "cost_handpumps_per_m3", "diesel": "cost_diesel_per_m3", "grid": "cost_grid_per_m3"}
    least = min(costs, key=lambda name: found[costs[name]])
    assert found["alternative_cheapest"] == least
    assert found["alternative_margin"] == pytest.approx(found[costs[least]] / row["cost_per_m3"] - 1, rel=1e-12)
    assert "diesel_solar not_needed" in found["alternatives_missing"].split(";")
    assert found["cost_diesel_solar_per_m3"] > row["cost_per_m3"]  # the same set and an engine


def test_the_engine_fills_what_the_solar_set_leaves() -> None:
    """Half of the water from the sun: the engine burns half of what it burns alone; a well that gives no more, none."""
    frame = sized().copy()
    frame[monthly("used")] = 0.5 * 0.9 * frame[monthly("demand")].to_numpy()
    frame["supply_limited"] = pd.Series(["catalogue"], index=frame.index, dtype="str")
    found = ways(frame)
    assert found["coverage_diesel_solar"] == pytest.approx(1.0)
    assert found["co2_diesel_solar_t_year"] == pytest.approx(0.5 * found["co2_diesel_t_year"], rel=1e-9)
    assert math.isnan(found["alternative_margin"])  # the solar set is no equal
    dry = ways(frame.assign(safe_volume_m3_day=0.5 * frame["demand_01"]))
    assert dry["coverage_diesel_solar"] == pytest.approx(0.5)
    assert dry["co2_diesel_solar_t_year"] == pytest.approx(0.0, abs=1e-12)


def test_what_is_not_known_is_empty_with_its_reason() -> None:
    deep = table_of(bed.one_site(95.0, 6.0), bed.context())
    assert "handpump too_deep" in ways(deep)["alternatives_missing"].split(";")
    many = table_of(bed.one_site(40.0, 60.0), bed.context())
    found = ways(many)
    assert "handpump too_many" in found["alternatives_missing"].split(";") and found["handpumps_needed"] > 4
    assert math.isnan(found["cost_handpumps_per_m3"]) and found["cost_handpump_per_m3"] > 0
    bare = sized().copy()
    bare["engine_status"] = pd.Series(["skipped"], index=bare.index, dtype="str")
    skipped = ways(bare)
    assert skipped["alternatives_missing"] == "all not_sized" and math.isnan(skipped["cost_diesel_per_m3"])


def test_nothing_compared_is_nothing_written() -> None:
    found = ways(sized(), plan(compare=[]))
    for name in WRITES:
        assert found[name] == "" if glossary()[name].dtype == "text" else math.isnan(found[name])


def test_carbon_dioxide_adds_up() -> None:
    """The run's total is the sum of its sites; avoided = what diesel emits for the water that is used."""
    frame = pd.concat([sized(), sized().set_axis(pd.Index([2], name="inventory_row"))])
    found = pd.concat([frame, compare(frame, bed.context())], axis=1).copy()
    found["decision"] = pd.Series(["equip", "hold"], index=found.index, dtype="str")
    told = totals(found)
    assert told["sites"] == 1 and told["co2_avoided_t_year"] == round(float(found["co2_avoided_t_year"].iloc[0]), 3)
    both = totals(found.assign(decision="equip"))
    assert both["co2_diesel_t_year"] == pytest.approx(2 * told["co2_diesel_t_year"], abs=0.001)
    row = found.iloc[0]
    used = 365 * row["volume_used_m3_day"] / 0.9
    lifted = sum(d * row[name] for d, name in zip(DAYS, monthly("demand"), strict=True))
    assert row["co2_avoided_t_year"] == pytest.approx(row["co2_diesel_t_year"] * used / lifted, rel=1e-9)


@given(st.floats(0.0, 200.0), st.floats(0.0, 200.0))
def test_a_deeper_handpump_gives_no_more(one: float, other: float) -> None:
    shallow, deep = sorted((one, other))
    assert lifting.handpump_flow_m3_h(deep) <= lifting.handpump_flow_m3_h(shallow) <= 1.02


@given(st.floats(1.0, 100.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_fuller_generator_burns_less_a_kwh(rated: float, one: float, other: float) -> None:
    low, high = sorted((0.05 + 0.95 * one, 0.05 + 0.95 * other))
    fuel = [float(lifting.generator_fuel_l_h(rated, share * rated)) / (share * rated) for share in (low, high)]
    assert fuel[1] <= fuel[0] * (1 + 1e-12)
    # Published range of small sets at full load, 0.3 to 0.5 L/kWh (common practice).
    assert 0.3 < float(lifting.generator_fuel_l_h(rated, rated)) / rated < 0.5
