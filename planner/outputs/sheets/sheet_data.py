"""All that stands on the site sheets, as data for the template: texts, numbers of charts, nothing to be computed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.reason_data import said
from planner.outputs.material import Material
from planner.outputs.sheets.letters import cut
from planner.outputs.sheets.places import HEIGHT, Places, coordinates
from planner.outputs.sheets.safe_text import apart, language_of, run_line, shown
from planner.outputs.sheets.sheet_layout import common, page_line, sized
from planner.outputs.sheets.site_charts import duty_chart, months_chart
from planner.outputs.sheets.site_lines import SiteLines
from planner.texts import of_kind, say, say_count, sentence, texts

# What is written down on site, by column of the form; the inventory's word stands beside what has a name there.
FIELDS = (
    ("visitor", ""),
    ("visit_date", ""),
    ("signature", ""),
    ("photos", ""),
    ("gps_latitude", ""),
    ("gps_longitude", ""),
    ("gps_accuracy", ""),
    ("state", "status"),
    ("rest_level", "static_level_m"),
    ("reference_point", "casing_stickup_m"),
    ("depth", "depth_m"),
    ("casing", "casing_mm"),
    ("dummy", ""),
    ("straight", ""),
    ("equipped", "equipped_with"),
    ("road", ""),
    ("ec", "ec_us_cm"),
    ("ph", "ph"),
    ("iron", "iron_mg_l"),
    ("temperature", "water_temperature_c"),
    ("fluoride", "fluoride_mg_l"),
    ("arsenic", "arsenic_mg_l"),
    ("nitrate", "nitrate_mg_l"),
    ("chloride", "chloride_mg_l"),
    ("sand", "sand_mg_l"),
    ("bacteria", ""),
    ("users", "people"),
    ("livestock", "livestock_tlu"),
    ("shade", ""),
    ("theft", ""),
    ("land", ""),
    ("remarks", ""),
)
TESTED = ("tested_yield_m3_h", "pumping_level_m", "test_hours", "test_date")
STEPS = 4
ID_EM, PLACE_EM = 26.0, 22.0  # widths, so that the row of the inventory always stands behind them
WORDS = (
    "sketch", "duty", "months", "equipment", "costs", "water", "reasons", "verify", "cautions", "no_position",
    "no_design", "step_table", "recovery",
)  # fmt: skip


def sheet_sites(sites: pd.DataFrame) -> pd.DataFrame:
    """The sites that get a sheet, in the order of the sheets: funded and reserve by rank, then wells to test first.

    Where nothing is funded because the plan has no budget, all sites to equip stand for them. Wells to test come in
    the order of what their test is worth, then by row.
    """
    bought = sites["funding"].isin(["funded", "reserve"])
    if not (sites["funding"] != "").any():
        bought = sites["decision"] == "equip"
    test = (sites["decision"] == "test_first") & ~bought
    wanted = sites[bought | test].assign(place=np.where(bought[bought | test], 0, 1))
    return wanted.sort_values(["place", "rank", "test_rank", "inventory_row"], kind="stable", na_position="last")


def sheets_data(material: Material) -> dict[str, Any]:
    """Data of sheet.typ: words, and one record a sheet."""
    plan, about = material.plan.plan, material.about
    language = language_of(plan)
    wanted = sheet_sites(material.sites)
    chosen = wanted.head(plan.output.sheets_max)
    places = Places(material, language)
    why = reasons(chosen, material.checks, language)
    sheets = [
        _sheet(chosen.iloc[at], why.get(int(row), []), places, material, language)
        for at, row in enumerate(chosen["inventory_row"])
    ]
    known = texts(language)
    data = {
        "words": {name: known[f"sheets_{name}"][1] for name in WORDS},
        "legend": places.legend(),
        "inset": None if places.whole is None else places.whole.data(),
        "sketch_height": HEIGHT,
        "steps": [known[f"sheets_step_{name}"][1] for name in ("number", "flow", "level", "time")],
        "count": STEPS,
        "cautions": of_kind("caution", language),
        "programme": shown(about["programme"], 90),
        "title": say("sheets_title", language),
        "run": run_line(about, language),
        "pages": [page_line(say("sheets_page", language, n=at + 1, m=len(sheets))) for at in range(len(sheets))],
        "left_out": say_count("sheets_left_out", len(wanted) - len(chosen), language, all=len(wanted))
        if len(wanted) > len(chosen)
        else "",
        "none": say("sheets_no_sites", language),
        "language": language,
        "sheets": sheets,
    }
    return data | common(data)


def reasons(sites: pd.DataFrame, checks: pd.DataFrame, language: str) -> dict[int, list[str]]:
    """The sentences of all reasons of each site, by inventory_row."""
    found: dict[int, list[str]] = {}
    frame = sites.reset_index(drop=True)
    table = said(frame, checks[checks["inventory_row"].isin(frame["inventory_row"])])
    columns = (table[name].tolist() for name in ("inventory_row", "rule", "subject", "value", "limit"))
    for row, rule, subject, value, limit in zip(*columns, strict=True):
        words = shown(sentence(str(rule), str(subject), float(value), float(limit), language), 300)
        lines = found.setdefault(int(row), [])
        if words not in lines:
            lines.append(words)
    return found


def _sheet(row: pd.Series, why: list[str], places: Places, material: Material, language: str) -> dict[str, Any]:
    plan = material.plan.plan
    lines = SiteLines(row, plan, language)
    designed = row["engine_status"] == "designed"
    known = lines.in_inventory()
    test = ", ".join(known[name] for name in TESTED if name in known)
    sheet = {
        "name": shown(row["site_name"]) or say("sheets_no_name", language),
        "id": say(
            "sheets_identity",
            language,
            id=apart(cut(shown(row["site_id"], 40), ID_EM)) or "–",
            place=apart(cut(shown(row["sub_district_used"], 60), PLACE_EM)) or "–",
            row=str(int(row["inventory_row"])),
        ),
        "decision": lines.code("sheets_decision", "decision"),
        "facts": lines.facts(),
        "first": lines.test(),
        "reasons": why,
        "coordinates": coordinates(row, language),
        "sketch": places.sketch(row),
        "duty": duty_chart(row, material.catalogue, plan, language) if designed else None,
        "months": months_chart(row, plan.demand.losses, language) if designed else None,
        "equipment": lines.equipment() if designed else [],
        "costs": lines.costs() if designed else [],
        "money_note": lines.money_note(),
        "water": lines.water() if designed else [],
        "fields": [
            [say(f"sheets_field_{name}", language), lines.of_inventory(known.get(column, ""))]
            for name, column in FIELDS
        ],
        "test_known": lines.of_inventory(test),
    }
    return sized(sheet)
