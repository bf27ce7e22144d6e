"""How far the built-in sun and air temperature lie from weather years and published means; and how long they take.

    python -m tests.benchmarks.measure_world_climate [--pvdeg FOLDER]

The years come with packages: three with pvlib, three with pvdeg, of which only the data files are read
(`pip install --no-deps pvdeg`, or --pvdeg FOLDER of its data). Printed a year: error of the year's irradiation, of its
worst month (largest |monthly error| ÷ mean month), of the grid without the zone's ratio, and of the temperature; then
errors against annual means from memory, the clear sky against pvlib's own, and seconds.
"""

from __future__ import annotations

import argparse
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from planner.engine.weather import monthly_ghi_kwh_m2_day
from planner.tables import world_climate as world
from planner.tables.world_climate import world_climate
from tests.benchmarks.measure_weather_years import Year, pvdeg_years, pvlib_years

Floats = NDArray[np.float64]

# Annual mean, kWh/m² a day, from memory of published solar atlases; ± 10 % themselves.
FROM_MEMORY = {
    "Nairobi": (-1.29, 36.82, 5.5),
    "Lusaka": (-15.4, 28.3, 5.7),
    "Niamey": (13.5, 2.1, 5.9),
    "Khartoum": (15.6, 32.5, 6.3),
    "Addis Ababa": (9.03, 38.74, 5.8),
    "Kampala": (0.32, 32.58, 5.1),
    "Kinshasa": (-4.3, 15.3, 4.5),
    "Libreville": (0.4, 9.45, 4.5),
    "Dakar": (14.7, -17.4, 5.8),
    "Johannesburg": (-26.2, 28.05, 5.6),
    "Cairo": (30.05, 31.25, 5.6),
    "Delhi": (28.6, 77.2, 5.0),
    "Manila": (14.6, 121.0, 4.8),
    "Alice Springs": (-23.7, 133.9, 6.2),
    "La Paz": (-16.5, -68.15, 5.7),
    "Lima (fog coast)": (-12.05, -77.05, 4.6),
    "Berlin": (52.5, 13.4, 2.9),
}
MANY = 10_000


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pvdeg", type=Path, help="folder with psm4_*.csv and meta_*.json")
    years = [*pvlib_years(), *pvdeg_years(parser.parse_args().pvdeg)]
    table = pd.DataFrame([against_year(year) for year in years]).set_index("year")
    print(table.to_string(float_format="{:+.1f}".format))
    for name in ("annual %", "grid alone %"):
        print(f"{name}: bias {table[name].mean():+.1f}, rms {np.sqrt((table[name] ** 2).mean()):.1f}")
    against_memory()
    against_full_month()
    timed()


def against_year(year: Year) -> dict[str, object]:
    """Errors against one weather year."""
    weather = year.weather
    found = world_climate(weather.latitude_deg, weather.longitude_deg, weather.elevation_m)
    real, ours = monthly_ghi_kwh_m2_day(weather), found.ghi_kwh_m2_day[0]
    air = np.bincount(weather.month, weather.air_temperature_c) / np.bincount(weather.month)
    apart = found.air_temperature_c[0] - air
    cells = world._cells(found.cell)
    at = (cells.latitude_deg + 57.0) / 3.0, (cells.longitude_deg + 180.0) / 3.0
    grid = world._bilinear(world._data().ghi_kwh_m2_day, *at)[0]
    return {
        "year": year.name,
        "zone": str(found.zone[0]),
        "annual %": 100 * (ours @ world.DAYS / (real @ world.DAYS) - 1),
        "worst month %": 100 * float(np.abs(ours - real).max() / real.mean()),
        "grid alone %": 100 * (grid @ world.DAYS / (real @ world.DAYS) - 1),
        "air, year K": float(apart.mean()),
        "air, worst month K": float(apart[np.abs(apart).argmax()]),
    }


def against_memory() -> None:
    """Print annual means beside what is remembered of them."""
    latitude, longitude, told = np.array(list(FROM_MEMORY.values())).T
    found = world_climate(latitude, longitude, np.nan)
    annual = found.ghi_kwh_m2_day @ world.DAYS / world.DAYS.sum()
    print(f"\n{'from memory':18}zone   ours  told      %  range")
    for name, zone, ours, other, share in zip(FROM_MEMORY, found.zone, annual, told, found.range_share, strict=True):
        print(f"{name:18}{zone:5}{ours:6.2f}{other:6.2f}{100 * (ours / other - 1):+7.0f}  ±{100 * share:.0f} %")


def against_full_month() -> None:
    """Print months of the clear sky against pvlib every ten minutes, with refraction and turbidity of each month."""
    print("\nclear sky against every ten minutes, %: year; largest of the months with more than 0.5 kWh/m² a day")
    times = pd.date_range("2019-01-01", "2019-12-31 23:50", freq="10min", tz="UTC")
    for latitude, longitude, elevation in ((-1.3, 36.8, 1700), (13.5, 2.1, 200), (-33, 150, 500), (40, -105, 1800)):
        print_full_month(times, latitude, longitude, elevation)
    print_full_month(times, 55.0, 25.0, 100.0)
    print_full_month(times, 65.0, 25.0, 100.0)


def print_full_month(times: pd.DatetimeIndex, latitude: float, longitude: float, elevation: float) -> None:
    """One line."""
    cells = world._cells(world_climate(latitude, longitude, elevation).cell)
    ours = world.clear_sky_kwh_m2_day(cells.latitude_deg, world._turbidity(cells), np.array([float(elevation)]))[0]
    place = pvlib.location.Location(cells.latitude_deg[0], cells.longitude_deg[0], altitude=elevation)
    turbidity = pvlib.clearsky.lookup_linke_turbidity(times, place.latitude, place.longitude, interp_turbidity=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        light = place.get_clearsky(times, linke_turbidity=turbidity)["ghi"]
    full = light.groupby(times.month).mean().to_numpy() * 0.024
    error, bright = 100 * (ours / full - 1), full > 0.5
    year = 100 * (ours @ world.DAYS / (full @ world.DAYS) - 1)
    print(f"{latitude:6.1f}°: {year:+.2f}; {error[bright][np.abs(error[bright]).argmax()]:+.1f}")


def timed() -> None:
    """Print seconds for many distinct cells of the world and of one region."""
    rng = np.random.default_rng(1)
    land = np.flatnonzero(world._data().zone)
    cells = world._cells(rng.choice(land[(land > 200 * world.COLUMNS) & (land < 1750 * world.COLUMNS)], MANY, False))
    elevation = rng.uniform(0.0, 2500.0, MANY)
    started = time.perf_counter()
    world_climate(cells.latitude_deg, cells.longitude_deg, elevation)
    print(f"\n{MANY} distinct cells of the world: {time.perf_counter() - started:.2f} s")
    started = time.perf_counter()
    world_climate(rng.uniform(-12.0, -8.0, MANY), rng.uniform(24.0, 30.0, MANY), elevation)
    print(f"{MANY} places of one region of 4° × 6°: {time.perf_counter() - started:.2f} s")
    world._data.cache_clear()
    started = time.perf_counter()
    world._data()
    print(f"reading the data once: {time.perf_counter() - started:.2f} s")


if __name__ == "__main__":
    main()
