"""All that stands on the two pages of the brief, as data for the template."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.material import Material
from planner.outputs.sheets.brief_charts import MAP_SHAPE, area_map, budget_curve, supply_curve
from planner.outputs.sheets.brief_text import Brief, boundary_note
from planner.outputs.sheets.safe_text import language_of, run_line, shown
from planner.outputs.sheets.site_lines import switch_words
from planner.outputs.sheets.sketch import SHAPES
from planner.texts import decimal_text, of_kind, say, texts

DECISIONS = ("not_assessed", "unsuitable", "hold", "test_first", "equip")
PLACES, TESTS, REFUSALS = 12, 8, 10  # rows of the tables
WORDS = (
    "decision", "map", "no_map", "funnel", "totals", "supply", "budget", "risks", "tests", "no_tests", "refused",
    "assumptions", "no_supply", "no_budget",
)  # fmt: skip


def brief_data(material: Material) -> dict[str, Any]:
    """Data of brief.typ. material: handed on, since the brief leaves the house."""
    language, about = language_of(material.plan.plan), material.about
    brief, known, currency = Brief(material, language), texts(language), material.plan.plan.programme.currency
    grid = material.plan.plan.output.coarsen_m
    return {
        "language": language,
        "programme": shown(about["programme"], 90),
        "title": say("brief_title", language),
        "words": {name: known[f"brief_{name}"][1] for name in WORDS} | {"cautions": known["sheets_cautions"][1]},
        "decision": brief.decision(),
        "figures": brief.figures(),
        "funnel": funnel(material.sites, language),
        "map": area_map(material, language),
        "map_shape": MAP_SHAPE,
        "map_note": say("brief_grid", language, grid=decimal_text(grid, language)) if grid else "",
        "legend": [{"mark": mark, "words": known[f"sheets_group_{group}"][1]} for group, mark in SHAPES.items()],
        "totals": totals(brief, language),
        "supply": supply_curve(material.sites, currency, language),
        "budget": budget_curve(about["budget_steps"], currency, language),
        "risks": brief.risks(),
        "tests": tests(brief, language),
        "refused": refused(material.sites, language),
        "assumptions": brief.assumptions(),
        "money_note": boundary_note(material, language),
        "cautions": of_kind("caution", language),
        "run": run_line(about, language),
        "pages": [say("sheets_page", language, n=at, m=2) for at in (1, 2)],
    }


def funnel(sites: pd.DataFrame, language: str) -> list[dict[str, Any]]:
    """How many rows became what: the rows, the five decisions, which add up to them, and what is funded.

    `from` and `to` are where the bar of a line begins and ends, shares of all rows; a decision takes off what is left.
    """
    rows = max(len(sites), 1)
    left, lines = len(sites), [_step("rows", len(sites), 0, len(sites), rows, language)]
    for decision in DECISIONS:
        count = int((sites["decision"] == decision).sum())
        begin = left - count
        lines.append(_step(decision, count, begin, left, rows, language))
        left = begin
    for funding in ("funded", "reserve"):
        count = int((sites["funding"] == funding).sum())
        if count:
            begin = 0 if funding == "funded" else lines[-1]["count"] if lines[-1]["name"] == "funded" else 0
            lines.append(_step(funding, count, begin, begin + count, rows, language))
    return lines


def _step(name: str, count: int, begin: int, end: int, rows: int, language: str) -> dict[str, Any]:
    return {
        "name": name,
        "count": count,
        "words": say(f"brief_step_{name}", language),
        "figure": decimal_text(count, language),
        "from": round(begin / rows, 4),
        "to": round(end / rows, 4),
    }


def totals(brief: Brief, language: str) -> dict[str, Any]:
    """A row a sub-district: wells, to equip, to test first, funded, and people and cost of the funded ones."""
    sites = brief.sites
    bought = sites.index.isin(brief.bought.index)
    place = sites["sub_district_used"].astype("str").replace("", say("brief_no_place", language))
    table = pd.DataFrame(
        {
            "wells": 1,
            "equip": sites["decision"] == "equip",
            "test": sites["decision"] == "test_first",
            "bought": bought,
            "people": np.where(bought, sites["people_served"].fillna(0.0), 0.0),
            "cost": np.where(bought, sites["capital_cost"].fillna(0.0), 0.0),
        },
    )
    summed = table.groupby(place.to_numpy(), sort=True).sum()
    names = [shown(name, 28) for name in summed.index]
    if len(summed) > PLACES:
        order = summed.sort_values(["people", "wells"], ascending=False, kind="stable").index
        few, rest = summed.loc[order[: PLACES - 1]], summed.loc[order[PLACES - 1 :]]
        names = [*(shown(name, 28) for name in few.index), say("brief_other_places", language, n=len(rest))]
        summed = pd.concat([few, rest.sum().to_frame().T])
    rows = [[name, *map(brief.count, values)] for name, values in zip(names, summed.to_numpy("f8"), strict=True)]
    columns = ("place", "wells", "equip", "test", "funded" if len(brief.funded) else "equip", "people")
    head = [say(f"brief_column_{name}", language) for name in columns]
    head.append(say("brief_column_cost", language, currency=brief.currency))
    return {"head": head, "rows": rows, "sum": [say("brief_sum", language), *map(brief.count, table.sum())]}


def tests(brief: Brief, language: str) -> dict[str, Any]:
    """The wells whose test is worth most, and why."""
    sites = brief.sites
    first = sites[sites["test_rank"].notna() & (sites["decision"] == "test_first")].sort_values("test_rank").head(TESTS)
    rows = [
        [
            decimal_text(float(row["test_rank"]), language),
            shown(row["site_id"], 16),
            shown(row["site_name"] or "–", 26),
            str(row["evidence_grade"]),
            brief.count(row["test_value"]),
            brief.count(row["test_cost"]),
            switch_words(row, language) if row["switch_input"] else "–",
        ]
        for _, row in first.iterrows()
    ]
    head = [say(f"brief_test_{name}", language) for name in ("rank", "site", "name", "grade")]
    head += [say(f"brief_test_{name}", language, currency=brief.currency) for name in ("value", "cost")]
    return {"head": [*head, say("brief_test_why", language)], "rows": rows}


def refused(sites: pd.DataFrame, language: str) -> list[list[str]]:
    """Why rows are held, unsuitable or not assessed: reasons with the number of rows, the most frequent first."""
    known = texts(language)
    out = sites[sites["decision"].isin(["hold", "unsuitable", "not_assessed"])]
    codes = out["reason_codes"].astype("str").str.split(";").explode()
    counts = codes[codes.map(lambda code: f"brief_why_{code}" in known)].value_counts().sort_index()
    counts = counts.sort_values(ascending=False, kind="stable")
    lines = [[known[f"brief_why_{code}"][1], decimal_text(count, language)] for code, count in counts.items()]
    if len(lines) > REFUSALS:
        rest = decimal_text(int(counts.iloc[REFUSALS - 1 :].sum()), language)
        lines = [*lines[: REFUSALS - 1], [say("brief_why_others", language), rest]]
    return lines
