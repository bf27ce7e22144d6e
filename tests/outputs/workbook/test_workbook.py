"""programme.xlsx as independent readers find it: values, texts that stay texts, header, limits, bytes."""

from __future__ import annotations

import dataclasses
import datetime
import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pytest

from planner.outputs.bill import bill_rows, bill_totals
from planner.outputs.material import Material
from planner.outputs.workbook.cells import LONGEST, NUMBERS, fitted, shown
from planner.outputs.workbook.lists import described
from planner.outputs.workbook.site_lists import reasons_in
from planner.outputs.workbook.words import SHEETS, Words, sheet_name
from planner.outputs.workbook.write import write_workbook
from planner.texts import LANGUAGES, texts

from .conftest import HEADER_ROWS, Sheets, column, read, with_limit

LISTS = tuple(name for name in SHEETS if name not in {"read_me", "summary"})
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
WORDS = Words("en", "USD", 2026)


def name_of(key: str) -> str:
    return WORDS.sheets[key]


def test_sheets_stand_in_reading_order(sheets: Sheets) -> None:
    assert list(sheets) == [name_of(key) for key in SHEETS]


def test_values_read_back_equal(sheets: Sheets, material: Material) -> None:
    """Every number of every column of the sheet of all sites; units and words aside."""
    rows, sites = sheets[name_of("all_sites")], material.sites
    assert column(rows, "inventory_row") == list(sites["inventory_row"])
    compared = 0
    for name in rows[1]:
        unit, kind = described(name)
        if kind in {"number", "integer"}:
            told = [float("nan") if cell == "" else cell for cell in column(rows, name)]
            expected = sites[name].astype("float64").to_numpy()
            pd.testing.assert_series_equal(pd.Series(told, dtype="float64"), pd.Series(expected), rtol=1e-14)
            compared += 1
            assert unit in NUMBERS or unit in {"-", "year"} or unit.count("/") or len(unit) < 8
    assert compared > 60


def test_the_lists_hold_every_site_once(sheets: Sheets, material: Material) -> None:
    decision = material.sites["decision"].value_counts()
    for key in ("test_first", "hold", "unsuitable", "not_assessed"):
        rows = [one for one in column(sheets[name_of(key)], "inventory_row") if one != ""]
        assert len(rows) == decision.get(key, 0), key
    for key in ("funded", "reserve"):
        chosen = material.sites[material.sites["funding"] == key].sort_values("rank")
        rows = [one for one in column(sheets[name_of(key)], "inventory_row") if one != ""]
        assert rows == list(chosen["inventory_row"]), key
    assert column(sheets[name_of("funded")], "rank")


def test_texts_stay_texts(sheets: Sheets, material: Material, hostile_names: tuple[str, ...]) -> None:
    """Formulas, links, escapes of the format, markup, marks of direction, ten thousand signs: as they came."""
    rows = sheets[name_of("all_sites")]
    told = column(rows, "site_name")
    assert told == [shown(name) for name in material.sites["site_name"]]
    assert {shown(name) for name in hostile_names} <= set(told)
    assert "_x000D_ _x0007_" in told and "<r>bare</r>" in told and "=1+1" in told
    assert any(len(name) > 9_990 for name in told)
    assert column(rows, "site_id")[:2] == ["00123", "=2+3"], "identifiers are text"


def test_control_characters_are_seen(sheets: Sheets) -> None:
    assert "bell\u2407 escape\u241b[31m" in column(sheets[name_of("all_sites")], "site_name")
    assert shown("a\x00b\r\x7f\ud800\uffff\n\t") == "a\u2400b\u240d\u2421\ufffd\ufffd\n\t"


def test_a_hostile_plan_name_and_pump_id(material: Material, hostile_names: tuple[str, ...], tmp_path: Path) -> None:
    used = sorted(set(material.sites["pump_id"]) - {""})
    renamed = dict(zip(used, hostile_names, strict=False))
    catalogue = material.catalogue
    ids = tuple(renamed.get(name, name) for name in catalogue.pump_ids)
    quotes = {renamed.get(name, name): quote for name, quote in catalogue.quotes.items()}
    sites = material.sites.assign(pump_id=[renamed.get(one, one) for one in material.sites["pump_id"]])
    about = {**material.about, "programme": "=HYPERLINK(1) \x07"}
    changed = dataclasses.replace(
        material, catalogue=dataclasses.replace(catalogue, pump_ids=ids, quotes=quotes), sites=sites, about=about
    )
    write_workbook(changed, tmp_path / "programme.xlsx")
    found = read(tmp_path / "programme.xlsx")
    assert found[name_of("read_me")][0][0].endswith("=HYPERLINK(1) \u2407")
    assert set(column(found[name_of("all_sites")], "pump_id")) - {""} == {shown(renamed[one]) for one in used}
    assert shown(renamed[used[0]]) in column(found[name_of("prices")], "price_item")


