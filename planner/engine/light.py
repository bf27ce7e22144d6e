"""From skies to power: light on the plane of an array, power of one watt of it, and for how long it is there."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.sun import Sky
from planner.physics.equation import kernel
from planner.physics.photovoltaic import temperature_factor
from planner.physics.sky import cell_temperature_c, sky_irradiance_w_m2, tracker_rotation_rad
from planner.plan import Array

Floats = NDArray[np.float64]

TRACKER_MOST_RAD = math.radians(60.0)
STEEPEST_TILT_DEG = 80.0


class Light(NamedTuple):
    """How long one watt of array gives how much power, exact for the steps it is made of; modules first.

    power   (modules, 12, steps) W/Wp, falling, 0 at the end
    hours   (modules, 12, steps + 1) hours of the mean day before step k
    energy  (modules, 12, steps + 1) Wh/Wp of the mean day before step k
    """

    power: Floats
    hours: Floats
    energy: Floats


class Plane(NamedTuple):
    """How an array stands. azimuth_deg: 0 north, 90 east; a tracking one turns about a level north–south axis."""

    tilt_deg: float
    azimuth_deg: float
    tracking: bool


def towards_equator_deg(latitude_deg: float) -> float:
    """Azimuth that faces the equator: 180 (south) on and north of it, 0 (north) south of it."""
    return 180.0 if latitude_deg >= 0 else 0.0


def tilts_deg(latitude_deg: float) -> Floats:
    """Tilts worth trying: 10° so that rain cleans the modules, then every 5° to well beyond the winter's best."""
    return np.arange(10.0, min(max(abs(latitude_deg) + 25.0, 20.0), STEEPEST_TILT_DEG) + 2.5, 5.0)


def power(sky: Sky, planes: list[Plane], gammas: Floats, array: Array) -> Floats:
    """Power of one watt of array, W/Wp, shape (planes, modules, 12, steps); 0 beyond a month's steps.

    gammas  temperature coefficient of power of each module, 1/K, negative
    array   soiling, shade, other losses, wiring, albedo
    """
    clean = (1 - np.array(array.soiling)) * (1 - np.array(array.shade)) * (1 - array.other_losses)
    stands = np.array([(plane.tilt_deg, plane.azimuth_deg, plane.tracking) for plane in planes], dtype=np.float64)
    result: Floats = _power(sky, stands, gammas, clean, array.wiring_loss, array.albedo)
    return result


def light(sky: Sky, plane: Plane, gammas: Floats, array: Array) -> Light:
    """Power-duration of every module on a plane."""
    steps = -np.sort(-power(sky, [plane], gammas, array)[0], axis=-1)
    lit = int(np.count_nonzero(steps.max(axis=(0, 1)) > 0)) + 1
    steps = np.ascontiguousarray(steps[..., :lit])
    if steps.shape[-1] < lit:
        steps = np.concatenate([steps, np.zeros((*steps.shape[:2], 1))], axis=-1)
    weight = np.broadcast_to(sky.hours[None, :, None], (*steps.shape[:2], 1))
    hours = np.ascontiguousarray(weight * np.arange(lit + 1))
    energy = np.concatenate([np.zeros((*steps.shape[:2], 1)), np.cumsum(steps * weight, axis=-1)], axis=-1)
    return Light(steps, hours, energy)


@kernel
def _power(sky: Sky, stands: Floats, gammas: Floats, clean: Floats, wiring_loss: float, albedo: float) -> Floats:
    result = np.zeros((stands.shape[0], gammas.size, 12, sky.up.shape[1]))
    for p in range(stands.shape[0]):
        tilt, azimuth, tracking = math.radians(stands[p, 0]), math.radians(stands[p, 1]), stands[p, 2] > 0.0
        to_up, level = math.cos(tilt), math.sin(tilt)
        to_north, to_east = level * math.cos(azimuth), level * math.sin(azimuth)
        for m in range(12):
            for n in range(sky.steps[m]):
                up, east = sky.up[m, n], sky.east[m, n]
                if tracking:
                    turn = tracker_rotation_rad(east, up, TRACKER_MOST_RAD)
                    to_up, to_north, to_east = math.cos(turn), 0.0, math.sin(turn)
                facing = max(up * to_up + sky.north[m, n] * to_north + east * to_east, 0.0)
                plane = sky.dni[m, n] * facing
                plane += sky_irradiance_w_m2(sky.dhi[m, n], sky.dni[m, n], sky.extra[m, n], facing, up, to_up)
                plane += sky.ghi[m, n] * albedo * 0.5 * (1.0 - to_up)
                cell = cell_temperature_c(plane, sky.air_c[m, n], sky.wind_m_s[m, n])
                for w in range(gammas.size):
                    gross = plane / 1000.0 * clean[m] * temperature_factor(cell, gammas[w])
                    result[p, w, m, n] = max(gross * (1.0 - wiring_loss * gross), 0.0)
    return result
