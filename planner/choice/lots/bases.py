"""Places around which lots are formed: a p-median of the sites, exact where they are few."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, vstack

from planner.choice.solver import Programme, minimise

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

EXACT_PAIRS = 12_000  # sites × candidates up to which the p-median is solved as a programme
NODES = 2_000
CANDIDATES = 400  # for the greedy choice, spread over the sites
ROUNDS = 50


@dataclass(frozen=True)
class Median:
    """places: candidates, ascending; cost: Σ distance to the nearest of them; bound: no choice costs less, −inf if
    unknown; optimal: proven."""

    places: Places
    cost: float
    bound: float
    optimal: bool


def p_median(distance: Floats, count: int, radius: float | None = None) -> Median | None:
    """The `count` candidates with the least sum of distances from each site to its nearest one; None if, within the
    radius, there are none.

    distance: shape (sites, candidates). Balinski's formulation (ReVelle & Swain 1970): y[j] chosen, x[i, j] ≤ y[j].
    """
    sites, candidates = distance.shape
    within = distance <= (np.inf if radius is None else radius)
    if count > candidates or not within.any(axis=1).all():
        return None
    at, of = np.nonzero(within)
    width = at.size + candidates
    every = np.arange(at.size)
    rows = [
        coo_array((np.ones(at.size), (at, every)), shape=(sites, width)),
        coo_array(
            (np.append(np.ones(at.size), -np.ones(at.size)), (np.tile(every, 2), np.append(every, at.size + of))),
            shape=(at.size, width),
        ),
        coo_array((np.ones(candidates), (np.zeros(candidates, dtype=int), at.size + np.arange(candidates)))),
    ]
    rows[2] = coo_array((rows[2].data, rows[2].coords), shape=(1, width))
    whole = np.append(np.zeros(at.size, dtype=np.bool_), np.ones(candidates, dtype=np.bool_))
    low = np.concatenate([np.ones(sites), np.full(at.size, -np.inf), [count]])
    high = np.concatenate([np.ones(sites), np.zeros(at.size), [count]])
    cost = np.append(distance[at, of], np.zeros(candidates))
    programme = Programme(cost, whole, np.zeros(width), np.ones(width), csr_array(vstack(rows)), low, high)
    found = minimise(programme, nodes=NODES)
    if found.x is None:
        return None
    places = np.flatnonzero(found.x[at.size :] > 0.5)
    return Median(places, _cost(distance, places), found.bound, found.optimal)


def clusters(xy: Floats, count: int) -> Places:
    """Middles of `count` clusters of many sites, as places in the list, ascending: greedy addition among candidates
    spread over the sites, then the middle site of each cluster by turns. No bound is known.

    xy: shape (n, 2), in an order that does not depend on that of the inventory.
    """
    candidates = np.unique(np.linspace(0, len(xy) - 1, min(len(xy), max(CANDIDATES, count))).round().astype(np.intp))
    distance = _between(xy, xy[candidates])
    nearest = np.full(len(xy), np.inf)
    chosen: list[int] = []
    for _ in range(count):
        total = np.minimum(distance, nearest[:, None]).sum(axis=0)
        total[chosen] = np.inf
        chosen.append(int(np.argmin(total)))
        nearest = np.minimum(nearest, distance[:, chosen[-1]])
    places = np.sort(candidates[chosen])
    best = _between(xy, xy[places]).min(axis=1).sum()
    for _ in range(ROUNDS):
        of = np.argmin(_between(xy, xy[places]), axis=1)
        moved = np.sort(np.array([middle(xy, np.flatnonzero(of == one)) for one in range(count)], dtype=np.intp))
        cost = _between(xy, xy[moved]).min(axis=1).sum()
        if not cost < best - 1e-6:
            break
        places, best = moved, cost
    return places


def kept(distance: Floats, count: int) -> Places:
    """Candidates that are left when the one whose loss adds least distance goes, again and again; ascending.

    distance: shape (sites, candidates).
    """
    left = list(range(distance.shape[1]))
    while len(left) > count:
        costs = [_cost(distance, np.array([one for one in left if one != out], dtype=np.intp)) for out in left]
        left.pop(int(np.argmin(costs)))
    return np.array(left, dtype=np.intp)


def middle(xy: Floats, members: Places) -> int:
    """The site from which the others of its group are nearest together: least sum of distances, the first of equals."""
    part = xy[members]
    if len(part) > 2_000:  # the distances from each to each would fill the memory: nearest to the mean
        return int(members[np.argmin(np.linalg.norm(part - part.mean(axis=0), axis=1))])
    return int(members[np.argmin(_between(part, part).sum(axis=1))])


def _between(one: Floats, other: Floats) -> Floats:
    """Plane distances, shape (n, m)."""
    return np.hypot(one[:, None, 0] - other[None, :, 0], one[:, None, 1] - other[None, :, 1])


def _cost(distance: Floats, places: Places) -> float:
    return float(distance[:, places].min(axis=1).sum())
