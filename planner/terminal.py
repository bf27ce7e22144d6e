"""What is printed, on terminals that have fewer letters than our texts: code pages of Windows, plain ASCII."""

from __future__ import annotations

import codecs
import os
import re
import sys
import unicodedata

PLAIN = {
    "−": "-", "–": "-", "—": "-", "×": "x", "·": "*", "÷": "/", "≤": "<=", "≥": ">=", "≈": "~", "→": "->", "±": "+-",
    "°": "deg", "‘": "'", "’": "'", "“": '"', "”": '"', "«": '"', "»": '"', "…": "...", "µ": "u", "μ": "u", "⁄": "/",
    "′": "'", "″": '"', "‹": "'", "›": "'", "ʼ": "'", "•": "*", "←": "<-", "∝": "~", "∫": "integral ", "€": "EUR",
    "∑": "sum ", "Σ": "sum ", "Ω": "ohm", "√": "sqrt ", "∞": "inf", "ß": "ss", "ø": "o", "Ø": "O",
    "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE",
}  # fmt: skip
HANDLER = "planner.plain"


def plain(text: str) -> str:
    """Letters of ASCII that say the same; ? where there are none.

    >>> plain("4,5 m³/h − Bévé ≥ 30 °C…"), plain("井")
    ('4,5 m3/h - Beve >= 30 degC...', '?')
    """
    return "".join(map(_letter, text))


def _letter(letter: str) -> str:
    if letter in PLAIN:
        return PLAIN[letter]
    if greek := re.fullmatch(r"GREEK (?:SMALL|CAPITAL) LETTER (\w+)", unicodedata.name(letter, "")):
        return greek[1].lower()
    parts = "".join(one for one in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(one))
    found = "".join(PLAIN.get(one, one) for one in parts)
    return found if found.isascii() and (found or unicodedata.combining(letter)) else "?"


def _replaced(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end


def can_print() -> None:
    """From now on no text of ours ends a command because a terminal lacks its letters."""
    for number in range(3):  # one that is closed would be given to the next file that is opened
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    codecs.register_error(HANDLER, _replaced)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # not so in some notebooks, and there is none without a console
            stream.reconfigure(errors=HANDLER)
