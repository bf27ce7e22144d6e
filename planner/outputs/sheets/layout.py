"""Sizes of all that stands on a site sheet: each text gets the largest size at which it fits, or is cut with a mark."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from planner.outputs.sheets.letters import MM_PER_PT, cut, divided, line, tall_em, widest_em, width_em
from planner.outputs.sheets.safe_text import CUT

# Millimetres that the template and the sizes share.
WIDE, GAP = 186.0, 4.0
THIRD, UPPER = (WIDE - 2 * GAP) / 3, 67.0
MONTHS = 92.0
HALF = (WIDE - MONTHS - 2 * GAP) / 2
MIDDLE, MIDDLE_BELOW_FIRST = 58.0, 52.0
FIRST, FIRST_INSET = 22.0, 1.8
WHY, CAUTIONS = 17.0, 16.5
HEADING = 4.3  # of the line above a panel's body
STEPS = 50.0
FACTS = (44.0, 36.0, 44.0, 23.0, 14.0, 25.0)
MONTH_CELL = 5.5
PAGE_MM = {
    "wide": WIDE, "gap": GAP, "third": THIRD, "upper": UPPER, "months": MONTHS, "half": HALF, "first": FIRST,
    "first_inset": FIRST_INSET, "why": WHY, "cautions": CAUTIONS, "heading": HEADING, "steps": STEPS,
    "facts": FACTS, "month_cell": MONTH_CELL,
}  # fmt: skip

SIZES = (7.6, 7.4, 7.2, 7.0, 6.8, 6.6, 6.4, 6.2, 6.0, 5.8, 5.6, 5.4, 5.2, 5.0, 4.8, 4.6, 4.4, 4.2, 4.0)
HEAD_PT, LEAST = 8.0, 4.0
DESCENT_EM = 0.25  # below the last line
ROW_EM = 0.78  # above and below the text of a row
APART_EM = 0.55  # between paragraphs
MARK_EM = 0.85  # the mark of a paragraph in a list, and the room after it
COLUMNS_APART = {"pairs": 1.5, "halves": 4.0}  # mm
NOTE = 0.9  # size of a note below a table, of the table's
LABEL_SHARE = {"equipment": 0.34, "costs": 0.46, "water": 0.5}

Fits = Callable[[list[str]], bool]


def head(words: str, width_mm: float) -> dict[str, Any]:
    """The words above a panel, on one line."""
    return line(words, width_mm, HEAD_PT, LEAST, strong=True)


def pairs(rows: list[list[str]], share: float, width_mm: float, height_mm: float, note: str = "") -> dict[str, Any]:
    """Labels and values in two columns, and a note below: `rows`, `note`, and the `size` of both, pt.

    share: of the width that the labels take.
    """
    columns = (share * width_mm, (1.0 - share) * width_mm - COLUMNS_APART["pairs"])

    def tall(size: float, texts: list[str]) -> float:
        ems = [one / MM_PER_PT / size for one in columns]
        found = 0.0
        for label, value in zip(texts[:-1:2], texts[1:-1:2], strict=True):
            found += max(tall_em(label, ems[0]), tall_em(value, ems[1])) + ROW_EM
            if widest_em(label) > ems[0] or widest_em(value) > ems[1]:
                found += _wider(size)
        if texts[-1]:
            note_em = width_mm / MM_PER_PT / size / NOTE
            found += NOTE * tall_em(texts[-1], note_em) + 0.6 + 1.0 / MM_PER_PT / size
        return found

    size, texts = _fitted([one for row in rows for one in row] + [note], tall, height_mm, 2)
    ems = [one / MM_PER_PT / size for one in columns]
    cells = [divided(one, ems[at % 2]) for at, one in enumerate(texts[:-1])]
    kept = [list(row) for row in zip(cells[::2], cells[1::2], strict=True)]
    return {"size": size, "rows": kept, "note": texts[-1]}


def halves(texts: list[str], width_mm: float, height_mm: float) -> dict[str, Any]:
    """Paragraphs in two columns, the first not shorter: `lines` and their `size`, pt."""
    column = (width_mm - COLUMNS_APART["halves"]) / 2

    def tall(size: float, given: list[str]) -> float:
        em = column / MM_PER_PT / size - MARK_EM
        first = (len(given) + 1) // 2
        over = sum(_wider(size) for one in given if widest_em(one) > em)
        ems = [tall_em(one, em) + APART_EM for one in given]
        return max(sum(ems[:first]), sum(ems[first:])) - APART_EM + over

    size, kept = _fitted(texts, tall, height_mm, 1)
    em = column / MM_PER_PT / size - MARK_EM
    return {"size": size, "lines": [divided(one, em) for one in kept]}


def _wider(size: float) -> float:
    """A piece wider than its column: as if it were too tall, but at the least size it is divided."""
    return 1e3 if size > LEAST else 0.0


def _fitted(
    texts: list[str], tall: Callable[[float, list[str]], float], height_mm: float, group: int
) -> tuple[float, list[str]]:
    """The largest size at which texts fit; at the least they are cut, the longest first, then left out from the end.

    group: how many texts are left out together.
    """
    height_pt = height_mm / MM_PER_PT

    def fits(size: float, given: list[str]) -> bool:
        return (tall(size, given) + DESCENT_EM) * size <= height_pt

    low, high = 0, len(SIZES) - 1
    if not texts or fits(SIZES[0], texts):
        return SIZES[0], texts
    while low < high - 1:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(SIZES[middle], texts) else (middle, high)
    return SIZES[high], _cut(list(texts), lambda given: fits(SIZES[high], given), group)


def _cut(texts: list[str], fits: Fits, group: int) -> list[str]:
    while not fits(texts):
        longest = max(range(len(texts) - group + 1), key=lambda at: width_em(texts[at]))  # never the note of a table
        em = width_em(texts[longest])
        if em > 20.0:
            texts[longest] = cut(texts[longest], 0.85 * em)
        elif len(texts) > group + 1:
            tail = texts[len(texts) - 1 :] if group == 2 else []  # the note of a table stays
            texts = texts[: len(texts) - len(tail) - group]
            texts[-1] = texts[-1].removesuffix(CUT).rstrip(" ") + " " + CUT
            texts += tail
        else:
            break
    return texts
