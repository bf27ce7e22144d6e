"""The text of a plan file: reading it, where in it a key stands, whether the files it names are there, and which keys
do nothing yet."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from planner.errors import Fault, PlanError, raise_if
from planner.plan.file_names import hint, path_of
from planner.texts import Said, word

# Keys that the contract names and this version reads without acting on: told to the user, never silent.
# Text of each: `without_effect_<section>_<key>`.
WITHOUT_EFFECT = (
    "area.equity_field",
    "rasters.recharge",
    "output.sheet_limit",
)


MOST_BYTES = 2_000_000  # a plan of a thousand lines is 50 kB
MOST_DEEP = 12  # tables in tables; a plan has four
SHOWN = 80  # characters of a name in a message
LINE = 300  # characters of a line that are looked at for its key


def text_of(path: Path) -> str:
    """The text, without a byte-order mark; raises PlanError that says why there is none."""
    try:
        # A pipe is waited for, and a device has no end.
        if path.exists() and not path.is_dir() and not path.is_file():
            raise PlanError([Fault(str(path), "file", "no file", "a plan file (TOML)")])
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            found, most = f"{path.stat().st_size / 1e6:.1f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB"
            raise PlanError([Fault(str(path), "file", found, f"a plan file (TOML) of {most}")])
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise PlanError([Fault(str(path), "file", "nothing at this path", "a plan file (TOML)")]) from error
    except IsADirectoryError as error:
        raise PlanError([Fault(str(path), "file", "a folder", "a plan file (TOML)")]) from error
    except UnicodeDecodeError as error:
        raise PlanError([Fault(str(path), f"byte {error.start}", "text that is not UTF-8", "UTF-8")]) from error
    except OSError as error:
        raise PlanError([Fault(str(path), "file", str(error.strerror or error), "a readable file")]) from error


def tables_of(text: str, path: Path) -> dict[str, Any]:
    """The tables of a TOML text; raises PlanError where it is none, or is nested or written beyond all measure."""
    hint = "; write paths with / or between single quotes" if "\\" in text else ""
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError, OverflowError) as error:  # a number of thousands of digits is a ValueError
        found = str(error)[:300] or "tables nested too deep"
        raise PlanError([Fault(str(path), "TOML", found, f"valid TOML{hint}")]) from error
    level: list[Any] = [raw]
    for _ in range(MOST_DEEP):
        level = [value for one in level for value in (one.values() if isinstance(one, dict) else one)]
        level = [one for one in level if isinstance(one, dict | list)]
    if level:
        raise PlanError([Fault(str(path), "TOML", f"more than {MOST_DEEP} tables in one another", "sections and keys")])
    return raw


def place_of(parts: list[str], text: str) -> str:
    """`[section] key, line N`: the line is that of the key inside its section, when it can be found."""
    keys = [part[:SHOWN] for part in parts if not part.isdigit()]
    label = f"[{keys[0]}] {' '.join(keys[1:])}".strip() if len(keys) > 1 else "".join(keys)
    inside = ""
    for number, whole in enumerate(text.splitlines(), start=1):
        line = whole[:LINE]
        if not any(sign in line for sign in ("[", *keys)):
            continue  # most lines, and cheaper than a pattern
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            inside = header.group(1)
            if inside == ".".join(keys):
                return f"{label}, line {number}"
        if (
            keys[1:]
            and inside in {keys[0], ".".join(keys[:-1])}
            and re.match(rf"\s*[\"']?{re.escape(keys[1 if inside == keys[0] else -1])}[\"']?\s*=", line)
        ):
            return f"{label}, line {number}"
    return label


def path_faults(files: dict[str, str], path: Path, text: str) -> list[Fault]:
    """A fault for each file that is not on disk; `files` is dotted key → name as written in the plan file `path`."""
    faults = []
    for key, name in files.items():
        place = place_of(key.split("."), text)
        if re.match(r"[a-zA-Z][a-zA-Z0-9+.-]+://", name) or name.startswith("/vsi"):
            faults.append(Fault(str(path), place, repr(name[:200]), "a file on disk, not an address"))
        elif not os.path.isfile(path_of(path.parent, name)):  # False too for names that no disk can hold
            expected = f"a file, relative to the plan file{hint(path.parent, name)}"
            faults.append(Fault(str(path), place, f"no file at {name[:200]!r}", expected))
    return faults


def refuse_unconfirmed(unconfirmed: Sequence[str], path: Path) -> None:
    """No run rests on a guess of `planner draft` that nobody has confirmed: raises PlanError, one fault a guess."""
    expected = "a look at the table: mend the plan where this is wrong, then take this line out of the list"
    faults = [Fault(str(path), "[inventory] unconfirmed", repr(guess)[:300], expected) for guess in unconfirmed]
    raise_if(faults, PlanError)


def take_without_effect(raw: dict[str, Any]) -> dict[str, Said]:
    """Remove keys that this version does not act on, and say what happens instead."""
    taken = {}
    for dotted in WITHOUT_EFFECT:
        section, _, key = dotted.partition(".")
        instead = word(f"without_effect_{dotted.replace('.', '_')}")
        if not key and section in raw:
            del raw[section]
            taken[dotted] = instead
        elif key and isinstance(raw.get(section), dict) and key in raw[section]:
            del raw[section][key]
            taken[dotted] = instead
    return taken


def keys_without_effect(sections: list[str]) -> list[str]:
    """Those of the section that `sections` leads to."""
    prefix = "".join(f"{part}." for part in sections)
    return [key[len(prefix) :] for key in WITHOUT_EFFECT if key.startswith(prefix) and "." not in key[len(prefix) :]]
