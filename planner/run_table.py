"""The growing table of a run, and the promises that each step keeps."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from planner.columns_on_disk import ColumnsOnDisk
from planner.errors import InternalError
from planner.glossary import Quantity, glossary
from planner.tables.step import Finding, Step, join_checks, parts_of, sort_checks
from planner.texts import Said


@dataclass
class Table:
    """The growing table of a run, with its findings, checks and stages.

    shown    columns of the inventory that the plan wants in the results, as text by header
    tests    pumping tests to make first: record for run.json, None where nothing is known of their worth, and in words
    read_as  how the inventory's file was read: format, encoding, sheet, decimal …
    draws    how many draws were made, and their seed
    notes    sentences of this run for who reads its results
    ahead    steps that were run while the inputs were looked at, by module, with their seconds; of this plan alone, so
             `copy` leaves them out
    disk     where the columns of a large table lie
    """

    sites: pd.DataFrame
    findings: list[Finding]
    checks: list[pd.DataFrame]
    shown: pd.DataFrame = field(default_factory=pd.DataFrame)
    read_as: dict[str, str] = field(default_factory=dict)
    tests: tuple[dict[str, Any] | None, list[Said]] = (None, [])
    stages: list[dict[str, Any]] = field(default_factory=list)
    draws: dict[str, int | None] = field(default_factory=dict)
    notes: list[Said] = field(default_factory=list)
    ahead: dict[str, tuple[Step, float]] = field(default_factory=dict)
    disk: ColumnsOnDisk = field(default_factory=ColumnsOnDisk)

    def copy(self) -> Table:
        """Another table of the same rows; what either takes later is its own."""
        new = Table(self.sites, list(self.findings), list(self.checks), self.shown, dict(self.read_as))
        new.stages, new.notes, new.draws = list(self.stages), list(self.notes), dict(self.draws)
        new.disk = self.disk
        return new

    def stored(self, step: Step) -> Step:
        """The same step, its columns and checks on disk where the table is large."""
        rows = len(step.columns)
        kept = replace(step, columns=self.disk.keep(step.columns, rows), checks=self.disk.keep(step.checks, rows))
        self.disk.release()
        return kept

    def all_checks(self) -> pd.DataFrame:
        """The checks of all steps by inventory_row, rule and subject, a part of the rows after the other."""
        rows, parts = len(self.sites), []
        for part in parts_of(rows):
            first, last = self.sites.index[part.start], self.sites.index[part.stop - 1]
            some = (frame[frame["inventory_row"].between(first, last)] for frame in self.checks)
            parts.append(self.disk.keep(sort_checks(join_checks(some)), rows))
        self.checks = [parts[0] if len(parts) == 1 else self.disk.keep(join_checks(parts), rows)]
        self.disk.release()
        return self.checks[0]

    def take(self, name: str, step: Step, writes: tuple[str, ...], seconds: float, *, stored: bool = False) -> None:
        """Join the new columns of a step, after checking what it promised; `stored`: it is on disk already."""
        check_step(name, self.sites, step, writes)
        step = step if stored else self.stored(step)
        self.sites = pd.concat([self.sites, step.columns], axis=1)
        self.findings += step.findings
        self.checks.append(step.checks)
        self.stages.append(
            {
                "name": name,
                "rows_in": len(step.columns),
                "rows_out": len(self.sites),
                "seconds": round(seconds, 3),
            }
        )


def check_step(name: str, sites: pd.DataFrame, step: Step, writes: tuple[str, ...]) -> None:
    """Hold a step to its promise: same rows, exactly its columns, all new, type and range as in the glossary."""
    known = glossary()
    columns = step.columns
    if not columns.index.equals(sites.index):
        raise InternalError(f"{name}: rows were lost, added or reordered")
    if set(columns.columns) != set(writes) or len(columns.columns) != len(writes):
        raise InternalError(f"{name}: wrote {sorted(set(columns.columns) ^ set(writes))} against its promise")
    for column in columns:
        if column in sites.columns:
            raise InternalError(f"{name}: {column} stands already")
        if column not in known:
            raise InternalError(f"{name}: {column} is not in the glossary")
        quantity = known[column]
        values = columns[column]
        kind = values.dtype.kind
        fits = {
            "text": values.dtype == "str",
            "flag": kind == "b",
            "integer": kind in "iuf",
            "number": kind in "fi",
        }
        if not fits[quantity.dtype]:
            raise InternalError(f"{name}: {column} has type {values.dtype}, the glossary says {quantity.dtype}")
        wrong = values.isna() if quantity.dtype in {"text", "flag"} else _beyond(values, quantity)
        if wrong.any():
            row = columns.index[wrong][0]
            raise InternalError(
                f"{name}: row {row}: {column} = {values[row]} is not {quantity.dtype} {quantity.low}…{quantity.high}"
            )


def _beyond(values: pd.Series, quantity: Quantity) -> pd.Series:
    """Which numbers cannot be: out of range, infinite, or broken where whole ones belong. Missing ones can."""
    low = -np.inf if quantity.low is None else quantity.low
    high = np.inf if quantity.high is None else quantity.high
    whole = quantity.dtype == "integer"
    wrong: pd.Series = (values < low) | (values > high) | np.isinf(values)
    return wrong | (values.notna() & (values % 1 != 0)) if whole else wrong


def engine_columns(rows: list[dict[str, object]], index: pd.Index) -> pd.DataFrame:
    """Results as columns of the whole table; rows that were not assessed are `skipped` and empty."""
    known = glossary()
    names = list(known)
    start, stop = names.index("engine_status"), names.index("decision")
    data = {}
    for name in names[start:stop]:
        kind = known[name].dtype
        empty: Any = "" if kind == "text" else False if kind == "flag" else np.nan
        values = {row["inventory_row"]: row.get(name, empty) for row in rows}
        column = pd.Series([values.get(row, empty) for row in index], index=index)
        data[name] = column.astype("str" if kind == "text" else "bool" if kind == "flag" else "float64")
    status = data["engine_status"]
    data["engine_status"] = status.mask(status == "", "skipped").astype("str")
    return pd.DataFrame(data, index=index)
