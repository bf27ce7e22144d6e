"""The library of daily clearness of Aguiar, Collares-Pereira & Conde 1988 (Solar Energy 40:269), as typed here.

Ten matrices of transition between ten states of daily clearness, one a class of monthly clearness. The tool does not
use them: as a law of kinds of day they were tried on measured years and were worse than those it has. They stand here
as a cross-check of the spread of days.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from planner.physics.sun import bendt_kinds, saunier_kinds

BREAKS = (0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70)  # of monthly clearness, published
LOWEST = np.array([0.031, 0.058, 0.051, 0.052, 0.028, 0.053, 0.044, 0.085, 0.010, 0.319])  # published
HIGHEST = np.array([0.705, 0.694, 0.753, 0.753, 0.807, 0.856, 0.818, 0.846, 0.842, 0.865])  # published


@cache
def matrices() -> np.ndarray:
    """(10, 10, 10): class, state of today, state of tomorrow."""
    with (Path(__file__).parent / "aguiar_1988.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    values = np.array([[float(row[f"c{column}"]) for column in range(10)] for row in rows])
    return values.reshape(10, 10, 10)


def stationary(k: int) -> tuple[np.ndarray, np.ndarray]:
    """Clearness at the middle of the states of class k, and how often each is met in the long run."""
    steps = matrices()[k] / matrices()[k].sum(axis=1, keepdims=True)
    often = np.linalg.matrix_power(steps, 500)[0]
    return LOWEST[k] + (HIGHEST[k] - LOWEST[k]) * (np.arange(10) + 0.5) / 10, often


def test_rows_add_up() -> None:
    """Rounded to three digits as printed, ten to a row."""
    np.testing.assert_allclose(matrices().sum(axis=2), 1.0, atol=0.0031)


@pytest.mark.parametrize(
    ("k", "mean"), list(enumerate((0.241, 0.334, 0.374, 0.429, 0.476, 0.526, 0.575, 0.620, 0.668, 0.728)))
)
def test_each_class_keeps_its_mean(k: int, mean: float) -> None:
    """Computed by an independent program from another copy of the table; inside its class, the last aside."""
    clearness, often = stationary(k)
    assert clearness @ often == pytest.approx(mean, abs=0.0005)
    assert (0.0, *BREAKS)[k] < mean < (*BREAKS, 1.0)[k]


@pytest.mark.parametrize("k", range(2, 9))
def test_the_laws_of_days_spread_about_as_wide(k: int) -> None:
    """Temperate measured days lie between the tropical law and the one for elsewhere: the first is 0 to 25 % narrower,
    the second 3 to 25 % wider (this comparison, both sides published laws)."""
    clearness, often = stationary(k)
    mean = clearness @ often
    width = (HIGHEST[k] - LOWEST[k]) / 10
    spread = np.sqrt((clearness - mean) ** 2 @ often + width**2 / 12)
    assert 0.75 < saunier_kinds(mean).std() / spread < 1.0
    assert 1.0 < bendt_kinds(mean).std() / spread < 1.25
