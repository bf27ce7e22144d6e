"""The same material gives the same bytes, in this process and in another one with another order of hashing."""

from __future__ import annotations

import hashlib
import os
import pickle
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest

from planner.pipeline import run
from planner.plan.sections import OutputFile
from planner.publish import draw

ROOT = Path(__file__).parents[1]
AGAIN = """\
import pickle, sys
from pathlib import Path
from planner.publish import draw
draw(pickle.loads(Path(sys.argv[1]).read_bytes()), Path(sys.argv[2]))
"""


@pytest.fixture(scope="module")
def folders(
    make_programme: Callable[..., Path],
    plan_text: str,
    hostile_names: tuple[str, ...],
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Path, Path, Path]:
    """The folder of a run, and the same drawn again here and elsewhere."""
    base = tmp_path_factory.mktemp("bytes")
    rows = [{"site_name": name} for name in hostile_names[:8]] + [{"status": "dry"}, {"latitude": "", "longitude": ""}]
    text = plan_text.replace('programme"\n', 'programme"\nbudget = 60000\n', 1)
    text, count = re.subn(r"(?m)^files = .*$", f"files = {list(get_args(OutputFile))}", text)
    assert count == 1
    material = run(make_programme(base / "data", rows, text), base / "out").material
    pickled = base / "material.pickle"
    pickled.write_bytes(pickle.dumps(material))
    (base / "here").mkdir()
    (base / "elsewhere").mkdir()
    draw(material, base / "here")
    where = {**os.environ, "PYTHONHASHSEED": "12345", "TZ": "Pacific/Auckland", "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", AGAIN, str(pickled), str(base / "elsewhere")]
    subprocess.run(command, check=True, timeout=300, env=where)
    return base / "out", base / "here", base / "elsewhere"


def digests(folder: Path) -> dict[str, str]:
    files = [path for path in folder.rglob("*") if path.is_file() and ".planner" not in path.parts]
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
        if path.name != "run.json"
    }


def test_every_file_has_the_same_bytes_each_time(folders: tuple[Path, Path, Path]) -> None:
    first, here, elsewhere = map(digests, folders)
    assert {Path(name).suffix for name in first} >= {".csv", ".html", ".gpkg", ".svg", ".parquet", ".xlsx", ".gpx"}
    assert here == first
    assert elsewhere == first
