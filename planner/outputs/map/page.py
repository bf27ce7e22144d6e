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
from planner.outputs.map.cost_classes import class_colours, cost_breaks
from planner.outputs.map.finding_data import finding_data
from planner.outputs.map.pack import pack_texts
from planner.outputs.map.reason_data import reason_data
from planner.outputs.map.relief import Relief
from planner.outputs.map.run_lines import line_groups
from planner.outputs.map.site_data import decision_counts, safe_json, significant, site_columns, site_frame
from planner.texts import english

LEAFLET = "vendor/leaflet"
RUN_TEXTS = ("programme", "currency", "price_year", "run_id", "date", "version")
STYLES = ("style.css", "panel.css", "popup.css", "print.css")
SCRIPTS = (
    "words.js",
    "numbers.js",
    "dom.js",
    "unpack.js",
    "data.js",
    "reasons.js",
    "marks.js",
    "layer.js",
    "relief.js",
    "areas.js",
    "map.js",
    "legend.js",
    "filters.js",
    "table.js",
    "chart.js",
    "ways.js",
    "details.js",
    "popup.js",
    "head.js",
    "read_first.js",
    "finding_rows.js",
    "findings.js",
    "assumptions.js",
    "what_if.js",
    "tabs.js",
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
) -> str:
    """The text of map.html; write it as UTF-8 with newline='' so that the hashes stay true.

    sites     one row for every inventory row, columns of sites.csv and the monthly demand; rows without
              position are listed, not drawn
    areas     [{"name", "geometry"}], GeoJSON polygons in WGS 84 as simplify_areas gives them; None for none
    run       programme, currency, price_year, run_id, date, version (text), counts {decision: n}, plan (the whole
              plan as nested mappings), defaults_used {key: value}, without_effect {key: text}, cautions [text],
              notes [text]; budget [Said], what was funded and chosen; budget_steps; language if not "en";
              coarsen_m, the grid of the positions, if they are not exact; scenarios, the rows of scenarios.WhatIf
    checks    columns of Step.checks: the rules behind the reason codes and what stopped each pump family
    findings  row (inventory_row, 0 for the file), column, rule, severity, old_value, new_value, action of each
    relief    shaded relief for the ground of the map
    shown     columns of the inventory that the plan asks for, header → text, row by row as `sites`
    Raises InternalError if a column is missing or the counts of the run do not fit the sites.
    """
    style = "\n".join((leaflet_style(), *(_own(name) for name in STYLES)))
    scripts = {"LEAFLET": leaflet_script(), "SCRIPT": _script()}
    parts = {
        "POLICY": _policy([style], list(scripts.values())),
        "TITLE": html.escape(str(run["programme"])),
        "STYLE": style,
        "DATA": safe_json(_block(sites, areas, run, checks, findings, relief, shown)),
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
) -> dict[str, Any]:
    frame = site_frame(sites)
    language = str(run.get("language", "en"))
    coloured = frame["decision"].isin(["equip", "test_first"])
    breaks = cost_breaks(np.where(coloured, significant(frame["cost_per_m3"]), np.nan))
    return {
        "run": {
            **{key: str(run[key]) for key in RUN_TEXTS},
            "counts": decision_counts(frame, run["counts"]),
            "coarsen_m": float(run.get("coarsen_m", 0)),
            "assumptions": assumptions(run),
            "without_effect": [[key, str(text)] for key, text in run["without_effect"].items()],
            "cautions": [str(text) for text in run["cautions"]],
            "notes": [str(text) for text in run["notes"]],
            "told": english(line_groups(run.get("budget", []))),
            "scenarios": [english(row) for row in run.get("scenarios", [])],
            "steps": budget_steps(run.get("budget_steps", [])),
        },
        "cost": {"breaks": breaks, "colours": class_colours(len(breaks) + 1)},
        "areas": [
            {"name": area["name"], "geometry": area["geometry"], "label": label_point(area["geometry"])}
            for area in areas or []
        ],
        "relief": None if relief is None else asdict(relief),
        "sites": site_columns(frame),
        "reasons": reason_data(frame, checks, language),
        "findings": finding_data(findings, frame, language),
        "shown": [] if shown is None else [{"name": str(name), "column": pack_texts(shown[name])} for name in shown],
    }


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


def assumptions(run: Mapping[str, Any]) -> list[list[Any]]:
    """Every key of the plan as [dotted key, value, whether it is a default], by section."""
    defaults = run["defaults_used"]
    given = {key: value for key, value in _flat(run["plan"], set(defaults)) if key not in defaults}
    keys = sorted({*given, *defaults}, key=lambda key: (key.split(".")[0], key))
    return [[key, plain(defaults[key] if key in defaults else given[key]), key in defaults] for key in keys]


def _flat(plan: Mapping[str, Any], whole: set[str], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in plan.items():
        if isinstance(value, Mapping) and f"{prefix}{key}" not in whole:
            yield from _flat(value, whole, f"{prefix}{key}.")
        elif value is not None:
            yield f"{prefix}{key}", value


def plain(value: Any) -> str:
    """A value of the plan as a reader would write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {plain(part)}" for key, part in value.items()) or "none"
    if isinstance(value, (list, tuple)):
        parts = [plain(part) for part in value]
        alike = len(parts) > 2 and len(set(parts)) == 1
        return f"{parts[0]} in each of {len(parts)}" if alike else ", ".join(parts)
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _policy(styles: list[str], scripts: list[str]) -> str:
    """The content policy: nothing but the named scripts and styles."""
    return "; ".join(
        (
            "default-src 'none'",
            "script-src " + " ".join(_hash(text) for text in scripts),
            "style-src " + " ".join(_hash(text) for text in styles),
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
