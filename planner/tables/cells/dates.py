"""Dates of an inventory's column, at the precision that their writer was sure of.

Where a text can be two dates, only what both share is kept. The order of day and month is the plan's, else that of
the column where other cells of it leave only one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
import pandas as pd

from planner.glossary import glossary
from planner.tables.cells.read import NO_VALUE, Note, fold

Order = Literal["year_first", "day_first", "month_first"]

# Months in English, French, Portuguese, Spanish and Swahili, whole and abbreviated, without accents.
_MONTHS = (
    "january jan janvier janv janeiro enero ene januari",
    "february feb fevrier fevr fev fevereiro febrero februari",
    "march mar mars marco marzo machi",
    "april apr avril avr abril abr aprili",
    "may mai maio mayo mei",
    "june jun juin junho junio juni",
    "july jul juillet juil julho julio julai",
    "august aug aout agosto ago agosti",
    "september sept sep septembre setembro set septiembre setiembre septemba",
    "october oct octobre outubro out octubre oktoba okt",
    "november nov novembre novembro noviembre novemba",
    "december dec decembre dezembro dez diciembre dic desemba des",
)
MONTHS = {word: number for number, words in enumerate(_MONTHS, start=1) for word in words.split()}

_CLOCK = r"(?:[T ][0-9]{1,2}:[0-9]{2}.{0,20})?"
_YEAR_FIRST = re.compile(rf"([0-9]{{4}})(?:([-/.])([0-9]{{1,2}})(?:\2([0-9]{{1,2}}){_CLOCK})?)?")
_SLASHED = re.compile(rf"([0-9]{{1,2}})([/.-])([0-9]{{1,2}})\2([0-9]{{4}}|[0-9]{{2}}){_CLOCK}")
_MONTH_AND_YEAR = re.compile(r"([0-9]{1,2})[/.-]([0-9]{4})")
_NAMED = re.compile(
    r"(?:(?P<day>[0-9]{1,2})(?:st|nd|rd|th|er|o)? )?(?:(?:de|of) )?(?P<month>[a-z]{3,10})"
    r"(?: (?P<day_behind>[0-9]{1,2})(?:st|nd|rd|th)?(?= [0-9]{4}))?(?: (?:de|del|of))? (?P<year>[0-9]{4}|[0-9]{2})"
)
_NAMED_YEAR_FIRST = re.compile(r"(?P<year>[0-9]{4}) (?P<month>[a-z]{3,10})(?: (?P<day>[0-9]{1,2}))?")
_SERIAL = re.compile(r"([0-9]{5})(?:\.[0-9]+)?")
# Day 0 of a spreadsheet's calendar of 1900, and of the one of 1904 (ECMA-376 part 1, 18.17.4.1).
_DAY_ZERO_1900, _DAYS_TO_1904 = date(1899, 12, 30), 1462
_EARLIEST_SERIAL = date(1950, 1, 1)  # before it a number of five figures is no likely day of a test
_PLACEHOLDERS = frozenset({"1900", "1900-01", "1900-01-01", "1899-12-30", "1899-12-31", "1904-01-01"})
_FEW_DATES = 5  # from this many on, 1 January on more than half of the dates stands for a year alone: our own rule
_LONGEST = 60


@dataclass(frozen=True)
class Calendar:
    """How to read a column's dates: the order in figures (None: not known), the last year that can be."""

    order: Order | None = None
    last_year: int = 2100
    serials: bool = True


@dataclass(frozen=True)
class ColumnNote:
    """A remark about the whole column: rule, the text that shows it, what was concluded."""

    rule: str
    old_value: str
    new_value: str


