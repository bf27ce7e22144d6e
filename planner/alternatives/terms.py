"""What every way is held to: the same demand, horizon, discounting and boundary; prices and years as numbers.

Demand grows and money is discounted as for the solar set: volumes of year 1, the design year and the last, straight
lines between them (the weights of `engine.cost.present_volume`). Everything here is of the scheme boundary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.catalogue.loader import PriceRow
from planner.engine.assess import Context
from planner.engine.cost import present_volume
from planner.engine.sun import DAYS
from planner.glossary import monthly
from planner.physics.money import annuity_factor, discount_factor, replacement_factor, residual_factor
from planner.plan import Plan

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Terms:
    """Rules and prices that all sites share.

    first     capital with supervision, contingency and tax ÷ price
    annuity   present value of 1 a year
    """

    plan: Plan
    context: Context
    items: dict[str, PriceRow]
    first: float
    annuity: float

    @property
    def rate(self) -> float:
        """Real discount rate, 1/year."""
        return float(self.context.rules.discount_rate)

    @property
    def horizon_y(self) -> float:
        """Years counted."""
        return float(self.context.rules.horizon_y)

    def price(self, item: str) -> float:
        """Price of an item of the price book, plan currency."""
        return self.items[item].price

    def later(self, item: str, life_y: Floats | float) -> Floats:
        """Present value of an item's replacements less what is left of it at the horizon ÷ its price; life may vary.

        Nothing for what does not wear out (life 0).
        """
        life = np.asarray(life_y, dtype="float64")
        wears = life > 0.0
        with np.errstate(invalid="ignore"):
            value = np.asarray(replacement_factor(self.rate, np.where(wears, life, np.inf), self.horizon_y))
            if self.items[item].residual and self.context.rules.residual:
                left = residual_factor(self.rate, np.where(wears, life, np.inf), self.horizon_y)
                value = value - np.where(wears, left, 0.0)
        return np.where(wears, value, 0.0)

    def worth(self, item: str, count: Floats | float = 1.0, life_y: Floats | float | None = None) -> Floats:
        """Life-cycle cost of a number of an item: supervision, contingency and tax, replacements, residual."""
        life = self.items[item].life_y if life_y is None else life_y
        return np.asarray(count) * self.price(item) * (self.first + self.later(item, life))

    def weights(self, price_growth: float = 0.0) -> tuple[float, float, float]:
        """Present worth of one unit in year 1, the design year and the last, straight lines between them.

        price_growth  of the unit's price beyond inflation, 1/year
        """
        rules = self.context.rules.copy()
        rules.discount_rate = (1.0 + self.rate) / (1.0 + price_growth) - 1.0
        ends = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        first, design, last = (float(present_volume(*end, rules)) for end in ends)
        return first, design, last


def terms_of(context: Context) -> Terms:
    """Rules and prices of a plan."""
    rules = context.rules
    return Terms(
        context.plan,
        context,
        {row.item: row for row in context.catalogue.price_rows},
        float((1.0 + context.market.prices.supervision_share) * (1.0 + rules.contingency) * (1.0 + rules.tax)),
        float(annuity_factor(rules.discount_rate, rules.horizon_y)),
    )


@dataclass(frozen=True)
class Wanted:
    """The demand of n sites.

    months  (3, n, 12) m3/d in year 1, the design year and the last, at the tank inlet
    """

    months: Floats

    @property
    def design(self) -> Floats:
        """(n, 12) of the design year, m3/d."""
        return np.asarray(self.months[1])


def wanted(sites: pd.DataFrame, terms: Terms) -> Wanted:
    """Demand by month of the years that count; it grows as for the solar set."""
    design = sites[monthly("demand")].to_numpy(dtype="float64")
    growth = 1.0 + sites["demand_growth"].to_numpy(dtype="float64")
    design_year = float(terms.context.rules.design_year)
    years = (1.0, design_year, terms.horizon_y)
    return Wanted(np.stack([design * (growth ** (year - design_year))[:, None] for year in years]))


def a_year(months: Floats) -> Floats:
    """m3 a year from m3/d by month, on the last axis."""
    return np.asarray(months @ DAYS)


def present(years: Floats, weights: tuple[float, float, float]) -> Floats:
    """Present value of amounts (3, n) in year 1, the design year and the last."""
    return np.asarray(weights @ years)


def coverage(given: Floats, demand: Floats, terms: Terms) -> tuple[Floats, NDArray[np.bool_]]:
    """Share of the year's demand that is met, and whether that keeps the rules of reliability of the solar sets.

    given, demand  (n, 12) m3/d
    """
    equipment = terms.plan.equipment
    with np.errstate(invalid="ignore", divide="ignore"):
        year = a_year(given) / a_year(demand)
        month = np.where(demand > 0.0, given / demand, 1.0).min(axis=1)
    met = (year >= equipment.reliability_year - 1e-9) & (month >= equipment.reliability_worst_month - 1e-9)
    return np.clip(year, 0.0, 1.0), met


def kept_first(rate: float, life_y: float, left: float, horizon_y: float) -> tuple[float, float]:
    """What follows on a thing that stands already with a share of its life left, ÷ its price.

    Returns the present value of its replacements (in years left × L, left × L + L … before the horizon) and that of
    what is left at the horizon, straight line, both as shares of the price.
    """
    at, last = left * life_y, left * life_y - life_y
    total = 0.0
    while at < horizon_y - 1e-9:
        total += float(discount_factor(rate, at))
        at, last = at + life_y, at
    age = horizon_y - last
    return total, max(1.0 - age / life_y, 0.0) * float(discount_factor(rate, horizon_y))
