"""What the header of a column means: one of the planner's names, something known that is none of them, or nothing.

Spellings are those of data/headers.csv. A header is looked up whole, then with its words in any order and without
words that say nothing, then with slips of the pen. What remains is left open: no column is better than a wrong one.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

from planner.commands.draft.units import Unit, plan_unit, split_unit, unit_known_but_not_read
from planner.tables.cells.read import fold

# How certain a spelling is: "" always, `second` gives way to a better column, `unit` only with a unit that fits,
# `only` not mapped at all without one, `no` never certain, `axis` degrees or metres by the values.
Certainty = Literal["", "second", "unit", "only", "no", "axis"]
NONE, PRIVATE = "-", "private"  # in place of a planner name: known but not read; may name a person
LANGUAGES = {"en": "English", "fr": "French", "pt": "Portuguese", "es": "Spanish", "sw": "Swahili"}
LANGUAGES |= {"wpdx": "WPDx", "hxl": "HXL"}

_PESSIMISM: tuple[Certainty, ...] = ("", "second", "axis", "unit", "no", "only")
_FUNCTION_WORDS = frozenset(
    {"of", "the", "de", "du", "des", "d", "l", "la", "le", "les", "da", "do", "das", "dos", "el", "los", "las", "del"}
    | {"al", "ya", "wa", "cha", "za"}
)
_OBJECT_WORDS = (
    ("water", "point"), ("point", "eau"), ("ponto", "agua"), ("punto", "agua"), ("waterpoint",), ("wp",), ("borehole",),
    ("boreholes",), ("bh",), ("well",), ("tubewell",), ("borewell",), ("forage",), ("puits",), ("ouvrage",), ("pozo",),
    ("poco",), ("furo",), ("kisima",), ("measured",), ("mesure",), ("mesuree",), ("medido",), ("medida",), ("gps",),
    ("wgs84",), ("wgs", "84"),
)  # fmt: skip
_DATUM_WORDS = re.compile(
    r"\b(arc[ _]?19[56]0|adindan|minna|clarke[ _]?1880|nad[ _]?27|cape datum|sirgas[ _]?2000|wgs[ _]?72|ed[ _]?50|"
    r"psad[ _]?56|sad[ _]?69|tete|merchich|voirol|hartebeesthoek\w*)\b",
    re.IGNORECASE,
)
_ZONE = re.compile(r"(?:zone|huso|fuso|fuseau|utm)[ _-]*(\d{1,2})[ _-]*([C-HJ-NP-X])?(?![A-Za-z0-9])", re.IGNORECASE)
_LOOSE_ZONE = re.compile(r"(?<![\w.])(\d{1,2}) ?([C-HJ-NP-X])(?!\w)", re.IGNORECASE)
_LONGEST = 120  # characters of a header that may be a name with a unit


@dataclass(frozen=True)
class Spelling:
    """One row of data/headers.csv."""

    name: str
    language: str
    text: str
    certainty: Certainty


@dataclass(frozen=True)
class Meaning:
    """What a header was understood as.

    name       planner name, "" where the column is left open
    spelling   the known spelling that it was found by
    certainty  of the spelling
    unit       said in the header
    unit_text  the same as the plan writes it, "" where the plan needs none
    doubt      why a person has to confirm it, "" for none
    reason     why this name, or why none
    closeness  0 exact, 1 by words, 2 by likeness: of two columns the closer one is taken
    datum      a geodetic datum that the header names
    zone       a UTM zone that the header names
    """

    name: str
    reason: str
    spelling: Spelling | None = None
    certainty: Certainty = ""
    unit: Unit | None = None
    unit_text: str = ""
    doubt: str = ""
    closeness: int = 0
    private: bool = False
    datum: str = ""
    zone: str = ""


@cache
def spellings() -> tuple[Spelling, ...]:
    """All known spellings, from data/headers.csv."""
    text = files("planner").joinpath("data", "headers.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return tuple(Spelling(row["name"], row["language"], row["spelling"], row["certainty"]) for row in rows)  # type: ignore[arg-type]


def _bare(folded: str) -> tuple[str, ...]:
    """Words that carry meaning, in their order."""
    words = [word for word in folded.split() if word not in _FUNCTION_WORDS]
    return tuple(words or folded.split())


def _without_objects(words: tuple[str, ...]) -> tuple[str, ...]:
    left = list(words)
    for phrase in _OBJECT_WORDS:
        for at in range(len(left) - len(phrase), -1, -1):
            if tuple(left[at : at + len(phrase)]) == phrase and len(left) > len(phrase):
                del left[at : at + len(phrase)]
    return tuple(left)


def _tag(text: str) -> str:
    """An HXL hashtag with its attributes in one order."""
    tag, *attributes = re.sub(r"\s", "", text.casefold()).split("+")
    return "+".join([tag, *sorted(attributes)])


@dataclass(frozen=True)
class _Index:
    whole: dict[str, list[Spelling]]
    words: dict[tuple[str, ...], list[Spelling]]
    essence: dict[tuple[str, ...], list[Spelling]]
    tags: dict[str, list[Spelling]]
    ordered: dict[int, list[tuple[tuple[str, ...], Spelling]]]
    private: tuple[tuple[str, ...], ...]


@cache
def _index() -> _Index:
    index = _Index(
        {}, {}, {}, {}, {}, tuple({tuple(fold(one.text).split()) for one in spellings() if one.name == PRIVATE})
    )
    for one in spellings():
        if one.language == "hxl":
            index.tags.setdefault(_tag(one.text), []).append(one)
            continue
        folded = fold(one.text)
        bare = _bare(folded)
        index.whole.setdefault(folded, []).append(one)
        compact = folded.replace(" ", "")
        if len(compact) >= 6 and compact != folded:
            index.whole.setdefault(compact, []).append(one)
        for table, left in ((index.words, bare), (index.essence, _without_objects(bare))):
            if any(len(word) >= 3 for word in left):  # abbreviations count only as they stand
                table.setdefault(tuple(sorted(left)), []).append(one)
        index.ordered.setdefault(len(bare), []).append((bare, one))
    return index


def understand(header: str, known_names: tuple[str, ...]) -> Meaning:
    """The meaning of one header; `known_names` are the planner names that the inventory of this version can have.

    >>> understand("Débit (l/s)", ("tested_yield_m3_h",)).name
    'tested_yield_m3_h'
    >>> understand("pump depth", ("depth_m",)).name
    ''
    """
    text = header.strip()
    if not text:
        return Meaning("", "no header")
    if any("\ud800" <= one <= "\udfff" for one in text):
        return Meaning("", "its name is damaged text")
    if text in known_names:
        return Meaning(text, "has the planner's own name")
    if len(text) > _LONGEST:
        return Meaning("", "too long for a header that could be known")
    if text.startswith("#"):
        tagged = _index().tags.get(_tag(text))
        if tagged:
            return _settle(tagged, None, 0, known_names)
    text = _spell_out(text)
    datum = _DATUM_WORDS.search(text)
    zone = _ZONE.search(text) or (_LOOSE_ZONE.search(text) if "utm" in text.casefold() else None)
    plain = _DATUM_WORDS.sub(" ", text)
    if zone and not re.fullmatch(r"\W*(utm\W*)?zone\W*\d+\w?\W*", text, re.IGNORECASE):
        plain = plain.replace(zone[0], " ")
        if "utm" in text.casefold() and "utm" not in plain.casefold():
            plain += " utm"
    found = _look_up(plain, known_names)
    if found.name in {"latitude", "longitude", "northing", "easting"}:
        said = (datum[0] if datum else "", f"{zone[1]}{zone[2] or ''}".upper() if zone else "")
        return _with(found, datum=said[0], zone=said[1])
    if plain != text:
        return _look_up(text, known_names)
    return found


def _spell_out(text: str) -> str:
    """Signs that are words: a column in per cent is none in mg/L, `Well #` has numbers."""
    return re.sub(r"#(?!\w)", " no ", text.replace("%", " percent "))


def _with(meaning: Meaning, *, datum: str, zone: str) -> Meaning:
    return Meaning(**{**meaning.__dict__, "datum": datum, "zone": zone})


def _variants(text: str) -> list[str]:
    """As it stands, without dots in abbreviations (S.W.L.), and with words taken apart at capitals (StaticLevel)."""
    joined = re.sub(r"\b((?:[A-Za-z]\.){2,}[A-Za-z]?)", lambda found: found[1].replace(".", ""), text)
    apart = re.sub(r"(?<=[a-z0-9à-ÿ])(?=[A-ZÀ-Þ][a-zà-ÿ])", " ", text)
    return list(dict.fromkeys((text, joined, apart)))


def _look_up(text: str, known_names: tuple[str, ...]) -> Meaning:
    forms = [(variant, *split_unit(variant)) for variant in _variants(text)]
    index = _index()
    for variant, rest, unit in forms:  # whole headers first
        for wording in (variant, rest):
            hits = index.whole.get(fold(wording))
            if hits:
                return _settle(hits, unit, 0, known_names)
    if any(_names_a_person(fold(variant)) for variant, _, _ in forms):
        return Meaning("", "may name a person: not read", private=True)
    for table in (index.words, index.essence):
        for variant, rest, unit in forms:
            for wording in (variant, rest):
                bare = _bare(fold(wording))
                key = tuple(sorted(bare if table is index.words else _without_objects(bare)))
                hits = table.get(key)
                if hits:
                    return _settle(hits, unit, 1, known_names)
    for _, rest, unit in reversed(forms):
        hits = _alike(_bare(fold(rest)))
        if hits:
            return _settle(hits, unit, 2, known_names)
    rest, unit = _misspelt_unit(forms[-1][1])
    if unit is not None:
        hits = index.whole.get(fold(rest)) or index.words.get(tuple(sorted(_bare(fold(rest)))))
        if hits:
            return _settle(hits, unit, 2, known_names)
    return Meaning("", "not known")


def _names_a_person(folded: str) -> bool:
    words = folded.split()
    return any(
        tuple(words[at : at + len(phrase)]) == phrase
        for phrase in _index().private
        for at in range(len(words) - len(phrase) + 1)
    )


def _settle(hits: list[Spelling], unit: Unit | None, closeness: int, known_names: tuple[str, ...]) -> Meaning:
    """One meaning out of the spellings that agree with a header, or none with the reason."""
    names = dict.fromkeys(one.name for one in hits)
    if PRIVATE in names:
        return Meaning("", "may name a person: not read", hits[0], private=True)
    if len(names) > 1:
        fitting = [name for name in names if name != NONE and unit and unit.unit and plan_unit(name, unit) is not None]
        if NONE in names or len(fitting) != 1:
            return Meaning("", "could be " + " or ".join(_named(name) for name in names))
        hits = [one for one in hits if one.name == fitting[0]]
    best = max(hits, key=lambda one: _PESSIMISM.index(one.certainty)) if closeness else hits[0]
    certainty, name = best.certainty, best.name
    where = f"{LANGUAGES[best.language]} {best.text!r}"
    if name == NONE:
        return Meaning("", f"known ({where}), but none of the planner's columns", best, closeness=closeness)
    if name not in known_names:
        return Meaning("", f"{where} is {name}, which this version does not read", best)
    unit_text = ""
    if unit is not None:
        written = plan_unit(name, unit)
        if written is None and unit_known_but_not_read(name, unit):
            return Meaning("", f"{where} is {name}, but its unit {unit.unit} is not read: convert the column", best)
        if written is None:
            return Meaning("", f"{where} is {name}, but {unit.unit or unit.datum} is no unit of it", best)
        unit_text = written
    if certainty == "only" and not unit_text:
        return Meaning("", f"{where} could be {name}, but no unit in the header says so", best)
    reason = ("", "words of ", "spelt like ")[closeness] + where
    return Meaning(name, reason, best, certainty, unit, unit_text, _doubt(best, closeness, unit_text), closeness)


def _named(name: str) -> str:
    return "a column that is not read" if name == NONE else name


def _doubt(spelling: Spelling, closeness: int, unit_text: str) -> str:
    if closeness == 2:
        return f"the header is only spelt like {spelling.text!r}"
    if spelling.certainty == "no":
        return f"{spelling.text!r} can mean other things too"
    if spelling.certainty == "unit" and not unit_text:
        return f"{spelling.text!r} without a unit can mean other things too"
    return ""


def _alike(words: tuple[str, ...]) -> list[Spelling]:
    """The spellings at the least distance, if it is small; all of one meaning, else none."""
    least, found = 99, list[Spelling]()
    if not any(len(word) >= 5 for word in words):
        return []
    for other, spelling in _index().ordered.get(len(words), ()):
        total = 0
        for mine, theirs in zip(words, other, strict=True):
            if mine != theirs:
                total += _slips(mine, theirs)
                if total > least or total > 3:
                    break
        else:
            if total < least:
                least, found = total, []
            found.append(spelling)
    return found if len({one.name for one in found}) == 1 else []


def _slips(mine: str, theirs: str) -> int:
    """Letters left out, added, changed or swapped, up to 1 in short words and 2 in long ones; else 99."""
    short = min(len(mine), len(theirs))
    allowed = 0 if short < 5 or not (mine.isalpha() and theirs.isalpha()) else 1 if short < 8 else 2
    if abs(len(mine) - len(theirs)) > allowed or (mine[0] != theirs[0] and set(mine[:2]) != set(theirs[:2])):
        return 99
    before: list[int] = []
    row = list(range(len(theirs) + 1))
    for i, one in enumerate(mine, start=1):
        last, before, row = before, row, [i]
        for j, other in enumerate(theirs, start=1):
            cost = min(before[j] + 1, row[-1] + 1, before[j - 1] + (one != other))
            if i > 1 and j > 1 and one == theirs[j - 2] and mine[i - 2] == other:
                cost = min(cost, last[j - 2] + 1)
            row.append(cost)
    return row[-1] if row[-1] <= allowed else 99


def _misspelt_unit(text: str) -> tuple[str, Unit | None]:
    """`depth_miters`: metres and litres with one slip, as the last word."""
    words = fold(text).split()
    if len(words) > 1:
        for right in ("meters", "metres", "hours", "inches"):
            if _slips(words[-1], right) == 1:
                unit = split_unit(f"x {right}")[1]
                return " ".join(words[:-1]), unit
    return text, None
