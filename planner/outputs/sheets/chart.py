"""Charts as data: places are shares of the plot, labels are text. The template draws, and knows no number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner.texts import decimal_text

Floats = NDArray[np.float64]
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
PLACES = 4  # decimals of a place: a hundredth of a millimetre on the page


@dataclass(frozen=True)
class Axis:
    """An axis from 0 to `top` with a tick every `step`."""

    top: float
    step: float

    def place(self, value: float) -> float:
        """Share of the axis at which a value lies, kept on the plot."""
        return round(min(max(value / self.top, 0.0), 1.0), PLACES)

    def ticks(self, language: str) -> list[list[Any]]:
        """Place and label of each tick."""
        decimals = max(0, -math.floor(math.log10(self.step) + 1e-9))
        decimals += round(self.step * 10**decimals, 6) % 1 > 0
        count = round(self.top / self.step)
        return [[self.place(k * self.step), decimal_text(k * self.step, language, decimals)] for k in range(count + 1)]


def axis(largest: float, ticks: int = 5) -> Axis:
    """An axis of round numbers that reaches `largest`, with about so many ticks.

    >>> axis(42.9)
    Axis(top=50.0, step=10.0)
    """
    rough = max(largest, 1e-6) / ticks
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(one * power for one in STEPS if one * power >= rough * (1 - 1e-9))
    return Axis(step * math.ceil(largest / step - 1e-9) if largest > 0 else step, step)


@dataclass
class Chart:
    """A chart as the template takes it."""

    x: Axis
    y: Axis
    x_label: str
    y_label: str
    language: str
    lines: list[dict[str, Any]] = field(default_factory=list)
    bars: list[dict[str, Any]] = field(default_factory=list)
    marks: list[dict[str, Any]] = field(default_factory=list)
    legend: list[dict[str, Any]] = field(default_factory=list)

    def line(self, x: Sequence[float] | Floats, y: Sequence[float] | Floats, style: str, words: str = "") -> None:
        """A line through points, ended where it leaves the plot upwards; its words go to the legend."""
        points = [[self.x.place(a), self.y.place(b)] for a, b in _inside(x, y, self.x.top, self.y.top)]
        self.lines.append({"points": points, "style": style})
        if words:
            self.legend.append({"line": style, "words": words})

    def mark(self, x: float, y: float, shape: str, words: str = "", legend: str = "") -> None:
        """A mark, with words beside it or in the legend."""
        self.marks.append({"x": self.x.place(x), "y": self.y.place(y), "shape": shape, "words": words})
        if legend:
            self.legend.append({"mark": shape, "words": legend})

    def data(self, x_ticks: list[list[Any]] | None = None) -> dict[str, Any]:
        """All of it for JSON; x_ticks: other ticks than the axis has."""
        return {
            "x_ticks": self.x.ticks(self.language) if x_ticks is None else x_ticks,
            "y_ticks": self.y.ticks(self.language),
            "x_label": self.x_label,
            "y_label": self.y_label,
            "lines": self.lines,
            "bars": self.bars,
            "marks": self.marks,
            "legend": self.legend,
        }


def _inside(
    x: Sequence[float] | Floats, y: Sequence[float] | Floats, right: float, top: float
) -> list[tuple[float, float]]:
    """The points on the plot; where a line crosses an edge it gets a point there."""
    found: list[tuple[float, float]] = []
    points = [(float(a), float(b)) for a, b in zip(x, y, strict=True) if math.isfinite(a) and math.isfinite(b)]
    for before, after in pairwise(points):
        parts = [0.0, 1.0]
        for a, b, low, high in ((before[0], after[0], 0.0, right), (before[1], after[1], 0.0, top)):
            if a == b:
                if not low - 1e-9 <= a <= high + 1e-9:
                    parts = [1.0, 0.0]
                continue
            ends = sorted(((low - a) / (b - a), (high - a) / (b - a)))
            parts = [max(parts[0], ends[0]), min(parts[1], ends[1])]
        if parts[0] <= parts[1]:
            for part in parts:
                point = (before[0] + part * (after[0] - before[0]), before[1] + part * (after[1] - before[1]))
                if not found or point != found[-1]:
                    found.append(point)
    return found
