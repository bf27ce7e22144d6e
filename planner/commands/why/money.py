"""The bill, the life-cycle cost and the cost of a cubic metre."""

from __future__ import annotations

import math

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import Sheet, n
from planner.engine.cost import (
    EQUIPMENT_GOODS,
    EQUIPMENT_ITEMS,
    IS_GOODS,
    ITEMS,
    TANK,
    bill,
    present_volume,
    renewal,
    rotor_stator_cost,
    rotor_stator_life_y,
    upkeep_year,
)
from planner.engine.duty import dynamic_heads_m
from planner.engine.report import Performance
from planner.engine.search import used_year, worn_out_slip
from planner.engine.volume import curves_of, monthly_volumes
from planner.errors import InternalError
from planner.physics.money import annuity_factor, replacement_factor, residual_factor

SAME = 1e-6  # what is worked out here must be what the run wrote


def costs(sheet: Sheet, opened: Opened, sized: Sized, done: Performance) -> None:
    """From the bill to the cost per cubic metre; raises InternalError where it is not that of the run."""
    row, rules, market, design = opened.row, opened.context.rules, opened.context.market, sized.choice.chosen
    currency, duty, pump = opened.plan.programme.currency, done.duty, market.pumps[design.pump]
    price, life = bill(
        design.pump, design.module, design.array_wp, duty, design.sleeve, design.tank, sized.site, rules, market
    )
    sheet.section(f"Bill, {currency} of {opened.plan.programme.price_year}")
    bought = [i for i in range(len(ITEMS)) if price[i] > 0]
    many = _quantities(opened, sized, done)
    rows = []
    for i in bought:
        name, boundary, _ = ITEMS[i]
        quantity, unit = many.get(name, (1.0, "set"))
        rows.append((name, n(quantity), unit, n(price[i] / quantity), n(price[i]), boundary))
    sheet.table(("item", "quantity", "unit", "unit price", "price", "boundary"), rows)
    total, equipment = float(price.sum()), float(price[:EQUIPMENT_ITEMS].sum())
    capital = total * (1 + rules.contingency) * (1 + rules.tax)
    sheet.result("sum", "all prices", " + ".join(n(price[i]) for i in bought), total, currency)
    sheet.result(
        "capital cost",
        "sum × (1 + contingency) × (1 + tax)",
        f"{n(total)} × (1 + {n(rules.contingency)}) × (1 + {n(rules.tax)})",
        capital,
        currency,
    )
    agree("capital cost", capital, row["capital_cost"])

    rate, years = rules.discount_rate, rules.horizon_y
    sheet.section(f"Life-cycle cost over {years:.0f} years at {n(100 * rate)} % real")
    rows, later, later_equipment = [], 0.0, 0.0
    values = []
    for i in bought:
        value = float(renewal(price[i], life[i], bool(IS_GOODS[i]), rules))
        later += value
        later_equipment += value if i < EQUIPMENT_ITEMS else 0.0
        if life[i] > 0:
            again = float(replacement_factor(rate, life[i], years))
            left = float(residual_factor(rate, life[i], years)) if IS_GOODS[i] and rules.residual else 0.0
            rows.append((ITEMS[i][0], n(price[i]), n(life[i]), n(again), n(left), n(value)))
            values.append(value)
    if pump["family"] == HELICAL:
        lasts = _rotor_stator_life(opened, sized, done)
        pairs = float(rotor_stator_cost(pump["rotor_stator_price"], lasts, pump["life_y"], rules))
        later, later_equipment = later + pairs, later_equipment + pairs
        factor = pairs / float(pump["rotor_stator_price"])
        rows.append(("rotor and stator", n(pump["rotor_stator_price"]), n(lasts), n(factor), "0", n(pairs)))
        values.append(pairs)
    sheet.text(
        "Replaced when a life ends before the horizon: sum of (1 + i)^-kL. Left: (1 - age / life) (1 + i)^-N, goods."
    )
    sheet.table(("item", "price", "life y", "replaced ×", "left ×", "present value"), rows)
    terms = " + ".join(f"({n(value)})" if value < 0 else n(value) for value in values)
    sheet.result("replacements less what is left", "the last column", terms, later, currency)
    upkeep, upkeep_equipment = upkeep_year(price, market)
    prices, goods = market.prices, float(price[:EQUIPMENT_GOODS].sum())
    sheet.result(
        "upkeep a year",
        "fixed + share × equipment without installation + share × tank + guard",
        f"{n(prices['om_scheme_year'])} + {n(prices['om_scheme_share'])} × {n(goods)} + {n(prices['om_tank_share'])} × "
        f"{n(price[TANK])} + {n(prices['guard_year'])}",
        float(upkeep),
        currency,
        "price list",
    )
    annuity = float(annuity_factor(rate, years))
    sheet.result(
        "annuity factor",
        "(1 - (1 + i)^-N) / i",
        f"(1 - (1 + {n(rate)})^(-{years:.0f})) / {n(rate)}" if rate else f"{n(years)}",
        annuity,
        "",
    )
    lifecycle = capital + later + upkeep * annuity
    sheet.result(
        "life-cycle cost",
        "capital + replacements less what is left + upkeep a year × annuity factor",
        f"{n(capital)} + {n(later)} + {n(upkeep)} × {n(annuity)}",
        lifecycle,
        currency,
    )
    agree("life-cycle cost", lifecycle, row["lifecycle_cost"])

    first, middle, last = _used(opened, sized, done)
    present = float(present_volume(first, middle, last, rules))
    sheet.section("Cost of a cubic metre")
    sheet.value(
        "used a year at the tank inlet",
        f"year 1 {n(first)} m3, year {rules.design_year:.0f} {n(middle)} m3, "
        f"year {years:.0f} {n(last)} m3; straight lines between",
    )
    sheet.value("present volume, each year × (1 + i)^-t", f"{n(present)} m3")
    tap = present * (1 - rules.losses)
    sheet.result("at the tap", "present volume × (1 - losses)", f"{n(present)} × (1 - {n(rules.losses)})", tap, "m3")
    fitted = equipment * (1 + rules.contingency_equipment) * (1 + rules.tax)
    fitted += later_equipment + upkeep_equipment * annuity
    sheet.result(
        "cost per m3, equipment only",
        "life-cycle cost of the equipment / present volume at the tap",
        f"{n(fitted)} / {n(tap)}",
        fitted / tap,
        f"{currency}/m3",
    )
    agree("cost per m3, equipment", fitted / tap, row["cost_equipment_per_m3"])
    sheet.result(
        "cost per m3",
        "life-cycle cost / present volume at the tap",
        f"{n(lifecycle)} / {n(tap)}",
        lifecycle / tap,
        f"{currency}/m3",
    )
    agree("cost per m3", lifecycle / tap, row["cost_per_m3"])


