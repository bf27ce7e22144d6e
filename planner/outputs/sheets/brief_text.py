"""The sentences of the brief: what was asked, what is recommended, what could go wrong. Made of numbers of the run."""

from __future__ import annotations

from typing import Any

import pandas as pd

from planner.outputs.material import Material
from planner.outputs.sheets.safe_text import shown
from planner.texts import counted, decimal_text, money_text, percent_text, say, say_count, texts

SURE, UNSURE = 0.8, 0.5  # shares of the draws
WORST_SCENARIOS = 4


class Brief:
    """Sentences about a run in a language."""

    def __init__(self, material: Material, language: str) -> None:
        self.material, self.language = material, language
        self.plan, self.sites = material.plan.plan, material.sites
        self.currency = self.plan.programme.currency
        self.funded = self.sites[self.sites["funding"] == "funded"]
        self.equip = self.sites[self.sites["decision"] == "equip"]
        self.bought = self.funded if len(self.funded) else self.equip

    def money(self, value: float, decimals: int = 0) -> str:
        """An amount in the plan's currency."""
        return money_text(float(value), self.currency, self.language, decimals)

    def count(self, value: float) -> str:
        """A whole number."""
        return decimal_text(float(value), self.language)

    @property
    def budget(self) -> float | None:
        """The plan's own budget: that of the programme or the sum of its phases."""
        own = [float(step["budget"]) for step in self.material.about["budget_steps"] if step["own"]]
        return own[0] if own else self.plan.programme.budget

    def figures(self) -> list[list[str]]:
        """The five numbers of the programme, each with what it counts."""
        bought, language = self.bought, self.language
        if bought.empty:
            return []
        return [
            [self.count(len(bought)), say("brief_figure_sites", language)],
            [self.count(bought["people_served"].sum()), say("brief_figure_people", language)],
            [self.count(bought["volume_used_m3_day"].sum()), say("brief_figure_water", language)],
            [
                self.count(bought["capital_cost"].sum()),
                say("brief_figure_capital", language, currency=self.currency),
            ],
            [
                decimal_text(self.water_cost(bought), language, 2),
                say("brief_figure_cost", language, currency=self.currency),
            ],
        ]

    def decision(self) -> list[str]:
        """What was asked, what is recommended, what it costs and gives."""
        language, bought = self.language, self.bought
        if self.budget is None:
            asked = say_count("brief_asked_no_budget", len(self.sites), language)
        else:
            asked = say_count("brief_asked", len(self.sites), language, budget=self.money(self.budget))
        lines = [asked]
        if len(bought):
            key = "brief_recommended" if len(self.funded) else "brief_ranked"
            lines.append(say_count(key, len(bought), language, cost=self.money(bought["capital_cost"].sum())))
            water, years = bought["volume_used_m3_day"].sum(), str(self.plan.programme.price_year)
            lines.append(
                say(
                    "brief_gives",
                    language,
                    people=self.count(bought["people_served"].sum()),
                    water=self.count(water),
                    cost=self.money(self.water_cost(bought), 2),
                    year=years,
                )
            )
        else:
            lines.append(say("brief_nothing", language))
        reserve = int((self.sites["funding"] == "reserve").sum())
        if reserve:
            lines.append(say_count("brief_reserve", reserve, language))
        tests = self.sites[self.sites["decision"] == "test_first"]
        if len(tests):
            lines.append(say_count("brief_tests", len(tests), language))
            paid = tests[tests["test_funded"].astype(bool)]
            if len(paid):
                lines.append(
                    say_count("brief_tests_paid", len(paid), language, cost=self.money(paid["test_cost"].sum()))
                )
        lines.append(say("brief_condition", language))
        return lines

    def water_cost(self, sites: pd.DataFrame) -> float:
        """Cost of a m³ over all these sites: life-cycle costs over the water that they are spread on."""
        known = sites[sites["cost_per_m3"].notna() & sites["lifecycle_cost"].notna()]
        water = known["lifecycle_cost"] / known["cost_per_m3"]
        return float(known["lifecycle_cost"].sum() / water.sum()) if len(known) else float("nan")

    def risks(self) -> list[str]:
        """What could go wrong: ranges, funded probability, scenarios."""
        language, bought, lines = self.language, self.bought, []
        ranged = bought[bought["cost_per_m3_p10"].notna() & bought["cost_per_m3_p90"].notna()]
        if len(ranged):
            low, high = (ranged[f"cost_per_m3_{end}"] / ranged["cost_per_m3"] for end in ("p10", "p90"))
            ends = {"low": percent_text(low.median(), language), "high": percent_text(high.median(), language)}
            lines.append(say("brief_risk_cost", language, **ends))
            ratio = {end: ranged[f"volume_used_m3_day_{end}"] / ranged["volume_used_m3_day"] for end in ("p10", "p90")}
            ends = {
                "low": percent_text(ratio["p10"].median(), language),
                "high": percent_text(ratio["p90"].median(), language),
            }
            lines.append(say("brief_risk_water", language, **ends))
        else:
            lines.append(say("brief_risk_not_drawn", language))
        chance = self.funded["funded_probability"].dropna()
        if len(chance):
            sure, unsure = int((chance >= SURE).sum()), int((chance < UNSURE).sum())
            lines.append(say_count("brief_risk_sure", sure, language, all=self.count(len(self.funded))))
            if unsure:
                lines.append(say_count("brief_risk_unsure", unsure, language))
        failing = bought["failure_probability"].dropna()
        if len(failing):
            lines.append(say("brief_risk_failure", language, share=percent_text(failing.mean(), language)))
        return [*lines, *self._scenarios()]

    def _scenarios(self) -> list[str]:
        rows = self.material.scenarios[1 : 1 + WORST_SCENARIOS]
        return [
            counted(
                "brief_scenario",
                row["totals"]["funded"],
                name=shown(row["name"], 40),
                people=self.count(row["totals"]["funded_people_served"]),
                water=self.count(row["totals"]["funded_volume_used_m3_day"]),
            ).text(self.language)
            for row in rows
            if row.get("totals") and not row.get("clash") and row["totals"].get("funded")
        ]

    def assumptions(self) -> list[list[str]]:
        """The numbers of the plan that move the result most, each marked where it is the plan's default."""
        plan, language = self.plan, self.language
        share = {
            "programme.discount_rate": plan.programme.discount_rate,
            "demand.growth": plan.demand.growth,
            "demand.losses": plan.demand.losses,
            "equipment.reliability_worst_month": plan.equipment.reliability_worst_month,
            "equipment.minimum_coverage": plan.equipment.minimum_coverage,
            "costs.contingency": plan.costs.contingency,
            "costs.tax": plan.costs.tax,
        }
        whole = {
            "programme.horizon_years": plan.programme.horizon_years,
            "demand.norm_l_person_day": plan.demand.norm_l_person_day,
            "demand.design_year": plan.demand.design_year,
        }
        values = {key: percent_text(value, language) for key, value in share.items()}
        values |= {key: self.count(value) for key, value in whole.items()}
        known, defaults = texts(language), self.material.about["defaults_used"]
        lines = []
        for key in ASSUMPTIONS:
            words = values[key]
            if key in defaults:
                words = say("brief_default", language, value=words)
            lines.append([known["brief_plan_" + key.partition(".")[2]][1], words])
        prices = "brief_prices_own" if plan.equipment.prices else "brief_prices_built_in"
        return [*lines, [say("brief_plan_prices", language), say(prices, language)]]


ASSUMPTIONS = (
    "demand.norm_l_person_day",
    "demand.growth",
    "demand.design_year",
    "demand.losses",
    "equipment.reliability_worst_month",
    "equipment.minimum_coverage",
    "programme.discount_rate",
    "programme.horizon_years",
    "costs.contingency",
    "costs.tax",
)


def boundary_note(material: Material, language: str) -> str:
    """What every cost of the brief is of."""
    programme: Any = material.plan.plan.programme
    return say("brief_money_note", language, currency=programme.currency, year=str(programme.price_year))
