"""Columns as short strings: a value is a whole number of one or more digits to base 64, every column of one width.

A packed column of 10 000 values takes a third of the bytes of a JSON list and is read in a single loop. Code 0
stands for a missing number.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.outputs.map.words import spoken

DIGITS = np.frombuffer(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_", dtype=np.uint8)
BASE = len(DIGITS)

Packed = dict[str, Any]


def pack(codes: NDArray[np.int64]) -> Packed:
    """Whole numbers from 0 upwards as {"width", "codes"}; width 0 where all are 0.

    >>> pack(np.array([1, 65]))
    {'width': 2, 'codes': 'ABBB'}
    """
    width = 0
    while codes.size and BASE**width <= codes.max():
        width += 1
    places = BASE ** np.arange(width - 1, -1, -1, dtype=np.int64)
    digits = codes[:, None] // places % BASE
    return {"width": width, "codes": DIGITS[digits].tobytes().decode("ascii")}


def pack_numbers(values: NDArray[np.float64], decimals: int) -> Packed:
    """Numbers rounded to so many decimals; not finite is missing. A few distinct values go by their levels."""
    scaled = np.round(values * 10.0**decimals)
    known = np.isfinite(scaled)
    whole = scaled[known].astype(np.int64)
    codes = np.zeros(values.size, dtype=np.int64)
    levels = np.unique(whole)
    if levels.size < BASE:
        codes[known] = np.searchsorted(levels, whole) + 1
        return {"levels": [None, *(_plain(level, decimals) for level in levels.tolist())], **pack(codes)}
    low = int(whole.min())
    codes[known] = whole - low + 1
    return {"decimals": decimals, "low": low, **pack(codes)}


def pack_texts(column: pd.Series) -> Packed:
    """Texts by their levels, in the order of appearance; a list where most are different. Missing is ""."""
    texts = column.fillna("").astype("str")
    codes, levels = pd.factorize(texts)
    if len(levels) * 2 > len(texts):
        return {"texts": [str(text) for text in texts]}
    return {"levels": [str(level) for level in levels], **pack(codes.astype(np.int64))}


def pack_told(column: pd.Series, made: Callable[[str], Any]) -> Packed:
    """Sentences by their levels, each one text or {language: text}; made(English) says it in any language."""
    codes, levels = pd.factorize(column.fillna("").astype("str"))
    return {"levels": [spoken(made(str(level))) if level else "" for level in levels], **pack(codes.astype(np.int64))}


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
