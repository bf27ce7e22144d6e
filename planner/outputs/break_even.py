"""The break-even chart as SVG: which way is cheapest over head × daily volume. Text, the same bytes every time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.outputs.charts.drawing import circle, picture, polyline, rect, text
from planner.texts import ENGLISH, say
from planner.texts.locales import marked

LEFT, TOP, CELL_W, CELL_H = 78, 74, 62, 34
WAYS = ("solar", "handpump", "diesel", "")
# Distinct in grey too, and told by a letter in every cell.
FILL = {"solar": "#f6d98b", "handpump": "#9cc7d8", "diesel": "#b9a6a0", "": "#f2f2f2"}
RED = "#a01818"
LETTER = {"solar": "S", "handpump": "H", "diesel": "D", "": "–"}


@dataclass(frozen=True)
class Chart:
    """Heads in rows, volumes in columns.

    head_m, volume_m3_day  of the rows and the columns, rising
    cheapest               (rows, columns) one of WAYS
    diesel_over_solar      (rows, columns) cost per m3 ÷ cost per m3; NaN where one of them does not meet the rules
    title, notes           texts above and below
    """

    head_m: tuple[float, ...]
    volume_m3_day: tuple[float, ...]
    cheapest: NDArray[np.object_]
    diesel_over_solar: NDArray[np.float64]
    title: str
    notes: tuple[str, ...]
    language: str = ENGLISH


def crossings(chart: Chart) -> list[tuple[float, float]]:
    """Points (volume, head) where diesel and solar cost the same: straight in log volume and log ratio along a head.

    The last crossing of a row where there are several.
    """
    found = []
    for head, row in zip(chart.head_m, chart.diesel_over_solar, strict=True):
        with np.errstate(invalid="ignore", divide="ignore"):
            log = np.log(row)
        for i in range(len(row) - 1, 0, -1):
            a, b = float(log[i - 1]), float(log[i])
            if math.isfinite(a) and math.isfinite(b) and (a > 0.0) != (b > 0.0):
                x, y = math.log(chart.volume_m3_day[i - 1]), math.log(chart.volume_m3_day[i])
                found.append((math.exp(x + (y - x) * a / (a - b)), head))
                break
    return found


def break_even_svg(chart: Chart) -> str:
    """The chart as an SVG text."""
    rows, columns = len(chart.head_m), len(chart.volume_m3_day)
    width, plot = LEFT + columns * CELL_W + 24, TOP + rows * CELL_H
    height = plot + 96 + 16 * len(chart.notes)
    cells_words = say("break_even_cells", chart.language)
    parts = [text(16, 26, chart.title, size=15, weight="bold"), text(16, 46, cells_words)]
    for r in range(rows):
        y = plot - (r + 1) * CELL_H
        parts.append(text(LEFT - 8, y + CELL_H / 2 + 4, marked(f"{chart.head_m[r]:g}", chart.language), anchor="end"))
        for c in range(columns):
            name, ratio = str(chart.cheapest[r, c]), float(chart.diesel_over_solar[r, c])
            parts += _cell(LEFT + c * CELL_W, y, name, ratio, chart.language)
    for c, volume in enumerate(chart.volume_m3_day):
        words = marked(f"{volume:g}", chart.language)
        parts.append(text(LEFT + (c + 0.5) * CELL_W, plot + 18, words, anchor="middle"))
    volumes, heads = (say(f"break_even_{name}", chart.language) for name in ("volumes", "heads"))
    parts.append(text(LEFT + columns * CELL_W / 2, plot + 38, volumes, anchor="middle"))
    parts.append(text(22, (TOP + plot) / 2, heads, anchor="middle", turned=True))
    parts += _line(chart, plot)
    x = float(LEFT)
    for name in WAYS:
        words = say(f"break_even_{name or 'none'}", chart.language)
        parts.append(rect(x, plot + 52, 14, 14, FILL[name], "#555555"))
        parts.append(text(x + 20, plot + 63, f"{LETTER[name]} {words}"))
        x += 48 + 7.5 * len(words)
    parts += [text(16, plot + 90 + 16 * i, note, size=11) for i, note in enumerate(chart.notes)]
    return picture(width, height, chart.title, " ".join([cells_words, *chart.notes]), parts)


def _cell(x: float, y: float, name: str, ratio: float, language: str) -> list[str]:
    words = LETTER[name] + (marked(f" {ratio:.2f}", language) if math.isfinite(ratio) else "")
    return [
        rect(x, y, CELL_W, CELL_H, FILL[name], "#ffffff"),
        text(x + CELL_W / 2, y + CELL_H / 2 + 4, words, anchor="middle"),
    ]


def _line(chart: Chart, plot: float) -> list[str]:
    """The line along which diesel and solar cost the same, through the middles of its rows; in words where there is
    none."""
    points = crossings(chart)
    if not points:
        known = chart.diesel_over_solar[np.isfinite(chart.diesel_over_solar)]
        if not known.size:
            return []
        key = "break_even_dearer_solar" if float(known.max()) < 1.0 else "break_even_dearer_diesel"
        return [text(16, 64, say(key, chart.language))]
    logs = np.log(chart.volume_m3_day)
    places = []
    for volume, head in points:
        column = float(np.interp(math.log(volume), logs, np.arange(len(logs)) + 0.5))
        row = chart.head_m.index(head) + 0.5
        places.append((LEFT + column * CELL_W, plot - row * CELL_H))
    dots = [circle(*place, 4, RED) for place in places]
    return [polyline(places, RED, 3), *dots, text(16, 64, say("break_even_line", chart.language))]
