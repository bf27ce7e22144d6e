"""Friction against an independent library over a grid; shape of the bridge; closed forms."""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.physics.pipes import (
    friction_factor,
    friction_head_m,
    hanging_stress_mpa,
    minor_head_m,
    velocity_m_s,
)

REYNOLDS = np.concatenate([np.geomspace(1.0, 2000.0, 20), np.geomspace(4000.0, 1e8, 60)])
ROUGHNESS = [0.0, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 5e-2]


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_factor_agrees_with_an_independent_library(roughness: float) -> None:
    for reynolds in REYNOLDS.tolist():
        theirs = 64.0 / reynolds if reynolds <= 2000.0 else fluids.friction.Colebrook(reynolds, roughness)
        assert friction_factor(reynolds, roughness) == pytest.approx(theirs, rel=1e-8)


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_bridge_meets_both_laws_in_value_and_slope_and_head_rises(roughness: float) -> None:
    reynolds = np.geomspace(1900.0, 4200.0, 4001)
    log_re, log_f = np.log(reynolds), np.log(friction_factor(reynolds, roughness))
    assert (np.diff(log_f + 2.0 * log_re) > 0).all()
    slope = np.diff(log_f) / np.diff(log_re)
    assert np.abs(np.diff(slope)).max() < 0.02  # no kink: a jump of slope would show at one step


@settings(max_examples=200)
@given(
    low=st.floats(0.0, 60.0),
    more=st.floats(1e-6, 60.0),
    bore=st.floats(15.0, 200.0),
    roughness=st.floats(0.0, 0.3),
    viscosity=st.floats(4e-7, 1.8e-6),
)
def test_head_grows_with_flow_and_length(
    low: float, more: float, bore: float, roughness: float, viscosity: float
) -> None:
    first = friction_head_m(low, 100.0, bore, roughness, viscosity)
    assert 0.0 <= first < friction_head_m(low + more, 100.0, bore, roughness, viscosity)
    assert friction_head_m(low, 200.0, bore, roughness, viscosity) == pytest.approx(2.0 * first, rel=1e-12)


def test_laminar_head_is_that_of_poiseuille() -> None:
    flow, bore, viscosity = 0.05, 0.04, 1e-6
    head = 128.0 * viscosity * 10.0 * (flow / 3600.0) / (math.pi * 9.80665 * bore**4)  # closed form
    assert friction_head_m(flow, 10.0, 40.0, 0.0015, viscosity) == pytest.approx(head, rel=1e-12)


def test_ends() -> None:
    assert friction_head_m(0.0, 100.0, 40.0, 0.0015, 1e-6) == 0.0
    assert friction_factor(0.0, 0.0) == math.inf
    assert math.isnan(friction_factor(math.nan, 1e-4))
    assert math.isnan(friction_head_m(math.nan, 100.0, 40.0, 0.0015, 1e-6))
    assert minor_head_m(0.0, 40.0, 5.0) == 0.0


def test_broadcasts_over_flows_and_bores() -> None:
    head = friction_head_m(np.array([[1.0], [5.0]]), 100.0, np.array([32.0, 40.8, 50.0]), 0.0015, 1e-6)
    assert head.shape == (2, 3)
    assert head[1, 1] == friction_head_m(5.0, 100.0, 40.8, 0.0015, 1e-6)


def test_textbook_pipe_in_feet() -> None:
    """200 ft of 6 in commercial pipe, 6 ft/s: 4.4 to 4.5 ft (textbook example, from memory)."""
    bore_mm, flow = 152.4, 6 * 0.3048 * math.pi / 4 * 0.1524**2 * 3600
    assert velocity_m_s(flow, bore_mm) == pytest.approx(6 * 0.3048, rel=1e-12)
    head = friction_head_m(flow, 60.96, bore_mm, 0.0004 * 304.8, 1.08e-5 * 0.3048**2)
    assert head / 0.3048 == pytest.approx(4.45, abs=0.06)


def test_hanging_stress_closed_form() -> None:
    inside, outside = math.pi / 4 * 0.04**2, math.pi / 4 * 0.05**2
    expected = (998.0 * 9.80665 * 80.0 * inside + 9.80665 * 50.0) / (outside - inside) / 1e6  # closed form
    assert hanging_stress_mpa(80.0, 40.0, 50.0, 50.0, 998.0) == pytest.approx(expected, rel=1e-12)
