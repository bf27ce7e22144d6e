"""Classes of the cost of water: five quantile classes with round limits."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

# From cheap to dear: deep water, water, grass, sand, dry earth. Any two differ by at least 33 (CIE 1976) for
# normal, red-blind, green-blind and blue-blind eyes (simulation of Machado, Oliveira and Fernandes 2009).
PALETTE = ("#1a1c57", "#0f74c4", "#86dfa0", "#f2b705", "#8d5133")


def cost_breaks(costs: NDArray[np.float64]) -> list[float]:
    """Inner limits of the cost classes, rising; a cost equal to a limit belongs to the class above it.

    costs: (n,) cost of water in currency/m3, NaN where unknown. The limits are the quintiles rounded to 0.01,
    or to three digits where the median is above 10. Limits that rounding made equal, and those that would
    leave the lowest or highest class without a site, are dropped: 0 to 4 limits, 1 to 5 classes.

    >>> cost_breaks(np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6]))
    [0.2, 0.3, 0.4, 0.5]
    >>> cost_breaks(np.array([0.2, 0.2, 0.2]))
    []
    """
    known = costs[np.isfinite(costs)]
    if known.size == 0:
        return []
    decimals = _decimals(float(np.median(known)))
    limits = {round(float(limit), decimals) for limit in np.quantile(known, [0.2, 0.4, 0.6, 0.8])}
    return sorted(limit for limit in limits if known.min() < limit <= known.max())


def class_colours(classes: int) -> list[str]:
    """Colours of 1 to 5 classes, from cheap to dear, spread over the whole palette.

    >>> class_colours(3) == [PALETTE[0], PALETTE[2], PALETTE[4]]
    True
    """
    last = len(PALETTE) - 1
    return [PALETTE[round(place * last / max(classes - 1, 1))] for place in range(classes)]


def _decimals(median: float) -> int:
    """Decimals of the limits: 2 up to a median of 10, fewer (also negative) above."""
    return 2 if median <= 10 else 2 - math.floor(math.log10(median))
