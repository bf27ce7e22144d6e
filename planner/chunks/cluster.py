"""More than one machine: chunks computed by the workers of a dask cluster (optional extra `cluster`).

Only this process reads and writes files. A worker gets the columns of a chunk and what all sites share, and gives back
the chunk as it is stored; one that dies loses nothing, its chunks go to another. So that results are the same byte for
byte, a worker must have the same sources and libraries as this process.
"""

from __future__ import annotations

import hashlib
import logging
import platform
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import version
from typing import Any

import numpy as np

from planner import __version__
from planner.chunks.loop import Columns, Lanes, Settings, Task, Work, packed_work
from planner.engine.assess import Context
from planner.errors import ClusterError, Fault, InternalError, PlannerError
from planner.physics.equation import PACKAGE

STARTS = 4
CONNECT_S = 10  # for an address to answer, and for a first worker to be there
WITHOUT_WORKERS_S = 60.0  # as long as a cluster may be without any
AHEAD = 3  # chunks under way, times the threads of all workers: none waits for this process
LIBRARIES = ("numba", "llvmlite", "numpy", "scipy", "pandas", "pyarrow")
ADDRESS = "the address of a running scheduler, as tcp://10.0.0.5:8786"
LATER = "a cluster that stays; finished chunks are kept, repeat the command to go on, with or without --scheduler"


class OddWorkerError(Exception):
    """Raised on a worker that is not as this process is; its one argument says how."""


@cache
def make_up() -> dict[str, str]:
    """What results hang on besides their inputs: versions and sources of this process."""
    digest = hashlib.sha256()
    for file in sorted(path for path in PACKAGE.rglob("*") if path.suffix in {".py", ".csv"}):
        digest.update(file.relative_to(PACKAGE).as_posix().encode())
        digest.update(file.read_bytes())
    libc = " ".join(platform.libc_ver())
    return {
        "planner": __version__,
        "sources of planner": digest.hexdigest()[:12],
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()} {libc}".strip(),
        **{name: version(name) for name in LIBRARIES},
    }


def differences(own: dict[str, str], other: dict[str, str]) -> str:
    """What another has otherwise, in words; "" where nothing is."""
    return ", ".join(
        f"{name} {other.get(name, 'unknown')} (here {own[name]})" for name in own if other.get(name) != own[name]
    )


def received(columns: Columns) -> Columns:
    """Columns as they arrive, in memory of their own: what is sent may not lie at whole words."""
    return tuple(
        type(one)(**{name: np.array(values, order="C") for name, values in vars(one).items()}) for one in columns
    )


def on_worker(expected: dict[str, str], work: Work, columns: Columns, context: Context, settings: Settings) -> bytes:
    """A chunk computed by a worker, which may have joined after all others were looked at."""
    odd = differences(expected, make_up())
    if odd:
        raise OddWorkerError(odd)
    return packed_work(work, received(columns), context, settings)


class Cluster:
    """A crew behind a scheduler. Raises ClusterError where it cannot be reached, is empty, or is of another make-up."""

    def __init__(self, address: str, tell: Callable[[str], None] = lambda _: None) -> None:
        self.address, self.tell = address, tell
        with self._client() as client:
            threads = client.nthreads()
            tell(f"cluster: {len(threads)} workers with {sum(threads.values())} threads at {address}")

    @contextmanager
    def lanes(self, task: Task, columns: Columns, context: Context, settings: Settings) -> Iterator[Lanes]:
        """Send what all sites share to every worker once, then chunks; each worker compiles for itself."""
        with self._client() as client:
            yield _ClusterLanes(client, context, self)

    @contextmanager
    def _client(self) -> Iterator[Any]:
        try:
            import distributed
        except ImportError as error:
            found, expected = "dask.distributed is not installed", 'it: pip install "planner[cluster]"'
            raise self.refused(found, expected) from error
        if not self.address.strip():  # dask would start a cluster of its own
            raise self.refused("no address", ADDRESS)
        connect: Any = distributed.Client
        for name in [name for name in logging.root.manager.loggerDict if name.startswith("distributed")]:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)  # what matters is told here, in one sentence
        client = self._connected(connect)
        try:
            self._look_at_workers(client)
            yield client
        except OddWorkerError as error:
            raise self.refused(f"a worker with {error}", "the same installation on every worker") from error
        except distributed.KilledWorker as error:
            raise self.refused("several workers that died over the same chunk: too little memory?", LATER) from error
        except PlannerError:
            raise
        except Exception as error:
            if client.status == "running":  # a defect of ours, or of this machine
                raise
            raise self.refused("a scheduler that is gone", LATER) from error
        finally:
            client.close(timeout=2)

    def _connected(self, connect: Any) -> Any:
        for tries_left in reversed(range(STARTS)):
            try:
                return connect(self.address, timeout=CONNECT_S, set_as_default=False)
            except AssertionError:  # dask gives a thread of its own ten seconds to start, too few on a busy machine
                if not tries_left:
                    raise
            except (OSError, ValueError, TypeError) as error:
                found = f"nobody who answers ({type(error).__name__})"
                raise self.refused(found, ADDRESS) from error
        raise InternalError("no try was made")

    def _look_at_workers(self, client: Any) -> None:
        try:
            client.wait_for_workers(1, timeout=CONNECT_S)
        except TimeoutError as error:
            raise self.refused("no worker", "one at least: dask worker ADDRESS") from error
        for worker, found in client.run(make_up, on_error="return").items():
            odd = differences(make_up(), found) if isinstance(found, dict) else f"{type(found).__name__}: {found}"
            if odd:
                raise self.refused(f"worker {worker} with {odd}", "the same installation of planner on every worker")

    def refused(self, found: str, expected: str) -> ClusterError:
        """The fault of a cluster that cannot be used."""
        return ClusterError([Fault("--scheduler", self.address, found, expected)])


@dataclass
class _ClusterLanes:
    client: Any
    context: Context
    cluster: Cluster
    width: int = 0
    _shared: Any = None
    _executor: Any = None
    _seen: float = field(default_factory=time.monotonic)

    def __post_init__(self) -> None:
        self._executor = self.client.get_executor(pure=False)
        self.again()

    def submit(self, work: Work, columns: Columns, settings: Settings) -> Future[bytes]:
        begun: Future[bytes] = self._executor.submit(on_worker, make_up(), work, columns, self._shared, settings)
        return begun

    def look(self) -> None:
        if self.client.status != "running":
            raise self.cluster.refused("a scheduler that is gone", LATER)
        threads = sum(self.client.nthreads().values())
        if threads:
            self._seen, self.width = time.monotonic(), AHEAD * threads
        elif time.monotonic() - self._seen > WITHOUT_WORKERS_S:
            raise self.cluster.refused("no worker any more", LATER)

    def again(self) -> None:
        while True:
            self.look()
            if self.client.nthreads():
                break
            time.sleep(0.2)
        self._shared = self.client.scatter(self.context, broadcast=True, hash=False)
