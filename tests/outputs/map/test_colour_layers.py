"""Classes and colours of the layers beside decision and cost."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.colour_layers import (
    CHANCE_COLOURS,
    GRADE_COLOURS,
    VOLUME_COLOURS,
    colour_layers,
    spread,
    volume_breaks,
)
from planner.outputs.map.site_data import site_frame
from tests.outputs.map.test_cost_classes import SIMULATIONS, lab, linear

SCALES = (VOLUME_COLOURS, GRADE_COLOURS, CHANCE_COLOURS)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("vision", SIMULATIONS)
def test_scales_run_from_light_to_dark_for_every_kind_of_vision(scale: tuple[str, ...], vision: str) -> None:
    seen = lab(np.clip(linear(scale) @ SIMULATIONS[vision].T, 0, 1))
    assert (np.diff(seen[:, 0]) < -12).all()  # by judgement: a step of lightness that a grey print keeps
    assert min(np.linalg.norm(one - other) for one, other in itertools.combinations(seen, 2)) > 14  # by judgement


def test_breaks_are_the_quintiles_to_two_digits() -> None:
    # Closed form: quintiles of 0, 1 … 100 are 20, 40, 60, 80; 0.101 k gives 2.02, 4.04, 6.06, 8.08.
    assert volume_breaks(np.arange(101.0)) == [20, 40, 60, 80]
    assert volume_breaks(0.101 * np.arange(101.0)) == [2.0, 4.0, 6.1, 8.1]


def test_missing_and_equal_volumes() -> None:
    assert volume_breaks(np.array([np.nan])) == []
    assert volume_breaks(np.array([3.0, 3.0, np.nan])) == []
    assert volume_breaks(np.array([3.0] * 9 + [5.0] * 4)) == [5.0]  # by hand: 3 would leave nothing below it


def test_colours_of_fewer_classes_span_the_scale() -> None:
    assert spread(VOLUME_COLOURS, 1) == [VOLUME_COLOURS[2]]
    assert spread(VOLUME_COLOURS, 3) == [VOLUME_COLOURS[0], VOLUME_COLOURS[2], VOLUME_COLOURS[4]]


def test_a_layer_without_any_value_is_left_out(invented_sites: Callable[..., pd.DataFrame]) -> None:
    sites = invented_sites(40)
    keys = ["volume_used", "evidence_grade", "funded_probability"]
    assert [layer["key"] for layer in colour_layers(site_frame(sites))] == keys
    sites["funded_probability"] = np.nan
    assert [layer["key"] for layer in colour_layers(site_frame(sites))] == keys[:2]
    sites["volume_used_m3_day"] = np.nan
    sites["evidence_grade"] = ""
    assert colour_layers(site_frame(sites)) == []
    for layer in colour_layers(site_frame(invented_sites(40))):
        assert (
            len(layer["colours"]) == len(layer.get("levels", [])) or len(layer["colours"]) == len(layer["breaks"]) + 1
        )
