"""The supply curve: how much water can be had up to which cost, cheapest sites first, with the funded ones dark."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from planner.outputs.charts.drawing import DARK, INK, LIGHT, Scale, axes, polyline, rect, rounded_up, text
from planner.outputs.charts.frame import LEFT, RIGHT, TOP, WIDTH, framed
from planner.texts import decimal_text, say, say_count

HEIGHT = 380


def supply_rows(sites: pd.DataFrame) -> pd.DataFrame:
    """Sites to equip from cheap to dear: inventory_row, funded, cost, volume, until (the volume of all up to each)."""
    equip = sites[(sites["decision"] == "equip") & sites["cost_per_m3"].notna() & (sites["volume_used_m3_day"] > 0)]
    rows = pd.DataFrame(
        {
            "inventory_row": equip["inventory_row"].astype("int64"),
            "funded": equip["funding"] == "funded",
            "cost": equip["cost_per_m3"].astype("float64"),
            "volume": equip["volume_used_m3_day"].astype("float64"),
        }
    ).sort_values(["cost", "inventory_row"], kind="stable", ignore_index=True)
    return rows.assign(until=rows["volume"].cumsum())


def supply_curve_svg(sites: pd.DataFrame, about: Mapping[str, Any], language: str) -> str:
    """The picture; a bar a site, as wide as its water and as high as its cost."""
    rows = supply_rows(sites)
    all_water, funded = float(rows["volume"].sum()), rows[rows["funded"]]
    bottom = TOP + HEIGHT
    x = Scale(0.0, rounded_up(all_water), LEFT, WIDTH - RIGHT)
    y = Scale(0.0, rounded_up(float(rows["cost"].max()) if len(rows) else 0.0), bottom, TOP + 24)
    cost_words = say("chart_supply_cost", language, money=str(about["currency"]))
    parts = axes(x, y, say("chart_supply_water", language), cost_words, language)
    line = []
    columns = (rows[name].tolist() for name in ("volume", "until", "cost", "funded"))
    for volume, until, cost, paid in zip(*columns, strict=True):
        left, right, top = x.at(until - volume), x.at(until), y.at(cost)
        parts.append(rect(left, top, right - left, bottom - top, DARK if paid else LIGHT))
        line += [(left, top), (right, top)]
    if line:
        parts.append(polyline(line, INK, 1.4))
    parts += [
        rect(LEFT, TOP, 14, 14, DARK, INK),
        text(LEFT + 20, TOP + 12, _words("chart_supply_funded", funded, language)),
        rect(LEFT + 380, TOP, 14, 14, LIGHT, INK),
        text(LEFT + 400, TOP + 12, _words("chart_supply_other", rows[~rows["funded"]], language)),
    ]
    below = say("chart_supply_below", language)
    return framed(about, language, say("chart_supply_title", language), below, parts, bottom + 46, costs=True)


def _words(key: str, rows: pd.DataFrame, language: str) -> str:
    return say_count(key, len(rows), language, water=decimal_text(float(rows["volume"].sum()), language))
