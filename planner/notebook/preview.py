"""The results of a run as a folium map: a layer a decision, ready for layers of the analyst's own.

folium hands every text to a template engine, twice. So no text of an inventory, a plan or a boundary goes through it:
sites, areas and all words travel as one JavaScript string of JSON, in which whatever could mean something to markup,
script or template is an escape, and preview.js makes text nodes of them. Scripts and styles are data: URIs, so that the
map opens without a network.
"""

from __future__ import annotations

import base64
import itertools
import json
import re
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import folium
import numpy as np
import pandas as pd
from branca.element import Element, MacroElement
from folium.template import Template

from planner.notebook.run import Run
from planner.outputs import shared
from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.cost_classes import class_colours, cost_breaks
from planner.outputs.map.pack import decimals_for
from planner.outputs.map.page import leaflet_script, leaflet_style
from planner.outputs.map.site_data import significant
from planner.outputs.sentences import in_language
from planner.texts import date_text, decimal_text, say, texts

DECISIONS = ("equip", "test_first", "hold", "unsuitable", "not_assessed")
COLOURED = ("equip", "test_first")
UNSAFE = re.compile(r"[^ !()*+,\-./0-9:;=?@A-Z\[\]\\_a-z\"]")


def _uri(kind: str, text: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(text.encode('utf-8')).decode('ascii')}"


def _own(name: str) -> str:
    return files("planner.notebook").joinpath(name).read_text(encoding="utf-8").replace("\r\n", "\n")


class PreviewMap(folium.Map):
    """A folium.Map whose scripts and styles are inside. Icons of folium.Icon still come from the network."""

    # Lists of its own: those of folium.Map are shared by all maps of a process.
    default_js: list[tuple[str, str]] = [  # noqa: RUF012
        ("leaflet", _uri("text/javascript", leaflet_script())),
        ("planner_preview", _uri("text/javascript", _own("preview.js"))),
    ]
    default_css: list[tuple[str, str]] = [  # noqa: RUF012
        ("leaflet_css", _uri("text/css", leaflet_style())),
        ("planner_preview_css", _uri("text/css", _own("preview.css"))),
    ]

    def render(self, **kwargs: Any) -> str:
        """Render, with folium's own links where a layer has an icon that needs them, and one control of layers, last:
        it must know all layers, also those that were added after it."""
        controls = [name for name, one in self._children.items() if isinstance(one, folium.LayerControl)]
        for name in controls[:-1]:
            del self._children[name]
        for name in controls[-1:]:
            self._children.move_to_end(name)
        if any(isinstance(one, folium.Icon) for one in _within(self)):
            links = (self.default_js, self.default_css)
            missing = [
                [pair for pair in stock if not pair[0].startswith("leaflet")]
                for stock in (folium.Map.default_js, folium.Map.default_css)
            ]
            self.default_js, self.default_css = links[0] + missing[0], links[1] + missing[1]
        return str(super().render(**kwargs))  # type: ignore[no-untyped-call]


class PreviewData(MacroElement):
    """The call that fills the layers; `block` is a JavaScript string that no template changes."""

    _template = Template(
        "{% macro script(this, kwargs) %}"
        "plannerPreview({{ this._parent.get_name() }}, [{{ this.layers }}], JSON.parse({{ this.block }}));"
        "{% endmacro %}"
    )

    def __init__(self, layers: list[str], block: str) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "PreviewData"
        self.layers, self.block = ", ".join(layers), block


def preview(run: Run, *, tiles: str | folium.TileLayer | None = None, attribution: str | None = None) -> folium.Map:
    """A map of the sites with the classes of cost, the water used, pop-ups, areas and a legend; add layers as you like.

    run          of planner.run or planner.open_run
    tiles        a base layer by folium's name, address or object; it is fetched from its host when the map is opened,
                 which tells the host where you look. None: no base layer, nothing is fetched
    attribution  of `tiles`, where that is an address

    Positions are on the grid of [output] coarsen_m, as on map.html, since a map is easily passed on.
    """
    sites = shared.coarse_sites(run.results.drop(columns="geometry"), run.checks, float(run.about["coarsen_m"]))
    sites = in_language(sites, run.language, run.checks).loc[run.results.geometry.notna().to_numpy()]
    shown = PreviewMap(tiles=None, control_scale=True, prefer_canvas=True)
    if isinstance(tiles, str):
        tiles = folium.TileLayer(tiles, attr=attribution)
    if tiles is not None:
        tiles.add_to(shown)
    layers = []
    for key in ("areas", *DECISIONS):
        if key == "areas":
            name = say("preview_areas", run.language)
        else:
            name = say(
                "preview_layer",
                run.language,
                decision=say(f"preview_{key}", run.language),
                n=int((sites["decision"] == key).sum()),
            )
        layers.append(folium.FeatureGroup(name=name).add_to(shown))
    shown.add_child(PreviewData([one.get_name() for one in layers], script_string(preview_data(run, sites))))
    folium.LayerControl(collapsed=True).add_to(shown)
    south, west, north, east = _bounds(run, sites)
    shown.fit_bounds([[south, west], [north, east]])
    return shown


