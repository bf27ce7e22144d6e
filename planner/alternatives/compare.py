"""The stage of a run: every way at every sized site, the cheapest of those that keep the rules, and their totals."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.alternatives.handpump import Handpumps, handpumps, kept
from planner.alternatives.powered import Duty, Way, diesel, diesel_solar, duty_of, grid
from planner.alternatives.terms import Floats, Terms, Wanted, a_year, terms_of, wanted
from planner.engine.assess import Context
from planner.glossary import glossary, monthly
from planner.physics.lifting import DIESEL_CO2_KG_L
from planner.run_table import Table
from planner.tables.step import Step, parts_of

_ALL = list(glossary())
WRITES: tuple[str, ...] = tuple(_ALL[_ALL.index("coverage_do_nothing") : _ALL.index("alternatives_missing") + 1])
READS: tuple[str, ...] = (
    *("row_kind", "status", "equipped_with", "grid_distance_m", "engine_status", "supply_limited", "module_id"),
    *("demand_growth", "storage_share", "safe_volume_m3_day", "share_rate_m3_h", "drawdown_b_d_m2", "drawdown_c_d2_m5"),
    *("road_km", "people_counted", "people_served", "supply_reliability", "volume_used_m3_day"),
    *("peak_flow_m3_h", "total_head_m", "wire_to_water", "array_wp", "tank_m3", "lifecycle_cost", "cost_per_m3"),
    *(name for stem in ("demand", "used", "rest_level", "people_share") for name in monthly(stem)),
)
WAYS = ("handpump", "diesel", "diesel_solar", "grid")
COST = {
    "handpump": "cost_handpumps_per_m3",
    "diesel": "cost_diesel_per_m3",
    "diesel_solar": "cost_diesel_solar_per_m3",
    "grid": "cost_grid_per_m3",
}
TOLD = (
    *("alternative_margin", "alternative_cheapest"),
    *("co2_diesel_t_year", "co2_avoided_t_year", "people_unserved_do_nothing"),
)
BOUNDARY = "whole scheme with its source of power; burning of fuel only for CO2; equip sites"


def take(table: Table, context: Context) -> None:
    """Join the columns of this stage to the table of a run."""
    started = time.perf_counter()
    sites = table.sites[list(READS)]
    parts = [compare(sites.iloc[rows], context) for rows in parts_of(len(sites))]
    columns = parts[0] if len(parts) == 1 else pd.concat(parts)
    table.take("alternatives", Step(columns, []), WRITES, time.perf_counter() - started)


def compare(sites: pd.DataFrame, context: Context) -> pd.DataFrame:
    """WRITES for every row, indexed as `sites`; empty in rows that were not sized and for ways not compared.

    sites  the table after sizing, with the columns READS
    """
    sites = sites[list(READS)]
    columns = {name: _empty(name, len(sites)) for name in WRITES}
    compared = set(context.plan.alternatives.compare)
    here = sites["engine_status"].isin(["designed", "no_design"]).to_numpy()
    if here.any() and compared:
        found = _of_sized(sites[here], terms_of(context))
        for name, values in found.items():
            columns[name][here] = values
    if compared:
        columns["alternatives_missing"][~here] = "all not_sized"
    if "do_nothing" in compared:
        _do_nothing(sites, columns, context)
    return pd.DataFrame(
        {
            name: pd.Series(values, index=sites.index).astype("str" if values.dtype == object else "float64")
            for name, values in columns.items()
        },
        index=sites.index,
    )


def _empty(name: str, rows: int) -> Any:
    return np.full(rows, "", dtype=object) if glossary()[name].dtype == "text" else np.full(rows, np.nan)


def _of_sized(sites: pd.DataFrame, terms: Terms) -> dict[str, Any]:
    compared = terms.plan.alternatives.compare
    demand = wanted(sites, terms)
    duty, pumps = duty_of(sites, terms), handpumps(sites, demand, terms)
    way: dict[str, Way] = {"handpump": pumps.all}
    way["diesel"], rated = diesel(duty, demand, terms)
    way["diesel_solar"] = diesel_solar(sites, duty, demand, terms)
    way["grid"] = grid(sites, duty, demand, terms)
    found: dict[str, Any] = {}
    if "handpump" in compared:
        found |= {
            "coverage_handpump": _where_known(pumps.one.coverage, pumps.one.cost_per_m3),
            "cost_handpump_per_m3": pumps.one.cost_per_m3,
            "handpumps_needed": pumps.needed,
            "cost_handpumps_per_m3": pumps.all.cost_per_m3,
        }
    for name in ("diesel", "diesel_solar", "grid"):
        if name in compared:
            cost = way[name].cost_per_m3
            found |= {COST[name]: cost, f"coverage_{name}": _where_known(way[name].coverage, cost)}
    fuel_t = DIESEL_CO2_KG_L / 1000.0
    if "diesel" in compared:
        found |= {"generator_kw": _where_known(rated, found[COST["diesel"]])}
        found |= {"diesel_l_year": _where_known(way["diesel"].energy, found[COST["diesel"]])}
        found |= {"co2_diesel_t_year": fuel_t * found["diesel_l_year"]}
        found |= {"co2_avoided_t_year": fuel_t * _fuel_for(sites, duty, way["diesel"], demand, terms)}
    if "diesel_solar" in compared:
        used = _where_known(way["diesel_solar"].energy, found[COST["diesel_solar"]])
        found |= {"co2_diesel_solar_t_year": fuel_t * used}
    if "grid" in compared:
        kwh = _where_known(way["grid"].energy, found[COST["grid"]])
        found |= {"co2_grid_t_year": terms.plan.alternatives.grid_co2_kg_kwh / 1000.0 * kwh}
    return found | _judged(sites, way, found, duty, pumps, terms)


def _where_known(values: Floats, cost: Floats) -> Floats:
    return np.where(np.isnan(cost), np.nan, values)


def _fuel_for(sites: pd.DataFrame, duty: Duty, way: Way, demand: Wanted, terms: Terms) -> Floats:
    """Fuel with which the diesel set would lift what the solar set's users take in the design year, L."""
    plan = terms.plan.alternatives
    lifted = np.minimum(demand.design, duty.longest(plan.diesel_hours_day)[:, None])
    with np.errstate(invalid="ignore", divide="ignore"):
        litres_m3 = way.energy / a_year(lifted)
    used = sites["volume_used_m3_day"].to_numpy(dtype="float64") * 365.0 / (1.0 - float(terms.context.rules.losses))
    return np.asarray(litres_m3 * used)


