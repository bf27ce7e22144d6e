"""QML styles: how a desktop GIS draws the layers and names their fields.

The marks are those of the map page: shape says the decision, colour the class of the cost of water, size the
water used. The XML holds column names, labels of the glossary and numbers only; names from the inventory stay in
their columns.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd

from planner.glossary import Quantity
from planner.outputs.geopackage.fields import DECISION_LABELS, alias, holdable
from planner.outputs.map.cost_classes import class_colours, cost_breaks
from planner.outputs.map.site_data import significant

INK, PAPER, GREY = "#1d2b33", "#fdfcf8", "#7c878b"  # as on the map page
COLOURED = ("equip", "test_first")
GRADES = {"A": "#16324f", "B": "#4d7ea8", "C": "#a9c5dc", "D": "#fdfcf8"}  # told apart by lightness alone
PLAIN_MM, LEAST_MM = 1.9, 1.4  # diameters of marks without a volume, and of the smallest with one

GEOMETRY_TYPES = {"point": "0", "polygon": "2", "none": "4"}


@dataclass(frozen=True)
class Marker:
    """One kind of mark. `size` and `outline` are expressions of columns that go before the fixed values."""

    shape: str
    fill: str
    line: str
    line_mm: float
    size: str = ""
    outline: str = ""


def sites_style(sites: pd.DataFrame, fields: Sequence[Quantity], currency: str) -> str:
    """QML of the sites: rules by decision, under them by class of cost.

    sites: all sites of the run, with or without position, as the classes of the map page rest on them.
    """
    root = _root("point", fields, currency)
    renderer = ET.SubElement(root, "renderer-v2", {"type": "RuleRenderer", "symbollevels": "0", "enableorderby": "1"})
    rules = ET.SubElement(renderer, "rules", {"key": "rules"})
    symbols = ET.SubElement(renderer, "symbols")
    size = size_expression(sites)
    classes = cost_classes(sites, currency)
    for decision, label in DECISION_LABELS.items():
        of_decision = {"filter": f"\"decision\" = '{decision}'", "label": label}
        if decision not in COLOURED:
            _rule(rules, symbols, of_decision, _plain_mark(decision))
            continue
        parent = _rule(rules, symbols, of_decision)
        for condition, words, colour in classes:
            _rule(parent, symbols, {"filter": condition, "label": words}, _cost_mark(decision, colour, size))
    order = ET.SubElement(renderer, "orderby")  # small marks above large ones
    clause = ET.SubElement(order, "orderByClause", {"asc": "0", "nullsFirst": "1"})
    clause.text = '"volume_used_m3_day"'
    return _text(root)


def evidence_style(sites: pd.DataFrame, fields: Sequence[Quantity], currency: str) -> str:
    """QML of the sites by grade of evidence: dark for what is measured, light for what is not; size by volume used."""
    root = _root("point", fields, currency)
    renderer = ET.SubElement(root, "renderer-v2", {"type": "RuleRenderer", "symbollevels": "0"})
    rules = ET.SubElement(renderer, "rules", {"key": "rules"})
    symbols = ET.SubElement(renderer, "symbols")
    size = size_expression(sites)
    label = next(field.label for field in fields if field.name == "evidence_grade")
    for grade, colour in GRADES.items():
        rule = {"filter": f"\"evidence_grade\" = '{grade}'", "label": holdable(f"{label}: {grade}")}
        _rule(rules, symbols, rule, Marker("circle", colour, INK, 0.25, size))
    known = ", ".join(f"'{grade}'" for grade in GRADES)
    rest = {"filter": f'"evidence_grade" IS NULL OR "evidence_grade" NOT IN ({known})', "label": f"{label}: –"}
    _rule(rules, symbols, rest, Marker("diamond", PAPER, GREY, 0.35))
    return _text(root)


def areas_style(fields: Sequence[Quantity], currency: str) -> str:
    """QML of the areas: an outline that hides nothing, and the name."""
    return _outlines(fields, currency, "area_name", "solid", "0.4")


def lots_style(fields: Sequence[Quantity], currency: str) -> str:
    """QML of the lots: a dashed outline that hides nothing, and the number."""
    return _outlines(fields, currency, "lot", "dash", "0.5")


def _outlines(fields: Sequence[Quantity], currency: str, label: str, line_style: str, width_mm: str) -> str:
    root = _root("polygon", fields, currency)
    root.set("labelsEnabled", "1")
    renderer = ET.SubElement(root, "renderer-v2", {"type": "singleSymbol"})
    symbol = ET.SubElement(ET.SubElement(renderer, "symbols"), "symbol", {"type": "fill", "name": "0"})
    line = {"outline_color": _rgba(INK), "outline_width": width_mm, "outline_width_unit": "MM"}
    options = {"style": "no", "outline_style": line_style, "joinstyle": "round", **line}
    _options(ET.SubElement(symbol, "layer", {"class": "SimpleFill", "enabled": "1"}), options)
    settings = ET.SubElement(ET.SubElement(root, "labeling", {"type": "simple"}), "settings")
    style = ET.SubElement(
        settings,
        "text-style",
        {
            "fieldName": label,
            "isExpression": "0",
            "allowHtml": "0",
            "fontSize": "9",
            "fontSizeUnit": "Point",
            "textColor": _rgba(INK),
            "textOpacity": "1",
        },
    )
    buffer = {"bufferDraw": "1", "bufferSize": "0.8", "bufferSizeUnits": "MM"}
    buffer |= {"bufferColor": _rgba(PAPER), "bufferOpacity": "1"}
    ET.SubElement(style, "text-buffer", buffer)
    ET.SubElement(settings, "placement", {"placement": "4"})  # level, inside the polygon
    return _text(root)


def table_style(fields: Sequence[Quantity], currency: str) -> str:
    """QML of a table without geometry: names of the fields."""
    return _text(_root("none", fields, currency))


def cost_classes(sites: pd.DataFrame, currency: str) -> list[tuple[str, str, str]]:
    """Condition on cost_per_m3, label and colour of each class, from cheap to dear, then of unknown cost."""
    costs = significant(sites["cost_per_m3"])
    breaks = cost_breaks(np.where(sites["decision"].isin(COLOURED), costs, np.nan))
    found = []
    colours = class_colours(len(breaks) + 1)
    for low, high, colour in zip([None, *breaks], [*breaks, None], colours, strict=True):
        limits = [f'"cost_per_m3" >= {low!r}'] if low is not None else []
        limits += [f'"cost_per_m3" < {high!r}'] if high is not None else []
        unit = f"{currency}/m3"
        if low is not None and high is not None:
            words = f"{_limit(low)} to {_limit(high)} {unit}"
        elif low is not None:
            words = f"{_limit(low)} {unit} and above"
        else:
            words = f"below {_limit(high)} {unit}" if high is not None else "any cost"
        condition = " AND ".join(limits) or '"cost_per_m3" IS NOT NULL'
        found.append((condition, holdable(words), colour))
    return [*found, ('"cost_per_m3" IS NULL', "cost unknown", GREY)]


def size_expression(sites: pd.DataFrame) -> str:
    """Diameter in mm as an expression: area by volume used, as on the map page; smaller where sites are many."""
    volumes = sites.loc[sites["decision"].isin(COLOURED), "volume_used_m3_day"]
    volumes = volumes[volumes > 0]
    typical = float(volumes.quantile(0.98, interpolation="lower")) if len(volumes) else 1.0
    largest = min(6.9, max(2.6, 6.9 * (700 / max(len(sites), 1)) ** 0.25))
    factor = float(f"{largest / math.sqrt(typical):.3g}")
    return f'max({LEAST_MM}, {factor} * sqrt("volume_used_m3_day"))'


def _plain_mark(decision: str) -> Marker:
    return {
        "hold": Marker("square", GREY, PAPER, 0.2),
        "unsuitable": Marker("cross2", GREY, GREY, 0.4),
        "not_assessed": Marker("diamond", PAPER, GREY, 0.35),
    }[decision]


def _cost_mark(decision: str, colour: str, size: str) -> Marker:
    """A disc for sites to equip, inked around where funded; a ring for sites to test first."""
    if decision == "equip":
        outline = f"if(\"funding\" = 'funded', '{INK}', '{PAPER}')"
        return Marker("circle", colour, PAPER, 0.25, size, outline)
    return Marker("circle", PAPER, colour, 0.55, size)


def _rule(
    parent: ET.Element, symbols: ET.Element, attributes: Mapping[str, str], marker: Marker | None = None
) -> ET.Element:
    """Add a rule and its symbol; keys are counted, never random."""
    key = f"{parent.get('key')}-{len(parent)}"
    rule = ET.SubElement(parent, "rule", {**attributes, "key": key})
    if marker is not None:
        name = str(len(symbols))
        rule.set("symbol", name)
        _marker(ET.SubElement(symbols, "symbol", {"type": "marker", "name": name}), marker)
    return rule


def _marker(symbol: ET.Element, marker: Marker) -> None:
    layer = ET.SubElement(symbol, "layer", {"class": "SimpleMarker", "enabled": "1"})
    options = {
        "name": marker.shape,
        "color": _rgba(marker.fill),
        "outline_color": _rgba(marker.line),
        "outline_width": str(marker.line_mm),
        "outline_width_unit": "MM",
        "size": str(PLAIN_MM),
        "size_unit": "MM",
    }
    _options(layer, options)
    expressions = {"size": marker.size, "outlineColor": marker.outline}
    drawn = {name: expression for name, expression in expressions.items() if expression}
    if not drawn:
        return
    outer = _map(ET.SubElement(layer, "data_defined_properties"))
    _option(outer, "name", "")
    properties = _map(outer, "properties")
    for name, expression in drawn.items():
        inner = _map(properties, name)
        _option(inner, "active", "true", "bool")
        _option(inner, "expression", expression)
        _option(inner, "type", "3", "int")  # an expression
    _option(outer, "type", "collection")


def _root(geometry: str, fields: Sequence[Quantity], currency: str) -> ET.Element:
    """The document with readable names; a GIS counts the key of the GeoPackage as field 0."""
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology|Labeling|Fields"})
    aliases = ET.SubElement(root, "aliases")
    for place, field in enumerate(fields, start=1):
        names = {"index": str(place), "field": field.name, "name": alias(field, currency)}
        ET.SubElement(aliases, "alias", names)
    ET.SubElement(root, "layerGeometryType").text = GEOMETRY_TYPES[geometry]
    return root


def _map(parent: ET.Element, name: str = "") -> ET.Element:
    return ET.SubElement(parent, "Option", {"type": "Map"} | ({"name": name} if name else {}))


def _option(parent: ET.Element, name: str, value: str, kind: str = "QString") -> None:
    ET.SubElement(parent, "Option", {"name": name, "type": kind, "value": value})


def _options(layer: ET.Element, values: Mapping[str, str]) -> None:
    options = _map(layer)
    for name, value in values.items():
        _option(options, name, value)


def _rgba(colour: str) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"{red},{green},{blue},255"


def _limit(limit: float) -> str:
    return f"{limit:.{0 if limit >= 100 else 1 if limit >= 10 else 2}f}"


def _text(root: ET.Element) -> str:
    ET.indent(root)
    return ET.tostring(root, encoding="unicode")
