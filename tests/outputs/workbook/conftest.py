"""One small run with texts that would like to be formulas, as what the workbook is drawn from."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from python_calamine import CalamineWorkbook

from planner import pipeline
from planner.outputs.material import Material
from planner.outputs.workbook.write import write_workbook

HEADER_ROWS = 3
MORE = """
[lots]
count = 2

[[scenario]]
name = "dear works"
costs = { price_factor = { works = 1.5 } }
"""
OTHERS: tuple[dict[str, str], ...] = (
    {"site_id": "00123", "static_level_m": "22", "pumping_level_m": "30", "test_date": "2019"},
    {"site_id": "=2+3", "sub_district": ">5", "test_kind": "airlift"},
    {"sub_district": "A*", "people": "900", "tested_yield_m3_h": "9"},
    {"sub_district": "", "status": "dry"},
    {"latitude": "", "longitude": ""},
    {"fluoride_mg_l": "4", "test_date": "2021-03-04"},
    {"site_name": "<r>bare</r>"},
    {"site_name": "#ring  of two  blanks "},
)

Sheets = dict[str, list[list[Any]]]


@pytest.fixture(scope="session")
def material(
    make_programme: Callable[..., Path],
    plan_text: str,
    hostile_names: tuple[str, ...],
    tmp_path_factory: pytest.TempPathFactory,
) -> Material:
    """A run with every hostile name as the name of a site, a budget, lots and a scenario."""
    named = [{"site_name": name, "sub_district": name if place % 3 else "Lower Mwesa"} for place, name in
             enumerate(hostile_names)]  # fmt: skip
    head = plan_text.replace("[inventory]", "budget = 90000\n\n[inventory]", 1)
    folder = tmp_path_factory.mktemp("workbook")
    plan = make_programme(folder, [*OTHERS, *named], head + MORE)
    return pipeline.run(plan, folder / "out", workers=1).material


@pytest.fixture(scope="session")
def written(material: Material, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its workbook."""
    path = tmp_path_factory.mktemp("book") / "programme.xlsx"
    write_workbook(material, path)
    return path


@pytest.fixture(scope="session")
def sheets(written: Path) -> Sheets:
    """Its sheets as an independent reader finds them."""
    return read(written)


def read(path: Path) -> Sheets:
    """Every sheet as rows of cells, read by calamine."""
    book = CalamineWorkbook.from_path(path)
    return {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}


def column(rows: list[list[Any]], name: str) -> list[Any]:
    """Cells of a list below its header, by machine name, down to the first row that is empty."""
    place = rows[1].index(name)
    found = []
    for row in rows[HEADER_ROWS:]:
        if not any(cell != "" for cell in row):
            break
        found.append(row[place])
    return found


def with_limit(material: Material, limit: int) -> Material:
    """The same run with another row limit."""
    plan = material.plan.plan
    output = plan.output.model_copy(update={"workbook_row_limit": limit})
    loaded = dataclasses.replace(material.plan, plan=plan.model_copy(update={"output": output}))
    return dataclasses.replace(material, plan=loaded)
