"""The texts held together: keys, kinds, places, plural pairs, use in the code, what each language lacks; and how a
sentence is filled. Numbers and dates are CLDR's (Babel) and ISO 80000-1's space between thousands."""

from __future__ import annotations

import ast
import csv
import re
from functools import cache
from importlib.resources import files
from pathlib import Path

import babel
import pytest

import planner
from planner.errors import InternalError
from planner.glossary import glossary
from planner.texts import (
    LANGUAGES,
    Figure,
    Listed,
    Said,
    Sentence,
    all_languages,
    counted,
    date_text,
    decimal_text,
    english,
    lacking,
    money_text,
    month_names,
    number,
    percent_text,
    placeholders,
    said,
    say,
    say_count,
    sentence,
    texts,
)
from planner.texts.locales import LOCALES

PACKAGE = Path(planner.__file__).parent
COLUMNS = ["key", "kind", *LANGUAGES]
# Kinds whose keys are made in the code from the name of a rule or a quantity; tests of their own hold them.
BY_NAME = {"caution", "done", "finding", "label", "meaning", "note", "reason", "todo", "family"}
CATEGORIES = ("zero", "one", "two", "few", "many", "other")


@cache
def rows() -> list[dict[str, str]]:
    tables = sorted(
        (one for one in files("planner.texts").iterdir() if one.name.endswith(".csv")), key=lambda one: one.name
    )
    return [row for one in tables for row in csv.DictReader(one.read_text(encoding="utf-8").splitlines())]


def plural_stem(key: str) -> str:
    """`key_one` and `key_other` → key, where the table has both; any other key stays."""
    stem, _, end = key.rpartition("_")
    return stem if end in CATEGORIES and f"{stem}_other" in texts() and f"{stem}_one" in texts() else key


