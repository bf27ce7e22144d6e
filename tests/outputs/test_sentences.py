"""Columns of English sentences said in another language: each is known again by its template, or left as it is."""

from __future__ import annotations

from itertools import product

import pandas as pd
import pytest

from planner.choice.decision import decide
from planner.doubt.switch import INPUTS, UNITS, Switch, switch_text
from planner.outputs.sentences import COLUMNS, evidence_said, in_language, reason_texts, switch_said, ways_said
from planner.tables.grade import DRAWDOWN, LEVEL, RAISE, YIELD
from planner.texts import Listed, Said, texts

CHANGES = [key.removeprefix("switch_to_") for key in texts() if key.startswith("switch_to_")]


def known(found: object) -> bool:
    """Whether a text became sentences of the tables: none of its parts is bare text."""
    return not (isinstance(found, Listed) and any(isinstance(part, str) for part in found.parts))


@pytest.mark.parametrize("keys", [*product(YIELD, LEVEL, DRAWDOWN)])
def test_every_reason_of_a_grade_is_known_again(keys: tuple[str, str, str]) -> None:
    text = " ".join(texts()[f"evidence_{key}"][1] for key in keys if key)
    assert known(evidence_said(text))
    assert evidence_said(text).text() == text


@pytest.mark.parametrize("key", RAISE[1:])
def test_every_way_to_raise_a_grade_is_known_again(key: str) -> None:
    text = texts()[f"raise_{key}"][1]
    assert known(evidence_said(text))


@pytest.mark.parametrize("value", [2.34, 41.0, 12345.0, 0.0321, float("nan")])
@pytest.mark.parametrize("name", INPUTS)
def test_every_switch_is_known_again(name: str, value: float) -> None:
    for to, way in product(CHANGES, (-0.5, 0.5)):
        text = switch_text(Switch(name, way, value, to, 0.0))
        found = switch_said(text)
        assert isinstance(found, Said)
        assert found.text() == text
        assert UNITS[name]
        if name == "rest_level" and value == 2.34:
            assert "2,3" in found.text("fr")


def test_a_decision_that_nothing_changes() -> None:
    found = switch_said(texts()["switch_none"][1].format(input="prices", value="12.5"))
    assert isinstance(found, Said)
    assert "12,5" in found.text("fr")
    assert known(switch_said(texts()["switch_never"][1]))


def test_other_text_stays_as_it_is() -> None:
    for text in ("rest level deeper than 41 m: {to}", "My note. No yield is known.", "a b;c"):
        for make in COLUMNS.values():
            assert make(text).text("fr") == text


def test_why_a_way_is_closed() -> None:
    told = ways_said("handpump too_deep;grid distance_unknown").text()
    assert told == "Handpumps: water too deep. Grid: distance to the grid not known."
    assert known(ways_said("all not_sized"))


def test_reasons_are_said_from_their_checks() -> None:
    """In English they are what the decision wrote."""
    checks = pd.DataFrame(
        {
            "inventory_row": [1, 1, 1, 2, 2, 3],
            "rule": ["no_head", "no_design", "no_head", "demand_met", "casing_assumed", "duplicate"],
            "subject": ["surface", "", "helical_rotor", "", "", ""],
            "value": [98.76, 0.0, 120.0, 104.0, 152.0, 7.0],
            "limit": [6.0, 0.0, 110.0, 95.0, float("nan"), 0.0],
            "pass": [False, False, False, True, False, False],
        }
    )
    rows = pd.Index([1, 2, 3, 4], name="inventory_row")
    decided = decide(checks, pd.Series([False, True, False, True], index=rows), False).reset_index()
    assert reason_texts(decided, checks).tolist() == decided["reason_text"].tolist()
    told = in_language(decided.assign(switch_text=["yield below 2.5 m³/h: no pump fits", "", "", ""]), "fr", checks)
    assert "98,8" in told["reason_text"][0]
    assert "2,5" in told["switch_text"][0]
    assert told["switch_text"][1] == ""
