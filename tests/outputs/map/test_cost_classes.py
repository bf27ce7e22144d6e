"""Limits and colours of the cost classes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from planner.outputs.map.cost_classes import PALETTE, class_colours, cost_breaks

# Matrices of full severity for linear RGB. Published: Machado, Oliveira, Fernandes (2009), "A physiologically
# based model for simulation of color vision deficiency", IEEE TVCG 15(6), quoted alike in open programs.
SIMULATIONS = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# sRGB to XYZ and white of D65. Published: IEC 61966-2-1 (1999); CIE 15 (2004).
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
WHITE = np.array([0.95047, 1.0, 1.08883])


def linear(colours: tuple[str, ...]) -> NDArray[np.float64]:
    parts = np.array([[int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)] for colour in colours])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    ratio = (rgb @ TO_XYZ.T) / WHITE
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


@pytest.mark.parametrize("vision", SIMULATIONS)
def test_palette_stays_apart_for_every_kind_of_vision(vision: str) -> None:
    seen = lab(np.clip(linear(PALETTE) @ SIMULATIONS[vision].T, 0, 1))
    least = min(np.linalg.norm(one - other) for one, other in itertools.combinations(seen, 2))
    assert least > 30  # by judgement: 10 is seen at a glance on large areas, small marks need more


def test_palette_stays_apart_from_the_grey_of_unranked_sites() -> None:
    seen = lab(linear((*PALETTE, "#7c878b")))
    assert min(np.linalg.norm(seen[:5] - seen[5], axis=1)) > 30  # same judgement


def test_breaks_are_the_quintiles() -> None:
    # Closed form: the quintiles of 0.00, 0.01 … 1.00 are 0.2, 0.4, 0.6, 0.8.
    assert cost_breaks(np.linspace(0, 1, 101)) == [0.2, 0.4, 0.6, 0.8]


def test_breaks_are_rounded_to_a_hundredth() -> None:
    # Closed form: quintiles of 0.101 + 0.1 k for k = 0 … 5 are 0.201, 0.301, 0.401, 0.501.
    assert cost_breaks(0.101 + 0.1 * np.arange(6)) == [0.2, 0.3, 0.4, 0.5]


def test_equal_limits_and_empty_ends_are_dropped() -> None:
    # By hand: quintiles of nine 0.2 and four 0.5 are 0.2, 0.2, 0.2, 0.5; 0.2 would leave nothing below it.
    assert cost_breaks(np.array([0.2] * 9 + [0.5] * 4)) == [0.5]


def test_missing_costs_do_not_count() -> None:
    costs = np.array([np.nan, 0.1, 0.2, np.nan, 0.3, 0.4, 0.5, 0.6])
    assert cost_breaks(costs) == cost_breaks(costs[np.isfinite(costs)])
    assert cost_breaks(np.array([np.nan])) == []


def test_currencies_of_small_value_get_three_digits() -> None:
    # Closed form: quintiles of 100, 110 … 600 are 200, 300, 400, 500; a median of 350 leaves whole numbers.
    assert cost_breaks(np.arange(100, 601, 10) + 0.3) == [200, 300, 400, 500]


def test_colours_of_fewer_classes_span_the_palette() -> None:
    assert class_colours(1) == [PALETTE[0]]
    assert class_colours(2) == [PALETTE[0], PALETTE[4]]
    assert class_colours(5) == list(PALETTE)