@cache
def strings() -> tuple[frozenset[str], tuple[re.Pattern[str], ...]]:
    """Every string of the sources, and a pattern of every f-string: what may be a key, or become one."""
    whole, patterns = set(), set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                whole.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [re.escape(str(one.value)) if isinstance(one, ast.Constant) else r"\w*" for one in node.values]
                if isinstance(node.values[0], ast.Constant) and re.match(r"[a-z]+_", str(node.values[0].value)):
                    patterns.add("".join(parts))
    for path in [*PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.html")]:
        text = path.read_text(encoding="utf-8")
        whole |= set(re.findall(r"[\"'`]([a-z]\w+)[\"'`]", text))
        patterns |= {re.escape(stem) + r"\w*" for stem in re.findall(r"`([a-z]+_\w*)\$\{", text)}
        patterns |= {re.escape(stem) + r"_\w+" for stem in re.findall(r"sayCode\(\"(\w+)\"", text)}
    return frozenset(whole), tuple(re.compile(one) for one in sorted(patterns))


# The tables -------------------------------------------------------------------------------------------------


def test_a_key_stands_once_in_all_tables() -> None:
    keys = [row["key"] for row in rows()]
    assert sorted(keys) == sorted(set(keys))
    assert all(re.fullmatch(r"[a-z][A-Za-z0-9_{}]*", key) for key in keys)


def test_every_row_is_whole() -> None:
    for row in rows():
        assert list(row) == COLUMNS, row["key"]
        assert re.fullmatch(r"[a-z]+", row["kind"]), row["key"]
        for language in LANGUAGES:
            text = row[language]
            assert text == text.strip() and "\n" not in text and "  " not in text, row["key"]


def test_places_are_the_same_in_every_language() -> None:
    for row in rows():
        filled = {language: placeholders(row[language]) for language in LANGUAGES if row[language]}
        of_english = filled["en"]
        for language, places in filled.items():
            # "1 site" may be said without its number
            free = {"n"} if plural_stem(row["key"]) != row["key"] else set()
            assert places | free == of_english | free, f"{row['key']}, {language}"
            rest = re.sub(r"\{[a-z][a-z0-9_]*\}", "", row[language])
            assert "{" not in rest and "}" not in rest, f"{row['key']}, {language}: a brace that is no place"


def test_counted_texts_have_their_forms() -> None:
    """`_one` comes with `_other`; and `_other` is enough for every category that a language has."""
    for key in texts():
        if key.endswith("_one"):
            other = f"{key.removesuffix('_one')}_other"
            assert other in texts(), key
            assert placeholders(texts()[key][1]) | {"n"} == placeholders(texts()[other][1]) | {"n"}, key
            assert texts()[key][0] == texts()[other][0], key


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_lacks_in_a_language(language: str) -> None:
    assert lacking(language) == []


def test_what_lacks_is_told_in_english() -> None:
    for language in LANGUAGES:
        for key in lacking(language)[:20]:
            assert texts(language)[key] == texts()[key]


# The code ---------------------------------------------------------------------------------------------------


def test_no_text_is_idle() -> None:
    """A practical scan: a key is a string of the sources, or what an f-string of them can become."""
    whole, patterns = strings()
    idle = []
    for key, (kind, _) in texts().items():
        stem = plural_stem(key)
        used = {key, stem} & whole or any(one.fullmatch(stem) or one.fullmatch(key) for one in patterns)
        if kind == "evidence":  # made of what is said, and of what
            used = used or all(part in whole for part in key.split("_", 1))
        if kind not in BY_NAME and not used:
            idle.append(key)
    assert not idle, "no code asks for these:\n" + "\n".join(idle)


def test_no_sentence_is_asked_for_that_is_not_there() -> None:
    """The first argument of said, say, counted and say_count, where it is written out."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or not node.args:
                continue
            first, name = node.args[0], node.func.id
            if name not in {"said", "say", "counted", "say_count", "word"}:
                continue
            choices = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
            for one in choices:
                if isinstance(one, ast.Constant) and re.fullmatch(r"[a-z]+(_[a-z0-9]+)+", str(one.value)):
                    ends = ("_one", "_other") if name in {"counted", "say_count"} else ("",)
                    assert all(f"{one.value}{end}" in texts() for end in ends), f"{path}:{one.lineno}: {one.value}"


def test_labels_and_meanings_are_of_quantities() -> None:
    keys = {key for key, (kind, _) in texts().items() if kind in {"label", "meaning"}}
    stems = {re.sub(r"_(0[1-9]|1[0-2])$", "", name) for name in glossary()}
    for key in keys:
        name = key.partition("_")[2].removesuffix("_{month}")
        assert name in glossary() or name in stems, key


# Sentences --------------------------------------------------------------------------------------------------


def test_what_is_filled_in_is_never_looked_at_again() -> None:
    group = said("budget_floor_group", group="{asked} <b>{group}", available=1, asked=2)
    assert group.text() == "{asked} <b>{group} (1 of 2)"
    assert say("way_closed", way="{reason}", reason="{way}") == "{reason}: {way}."


def test_a_place_without_value_and_a_value_without_place_are_refused() -> None:
    with pytest.raises(InternalError, match="nothing fills"):
        say("budget_floor_group", group="A", available=1)
    with pytest.raises(InternalError, match="no place for"):
        say("budget_floor_group", group="A", available=1, asked=2, more=3)
    with pytest.raises(InternalError, match="no text has the key"):
        say_count("caution_entry", 2)


def test_counted_sentences_take_the_form_of_their_number() -> None:
    assert counted("budget_people_unknown", 1).text() == "1 site to equip has no count of people; it counts 0."
    assert counted("budget_people_unknown", 1200).text().startswith("1 200 sites to equip have")
    assert say_count("budget_people_unknown", 0).startswith("0 sites")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_category_of_a_language_finds_a_form(language: str) -> None:
    """CLDR: 0, 1, 2, 1.5 and a million meet every category of the five languages."""
    for n in (0, 1, 2, 1.5, 1_000_000):
        assert counted("budget_people_unknown", n).text(language)


def test_numbers_in_a_sentence_have_the_marks_of_its_language() -> None:
    assert [number(98.76, language) for language in LANGUAGES] == ["98.8", "98,8", "98,8", "98,8", "98.8"]
    assert Figure(1234.5, ",.1f").text() == "1 234.5"
    assert Figure(1234.5, ",.1f").text("es") == "1\u00a0234,5"
    assert sentence("no_head", "surface", 98.76, 6, "fr").count("98,8") == 1
    assert Sentence("no_head", "surface", 98.76, 6).text() == sentence("no_head", "surface", 98.76, 6)


def test_a_list_of_parts_is_said_in_the_language() -> None:
    assert Listed((1.5, "a", said("plan_none")), "; ").text("fr").startswith("1,5; a; ")
    assert set(all_languages(said("plan_none"))) == set(LANGUAGES)


def test_english_goes_through_lists_and_mappings() -> None:
    told = {"lines": [said("plan_none"), "as it is"], "row": {"rule": Said("plan_yes")}, "sites": 3, "gap": None}
    assert english(told) == {"lines": ["none", "as it is"], "row": {"rule": "yes"}, "sites": 3, "gap": None}


# Locales ----------------------------------------------------------------------------------------------------


def test_the_locales_are_known_to_babel() -> None:
    assert list(LOCALES) == list(LANGUAGES)
    assert all(babel.Locale.parse(one).language == language for language, one in LOCALES.items())


def test_money_and_shares() -> None:
    """Thousands apart by a space in every language (ISO 80000-1), decimal marks after CLDR."""
    assert [decimal_text(1234.56, one, 1) for one in ("en", "fr")] == ["1\u00a0234.6", "1\u00a0234,6"]
    assert money_text(1_500_000, "KES", "sw") == "1\u00a0500\u00a0000\u00a0KES"
    assert percent_text(0.305, "pt", 1) == "30,5\u00a0%"
    assert decimal_text(-0.04, "en", 1) == "0.0"
    assert decimal_text(float("nan")) == "?"


def test_dates_and_months() -> None:
    """Day before month, names after CLDR."""
    assert [date_text("2026-03-01", language) for language in LANGUAGES] == [
        "1 March 2026",
        "1 mars 2026",
        "1 de março de 2026",
        "1 de marzo de 2026",
        "1 Machi 2026",
    ]
    assert date_text("undated") == "undated"
    assert len(month_names("sw")) == len(month_names("fr", short=False)) == 12
