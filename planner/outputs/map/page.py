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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.areas import label_point
from planner.outputs.map.block import packed_block, safe_json
from planner.outputs.map.calculation import money_rules
from planner.outputs.map.colour_layers import colour_layers
from planner.outputs.map.cost_classes import class_colours, cost_breaks
from planner.outputs.map.finding_data import finding_data, finding_keys
from planner.outputs.map.order import MOST_SITES, reading_order, rest_data
from planner.outputs.map.pack import pack_texts
from planner.outputs.map.reason_data import reason_data
from planner.outputs.map.relief import Relief
from planner.outputs.map.run_lines import line_groups
from planner.outputs.map.site_data import decision_counts, significant, site_columns, site_frame
from planner.outputs.map.switch_data import switch_data, switch_keys
from planner.outputs.map.table_columns import table_columns
from planner.outputs.map.tiles import image_policy
from planner.outputs.map.words import Told, page_texts, spoken, spoken_all
from planner.texts import ENGLISH, LANGUAGES, texts

PACKED_ABOVE = 8_000  # sites, about 2 MB; below, any browser opens the page, above those that can unpack a stream
LEAFLET = "vendor/leaflet"
RUN_TEXTS = ("programme", "currency", "price_year", "run_id", "date", "version")
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
    style = "\n".join((leaflet_style(), *(_own(name) for name in STYLES)))
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
    return {
        "texts": page_texts(keys),
        "run": {
            "language": language_of(run),
            "tiles": run.get("tiles"),
            "money": money_rules(run["plan"]),
            **{key: str(run[key]) for key in RUN_TEXTS},
            "counts": decision_counts(whole, run["counts"]),
            "coarsen_m": float(run.get("coarsen_m", 0)),
            "assumptions": assumptions(run),
            "without_effect": [[key, spoken(text)] for key, text in run["without_effect"].items()],
            "cautions": spoken_all(run["cautions"]),
            "notes": spoken_all(run["notes"]),
            "told": [[spoken(head), spoken_all(lines)] for head, lines in line_groups(run.get("budget", []))],
            "scenarios": [_scenario(row) for row in run.get("scenarios", [])],
            "steps": budget_steps(run.get("budget_steps", [])),
        },
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
        "rest": rest_data(rest, len(frame)),
        "shown": []
        if shown is None
        else [{"name": str(name), "column": pack_texts(shown[name].iloc[frame["place"]])} for name in shown],
    }


def language_of(run: Mapping[str, Any]) -> str:
    """The language that the page opens in."""
    language = str(run.get("language", ENGLISH))
    return language if language in LANGUAGES else ENGLISH


def _without_scripts() -> str:
    """What a browser without scripts shows, once in every language that has words of its own for it."""
    told = {texts(language)["page_noscript"][1]: language for language in reversed(LANGUAGES)}
    lines = (f'<p class="noscript" lang="{told[text]}">{html.escape(text)}</p>' for text in reversed(told))
    return "\n".join(lines)


def budget_steps(steps: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What the slider says of each budget that was tried."""
    return [
        {
            "budget": float(step["budget"]),
            "own": bool(step["own"]),
            "rules_kept": bool(step["rules_kept"]),
            "sites": int(step["sites"]),
            "people": float(step["people_served"]),
            "gap": float(step["gap"] or 0.0),
        }
        for step in steps
    ]


def _scenario(row: Mapping[str, Any]) -> dict[str, Any]:
    lists = {name: spoken_all(row[name]) for name in ("changes", "in", "out")}
    return {**row, **lists, "clash": spoken(row["clash"])}


def assumptions(run: Mapping[str, Any]) -> list[list[Any]]:
    """Every key of the plan as [dotted key, value, whether it is a default], by section."""
    defaults = run["defaults_used"]
    given = {key: value for key, value in _flat(run["plan"], set(defaults)) if key not in defaults}
    keys = sorted({*given, *defaults}, key=lambda key: (key.split(".")[0], key))
    return [[key, _in_all(defaults[key] if key in defaults else given[key]), key in defaults] for key in keys]


def _flat(plan: Mapping[str, Any], whole: set[str], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in plan.items():
        if isinstance(value, Mapping) and f"{prefix}{key}" not in whole:
            yield from _flat(value, whole, f"{prefix}{key}.")
        elif value is not None:
            yield f"{prefix}{key}", value


def _in_all(value: Any) -> Told:
    return spoken({language: plain(value, language) for language in LANGUAGES})


def plain(value: Any, language: str = ENGLISH) -> str:
    """A value of the plan as a reader would write it; numbers as the plan file writes them.

    >>> plain([1.0, 1.0, 1.0]), plain(True)
    ('1 in each of 3', 'yes')
    """
    known = texts(language)
    if isinstance(value, bool):
        return known["page_yes" if value else "page_no"][1]
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {plain(part, language)}" for key, part in value.items()) or known["page_none"][1]
    if isinstance(value, (list, tuple)):
        parts = [plain(part, language) for part in value]
        if len(parts) < 3 or len(set(parts)) > 1:
            return ", ".join(parts)
        words = {"{value}": parts[0], "{count}": str(len(parts))}
        return re.sub(r"\{\w+\}", lambda found: words.get(found[0], found[0]), known["page_in_each"][1])
    return f"{value:.10g}" if isinstance(value, float) else str(value)


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


def _own(name: str) -> str:
    """A file of this folder with plain line ends, whatever the checkout made of them."""
    return files("planner.outputs.map").joinpath(name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _script() -> str:
    return '"use strict";\n(() => {\n' + "\n".join(_own(name) for name in SCRIPTS) + "\n})();\n"


def leaflet_script() -> str:
    """Leaflet with its licence, without the pointer to a source map that does not travel along."""
    code = re.sub(r"\n//# sourceMappingURL=.*", "", _own(f"{LEAFLET}/leaflet.js"))
    return f"/*\n{_own(f'{LEAFLET}/LICENSE')}*/\n{code}"


def leaflet_style() -> str:
    """Leaflet's style without declarations that name a picture: no marker or layer picture is used."""
    return re.sub(r"[\w-]+\s*:\s*url\([^)]*\);?", "", _own(f"{LEAFLET}/leaflet.css"))
