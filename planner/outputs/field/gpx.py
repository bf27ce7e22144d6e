"""field.gpx: the sites to visit as waypoints, GPX 1.1 (topografix.com/GPX/1/1), positions as they are."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

from planner.outputs.field.visits import Visit, description, group_name, heading, language_of
from planner.outputs.material import Material

NAMESPACE = "http://www.topografix.com/GPX/1/1"
# Names of symbols are free in GPX; a receiver that does not know one shows its own. One a group.
SYMBOLS = {"funded": "Flag", "equip": "Flag", "reserve": "Dot", "test_first": "Water"}


def write_gpx(visits: Sequence[Visit], material: Material, path: Path) -> None:
    """Elements stand in the order that the schema asks for."""
    root = ET.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": f"planner {material.about['version']}"})
    title, text = heading(material)
    head = ET.SubElement(root, "metadata")
    _texts(head, name=title, desc=text, time=f"{material.about['date']}T00:00:00Z")
    if visits:
        ET.SubElement(head, "bounds", _bounds(visits))
    for visit in visits:
        point = ET.SubElement(
            root, "wpt", {"lat": degrees(visit.site["latitude"]), "lon": degrees(visit.site["longitude"])}
        )
        lines = description(visit, material)
        _texts(
            point,
            name=visit.name,
            cmt=lines[0],
            desc="\n".join(lines),
            sym=SYMBOLS[visit.group],
            type=group_name(visit.group, language_of(material)),
        )
    write_xml(root, path)


def degrees(value: float) -> str:
    """To seven decimals, 1 cm; never an exponent."""
    return f"{value:.7f}"


def write_xml(root: ET.Element, path: Path) -> None:
    """UTF-8 with a line an element."""
    ET.indent(root, " ")
    path.write_bytes(ET.tostring(root, encoding="UTF-8", xml_declaration=True) + b"\n")


def _texts(
    parent: ET.Element, *, name: str, desc: str, cmt: str = "", time: str = "", sym: str = "", type: str = ""
) -> None:
    order = {"name": name, "cmt": cmt, "desc": desc, "time": time, "sym": sym, "type": type}
    for tag, text in order.items():
        if text:
            ET.SubElement(parent, tag).text = text


def _bounds(visits: Sequence[Visit]) -> dict[str, str]:
    north, east = ([one.site[name] for one in visits] for name in ("latitude", "longitude"))
    return {
        "minlat": degrees(min(north)),
        "minlon": degrees(min(east)),
        "maxlat": degrees(max(north)),
        "maxlon": degrees(max(east)),
    }
