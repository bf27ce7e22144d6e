"""Numbers of an inventory's column: qualifiers, ranges, units in the cell, decimal commas.

Most cells are plain and are read together; only the others are looked at one by one. Nothing is converted because
it looks too large or too small: only a unit that is written counts.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa

from planner.glossary import glossary
from planner.tables.cells.read import NO_VALUE, PLAIN_NUMBER, Note, fold, show, vocabulary
from planner.tables.cells.units import allowed_units, is_ambiguous_unit, level_datum, unit_factor

Mark = Literal[".", ",", "doubtful"]
By = Literal["plan", "file", "column"]

DRY_COLUMNS = ("static_level_m", "tested_yield_m3_h", "pumping_level_m")
# Of a range the cautious end is used: the higher number where more of it makes a set dearer or a water worse, the
# lower one elsewhere (yield, depth, casing …). Our own rule.
CAUTIOUS_HIGH = frozenset(
    {"static_level_m", "pumping_level_m", "water_temperature_c", "sand_mg_l", "ec_us_cm", "iron_mg_l", "chloride_mg_l"}
    | {"fluoride_mg_l", "arsenic_mg_l", "nitrate_mg_l", "people", "livestock_tlu", "irrigated_ha", "demand_m3_day"}
    | {"tank_height_m", "pipe_length_m", "well_loss_d2_m5"}
)

_LONGEST = 100  # characters; a longer text is no number
_NUMBER = r"[0-9]+\.?[0-9]*|\.[0-9]+"
_LOWER = (
    r"[>≥]=?|over|more than|at least|min(?:imum|imo)?\b\.?|plus de|au moins|mas de|mais de|al menos|pelo menos|angalau"
)
_UPPER = r"[<≤]=?|under|less than|up to|max(?:imum|imo)?\b\.?|moins de|jusqu'a|menos de|hasta|ate\b|chini ya|hadi"
_ABOUT = (
    r"[~≈]|circa|ca\b\.?|c\.|about|approx(?:imately)?\b\.?|env(?:iron)?\b\.?|aprox(?:imadamente)?\b\.?|cerca de"
    r"|mais ou menos|mas o menos|alrededor de|vers|kama|takriban|\+/-|±"
)
_ODD_NUMBER = re.compile(
    rf"(?:(?P<lower>{_LOWER})|(?P<upper>{_UPPER})|(?P<about>{_ABOUT}))?\s*"
    rf"(?P<first>[+-]?(?:{_NUMBER}))"
    rf"(?:\s*(?:[-–—]|(?:to|a|hadi)\b)\s*(?P<second>{_NUMBER}))?(?P<more>\s*\+)?\s*(?P<unit>[^\s0-9.+].{{0,40}})?",
    re.IGNORECASE,
)
_FEET_AND_INCHES = re.compile(
    rf"(?P<feet>[0-9]+)\s*(?:'|ft\.?|feet|foot)\s*(?P<inches>{_NUMBER})\s*(?:\"|''|in\.?|inch(?:es)?)", re.IGNORECASE
)
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)[\s-])?\s*(?P<top>[0-9]+)[/⁄](?P<bottom>2|4|8|16)\s*(?P<unit>[^\s0-9.].*)")

# A number with thousands in groups of three, and a decimal dot or a decimal comma; or without groups.
_GROUPED = r"[1-9][0-9]{{0,2}}(?P<s>[{0}' ])[0-9]{{3}}(?:(?P=s)[0-9]{{3}})*(?:\{1}[0-9]+)?"
_WITH_DOT = re.compile(_GROUPED.format(",", ".") + rf"|{_NUMBER}")
_WITH_COMMA = re.compile(_GROUPED.format(".", ",") + r"|[0-9]+(?:,[0-9]*)?|,[0-9]+")
_FIGURES = re.compile(r"[0-9]+(?:[., '][0-9]+)*[.,]?|[.,][0-9]+")
_UNCLEAR_DOT = r"[+-]?[1-9][0-9]{0,2}\.[0-9]{3}"  # one and a bit, or more than a thousand
# The usual numbers that can only have a decimal comma: read together, the rarer ones by `_readings`.
_ONLY_COMMA = r"[+-]?(?:[0-9]+,(?:[0-9]{1,2}|[0-9]{4,})|0,[0-9]+|[0-9]{4,},[0-9]+)"
_COMMA_NUMBER = r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?"


@dataclass(frozen=True)
class Format:
    """How a column's numbers are written.

    mark    decimal mark
    by      who says so: the plan, the whole file, or the column alone
    factor  to the glossary unit
    datum   what a level is measured from
    typed   numbers come from cells that hold numbers (a workbook, layers): a lone point in them is a decimal point
    """

    mark: Mark = "."
    by: By = "column"
    factor: float = 1.0
    datum: str = "ground"
    typed: bool = False


def decimal_mark(cells: pd.Series, stated: str | None, found: str = ".") -> tuple[Mark, By]:
    """The decimal mark of a column and who says so: the plan, else the file, else what the column leaves open.

    stated  the plan's
    found   "," where the text of the whole file has decimal commas alone

    A file's comma counts unless the column contradicts it. Of a column alone:

    ","         at least one number can only have a decimal comma ("12,5"), none can only have thousands commas
                ("1,234,567") and none a decimal dot ("12.5"); one like 1.234 is then not clear and not read
    "."         no number can only have a decimal comma; one like 1,234 is not clear and not read
    "doubtful"  both kinds stand side by side: no number with a comma is read

    Numbers like 1.234 beside decimal commas count as clear decimal dots where they are more than ten times as many:
    a few odd cells do not change how a column is read. Our own rule.
    """
    if stated is not None:
        return ("," if stated == "," else "."), "plan"
    mark = _own_mark(cells)
    return (",", "file") if found == "," and mark != "doubtful" else (mark, "column")


def _own_mark(cells: pd.Series) -> Mark:
    has_comma = cells.str.contains(",", regex=False)
    usual = cells.str.fullmatch(_ONLY_COMMA)
    commas, only_dot = int(usual.sum()), 0
    for text, times in cells[has_comma & ~usual].value_counts().items():
        for found in _figures(str(text)):
            figures = found.rstrip(",")  # a comma behind a number is the sentence's
            dot, comma = _readings(figures)
            commas += int(times) if dot is None and comma is not None and "," in figures else 0
            only_dot += int(times) if comma is None and dot is not None and "," in figures else 0
    if not commas:
        return "."
    dotted = cells[~has_comma & cells.str.contains(r"[0-9]\.[0-9]", regex=True)]
    unclear = dotted.str.fullmatch(_UNCLEAR_DOT)
    if only_dot or bool((~unclear).any()) or unclear.sum() > 10 * commas:
        return "doubtful"
    return ","


def _figures(text: str) -> list[str]:
    return _FIGURES.findall(unicodedata.normalize("NFKC", text)) if len(text) <= _LONGEST else []


def _readings(figures: str) -> tuple[str | None, str | None]:
    """A number as Python writes it, read with a decimal dot and with a decimal comma; None where it cannot be.

    >>> _readings("12,5"), _readings("1,234"), _readings("1.234,5")
    ((None, '12.5'), ('1234', '1.234'), (None, '1234.5'))
    """
    dot = re.sub("[, ']", "", figures) if _WITH_DOT.fullmatch(figures) else None
    comma = re.sub("[. ']", "", figures).replace(",", ".") if _WITH_COMMA.fullmatch(figures) else None
    return dot, comma


def _with_dots(text: str, form: Format) -> str | None:
    """The text with every number written with a decimal dot and without groups; None where one is not clear."""

    def clear(figures: str) -> str | None:
        dot, comma = _readings(figures)
        if form.typed and "." in figures and "," not in figures:
            return dot
        if form.by == "plan":
            return comma if form.mark == "," else dot
        if form.by == "file" and "," in figures:
            return comma or dot
        if "," in figures:
            return None if form.mark == "doubtful" or (dot is not None and comma is not None) else dot or comma
        return None if "." in figures and comma is not None and form.mark == "," else dot

    parts: list[str] = []
    end = 0
    for found in _FIGURES.finditer(text):
        part = clear(found[0])
        if part is None:
            return None
        parts += [text[end : found.start()], part]
        end = found.end()
    return "".join([*parts, text[end:]])


def read_numbers(
    cells: pd.Series, name: str, form: Format, *, in_range: bool = True
) -> tuple[pd.Series, list[Note], pd.Series]:
    """Numbers of a column in the glossary unit of `name`, missing where a cell has none; remarks; which have a unit.

    cells     text without outer spaces
    in_range  numbers outside the glossary's range are missing: `out_of_range`, or `zero_as_missing` for a nought.
              Not for levels that are still to be brought to the ground
    """
    plain, values = _plain(cells, form)
    values *= form.factor
    notes: list[Note] = []
    if form.mark == "," and form.by == "column":
        rewritten = np.flatnonzero(cells.str.fullmatch(_ONLY_COMMA).to_numpy(dtype=bool)).tolist()
        notes = [Note(int(cells.index[at]), "number_rewritten", show(values[at])) for at in rewritten]
    has_unit = np.zeros(len(cells), dtype=bool)
    read: dict[str, tuple[float, tuple[str, ...]]] = {}
    odd = np.flatnonzero(~plain & (cells != "").to_numpy(dtype=bool))
    for place, text in zip(odd.tolist(), cells.iloc[odd].tolist(), strict=True):
        if text not in read:
            read[text] = read_number(text, name, form)
        values[place], rules = read[text]
        has_unit[place] = "unit_in_cell" in rules or "unit_converted" in rules
        notes += [Note(int(cells.index[place]), rule, show(values[place])) for rule in rules]

    beyond = np.isinf(values)
    if in_range:
        quantity = glossary()[name]
        beyond |= values < (-np.inf if quantity.low is None else quantity.low)
        beyond |= values > (np.inf if quantity.high is None else quantity.high)
    nought = values == 0
    for rule, where in (("zero_as_missing", beyond & nought), ("out_of_range", beyond & ~nought)):
        notes += [Note(int(row), rule) for row in cells.index[where]]
    values[beyond] = np.nan
    return pd.Series(values, index=cells.index), notes, pd.Series(has_unit, index=cells.index)


def _plain(cells: pd.Series, form: Format) -> tuple[np.ndarray, np.ndarray]:
    """Which cells are plain numbers in the column's own writing, and their values."""
    if form.mark == ",":
        is_point = cells.str.fullmatch(PLAIN_NUMBER).to_numpy(dtype=bool)
        if form.by == "plan" and not form.typed:
            is_point = is_point & ~cells.str.contains(".", regex=False).to_numpy(dtype=bool)
        elif not form.typed:
            is_point = is_point & ~cells.str.fullmatch(_UNCLEAR_DOT).to_numpy(dtype=bool)
        plain = is_point | cells.str.fullmatch(_ONLY_COMMA if form.by == "column" else _COMMA_NUMBER).to_numpy(bool)
        texts = cells[plain].str.replace(",", ".", regex=False)
    else:
        plain = cells.str.fullmatch(PLAIN_NUMBER).to_numpy(dtype=bool)
        texts = cells[plain]
    values = np.full(len(cells), np.nan)
    values[plain] = pa.array(texts).cast(pa.float64()).to_numpy()
    return plain, values


