"""Few pump types for many sites: the smallest set of types that suits every site, at little more than its own choice.

A type suits a site where its best design costs no more than the tolerance above the site's optimum, whole scheme, per
cubic metre used. The optimum of a site is never changed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array, vstack

from planner.choice.problem import Flags, Whole
from planner.choice.solver import Floats, Programme, minimise, quiet

TOLERANCE = 0.03  # engine.md 6, "Ties"
EXACT_SITES = 20_000  # different sites; above, greedy with its gap
TIE_CELLS = 60_000  # pairs of site and type up to which the cheapest of the smallest sets is looked for
NONE = -1
SECONDS, GAP = 60.0, 1e-9  # of a solve


@dataclass(frozen=True)
class Standard:
    """types: pumps of the set, ascending; pump: the cheapest of them that suits each site, NONE where none does;
    needed: types that would suit every site; gap: how many of these may be too many, as a share; cheapest: whether, of
    sets as small that suit as many sites, the cheapest was proven."""

    types: Whole
    pump: Whole
    needed: int
    gap: float
    cheapest: bool


def standard_types(costs: Floats, extra: Floats, first: Flags, most: int | None) -> Standard:
    """The smallest set of types that suits every site; with `most`, at most so many, for as many sites as can be.

    costs  (sites, pumps), currency/m3; infinite where a pump does not suit
    extra  (sites, pumps), what a pump costs more than the site's choice, currency a year; counts where costs are finite
    first  sites that go before all others where not every site can be suited: the funded ones
    """
    fits = np.asarray(np.isfinite(costs), dtype=np.bool_)
    some: Flags = np.atleast_1d(fits.any(axis=1))
    nothing = np.zeros(0, dtype=np.int64)
    if not some.any():
        return Standard(nothing, np.full(len(costs), NONE), 0, 0.0, True)
    patterns, at = np.unique(fits[np.flatnonzero(some)], axis=0, return_inverse=True)
    at = at.ravel()
    types, gap = _cover(patterns)
    needed = int(types.size)
    weight = np.where(first[some], int(some.sum()) + 1, 1)
    if most is not None and needed > most:
        types = _most_suited(patterns, np.bincount(at, weight).astype(np.int64), most)
    cheapest = False
    if int(fits.sum()) <= TIE_CELLS:
        suited = np.asarray(patterns[:, types].any(axis=1))[at]
        better = _cheapest(fits[some], extra[some], weight, int(weight[suited].sum()), int(types.size))
        types, cheapest = (types, False) if better is None else (better, True)
    within = np.where(fits[:, types], costs[:, types], np.inf)
    pump = np.where(np.isfinite(within).any(axis=1), types[np.argmin(within, axis=1)], NONE)
    return Standard(np.unique(pump[pump >= 0]), pump, needed, gap, cheapest)


def _cover(patterns: Flags) -> tuple[Whole, float]:
    """A smallest set of columns that has a flag in every row, and how far it may be from that."""
    rows = csr_array(patterns.astype(np.float64))
    if len(patterns) <= EXACT_SITES:
        found = _solved(
            np.ones(patterns.shape[1]),
            rows,
            np.full(len(patterns), 1.0 - 1e-6),
            np.full(len(patterns), np.inf),
            patterns.shape[1],
        )
        if found is not None:
            return np.flatnonzero(found > 0.5), 0.0
    types = _greedy(patterns)
    with quiet():
        least = linprog(np.ones(patterns.shape[1]), A_ub=-rows, b_ub=-np.ones(len(patterns)), bounds=(0, 1))
    bound = int(np.ceil(least.fun - 1e-6)) if least.x is not None else 1
    return types, (types.size - bound) / types.size


def _greedy(patterns: Flags) -> Whole:
    """Column by column that which suits most of the rows that are left."""
    left = np.ones(len(patterns), dtype=np.bool_)
    types: list[int] = []
    while left.any():
        best = int(np.argmax(patterns[left].sum(axis=0)))
        types.append(best)
        left &= ~patterns[:, best]
    return np.sort(np.array(types, dtype=np.int64))


def _most_suited(patterns: Flags, weight: Whole, most: int) -> Whole:
    """So many columns that as much weight of rows as can be has a flag in one of them."""
    rows, columns = patterns.shape
    goal = np.concatenate([np.zeros(columns), -weight.astype(np.float64)])
    suited = csr_array(np.hstack([patterns.astype(np.float64), -np.eye(rows)])) if rows <= 3000 else None
    if suited is not None:
        few = csr_array(np.concatenate([np.ones(columns), np.zeros(rows)])[None, :])
        low, high = np.r_[np.full(rows, -1e-6), -np.inf], np.r_[np.full(rows, np.inf), most + 0.5]
        found = _solved(goal, csr_array(vstack([suited, few])), low, high, columns)
        if found is not None:
            return np.flatnonzero(found[:columns] > 0.5)
    left, types = weight.astype(np.float64), []
    for _ in range(most):
        types.append(int(np.argmax(left @ patterns)))
        left = np.where(patterns[:, types[-1]], 0.0, left)
    return np.unique(types)


def _cheapest(fits: Flags, extra: Floats, weight: Whole, suited: int, count: int) -> Whole | None:
    """Of the sets of so many types that suit so much weight of sites, that which costs least more."""
    site, pump = np.nonzero(fits)
    pairs, (sites, pumps) = site.size, fits.shape
    goal = np.concatenate([np.zeros(pumps), extra[site, pump]])
    place = np.arange(pairs)
    ones = np.ones(pairs)
    only = coo_array((np.r_[ones, -ones], (np.r_[place, place], np.r_[pumps + place, pump])), (pairs, pumps + pairs))
    once = coo_array((ones, (site, pumps + place)), (sites, pumps + pairs))
    sums = np.zeros((2, pumps + pairs))
    sums[0, :pumps], sums[1, pumps:] = 1.0, weight[site]
    matrix = csr_array(vstack([only, once, csr_array(sums)]))
    low = np.r_[np.full(pairs + sites + 1, -np.inf), suited - 0.5]
    high = np.r_[np.zeros(pairs), np.ones(sites), count + 0.5, np.inf]
    found = _solved(goal, matrix, low, high, goal.size)
    return None if found is None else np.flatnonzero(found[:pumps] > 0.5)


def _solved(goal: Floats, rows: csr_array, low: Floats, high: Floats, whole: int) -> Floats | None:
    """The exact answer between 0 and 1, the first columns whole numbers; None where it was not proven."""
    ends = np.zeros(goal.size), np.ones(goal.size)
    found = minimise(
        Programme(goal, np.arange(goal.size) < whole, *ends, rows, low, high), seconds=SECONDS, relative_gap=GAP
    )
    return found.x if found.optimal else None
