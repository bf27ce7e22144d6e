"""A run that is killed at any moment, as by a power cut, goes on where it was, to the same bytes.

The ordinary run kills at three moments that differ in kind. All of the run is covered by twenty random ones:

    python -m pytest -m slow -n0 tests/chunks/test_kills.py
"""

from __future__ import annotations

import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.conftest import MakeProgramme

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")

SEED, KILLS, WELLS = 20, 20, 6
PATIENCE_S = 300  # a busy machine
FILES = ("sites.csv", "sites.parquet", "checks.parquet", "findings.csv", "plan.gpkg", "map.html")
CODE = """
import sys
from pathlib import Path
from planner import pipeline
pipeline.run(Path(sys.argv[1]), Path(sys.argv[2]), workers=2, chunk_sites=2, tell=lambda line: print(line, flush=True))
"""
FOUND = re.compile(r"(.+): (\d+) of (\d+) chunks found again")
FOLDERS = {"sizing": "sizing", "draws": "draws", "switch values": "switch_values"}


@pytest.fixture(scope="module")
def plan(make_programme: MakeProgramme, tmp_path_factory: pytest.TempPathFactory) -> Path:
    rows = [{"people": str(200 + 30 * number), "static_level_m": str(8 + number)} for number in range(WELLS)]
    path = make_programme(tmp_path_factory.mktemp("kills"), rows)
    text = path.read_text(encoding="utf-8").replace("switch_values = false", "switch_values = true")
    path.write_text(text.replace("draws = 4", "draws = 2"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def whole(plan: Path) -> tuple[dict[str, bytes], float]:
    """Files of a run that nobody stopped, and how long it took, seconds."""
    started = time.monotonic()
    run(plan, plan.parent / "whole")
    return bytes_of(plan.parent / "whole"), time.monotonic() - started


def run(plan: Path, folder: Path, until: Callable[[], bool] = lambda: False) -> str:
    """Run to the end, or kill as soon as `until` says so; what was told."""
    command = [sys.executable, "-c", CODE, str(plan), str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as running:
        limit = time.monotonic() + PATIENCE_S
        while running.poll() is None and not until() and time.monotonic() < limit:
            time.sleep(0.005)
        if until():
            running.send_signal(signal.SIGKILL)
        told, _ = running.communicate(timeout=PATIENCE_S)
    assert running.returncode in ((0, -signal.SIGKILL) if until() else (0,)), told
    return told


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in FILES}


def kept(folder: Path) -> dict[str, int]:
    """Chunks in the store, by what they are of."""
    store = folder / ".planner" / "chunks"
    return {name: len(list((store / inside).glob("*.chunk"))) for name, inside in FOLDERS.items()}


def goes_on(plan: Path, folder: Path, whole: dict[str, bytes], until: Callable[[], bool]) -> dict[str, int]:
    """Kill a run, repeat it, and look: nothing kept is computed again, and the bytes are the same."""
    run(plan, folder, until)
    before = kept(folder)
    told = run(plan, folder)
    found = {match[1]: int(match[2]) for match in FOUND.finditer(told)}
    assert found == {name: count for name, count in before.items() if count}, told
    assert bytes_of(folder) == whole
    assert not list((folder / ".planner").rglob("new"))
    return before


def test_killed_while_sizing_while_drawing_and_while_writing(
    plan: Path, whole: tuple[dict[str, bytes], float], tmp_path: Path
) -> None:
    for number, name in enumerate(("sizing", "switch values")):
        folder = tmp_path / str(number)
        before = goes_on(plan, folder, whole[0], lambda folder=folder, name=name: kept(folder)[name] >= 1)
        assert before[name] >= 1
    folder = tmp_path / "writing"
    goes_on(plan, folder, whole[0], lambda: any((folder / ".planner" / "new").glob("*")))


@pytest.mark.slow
def test_killed_at_twenty_random_moments(plan: Path, whole: tuple[dict[str, bytes], float], tmp_path: Path) -> None:
    chance = random.Random(SEED)
    moments = sorted(chance.uniform(0.0, whole[1]) for _ in range(KILLS))
    assert len(set(moments)) == KILLS
    for number, moment in enumerate(moments):
        end = time.monotonic() + moment
        before = goes_on(plan, tmp_path / str(number), whole[0], lambda end=end: time.monotonic() >= end)
        print(f"killed after {moment:.1f} s of {whole[1]:.1f} s; kept: {before}")


def test_killed_again_and_again_it_comes_to_the_end(
    plan: Path, whole: tuple[dict[str, bytes], float], tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    for name in ("sizing", "draws"):
        run(plan, folder, lambda name=name: kept(folder)[name] >= 1)
    run(plan, folder)
    assert bytes_of(folder) == whole[0]
