"""What differs between two plans, key by key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

LONGEST = 80
# Not of the calculation: the list of variations itself, what a person has confirmed, and which files are written.
APART = ("scenario", "inventory.unconfirmed", "output")


class Change(NamedTuple):
    """A key and its two values; None where a plan does not have it."""

    key: str
    old: Any
    new: Any

    def __str__(self) -> str:
        return f"{self.key} {value_words(self.old)} → {value_words(self.new)}"


def plan_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Change, ...]:
    """Every dotted key whose value differs, in the order of the old plan, then of the new.

    >>> [str(one) for one in plan_changes({"well": {"a": 1}}, {"well": {"a": 1.0, "b": [2, 2, 2]}})]
    ['well.b none → 2 in each of 3']
    """
    before, after = dict(_leaves(old)), dict(_leaves(new))
    keys = [*before, *(key for key in after if key not in before)]
    return tuple(Change(key, before.get(key), after.get(key)) for key in keys if before.get(key) != after.get(key))


def value_words(value: Any) -> str:
    """A value of a plan in few words."""
    if value is None or value in ({}, [], ()):
        return "none"
    if value == "":
        return "empty"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        parts = [value_words(part) for part in value]
        alike = len(parts) > 2 and len(set(parts)) == 1
        words = f"{parts[0]} in each of {len(parts)}" if alike else ", ".join(parts)
    else:
        words = f"{value:.10g}" if isinstance(value, float) else str(value)
    return words if len(words) <= LONGEST else words[: LONGEST - 1] + "…"


def _leaves(plan: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in plan.items():
        dotted = f"{prefix}{key}"
        if dotted in APART:
            continue
        if isinstance(value, Mapping):
            yield from _leaves(value, f"{dotted}.")
        elif value is not None:
            yield dotted, list(value) if isinstance(value, tuple) else value
