"""Lots as a table, as a record and in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.choice.lots.graph import middle_degrees
from planner.choice.lots.places import Around, Bases, Sites
from planner.choice.lots.problem import Answer, Problem, kinds, values
from planner.plan import LoadedPlan
from planner.plan.phases import money_of
from planner.texts import Figure, Said, said

CENTS = 100
OPTIMAL = "optimal for these places"


@dataclass(frozen=True)
class Made:
    """Finished lots over `table`, the sites in the order of the problem."""

    table: pd.DataFrame
    sites: Sites
    problem: Problem
    around: Around
    answer: Answer
    bases: Bases | None


def numbered(made: Made) -> Made:
    """The same lots, numbered from the north-west to the south-east by their centres: east less north, ascending."""
    lot, xy = made.answer.lot, made.sites.xy_m
    centres = np.array([xy[lot == one].mean(axis=0) for one in range(made.problem.lots)])
    order = np.lexsort((-centres[:, 1], np.round(centres[:, 0] - centres[:, 1])))
    place = np.empty(order.size, dtype=np.intp)
    place[order] = np.arange(order.size)
    around, problem = made.around, made.problem
    return replace(
        made,
        answer=replace(made.answer, lot=place[lot]),
        around=replace(
            around,
            sites=around.sites[order] if around.sites.size else around.sites,
            base=around.base[order],
            distance_km=around.distance_km[:, order],
            base_km=around.base_km[:, order],
        ),
        problem=replace(
            problem,
            distance_km=problem.distance_km[:, order],
            reach=None if problem.reach is None else problem.reach[:, order],
        ),
    )


def lot_table(made: Made) -> tuple[pd.DataFrame, NDArray[np.int64], NDArray[np.float64]]:
    """A row a lot with the columns of lots.csv; the lot of each site, 1 …; its drive from the base, km."""
    lot = made.answer.lot
    base_km = made.around.base_km[np.arange(lot.size), lot]
    mean = made.problem.value.sum() / made.problem.lots
    rows = []
    for one, value in enumerate(values(made.problem, lot)):
        part = made.table[lot == one]
        pumps = part["pump_type"].value_counts()
        ordered = sorted(pumps.items(), key=lambda pair: (-pair[1], str(pair[0])))
        centre = middle_degrees(part["latitude"].to_numpy(), part["longitude"].to_numpy())
        drive = base_km[lot == one]
        rows.append(
            {
                "lot": one + 1,
                **_base(made, one),
                "sites": len(part),
                "capital_cost": round(int(value) / CENTS, 2),
                "value_deviation": round(float(value / mean - 1), 6),
                "people_served": round(float(part["people_served"].sum(min_count=1)), 3),
                "volume_used_m3_day": round(float(part["volume_used_m3_day"].sum(min_count=1)), 3),
                "pump_types": len(pumps),
                "pumps": "; ".join(f"{name} × {count}" for name, count in ordered),
                "centre_latitude": round(centre[0], 6),
                "centre_longitude": round(centre[1], 6),
                "mean_base_km": round(float(drive.mean()), 3),
                "max_base_km": round(float(drive.max()), 3),
                "compactness": _compactness(made.sites.xy_m[lot == one]),
            }
        )
    return pd.DataFrame(rows), lot.astype(np.int64) + 1, base_km


def _base(made: Made, one: int) -> dict[str, Any]:
    """Name and position of a lot's base: of the plan, or the site in the middle."""
    base = int(made.around.base[one])
    if base >= 0 and made.bases is not None:
        name, latitude, longitude = made.bases.names[base], made.bases.latitude[base], made.bases.longitude[base]
        return {
            "base": name,
            "base_source": "plan",
            "base_latitude": float(latitude),
            "base_longitude": float(longitude),
        }
    site = made.table.iloc[int(made.around.sites[one])]
    name = str(site["site_id"]) or f"row:{site.name}"
    return {
        "base": name,
        "base_source": "site",
        "base_latitude": float(site["latitude"]),
        "base_longitude": float(site["longitude"]),
    }


def _compactness(xy: NDArray[np.float64]) -> float:
    """4π × area ÷ perimeter² of the convex hull (Polsby & Popper 1991), 1 for a circle; NaN without an area."""
    import shapely

    hull = shapely.convex_hull(shapely.multipoints(xy))
    area, around = float(shapely.area(hull)), float(shapely.length(hull))
    return round(4 * np.pi * area / around**2, 4) if area > 0 else float("nan")


def lot_record(made: Made, table: pd.DataFrame, plan: LoadedPlan) -> dict[str, Any]:
    """What run.json keeps under `lots`."""
    problem, answer = made.problem, made.answer
    drive = made.around.base_km[np.arange(problem.sites), answer.lot]
    return {
        "lots": problem.lots,
        "sites": problem.sites,
        "of": "equip" if money_of(plan.plan.programme.budget, plan.plan.phase) is None else "funded",
        "capital_cost": round(int(problem.value.sum()) / CENTS, 2),
        "value_low": problem.low / CENTS,
        "value_high": problem.high / CENTS,
        "balanced": answer.excess == 0,
        "excess": answer.excess / CENTS,
        "places": made.around.how.text(),
        "method": answer.method,
        "status": OPTIMAL if answer.optimal else "not proven to be the best",
        "cost_km": round(answer.cost_km, 3),
        "gap": answer.gap,
        "pump_types": kinds(problem, answer.lot),
        "mean_base_km": round(float(drive.mean()), 3),
        "max_base_km": round(float(drive.max()), 3),
        "rows": [
            {key: None if isinstance(cell, float) and np.isnan(cell) else cell for key, cell in row.items()}
            for row in table.to_dict("records")
        ],
    }


def lot_lines(record: dict[str, Any], places: Said, plan: LoadedPlan) -> list[Said]:
    """The record in a few plain sentences; places: around what the lots are formed."""
    money, rows = plan.plan.programme.currency, record["rows"]
    costs, sites = [row["capital_cost"] for row in rows], [row["sites"] for row in rows]
    told = said(
        "lots_sum",
        lots=record["lots"],
        fewest=min(sites),
        most=max(sites),
        low=Figure(min(costs)),
        high=Figure(max(costs)),
        money=money,
        types=record["pump_types"],
        mean=Figure(record["mean_base_km"], ".0f"),
        far=Figure(record["max_base_km"], ".0f"),
    )
    gap = said("budget_gap_unknown") if record["gap"] is None else Figure(record["gap"], ".2g")
    proof = "proven" if record["status"] == OPTIMAL else "unproven"
    lines = [said("lots_said", text=told), said(f"lots_formed_{proof}", places=places, gap=gap)]
    if not record["balanced"]:
        low, high, excess = (Figure(record[name]) for name in ("value_low", "value_high", "excess"))
        lines.append(said("lots_unbalanced", low=low, high=high, money=money, excess=excess))
    return lines


def whole_text(number: float) -> str:
    """A number without decimals, thousands apart, for faults and findings."""
    return Figure(number).text()
