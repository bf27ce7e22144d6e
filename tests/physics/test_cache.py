"""Compiled code on disk: an edit is never answered by an old result, and no cache folder is no reason to stop."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import planner

# A kernel in one file that calls an equation of another: the case that numba's own cache does not notice.
KERNEL = """\
from planner.physics.equation import kernel
from planner.physics.pipes import minor_head_m

@kernel
def head(flow):
    return minor_head_m(flow, 100.0, 2.0)
"""
USE = """\
from planner.engine.tiny import head
value = head(10.0)
print(value, sum(head.stats.cache_hits.values()))
"""


def run(folder: Path, code: str, **environment: str) -> str:
    """Standard output of some Python with the package in `folder` and nothing of ours in the environment."""
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    ended = subprocess.run(
        [sys.executable, "-c", code],
        env=kept | {"PYTHONPATH": str(folder), "PYTHONUTF8": "1", "PYTHONDONTWRITEBYTECODE": "1"} | environment,
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    return ended.stdout


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a copy of the package, to which a tiny kernel is added."""
    folder = tmp_path_factory.mktemp("copy")
    own = Path(planner.__file__).parent
    shutil.copytree(own, folder / "planner", ignore=shutil.ignore_patterns("__pycache__", "vendor"))
    (folder / "planner" / "engine" / "tiny.py").write_text(KERNEL, encoding="utf-8")
    return folder


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is elsewhere")
def test_an_edit_of_a_called_equation_is_seen(copy: Path, tmp_path: Path) -> None:
    environment = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    first, hits = run(copy, USE, **environment).split()
    assert hits == "0"
    again, hits = run(copy, USE, **environment).split()
    assert (again, hits) == (first, "1"), "what was compiled is found again"

    pipes = copy / "planner" / "physics" / "pipes.py"
    text = pipes.read_text(encoding="utf-8")
    assert text.count("loss_k * velocity_m_s(") == 1
    pipes.write_text(text.replace("loss_k * velocity_m_s(", "3.0 * loss_k * velocity_m_s("), encoding="utf-8")
    try:
        edited, hits = run(copy, USE, **environment).split()
    finally:
        pipes.write_text(text, encoding="utf-8")
    # Closed form: the edit makes the loss three times as great.
    assert float(edited) == pytest.approx(3 * float(first), rel=1e-12)
    assert hits == "0"
    assert len(list((tmp_path / "cache" / "planner").iterdir())) == 2
    assert run(copy, USE, **environment).split() == [first, "1"], "and what was compiled before is still there"


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is elsewhere")
@pytest.mark.parametrize("names", [("XDG_CACHE_HOME",), ("HOME",)])
def test_a_cache_folder_that_cannot_be_made_stops_nothing(copy: Path, tmp_path: Path, names: tuple[str, ...]) -> None:
    # A file stands in the way: no rights help against that, not even those of root.
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    (tmp_path / "temporary").mkdir()
    environment = {name: str(blocked / "below") for name in names} | {"TMPDIR": str(tmp_path / "temporary")}
    code = "from planner.physics import pipes\nimport numba\nprint(numba.config.CACHE_DIR)\n" + USE
    folder, value, _ = run(copy, code, **environment).split()
    assert Path(folder).parent == tmp_path / "temporary"
    assert float(value) > 0


def test_another_cache_folder_of_the_users_stays(copy: Path, tmp_path: Path) -> None:
    code = "from planner.physics import pipes\nimport numba\nprint(numba.config.CACHE_DIR)"
    told = run(copy, code, NUMBA_CACHE_DIR=str(tmp_path), HOME=str(tmp_path))
    assert told.strip() == str(tmp_path)
