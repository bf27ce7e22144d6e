"""site_sheets.pdf read back: a page a site, its figures, its cautions, and hostile names as text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from planner import pipeline, texts
from planner.outputs.material import Material
from planner.outputs.sheets import sheet_data
from planner.outputs.sheets.duty import Friction, curves, static_head_m
from planner.outputs.sheets.safe_text import shown
from planner.outputs.sheets.sheet_data import sheet_sites, sheets_data
from planner.outputs.sheets.write import write_sheets
from planner.texts import decimal_text, number, of_kind

Squeeze = Callable[[str], str]
Pages = Callable[[Path], list[str]]
A4_POINTS = (595.28, 841.89)  # ISO 216: 210 × 297 mm


def test_a_page_a_site_in_the_order_of_rank(material: Material, sheets_file: Path, page_texts: Pages) -> None:
    wanted, pages = sheet_sites(material.sites), page_texts(sheets_file)
    assert len(pages) == len(wanted) >= 20
    ranks = wanted["rank"].dropna().tolist()
    assert ranks == sorted(ranks) and not wanted["rank"].head(len(ranks)).isna().any()
    for at, (row, page) in enumerate(zip(wanted["inventory_row"], pages, strict=True)):
        assert f"row{row}oftheinventory" in page
        assert f"Page{at + 1}of{len(pages)}" in page
    for page in PdfReader(sheets_file).pages:
        assert [float(one) for one in page.mediabox[2:]] == pytest.approx(A4_POINTS, abs=0.5)


def test_a_sheet_holds_the_figures_of_its_site(
    material: Material, sheets_file: Path, page_texts: Pages, squeezed: Squeeze
) -> None:
    for (_, row), page in zip(sheet_sites(material.sites).iterrows(), page_texts(sheets_file), strict=True):
        assert material.about["run_id"] in page and "1January2026" in page
        for caution in of_kind("caution"):
            assert squeezed(caution) in page
        for name in ("capital_cost", "lifecycle_cost", "array_wp", "people_served") if row["pump_id"] else ():
            assert squeezed(decimal_text(row[name])) in page, name
        if not row["pump_id"]:
            continue
        assert squeezed(row["pump_id"]) in page
        for month in range(1, 13):
            assert squeezed(decimal_text(row[f"used_{month:02d}"], decimals=1)) in page
        point = f"{number(row['peak_flow_m3_h'])} m³/h, {number(row['total_head_m'])} m"
        assert squeezed(point) in page
        assert squeezed(f"{row['latitude']:.5f}") in page
        assert "USD,pricesof2026,wholescheme" in page
        for end in ("p10", "p90"):
            assert squeezed(decimal_text(row[f"cost_per_m3_{end}"], decimals=2)) in page


def test_a_well_to_test_first_says_what_test_it_needs(
    material: Material, sheets_file: Path, page_texts: Pages, squeezed: Squeeze
) -> None:
    wanted = sheet_sites(material.sites)
    first = (wanted["decision"] == "test_first").to_numpy()
    assert first.any() and not first.all()
    for (_, row), page, tested in zip(wanted.iterrows(), page_texts(sheets_file), first, strict=True):
        assert ("Testthiswellbeforeanythingisbought" in page) == tested
        if tested and row["evidence_raise"]:
            assert squeezed(row["evidence_raise"].split(". ")[0]) in page


def test_hostile_names_stay_text(
    material: Material, sheets_file: Path, page_texts: Pages, squeezed: Squeeze, hostile_names: tuple[str, ...]
) -> None:
    pages = "".join(page_texts(sheets_file))
    names = set(material.sites.loc[sheet_sites(material.sites).index, "site_name"])
    assert len(names & set(hostile_names)) >= 16
    latin = [name for name in names if max(map(ord, name)) < 0x500 and len(name) < 200]
    for name in latin:
        assert squeezed(shown(name)) in pages, name
    assert squeezed("#let x = [*b*] $x^2$ <b>Small</b>") in pages
    assert "…" in pages  # the long name is cut, and says so


@pytest.mark.parametrize(
    "name", ["اسم البئر", "井の名前", "ชื่อบ่อ", "ɓɗƙƴ ẹọṣ", "\U0001f4a7", "e\u0301\u0300\u0302" * 40]
)
def test_names_in_other_scripts_are_no_fault(material: Material, tmp_path: Path, name: str) -> None:
    row = sheet_sites(material.sites).index[0]
    sites = material.sites.copy()
    sites.loc[row, ["site_name", "site_id", "sub_district_used"]] = name
    write_sheets(replace(material, sites=sites.loc[[row]]), tmp_path / "one.pdf")
    assert len(PdfReader(tmp_path / "one.pdf").pages) == 1


def test_same_bytes_twice_and_every_font_embedded(material: Material, sheets_file: Path, tmp_path: Path) -> None:
    write_sheets(material, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == sheets_file.read_bytes()
    names = set()
    for page in PdfReader(sheets_file).pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            kept = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(kept)
            names.add(str(kept["/FontName"]))
    assert any("SourceSansPro" in name for name in names)


def test_a_run_writes_both_files(outcome: pipeline.Outcome, sheets_file: Path, brief_file: Path) -> None:
    assert (outcome.folder / "site_sheets.pdf").read_bytes() == sheets_file.read_bytes()
    assert (outcome.folder / "brief.pdf").read_bytes() == brief_file.read_bytes()


def test_sheets_max_leaves_out_and_says_so(with_output: Callable[..., Material]) -> None:
    few = with_output(sheets_max=3)
    data = sheets_data(few)
    assert len(data["sheets"]) == 3
    assert str(len(sheet_sites(few.sites)) - 3) in data["left_out"]


def test_without_a_budget_all_sites_to_equip_have_a_sheet(material: Material) -> None:
    sites = material.sites.assign(funding="")
    wanted = sheet_sites(sites)
    assert set(wanted["decision"]) == {"equip", "test_first"}
    assert len(wanted) == sites["decision"].isin(["equip", "test_first"]).sum()


def test_no_site_no_fault(material: Material, tmp_path: Path) -> None:
    write_sheets(replace(material, sites=material.sites.iloc[:0]), tmp_path / "none.pdf")
    assert len(PdfReader(tmp_path / "none.pdf").pages) == 1


def test_longer_words_keep_a_page_a_site(
    material: Material, tmp_path: Path, page_texts: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Words 40 % longer, as other languages need (our own rule)."""
    rows = [row | {"en": _longer(row["en"])} for row in texts._rows()]
    with monkeypatch.context() as patched:
        patched.setattr(texts, "_rows", lambda: rows)
        texts.texts.cache_clear()
        texts._places.cache_clear()
        write_sheets(material, tmp_path / "long.pdf")
    texts.texts.cache_clear()
    texts._places.cache_clear()
    pages = page_texts(tmp_path / "long.pdf")
    assert len(pages) == len(sheet_sites(material.sites))
    assert all("Pagexx" in page for page in pages)


