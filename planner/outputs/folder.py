"""The results folder: a whole set replaces a whole set, and nothing foreign is ever touched.

A new set is written into DIR/.planner/new/, its run.json last. Only then are the files moved into DIR one by one.
A run that dies before run.json exists leaves the old set; one that dies later is completed by the next command.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from planner.errors import Fault, OutputError

RECORD = "run.json"
HIDDEN = ".planner"


def claim(folder: Path) -> None:
    """Make sure that DIR is absent, empty or ours; finish or clear what an interrupted run left there."""
    if folder.exists() and not folder.is_dir():
        raise OutputError([Fault(str(folder), "output folder", "a file", "a folder")])
    if folder.is_dir():
        names = {entry.name for entry in folder.iterdir()}
        if names and not names & {RECORD, HIDDEN}:
            raise OutputError(
                [
                    Fault(
                        str(folder),
                        "output folder",
                        "files that no run of ours wrote",
                        "an empty folder or a former run",
                    )
                ]
            )
    new = folder / HIDDEN / "new"
    if (new / RECORD).is_file():
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
    with (new / RECORD).open("w", encoding="utf-8", newline="\n") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
    _move_in(folder, new)


def _move_in(folder: Path, new: Path) -> None:
    listed = set(json.loads((new / RECORD).read_text(encoding="utf-8"))["files"])
    old = _listed(folder / RECORD)
    for path in sorted(new.iterdir(), key=lambda path: (path.name == RECORD, path.name)):
        try:
            path.replace(folder / path.name)
        except PermissionError as error:
            raise OutputError(
                [
                    Fault(
                        str(folder / path.name),
                        "file",
                        "open in another program",
                        f"close {path.name}, then repeat the command; nothing is computed again",
                    )
                ]
            ) from error
    for name in old - listed:
        if Path(name).name == name:  # only plain names in the folder itself
            (folder / name).unlink(missing_ok=True)
    shutil.rmtree(new)


def _listed(record: Path) -> set[str]:
    try:
        return set(json.loads(record.read_text(encoding="utf-8"))["files"])
    except (OSError, ValueError, KeyError, TypeError):
        return set()
