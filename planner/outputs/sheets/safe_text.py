"""Untrusted text for a page: one line, nothing in it that a reader cannot see, broken and cut where it is long."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

from planner.plan import Plan
from planner.texts import date_text, say

HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # control, format (marks of direction), surrogate, private, none
CUT = "…"
BREAK = "\u200b"  # a line may end here, nothing is seen
ISOLATE, END = "\u2068", "\u2069"  # between them text has its own direction, nothing is seen
LONG_RUN = re.compile(r"\S{18}(?=\S)")
READABLE = 80  # letters of a name on a page, by judgement


def shown(text: object, most: int = READABLE) -> str:
    """Text as it may stand on a page: what cannot be seen is spelled out, long words may break, the rest is cut.

    most: letters that are kept at most, the mark of the cut among them.

    >>> shown("Kesu\\u202eredrum"), shown("x" * 100, 8)
    ('Kesu[U+202E]redrum', 'xxxxxxx…')
    """
    raw = str(text)[: most + 1]
    visible = "".join(_visible(letter) for letter in " ".join(raw.split(" ")))
    if len(visible) > most or len(str(text)) > most:
        visible = visible[: most - 1] + CUT
    return LONG_RUN.sub(lambda found: found[0] + BREAK, visible)


def apart(text: str) -> str:
    """Text that is read from the right, kept from turning what stands beside it; else the text as it is.

    >>> apart("Well") == "Well", apart("بئر") == "\u2068بئر\u2069"
    (True, True)
    """
    if any(unicodedata.bidirectional(letter) in ("R", "AL", "AN") for letter in text):
        return f"{ISOLATE}{text}{END}"
    return text


def language_of(plan: Plan) -> str:
    """The language of what is written for people."""
    return plan.programme.language


def run_line(about: Mapping[str, Any], language: str) -> str:
    """Which run the page is of: id, date, version."""
    run, day, version = (str(about[name]) for name in ("run_id", "date", "version"))
    return say("sheets_run", language, run=run, date=date_text(day, language), version=version)


def _visible(letter: str) -> str:
    return f"[U+{ord(letter):04X}]" if unicodedata.category(letter) in HIDDEN else letter
