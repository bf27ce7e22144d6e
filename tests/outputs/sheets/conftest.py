"""A small run whose names are hostile, and its two files; all invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from planner import pipeline
from planner.outputs.material import Material
from planner.outputs.sheets.write import write_brief, write_sheets
from planner.plan.sections import Output

WithOutput = Callable[..., Material]


@pytest.fixture(scope="session")
def outcome(
    tmp_path_factory: pytest.TempPathFactory,
    make_programme: Callable[..., Path],
    hostile_names: tuple[str, ...],
    plan_text: str,
) -> pipeline.Outcome:
    """A run of one well a hostile name; every third is to be tested first, one more
    stands beside another village."""
    untested = {"pumping_level_m": "", "test_hours": ""}
    rows = [{"site_name": name} | (untested if at % 3 == 1 else {}) for at, name in enumerate(hostile_names)]
    rows += [{"site_name": "Nothing known", "tested_yield_m3_h": "", "static_level_m": "", "pumping_level_m": ""}]
    rows += [
        {"site_name": "Dry hole", "status": "dry"},
        {"site_id": hostile_names[0], "sub_district": hostile_names[1]},
    ]
    plan = plan_text.replace(
        'name = "Small invented programme"', "name = '#let x = [*b*] $x^2$ <b>Small</b>'\nbudget = 200_000"
    )
    folder = tmp_path_factory.mktemp("sheets")
    plan += 'files = ["sheets", "brief"]\n'
    return pipeline.run(make_programme(folder, rows, plan), folder / "out")


@pytest.fixture(scope="session")
def material(outcome: pipeline.Outcome) -> Material:
    """What the outputs of that run are drawn from."""
    return outcome.material


@pytest.fixture(scope="session")
def with_output(material: Material) -> WithOutput:
    """The material with other keys of [output]."""

    def make(**keys: object) -> Material:
        plan = material.plan.plan
        output = Output.model_validate(plan.output.model_dump() | keys)
        return replace(material, plan=replace(material.plan, plan=plan.model_copy(update={"output": output})))

    return make


@pytest.fixture(scope="session")
def sheets_file(material: Material, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """site_sheets.pdf of it."""
    path = tmp_path_factory.mktemp("pdf") / "site_sheets.pdf"
    write_sheets(material, path)
    return path


@pytest.fixture(scope="session")
def brief_file(material: Material, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """brief.pdf of it."""
    path = tmp_path_factory.mktemp("pdf") / "brief.pdf"
    write_brief(material.handed_on(), path)
    return path


@pytest.fixture(scope="session")
def page_texts() -> Callable[[Path], list[str]]:
    """The text of each page, every letter but spaces and places where a line may end."""

    def read(path: Path) -> list[str]:
        return [bare(page.extract_text()) for page in PdfReader(path).pages]

    return read


@pytest.fixture(scope="session")
def squeezed() -> Callable[[str], str]:
    """Text as `page_texts` gives it."""
    return bare


def bare(text: str) -> str:
    """Letters without spaces, hyphens and marks that are not seen: lines break where they must."""
    return "".join(letter for letter in text if not letter.isspace() and letter not in "\u200b\u00ad-\u2010")
