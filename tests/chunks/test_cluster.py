"""Chunks on several machines: three worker processes on this one."""

from __future__ import annotations

import builtins
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner import cli, pipeline
from planner.chunks import Loop, Store
from planner.chunks.cluster import Cluster, differences, make_up
from planner.errors import ClusterError
from tests.chunks.light import DYING, TASK, Rows, rows_of
from tests.chunks.machines import Machines
from tests.conftest import MakeProgramme
from tests.engine.bed import context

pytest.importorskip("distributed")
# A connection that its other end closed by being killed is left to the garbage collector by the library.
pytestmark = [
    pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

ROWS = rows_of(400)
SUMS = ROWS.value + ROWS.months.sum(axis=1)


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    started = Machines(tmp_path_factory.mktemp("machines"))
    started.add(3)
    yield started
    started.end()


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Machines]:
    """Machines that the test may break."""
    started = Machines(tmp_path)
    yield started
    started.end()


def sums(
    crew: Cluster, store: Path, rows: Rows = ROWS, task: Any = TASK, settings: Any = (0.0,), each: Any = None
) -> Any:
    found = np.full(rows.value.size, np.nan)

    def take(which: slice, tables: Any) -> None:
        assert np.isnan(found[which]).all()
        found[which] = tables[0].column("sum").to_numpy()
        if each is not None:
            each()

    Loop(Store(store), crew).run(task, (rows,), context(), take, settings)
    return found


def test_a_cluster_gives_what_this_machine_gives(machines: Machines, tmp_path: Path) -> None:
    told: list[str] = []
    crew = Cluster(machines.address, told.append)
    assert sums(crew, tmp_path).tobytes() == SUMS.tobytes()
    assert told == [f"cluster: 3 workers with 3 threads at {machines.address}"]


def test_a_run_on_a_cluster_has_the_same_bytes(
    machines: Machines, make_programme: MakeProgramme, tmp_path: Path
) -> None:
    plan = make_programme(tmp_path, [{"people": str(200 + 40 * number)} for number in range(5)])
    text = plan.read_text(encoding="utf-8").replace("switch_values = false", "switch_values = true")
    text += "[portfolio]\nmax_pump_types = 2\n"
    plan.write_text(text.replace("draws = 4", "draws = 2"), encoding="utf-8")
    pipeline.run(plan, tmp_path / "here")
    done: list[tuple[int, int]] = []
    pipeline.run(
        plan,
        tmp_path / "there",
        scheduler=machines.address,
        progress=lambda *counts: done.append(counts),
        chunk_sites=2,
    )
    assert done[-1] == (5, 5)
    for name in ("sites.csv", "sites.parquet", "checks.parquet", "map.html", "plan.gpkg"):
        assert (tmp_path / "here" / name).read_bytes() == (tmp_path / "there" / name).read_bytes(), name


def test_a_killed_worker_loses_nothing(own: Machines, tmp_path: Path) -> None:
    own.add(3)
    crew, left = _waited_for(own, 3), [1]

    def each() -> None:
        if left:
            own.kill(left.pop())

    assert sums(crew, tmp_path / "store", settings=(0.05,), each=each).tobytes() == SUMS.tobytes()


@pytest.mark.slow
def test_a_worker_that_dies_over_a_chunk_loses_nothing(own: Machines, tmp_path: Path) -> None:
    own.add(2)
    crew = _waited_for(own, 2)
    found = sums(crew, tmp_path / "store", task=DYING, settings=(0.0, str(tmp_path / "who")))
    assert found.tobytes() == SUMS.tobytes()
    assert (tmp_path / "who").exists()


@pytest.mark.slow
def test_when_all_workers_die_new_ones_go_on(own: Machines, tmp_path: Path) -> None:
    own.add(1)
    crew, left = _waited_for(own, 1), [0]

    def each() -> None:
        if left:
            own.kill(left.pop())
            own.add(1)

    assert sums(crew, tmp_path / "store", settings=(0.01,), each=each).tobytes() == SUMS.tobytes()


def test_a_lost_scheduler_is_told_and_what_is_done_is_kept(own: Machines, tmp_path: Path) -> None:
    own.add(1)
    crew = _waited_for(own, 1)
    with pytest.raises(ClusterError, match="finished chunks are kept, repeat the command"):
        sums(crew, tmp_path / "store", settings=(0.05,), each=own.scheduler.kill)
    kept = len(list((tmp_path / "store" / "light").iterdir()))
    assert kept >= 1


def _waited_for(machines: Machines, count: int) -> Cluster:
    """A crew once all workers have joined."""
    from distributed import Client

    with Client(machines.address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=60)
    return Cluster(machines.address)


# What cannot be used ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nowhere", "ftp://x:1", "", "tcp://\x1b[31m:1"])
def test_a_wrong_address_is_told(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("planner.chunks.cluster.CONNECT_S", 1)
    with pytest.raises(ClusterError, match=r"--scheduler: .*expected the address of a running scheduler"):
        Cluster(address)


def test_a_cluster_without_workers_is_told(own: Machines, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("planner.chunks.cluster.CONNECT_S", 2)
    with pytest.raises(ClusterError, match="found no worker"):
        Cluster(own.address)


@pytest.mark.slow
def test_a_worker_without_planner_is_refused(own: Machines) -> None:
    (own.folder / "planner").mkdir()
    (own.folder / "planner" / "__init__.py").write_text('raise ImportError("not here")', encoding="utf-8")
    own.add(1, path=str(own.folder))
    with pytest.raises(ClusterError, match="the same installation of planner on every worker"):
        _waited_for(own, 1)


def test_another_version_on_the_workers_is_refused(machines: Machines, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("planner.chunks.cluster.__version__", "99.0.0")
    make_up.cache_clear()
    try:
        with pytest.raises(ClusterError, match=r"worker tcp.* with planner .* \(here 99.0.0\); expected the same"):
            Cluster(machines.address)
    finally:
        monkeypatch.undo()
        make_up.cache_clear()


def test_a_worker_that_joins_later_is_looked_at_too(
    machines: Machines, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = Cluster(machines.address)
    monkeypatch.setattr(Cluster, "_look_at_workers", lambda *_: None)
    monkeypatch.setattr("planner.chunks.cluster.make_up", lambda: {**make_up(), "numba": "0.1"})
    with pytest.raises(ClusterError, match=r"a worker with numba .* \(here 0.1\)"):
        sums(crew, tmp_path)


def test_differences_are_named() -> None:
    own = {"planner": "1.0", "numba": "0.6"}
    assert differences(own, dict(own)) == ""
    assert differences(own, {"planner": "1.1"}) == "planner 1.1 (here 1.0), numba unknown (here 0.6)"


def test_without_the_extra_one_message_says_how_to_install_it(
    make_programme: MakeProgramme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = make_programme(tmp_path, [{}])
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "distributed":
            raise ModuleNotFoundError("No module named 'distributed'")
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    command = ["planner", "run", str(plan), "--out", str(tmp_path / "out"), "--scheduler", "tcp://127.0.0.1:9"]
    monkeypatch.setattr(sys, "argv", command)
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == 2
    told = capsys.readouterr().err.strip().splitlines()
    fault = "error: --scheduler: tcp://127.0.0.1:9: found dask.distributed is not installed; "
    assert told == [fault + 'expected it: pip install "planner[cluster]"']
