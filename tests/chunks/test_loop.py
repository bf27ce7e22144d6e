"""The loop: every chunk once, found again, in any order; and what it does when it is stopped."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.chunks import Loop, Store, Threads
from planner.chunks.store import unpack
from tests.chunks.light import TASK, Rows, rows_of, work
from tests.engine.bed import context


def sums(loop: Loop, rows: Rows, sites: int | None = None, task: Any = TASK) -> np.ndarray:
    """What the loop hands on, row by row."""
    found = np.full(rows.value.size, np.nan)

    def take(which: slice, tables: Any) -> None:
        assert np.isnan(found[which]).all()
        found[which] = tables[0].column("sum").to_numpy()

    loop.run(task, (rows,), context(), take, (0.0,), sites)
    return found


@pytest.mark.parametrize(("sites", "workers"), [(1, 1), (5, 1), (5, 3), (40, 2), (1000, 1)])
def test_every_row_comes_once_whatever_the_chunks(tmp_path: Path, sites: int, workers: int) -> None:
    rows = rows_of(200)
    found = sums(Loop(Store(tmp_path), Threads(workers)), rows, sites)
    assert found.tobytes() == (rows.value + rows.months.sum(axis=1)).tobytes()


def test_no_rows_is_no_work(tmp_path: Path) -> None:
    assert sums(Loop(Store(tmp_path), Threads(2)), rows_of(0)).size == 0


def test_what_was_found_is_told_and_not_computed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    loop = Loop(Store(tmp_path), Threads(2), told.append)
    first = sums(loop, rows_of(60))
    chunks = sorted((tmp_path / "light").iterdir())
    assert not told
    chunks[0].write_bytes(chunks[0].read_bytes()[:-1])
    assert sums(loop, rows_of(60)).tobytes() == first.tobytes()
    assert told == [f"light: {len(chunks) - 1} of {len(chunks)} chunks found again"]
    monkeypatch.setattr("tests.chunks.light.time.sleep", lambda _: pytest.fail("computed"))
    sums(loop, rows_of(60))
    assert told[1] == f"light: {len(chunks)} of {len(chunks)} chunks found again"


def test_who_stops_does_not_wait_for_what_is_queued(tmp_path: Path) -> None:
    begun, go = [], threading.Event()

    def slow(columns: Any, where: Any, settings: Any) -> Any:
        begun.append(columns[0].value.size)
        go.wait(20)
        return work(columns, where, settings)

    def take(_rows: slice, _tables: Any) -> None:
        raise KeyboardInterrupt

    loop = Loop(Store(tmp_path), Threads(2))
    task = type(TASK)("light", slow, rehearse=work, sites=2)
    threading.Timer(0.3, go.set).start()
    with pytest.raises(KeyboardInterrupt):
        loop.run(task, (rows_of(100),), context(), take, (0.0,))
    assert len(begun) <= 8  # of some fifty
    (kept,) = (tmp_path / "light").iterdir()  # the one that was handed on
    assert unpack(kept.read_bytes()[40:])[0].num_rows > 0
