"""The plan file that names the updated inventory: its other keys and its remarks stay as they are."""

from __future__ import annotations

import copy as copying
import tomllib
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from planner.commands.draft.toml_text import remark
from planner.commands.update.inventory_copy import Copy
from planner.errors import InternalError
from planner.plan import LoadedPlan
from planner.plan.text import text_of
from planner.tables.inventory_file import DEGREES, METRES, Table

_OF_THE_FILE = ("sheet", "header_row", "header_rows", "encoding", "delimiter")


def plan_text(plan: LoadedPlan, table: Table, copy: Copy, name: str, read_as: Mapping[str, str], returned: str) -> str:
    """The text of the plan's copy.

    name      of the inventory's copy, beside the inventory
    read_as   encoding and delimiter of the copy
    """
    import tomlkit

    text = text_of(plan.path)
    document: Any = tomlkit.parse(text)
    wanted: dict[str, Any] = copying.deepcopy(tomllib.loads(text))
    settings: dict[str, str | int] = {
        "file": str(PurePosixPath(plan.plan.inventory.file.replace("\\", "/")).with_name(name)),
        **read_as,
    }
    settings |= {"header_row": 1, "header_rows": 1}
    if set(DEGREES) <= copy.rebuilt:
        settings["crs"] = "EPSG:4326"
    elif table.crs != plan.plan.inventory.crs:
        settings["crs"] = table.crs
    for side in (document, wanted):
        _set(side["inventory"], settings, _columns(plan, table, copy), copy.rebuilt)
    head = remark(f"{plan.path.name} with what {returned} brought back; written by planner update.")
    made = "\n".join([*head, tomlkit.dumps(document)])
    if tomllib.loads(made) != wanted:
        raise InternalError("the copy of the plan does not say what it should")
    return made


def _columns(plan: LoadedPlan, table: Table, copy: Copy) -> dict[str, str]:
    """planner name → header, of what the plan names and of what the copy must name; "" takes a name out."""
    named = plan.plan.inventory.columns
    found = {name: "" for name in named if name not in copy.place}
    for name, at in copy.place.items():
        header = copy.header[at]
        if name in named or header != name:
            found[name] = header
    # A column of metres that no longer holds the position would still be known by its own name: it is not used then.
    return {name: header for name, header in found.items() if header or name not in METRES or name in named}


def _set(inventory: Any, settings: Mapping[str, Any], columns: Mapping[str, str], rebuilt: set[str]) -> None:
    for key in _OF_THE_FILE:
        if key in inventory:
            del inventory[key]
    for key, value in settings.items():
        inventory[key] = value
    if "columns" not in inventory and any(columns.values()):
        inventory["columns"] = {}
    for name, header in columns.items():
        if header:
            inventory["columns"][name] = header
        elif name in inventory["columns"]:
            del inventory["columns"][name]
    for name in rebuilt:
        if name in inventory.get("units", {}):
            del inventory["units"][name]


def next_names(plan: Path, inventory: Path, kind: str) -> tuple[Path, Path, Path, str]:
    """Names of the copies of plan and inventory, of the table of changes, and what is added to them: -updated, then
    -updated-2 for the copy of a copy.

    >>> from pathlib import Path
    >>> [one.name for one in next_names(Path("p-updated.toml"), Path("wells-updated.csv"), "csv")[:3]]
    ['p-updated-2.toml', 'wells-updated-2.csv', 'wells-updated-2-changes.csv']
    """
    stem, times = parted(plan.stem)
    added = "-updated" if times == 0 else f"-updated-{times + 1}"
    own = parted(inventory.stem)[0] + added
    ending = inventory.suffix if kind == "csv" else ".csv"
    table = inventory.with_name(own + ending)
    return plan.with_name(f"{stem}{added}{plan.suffix}"), table, inventory.with_name(f"{own}-changes.csv"), added


def parted(stem: str) -> tuple[str, int]:
    """A name without what an update added, and how many updates that were.

    >>> parted("plan"), parted("plan-updated"), parted("plan-updated-3")
    (('plan', 0), ('plan', 1), ('plan', 3))
    """
    base, mark, number = stem.rpartition("-updated")
    if not mark or not base or not (number == "" or (number[:1] == "-" and number[1:].isdecimal())):
        return stem, 0
    return base, int(number[1:] or 1) if number else 1
