"""Sites through the engine in chunks: in threads, resumable, and always with the same result.

A chunk is keyed by what it was computed from, so a stored one is found by content and can never be stale. Neither
the size of chunks nor the number of workers nor an interruption changes a byte of what comes out.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner import __version__
from planner.catalogue.loader import Catalogue
from planner.engine.assess import MONTHLY, Context, FamilyRule, Results, Sites, assess
from planner.engine.sun import has_tropical_days
from planner.glossary import monthly
from planner.physics.equation import source_digest
from planner.plan import Plan
from planner.tables.inventory import NOT_WELLS

CHUNK_SITES = 64
SKY = (
    "air_temperature",
    "temperature_range",
    "wind",
    "diffuse",
    "clearness_spread",
)  # sites under one sky come together


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
    """The engine's columns of the given rows, sorted by solar cell and row."""
    table = sites.loc[rows].sort_values(["solar_cell", *(monthly(name)[0] for name in SKY)], kind="stable")
    place = {pump: number for number, pump in enumerate(catalogue.pump_ids)}
    installed = _installed(table)
    pump = table["existing_pump_id"].map(place).where(installed).fillna(-1).astype("int64")
    unknown = installed & (pump < 0)
    table, pump = table[~unknown], pump[~unknown]
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
            columns[name] = table.index.to_numpy(dtype="int64")
        elif name == "existing_pump":
            columns[name] = pump.to_numpy()
        elif name == "tropical":
            places = zip(table["solar_latitude"], table["climate_zone"], strict=True)
            columns[name] = np.array([has_tropical_days(*place) for place in places], dtype=bool)
        elif name == "level_is_screen":
            columns[name] = (table["level_limit_kind"] == "screen").to_numpy()
        else:
            values = table[monthly(name) if name in MONTHLY else name].to_numpy(dtype="float64")
            columns[name] = np.where(np.isnan(values), fills[name], values) if name in fills else values
    return Sites(**columns)


def run_chunks(
    sites: Sites,
    context: Context,
    store: Path,
    workers: int,
    chunk_sites: int,
    tell: Callable[[int], None],
    kept: set[str],
) -> Results:
    """Assess all sites; `tell` is called with the number of sites of each chunk that is done, in order.

    kept  gets the names of these chunks in the store, for `drop_others`
    """
    digest = context_digest(context)
    total = sites.inventory_row.size
    parts = [part_of(sites, start, min(start + chunk_sites, total)) for start in range(0, total, chunk_sites)]
    store.mkdir(parents=True, exist_ok=True)

    def one(part: Sites) -> Results:
        path = store / f"{key_of(digest, part)}.json"
        found = _load(path)
        if found is None:
            found = assess(part, context)
            _save(found, path)
        return found

    if parts:  # compile before the threads start, each kernel once
        assess(part_of(sites, 0, 1), context)
    results = []
    with ThreadPoolExecutor(max_workers=workers) as executor:
        for part, result in zip(parts, executor.map(one, parts), strict=True):
            results.append(result)
            tell(part.inventory_row.size)
    kept |= {f"{key_of(digest, part)}.json" for part in parts}
    rows = [row for result in results for row in result.rows]
    rules = [rule for result in results for rule in result.rules]
    rows.sort(key=lambda row: row["inventory_row"])  # type: ignore[arg-type,return-value]
    rules.sort(key=lambda rule: rule.inventory_row)
    return Results(rows, rules)


def drop_others(store: Path, kept: set[str]) -> None:
    """Drop stored chunks of other plans, once all of a plan and its scenarios are there."""
    for old in store.glob("*.json"):
        if old.name not in kept:
            old.unlink(missing_ok=True)


def default_workers() -> int:
    """As many as the cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def part_of(sites: Sites, start: int, stop: int) -> Sites:
    """Sites from one place up to before another."""
    return Sites(**{field.name: getattr(sites, field.name)[start:stop] for field in dataclasses.fields(sites)})


def context_digest(context: Context) -> str:
    """Digest of everything besides the sites that the engine reads."""
    digest = hashlib.sha256()
    read = {"demand", "well", "pipes", "array", "equipment", "costs"}
    plan = context.plan.model_dump(
        mode="json", include={"programme": {"discount_rate", "horizon_years"}, **dict.fromkeys(sorted(read), True)}
    )
    for text in (__version__, json.dumps(plan, sort_keys=True), context.catalogue.digest, source_digest("doubt")):
        digest.update(text.encode())
    for part in context.weather or ():
        digest.update(np.asarray(part).tobytes())
    return digest.hexdigest()


def key_of(context: str, *parts: Any) -> str:
    """Name of a stored chunk: digest of what it was computed from. parts: data classes of columns."""
    digest = hashlib.sha256(context.encode())
    for part in parts:
        for field in dataclasses.fields(part):
            digest.update(np.ascontiguousarray(getattr(part, field.name)).tobytes())
    return digest.hexdigest()


def _save(results: Results, path: Path) -> None:
    data = {"rows": results.rows, "rules": [dataclasses.astuple(rule) for rule in results.rules]}
    part = path.with_suffix(f".{os.getpid()}.part")
    part.write_text(json.dumps(data, default=_plain), encoding="utf-8")
    part.replace(path)


def _plain(value: object) -> object:
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(type(value))


def _load(path: Path) -> Results | None:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return Results(data["rows"], [FamilyRule(*rule) for rule in data["rules"]])
    except (OSError, ValueError, KeyError, TypeError):
        return None
