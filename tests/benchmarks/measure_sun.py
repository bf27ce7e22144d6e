"""Time the sun of distinct solar cells: skies, energy by tilt, power-duration of every module; run by hand.

    python -m tests.benchmarks.measure_sun 10000

Prints seconds on all cores, milliseconds of one core a cell by part, and what the elementwise functions of pvlib take
for the same steps (split, tilted plane, cell temperature), cell by cell and in batches of 100 cells.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
import pvlib

from planner.engine.light import Plane, light, power, tilts_deg, towards_equator_deg
from planner.engine.sun import Climate, Sky, monthly_sky
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from tests.engine import bed

ARRAY = bed.context().plan.array
GAMMAS = np.asarray(bed.context().catalogue.modules.gamma_per_k)
CHUNK = 64
BATCH = 100
SOME = 300  # cells timed part by part


def main(cells: int) -> None:
    """Print the figures."""
    climates = make_climates(cells)
    for climate in climates[:2]:  # compile
        one_cell(climate)
    cores = os.cpu_count() or 1
    chunks = [climates[start : start + CHUNK] for start in range(0, cells, CHUNK)]
    started = time.perf_counter()
    with ThreadPoolExecutor(cores) as executor:
        list(executor.map(lambda chunk: [one_cell(climate) for climate in chunk], chunks))
    print(f"{cells} distinct cells on {cores} cores: {time.perf_counter() - started:.1f} s")

    some = climates[:SOME]
    skies = [monthly_sky(climate) for climate in some]
    print(f"steps a cell: {np.mean([sky.steps.sum() for sky in skies]):.0f}; milliseconds of one core a cell:")
    pairs = list(zip(some, skies, strict=True))
    timed("skies", [partial(monthly_sky, climate) for climate in some])
    timed("energy by tilt", [partial(power, sky, planes_of(climate), GAMMAS[:1], ARRAY) for climate, sky in pairs])
    timed("power-duration", [partial(light, sky, planes_of(climate)[1], GAMMAS, ARRAY) for climate, sky in pairs])
    timed("pvlib, same steps, cell by cell", [partial(by_pvlib, [sky], planes_of(climate)) for climate, sky in pairs])
    batches = [skies[start : start + BATCH] for start in range(0, SOME, BATCH)]
    timed("pvlib, same steps, in batches", [partial(by_pvlib, batch, planes_of(some[0])) for batch in batches], SOME)


def make_climates(count: int) -> list[Climate]:
    """Invented climates of all latitudes where people live, none like another."""
    rng = np.random.default_rng(1)
    unknown = np.full(12, np.nan)
    found = []
    for _ in range(count):
        latitude = float(rng.uniform(-45.0, 45.0))
        outside = np.asarray(daily_extraterrestrial_kwh_m2(latitude, 15.0 + 30.4 * np.arange(12)))
        ghi = outside * rng.uniform(0.35, 0.7) * rng.uniform(0.9, 1.1, 12)
        air = 25.0 - 0.2 * abs(latitude) + rng.uniform(-3.0, 3.0, 12)
        found.append(
            Climate(latitude, abs(latitude) < 23.45, ghi, unknown, unknown, air, np.full(12, 10.0), np.full(12, 3.0))
        )
    return found


def planes_of(climate: Climate) -> list[Plane]:
    """The tilts that are tried."""
    azimuth = towards_equator_deg(climate.latitude_deg)
    return [Plane(float(tilt), azimuth, False) for tilt in tilts_deg(climate.latitude_deg)]


def one_cell(climate: Climate) -> None:
    """What a cell costs: its skies, the energy of each tilt, the curves of all modules at one of them."""
    sky = monthly_sky(climate)
    planes = planes_of(climate)
    power(sky, planes, GAMMAS[:1], ARRAY)
    light(sky, planes[1], GAMMAS, ARRAY)


def by_pvlib(skies: list[Sky], planes: list[Plane]) -> None:
    """Split, planes and cell temperature of the same steps by pvlib's elementwise functions."""
    lit = [np.arange(sky.up.shape[1]) < sky.steps[:, None] for sky in skies]

    def joined(name: str) -> np.ndarray:
        return np.concatenate([getattr(sky, name)[mask] for sky, mask in zip(skies, lit, strict=True)])

    up, east, north = joined("up"), joined("east"), joined("north")
    zenith, azimuth = np.degrees(np.arccos(up)), np.degrees(np.arctan2(east, north)) % 360.0
    ghi, extra = joined("ghi"), joined("extra")
    split = pvlib.irradiance.erbs(ghi, zenith, np.full(up.size, 100.0))
    for plane in planes:
        facing = pvlib.irradiance.aoi_projection(plane.tilt_deg, plane.azimuth_deg, zenith, azimuth)
        sky_light = pvlib.irradiance.haydavies(
            plane.tilt_deg, plane.azimuth_deg, split["dhi"], split["dni"], extra,
            projection_ratio=np.maximum(facing, 0) / np.maximum(up, 0.01745),
        )  # fmt: skip
        ground = pvlib.irradiance.get_ground_diffuse(plane.tilt_deg, ghi, ARRAY.albedo)
        total = split["dni"] * np.maximum(facing, 0) + sky_light + ground
        pvlib.temperature.faiman(total, joined("air_c"), joined("wind_m_s"), 25.0, 6.84)


def timed(what: str, calls: list[Callable[[], object]], cells: int | None = None) -> None:
    """Print the mean time a cell."""
    started = time.perf_counter()
    for call in calls:
        call()
    print(f"  {what:32}{1000 * (time.perf_counter() - started) / (cells or len(calls)):7.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