def read_dates(
    cells: pd.Series, order: str | None = None, last_year: int = 2100, found: str | None = None
) -> tuple[pd.Series, list[Note], list[ColumnNote]]:
    """Dates as ISO text at their own precision (YYYY, YYYY-MM or YYYY-MM-DD), "" where a cell has none.

    cells      text without outer spaces
    order      of dates in figures, as in the plan; None: what the column itself proves
    last_year  a later date is missing: `date_in_future`
    found      the order that the other columns of the file prove, for a column that proves none
    """
    codes, distinct = pd.factorize(cells)
    texts = [str(one) for one in distinct]
    told: list[ColumnNote] = []
    known = _as_order(order)
    if known is None:
        known, proof = _order_of(texts)
        known = known or _as_order(found)
        if known is not None and any(read_date(one)[1] == "date_ambiguous" for one in texts):
            told.append(ColumnNote("date_order_from_column", proof, known))
    calendar = Calendar(known, last_year, serials=not _looks_like_1904(texts, last_year))
    read = [read_date(one, calendar) for one in texts]
    dates = np.array([one for one, _ in read], dtype=object)[codes]
    rules = np.array([rule for _, rule in read], dtype=object)[codes]
    dates, rules = _years_alone(dates, rules)
    noted = np.flatnonzero(rules != "")
    notes = [Note(int(cells.index[at]), rules[at], dates[at]) for at in noted.tolist()]
    return pd.Series(dates, index=cells.index, dtype="str"), notes, told


def _as_order(order: str | None) -> Order | None:
    known: tuple[Order, ...] = ("year_first", "day_first", "month_first")
    return next((one for one in known if one == order), None)


def _order_of(texts: Iterable[str]) -> tuple[Order | None, str]:
    """The order that the column's dates with a whole year prove, and the text that does: 25/03/2019 is day first."""
    proof: dict[Order, str] = {}
    for text in texts:
        found = _SLASHED.fullmatch(text) if len(text) <= _LONGEST else None
        if found and len(found[4]) == 4:
            first, second = int(found[1]), int(found[3])
            if 12 < first <= 31 and 1 <= second <= 12:
                proof.setdefault("day_first", text)
            elif 12 < second <= 31 and 1 <= first <= 12:
                proof.setdefault("month_first", text)
    return next(iter(proof.items())) if len(proof) == 1 else (None, "")


def _looks_like_1904(texts: Iterable[str], last_year: int) -> bool:
    """Whether a day number of the column is too early for the calendar of 1900 but not for that of 1904."""
    numbers = [int(found[1]) for text in texts if len(text) <= _LONGEST and (found := _SERIAL.fullmatch(text))]
    days = [_DAY_ZERO_1900 + timedelta(days=number) for number in numbers]
    shift = timedelta(days=_DAYS_TO_1904)
    return any(day < _EARLIEST_SERIAL <= day + shift and (day + shift).year <= last_year for day in days)


