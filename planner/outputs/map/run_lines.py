"""What the run says of budget, pumps, lots and tests, in groups under headings and in plain words for the page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from planner.glossary import glossary
from planner.outputs.map.words import Told, spoken
from planner.texts import ENGLISH

# How a group begins in English, and the key of its heading; every other line belongs to the group before it.
BEGINNINGS = (
    ("Weighted order", "page_told_weights"),
    ("Standard pumps:", "page_told_standard"),
    ("Lots:", "page_told_lots"),
    ("Pumping tests:", "page_told_tests"),
)
FIRST = "page_told_budget"
# Rules of [portfolio] that lines name by their key.
RULES = {
    *("minimum_count", "minimum_share", "locked_in", "locked_out", "carry_over"),
    *("max_pump_types", "pump_type_tolerance"),
}

_CODE = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?: \d{3})+(?![\d])")


def line_groups(lines: Sequence[Any]) -> list[list[Any]]:
    """[[key of the heading, [line, …]], …] in the order of the lines; a line is text, or {language: text}.

    lines: texts of the run as `words.spoken` takes them.

    >>> line_groups(["Budget 1 USD: funded 0 sites.", "Lots: 2 of 3 sites."])
    [['page_told_budget', ['Budget 1 USD: funded 0 sites.']], ['page_told_lots', ['2 of 3 sites.']]]
    """
    groups: list[tuple[str, list[Told]]] = []
    for one in lines:
        line = spoken(one)
        english = line if isinstance(line, str) else line[ENGLISH]
        start, heading = next((pair for pair in BEGINNINGS if english.startswith(pair[0])), ("", FIRST))
        if start or not groups:
            groups.append((heading, []))
        repeats = start.endswith(":")  # what the heading has said is not said again
        if isinstance(line, str):
            groups[-1][1].append(_told(line, repeats))
        else:
            groups[-1][1].append({language: _told(text, repeats) for language, text in line.items()})
    return [[heading, told] for heading, told in groups]


def _told(line: str, repeats: bool) -> str:
    """A line in plain words; repeats: it begins with its heading and a colon, in every language."""
    rest = line.partition(":")[2].lstrip() if repeats and ":" in line else line
    told = plain_line(rest)
    return told[:1].upper() + told[1:]


def plain_line(line: str) -> str:
    """Names of columns as words, and thousands that no line end parts; other text stays as it is.

    >>> plain_line("people_served 0.30: 1 200 of my_own")
    'people served 0.30: 1\u202f200 of my_own'
    """
    words = _CODE.sub(lambda found: _words(found[0]), line)
    return _THOUSANDS.sub(lambda found: found[0].replace(" ", "\u202f"), words)


def _words(code: str) -> str:
    if code not in glossary() and code not in RULES:
        return code
    return code.replace("_", " ").replace("sub district", "sub-district").replace("m3", "m³")
