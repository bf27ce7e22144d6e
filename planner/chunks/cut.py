"""Where a column of sites is cut into chunks: by what the rows say, not by their place.

A chunk ends behind a row whose own values say so. A row that is inserted, changed or gone therefore moves no other
boundary than its own, and a repeated run finds every chunk but one or two. Results never depend on where it is cut.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROW = "inventory_row"  # the place of a site in its file, no property of the site
LONGEST = 2  # times the mean length
ODD = np.uint64(0x9E3779B97F4A7C15)  # an odd number without pattern in its bits
HALF = np.uint64(32)


def cut(columns: Any, sites: int) -> list[slice]:
    """Chunks of about so many sites, in order, over all rows of a data class of columns, (n,) or (n, …)."""
    if getattr(columns, ROW).size == 0:
        return []
    marks = marks_of(columns)
    ends = (marks % np.uint64(sites) == 0) & np.append(marks[1:] != marks[:-1], True)  # equal rows end no chunk
    ends[-1] = True
    found, start = [], 0
    for stop in np.flatnonzero(ends) + 1:
        for begin in range(start, int(stop), LONGEST * sites):
            found.append(slice(begin, min(begin + LONGEST * sites, int(stop))))
        start = int(stop)
    return found


def marks_of(columns: Any) -> NDArray[np.uint64]:
    """A number of each row that hangs on every value of it except its place in the file."""
    count = getattr(columns, ROW).size
    mixed = np.zeros(count, dtype=np.uint64)
    for field in dataclasses.fields(columns):
        if field.name == ROW:
            continue
        values = np.asarray(getattr(columns, field.name))
        bits = (values if values.dtype == np.float64 else values.astype(np.int64)).view(np.uint64)
        for one in bits.reshape(count, -1).T:
            mixed ^= one
            mixed *= ODD
            mixed ^= mixed >> HALF
    return mixed


def part_of(columns: Any, which: slice | NDArray[np.int64]) -> Any:
    """Some rows of a data class of columns."""
    return type(columns)(**{one.name: getattr(columns, one.name)[which] for one in dataclasses.fields(columns)})
