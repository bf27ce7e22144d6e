"""The field files of a run, in one folder."""

from __future__ import annotations

from pathlib import Path

from planner.outputs.field.form_files import write_form_csv, write_form_xlsx
from planner.outputs.field.gpx import write_gpx
from planner.outputs.field.kml import write_kml
from planner.outputs.field.visits import visits_of
from planner.outputs.material import Material


def write_field(material: Material, folder: Path) -> None:
    """field.gpx, field.kml, field_form.csv and field_form.xlsx, with exact positions: working files."""
    visits = visits_of(material)
    write_gpx(visits, material, folder / "field.gpx")
    write_kml(visits, material, folder / "field.kml")
    write_form_csv(visits, material, folder / "field_form.csv")
    write_form_xlsx(visits, material, folder / "field_form.xlsx")
