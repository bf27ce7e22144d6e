"""Reading the text of single cells: numbers with qualifiers and units, dates, words; and findings about them.

The grammar is strict. A cell that it does not cover is missing, and the finding keeps the text. Nothing is
converted because it looks too large or too small.
"""

from __future__ import annotations

import csv
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd

from planner.glossary import glossary
from planner.tables.step import Action, Finding, Severity

# Factors to the glossary unit. Exact by definition: US gallon 3.785411784 L (NIST Handbook 44, appendix C),
# imperial gallon 4.54609 L (UK Weights and Measures Act 1985, schedule 1), foot 0.3048 m, inch 25.4 mm.
UNITS: dict[str, dict[str, float]] = {
    "m3/h": {
        "m3/h": 1.0,
        "m3/d": 1 / 24,
        "L/s": 3.6,
        "L/min": 0.06,
        "L/h": 0.001,
        "USgpm": 3.785411784 * 0.06,
        "igpm": 4.54609 * 0.06,
    },
    "m3/d": {"m3/d": 1.0, "L/d": 0.001},
    "m": {"m": 1.0, "ft": 0.3048, "cm": 0.01, "mm": 0.001},
    "mm": {"mm": 1.0, "in": 25.4},
    "mg/L": {"mg/L": 1.0, "g/m3": 1.0, "ug/L": 0.001},
    "Wp": {"Wp": 1.0, "W": 1.0, "kWp": 1000.0},
}

# Other spellings, after `_fold_unit`.
SPELLINGS = {
    "lps": "l/s",
    "l/sec": "l/s",
    "lpm": "l/min",
    "lph": "l/h",
    "m3/hr": "m3/h",
    "m3/hour": "m3/h",
    "m3/day": "m3/d",
    "l/day": "l/d",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "feet": "ft",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "hr": "h",
    "hrs": "h",
    "hour": "h",
    "hours": "h",
    "°": "deg",
    "°c": "degc",
}

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
}

_NUMBER = r"[0-9]+\.?[0-9]*|\.[0-9]+"
PLAIN_NUMBER = rf"[+-]?(?:{_NUMBER})(?:[eE][+-]?[0-9]+)?"
_ODD_NUMBER = re.compile(
    rf"(?P<qualifier>[<>]=?|[≥≤~≈]|ca?\.|about|approx\.?)?\s*"
    rf"(?P<first>[+-]?(?:{_NUMBER}))(?:\s*(?:[-–—]|to\b)\s*(?P<second>{_NUMBER}))?\s*(?P<unit>[^\s0-9.].{{0,15}})?"
)
_QUALIFIERS = {">": "lower_bound", "≥": "lower_bound", "<": "upper_bound", "≤": "upper_bound"}
_NO_VALUE = {"", "na", "n a", "nil", "none", "null", "nan", "nd"}
_DATE_ISO = re.compile(r"([0-9]{4})(?:-([0-9]{1,2})(?:-([0-9]{1,2})(?:[T ][0-9]{1,2}:[0-9]{2}.{0,20})?)?)?")
_DATE_SLASHED = re.compile(r"([0-9]{1,2})([/.-])([0-9]{1,2})\2([0-9]{4})")


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


def allowed_units(name: str) -> dict[str, float]:
    """Units that a quantity may be given in, with the factor to its glossary unit; empty for text.

    >>> allowed_units("casing_mm")
    {'mm': 1.0, 'in': 25.4}
    """
    quantity = glossary()[name]
    return {} if quantity.dtype == "text" else UNITS.get(quantity.unit, {quantity.unit: 1.0})


def unit_factor(name: str, written: str) -> float | None:
    """Factor from the written unit to the glossary unit; None if this quantity is not given in it.

    >>> unit_factor("tested_yield_m3_h", "l/s"), unit_factor("depth_m", "L/s")
    (3.6, None)
    """
    return _folded_units(name).get(_fold_unit(written))


@cache
def _folded_units(name: str) -> dict[str, float]:
    return {_fold_unit(unit): factor for unit, factor in allowed_units(name).items()}


def _fold_unit(written: str) -> str:
    folded = unicodedata.normalize("NFKC", written).casefold().replace("μ", "u").replace("^", "")
    folded = re.sub(r"\s+", "", folded)
    folded = folded.rstrip(".")
    return SPELLINGS.get(folded, folded)


def read_numbers(cells: pd.Series, name: str, factor: float) -> tuple[pd.Series, list[Note]]:
    """Numbers of a column in the glossary unit of `name`, missing where a cell has none, and the remarks.

    cells   text without outer spaces
    factor  from the column's unit to the glossary unit
    Numbers outside the glossary's range are missing: `out_of_range`, or `zero_as_missing` for a nought.
    """
    plain = cells.str.fullmatch(PLAIN_NUMBER).to_numpy(dtype=bool)
    values = np.full(len(cells), np.nan)
    values[plain] = np.array([float(one) for one in cells[plain].tolist()]) * factor
    notes: list[Note] = []
    read: dict[str, tuple[float, tuple[str, ...]]] = {}
    odd = np.flatnonzero(~plain & (cells != "").to_numpy())
    for place, text in zip(odd.tolist(), cells.iloc[odd].tolist(), strict=True):
        if text not in read:
            read[text] = read_number(text, name, factor)
        values[place], rules = read[text]
        notes += [Note(int(cells.index[place]), rule, show(values[place])) for rule in rules]

    quantity = glossary()[name]
    low = -np.inf if quantity.low is None else quantity.low
    high = np.inf if quantity.high is None else quantity.high
    beyond = np.isinf(values) | (values < low) | (values > high)
    nought = values == 0
    for rule, where in (("zero_as_missing", beyond & nought), ("out_of_range", beyond & ~nought)):
        notes += [Note(int(row), rule) for row in cells.index[where]]
    values[beyond] = np.nan
    return pd.Series(values, index=cells.index), notes


