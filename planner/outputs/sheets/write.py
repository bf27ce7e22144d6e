"""Write site_sheets.pdf and brief.pdf."""

from __future__ import annotations

from pathlib import Path

from planner.outputs.material import Material
from planner.outputs.sheets.brief_data import brief_data
from planner.outputs.sheets.sheet_data import sheets_data
from planner.outputs.sheets.typeset import typeset


def write_sheets(material: Material, path: Path) -> None:
    """site_sheets.pdf: an A4 page a site. A working file: positions are exact."""
    path.write_bytes(typeset("sheet.typ", sheets_data(material), str(material.about["date"])))


def write_brief(material: Material, path: Path) -> None:
    """brief.pdf: two pages for those who decide. material: handed on, since the brief leaves the house."""
    path.write_bytes(typeset("brief.typ", brief_data(material), str(material.about["date"])))
