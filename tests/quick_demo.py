"""The demo, copied, with few draws, no scenarios, no switch values and no printed files: for tests whose subject they
are not, since each takes longer than all the rest."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

DEMO = Path(__file__).parents[1] / "data_demo"
DRAWS = 4
FILES = ("map", "csv", "parquet", "gpkg", "bill")


def quick_demo(folder: Path) -> Path:
    """Copy the demo into a folder that is not there yet; its plan file."""
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("__pycache__"))
    plan = folder / "plan.toml"
    text = re.sub(r"(?ms)^\[\[?scenario.*?(?=^\[(?!\[?scenario))", "", plan.read_text(encoding="utf-8"))
    for old, new in (
        (r"^draws = \d+", f"draws = {DRAWS}"),
        (r"^\[testing\].*", "[testing]\nswitch_values = false"),
        (r"^\[output\].*", f"[output]\nfiles = {list(FILES)}"),
    ):
        text, count = re.subn(f"(?m){old}", new, text)
        assert count == 1, old
    assert "scenario" not in text
    plan.write_text(text, encoding="utf-8")
    return plan