def test_formulas_stand_on_the_summary_only(written: Path) -> None:
    with zipfile.ZipFile(written) as archive:
        names = sorted(name for name in archive.namelist() if re.fullmatch(r"xl/worksheets/sheet\d+\.xml", name))
        assert len(names) == len(SHEETS)
        with_formula = [name for name in names if b"<f>" in archive.read(name)]
        assert with_formula == ["xl/worksheets/sheet2.xml"]
        assert not [name for name in archive.namelist() if "vba" in name or "externalLink" in name]
        for name in names:
            assert b"mergeCell" not in archive.read(name)
            links = archive.read(name).count(b"<hyperlink ")
            assert not links or name == "xl/worksheets/sheet1.xml"
        rels = [name for name in archive.namelist() if name.endswith(".rels")]
        assert not [name for name in rels if b'TargetMode="External"' in archive.read(name)]


@pytest.mark.parametrize("key", LISTS)
def test_a_list_has_header_filter_units_and_print_set_up(key: str, sheets: Sheets, written: Path) -> None:
    rows = sheets[name_of(key)]
    labels, machine, units = rows[:HEADER_ROWS]
    assert all(labels) and all(machine) and all(units)
    assert len(set(machine)) == len(machine)
    assert all(re.fullmatch(r"[a-z0-9_]+", name) for name in machine)
    with zipfile.ZipFile(written) as archive:
        tree = ElementTree.fromstring(archive.read(f"xl/worksheets/sheet{SHEETS.index(key) + 1}.xml"))
        book = archive.read("xl/workbook.xml").decode()
    pane = tree.find(f".//{MAIN}pane")
    assert pane is not None and pane.get("state") == "frozen" and pane.get("ySplit") == "3"
    area = tree.find(f"{MAIN}autoFilter")
    assert area is not None and area.get("ref", "").startswith("A3:"), "the buttons stand on the last row of the header"
    page, fit = tree.find(f"{MAIN}pageSetup"), tree.find(f".//{MAIN}pageSetUpPr")
    assert page is not None and page.get("orientation") == "landscape" and page.get("paperSize") == "9"
    assert fit is not None and fit.get("fitToPage") == "1" and page.get("fitToHeight") == "0"
    assert re.search(rf"Print_Titles\" localSheetId=\"{SHEETS.index(key)}\">[^<]*\$1:\$3<", book)


def test_every_column_is_explained(sheets: Sheets) -> None:
    rows = sheets[name_of("glossary")]
    explained = dict(zip(column(rows, "column"), column(rows, "meaning"), strict=True))
    held = {name for key in LISTS for name in sheets[name_of(key)][1]}
    assert set(explained) == held
    assert not [name for name, meaning in explained.items() if not meaning]
    labels = dict(zip(column(rows, "column"), column(rows, "label"), strict=True))
    assert not [name for name, label in labels.items() if label == name]


def test_dates_are_dates_and_years_stay_text(sheets: Sheets, material: Material) -> None:
    told = column(sheets[name_of("all_sites")], "test_date")
    assert told[0] == "2019"
    assert datetime.date(2024, 5, 10) in told and datetime.date(2021, 3, 4) in told
    facts = {row[0]: row[1] for row in sheets[name_of("read_me")][:16]}
    assert facts["Date"] == datetime.date.fromisoformat(material.about["date"])
    assert facts["Run"] == material.about["run_id"]
    assert facts["Money"] == "All amounts are in USD at prices of 2026."


def test_the_bill_and_its_sums(sheets: Sheets, material: Material) -> None:
    lines = bill_rows(material.sites.reset_index(drop=True), material.catalogue, material.plan.plan)
    rows = sheets[name_of("bill")]
    amounts = column(rows, "amount")
    assert len(amounts) == len(lines)
    assert sum(amounts) == pytest.approx(lines["amount"].sum(), abs=1e-6)
    sums = bill_totals(lines)
    assert column(sheets[name_of("bill_totals")], "amount") == pytest.approx(list(sums["amount"]))
    first = [WORDS.code("funding", "funded")] * int((lines["funding"] == "funded").sum())
    assert column(rows, "funding")[: len(first)] == first, "what is bought first stands first"


