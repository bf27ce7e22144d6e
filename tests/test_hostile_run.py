"""Texts that try to be markup, script, formula or template, in inventory, plan and catalogue at once, through every
file of a run: each file opens in a reader of its own kind, and holds the text as text."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pandas as pd
import pyogrio
import pytest
from pypdf import PdfReader
from python_calamine import CalamineWorkbook

from planner.pipeline import run
from planner.plan.sections import OutputFile

PROGRAMME = '</title></script><script>window.hurt=1</script> {{7*7}} =1+1 & "x"'
# Identifiers of the catalogue and names of scenarios are refused at the door; what is said of a pump is free text.
SOURCE = '<img src=x onerror="window.hurt=2">{{7*7}}#eval("1")'
CATALOGUE = Path(__file__).parents[1] / "planner/catalogue/pumps_centrifugal.csv"


@pytest.fixture(scope="module")
def folder(
    make_programme: Callable[..., Path],
    plan_text: str,
    hostile_names: tuple[str, ...],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A run whose every text is hostile."""
    base = tmp_path_factory.mktemp("hostile")
    text = re.sub(r"(?m)^files = .*$", f"files = {list(get_args(OutputFile))}", plan_text)
    text = text.replace('name = "Small invented programme"', f"name = {json.dumps(PROGRAMME)}\nbudget = 90000")
    text += '\n[equipment]\npumps = "pumps.csv"\n'
    rows = [
        {
            "site_id": name[:40],
            "site_name": name,
            "sub_district": name[:60],
            "test_kind": "airlift" if place % 2 else "",
        }
        for place, name in enumerate(hostile_names)
    ]
    plan = make_programme(base, rows, text)
    pumps = pd.read_csv(CATALOGUE, dtype="str", keep_default_na=False)
    pumps.assign(source=SOURCE, note=SOURCE).to_csv(base / "pumps.csv", index=False, encoding="utf-8")
    outcome = run(plan, base / "out")
    assert outcome.counts["equip"] and outcome.counts["test_first"]
    return base / "out"


def test_every_file_is_there_and_opens(folder: Path) -> None:
    names = {path.name for path in folder.iterdir() if path.is_file()}
    for name in sorted(names):
        path = folder / name
        if path.suffix in {".svg", ".gpx", ".kml"}:
            ET.parse(path)
        elif path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        elif path.suffix == ".csv":
            with path.open(encoding="utf-8", newline="") as file:
                assert list(csv.reader(file))
        elif path.suffix == ".parquet":
            assert len(pd.read_parquet(path))
        elif path.suffix == ".pdf":
            assert PdfReader(path).pages
        elif path.suffix == ".xlsx":
            assert CalamineWorkbook.from_path(path).sheet_names
        elif path.suffix == ".gpkg":
            assert len(pyogrio.list_layers(path))
        else:
            assert path.suffix == ".html"
    assert {"map.html", "programme.xlsx", "plan.gpkg", "site_sheets.pdf", "brief.pdf", "field.kml"} <= names


def test_no_cell_of_a_table_begins_a_formula(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        bare = [one for one in cells if one[:1] in set("=+-@\t\r") and not re.fullmatch(r"[-+]?[\d.]+(e-?\d+)?", one)]
        assert bare == [], path.name


def test_the_names_stand_whole_where_they_are_data(folder: Path, hostile_names: tuple[str, ...]) -> None:
    sites = pd.read_parquet(folder / "sites.parquet")
    assert sites["site_name"].tolist() == list(hostile_names)
    layer = pyogrio.read_dataframe(folder / "plan.gpkg", layer="sites", use_arrow=True)
    shown = {ord("\a"): "␇", ord("\x1b"): "␛"}  # control characters have signs in files that people open
    assert set(layer["site_name"]) == {name.translate(shown) for name in hostile_names}
    book = CalamineWorkbook.from_path(folder / "programme.xlsx")
    cells = {str(cell) for name in book.sheet_names for row in book.get_sheet_by_name(name).to_python() for cell in row}
    assert any(SOURCE in cell for cell in cells) and any(PROGRAMME in cell for cell in cells)


def test_no_file_of_text_holds_markup_of_theirs(folder: Path) -> None:
    for name in ("map.html", "field.gpx", "field.kml", *(path.name for path in folder.glob("*.svg"))):
        text = (folder / name).read_text(encoding="utf-8")
        assert "<img" not in text and "<script>window" not in text and "<b>" not in text, name
