"""What an update tells: how the form was read, and what became of its sites."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import pandas as pd

from planner.commands.compare.report import one_line
from planner.commands.update.told import Told

TOLD = 40  # cells that are not used; the table has all
SHOWN = (("grade", "evidence_grade"), ("decision", "decision"), ("funding", "funding"), ("rank", "rank"))
_WHAT = {
    "replaced": "cells replaced",
    "filled": "cells filled that were empty",
    "emptied": "cells emptied that belong to an earlier test",
    "added": "wells added",
}


def read_lines(name: str, told: Sequence[Told], confirmed: int, other_run: str) -> list[str]:
    """How the form was read, and every cell and row of it that was not used or is doubtful."""
    counts = Counter(one.what for one in told)
    sites = len({one.inventory_row for one in told if one.what in _WHAT})
    parts = [f"{words} {counts[what]}" for what, words in _WHAT.items() if counts[what]]  # type: ignore[index]
    lines = [
        one_line(f"{name}: sites updated {sites}, {', '.join(parts)}; answers that confirm the inventory {confirmed}")
    ]
    lines += [one_line(other_run)] if other_run else []
    for what, word in (("not_used", "not used"), ("doubtful", "look at")):
        some = [one for one in told if one.what == what]
        lines += [one_line(f"{word}: {one.fault(name)}") for one in some[:TOLD]]
        if len(some) > TOLD:
            lines.append(f"{word}: {len(some) - TOLD} more, in the table of changes")
    return lines


def moved_lines(old: pd.DataFrame, new: pd.DataFrame, rows: Mapping[int, str]) -> Iterator[str]:
    """Grade, decision, funding and rank of each site of the form, before and after.

    old, new  columns of the results by inventory_row
    rows      inventory_row → id of the sites that were visited
    """
    yield "Sites of the form:"
    for row in sorted(rows):
        parts = [
            f"{word} {_change(_text(old, row, name), _text(new, row, name))}"
            for word, name in SHOWN
            if _text(old, row, name) or _text(new, row, name)
        ]
        yield one_line(f"  row {row} {rows[row]!r}: {', '.join(parts)}")
    yield ""


def _change(before: str, after: str) -> str:
    return after if before == after else f"{before or 'none'} → {after or 'none'}"


def _text(sites: pd.DataFrame, row: int, name: str) -> str:
    if row not in sites.index or name not in sites:
        return ""
    value = sites[name][row]
    if isinstance(value, str):
        return value
    return "" if pd.isna(value) else f"{value:.0f}"
