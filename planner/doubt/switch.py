"""What would change the decision at a site: one input at a time over its range, P10 to P90.

The decision is whether a set can be built, whether it covers the plan's least share of the demand, whether its water
costs more than the dearest that the budget buys, and the family of its pump. An input's way to a change is measured in
half-widths: the input with the shortest way moves the decision most. A change of family counts only where nothing
weightier changes. Between the central value and the end of the range the place of the change is found by halving.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import FAMILIES
from planner.doubt.changed import brighter, changed
from planner.doubt.short_list import first_of, learn
from planner.engine.assess import Context, Sites, site_record
from planner.engine.design import no_designs
from planner.engine.light import Light
from planner.engine.redo import choose_again
from planner.engine.room import NO, Room, make_room
from planner.engine.site import Record, Records
from planner.engine.skies import Skies
from planner.engine.sun import DAYS
from planner.texts import Figure, said, say

Floats = NDArray[np.float64]

INPUTS = ("rest_level", "drawdown", "yield", "demand", "sun", "price")
UNITS = {"rest_level": "m", "drawdown": "m", "yield": "m3/h", "demand": "m3/day", "sun": "kWh/m2/day", "price": "%"}
PLACED = 1.0 / 64.0  # half-widths within which a change is placed
CLOSEST = 0.02  # half-widths within which two ways count as equal; the order of INPUTS then decides


@dataclass(frozen=True)
class Widths:
    """How wide the inputs of each site may be, P10 to P90, (n,); and central values to report, in the unit of UNITS.

    rest_half_width_m, sun_share  half-widths: m, share; the factors are × and ÷
    rest_level_m, yield_m3_h      central values as the inventory knows them
    ranked                        whether the site's cost is compared with that of the dearest funded one
    """

    rest_half_width_m: Floats
    drawdown_factor: Floats
    yield_factor: Floats
    demand_factor: Floats
    price_factor: Floats
    sun_share: Floats
    rest_level_m: Floats
    yield_m3_h: Floats
    ranked: NDArray[np.bool_]


class State(NamedTuple):
    """A decision: designable, covered, within the cost that is funded; the family's index, −1 for none."""

    built: bool
    covered: bool
    within: bool
    family: int


class Switch(NamedTuple):
    """Where one input changes the decision; way in half-widths, infinite where it does not within the range."""

    name: str
    way: float  # signed: − towards the low end
    value: float
    to: str
    swing: float  # highest over lowest cost per m3 over the range, less 1; infinite where an end has none


@dataclass
class Bench:
    """One site ready to be chosen again and again."""

    site: Record
    light: Light
    context: Context
    room: Room
    short: Records
    cutoff: float  # cost per m3 of the dearest funded site; NaN: not compared
    base: tuple[State, float] | None = None

    def central(self) -> tuple[State, float]:
        """The decision and the cost with every input at its central value."""
        if self.base is None:
            self.base = self._looked(self.site, self.light)
        return self.base

    def look(self, name: str, z: float, widths: dict[str, float]) -> tuple[State, float]:
        """The decision, and cost per m3 (infinite without a set), with an input z half-widths off its central value."""
        site, light = self.site, self.light
        share = self.context.plan.well.available_share
        if z == 0.0:
            return self.central()
        if name == "price":  # all prices alike: the same set, dearer or cheaper
            state, cost = self.central()
            cost *= widths[name] ** z
            return state._replace(within=self._within(cost)), cost
        if name == "sun":
            light = brighter(light, max(1.0 + z * widths[name], 0.05))
        elif name == "rest_level":
            site = changed(site, deeper_m=z * widths[name], available_share=share)
        elif name == "drawdown":
            site = changed(site, drawdown=widths[name] ** z, available_share=share)
        elif name == "yield":
            site = changed(site, well_yield=widths[name] ** z, available_share=share)
        else:
            site = changed(site, demand=widths[name] ** z, available_share=share)
        return self._looked(site, light)

    def _within(self, cost: float) -> bool:
        """Without a set there is no cost to compare."""
        return math.isnan(self.cutoff) or math.isinf(cost) or cost <= self.cutoff * (1.0 + 1e-9)

    def _looked(self, site: Record, light: Light) -> tuple[State, float]:
        best, context = no_designs(3), self.context
        choose_again(site, light, context.market, context.rules, self.short, best, self.room, NO)
        design = first_of(best)
        if design is None:
            return State(False, False, True, -1), math.inf
        coverage = design.used_m3_year / float(DAYS @ np.asarray(site["demand_m3_day"]))
        cost, family = float(design.cost_per_m3), int(context.market.pumps[design.pump]["family"])
        least = context.plan.equipment.minimum_coverage
        return State(True, bool(coverage >= least), self._within(cost), family), cost


