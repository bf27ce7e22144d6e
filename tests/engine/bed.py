"""A test bed for the engine: one invented well as a starting point, changed column by column.

Everything here is invented and only has to be ordinary. `one_site` gives a well at 12° south with 5.6 kWh/m2/d.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from hypothesis import strategies as st

from planner.catalogue.loader import Catalogue, load_catalogue
from planner.engine import assess as engine
from planner.engine.assess import Context, Results, Sites
from planner.engine.duty import Duty, Well, well_limits
from planner.engine.light import Light
from planner.engine.site import Record
from planner.plan import LoadedPlan, Plan

GHI = (5.0, 5.1, 5.3, 5.6, 5.5, 5.3, 5.5, 6.1, 6.5, 6.4, 5.8, 5.2)  # invented, kWh/m2/d
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def make_plan(**sections: dict[str, Any]) -> Plan:
    """A plan with the defaults but for the given sections."""
    return Plan.model_validate({"inventory": {"file": "none.csv"}, **sections})


def catalogue_of(plan: Plan) -> Catalogue:
    """The illustrative catalogue and price book, as far as the plan lets them in."""
    return load_catalogue(LoadedPlan(plan, Path("none.toml"), {}, {}))


def make_context(**sections: dict[str, Any]) -> Context:
    """Plan and catalogue of a run."""
    plan = make_plan(**sections)
    return engine.make_context(plan, catalogue_of(plan))


@cache
def family_context(family: str) -> Context:
    """The plain context with the pumps of one family only."""
    return make_context(equipment={"families": [family]})


@cache
def context() -> Context:
    """The plain context that most tests share."""
    return make_context()


def one_site(static_m: float = 40.0, demand_m3_day: float = 10.0, **columns: Any) -> Sites:
    """A well whose safe rate gives the demand in three hours and whose drawdown is a tenth of the depth."""
    day = 24.0 * demand_m3_day / 7.0  # the daily rate of a pump that runs seven hours
    values: dict[str, Any] = {
        "inventory_row": 1,
        "solar_latitude": -12.0,
        "tropical": True,
        "ghi": GHI,
        "diffuse": (np.nan,) * 12,
        "clearness_spread": (np.nan,) * 12,
        "air_temperature": (25.0,) * 12,
        "temperature_range": (10.0,) * 12,
        "wind": (3.0,) * 12,
        "solar_sizing_factor": 1.0,
        "storage_share": 0.8,
        "elevation_m": 1000.0,
        "rest_level": (static_m,) * 12,
        "rest_level_rule_m": static_m,
        "interference_m": 0.0,
        "drawdown_b_d_m2": 0.1 * static_m / day,
        "drawdown_b_rule_d_m2": 0.1 * static_m / day,
        "drawdown_c_d2_m5": 0.0,
        "memory_d_m2": 0.0,
        "share_rate_m3_h": demand_m3_day / 3.0,
        "safe_volume_m3_day": 3.3 * demand_m3_day,
        "level_limit_m": 1.5 * static_m + 5.0,
        "level_is_screen": False,
        "deepest_intake_m": 1.5 * static_m + 10.0,
        "tank_height_m": 5.0,
        "pipe_length_m": 30.0,
        "casing_used_mm": 200.0,
        "water_temperature_used_c": 25.0,
        "sand_mg_l": np.nan,
        "ph": 7.0,
        "chloride_mg_l": 10.0,
        "demand": (demand_m3_day,) * 12,
        "demand_growth": 0.0,
        "distance_km": 100.0,
        "people_counted": np.nan,
        "people_share": (1.0,) * 12,
        "existing_pump": -1,
        "existing_array_wp": np.nan,
        "existing_tilt_deg": np.nan,
    }
    unknown = set(columns) - set(values)
    assert not unknown, unknown
    values |= columns
    whole = ("inventory_row", "existing_pump")
    flags = ("level_is_screen", "tropical")
    return Sites(
        **{
            name: np.array([value], dtype="int64" if name in whole else "bool" if name in flags else "float64")
            for name, value in values.items()
        }
    )


def together(parts: list[Sites]) -> Sites:
    """Sites one below the other."""
    names = [field.name for field in dataclasses.fields(Sites)]
    return Sites(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


def row_of(sites: Sites, where: Context | None = None) -> dict[str, Any]:
    """The engine's results of the first site."""
    return dict(engine.assess(sites, where or context()).rows[0])


def rules_of(results: Results, row: int = 1) -> dict[str, str]:
    """What decided each family of a site."""
    return {rule.family: rule.rule for rule in results.rules if rule.inventory_row == row}


class Bench(NamedTuple):
    """A site made ready for the kernels."""

    site: Record
    light: Light
    context: Context
    well: Well

    def fit(self, pump: int) -> Duty:
        market = self.context.market
        drive = market.drives[market.pumps[pump]["drive"]]
        pipes = market.risers, market.deliveries, market.cables
        return fit_pump(market.pumps[pump], drive, *pipes, self.site, self.context.rules, self.well)


def bench(sites: Sites, where: Context | None = None) -> Bench:
    """The first site, its light at the tilt chosen for it, and its limits."""
    where = where or context()
    site = engine.site_record(sites, 0, where)
    climate, skies = sites.climate(0), where.skies()
    return Bench(site, skies.light(climate, skies.plane(climate, site, np.nan)), where, well_limits(site))


@st.composite
def random_sites(draw: st.DrawFn) -> Sites:
    """An ordinary well: 3 to 200 m deep, 2 to 80 m3/d wanted, plenty or too little water."""
    static = draw(st.floats(3.0, 200.0))
    demand = draw(st.floats(2.0, 80.0))
    rate = demand / draw(st.floats(2.5, 20.0))
    drawdown = draw(st.floats(0.02, 0.4)) * static / (24.0 * rate)  # B, from the drawdown at the safe rate
    season = np.cos(2.0 * np.pi * (np.arange(12) - draw(st.integers(0, 11))) / 12.0)
    return one_site(
        static,
        demand,
        share_rate_m3_h=rate,
        safe_volume_m3_day=10.0 * rate,
        rest_level=static - 1.5 * season,
        rest_level_rule_m=static + 1.5 + draw(st.floats(0.0, 5.0)),
        drawdown_b_d_m2=drawdown,
        drawdown_b_rule_d_m2=drawdown * draw(st.floats(1.0, 1.5)),
        drawdown_c_d2_m5=drawdown / (24.0 * rate) * draw(st.floats(0.0, 0.5)),
        memory_d_m2=drawdown * draw(st.floats(0.0, 2.0)),
        demand=demand * (1.0 + draw(st.floats(0.0, 0.3)) * season),
        demand_growth=draw(st.sampled_from([0.0, 0.02])),
        water_temperature_used_c=draw(st.floats(15.0, 29.0)),
        casing_used_mm=draw(st.sampled_from([100.0, 125.0, 150.0, 200.0])),
        ghi=np.array(GHI) * draw(st.floats(0.7, 1.15)),
    )
