"""The demo over and over in one process: the same bytes every time, and no more memory.

    python -m pytest -m soak -s tests/test_soak.py          # SOAK_RUNS, 50 by default

One run in ten computes everything anew (`--fresh`); the others find their chunks again and do all the rest: reading,
joining, choosing, and writing every file of the plan.
"""

from __future__ import annotations

import hashlib
import os
import resource
from pathlib import Path

import pytest

from planner.pipeline import run

DEMO = Path(__file__).parents[1] / "data_demo" / "plan.toml"
RUNS = int(os.environ.get("SOAK_RUNS", "50"))
FRESH_EACH = 10
WARM_UP = 5  # runs in which caches of libraries fill
MOST_GROWTH = 1.05  # our own rule: of the memory in use, from the first runs after the warm-up to the last


def resident_mb() -> float:
    """Memory in use now, MB."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 1e6


def digests(folder: Path) -> dict[str, str]:
    """sha256 of every result but run.json, which has the times."""
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.is_file() and path.name != "run.json"
    }


@pytest.mark.soak
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory in use is read from /proc")
def test_demo_over_and_over(tmp_path: Path) -> None:
    first: dict[str, str] = {}
    memory = []
    for number in range(RUNS):
        run(DEMO, tmp_path / "out", fresh=number % FRESH_EACH == 0)
        memory.append(resident_mb())
        found = digests(tmp_path / "out")
        first = first or found
        assert found == first, [name for name in {*first, *found} if first.get(name) != found.get(name)]
        print(f"run {number + 1}: {memory[-1]:.0f} MB, {len(found)} files alike", flush=True)
    settled = memory[WARM_UP:]
    part = max(len(settled) // 4, 1)
    assert max(settled[-part:]) <= MOST_GROWTH * max(settled[:part])
