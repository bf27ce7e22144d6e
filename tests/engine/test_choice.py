"""The choice against a plain enumeration of every design, and what prices do to it."""

from __future__ import annotations

import dataclasses
import math
from typing import Any, NamedTuple

import numpy as np
import pytest

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.assess import Context, Sites, make_context
from planner.engine.cost import design_cost, present_volume, rotor_stator_life_y
from planner.engine.duty import FITS, dynamic_heads_m
from planner.engine.search import (
    days_mean,
    series_window,
    sleeve_needed,
    tank_for,
    used_year,
    worn_out_slip,
)
from planner.engine.volume import curves_of, monthly_volumes
from tests.engine import bed


class Found(NamedTuple):
    """A design of the plain enumeration."""

    cost: float
    array_wp: float
    pump: int
    module: int
    used: float
    meets: bool


def every_design(sites: Sites, context: Context) -> list[Found]:
    """All pumps × modules × strings, with the engine's equations but none of its bookkeeping."""
    bench = bed.bench(sites, context)
    site, rules, market, light = bench.site, context.rules, context.market, bench.light
    demand = site["demand_m3_day"].copy()
    tank = int(tank_for(site, rules, market.tanks))
    tank_m3 = market.tanks[tank]["volume_m3"]
    growth = 1.0 + site["growth"]
    years = ((1.0, growth ** (1.0 - rules["design_year"])), (rules["design_year"], 1.0),
             (rules["horizon_y"], growth ** (rules["horizon_y"] - rules["design_year"])))  # fmt: skip
    found = []
    for j, pump in enumerate(market.pumps):
        duty = bench.fit(j)
        if duty.rule != FITS:
            continue
        drive = market.drives[pump["drive"]]
        flows, heads = dynamic_heads_m(duty, site, rules, bench.well, market.risers, market.deliveries)
        fixed = (pump, drive, duty, site, rules, bench.well.density_kg_m3, pump["slip_life_factor"])
        scratch = curves_of(*fixed, demand, flows, heads)
        for w, module in enumerate(market.modules):
            fewest, most = series_window(module, drive, site["record_low_c"], rules["hot_cell_c"])
            for parallel in range(1, 20):
                if parallel * module["isc_a"] > drive["isc_max_a"]:
                    break
                for series in range(fewest, most + 1):
                    array_w = series * parallel * module["rated_wp"]
                    if array_w > drive["ratio_max"] * pump["drive_rating_w"]:
                        continue
                    used = []
                    for year, factor in years:
                        curves = curves_of(*fixed, demand * factor, flows, heads)
                        volumes, hours = np.empty(12), np.empty(12)
                        aged = array_w * (1.0 - rules["ageing_year"] * year)
                        monthly_volumes(
                            *fixed, flows, heads, curves, demand * factor, light, w, aged, scratch, volumes, hours
                        )
                        used.append(used_year(volumes, demand * factor, site, rules, tank_m3))
                        if year == rules["design_year"]:
                            running, lifted = hours, volumes
                    total, share, month = used[1]
                    if total <= 0.0:
                        continue
                    sleeve = 0 if pump["family"] == SURFACE else sleeve_needed(pump, site, lifted, running)[0]
                    if sleeve < 0:
                        continue
                    meets = share >= rules["reliability_year"] and month >= rules["reliability_month"]
                    life = math.inf
                    if pump["family"] == HELICAL:
                        slip = math.inf
                        if meets:
                            aged = array_w * (1.0 - rules["ageing_year"] * rules["design_year"])
                            slip = worn_out_slip(
                                pump, drive, duty, site, rules, bench.well.density_kg_m3, flows, heads, light, w, aged,
                                tank_m3, month, scratch, np.empty(12), np.empty(12),
                            )  # fmt: skip
                        life = rotor_stator_life_y(pump, site["sand_mg_l"], days_mean(running), slip)
                    money = design_cost(j, w, array_w, duty, sleeve == 1, tank, life, site, rules, market)
                    present = present_volume(used[0][0], used[1][0], used[2][0], rules) * (1.0 - rules["losses"])
                    found.append(Found(money.lifecycle / present, array_w, j, w, total, meets))
    return found


@pytest.mark.parametrize(
    ("static_m", "demand_m3_day", "columns"),
    [
        (40.0, 6.0, {}),
        (12.0, 20.0, {"demand_growth": 0.02}),
        (90.0, 12.0, {"share_rate_m3_h": 0.6, "safe_volume_m3_day": 6.0, "memory_d_m2": 0.3}),
    ],
    ids=["low flow", "growing demand", "the well limits"],
)
def test_the_choice_is_that_of_a_plain_enumeration(
    static_m: float, demand_m3_day: float, columns: dict[str, Any]
) -> None:
    sites = bed.one_site(static_m, demand_m3_day, **columns)
    designs = every_design(sites, bed.context())
    compete = [design for design in designs if design.meets]
    if not compete:
        most = max(design.used for design in designs)
        compete = [design for design in designs if design.used >= 0.9 * most]
    # Equal costs to 0.1 % go to the smaller array, then to the first pump.
    best = min(compete, key=lambda d: (round(math.log(d.cost) / 1e-3), d.array_wp, d.pump, d.module))
    row = bed.row_of(sites)
    catalogue = bed.context().catalogue
    assert row["pump_id"] == catalogue.pump_ids[best.pump]
    assert (row["module_id"], row["array_wp"]) == (catalogue.module_ids[best.module], best.array_wp)
    assert row["cost_per_m3"] == pytest.approx(best.cost, rel=1e-12)
    assert (row["supply_limited"] == "") == best.meets


@pytest.mark.parametrize("table", ["pumps", "modules", "risers", "tanks"])
def test_a_dearer_price_never_makes_the_best_cheaper(table: str) -> None:
    sites = bed.one_site(60.0, 10.0)
    before = bed.row_of(sites)["cost_per_m3"]
    catalogue = bed.context().catalogue
    name = {"pumps": "pump_price", "modules": "price_wp", "risers": "price_m", "tanks": "price"}[table]
    columns = getattr(catalogue, table)
    dearer = dataclasses.replace(catalogue, **{table: columns._replace(**{name: getattr(columns, name) * 1.3})})
    after = bed.row_of(sites, make_context(bed.make_plan(), dearer))["cost_per_m3"]
    assert after > before
