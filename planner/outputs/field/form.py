"""The form of a field visit: its columns, and a row a site with what is known now.

Grey columns say which site it is and what the plan has; empty ones are what is measured. For the program
they are named as in an inventory, so that what comes back is read as an inventory is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from planner.glossary import glossary
from planner.outputs.field.visits import Visit, group_name, language_of, plain
from planner.outputs.material import Material
from planner.texts import say, texts

Kind = Literal["text", "number", "date", "word"]
Value = str | float | int | None

IDENTITY = (
    *("visit_order", "waypoint", "inventory_row", "site_id", "site_name", "sub_district", "lot"),
    *("decision", "rank", "evidence_grade", "latitude", "longitude", "run_id", "inventory_file"),
)
# What is measured, in the order of work on site. Levels are read from a measuring point; see `measuring_point_m`.
ANSWERS: tuple[tuple[str, Kind], ...] = (
    ("visit_date", "date"),
    ("visitor", "text"),
    ("gps_latitude", "number"),
    ("gps_longitude", "number"),
    ("status", "word"),
    ("equipped_with", "word"),
    ("depth_m", "number"),
    ("casing_mm", "number"),
    ("screen_top_m", "number"),
    ("measuring_point_m", "number"),
    ("static_level_m", "number"),
    ("test_kind", "word"),
    ("test_date", "date"),
    ("test_hours", "number"),
    ("tested_yield_m3_h", "number"),
    ("pumping_level_m", "number"),
    ("sand_mg_l", "number"),
    ("ec_us_cm", "number"),
    ("ph", "number"),
    ("iron_mg_l", "number"),
    ("chloride_mg_l", "number"),
    ("fluoride_mg_l", "number"),
    ("arsenic_mg_l", "number"),
    ("nitrate_mg_l", "number"),
    ("water_temperature_c", "number"),
    ("people", "number"),
    ("livestock_tlu", "number"),
    ("grid_distance_m", "number"),
    ("shade", "word"),
    ("remarks", "text"),
)
# Answers that are no quantities of an inventory: units and bounds.
OWN_UNITS = {"gps_latitude": "deg", "gps_longitude": "deg", "measuring_point_m": "m"}
OWN_BOUNDS: dict[str, tuple[float, float]] = {
    "gps_latitude": (-90.0, 90.0),
    "gps_longitude": (-180.0, 180.0),
    "measuring_point_m": (-5.0, 5.0),
}
# Words of the drop-down lists: meaning → key of its text.
_SAME = {
    "status": ("working", "needs_repair", "abandoned", "dry", "unknown"),
    "test_kind": ("constant_rate", "step", "airlift", "bailer", "unknown"),
    "equipped_with": ("none", "handpump", "diesel", "solar", "grid", "unknown"),
}
WORDS: dict[str, dict[str, str]] = {
    name: {meaning: f"field_word_{meaning}" for meaning in meanings} for name, meanings in _SAME.items()
} | {"shade": {meaning: f"field_word_shade_{meaning}" for meaning in ("none", "some", "much")}}
NEW_LINES = 20  # empty lines for wells that are not in the list
KNOWN = "known_"  # before the name of a column with what the plan has now
FAR_M = 1000.0  # a visit farther than this from the site's position is one of another well; our own rule


@dataclass(frozen=True)
class Column:
    """One column of the form.

    name    for the program
    source  the quantity it holds; "" where the glossary has none
    kind    of its cells
    open    to be filled in
    """

    name: str
    source: str
    kind: Kind
    open: bool


def columns() -> list[Column]:
    """Identification, then each answer behind what is known of it."""
    known = glossary()
    found = [Column(name, name if name in known else "", "text", False) for name in IDENTITY]
    for name, kind in ANSWERS:
        if name in known:
            found.append(Column(KNOWN + name, name, kind, False))
        found.append(Column(name, name if name in known else "", kind, True))
    return found


def label(column: Column, language: str) -> str:
    """What a reader sees above the column."""
    name = column.name.removeprefix(KNOWN)
    own = f"field_label_{name}"
    if column.open and own in texts():
        return say(own, language)
    text = say(own, language) if not column.source else say(f"label_{name}", language)
    return say("field_label_now", language, label=text) if column.name.startswith(KNOWN) else text


def unit(column: Column, language: str) -> str:
    """The unit of its numbers; empty for texts."""
    if column.kind == "date":
        return say("field_unit_date", language)
    if column.kind != "number":
        return ""
    return (OWN_UNITS[column.name] if not column.source else glossary()[column.source].unit).strip("-")


def bounds(name: str) -> tuple[float | None, float | None]:
    """Least and greatest number that is plausible in an answer."""
    if name in OWN_BOUNDS:
        return OWN_BOUNDS[name]
    quantity = glossary()[name]
    return quantity.low, quantity.high


def rows(visits: Sequence[Visit], material: Material, *, for_people: bool) -> list[list[Value]]:
    """A row a visit under `columns()`; None is an empty cell.

    for_people: decisions and words in the plan's language.
    """
    language = language_of(material)
    about = {"run_id": material.about["run_id"], "inventory_file": fingerprint(material)}
    found = []
    for number, visit in enumerate(visits, start=1):
        site: dict[Any, Any] = visit.site | about | {"visit_order": number, "waypoint": visit.name}
        if for_people:
            site["decision"] = group_name(visit.group, language)
        found.append([_known(one, site, language if for_people else "") for one in columns()])
    return found


def fingerprint(material: Material) -> str:
    """The inventory's file, by its content: row numbers mean its rows."""
    return file_fingerprint(material.plan.resolve(material.plan.plan.inventory.file).read_bytes())


def file_fingerprint(content: bytes) -> str:
    """The first twelve figures of the content's sha256."""
    return hashlib.sha256(content).hexdigest()[:12]


def _known(column: Column, site: dict[Any, Any], language: str) -> Value:
    value = None if column.open else site.get(column.name.removeprefix(KNOWN))
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if isinstance(value, str):
        word = WORDS.get(column.source, {}).get(value)
        return say(word, language) if word and language else plain(value) or None
    whole = column.name in {"visit_order", "inventory_row", "lot", "rank"}
    return int(value) if whole else float(f"{value:.10g}")
