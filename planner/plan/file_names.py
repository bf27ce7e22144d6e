"""The file that a name in a plan means, where letters with accents are spelled in one or in two characters.

macOS hands names on with letter and accent apart (NFD), keyboards write them as one (NFC); both look the same. A name
that is there as it is written is taken; else the one that differs in nothing but this. Upper and lower case are never
taken for one another: another system would not find the file. They are told.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path, PurePath

from planner.terminal import plain


def path_of(folder: Path, name: str) -> Path:
    """The path of a file named from a folder; where there is none, the name as it is written."""
    written = folder / name
    if os.path.exists(written):  # False too for names that no disk can hold
        return written
    return _walked(folder, name, _composed) or written


def hint(folder: Path, name: str) -> str:
    """What may be wrong with a name that is not there: an end of a sentence, or nothing."""
    if os.name != "nt" and re.match(r"[A-Za-z]:[\\/]", name):
        return "; this is a path of Windows: copy the file to this machine and name it from the plan's folder"
    if not name.isprintable() or "\\" in name:
        return "; write paths with /"
    other = _walked(folder, name, lambda text: _composed(text).casefold())
    if other is not None:
        return f"; there is {other.name!r}: upper and lower case matter"
    try:
        os.fsencode(name)
    except UnicodeEncodeError:
        return f"; this system's settings have no letters but ASCII ({plain(name)}): set PYTHONUTF8=1"
    return ""


def _walked(folder: Path, name: str, spelled: Callable[[str], str]) -> Path | None:
    """The one path whose parts are spelled alike; None where there is none, or more than one."""
    parts = PurePath(name).parts
    found = folder
    for part in parts:
        step = found / part
        if part == ".." or os.path.exists(step):
            found = step
            continue
        try:
            alike = [one for one in os.listdir(found) if spelled(_text(one)) == spelled(part)]
        except (OSError, ValueError):
            return None
        if len(alike) != 1:
            return None
        found = found / alike[0]
    return found if parts else None


def _composed(text: str) -> str:
    return unicodedata.normalize("NFC", text)


def _text(name: str) -> str:
    """A name of a folder's list as text, also where the system's settings know ASCII only."""
    return os.fsencode(name).decode("utf-8", "surrogateescape")
