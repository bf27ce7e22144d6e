"""From skies to power: light on the plane of an array, power of one watt of it, and for how long it is there."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.days import Days
from planner.engine.site import Record, Records
from planner.engine.sun import Sky
from planner.physics.equation import kernel
from planner.physics.photovoltaic import temperature_factor
from planner.physics.sky import cell_temperature_c, sky_irradiance_w_m2, tracker_rotation_rad
from planner.plan import Array

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

TRACKER_MOST_RAD = math.radians(60.0)
STEEPEST_TILT_DEG = 80.0
MOST_KINDS = 31  # of a month: ten kinds of day, or the days of a weather file


STEP = np.dtype([("power", "f8"), ("hours", "f8"), ("energy", "f8"), ("kind", "i8")])
MONTH = np.dtype([("hours", "f8", 12), ("kinds", "i8", 12), ("counted", "i8", 12)])
BUCKETS = 256
COARSE = 32  # parts of the highest power for which the kinds of the steps above are counted; divides BUCKETS
LANES = 4  # spans of years that a balance takes side by side: one would wait for itself from day to day


class Light(NamedTuple):
    """How long one watt of array gives how much power, exact for the steps it is made of, and the order of the days.

    steps   (modules, 12, steps + 1) of STEP: power, W/Wp, falling, 0 at the end; hours and energy (Wh/Wp) of the mean
            day before the step; the kind of day it belongs to
    first   (modules, 12, BUCKETS + 1) steps above the upper end of each of BUCKETS equal parts of the highest power:
            where to begin to look for a power
    month   one MONTH: hours of the mean day that a step stands for; kinds of day, each as likely as the others; days
            of the order that are counted
    ahead   (modules, 12, COARSE + 1, MOST_KINDS) steps of each kind of day above so many parts of the highest power
    day     (days, LANES) the order of days: month × MOST_KINDS + kind, the same month in all lanes
    spans   (…, 4) spans of days of one month, in order: month, first day, day after the last, whether they are counted
    """

    steps: NDArray[np.void]
    first: Integers
    ahead: NDArray[np.int16]
    month: Record
    day: NDArray[np.int16]
    spans: Integers


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


def light(sky: Sky, days: Days, plane: Plane, gammas: Floats, array: Array) -> Light:
    """Power-duration of every module on a plane, and the order of days."""
    power_wp = power(sky, [plane], gammas, array)[0]
    lit = int(np.count_nonzero(power_wp > 0, axis=-1).max())
    steps = np.zeros((*power_wp.shape[:2], lit + 1), STEP)
    _fall(power_wp, np.argsort(-power_wp[0], axis=-1, kind="stable"), sky.hours, sky.kind, steps)
    month = np.zeros(1, MONTH).view(np.recarray)[0]
    month.hours[:], month.kinds[:] = sky.hours, sky.kinds
    day = _lanes(days)
    month.counted[:] = np.bincount((day[days.warm_up :] // MOST_KINDS).ravel(), minlength=12)
    first = _first(steps["power"])
    ahead, spans = _ahead(steps["kind"], first), _spans(day[:, 0] // MOST_KINDS, days.warm_up)
    return Light(steps, first, ahead, month, day, spans)


def _lanes(days: Days) -> NDArray[np.int16]:
    """The order of days in lanes of equally many years, each after a warm-up with the days before it; where they
    cannot be shared out, the same days in every lane."""
    place = (days.month * MOST_KINDS + days.kind).astype(np.int16)
    counted = place[days.warm_up :]
    rows = counted.size // LANES
    if counted.size % LANES == 0 and rows >= days.warm_up:
        starts = range(-days.warm_up, counted.size - days.warm_up, rows)
        lanes = np.stack([counted.take(range(n, n + days.warm_up + rows), mode="wrap") for n in starts], axis=1)
        if (lanes // MOST_KINDS == lanes[:, :1] // MOST_KINDS).all():
            return lanes
    return np.repeat(place[:, None], LANES, axis=1)


def _spans(month: NDArray[np.int16], warm_up: int) -> Integers:
    """Spans of days of one month, in order, cut where counting begins."""
    starts = np.flatnonzero(np.diff(month, prepend=-1) != 0)
    starts = np.unique(np.append(starts, warm_up))
    stops = np.append(starts[1:], month.size)
    return np.stack([month[starts], starts, stops, starts >= warm_up], axis=1).astype(np.int64)


@kernel
def _fall(power: Floats, order: Integers, hours: Floats, kind: Integers, steps: Records) -> None:
    """The steps of each module and month, falling, equal ones in their own order.

    order  (12, steps) that of the first module; warmth changes it little from module to module
    """
    for m in range(order.shape[0]):
        row = order[m]
        for w in range(power.shape[0]):
            for n in range(1 if w else row.size, row.size):
                step, at = row[n], n
                value = power[w, m, step]
                while at > 0 and (
                    power[w, m, row[at - 1]] < value or (power[w, m, row[at - 1]] == value and row[at - 1] > step)
                ):
                    row[at] = row[at - 1]
                    at -= 1
                row[at] = step
            energy = 0.0
            for n in range(steps.shape[2]):
                one = steps[w, m, n]
                one.hours, one.energy = hours[m] * n, energy
                if n < steps.shape[2] - 1:
                    one.power, one.kind = power[w, m, row[n]], kind[m, row[n]]
                    energy += power[w, m, row[n]] * hours[m]


@kernel
def _ahead(kind: Integers, first: Integers) -> NDArray[np.int16]:
    """Steps of each kind of day above each of COARSE parts of the highest power."""
    ahead = np.zeros((kind.shape[0], 12, COARSE + 1, MOST_KINDS), np.int16)
    for w in range(kind.shape[0]):
        for m in range(12):
            done = 0
            for part in range(COARSE, 0, -1):
                if part < COARSE:
                    for k in range(MOST_KINDS):
                        ahead[w, m, part, k] = ahead[w, m, part + 1, k]
                for k in range(done, first[w, m, part * BUCKETS // COARSE - 1]):
                    ahead[w, m, part, kind[w, m, k]] += 1
                done = first[w, m, part * BUCKETS // COARSE - 1]
    return ahead


@kernel
def _first(power: Floats) -> Integers:
    """For each bucket the number of steps above its upper end; 0 for the highest."""
    first = np.zeros((power.shape[0], power.shape[1], BUCKETS + 1), np.int64)
    for w in range(power.shape[0]):
        for m in range(power.shape[1]):
            k = 0
            for bucket in range(BUCKETS - 1, -1, -1):
                edge = power[w, m, 0] * (bucket + 1) / BUCKETS
                while k < power.shape[2] - 1 and power[w, m, k] > edge:
                    k += 1
                first[w, m, bucket] = k
    return first


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
