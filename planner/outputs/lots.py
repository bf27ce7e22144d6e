"""lots.csv: a row a lot. A working file: bases that are sites stand at their exact position."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from planner.outputs.tables import write_rows


def write_lots_csv(lots: pd.DataFrame, path: Path) -> None:
    """UTF-8, comma, dot, as sites.csv; missing is empty."""
    write_rows(path, list(lots.columns), (map(_cell, row) for row in lots.itertuples(index=False)))


def _cell(value: object) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.6f}".rstrip("0").rstrip(".")
    return str(value)
