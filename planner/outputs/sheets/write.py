"""Write site_sheets.pdf and brief.pdf."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from planner.outputs.material import Material
from planner.outputs.sheets.brief_data import brief_data
from planner.outputs.sheets.join import joined
from planner.outputs.sheets.sheet_data import sheets_data
from planner.outputs.sheets.typeset import typeset

# Sheets set at once. The compiler keeps what it made for its last eleven documents, 3 to 4 MB a sheet: all at once, 500
# sheets would take 2 GB and more. A document itself costs 0.05 s.
AT_ONCE = 5


def write_sheets(material: Material, path: Path) -> None:
    """site_sheets.pdf: an A4 page a site. A working file: positions are exact."""
    data, date = sheets_data(material), str(material.about["date"])
    parts = [typeset("sheet.typ", part, date) for part in _parts(data)]
    path.write_bytes(joined(parts, f"{data['title']} – {data['programme']}", data["language"], date))


def write_brief(material: Material, path: Path) -> None:
    """brief.pdf: two pages for those who decide. material: handed on, since the brief leaves the house."""
    path.write_bytes(typeset("brief.typ", brief_data(material), str(material.about["date"])))


def _parts(data: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The same with a few of the sheets each; once without any where there are none."""
    for at in range(0, max(len(data["sheets"]), 1), AT_ONCE):
        yield data | {name: data[name][at : at + AT_ONCE] for name in ("sheets", "pages")}
