"""Reading single cells: text for comparison, words of the vocabulary, and the findings about cells.

Numbers are read in cell_numbers, dates in cell_dates, units in units. The grammar is strict everywhere: a cell that
it does not cover is missing, and the finding keeps the text. Nothing is converted because it looks too large or
too small.
"""

from __future__ import annotations

import csv
import math
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd

from planner.tables.cells.units import allowed_units, level_datum, unit_factor
from planner.tables.step import Action, Finding, Severity

__all__ = [
    "NO_VALUE",
    "PLAIN_NUMBER",
    "SEVERITY",
    "Note",
    "allowed_units",
    "findings_for",
    "fold",
    "fold_all",
    "level_datum",
    "read_words",
    "show",
    "two_names",
    "unit_factor",
    "vocabulary",
    "word_meanings",
]

SEVERITY: dict[str, tuple[Severity, Action]] = {
    "no_value": ("info", "flagged"),
    "lower_bound": ("info", "flagged"),
    "upper_bound": ("info", "flagged"),
    "approximate": ("info", "flagged"),
    "range": ("warning", "flagged"),
    "unit_in_cell": ("info", "repaired"),
    "unit_converted": ("warning", "repaired"),
    "number_rewritten": ("info", "repaired"),
    "dry_as_value": ("warning", "flagged"),
    "comma_in_number": ("warning", "flagged"),
    "not_a_number": ("warning", "flagged"),
    "out_of_range": ("warning", "flagged"),
    "zero_as_missing": ("info", "flagged"),
    "artesian_undeclared": ("warning", "flagged"),
    "position_not_decimal": ("warning", "flagged"),
    "position_rewritten": ("info", "repaired"),
    "position_placeholder": ("warning", "flagged"),
    "position_not_converted": ("warning", "flagged"),
    "position_ambiguous": ("warning", "flagged"),
    "half_position": ("warning", "flagged"),
    "sign_lost": ("warning", "repaired"),
    "swapped_coordinates": ("warning", "flagged"),
    "hemisphere_ambiguous": ("warning", "flagged"),
    "decimal_point_lost": ("warning", "flagged"),
    "packed_angle": ("warning", "flagged"),
    "degrees_in_metres": ("warning", "flagged"),
    "utm_in_degrees": ("warning", "repaired"),
    "utm_zone_used": ("info", "repaired"),
    "utm_zone_found": ("warning", "repaired"),
    "utm_zone_unknown": ("warning", "flagged"),
    "utm_zone_not_read": ("warning", "flagged"),
    "repeated_position": ("warning", "flagged"),
    "date_ambiguous": ("warning", "flagged"),
    "not_a_date": ("warning", "flagged"),
    "unknown_word": ("warning", "flagged"),
    "bound_not_cautious": ("warning", "flagged"),
    "unit_ambiguous": ("warning", "flagged"),
    "datum_in_cell": ("warning", "flagged"),
    "date_from_serial": ("info", "repaired"),
    "date_rewritten": ("info", "repaired"),
    "date_only_year": ("info", "flagged"),
    "date_against_order": ("warning", "repaired"),
    "date_placeholder": ("info", "flagged"),
    "date_in_future": ("warning", "flagged"),
    "date_order_from_column": ("info", "flagged"),
    "unit_doubtful": ("warning", "flagged"),
    "test_pump_limited": ("info", "flagged"),
    "not_a_borehole": ("warning", "flagged"),
    "name_of_another_source": ("warning", "flagged"),
    "two_names": ("info", "flagged"),
}

PLAIN_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"

