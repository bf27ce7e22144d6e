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
from planner.tables.cells.dates import read_dates
from planner.tables.cells.numbers import Format, decimal_mark, read_numbers
from planner.tables.cells.read import (
    SEVERITY,
    Note,
    findings_for,
    fold_all,
    level_datum,
    read_words,
    show,
    two_names,
    vocabulary,
    word_meanings,
)
from planner.tables.cells.units import LEVELS
from planner.tables.cells.yields import doubtful_units, pump_limited
from planner.tables.files.number_marks import with_points
from planner.tables.files.text_rows import column_of
from planner.tables.inventory_file import (
    DEGREES,
    INVENTORY_NAMES,
    METRES,
    NUMBERS,
    QUANTITIES,
    Table,
    read_table,
)
from planner.tables.levels import on_ground, pumping_from_drawdown
from planner.tables.positions.read import read_positions
from planner.tables.step import Action, Finding, Severity, Step, join_checks, rule_rows

__all__ = ["INVENTORY_NAMES", "NOT_WELLS", "READS", "WRITES", "open_inventory", "read_inventory", "read_opened"]

READS: tuple[str, ...] = ()
WRITES: tuple[str, ...] = QUANTITIES

TEXTS = ("site_id", "site_name", "sub_district", "crop", "existing_pump_id", "utm_zone")
IDENTIFIERS = ("site_id", "sub_district", "existing_pump_id")  # compared with other texts: outer spaces go
WORDS = {
    "status": "unknown",
    "equipped_with": "unknown",
    "test_kind": "unknown",
    "aquifer": "",
    "water_point_type": "",
}
NOT_WELLS = ("spring", "surface_water", "rainwater", "tap")  # water points in which no well pump can stand
# Words of a site's name that speak of another source. "source" or "dam" alone are names of places too.
_OTHER_SOURCE = (
    r"\b(?:spring|chemchemi|nascente|manantial|river intake|prise d'eau|rain ?water|roof catchment|maji ya mvua"
    r"|standpipe|tap stand|tapstand|borne fontaine|chafariz)\b"
)
_A_WELL = r"\b(?:bore ?holes?|bh|wells?|forages?|puits|furos?|pozos?|po[cç]os?|kisima|visima)\b"
# A nought here is a form left empty: it would be a well without depth, casing, water or people, a place at sea level.
ZERO_IS_MISSING = (
    "depth_m",
    "casing_mm",
    "tested_yield_m3_h",
    "test_hours",
    "screen_top_m",
    "main_strike_m",
    "ec_us_cm",
    "ph",
    "water_temperature_c",
    "people",
    "ground_elevation_m",
)
# Control characters, and marks that reorder or hide text.
CONTROL = "[\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]"


def read_inventory(plan: LoadedPlan) -> Step:
    """Read the inventory that the plan names: the first step, which makes the index of all others.

    The index is inventory_row, 1 = first data row; the columns are WRITES, in glossary units and on WGS 84.
    Raises InventoryError with every fault of the file, the column mapping, the units and the CRS at once.
    """
    return read_opened(plan, open_inventory(plan))


def open_inventory(plan: LoadedPlan) -> Table:
    """The inventory's text and what its columns are. Raises InventoryError with every fault at once."""
    table, faults = read_table(plan)
    raise_if(faults, InventoryError)
    return table


def read_opened(plan: LoadedPlan, table: Table) -> Step:
    """`read_inventory` of a table that is open already."""
    return _Reading(plan, table).step()


def _failed_formulas(findings: list[Finding]) -> dict[str, list[int]]:
    rows: dict[str, list[int]] = {}
    for one in findings:
        if one.rule == "formula_error" and one.row:
            rows.setdefault(one.column, []).append(one.row)
    return rows


