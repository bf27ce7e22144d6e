"""The glossary, the texts and what the steps read and write, held against one another."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from planner import pipeline
from planner.choice.decision import CONSEQUENCE, DECISIONS, FAMILY_RULES, SAID_WHEN_PASSED
from planner.choice.design_checks import UNITS
from planner.engine.duty import RULES
from planner.glossary import Quantity, glossary, monthly
from planner.outputs.tables import SITE_COLUMNS
from planner.tables import inventory
from planner.texts import number, sentence, texts

STEPS = (inventory, *pipeline.STEPS)
PLACES = {"{subject}", "{value}", "{limit}"}  # what a sentence may leave open
SENTENCES = {"reason", "caution", "note", "finding", "done", "todo", "evidence", "drawn"}  # end with a full stop
SWITCH_PLACES = {"{input}", "{side}", "{value}", "{unit}", "{to}"}  # what that of a switch may


@pytest.mark.parametrize("quantity", glossary().values(), ids=lambda quantity: quantity.name)
def test_a_quantity_is_described(quantity: Quantity) -> None:
    assert re.fullmatch(r"[a-z0-9_]+", quantity.name)
    assert quantity.unit.strip() == quantity.unit != ""
    assert quantity.label.strip() == quantity.label != ""
    assert quantity.meaning.strip() == quantity.meaning != ""
    assert quantity.dtype in {"text", "number", "integer", "flag"}
    if quantity.dtype in {"text", "flag"}:
        assert (quantity.unit, quantity.low, quantity.high) == ("-", None, None)
    if quantity.low is not None and quantity.high is not None:
        assert quantity.low < quantity.high


def test_the_unit_in_a_name_is_the_unit_of_the_quantity() -> None:
    endings = {
        "_m3_h": "m3/h",
        "_m3_h_m": "m3/h/m",
        "_m3_day": "m3/d",
        "_mg_l": "mg/L",
        "_mm": "mm",
        "_mm2": "mm2",
        "_km": "km",
        "_deg": "deg",
        "_wp": "Wp",
        "_w": "W",
        "_ha": "ha",
        "_tlu": "TLU",
        "_hours": "h",
        "_per_m3": "currency/m3",
        "_kwh_m2_day": "kWh/m2/d",
        "_d_m2": "d/m2",
        "_d2_m5": "d2/m5",
        "_m2_d": "m2/d",
        "_m": "m",
    }
    for name, quantity in glossary().items():
        ending = max((end for end in endings if name.endswith(end)), key=len, default="")
        if ending and quantity.dtype == "number":
            assert quantity.unit == endings[ending], name


def test_months_are_written_out() -> None:
    assert monthly("ghi") == [f"ghi_{month:02d}" for month in range(1, 13)]
    assert all(name in glossary() for name in monthly("ghi"))
    assert not any("{" in name for name in glossary())


def test_every_name_that_a_step_reads_was_written_before() -> None:
    written: set[str] = set()
    for step in STEPS:
        assert set(step.READS) <= written, step.__name__
        assert len(set(step.READS)) == len(step.READS)
        assert not set(step.WRITES) & written, f"{step.__name__} writes again"
        assert len(set(step.WRITES)) == len(step.WRITES)
        assert set(step.WRITES) <= set(glossary()), step.__name__
        written |= set(step.WRITES)


def test_every_name_of_the_glossary_has_a_writer() -> None:
    names = list(glossary())
    written = {name for step in STEPS for name in step.WRITES}
    sizing_and_choice = set(names[names.index("engine_status") :])
    assert set(names) - written - sizing_and_choice == {"inventory_row"}
    assert not written & sizing_and_choice


def test_every_column_of_the_results_is_in_the_glossary() -> None:
    assert set(SITE_COLUMNS) <= set(glossary())


def test_every_column_of_the_parquet_is_in_the_glossary(make_programme: Callable[..., Path], tmp_path: Path) -> None:
    pipeline.run(make_programme(tmp_path, [{}]), tmp_path / "out")
    columns = pd.read_parquet(tmp_path / "out" / "sites.parquet").columns
    assert list(columns) == list(dict.fromkeys(columns))
    assert set(columns) == set(glossary())


# Rules and sentences ------------------------------------------------------------------------------------------


def test_every_rule_has_a_sentence_and_every_sentence_a_rule() -> None:
    reasons = {key for key, (kind, _) in texts().items() if kind == "reason"}
    assert reasons == {*CONSEQUENCE, *SAID_WHEN_PASSED}


def test_every_place_of_a_sentence_is_known() -> None:
    for key, (kind, text) in texts().items():
        if kind in {"label", "meaning", "workbook"}:  # labels; for the workbook see tests/outputs/workbook
            continue
        places = set(re.findall(r"\{[^}]*\}?", text))
        if kind in {"reason", "switch"}:
            assert places <= {"reason": PLACES, "switch": SWITCH_PLACES}[kind], key
        if kind in SENTENCES:
            assert text.endswith((".", "{words}")), key
        assert "<" not in text, key


def test_every_rule_leads_to_a_decision_or_to_none() -> None:
    assert set(CONSEQUENCE.values()) == {"", *DECISIONS} - {"equip"}
    for rule in (*CONSEQUENCE, *SAID_WHEN_PASSED):
        assert re.fullmatch("[a-z_]+", rule)


def test_the_rules_of_the_engine_are_the_rules_of_the_families() -> None:
    assert set(RULES) - {"pump_fits"} == set(FAMILY_RULES) == set(UNITS)


def test_a_sentence_is_filled_once() -> None:
    told = sentence("no_head", "helical_rotor", 123.4, 99.95)
    assert told == "Helical rotor: the head of 123 m is above the 100 m that the nearest pump reaches."
    assert "{limit}" in sentence("no_solar_value", "{limit}", 1.0, 2.0), "foreign text is never filled in"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.0, "0"),
        (0.011, "0.011"),
        (1.6, "1.6"),
        (12.345, "12.3"),
        (99.95, "100"),
        (1234.5, "1234"),
        (-3.456, "-3.46"),
        (float("nan"), "?"),
    ],
)
def test_numbers_of_sentences(value: float, expected: str) -> None:
    assert number(value) == expected
