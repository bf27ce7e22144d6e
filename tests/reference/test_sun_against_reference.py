"""The engine's power against the slow model's, for climates of both hemispheres and every known of a month.

The slow model integrates the beta law of every hour's skies; the engine reads them from a table. Measured on the
climates below: a year 0.001 % at most, a month 0.005 % (of that month's own energy). On 150 random climates
with months of clearness 0.10 to 0.80: within 86° of the equator a year 0.05 % at most; nearer the poles, under the
clearest months of a sun that does not set, 1.4 %, where the corner of the table is coarse.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from planner.engine import light, sun
from planner.plan import Array
from tests.engine import bed
from tests.reference import slow_model, slow_sun

YEAR, MONTH = 0.001, 0.003  # what the engine promises
GAMMA = -0.0035
UNKNOWN = np.full(12, np.nan)
# Invented, kWh/m2/d: twelve months at 12° S, 38° N, 52° N.
SOUTH = np.array(bed.GHI)
DRY = np.array([2.1, 2.9, 4.2, 5.3, 6.4, 7.2, 7.4, 6.6, 5.2, 3.6, 2.4, 1.9])
DULL = np.array([0.7, 1.3, 2.5, 3.9, 4.9, 5.2, 5.0, 4.3, 3.0, 1.7, 0.9, 0.5])


class Place(NamedTuple):
    """A climate and how its modules stand."""

    latitude: float
    tropical: bool
    ghi: np.ndarray
    diffuse: np.ndarray = UNKNOWN
    spread: float = np.nan
    temperature_range: float = 10.0
    tracking: bool = False


PLACES = {
    "equator": Place(0.0, True, 0.9 * SOUTH),
    "12 S, wide range of temperature": Place(-12.0, True, SOUTH, temperature_range=16.0),
    "12 S, diffuse and spread": Place(-12.0, True, SOUTH, 0.32 * SOUTH, 0.12),
    "12 S, hazy": Place(-12.0, True, SOUTH, 0.60 * SOUTH),
    "12 S, tracking": Place(-12.0, True, SOUTH, tracking=True),
    "24 N by the law of the tropics": Place(24.0, True, 0.95 * np.roll(SOUTH, 6)),
    "24 N by the other law": Place(24.0, False, 0.95 * np.roll(SOUTH, 6)),
    "38 N": Place(38.0, False, DRY),
    "38 N, wide spread": Place(38.0, False, DRY, spread=0.22),
    "38 N, tracking, diffuse": Place(38.0, False, DRY, 0.35 * DRY, tracking=True),
    "33 S, narrow spread": Place(-33.0, False, np.roll(DRY, 6), spread=0.08),
    "52 N": Place(52.0, False, DULL, temperature_range=7.0),
}


def monthly_energy(place: Place, array: Array, tilt_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Energy of the mean day of each month, Wh a watt: the engine's and the slow model's."""
    air, wind, spread = np.full(12, 25.0), np.full(12, 3.0), np.full(12, place.spread)
    ranges, azimuth = np.full(12, place.temperature_range), light.towards_equator_deg(place.latitude)
    sky = sun.monthly_sky(
        sun.Climate(place.latitude, place.tropical, place.ghi, place.diffuse, spread, air, ranges, wind)
    )
    plane = light.Plane(tilt_deg, azimuth, place.tracking)
    ours = light.power(sky, [plane], np.array([GAMMA]), array)[0, 0].sum(axis=1) * sky.hours
    case = slow_model.Case(
        place.latitude,
        tuple(place.ghi),
        tuple(air),
        tuple(wind),
        tilt_deg,
        azimuth,
        tropical=place.tropical,
        tracking=place.tracking,
        dhi_kwh_m2_day=tuple(place.diffuse),
        clearness_spread=tuple(spread),
        daily_range_k=tuple(ranges),
        gamma_per_k=GAMMA,
        albedo=array.albedo,
        soiling=array.soiling,
        shade=array.shade,
        other_losses=array.other_losses,
        wiring_loss=array.wiring_loss,
    )
    reference = slow_sun.hourly_power(case).sum(axis=(1, 2, 3)) / (slow_sun.KINDS * slow_sun.SKIES)
    return ours, reference


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES.keys())
def test_energy_agrees(place: Place) -> None:
    ours, reference = monthly_energy(place, Array(), 20.0)
    assert ours @ slow_sun.DAYS == pytest.approx(reference @ slow_sun.DAYS, rel=YEAR)
    np.testing.assert_allclose(ours, reference, rtol=MONTH)
    # A tenth of the promise; above that there would be a defect to look for (our own snapshot).
    assert ours @ slow_sun.DAYS == pytest.approx(reference @ slow_sun.DAYS, rel=0.1 * YEAR)
