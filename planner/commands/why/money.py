"""Replacements, upkeep, life-cycle cost, water over the horizon, and the cost of a cubic metre."""

from __future__ import annotations

import math

from planner.catalogue.arrays import HELICAL
from planner.commands.why.bill import Bill
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, n
from planner.commands.why.water import Year, year_of
from planner.commands.why.wear import pair_life
from planner.engine import cost as engine
from planner.physics.money import annuity_factor, capital_recovery_factor, discount_factor, residual_factor

ROUNDING = 1e-9  # a life that divides the horizon up to rounding is taken to divide it


def later_costs(
    sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year, bill: Bill
) -> tuple[float, float]:
    """Replacements year by year, what is left at the end, upkeep; returns the life-cycle cost of both boundaries."""
    rules, currency = sized.rules, opened.plan.programme.currency
    rate, horizon, price = rules.discount_rate, rules.horizon_y, bill.price
    sheet.section(f"Replacements, {horizon:.0f} years at {n(100 * rate)} % real programme.discount_rate, horizon_years")
    sheet.text("A part of life L is bought again in years L, 2L … before the horizon: price × (1 + i)^-year.")
    rows, later, later_equipment = [], 0.0, 0.0
    for i, (item, _, goods) in enumerate(engine.ITEMS):
        if price[i] == 0 or bill.life[i] <= 0:
            continue
        life, paid = float(bill.life[i]), 0.0
        for k in range(1, math.ceil(horizon / life - ROUNDING)):
            factor = float(discount_factor(rate, k * life))
            paid += price[i] * factor
            rows.append((item, n(price[i]), n(life), n(k * life), n(factor), n(price[i] * factor)))
        left = price[i] * float(residual_factor(rate, life, horizon)) if goods and rules.residual else 0.0
        agree(f"replacements of {item}", 1 + paid - left, 1 + engine.renewal(price[i], life, goods, rules))
        later += paid
        later_equipment += paid if i < engine.EQUIPMENT_ITEMS else 0.0
    pairs = 0.0
    if chosen.pump["family"] == HELICAL:
        life = pair_life(sheet, sized, chosen, year)
        cost = float(chosen.pump["rotor_stator_price"])
        for at in _pair_years(life, float(chosen.pump["life_y"]), horizon):
            factor = float(discount_factor(rate, at))
            pairs += cost * factor
            rows.append(("rotor and stator", n(cost), n(life), n(at), n(factor), n(cost * factor)))
        agree("rotors and stators", 1 + pairs, 1 + engine.rotor_stator_cost(cost, life, chosen.pump["life_y"], rules))
    sheet.table(("part", "price", "life", "year", "factor", "present value"), rows)
    later, later_equipment = later + pairs, later_equipment + pairs
    sheet.value("sum of replacements", f"{n(later)} {currency}, of it equipment {n(later_equipment)}")
    left, left_equipment = _left(sheet, sized, bill, currency)

    sheet.section("Upkeep and life-cycle cost")
    upkeep, upkeep_equipment = _upkeep(sheet, opened, sized, chosen, bill)
    annuity = float(annuity_factor(rate, horizon))
    growth = f"(1 - (1 + {n(rate)})^(0 - {horizon:.0f})) / {n(rate)}" if rate else n(horizon)
    sheet.result("annuity factor", "(1 - (1 + i)^-N) / i", growth, annuity)
    lifecycle = bill.capital + later - left + upkeep * annuity
    fitted = bill.capital_equipment + later_equipment - left_equipment + upkeep_equipment * annuity
    for name, capital, again, rest, yearly, total in (
        ("life-cycle cost, whole scheme", bill.capital, later, left, upkeep, lifecycle),
        (
            "life-cycle cost, equipment only",
            bill.capital_equipment,
            later_equipment,
            left_equipment,
            upkeep_equipment,
            fitted,
        ),
    ):
        sheet.result(
            name,
            "capital + replacements - left + upkeep × annuity factor",
            f"{n(capital)} + {n(again)} - {n(rest)} + {n(yearly)} × {n(annuity)}",
            total,
            currency,
        )
    agree("life-cycle cost", lifecycle, float(opened.row["lifecycle_cost"]))
    recovery = float(capital_recovery_factor(rate, horizon))
    agree("annual cost", recovery * lifecycle, float(opened.row["annual_cost"]))
    sheet.result(
        "annual cost, whole scheme",
        "life-cycle cost / annuity factor",
        f"{n(lifecycle)} / {n(annuity)}",
        recovery * lifecycle,
        f"{currency}/year",
    )
    return lifecycle, fitted


