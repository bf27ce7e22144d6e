"""Lines of a worked calculation: what, how, with which numbers, how much, from where."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 100


def n(value: float) -> str:
    """A number with the digits that a hand calculation needs.

    >>> n(1234567.0), n(0.0202), n(float("nan"))
    ('1234570', '0.0202', '-')
    """
    if math.isnan(value):
        return "-"
    text = f"{value:.6g}"
    return f"{float(text):.0f}" if "e+" in text else text


def plain(text: str) -> str:
    """Text of the inventory with control characters made visible, so that it cannot steer a terminal.

    >>> plain("a\\x1b[31mb")
    'a\\\\x1b[31mb'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


class Sheet:
    """The text of a calculation, section by section."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._section = 0

    def section(self, title: str) -> None:
        """A numbered heading."""
        self._section += 1
        self._lines += ["", f"{self._section}  {title}", "-" * min(WIDTH, len(title) + 3)]

    def text(self, words: str) -> None:
        """A sentence or two."""
        self._lines += textwrap.wrap(words, WIDTH, initial_indent="  ", subsequent_indent="  ")

    def value(self, name: str, value: str, source: str = "") -> None:
        """A value that is given."""
        said = f"  {name}: {value}" + (f"   [{source}]" if source else "")
        self._lines += textwrap.wrap(said, WIDTH, subsequent_indent="      ")

    def result(self, name: str, formula: str, numbers: str, value: float, unit: str, source: str = "") -> None:
        """A value that is worked out: `numbers` is an expression with × / + - ^ ( ) ln sqrt min max that gives it."""
        head = f"  {name} = {formula}" + (f"   [{source}]" if source else "")
        self._lines += textwrap.wrap(head, WIDTH, subsequent_indent="      ")
        self._lines += textwrap.wrap(
            f"= {numbers} = {n(value)} {unit}".rstrip(), WIDTH, initial_indent="    ", subsequent_indent="      "
        )

    def check(self, name: str, value: float, operator: str, limit: float, unit: str, source: str) -> None:
        """A rule with its value and limit."""
        holds = {"<=": value <= limit * (1 + 1e-9), ">=": value >= limit * (1 - 1e-9)}[operator]
        said = f"  {name}: {n(value)} {operator} {n(limit)} {unit}  {'holds' if holds else 'FAILS'}   [{source}]"
        self._lines += textwrap.wrap(said, WIDTH, subsequent_indent="      ")

    def table(self, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """Columns: the first to the left, the rest to the right."""
        cells = [list(headings), *[list(row) for row in rows]]
        widths = [max(len(row[i]) for row in cells) for i in range(len(headings))]
        for row in cells:
            rest = "  ".join(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))
            self._lines.append(f"    {row[0].ljust(widths[0])}  {rest}".rstrip())

    def __str__(self) -> str:
        return "\n".join(self._lines).lstrip("\n") + "\n"
