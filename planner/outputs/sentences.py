"""Columns of sentences in another language than that of the tables.

sites.csv and sites.parquet hold English. Its sentences are made of the templates of planner/texts, so each is known
again by its template and said anew; it counts as known only if that gives the same English back. Any other text stays
as it is: in English, but never wrong.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

import pandas as pd

from planner.outputs.map.reason_data import said as checks_behind
from planner.texts import ENGLISH, Figure, Listed, Said, Sentence, Spoken, said, texts

NUMBER = r"[-+.0-9e]+|inf|\?"


def in_language(sites: pd.DataFrame, language: str, checks: pd.DataFrame | None = None) -> pd.DataFrame:
    """The sites with their columns of sentences in a language.

    sites   inventory_row and reason_codes as columns; of COLUMNS those that are there become text in the language
    checks  columns of Step.checks, for `reason_text`, which stays English without them
    """
    known = {name: make for name, make in COLUMNS.items() if name in sites.columns}
    told = sites.assign(**{name: _said(sites[name], make, language) for name, make in known.items()})
    if checks is not None and "reason_text" in sites.columns and language != ENGLISH:
        told["reason_text"] = reason_texts(sites, checks, language)
    return told


def _said(column: pd.Series, make: Callable[[str], Spoken], language: str) -> pd.Series:
    distinct = {text: make(text).text(language) if text else "" for text in column.fillna("").astype("str").unique()}
    return column.fillna("").astype("str").map(distinct).astype("str")


def reason_texts(sites: pd.DataFrame, checks: pd.DataFrame, language: str = ENGLISH) -> pd.Series:
    """The sentences behind the reason codes of each site, as `reason_text` has them in English."""
    frame = sites.reset_index(drop=True)
    found = checks_behind(frame, checks)
    columns = (found[name].tolist() for name in ("rule", "subject", "value", "limit"))
    words = [Sentence(*one).text(language) for one in zip(*columns, strict=True)]
    told = (
        pd.Series(words, index=found["place"], dtype="object")
        .groupby(level=0)
        .agg(lambda one: " ".join(dict.fromkeys(one)))
    )
    return told.reindex(frame.index).fillna("").astype("str").set_axis(sites.index)


@cache
def evidence_said(text: str) -> Spoken:
    """evidence_reasons or evidence_raise: sentences one behind the other.

    >>> evidence_said("No yield is known. No rest level is known.").parts
    (Said(key='evidence_no_yield', values=(), n=None), Said(key='evidence_no_level', values=(), n=None))
    """
    known = {words: key for key, (kind, words) in texts().items() if kind == "evidence"}
    parts, rest = [], text
    while rest:
        found = max((words for words in known if f"{rest} ".startswith(f"{words} ")), key=len, default="")
        if not found:
            return Listed((text,))
        parts.append(said(known[found]))
        rest = rest[len(found) :].removeprefix(" ")
    return Listed(tuple(parts), " ")


@cache
def switch_said(text: str) -> Spoken:
    """switch_text: the input that changes the decision, to which side of which value, and what it changes to.

    >>> switch_said("yield below 2.5 m³/h: no pump fits").text()
    'yield below 2.5 m³/h: no pump fits'
    """
    for pattern, key in _switch_patterns().items():
        if found := re.fullmatch(pattern, text):
            filling = {name: _part(name, words) for name, words in found.groupdict().items()}
            again = Said(key, tuple(filling.items()))
            if again.text() == text:
                return again
    return Listed((text,))


def _part(name: str, words: str) -> Spoken:
    if name == "value":
        return Figure(float("nan" if words == "?" else words), "")
    return said(_switch_words(name)[words])


@cache
def _switch_patterns() -> dict[str, str]:
    """Pattern → key of the sentences of a switch."""
    found = {}
    for key in ("switch_sentence", "switch_none", "switch_never"):
        parts = re.split(r"\{(\w+)\}", texts()[key][1])
        patterns = [re.escape(part) if place % 2 == 0 else _group(part) for place, part in enumerate(parts)]
        found["".join(patterns)] = key
    return found


def _group(name: str) -> str:
    words = sorted(_switch_words(name), key=len, reverse=True)
    inside = NUMBER if name == "value" else "|".join(map(re.escape, words))
    return f"(?P<{name}>{inside})"


@cache
def _switch_words(name: str) -> dict[str, str]:
    """English words → key, of what can fill a placeholder."""
    keys = {
        "input": [f"switch_{one}" for one in ("rest_level", "drawdown", "yield", "demand", "sun", "price")],
        "side": [f"switch_{one}" for one in ("deeper", "shallower", "more", "less")],
        "unit": [key for key in texts() if key.startswith("switch_unit_")],
        "to": [key for key in texts() if key.startswith("switch_to_")],
        "value": [],
    }
    return {texts()[key][1]: key for key in reversed(keys[name])}


@cache
def ways_said(text: str) -> Spoken:
    """alternatives_missing: why other ways of lifting water are not open, a sentence a way.

    >>> ways_said("grid distance_unknown").text()
    'Grid: distance to the grid not known.'
    """
    pairs = [part.split(" ") for part in text.split(";")]
    if any(len(pair) != 2 or f"way_reason_{pair[1]}" not in texts() for pair in pairs):
        return Listed((text,))
    if any(f"way_{way}" not in texts() for way, _ in pairs):
        return Listed((text,))
    return Listed(
        tuple(said("way_closed", way=said(f"way_{way}"), reason=said(f"way_reason_{reason}")) for way, reason in pairs),
        " ",
    )


COLUMNS: dict[str, Callable[[str], Spoken]] = {
    "evidence_reasons": evidence_said,
    "evidence_raise": evidence_said,
    "switch_text": switch_said,
    "alternatives_missing": ways_said,
}
