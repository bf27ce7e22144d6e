"""What a disk refuses, told like any other fault: the file, what was found there, and what to do about it.

Only the standard library is imported: the command line looks here before anything heavy is there.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import tempfile
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from planner.errors import Fault, OutputError

FOUND = {
    "ENOSPC": "no space left on the disk",
    "EDQUOT": "no space left in your share of the disk (quota)",
    "EFBIG": "a file that would grow beyond what this system allows",
    "EROFS": "a disk that can only be read",
    "EACCES": "no permission",
    "EPERM": "no permission",
    "EBUSY": "a file or folder in use by the system (mounted)",
    "ETXTBSY": "a file in use by another program",
    "EMFILE": "too many open files",
    "ENFILE": "too many open files",
    "ENAMETOOLONG": "a path that is too long for this system",
    "EIO": "an error of the disk",
    "ENODEV": "a disk that is gone",
    "ENXIO": "a disk that is gone",
    "ESTALE": "a folder on the network that is gone",
    "EXDEV": "a folder that lies on another disk than the one around it",
    "EISDIR": "a folder where a file belongs",
    "ENOTDIR": "a file where a folder belongs",
    "ELOOP": "links that lead in a circle",
}
EXPECTED = {
    "EFBIG": "a higher limit for the size of files (ulimit -f), or a disk that takes large ones",
    "EROFS": "a folder that can be written to: --out DIR elsewhere",
    "EACCES": "leave to read and write there, no other program that holds it open, or --out DIR elsewhere",
    "EPERM": "leave to read and write there, no other program that holds it open, or --out DIR elsewhere",
    "EMFILE": "a higher limit (ulimit -n), or fewer programs at work",
    "ENFILE": "a higher limit (ulimit -n), or fewer programs at work",
    "ENAMETOOLONG": "a shorter one: --out DIR nearer to the root, with short names",
    "EXDEV": "a folder without a mount point inside: --out DIR elsewhere",
}
FULL = {"ENOSPC", "EDQUOT"}
NAMES = {number: name for name in FOUND if (number := getattr(errno, name, None)) is not None}
WINDOWS = {112: "ENOSPC", 39: "ENOSPC", 206: "ENAMETOOLONG", 32: "EACCES", 33: "EACCES", 19: "EROFS"}
SQLITE = {13: "ENOSPC", 8: "EROFS", 10: "EIO"}  # SQLITE_FULL, SQLITE_READONLY, SQLITE_IOERR
# Libraries that write our files and wrap what the system told them, and words of theirs that say what it was.
WRITERS = ("pyogrio", "xlsxwriter", "pyarrow", "rasterio", "zipfile", "sqlite3", "numba", "typst")
WORDS = {
    "ENOSPC": ("no space left", "disk full", "disk is full", "not enough space"),
    "EDQUOT": ("quota exceeded",),
    "EFBIG": ("file too large",),
    "EROFS": ("read-only file system", "readonly database"),
    "EACCES": ("permission denied",),
    "EMFILE": ("too many open files",),
}
LITTLE_BYTES = 4 << 20  # a disk with less room is full, whatever a library says of its failure
KEPT = "then repeat the command: the last results are as they were, and nothing is computed twice"
ON_WINDOWS = os.name == "nt"
TRIES, PAUSE_S = 5, 0.2  # Windows: a virus scanner or a synchronised folder holds new files for a moment


def fault_of(error: BaseException, at: Path | None, needed: int = 0, kept: str = KEPT) -> Fault | None:
    """The fault behind an error of a system or of a library that writes; None where it is of another kind.

    at      the folder or file that was written, where the error itself names none
    needed  bytes that the results take, as far as that is known
    kept    what holds of earlier results, and how to go on
    """
    if isinstance(error, FileNotFoundError) and "No usable temporary directory" in str(error.strerror):
        return Fault("temporary folder", "TMPDIR", "none that can be written to", "a folder with room, named by TMPDIR")
    name = _name(error, at)
    if name is None:
        return None
    file = next((one.filename for one in _behind(error) if isinstance(one, OSError) and one.filename), None)
    if _compiling(error):
        where, found = os.environ.get("NUMBA_CACHE_DIR", "compiled code"), FOUND[name]
        return Fault(where, "compiled code", found, f"room there, or NUMBA_CACHE_DIR that names another folder; {kept}")
    if name in FULL:
        return _full(name, Path(os.fsdecode(file)) if file else at, needed, kept)
    where = os.fsdecode(file) if file else str(at or "disk")
    place = "file system" if name not in {"EACCES", "EPERM"} else "permission"
    expected = EXPECTED.get(name, "a folder on a disk that works: --out DIR elsewhere")
    return Fault(where, place, FOUND[name], f"{expected}; {kept}" if kept else expected)


def _full(name: str, at: Path | None, needed: int, kept: str) -> Fault:
    """No room; the temporary folder is named where that is what is full."""
    free = free_bytes(at) if at is not None else None
    temporary = Path(tempfile.gettempdir())
    if free is not None and free > LITTLE_BYTES and (free_bytes(temporary) or LITTLE_BYTES) < LITTLE_BYTES:
        at, free, needed = temporary, free_bytes(temporary), 0
    room = f"room for about {size_text(needed)}, as the last results" if needed else "room"
    found = FOUND[name] + ("" if free is None else f" ({size_text(free)} free)")
    expected = f"{room}: free some, or --out DIR on another disk; {kept}" if kept else f"{room}: free some"
    return Fault(str(at or "disk"), "space", found, expected)


def _compiling(error: BaseException) -> bool:
    """Whether it was compiled code that could not be kept."""
    frames = traceback.walk_tb(error.__traceback__)
    return any(frame.f_globals.get("__name__") == "numba.core.caching" for frame, _ in frames)


def _behind(error: BaseException) -> Iterator[BaseException]:
    """An error and those that led to it."""
    seen: list[BaseException] = []
    waiting: list[object] = [error]
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, BaseException) and one not in seen:
            seen.append(one)
            yield one
            waiting += [*one.args[:1], one.__cause__, one.__context__]


def _name(error: BaseException, at: Path | None) -> str | None:
    """The symbol of what the system refused."""
    ours = isinstance(error, OSError) or type(error).__module__.partition(".")[0] in WRITERS
    if not ours:
        return None
    for one in _behind(error):
        if isinstance(one, OSError):
            name = WINDOWS.get(getattr(one, "winerror", None) or 0) or NAMES.get(one.errno or 0)
            if name is not None:
                return name
            if isinstance(one, FileNotFoundError):
                return None  # a file that is not there is told by who reads it; where ours went, by `telling`
    text = " ".join(str(one) for one in _behind(error)).lower()
    for name, words in WORDS.items():
        if any(word in text for word in words):
            return name
    free = free_bytes(at) if at is not None else None
    if free is not None and free < LITTLE_BYTES:
        return "ENOSPC"
    if isinstance(error, sqlite3.Error):
        return SQLITE.get(getattr(error, "sqlite_errorcode", 0) & 0xFF)
    return None


def free_bytes(path: Path) -> int | None:
    """Room on the disk of a path, or of the nearest folder above it; None where the system does not say."""
    for one in (path, *path.absolute().parents):
        with suppress(OSError):
            return shutil.disk_usage(one).free
    return None


def size_text(size: float) -> str:
    """A number of bytes for people.

    >>> size_text(36_200_000), size_text(2_000), size_text(0)
    ('36.2 MB', '2 kB', '0 bytes')
    """
    for unit, name in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if size >= unit:
            return f"{size / unit:.3g} {name}"
    return f"{size:.0f} bytes"


@contextmanager
def telling(at: Path, kept: str = "") -> Iterator[None]:
    """Raise OutputError in place of what the system refuses inside: the one place where that is done."""
    try:
        yield
    except Exception as error:
        fault = fault_of(error, at, kept=kept)
        if fault is None and isinstance(error, FileNotFoundError) and not at.parent.is_dir():
            fault = Fault(str(at.parent), "folder", "nothing: it was removed or renamed", "a folder that stays")
        if fault is None:
            raise
        raise OutputError([fault]) from error


@contextmanager
def in_one_piece(path: Path, *, over: bool = True) -> Iterator[Path]:
    """A path beside `path` to write to, which takes its place in the end: what stood there is whole, or the new is.

    over  whether a file that stands at `path` may be replaced; FileExistsError where it may not
    Raises OutputError where the disk refuses. A link at `path` is replaced, never written through.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    made = done = False
    with telling(path, kept=f"{path.name} is as it was" if os.path.lexists(path) else "nothing was written"):
        try:
            if not over:
                path.open("xb").close()  # the name is ours from here
                made = True
            yield part
            flush(part)
            replace(part, path)
            done = True
        finally:
            for one in () if done else (part, path) if made else (part,):
                one.unlink(missing_ok=True)


