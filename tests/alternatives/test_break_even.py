"""The break-even chart: the line by hand, the picture as text, and the engine behind it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from planner.commands import break_even as command
from planner.outputs.break_even import WAYS, Chart, break_even_svg, crossings

MakeProgramme = Callable[..., Path]


def chart(ratios: list[list[float]]) -> Chart:
    values = np.array(ratios)
    names = np.full(values.shape, "solar", dtype=object)
    return Chart((10.0, 40.0), (1.0, 4.0, 16.0), names, values, "A <title> & more", ("one note",))


def test_the_line_by_hand() -> None:
    """Ratio 2 at 4 m³ and ½ at 16 m³: equal in the middle of the logarithms, 8 m³; else none."""
    found = crossings(chart([[4.0, 2.0, 0.5], [3.0, 2.0, 1.5]]))
    assert len(found) == 1
    assert found[0] == pytest.approx((8.0, 10.0))
    assert crossings(chart([[np.nan, 2.0, np.nan], [3.0, np.nan, 0.5]])) == []


def test_the_picture_is_well_formed_and_the_same_twice() -> None:
    drawn = break_even_svg(chart([[4.0, 2.0, 0.5], [3.0, 2.0, 1.5]]))
    assert drawn == break_even_svg(chart([[4.0, 2.0, 0.5], [3.0, 2.0, 1.5]]))
    root = ElementTree.fromstring(drawn)
    assert "A <title> & more" in [node.text for node in root.iter()]
    assert "Red: solar and diesel cost the same." in drawn and "<polyline" in drawn
    none = break_even_svg(chart([[4.0, 2.0, 1.5], [3.0, 2.0, 1.5]]))
    assert "diesel is the dearer everywhere" in none and "<polyline" not in none


def test_the_engine_behind_it(make_programme: MakeProgramme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "LEVELS_M", (8.0, 60.0, 100.0))
    monkeypatch.setattr(command, "VOLUMES_M3_DAY", (2.0, 20.0))
    made = command.break_even(make_programme(tmp_path, [{}]), tmp_path / "chart.svg")
    assert set(made.cheapest.ravel()) <= set(WAYS)
    assert made.cheapest[0, 0] == "handpump"  # two cubic metres from 8 m
    assert made.cheapest[2, 1] == "solar"  # twenty from 100 m: too deep for handpumps
    assert (made.diesel_over_solar > 1.0).all()
    assert (tmp_path / "chart.svg").read_text(encoding="utf-8") == break_even_svg(made)