def read_number(text: str, name: str, factor: float) -> tuple[float, tuple[str, ...]]:
    """One cell that is not a plain number: its value in the glossary unit, and the rules that apply.

    >>> read_number("3-4", "tested_yield_m3_h", 1.0)
    (3.5, ('range',))
    >>> read_number("> 2 L/s", "tested_yield_m3_h", 1.0)
    (7.2, ('lower_bound', 'unit_converted'))
    >>> read_number("the diameter is 200", "casing_mm", 1.0)
    (nan, ('not_a_number',))
    """
    folded = fold(text)
    if folded in _NO_VALUE and not text.startswith("#"):
        return math.nan, ("no_value",)
    if name in DRY_COLUMNS and vocabulary()["status"].get(folded) == "dry":
        return math.nan, ("dry_as_value",)
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").strip()
    if "," in plain and re.fullmatch(r"[+-]?[0-9.,' ]+", plain):  # decimal, or thousands?
        return math.nan, ("comma_in_number",)
    found = _ODD_NUMBER.fullmatch(plain)
    return _value(found, name, factor) if found else (math.nan, ("not_a_number",))


DRY_COLUMNS = ("static_level_m", "tested_yield_m3_h", "pumping_level_m")


def _value(found: re.Match[str], name: str, factor: float) -> tuple[float, tuple[str, ...]]:
    rules = []
    value = float(found["first"])
    if found["qualifier"]:
        rules.append(_QUALIFIERS.get(found["qualifier"][0], "approximate"))
    if found["second"]:
        other = float(found["second"])
        if not 0 <= value <= other:
            return math.nan, ("not_a_number",)
        value = (value + other) / 2
        rules.append("range")
    if found["unit"]:
        own = unit_factor(name, found["unit"])
        if own is None:
            return math.nan, ("not_a_number",)
        rules.append("unit_in_cell" if own == factor else "unit_converted")
        factor = own
    return value * factor, tuple(rules or ["number_rewritten"])


def read_dates(cells: pd.Series) -> tuple[pd.Series, list[Note]]:
    """Dates as ISO text at their own precision (YYYY, YYYY-MM or YYYY-MM-DD), "" where a cell has none."""
    codes, distinct = pd.factorize(cells)
    read = [read_date(one) for one in distinct]
    texts = pd.Series([one for one, _ in read], dtype="str")
    rules = np.array([rule for _, rule in read], dtype=object)[codes]
    dates = pd.Series(texts.to_numpy()[codes], index=cells.index, dtype="str")
    noted = np.flatnonzero(rules != "")
    return dates, [Note(int(cells.index[at]), rules[at], dates.iloc[at]) for at in noted.tolist()]


def read_date(text: str) -> tuple[str, str]:
    """One date: ISO text at its own precision, and the rule that applies or "".

    Day and month are told apart only where one reading alone is a date; else the year is kept.

    >>> read_date("25/03/2019"), read_date("03/04/2019"), read_date("2019-3")
    (('2019-03-25', ''), ('2019', 'date_ambiguous'), ('2019-03', ''))
    """
    if text == "":
        return "", ""
    if fold(text) in _NO_VALUE:
        return "", "no_value"
    found = _DATE_ISO.fullmatch(text)
    if found:
        return _iso(found[1], found[2], found[3])
    slashed = _DATE_SLASHED.fullmatch(text)
    if slashed is None:
        return "", "not_a_date"
    first, _, second, year = slashed.groups()
    readings = {iso for iso, rule in (_iso(year, second, first), _iso(year, first, second)) if rule == ""}
    if len(readings) == 1:
        return readings.pop(), ""
    return (year, "date_ambiguous") if readings else ("", "not_a_date")


def _iso(year: str, month: str | None, day: str | None) -> tuple[str, str]:
    quantity = glossary()["test_year"]
    try:
        whole = date(int(year), int(month or 1), int(day or 1))
    except ValueError:
        return "", "not_a_date"
    if not (quantity.low or 0) <= whole.year <= (quantity.high or 9999):
        return "", "out_of_range"
    parts = 3 if day else 2 if month else 1
    return "-".join(whole.isoformat().split("-")[:parts]), ""


def read_words(cells: pd.Series, name: str, missing: str) -> tuple[pd.Series, list[Note]]:
    """Words of a vocabulary column by the published table; empty cells and unknown words become `missing`."""
    words: Mapping[str, str] = vocabulary()[name]
    folded = fold_all(cells)
    meaning = folded.map(words)
    empty = (cells == "") | (meaning.isna() & folded.isin(_NO_VALUE))
    doubtful = cells.str.contains("?", regex=False) & ~empty  # "working?" is not a statement
    meaning = meaning.mask(doubtful)
    unknown = meaning.isna() & ~empty
    result = meaning.fillna(missing).astype("str")
    return result, [Note(int(row), "unknown_word", missing) for row in cells.index[unknown]]
