"""Head × flow: the duty of every set that was found, by pump family, under what the catalogue's pumps can lift."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.catalogue.arrays import FAMILIES, HELICAL, Pumps
from planner.outputs.charts.drawing import (
    DARK,
    INK,
    LIGHT,
    MIDDLE,
    PAPER,
    Scale,
    axes,
    circle,
    polygon,
    polyline,
    rect,
    text,
)
from planner.outputs.charts.frame import LEFT, RIGHT, TOP, WIDTH, framed
from planner.texts import say, say_count

HEIGHT = 430
PA_PER_M = 998.2 * 9.80665  # water of 20 °C
FILLS = {"helical_rotor": DARK, "centrifugal": LIGHT, "surface": MIDDLE}
DASHES = {"helical_rotor": "", "centrifugal": "9 4", "surface": "2 3"}
STEPS = 240  # of the flow, along a boundary


def boundary_m(pumps: Pumps, family: int, flow_m3_h: NDArray[np.float64]) -> NDArray[np.float64]:
    """Highest head, m, that any new pump of a family gives at each flow at its rated speed; NaN beyond all of them."""
    best = np.full(flow_m3_h.shape, np.nan)
    for place in np.flatnonzero(pumps.family == family).tolist():
        head = _helical_m(pumps, place, flow_m3_h) if family == HELICAL else _curve_m(pumps, place, flow_m3_h)
        best = np.fmax(best, np.where(head > 0.0, head, np.nan))
    return best


def _helical_m(pumps: Pumps, place: int, flow_m3_h: NDArray[np.float64]) -> NDArray[np.float64]:
    """The pressure whose slip leaves the flow, up to the pump's limit; slip is k Δp^a."""
    swept = 60e-6 * pumps.displacement_cm3[place] * pumps.rated_speed_rpm[place]
    slip, limit = pumps.slip_m3_h_pa[place], pumps.pressure_limit_pa[place]
    left = np.maximum(swept - flow_m3_h, 0.0)
    pressure = np.minimum((left / slip) ** (1.0 / pumps.slip_exponent[place]), limit) if slip > 0 else limit
    return np.where(left > 0.0, pressure / PA_PER_M, np.nan)


def _curve_m(pumps: Pumps, place: int, flow_m3_h: NDArray[np.float64]) -> NDArray[np.float64]:
    curve = (pumps.head_0_m[place], pumps.head_1_m_h_m3[place], pumps.head_2_m_h2_m6[place])
    head = curve[0] + curve[1] * flow_m3_h + curve[2] * flow_m3_h**2
    return np.where(flow_m3_h <= pumps.max_flow_ratio[place] * pumps.best_flow_m3_h[place], head, np.nan)


def duty_rows(sites: pd.DataFrame) -> pd.DataFrame:
    """inventory_row, pump_family, flow, head of every site with a design, in the order of the inventory."""
    known = sites[(sites["pump_family"] != "") & (sites["peak_flow_m3_h"] > 0) & (sites["total_head_m"] > 0)]
    columns = {"peak_flow_m3_h": "flow", "total_head_m": "head"}
    return known[["inventory_row", "pump_family", *columns]].rename(columns=columns).reset_index(drop=True)


def head_flow_svg(sites: pd.DataFrame, pumps: Pumps, about: Mapping[str, Any], language: str) -> str:
    """The picture, both axes logarithmic."""
    rows = duty_rows(sites)
    bottom = TOP + HEIGHT
    x = Scale(*_ends(rows["flow"], 0.5, 10.0), LEFT, WIDTH - RIGHT, True)
    y = Scale(*_ends(rows["head"], 5.0, 100.0), bottom, TOP + 30, True)
    parts = axes(x, y, say("chart_duty_flow", language), say("chart_duty_head", language), language)
    flow = np.geomspace(x.low, x.high, STEPS)
    left = float(LEFT)
    for place, name in enumerate(FAMILIES):
        own = rows[rows["pump_family"] == name]
        lines = _lines(flow, boundary_m(pumps, place, flow), x, y)
        if own.empty and not lines:
            continue
        parts += [polyline(line, INK, 1.6, DASHES[name]) for line in lines]
        parts += [_mark(name, x.at(one), y.at(high)) for one, high in zip(own["flow"], own["head"], strict=True)]
        parts.append(polyline([(left, TOP + 8), (left + 34, TOP + 8)], INK, 1.6, DASHES[name]))
        parts.append(_mark(name, left + 17, TOP + 8))
        words = say_count("chart_duty_family", len(own), language, family=say(name, language))
        parts.append(text(left + 42, TOP + 12, words))
        left += 270
    parts.append(rect(x.start, y.stop, x.stop - x.start, y.start - y.stop, "none", INK))
    below = say("chart_duty_below", language)
    return framed(about, language, say("chart_duty_title", language), below, parts, bottom + 46)


def _ends(values: pd.Series, low: float, high: float) -> tuple[float, float]:
    """Ends of an axis: round values that hold all points, and this range at least."""
    known = values.astype("float64")
    least, most = (float(known.min()), float(known.max())) if len(known) else (low, high)
    grid = [float(f"{lead}e{power}") for power in range(-3, 5) for lead in (1, 2, 5)]
    return max(one for one in grid if one <= min(low, 0.9 * least)), min(
        one for one in grid if one >= max(high, 1.2 * most)
    )


def _lines(flow: NDArray[np.float64], head: NDArray[np.float64], x: Scale, y: Scale) -> list[list[tuple[float, float]]]:
    """A boundary as lines within the plot, broken where it leaves it."""
    lines: list[list[tuple[float, float]]] = [[]]
    for one, high in zip(flow.tolist(), head.tolist(), strict=True):
        if y.low <= high <= y.high:
            lines[-1].append((x.at(one), y.at(high)))
        elif lines[-1]:
            lines.append([])
    return [line for line in lines if len(line) > 1]


def _mark(name: str, x: float, y: float) -> str:
    fill = FILLS[name]
    if name == "centrifugal":
        return polygon([(x, y - 5), (x + 4.6, y + 3.6), (x - 4.6, y + 3.6)], fill, INK)
    if name == "surface":
        return rect(x - 3.8, y - 3.8, 7.6, 7.6, fill, INK)
    return circle(x, y, 3.6, fill, PAPER)
