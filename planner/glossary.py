"""The only list of quantities: name, unit, type and plausible range from glossary.csv, label and meaning from texts/.

A name with `{month}` stands for twelve columns, `…_01` (January) to `…_12`.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

from planner.texts import texts

MONTHS = tuple(f"{month:02d}" for month in range(1, 13))

Dtype = Literal["text", "number", "integer", "flag"]


@dataclass(frozen=True)
class Quantity:
    """One quantity of the project."""

    name: str
    unit: str
    dtype: Dtype
    low: float | None
    high: float | None
    label: str
    meaning: str


@cache
def glossary() -> dict[str, Quantity]:
    """All quantities by name, months written out."""
    found: dict[str, Quantity] = {}
    words = texts()
    text = files("planner").joinpath("glossary.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        names = [row["name"]] if "{month}" not in row["name"] else monthly(row["name"].removesuffix("_{month}"))
        for name in names:
            found[name] = Quantity(
                name,
                row["unit"],
                row["dtype"],  # type: ignore[arg-type]
                float(row["low"]) if row["low"] else None,
                float(row["high"]) if row["high"] else None,
                words[f"label_{row['name']}"][1],
                words[f"meaning_{row['name']}"][1],
            )
    return found


def monthly(stem: str) -> list[str]:
    """The twelve column names of a monthly quantity."""
    return [f"{stem}_{month}" for month in MONTHS]
