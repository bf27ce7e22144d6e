"""Lots for tender: the funded sites (all sites to equip without a budget) in groups that hang together."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.choice.lots.assign import assign
from planner.choice.lots.graph import Neighbours, neighbours, plane_m
from planner.choice.lots.places import Around, Bases, Sites, driving_km, moved, places
from planner.choice.lots.problem import Answer, Problem, broken, values
from planner.choice.lots.record import CENTS, Made, lot_lines, lot_record, lot_table, numbered, whole_text
from planner.choice.lots.search import search
from planner.errors import Fault, PlanError
from planner.plan import LoadedPlan
from planner.plan.phases import money_of
from planner.plan.text import place_of, text_of
from planner.tables.step import Finding, Step
from planner.texts import Said, said

WRITES = ("lot", "lot_base_km")
MORE_LOTS = 3  # beyond the fewest that could be, where the plan leaves the number open
ROUNDING = 1e-4  # of a cent: 1.15 × 60 000 is 69 000
TURNS = 4  # of moving the places of lots to their middles


@dataclass(frozen=True)
class Grouping:
    """step: lot and lot_base_km, with findings; table: a row a lot (lots.csv), None where no lots are wanted or there
    is no site; record: for run.json; lines: the record in words."""

    step: Step
    table: pd.DataFrame | None = None
    record: dict[str, Any] | None = None
    lines: list[Said] = field(default_factory=list)


@dataclass(frozen=True)
class _Input:
    """The sites of the programme, in an order that does not depend on that of the inventory."""

    table: pd.DataFrame
    value: NDArray[np.int64]
    kind: NDArray[np.intp]
    sites: Sites
    around: Neighbours
    bases: Bases | None


def group(sites: pd.DataFrame, plan: LoadedPlan) -> Grouping:
    """Lots under the rules of [lots].

    sites  site_id, latitude, longitude, decision, funding, capital_cost, people_served, volume_used_m3_day, pump_id
           (pump_id_standard, where it is there, goes before), by inventory_row
    Raises PlanError that names the key where the rules that must be kept cannot be.
    """
    columns = pd.DataFrame({name: np.nan for name in WRITES}, index=sites.index, dtype="float64")
    rules = plan.plan.lots
    if not rules.wanted:
        return Grouping(Step(columns))
    given = _input(sites, plan)
    if not len(given.table):
        return Grouping(Step(columns), lines=[said("lots_said", text=said("lots_none"))])
    _look_at(given, plan)
    made = _made(given, plan)
    table, of_site, base_km = lot_table(made)
    columns.loc[given.table.index, "lot"] = of_site.astype("float64")
    columns.loc[given.table.index, "lot_base_km"] = base_km
    record = lot_record(made, table, plan)
    return Grouping(Step(columns, _findings(made, table)), table, record, lot_lines(record, made.around.how, plan))


def _input(sites: pd.DataFrame, plan: LoadedPlan) -> _Input:
    taken = sites["funding"] == "funded"
    if money_of(plan.plan.programme.budget, plan.plan.phase) is None:
        taken = sites["decision"] == "equip"
    taken &= sites["capital_cost"].notna() & sites["latitude"].notna() & sites["longitude"].notna()
    table = sites[taken]
    types = table["pump_id"].astype("str")
    if "pump_id_standard" in table.columns:
        types = table["pump_id_standard"].astype("str").where(table["pump_id_standard"].fillna("") != "", types)
    table = table.assign(pump_type=types, north=-table["latitude"])
    table = table.sort_values(["north", "longitude", "capital_cost", "pump_type", "site_id"], kind="stable")
    latitude, longitude = (table[name].to_numpy(dtype="float64") for name in ("latitude", "longitude"))
    xy = plane_m(latitude, longitude)
    value = np.maximum(np.rint(table["capital_cost"].to_numpy(dtype="float64") * CENTS), 1).astype(np.int64)
    kind = np.unique(table["pump_type"].to_numpy(dtype=object), return_inverse=True)[1].astype(np.intp)
    written = plan.plan.lots.bases
    bases = None
    if written:
        at = np.array(list(written.values()), dtype="float64")
        bases = Bases(tuple(written), at[:, 0], at[:, 1])
    where = Sites(latitude, longitude, xy, plan.plan.costs.detour)
    return _Input(table, value, kind, where, neighbours(xy), bases)


def _look_at(given: _Input, plan: LoadedPlan) -> None:
    """Raise PlanError for rules that no lots can keep, whatever they are."""
    rules, number, total = plan.plan.lots, len(given.table), int(given.value.sum())
    asked = rules.count or len(rules.bases)
    if asked > number:
        key = "count" if rules.count else "bases"
        raise PlanError([_fault(plan, key, f"{asked} lots of {number} sites", f"at most {number}")])
    dearest = int(np.argmax(given.value))
    if rules.value_max is not None and given.value[dearest] > rules.value_max * CENTS:
        row = given.table.iloc[dearest]
        found = f"{whole_text(rules.value_max)}, less than the site {row['site_id']!r} alone costs"
        raise PlanError([_fault(plan, "value_max", found, f"at least {whole_text(math.ceil(row['capital_cost']))}")])
    for key, most, all_of in (
        ("value_max", None if rules.value_max is None else rules.value_max * CENTS, total),
        ("sites_max", rules.sites_max, number),
    ):
        if rules.count and most is not None and rules.count * most < all_of:
            unit = CENTS if key == "value_max" else 1
            held = f"{rules.count} lots of at most {whole_text(most / unit)} for {whole_text(all_of / unit)} in all"
            least = f"at least {whole_text(math.ceil(all_of / unit / rules.count))}, or a higher count"
            raise PlanError([_fault(plan, key, held, least)])
    if given.bases is not None and rules.radius_max_km is not None:
        nearest = driving_km(given.sites, given.bases.latitude, given.bases.longitude).min(axis=1)
        far = int(np.argmax(nearest))
        if nearest[far] > rules.radius_max_km:
            beyond = int((nearest > rules.radius_max_km).sum())
            found = f"{rules.radius_max_km:g} km: {beyond} of {number} sites lie farther from every base"
            least = f"at least {math.ceil(nearest[far])} (site {given.table.iloc[far]['site_id']!r}), or another base"
            raise PlanError([_fault(plan, "radius_max_km", found, least)])


def _made(given: _Input, plan: LoadedPlan) -> Made:
    """The lots, with as few as can be where the plan leaves their number open."""
    rules, number = plan.plan.lots, len(given.table)
    least = len(rules.bases) or 1
    if rules.value_max is not None:
        least = max(least, math.ceil(int(given.value.sum()) / (rules.value_max * CENTS)))
    if rules.sites_max is not None:
        least = max(least, math.ceil(number / rules.sites_max))
    counts = [rules.count] if rules.count else range(least, min(least + MORE_LOTS, number) + 1)
    last, proven = "", True
    for count in counts:
        around = places(given.sites, given.bases, count, rules.radius_max_km)
        if around is None:
            last = f"{count} bases from which every site lies within {rules.radius_max_km} km"
            continue
        problem, answer = _turned(given, around, count, plan)
        if answer is not None and not broken(problem[0], answer.lot):
            return numbered(Made(given.table, given.sites, problem[0], problem[1], answer, given.bases))
        last, proven = f"{count} lots that hang together and keep the rules", proven and answer is None
    told = "there are no" if proven else "found no"
    limits = [key for key in ("radius_max_km", "value_max", "sites_max") if getattr(rules, key) is not None]
    key = limits[0] if limits else "count"
    tried = "" if rules.count else f", nor up to {MORE_LOTS} fewer"
    expected = " or ".join([*(f"a higher {one}" for one in limits), "more lots (count)"])
    raise PlanError([_fault(plan, key, f"{told} {last}{tried}", expected)])


def _turned(
    given: _Input, around: Around, count: int, plan: LoadedPlan
) -> tuple[tuple[Problem, Around], Answer | None]:
    """The lots; where they are not formed around bases of the plan, around their own middles, which search finds."""
    problem = _problem(given, around, count, plan)
    found = search(problem)
    for _ in range(TURNS):
        next_around = None if broken(problem, found.lot) else moved(given.sites, given.bases, around, found.lot)
        if next_around is None:
            break
        next_problem = _problem(given, next_around, count, plan)
        next_found = search(next_problem)
        worse = (next_found.excess, next_found.cost_km) >= (found.excess, found.cost_km)
        if worse or broken(next_problem, next_found.lot):
            break
        around, problem, found = next_around, next_problem, next_found
    return (problem, around), assign(problem, found)


def _problem(given: _Input, around: Around, count: int, plan: LoadedPlan) -> Problem:
    rules, total = plan.plan.lots, int(given.value.sum())
    mean, tolerance = total / count, rules.value_tolerance
    low = min(math.ceil(mean * (1 - tolerance) - ROUNDING), total // count)
    high = max(math.floor(mean * (1 + tolerance) + ROUNDING), -(-total // count))
    most = None if rules.value_max is None else math.floor(rules.value_max * CENTS)
    radius = rules.radius_max_km
    return Problem(
        around.distance_km,
        given.value,
        given.kind,
        rules.pump_type_km,
        given.around,
        low,
        high if most is None else min(high, most),
        value_max=most,
        sites_max=rules.sites_max,
        reach=None if radius is None else around.base_km <= radius,
    )


def _findings(made: Made, table: pd.DataFrame) -> list[Finding]:
    """Sites that are worth more than a balanced lot may be, and lots that are out of balance."""
    problem = made.problem
    limit = f"at most {whole_text(problem.high / CENTS)}"
    above = made.table[problem.value > problem.high].sort_index()
    findings = [
        Finding(int(row), str(name), "capital_cost", "site_above_lot", "info", whole_text(cost), limit)
        for row, name, cost in zip(above.index, above["site_id"], above["capital_cost"], strict=True)
    ]
    wanted = f"{whole_text(problem.low / CENTS)} to {whole_text(problem.high / CENTS)}"
    for one, value in enumerate(values(problem, made.answer.lot), start=1):
        if not problem.low <= value <= problem.high:
            told = f"lot {one}: {whole_text(value / CENTS)}"
            findings.append(Finding(0, "", "capital_cost", "lot_out_of_balance", "warning", told, wanted))
    return findings


def _fault(plan: LoadedPlan, key: str, found: str, expected: str) -> Fault:
    return Fault(str(plan.path), place_of(["lots", key], text_of(plan.path)), found, expected)
