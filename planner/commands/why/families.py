"""The best set of every pump family, or what stops the family here."""

from __future__ import annotations

import math
import operator

from planner.catalogue.arrays import FAMILIES
from planner.choice.design_checks import UNITS
from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import Sheet, agree, n
from planner.engine import search
from planner.engine.duty import FITS, RULES
from planner.texts import sentence, texts

FAILS = {"<=": operator.gt, ">=": operator.lt, ">": operator.le}


def families(sheet: Sheet, opened: Opened, sized: Sized) -> None:
    """The best of each family, or the rule that stopped it with value and limit, and the chosen one's margin."""
    row = opened.row
    sheet.section("Pump families")
    if sized.chosen is not None and not sized.chosen.design.meets:
        sheet.text(
            "No set meets the demand in a year of low sun. Sets compete that give at least "
            f"{n(search.LIMITED_SHARE)} of the most water of any, in the mean year."
        )
    for family, name in enumerate(FAMILIES):
        words = texts()[name][1]
        if sized.choice.best[family].pump >= 0:
            _best(sheet, opened, sized, family, words)
        elif int(sized.choice.rule[family]) > FITS:
            _stopped(sheet, sized, family, words)
        else:
            sheet.value(words, "no pump of the catalogue or not allowed", "equipment.families")
    for boundary, cost, margin in (
        ("", "cost_per_m3", "family_margin"),
        (", equipment only", "cost_equipment_per_m3", "family_margin_equipment"),
    ):
        more, own = float(row[margin]), float(row[cost])
        if not math.isnan(more):
            sheet.result(
                f"next family over the chosen one{boundary}",
                "its cost / the chosen one's",
                f"{n((1 + more) * own)} / {n(own)}",
                1 + more,
            )


def _best(sheet: Sheet, opened: Opened, sized: Sized, family: int, words: str) -> None:
    """Pump, array, tank and both costs of the best set of a family."""
    row, c, design, name = opened.row, opened.catalogue, sized.choice.best[family], FAMILIES[family]
    scheme, equipment = float(row[f"cost_{name}_per_m3"]), float(row[f"cost_equipment_{name}_per_m3"])
    agree(f"cost of {name}", float(design.cost_per_m3), scheme)
    unit = f"{opened.plan.programme.currency}/m3"
    parts = (
        f"{c.pump_ids[design.pump]}, {n(design.array_wp)} Wp, riser {c.riser_ids[design.riser]}, delivery pipe "
        f"{c.delivery_ids[design.delivery]}, cable {n(float(c.cables.mm2[design.cable]))} mm2, tank "
        f"{n(float(c.tanks.volume_m3[design.tank]))} m3"
    )
    mark = ", chosen" if row["pump_family"] == name else ""
    sheet.value(words, f"best design {n(scheme)} {unit}{mark}; equipment only {n(equipment)}", parts)


def _stopped(sheet: Sheet, sized: Sized, family: int, words: str) -> None:
    """The rule at which the furthest pump of a family stops."""
    rule = RULES[sized.choice.rule[family]]
    unit, sign = UNITS[rule]
    value, limit = float(sized.choice.value[family]), float(sized.choice.limit[family])
    furthest = "of its pumps, that which came furthest, with the widest pipes, thickest cable, largest array and tank"
    if FAILS[sign](value, limit):
        said = f"{n(value)} {sign} {n(limit)} {unit.strip('1')}".rstrip() + " fails"
    else:  # enough in its worst month, but not over the year or beside what others give
        said = "too little water"
    sheet.value(words, f"stopped by {rule}: {said}. {sentence(rule, FAMILIES[family], value, limit)}", furthest)
