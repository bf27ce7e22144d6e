"""How wide text is in the fonts of the sheets: sizes are chosen here, since to measure in typst costs half of its time.

Advance widths of single letters; kerning and hyphens, which make text narrower, are left out: what fits here, fits.
"""

from __future__ import annotations

import math
import unicodedata
from functools import cache, lru_cache
from importlib.resources import as_file, files
from typing import Any

from planner.outputs.sheets.safe_text import BREAK, CUT

MM_PER_PT = 25.4 / 72
MARGIN = 1.015  # letters may stand a little wider than their advances say (accents put together, rounding)
UNKNOWN_EM = 1.0  # of letters that the fonts do not have: the square of Chinese letters
CAP_EM, TALL_EM = 0.66, 0.76  # height of a line in Source Sans, and at most where another font steps in
LEADING_EM = 0.5  # between lines, as the templates set it


@cache
def _advances(strong: bool) -> dict[int, float]:
    """Width by code point, em."""
    from fontTools.ttLib import TTFont

    name = f"SourceSansPro-{'Semibold' if strong else 'Regular'}.otf"
    with as_file(files("planner.outputs.sheets").joinpath("fonts", name)) as path, TTFont(path, lazy=True) as font:
        per_em, widths = font["head"].unitsPerEm, font["hmtx"].metrics
        return {code: widths[glyph][0] / per_em for code, glyph in font.getBestCmap().items()}


@lru_cache(maxsize=20_000)
def width_em(text: str, strong: bool = False) -> float:
    """Width of a text on one line, em; strong: semibold."""
    known = _advances(strong)
    return sum(known[code] if (code := ord(letter)) in known else _unknown_em(letter) for letter in text)


def _unknown_em(letter: str) -> float:
    return 0.0 if unicodedata.category(letter) in ("Mn", "Me", "Cf") else UNKNOWN_EM


def line(text: str, width_mm: float, most: float, least: float, strong: bool = False) -> dict[str, Any]:
    """A text for one line: `size` in pt, the largest that fits, `words`, cut with a mark where none does; `width`, mm.

    >>> line("Well", 50.0, 8.0, 5.0)
    {'words': 'Well', 'size': 8.0, 'width': 50.0}
    """
    width_pt = width_mm / MM_PER_PT / MARGIN
    words = text.replace(BREAK, "")
    wide = width_em(words, strong)
    if wide * least > width_pt:
        words = cut(words, width_pt / least, strong)
        wide = width_em(words, strong)
    size = min(most, width_pt / wide) if wide else most
    return {"words": words, "size": math.floor(100 * max(size, least)) / 100, "width": round(width_mm, 3)}


def cut(text: str, em: float, strong: bool = False) -> str:
    """The beginning of a text with the mark of the cut, no wider than `em`."""
    left = em - width_em(CUT, strong)
    for at, letter in enumerate(text):
        left -= width_em(letter, strong)
        if left < 0:
            return text[:at].rstrip(" ,;") + CUT
    return text


@lru_cache(maxsize=20_000)
def _words(text: str, strong: bool) -> tuple[tuple[float, bool], ...]:
    """Width of each piece that is never divided, em, and whether a space stands before it."""
    found = []
    for word in text.split(" "):
        for at, piece in enumerate(word.split(BREAK)):
            found.append((MARGIN * width_em(piece, strong), at == 0))
    return tuple(found)


def widest_em(text: str, strong: bool = False) -> float:
    """The widest piece of a text that is never divided, em."""
    return max(wide for wide, _ in _words(text, strong))


def lines(text: str, em: float, strong: bool = False) -> int:
    """On how many lines a text stands in a column of this width, each filled before the next begins."""
    space = width_em(" ", strong)
    count, at = 1, 0.0
    for wide, apart in _words(text, strong):
        gap = space if apart and at else 0.0
        if at and at + gap + wide > em:
            count, at, gap = count + 1, 0.0, 0.0
        if wide > em:
            more = math.ceil(wide / em)
            count, at = count + more - 1, em
        else:
            at += gap + wide
    return count


def two_lines(text: str, width_mm: float, most: float, least: float) -> dict[str, Any]:
    """A text for at most two lines, as `line` gives it; on one where it fits there at `most`."""
    width_pt = width_mm / MM_PER_PT
    size = most
    while size > least and (lines(text, width_pt / size) > 2 or widest_em(text) > width_pt / size):
        size = round(size - 0.2, 2)
    em = width_pt / size
    words = divided(text, em)
    while lines(words, em) > 2:
        words = cut(words, 0.9 * width_em(words))
    return {"words": words, "size": size, "width": round(width_mm, 3)}


def tall_em(text: str, em: float, strong: bool = False) -> float:
    """Height of a text in a column of this width, em."""
    count = lines(text, em, strong)
    known = _advances(strong)
    cap = CAP_EM if all(ord(letter) in known or not _unknown_em(letter) for letter in text) else TALL_EM
    return count * cap + (count - 1) * LEADING_EM


def divided(text: str, em: float) -> str:
    """The text with places to break inside pieces that are wider than a column."""
    if widest_em(text) <= em:
        return text
    found, at = [], 0.0
    for letter in text:
        wide = MARGIN * width_em(letter)
        at = 0.0 if letter in (" ", BREAK) else at + wide
        if at > em:
            found.append(BREAK)
            at = wide
        found.append(letter)
    return "".join(found)
