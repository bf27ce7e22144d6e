"""The list [[scenario]] of a plan file: a name, and any key of the plan, laid over the plan.

Tables merge key by key, so that a scenario says only what it changes. Three things go whole: a value, a raster (its
unit and scale belong to its file), and an empty table below a section, which empties what the plan has there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import AfterValidator, ConfigDict, Field

from planner.plan.section import Section

# Another currency, price year or inventory is another plan: two runs and `planner compare`.
FIXED = ("output", "scenario", "programme.name", "programme.currency", "programme.price_year", "programme.language")
OF_INVENTORY = ("columns", "units")  # other columns of the same rows


def _safe_name(name: str) -> str:
    if not re.fullmatch(r"\w[\w -]{0,39}", name):
        raise ValueError("1 to 40 letters, figures, spaces, - and _, a letter or figure first")
    return name


class Scenario(Section):
    """A variation of the plan; what it changes stands in `changes` as it is written, and is validated when it is
    laid over the plan."""

    model_config = ConfigDict(frozen=True, extra="allow", allow_inf_nan=False)

    name: Annotated[str, AfterValidator(_safe_name)] = Field(description="name of the scenario, once in the plan")

    @property
    def changes(self) -> dict[str, Any]:
        """Sections and keys as the plan file has them."""
        return dict(self.model_extra or {})


def unique_names(scenarios: tuple[Scenario, ...] | None) -> tuple[Scenario, ...] | None:
    """The same; ValueError where two have one name."""
    names = [one.name.casefold() for one in scenarios or ()]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"a name of its own for each scenario; more than once: {', '.join(twice)}")
    return scenarios


def merged(plan: Mapping[str, Any], changes: Mapping[str, Any], inside: str = "") -> dict[str, Any]:
    """The plan's tables with those of a scenario laid over them; neither is changed.

    >>> merged({"well": {"a": 1, "b": 2}, "costs": {"tax": 0}}, {"well": {"b": 3}})
    {'well': {'a': 1, 'b': 3}, 'costs': {'tax': 0}}
    >>> merged({"portfolio": {"minimum_count": {"ward": 2}}}, {"portfolio": {"minimum_count": {}}})
    {'portfolio': {'minimum_count': {}}}
    """
    found = dict(plan)
    for key, value in changes.items():
        old = found.get(key)
        whole = inside == "rasters" or (inside and not value)
        if isinstance(old, Mapping) and isinstance(value, Mapping) and not whole:
            found[key] = merged(old, value, f"{inside}.{key}".strip("."))
        else:
            found[key] = value
    return found


def fixed_keys(changes: Mapping[str, Any]) -> Iterator[list[str]]:
    """The keys that no scenario may change, as parts."""
    for section, keys in changes.items():
        if section in FIXED:
            yield [section]
        elif isinstance(keys, Mapping):
            for key in keys:
                if f"{section}.{key}" in FIXED or (section == "inventory" and key not in OF_INVENTORY):
                    yield [section, key]


def scenario_place(number: int, name: str, parts: list[str], text: str) -> str:
    """`[[scenario]] name: [section] key, line N`; number counts the scenarios of the file from 0."""
    keys = [part[:80] for part in parts if not part.isdigit()]
    label = f"[{keys[0]}] {' '.join(keys[1:])}".strip() if len(keys) > 1 else "".join(keys)
    line = _line_of(number, keys, text)
    return f"[[scenario]] {name}: {label}" + (f", line {line}" if line else "")


def _line_of(number: int, keys: list[str], text: str) -> int:
    """Line of the key inside its scenario, else of its section, else of the scenario; 0 where there is no header."""
    seen, inside, best, weight = -1, "", 0, 0
    for place, whole in enumerate(text.splitlines(), start=1):
        line = whole[:300]
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            inside = header.group(1)
            seen += bool(re.match(r"\s*\[\[\s*scenario\s*\]\]", line))
        ours = seen == number and inside.split(".")[0] == "scenario"
        if not ours or not keys:
            continue
        under = ".".join(inside.split(".")[1:])
        depth = len(under.split(".")) if under else 0
        names = "|".join(map(re.escape, keys[depth:])) or "$."
        named = rf"\s*[\"']?(?:[\w\"']+\s*\.\s*)*(?:{names})[\"']?\s*="
        if under and keys[:depth] == under.split(".") and re.match(named, line):
            found = 4
        elif not under and re.match(rf"\s*[\"']?{re.escape(keys[0])}\b", line) and not header:
            found = 4 if keys[-1] in line else 3
        else:
            found = 2 if header and under == keys[0] else 1 if header and not under else 0
        if found > weight:
            best, weight = place, found
    return best
