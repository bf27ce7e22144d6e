"""Equipment, costs, water and what is known of one site, as labels and values in a language."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pandas as pd

from planner.outputs.sheets.safe_text import shown
from planner.plan import Plan
from planner.texts import date_text, decimal_text, money_text, number, percent_text, say, texts

Pairs = list[list[str]]


class SiteLines:
    """The lines of one site; row: its columns, language: that of the reader."""

    def __init__(self, row: pd.Series, plan: Plan, language: str) -> None:
        self.row, self.plan, self.language = row, plan, language
        self.say: Callable[..., str] = lambda key, **values: say(f"sheets_{key}", language, **values)

    def figure(self, name: str, decimals: int = 0) -> str:
        """A column as a number with its marks; "?" where it is missing."""
        return decimal_text(float(self.row[name]), self.language, decimals)

    def share(self, name: str) -> str:
        """A share rounded down, so that 100 % is said only of what is met in full; of days below it, up."""
        value = float(self.row[name])
        down = math.floor(100 * value + 1e-9) if name != "days_below_80pct" else math.ceil(100 * value - 1e-9)
        return percent_text(down / 100, self.language)

    def known(self, name: str) -> bool:
        """Whether a number is there."""
        return not math.isnan(float(self.row[name]))

    def money(self, name: str, decimals: int = 0) -> str:
        """A column as an amount in the plan's currency."""
        return money_text(float(self.row[name]), self.plan.programme.currency, self.language, decimals)

    def code(self, prefix: str, name: str) -> str:
        """The words for a code of a column; the code itself where there are none."""
        code = str(self.row[name])
        return texts(self.language).get(f"{prefix}_{code}", ("", shown(code)))[1]

    def facts(self) -> Pairs:
        """The strip below the title."""
        row, none = self.row, self.say("none")
        rank = none
        if self.known("rank"):
            rank = self.figure("rank")
            if self.known("rank_p10"):
                rank = self.say("with_range", value=rank, low=self.figure("rank_p10"), high=self.figure("rank_p90"))
        share = self.row["funded_probability"]
        funding = self.code("sheets_funding", "funding") if row["funding"] else none
        if self.known("funded_probability"):
            funding = self.say("funding_share", funding=funding, share=percent_text(float(share), self.language))
        return [
            [self.say("fact_grade"), self.code("sheets_grade", "evidence_grade")],
            [self.say("fact_rank"), rank],
            [self.say("fact_funding"), funding],
            [self.say("fact_phase"), f"{row['phase']:.0f}" if self.known("phase") else none],
            [self.say("fact_lot"), self.figure("lot") if self.known("lot") else none],
            [self.say("fact_people"), self.figure("people_served") if self.known("people_served") else "?"],
        ]

    def equipment(self) -> Pairs:
        """What is bought, with its sizes."""
        row, language = self.row, self.language
        pump = shown(row["pump_id"], 30)
        family = texts(language)[str(row["pump_family"])][1]
        strings = self.say(
            "modules",
            series=self.figure("modules_series"),
            parallel=self.figure("modules_parallel"),
            module=shown(row["module_id"], 20),
            watts=self.figure("array_wp"),
        )
        if row["mounting"] == "single_axis":
            mounting = self.say("tracking")
        else:
            mounting = self.say("tilt", tilt=self.figure("tilt_deg"), azimuth=self.figure("azimuth_deg"))
        lines = [
            [self.say("line_pump"), self.say("two", first=pump, second=family)],
            [
                self.say("line_motor"),
                self.say("motor", watts=self.figure("motor_w"), drive=shown(row["drive_id"], 20)),
            ],
            [self.say("line_cap"), self.say("m3_h", value=number(float(row["cap_flow_m3_h"]), language))],
            [self.say("line_array"), strings],
            [self.say("line_tilt"), mounting],
            [self.say("line_intake"), self.say("below_ground", value=number(float(row["intake_depth_m"]), language))],
            [self.say("line_riser"), self._pipe("riser_id", "riser_mm", "intake_depth_m")],
            [
                self.say("line_cable"),
                self.say(
                    "cable",
                    mm2=number(float(row["cable_mm2"]), language),
                    length=number(float(row["motor_cable_m"]), language),
                ),
            ],
            [self.say("line_delivery"), self._pipe("delivery_id", "delivery_mm", "delivery_m")],
            [self.say("line_tank"), self.say("tank", volume=self.figure("tank_m3"), taps=self.figure("tap_stands"))],
            [self.say("line_sleeve"), self.say("yes") if row["sleeve"] else self.say("no")],
        ]
        standard = str(row.get("pump_id_standard", ""))
        if standard and standard != str(row["pump_id"]):
            lines.append([self.say("line_standard"), shown(standard, 30)])
        return lines

    def _pipe(self, kind: str, nominal: str, length: str) -> str:
        return self.say(
            "pipe",
            kind=shown(self.row[kind], 24),
            nominal=self.figure(nominal),
            length=number(float(self.row[length]), self.language),
        )

    def costs(self) -> Pairs:
        """What the scheme costs; the ranges are those of the draws."""
        lines = [
            [self.say("cost_capital"), self.money("capital_cost")],
            [self.say("cost_annual"), self.money("annual_cost")],
            [self.say("cost_lifecycle"), self.money("lifecycle_cost")],
            [self.say("cost_water"), self._ranged("cost_per_m3", 2)],
            [self.say("cost_equipment"), self.money("cost_equipment_per_m3", 2)],
        ]
        if self.known("cost_per_person"):
            lines.append([self.say("cost_person"), self.money("cost_per_person")])
        return lines

    def _ranged(self, name: str, decimals: int) -> str:
        if not self.known(f"{name}_p10"):
            return self.money(name, decimals)
        low, high = (self.figure(f"{name}_{end}", decimals) for end in ("p10", "p90"))
        return self.say("with_range", value=self.money(name, decimals), low=low, high=high)

    def money_note(self) -> str:
        """Currency, year, boundary and what the ranges hold."""
        programme = self.plan.programme
        return self.say("money_note", currency=programme.currency, year=str(programme.price_year))

    def water(self) -> Pairs:
        """Water and how surely it comes."""
        row, language = self.row, self.language
        used = self.say("m3_day", value=self.figure("volume_used_m3_day", 1))
        if self.known("volume_used_m3_day_p10"):
            ends = {
                end: self.figure(f"volume_used_m3_day_p{figures}", 1) for end, figures in (("low", 10), ("high", 90))
            }
            used = self.say("with_range", value=used, **ends)
        shares = (
            ("water_year", "supply_reliability"),
            ("water_worst", "supply_reliability_worst_month"),
            ("water_low_sun", "low_sun_reliability_worst_month"),
            ("water_short_days", "days_below_80pct"),
        )
        level = self.say("metres", value=number(float(row["design_pumping_level_m"]), language))
        if self.known("pumping_level_m_p10"):
            ends = {
                end: number(float(row[f"pumping_level_m_p{figures}"]), language)
                for end, figures in (("low", 10), ("high", 90))
            }
            level = self.say("with_range", value=level, **ends)
        return [
            [self.say("water_used"), used],
            *([self.say(key), self.share(name)] for key, name in shares if self.known(name)),
            [self.say("water_safe_rate"), self.say("m3_h", value=number(float(row["safe_rate_m3_h"]), language))],
            [self.say("water_level"), level],
        ]

    def in_inventory(self) -> dict[str, str]:
        """What the inventory says of each thing that is verified on site; empty where it says nothing."""
        found = {}
        for name, unit in IN_INVENTORY.items():
            value = self.row.get(name)
            if isinstance(value, (int, float)) and not math.isnan(float(value)):
                found[name] = f"{number(float(value), self.language)}{unit}"
            elif isinstance(value, str) and value:
                found[name] = self.code(f"sheets_{name}", name)
        if date := str(self.row.get("test_date", "")):
            found["test_date"] = date_text(shown(date, 24), self.language)
        return found

    def of_inventory(self, value: str) -> str:
        """The mark of what the inventory says."""
        return self.say("inventory_says", value=value) if value else ""

    def test(self) -> dict[str, Any] | None:
        """What a well to be tested first needs, and what that is worth; None for others."""
        row = self.row
        if row["decision"] != "test_first":
            return None
        lines = evidence(str(row["evidence_raise"]), self.language)
        if self.known("test_value"):
            worth = {"worth": self.money("test_value"), "cost": self.money("test_cost")}
            if self.known("test_rank"):
                lines.append(self.say("test_worth", rank=self.figure("test_rank"), **worth))
            else:
                lines.append(self.say("test_not_worth", **worth))
            lines.append(self.say("test_funded" if row["test_funded"] else "test_not_funded"))
        if row["switch_input"]:
            lines.append(self.say("test_switch", words=switch_words(row, self.language)))
        if self.known("cost_per_m3_p10_untested"):
            ends = [self.money(f"cost_per_m3_p{end}{kind}", 2) for kind in ("", "_untested") for end in (10, 90)]
            lines.append(
                self.say("test_ranges", **dict(zip(("low", "high", "low_now", "high_now"), ends, strict=True)))
            )
        return {"title": self.say("test_title"), "lines": lines or [self.say("test_any")]}


