"""Work that is done at once or after a while, for tests of the loop; workers import it by its name."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from planner.chunks.loop import Task

DIED = "died"


@dataclass(frozen=True)
class Rows:
    """Columns as the loop takes them."""

    inventory_row: NDArray[np.int64]
    value: NDArray[np.float64]
    months: NDArray[np.float64]


def rows_of(count: int, seed: int = 7) -> Rows:
    """Invented rows."""
    made = np.random.default_rng(seed)
    return Rows(np.arange(1, count + 1), made.normal(size=count), made.normal(size=(count, 12)))


def work(columns: tuple[Any, ...], _context: Any, settings: tuple[Any, ...]) -> tuple[pa.Table, ...]:
    """The sum of each row, after as many seconds as the settings say."""
    time.sleep(settings[0])
    return (pa.table({"sum": columns[0].value + columns[0].months.sum(axis=1)}),)


def dying(columns: tuple[Any, ...], context: Any, settings: tuple[Any, ...]) -> tuple[pa.Table, ...]:
    """The same, but whoever is first at it dies; `settings[1]` is a file that says who it was."""
    try:
        with open(settings[1], "x", encoding="utf-8") as file:
            file.write(DIED)
    except FileExistsError:
        return work(columns, context, settings)
    os._exit(1)


TASK = Task("light", work, rehearse=work, sites=5)
DYING = Task("dying", dying, rehearse=work, sites=5)