# Words that say there is no value.
NO_VALUE = frozenset(
    {"", "na", "n a", "nil", "none", "null", "nan", "nd", "n d", "no data", "not available", "not measured"}
    | {"aucun", "aucune", "neant", "non mesure", "sem dados", "nao medido", "sin datos", "no medido", "hakuna"}
)
# "A / B", "A & B", "A and B": two names of letters in one cell, in five languages.
_LONGEST_NAME = 200
_NAME = r"[^\W\d_][\w .'’-]*"
_TWO_NAMES = re.compile(rf"\s*{_NAME}(?:\s*[/&+;]\s*|\s+(?:and|et|e|y|na)\s+){_NAME}\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Note:
    """A remark about one cell: the inventory row, the rule, and the text that stands for the cell now."""

    row: int
    rule: str
    new_value: str = ""


def findings_for(
    rows: pd.Index,
    site_id: pd.Series,
    column: str,
    rule: str,
    severity: Severity,
    *,
    old: pd.Series | str = "",
    new: pd.Series | str = "",
    action: Action = "flagged",
) -> list[Finding]:
    """One finding for each of `rows` (inventory_row); `old` and `new` are texts or Series by row."""

    def texts(value: pd.Series | str) -> list[str]:
        return [value] * len(rows) if isinstance(value, str) else value.loc[rows].tolist()

    return [
        Finding(int(row), name, column, rule, severity, before, after, action)
        for row, name, before, after in zip(
            rows.tolist(), site_id.loc[rows].tolist(), texts(old), texts(new), strict=True
        )
    ]


def show(value: float) -> str:
    """A number as short text, empty if missing.

    >>> show(355.60), show(float("nan"))
    ('355.6', '')
    """
    return "" if math.isnan(value) else format(value, ".10g")


def fold(text: str) -> str:
    """Text for comparison: no case, accents, punctuation or double spaces.

    >>> fold("  À l'abandon / Hors-service ")
    'a l abandon hors service'
    """
    if not text.isascii():
        text = "".join(one for one in unicodedata.normalize("NFKD", text) if not unicodedata.combining(one))
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()


def fold_all(texts: pd.Series) -> pd.Series:
    """`fold` of every text, each distinct text once."""
    codes, distinct = pd.factorize(texts)
    folded = pd.Series([fold(one) for one in distinct], dtype="str")
    return pd.Series(folded.to_numpy()[codes], index=texts.index, dtype="str")


@cache
def vocabulary() -> dict[str, dict[str, str]]:
    """column → folded word → meaning, from the published table data/vocabulary.csv."""
    words: dict[str, dict[str, str]] = {}
    text = files("planner").joinpath("data", "vocabulary.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        words.setdefault(row["column"], {})[fold(row["word"])] = row["meaning"]
    return words


def read_words(cells: pd.Series, name: str, missing: str) -> tuple[pd.Series, list[Note]]:
    """Words of a vocabulary column by the published table; empty cells and unknown words become `missing`."""
    meaning = word_meanings(cells, name)
    odd = cells[meaning.isna() & (cells != "")]
    unknown = odd.index[~(fold_all(odd).isin(NO_VALUE) & ~odd.str.contains("?", regex=False))]
    return meaning.fillna(missing).astype("str"), [Note(row, "unknown_word", missing) for row in unknown.tolist()]


def word_meanings(cells: pd.Series, name: str) -> pd.Series:
    """What each cell means in a column of the vocabulary, missing where it is no word of it.

    A word with a question mark ("working?") is not a statement.
    """
    words = vocabulary()[name]
    codes, distinct = pd.factorize(cells)
    known = [None if "?" in one else words.get(fold(one)) for one in distinct.tolist()]
    return pd.Series(known, dtype="str").take(codes).set_axis(cells.index)


def two_names(cells: pd.Series) -> pd.Series:
    """Which cells hold two names ("A / B", "A & B", "A and B"): perhaps two places in one row."""
    joined = cells[cells.str.contains("[/&+;]| (?:and|et|e|y|na) ", case=False)]  # few: only these are looked at
    both = [len(text) <= _LONGEST_NAME and _TWO_NAMES.fullmatch(text) is not None for text in joined.tolist()]
    return pd.Series(cells.index.isin(joined.index[np.array(both, dtype=bool)]), index=cells.index, dtype="bool")