def read_number(text: str, name: str, form: Format) -> tuple[float, tuple[str, ...]]:
    """One cell that is not a plain number: its value in the glossary unit, and the rules that apply.

    Of a range the cautious end is used (CAUTIOUS_HIGH says which).

    >>> read_number("3-4", "tested_yield_m3_h", Format()), read_number("3-4", "static_level_m", Format())
    ((3.0, ('range',)), (4.0, ('range',)))
    >>> read_number("> 2 L/s", "tested_yield_m3_h", Format())
    (7.2, ('lower_bound', 'unit_converted'))
    >>> read_number("12,5", "depth_m", Format()), read_number("1,234", "depth_m", Format())
    ((12.5, ('number_rewritten',)), (nan, ('comma_in_number',)))
    >>> read_number("the diameter is 200", "casing_mm", Format())
    (nan, ('not_a_number',))
    """
    if len(text) > _LONGEST:
        return math.nan, ("not_a_number",)
    folded = fold(text)
    if folded in NO_VALUE and not text.startswith("#"):
        return math.nan, ("no_value",)
    if name in DRY_COLUMNS and vocabulary()["status"].get(folded) == "dry":
        return math.nan, ("dry_as_value",)
    tidy = unicodedata.normalize("NFKC", re.sub("([¼½¾⅛⅜⅝⅞])", r" \1", text))
    tidy = tidy.replace("−", "-").replace("′", "'").replace("’", "'").replace("”", '"').strip()
    length = _length_in_parts(tidy, name, form.factor)
    if length is not None:
        return length
    dotted = _with_dots(tidy, form)
    if dotted is None:
        number_like = "," in tidy or form.mark != "."
        shape = _ODD_NUMBER.fullmatch(_without_accents(_FIGURES.sub("1", tidy)))
        return math.nan, ("comma_in_number" if shape and number_like else "not_a_number",)
    found = _ODD_NUMBER.fullmatch(_without_accents(dotted))
    return _value(found, name, form, dotted != tidy) if found else (math.nan, ("not_a_number",))