def test_the_curves_meet_at_the_duty_point_of_the_engine(material: Material) -> None:
    """Against the engine's own head of each design, and the pump's equations backwards."""
    plan, sites = material.plan.plan, material.sites[material.sites["engine_status"] == "designed"]
    for _, row in sites.iterrows():
        peak, head = float(row["peak_flow_m3_h"]), float(row["total_head_m"])
        rise = Friction(row, material.catalogue, plan).rise_m(np.array([peak]))[0]
        assert static_head_m(row, plan) + rise == pytest.approx(head, rel=1e-9)
        found = curves(row, material.catalogue, plan)
        assert 0.2 < found.speed < 1.1
        order = np.argsort(found.slow_head)
        flow = np.interp(head, found.slow_head[order], found.slow_flow[order])
        assert flow == pytest.approx(peak, rel=0.02)  # the curve is straight between its points


def test_every_number_of_a_form_has_its_place() -> None:
    """The form asks for what the brief of the field visit names; its columns are ours."""
    fields = [name for name, _ in sheet_data.FIELDS]
    assert len(fields) == len(set(fields)) == 32
    assert {
        "rest_level",
        "reference_point",
        "depth",
        "casing",
        "dummy",
        "ec",
        "ph",
        "iron",
        "shade",
        "theft",
        "land",
    } <= set(fields)


def test_reasons_are_those_of_the_table(material: Material, sheets_file: Path) -> None:
    wanted = sheet_sites(material.sites)
    found = sheet_data.reasons(wanted, material.checks, "en")
    told = wanted.set_index("inventory_row")["reason_text"]
    assert {row: " ".join(lines) for row, lines in found.items()} == pd.Series(told).to_dict()


def _longer(text: str) -> str:
    pieces = text.split(" ")
    return " ".join(one if "{" in one or len(one) < 3 else one + "x" * max(1, round(0.4 * len(one))) for one in pieces)
