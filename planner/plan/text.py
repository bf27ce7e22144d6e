"""The text of a plan file: reading it, where in it a key stands, whether the files it names are there, and which keys
do nothing yet."""

from __future__ import annotations

import os
import re
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


def text_of(path: Path) -> str:
    """The text, without a byte-order mark; raises PlanError that says why there is none."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise PlanError([Fault(str(path), "file", "nothing at this path", "a plan file (TOML)")]) from error
    except IsADirectoryError as error:
        raise PlanError([Fault(str(path), "file", "a folder", "a plan file (TOML)")]) from error
    except UnicodeDecodeError as error:
        raise PlanError([Fault(str(path), f"byte {error.start}", "text that is not UTF-8", "UTF-8")]) from error
    except OSError as error:
        raise PlanError([Fault(str(path), "file", str(error.strerror or error), "a readable file")]) from error


def place_of(parts: list[str], text: str) -> str:
    """`[section] key, line N`: the line is that of the key inside its section, when it can be found."""
    keys = [part for part in parts if not part.isdigit()]
    label = f"[{keys[0]}] {' '.join(keys[1:])}".strip() if len(keys) > 1 else "".join(keys)
    inside = ""
    for number, line in enumerate(text.splitlines(), start=1):
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
            faults.append(Fault(str(path), place, repr(name), "a file on disk, not an address"))
        elif not os.path.isfile(path_of(path.parent, name)):
            expected = f"a file, relative to the plan file{hint(path.parent, name)}"
            faults.append(Fault(str(path), place, f"no file at {name!r}", expected))
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