def _without_accents(text: str) -> str:
    if text.isascii():
        return text
    return "".join(one for one in unicodedata.normalize("NFD", text) if not unicodedata.combining(one))


def _length_in_parts(text: str, name: str, factor: float) -> tuple[float, tuple[str, ...]] | None:
    """A length in feet and inches, or in inches and a fraction; None where the text is neither.

    >>> _length_in_parts("12 ft 6 in", "depth_m", 1.0), _length_in_parts('6 1/2"', "casing_mm", 1.0)
    ((3.81, ('unit_converted',)), (165.1, ('unit_converted',)))
    """
    unit = glossary()[name].unit
    if unit not in {"m", "mm"}:
        return None
    feet = _FEET_AND_INCHES.fullmatch(text)
    if feet:
        inches = 12 * float(feet["feet"]) + float(feet["inches"])
        return round(inches * (0.0254 if unit == "m" else 25.4), 9), ("unit_converted",)
    parts = _FRACTION.fullmatch(text)
    own = unit_factor(name, parts["unit"]) if parts else None
    if parts is None or own is None:
        return None
    value = float(parts["whole"] or 0) + float(parts["top"]) / float(parts["bottom"])
    return round(value * own, 9), ("unit_in_cell" if own == factor else "unit_converted",)


def _value(found: re.Match[str], name: str, form: Format, rewritten: bool) -> tuple[float, tuple[str, ...]]:
    rules: list[str] = []
    value, factor = float(found["first"]), form.factor
    if found["lower"] or found["more"]:
        rules.append("lower_bound")
    elif found["upper"]:
        rules.append("upper_bound")
    elif found["about"]:
        rules.append("approximate")
    if (name in CAUTIOUS_HIGH and "lower_bound" in rules) or (name not in CAUTIOUS_HIGH and "upper_bound" in rules):
        rules.append("bound_not_cautious")
    if found["second"]:
        other = float(found["second"])
        if not 0 <= value <= other:
            return math.nan, ("not_a_number",)
        value = other if name in CAUTIOUS_HIGH else value
        rules.append("range")
    if found["unit"]:
        written = found["unit"]
        own = unit_factor(name, written)
        if own is None:
            doubt = is_ambiguous_unit(written) and "USgpm" in allowed_units(name)
            return math.nan, ("unit_ambiguous" if doubt else "not_a_number",)
        if (level_datum(written) or form.datum) != form.datum:
            return math.nan, ("datum_in_cell",)
        rules.append("unit_in_cell" if own == factor else "unit_converted")
        factor = own
    if not rules or (rewritten and (form.mark != "," or form.by == "column")):
        rules.append("number_rewritten")
    return value * factor, tuple(rules)