def _left(sheet: Sheet, sized: Sized, bill: Bill, currency: str) -> tuple[float, float]:
    """Unused life of goods at the horizon, present value, of both boundaries."""
    rules = sized.rules
    if not rules.residual:
        sheet.text("What is left at the end counts nothing: costs.residual = false.")
        return 0.0, 0.0
    horizon, factor = rules.horizon_y, float(discount_factor(rules.discount_rate, rules.horizon_y))
    sheet.text(
        f"Left at the end, goods only: price × (1 - age / life) × (1 + i)^-{horizon:.0f} = … × {n(factor)}; the age "
        "counts from the last purchase."
    )
    rows, left, left_equipment = [], 0.0, 0.0
    for i, (item, _, goods) in enumerate(engine.ITEMS):
        price, life = float(bill.price[i]), float(bill.life[i])
        if not goods or price == 0 or life <= 0:
            continue
        worth = price * float(residual_factor(rules.discount_rate, life, horizon))
        age = horizon - max(math.ceil(horizon / life - ROUNDING) - 1, 0) * life
        left += worth
        left_equipment += worth if i < engine.EQUIPMENT_ITEMS else 0.0
        rows.append((item, n(price), n(life), n(age), n(worth)))
    sheet.table(("goods", "price", "life", "age", "present value"), rows)
    sheet.value("sum left", f"{n(left)} {currency}, of it equipment {n(left_equipment)}", "costs.residual")
    return left, left_equipment


def _pair_years(life: float, pump_life: float, horizon: float) -> list[float]:
    """Years in which a rotor and stator are bought: the clock restarts with a new pump, and none is bought in the
    year before a new pump or before the horizon."""
    years, start = [], 0.0
    while start < horizon - ROUNDING:
        end, at = min(start + pump_life, horizon), start + life
        while at < end - ROUNDING and math.ceil(at - ROUNDING) < math.ceil(end - ROUNDING):
            years.append(at)
            at += life
        start += pump_life
    return years


def _upkeep(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, bill: Bill) -> tuple[float, float]:
    p, currency, array_wp = opened.catalogue.prices, opened.plan.programme.currency, chosen.design.array_wp
    upkeep, upkeep_equipment = (
        float(one) for one in engine.upkeep_year(bill.price, array_wp, sized.rules, sized.market)
    )
    goods, tank = float(bill.price[: engine.EQUIPMENT_GOODS].sum()), float(bill.price[engine.TANK])
    formula, numbers, source = "", "", ""
    if sized.rules.tracking:
        formula, numbers = " + tracker × array", f" + {n(p.om_tracker_wp)} × {n(array_wp)}"
        source = ", om_tracker_wp"
    sheet.value("goods of the equipment", f"{n(goods)} {currency}", "its bill without installation")
    sheet.result(
        "upkeep a year, whole scheme",
        f"fixed + share × goods + share × tank + guard{formula}",
        f"{n(p.om_scheme_year)} + {n(p.om_scheme_share)} × {n(goods)} + {n(p.om_tank_share)} × {n(tank)} + "
        f"{n(p.guard_year)}{numbers}",
        upkeep,
        f"{currency}/year",
        f"om_scheme_year, om_scheme_share, om_tank_share, guard_year{source}",
    )
    sheet.result(
        "upkeep a year, equipment only",
        f"fixed + share × goods{formula}",
        f"{n(p.om_equipment_year)} + {n(p.om_equipment_share)} × {n(goods)}{numbers}",
        upkeep_equipment,
        f"{currency}/year",
        f"om_equipment_year, om_equipment_share{source}",
    )
    return upkeep, upkeep_equipment


