"""The break-even chart as SVG: which way is cheapest over head × daily volume. Text, the same bytes every time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from planner.texts import ENGLISH, say
from planner.texts.locales import marked

LEFT, TOP, CELL_W, CELL_H = 78, 74, 62, 34
WAYS = ("solar", "handpump", "diesel", "")
# Distinct in grey too, and told by a letter in every cell.
FILL = {"solar": "#f6d98b", "handpump": "#9cc7d8", "diesel": "#b9a6a0", "": "#f2f2f2"}
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
    size = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="sans-serif" font-size="12" role="img">',
        f"<title>{escape(chart.title)}</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        _text(16, 26, chart.title, size=15, weight="bold"),
        _text(16, 46, say("break_even_cells", chart.language)),
    ]
    for r in range(rows):
        y = plot - (r + 1) * CELL_H
        parts.append(_text(LEFT - 8, y + CELL_H / 2 + 4, marked(f"{chart.head_m[r]:g}", chart.language), anchor="end"))
        for c in range(columns):
            parts += _cell(
                LEFT + c * CELL_W, y, str(chart.cheapest[r, c]), float(chart.diesel_over_solar[r, c]), chart.language
            )
    for c, volume in enumerate(chart.volume_m3_day):
        parts.append(
            _text(LEFT + (c + 0.5) * CELL_W, plot + 18, marked(f"{volume:g}", chart.language), anchor="middle")
        )
    volumes = say("break_even_volumes", chart.language)
    parts.append(_text(LEFT + columns * CELL_W / 2, plot + 38, volumes, anchor="middle"))
    middle = (TOP + plot) / 2
    parts.append(
        f'<text x="22" y="{middle:.1f}" text-anchor="middle" transform="rotate(-90 22 {middle:.1f})">'
        f"{escape(say('break_even_heads', chart.language))}</text>"
    )
    parts += _line(chart, plot)
    x = float(LEFT)
    for name in WAYS:
        words = say(f"break_even_{name or 'none'}", chart.language)
        parts.append(f'<rect x="{x:.1f}" y="{plot + 52}" width="14" height="14" fill="{FILL[name]}" stroke="#555555"/>')
        parts.append(_text(x + 20, plot + 63, f"{LETTER[name]} {words}"))
        x += 48 + 7.5 * len(words)
    parts += [_text(16, plot + 90 + 16 * i, note, size=11) for i, note in enumerate(chart.notes)]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _cell(x: float, y: float, name: str, ratio: float, language: str) -> list[str]:
    rect = f'<rect x="{x}" y="{y}" width="{CELL_W}" height="{CELL_H}" fill="{FILL[name]}" stroke="#ffffff"/>'
    words = LETTER[name] + (marked(f" {ratio:.2f}", language) if math.isfinite(ratio) else "")
    return [rect, _text(x + CELL_W / 2, y + CELL_H / 2 + 4, words, anchor="middle")]


def _line(chart: Chart, plot: float) -> list[str]:
    """The line along which diesel and solar cost the same, through the middles of its rows; in words where there is
    none."""
    points = crossings(chart)
    if not points:
        known = chart.diesel_over_solar[np.isfinite(chart.diesel_over_solar)]
        if not known.size:
            return []
        key = "break_even_dearer_solar" if float(known.max()) < 1.0 else "break_even_dearer_diesel"
        return [_text(16, 64, say(key, chart.language))]
    logs = np.log(chart.volume_m3_day)
    places = []
    for volume, head in points:
        column = float(np.interp(math.log(volume), logs, np.arange(len(logs)) + 0.5))
        row = chart.head_m.index(head) + 0.5
        places.append(f"{LEFT + column * CELL_W:.1f},{plot - row * CELL_H:.1f}")
    line = f'<polyline points="{" ".join(places)}" fill="none" stroke="#a01818" stroke-width="3"/>'
    dots = [f'<circle cx="{p.split(",")[0]}" cy="{p.split(",")[1]}" r="4" fill="#a01818"/>' for p in places]
    return [line, *dots, _text(16, 64, say("break_even_line", chart.language))]


def _text(
    x: float, y: float, words: str, *, size: int = 12, anchor: str = "start", weight: str = "normal"
) -> str:  # fmt: skip
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}">'
        f"{escape(words)}</text>"
    )