def _judged(
    sites: pd.DataFrame, way: dict[str, Way], found: dict[str, Any], duty: Duty, pumps: Handpumps, terms: Terms
) -> dict[str, Any]:
    """The cheapest way that keeps the rules, its margin, and why the others are not open or do not count."""
    n = len(sites)
    cost = np.full((len(WAYS), n), np.inf)
    missing = np.full(n, "", dtype=object)
    for number, name in enumerate(WAYS):
        if name not in terms.plan.alternatives.compare:
            continue
        price = found[COST[name]]
        counts = way[name].covers & np.isfinite(price) & ~_not_needed(name, sites)
        cost[number] = np.where(counts, price, np.inf)
        for reason, holds in _reasons(name, sites, price, way[name], duty, pumps):
            at = np.flatnonzero(holds)
            missing[at] = [f"{before};{name} {reason}" if before else f"{name} {reason}" for before in missing[at]]
    best, least = cost.argmin(axis=0), cost.min(axis=0)
    names = np.where(np.isfinite(least), np.array(WAYS, dtype=object)[best], "")
    solar = sites["cost_per_m3"].to_numpy(dtype="float64")
    equal = np.isfinite(least) & np.isfinite(solar) & (sites["supply_limited"] == "").to_numpy()
    margin = np.where(equal, least / np.where(equal, solar, 1.0) - 1.0, np.nan)
    return {"alternative_cheapest": names, "alternative_margin": margin, "alternatives_missing": missing}


