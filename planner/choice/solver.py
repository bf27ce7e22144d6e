"""HiGHS through scipy.optimize.milp: the one call of it. What is stopped by nodes gives the same answer anywhere."""

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
    """Least cost·x under low ≤ rows x ≤ high and lower ≤ x ≤ upper; whole: whether x must be a whole number."""

    cost: Floats
    whole: NDArray[np.bool_]
    lower: Floats
    upper: Floats
    rows: csr_array
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Found:
    """x: None where nothing was found; impossible: proven; bound: no answer costs less, −inf where that is not known;
    optimal: proven; nodes: of the search tree, 1 at least; cost: of x; message: the solver's own."""

    x: Floats | None
    impossible: bool
    bound: float
    optimal: bool
    nodes: int = 1
    cost: float = np.inf
    message: str = ""


def minimise(
    programme: Programme, *, nodes: int | None = None, seconds: float | None = None, relative_gap: float = 0.0
) -> Found:
    """The cheapest answer, or the best that so many nodes of the search tree, or so many seconds, give."""
    limits = {"node_limit": nodes, "time_limit": seconds}
    options = {"mip_rel_gap": relative_gap, **{name: most for name, most in limits.items() if most is not None}}
    if np.any(programme.lower > programme.upper):
        return Found(None, True, np.inf, True)
    with quiet():
        found = milp(
            programme.cost,
            integrality=programme.whole,
            bounds=Bounds(programme.lower, programme.upper),
            constraints=LinearConstraint(programme.rows, programme.low, programme.high),
            options=options,
        )
    if found.status == 2 or (found.status == 4 and "infeasible" in found.message.lower()):
        return Found(None, True, np.inf, True)
    if found.status == 3:
        raise InternalError("the programme has no least cost")
    bound = -np.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)
    looked_at = max(1, int(found.mip_node_count or 0))
    if found.x is None:
        return Found(None, False, bound, False, looked_at, message=found.message)
    if not programme.whole.any():
        bound = float(found.fun)
    return Found(np.asarray(found.x), False, bound, found.status == 0, looked_at, float(found.fun), found.message)


@contextmanager
def quiet() -> Iterator[None]:
    """The solver prints a remark of its own now and then; standard output belongs to what a command promises."""
    if sys.stdout is not None:  # there is none without a console
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
