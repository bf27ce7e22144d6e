"""`planner draft`: read a table, guess what its columns are, write a plan file that says so, and tell it."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

from planner.commands.draft.guesses import Draft, guess, plan_file
from planner.commands.draft.opening import open_table
from planner.commands.draft.report import report
from planner.disk import in_one_piece
from planner.errors import Fault, InventoryError, OutputError
from planner.plan import Inventory

__all__ = ["draft"]


def draft(path: Path, out: Path | None, *, force: bool) -> str:
    """Write the plan file and return what there is to tell, as plain lines.

    path   the table
    out    the plan file; default beside the table, its name with .toml
    force  write over a file that is there
    Raises InventoryError where the table cannot be read, OutputError where the plan cannot be written.
    """
    if not path.name or path.is_dir():
        raise InventoryError([Fault(str(path), "file", "a folder", "a table of boreholes")])
    target = out or path.with_suffix(".toml")
    name = _name_from(path, target)
    _check_target(path, target, force=force)
    faults: list[Fault] = []
    table = open_table(Inventory(file=path.name), path, faults)
    if table is None or faults:
        raise InventoryError(faults)
    made = guess(name, table)
    _write(target, plan_file(made), force=force)
    return report(made, target, _checked(target, made))


def _name_from(path: Path, target: Path) -> str:
    """The table as the plan names it: relative to the plan file, with / on every system."""
    try:
        name = Path(os.path.relpath(path.absolute(), target.absolute().parent)).as_posix()
    except ValueError:  # another drive
        name = path.absolute().as_posix()
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        fault = Fault(repr(str(path)), "file name", "bytes that are no text", "a name of letters: rename the file")
        raise InventoryError([fault]) from None
    return name


def _check_target(path: Path, target: Path, *, force: bool) -> None:
    if target.absolute() == path.absolute() or (target.exists() and path.exists() and target.samefile(path)):
        raise OutputError([Fault(str(target), "--out", "the table itself", "another name, ending in .toml")])
    if target.is_dir():
        raise OutputError([Fault(str(target), "--out", "a folder", "the name of a file, ending in .toml")])
    if not target.parent.is_dir():
        raise OutputError([Fault(str(target), "--out", f"no folder {str(target.parent)!r}", "a folder that is there")])
    if target.exists() and not force:
        raise _occupied(target)


def _occupied(target: Path) -> OutputError:
    expected = "no file of this name; another with --out, or --force to write over it"
    return OutputError([Fault(str(target), "file", "a file that is there already", expected)])


def _write(target: Path, text: str, *, force: bool) -> None:
    """Write a new file, or with `force` put one in the place of what is there, in one piece."""
    try:
        with in_one_piece(target, over=force) as part:
            part.write_text(text, encoding="utf-8", newline="\n")
    except FileExistsError:  # it came meanwhile
        raise _occupied(target) from None


def _checked(target: Path, made: Draft) -> list[str]:
    """What `planner check` says of the plan as drafted: rows, grades and findings, or what stops it."""
    from planner.errors import InputError
    from planner.pipeline import check

    try:
        _, table = check(target)
    except InputError as error:
        shown = [f"  {fault}" for fault in error.faults[:10]]
        more = [f"  … and {len(error.faults) - 10} more"] if len(error.faults) > 10 else []
        noticed = Counter(one.rule for one in made.table.findings)
        told = ", ".join(f"{rule} {count}" for rule, count in sorted(noticed.items()))
        return ["planner check would stop at:", *shown, *more, *([f"noticed while reading: {told}"] if told else [])]
    grades = table.sites["evidence_grade"].value_counts()
    lines = [
        f"check of the plan as drafted: {len(table.sites)} rows, {len(table.findings)} findings, evidence "
        + ", ".join(f"{grade} {grades.get(grade, 0)}" for grade in "ABCD")
    ]
    rules: dict[tuple[str, str], int] = {}
    for one in table.findings:
        rules[one.severity, one.rule] = rules.get((one.severity, one.rule), 0) + 1
    order = {"stop": 0, "warning": 1, "info": 2}
    for (severity, rule), count in sorted(rules.items(), key=lambda item: (order[item[0][0]], -item[1], item[0])):
        lines.append(f"  {severity:8}{rule:28}{count:6}")
    return lines