def _quantities(opened: Opened, sized: Sized, done: Performance) -> dict[str, tuple[float, str]]:
    """Quantity and unit of the items that are bought by measure."""
    site, design, rules = sized.site, sized.choice.chosen, opened.context.rules
    surface = opened.context.market.pumps[design.pump]["family"] == SURFACE
    return {
        "modules": (design.array_wp, "Wp"),
        "mounting": (design.array_wp, "Wp"),
        "array wiring": (design.array_wp, "Wp"),
        "riser": (done.duty.intake_m, "m"),
        "motor cable": (rules.cable_to_drive_m + (0.0 if surface else done.duty.intake_m), "m"),
        "delivery pipe": (site.pipe_length_m, "m"),
        "tap stands": (site.taps, "each"),
        "transport": (2 * site.distance_km * rules.detour, "km"),
    }


def agree(name: str, found: float, written: float) -> None:
    """Fail loudly where this calculation is not that of the run."""
    if not abs(found - written) <= SAME * abs(written):
        raise InternalError(f"{name}: worked out {found!r}, the run wrote {written!r}")


def _used(opened: Opened, sized: Sized, done: Performance) -> tuple[float, float, float]:
    """Water used in year 1, the design year and the last, m3 at the tank inlet: growth and ageing at each."""
    rules, market, design, site = opened.context.rules, opened.context.market, sized.choice.chosen, sized.site
    pump = market.pumps[design.pump]
    drive, tank = market.drives[pump["drive"]], market.tanks[design.tank]["volume_m3"]
    flows, heads = dynamic_heads_m(done.duty, site, rules, sized.well, market.risers, market.deliveries)
    fixed = (pump, drive, done.duty, site, rules, sized.well.density_kg_m3, pump["slip_life_factor"])
    found = []
    for year in (1.0, rules.design_year, rules.horizon_y):
        demand = site.demand_m3_day * (1 + site.growth) ** (year - rules.design_year)
        curves = curves_of(*fixed, demand, flows, heads)
        scratch = curves_of(*fixed, demand, flows, heads)
        volumes, running = np.empty(12), np.empty(12)
        array_w = design.array_wp * (1 - rules.ageing_year * year)
        monthly_volumes(
            *fixed, flows, heads, curves, demand, sized.light, design.module, array_w, scratch, volumes, running
        )
        found.append(float(used_year(volumes, demand, site, rules, tank)[0]))
    return found[0], found[1], found[2]


def _rotor_stator_life(opened: Opened, sized: Sized, done: Performance) -> float:
    """Years until the pair is replaced: hours, calendar, or slip that makes the worst month fall short."""
    rules, market, design, site = opened.context.rules, opened.context.market, sized.choice.chosen, sized.site
    pump = market.pumps[design.pump]
    slip = math.inf
    if design.meets:
        drive = market.drives[pump["drive"]]
        flows, heads = dynamic_heads_m(done.duty, site, rules, sized.well, market.risers, market.deliveries)
        density, demand = sized.well.density_kg_m3, site.demand_m3_day
        scratch = curves_of(
            pump, drive, done.duty, site, rules, density, pump["slip_life_factor"], demand, flows, heads
        )
        array_w = design.array_wp * (1 - rules.ageing_year * rules.design_year)
        slip = worn_out_slip(
            pump,
            drive,
            done.duty,
            site,
            rules,
            density,
            flows,
            heads,
            sized.light,
            design.module,
            array_w,
            done.volumes_m3_day,
            scratch,
            np.empty(12),
            np.empty(12),
        )
    return float(rotor_stator_life_y(pump, site.sand_mg_l, done.running_hours_day, slip))
