"""Every design of a small catalogue at a site, one after the other, with nothing passed over.

The water of a design is that of the engine's kernels, its cost that of its bill, item by item (`cost.design_cost`); of
the search, its bounds and its prices nothing is used.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any, NamedTuple

import numpy as np

from planner.catalogue.arrays import CENTRIFUGAL, HELICAL, SURFACE
from planner.catalogue.loader import Catalogue
from planner.engine.assess import Context, Sites, make_context
from planner.engine.balance import storage_of, water_used
from planner.engine.cost import Market, design_cost, present_volume, rotor_stator_life_y
from planner.engine.curve import KNOTS
from planner.engine.design import DESIGN, TIE, string_window
from planner.engine.duty import (
    FITS,
    Rig,
    delivery_friction,
    fit_set,
    prospect_of,
    riser_friction,
)
from planner.engine.light import Light
from planner.engine.room import DEMAND, OTHER, OWN, Room, make_room
from planner.engine.site import Record, Records
from planner.engine.volume import open_year, year_curves
from planner.engine.weigh import running_hours_day, sleeve_needed, worn_out_slip
from planner.engine.well import Well, well_limits
from planner.physics.equation import kernel
from tests.engine import bed

LIMITED = 0.9  # of the most water: what competes where no design meets the demand


class Every(NamedTuple):
    """All designs that can be built, those that compete with their cost, and the most water of a year, m3."""

    designs: Records
    compete: Records
    most_m3: float


def every_design(site: Record, light: Light, market: Market, rules: Record) -> Every:
    """All designs, and those that compete: the ones that meet the demand, else those with nearly the most water."""
    room, well = make_room(market), well_limits(site)
    arrays = arrays_of(site, market, rules)
    sets = market.pumps.size * market.risers.size * market.deliveries.size * market.cables.size
    found = np.zeros(sets * market.tanks.size * sum(len(one) for one in arrays.values()) + 1, DESIGN)
    designs = found[: _run(site, light, market, rules, well, room, arrays, -1.0, found)].copy()
    most = float(designs["used_m3_year"].max(initial=0.0))
    compete = designs[designs["meets"] == 1]
    if compete.size == 0 and most > 0.0:
        compete = found[: _run(site, light, market, rules, well, room, arrays, LIMITED * most, found)].copy()
        compete = compete[compete["used_m3_year"] >= LIMITED * most]
    return Every(designs, compete, most)


def key_of(cost_per_m3: float) -> int:
    """Costs with the same key count as equal."""
    return round(math.log(cost_per_m3) / TIE)


def first_of(compete: Records) -> Record:
    """Least cost; of equal ones the smaller array, the first pump, the first module, the least cost to the bit."""
    return min(
        compete, key=lambda d: (key_of(d["cost_per_m3"]), d["array_wp"], d["pump"], d["module"], d["cost_per_m3"])
    )


def arrays_of(site: Record, market: Market, rules: Record) -> dict[tuple[int, int], list[float]]:
    """Rated power of the arrays of each drive and module, W, ascending."""
    found = {}
    for drive in range(market.drives.size):
        for w in range(market.modules.size):
            module = market.modules[w]
            fewest, most, rows = string_window(module, market.drives[drive], site.record_low_c, rules.hot_cell_c)
            watts = {s * p * float(module["rated_wp"]) for s in range(fewest, most + 1) for p in range(1, rows + 1)}
            found[drive, w] = sorted(watts)
    return found


def _run(
    site: Record, light: Light, market: Market, rules: Record, well: Well, room: Room,
    arrays: dict[tuple[int, int], list[float]], goal_m3: float, found: Records,
) -> int:  # fmt: skip
    count = 0
    for j in range(market.pumps.size):
        pump = market.pumps[j]
        most = (rules.ratio_max or market.drives[pump["drive"]]["ratio_max"]) * pump["drive_rating_w"]
        for w in range(market.modules.size):
            watts = np.array([one for one in arrays[int(pump["drive"]), w] if one <= most])
            count = _designs(j, w, watts, site, light, market, rules, well, room, goal_m3, found, count)
    return count


@kernel
def _designs(
    j: int, w: int, watts: Any, site: Record, light: Light, market: Market, rules: Record, well: Well, room: Room,
    goal_m3: float, found: Records, count: int,
) -> int:  # fmt: skip
    """All designs of a pump with arrays of a module into `found` from `count` on; with cost those that compete."""
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    prospect = prospect_of(pump, drive, site, rules, well, room.bare)
    if prospect.rule != FITS:
        return count
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    rig = Rig(pump, drive, site, rules, well, room.desk)
    slip = pump.slip_life_factor
    need = site.storage_share * min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    large = 0.0
    for k in range(market.tanks.size):
        large = max(large, market.tanks[k].volume_m3)
    aged = 1.0 - rules.ageing_year * rules.design_year
    for r in range(market.risers.size):
        for d in range(market.deliveries.size):
            for c in range(market.cables.size):
                riser_friction(market.risers[r], rules, well, room.desk)
                delivery_friction(market.deliveries[d], site, well, room.desk)
                duty = fit_set(
                    pump, drive, prospect, market.risers[r], market.deliveries[d], market.cables[c], site, rules,
                    well, room.desk,
                )  # fmt: skip
                if duty.rule != FITS:
                    continue
                curves, own = room.curves[DEMAND], room.curves[OWN]
                open_year(rig, duty, slip, room.fan)
                year_curves(rig, duty, room.fan, 1.0, curves)
                for tank in range(market.tanks.size):
                    volume = market.tanks[tank].volume_m3
                    if volume < need - 1e-9 and volume < large:
                        continue
                    storage = storage_of(site, volume)
                    for i in range(watts.size):
                        array_w = watts[i] * aged
                        _, share, month = water_used(
                            rig, duty, room.fan, light, w, array_w * site.low_sun, 1.0, curves, own, storage,
                            room.other, room.ledger,
                        )  # fmt: skip
                        used, _, _ = water_used(
                            rig, duty, room.fan, light, w, array_w, 1.0, curves, own, storage, room.year, room.ledger
                        )
                        sleeve, _ = sleeve_needed(pump, site, room.year)
                        if used <= 0.0 or sleeve < 0:
                            continue
                        one = found[count]
                        count += 1
                        one.pump, one.riser, one.delivery, one.cable, one.module = j, r, d, c, w
                        one.tank, one.sleeve, one.array_wp, one.used_m3_year = tank, sleeve, watts[i], used
                        one.meets = share >= rules.reliability_year and month >= rules.reliability_month
                        one.cost_per_m3, one.rotor_life_y = np.inf, np.inf
                        if (goal_m3 < 0.0 and one.meets) or (0.0 <= goal_m3 <= used):
                            _price(rig, duty, one, storage, site, light, market, rules, room)
                            year_curves(rig, duty, room.fan, 1.0, curves)
    return count


@kernel
def _price(
    rig: Rig,
    duty: Any,
    one: Record,
    storage: Any,
    site: Record,
    light: Light,
    market: Market,
    rules: Record,
    room: Room,
) -> None:
    """The cost of a design, whose design year lies in `room.year`, by its bill and the water of three years."""
    pump, own, w = rig.pump, room.curves[OWN], one.module
    year = rules.design_year
    if pump.family == HELICAL:
        limit = np.inf
        if one.meets:
            curves, worn = room.curves[OTHER], pump.slip_end_factor
            open_year(rig, duty, worn, room.worn)
            year_curves(rig, duty, room.worn, 1.0, curves)
            array_w = one.array_wp * (1.0 - rules.ageing_year * year)
            water_used(rig, duty, room.worn, light, w, array_w, 1.0, curves, own, storage, room.other, room.ledger)
            limit = worn_out_slip(pump, site, rules, room.year, room.other)
        one.rotor_life_y = rotor_stator_life_y(pump, site.sand_mg_l, running_hours_day(room.year), limit)
    first = last = 0.0
    for end in range(2):
        when = rules.horizon_y if end else 1.0
        grown = (1.0 + site.growth) ** (when - year)
        array_w = one.array_wp * (1.0 - rules.ageing_year * when)
        curves = room.curves[OTHER]
        year_curves(rig, duty, room.fan, grown, curves)
        used, _, _ = water_used(
            rig, duty, room.fan, light, w, array_w, grown, curves, own, storage, room.other, room.ledger
        )
        if end:
            last = used
        else:
            first = used
    one.lifecycle = design_cost(one, duty.intake_m, one.rotor_life_y, site, rules, market).lifecycle
    one.present_m3 = present_volume(first, one.used_m3_year, last, rules) * (1.0 - rules.losses)
    one.cost_per_m3 = one.lifecycle / one.present_m3


# Small catalogues and sites ---------------------------------------------------------------------------------------


def random_site(dice: np.random.Generator) -> Sites:
    """A well as in `bed.random_sites`, one in five shallow enough for suction, every third with too little water."""
    shallow = dice.random() < 0.25
    static = float(dice.uniform(1.0, 7.0) if shallow else np.exp(dice.uniform(np.log(5.0), np.log(180.0))))
    demand = float(np.exp(dice.uniform(np.log(2.0), np.log(70.0))))
    rate = demand / float(dice.choice([3.0, 4.0, 5.5, 8.0, 14.0]))
    b = float(dice.uniform(0.02, 0.35)) * static / (24.0 * rate)
    season = np.cos(2.0 * np.pi * (np.arange(12) - dice.integers(0, 12)) / 12.0)
    return bed.one_site(
        static,
        demand,
        share_rate_m3_h=rate,
        safe_volume_m3_day=10.0 * rate,
        rest_level=static - 0.5 * season,
        rest_level_rule_m=static + 0.5 + dice.uniform(0.0, 3.0),
        drawdown_b_d_m2=b,
        drawdown_b_rule_d_m2=b * dice.uniform(1.0, 1.4),
        drawdown_c_d2_m5=b / (24.0 * rate) * dice.uniform(0.0, 0.5),
        memory_d_m2=b * float(dice.choice([0.0, 0.3, 1.0, 2.0])),
        demand=demand * (1.0 + float(dice.choice([0.0, 0.2, 0.5, 0.95])) * season),
        demand_growth=float(dice.choice([0.0, 0.02, 0.035])),
        solar_sizing_factor=float(dice.choice([0.88, 0.95, 1.0])),
        storage_share=float(dice.choice([0.8, 0.8, 0.3, 0.25])),
        water_temperature_used_c=dice.uniform(15.0, 33.0),
        casing_used_mm=float(dice.choice([100.0, 125.0, 150.0, 200.0])),
        sand_mg_l=float(dice.choice([np.nan, 5.0, 20.0])),
        ph=float(dice.choice([7.0, 6.0])),
        pipe_length_m=float(dice.choice([20.0, 100.0, 600.0])),
        ghi=np.array(bed.GHI)
        * dice.uniform(0.6, 1.15)
        * (1.0 + dice.uniform(0.0, 0.35) * np.roll(season, dice.integers(12))),
        tropical=bool(dice.random() < 0.7),
    )


def small_context(sites: Sites, dice: np.random.Generator, pumps: int = 5, most_arrays: int = 8) -> Context:
    """A catalogue of a few parts around what a well needs, with at most so many arrays of a module for each drive."""
    c = bed.context().catalogue
    demand, rate = float(sites.demand[0].max()), float(sites.share_rate_m3_h[0])
    flow = min(rate, demand / 5.0)
    head = float(sites.rest_level_rule_m[0] + 24.0 * flow * sites.drawdown_b_rule_d_m2[0]) + 6.0
    bore = math.sqrt(flow / 3600.0 * 4.0 / math.pi) * 1000.0

    def near(values: Any, wanted: float, count: int, blur: float, places: Any = None) -> list[int]:
        order = np.arange(values.size) if places is None else np.asarray(places)
        away = np.abs(np.log(values[order] / wanted)) + blur * dice.random(order.size)
        return sorted(order[np.argsort(away, kind="stable")][:count].tolist())

    strong = np.flatnonzero(c.risers.pressure_pa > 1.1 * 9810.0 * head * dice.choice([0.8, 1.15]))
    watts = 9810.0 * flow / 3600.0 * head / 0.3
    ohms = 0.03 * 200.0**2 / (watts * (head + 10.0))  # what a cable of 3 % loss has, at an ordinary voltage
    need = float(sites.storage_share[0]) * min(demand, float(sites.safe_volume_m3_day[0]))
    small = {
        "pumps": _pumps(c, dice, flow, head, float(sites.casing_used_mm[0]), pumps),
        "risers": near(c.risers.inside_mm, bore / math.sqrt(1.2), 3, 0.6, strong),
        "deliveries": near(c.deliveries.inside_mm, bore / math.sqrt(0.9), 2, 0.5),
        "cables": near(c.cables.r20_ohm_m, ohms, 3, 2.0),
        "modules": sorted(dice.choice(len(c.module_ids), 2, replace=False).tolist()),
        "tanks": near(c.tanks.volume_m3, need * dice.choice([0.7, 1.6, 5.0]), 3, 0.8),
    }
    few = {name: _few(getattr(c, name), places) for name, places in small.items()}
    context = make_context(bed.make_plan(), dataclasses.replace(c, **few))
    for drive in context.market.drives:  # fewer strings, then shorter ones
        drive["isc_max_a"] = min(drive["isc_max_a"], dice.integers(1, 4) * few["modules"].isc_a.max() + 0.01)
        while any(_arrays(module, drive) > most_arrays for module in context.market.modules):
            drive["mpp_max_v"] *= 0.96
    return context


def _arrays(module: Record, drive: Record) -> int:
    """How many arrays a drive takes of a module in a mild climate."""
    fewest, most, rows = string_window(module, drive, 10.0, 70.0)
    return max(most - fewest + 1, 0) * rows


def _few(table: Any, places: list[int]) -> Any:
    return table._replace(**{name: values[places] for name, values in table._asdict().items()})


def _pumps(
    c: Catalogue, dice: np.random.Generator, flow: float, head: float, casing_mm: float, count: int
) -> list[int]:
    """Near in flow and head, of every family that may do, those that the casing rules out last."""
    p = c.pumps
    best = np.where(p.family == HELICAL, p.displacement_cm3 * 60e-6 * p.rated_speed_rpm, p.best_flow_m3_h)
    high = np.where(p.family == HELICAL, p.pressure_limit_pa / 9810.0 / 1.15, p.head_at_best_m)
    away = np.abs(np.log(best / (flow * dice.choice([0.7, 1.0, 1.5])))) + 0.7 * np.abs(np.log(high / head))
    away += np.where(high * np.where(p.family == HELICAL, 1.0, 1.25) < head, 3.0, 0.0)
    away += np.where(p.casing_min_mm > casing_mm, 9.0, 0.0) + 0.8 * dice.random(away.size)
    surface = 2 if head < 16.0 else 0
    chosen: list[int] = []
    for family, most in ((SURFACE, surface), (HELICAL, (count - surface + 1) // 2), (CENTRIFUGAL, count)):
        places = np.flatnonzero(p.family == family)
        chosen += places[np.argsort(away[places], kind="stable")][: min(most, count - len(chosen))].tolist()
    return sorted(chosen)
