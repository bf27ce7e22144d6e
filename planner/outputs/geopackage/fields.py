"""Names that people read beside the columns, and text that SQLite and XML can hold."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from planner.glossary import Quantity, glossary, monthly
from planner.texts import ENGLISH, month_names, texts

DECISION_LABELS = {
    "equip": "Equip",
    "test_first": "Test first",
    "hold": "Hold",
    "unsuitable": "Unsuitable",
    "not_assessed": "Not assessed",
}

# What no XML 1.0 document may hold (section 2.2): controls but tab and line ends, halves of surrogate pairs, two
# non-characters. SQLite ends a text at NUL and cannot store surrogates.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NO_CHARACTER = re.compile("[\ud800-\udfff\ufffe\uffff]")


_ODD = "[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]"  # a column of texts holds no halves of pairs


def holdable(text: str) -> str:
    r"""Text in which a control character shows as its picture, and what is no character as U+FFFD.

    >>> holdable("Upper\x00 well \x1b\n<b>") == "Upper\u2400 well \u241b\n<b>"
    True
    """
    return _NO_CHARACTER.sub("\ufffd", _CONTROL.sub(lambda found: chr(0x2400 + ord(found[0])), text))


def holdable_column(texts: pd.Series) -> pd.Series:
    """The same of a column, most of which is as it should be."""
    if texts.dtype != "str":
        return texts.map(holdable).astype("str")
    odd = texts.str.contains(_ODD, regex=True).to_numpy(dtype=bool, na_value=False)
    return texts.where(~odd, texts[odd].map(holdable).astype("str")) if odd.any() else texts


def glossary_fields(names: Iterable[str], language: str = ENGLISH) -> list[Quantity]:
    """The quantities of these columns, in their order, with label and meaning in a language; months named.

    >>> [one.label for one in glossary_fields(["volume_03", "rank"])]
    ['Volume pumpable, Mar', 'Rank']
    """
    known, words = glossary(), texts(language)
    found = []
    for name in names:
        stem, _, month = name.rpartition("_")
        of_month = month.isdigit() and name in monthly(stem)
        key = f"{stem}_{{month}}" if of_month and f"label_{stem}_{{month}}" in words else name
        label = words[f"label_{key}"][1] + (f", {month_names(language)[int(month) - 1]}" if of_month else "")
        found.append(replace(known[name], label=label, meaning=words[f"meaning_{key}"][1]))
    return found


def alias(field: Quantity, currency: str) -> str:
    """Label and unit.

    >>> alias(glossary()["cost_per_m3"], "USD")
    'Cost of water, whole scheme (USD/m3)'
    """
    unit = "" if field.unit == "-" else f" ({field.unit.replace('currency', currency)})"
    return holdable(field.label + unit)
