"""The library of daily clearness of Aguiar, Collares-Pereira & Conde 1988 (Solar Energy 40:269), as it is shipped.

Ten matrices of transition between ten states of daily clearness, one a class of monthly clearness. The tool takes the
order of days from them. As a law of kinds of day they were tried on measured years and were worse than those it has:
for these they stand as a cross-check of the spread of days.
"""

from __future__ import annotations

import numpy as np
import pytest

from planner.physics.day_order import BREAKS, HIGHEST, LOWEST, clearness_class, clearness_matrices, printed_matrices
from planner.physics.sun import bendt_kinds, saunier_kinds


def stationary(k: int) -> tuple[np.ndarray, np.ndarray]:
    """Clearness at the middle of the states of class k, and how often each is met in the long run."""
    often = np.linalg.matrix_power(clearness_matrices()[k], 500)[0]
    return LOWEST[k] + (HIGHEST[k] - LOWEST[k]) * (np.arange(10) + 0.5) / 10, often


def test_rows_add_up() -> None:
    """Rounded to three digits as printed, ten to a row; scaled, they are the shares of one day."""
    np.testing.assert_allclose(printed_matrices().sum(axis=2), 1.0, atol=0.0031)
    np.testing.assert_allclose(clearness_matrices(), printed_matrices(), rtol=0.0031)
    np.testing.assert_allclose(clearness_matrices().sum(axis=2), 1.0, rtol=1e-12)


@pytest.mark.parametrize(
    ("k", "mean"), list(enumerate((0.241, 0.334, 0.374, 0.429, 0.476, 0.526, 0.575, 0.620, 0.668, 0.728)))
)
def test_each_class_keeps_its_mean(k: int, mean: float) -> None:
    """Computed by an independent program from another copy of the table; inside its class, the last aside."""
    clearness, often = stationary(k)
    assert clearness @ often == pytest.approx(mean, abs=0.0005)
    assert (0.0, *BREAKS)[k] < mean < (*BREAKS, 1.0)[k]
    assert clearness_class(mean) == k


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
