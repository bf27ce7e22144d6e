"""What a visit changes in a row of the inventory: levels to the ground, a new test in place of the old one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planner.commands.update.belonging import NEW
from planner.commands.update.returned import FREE, QUANTITIES, TEXTS, Row, Value
from planner.commands.update.told import Told, not_used
from planner.tables.inventory_file import DEGREES

# What belongs to the rate of one pumping test and means nothing beside that of another.
OF_A_TEST = ("pumping_level_m", "test_hours", "test_kind", "test_date", "drawdown_m", "specific_capacity_m3_h_m")
RATE = "tested_yield_m3_h"
FROM_THE_POINT = ("static_level_m", "pumping_level_m")
# Columns of the copy for answers that are no quantities of an inventory.
BESIDE = {"visit_date": "visit_date", **{name: f"visit_{name}" for name in FREE}}


@dataclass(frozen=True)
class Change:
    """One cell: a quantity in the inventory's name, unit and words, or a column of BESIDE; None empties it.

    row  of the inventory, NEW for a well to be added by this row of the form
    """

    form_row: int
    row: int
    name: str
    value: Value | None


def changes_of(
    rows: Sequence[Row], belongs: Mapping[int, int], sites: pd.DataFrame
) -> tuple[list[Change], int, list[Told]]:
    """The cells that change, how many answers only confirm what stands there, and what cannot be used."""
    found: list[Change] = []
    told: list[Told] = []
    confirmed = 0
    for row in rows:
        if row.number not in belongs:
            continue
        at = belongs[row.number]
        site: dict[Any, Any] = {} if at == NEW else sites.loc[at].to_dict()
        answers = dict(_answers(row, at, told))
        if at == NEW:
            answers |= {name: text for name in TEXTS if (text := str(getattr(row, name)))}
        for name, value in answers.items():
            if same(site.get(name), value):
                confirmed += value is not None
            else:
                found.append(Change(row.number, at, name, value))
    return found, confirmed, told


def _answers(row: Row, at: int, told: list[Told]) -> Iterator[tuple[str, Value | None]]:
    """The answers of a row as the inventory has them."""
    values = dict(row.values)
    height = float(values.pop("measuring_point_m", 0.0))
    for name in FROM_THE_POINT:
        if name in values:
            values[name] = round(float(values[name]) - height, 6)
    if RATE in values:
        if "visit_date" in values:
            values.setdefault("test_date", values["visit_date"])
        yield from ((name, None) for name in OF_A_TEST if name not in values)
    elif "pumping_level_m" in values:
        del values["pumping_level_m"]
        expected = f"{RATE} beside it: a pumping level means nothing without its rate"
        told.append(not_used(row.number, "no rate", expected, row=at, site_id=row.site_id, column="pumping_level_m"))
    for name in (*DEGREES, *QUANTITIES):
        if name in values:
            yield name, values[name]
    for name, column in BESIDE.items():
        if name in values:
            yield column, values[name]


def same(old: Value | None, new: Value | None) -> bool:
    """Whether two values are one; missing is one with missing.

    >>> same(12.0, 12.0), same(float("nan"), None), same("dry", "working")
    (True, True, False)
    """
    missing = [one is None or one == "" or (isinstance(one, float) and math.isnan(one)) for one in (old, new)]
    if any(missing):
        return all(missing)
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=1e-9, abs_tol=1e-12)
    return old == new
