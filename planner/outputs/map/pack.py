"""Columns as whole numbers from 0 upwards, with what they stand for; code 0 stands for a missing number.

A column keeps its codes as an array until the block is written (block.py): as digits to base 64 in JSON, or as planes
of bytes. A packed column of 10 000 values takes a third of the bytes of a JSON list and is read in a single loop.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.outputs.map.words import spoken

FLAGS = 6  # flags a code: one digit to base 64
MISSING_MANY = 0.03  # share of missing values from which they are marked apart: flags then cost less than codes

Packed = dict[str, Any]
Codes = NDArray[np.int64]

_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def pack_numbers(values: NDArray[np.float64], decimals: int) -> Packed:
    """Numbers rounded to so many decimals; not finite is missing. A few distinct values go by their levels.

    >>> pack_numbers(np.array([0.5, np.nan, 2.0]), 1)
    {'levels': [None, 0.5, 2], 'codes': array([1, 0, 2])}
    """
    scaled = np.round(values * 10.0**decimals)
    known = np.isfinite(scaled)
    whole = scaled[known].astype(np.int64)
    codes = np.zeros(values.size, dtype=np.int64)
    levels = np.unique(whole)
    if levels.size < 64:
        codes[known] = np.searchsorted(levels, whole) + 1
        return {"levels": [None, *(_plain(level, decimals) for level in levels.tolist())], "codes": codes}
    low = int(whole.min())
    codes[known] = whole - low + 1
    return {"decimals": decimals, "low": low, "codes": codes}


def pack_texts(column: pd.Series) -> Packed:
    """Texts by their levels, in the order of appearance; a list where most are different. Missing is "".

    Where most differ by a number alone, the text around it goes by levels and the number by its own:
    {"around": [[before, after]], "codes", "amounts": packed texts}; the parts joined by the amount are the text.
    """
    texts = column.fillna("").astype("str")
    codes, found = pd.factorize(texts)
    levels = [str(level) for level in found]
    if len(levels) * 2 <= len(texts) and len(levels) <= 64:
        return {"levels": levels, "codes": codes.astype(np.int64)}
    around, amounts, places = _templates(levels)
    letters = sum(len(part) for parts in around for part in parts) + sum(map(len, set(amounts))) + 2 * len(texts)
    if letters < sum(map(len, levels)) / 2:
        return {
            "around": around,
            "codes": np.array(places, dtype=np.int64)[codes],
            "amounts": pack_texts(pd.Series(amounts, dtype="str").iloc[codes]),
        }
    if len(levels) * 2 > len(texts):
        return {"texts": [str(text) for text in texts]}
    return {"levels": levels, "codes": codes.astype(np.int64)}


def _templates(texts: list[str]) -> tuple[list[list[str]], list[str], list[int]]:
    """What stands around the first number of texts, each once; the numbers; and which belongs to each text."""
    known: dict[tuple[str, ...], int] = {}
    amounts, places = [], []
    for text in texts:
        found = _NUMBER.search(text)
        parts = (text[: found.start()], text[found.end() :]) if found else (text,)
        amounts.append(found[0] if found else "")
        places.append(known.setdefault(parts, len(known)))
    return [list(parts) for parts in known], amounts, places


def pack_flags(flags: NDArray[np.bool_]) -> Codes:
    """Flags as codes of six, the first the highest.

    >>> pack_flags(np.array([True, False, False, False, False, True, True]))
    array([33, 32])
    """
    padded = np.zeros(-(-flags.size // FLAGS) * FLAGS, dtype=np.int64)
    padded[: flags.size] = flags
    return np.asarray(padded.reshape(-1, FLAGS) @ (1 << np.arange(FLAGS - 1, -1, -1)))


class Presence:
    """Which sites have a value: columns that are missing on the same sites share their flags."""

    def __init__(self) -> None:
        self.flags: dict[bytes, int] = {}
        self.packed: list[Codes] = []

    def pack_numbers(self, values: NDArray[np.float64], decimals: int) -> Packed:
        """As pack_numbers; where many are missing, only those that are there, and `present`: a place in `packed`."""
        known = np.isfinite(values)
        if values.size == 0 or known.mean() > 1 - MISSING_MANY:
            return pack_numbers(values, decimals)
        key = known.tobytes()
        if key not in self.flags:
            self.flags[key] = len(self.packed)
            self.packed.append(pack_flags(known))
        return {"present": self.flags[key], **pack_numbers(values[known], decimals)}


def pack_told(column: pd.Series, made: Callable[[str], Any]) -> Packed:
    """Sentences by their levels, each one text or {language: text}; made(English) says it in any language."""
    codes, levels = pd.factorize(column.fillna("").astype("str"))
    return {"levels": [spoken(made(str(level))) if level else "" for level in levels], "codes": codes.astype(np.int64)}


def decimals_for(values: NDArray[np.float64]) -> int:
    """Decimals that leave three digits to nearly every positive value: 0 to 3.

    >>> decimals_for(np.array([0.25, 1.5, np.nan])), decimals_for(np.array([900.0, 2000.0]))
    (3, 0)
    """
    known = values[np.isfinite(values) & (values > 0)]
    if known.size == 0:
        return 0
    return int(np.clip(2 - math.floor(math.log10(np.quantile(known, 0.01))), 0, 3))


def _plain(level: int, decimals: int) -> float | int:
    value = level / 10.0**decimals
    return int(value) if value.is_integer() else value
