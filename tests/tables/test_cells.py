"""Single cells of an inventory: units and what a level is measured from, qualifiers, decimal commas, dates, words.

Numbers are made up by hand to trip one rule each; units are exact by definition (sources in tables/cells/units.py) and
worked out by hand here, unless a line says otherwise.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.choice.decision import CONSEQUENCE, decide
from planner.errors import InventoryError
from planner.plan import LoadedPlan, Plan
from planner.tables.cells.dates import Calendar, read_date, read_dates
from planner.tables.cells.numbers import CAUTIOUS_HIGH, Format, decimal_mark, read_number, read_numbers
from planner.tables.cells.read import SEVERITY, level_datum, two_names, unit_factor, vocabulary, word_meanings
from planner.tables.cells.units import is_ambiguous_unit
from planner.tables.cells.yields import doubtful_units, pump_limited
from planner.tables.inventory import read_inventory
from planner.tables.step import Finding, Step
from planner.texts import texts

NAN = float("nan")
CALENDAR = Calendar(last_year=2026)


def column(*cells: str) -> pd.Series:
    return pd.Series(cells, index=pd.RangeIndex(1, len(cells) + 1, name="inventory_row"), dtype="str")


def read_rows(folder: Path, rows: list[dict[str, str]], **keys: Any) -> Step:
    """Read rows that are placed apart from one another."""
    table = pd.DataFrame(rows)
    table["latitude"] = [f"{-9.12347 - 0.01 * place:.5f}" for place in range(len(rows))]
    table["longitude"] = "33.51236"
    table.to_csv(folder / "wells.csv", index=False, quoting=csv.QUOTE_ALL)
    inventory = {"file": "wells.csv", "encoding": "utf-8", "delimiter": ",", **keys}
    return read_inventory(LoadedPlan(Plan.model_validate({"inventory": inventory}), folder / "plan.toml", {}, {}))


def of_rule(step: Step, rule: str) -> list[Finding]:
    return [finding for finding in step.findings if finding.rule == rule]


def test_every_rule_about_cells_has_its_sentence() -> None:
    assert {f"finding_{rule}" for rule in SEVERITY} <= set(texts("en"))


# --- units ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "unit", "factor"),
    [
        ("tested_yield_m3_h", "l/seg", 3.6),
        ("tested_yield_m3_h", "Litros / s", 3.6),
        ("tested_yield_m3_h", "L s-1", 3.6),
        ("tested_yield_m3_h", "m³/hora", 1.0),
        ("tested_yield_m3_h", "m3/jour", 1 / 24),
        ("tested_yield_m3_h", "litres/min.", 0.06),
        ("tested_yield_m3_h", "US gpm", 0.22712470704),  # 231 cubic inches a gallon
        ("tested_yield_m3_h", "gpm (imp)", 0.2727654),  # 4.54609 L a gallon
        ("tested_yield_m3_h", "US gph", 0.003785411784),
        ("tested_yield_m3_h", "igph", 0.00454609),
        ("specific_capacity_m3_h_m", "L/s/m", 3.6),
        ("specific_capacity_m3_h_m", "litres/s per metre", 3.6),
        ("specific_capacity_m3_h_m", "(l/seg)/m", 3.6),
        ("specific_capacity_m3_h_m", "m³/h/m", 1.0),
        ("depth_m", "pieds", 0.3048),
        ("depth_m", "pés", 0.3048),
        ("depth_m", "m bgl", 1.0),
        ("static_level_m", "m.b.g.l.", 1.0),
        ("static_level_m", "mbgl", 1.0),
        ("static_level_m", "m below casing top", 1.0),
        ("static_level_m", "ft btoc", 0.3048),
        ("pumping_level_m", "m above sea level", 1.0),
        ("pumping_level_m", "ft a.m.s.l.", 0.3048),
        ("casing_mm", "pulgadas", 25.4),
        ("casing_mm", "cm", 10.0),
        ("tested_yield_m3_h", "gpm", None),
        ("tested_yield_m3_h", "m bgl", None),
        ("depth_m", "m above sea level", None),
        ("depth_m", "m below casing top", None),
        ("casing_mm", "mm bgl", None),
    ],
)
def test_units_as_people_write_them(name: str, unit: str, factor: float | None) -> None:
    assert unit_factor(name, unit) == (None if factor is None else pytest.approx(factor, rel=1e-12))


@pytest.mark.parametrize(
    ("written", "datum"),
    [
        ("m", None),
        ("m3/h", None),
        ("", None),
        ("m bgl", "ground"),
        ("mètres sous le sol", "ground"),
        ("M BELOW GROUND LEVEL", "ground"),
        ("m below casing top", "casing_top"),
        ("m b.t.o.c.", "casing_top"),
        ("m sous la tête de tubage", "casing_top"),
        ("m above sea level", "sea_level"),
        ("masl", "sea_level"),
        ("m.s.n.m.", "sea_level"),
        ("m acima do nível do mar", "sea_level"),
    ],
)
def test_what_a_level_is_measured_from(written: str, datum: str | None) -> None:
    assert level_datum(written) == datum


def test_a_gallon_without_its_country_is_refused_with_both(tmp_path: Path) -> None:
    assert is_ambiguous_unit("gal/min") and not is_ambiguous_unit("igpm")
    with pytest.raises(InventoryError, match="USgpm, igpm") as error:
        read_rows(tmp_path, [{"tested_yield_m3_h": "5"}], units={"tested_yield_m3_h": "gpm"})
    assert len(error.value.faults) == 1


@pytest.mark.parametrize("unit", ["m below casing top", "m above sea level"])
def test_a_level_from_elsewhere_is_not_used_as_one_from_the_ground(tmp_path: Path, unit: str) -> None:
    step = read_rows(tmp_path, [{"static_level_m": "1800"}, {"static_level_m": "x"}], units={"static_level_m": unit})
    assert step.columns["static_level_m"].isna().all()
    lost = "level_beyond_range" if "casing" in unit else "ground_unknown"
    assert [finding.old_value for finding in of_rule(step, lost)] == ["1800"]
    assert of_rule(step, "out_of_range") == []


# --- numbers ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "cell", "value", "rules"),
    [
        ("tested_yield_m3_h", "5+", 5.0, ["lower_bound"]),
        ("tested_yield_m3_h", "> 1,2", 1.2, ["lower_bound", "number_rewritten"]),
        ("tested_yield_m3_h", "plus de 5", 5.0, ["lower_bound"]),
        ("tested_yield_m3_h", "máx 5", 5.0, ["upper_bound", "bound_not_cautious"]),
        ("tested_yield_m3_h", "<1", 1.0, ["upper_bound", "bound_not_cautious"]),
        ("static_level_m", "> 30", 30.0, ["lower_bound", "bound_not_cautious"]),
        ("arsenic_mg_l", "<0.005", 0.005, ["upper_bound"]),
        ("static_level_m", "≈6", 6.0, ["approximate"]),
        ("static_level_m", "env. 6", 6.0, ["approximate"]),
        ("static_level_m", "aprox 6 m", 6.0, ["approximate", "unit_in_cell"]),
        ("tested_yield_m3_h", "3-4", 3.0, ["range"]),
        ("static_level_m", "3-4", 4.0, ["range"]),
        ("depth_m", "30 à 40", 30.0, ["range"]),
        ("people", "200-300", 300.0, ["range"]),
        ("tested_yield_m3_h", "1.5 L/s", 5.4, ["unit_converted"]),
        ("tested_yield_m3_h", "1,5 l/seg", 5.4, ["unit_converted", "number_rewritten"]),
        ("tested_yield_m3_h", "5 gpm", NAN, ["unit_ambiguous"]),
        ("tested_yield_m3_h", "10 US gpm", 2.2712470704, ["unit_converted"]),
        ("casing_mm", '6"', 152.4, ["unit_converted"]),
        ("casing_mm", "6''", 152.4, ["unit_converted"]),
        ("casing_mm", "6½ in", 165.1, ["unit_converted"]),
        ("casing_mm", '6 1/2"', 165.1, ["unit_converted"]),
        ("casing_mm", "1/2", NAN, ["not_a_number"]),
        ("depth_m", "12 ft 6 in", 3.81, ["unit_converted"]),
        ("depth_m", "12'6\"", 3.81, ["unit_converted"]),
        ("tested_yield_m3_h", "12 ft 6 in", NAN, ["not_a_number"]),
        ("static_level_m", "12 m bgl", 12.0, ["unit_in_cell"]),
        ("static_level_m", "12 m btoc", NAN, ["datum_in_cell"]),
        ("static_level_m", "1200 masl", NAN, ["datum_in_cell"]),
        ("depth_m", "1 234", 1234.0, ["number_rewritten"]),
        ("depth_m", "1,234.5", 1234.5, ["number_rewritten"]),
        ("depth_m", "1.234,5", 1234.5, ["number_rewritten"]),
        ("depth_m", "1,234", NAN, ["comma_in_number"]),
        ("depth_m", "1,23,4", NAN, ["comma_in_number"]),
        ("depth_m", "0,125", 0.125, ["number_rewritten"]),
        ("depth_m", "1.2.3", NAN, ["not_a_number"]),
        ("depth_m", "sem dados", NAN, ["no_value"]),
        ("depth_m", "9" * 5000 + ",5", NAN, ["not_a_number"]),
    ],
)
def test_one_cell(name: str, cell: str, value: float, rules: list[str]) -> None:
    found, told = read_number(cell, name, Format())
    np.testing.assert_allclose(found, value, rtol=1e-12, equal_nan=True)
    assert list(told) == rules


def test_the_cautious_end_of_a_range_never_helps_a_design() -> None:
    """Deeper water, more people, more sand: the higher end. Yield, depth, casing: the lower one."""
    assert {"static_level_m", "pumping_level_m", "people", "sand_mg_l", "tank_height_m"} <= CAUTIOUS_HIGH
    assert not {"tested_yield_m3_h", "depth_m", "casing_mm", "screen_top_m", "test_hours"} & CAUTIOUS_HIGH


@pytest.mark.parametrize(
    ("cells", "told", "mark"),
    [
        (["12.5", "7", ""], None, "."),
        (["12,5", "7", "3,25 m"], None, ","),
        (["12,5", "1,234"], None, ","),
        (["1,234", "5,678"], None, "."),
        (["12,5", "12.5"], None, "doubtful"),
        (["12,5", "1,234,567"], None, "doubtful"),
        (["12,5", "1.234"], None, ","),
        (["12,5", *["7.125"] * 11], None, "doubtful"),
        (["12.5"], ",", ","),
        (["12,5"], ".", "."),
        (["see report 3, page 5"], None, "."),
    ],
)
def test_decimal_mark_of_a_column(cells: list[str], told: str | None, mark: str) -> None:
    assert decimal_mark(column(*cells), told)[0] == mark


@pytest.mark.parametrize(
    ("told", "cells", "values", "flagged"),
    [
        (None, ["12,5", "7", "1,234"], [12.5, 7.0, NAN], [3]),
        (None, ["12,5", "1.234", "8"], [12.5, NAN, 8.0], [2]),  # one and a bit, or more than a thousand
        (None, ["12,5", "12.5"], [NAN, 12.5], [1]),
        (",", ["12,5", "1.234", "1.234,5", "1 234", "7", "1,234"], [12.5, 1234.0, 1234.5, 1234.0, 7.0, 1.234], []),
        (",", ["12.5"], [NAN], [1]),
        (".", ["1,234", "1,234.5", "12.5"], [1234.0, 1234.5, 12.5], []),
        (".", ["12,5"], [NAN], [1]),
    ],
)
def test_commas_in_a_column(told: str | None, cells: list[str], values: list[float], flagged: list[int]) -> None:
    given = column(*cells)
    form = Format(*decimal_mark(given, told))
    found, notes, _ = read_numbers(given, "depth_m", form)
    np.testing.assert_allclose(found, values, rtol=1e-12, equal_nan=True)
    assert [note.row for note in notes if note.rule == "comma_in_number"] == flagged


@pytest.mark.parametrize(
    ("cells", "values", "flagged"),
    [
        (["12,5", "7", "1,234"], [12.5, 7.0, 1.234], []),
        (["1,234", "2,500"], [1.234, 2.5], []),  # nothing in the column, but the file says so
        (["12,5", "1.234", "1.234,5"], [12.5, NAN, 1234.5], [2]),
        (["12,5", "1,234,567"], [NAN, NAN], [1, 2]),  # the column contradicts the file
    ],
)
def test_commas_of_a_file_that_has_decimal_commas_alone(
    cells: list[str], values: list[float], flagged: list[int]
) -> None:
    given = column(*cells)
    found, notes, _ = read_numbers(given, "depth_m", Format(*decimal_mark(given, None, ",")))
    np.testing.assert_allclose(found, values, rtol=1e-12, equal_nan=True)
    assert [note.row for note in notes if note.rule == "comma_in_number"] == flagged


def test_a_number_of_a_workbook_has_a_point_whatever_the_plan_says_of_its_texts() -> None:
    given = column("1.234", "12,5", "7.5", "1.234,5")
    found, notes, _ = read_numbers(given, "depth_m", Format(*decimal_mark(given, ","), typed=True))
    assert found.tolist() == [1.234, 12.5, 7.5, 1234.5]
    assert [note.rule for note in notes] == ["number_rewritten"] * len(notes)


def test_each_cell_of_a_found_decimal_comma_is_told_and_of_a_declared_one_not(tmp_path: Path) -> None:
    rows = [{"depth_m": "12,5"}, {"depth_m": "30"}]
    assert [(f.row, f.new_value) for f in read_rows(tmp_path, rows).findings] == [(1, "12.5")]
    step = read_rows(tmp_path, rows, decimal=",")
    assert step.findings == [] and step.columns["depth_m"].tolist() == [12.5, 30]


# --- yields -----------------------------------------------------------------------------------------------


def doubted(*yields: float, with_unit: int | None = None) -> list[float]:
    values = pd.Series(yields, index=pd.RangeIndex(1, len(yields) + 1))
    has_unit = pd.Series(values.index == with_unit, index=values.index)
    return values[doubtful_units(values, has_unit)].tolist()


def test_a_yield_that_a_gap_sets_apart_is_doubted() -> None:
    low = [0.9, 1.8, 2.7, 3.6] * 10
    assert doubted(*low, 16.0) == [16.0]
    assert doubted(*low, 60.0, 61.0) == [60.0, 61.0]
    assert doubted(16.0, *low, with_unit=1) == []  # the cell says its unit
    assert doubted(*low, 5.0, 7.5, 11.0, 16.0, 24.0) == []  # no gap: a good aquifer
    assert doubted(*low, *[16.0] * 6) == []  # too many to be slips of a pen
    assert doubted(1.0, 1.0, 50.0) == [] and doubted() == []


def test_many_equal_yields_are_the_test_pumps() -> None:
    def limited(yields: list[float], places: list[str]) -> list[float]:
        index = pd.RangeIndex(1, len(yields) + 1)
        values = pd.Series(yields, index=index, dtype="float64")
        return values[pump_limited(values, pd.Series(places, index=index, dtype="str"))].tolist()

    spread = [1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.1]
    assert limited([*spread, *[3.6] * 5], [""] * 15) == [3.6] * 5
    assert limited([*spread, *[3.6] * 4], [""] * 14) == []
    wide = [1 + place / 100 for place in range(40)]
    assert limited([*wide, *[3.6] * 5], [*["A"] * 40, *["B"] * 5]) == [3.6] * 5
    assert limited([*wide, *[3.6] * 5], ["A"] * 45) == []
    assert limited([0.0] * 9, ["A"] * 9) == []


def test_a_doubtful_unit_holds_the_site_and_keeps_the_number(tmp_path: Path) -> None:
    step = read_rows(tmp_path, [{"tested_yield_m3_h": f"{1 + place / 10:.1f}"} for place in range(9)] + [
        {"tested_yield_m3_h": "40"}
    ])  # fmt: skip
    assert step.columns["tested_yield_m3_h"][10] == 40
    assert [(f.row, f.old_value, f.action) for f in of_rule(step, "unit_doubtful")] == [(10, "40", "flagged")]
    sized = pd.Series(True, index=step.columns.index)
    decision = decide(step.checks, sized, allow_prior_equip=True)
    assert decision["decision"].tolist() == ["equip"] * 9 + ["hold"]
    assert decision["reason_codes"][10] == "unit_doubtful" and "40 m³/h" in decision["reason_text"][10]


# --- dates ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "expected", "rule"),
    [
        ("12 mars 2019", "2019-03-12", "date_rewritten"),
        ("1er août 2018", "2018-08-01", "date_rewritten"),
        ("12 de março de 2019", "2019-03-12", "date_rewritten"),
        ("12 de marzo de 2019", "2019-03-12", "date_rewritten"),
        ("12 Machi 2019", "2019-03-12", "date_rewritten"),
        ("March 12, 2019", "2019-03-12", "date_rewritten"),
        ("12-Mar-19", "2019-03-12", "date_rewritten"),
        ("Agosto/2018", "2018-08", "date_rewritten"),
        ("Mar-19", "", "date_ambiguous"),  # March 2019, or 19 March
        ("Mar-95", "1995-03", "date_rewritten"),
        ("31 feb 2019", "", "not_a_date"),
        ("12 xyz 2019", "", "not_a_date"),
        ("2019/03/05", "2019-03-05", ""),
        ("2019-03-05T10:00:00Z", "2019-03-05", ""),
        ("25/03/2019 08:00", "2019-03-25", ""),
        ("03/2019", "2019-03", "date_rewritten"),
        ("43831", "2020-01-01", "date_from_serial"),  # from memory of spreadsheets: 43831 is 1 January 2020
        ("36892.5", "2001-01-01", "date_from_serial"),
        ("17000", "", "not_a_date"),  # 1946
        ("99999", "", "not_a_date"),
        ("1900-01-01", "", "date_placeholder"),
        ("2030-01-01", "", "date_in_future"),
        ("25/03/19", "", "date_ambiguous"),  # 25 March 2019, or 19 March 2025
        ("45/45/19", "", "not_a_date"),
    ],
)
def test_a_date(cell: str, expected: str, rule: str) -> None:
    assert read_date(cell, CALENDAR) == (expected, rule)


@pytest.mark.parametrize(
    ("order", "cell", "expected", "rule"),
    [
        ("day_first", "03/04/2019", "2019-04-03", ""),
        ("month_first", "03/04/2019", "2019-03-04", ""),
        ("day_first", "03/25/2019", "2019-03-25", "date_against_order"),
        ("day_first", "03/04/19", "2019-04-03", "date_rewritten"),
        ("year_first", "19/03/04", "2019-03-04", "date_rewritten"),
        ("year_first", "03/04/2019", "2019", "date_ambiguous"),
    ],
)
def test_a_date_in_a_declared_order(order: Any, cell: str, expected: str, rule: str) -> None:
    assert read_date(cell, Calendar(order, 2026)) == (expected, rule)


def test_other_cells_may_prove_the_order_which_is_told_once(tmp_path: Path) -> None:
    step = read_rows(tmp_path, [{"test_date": one} for one in ("25/03/2019", "03/04/2019", "05/06/2018", "2017")])
    assert step.columns["test_date"].tolist() == ["2019-03-25", "2019-04-03", "2018-06-05", "2017"]
    assert [(f.row, f.rule, f.old_value, f.new_value) for f in step.findings] == [
        (0, "date_order_from_column", "25/03/2019", "day_first")
    ]
    dates, notes, told = read_dates(column("25/03/2019", "03/25/2019", "03/04/2019"))
    assert dates.tolist()[2] == "2019" and [note.rule for note in notes] == ["date_ambiguous"] and told == []


def test_the_first_of_january_on_most_rows_is_a_year() -> None:
    dates, notes, _ = read_dates(column(*["2018-01-01"] * 5, "2016-05-03", "2015-06-07"))
    assert dates.tolist() == ["2018"] * 5 + ["2016-05-03", "2015-06-07"]
    assert [note.rule for note in notes] == ["date_only_year"] * 5
    few, none, _ = read_dates(column(*["2018-01-01"] * 4))
    assert few.tolist() == ["2018-01-01"] * 4 and none == []


def test_day_numbers_that_point_to_the_calendar_of_1904_are_flagged() -> None:
    dates, notes, _ = read_dates(column("36892", "17500"))  # 17500: 1947, or 1951 by the calendar of 1904
    assert dates.tolist() == ["", ""]
    assert [note.rule for note in notes] == ["date_ambiguous", "not_a_date"]


# --- words ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "cell", "meaning"),
    [
        ("status", "HORS D'USAGE", "abandoned"),
        ("status", "não está a funcionar", "needs_repair"),
        ("status", "sin agua", "dry"),
        ("status", "Kisima kikavu", "dry"),
        ("status", "linafanya  kazi", "working"),
        ("status", "F", None),
        ("status", "working?", None),
        ("equipped_with", "motopompe", "diesel"),
        ("equipped_with", "electric", None),  # from the grid, or from the sun
        ("equipped_with", "Bomba de mão", "handpump"),
        ("test_kind", "Essais par paliers", "step"),
        ("aquifer", "nappe phréatique", "unconfined"),
        ("row_kind", "Totaux", "total"),
        ("water_point_type", "Puits busé", "dug_well"),
        ("water_point_type", "well", ""),  # bored or dug
        ("water_point_type", "Chemchemi", "spring"),
        ("water_point_type", "borehole?", None),
    ],
)
def test_words_of_five_languages(name: str, cell: str, meaning: str | None) -> None:
    found = word_meanings(column(cell), name)[1]
    assert (None if pd.isna(found) else found) == meaning


def test_a_word_has_one_meaning_in_its_column() -> None:
    assert sum(len(words) for words in vocabulary().values()) > 600


@pytest.mark.parametrize(
    ("row", "kind", "rules"),
    [
        ({"water_point_type": "Protected spring"}, "spring", ["not_a_borehole"]),
        ({"water_point_type": "Rain-water tank"}, "rainwater", ["not_a_borehole"]),
        ({"water_point_type": "Hand-dug well"}, "dug_well", []),
        ({"water_point_type": "forage"}, "borehole", []),
        ({"water_point_type": "vendor"}, "", ["unknown_word"]),
        ({"status": "spring"}, "spring", ["not_a_borehole", "unknown_word"]),
        ({"status": "spring", "water_point_type": "borehole"}, "borehole", ["unknown_word"]),
        ({"site_name": "Kesumba spring"}, "", ["name_of_another_source"]),
        ({"site_name": "Spring Hill borehole 2"}, "", []),
        ({"site_name": "Kesumba spring", "water_point_type": "borehole"}, "borehole", []),
    ],
)
def test_water_points_that_are_no_wells(tmp_path: Path, row: dict[str, str], kind: str, rules: list[str]) -> None:
    step = read_rows(tmp_path, [row])
    assert step.columns["water_point_type"][1] == kind
    assert sorted(finding.rule for finding in step.findings) == rules
    failed = step.checks.loc[~step.checks["pass"], "rule"].tolist()
    assert failed == [rule for rule in rules if rule == "not_a_borehole"]
    assert CONSEQUENCE["not_a_borehole"] == "unsuitable"


@pytest.mark.parametrize("cell", ["Kaya / Bondo", "Kaya/Bondo", "Kaya & Bondo", "Kaya and Bondo", "Kaya et Bondo"])
def test_two_places_in_one_cell_are_told(tmp_path: Path, cell: str) -> None:
    step = read_rows(tmp_path, [{"sub_district": cell}, {"sub_district": "Kaya"}])
    assert [(f.row, f.column, f.severity) for f in of_rule(step, "two_names")] == [(1, "sub_district", "info")]
    assert step.columns["sub_district"][1] == cell


def test_one_name_is_not_two() -> None:
    names = column("Andover", "BH 12/3", "n/a/", "Bondo-Kaya", "a" * 5000, "a and " * 5000, "../../etc/passwd", "")
    assert not two_names(names).any()


# --- whatever comes ---------------------------------------------------------------------------------------

PLAIN = {
    "site_name": "Kaya",
    "depth_m": "60",
    "tested_yield_m3_h": "3.6",
    "static_level_m": "12.5",
    "test_date": "2019-03-05",
    "status": "working",
    "water_point_type": "borehole",
}
NUMBER_OR_DATE = r"[<>~]?-?[0-9]{0,5}[.,/ ]?[0-9]{0,3}[.,/ ]?[0-9]{0,4} ?(m bgl|L/s|ft|in|mars 2019|\+)?"
ANY_CELL = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=40),
    st.from_regex(NUMBER_OR_DATE, fullmatch=True),
    st.sampled_from(["dry", "spring", "NA", "36892", "12,5", "1,234", "25/03/2019", "03/04/2019", "9e999", "½"]),
)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Step:
    return read_rows(tmp_path_factory.mktemp("plain"), [PLAIN, PLAIN, PLAIN])


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cell=ANY_CELL, name=st.sampled_from(list(PLAIN)))
def test_any_text_in_a_cell_changes_no_other_row(tmp_path: Path, plain: Step, cell: str, name: str) -> None:
    cell = cell.replace("\x00", "")  # the file is written by another library, which ends a cell there
    step = read_rows(tmp_path, [PLAIN, {**PLAIN, name: cell}, PLAIN])
    assert len(step.columns) == 3
    pd.testing.assert_frame_equal(step.columns.loc[[1, 3]], plain.columns.loc[[1, 3]])
    assert {finding.row for finding in step.findings} <= {0, 2}


@settings(max_examples=300, deadline=None)
@given(cell=ANY_CELL, told=st.sampled_from([None, ".", ","]))
def test_a_number_is_read_or_told(cell: str, told: str | None) -> None:
    given = column(cell.strip())
    form = Format(*decimal_mark(given, told))
    values, notes, _ = read_numbers(given, "static_level_m", form)
    assert np.isfinite(values[1]) or given[1] == "" or notes


@settings(max_examples=300, deadline=None)
@given(cell=ANY_CELL, order=st.sampled_from([None, "day_first", "month_first", "year_first"]))
def test_a_date_is_read_or_told(cell: str, order: Any) -> None:
    found, rule = read_date(cell, Calendar(order, 2026))
    assert found or rule or cell == ""
    assert found == "" or found <= "2026-12-31"
