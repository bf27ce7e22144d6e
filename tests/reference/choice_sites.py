"""Sites and small catalogues on which the engine's choice is judged: invented, and the same at every run.

The first 160 spread over what a district has (heads, yields, casings, sands, warm water as in the demo and wider); the
others each push one thing to its end. Every site gets its own few pumps of the generic catalogue, pipes, cables,
modules and tanks around what it needs, so that all designs can be enumerated.
"""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from planner.catalogue.arrays import CENTRIFUGAL, HELICAL, SURFACE
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.plan import LoadedPlan, Plan
from tests.reference import slow_sun
from tests.reference.slow_model import Case
from tests.reference.slow_set import Site, Stock

COUNT = 320
# Latitude, clearness of the year, seasonal part of the clearness, air (°C), wind (m/s). Invented.
CLIMATES = (
    (-12.0, 0.58, 0.06, 25.0, 3.0),
    (9.0, 0.50, 0.08, 28.0, 2.0),
    (2.0, 0.42, 0.03, 26.0, 1.5),
    (-25.0, 0.62, 0.04, 20.0, 3.5),
    (33.0, 0.60, 0.08, 19.0, 3.0),
    (15.0, 0.66, 0.04, 30.0, 4.0),
    (-18.0, 0.54, 0.08, 22.0, 2.5),
    (-33.0, 0.55, 0.06, 15.0, 3.0),
    (22.0, 0.70, 0.02, 40.0, 3.0),
    (-4.0, 0.35, 0.03, 24.0, 1.0),
    (28.0, 0.48, 0.10, 24.0, 2.0),
    (40.0, 0.50, 0.08, 15.0, 3.0),
)
SOILING = (0.02, 0.02, 0.02, 0.03, 0.04, 0.05, 0.05, 0.06, 0.06, 0.05, 0.03, 0.02)
SEASON = (0.85, 0.85, 0.90, 0.95, 1.0, 1.0, 1.05, 1.10, 1.15, 1.15, 1.10, 0.90)


class Lists(NamedTuple):
    """Places in the generic catalogue of what may be chosen at a site, ascending."""

    pumps: list[int]
    risers: list[int]
    deliveries: list[int]
    cables: list[int]
    modules: list[int]
    tanks: list[int]


class Trial(NamedTuple):
    site: Site
    lists: Lists


@cache
def catalogue() -> Catalogue:
    """The generic catalogue under a plan of defaults."""
    plan = Plan.model_validate({"inventory": {"file": "none.csv"}})
    return load_catalogue(LoadedPlan(plan, Path("none.toml"), {}, {}))


def stock_of(lists: Lists) -> Stock:
    """The tables with only what is listed; drives whole, since pumps name theirs by place."""
    c = catalogue()

    def few(table: Any, places: list[int]) -> Any:
        return table._replace(**{name: values[places] for name, values in table._asdict().items()})

    return Stock(
        few(c.pumps, lists.pumps),
        c.drives,
        few(c.modules, lists.modules),
        few(c.risers, lists.risers),
        few(c.deliveries, lists.deliveries),
        few(c.cables, lists.cables),
        few(c.tanks, lists.tanks),
        c.prices,
        c.lives,
    )


@cache
def sun(number: int, soiled: bool = True) -> Case:
    """A climate of CLIMATES on modules tilted towards the equator."""
    latitude, clearness, season, air, wind = CLIMATES[number]
    turn = 1 if latitude < 0 else -1  # clear in the dry winter
    months = np.arange(12)
    share = clearness + turn * season * np.cos(2 * np.pi * (months - 6.5) / 12)
    first = np.cumsum([0, *slow_sun.DAYS[:-1]])
    outside = [
        np.mean([slow_sun.extraterrestrial_kwh_m2_day(latitude, first[m] + d + 1) for d in range(slow_sun.DAYS[m])])
        for m in months
    ]
    swing = min(abs(latitude) / 6, 7.0)
    warmth = air + turn * swing * np.cos(2 * np.pi * (months - 0.5) / 12)
    return Case(
        latitude_deg=latitude,
        ghi_kwh_m2_day=tuple(float(x) for x in share * outside),
        air_temperature_c=tuple(float(x) for x in warmth),
        wind_m_s=(wind,) * 12,
        tilt_deg=max(10.0, 5.0 * round(abs(latitude) / 5)),
        azimuth_deg=180.0 if latitude >= 0 else 0.0,
        tropical=abs(latitude) <= 23.45,
        soiling=SOILING if soiled else (0.03,) * 12,
        other_losses=0.05,
        wiring_loss=0.02,
    )


