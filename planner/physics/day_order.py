"""How clear days follow one another: the library of Markov matrices of Aguiar, Collares-Pereira & Conde 1988.

Solar Energy 40:269. Ten classes of monthly clearness, in each ten states of daily clearness of equal width, and the
share of each state on the day after. The library serves as the order of days only: as the law of how clear they are
it was tried on measured years and was worse than those of `physics.sun`.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["clearness_class", "clearness_matrices"]

STATES = 10
BREAKS = (0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70)  # of the month's clearness, between the classes
# Daily clearness at the lower edge of the first state and at the upper edge of the last, by class.
LOWEST = (0.031, 0.058, 0.051, 0.052, 0.028, 0.053, 0.044, 0.085, 0.010, 0.319)
HIGHEST = (0.705, 0.694, 0.753, 0.753, 0.807, 0.856, 0.818, 0.846, 0.842, 0.865)


def clearness_class(clearness: ArrayLike) -> NDArray[np.int64]:
    """Class, 0 to 9, of a month's mean clearness of any shape; a break belongs to the class above it.

    >>> clearness_class([0.0, 0.2999, 0.30, 0.55, 0.9]).tolist()
    [0, 0, 1, 6, 9]
    """
    return np.searchsorted(BREAKS, np.asarray(clearness, dtype=np.float64), side="right").astype(np.int64)


@cache
def clearness_matrices() -> NDArray[np.float64]:
    """Probability of tomorrow's state, (10, 10, 10): class of the month, state of today, state of tomorrow.

    Printed with three digits, the ten shares of a row add up to 0.997 to 1.003; here each row is scaled to 1.

    >>> clearness_matrices().shape
    (10, 10, 10)
    """
    steps = printed_matrices()
    steps = steps / np.cumsum(steps, axis=2)[..., -1:]  # added in order: the same bits on every machine
    steps.setflags(write=False)
    return steps


def printed_matrices() -> NDArray[np.float64]:
    """The same with the digits as printed, not scaled."""
    lines = files("planner").joinpath("data", "aguiar_1988.csv").read_text(encoding="utf-8").splitlines()
    return np.array([[float(row[f"c{at}"]) for at in range(STATES)] for row in csv.DictReader(lines)]).reshape(
        len(BREAKS) + 1, STATES, STATES
    )