class _Reading:
    """One reading of one table.

    raw      the mapped columns as they stand in the file
    cells    the same without outer spaces, and empty in blank and total rows
    columns  what is known so far, by glossary name
    datum    level column → ground, casing_top or sea_level, where the plan's unit names it
    """

    def __init__(self, plan: LoadedPlan, table: Table) -> None:
        self.plan = plan
        self.table = table
        self.index = pd.Index(np.arange(1, len(table.rows) + 1), dtype="int64", name="inventory_row")
        self.empty = pd.Series("", index=self.index, dtype="str")
        self.raw = {
            name: pd.Series(column_of(table.rows, place), index=self.index, copy=False)
            for name, place in table.place.items()
        }
        self.cells = {name: column.str.strip() for name, column in self.raw.items()}
        for column, rows in _failed_formulas(table.findings).items():  # told by the reader already
            if column in self.cells and column not in TEXTS:
                self.cells[column] = self.cells[column].mask(np.isin(self.index.to_numpy(), rows), "")
        self.site_id = self.cells.get("site_id", self.empty)
        self.columns: dict[str, pd.Series] = {}
        self.findings: list[Finding] = list(table.findings)
        self.checks: list[pd.DataFrame] = []
        units = plan.plan.inventory.units
        self.datum: dict[str, str] = {
            name: datum for name in LEVELS if (datum := level_datum(units.get(name, ""))) is not None
        }

    def step(self) -> Step:
        self._remark_columns()
        self._read_texts()
        self._tell_rows_apart()
        self._tell_two_names()
        self._read_words()
        self._tell_other_sources()
        self._read_numbers()
        self._read_dates()
        self._read_position()
        frame = pd.DataFrame({name: self.columns[name] for name in WRITES}, index=self.index)
        findings = sorted(self.findings, key=lambda finding: finding.row)
        return Step(frame, findings, join_checks(self.checks))

    def _remark(self, column: str, notes: Iterable[Note]) -> None:
        """Findings from notes about cells of one column."""
        notes = list(notes)
        places = [note.row - 1 for note in notes]
        raw, names = self.raw[column].iloc[places].tolist(), self.site_id.iloc[places].tolist()
        for note, old, name in zip(notes, raw, names, strict=True):
            severity, action = SEVERITY[note.rule]
            self.findings.append(Finding(note.row, name, column, note.rule, severity, old, note.new_value, action))

    def _remark_file(self, column: str, rule: str, severity: Severity, old: str = "", new: str = "") -> None:
        self.findings.append(Finding(0, "", column, rule, severity, old, new))

    def _format(self, name: str) -> Format:
        """How the numbers of a column are written: by the plan, else by the file, else by the column itself."""
        cells, stated, found = self.cells[name], self.plan.plan.inventory.decimal, self.table.decimal
        is_text = self.table.found.get("format") == "csv"
        mark, by = decimal_mark(cells, stated, found)
        return Format(mark, by, self.table.factor.get(name, 1.0), self.datum.get(name, "ground"), typed=not is_text)

    def _tell_decimal_comma(self, name: str, read: pd.Series) -> None:
        """Once a column, where the file's decimal comma is found and not stated: the first number that has one."""
        at = np.flatnonzero((self.cells[name].str.contains("[0-9],[0-9]", regex=True) & read.notna()).to_numpy())
        if len(at):
            old, new = self.raw[name].iloc[at[0]], show(read.iloc[at[0]])
            self.findings.append(Finding(0, "", name, "decimal_comma", "info", old, new, "repaired"))

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
        blank = np.ones(len(self.index), dtype=bool)
        for place in range(len(self.table.header)):
            blank &= np.asarray(pd.Series(column_of(self.table.rows, place)).str.strip() == "")
        kind = kind.mask(blank, "blank")
        for meaning in ("blank", "total"):
            rows, rule = self.index[kind == meaning], f"{meaning}_row"
            self.findings += findings_for(rows, self.site_id, "row_kind", rule, "info", new=meaning)
        for name in self.cells:
            self.cells[name] = self.cells[name].where(kind == "site", "")
        self.columns["row_kind"] = kind

    def _tell_two_names(self) -> None:
        for name in ("site_name", "sub_district"):
            if name in self.cells:
                rows = self.index[two_names(self.cells[name])]
                self._remark(name, [Note(row, "two_names", self.cells[name][row]) for row in rows.tolist()])

    def _read_words(self) -> None:
        for name, missing in WORDS.items():
            self.columns[name], notes = read_words(self.cells.get(name, self.empty), name, missing)
            if notes:
                self._remark(name, notes)

    def _tell_other_sources(self) -> None:
        """Water points that are no wells: by their type, or by a status or equipment that names another source.

        A name alone ("Spring Hill") is only told: it may be a place's.
        """
        kind = self.columns["water_point_type"]
        for name in ("water_point_type", "status", "equipped_with"):
            if name in self.cells:
                said = word_meanings(self.cells[name], "water_point_type")
                other = said.isin(NOT_WELLS) & ((kind == "") | (name == "water_point_type"))
                kind = kind.mask(other, said)
                self._remark(name, [Note(row, "not_a_borehole", kind[row]) for row in self.index[other].tolist()])
        self.columns["water_point_type"] = kind
        is_site = self.columns["row_kind"] == "site"
        known = self.index[is_site & (kind != "")]
        self.checks.append(rule_rows(known, "not_a_borehole", ~kind.isin(NOT_WELLS), subject=kind))
        if "site_name" in self.cells:
            names = self.cells["site_name"]
            names = names[is_site & (kind == "") & names.str.contains(_OTHER_SOURCE, case=False)]
            told = names.index[~names.str.contains(_A_WELL, case=False)]
            self._remark("site_name", [Note(row, "name_of_another_source") for row in told.tolist()])

    def _read_numbers(self) -> None:
        dry: set[int] = set()
        has_unit = pd.Series(False, index=self.index)
        for name in NUMBERS:
            if name not in self.cells:
                self.columns[name] = pd.Series(np.nan, index=self.index)
                continue
            form = self._format(name)
            values, notes, with_unit = read_numbers(self.cells[name], name, form, in_range=form.datum == "ground")
            self.columns[name] = values
            self._remark(name, notes)
            if form.by == "file":
                self._tell_decimal_comma(name, values)
            dry |= {note.row for note in notes if note.rule == "dry_as_value"}
            if name == "tested_yield_m3_h":
                has_unit = with_unit
        self._count_as_dry(dry)
        for name in ZERO_IS_MISSING:
            if name not in self.columns:
                continue
            odd = self.columns[name] == 0
            if name == "tested_yield_m3_h":
                odd &= self.columns["status"] != "dry"
            if name == "people":
                odd |= self.columns[name] == 1
            self._drop(name, odd, "zero_as_missing")
        self._read_levels()
        self._judge_yields(has_unit)

    def _read_levels(self) -> None:
        """Levels below ground; what no level can be is looked for after they were brought there."""
        artesian = self.columns["aquifer"] == "artesian"
        for name, datum in self.datum.items():
            if datum != "ground" and name in self.cells:  # a nought that was read is a form left empty here too
                self._drop(name, (self.columns[name] == 0) & ~artesian, "zero_as_missing")
        names = (*LEVELS, "drawdown_m", "casing_stickup_m", "ground_elevation_m")
        sites = pd.DataFrame({"site_id": self.site_id, **{name: self.columns[name] for name in names}})
        sites, findings = on_ground(sites, self.datum, self.raw)
        self.findings += findings
        self.columns |= {name: sites[name] for name in LEVELS}
        self._drop("pumping_level_m", self.columns["pumping_level_m"] == 0, "zero_as_missing")
        self._drop("static_level_m", (self.columns["static_level_m"] == 0) & ~artesian, "artesian_undeclared")
        sites = sites.assign(**{name: self.columns[name] for name in LEVELS})
        self.columns["pumping_level_m"], findings = pumping_from_drawdown(sites)
        self.findings += findings

    def _judge_yields(self, has_unit: pd.Series) -> None:
        """Yields whose unit is in doubt, which hold their site, and yields that are the test pump's limit."""
        name = "tested_yield_m3_h"
        if name not in self.cells:
            return
        yields = self.columns[name]
        doubtful = doubtful_units(yields, has_unit)
        limited = pump_limited(yields, self.cells.get("sub_district", self.empty))
        for rule, rows in (("unit_doubtful", doubtful), ("test_pump_limited", limited & ~doubtful)):
            self._remark(name, [Note(row, rule, show(yields[row])) for row in self.index[rows].tolist()])
        self.checks.append(rule_rows(self.index[yields > 0], "unit_doubtful", ~doubtful, value=yields, unit="m3/h"))

    def _count_as_dry(self, rows_with_the_word: set[int]) -> None:
        """A well whose level or yield reads "dry" is dry, unless the inventory states a status."""
        unstated = self.cells.get("status", self.empty) == ""
        counted = unstated & np.isin(self.index.to_numpy(), list(rows_with_the_word))
        rows = self.index[counted]
        self.columns["status"] = self.columns["status"].mask(counted, "dry")
        self.findings += findings_for(rows, self.site_id, "status", "dry_as_value", "warning", new="dry")

    def _drop(self, name: str, odd: pd.Series, rule: str) -> None:
        if odd.any():
            self.columns[name] = self.columns[name].mask(odd)
            self._remark(name, [Note(row, rule) for row in self.index[odd].tolist()])

    def _read_dates(self) -> None:
        """Test dates; one later than the year of the prices and of the plan's date is none."""
        written = self.plan.plan.output.date
        last_year = max(self.plan.plan.programme.price_year, int(written[:4]) if written else 0)
        cells = self.cells.get("test_date", self.empty)
        settings, found = self.plan.plan.inventory, self.table.found.get("date_order")
        dates, notes, told = read_dates(cells, settings.date_order, last_year, found)
        for one in told:
            self._remark_file("test_date", one.rule, SEVERITY[one.rule][0], one.old_value, one.new_value)
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
        cells = self.cells
        if self.table.decimal == ",":
            for name in pair:
                cells = {**cells, name: with_points(cells[name], degrees=pair == DEGREES)}
                if self.plan.plan.inventory.decimal is None:
                    self._remark_file(name, "decimal_comma", "info")  # no sample: it would tell a place
        latitude, longitude, findings = read_positions(
            self.plan, pair, self.raw, cells, self.site_id, self.table.crs, declared=self.table.crs_declared
        )
        self.columns["latitude"], self.columns["longitude"] = latitude, longitude
        self.findings += findings