def _reasons(name: str, sites: pd.DataFrame, price: Floats, way: Way, duty: Duty, pumps: Handpumps) -> Any:
    """Pairs of a reason and where it holds; no site has two of a way."""
    lacks = np.isnan(price)
    if name == "handpump":
        unknown = np.isnan(pumps.level_m)
        yield ("level_unknown", unknown)
        yield ("too_deep", ~unknown & np.isnan(pumps.flow_m3_h))
        yield ("too_many", ~np.isnan(pumps.flow_m3_h) & lacks)
    else:
        bare = np.isnan(duty.shared) | np.isnan(duty.power_kw)
        yield ("no_design", bare)
        if name == "grid":
            yield ("distance_unknown", ~bare & lacks)
    yield ("short", ~lacks & ~way.covers)
    yield ("not_needed", ~lacks & way.covers & _not_needed(name, sites))


def _not_needed(name: str, sites: pd.DataFrame) -> NDArray[np.bool_]:
    """A diesel set beside a solar set that meets the demand alone only adds to its cost: shown, never the cheapest."""
    return np.asarray((sites["supply_limited"] == "").to_numpy() & (name == "diesel_solar"))


def _do_nothing(sites: pd.DataFrame, columns: dict[str, Any], context: Context) -> None:
    """What stands there now: a handpump that works, or nothing; empty where what it gives is not known."""
    number = {name: sites[name].to_numpy(dtype="float64") for name in ("supply_reliability", "people_counted")}
    status, equipped = sites["status"], sites["equipped_with"]
    wells = (sites["row_kind"] == "site").to_numpy() & sites["demand_01"].notna().to_numpy()
    share = np.full(len(sites), np.nan)
    dead = status.isin(["dry", "abandoned", "needs_repair"]).to_numpy() | (equipped == "none").to_numpy()
    share[wells & dead] = 0.0
    stands = wells & kept(sites)
    served = np.where(share == 0.0, 0.0, np.nan)
    if stands.any():
        terms, some = terms_of(context), sites[stands]
        demand = wanted(some, terms)
        pumps = handpumps(some, demand, terms)
        share[stands] = pumps.one.coverage
        served[stands] = _people(some, demand, pumps, terms)
    installed = (sites["engine_status"] == "installed").to_numpy()
    share[installed] = number["supply_reliability"][installed]
    served[installed] = sites["people_served"].to_numpy(dtype="float64")[installed]
    columns["coverage_do_nothing"][:] = np.clip(share, 0.0, 1.0)
    columns["people_unserved_do_nothing"][:] = np.maximum(number["people_counted"] - served, 0.0)


def _people(sites: pd.DataFrame, demand: Wanted, pumps: Handpumps, terms: Terms) -> Floats:
    """People of today whose need a handpump meets in the worst month, counted as for the solar set."""
    need = demand.design * (1.0 - float(terms.context.rules.losses))
    given = np.minimum(need, pumps.day_m3[:, None]) * sites[monthly("people_share")].to_numpy(dtype="float64")
    worst = np.where(need > 0.0, given, np.inf).min(axis=1)
    met = 1000.0 * worst / terms.plan.demand.norm_l_person_day
    return np.asarray(np.minimum(sites["people_counted"].to_numpy(dtype="float64"), met))


def totals(sites: pd.DataFrame) -> dict[str, Any]:
    """What run.json says of the ways: sites by cheapest way, CO2 of the equip sites, people unserved."""
    equip = sites[[*TOLD]][(sites["decision"] == "equip") & sites["cost_per_m3"].notna()]
    margin = equip["alternative_margin"]
    cheapest = equip["alternative_cheapest"].where(margin < 0.0, "solar")[margin.notna()]
    return {
        "boundary": BOUNDARY,
        "sites": len(equip),
        "cheapest_on_equal_terms": {str(name): int(count) for name, count in sorted(cheapest.value_counts().items())},
        "solar_short_of_rules": int(margin.isna().sum()),
        "co2_diesel_t_year": round(float(equip["co2_diesel_t_year"].sum()), 3),
        "co2_avoided_t_year": round(float(equip["co2_avoided_t_year"].sum()), 3),
        "people_unserved_do_nothing": round(float(equip["people_unserved_do_nothing"].sum()), 1),
        "sites_without_people_unserved": int(equip["people_unserved_do_nothing"].isna().sum()),
    }
