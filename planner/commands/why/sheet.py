"""Lines of a worked calculation: what, how, with which numbers, how much, from where.

A worked line reads `name = formula [source]` and under it `= numbers = result unit`. The numbers are an expression
of × / + - ^ ( ) and ln log10 exp sqrt sin cos tan acos atan min max ceil pi, so that anyone, or a test, can work it
out again.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

from planner.errors import InternalError

WIDTH = 100
DIGITS = 6
SAME = 1e-6  # what is worked out here must be what the run wrote
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def n(value: float, digits: int = DIGITS) -> str:
    """A number with the digits that a hand calculation needs.

    >>> n(1234567.0), n(0.0202), n(float("nan")), n(-0.0)
    ('1234570', '0.0202', '-', '0')
    """
    if math.isnan(value):
        return "-"
    text = f"{float(value) + 0.0:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text else text


def in_brackets(value: float) -> str:
    """A number inside an expression, in brackets where it is negative.

    >>> in_brackets(2.0), in_brackets(-2.0)
    ('2', '(-2)')
    """
    return f"({n(value)})" if value < 0 else n(value)


def month_label(m: int, design_month: int | None) -> str:
    """Month 0 to 11 for a table, the design month with a star."""
    return MONTH_NAMES[m] + (" *" if m == design_month else "")


def plain(text: str) -> str:
    """Text of the inventory with control characters made visible, so that it cannot steer a terminal.

    >>> plain("a\\x1b[31mb")
    'a\\\\x1b[31mb'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def agree(name: str, found: float, written: float) -> None:
    """Fail loudly where a value worked out here is not that of the run."""
    if not abs(found - written) <= SAME * max(abs(written), 1e-9):
        raise InternalError(f"{name}: worked out as {found!r}, the run wrote {written!r}")


class Sheet:
    """The text of a calculation, section by section."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._section = 0

    def section(self, title: str) -> None:
        """A numbered heading."""
        self._section += 1
        head = f"{self._section}  {title}"
        self._lines += ["", head, "-" * min(WIDTH, len(head))]

    def text(self, words: str) -> None:
        """A sentence or two."""
        self._wrap(f"  {words}", "  ")

    def value(self, name: str, value: str, source: str = "") -> None:
        """A value that is given."""
        self._wrap(f"  {name}: {value}" + _from(source), "      ")

    def result(self, name: str, formula: str, numbers: str, value: float, unit: str = "", source: str = "") -> float:
        """A value that is worked out; returns it."""
        self._wrap(f"  {name} = {formula}" + _from(source), "      ")
        self._wrap(f"    = {numbers} = {n(value)} {unit}".rstrip(), "      ")
        return value

    def rule(
        self, name: str, numbers: str, value: float, operator: str, limit: float, unit: str, source: str = ""
    ) -> None:
        """A rule with its value and limit; raises InternalError where a design of the run breaks it."""
        slack = 1e-9 * abs(limit)
        if not {"<=": value <= limit + slack, ">=": value >= limit - slack, ">": value > limit}[operator]:
            raise InternalError(f"{name}: the run's design breaks {value!r} {operator} {limit!r} {unit}")
        worked = f"{numbers} = " if numbers else ""
        self._wrap(
            f"  {name}: {worked}{n(value)} {operator} {n(limit)} {unit}".rstrip() + "  holds" + _from(source), "      "
        )

    def table(self, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """Columns: the first to the left, the rest to the right."""
        cells = [list(headings), *[list(row) for row in rows]]
        widths = [max(len(row[i]) for row in cells) for i in range(len(headings))]
        for row in cells:
            rest = "  ".join(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))
            self._lines.append(f"    {row[0].ljust(widths[0])}  {rest}".rstrip())

    def __str__(self) -> str:
        return "\n".join(self._lines).strip("\n") + "\n"

    def _wrap(self, words: str, further: str) -> None:
        self._lines += textwrap.wrap(words, WIDTH, subsequent_indent=further, break_on_hyphens=False)


def _from(source: str) -> str:
    return f"  [{source}]" if source else ""