def switches(sites: Sites, widths: Widths, context: Context, cutoff: float) -> list[dict[str, object]]:
    """The columns switch_… of every site of a chunk, with `inventory_row`. None of them has a set that stands.

    cutoff  cost per m3 of the dearest funded site, NaN without a budget
    """
    skies, room = context.skies(), make_room(context.market)
    return [_one(sites, i, widths, context, cutoff, skies, room) for i in range(sites.inventory_row.size)]


def _one(
    sites: Sites, i: int, widths: Widths, context: Context, cutoff: float, skies: Skies, room: Room
) -> dict[str, object]:
    site, climate = site_record(sites, i, context), sites.climate(i)
    light = skies.light(climate, skies.plane(climate, site, np.nan))
    of = {
        "rest_level": float(widths.rest_half_width_m[i]),
        "drawdown": float(widths.drawdown_factor[i]),
        "yield": float(widths.yield_factor[i]),
        "demand": float(widths.demand_factor[i]),
        "sun": float(widths.sun_share[i]),
        "price": float(widths.price_factor[i]),
    }
    hard = {"deeper_m": of["rest_level"], "drawdown": of["drawdown"]}
    easy = {"deeper_m": -of["rest_level"], "drawdown": 1.0 / of["drawdown"]}
    points = [
        site,
        changed(site, well_yield=1.0 / of["yield"], demand=of["demand"], **hard),
        changed(site, well_yield=of["yield"], demand=1.0 / of["demand"], **easy),
    ]
    learnt = learn(points, light, context.market, context.rules, room)
    bench = Bench(site, light, context, room, learnt.short, cutoff if widths.ranked[i] else math.nan)
    found: list[Switch] = []
    for name in INPUTS:
        nearest = first_switch(found)
        found.append(one_input(bench.look, name, of, _value(name, i, widths, sites, site, of), nearest))
    return {"inventory_row": int(sites.inventory_row[i]), **columns_of(found)}


def _value(
    name: str, i: int, widths: Widths, sites: Sites, site: Record, of: dict[str, float]
) -> Callable[[float], float]:
    """An input as people know it, from its place in half-widths."""
    day = 24.0 * float(site["share_rate_m3_h"])
    drawdown = float(site["b_d_m2"]) * day
    central = {
        "drawdown": drawdown,
        "yield": float(widths.yield_m3_h[i]),
        "demand": float(DAYS @ np.asarray(site["demand_m3_day"]) / 365.0),
        "price": 100.0,
    }
    if name == "rest_level":
        return lambda z: float(widths.rest_level_m[i]) + z * of[name]
    if name == "sun":
        return lambda z: float(sites.ghi[i] @ DAYS / DAYS.sum()) * (1.0 + z * of[name])
    return lambda z: central[name] * of[name] ** z


