"""Cells made by column are the cells made one by one, and many numbers are rounded as Python rounds each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from planner.outputs.csv_cells import cells_of, number, quoted, safe, text_cells
from planner.texts.digits import significant


@pytest.fixture(scope="module")
def numbers() -> np.ndarray:
    """Numbers of all sizes, halves of a last digit, and what lies beside powers of ten (seeded)."""
    random = np.random.default_rng(5)
    tens = 10.0 ** np.arange(-12, 20)
    return np.concatenate(
        [
            random.normal(size=20_000) * 10.0 ** random.integers(-10, 18, 20_000),
            random.integers(-(10**7), 10**7, 20_000) / 2.0,
            random.integers(0, 10**7, 20_000) / 2000.0,
            *(tens, np.nextafter(tens, 0.0), np.nextafter(tens, np.inf)),
            [0.0, -0.0, np.nan, np.inf, -np.inf, 999999.5, 123456789012.3, 9.9999996e-5],
        ]
    )


@pytest.mark.parametrize("digits", [3, 6])
def test_significant_digits_are_those_of_python(numbers: np.ndarray, digits: int) -> None:
    found = significant(numbers, digits)
    assert [f"{one:.{digits}g}" for one in found] == [f"{one:.{digits}g}" for one in numbers]
    assert [one for one in found if np.isfinite(one)] == [
        float(f"{one:.{digits}g}") for one in numbers if np.isfinite(one)
    ]


def test_columns_of_numbers(numbers: np.ndarray) -> None:
    assert cells_of(pd.Series(numbers), "number", True).to_pylist() == [number(one, True) for one in numbers]


def test_columns_of_text(hostile_names: tuple[str, ...]) -> None:
    texts = [*hostile_names, "", "=1", "-3", "+x", "a,b", 'q"q', "a\nb", "\tx", "\rx"]
    texts = [one for one in texts if not any("\ud800" <= letter <= "\udfff" for letter in one)]
    assert text_cells(pd.Series(texts, dtype="str")).to_pylist() == [quoted(safe(one)) for one in texts]
