"""`planner update`: a returned form into copies of inventory and plan, and their run compared with the one before."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from planner.commands.compare.command import compare
from planner.commands.compare.opened import open_run
from planner.commands.update.belonging import rows_of
from planner.commands.update.changes import Change, changes_of, same
from planner.commands.update.inventory_copy import Copy, copied, file_bytes, values_expected
from planner.commands.update.plan_copy import next_names, parted, plan_text
from planner.commands.update.report import moved_lines, read_lines
from planner.commands.update.returned import Row, Value, read_returned
from planner.commands.update.told import Told, write_told
from planner.disk import in_one_piece, kept_as_they_were
from planner.errors import Fault, InventoryError, OutputError, raise_if
from planner.outputs.field.form import file_fingerprint
from planner.plan import LoadedPlan, read_plan
from planner.tables.inventory import open_inventory, read_opened
from planner.tables.inventory_file import DEGREES

if TYPE_CHECKING:
    from planner.publish import Outcome

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Updated:
    """The files that an update wrote, the run of before, the folder of the run to come, and the report so far."""

    plan: Path
    inventory: Path
    changes: Path
    before: Path
    out: Path
    rows: dict[int, str]
    lines: list[str]


def update(
    plan_file: Path,
    returned: Path,
    *,
    out: Path | None = None,
    against: Path | None = None,
    run: bool = True,
    force: bool = False,
) -> Updated:
    """Write the copies. Nothing is written where the form is wrong, no row of it can be used, or a name is taken.

    run: whether a run is to follow, so that the one before must be there. Raises InputError with every fault.
    """
    plan = read_plan(plan_file)
    table = open_inventory(plan)
    sites = read_opened(plan, table).columns
    original = plan.resolve(plan.plan.inventory.file)
    fingerprint = file_fingerprint(original.read_bytes())
    new_plan, new_inventory, told_file, added = next_names(plan.path, original, table.found.get("format", "csv"))
    before, after = _folders(plan, out, against, added)
    if run:
        _may_run(before, after)
    _may_write((new_plan, new_inventory, told_file), (original, returned.resolve(), plan.path), force)

    rows, told = read_returned(returned, plan)
    belongs, wrong = rows_of(rows, sites, fingerprint)
    told += wrong
    site_of = {row.number: sites["site_id"][at] if (at := belongs.get(row.number)) else row.site_id for row in rows}
    changes, confirmed, unused = changes_of(rows, belongs, sites)
    told += unused
    if not changes:
        _refuse(returned, rows, belongs, told, confirmed)
    copy = copied(plan, table, sites, changes, site_of)
    data, encoding = _data(copy, table.found, original)
    read_as = {"encoding": encoding, "delimiter": table.found.get("delimiter", ",")}
    text = plan_text(plan, table, copy, new_inventory.name, read_as, returned.name)
    told = sorted([*copy.told, *told], key=lambda one: (one.form_row, one.what != "added"))
    with kept_as_they_were((new_inventory, new_plan, told_file)):
        with in_one_piece(new_inventory) as part:
            part.write_bytes(data)
        with in_one_piece(new_plan) as part:
            part.write_bytes(text.encode("utf-8"))
        _look_again(new_plan, copy, sites, changes)
        with in_one_piece(told_file) as part:
            write_told(told, part)
    at_rows = {one.inventory_row: one.site_id for one in copy.told}
    lines = read_lines(returned.name, told, confirmed, _other_run(rows, before))
    lines += [f"inventory: {new_inventory}", f"plan: {new_plan}", f"every change, and what was not used: {told_file}"]
    return Updated(new_plan, new_inventory, told_file, before, after, at_rows, lines)


def compared(done: Updated, outcome: Outcome) -> str:
    """What the run of the copies changed: at the sites of the form, then everywhere."""
    old, new = open_run(done.before), open_run(outcome.folder)
    lines = moved_lines(old.sites, new.sites, done.rows)
    whole = compare(done.before, outcome.folder, same_rows=True)
    again = f"planner compare {done.before} {outcome.folder} --out FILE.csv writes"  # its own option, not one of ours
    return "".join(f"{line}\n" for line in lines) + whole.replace("\n--out FILE.csv writes", f"\n{again}")


def _folders(plan: LoadedPlan, out: Path | None, against: Path | None, added: str) -> tuple[Path, Path]:
    """Results before and after; by default those of the plan's programme, and of its updates beside them."""
    from planner.pipeline import slug

    home = Path("maps") / slug(plan.plan.programme.name)
    last = plan.path.stem.removeprefix(parted(plan.path.stem)[0])
    return against or home.with_name(home.name + last), out or home.with_name(home.name + added)


