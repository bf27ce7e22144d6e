"""The section [alternatives] of a plan: what solar pumping is held against."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from planner.plan.section import NotNegative, Positive, Section

Alternative = Literal["handpump", "diesel", "diesel_solar", "grid", "do_nothing"]
ALTERNATIVES: tuple[Alternative, ...] = ("handpump", "diesel", "diesel_solar", "grid", "do_nothing")


class Alternatives(Section):
    """Defaults are judgement. Prices of engines, lines, fuel and energy are items of the price book."""

    compare: tuple[Alternative, ...] = Field(ALTERNATIVES, description="what solar is compared with; [] for nothing")
    diesel_price_growth: float = Field(
        0.0, description="growth of the price of diesel beyond inflation, 1/year", ge=-0.2, le=0.2
    )
    grid_price_growth: float = Field(
        0.0, description="growth of the price of grid energy beyond inflation, 1/year", ge=-0.2, le=0.2
    )
    diesel_hours_day: Positive = Field(10.0, description="longest that an engine runs a day, h", le=24)
    grid_hours_day: Positive = Field(16.0, description="hours a day that the grid can be counted on, h", le=24)
    handpump_hours_day: Positive = Field(8.0, description="hours a day that people pump, h", le=24)
    generator_margin: float = Field(
        1.25, description="rating of a generator set ÷ what the pump takes: heat, height, starting", ge=1, le=5
    )
    generator_least_kw: Positive = Field(3.0, description="smallest generator set that is sold, kW")
    generator_life_hours: Positive = Field(
        12000.0, description="running hours that a generator set lasts, if its years in the price book end later"
    )
    supply_efficiency: float = Field(
        0.95, description="efficiency from generator or grid to the drive's terminals", gt=0, le=1
    )
    handpump_depth_m: Positive = Field(45.0, description="deepest pumping level of a common handpump, m")
    handpump_deep_m: Positive = Field(80.0, description="deepest pumping level of a deep-well handpump, m")
    handpumps_most: int = Field(
        4, description="most handpumps, each but the first on a new borehole, that stand in for one set", ge=1, le=50
    )
    handpump_left: float = Field(
        0.5, description="share of its life that a working handpump still has, where it is kept", ge=0, le=1
    )
    grid_co2_kg_kwh: NotNegative = Field(
        0.5, description="carbon dioxide of a kWh from the grid, kg: set your country's factor"
    )
