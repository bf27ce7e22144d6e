"""A small run through the notebook's own door, with names that try to become something else."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

import planner


@pytest.fixture(scope="session")
def done(
    make_programme: Callable[..., Path],
    plan_text: str,
    hostile_names: tuple[str, ...],
    tmp_path_factory: pytest.TempPathFactory,
) -> planner.Run:
    """A well a hostile name, one without position, one that is dry, and some plain ones; a budget that buys a few."""
    folder = tmp_path_factory.mktemp("notebook")
    rows = [{"site_name": name} for name in hostile_names]
    rows += [{"latitude": "", "longitude": ""}, {"status": "dry"}, {"pumping_level_m": "", "test_hours": ""}, {}]
    text = plan_text.replace('"Small invented programme"', f"'{hostile_names[5]} <b>programme</b>'\nbudget = 60000")
    files = 'files = ["csv", "parquet", "gpkg", "charts", "map"]\nshow_columns = ["status"]\n'
    text = re.sub(r"(?m)^files = .*\n", files, text)
    return planner.run(make_programme(folder / "data", rows, text), folder / "out")
