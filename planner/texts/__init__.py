"""Sentences and labels in each language: data in, plain text out, no markup.

The tables of this folder are one table in parts, by subject: key, kind, and a column a language. A key stands in one of
them only.
"""

from __future__ import annotations

import csv
import math
import re
from functools import cache
from importlib.resources import files

ENGLISH = "en"
LANGUAGES = ("en", "fr", "pt", "es", "sw")


@cache
def texts(language: str = ENGLISH) -> dict[str, tuple[str, str]]:
    """All texts: key → (kind, text in the language, else in English)."""
    return {row["key"]: (row["kind"], row[language] or row[ENGLISH]) for row in _rows()}


@cache
def _rows() -> list[dict[str, str]]:
    folder = files("planner.texts")
    names = sorted(one.name for one in folder.iterdir() if one.name.endswith(".csv"))
    return [
        row for name in names for row in csv.DictReader(folder.joinpath(name).read_text(encoding="utf-8").splitlines())
    ]


def of_kind(kind: str, language: str = ENGLISH) -> list[str]:
    """All texts of a kind, in the order of the file."""
    return [text for found, text in texts(language).values() if found == kind]


def number(value: float) -> str:
    """A number for a sentence: three significant digits, whole above 100, nothing where it is missing."""
    if math.isnan(value):
        return "?"
    if value == 0 or abs(value) >= 100:
        return f"{value:.0f}"
    return f"{float(f'{value:.3g}'):g}"


def parts(rule: str, subject: str, value: float, limit: float, language: str = ENGLISH) -> tuple[str, str, str, str]:
    """What the sentence of a rule is made of: template, subject, value and limit, all as text.

    >>> parts("no_casing", "surface", 98.76, 100.4)[1:]
    ('Surface pump', '98.8', '100')
    """
    known = texts(language)
    template = known[rule][1]
    if "{value} %" in template:  # a share is never rounded up to its limit
        value = math.floor(value + 1e-9) if not math.isnan(value) else value
    family = known.get(subject, ("", ""))
    return template, family[1] if family[0] == "family" else subject, number(value), number(limit)


def sentence(rule: str, subject: str, value: float, limit: float, language: str = ENGLISH) -> str:
    """The sentence of a rule with its subject, value and limit filled in."""
    template, *filling = parts(rule, subject, value, limit, language)
    words = dict(zip(("{subject}", "{value}", "{limit}"), filling, strict=True))
    return re.sub("|".join(words), lambda found: words[found[0]], template)


def finding_words(rule: str, language: str = ENGLISH) -> str:
    """What a finding means; its code in plain words where there is no text for it.

    >>> finding_words("some_new_rule")
    'some new rule'
    """
    return texts(language).get(f"finding_{rule}", ("", rule.replace("_", " ")))[1]


def finding_advice(rule: str, action: str, language: str = ENGLISH) -> tuple[str, str]:
    """What the tool did about a finding, and what the owner of the data should do.

    >>> finding_advice("some_new_rule", "repaired")[0]
    'The value was read as shown; the original text stands beside it.'
    """
    known = texts(language)
    return known.get(f"done_{rule}", known[f"done_when_{action}"])[1], known.get(f"todo_{rule}", known["todo_any"])[1]
