"""The chosen pump on another source of power: a diesel set, the grid, or a diesel set beside the solar set.

Pump, motor, drive, riser, cable, delivery pipe, taps, wellhead, tests and transport are those of the chosen solar set,
at the same cost: its life-cycle cost, scheme, less the worth of its array and of its tank. The pump runs at its peak
flow against its total head, with the wire-to-water efficiency of its year, its drive fed through a supply panel. An
engine and the grid get the smallest tank that holds the storage share of the largest day, at most the solar set's. The
well's safe volume of a day limits all. Wear of a rotor is that of the solar set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner.alternatives.terms import Floats, Terms, Wanted, a_year, coverage, present
from planner.engine.site import Record
from planner.glossary import monthly
from planner.physics.lifting import electric_kw, generator_fuel_l_h


@dataclass(frozen=True)
class Duty:
    """The chosen pump at full power, (n,).

    flow_m3_h   its peak flow
    power_kw    that generator or meter gives
    safe_m3_day most that the well may give a day
    shared      life-cycle cost of all but array and tank
    array, tank worth of both; tank_alike that of the tank of an engine or the grid
    """

    flow_m3_h: Floats
    power_kw: Floats
    safe_m3_day: Floats
    shared: Floats
    array: Floats
    tank: Floats
    tank_alike: Floats

    def longest(self, hours_day: float) -> Floats:
        """Most that can be lifted a day in so many hours, m3 (n,)."""
        return np.minimum(self.flow_m3_h * hours_day, self.safe_m3_day)


@dataclass(frozen=True)
class Way:
    """What a way gives and costs, (n,); NaN where it is not possible.

    used_present_m3  at the tap
    energy           fuel, L/year, or kWh/year, in the design year
    """

    coverage: Floats
    covers: np.ndarray
    cost: Floats
    used_present_m3: Floats
    energy: Floats

    @property
    def cost_per_m3(self) -> Floats:
        """Life-cycle cost ÷ present volume used at the tap, whole scheme; NaN where it gives nothing."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(self.used_present_m3 > 0.0, self.cost / self.used_present_m3, np.nan)


def duty_of(sites: pd.DataFrame, terms: Terms) -> Duty:
    """The chosen pump of each site at full power; NaN where there is no design."""
    market, catalogue = terms.context.market, terms.context.catalogue
    flow = _numbers(sites, "peak_flow_m3_h")
    head, efficiency = _numbers(sites, "total_head_m"), _numbers(sites, "wire_to_water")
    with np.errstate(invalid="ignore"):  # missing stays missing
        power = electric_kw(flow, head, efficiency * terms.plan.alternatives.supply_efficiency)
    array = _numbers(sites, "array_wp") * _by_id(sites["module_id"], catalogue.module_ids, market.modules["worth"])
    tank_m3, most = _numbers(sites, "tank_m3"), sites[monthly("demand")].to_numpy(dtype="float64").max(axis=1)
    tank = _tank_worth(tank_m3, market.tanks)
    alike = _tank_worth(np.minimum(tank_m3, _numbers(sites, "storage_share") * most), market.tanks)
    return Duty(
        flow,
        np.asarray(power, dtype="float64"),
        _numbers(sites, "safe_volume_m3_day"),
        _numbers(sites, "lifecycle_cost") - array - tank,
        array,
        tank,
        np.minimum(alike, tank),
    )


def diesel(duty: Duty, demand: Wanted, terms: Terms) -> tuple[Way, Floats]:
    """The pump on a diesel set alone; also the rating of the set, kW."""
    plan = terms.plan.alternatives
    rated = generator_rating_kw(duty.power_kw, terms)
    lifted = np.minimum(demand.months, duty.longest(plan.diesel_hours_day)[None, :, None])
    engine, fuel = _engine(duty, rated, a_year(lifted), terms)
    share, covers = coverage(lifted[1], demand.design, terms)
    return Way(share, covers, duty.shared + duty.tank_alike + engine, _tap(lifted, terms), fuel), rated


def diesel_solar(sites: pd.DataFrame, duty: Duty, demand: Wanted, terms: Terms) -> Way:
    """The chosen solar set as it is, with the smallest diesel set that runs its pump for what it leaves unmet.

    The share of a month's demand that the solar set leaves unmet is that of the design year, in all years.
    """
    losses = float(terms.context.rules.losses)
    used = sites[monthly("used")].to_numpy(dtype="float64") / (1.0 - losses)
    with np.errstate(invalid="ignore", divide="ignore"):
        met = np.where(demand.design > 0.0, np.minimum(used / demand.design, 1.0), 1.0)
    solar = met[None] * demand.months
    room = np.maximum(duty.safe_m3_day[:, None] - solar, 0.0)
    most = np.minimum(room, (duty.flow_m3_h * terms.plan.alternatives.diesel_hours_day)[:, None])
    lifted = np.minimum(demand.months - solar, most)
    rated = generator_rating_kw(duty.power_kw, terms)
    engine, fuel = _engine(duty, rated, a_year(lifted), terms)
    given = solar + lifted
    share, covers = coverage(given[1], demand.design, terms)
    return Way(share, covers, duty.shared + duty.array + duty.tank + engine, _tap(given, terms), fuel)


