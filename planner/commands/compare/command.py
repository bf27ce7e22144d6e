"""`planner compare`: open two runs, pair their rows, and tell what moved and why."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from planner.choice.moves import SAID, SHOWN, Between, moves, summary, totals
from planner.commands.compare.matching import ELSEWHERE_M, Pairs, match
from planner.commands.compare.opened import RECORD, Run, open_run
from planner.commands.compare.report import Compared, report
from planner.disk import in_one_piece
from planner.errors import Fault, OutputError
from planner.outputs.tables import write_moves_csv
from planner.plan import plan_changes
from planner.texts import Figure, said

NAMES = ("site_id", "site_name", "sub_district")
OF_ROWS = ("sheet", "header_row", "header_rows", "delimiter", "encoding")


def compare(before: Path, after: Path, out: Path | None = None, *, force: bool = False, same_rows: bool = False) -> str:
    """The report of two finished runs, as text; with `out` also a table of what moved and what has no partner.

    same_rows: the inventory of the second is known to be that of the first with other cells, and rows behind it.
    Raises OutputError where a folder is no run, the runs are of different places, or `out` may not be written.
    """
    old, new = open_run(before), open_run(after)
    if out is not None:
        _may_write(out, (old, new), force)
    pairs = match(old.sites, new.sites, same_rows=same_rows or _same_rows(old, new))
    _refuse_elsewhere(pairs, new)
    left = old.sites.loc[pairs.table["old"]].set_axis(pairs.table.index)
    right = new.sites.loc[pairs.table["new"]].set_axis(pairs.table.index)
    changes = plan_changes(old.record["plan"], new.record["plan"])
    same_money = all(old.record[name] == new.record[name] for name in ("currency", "price_year"))
    checks = (_paired(old.checks, pairs.table["old"]), _paired(new.checks, pairs.table["new"]))
    moved = moves(left, right, Between(changes, new.record["currency"] if same_money else "", same_money, checks))
    moved = _with_place(moved, pairs.table)
    found = Compared(
        old=old,
        new=new,
        pairs=pairs,
        names=right[list(NAMES)].assign(inventory_row=pairs.table["new"]),
        moved=moved,
        changes=changes,
        same_money=same_money,
        totals=(totals(old.sites), totals(new.sites)),
        summary=summary(left, right, moved),
    )
    text = report(found)
    if out is not None:
        _write(_table(found), out, force)
        text += f"Table of what moved and of rows without a partner: {out}\n"
    return text


def _same_rows(old: Run, new: Run) -> bool:
    """Whether both read the same lines of the same file, so that a row's number names it."""
    digests = [run.record["inputs"].get("inventory.file", {}).get("sha256") for run in (old, new)]
    read = [(run.record["plan"].get("inventory", {}), run.record.get("inventory_read_as")) for run in (old, new)]
    settings = [({key: wanted.get(key) for key in OF_ROWS}, found) for wanted, found in read]
    return digests[0] is not None and digests[0] == digests[1] and settings[0] == settings[1]


def _refuse_elsewhere(pairs: Pairs, new: Run) -> None:
    apart = pairs.table["apart_m"].dropna()
    if len(apart) and (apart > ELSEWHERE_M).mean() > 0.5:
        found = f"{int((apart > ELSEWHERE_M).sum())} of {len(apart)} sites of the same id more than 10 km away"
        raise OutputError([Fault(str(new.folder), "sites", found, "two runs of the same places")])


def _paired(checks: pd.DataFrame | None, rows: pd.Series) -> pd.DataFrame | None:
    """The checks under the numbers of the pairs."""
    if checks is None:
        return None
    numbers = pd.Series(rows.index, index=rows.to_numpy())
    part = checks[checks["inventory_row"].isin(numbers.index)]
    return part.assign(inventory_row=part["inventory_row"].map(numbers).to_numpy())


def _with_place(moved: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """A word for sites whose position is another, which no column of a design shows."""
    apart = pairs.loc[moved.index, "apart_m"]
    far = apart > 1.0
    words = [said("move_position", distance=Figure(value, ".0f")) for value in apart]
    added_words = [f" {one.text()}" if yes else "" for one, yes in zip(words, far, strict=True)]
    codes = [";position_changed" if yes else "" for yes in far]
    added = {"why_codes": codes, "why": added_words}
    return moved.assign(
        **{name: moved[name] + pd.Series(more, index=moved.index, dtype="str") for name, more in added.items()}
    )


def _table(found: Compared) -> pd.DataFrame:
    """What moved, then rows without a partner; one row a site."""
    at = found.moved.index
    pairs = found.pairs.table.loc[at]
    head = pd.DataFrame({"match": pairs["how"], "inventory_row_old": pairs["old"], "inventory_row_new": pairs["new"]})
    parts = [pd.concat([head, found.names.loc[at, list(NAMES)], found.moved.drop(columns=SAID)], axis=1)]
    sides: list[tuple[str, Run, pd.Index, str]] = [
        ("old", found.old, found.pairs.only_old, "only_old"),
        ("old", found.old, found.pairs.ambiguous_old, "ambiguous"),
        ("new", found.new, found.pairs.only_new, "only_new"),
        ("new", found.new, found.pairs.ambiguous_new, "ambiguous"),
    ]
    for side, run, rows, word in sides:
        sites = run.sites.loc[rows]
        columns: dict[str, Any] = {"match": word, f"inventory_row_{side}": rows}
        columns |= {name: sites[name].to_numpy() for name in NAMES if name in sites}
        columns |= {f"{name}_{side}": sites[name].to_numpy() for name in SHOWN if name in sites}
        if len(rows):
            parts.append(pd.DataFrame(columns, index=range(len(rows))))
    table = pd.concat(parts, ignore_index=True)[list(parts[0].columns)]
    texts = [name for name in table if parts[0][name].dtype == "str" or parts[0][name].dtype == "object"]
    return table.assign(**{str(name): table[name].fillna("").astype("str") for name in texts})


def _may_write(out: Path, runs: tuple[Run, Run], force: bool) -> None:
    for run in runs:
        if out.resolve() in {(run.folder / name).resolve() for name in (RECORD, *run.record["files"])}:
            raise _refused(out, "a file of the run in that folder", "a name of its own")
    if not out.absolute().parent.is_dir():
        raise _refused(out, f"no folder {str(out.parent)!r}", "a folder that is there")
    if out.exists() and (not force or not out.is_file()):
        raise _refused(out, "a file that is there already", "another name, or --force to write over it")


def _write(table: pd.DataFrame, out: Path, force: bool) -> None:
    """The table in one piece, in the place of another file only with `force`."""
    try:
        with in_one_piece(out, over=force) as part:
            write_moves_csv(table, part)
    except FileExistsError:  # it came meanwhile
        raise _refused(out, "a file that is there already", "another name, or --force to write over it") from None


def _refused(out: Path, found: str, expected: str) -> OutputError:
    return OutputError([Fault(str(out), "--out", found, expected)])
