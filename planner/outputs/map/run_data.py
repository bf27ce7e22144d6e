"""What the page says of the run: its words, the keys of its plan, its scenarios and the budgets that were tried."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from planner.outputs.map.calculation import money_rules
from planner.outputs.map.run_lines import line_groups
from planner.outputs.map.site_data import decision_counts
from planner.outputs.map.words import Told, spoken, spoken_all
from planner.texts import ENGLISH, LANGUAGES, texts

RUN_TEXTS = ("programme", "currency", "price_year", "run_id", "date", "version")


def run_data(run: Mapping[str, Any], whole: pd.DataFrame) -> dict[str, Any]:
    """The run as the page has it.

    run    as `map_page` takes it
    whole  every row of the inventory, as `site_frame` gives them
    Raises InternalError if the counts of the run do not fit the sites.
    """
    return {
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
    }


def language_of(run: Mapping[str, Any]) -> str:
    """The language that the page opens in."""
    language = str(run.get("language", ENGLISH))
    return language if language in LANGUAGES else ENGLISH


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