def plain_site(head: float, demand: float, climate: int = 0, **changes: Any) -> Site:
    """An ordinary well: the safe rate gives the demand in three hours, drawdown a tenth of the depth."""
    rate = changes.pop("rate", demand / 3)
    drop = changes.pop("drop", 0.1 * head)  # drawdown at the safe rate, m
    loss = changes.pop("loss", 0.2)  # share of it that is well loss
    season = changes.pop("season", (1.0,) * 12)
    swing = changes.pop("swing", 2.0)
    daily = 24 * max(rate, 1e-6)
    case = sun(climate)
    level = head - swing / 2 + swing / 2 * np.cos(2 * np.pi * (np.arange(12) - 10) / 12)
    base: dict[str, Any] = {
        "name": "",
        "sun": case,
        "rest_m": tuple(float(x) for x in level),
        "rest_rule_m": float(level.max() + 1),
        "b_d_m2": (1 - loss) * drop / daily,
        "b_rule_d_m2": 1.15 * (1 - loss) * drop / daily,
        "c_d2_m5": loss * drop / daily**2,
        "memory_d_m2": 0.03,
        "share_rate_m3_h": rate,
        "safe_volume_m3_day": 10 * rate,
        "level_limit_m": head + 2.5 * drop + 8,
        "deepest_intake_m": head + 2.5 * drop + 12,
        "lift_m": 6.0,
        "pipe_length_m": 50.0,
        "casing_mm": 150.0,
        "water_c": 25.0,
        "sand_mg_l": math.nan,
        "corrosive": False,
        "elevation_m": 850.0,
        "record_low_c": min(case.air_temperature_c) - 15,
        "demand_m3_day": tuple(demand * s for s in season),
        "low_sun": 0.95,
        "growth": 0.0,
        "road_km": 54.0,
        "taps": float(max(1, round(demand / 4))),
        "storage_share": 0.8,
    }
    return Site(**(base | changes))