@contextmanager
def kept_as_they_were(paths: Sequence[Path]) -> Iterator[None]:
    """Files that are written together: where one of them fails, each is as it was, or absent again."""
    before = {path: path.with_name(f".{path.name}.{os.getpid()}.old") for path in paths}
    moved: list[Path] = []
    try:
        with telling(paths[0]):
            for path, old in before.items():
                if os.path.lexists(path):
                    replace(path, old)
                    moved.append(path)
        yield
    except BaseException:
        for path, old in before.items():
            with suppress(OSError):
                path.unlink(missing_ok=True)
            if path in moved:
                replace(old, path)
        raise
    for path in moved:
        before[path].unlink(missing_ok=True)


def flush(path: Path) -> None:
    """Have a file on the disk itself, so that what is done after it is also after it when the power fails."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """The same of a folder's names, where a system can."""
    if ON_WINDOWS:
        return
    with suppress(OSError):  # some network disks cannot
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def replace(path: Path, target: Path) -> None:
    """Rename, in the place of what stands there; on Windows a file may be held by a scanner for a moment."""
    for left in reversed(range(TRIES if ON_WINDOWS else 1)):
        try:
            path.replace(target)
            return
        except PermissionError:
            if not left:
                raise
            time.sleep(PAUSE_S)
