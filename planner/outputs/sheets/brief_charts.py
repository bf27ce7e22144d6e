"""Pictures of the brief: the map of the area, the supply curve, and people against budget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.material import Material
from planner.outputs.sheets.chart import Chart, axis
from planner.outputs.sheets.safe_text import shown
from planner.outputs.sheets.sketch import SHAPES, Sketch, borders, frame_of, group_of
from planner.texts import say

CELLS = 130  # marks in a row of the map at most: what would lie over another is left out
MOST_BARS = 400
MAP_SHAPE = 1.05  # height of the map over its width
FILLS = {"funded": "dark", "reserve": "grey", "other": "light"}


def area_map(material: Material, language: str) -> dict[str, Any] | None:
    """The map with every site's shape and the areas' names; None without a position."""
    frame = frame_of(material.polygons, material.sites, MAP_SHAPE)
    if frame is None:
        return None
    sketch = Sketch(frame, language)
    sketch.outline(borders(material.polygons), "border", frame.half_x_m / 300)
    sites = material.sites
    placed = sites[sites["latitude"].notna() & sites["longitude"].notna()]
    x, y = frame.places(placed["latitude"].to_numpy("f8"), placed["longitude"].to_numpy("f8"))
    order = list(SHAPES)
    groups = [group_of(*pair) for pair in zip(placed["decision"], placed["funding"], strict=True)]
    marks = pd.DataFrame({"x": x, "y": y, "group": [order.index(one) for one in groups]})
    marks = marks[marks["x"].between(0, 1) & marks["y"].between(0, 1)].sort_values("group", kind="stable")
    cells = (marks[["x", "y"]] * CELLS).astype(int)
    marks = marks[~cells.duplicated()].iloc[::-1]  # what matters most is drawn last
    for left, up, group in zip(marks["x"].tolist(), marks["y"].tolist(), marks["group"].tolist(), strict=True):
        sketch.marks.append({"x": round(left, 4), "y": round(up, 4), "shape": SHAPES[order[group]]})
    _area_names(sketch, material)
    return sketch.data()


def _area_names(sketch: Sketch, material: Material) -> None:
    if material.polygons is None or len(material.polygons) > 40:
        return
    shapes = material.polygons[material.polygons.geometry.notna() & ~material.polygons.geometry.is_empty]
    middle = shapes.geometry.representative_point()
    x, y = sketch.frame.places(middle.y.to_numpy(), middle.x.to_numpy())
    for at, name in enumerate(shapes[material.name_field]):
        words = shown(name, 22)
        sketch.name(max(float(x[at]) - 0.006 * len(words), 0.0), float(y[at]), words, strong=True)


def supply_curve(sites: pd.DataFrame, currency: str, language: str) -> dict[str, Any] | None:
    """Sites to equip in the order of their cost of water: how much water at which cost; None without any."""
    ranked = sites[(sites["decision"] == "equip") & sites["cost_per_m3"].notna()].sort_values(
        ["cost_per_m3", "inventory_row"], kind="stable"
    )
    if ranked.empty:
        return None
    cost, water = ranked["cost_per_m3"].to_numpy("f8"), ranked["volume_used_m3_day"].to_numpy("f8")
    ends = np.cumsum(water)
    chart = Chart(
        axis(float(ends[-1])),
        axis(float(cost.max())),
        say("brief_axis_water", language),
        say("brief_axis_cost", language, currency=currency),
        language,
    )
    groups = [one if one in FILLS else "other" for one in ranked["funding"]]
    if len(ranked) <= MOST_BARS:
        for start, end, height, group in zip(ends - water, ends, cost, groups, strict=True):
            x = chart.x.place(float(start))
            bar = {"x": x, "w": round(chart.x.place(float(end)) - x, 4), "y": chart.y.place(float(height))}
            chart.bars.append({**bar, "fill": FILLS[group]})
        for group, fill in FILLS.items():
            if group in groups:
                key = "brief_other_equip" if group == "other" else f"sheets_group_{group}"
                chart.legend.append({"fill": fill, "words": say(key, language)})
    else:
        chart.line(np.repeat(np.append(0.0, ends), 2)[1:-1], np.repeat(cost, 2), "solid")
    return chart.data()


def budget_curve(steps: Sequence[Mapping[str, Any]], currency: str, language: str) -> dict[str, Any] | None:
    """People served by the best programme of each budget; None without budgets that keep the rules."""
    kept = [step for step in steps if step["rules_kept"]]
    if not kept:
        return None
    money = [float(step["budget"]) for step in kept]
    people = [float(step["people_served"]) for step in kept]
    unit = 1e6 if max(money) >= 2e6 else 1e3
    chart = Chart(
        axis(max(money) / unit),
        axis(max(people)),
        say("brief_axis_budget_millions" if unit == 1e6 else "brief_axis_budget", language, currency=currency),
        say("brief_axis_people", language),
        language,
    )
    chart.line([one / unit for one in money], people, "solid")
    for at, step in enumerate(kept):
        if not step["own"]:
            chart.mark(money[at] / unit, people[at], "dot")
    for at, step in enumerate(kept):
        if step["own"]:
            chart.mark(money[at] / unit, people[at], "disc", "", say("brief_own_budget", language))
    return chart.data()