def _may_run(before: Path, after: Path) -> None:
    if before.resolve() == after.resolve():
        found, expected = "the folder of the run before", "another folder: both are compared"
        raise OutputError([Fault(str(after), "--out", found, expected)])
    try:
        open_run(before)
    except OutputError as error:
        first = error.faults[0]
        expected = f"{first.expected}: planner run first, --against DIR, or --no-run"
        raise OutputError([Fault(first.file, f"the run before, {first.place}", first.found, expected)]) from error


def _may_write(paths: Sequence[Path], inputs: Sequence[Path], force: bool) -> None:
    faults = []
    for path in paths:
        if path.resolve() in inputs:
            faults.append(Fault(str(path), "file", "an input of this command", "another name for it"))
        elif path.exists() and (not force or not path.is_file()):
            expected = "this name free, or --force to write over it; for the next visit update the updated plan"
            faults.append(Fault(str(path), "file", "a file that is there already", expected))
    raise_if(faults, OutputError)


def _refuse(returned: Path, rows: Sequence[Row], belongs: dict[int, int], told: Sequence[Told], confirmed: int) -> None:
    """Nothing changes: what is wrong with every row, or that nothing was filled in, or nothing new."""
    faults = [one.fault(returned.name) for one in told if one.what == "not_used"]
    if not faults and confirmed:
        found = f"{confirmed} answers, all as the inventory has them"
        faults = [Fault(returned.name, "rows", found, "at least one that is new: there is nothing to update")]
    elif not faults:
        found = f"{len(rows)} rows, none with an answer"
        faults = [Fault(returned.name, "rows", found, "answers in the columns that are to be filled in")]
    raise InventoryError(faults)


def _data(copy: Copy, found: dict[str, str], original: Path) -> tuple[bytes, str]:
    """The copy as it is written: in the encoding of a text file, with its separator and line ends."""
    if found.get("format") != "csv":
        return file_bytes(copy, ",", "utf-8", "\n")
    with original.open("rb") as file:
        line_end = "\r\n" if b"\r\n" in file.read(1 << 20) else "\n"
    return file_bytes(copy, found["delimiter"], found["encoding"], line_end)


def _look_again(path: Path, copy: Copy, sites: pd.DataFrame, changes: Sequence[Change]) -> None:
    """Read the copy as a run will: the changed cells must give what was measured, all others what they gave before."""
    plan = read_plan(path)
    read = read_opened(plan, open_inventory(plan)).columns
    expected = values_expected(copy, sites, changes)
    visited = {one.inventory_row for one in copy.told}
    faults = []
    for name in sites.columns:
        digits = 6 if name in DEGREES else 9  # as many as the copy has at least
        for row, new in zip(read.index.tolist(), read[name].tolist(), strict=True):
            if (row, name) in expected:
                wanted = expected[row, name]
            elif row in visited:
                continue  # what follows from other cells of the row
            else:
                wanted = sites[name][row]
            if not same(_rounded(wanted, digits), _rounded(new, digits)):
                instead = "[inventory] decimal, date_order and units that say how the original is written"
                faults.append(Fault(str(path), f"row {row}, {name}", f"{new!r} in place of {wanted!r}", instead))
    raise_if(faults[:20], InventoryError)


def _rounded(value: Value | None, digits: int) -> Value | None:
    return round(value, digits) if isinstance(value, float) else value


def _other_run(rows: Sequence[Row], before: Path) -> str:
    """A line where the form was written by another run than the one that is compared with."""
    named = sorted({row.run_id for row in rows if row.run_id})
    try:
        own = str(open_run(before).record["run_id"])
    except OutputError:
        return ""
    if not named or named == [own]:
        return ""
    return f"note: the form is of run {', '.join(named[:3])}; {before} holds run {own}"
