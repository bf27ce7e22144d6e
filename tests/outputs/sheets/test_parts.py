"""Text that is safe on a page, axes, sketches; the fonts as they were handed over."""

from __future__ import annotations

import hashlib
from importlib.resources import files

import numpy as np
import pytest

from planner.outputs.sheets.chart import Chart, axis
from planner.outputs.sheets.places import _minutes
from planner.outputs.sheets.safe_text import BREAK, shown
from planner.outputs.sheets.sketch import Frame


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("Kesu\u202eredrum", "Kesu[U+202E]redrum"),
        ("bell\x07", "bell[U+0007]"),
        ("two\nlines", "two[U+000A]lines"),
        ("\u2028", "[U+2028]"),
        ("Muñoz–Ĕ", "Muñoz–Ĕ"),
        ("", ""),
    ],
)
def test_what_cannot_be_seen_is_spelled_out(text: str, seen: str) -> None:
    assert shown(text) == seen


def test_long_text_is_cut_with_a_mark_and_may_break() -> None:
    long = shown("n" * 10_000)
    assert long.replace(BREAK, "") == "n" * 79 + "…"
    assert max(map(len, long.split(BREAK))) <= 18
    assert shown("a" * 80).replace(BREAK, "") == "a" * 80


@pytest.mark.parametrize(
    ("largest", "top", "labels"), [(42.9, 50, 6), (0.3, 0.3, None), (1.0, 1.0, 6), (0.0, None, None), (999.0, 1000, 6)]
)
def test_axes_are_round_and_hold_the_largest(largest: float, top: float | None, labels: int | None) -> None:
    found = axis(largest)
    ticks = found.ticks("en")
    assert found.top >= largest - 1e-9 and ticks[0] == [0.0, ticks[0][1]] and ticks[-1][0] == 1.0
    assert top is None or found.top == pytest.approx(top)
    assert labels is None or len(ticks) == labels
    assert len({label for _, label in ticks}) == len(ticks)


def test_a_line_ends_at_the_edge_of_the_plot() -> None:
    chart = Chart(axis(10), axis(10), "", "", "en")
    chart.line([0, 10], [5, 15], "solid")  # leaves at (5, 10): closed form
    assert chart.lines[0]["points"] == [[0.0, 0.5], [0.5, 1.0]]
    chart.line([12, 14], [1, 2], "solid")
    assert chart.lines[1]["points"] == []


def test_a_frame_is_true_to_scale() -> None:
    frame = Frame(60.0, 179.9, 10_000.0, 10_000.0)
    x, y = frame.places(np.array([60.0, 60.0 + 10 / 111.195]), np.array([-179.9, 179.9]))
    assert x[0] == pytest.approx(0.5 + 0.2 * 111.195 * 0.5 / 20, rel=1e-6)  # across the date line, cos 60° = 0.5
    assert (x[1], y[1]) == (pytest.approx(0.5), pytest.approx(1.0))
    assert frame.bar("en") == {"length": 0.25, "words": "5\u00a0km"}


def test_minutes_carry_over() -> None:
    assert _minutes(-12.9999999, "en") == "13°\u00a00.000'"
    assert _minutes(3.5, "fr") == "3°\u00a030,000'"


def test_the_fonts_are_those_that_were_handed_over() -> None:
    folder = files("planner.outputs.sheets").joinpath("fonts")
    for line in folder.joinpath("SHA256SUMS").read_text(encoding="utf-8").splitlines():
        digest, name = line.split()
        assert hashlib.sha256(folder.joinpath(name).read_bytes()).hexdigest() == digest
    assert "SIL OPEN FONT LICENSE" in folder.joinpath("LICENSE").read_text(encoding="utf-8").upper()
