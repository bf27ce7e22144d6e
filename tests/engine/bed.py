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
from numpy.typing import NDArray

from planner.catalogue.loader import Catalogue, load_catalogue
from planner.engine import assess as engine
from planner.engine.assess import Context, Results, Sites
from planner.engine.balance import storage_of, water_used
from planner.engine.choose import Choice, choose
from planner.engine.duty import FITS, Duty, Prospect, Rig, delivery_friction, fit_set, prospect_of, riser_friction
from planner.engine.light import Light
from planner.engine.reach import largest_parts
from planner.engine.report import Performance, perform
from planner.engine.room import DEMAND, OWN, Place, Room, make_room
from planner.engine.site import Record
from planner.engine.volume import open_year, year_curves
from planner.engine.well import Well, well_limits
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
        "road_km": 135.0,
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


class Fitted(NamedTuple):
    """A pump with pipes and cable in a well, with the room its kernels work in."""

    bench: Bench
    prospect: Prospect
    duty: Duty
    rig: Rig
    room: Room
    riser: int
    delivery: int
    cable: int

    def water(
        self, array_w: float, tank_m3: float = 1e9, module: int = 0, share: float = 1.0, wear: float = 0.0
    ) -> Water:
        """A year with so many watts, as old as they are; wear: slip ÷ new slip, 0 that of mid-life."""
        share, slip = 1.0, wear or self.rig.pump["slip_life_factor"]
        demand, own, storage = self.room.curves[DEMAND], self.room.curves[OWN], storage_of(self.bench.site, tank_m3)
        fan = self.room.fan
        open_year(self.rig, self.duty, slip, fan)
        year_curves(self.rig, self.duty, fan, share, demand)
        used, year, month = water_used(
            self.rig, self.duty, fan, self.bench.light, module, array_w, share, demand, own, storage, self.room.year,
            self.room.ledger,
        )  # fmt: skip
        record = self.room.year
        return Water(record.volume.copy(), record.hours.copy(), record.used.copy(), used, year, month)


class Water(NamedTuple):
    """Months (12): pumpable and used, m3 of the mean day, and running hours; the year, m3, and shares of the demand."""

    volume: NDArray[np.float64]
    hours: NDArray[np.float64]
    used: NDArray[np.float64]
    used_m3_year: float
    year: float
    month: float


class Bench(NamedTuple):
    """A site made ready for the kernels."""

    site: Record
    light: Light
    context: Context
    well: Well

    def prospect(self, pump: int, room: Room | None = None) -> Prospect:
        """What a pump can do whatever its pipes."""
        market = self.context.market
        drive, bare = market.drives[market.pumps[pump]["drive"]], (room or make_room(market)).bare
        return prospect_of(market.pumps[pump], drive, self.site, self.context.rules, self.well, bare)

    def fit(self, pump: int, riser: int = -1, delivery: int = -1, cable: int = -1) -> Fitted | None:
        """A pump with pipes and cable, −1 the widest that do; None where it does not fit."""
        market, rules, room = self.context.market, self.context.rules, make_room(self.context.market)
        prospect = self.prospect(pump, room)
        if prospect.rule != FITS:
            return None
        place = Place(self.site, self.light, market, rules, self.well, room.task)
        record, drive = market.pumps[pump], market.drives[market.pumps[pump]["drive"]]
        rig = Rig(record, drive, self.site, rules, self.well, room.desk)
        room.desk.flow[:] = room.bare.flow
        widest = largest_parts(prospect, rig, place, room)
        parts = tuple(int(a if a >= 0 else b) for a, b in zip((riser, delivery, cable), widest, strict=True))
        if min(parts) < 0:
            return None
        one, other, wire = market.risers[parts[0]], market.deliveries[parts[1]], market.cables[parts[2]]
        riser_friction(one, rules, self.well, room.desk)
        delivery_friction(other, self.site, self.well, room.desk)
        duty = fit_set(record, drive, prospect, one, other, wire, self.site, rules, self.well, room.desk)
        return Fitted(self, prospect, duty, rig, room, *parts) if duty.rule == FITS else None

    def choose(self) -> Choice:
        """The engine's choice."""
        market = self.context.market
        return choose(self.site, self.light, market, self.context.rules, make_room(market))

    def perform(self, design: Record) -> Performance:
        """What a design does."""
        market = self.context.market
        return perform(design, self.site, self.light, market, self.context.rules, make_room(market))


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