IN_INVENTORY = {
    "static_level_m": "\u00a0m",
    "depth_m": "\u00a0m",
    "casing_mm": "\u00a0mm",
    "casing_stickup_m": "\u00a0m",
    "tested_yield_m3_h": "\u00a0m³/h",
    "pumping_level_m": "\u00a0m",
    "test_hours": "\u00a0h",
    "ec_us_cm": "\u00a0µS/cm",
    "ph": "",
    "iron_mg_l": "\u00a0mg/L",
    "fluoride_mg_l": "\u00a0mg/L",
    "arsenic_mg_l": "\u00a0mg/L",
    "nitrate_mg_l": "\u00a0mg/L",
    "chloride_mg_l": "\u00a0mg/L",
    "sand_mg_l": "\u00a0mg/L",
    "water_temperature_c": "\u00a0°C",
    "people": "",
    "livestock_tlu": "",
    "equipped_with": "",
    "status": "",
}


def evidence(english: str, language: str) -> list[str]:
    """Sentences of kind evidence that a column has in English, in a language, in their order there."""
    known = texts()
    keys = [key for key, (kind, words) in known.items() if kind == "evidence" and words in english]
    keys.sort(key=lambda key: english.index(known[key][1]))
    return [texts(language)[key][1] for key in keys] or ([english] if english else [])


def switch_words(row: pd.Series, language: str) -> str:
    """What would change the decision, as the run says it, in a language."""
    if not row["switch_to"] or language == "en":
        return shown(row["switch_text"], 200)
    known, english = texts(language), texts()
    name, words = str(row["switch_input"]), str(row["switch_text"])
    side = next(
        (one for one in ("deeper", "shallower", "more", "less") if f" {english[f'switch_{one}'][1]} " in words), "more"
    )
    return say(
        "switch_sentence",
        language,
        input=known[f"switch_{name}"][1],
        side=known[f"switch_{side}"][1],
        value=number(float(row["switch_value"]), language),
        unit=known[f"switch_unit_{name}"][1],
        to=known[f"switch_to_{row['switch_to']}"][1],
    )