def script_string(value: Any) -> str:
    r"""JSON as a JavaScript string for JSON.parse, without a character that markup, script or template could take.

    >>> script_string(["{{7*7}}", "</script>"])
    '"[\\"\\u007b\\u007b7*7\\u007d\\u007d\\",\\"\\u003c/script\\u003e\\"]"'
    """
    text = json.dumps(json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")), ensure_ascii=True)
    return UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def preview_data(run: Run, sites: pd.DataFrame) -> dict[str, Any]:
    """What preview.js draws.

    sites  those with a position, in the language of the run: columns of sites.parquet
    """
    currency, language = str(run.about["currency"]), run.language
    costs = significant(sites["cost_per_m3"])
    everywhere = significant(run.results["cost_per_m3"])
    breaks = cost_breaks(np.where(run.results["decision"].isin(COLOURED), everywhere, np.nan))
    classes = np.where(np.isfinite(costs), np.searchsorted(breaks, costs, side="right"), -1)
    volume = sites["volume_used_m3_day"].astype("float64")
    coloured = sites["decision"].isin(COLOURED)
    large = volume[coloured & (volume > 0)]
    return {
        "language": language,
        "colours": class_colours(len(breaks) + 1),
        "typical": float(large.quantile(0.98, interpolation="lower")) if len(large) else 1.0,
        "areas": _areas(run),
        "sites": [
            _site(one, int(place), run, decimals_for(everywhere))
            for one, place in zip(sites.itertuples(index=False), classes, strict=True)
        ],
        "legend": {
            "title": str(run.about["programme"]),
            "cost": say("preview_cost", language, money=currency, year=str(run.about["price_year"])),
            "classes": _class_words(breaks, language),
            "size": say("preview_size", language),
            "marks": [[name, say(f"preview_mark_{name}", language)] for name in ("funded", *DECISIONS[1:])],
            "run": say("preview_run", language, run=str(run.run_id), date=date_text(str(run.about["date"]), language)),
            "coarse": _coarse_words(float(run.about["coarsen_m"]), language),
            "cautions_title": say("preview_cautions", language),
            "cautions": [text for kind, text in texts(language).values() if kind == "caution"],
        },
    }


def _site(one: Any, place: int, run: Run, decimals: int) -> dict[str, Any]:
    """A row of the sites as a mark; place: its class of cost, -1 where that is unknown."""
    return {
        "at": [float(one.latitude), float(one.longitude)],
        "layer": 1 + DECISIONS.index(str(one.decision)),
        "class": place,
        "volume": None if pd.isna(one.volume_used_m3_day) else float(one.volume_used_m3_day),
        "funded": one.funding == "funded",
        "title": str(one.site_name or one.site_id),
        "lines": _lines(one, run, decimals),
    }


def _lines(one: Any, run: Run, decimals: int) -> list[list[str]]:
    """Label and value of the pop-up, without those that are not known."""
    language = run.language

    def figure(value: float, places: int, unit: str = "") -> str:
        return "" if pd.isna(value) else f"{decimal_text(float(value), language, places)}\u00a0{unit}".rstrip("\u00a0")

    family = say(one.pump_family, language) if one.pump_family else ""
    told = {
        "site_id": str(one.site_id) if one.site_name else "",
        "decision": say(f"preview_{one.decision}", language),
        "funding": say(f"preview_{one.funding}", language) if one.funding else "",
        "evidence_grade": str(one.evidence_grade),
        "rank": figure(one.rank, 0),
        "cost_per_m3": figure(one.cost_per_m3, decimals, f"{run.about['currency']}/m³"),
        "volume_used_m3_day": figure(one.volume_used_m3_day, 1, say("preview_m3_day", language)),
        "pump_id": " · ".join(filter(None, (str(one.pump_id), family))),
        "reason_text": str(one.reason_text),
    }
    return [[say(f"label_{name}", language), value] for name, value in told.items() if value]


def _class_words(breaks: list[float], language: str) -> list[str]:
    decimals = 2 if not breaks or breaks[-1] < 10 else 1 if breaks[-1] < 100 else 0
    limits = [decimal_text(limit, language, decimals) for limit in breaks]
    if not limits:
        return [say("preview_any_cost", language)]
    between = [say("preview_between", language, low=low, high=high) for low, high in itertools.pairwise(limits)]
    return [
        say("preview_below", language, high=limits[0]),
        *between,
        say("preview_above", language, low=limits[-1]),
    ]


def _coarse_words(grid_m: float, language: str) -> str:
    return say("preview_coarse", language, grid=decimal_text(grid_m, language)) if grid_m else ""


def _areas(run: Run) -> list[dict[str, Any]]:
    return [] if run.areas is None else simplify_areas(run.areas, "area_name")


def _bounds(run: Run, sites: pd.DataFrame) -> tuple[float, float, float, float]:
    """South, west, north, east of the areas, else of the sites, else of the world."""
    if run.areas is not None and len(run.areas):
        west, south, east, north = (float(one) for one in run.areas.total_bounds)
        return south, west, north, east
    if sites.empty:
        return -60.0, -180.0, 70.0, 180.0
    north_south, east_west = sites["latitude"], sites["longitude"]
    return float(north_south.min()), float(east_west.min()), float(north_south.max()), float(east_west.max())


def _within(element: Element) -> Iterator[Element]:
    for child in element._children.values():
        yield child
        yield from _within(child)