def trials(count: int = COUNT) -> list[Trial]:
    """The first `count` of the 320 sites with their small catalogues."""
    dice = np.random.default_rng(20_26)
    made = [_district(i, dice) for i in range(COUNT // 2)] + [_extreme(i, dice) for i in range(COUNT // 2)]
    return [Trial(site, lists_for(site, number)) for number, site in enumerate(made[:count])]


def _district(i: int, dice: np.random.Generator) -> Site:
    """What a district has: 0…165 m, 0.8…56 m3/d, yields that limit two sites in three."""
    head = float(np.exp(dice.uniform(np.log(2), np.log(165))))
    demand = float(np.exp(dice.uniform(np.log(2), np.log(56))))
    plenty = float(np.exp(dice.uniform(np.log(0.04), np.log(0.6))))  # safe rate ÷ demand, 1/h
    return plain_site(
        head,
        demand,
        int(dice.integers(0, len(CLIMATES) - 3)),
        name=f"district {i}",
        rate=max(plenty * demand, 0.06),
        drop=float(head * dice.uniform(0.02, 0.3)),
        loss=float(dice.uniform(0, 0.5)),
        swing=float(dice.uniform(0, 5)),
        season=SEASON,
        memory_d_m2=float(np.exp(dice.uniform(np.log(0.002), np.log(0.3)))),
        casing_mm=float(dice.choice([100, 113, 125, 150, 203])),
        water_c=float(dice.uniform(22, 30)),
        sand_mg_l=float(dice.choice([math.nan, math.nan, 2, 7, 20, 43])),
        corrosive=bool(dice.random() < 0.15),
        elevation_m=float(dice.uniform(550, 1200)),
        pipe_length_m=float(dice.choice([20, 30, 80, 180, 400])),
        low_sun=float(dice.choice([0.90, 0.95, 1.0])),
        growth=float(dice.choice([0.0, 0.02])),
        road_km=float(dice.uniform(1, 90)),
        storage_share=float(dice.choice([0.8, 0.8, 0.65, 0.3])),
    )


# What is pushed to its end: (what, head m, demand m3/d, climate, changes). 40 in all, each with four more or less
# dry, wide and warm wells around it.
EXTREMES: tuple[tuple[str, float, float, int, dict[str, Any]], ...] = (
    ("head 1 m", 1.0, 20.0, 0, {}),
    ("head 1 m, much water", 1.0, 150.0, 1, {"casing_mm": 250.0}),
    ("head 240 m", 240.0, 5.0, 0, {}),
    ("head 240 m, much water", 240.0, 20.0, 5, {}),
    ("head 180 m", 180.0, 60.0, 3, {"casing_mm": 203.0}),
    ("0.2 m3/h", 40.0, 4.0, 0, {"rate": 0.2}),
    ("0.2 m3/h, deep", 120.0, 2.0, 6, {"rate": 0.2}),
    ("60 m3/h", 20.0, 300.0, 5, {"rate": 60.0, "casing_mm": 250.0}),
    ("60 m3/h, deeper", 60.0, 200.0, 0, {"rate": 60.0, "casing_mm": 250.0}),
    ("sea level", 5.0, 40.0, 9, {"elevation_m": 0.0}),
    ("2500 m", 4.0, 40.0, 3, {"elevation_m": 2500.0}),
    ("2500 m, deep", 80.0, 15.0, 6, {"elevation_m": 2500.0}),
    ("cold", 50.0, 12.0, 7, {"water_c": 15.0}),
    ("hot", 50.0, 12.0, 8, {"water_c": 39.9}),
    ("hot, large motor", 70.0, 60.0, 8, {"water_c": 36.0, "casing_mm": 203.0}),
    ("warm, tight casing", 60.0, 10.0, 8, {"water_c": 33.0, "casing_mm": 113.0}),
    ("grows", 30.0, 15.0, 1, {"growth": 0.02}),
    ("grows, limited", 30.0, 15.0, 1, {"growth": 0.02, "rate": 1.2}),
    ("season", 45.0, 10.0, 4, {"season": (0.4, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 1.8, 1.3, 0.9, 0.7, 0.5)}),
    ("no demand in the rains", 25.0, 30.0, 10, {"season": (1.5, 1.5, 1.2, 1.0, 1, 1, 0, 0, 0, 1.0, 1.5, 1.8)}),
    ("no memory", 55.0, 14.0, 2, {"memory_d_m2": 0.0}),
    ("much memory", 55.0, 14.0, 2, {"memory_d_m2": 0.9, "deepest_intake_m": 120.0, "level_limit_m": 110.0}),
    ("memory, shallow", 8.0, 14.0, 0, {"memory_d_m2": 0.8, "deepest_intake_m": 50.0, "level_limit_m": 45.0}),
    ("the well limits", 60.0, 20.0, 0, {"rate": 1.0}),
    ("the level limits", 60.0, 20.0, 3, {"level_limit_m": 63.5, "drop": 12.0}),
    ("the daily volume limits", 35.0, 25.0, 1, {"safe_volume_m3_day": 11.0}),
    ("undersized pumps", 50.0, 60.0, 0, {}),
    ("undersized pumps, shallow", 12.0, 90.0, 5, {}),
    ("the tank limits", 30.0, 90.0, 0, {"casing_mm": 203.0}),
    ("the tank limits, dull", 30.0, 60.0, 9, {"casing_mm": 203.0}),
    ("livestock", 40.0, 25.0, 10, {"storage_share": 0.3}),
    ("irrigation", 15.0, 80.0, 4, {"storage_share": 0.25, "casing_mm": 203.0}),
    ("surface", 2.5, 60.0, 5, {"deepest_intake_m": 9.0}),
    ("surface, long pipe", 3.0, 30.0, 0, {"pipe_length_m": 1200.0}),
    ("sand", 40.0, 15.0, 0, {"sand_mg_l": 48.0}),
    ("corrosive, deep", 150.0, 8.0, 6, {"corrosive": True}),
    ("far", 25.0, 6.0, 11, {"road_km": 405.0}),
    ("dull", 35.0, 12.0, 9, {"low_sun": 0.9}),
    ("clear", 35.0, 12.0, 8, {"low_sun": 1.0, "water_c": 30.0}),
    ("40° north", 35.0, 12.0, 11, {"low_sun": 0.9}),
)


def _extreme(i: int, dice: np.random.Generator) -> Site:
    what, head, demand, climate, changes = EXTREMES[i % len(EXTREMES)]
    turn = i // len(EXTREMES)  # 0 as listed; then three neighbours of it
    factor = (1.0, 0.8, 1.25, 0.6)[turn]
    site = plain_site(head, demand * factor, climate, **changes)
    if turn:
        site = dataclasses.replace(
            site,
            low_sun=float(dice.choice([0.90, 0.95, 1.0])) if "low_sun" not in changes else site.low_sun,
            growth=float(dice.choice([0.0, 0.02])) if "growth" not in changes else site.growth,
            memory_d_m2=site.memory_d_m2 * float(dice.uniform(0.3, 1.5)),
            pipe_length_m=site.pipe_length_m * float(dice.uniform(0.5, 3)),
            storage_share=float(dice.choice([0.8, 0.3])) if "tank" not in what else site.storage_share,
        )
    return dataclasses.replace(site, name=f"{what} ({turn})")


# ---------------------------------------------------------------------------------- small catalogues


def lists_for(site: Site, number: int) -> Lists:
    """Around what a site needs: 6 pumps, 3 risers, 2 delivery pipes, 2 cables, 1 or 2 modules, 3 tanks."""
    c = catalogue()
    scale = 0.12 if "undersized" in site.name else 1.0
    flow = scale * min(site.share_rate_m3_h, max(site.demand_m3_day) / 5.5)
    head = site.rest_rule_m + 24 * flow * site.b_rule_d_m2 + site.lift_m + 3
    pumps = _pumps(flow, head, 0.0 if number % 16 == 5 else site.casing_mm, site.sand_mg_l)
    motors = [float(c.pumps.motor_input_w[j]) for j in pumps]
    return Lists(
        pumps,
        _risers(flow, head),
        _nearest(c.deliveries.inside_mm, _bore_mm(flow, 0.9), range(c.deliveries.inside_mm.size), 2),
        _cables(motors, [float(c.drives.motor_voltage_v[c.pumps.drive[j]]) for j in pumps], site.rest_rule_m + 15),
        [[0], [1], [0, 2], [1, 2]][number % 4],
        _tanks(site),
    )


def _pumps(flow: float, head: float, casing_mm: float, sand_mg_l: float) -> list[int]:
    """The nearest in flow and head: surface pumps where suction may do, then helical rotors and centrifugal ones.

    Those that casing or sand rule out come last; casing 0: at this site the casing is not looked at.
    """
    p = catalogue().pumps
    swept = p.displacement_cm3 * 60e-6 * p.rated_speed_rpm
    best = np.where(p.family == HELICAL, swept, p.best_flow_m3_h)
    high = np.where(p.family == HELICAL, p.pressure_limit_pa / 9810 / 1.15, p.head_at_best_m)
    away = np.abs(np.log(best / flow)) + 0.7 * np.abs(np.log(high / max(head, 4)))
    away += np.where(high * np.where(p.family == HELICAL, 1, 1.25) < head, 3, 0)
    away += np.where((p.casing_min_mm > casing_mm) & (casing_mm > 0), 9, 0)
    away += np.where(p.sand_max_mg_l < np.nan_to_num(sand_mg_l), 9, 0)
    surface = 2 if head < 18 else 0
    counts = {SURFACE: surface, HELICAL: 3 - surface // 2, CENTRIFUGAL: 3 - surface // 2}
    chosen: list[int] = []
    for family, count in counts.items():
        places = np.flatnonzero(p.family == family)
        chosen += places[np.argsort(away[places], kind="stable")][:count].tolist()
    return sorted(chosen)


def _bore_mm(flow: float, velocity: float) -> float:
    return math.sqrt(flow / 3600 / velocity * 4 / math.pi) * 1000


def _nearest(values: Any, wanted: float, places: Any, count: int) -> list[int]:
    return sorted(sorted(places, key=lambda i: abs(math.log(values[i] / wanted)))[:count])


def _risers(flow: float, head: float) -> list[int]:
    """Two plastic pipes of the least class that stands the head, and a steel one."""
    r = catalogue().risers
    strong = [i for i in range(r.inside_mm.size) if r.pressure_pa[i] > 1.1 * 9810 * head * 1.1]
    plastic = [i for i in strong if r.material[i] == 0]
    steel = [i for i in strong if r.material[i] == 1]
    if plastic:
        least = min(float(r.pressure_pa[i]) for i in plastic)
        plastic = [i for i in plastic if r.pressure_pa[i] == least]
    found = _nearest(r.inside_mm, _bore_mm(flow, 1.2), plastic, 2 if head < 130 else 1)
    return sorted(found + _nearest(r.inside_mm, _bore_mm(flow, 1.2), steel, 3 - len(found)))


def _cables(motors: list[float], volts: list[float], length: float) -> list[int]:
    """The least that the easiest motor may have, and the least for the hardest; else one size more."""
    c = catalogue().cables
    needed = []
    for watts, volt in zip(motors, volts, strict=True):
        most = 0.03 * (volt * 0.85) ** 2 / (watts * length) / 1.12
        needed.append(next((i for i in range(c.mm2.size) if c.r20_ohm_m[i] <= most), c.mm2.size - 1))
    low, high = min(*needed, c.mm2.size - 2), max(needed)
    return [low, max(high, low + 1)]


def _tanks(site: Site) -> list[int]:
    """The first that is large enough, and two more; where the tank is to limit, three that are too small."""
    volumes = catalogue().tanks.volume_m3
    need = site.storage_share * min(max(site.demand_m3_day), site.safe_volume_m3_day)
    first = next((i for i in range(volumes.size) if volumes[i] >= need), volumes.size - 1)
    first = 0 if "tank limits" in site.name else min(first, volumes.size - 3)
    return [first, first + 1, first + 2]
