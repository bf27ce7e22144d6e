"""Headers as they come: 380 spellings with what they mean, and the table of known spellings itself.

tests/commands/headers.csv: spellings from common practice in inventories, written down by us; `name` is the planner
name, `open` where no column is the right answer, `private` where it may name a person. `unit` as the plan writes it.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from planner.commands.draft.headers import LANGUAGES, NONE, PRIVATE, spellings, understand
from planner.commands.draft.units import Unit, plan_unit, read_unit, split_unit
from planner.tables.cells.read import fold
from planner.tables.inventory_file import INVENTORY_NAMES

CASES = list(csv.DictReader((Path(__file__).parent / "headers.csv").read_text(encoding="utf-8").splitlines()))
# Columns that a version may or may not read; a spelling of one that it does not read is left open.
LATER = {"casing_stickup_m", "ground_elevation_m", "utm_zone", "grid_distance_m", "specific_capacity_m3_h_m"} | {
    "water_point_type"
}


def test_the_table_is_large_enough() -> None:
    assert len(CASES) >= 150
    assert sum(case["name"] == "open" for case in CASES) >= 30
    assert len({(case["language"], case["header"]) for case in CASES}) == len(CASES)
    assert {case["language"] for case in CASES} == set(LANGUAGES)


@pytest.mark.parametrize("case", CASES, ids=[f"{case['language']}: {case['header']}" for case in CASES])
def test_a_header_is_mapped_rightly_or_left_open(case: dict[str, str]) -> None:
    meaning = understand(case["header"], INVENTORY_NAMES)
    assert meaning.private == (case["name"] == "private")
    if case["name"] not in INVENTORY_NAMES:
        assert case["name"] in {"open", "private"} | LATER
        assert meaning.name == ""
        return
    assert meaning.name == case["name"]
    assert meaning.unit_text == case["unit"]
    doubtful = bool(meaning.doubt or (meaning.unit and meaning.unit.doubt))
    assert doubtful == (case["certainty"] == "doubtful")


def test_known_spellings_are_well_kept() -> None:
    names = {*INVENTORY_NAMES, *LATER, NONE, PRIVATE}
    meanings: dict[str, set[str]] = {}
    for one in spellings():
        assert one.name in names
        assert one.language in LANGUAGES
        assert one.certainty in {"", "second", "unit", "only", "no", "axis"}
        if one.language != "hxl":
            meanings.setdefault(fold(one.text), set()).add(one.name)
    assert {text: found for text, found in meanings.items() if len(found) > 1} == {}
    assert len({(one.language, one.text) for one in spellings()}) == len(spellings())


def test_every_known_spelling_means_what_it_says() -> None:
    for one in spellings():
        meaning = understand(one.text, INVENTORY_NAMES)
        expected = one.name if one.name in INVENTORY_NAMES and one.certainty != "only" else ""
        assert meaning.name == expected, one
        assert meaning.private == (one.name == PRIVATE), one


@pytest.mark.parametrize(
    "slip", ["Borehol depth", "Static watter level", "Profundidda", "Niveau dinamique", "longitud e", "Popullation"]
)
def test_slips_of_the_pen_are_doubtful(slip: str) -> None:
    meaning = understand(slip, INVENTORY_NAMES)
    assert not meaning.name or meaning.doubt


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        (
            "Yield gph",
            Unit("igph", "", "the header does not say whether US gallons (3.785 L) or imperial ones (4.546 L)"),
        ),
        ("Débit (m3.h-1)", Unit("m3/h")),
        ("Caudal [lts/seg]", Unit("L/s")),
        ("Level (ft bgl)", Unit("ft", "ground")),
        ("Niveau (m/sol)", Unit("m", "ground")),
        ("Level below ground level (m)", Unit("m", "ground")),
        ("Casing (mm/inch)", None),
        ("Depth (m) ft", None),
        ("m", None),
    ],
)
def test_units_in_headers(header: str, unit: Unit | None) -> None:
    assert split_unit(header)[1] == unit


def test_a_unit_of_another_kind_is_no_unit() -> None:
    assert plan_unit("depth_m", Unit("L/s")) is None
    assert plan_unit("depth_m", Unit("m", "sea")) is None
    assert plan_unit("status", Unit("m")) is None
    assert plan_unit("pumping_level_m", Unit("ft", "casing")) == "ft below casing top"
    assert read_unit("us", bracketed=False) is None  # "contact us" is no conductivity
