"""What is told of a returned form: each cell that changes, and each that is not used, with the reason."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Literal

from planner.errors import Fault
from planner.outputs.tables import write_rows
from planner.tables.files.raw_table import clip

What = Literal["filled", "replaced", "emptied", "added", "doubtful", "not_used"]


@dataclass(frozen=True)
class Told:
    """One row of the table of changes.

    what           filled: the cell was empty; emptied: it belongs to an earlier test; added: a well that is new in the
                   inventory; doubtful: used, but look at it; not_used: left as it was
    form_row       data row of the form, 1 = first
    inventory_row  row of the inventory, 0 where none is known
    column         planner name; header: the column of the inventory
    old, new       cells of the inventory, as text
    found, expected  of a fault: what stands in the form, and what would be right
    """

    what: What
    form_row: int
    inventory_row: int = 0
    site_id: str = ""
    column: str = ""
    header: str = ""
    old: str = ""
    new: str = ""
    found: str = ""
    expected: str = ""

    def fault(self, file: str) -> Fault:
        """The same as a fault of the form."""
        column = f", {self.column}" if self.column else ""
        return Fault(file, f"data row {self.form_row}{column}", self.found, self.expected)


def not_used(form_row: int, found: str, expected: str, *, row: int = 0, site_id: str = "", column: str = "") -> Told:
    """A cell or a whole row that changes nothing."""
    return Told("not_used", form_row, row, site_id, column, found=found, expected=expected)


def quoted(text: str) -> str:
    """A foreign text inside a sentence."""
    return clip(text) if text else "nothing"


def write_told(told: Iterable[Told], path: Path) -> None:
    """The table of changes: UTF-8, comma; no text of it is a formula for a spreadsheet."""
    names = [one.name for one in fields(Told)]
    write_rows(path, names, ([_cell(getattr(one, name)) for name in names] for one in told))


def _cell(value: str | int) -> str:
    return value if isinstance(value, str) else str(value or "")