def one_input(
    look: Callable[[str, float, dict[str, float]], tuple[State, float]],
    name: str,
    widths: dict[str, float],
    value: Callable[[float], float],
    nearest: Switch | None = None,
) -> Switch:
    """Where an input changes the decision first, on either side of its central value.

    nearest  the switch of another input; a change that is less weighty, or no nearer, is not placed
    """
    base, cost = look(name, 0.0, widths)
    costs, best = [cost], Switch(name, math.inf, math.nan, "", 0.0)
    if widths[name] == (0.0 if name in ("rest_level", "sun") else 1.0):
        return best
    for side in (-1.0, 1.0):
        end = side
        if name == "rest_level" and value(end) < 0.0:  # no further up than the ground
            end = -max(value(0.0), 0.0) / widths[name]
            if end == 0.0:
                continue
        there, cost = look(name, end, widths)
        costs.append(cost)
        if there == base:
            continue
        kind, far = change_of(base, there), end
        if nearest is not None:
            if weight_of(kind) > weight_of(nearest.to):
                continue
            if weight_of(kind) == weight_of(nearest.to):
                far = end * abs(nearest.way)
                state, _ = look(name, far, widths)
                kind = change_of(base, state)
                if not kind or weight_of(kind) > weight_of(nearest.to):
                    continue
        near, to = 0.0, kind
        while abs(far - near) > PLACED:
            middle = 0.5 * (near + far)
            state, _ = look(name, middle, widths)
            if change_of(base, state)[:1] and weight_of(change_of(base, state)) <= weight_of(kind):
                far, to = middle, change_of(base, state)
            else:
                near = middle
        if (weight_of(to), abs(far)) < (weight_of(best.to), abs(best.way)):
            best = Switch(name, far, value(far), to, 0.0)
    lowest = min(costs)
    swing = math.inf if not math.isfinite(max(costs)) else max(costs) / lowest - 1.0
    return best._replace(swing=0.0 if not math.isfinite(lowest) else swing)


def change_of(base: State, there: State) -> str:
    """What a decision changes to, the weightiest first; "" where it is the same."""
    if base.built != there.built:
        return "designable" if there.built else "no_design"
    if base.covered != there.covered:
        return "above_minimum_coverage" if there.covered else "below_minimum_coverage"
    if base.within != there.within:
        return "within_funded_cost" if there.within else "above_funded_cost"
    return FAMILIES[there.family] if base.family != there.family else ""


def weight_of(to: str) -> int:
    """0 a change of the decision, 1 of the family only, 2 none."""
    return 2 if not to else int(to in FAMILIES)


def first_switch(found: list[Switch]) -> Switch | None:
    """The weightiest change, then the shortest way; None where nothing changes."""
    there = [one for one in found if one.to]
    order = [(weight_of(one.to), round(abs(one.way) / CLOSEST), INPUTS.index(one.name)) for one in there]
    return there[order.index(min(order))] if there else None


def columns_of(found: list[Switch]) -> dict[str, object]:
    """The switch with the shortest way, in columns; without any, the input that moves the cost most."""
    first = first_switch(found)
    if first is not None:
        return {
            "switch_input": first.name,
            "switch_value": first.value,
            "switch_unit": UNITS[first.name],
            "switch_to": first.to,
            "switch_text": switch_text(first),
        }
    most = max(found, key=lambda one: one.swing)
    if most.swing <= 0.0:
        nothing = {"switch_input": "", "switch_value": math.nan, "switch_unit": "", "switch_to": ""}
        return {**nothing, "switch_text": say("switch_never")}
    return {
        "switch_input": most.name,
        "switch_value": math.nan,
        "switch_unit": "",
        "switch_to": "",
        "switch_text": say("switch_none", input=said(f"switch_{most.name}"), value=Figure(100.0 * most.swing, "")),
    }


def switch_text(one: Switch) -> str:
    """The switch in words: "rest level deeper than 41 m: no pump fits"."""
    side = "deeper" if one.name == "rest_level" else "more"
    if one.way < 0.0:
        side = "shallower" if one.name == "rest_level" else "less"
    return say(
        "switch_sentence",
        input=said(f"switch_{one.name}"),
        side=said(f"switch_{side}"),
        value=Figure(round(one.value, 1) if UNITS[one.name] == "m" else one.value, ""),
        unit=said(f"switch_unit_{one.name}"),
        to=said(f"switch_to_{one.to}"),
    )
