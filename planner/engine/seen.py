"""Sets of a pump that were looked at already: what loses more, at every flow, gives no more."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner.engine.curve import KNOTS
from planner.engine.site import Record, Records
from planner.physics.equation import kernel

Floats = NDArray[np.float64]

MOST_SEEN = 256  # sets of one pump that are kept in mind
# What a set adds to the static head at each knot, m; cable resistance over that of the winding; cap, m3/h.
SET = np.dtype([("head", "f8", KNOTS), ("ratio", "f8"), ("cap", "f8")])


@kernel
def see(sets: Records, given: Floats, seen: Record, desk: Record, ratio: float, cap: float, count: int) -> int:
    """Keep a set whose heads are on the desk; its place, −1 when there is no more room. Nothing is known of what the
    candidates give with it yet."""
    at = seen.sets
    if at == sets.size:
        return -1
    for k in range(KNOTS):
        sets[at].head[k] = desk.head[k]
    sets[at].ratio, sets[at].cap = ratio, cap
    for c in range(count):
        given[at, c] = np.inf
    seen.sets = at + 1
    return at


@kernel
def least_given(
    sets: Records, given: Floats, seen: Record, desk: Record, ratio: float, cap: float, count: int, limit: Floats
) -> None:
    """Lower the limits of what candidates give to what they gave with any set that loses no more and passes no less.

    A pump that starts at its lowest speed with some flow starts earlier with more friction: of such a pump only sets
    without that limit may be kept.
    """
    for s in range(seen.sets):
        one = sets[s]
        if one.ratio > ratio or one.cap < cap:
            continue
        less = True
        for k in range(KNOTS - 1, -1, -1):  # friction tells most at the highest flow
            if one.head[k] > desk.head[k]:
                less = False
                break
        if less:
            for c in range(count):
                limit[c] = min(limit[c], given[s, c])
