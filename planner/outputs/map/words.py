"""The words of the page: the texts that it may show, in every language, and texts of the run in one or in all."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from planner.texts import ENGLISH, LANGUAGES, Spoken, all_languages, texts

KINDS = ("page", "way")
IN_TEMPLATE = ("page_noscript", "page_old_browser", "page_damaged")  # said where the scripts do not run
Told = str | dict[str, str]  # one text for all languages, or one for each that has its own


def page_texts(more: Iterable[str] = (), without: Sequence[str] = ()) -> dict[str, Any]:
    """{"languages", "keys": [key], "texts": {language: [text]}}, the texts by the place of their key.

    more: keys of sentences that this page needs beyond those that its scripts and its template name; keys that no
    table has are left out. without: how the keys begin that this page cannot need. A text that is missing or as in
    English is "", a list of nothing but such texts is empty.
    """
    known = texts()
    wanted = _named() | set(more)
    keys = [key for key, (kind, _) in known.items() if kind in KINDS or key in wanted]
    keys = [key for key in keys if not key.startswith((*without, *IN_TEMPLATE))]
    english = [known[key][1] for key in keys]
    lists = {ENGLISH: english}
    for language in LANGUAGES[1:]:
        own = [texts(language)[key][1] for key in keys]
        different = [text if text != usual else "" for text, usual in zip(own, english, strict=True)]
        lists[language] = different if any(different) else []
    return {"languages": list(LANGUAGES), "keys": keys, "texts": lists}


def unneeded(run: Mapping[str, Any], rest: Any) -> list[str]:
    """How the keys begin that a page without this or that cannot need; `run` and `rest` as the page has them."""
    having = {
        ("page_step", "page_how_steps"): run["steps"],
        ("page_scenarios", "page_what_if_words", "page_into_", "page_out_of_", "page_changed"): run["scenarios"],
        ("page_tiles", "page_how_tiles"): run["tiles"],
        ("page_coarse", "page_position_to"): run["coarsen_m"],
        ("page_rest_note", "page_rest_status", "page_rest_row"): rest,
    }
    return [start for starts, there in having.items() if not there for start in starts]


def spoken(text: Any) -> Told:
    """A text of the run for the page, as {language: text} where languages differ.

    text: a str, {language: str}, or an object with `text(language)`.

    >>> spoken({"en": "Two", "fr": "Deux", "sw": "Two"})
    {'en': 'Two', 'fr': 'Deux'}
    """
    if isinstance(text, Mapping):
        by_language: Mapping[str, str] = text
    elif isinstance(text, Spoken):
        by_language = all_languages(text)
    else:
        return str(text)
    english = by_language[ENGLISH]
    own = {language: one for language, one in by_language.items() if one and one != english}
    return {ENGLISH: english, **own} if own else english


def spoken_all(lines: Sequence[Any]) -> list[Told]:
    """Each text of a list as `spoken` gives it."""
    return [spoken(line) for line in lines]


@cache
def _named() -> frozenset[str]:
    """Every word that stands alone between quotes in a script or in the template; some of them are keys."""
    folder = files("planner.outputs.map")
    names = [one for one in folder.iterdir() if one.name.endswith((".js", ".html"))]
    return frozenset(word for one in names for word in re.findall(r'"([a-z]\w+)"', one.read_text(encoding="utf-8")))