def horizon_water(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> float:
    """Water of year 1, the design year, the horizon and the years between; returns its present value at the tap."""
    rules, site = sized.rules, sized.site
    first, last = year_of(sized, chosen, 1.0), year_of(sized, chosen, float(rules.horizon_y))
    middle, design_year, horizon = year, float(rules.design_year), int(rules.horizon_y)
    sheet.section("Water over the horizon")
    sheet.text(
        f"Demand grows by {n(site.growth)} a year and the array ages by {n(rules.ageing_year)} a year; volumes of year "
        f"1, the design year {design_year:.0f} and the last, {horizon}, are worked out as above, U from the same days "
        "with the same tank. D, V and U, m3 a day:"
    )
    heads = ("month", *(f"{name} y{at:.0f}" for at in (1.0, design_year, horizon) for name in "DVU"))
    months = []
    for m in range(12):
        cells = [f"{one[m]:.5g}" for y in (first, middle, last) for one in (y.demand, y.volumes, y.used)]
        months.append((MONTH_NAMES[m], *cells))
    sheet.table(heads, months)
    sheet.value(
        "used in a year, sum of days × U",
        f"U_1 = {n(first.used_m3_year)}, U_{design_year:.0f} = "
        f"{n(middle.used_m3_year)}, U_{horizon} = {n(last.used_m3_year)} m3",
    )
    sheet.text("Between these years U goes along straight lines. At the tap: × (1 - losses). Present: × (1 + i)^-year.")
    rows, total = [], 0.0
    for t in range(1, horizon + 1):
        used = _between(float(t), design_year, float(horizon), first, middle, last)
        factor, tap = float(discount_factor(rules.discount_rate, float(t))), used * (1 - rules.losses)
        total += tap * factor
        rows.append((str(t), n(used), n(tap), n(factor), n(tap * factor)))
    sheet.table(("year", "U m3", "at the tap", "factor", "present m3"), rows)
    exact = float(engine.present_volume(first.used_m3_year, middle.used_m3_year, last.used_m3_year, rules))
    agree("present volume", total, exact * (1 - rules.losses))
    agree("present volume", total, float(chosen.design.present_m3))
    sheet.value("present volume at the tap, their sum", f"{n(total)} m3")
    return total


def _between(t: float, design_year: float, horizon: float, first: Year, middle: Year, last: Year) -> float:
    if t <= design_year and design_year > 1:
        part = (t - 1) / (design_year - 1)
        return first.used_m3_year + part * (middle.used_m3_year - first.used_m3_year)
    if horizon > design_year:
        part = (t - design_year) / (horizon - design_year)
        return middle.used_m3_year + part * (last.used_m3_year - middle.used_m3_year)
    return middle.used_m3_year


def cost_of_water(sheet: Sheet, opened: Opened, lifecycle: float, fitted: float, present: float) -> None:
    """The cost of a cubic metre, equipment only and whole scheme."""
    row, unit = opened.row, f"{opened.plan.programme.currency}/m3"
    sheet.section("Cost of a cubic metre")
    agree("cost per m3, equipment only", fitted / present, float(row["cost_equipment_per_m3"]))
    agree("cost per m3", lifecycle / present, float(row["cost_per_m3"]))
    sheet.result(
        "cost per m3, equipment only",
        "life-cycle cost / present volume",
        f"{n(fitted)} / {n(present)}",
        fitted / present,
        unit,
    )
    sheet.result(
        "cost per m3, whole scheme",
        "life-cycle cost / present volume",
        f"{n(lifecycle)} / {n(present)}",
        lifecycle / present,
        unit,
    )
    rank = "none: only `equip` sites have one" if math.isnan(row["rank"]) else f"{row['rank']:.0f} by this cost"
    sheet.value("rank", rank)
