"""What the run says of budget, pumps, lots and tests, in groups under headings and in plain words for the page."""

from __future__ import annotations

import re
from collections.abc import Sequence

from planner.glossary import glossary

# How a group begins; every other line belongs to the group before it.
BEGINNINGS = (
    ("Weighted order", "A second order, by weights"),
    ("Standard pumps:", "Standard pumps"),
    ("Lots:", "Lots for tender"),
    ("Pumping tests:", "Pumping tests"),
)
FIRST = "Budget"
# Rules of [portfolio] that lines name by their key.
RULES = {
    *("minimum_count", "minimum_share", "locked_in", "locked_out", "carry_over"),
    *("max_pump_types", "pump_type_tolerance"),
}

_CODE = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?: \d{3})+(?![\d])")


def line_groups(lines: Sequence[str]) -> list[list[object]]:
    """[[heading, [line, …]], …] in the order of the lines.

    >>> line_groups(["Budget 1 USD: funded 0 sites.", "Lots: 2 of 3 sites."])
    [['Budget', ['Budget 1 USD: funded 0 sites.']], ['Lots for tender', ['2 of 3 sites.']]]
    """
    groups: list[tuple[str, list[str]]] = []
    for line in lines:
        start, heading = next((pair for pair in BEGINNINGS if line.startswith(pair[0])), ("", FIRST))
        if start or not groups:
            groups.append((heading, []))
        # What the heading has said is not said again.
        rest = line.removeprefix(start).lstrip() if start.endswith(":") else line
        told = plain_line(rest)
        groups[-1][1].append(told[:1].upper() + told[1:])
    return [[heading, told] for heading, told in groups]


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
