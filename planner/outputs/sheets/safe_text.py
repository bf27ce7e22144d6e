"""Untrusted text for a page: one line, nothing in it that a reader cannot see, broken and cut where it is long."""

from __future__ import annotations

import re
import unicodedata

from planner.plan import Plan

HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # control, format (marks of direction), surrogate, private, none
CUT = "…"
BREAK = "\u200b"  # a line may end here, nothing is seen
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


def language_of(plan: Plan) -> str:
    """The language of what is written for people."""
    return plan.programme.language


def _visible(letter: str) -> str:
    return f"[U+{ord(letter):04X}]" if unicodedata.category(letter) in HIDDEN else letter
