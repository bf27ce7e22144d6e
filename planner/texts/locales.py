"""Numbers, money, shares, dates and plurals as each language writes them, after CLDR by Babel.

Thousands stand apart by a no-break space in every language (ISO 80000-1): a point or a comma there means another number
to a reader next door. What differs is the decimal mark, the minus sign, names of months and plural forms.
"""

from __future__ import annotations

import datetime
import math
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from babel import Locale

ENGLISH = "en"
LANGUAGES = ("en", "fr", "pt", "es", "sw")
# Day before month in English; Portuguese as in Europe and Africa. Spanish of Spain and of most of South America writes
# the decimal comma, which no reader of es_419 mistakes beside thousands that a space sets apart.
LOCALES = {"en": "en_GB", "fr": "fr", "pt": "pt_PT", "es": "es", "sw": "sw"}
APART = "\u00a0"  # the one no-break space that every font has
UNKNOWN = "?"


@cache
def locale(language: str = ENGLISH) -> Locale:
    """The locale that stands for a language, for Babel's own functions."""
    from babel import Locale  # reads its data: not for --help

    return Locale.parse(LOCALES[language])


@cache
def decimal_mark(language: str = ENGLISH) -> str:
    """The decimal point or comma."""
    if language == ENGLISH:
        return "."
    from babel.numbers import get_decimal_symbol

    return get_decimal_symbol(locale(language))


def plural(n: float, language: str = ENGLISH) -> str:
    """The CLDR plural category of a number.

    >>> plural(0, "fr"), plural(0, "pt"), plural(1, "sw")
    ('one', 'other', 'one')
    """
    return locale(language).plural_form(n)


def marked(figures: str, language: str = ENGLISH, apart: str = APART) -> str:
    """A number that Python wrote, with the marks of a language; apart: what stands between thousands.

    >>> marked("1,234.5", "fr", " ")
    '1 234,5'
    """
    return figures.translate({ord(","): apart, ord("."): decimal_mark(language)})


def decimal_text(value: float, language: str = ENGLISH, decimals: int = 0) -> str:
    """A number with so many decimals, thousands apart; "?" where it is missing.

    >>> decimal_text(-1234.56, "pt", 1)
    '-1\\xa0234,6'
    """
    if math.isnan(value):
        return UNKNOWN
    text = marked(f"{value:,.{decimals}f}", language)
    return text.removeprefix("-") if not any(figure in text for figure in "123456789") else text


def money_text(value: float, currency: str, language: str = ENGLISH, decimals: int = 0) -> str:
    """An amount with the code of its currency behind it, in every language.

    >>> money_text(1234567, "USD", "sw")
    '1\\xa0234\\xa0567\\xa0USD'
    """
    return f"{decimal_text(value, language, decimals)}{APART}{currency}"


def percent_text(share: float, language: str = ENGLISH, decimals: int = 0) -> str:
    """A share of one in per cent; the sign stands apart, as in all sentences.

    >>> percent_text(0.125, "es", 1)
    '12,5\\xa0%'
    """
    return f"{decimal_text(100.0 * share, language, decimals)}{APART}%"


def date_text(day: str | datetime.date, language: str = ENGLISH) -> str:
    """A day in full; day: a date, or as YYYY-MM-DD. Text that is no date stays as it is.

    >>> date_text("2026-03-01"), date_text("2026-03-01", "pt")
    ('1 March 2026', '1 de março de 2026')
    """
    from babel.dates import format_date

    if isinstance(day, str):
        try:
            day = datetime.date.fromisoformat(day)
        except ValueError:
            return str(day)
    return format_date(day, "long", locale=locale(language))


@cache
def month_names(language: str = ENGLISH, short: bool = True) -> tuple[str, ...]:
    """The twelve months as they stand alone.

    >>> month_names("fr")[1]
    'févr.'
    """
    from babel.dates import get_month_names

    names = get_month_names("abbreviated" if short else "wide", "stand-alone", locale(language))
    return tuple(names[month] for month in range(1, 13))
