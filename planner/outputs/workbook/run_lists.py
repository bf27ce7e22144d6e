"""Lists of the run itself: lots, scenarios, assumptions, findings, supply curve, and the glossary of all columns."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from pydantic import BaseModel

from planner.outputs.finding_summary import SEVERITIES
from planner.outputs.material import Material
from planner.outputs.workbook.lists import Column, Listing, columns_of
from planner.outputs.workbook.words import Words
from planner.tables.step import FINDING_COLUMNS
from planner.texts import finding_advice, finding_words

TOTALS = (
    "equip", "test_first", "hold", "unsuitable", "not_assessed", "ranked", "funded", "reserve", "funded_capital_cost",
    "funded_people_served", "funded_volume_used_m3_day", "equip_capital_cost", "equip_people_served",
    "equip_volume_used_m3_day", "cost_per_m3_median",
)  # fmt: skip


def lot_list(material: Material, words: Words) -> Listing | None:
    """The lots for tender, if the plan asks for them."""
    if material.lots is None:
        return None
    limit = material.plan.plan.output.workbook_row_limit
    return Listing("lots", columns_of(material.lots.head(limit), words), len(material.lots), "lots.csv", 1)


def scenario_lists(material: Material, words: Words) -> list[Listing]:
    """The scenarios side by side, the plan first, and the sites that move in them."""
    if not material.scenarios:
        return []
    output = material.plan.plan.output
    rows = []
    for one in material.scenarios:
        rows.append(
            {
                "scenario": one["name"] or words.say("plan_itself"),
                "changes": "; ".join(words.spoken(line) for line in one["changes"]),
                **{name: (one["totals"] or {}).get(name) for name in TOTALS},
                "clash": words.spoken(one["clash"]),
                "sites_in": ", ".join(map(words.spoken, one["in"])),
                "sites_out": ", ".join(map(words.spoken, one["out"])),
            }
        )
    frame, moves, limit = pd.DataFrame(rows), material.moves, output.workbook_row_limit
    found = [Listing("scenarios", columns_of(frame.head(limit), words), len(frame), "", 1)]
    if len(moves.columns):
        if "why_said" in moves.columns:  # the same sentences as `why`, before their language is known
            why = [" ".join(dict.fromkeys(map(words.spoken, lines))) for lines in moves["why_said"]]
            moves = moves.assign(why=pd.Series(why, index=moves.index, dtype="str")).drop(columns="why_said")
        rest = "scenarios.csv" if "csv" in output.files else ""
        found.append(Listing("moves", columns_of(moves.head(limit), words), len(moves), rest, 3, 16))
    return found


def finding_list(material: Material, words: Words) -> Listing:
    """Every fault and repair, the gravest first; texts as written, also private ones."""
    frame = pd.DataFrame(material.findings, columns=list(FINDING_COLUMNS))
    gravity = frame["severity"].map({name: place for place, name in enumerate(SEVERITIES)})
    limit = material.plan.plan.output.workbook_row_limit
    frame = frame.iloc[np.argsort(gravity.to_numpy(dtype="float64"), kind="stable")[:limit]].reset_index(drop=True)
    frame["row"] = frame["row"].where(frame["row"] > 0)  # 0: the file as a whole
    frame["meaning"] = [finding_words(rule, words.language) for rule in frame["rule"]]
    frame["advice"] = [
        finding_advice(rule, action, words.language)[1]
        for rule, action in zip(frame["rule"], frame["action"], strict=True)
    ]
    names = ["severity", "row", "site_id", "column", "meaning", "old_value", "new_value", "action", "advice", "rule"]
    return Listing("findings", columns_of(frame, words, names), len(material.findings), "findings.csv", 3)


def assumption_list(material: Material, words: Words) -> Listing:
    """Every key of the plan with its value, and whether the plan gives it."""
    plan, defaults = material.plan.plan, material.about["defaults_used"]
    dump = plan.model_dump(mode="json", exclude={"scenario"})
    rows = []
    for key, value in _flat(dump):
        section = ".".join(key.split(".")[:2])
        missing = value is None
        origin = "not_set" if missing else "default" if key in defaults or section in defaults else "given"
        rows.append((key, origin, _cell(value), _meaning(plan, key.split("."))))
    for one in plan.scenario or ():
        for key, value in _flat(one.changes):
            rows.append((f"scenario.{one.name}.{key}", "given", _cell(value), _meaning(plan, key.split("."))))
    rows += [
        (key, "no_effect", None, words.spoken(told)) for key, told in sorted(material.about["without_effect"].items())
    ]
    frame = pd.DataFrame(rows, columns=["plan_key", "origin", "setting", "note"])
    frame["setting"] = frame["setting"].astype(object).where(frame["setting"].notna(), None)
    limit = material.plan.plan.output.workbook_row_limit
    columns = columns_of(frame.head(limit), words)
    setting = Column("setting", "-", "any", [_fitted(one, words) for one in columns[2].cells])
    return Listing("assumptions", [*columns[:2], setting, columns[3]], len(frame), "", 1)


def _fitted(value: Any, words: Words) -> Any:
    from planner.outputs.workbook.cells import fitted

    return fitted(value, words.say("cut")) if isinstance(value, str) else value


def _flat(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Dotted keys: tables are opened, and lists of tables; other lists stay one value."""
    if isinstance(value, Mapping) and value:
        for name, inner in value.items():
            yield from _flat(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, Sequence) and not isinstance(value, str) and any(isinstance(one, Mapping) for one in value):
        for number, inner in enumerate(value, start=1):
            yield from _flat(inner, f"{key}.{number}")
    else:
        yield key, value


