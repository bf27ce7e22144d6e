"""field.kml: the sites to visit, a folder a decision, KML 2.2 (OGC 07-147r2); coordinates are longitude, latitude."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from planner.outputs.field.gpx import degrees, write_xml
from planner.outputs.field.visits import GROUPS, Visit, description, group_name, heading, language_of, no_markup
from planner.outputs.material import Material

NAMESPACE = "http://www.opengis.net/kml/2.2"
# aabbggrr: blue, teal, amber and white, told apart without colour by their folders. No icon of anybody's.
COLOURS = {"funded": "ff6b3a1b", "equip": "ff6b3a1b", "reserve": "ffa37f2f", "test_first": "ff41b9ed"}
# Identification beside the description, for programs.
DATA = ("inventory_row", "site_id", "site_name", "sub_district", "decision", "funding", "rank", "evidence_grade")


def write_kml(visits: Sequence[Visit], material: Material, path: Path) -> None:
    """Elements stand in the order that the schema asks for."""
    root = ET.Element("kml", {"xmlns": NAMESPACE})
    document = ET.SubElement(root, "Document")
    title, text = heading(material)
    _text(document, "name", title)
    _text(document, "description", text)
    present = [group for group in GROUPS if any(one.group == group for one in visits)]
    for group in present:
        style = ET.SubElement(document, "Style", {"id": group})
        _text(ET.SubElement(style, "IconStyle"), "color", COLOURS[group])
    for group in present:
        folder = ET.SubElement(document, "Folder")
        _text(folder, "name", group_name(group, language_of(material)))
        for visit in visits:
            if visit.group == group:
                _placemark(folder, visit, material)
    write_xml(root, path)


def _placemark(folder: ET.Element, visit: Visit, material: Material) -> None:
    mark = ET.SubElement(folder, "Placemark")
    _text(mark, "name", visit.name)
    _text(mark, "description", "\n".join(description(visit, material)))
    when = ET.SubElement(mark, "TimeStamp")
    _text(when, "when", material.about["date"])
    _text(mark, "styleUrl", f"#{visit.group}")
    data = ET.SubElement(mark, "ExtendedData")
    for name in DATA:
        _text(ET.SubElement(data, "Data", {"name": name}), "value", _shown(visit.site[name]))
    _text(ET.SubElement(data, "Data", {"name": "run_id"}), "value", material.about["run_id"])
    point = ET.SubElement(mark, "Point")
    _text(point, "coordinates", f"{degrees(visit.site['longitude'])},{degrees(visit.site['latitude'])}")


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return no_markup(value)
    return "" if pd.isna(value) else f"{value:.0f}"


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = text
