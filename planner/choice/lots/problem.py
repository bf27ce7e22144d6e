"""Sites into lots: the rules in whole numbers, and what an answer costs. Numbers in, judgements out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.choice.lots.graph import Neighbours, parts

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Lots = NDArray[np.intp]


@dataclass(frozen=True)
class Problem:
    """n sites, k lots, each around a place of its own.

    distance_km  drive from the place of each lot to each site, shape (n, k)
    value        whole numbers > 0, one a site (cents of capital cost)
    kind         pump type of each site, 0, 1, 2 …
    kind_km      what a pump type in a lot counts in the cost, km
    around       neighbours of each site; every lot must hang together in this graph
    low, high    bounds of a lot's value, kept as well as can be
    reach        which sites each lot may have, shape (n, k); None for all
    value_max, sites_max   bounds that must be kept; None for none
    """

    distance_km: Floats
    value: Whole
    kind: Lots
    kind_km: float
    around: Neighbours
    low: int
    high: int
    value_max: int | None = None
    sites_max: int | None = None
    reach: NDArray[np.bool_] | None = None

    @property
    def sites(self) -> int:
        """n."""
        return int(self.distance_km.shape[0])

    @property
    def lots(self) -> int:
        """k."""
        return int(self.distance_km.shape[1])

    @property
    def within(self) -> NDArray[np.bool_]:
        """Which sites each lot reaches, shape (n, k)."""
        return np.ones(self.distance_km.shape, dtype=np.bool_) if self.reach is None else self.reach


@dataclass(frozen=True)
class Answer:
    """lot: 0 … k−1 of each site; excess: most that a value lies outside low … high; cost_km: see cost_km();
    bound_km: no answer with this excess costs less, −inf where unknown; method: exact or search."""

    lot: Lots
    excess: int
    cost_km: float
    bound_km: float
    optimal: bool
    method: str

    @property
    def gap(self) -> float | None:
        """How far the cost may lie above the least one, as a share of it; None where nothing is proven."""
        if self.optimal:
            return 0.0
        if not np.isfinite(self.bound_km):
            return None
        return max(0.0, self.cost_km - self.bound_km) / self.cost_km if self.cost_km > 0 else 0.0


def values(problem: Problem, lot: Lots) -> Whole:
    """The value of each lot."""
    found = np.zeros(problem.lots, dtype=np.int64)
    np.add.at(found, lot, problem.value)
    return found


def kinds(problem: Problem, lot: Lots) -> int:
    """Pump types, counted in each lot and summed."""
    return len(set(zip(lot.tolist(), problem.kind.tolist(), strict=True)))


def cost_km(problem: Problem, lot: Lots) -> float:
    """Σ drive from the lot's place to the site, one way, and kind_km for each pump type in each lot; km."""
    driven = float(problem.distance_km[np.arange(problem.sites), lot].sum())
    return driven + problem.kind_km * kinds(problem, lot)


def excess(problem: Problem, lot: Lots) -> int:
    """The most that the value of a lot lies outside its bounds."""
    of = values(problem, lot)
    return max(0, int((of - problem.high).max()), int((problem.low - of).max()))


def broken(problem: Problem, lot: Lots) -> list[str]:
    """Which of the rules that must be kept are not: sites, connected, value_max, sites_max, reach."""
    counts = np.bincount(lot, minlength=problem.lots)
    found = []
    if counts.min() == 0:
        found.append("sites")
    if any(len(parts(problem.around, np.flatnonzero(lot == one).tolist())) > 1 for one in range(problem.lots)):
        found.append("connected")
    if problem.value_max is not None and values(problem, lot).max() > problem.value_max:
        found.append("value_max")
    if problem.sites_max is not None and counts.max() > problem.sites_max:
        found.append("sites_max")
    if not problem.within[np.arange(problem.sites), lot].all():
        found.append("reach")
    return found
