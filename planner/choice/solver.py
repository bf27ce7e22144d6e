"""HiGHS through scipy.optimize.milp, stopped by nodes and never by seconds: the same input gives the same answer."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from planner.errors import InternalError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Programme:
    """Least cost·x under low ≤ rows x ≤ high and lower ≤ x ≤ upper; whole: 1 where x must be a whole number."""

    cost: Floats
    whole: NDArray[np.uint8]
    lower: Floats
    upper: Floats
    rows: csr_array
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Found:
    """x: None where nothing was found; impossible: proven; bound: no answer costs less; optimal: proven;
    nodes: of the search tree, 1 at least."""

    x: Floats | None
    impossible: bool
    bound: float
    optimal: bool
    nodes: int = 1


def minimise(programme: Programme, *, nodes: int, relative_gap: float = 0.0) -> Found:
    """The cheapest answer, or the best that so many nodes of the search tree give."""
    if np.any(programme.lower > programme.upper):
        return Found(None, True, np.inf, True)
    with _quiet():
        found = milp(
            programme.cost,
            integrality=programme.whole,
            bounds=Bounds(programme.lower, programme.upper),
            constraints=LinearConstraint(programme.rows, programme.low, programme.high),
            options={"mip_rel_gap": relative_gap, "node_limit": nodes},
        )
    if found.status == 2 or (found.status == 4 and "infeasible" in found.message.lower()):
        return Found(None, True, np.inf, True)
    if found.status == 3:
        raise InternalError("the programme has no least cost")
    bound = -np.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)
    looked_at = max(1, int(found.mip_node_count or 0))
    if found.x is None:
        return Found(None, False, bound, False, looked_at)
    if not programme.whole.any():
        bound = float(found.fun)
    return Found(np.asarray(found.x), False, bound, found.status == 0, looked_at)


@contextmanager
def _quiet() -> Iterator[None]:
    """The solver prints a remark of its own now and then; standard output belongs to what a command promises."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
