"""The inventory: a table of boreholes in the words and units of whoever made it, read into the glossary.

This is the door: nothing behind it sees a foreign column name, unit or word. Every data row stays, in its
order, and each cell that is changed or cannot be used has a finding with the text that stood there.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

import numpy as np
import pandas as pd

from planner.errors import InventoryError, raise_if
from planner.plan import LoadedPlan
from planner.tables.cells import (
    SEVERITY,
    Note,
    findings_for,
    fold_all,
    read_dates,
    read_numbers,
    read_words,
    vocabulary,
)
from planner.tables.inventory_file import (
    DEGREES,
    INVENTORY_NAMES,
    METRES,
    NUMBERS,
    QUANTITIES,
    Table,
    read_table,
)
from planner.tables.positions import read_positions
from planner.tables.step import Action, Finding, Severity, Step

__all__ = ["INVENTORY_NAMES", "READS", "WRITES", "read_inventory"]

READS: tuple[str, ...] = ()
WRITES: tuple[str, ...] = QUANTITIES

TEXTS = ("site_id", "site_name", "sub_district", "crop", "existing_pump_id", "utm_zone")
IDENTIFIERS = ("site_id", "sub_district", "existing_pump_id")  # compared with other texts: outer spaces go
WORDS = {"status": "unknown", "equipped_with": "unknown", "test_kind": "unknown", "aquifer": ""}
# A nought here is a form left empty: it would be a well without depth, casing, water or people.
ZERO_IS_MISSING = (
    "depth_m",
    "casing_mm",
    "tested_yield_m3_h",
    "pumping_level_m",
    "test_hours",
    "screen_top_m",
    "main_strike_m",
    "ec_us_cm",
    "ph",
    "people",
)
# Control characters, and marks that reorder or hide text.
CONTROL = "[\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]"


def read_inventory(plan: LoadedPlan) -> Step:
    """Read the inventory that the plan names: the first step, which makes the index of all others.

    The index is inventory_row, 1 = first data row; the columns are WRITES, in glossary units and on WGS 84.
    Raises InventoryError with every fault of the file, the column mapping, the units and the CRS at once.
    """
    table, faults = read_table(plan)
    raise_if(faults, InventoryError)
    return _Reading(plan, table).step()


class _Reading:
    """One reading of one table.

    raw      the mapped columns as they stand in the file
    cells    the same without outer spaces, and empty in blank and total rows
    columns  what is known so far, by glossary name
    """

    def __init__(self, plan: LoadedPlan, table: Table) -> None:
        self.plan = plan
        self.table = table
        self.index = pd.Index(np.arange(1, len(table.rows) + 1), dtype="int64", name="inventory_row")
        self.empty = pd.Series("", index=self.index, dtype="str")
        self.raw = {
            name: pd.Series([row[place] for row in table.rows], index=self.index, dtype="str")
            for name, place in table.place.items()
        }
        self.cells = {name: column.str.strip() for name, column in self.raw.items()}
        self.site_id = self.cells.get("site_id", self.empty)
        self.columns: dict[str, pd.Series] = {}
        self.findings: list[Finding] = []

    def step(self) -> Step:
        self._remark_columns()
        self._read_texts()
        self._tell_rows_apart()
        self._read_words()
        self._read_numbers()
        self._read_dates()
        self._read_position()
        frame = pd.DataFrame({name: self.columns[name] for name in WRITES}, index=self.index)
        return Step(frame, sorted(self.findings, key=lambda finding: finding.row))

    def _remark(self, column: str, notes: Iterable[Note]) -> None:
        """Findings from notes about cells of one column."""
        raw, site_id = self.raw[column].tolist(), self.site_id
        names = site_id.tolist()
        for note in notes:
            severity, action = SEVERITY[note.rule]
            at = note.row - 1
            self.findings.append(
                Finding(note.row, names[at], column, note.rule, severity, raw[at], note.new_value, action)
            )

    def _remark_file(self, column: str, rule: str, severity: Severity, old: str = "", new: str = "") -> None:
        self.findings.append(Finding(0, "", column, rule, severity, old, new))

    def _remark_columns(self) -> None:
        """Columns that are not read, units without a column, and control characters."""
        for place, name in enumerate(self.table.header):
            if place not in self.table.place.values():
                near = difflib.get_close_matches(name.casefold()[:200], INVENTORY_NAMES, n=1, cutoff=0.75)
                self._remark_file(name, "column_not_read", "info", name, near[0] if near else "")
        for name in self.table.factor:
            if name not in self.raw:
                self._remark_file(name, "unit_without_column", "info")
        for name, column in self.raw.items():
            rows = self.index[column.str.contains(CONTROL)]
            self.findings += findings_for(
                rows, self.site_id, name, "control_character", "warning", old=column, new=column
            )

    def _read_texts(self) -> None:
        for name in TEXTS:
            column, bare = self.raw.get(name, self.empty), self.cells.get(name, self.empty)
            new = bare if name in IDENTIFIERS else column
            rows = self.index[bare != column]
            action: Action = "repaired" if name in IDENTIFIERS else "flagged"
            self.findings += findings_for(
                rows, self.site_id, name, "outer_spaces", "info", old=column, new=new, action=action
            )
            self.columns[name] = new

    def _tell_rows_apart(self) -> None:
        """Blank rows and total rows: from here on their cells count for nothing, except texts."""
        totals = list(vocabulary()["row_kind"])
        nowhere = pd.Series(True, index=self.index)
        for name in DEGREES + METRES:
            nowhere &= self.cells.get(name, self.empty) == ""
        total = pd.Series(False, index=self.index)
        for name in ("site_id", "site_name"):
            total[nowhere] |= fold_all(self.columns[name][nowhere]).isin(totals)
        kind = pd.Series("site", index=self.index, dtype="str").mask(total, "total")
        kind = kind.mask(np.array([not "".join(row).strip() for row in self.table.rows]), "blank")
        for meaning in ("blank", "total"):
            rows, rule = self.index[kind == meaning], f"{meaning}_row"
            self.findings += findings_for(rows, self.site_id, "row_kind", rule, "info", new=meaning)
        for name in self.cells:
            self.cells[name] = self.cells[name].where(kind == "site", "")
        self.columns["row_kind"] = kind

    def _read_words(self) -> None:
        for name, missing in WORDS.items():
            self.columns[name], notes = read_words(self.cells.get(name, self.empty), name, missing)
            if notes:
                self._remark(name, notes)

    def _read_numbers(self) -> None:
        dry: set[int] = set()
        for name in NUMBERS:
            if name not in self.cells:
                self.columns[name] = pd.Series(np.nan, index=self.index)
                continue
            self.columns[name], notes = read_numbers(self.cells[name], name, self.table.factor.get(name, 1.0))
            self._remark(name, notes)
            dry |= {note.row for note in notes if note.rule == "dry_as_value"}
        self._count_as_dry(dry)
        for name in ZERO_IS_MISSING:
            odd = self.columns[name] == 0
            if name == "tested_yield_m3_h":
                odd &= self.columns["status"] != "dry"
            if name == "people":
                odd |= self.columns[name] == 1
            self._drop(name, odd, "zero_as_missing")
        self._drop("static_level_m", self.columns["static_level_m"] == 0, "artesian_undeclared")

    def _count_as_dry(self, rows_with_the_word: set[int]) -> None:
        """A well whose level or yield reads "dry" is dry, unless the inventory states a status."""
        unstated = self.cells.get("status", self.empty) == ""
        counted = unstated & pd.Series([row in rows_with_the_word for row in self.index], index=self.index)
        rows = self.index[counted]
        self.columns["status"] = self.columns["status"].mask(counted, "dry")
        self.findings += findings_for(rows, self.site_id, "status", "dry_as_value", "warning", new="dry")

    def _drop(self, name: str, odd: pd.Series, rule: str) -> None:
        if odd.any():
            self.columns[name] = self.columns[name].mask(odd)
            self._remark(name, [Note(row, rule) for row in self.index[odd].tolist()])

    def _read_dates(self) -> None:
        dates, notes = read_dates(self.cells.get("test_date", self.empty))
        if notes:
            self._remark("test_date", notes)
        self.columns["test_date"] = dates
        self.columns["test_year"] = pd.to_numeric(dates.str.slice(0, 4), errors="coerce").astype("float64")
        self.columns["test_month"] = pd.to_numeric(dates.str.slice(5, 7), errors="coerce").astype("float64")

    def _read_position(self) -> None:
        """Latitude and longitude on WGS 84; both missing where either cannot be read or converted."""
        pair = self.table.position
        for name in METRES if pair == DEGREES else DEGREES:
            if name in self.raw:
                self._remark_file(name, "position_column_not_used", "info", name)
        latitude, longitude, findings = read_positions(self.plan, pair, self.raw, self.cells, self.site_id)
        self.columns["latitude"], self.columns["longitude"] = latitude, longitude
        self.findings += findings
