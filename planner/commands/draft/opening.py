"""The table behind `planner draft`, as text: plain CSV, until the readers of all formats stand in tables/."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.inventory_file import _read_rows, clip
from planner.tables.step import Finding

__all__ = ["RawTable", "clip", "open_table"]


@dataclass(frozen=True)
class RawTable:
    """A table as it stands in the file: names of columns, cells of the data rows, what was found out about it."""

    header: list[str]
    rows: list[list[str]]
    crs: str | None = None
    found: dict[str, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    title: list[str] = field(default_factory=list)
    unit: list[str] = field(default_factory=list)


def open_table(settings: Inventory, path: Path, faults: list[Fault]) -> RawTable | None:
    """Header, rows and what was found; None, with faults, where the file cannot be read."""
    found = {"encoding": settings.encoding or "utf-8", "delimiter": settings.delimiter or _delimiter(path)}
    header, rows = _read_rows(settings.model_copy(update=found), path, faults)
    return None if faults else RawTable(header, rows, found=found)


def _delimiter(path: Path) -> str:
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            return csv.Sniffer().sniff(file.readline(20_000), ",;\t|").delimiter
    except (OSError, csv.Error):
        return ","
