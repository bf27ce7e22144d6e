"""Sentences and labels in each language: data in, plain text out, no markup.

The tables of this folder are one table in parts, by subject: key, kind, and a column a language. A key stands in one of
them only. A sentence with something filled in is a `Said`: it is made where its facts are known and becomes text where
its reader's language is, `said.text("fr")`. `say` and `say_count` do both at once.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Protocol, runtime_checkable

from planner.errors import InternalError
from planner.texts.locales import (
    ENGLISH,
    LANGUAGES,
    date_text,
    decimal_text,
    marked,
    money_text,
    month_names,
    percent_text,
    plural,
)

__all__ = [
    "ENGLISH",
    "LANGUAGES",
    "Figure",
    "Listed",
    "Said",
    "Sentence",
    "Spoken",
    "Value",
    "all_languages",
    "counted",
    "date_text",
    "decimal_text",
    "english",
    "finding_advice",
    "finding_words",
    "lacking",
    "money_text",
    "month_names",
    "number",
    "of_kind",
    "parts",
    "percent_text",
    "placeholders",
    "said",
    "say",
    "say_count",
    "sentence",
    "texts",
    "word",
    "words_of_kind",
]

PLACE = re.compile(r"\{([a-z][a-z0-9_]*)\}")


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


def words_of_kind(kind: str) -> list[Said]:
    """All texts of a kind before their language is known, in the order of the file."""
    return [Said(key) for key, (found, _) in texts().items() if found == kind]


def lacking(language: str) -> list[str]:
    """Keys that have no text in a language, in the order of the files."""
    return [row["key"] for row in _rows() if not row[language]]


def number(value: float, language: str = ENGLISH) -> str:
    """A number for a sentence: three significant digits, whole above 100, "?" where it is missing."""
    if math.isnan(value):
        return "?"
    if value == 0 or abs(value) >= 100:
        return f"{value:.0f}"
    return marked(f"{float(f'{value:.3g}'):g}", language)


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
    shown = family[1] if family[0] == "family" else subject
    return template, shown, number(value, language), number(limit, language)


def sentence(rule: str, subject: str, value: float, limit: float, language: str = ENGLISH) -> str:
    """The sentence of a rule with its subject, value and limit filled in."""
    template, *filling = parts(rule, subject, value, limit, language)
    return _fill(template, dict(zip(("subject", "value", "limit"), filling, strict=True)))


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


@runtime_checkable
class Spoken(Protocol):
    """What has a text in each language."""

    def text(self, language: str = ENGLISH) -> str:
        """The text in a language."""
        ...


Value = str | int | float | Spoken


@dataclass(frozen=True)
class Figure:
    """A number with its rule of digits: a format of Python (",.0f", ".2g"), or "" as `number` writes it."""

    value: float
    digits: str = ",.0f"

    def text(self, language: str = ENGLISH) -> str:
        """The number with the marks of the language.

        >>> Figure(1234.5, ",.1f").text("fr") == "1\\xa0234,5"
        True
        """
        if not self.digits or math.isnan(self.value):
            return number(self.value, language)
        # English keeps plain spaces: its sentences go to the terminal and to run.json
        return marked(f"{self.value:{self.digits}}", language, *([" "] if language == ENGLISH else []))


@dataclass(frozen=True)
class Listed:
    """Parts one behind the other, `between` between them."""

    parts: tuple[Value, ...]
    between: str = ", "

    def text(self, language: str = ENGLISH) -> str:
        """The parts in the language."""
        return self.between.join(_value(one, language) for one in self.parts)


@dataclass(frozen=True)
class Sentence:
    """The sentence of a rule with its subject, value and limit, as `sentence` writes it."""

    rule: str
    subject: str
    value: float
    limit: float

    def text(self, language: str = ENGLISH) -> str:
        """The sentence in the language."""
        return sentence(self.rule, self.subject, self.value, self.limit, language)


@dataclass(frozen=True)
class Said:
    """A sentence before its language is known.

    key     of the tables; where `n` is given without its plural form: `key_one`, `key_other` …
    values  (placeholder, what is filled in), in the order given; `{n}` needs none
    n       the number that decides the plural form
    """

    key: str
    values: tuple[tuple[str, Value], ...] = ()
    n: int | float | None = None

    def text(self, language: str = ENGLISH) -> str:
        """The sentence in a language, in one pass: what is filled in is never looked at again.

        Raises InternalError where the key is unknown, a placeholder has no value or a value no placeholder.
        """
        known, key = texts(language), self.key
        if self.n is not None:
            key = f"{self.key}_{plural(self.n, language)}"
            key = key if key in known else f"{self.key}_other"
        if key not in known:
            raise InternalError(f"no text has the key {key}")
        filling = {name: _value(value, language) for name, value in self.values}
        if idle := set(filling) - _places(self.key if self.n is None else f"{self.key}_other"):
            raise InternalError(f"the text of {key} has no place for {sorted(idle)}")
        if self.n is not None:
            filling.setdefault("n", _value(self.n, language))
        return _fill(known[key][1], filling)

    def __str__(self) -> str:
        return self.text()

    def value_of(self, place: str) -> Value:
        """What fills a placeholder."""
        return dict(self.values)[place]


def _value(value: Value, language: str) -> str:
    """Whole numbers with thousands apart, others as `number` writes them; text stays text."""
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return Figure(value).text(language)
    return number(value, language) if isinstance(value, float) else value.text(language)


@cache
def _places(key: str) -> frozenset[str]:
    return frozenset(placeholders(texts()[key][1]))


def _fill(template: str, words: dict[str, str]) -> str:
    missing = placeholders(template) - set(words)
    if missing:
        raise InternalError(f"nothing fills {sorted(missing)} in the text {template!r}")
    return PLACE.sub(lambda found: words[found[1]], template)


def placeholders(template: str) -> set[str]:
    """Names of the places that a text leaves open.

    >>> placeholders("{name} of {n}") == {"name", "n"}
    True
    """
    return set(PLACE.findall(template))


def said(key: str, /, **values: Value) -> Said:
    """A sentence for later: `said("budget_reserve", n=3).text("fr")`."""
    return Said(key, tuple(values.items()))


def counted(key: str, n: float, /, **values: Value) -> Said:
    """A sentence for later whose plural form n decides; `{n}` is filled with it unless `values` has another."""
    return Said(key, tuple(values.items()), n)


def say(key: str, /, language: str = ENGLISH, **values: Value) -> str:
    """The text of a key with its placeholders filled.

    >>> say("caution_entry")
    'No one enters a well.'
    """
    return Said(key, tuple(values.items())).text(language)


def say_count(key: str, n: float, language: str = ENGLISH, **values: Value) -> str:
    """The text of `key_one` or `key_other` as the language counts n, with its placeholders filled."""
    return Said(key, tuple(values.items()), n).text(language)


def word(key: str) -> Said:
    """A text without placeholders, for later."""
    return Said(key)


def all_languages(one: Spoken) -> dict[str, str]:
    """The text in each language, by language."""
    return {language: one.text(language) for language in LANGUAGES}


def english(told: Any) -> Any:
    """The same with every sentence in it in English, for the terminal and run.json: lists and mappings keep their form.

    >>> english({"cautions": [word("caution_entry")], "sites": 3})
    {'cautions': ['No one enters a well.'], 'sites': 3}
    """
    if isinstance(told, Spoken):
        return told.text()
    if isinstance(told, Mapping):
        return {key: english(part) for key, part in told.items()}
    return [english(part) for part in told] if isinstance(told, list | tuple) else told
