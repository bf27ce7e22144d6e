"""brief.pdf read back: two pages, figures that add up, nothing that tells an exact place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from planner.outputs.material import Material
from planner.outputs.sheets.brief_data import brief_data, funnel
from planner.outputs.sheets.write import write_brief
from planner.texts import decimal_text, of_kind

Squeeze = Callable[[str], str]
Pages = Callable[[Path], list[str]]


def test_two_pages_with_the_figures_of_the_run(
    material: Material, brief_file: Path, page_texts: Pages, squeezed: Squeeze
) -> None:
    pages = page_texts(brief_file)
    assert len(pages) == 2
    funded = material.sites[material.sites["funding"] == "funded"]
    assert len(funded)
    for value in (len(funded), funded["capital_cost"].sum(), funded["people_served"].sum(), len(material.sites)):
        assert squeezed(decimal_text(float(value))) in pages[0]
    for page in pages:
        assert material.about["run_id"] in page and "pricesof2026" in page
        for caution in of_kind("caution"):
            assert squeezed(caution) in page


def test_the_funnel_adds_up_to_the_rows(material: Material) -> None:
    steps = {one["name"]: one for one in funnel(material.sites, "en")}
    names = ("not_assessed", "unsuitable", "hold", "test_first", "equip")
    assert sum(steps[name]["count"] for name in names) == steps["rows"]["count"] == len(material.sites)
    assert steps["equip"]["from"] == 0 and steps["not_assessed"]["to"] == 1


def test_totals_by_sub_district_add_up(material: Material) -> None:
    totals = brief_data(material)["totals"]
    for column in range(1, 6):
        parts = [int(row[column].replace("\u00a0", "")) for row in totals["rows"]]
        assert sum(parts) == pytest.approx(int(totals["sum"][column].replace("\u00a0", "")), abs=len(parts))


def test_the_cost_of_water_lies_between_the_sites(material: Material) -> None:
    from planner.outputs.sheets.brief_text import Brief

    brief = Brief(material, "en")
    cost = brief.bought["cost_per_m3"]
    assert cost.min() <= brief.water_cost(brief.bought) <= cost.max()


def test_a_plan_without_budget_ranks(material: Material, tmp_path: Path) -> None:
    plain = replace(
        material,
        sites=material.sites.assign(funding=""),
        about=material.about | {"budget_steps": []},
        plan=replace(
            material.plan,
            plan=material.plan.plan.model_copy(
                update={"programme": material.plan.plan.programme.model_copy(update={"budget": None})}
            ),
        ),
    )
    data = brief_data(plain)
    assert data["budget"] is None and "in which order" in data["decision"][0]
    write_brief(plain, tmp_path / "brief.pdf")
    assert len(PdfReader(tmp_path / "brief.pdf").pages) == 2


def test_nothing_to_tell_is_no_fault(material: Material, tmp_path: Path) -> None:
    empty = replace(material, sites=material.sites.iloc[:0], checks=material.checks.iloc[:0], polygons=None)
    write_brief(empty, tmp_path / "brief.pdf")
    assert len(PdfReader(tmp_path / "brief.pdf").pages) == 2


def test_a_grid_is_told_and_kept(with_output: Callable[..., Material]) -> None:
    exact, coarse = (brief_data(with_output(coarsen_m=grid).handed_on()) for grid in (0.0, 1000.0))
    assert exact["map_note"] == "" and "1\u00a0000 m" in coarse["map_note"]
    assert exact["map"]["marks"] != coarse["map"]["marks"]


def test_same_bytes_twice(material: Material, brief_file: Path, tmp_path: Path) -> None:
    write_brief(material.handed_on(), tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == brief_file.read_bytes()
