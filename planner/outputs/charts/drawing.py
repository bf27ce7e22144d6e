"""Elements of an SVG picture as text, and the scales of its axes."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from planner.texts import decimal_text

INK, PAPER, GREY, RULE = "#1d2b33", "#ffffff", "#55626a", "#d5dbd9"
DARK, MIDDLE, LIGHT = "#1f4e79", "#7fa8c9", "#dbe6ee"  # told apart by lightness alone
LONGEST = 90  # letters of a foreign text in a line of a picture

# What XML 1.0 cannot hold, and marks that turn the direction of the words around them.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NO_CHARACTER = re.compile("[\ud800-\udfff\ufffe\uffff\u202a-\u202e\u2066-\u2069]")


def safe(words: str) -> str:
    r"""Text that XML can hold, escaped; a control character shows as its picture.

    >>> safe("a\x07 <b>") == "a\u2407 &lt;b&gt;"
    True
    """
    return escape(_NO_CHARACTER.sub("\ufffd", _CONTROL.sub(lambda found: chr(0x2400 + ord(found[0])), words)))


def shortened(words: str, longest: int = LONGEST) -> str:
    """Foreign text for one line: cut behind so many letters."""
    return words if len(words) <= longest else words[: longest - 1] + "…"


def number(value: float) -> str:
    """A coordinate: a tenth of a pixel is enough, and keeps the bytes the same on every machine.

    >>> number(12.0), number(-0.04), number(3.25)
    ('12', '0', '3.2')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: int = 12,
    anchor: str = "start",
    weight: str = "normal",
    fill: str = INK,
    turned: bool = False,
) -> str:
    """Words with their base line at y; turned: read from below to above."""
    turn = f' transform="rotate(-90 {number(x)} {number(y)})"' if turned else ""
    bold = "" if weight == "normal" else f' font-weight="{weight}"'
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    look = f'font-size="{size}" fill="{fill}"{place}{bold}{turn}'
    return f'<text x="{number(x)}" y="{number(y)}" {look}>{safe(words)}</text>'


def rect(x: float, y: float, width: float, height: float, fill: str, stroke: str = "none") -> str:
    """A rectangle from its upper left corner."""
    size = f'width="{number(width)}" height="{number(height)}"'
    return f'<rect x="{number(x)}" y="{number(y)}" {size} fill="{fill}" stroke="{stroke}"/>'


def circle(x: float, y: float, radius: float, fill: str, stroke: str = "none") -> str:
    """A disc."""
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="{stroke}"/>'


def polygon(points: Sequence[tuple[float, float]], fill: str, stroke: str = "none") -> str:
    """A closed shape."""
    return f'<polygon points="{_points(points)}" fill="{fill}" stroke="{stroke}"/>'


def polyline(points: Sequence[tuple[float, float]], stroke: str = INK, width: float = 1.0, dashes: str = "") -> str:
    """A line through points."""
    broken = f' stroke-dasharray="{dashes}"' if dashes else ""
    line = f'fill="none" stroke="{stroke}" stroke-width="{number(width)}"{broken}'
    return f'<polyline points="{_points(points)}" {line}/>'


def picture(width: float, height: float, title: str, description: str, parts: Sequence[str]) -> str:
    """A whole SVG file on white, with a title and a description for those who do not see it."""
    size = f'viewBox="0 0 {number(width)} {number(height)}" width="{number(width)}" height="{number(height)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="sans-serif" font-size="12" role="img">'
    told = [f"<title>{safe(title)}</title>", f"<desc>{safe(description)}</desc>"]
    return "\n".join([head, *told, rect(0, 0, width, height, PAPER), *parts, "</svg>"]) + "\n"


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


@dataclass(frozen=True)
class Scale:
    """Values on a length of the picture.

    low, high    values at both ends; above zero where `logarithmic`
    start, stop  pixels at both ends; start > stop for an axis that rises
    bare         no figures: what stands along it names itself
    """

    low: float
    high: float
    start: float
    stop: float
    logarithmic: bool = False
    bare: bool = False

    def at(self, value: float) -> float:
        """The pixel of a value; beyond the ends where the value is.

        >>> Scale(1, 100, 0, 200, True).at(10)
        100.0
        """
        low, high = self.low, self.high
        if self.logarithmic:
            value, low, high = (math.log(one) for one in (value, low, high))
        return self.start + (value - low) / (high - low) * (self.stop - self.start)

    def ticks(self) -> list[float]:
        """Round values from low to high: five to ten, or 1, 2 and 5 of every power of ten.

        >>> Scale(0, 0.9, 0, 1).ticks()
        [0.0, 0.2, 0.4, 0.6, 0.8]
        >>> Scale(0.5, 12, 0, 1, True).ticks()
        [0.5, 1.0, 2.0, 5.0, 10.0]
        """
        if self.bare:
            return []
        if self.logarithmic:
            powers = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
            found = [float(f"{lead}e{power}") for power in powers for lead in (1, 2, 5)]
            return [one for one in found if self.low * (1 - 1e-9) <= one <= self.high * (1 + 1e-9)]
        step = step_of(self.high - self.low)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [float(f"{place * step:.12g}") for place in range(first, last + 1)]


def step_of(span: float) -> float:
    """1, 2 or 5 × a power of ten that parts a span into four to nine."""
    power = 10.0 ** math.floor(math.log10(span / 4))
    return next(lead * power for lead in (5, 2, 1) if lead * power <= span / 4 * (1 + 1e-9))


def rounded_up(value: float) -> float:
    """The next step above a value, as the end of an axis from nought; 1 for nothing."""
    if not value > 0:
        return 1.0
    step = step_of(value)
    return float(f"{math.ceil(value / step - 1e-9) * step:.12g}")


def axes(x: Scale, y: Scale, x_words: str, y_words: str, language: str) -> list[str]:
    """Both axes with their rules, figures and names."""
    parts = []
    for value in y.ticks():
        parts.append(polyline([(x.start, y.at(value)), (x.stop, y.at(value))], RULE))
        parts.append(text(x.start - 8, y.at(value) + 4, figure(value, language), anchor="end"))
    for value in x.ticks():
        parts.append(polyline([(x.at(value), y.start), (x.at(value), y.start + 5)]))
        parts.append(text(x.at(value), y.start + 19, figure(value, language), anchor="middle"))
    parts.append(polyline([(x.start, y.start), (x.stop, y.start)]))
    parts.append(text((x.start + x.stop) / 2, y.start + 40, x_words, anchor="middle"))
    parts.append(text(x.start - 56, (y.start + y.stop) / 2, y_words, anchor="middle", turned=True))
    return parts


def figure(value: float, language: str) -> str:
    """A round value with the decimals that it needs."""
    decimals = len(f"{value:.10g}".partition(".")[2]) if value and abs(value) < 1e9 else 0
    return decimal_text(value, language, decimals)
