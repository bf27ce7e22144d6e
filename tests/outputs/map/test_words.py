"""Every word of the page is in the table of texts: keys that are used, keys that nobody uses, English left over."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

import pandas as pd
import pytest

from planner.outputs.map.pack import pack_told
from planner.outputs.map.page import SCRIPTS, STYLES
from planner.outputs.map.switch_data import switch_data, switch_keys
from planner.outputs.map.words import page_texts, spoken
from planner.texts import LANGUAGES, texts

# Names that browsers, Leaflet and GeoJSON give to things, and what is written the same in every language.
NAMES = {
    *("ArrowDown", "ArrowUp", "ArrowLeft", "ArrowRight", "PageDown", "PageUp", "Home", "End", "Enter", "Escape"),
    *("Polygon", "Wp", "NFD"),
}
# Literals that nobody reads: names of events, a question to the style, a font, functions of the style.
NOT_SHOWN = (
    *("zoomend resize", "zoomend viewreset", "mousemove", "mouseout movestart zoomstart", "mouseout movestart"),
    *(
        "(prefers-reduced-motion: reduce)",
        "(min-width:",
        "12px Arial, sans-serif",
        "11px Arial, sans-serif",
        "translate(",
        "rgb(",
    ),
)
LITERAL = re.compile(r'"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`')


@cache
def source(name: str) -> str:
    return files("planner.outputs.map").joinpath(name).read_text(encoding="utf-8")


def code(name: str) -> str:
    """A script without its comments: they begin a line, or follow code after two spaces or one."""
    return re.sub(r"(?m)(^|\s)//.*$", "", source(name))


def literals(name: str) -> list[str]:
    return [found[1:-1] for found in LITERAL.findall(code(name))]


def classes() -> set[str]:
    """Class names of the styles and of Leaflet, the only other words that stand beside each other in a text."""
    styles = "".join(source(name) for name in STYLES)
    named = set(re.findall(r"\.([a-z][\w-]*)", styles)) | set(re.findall(r'class(?:Name)?[:=] ?"([\w-]+)"', styles))
    return {part for name in named for part in name.split("-")} | {"leaflet", "layer", "zoom", "animated", "hide"}


@cache
def used() -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
    """Keys in full, those of a counted text without their form, and stems of codes, as the page uses them."""
    everything = "".join(code(name) for name in SCRIPTS) + source("template.html")
    full = set(re.findall(r'"((?:page|label)_\w+)"', everything))
    stems = set(re.findall(r'sayCode\("(\w+)"', everything)) | set(re.findall(r"say\(`(\w+)_\$\{", everything))
    counted = {key for key in full if f"{key}_other" in texts()}
    stems_only = {stem for stem in stems if stem not in texts()}
    return frozenset(full - counted - stems_only), frozenset(counted), frozenset(stems)


def python_keys() -> set[str]:
    folder = files("planner.outputs.map")
    names = [one for one in folder.iterdir() if one.name.endswith(".py")]
    return {key for one in names for key in re.findall(r'"(page_\w+)"', one.read_text(encoding="utf-8"))}


def test_every_key_of_the_page_is_in_the_table() -> None:
    full, counted, stems = used()
    known = texts()
    assert sorted(full - set(known)) == []
    assert [key for key in counted if f"{key}_one" not in known] == []
    assert [stem for stem in stems if not any(key.startswith(f"{stem}_") for key in known)] == []


def test_every_text_of_the_page_is_used() -> None:
    full, counted, stems = used()
    wanted = full | {f"{key}_{form}" for key in counted for form in ("one", "other")} | python_keys()
    page = [key for key, (kind, _) in texts().items() if kind == "page"]
    assert all(key.startswith("page_") for key in page)
    coded = tuple(f"{stem}_" for stem in stems if stem.startswith("page_"))
    assert [key for key in page if key not in wanted and not key.startswith(coded)] == []


def test_counted_texts_have_both_forms() -> None:
    known = texts()
    for key in known:
        if key.startswith("page_") and key.endswith("_one"):
            assert f"{key.removesuffix('_one')}_other" in known


@pytest.mark.parametrize("name", SCRIPTS)
def test_no_word_stands_in_a_script(name: str) -> None:
    """Words beside each other that are not names of classes, and words that begin with a capital letter."""
    known = classes()
    left = []
    for literal in literals(name):
        if literal.startswith(NOT_SHOWN):
            continue
        text = re.sub(r"\$\{(?:[^{}]|\{[^{}]*\})*\}", "\0", literal)  # what is filled in
        text = re.sub(r"\\u[0-9a-f]{4}|\\.", " ", text)
        words = [word for word in re.findall(r"[A-Za-zÀ-ÿ]{2,}", text) if word not in NAMES]
        pair = r"[A-Za-zÀ-ÿ]{2,}[,;:.]? +[A-Za-zÀ-ÿ]{2,}|[A-Za-z]{2,}[,;:.]? +\0|\0[,;:.]? +[A-Za-z]{3,}"
        beside = re.search(pair, text) and not set(words) <= known and not re.search(r"[\[#>=]", text)
        capital = any(re.fullmatch(r"[A-Z][a-z]+", word) for word in words) and not re.search(r"^[MLHAZ]?\0", text)
        if beside or capital:
            left.append(literal)
    assert left == []


def test_no_text_of_a_script_runs_over_lines() -> None:
    # The page drops indentation and lines of comment, which must not stand inside a text.
    for name in SCRIPTS:
        assert [line for line in source(name).splitlines() if line.count("`") % 2] == [], name
    for name in STYLES:
        assert "//" not in source(name), name


def test_no_word_stands_in_the_template() -> None:
    body = re.sub(r"@@\w+@@", "", source("template.html"))
    assert re.findall(r">([^<>]*[A-Za-z][^<>]*)<", body) == []
    assert re.findall(r'(?<![-\w])(?:aria-label|title|placeholder|alt)="[^"]+"', body) == []
    named = re.findall(r'data-say(?:-title|-label|-placeholder)?="([^"]+)"', body)
    assert len(named) > 40
    assert [key for key in named if key not in texts()] == []


def test_texts_hold_no_markup_and_the_same_places_in_every_language() -> None:
    for key, (kind, english) in texts().items():
        if kind != "page":
            continue
        assert "<" not in english, key
        for language in LANGUAGES:
            own = texts(language)[key][1]
            places, wanted = (sorted(set(re.findall(r"\{\w+\}", text))) for text in (own, english))
            assert places == wanted, (key, language)


def test_the_block_says_a_text_once_and_only_where_it_differs() -> None:
    block = page_texts({"no_head", "no_such_key"})
    assert block["languages"] == list(LANGUAGES)
    assert "no_head" in block["keys"] and "no_such_key" not in block["keys"]
    assert "no_casing" not in block["keys"] and "label_rank" in block["keys"]
    place = block["keys"].index("page_language_name")
    assert [block["texts"][language][place] for language in LANGUAGES] == [
        *("English", "Français", "Português", "Español", "Kiswahili"),
    ]
    assert {len(block["texts"][language]) for language in LANGUAGES} == {len(block["keys"])}


class _Line:
    def text(self, language: str) -> str:
        return {"en": "Two sites", "fr": "Deux sites"}.get(language, "Two sites")


def test_a_text_of_the_run_is_one_or_one_for_each_language() -> None:
    assert spoken("A text of nobody") == "A text of nobody"
    assert spoken(_Line()) == {"en": "Two sites", "fr": "Deux sites"}
    assert spoken({"en": "same", "pt": "same"}) == "same"
    assert spoken(7) == "7"


def test_sentences_of_sites_are_packed_once_each() -> None:
    packed = pack_told(pd.Series(["a", "", "a"]), lambda text: {"en": text, "fr": "à"})
    assert packed["levels"] == [{"en": "a", "fr": "à"}, ""] and packed["codes"].tolist() == [0, 1, 0]


def test_what_would_change_a_decision_is_keyed() -> None:
    known = "rest level deeper than 41 m: no pump fits"
    data = switch_data(pd.Series([known, "", known.replace("41", "52.5"), "<b>text of nobody"]))
    assert data["amounts"] == ["41", "", "52.5"] and len(data["kinds"]) == 3
    key, places = data["kinds"][0]
    made = re.sub(
        r"\{(\w+)\}", lambda found: texts()[places[found[1]]][1] if found[1] in places else "41", texts()[key][1]
    )
    assert made == known
    assert data["kinds"][2] == ["", {"text": "<b>text of nobody"}]
    assert {key, *places.values()} == switch_keys(data)
