"""A second, weighted order of the sites to equip, its raw and normalised values, and how much it hangs on the weights.

Each criterion is laid between the best of the ranked sites (1) and the worst (0), straight in between; a site's score
is the mean by weight. A missing value counts 0, as the worst. `rank` itself stays by cost.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from planner.choice.stability import top_share, weight_draws
from planner.errors import Fault, PlanError, raise_if
from planner.glossary import glossary
from planner.plan import LoadedPlan
from planner.plan.text import place_of, text_of
from planner.texts import Figure, Listed, Said, said

# Our judgement, stated in run.json: weights of 0.5 scatter by ±0.11 (standard deviation).
DRAWS = 1000
CONCENTRATION = 20.0
SEED = 20
FIRST = 20  # how many count as first where nothing is funded
# Which end of a column is better; other columns must say so in the plan.
BETTER: dict[str, Literal["low", "high"]] = {
    "cost_per_m3": "low",
    "cost_equipment_per_m3": "low",
    "capital_cost": "low",
    "annual_cost": "low",
    "lifecycle_cost": "low",
    "total_head_m": "low",
    "design_pumping_level_m": "low",
    "array_wp": "low",
    "interference_m": "low",
    "days_below_80pct": "low",
    "people_served": "high",
    "people_counted": "high",
    "volume_used_m3_day": "high",
    "supply_reliability": "high",
    "supply_reliability_worst_month": "high",
    "low_sun_reliability": "high",
    "low_sun_reliability_worst_month": "high",
    "family_margin": "high",
    "safe_rate_m3_h": "high",
}


@dataclass(frozen=True)
class Weighted:
    """rank, score (0–1) and share of draws among the first, by inventory_row; table: raw and normalised value of each
    criterion, for weights.csv; record: for run.json; lines: in words."""

    rank: pd.Series
    score: pd.Series
    share: pd.Series
    table: pd.DataFrame | None
    record: dict[str, Any] | None
    lines: list[Said]


def look_at(sites: pd.DataFrame, plan: LoadedPlan) -> None:
    """Raise PlanError for columns of [ranking] weights that are unknown, no numbers, or of unknown direction."""
    numbers = {name for name, one in glossary().items() if one.dtype in {"number", "integer", "flag"}}
    faults = []
    for name, criterion in plan.plan.ranking.weights.items():
        if name not in numbers or (len(sites.columns) > 0 and name not in sites.columns):
            near = difflib.get_close_matches(name, sorted(BETTER), n=1, cutoff=0.5)
            expected = f"{near[0]!r}, the nearest" if near else "a column of numbers that stands before the ranking"
            faults.append(_fault(plan, name, expected))
        elif criterion.better is None and name not in BETTER:
            faults.append(
                _fault(plan, name, f'{name} = {{ weight = {criterion.weight:g}, better = "low" }}, or "high"')
            )
    raise_if(faults, PlanError)


def weigh(sites: pd.DataFrame, funded: pd.Series, plan: LoadedPlan) -> Weighted:
    """The weighted order of the ranked sites.

    sites   rank, site_id and the columns of the criteria, by inventory_row
    funded  whether a site is funded: as many count as first; the best 20 where none is
    """
    empty = pd.Series(np.nan, index=sites.index)
    criteria = plan.plan.ranking.weights
    if not criteria:
        return Weighted(empty, empty, empty, None, None, [])
    look_at(sites, plan)
    ranked = sites[sites["rank"].notna()].sort_values("rank", kind="stable")
    better = {name: criterion.better or BETTER[name] for name, criterion in criteria.items()}
    raw = ranked[list(criteria)].astype("float64")
    normal = raw.apply(lambda column: normalised(column, better[str(column.name)]))
    weights = np.array([criterion.weight for criterion in criteria.values()])
    score = pd.Series(normal.to_numpy() @ (weights / weights.sum()), index=ranked.index)
    number = min(int(funded.sum()) or FIRST, len(ranked))
    drawn = normal.to_numpy() @ weight_draws(weights, DRAWS, CONCENTRATION, SEED)
    share = pd.Series(top_share(drawn, number), index=ranked.index)
    order = score.round(12).sort_values(ascending=False, kind="stable").index  # equal ones by rank
    place = pd.Series(np.arange(1.0, len(order) + 1), index=order)
    columns = {name: raw[name] for name in criteria} | {f"{name}_normalised": normal[name] for name in criteria}
    told = ranked[["site_id", "rank"]].assign(rank_weighted=place, score_weighted=score, top_share_weighted=share)
    table = told.assign(**columns).sort_values("rank_weighted").rename_axis("inventory_row").reset_index()
    first = set(order[:number])
    record = {
        "criteria": [
            {
                "column": name,
                "weight": float(weight / weights.sum()),
                "better": better[name],
                "best": _number(raw[name].max() if better[name] == "high" else raw[name].min()),
                "worst": _number(raw[name].min() if better[name] == "high" else raw[name].max()),
                "missing": int(raw[name].isna().sum()),
            }
            for name, weight in zip(criteria, weights, strict=True)
        ],
        "first": number,
        "draws": DRAWS,
        "concentration": CONCENTRATION,
        "seed": SEED,
        "first_in_most_draws": int((share[list(first)] >= 0.9).sum()) if first else 0,
        "first_by_cost_too": len(first & set(ranked.index[:number])),
    }
    return Weighted(
        place.reindex(sites.index),
        score.reindex(sites.index),
        share.reindex(sites.index),
        table,
        record,
        _lines(record),
    )


def normalised(values: pd.Series, better: Literal["low", "high"]) -> pd.Series:
    """1 for the best, 0 for the worst and for missing ones; 1 for all where all are alike."""
    low, high = values.min(), values.max()
    if not high > low:
        return values.notna().astype("float64")
    share: pd.Series = (values - low) / (high - low)
    found: pd.Series = share if better == "high" else 1.0 - share
    return found.fillna(0.0)


def _lines(record: dict[str, Any]) -> list[Said]:
    if not record["first"]:
        return []
    criteria = (
        said(f"order_{one['better']}", column=one["column"], weight=Figure(one["weight"], ".2f"))
        for one in record["criteria"]
    )
    by_cost, stay = record["first_by_cost_too"], record["first_in_most_draws"]
    words = said("order_weighted", criteria=Listed(tuple(criteria)), first=record["first"], by_cost=by_cost, stay=stay)
    return [words]


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _fault(plan: LoadedPlan, name: str, expected: str) -> Fault:
    return Fault(str(plan.path), place_of(["ranking", "weights"], text_of(plan.path)), repr(name), expected)
