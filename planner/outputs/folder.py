"""The results folder: a whole set replaces a whole set, and nothing foreign is ever touched.

A new set is written into DIR/.planner/new/ and onto the disk itself, its run.json last. Only then is the old set moved
away, its run.json first, and the new one moved in, its run.json last: where DIR/run.json stands, the set is whole.
What a move is refused is taken back at once. A run that dies before run.json is written leaves the old set; one that
dies later is completed by the next command. One run at a time works in a folder: the system's own lock on
DIR/.planner/lock says so, and lets go when the process ends, however it ends.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from planner import disk
from planner.errors import Fault, OutputError, PlannerError

RECORD = "run.json"
HIDDEN = ".planner"
LOCK = "lock"
PROBE = "probe-" + "0" * 94  # as long as the longest name of a file inside
PROBE_BYTES = 1 << 20
# Names that Windows keeps for devices, whatever their ending (Microsoft, "Naming Files, Paths, and Namespaces").
RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(\..*)?", re.IGNORECASE)


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """DIR for one run: ours or new, nobody else's meanwhile, and writable before anything is computed.

    Whatever a disk refuses inside is raised as OutputError. A folder that was made for a run that wrote nothing is
    removed again.
    """
    _check_ours(folder)
    missing = [path for path in (folder, *folder.absolute().parents) if not os.path.lexists(path)]
    there = folder.is_dir()
    try:
        with _locked(folder):
            try:
                claim(folder)
                _probe(folder)
                yield
            except Exception as error:
                told = _told(error, folder, there)
                if told is None:
                    raise
                raise told from error
            finally:
                _clear(folder)
    finally:
        if missing:
            _remove_if_empty(folder, missing)


def finish(folder: Path) -> None:
    """Complete what a run began to move in before it was stopped, if so, and if no other run is at work."""
    hidden = folder / HIDDEN
    away = (hidden / "old" / RECORD).is_file() and not (folder / RECORD).is_file()
    if not hidden.is_symlink() and (away or (hidden / "new" / RECORD).is_file()):
        with _locked(folder), disk.telling(folder, disk.KEPT):
            claim(folder)


def claim(folder: Path) -> None:
    """Make sure that DIR is absent, empty or ours; finish or clear what an interrupted run left there."""
    _check_ours(folder)
    new, old = (folder / HIDDEN / name for name in ("new", "old"))
    if not new.is_symlink() and _whole(folder, new):
        _move_in(folder, new)
        return
    _remove(new)
    if not old.is_symlink() and (old / RECORD).is_file() and not (folder / RECORD).is_file():
        names = sorted(path.name for path in old.iterdir() if path.name != RECORD)
        for name in (*names, RECORD):  # the new set is lost, and the old one was on its way out
            disk.replace(old / name, folder / name)
    _remove(old)


def chunk_folder(folder: Path) -> Path:
    """Where finished chunks are kept, so that a repeated run computes nothing twice."""
    return folder / HIDDEN / "chunks"


def new_folder(folder: Path) -> Path:
    """An empty folder for the new set."""
    new = folder / HIDDEN / "new"
    _remove(new)
    new.mkdir(parents=True)
    return new


def commit(folder: Path, record: Mapping[str, Any]) -> None:
    """Write the record of the new set, last, and move the set into place."""
    new = folder / HIDDEN / "new"
    files = {}
    for path in sorted(new.iterdir()):
        disk.flush(path)
        files[path.name] = _sha256(path)
    text = json.dumps({**record, "files": files}, indent=2, ensure_ascii=False, allow_nan=False)
    part = new.with_name("run.json.part")  # half a record is none
    part.unlink(missing_ok=True)
    with part.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
    disk.flush_folder(new)
    disk.replace(part, new / RECORD)
    disk.flush_folder(new)
    _move_in(folder, new)


def _move_in(folder: Path, new: Path) -> None:
    """The old set away, its record first; then the new one in, its record last. Each step can be repeated, and all
    are taken back where one is refused."""
    old = folder / HIDDEN / "old"
    before = _listed(folder / RECORD)
    if before is not None or old.is_symlink():
        _remove(old)  # of a move that was completed
    else:
        before = _listed(old / RECORD)
    ours = set() if before is None else {*before, RECORD}
    coming = {path.name for path in new.iterdir()}
    arrived = (_listed(new / RECORD) or set()) - coming  # of a move that was interrupted
    for name in sorted(coming):
        target = folder / name
        if os.path.lexists(target) and (name not in ours or (target.is_dir() and not target.is_symlink())):
            expected = "this name free: move it elsewhere, then repeat the command; nothing is computed again"
            raise _refused(target, "file", "a file that no run of ours wrote", expected)
    going = sorted((name for name in ours - arrived if _stands(folder, name)), key=lambda name: (name != RECORD, name))
    old.mkdir(exist_ok=True)
    moves = [(folder / name, old / name) for name in going]
    moves += [(new / name, folder / name) for name in sorted(coming, key=lambda name: (name == RECORD, name))]
    done: list[tuple[Path, Path]] = []
    try:
        for path, target in moves:
            with _not_open(folder / path.name):
                disk.replace(path, target)
            done.append((path, target))
    except Exception:
        for path, target in reversed(done):
            disk.replace(target, path)
        raise
    disk.flush_folder(folder)
    _remove(old)
    _remove(new)


def _stands(folder: Path, name: str) -> bool:
    """Whether a name of a record is a plain one, of a file in the folder itself."""
    target = folder / name
    return Path(name).name == name and target.parent == folder and (target.is_symlink() or target.is_file())


def _whole(folder: Path, new: Path) -> bool:
    """Whether the new set has its record, and each file of it is in new/, or in DIR already, as it was written."""
    files = _files(new / RECORD)
    if files is None:
        return False
    for name, digest in files.items():
        if Path(name).name != name or name == RECORD:
            return False
        path = new / name if os.path.lexists(new / name) else folder / name
        if path.is_symlink() or not path.is_file() or _sha256(path) != digest:
            return False
    return {path.name for path in new.iterdir()} <= {*files, RECORD}


@contextmanager
def _not_open(path: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:
        found = "open in another program, or no leave to replace it"
        expected = f"close {path.name}, then repeat the command; nothing is computed again"
        raise _refused(path, "file", found, expected) from error


def _check_ours(folder: Path) -> None:
    """Raises OutputError where DIR is no folder, holds foreign files, or leads elsewhere from inside."""
    _check_name(folder)
    with disk.telling(folder):
        standing = next((path for path in (folder, *folder.absolute().parents) if os.path.lexists(path)), None)
        if standing is None:
            raise _refused(folder, "output folder", f"no drive {folder.absolute().anchor!r}", "a drive that is there")
        if not standing.is_dir():
            found = "a link that leads nowhere" if standing.is_symlink() else "a file"
            raise _refused(standing, "output folder", found, "a folder")
        if not folder.is_dir():
            return
        names = {entry.name for entry in folder.iterdir()}
    if names and HIDDEN not in names and _listed(folder / RECORD) is None:
        found, expected = "files that no run of ours wrote", "an empty folder or a former run"
        raise _refused(folder, "output folder", found, expected)
    hidden = folder / HIDDEN
    for path in (hidden, hidden / "chunks", hidden / LOCK):
        if path.is_symlink():
            raise _refused(path, "output folder", "a link", "no link inside the folder: remove it")
    if os.path.lexists(hidden) and not hidden.is_dir():
        expected = "a folder, where runs keep what they have computed: move the file elsewhere"
        raise _refused(hidden, "output folder", "a file", expected)


def _check_name(folder: Path, windows: bool = os.name == "nt") -> None:
    """Windows drops dots and spaces at the end of a name, and takes some names for devices."""
    for name in folder.parts if windows else ():
        if RESERVED.fullmatch(name) or (name != name.rstrip(". ") and name not in {".", ".."}):
            raise _refused(folder, "output folder", f"the name {name!r}", "a name that Windows takes as it is")


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """The lock of DIR, made if need be. The system lets go of it with the process: a dead run locks nobody out."""
    from filelock import FileLock, Timeout  # not for --help

    hidden = folder / HIDDEN
    with disk.telling(hidden, "then repeat the command"):
        hidden.mkdir(parents=True, exist_ok=True)
        lock = FileLock(hidden / LOCK)
        try:
            lock.acquire(blocking=False)
        except Timeout as error:
            expected = "one run at a time: wait until it has ended, or --out DIR for another folder"
            raise _refused(folder, "output folder", "another run at work in it", expected) from error
        except NotImplementedError:  # a disk without locks: the folder is taken as free
            lock = FileLock(os.devnull)
    try:
        yield
    finally:
        lock.release()


def _probe(folder: Path) -> None:
    """Write, rename into DIR and remove, as the end of a run will: rights say little on a disk of another kind."""
    part, target = _probes(folder)
    part.unlink(missing_ok=True)
    try:
        with part.open("xb") as file:
            file.write(bytes(PROBE_BYTES))
            file.flush()
            os.fsync(file.fileno())
        disk.replace(part, target)
        target.unlink()
    except OSError:
        with suppress(OSError):
            part.unlink()
        raise


def _probes(folder: Path) -> tuple[Path, Path]:
    return folder / HIDDEN / PROBE, folder / f"{HIDDEN}-probe"


def _told(error: Exception, folder: Path, there: bool) -> OutputError | None:
    """An OutputError for what a disk refused; None for any other error."""
    if isinstance(error, PlannerError):
        return None
    if isinstance(error, FileNotFoundError) and not (folder / HIDDEN).is_dir():
        expected = "a folder that stays where it is while a run works in it: repeat the command"
        return _refused(folder, "output folder", "nothing: it was removed or renamed meanwhile", expected)
    kept = disk.KEPT if there else "then repeat the command: nothing is computed twice"
    fault = disk.fault_of(error, folder, _bytes(folder), kept)
    return None if fault is None else OutputError([fault])


def _bytes(folder: Path) -> int:
    """What the files of the last run take."""
    found = 0
    for name in _listed(folder / RECORD) or ():
        with suppress(OSError):
            found += (folder / name).stat().st_size if Path(name).name == name else 0
    return found


def _clear(folder: Path) -> None:
    """Half a set helps nobody, and takes room."""
    new = folder / HIDDEN / "new"
    if not (new / RECORD).is_file():
        shutil.rmtree(new, ignore_errors=True)
    for path in _probes(folder):
        with suppress(OSError):
            path.unlink(missing_ok=True)


def _remove_if_empty(folder: Path, missing: list[Path]) -> None:
    """Take away what was made for a run that wrote nothing."""
    with suppress(OSError):
        inside = {path.name for path in folder.iterdir()} | {path.name for path in (folder / HIDDEN).iterdir()}
        if inside <= {HIDDEN, LOCK}:
            (folder / HIDDEN / LOCK).unlink(missing_ok=True)
            (folder / HIDDEN).rmdir()
            for path in missing:
                path.rmdir()


def _remove(path: Path) -> None:
    """A folder with all it holds, or the link or file that stands in its place."""
    if path.is_symlink() or path.is_file():
        path.unlink()
    elif path.exists():
        shutil.rmtree(path)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refused(path: Path, place: str, found: str, expected: str) -> OutputError:
    return OutputError([Fault(str(path), place, found, expected)])


def _listed(record: Path) -> set[str] | None:
    """Names that a record of ours lists; None if it is not there or not ours."""
    found = _files(record)
    return None if found is None else set(found)


def _files(record: Path) -> dict[str, str] | None:
    """Name → sha256 of the files of a record of ours."""
    try:
        found = json.loads(record.read_text(encoding="utf-8"))
        return dict(found["files"]) if "run_id" in found else None
    except (OSError, ValueError, KeyError, TypeError):
        return None
