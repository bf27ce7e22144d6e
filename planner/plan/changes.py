"""What differs between two plans, key by key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from planner.texts import ENGLISH, Figure, Listed, Said, Value, said, word

LONGEST = 80
# Not of the calculation: the list of variations itself, what a person has confirmed, and which files are written.
APART = ("scenario", "inventory.unconfirmed", "output")


class Change(NamedTuple):
    """A key and its two values; None where a plan does not have it."""

    key: str
    old: Any
    new: Any

    def said(self) -> Said:
        """The change in words; keys and values of the plan stand as they are written there."""
        return said("plan_change", key=self.key, old=value_said(self.old), new=value_said(self.new))

    def __str__(self) -> str:
        return self.said().text()


def plan_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Change, ...]:
    """Every dotted key whose value differs, in the order of the old plan, then of the new.

    >>> [str(one) for one in plan_changes({"well": {"a": 1}}, {"well": {"a": 1.0, "b": [2, 2, 2]}})]
    ['well.b none → 2 in each of 3']
    """
    before, after = dict(_leaves(old)), dict(_leaves(new))
    keys = [*before, *(key for key in after if key not in before)]
    return tuple(Change(key, before.get(key), after.get(key)) for key in keys if before.get(key) != after.get(key))


def value_words(value: Any) -> str:
    """A value of a plan in few English words."""
    return Listed((value_said(value),)).text()


def value_said(value: Any) -> Value:
    """A value of a plan in few words, for a sentence in any language."""
    if value is None or value in ({}, [], ()):
        return word("plan_none")
    if value == "":
        return word("plan_empty")
    if isinstance(value, bool):
        return word("plan_yes" if value else "plan_no")
    if isinstance(value, list | tuple):
        parts = [value_said(part) for part in value]
        if len(parts) > 2 and len(set(parts)) == 1:
            return said("plan_each", value=parts[0], n=str(len(parts)))
        return Short(Listed(tuple(parts)))
    if isinstance(value, float):
        return Figure(value, ".10g")
    return Short(Listed((str(value),)))


@dataclass(frozen=True)
class Short:
    """A text that is cut where it is long."""

    whole: Listed

    def text(self, language: str = ENGLISH) -> str:
        """The beginning of the text in the language."""
        words = self.whole.text(language)
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
