"""What the run says of budget, pumps, lots and tests, in groups under headings and in plain words for the page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from planner.glossary import glossary
from planner.texts import ENGLISH, Said, Spoken, said, texts

# How a group begins: the heading by the key of its first line; every other line belongs to the group before it.
HEADINGS = {
    "order_weighted": "heading_order",
    "pumps_said": "heading_pumps",
    "lots_said": "heading_lots",
    "tests_said": "heading_tests",
}
FIRST = "heading_budget"
# Rules of [portfolio] that lines name by their key.
RULES = {
    *("minimum_count", "minimum_share", "locked_in", "locked_out", "carry_over"),
    *("max_pump_types", "pump_type_tolerance"),
}

_CODE = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?: \d{3})+(?![\d])")


@dataclass(frozen=True)
class Plain:
    """A line of the run with names of columns as words and a capital."""

    line: Spoken

    def text(self, language: str = ENGLISH) -> str:
        """The line in the language."""
        told = plain_line(self.line.text(language), language)
        return told[:1].upper() + told[1:]


def line_groups(lines: Sequence[Said]) -> list[tuple[Said, list[Spoken]]]:
    """(heading, lines) in the order of the lines.

    >>> groups = line_groups([said("budget_carried"), said("lots_said", text=said("lots_none"))])
    >>> [(str(heading), [line.text() for line in told]) for heading, told in groups][1]
    ('Lots for tender', ['No site to group.'])
    """
    groups: list[tuple[Said, list[Spoken]]] = []
    for line in lines:
        heading = HEADINGS.get(line.key)
        if heading or not groups:
            groups.append((said(heading or FIRST), []))
        groups[-1][1].append(Plain(_inner(line)))
    return groups


def _inner(line: Said) -> Spoken:
    """What the heading says is not said again."""
    if not line.key.endswith("_said"):
        return line
    inner = line.value_of("text")
    return line if isinstance(inner, str | int | float) else inner


def plain_line(line: str, language: str = ENGLISH) -> str:
    """Names of columns as words, and thousands that no line end parts; other text stays as it is.

    >>> plain_line("people_served 0.30: 1 200 of my_own")
    'people served 0.30: 1\u202f200 of my_own'
    """
    words = _CODE.sub(lambda found: _words(found[0], language), line)
    return _THOUSANDS.sub(lambda found: found[0].replace(" ", "\u202f"), words)


def _words(code: str, language: str) -> str:
    if code not in glossary() and code not in RULES:
        return code
    if language != ENGLISH:  # keys of the plan are the same in every language
        return texts(language).get(f"label_{code}", ("", code))[1]
    return code.replace("_", " ").replace("sub district", "sub-district").replace("m3", "m³")
