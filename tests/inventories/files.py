"""The invented tables on disk: as CSV and as a workbook, beside an area and a plan."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import xlsxwriter

from tests.inventories.faults import FAULTS, HEADER, SIDE, SOUTH, WEST, Cells


def write_csv(path: Path, rows: Sequence[Cells], header: Sequence[str] = HEADER) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, quoting=csv.QUOTE_ALL).writerows([header, *([row[name] for name in header] for row in rows)])


def write_xlsx(path: Path, rows: Sequence[Cells], header: Sequence[str] = HEADER, *, marked: bool = False) -> None:
    """Plain numbers as numbers, all else as text; with the marks that only a workbook has, where asked."""
    book = xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False})
    sheet = book.add_worksheet("wells")
    struck, yellow = book.add_format({"font_strikeout": True}), book.add_format({"bg_color": "#FFFF00"})
    sheet.write_row(0, 0, header)
    for line, row in enumerate(rows, start=1):
        name = FAULTS[line - 1].name if marked else ""
        look = {"struck through": struck, "coloured": yellow}.get(name)
        for at, column in enumerate(header):
            text = row[column]
            if text == "#REF!":
                sheet.write_formula(line, at, "=A1/0", None, "#REF!")
            elif column not in {"site_id", "site_name"} and re.fullmatch(r"-?[0-9]+(\.[0-9]*[1-9])?", text):
                sheet.write_number(line, at, float(text), look)
            elif text:
                sheet.write_string(line, at, text, look)
        if name == "hidden row":
            sheet.set_row(line, None, None, {"hidden": True})
    book.close()


def write_plan(folder: Path, file: str, **inventory: Any) -> Path:
    """A plan for the table, with the square area."""
    ring = [[WEST, SOUTH], [WEST + SIDE, SOUTH], [WEST + SIDE, SOUTH + SIDE], [WEST, SOUTH + SIDE], [WEST, SOUTH]]
    square = {
        "type": "Feature",
        "properties": {"name": "Dambwe"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    area = {"type": "FeatureCollection", "features": [square]}
    (folder / "area.geojson").write_text(json.dumps(area), encoding="utf-8")
    keys = {"file": file, "crs": "EPSG:4326", **inventory}
    lines = ["[inventory]"]
    for name, value in keys.items():
        if isinstance(value, dict):
            lines += [f"{name}.{key} = {json.dumps(one)}" for key, one in value.items()]
        elif value is not None:
            lines.append(f"{name} = {json.dumps(value)}")
    plan = folder / "plan.toml"
    plan.write_text("\n".join([*lines, '[area]\nboundary = "area.geojson"\n']), encoding="utf-8")
    return plan
