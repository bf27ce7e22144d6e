"""The bill of quantities and the capital cost."""

from __future__ import annotations

from typing import NamedTuple

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import Sheet, agree, n
from planner.engine import cost as engine


class Line(NamedTuple):
    """One line of the bill; an item of the engine's bill may have several."""

    item: str
    what: str
    quantity: float
    unit: str
    price: float  # of one unit
    source: str


class Bill(NamedTuple):
    """Price and life of each of the engine's items, and the capital cost inside both boundaries."""

    price: engine.Floats
    life: engine.Floats
    capital: float
    capital_equipment: float


def bill_of_quantities(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> Bill:
    """Every line with quantity, unit price and amount; sums, contingency and tax."""
    row, rules, design = opened.row, sized.rules, chosen.design
    programme = opened.plan.programme
    price, life = engine.bill(design, chosen.done.duty.intake_m, sized.site, rules, sized.market)
    sheet.section(f"Bill of quantities, {programme.currency} of {programme.price_year}")
    if "bill" in opened.plan.output.files:
        sheet.text("The same lines, in whole cents and with their sources, are in bill.csv.")
    boundary = {item: where for item, where, _ in engine.ITEMS}
    lines = _lines(opened, sized, chosen, price)
    for where, words in (("equipment", "The equipment boundary:"), ("scheme", "The rest of the scheme:")):
        sheet.text(words)
        sheet.table(
            ("item", "quantity", "unit", "unit price", "amount", "price of"),
            [
                (one.what, n(one.quantity), one.unit, n(one.price), _amount(one), one.source[:24])
                for one in lines
                if boundary[one.item] == where
            ],
        )
    for i, (item, _, _) in enumerate(engine.ITEMS):
        agree(f"bill: {item}", sum(one.quantity * one.price for one in lines if one.item == item), float(price[i]))
    total, equipment = float(price.sum()), float(price[: engine.EQUIPMENT_ITEMS].sum())
    sheet.value("sum of the equipment boundary", n(equipment), "set, pipe in the well, cable, protection, installation")
    sheet.value("sum of the whole scheme", n(total))
    capital = total * (1 + rules.contingency) * (1 + rules.tax)
    agree("capital cost", capital, float(row["capital_cost"]))
    sheet.result(
        "capital cost, whole scheme",
        "sum × (1 + contingency) × (1 + tax)",
        f"{n(total)} × (1 + {n(rules.contingency)}) × (1 + {n(rules.tax)})",
        capital,
        programme.currency,
        "costs.contingency, tax",
    )
    fitted = equipment * (1 + rules.contingency_equipment) * (1 + rules.tax)
    sheet.result(
        "capital cost, equipment only",
        "sum × (1 + contingency) × (1 + tax)",
        f"{n(equipment)} × (1 + {n(rules.contingency_equipment)}) × (1 + {n(rules.tax)})",
        fitted,
        programme.currency,
        "costs.contingency_equipment, tax",
    )
    return Bill(price, life, capital, fitted)


def _amount(line: Line) -> str:
    amount = line.quantity * line.price
    return f"{amount:.2f}" if abs(amount) < 1e6 else f"{amount:.0f}"


def _lines(opened: Opened, sized: Sized, chosen: Chosen, price: engine.Floats) -> list[Line]:
    """The lines, in the order of the engine's items; lines without quantity or price are left out."""
    c, p, rules, site = opened.catalogue, opened.catalogue.prices, sized.rules, sized.site
    design, duty, family = chosen.design, chosen.done.duty, chosen.pump["family"]
    watts, motor_cable_m = design.array_wp, rules.cable_to_drive_m + (0.0 if family == SURFACE else duty.intake_m)
    pump, drive = c.pump_ids[design.pump], c.drive_ids[c.pumps.drive[design.pump]]
    if family == HELICAL:
        valves, which = p.relief_and_check_set, "relief_and_check_set"
    elif family == SURFACE:
        valves, which = p.suction_set, "suction_set"
    else:
        valves, which = p.check_valve_set, "check_valve_set"
    mounting, mounting_price, mounting_key = "mounting", p.mounting_wp, "mounting_wp"
    if rules.tracking:
        mounting, mounting_price, mounting_key = "mounting, tracker", p.mounting_tracker_wp, "mounting_tracker_wp"
    first_three = float(price[0] + price[1] + price[2])
    module, riser, delivery, cable = (
        float(one)
        for one in (
            chosen.module["price_wp"],
            chosen.riser["price_m"],
            chosen.delivery["price_m"],
            chosen.cable["price_m"],
        )
    )
    tank = float(sized.market.tanks[design.tank]["price"])
    lines = [
        Line("modules", "modules", watts, "Wp", module, c.module_ids[design.module]),
        Line("pump and motor", "pump and motor", 1, "each", float(chosen.pump["pump_price"]), pump),
        Line("drive", "drive", 1, "each", float(chosen.pump["drive_price"]), drive),
        Line("mounting", mounting, watts, "Wp", mounting_price, mounting_key),
        Line("array wiring", "array wiring", watts, "Wp", p.dc_wiring_wp, "dc_wiring_wp"),
        Line("isolators and fuses", "isolators and fuses", 1, "site", p.dc_wiring_site, "dc_wiring_site"),
        Line("riser", "riser", duty.intake_m, "m", riser, c.riser_ids[design.riser]),
        Line("motor cable", "motor cable", motor_cable_m, "m", cable, f"cable {n(chosen.cable['mm2'])} mm2"),
        Line("valves or suction set", "valves or suction set", 1, "set", valves, which),
        Line(
            "dry-run and level switch",
            "dry-run and level switch",
            1,
            "set",
            p.dry_run_and_level_switch,
            "dry_run_and_level_switch",
        ),
        Line("cooling sleeve", "cooling sleeve", float(design.sleeve), "each", p.cooling_sleeve, "cooling_sleeve"),
        Line("installation", "installation, crew", 1, "site", p.installation_site, "installation_site"),
        Line(
            "installation", "installation, share", p.installation_share, "of first 3", first_three, "installation_share"
        ),
        Line(
            "installation",
            "installation, helical",
            float(family == HELICAL),
            "site",
            p.installation_helical,
            "installation_helical",
        ),
        Line(
            "delivery pipe", "delivery pipe", float(site.pipe_length_m), "m", delivery, c.delivery_ids[design.delivery]
        ),
        Line("tank on stand", f"tank on stand, {n(chosen.tank_m3)} m3", 1, "each", tank, "tanks of the catalogue"),
        Line("fence", "fence, fixed part", 1, "site", p.fence_site, "fence_site"),
        Line("fence", "fence, by the array", watts, "Wp", p.fence_wp, "fence_wp"),
        Line("tap stands", "tap stands", float(site.taps), "each", p.tap_stand, "tap_stand"),
        Line("wellhead", "wellhead", 1, "site", p.wellhead_civil, "wellhead_civil"),
        Line("earthing and lightning", "earthing and lightning", 1, "site", p.earthing_lightning, "earthing_lightning"),
        Line("pumping test", "pumping test", 1, "site", p.pumping_test, "pumping_test"),
        Line("water-quality test", "water-quality test", 1, "site", p.water_quality_test, "water_quality_test"),
        Line(
            "transport",
            "transport, there and back",
            2.0 * float(site.road_km),
            "km",
            p.transport_km,
            "transport_km",
        ),
        Line("theft protection", "theft protection", 1, "site", p.anti_theft_site, "anti_theft_site"),
        Line("training", "training", 1, "site", p.training_site, "training_site"),
        Line("supervision", "supervision, fixed part", 1, "site", p.supervision_site, "supervision_site"),
        Line(
            "supervision",
            "supervision, share",
            p.supervision_share,
            "of the rest",
            float(price[: engine.SUPERVISION].sum()),
            "supervision_share",
        ),
    ]
    return [one for one in lines if one.quantity * one.price != 0.0]
