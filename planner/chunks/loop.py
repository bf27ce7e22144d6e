"""The one loop of everything that is computed chunk by chunk: found in the store, or computed, kept and handed on.

Work is a pure function of the sites of a chunk and of what all sites share. Neither where chunks are cut, nor who
computes them, in which order, nor an interruption changes a byte of what comes out.
"""

from __future__ import annotations

import json
import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, Protocol

from planner.chunks.cut import cut, part_of
from planner.chunks.keys import context_digest, key_of
from planner.chunks.store import Store, Tables, pack, unpack
from planner.engine.assess import Context

Columns = tuple[Any, ...]  # data classes of columns over the same rows; the first has `inventory_row`
Settings = tuple[Any, ...]  # plain numbers and texts that all chunks of a task share
Work = Callable[[Columns, Context, Settings], Tables]
LOOKED_S = 1.0  # a wait as long as that looks up: at an interrupt, at a cluster that is gone


@dataclass(frozen=True)
class Task:
    """Work on sites, and what it reads.

    work           pure, and importable by its name from another process
    rehearse       the same on one site, so that every kernel is compiled before threads start
    sites          of a chunk, about
    sections       of the plan that are read besides those of the engine
    sources        folders of the package whose code takes part, besides those that are compiled
    by_row         what is computed hangs on the site's place in its file
    """

    name: str
    work: Work
    rehearse: Work
    sites: int
    sections: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    by_row: bool = False


class Lanes(Protocol):
    """Somewhere that work is done."""

    @property
    def width(self) -> int:
        """Chunks under way at a time."""

    def submit(self, work: Work, columns: Columns, settings: Settings) -> Future[bytes]:
        """Begin a chunk."""

    def look(self) -> None:
        """Raise if nobody works any more."""

    def again(self) -> None:
        """What was under way is lost: make ready to begin it again, or raise."""


class Crew(Protocol):
    """Who computes: threads of this process, or the workers of a cluster."""

    def lanes(
        self, task: Task, columns: Columns, context: Context, settings: Settings
    ) -> AbstractContextManager[Lanes]:
        """Open for chunks of one task; `columns` are those of one site, for a rehearsal."""


def chunks_of(
    task: Task, columns: Columns, context: Context, settings: Settings = (), sites: int | None = None
) -> list[tuple[slice, str]]:
    """The rows of every chunk of a task, and the key it is kept by."""
    digest = context_digest(context, task.sections, task.sources)
    common = json.dumps([task.name, digest, [repr(one) for one in settings]])
    return [
        (rows, key_of(common, [part_of(one, rows) for one in columns], task.by_row))
        for rows in cut(columns[0], sites or task.sites)
    ]


@dataclass
class Loop:
    """The loop with its store, its crew, and where it tells what it found."""

    store: Store
    crew: Crew
    tell: Callable[[str], None] = lambda _: None

    def run(
        self,
        task: Task,
        columns: Columns,
        context: Context,
        take: Callable[[slice, Tables], None],
        settings: Settings = (),
        sites: int | None = None,
    ) -> None:
        """Hand on the tables of every chunk with the rows of `columns` it stands for; found ones first.

        sites  of a chunk, in place of the task's own number
        """
        chunks = chunks_of(task, columns, context, settings, sites)
        missing: list[int] = []
        for number, (rows, key) in enumerate(chunks):
            packed = self.store.find(task.name, key)
            if packed is None:
                missing.append(number)
            else:
                take(rows, unpack(packed))
        if len(missing) < len(chunks):
            self.tell(
                f"{task.name.replace('_', ' ')}: {len(chunks) - len(missing)} of {len(chunks)} chunks found again"
            )
        if not missing:
            return
        one_site = tuple(part_of(one, slice(0, 1)) for one in columns)
        with self.crew.lanes(task, one_site, context, settings) as lanes:
            for number, packed in self._computed(lanes, task, columns, [(n, chunks[n][0]) for n in missing], settings):
                rows, key = chunks[number]
                self.store.keep(task.name, key, packed)
                take(rows, unpack(packed))

    def _computed(
        self, lanes: Lanes, task: Task, columns: Columns, missing: list[tuple[int, slice]], settings: Settings
    ) -> Iterator[tuple[int, bytes]]:
        """Chunks as they are done; only a few are under way, so that memory does not grow with their number."""
        begun: dict[Future[bytes], tuple[int, slice]] = {}
        left = deque(missing)
        while left or begun:
            while left and len(begun) < lanes.width:
                number, rows = left.popleft()
                parts = tuple(part_of(one, rows) for one in columns)
                begun[lanes.submit(task.work, parts, settings)] = number, rows
            done = wait(begun, timeout=LOOKED_S, return_when=FIRST_COMPLETED).done
            if not done:
                lanes.look()
            lost = [begun.pop(future) for future in done if future.cancelled()]
            if lost:
                left.extendleft(sorted(lost, key=itemgetter(0), reverse=True))
                lanes.again()
            for future in sorted(done & begun.keys(), key=lambda one: begun[one][0]):
                yield begun.pop(future)[0], future.result()


@dataclass(frozen=True)
class Threads:
    """Threads of this process; numba's kernels run without the interpreter's lock."""

    workers: int

    @contextmanager
    def lanes(self, task: Task, columns: Columns, context: Context, settings: Settings) -> Iterator[Lanes]:
        """Compile each kernel once, then start the threads; whoever stops waits for nothing that is queued."""
        task.rehearse(columns, context, settings)
        executor = ThreadPoolExecutor(max_workers=self.workers)
        try:
            yield _ThreadLanes(executor, context, 2 * self.workers)
        finally:
            executor.shutdown(wait=False, cancel_futures=True)


@dataclass(frozen=True)
class _ThreadLanes:
    executor: ThreadPoolExecutor
    context: Context
    width: int

    def submit(self, work: Work, columns: Columns, settings: Settings) -> Future[bytes]:
        return self.executor.submit(packed_work, work, columns, self.context, settings)

    def look(self) -> None:
        """Threads of this process are there as long as it is."""

    def again(self) -> None:
        """Nothing gets lost between threads."""


def packed_work(work: Work, columns: Columns, context: Context, settings: Settings) -> bytes:
    """A chunk computed, as it is stored and sent."""
    return pack(work(columns, context, settings))


def default_workers() -> int:
    """As many as the cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