def _cell(value: Any) -> Any:
    """Numbers as numbers, lists as the plan file writes them."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return value
    return json.dumps(value, ensure_ascii=False)


def _meaning(plan: BaseModel, parts: list[str]) -> str:
    """What the plan's own documentation says of a key (English)."""
    model: Any = plan
    found = ""
    for part in parts:
        fields = getattr(type(model), "model_fields", {})
        if part not in fields:
            break
        found = fields[part].description or found
        model = getattr(model, part)
    return found


def supply_curve(material: Material, words: Words) -> Listing:
    """Two corners a site to equip, cheapest water first: what the chart of the supply curve is drawn from."""
    sites = material.sites
    chosen = sites[sites["rank"].notna() & (sites["volume_used_m3_day"] > 0)].sort_values("rank", kind="stable")
    limit = material.plan.plan.output.workbook_row_limit
    volume = chosen["volume_used_m3_day"].to_numpy(dtype="float64")
    after = np.cumsum(volume)
    frame = pd.DataFrame(
        {
            "rank": np.repeat(chosen["rank"].to_numpy(dtype="float64"), 2),
            "site_id": np.repeat(chosen["site_id"].to_numpy(dtype=object), 2),
            "cumulative_volume_m3_day": np.column_stack([after - volume, after]).ravel(),
            "cost_per_m3": np.repeat(chosen["cost_per_m3"].to_numpy(dtype="float64"), 2),
        }
    )
    return Listing("supply_curve", columns_of(frame.head(limit), words), len(frame), "", 2)


def glossary_list(listings: list[Listing], words: Words) -> Listing:
    """Every column of the workbook: what it is called, its unit, what it means, and the sheets that have it."""
    found: dict[str, tuple[str, list[str]]] = {}
    for listing in listings:
        for column in listing.columns:
            unit, sheets = found.setdefault(column.name, (column.unit, []))
            sheets.append(words.sheets[listing.key])
    names = ["column", "label", "column_unit", "meaning", "sheets"]
    own = {"column": "-", "label": "-", "column_unit": "-", "meaning": "-", "sheets": "-"}
    sheet = words.sheets["glossary"]
    for name, unit in own.items():
        found.setdefault(name, (unit, []))[1].append(sheet)
    rows = [
        (name, words.label(name), words.unit(unit), words.meaning(name), ", ".join(sheets))
        for name, (unit, sheets) in found.items()
    ]
    return Listing("glossary", columns_of(pd.DataFrame(rows, columns=names), words), len(rows), "", 1)
