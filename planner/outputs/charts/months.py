"""The months of the funded sites: what they could pump, what is wanted, what is used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.glossary import monthly
from planner.outputs.charts.drawing import DARK, INK, LIGHT, Scale, axes, circle, polyline, rect, rounded_up, text
from planner.outputs.charts.frame import LEFT, RIGHT, TOP, WIDTH, framed
from planner.texts import month_names, say, say_count

HEIGHT = 360


def month_sums(sites: pd.DataFrame, losses: float) -> dict[str, NDArray[np.float64]]:
    """(12,) pumped, wanted and used of the funded sites, or of all to equip where none is: m3 a day at the tank inlet.

    losses  share lost between tank and tap: used_01 … are at the tap, the others at the tank
    pumped  what the sets can pump where no tank is ever full
    """
    rows = month_sites(sites)
    sums = {}
    for name, stem in (("pumped", "volume"), ("wanted", "demand"), ("used", "used")):
        sums[name] = rows[monthly(stem)].astype("float64").sum().to_numpy(dtype="float64")
    return {**sums, "used": sums["used"] / (1.0 - losses)}


def month_sites(sites: pd.DataFrame) -> pd.DataFrame:
    """The sites that the picture sums."""
    funded = sites["funding"] == "funded"
    return sites[funded if funded.any() else sites["decision"] == "equip"]


def months_svg(sites: pd.DataFrame, losses: float, about: Mapping[str, Any], language: str) -> str:
    """The picture: a bar a month, dark what is used, light what could be pumped beyond; a line for what is wanted."""
    sums = month_sums(sites, losses)
    bottom = TOP + HEIGHT
    x = Scale(0.0, 12.0, LEFT, WIDTH - RIGHT)
    y = Scale(0.0, rounded_up(max(float(one.max()) for one in sums.values())), bottom, TOP + 24)
    parts = axes(replace(x, bare=True), y, "", say("chart_months_water", language), language)
    for month, name in enumerate(month_names(language)):
        left, right = x.at(month + 0.14), x.at(month + 0.86)
        used, pumped = (float(sums[key][month]) for key in ("used", "pumped"))
        parts.append(rect(left, y.at(pumped), right - left, y.at(used) - y.at(pumped), LIGHT, INK))
        parts.append(rect(left, y.at(used), right - left, bottom - y.at(used), DARK))
        parts.append(text(x.at(month + 0.5), bottom + 19, name, anchor="middle"))
    middles = [(x.at(month + 0.5), y.at(float(wanted))) for month, wanted in enumerate(sums["wanted"])]
    parts.append(polyline(middles, "#ffffff", 4))
    parts.append(polyline(middles, INK, 1.8, "6 4"))
    parts += [circle(*middle, 3.5, "#ffffff", INK) for middle in middles]
    parts += [
        rect(LEFT, TOP, 14, 14, DARK, INK),
        text(LEFT + 20, TOP + 12, say("chart_months_used", language)),
        rect(LEFT + 250, TOP, 14, 14, LIGHT, INK),
        text(LEFT + 270, TOP + 12, say("chart_months_pumped", language)),
        polyline([(LEFT + 540, TOP + 7), (LEFT + 566, TOP + 7)], INK, 1.8, "6 4"),
        circle(LEFT + 553, TOP + 7, 3.5, "#ffffff", INK),
        text(LEFT + 574, TOP + 12, say("chart_months_wanted", language)),
    ]
    key = "chart_months_funded" if (sites["funding"] == "funded").any() else "chart_months_equip"
    below = say_count(key, len(month_sites(sites)), language)
    return framed(about, language, say("chart_months_title", language), below, parts, bottom + 26)