def _years_alone(dates: np.ndarray, rules: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """1 January on more than half of the dates: a form that wanted a day for a year. The year is kept."""
    whole = np.array([len(one) == 10 for one in dates], dtype=bool)
    first = np.array([one.endswith("-01-01") for one in dates], dtype=bool) & whole
    if first.sum() < _FEW_DATES or 2 * first.sum() <= whole.sum():
        return dates, rules
    years = np.array([one[:4] for one in dates], dtype=object)
    return np.where(first, years, dates), np.where(first, "date_only_year", rules)


def read_date(text: str, calendar: Calendar = Calendar()) -> tuple[str, str]:
    """One date: ISO text at its own precision, and the rule that applies or "".

    >>> read_date("25/03/2019"), read_date("03/04/2019"), read_date("2019-3")
    (('2019-03-25', ''), ('2019', 'date_ambiguous'), ('2019-03', ''))
    >>> read_date("12 mars 2019"), read_date("Mar-19"), read_date("36892")
    (('2019-03-12', 'date_rewritten'), ('', 'date_ambiguous'), ('2001-01-01', 'date_from_serial'))
    """
    if text == "":
        return "", ""
    if len(text) > _LONGEST:
        return "", "not_a_date"
    if fold(text) in NO_VALUE:
        return "", "no_value"
    found, rule = _any_form(text, calendar)
    if not found or rule == "date_ambiguous":
        return found, rule
    if found in _PLACEHOLDERS:
        return "", "date_placeholder"
    quantity = glossary()["test_year"]
    year = int(found[:4])
    if not (quantity.low or 0) <= year <= (quantity.high or 9999):
        return "", "out_of_range"
    return ("", "date_in_future") if year > calendar.last_year else (found, rule)


def _any_form(text: str, calendar: Calendar) -> tuple[str, str]:
    iso = _YEAR_FIRST.fullmatch(text)
    if iso:
        found = _iso(iso[1], iso[3], iso[4])
        return (found, "") if found else ("", "not_a_date")
    slashed = _SLASHED.fullmatch(text)
    if slashed:
        return _in_figures(slashed[1], slashed[3], slashed[4], calendar)
    month_year = _MONTH_AND_YEAR.fullmatch(text)
    if month_year:
        found = _iso(month_year[2], month_year[1], None)
        return (found, "date_rewritten") if found else ("", "not_a_date")
    serial = _SERIAL.fullmatch(text)
    return _from_serial(int(serial[1]), calendar) if serial else _named(fold(text), calendar)


def _iso(year: str, month: str | None, day: str | None) -> str:
    """ISO text at the precision that is given; "" where there is no such day."""
    try:
        whole = date(int(year), int(month or 1), int(day or 1))
    except ValueError:
        return ""
    parts = 3 if day else 2 if month else 1
    return "-".join(whole.isoformat().split("-")[:parts])


def _century(year: str, calendar: Calendar) -> str:
    """A year of two figures in the century that is no later than the calendar's last year."""
    if len(year) == 4:
        return year
    return f"20{year}" if 2000 + int(year) <= calendar.last_year else f"19{year}"


def _in_figures(first: str, second: str, last: str, calendar: Calendar) -> tuple[str, str]:
    """Day, month and year in figures: one reading, or what all readings share."""
    by_order: dict[Order, str] = {
        "day_first": _iso(_century(last, calendar), second, first),
        "month_first": _iso(_century(last, calendar), first, second),
    }
    if len(last) == 2:
        by_order["year_first"] = _iso(_century(first.zfill(2), calendar), second, last)
    rewritten = "date_rewritten" if len(last) == 2 else ""
    if calendar.order and by_order.get(calendar.order):
        return by_order[calendar.order], rewritten
    readings = {one for one in by_order.values() if one}
    if len(readings) == 1:
        against = calendar.order in by_order
        return readings.pop(), "date_against_order" if against else rewritten
    years = {one[:4] for one in readings}
    return (years.pop() if len(years) == 1 else "", "date_ambiguous") if readings else ("", "not_a_date")


def _from_serial(number: int, calendar: Calendar) -> tuple[str, str]:
    """A spreadsheet's day number, by the calendar of 1900; flagged where the column points to that of 1904."""
    day = _DAY_ZERO_1900 + timedelta(days=number)
    if day < _EARLIEST_SERIAL or day.year > calendar.last_year:
        return "", "not_a_date"
    return (day.isoformat(), "date_from_serial") if calendar.serials else ("", "date_ambiguous")


def _named(folded: str, calendar: Calendar) -> tuple[str, str]:
    """A date with the month in words, from folded text."""
    found = _NAMED.fullmatch(folded) or _NAMED_YEAR_FIRST.fullmatch(folded)
    month = MONTHS.get(found["month"]) if found else None
    if found is None or month is None:
        return "", "not_a_date"
    parts = found.groupdict()
    day, year = parts["day"] or parts.get("day_behind"), parts["year"]
    if day is None and len(year) == 2 and 1 <= int(year) <= 31:  # March 2019, or the 19th of some March
        return "", "date_ambiguous"
    whole = _iso(_century(year, calendar), str(month), day)
    return (whole, "date_rewritten") if whole else ("", "not_a_date")
