"""Sentences of millions of checks, of which a few thousand differ: each is made once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from planner.texts import ENGLISH, placeholders, sentence, texts
from planner.texts.digits import significant

SLICE = 1_000_000  # texts laid side by side at once
DIGITS = 3  # of a number in a sentence below 100, see texts.number

Codes = NDArray[np.int64]


def sentences(checks: pd.DataFrame, language: str = ENGLISH) -> tuple[Codes, list[str]]:
    """The sentence of each check, as a place in the list of those that differ, and this list.

    checks  rule and subject as categories, value and limit as numbers
    """
    rules, subjects = checks["rule"].array, checks["subject"].array
    templates = [texts(language)[rule][1] if rule in texts(language) else "" for rule in rules.categories]
    key = rules.codes.astype(np.int64)
    for codes, count in (
        (subjects.codes.astype(np.int64), len(subjects.categories)),
        *(_alike(checks[name].to_numpy(dtype="float64"), name, rules.codes, templates) for name in ("value", "limit")),
    ):
        key = pd.factorize(key * count + codes)[0]
    _, first = np.unique(key, return_index=True)
    some = checks.iloc[first]
    columns = (some[name].tolist() for name in ("rule", "subject", "value", "limit"))
    return key, [
        sentence(rule, about, value, limit, language) for rule, about, value, limit in zip(*columns, strict=True)
    ]


def _alike(
    values: NDArray[np.float64], name: str, rules: NDArray[np.int8], templates: Sequence[str]
) -> tuple[Codes, int]:
    """A number for all values that a sentence writes alike, and how many there are; one where it does not say them."""
    said = np.array([name in placeholders(one) for one in templates], dtype=bool)[rules]
    down = np.array(["{value} %" in one for one in templates], dtype=bool)[rules]  # as texts.parts rounds
    near = values if name == "limit" else np.where(down, np.floor(values + 1e-9), values)
    near = np.where(np.abs(near) >= 100, np.rint(near), significant(near, DIGITS))
    near[~said] = np.nan
    codes, known = pd.factorize(near)
    return codes.astype(np.int64) + 1, len(known) + 1


def joined(place: Codes, code: Codes, words: Sequence[str], between: str, rows: int) -> pd.Series:
    """For each row its words one behind the other, each once; "" where there are none.

    place  of the row of each word, from 0, in order; code: of the word in `words`
    """
    kept = ~pd.Series(place * len(words) + code).duplicated().to_numpy()
    place, code = place[kept], code[kept]
    ends = np.searchsorted(place, np.arange(rows + 1))
    known = pa.array(words, type=pa.string())
    parts, start = [], 0
    while start < rows:
        stop = max(int(np.searchsorted(ends, ends[start] + SLICE, side="right")) - 1, start + 1)
        inside = known.take(pa.array(code[ends[start] : ends[stop]]))
        lists = pa.ListArray.from_arrays((ends[start : stop + 1] - ends[start]).astype(np.int32), inside)
        parts.append(pc.binary_join(lists, between).cast(pa.large_string()))
        start = stop
    return pd.Series(pa.chunked_array(parts, type=pa.large_string()), dtype="str")
