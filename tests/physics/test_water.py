"""Water against a second correlation of an independent library, air against pvlib."""

from __future__ import annotations

import numpy as np
import pvlib
import pytest

from planner.physics.water import (
    atmospheric_pressure_kpa,
    density_kg_m3,
    kinematic_viscosity_m2_s,
    vapour_pressure_kpa,
)


def test_density_is_greatest_at_four_degrees() -> None:
    celsius = np.arange(0.0, 30.0, 0.1)
    assert celsius[np.argmax(density_kg_m3(celsius))] == pytest.approx(4.0, abs=0.1)  # published, common knowledge


def test_whole_degrees_are_numbers_too() -> None:
    for equation in (density_kg_m3, kinematic_viscosity_m2_s, vapour_pressure_kpa):
        assert equation(20) == equation(20.0)


def test_water_boils_at_one_atmosphere() -> None:
    assert vapour_pressure_kpa(99.974) == pytest.approx(101.325, abs=0.01)  # published: IAPWS SR1-86


def test_viscosity_falls_and_vapour_pressure_rises_with_temperature() -> None:
    celsius = np.arange(0.0, 61.0)
    assert (np.diff(kinematic_viscosity_m2_s(celsius)) < 0).all()
    assert (np.diff(vapour_pressure_kpa(celsius)) > 0).all()


def test_atmosphere_is_that_of_the_sun_library() -> None:
    metres = np.linspace(-400.0, 5000.0, 28)
    ours = atmospheric_pressure_kpa(metres)
    np.testing.assert_allclose(ours, pvlib.atmosphere.alt2pres(metres) / 1000.0, atol=0.02)  # independent library
