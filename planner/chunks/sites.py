"""Which rows of the table can be sized, and their columns as the engine takes them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from planner.catalogue.loader import Catalogue
from planner.engine.assess import MONTHLY, Sites
from planner.engine.sun import has_tropical_days
from planner.glossary import monthly
from planner.plan import Plan
from planner.tables.inventory import NOT_WELLS

SKY = ("air_temperature", "temperature_range", "wind", "diffuse", "clearness_spread")  # besides the solar cell
SET_THAT_STANDS = ("equipped_with", "existing_pump_id", "existing_array_wp")


def to_assess(sites: pd.DataFrame) -> pd.Index:
    """Rows that can be sized: a place with sun, a level and a yield from somewhere, a demand, no word against it."""
    ready = (
        (sites["row_kind"] == "site")
        & (sites["ghi_status"] == "valid")
        & ~sites["status"].isin(["dry", "abandoned"])
        & ~sites["water_point_type"].isin(NOT_WELLS)
        & ~((sites["equipped_with"] == "solar") & ~_installed(sites))
        & ~(sites["static_level_m"] >= sites["depth_m"])  # one of the two is wrong: held, not unsuitable
        & (sites["demand_01"].notna() & (sites[monthly("demand")].max(axis=1) > 0))
    )
    for name in ("rest_level_01", "yield_used_m3_h", "deepest_intake_m", "level_limit_m", "drawdown_b_d_m2"):
        ready &= sites[name].notna()
    return sites.index[ready]


def _installed(sites: pd.DataFrame) -> pd.Series:
    return (sites["equipped_with"] == "solar") & (sites["existing_pump_id"] != "") & (sites["existing_array_wp"] > 0)


def engine_sites(sites: pd.DataFrame, rows: pd.Index, plan: Plan, catalogue: Catalogue) -> Sites:
    """The engine's columns of the given rows: those under one sky together, in the order of their rows.

    Each row of a column by months lies in one piece: a sum over a row that does not is taken in another order by BLAS,
    and differs in its last digit.
    """
    sky = ["solar_cell", *(monthly(name)[0] for name in SKY)]
    table = sites.loc[rows, [*sky, *SET_THAT_STANDS]].sort_values(sky, kind="stable")
    place = {pump: number for number, pump in enumerate(catalogue.pump_ids)}
    installed = _installed(table)
    pump = table["existing_pump_id"].map(place).where(installed).fillna(-1).astype("int64")
    known = ~(installed & (pump < 0))
    kept = table.index[known]
    places = sites.index.get_indexer(kept)

    def column(name: str) -> np.ndarray:
        return sites[name].to_numpy(dtype="float64")[places]

    fills = {
        "air_temperature": plan.array.air_temperature_c,
        "temperature_range": plan.array.temperature_range_k,
        "wind": plan.array.wind_m_s,
        "elevation_m": plan.equipment.elevation_unknown_m,
    }
    columns: dict[str, np.ndarray] = {}
    for field in dataclasses.fields(Sites):
        name = field.name
        if name == "inventory_row":
            columns[name] = kept.to_numpy(dtype="int64")
        elif name == "existing_pump":
            columns[name] = pump[known].to_numpy()
        elif name == "tropical":
            under = zip(column("solar_latitude"), sites["climate_zone"].to_numpy()[places], strict=True)
            columns[name] = np.array([has_tropical_days(*one) for one in under], dtype=bool)
        elif name == "level_is_screen":
            columns[name] = (sites["level_limit_kind"] == "screen").to_numpy()[places]
        else:
            values = np.stack([column(one) for one in monthly(name)], axis=1) if name in MONTHLY else column(name)
            columns[name] = np.where(np.isnan(values), fills[name], values) if name in fills else values
    return Sites(**columns)
