"""Put map.html together: template, style, scripts, Leaflet and the data block, under a strict content policy.

Every script and style stands in the page and is named by its hash in the policy, so nothing else can run: no
other script, no inline handler, no request. Untrusted text travels only in the data block and reaches the
page as text nodes.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.areas import label_point
from planner.outputs.map.block import packed_block, safe_json
from planner.outputs.map.colour_layers import colour_layers
from planner.outputs.map.cost_classes import class_colours, cost_breaks
from planner.outputs.map.finding_data import finding_data, finding_keys
from planner.outputs.map.order import MOST_SITES, reading_order, rest_data
from planner.outputs.map.pack import pack_texts
from planner.outputs.map.reason_data import reason_data
from planner.outputs.map.relief import Relief
from planner.outputs.map.run_data import language_of, run_data
from planner.outputs.map.site_data import significant, site_columns, site_frame
from planner.outputs.map.switch_data import switch_data, switch_keys
from planner.outputs.map.table_columns import table_columns
from planner.outputs.map.tiles import image_policy
from planner.outputs.map.words import page_texts, unneeded
from planner.texts import LANGUAGES, texts

PACKED_ABOVE = 8_000  # sites, about 2 MB; below, any browser opens the page, above those that can unpack a stream
LEAFLET = "vendor/leaflet"
STYLES = ("style.css", "panel.css", "popup.css", "charts.css", "compare.css", "print.css")
SCRIPTS = (
    "texts.js",
    "words.js",
    "numbers.js",
    "dom.js",
    "unpack.js",
    "data.js",
    "reasons.js",
    "marks.js",
    "value_marks.js",
    "colouring.js",
    "sprites.js",
    "layer.js",
    "rest.js",
    "relief.js",
    "areas.js",
    "map.js",
    "colour_legend.js",
    "legend.js",
    "filters.js",
    "table.js",
    "chart.js",
    "ways.js",
    "details.js",
    "calculation.js",
    "compare_rows.js",
    "compare.js",
    "links.js",
    "popup.js",
    "head.js",
    "read_first.js",
    "finding_rows.js",
    "findings.js",
    "assumptions.js",
    "what_if.js",
    "tabs.js",
    "supply_steps.js",
    "supply_curve.js",
    "months_chart.js",
    "charts.js",
    "download.js",
    "tiles.js",
    "print.js",
    "main.js",
)


def map_page(
    sites: pd.DataFrame,
    areas: list[dict[str, Any]] | None,
    run: Mapping[str, Any],
    *,
    checks: pd.DataFrame,
    findings: Sequence[Mapping[str, Any]],
    relief: Relief | None = None,
    shown: pd.DataFrame | None = None,
    most_sites: int = MOST_SITES,
    packed_above: int = PACKED_ABOVE,
) -> str:
    """The text of map.html; write it as UTF-8 with newline='' so that the hashes stay true.

    sites     one row for every inventory row, columns of sites.csv and the monthly demand; rows without
              position are listed, not drawn
    areas     [{"name", "geometry"}], GeoJSON polygons in WGS 84 as simplify_areas gives them; None for none
    run       programme, currency, price_year, run_id, date, version (text), counts {decision: n}, plan (the whole
              plan as nested mappings), defaults_used {key: value}, without_effect {key: text}, cautions [text],
              notes [text]; budget [Said], what was funded and chosen; budget_steps; language if not "en";
              a text is one for all languages or one for each, as words.spoken takes it;
              coarsen_m, the grid of the positions, if they are not exact; scenarios, the rows of scenarios.WhatIf;
              tiles as tile_source gives them, None for no online tiles
    checks    columns of Step.checks: the rules behind the reason codes and what stopped each pump family
    findings  row (inventory_row, 0 for the file), column, rule, severity, old_value, new_value, action of each
    relief    shaded relief for the ground of the map
    shown     columns of the inventory that the plan asks for, header → text, row by row as `sites`
    most_sites    of more sites the first in reading order are listed and the others counted by cell of a grid
    packed_above  of more sites the data travel packed
    Raises InternalError if a column is missing or the counts of the run do not fit the sites.
    """
    block = _block(sites, areas, run, checks, findings, relief, shown, most_sites)
    packed = block["sites"]["count"] > packed_above
    known = texts(language_of(run))
    style = "".join(_lean_style(text) for text in (leaflet_style(), *map(_own, STYLES)))
    scripts = {"LEAFLET": leaflet_script(), "SCRIPT": _script()}
    parts = {
        "POLICY": _policy([style], list(scripts.values()), image_policy(run.get("tiles"))),
        "LANGUAGE": html.escape(language_of(run)),
        "NOSCRIPT": _without_scripts(),
        "TITLE": html.escape(str(run["programme"])),
        "STYLE": style,
        "FORM": "application/octet-stream" if packed else "application/json",
        "DATA": packed_block(block) if packed else safe_json(block),
        "OLD": html.escape(known["page_old_browser"][1]),
        "DAMAGED": html.escape(known["page_damaged"][1]),
        **scripts,
    }
    # One pass: what a part contains is never looked at again.
    return re.sub(r"@@([A-Z]+)@@", lambda found: parts[found[1]], _own("template.html"))


def _block(
    sites: pd.DataFrame,
    areas: list[dict[str, Any]] | None,
    run: Mapping[str, Any],
    checks: pd.DataFrame,
    findings: Sequence[Mapping[str, Any]],
    relief: Relief | None,
    shown: pd.DataFrame | None,
    most_sites: int,
) -> dict[str, Any]:
    whole = reading_order(site_frame(sites))
    frame, rest = whole.iloc[:most_sites], whole.iloc[most_sites:]
    reasons, told = reason_data(frame, checks), finding_data(findings, whole, len(frame))
    switches = switch_data(frame["switch_text"])
    keys = {rule for rule, *_ in reasons["kinds"]} | finding_keys(told) | switch_keys(switches)
    coloured = frame["decision"].isin(["equip", "test_first"])
    breaks = cost_breaks(np.where(coloured, significant(frame["cost_per_m3"]), np.nan))
    told_of_run, told_of_rest = run_data(run, whole), rest_data(rest, len(frame))
    return {
        "texts": page_texts(keys, unneeded(told_of_run, told_of_rest)),
        "run": told_of_run,
        "cost": {"breaks": breaks, "colours": class_colours(len(breaks) + 1)},
        "layers": colour_layers(frame),
        "table": table_columns(),
        "areas": [
            {"name": area["name"], "geometry": area["geometry"], "label": label_point(area["geometry"])}
            for area in areas or []
        ],
        "relief": None if relief is None else asdict(relief),
        "sites": site_columns(frame),
        "reasons": reasons,
        "switches": switches,
        "findings": told,
        "rest": told_of_rest,
        "shown": []
        if shown is None
        else [{"name": str(name), "column": pack_texts(shown[name].iloc[frame["place"]])} for name in shown],
    }


def _without_scripts() -> str:
    """What a browser without scripts shows, once in every language that has words of its own for it."""
    told = {texts(language)["page_noscript"][1]: language for language in reversed(LANGUAGES)}
    lines = (f'<p class="noscript" lang="{told[text]}">{html.escape(text)}</p>' for text in reversed(told))
    return "\n".join(lines)


def _policy(styles: list[str], scripts: list[str], pictures: Sequence[str] = ()) -> str:
    """The content policy: nothing but the named scripts and styles, and pictures of a host that the plan names."""
    return "; ".join(
        (
            "default-src 'none'",
            "script-src " + " ".join(_hash(text) for text in scripts),
            "style-src " + " ".join(_hash(text) for text in styles),
            *pictures,
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def _lean(text: str) -> str:
    """A script or style of ours without indentation and without lines that hold nothing but a comment.

    None of them has a text that runs over lines: a test sees to it.
    """
    return re.sub(r"^[ \t]*(//.*)?(\n|\Z)|^[ \t]+", "", text, flags=re.MULTILINE)


def _lean_style(text: str) -> str:
    return _lean(re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL))


def _own(name: str) -> str:
    """A file of this folder with plain line ends, whatever the checkout made of them."""
    return files("planner.outputs.map").joinpath(name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _script() -> str:
    return '"use strict";\n(() => {\n' + "".join(_lean(_own(name)) for name in SCRIPTS) + "})();\n"


def leaflet_script() -> str:
    """Leaflet with its licence, without the pointer to a source map that does not travel along."""
    code = re.sub(r"\n//# sourceMappingURL=.*", "", _own(f"{LEAFLET}/leaflet.js"))
    return f"/*\n{_own(f'{LEAFLET}/LICENSE')}*/\n{code}"


def leaflet_style() -> str:
    """Leaflet's style without declarations that name a picture: no marker or layer picture is used."""
    return re.sub(r"[\w-]+\s*:\s*url\([^)]*\);?", "", _own(f"{LEAFLET}/leaflet.css"))
