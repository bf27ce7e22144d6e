"""Many numbers to some significant digits at once, each as Python's own formats round it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST = 22  # powers of ten up to this one are exact
NEAR_TIE = 1e-7  # of the last digit; where a product's own rounding could turn it, Python decides


def significant(values: Floats, digits: int) -> Floats:
    """The number nearest to each value rounded to `digits` (1 to 9) significant digits; halves as they stand in binary.

    `f"{found:.{digits}g}"` is `f"{value:.{digits}g}"`, and the shortest text of what is found has no digits beyond it.
    What is missing, infinite or 0 stays.

    >>> significant(np.array([98.765, 0.00012346, 2.5, np.nan]), 4).tolist()
    [98.77, 0.0001235, 2.5, nan]
    """
    found = np.array(values, dtype=np.float64)
    size = np.abs(found)
    plain = np.isfinite(found) & (size >= 1e-12) & (size < 1e20)
    if not plain.any():
        return _by_python(found, np.isfinite(found) & (found != 0.0), digits)
    inside = found[plain]
    power = np.floor(np.log10(np.abs(inside))).astype(np.int64)
    shift = digits - 1 - power
    up, down = 10.0 ** np.clip(shift, 0, MOST), 10.0 ** np.clip(-shift, 0, MOST)
    scaled = inside * up / down
    whole = np.rint(scaled)
    tie = np.abs(np.abs(scaled - np.trunc(scaled)) - 0.5) < NEAR_TIE
    tie |= np.abs(whole) > 10.0**digits  # its power of ten was taken for the one below
    found[plain] = whole * down / up
    rest = np.isfinite(found) & (found != 0.0) & ~plain
    rest[np.flatnonzero(plain)[tie | (shift > MOST)]] = True
    original = np.asarray(values, dtype=np.float64)
    found[rest] = original[rest]
    return _by_python(found, rest, digits)


def _by_python(values: Floats, which: NDArray[np.bool_], digits: int) -> Floats:
    for place in np.flatnonzero(which):
        values[place] = float(f"{values[place]:.{digits}g}")
    return values
