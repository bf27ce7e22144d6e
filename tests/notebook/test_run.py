"""Run: what it holds, and that a folder gives it back."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

import planner
from planner.errors import InputError, OutputError
from tests.test_architecture import HEAVY


def test_results_are_the_rows_of_the_inventory_with_points(done: planner.Run) -> None:
    results = done.results
    assert results["inventory_row"].tolist() == list(range(1, len(results) + 1))
    assert results.crs == "EPSG:4326"
    written = pd.read_parquet(done.folder / "sites.parquet")
    assert [*written.columns, "geometry"] == list(results.columns)
    nowhere = results[results.geometry.isna()]
    assert nowhere["decision"].tolist() == ["not_assessed"]
    placed = results[results.geometry.notna()]
    assert placed.geometry.x.tolist() == placed["longitude"].tolist()
    assert sum(done.counts.values()) == len(results)
    assert done.counts["equip"] == (results["decision"] == "equip").sum()


def test_a_finished_run_opens_as_it_was(done: planner.Run) -> None:
    again = planner.open_run(done.folder)
    for name in ("results", "checks", "findings"):
        assert_frame_equal(getattr(again, name), getattr(done, name))
    assert (again.run_id, dict(again.counts), again.lines) == (done.run_id, dict(done.counts), done.lines)
    assert again.about == json.loads(json.dumps(done.about))
    assert again.areas is not None and done.areas is not None
    assert again.areas["area_name"].tolist() == done.areas["area_name"].tolist() == ["Mwesa"]
    assert again.areas.geometry.geom_equals(done.areas.geometry).all()


def test_a_run_says_in_a_line_what_it_is(done: planner.Run) -> None:
    assert repr(done).startswith(f"Run({done.run_id}, {len(done.results)} rows: not_assessed 1, unsuitable 1, ")
    with pytest.raises(AttributeError):
        done.run_id = "another"  # type: ignore[misc]


def test_what_is_no_run_is_refused(done: planner.Run, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"run\.json|results folder"):
        planner.open_run(tmp_path)
    (tmp_path / "run.json").write_text((done.folder / "run.json").read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(OutputError, match="parquet"):
        planner.open_run(tmp_path)
    (tmp_path / "run.json").write_text('{"run_id": 1}', encoding="utf-8")
    with pytest.raises(InputError, match="another version"):
        planner.open_run(tmp_path)
    with pytest.raises(InputError, match=r"nowhere\.toml"):
        planner.run(tmp_path / "nowhere.toml")


def test_importing_planner_imports_nothing_heavy() -> None:
    heavy = (*HEAVY, "planner.notebook")
    code = (
        "import sys\nimport planner\n"
        f"print([name for name in {heavy} if name in sys.modules])\n"
        "assert planner.open_run.__module__ == 'planner.notebook.run'\n"
        "try:\n    planner.nothing\nexcept AttributeError:\n    print('none')\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    assert ended.stdout.split("\n")[:2] == ["[]", "none"]
