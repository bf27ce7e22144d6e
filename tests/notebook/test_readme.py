"""The example of the README, as it stands there."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from planner.outputs.folder import chunk_folder
from tests.quick_demo import quick_demo

README = Path(__file__).parents[2] / "README.md"


def test_the_example_runs(
    quick_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    section = README.read_text(encoding="utf-8").partition("### In a notebook\n")[2]
    example = re.search(r"```python\n(.*?)```", section, re.DOTALL)
    assert example is not None
    plan = quick_demo(tmp_path / "data_demo")
    # Its sites are those of a run that others share; the example needs not compute them again.
    text, count = re.subn(r"(?m)^files = .*$", 'files = ["parquet"]', plan.read_text(encoding="utf-8"))
    assert count == 1
    plan.write_text(text, encoding="utf-8")
    shutil.copytree(chunk_folder(quick_run / "out"), chunk_folder(tmp_path / "maps" / "demo-district"))
    monkeypatch.chdir(tmp_path)
    exec(compile(example[1], str(README), "exec"), {})
    told = capsys.readouterr().out
    assert told.startswith("Budget 1 000 000 USD: funded ") and "helical_rotor" in told
    assert (tmp_path / "preview.html").stat().st_size > 500_000