def test_assumptions_are_all_keys_given_or_default(sheets: Sheets, material: Material) -> None:
    rows = sheets[name_of("assumptions")]
    keys = column(rows, "plan_key")
    origin = dict(zip(keys, column(rows, "origin"), strict=True))
    value = dict(zip(keys, column(rows, "setting"), strict=True))
    assert (origin["programme.budget"], value["programme.budget"]) == ("given", 90000)
    assert (origin["well.submergence_m"], value["well.submergence_m"]) == ("default", 2)
    assert origin["demand.planting_month"] == "not set" and value["demand.planting_month"] == ""
    assert value["scenario.dear works.costs.price_factor.works"] == 1.5
    for dotted in material.about["defaults_used"]:
        told = [origin[key] for key in keys if key == dotted or key.startswith(f"{dotted}.")]
        assert told and set(told) == {"default"}, dotted


def test_the_refusals_add_up(sheets: Sheets, material: Material) -> None:
    rows = sheets[name_of("read_me")]
    start = next(place for place, row in enumerate(rows) if row[0] == "What was refused, and why")
    counts = {row[0]: row[1] for row in rows[start + 3 :] if row[0] and isinstance(row[1], float)}
    assert counts["Rows of the inventory"] == len(material.sites)
    for decision, count in material.sites["decision"].value_counts().items():
        assert counts[WORDS.code("decision", str(decision))] == count


def test_cautions_stand_on_the_first_sheet(sheets: Sheets, material: Material) -> None:
    text = " ".join(str(cell) for row in sheets[name_of("read_me")] for cell in row if cell != "")
    for caution in material.about["cautions"]:
        assert str(caution) in text
    assert "Do not pass it on" in text


def test_reasons_drawn_anew_are_those_of_the_run(material: Material) -> None:
    """The sentences in another language come from the checks; in English they are the run's own."""
    sites = material.sites.reset_index(drop=True)
    assert list(reasons_in(sites, material.checks, "en")) == list(sites["reason_text"])


def test_a_row_limit_cuts_each_list_and_says_so(material: Material, tmp_path: Path) -> None:
    write_workbook(with_limit(material, 4), tmp_path / "programme.xlsx")
    found = read(tmp_path / "programme.xlsx")
    for key in LISTS:
        if key != "glossary":
            assert len(column(found[name_of(key)], found[name_of(key)][1][0])) <= 4, key
    total = len(material.sites)
    told = f"This list holds 4 of {total} rows. All of them are in sites.csv."
    assert told in [row[0] for row in found[name_of("all_sites")]]
    assert told in [cell for row in found[name_of("read_me")] for cell in row]
    prices = [row[0] for row in found[name_of("prices")]]
    assert any("workbook_row_limit" in str(cell) for cell in prices), "no other file has them"


def test_a_long_text_is_cut_with_a_mark() -> None:
    text = fitted("\U0001f4a7" * 20_000, " [cut]")
    assert text.endswith("\U0001f4a7 [cut]")
    assert len(text.encode("utf-16-le")) // 2 <= LONGEST
    assert fitted("n" * LONGEST, " [cut]") == "n" * LONGEST


def test_two_writes_give_the_same_bytes(material: Material, written: Path, tmp_path: Path) -> None:
    write_workbook(material, tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == written.read_bytes()


@pytest.mark.parametrize("language", LANGUAGES)
def test_names_of_sheets_are_allowed_in_every_language(language: str) -> None:
    names = list(Words(language, "USD", 2026).sheets.values())
    assert len({name.casefold() for name in names}) == len(names) == len(SHEETS)
    for name in names:
        assert 0 < len(name) <= 31 and not re.search(r"[\[\]:*?/\\]", name)
        assert name == name.strip("' ")
    assert len(sheet_name("'" + "a/b:" * 20)) <= 31


@pytest.mark.parametrize("language", LANGUAGES)
def test_places_of_a_text_are_those_of_the_english(language: str) -> None:
    english, other = texts(), texts(language)
    for key, (_, text) in english.items():
        if key.startswith("workbook_"):
            assert set(re.findall(r"\{\w+\}", text)) == set(re.findall(r"\{\w+\}", other[key][1])), key


def test_a_scenario_whose_rules_clash_has_no_totals(material: Material, tmp_path: Path) -> None:
    clash = {"name": "poor", "changes": [], "totals": None, "clash": "no money", "in": [], "out": []}
    write_workbook(dataclasses.replace(material, scenarios=[*material.scenarios, clash]), tmp_path / "programme.xlsx")
    rows = read(tmp_path / "programme.xlsx")[name_of("scenarios")]
    assert "no money" in rows[-1] and len(rows[-1]) == len(rows[-2])
