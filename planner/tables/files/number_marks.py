"""Decimal marks and the order of dates in figures, judged over a whole table."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import islice

import pandas as pd

_COMMA = re.compile(r"[+\-−]?[0-9]+,[0-9]+")
_POINT = re.compile(r"[+\-−]?[0-9]*\.[0-9]+")
# One thousand two hundred and thirty-four, or one and a quarter? Both marks are read both ways somewhere.
_EITHER = re.compile(r"[+\-−]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_DATE = re.compile(r"([0-9]{1,2})[/.-]([0-9]{1,2})[/.-][0-9]{2,4}")
_SAMPLE = 200  # cells by which a column is known to hold dates


def marks_of(cells: Iterable[str]) -> tuple[int, int]:
    """How many cells have a decimal comma and how many a decimal point; those that may be thousands do not count.

    >>> marks_of(["12,5", "-9,25", "1,234", "3.5", "1.000", "Ba, Ko"])
    (2, 1)
    """
    commas = points = 0
    for cell in cells:
        text = cell.strip()
        if "," in text:
            commas += bool(_COMMA.fullmatch(text)) and not _EITHER.fullmatch(text)
        elif "." in text:
            points += bool(_POINT.fullmatch(text)) and not _EITHER.fullmatch(text)
    return commas, points


def date_order_of(rows: Sequence[Sequence[str]], width: int) -> str:
    """day_first or month_first where the dates in figures are of one order alone, else "".

    >>> date_order_of([["25/03/2019"], ["04/03/2019"]], 1)
    'day_first'
    """
    return date_order_in([row[place] for row in rows] for place in range(width))


def date_order_in(columns: Iterable[Iterable[str]]) -> str:
    """`date_order_of` of columns of cells, each of which is gone through twice."""
    orders: Counter[str] = Counter()
    for cells in columns:
        sample = list(islice((cell for cell in cells if cell), _SAMPLE))
        if not sample or sum(bool(_DATE.match(cell.strip())) for cell in sample) * 2 < len(sample):
            continue
        for cell in cells:
            found = _DATE.match(cell.strip())
            if found:
                first, second = int(found[1]), int(found[2])
                orders["day_first"] += first > 12 >= second
                orders["month_first"] += second > 12 >= first
    seen = [order for order, count in orders.items() if count]
    return seen[0] if len(seen) == 1 else ""


def with_points(cells: pd.Series, *, degrees: bool) -> pd.Series:
    """Cells of a position column of a table with decimal commas, plain ones with points instead.

    degrees  a column of degrees, where no number has thousands; elsewhere 743,210 can be read two ways and stays
    Whatever is no plain number is left to the grammar of positions.
    """
    plain = cells.str.fullmatch(r"[+\-−]?[0-9]+,[0-9]+")
    if not degrees:
        plain &= ~cells.str.fullmatch(r"[+\-−]?[0-9]{1,3},[0-9]{3}")
    return cells.mask(plain, cells.str.replace(",", ".", regex=False))
