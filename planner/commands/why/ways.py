"""Other ways to lift the water, worked: handpumps, a diesel set, the two together, the grid, and nothing."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.alternatives.handpump import SPOUT_M, handpumps
from planner.alternatives.powered import Duty, diesel, duty_of, generator_life_y
from planner.alternatives.terms import Terms, a_year, present, terms_of, wanted
from planner.commands.why.opened import Opened
from planner.commands.why.sheet import Sheet, agree, n
from planner.physics.lifting import (
    DIESEL_CO2_KG_L,
    DIESEL_FULL_LOAD_L_KWH,
    DIESEL_IDLE_L_H_KW,
    HANDPUMP_MOST_M3_H,
    HANDPUMP_USEFUL_W,
)
from planner.physics.water import GRAVITY_M_S2

WORDS = {
    "handpump": ("handpumps, as many as needed", "cost_handpumps_per_m3", ""),
    "diesel": ("diesel set", "cost_diesel_per_m3", "coverage_diesel"),
    "diesel_solar": ("solar set and diesel set", "cost_diesel_solar_per_m3", "coverage_diesel_solar"),
    "grid": ("grid", "cost_grid_per_m3", "coverage_grid"),
}


def other_ways(sheet: Sheet, opened: Opened) -> None:
    """What else could lift the water here: one table, and a handpump and the diesel set worked out."""
    row, compared = opened.row, opened.plan.alternatives.compare
    if not compared:
        return
    sheet.section("Other ways to lift the water")
    sheet.text(
        f"Same demand, {opened.plan.programme.horizon_years} years, same discounting. Cost is of the whole scheme with "
        "its source of power, per m3 used at the tap. A way that breaks the rules of reliability is no equal."
    )
    if row["engine_status"] in ("designed", "no_design"):
        terms = terms_of(opened.context)
        if "handpump" in compared:
            _handpump(sheet, opened, terms)
        if "diesel" in compared and not math.isnan(row["cost_diesel_per_m3"]):
            _diesel(sheet, opened, terms)
    _table(sheet, opened)


def _handpump(sheet: Sheet, opened: Opened, terms: Terms) -> None:
    row, site = opened.row, opened.table.loc[[opened.number]]
    found = handpumps(site, wanted(site, terms), terms)
    level, plan = float(found.level_m[0]), opened.plan.alternatives
    if math.isnan(row["coverage_handpump"]):
        words = "not known" if math.isnan(level) else f"{n(level)} m"
        deepest = max(plan.handpump_depth_m, plan.handpump_deep_m)
        sheet.value("pumping level of a handpump", f"{words}; none is offered below {n(deepest)} m", "handpump_deep_m")
        return
    sheet.value("pumping level of a handpump, driest month", f"{n(level)} m", "rest level + B Q + C Q^2 at 17 L/min")
    rate = float(row["share_rate_m3_h"])
    rate = HANDPUMP_MOST_M3_H if math.isnan(rate) else rate
    flow = sheet.result(
        "flow of a handpump",
        f"useful power / (ρ g H), at most 17 L/min and the well's tested share; H to a spout {n(SPOUT_M)} m up",
        f"min({n(HANDPUMP_MOST_M3_H)}, {n(rate)}, {n(HANDPUMP_USEFUL_W)} × 3.6 / ({GRAVITY_M_S2} × "
        f"({n(level)} + {n(SPOUT_M)})))",
        float(found.flow_m3_h[0]),
        "m3/h",
    )
    day = sheet.result(
        "water of one a day",
        "flow × hours",
        f"{n(flow)} × {n(plan.handpump_hours_day)}",
        float(found.day_m3[0]),
        "m3/d",
    )
    most = float(wanted(site, terms).design.max()) * (1.0 - opened.plan.demand.losses)
    sheet.result("handpumps needed", "largest demand at the tap / that, up", f"ceil({n(most)} / {n(day)})",
                 float(row["handpumps_needed"]))  # fmt: skip
    agree("handpumps needed", math.ceil(most / day - 1e-9), float(row["handpumps_needed"]))
    unit = f"{opened.plan.programme.currency}/m3"
    share = f"{n(100 * row['coverage_handpump'])} % of the demand"
    sheet.value("one on this borehole", f"{n(row['cost_handpump_per_m3'])} {unit}, {share}")


def _diesel(sheet: Sheet, opened: Opened, terms: Terms) -> None:
    row, site, plan = opened.row, opened.table.loc[[opened.number]], opened.plan.alternatives
    currency, demand, duty = opened.plan.programme.currency, wanted(site, terms), duty_of(site, terms)
    flow, power, rated = float(duty.flow_m3_h[0]), float(duty.power_kw[0]), float(row["generator_kw"])
    sheet.text("Diesel: the chosen pump and drive at the set's peak flow and total head, on a generator of its own.")
    sheet.result(
        "power of the generator",
        "g Q H / (3600 × wire to water × supply)",
        f"{GRAVITY_M_S2} × {n(flow)} × {n(row['total_head_m'])} / (3600 × {n(row['wire_to_water'])} × "
        f"{n(plan.supply_efficiency)})",
        power,
        "kW",
    )
    sheet.result(
        "its rating",
        "power × margin, at least the smallest",
        f"max({n(power)} × {n(plan.generator_margin)}, {n(plan.generator_least_kw)})",
        rated,
        "kW",
        "alternatives.generator_margin, generator_least_kw",
    )
    litres = DIESEL_IDLE_L_H_KW * rated + DIESEL_FULL_LOAD_L_KWH * power
    sheet.result(
        "fuel",
        "0.08415 L/h a kW rated + 0.246 L/kWh given",
        f"{DIESEL_IDLE_L_H_KW} × {n(rated)} + {DIESEL_FULL_LOAD_L_KWH} × {n(power)}",
        litres,
        "L/h",
        "Skarstein & Uhlen 1989",
    )
    years = a_year(np.minimum(demand.months, duty.longest(plan.diesel_hours_day)[None, :, None]))
    water, hours = float(years[1, 0]), float(years[1, 0]) / flow
    sheet.value("lifted in the design year", f"{n(water)} m3 at the tank inlet", "demand, hours a day and well")
    sheet.result("hours run", "m3 / flow", f"{n(water)} / {n(flow)}", hours, "h/year")
    fuel = sheet.result("fuel in the design year", "hours × L/h", f"{n(hours)} × {n(litres)}", hours * litres, "L/year")
    agree("diesel a year", fuel, float(row["diesel_l_year"]))
    agree("CO2 of diesel", fuel * DIESEL_CO2_KG_L / 1000.0, float(row["co2_diesel_t_year"]))
    sheet.result(
        "CO2 of the fuel",
        "L × kg/L / 1000",
        f"{n(fuel)} × {n(DIESEL_CO2_KG_L)} / 1000",
        fuel * DIESEL_CO2_KG_L / 1000.0,
        "t/year",
        "IPCC 2006: 74.1 kg/GJ × 43.0 MJ/kg × 0.84 kg/L",
    )
    _diesel_cost(sheet, opened, terms, duty, years, rated, litres, currency)


def _diesel_cost(
    sheet: Sheet, opened: Opened, terms: Terms, duty: Duty, years: Any, rated: float, litres: float, currency: str
) -> None:
    """The life-cycle cost of the diesel scheme in six parts."""
    row, plan, site = opened.row, opened.plan.alternatives, opened.table.loc[[opened.number]]
    flow, price = float(duty.flow_m3_h[0]), terms.price
    life = float(generator_life_y(years[1] / flow, terms)[0])
    hours = float(present(years / flow, terms.weights())[0])
    dear = float(present(years / flow, terms.weights(plan.diesel_price_growth))[0])
    later = float(terms.later("generator_set", life))
    board_later = float(terms.later("ac_supply_panel", terms.items["ac_supply_panel"].life_y))
    labour = price("installation_share")
    shared = sheet.result(
        "all but array and tank, and the diesel's tank",
        "life-cycle cost - array - tank + tank that holds its share of a day",
        f"{n(row['lifecycle_cost'])} - {n(duty.array[0])} - {n(duty.tank[0])} + {n(duty.tank_alike[0])}",
        float(duty.shared[0] + duty.tank_alike[0]),
        currency,
    )
    sheet.value("the generator's life", f"{n(life)} years", "generator_life_hours / hours run, price book at most")
    engine = sheet.result(
        "generator",
        "price × (first cost × (1 + installation) + renewals less rest)",
        f"({n(price('generator_set'))} + {n(price('generator_kw'))} × {n(rated)}) × ({n(terms.first)} × "
        f"(1 + {n(labour)}) + {n(later)})",
        (price("generator_set") + price("generator_kw") * rated) * (terms.first * (1 + labour) + later),
        currency,
        "generator_set, generator_kw",
    )
    board = sheet.result(
        "supply panel",
        "price × (first cost × (1 + installation) + renewals less rest)",
        f"{n(price('ac_supply_panel'))} × ({n(terms.first)} × (1 + {n(labour)}) + {n(board_later)})",
        price("ac_supply_panel") * (terms.first * (1 + labour) + board_later),
        currency,
        "ac_supply_panel",
    )
    house = float(terms.worth("generator_house"))
    yearly = sheet.result(
        "house and attendant",
        "life-cycle cost of the house + wage × annuity factor",
        f"{n(house)} + {n(price('generator_operator_year'))} × {n(terms.annuity)}",
        house + price("generator_operator_year") * terms.annuity,
        currency,
        "generator_house, generator_operator_year",
    )
    service = sheet.result(
        "service", "price an hour × present hours", f"{n(price('generator_service_hour'))} × {n(hours)}",
        price("generator_service_hour") * hours, currency, "generator_service_hour",
    )  # fmt: skip
    fuel = sheet.result(
        "fuel of the horizon",
        "price a litre × L/h × present hours at the fuel's price growth",
        f"{n(price('diesel_litre'))} × {n(litres)} × {n(dear)}",
        price("diesel_litre") * litres * dear,
        currency,
        "diesel_litre, alternatives.diesel_price_growth",
    )
    total = shared + engine + board + yearly + service + fuel
    way, _ = diesel(duty, wanted(site, terms), terms)
    agree("life-cycle cost of diesel", total, float(way.cost[0]))
    agree("cost of diesel", float(way.cost_per_m3[0]), float(row["cost_diesel_per_m3"]))
    sheet.result(
        "cost per m3, diesel, whole scheme",
        "sum / present volume at the tap",
        f"({n(shared)} + {n(engine)} + {n(board)} + {n(yearly)} + {n(service)} + {n(fuel)}) / "
        f"{n(way.used_present_m3[0])}",
        total / float(way.used_present_m3[0]),
        f"{currency}/m3",
    )


def _table(sheet: Sheet, opened: Opened) -> None:
    """Every way in a line, the margin, and why others are not open."""
    row, compared, currency = opened.row, opened.plan.alternatives.compare, opened.plan.programme.currency
    rows = []
    if not math.isnan(row["cost_per_m3"]):
        rows.append(("solar set, chosen", n(row["cost_per_m3"]), n(100 * row["supply_reliability"]), "0"))
    for name, (words, cost, share) in WORDS.items():
        if name in compared and not math.isnan(row[cost]):
            met = n(100 * row[share]) if share else "100"
            co2 = float(row[f"co2_{name}_t_year"]) if name != "handpump" else 0.0
            rows.append((words, n(row[cost]), met, n(co2)))
    if "do_nothing" in compared:
        rows.append(("do nothing", "0", n(100 * row["coverage_do_nothing"]), "-"))
    sheet.table(("way", f"{currency}/m3", "% of demand", "t CO2/year"), rows)
    if "do_nothing" in compared and not math.isnan(row["people_unserved_do_nothing"]):
        sheet.value("people unserved if nothing is done", n(row["people_unserved_do_nothing"]))
    if not math.isnan(row["alternative_margin"]):
        cost = (1 + row["alternative_margin"]) * row["cost_per_m3"]
        sheet.result(
            f"cheapest other way, {WORDS[row['alternative_cheapest']][0]}, over the solar set",
            "its cost / the solar set's",
            f"{n(cost)} / {n(row['cost_per_m3'])}",
            1.0 + float(row["alternative_margin"]),
        )
    if row["alternatives_missing"]:
        sheet.value("not open, or not equal", row["alternatives_missing"].replace("_", " ").replace(";", "; "))
