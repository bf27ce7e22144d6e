"""The results folder: a whole set replaces a whole set, and nothing foreign is ever touched.

A new set is written into DIR/.planner/new/, its run.json last. Only then are the files moved into DIR one by one.
A run that dies before run.json exists leaves the old set; one that dies later is completed by the next command.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from planner.errors import Fault, OutputError

RECORD = "run.json"
HIDDEN = ".planner"


def claim(folder: Path) -> None:
    """Make sure that DIR is absent, empty or ours; finish or clear what an interrupted run left there."""
    standing = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if not standing.is_dir():
        raise _refused(standing, "output folder", "a file", "a folder")
    if folder.is_dir():
        names = {entry.name for entry in folder.iterdir()}
        if names and HIDDEN not in names and _listed(folder / RECORD) is None:
            found, expected = "files that no run of ours wrote", "an empty folder or a former run"
            raise _refused(folder, "output folder", found, expected)
    new = folder / HIDDEN / "new"
    if _listed(new / RECORD) is not None:
        _move_in(folder, new)
    elif new.exists():
        shutil.rmtree(new)


def chunk_folder(folder: Path) -> Path:
    """Where finished chunks are kept, so that a repeated run computes nothing twice."""
    return folder / HIDDEN / "chunks"


def new_folder(folder: Path) -> Path:
    """An empty folder for the new set."""
    new = folder / HIDDEN / "new"
    if new.exists():
        shutil.rmtree(new)
    new.mkdir(parents=True)
    return new


def commit(folder: Path, record: Mapping[str, Any]) -> None:
    """Write the record of the new set, last, and move the set into place."""
    new = folder / HIDDEN / "new"
    files = {
        path.relative_to(new).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(new.iterdir())
    }
    text = json.dumps({**record, "files": files}, indent=2, ensure_ascii=False, allow_nan=False)
    part = new.with_name("run.json.part")  # half a record is none
    with part.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
    part.replace(new / RECORD)
    _move_in(folder, new)


def _move_in(folder: Path, new: Path) -> None:
    """Files first, then away with what only the old record lists, then the new record: each step can be repeated."""
    listed, old = _listed(new / RECORD) or set(), _listed(folder / RECORD)
    ours = set() if old is None else {*old, RECORD}
    moving = sorted(new.iterdir(), key=lambda path: (path.name == RECORD, path.name))
    for path in moving:
        target = folder / path.name
        if path.name not in ours and target.exists():
            expected = "this name free: move the file elsewhere, then repeat the command"
            raise _refused(target, "file", "a file that no run of ours wrote", expected)
    for path in moving[:-1]:
        with _not_open(folder / path.name):
            path.replace(folder / path.name)
    for name in sorted(ours - listed - {RECORD}):
        target = folder / name
        if target.parent == folder and target.is_file():  # only plain names in the folder itself
            with _not_open(target):
                target.unlink()
    with _not_open(folder / RECORD):
        moving[-1].replace(folder / RECORD)
    shutil.rmtree(new)


@contextmanager
def _not_open(path: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:
        expected = f"close {path.name}, then repeat the command; nothing is computed again"
        raise _refused(path, "file", "open in another program", expected) from error


def _refused(path: Path, place: str, found: str, expected: str) -> OutputError:
    return OutputError([Fault(str(path), place, found, expected)])


def _listed(record: Path) -> set[str] | None:
    """Names that a record of ours lists; None if it is not there or not ours."""
    try:
        found = json.loads(record.read_text(encoding="utf-8"))
        return set(found["files"]) if "run_id" in found else None
    except (OSError, ValueError, KeyError, TypeError):
        return None