def grid(sites: pd.DataFrame, duty: Duty, demand: Wanted, terms: Terms) -> Way:
    """The pump on a line built to it; where the grid stands at the site already, neither line nor connection."""
    plan = terms.plan.alternatives
    there = (sites["equipped_with"] == "grid").to_numpy()
    distance_km = np.where(there, 0.0, _numbers(sites, "grid_distance_m") / 1000.0)
    lifted = np.minimum(demand.months, duty.longest(plan.grid_hours_day)[None, :, None])
    kwh = a_year(lifted) * duty.power_kw / duty.flow_m3_h
    cost = duty.shared + duty.tank_alike + _installed("ac_supply_panel", 1.0, terms)
    cost = cost + terms.worth("grid_line_km", distance_km) + np.where(there, 0.0, terms.worth("grid_connection"))
    cost = cost + terms.annuity * terms.price("grid_standing_year")
    cost = cost + terms.price("grid_energy_kwh") * present(kwh, terms.weights(plan.grid_price_growth))
    share, covers = coverage(lifted[1], demand.design, terms)
    return Way(share, covers, cost, _tap(lifted, terms), kwh[1])


def generator_rating_kw(power_kw: Floats, terms: Terms) -> Floats:
    """Rating of the smallest set that runs a pump, kW."""
    plan = terms.plan.alternatives
    return np.maximum(power_kw * plan.generator_margin, plan.generator_least_kw)


def generator_life_y(hours_year: Floats, terms: Terms) -> Floats:
    """Years that a set lasts: by its hours, at most those of the price book, at least one."""
    with np.errstate(divide="ignore", invalid="ignore"):
        by_hours = terms.plan.alternatives.generator_life_hours / hours_year
    return np.clip(by_hours, 1.0, terms.items["generator_set"].life_y)


def _engine(duty: Duty, rated_kw: Floats, lifted_m3_year: Floats, terms: Terms) -> tuple[Floats, Floats]:
    """Life-cycle cost of a diesel set that lifts volumes (3, n) a year, and its fuel in the design year, L."""
    fuel_l_m3 = np.asarray(generator_fuel_l_h(rated_kw, duty.power_kw)) / duty.flow_m3_h
    hours = lifted_m3_year / duty.flow_m3_h
    life = generator_life_y(hours[1], terms)
    cost = _installed("generator_set", 1.0, terms, life) + _installed("generator_kw", rated_kw, terms, life)
    cost = cost + _installed("ac_supply_panel", 1.0, terms) + terms.worth("generator_house")
    cost = cost + terms.annuity * terms.price("generator_operator_year")
    cost = cost + terms.price("generator_service_hour") * present(hours, terms.weights())
    growth = terms.weights(terms.plan.alternatives.diesel_price_growth)
    fuel = fuel_l_m3 * lifted_m3_year
    return cost + terms.price("diesel_litre") * present(fuel, growth), fuel[1]


def _installed(item: str, count: Floats | float, terms: Terms, life_y: Floats | None = None) -> Floats:
    """Worth of an item and of its installation."""
    labour = terms.price("installation_share") * terms.first * terms.price(item)
    return np.asarray(terms.worth(item, count, life_y) + np.asarray(count) * labour)


def _tap(months: Floats, terms: Terms) -> Floats:
    """Present volume at the tap, m3, from m3/d at the tank inlet (3, n, 12)."""
    return present(a_year(months), terms.weights()) * (1.0 - float(terms.context.rules.losses))


def _numbers(sites: pd.DataFrame, name: str) -> Floats:
    return sites[name].to_numpy(dtype="float64")


def _by_id(column: pd.Series, ids: tuple[str, ...], values: Floats) -> Floats:
    return column.map(dict(zip(ids, values.tolist(), strict=True))).to_numpy(dtype="float64")


def _tank_worth(volume_m3: Floats, tanks: Record) -> Floats:
    """Worth of the smallest tank that holds a volume; of the largest where none does."""
    order = np.argsort(tanks["volume_m3"], kind="stable")
    sizes, worth = tanks["volume_m3"][order], tanks["worth"][order]
    place = np.minimum(np.searchsorted(sizes, np.nan_to_num(volume_m3) - 1e-9), sizes.size - 1)
    return np.where(np.isnan(volume_m3), np.nan, worth[place])
