"""An invented nation of any number of wells: inventory, rasters, district polygons and plan; seeded; run by hand.

    python -m tests.benchmarks.make_nation 100000 FOLDER [--tables-only] [--seed 9]
    planner run FOLDER/plan.toml --out FOLDER/results

The land grows with the number of wells (one on 8 km², as in a country that is well supplied), so a larger inventory is
no denser one. Two thirds of the wells have a tested yield, half a level, a third a pumping level; a fifth are dry,
abandoned or equipped already. One cell in forty is odd as in real inventories: a unit or a word in the cell, a decimal
comma, a missing value; one row in a hundred is a repeat visit, one in two hundred has its coordinates swapped.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.transform import from_origin

from planner.physics.sun import daily_extraterrestrial_kwh_m2

SEED = 9
KM2_A_WELL = 8.0
KM_A_DEGREE = 111.0
WEST, NORTH = 18.0, -6.0
SOLAR_STEP, FINE_STEP = 0.1, 0.01  # degrees
AHEAD = 0.2  # rasters reach this far beyond the land, degrees
DAY_OF_MONTH = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])

Floats = NDArray[np.float64]

PLAN = """\
# An invented nation, made by tests/benchmarks/make_nation.py.
[programme]
name = "Invented nation"
budget = {budget}

[inventory]
file = "boreholes.csv"
crs = "EPSG:4326"

[area]
boundary = "districts.gpkg"
name_field = "name"

[rasters]
solar = {{ file = "ghi_monthly.tif", unit = "kWh/m2/day" }}
air_temperature = {{ file = "air_temperature.tif", unit = "degC" }}
elevation = {{ file = "elevation.tif", unit = "m" }}
water_level = {{ file = "water_level.tif", unit = "m" }}
well_yield = {{ file = "well_yield.tif", unit = "m3/h" }}
population = {{ file = "population.tif", unit = "people" }}

[output]
files = [{files}]
date = "2026-01-01"
"""


def make_nation(count: int, folder: Path, seed: int = SEED, files: str = '"csv", "parquet", "gpkg", "map"') -> Path:
    """Write an inventory of `count` rows with all that its plan names into a folder; the plan's path."""
    folder.mkdir(parents=True, exist_ok=True)
    side = float(np.sqrt(count * KM2_A_WELL)) / KM_A_DEGREE
    random = np.random.default_rng(seed)
    surfaces = _rasters(folder, side, random)
    _districts(folder, side)
    _inventory(folder, count, side, surfaces, random)
    plan = folder / "plan.toml"
    plan.write_text(PLAN.format(budget=round(400 * count, -3), files=files), encoding="utf-8", newline="\n")
    return plan


def _hills(shape: tuple[int, int], step: float, random: np.random.Generator) -> Floats:
    """A smooth surface of waves from −1 to 1; the same place has the same value whatever the size of the land."""
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]] * step
    total = np.zeros(shape)
    for length in (3.0, 1.1, 0.4, 0.15):
        turn, phase = random.uniform(0, np.pi), random.uniform(0, 2 * np.pi, 2)
        along, across = rows * np.cos(turn) + columns * np.sin(turn), columns * np.cos(turn) - rows * np.sin(turn)
        wave = np.sin(2 * np.pi * along / length + phase[0]) * np.cos(2 * np.pi * across / length + phase[1])
        total += length**0.5 * wave
    return total / 4.0


def _write(path: Path, bands: Floats, step: float, dtype: str, nodata: float) -> None:
    bands = bands if bands.ndim == 3 else bands[None]
    transform = from_origin(WEST - AHEAD, NORTH + AHEAD, step, step)
    with rasterio.open(
        path, "w", driver="GTiff", width=bands.shape[2], height=bands.shape[1], count=bands.shape[0], dtype=dtype,
        crs="EPSG:4326", transform=transform, nodata=nodata, tiled=True, blockxsize=256, blockysize=256,
        compress="deflate",
    ) as file:  # fmt: skip
        file.write(bands.astype(dtype))


def _rasters(folder: Path, side: float, random: np.random.Generator) -> dict[str, Floats]:
    """Write the rasters; the fine surfaces that wells are drawn from."""
    coarse = (int(np.ceil((side + 2 * AHEAD) / SOLAR_STEP)) + 1,) * 2
    fine = (int(np.ceil((side + 2 * AHEAD) / FINE_STEP)) + 1,) * 2
    cloud = _hills(coarse, SOLAR_STEP, random)
    latitude = NORTH + AHEAD - SOLAR_STEP * np.arange(coarse[0])
    summer = np.cos(2 * np.pi * (DAY_OF_MONTH[:, None] + 10) / 365.0)  # 1 in December
    sun = 5.6 + 0.045 * -latitude[None, :] * summer
    outside = np.asarray(daily_extraterrestrial_kwh_m2(latitude[None, :], DAY_OF_MONTH[:, None].astype("float64")))
    sun = np.minimum(sun[:, :, None] + 0.4 * cloud[None], 0.72 * outside[:, :, None])  # of a large land, far south
    _write(folder / "ghi_monthly.tif", sun, SOLAR_STEP, "float32", -9999)
    _write(folder / "air_temperature.tif", 23.0 + 3.0 * cloud, SOLAR_STEP, "float32", -9999)
    height = 900.0 + 500.0 * _hills(fine, FINE_STEP, random)
    level = np.clip(24.0 * np.exp(0.9 * _hills(fine, FINE_STEP, random)), 2.0, 120.0)
    rate = 2.2 * np.exp(1.1 * _hills(fine, FINE_STEP, random))
    people = np.exp(random.normal(2.2, 1.3, fine)) * (random.random(fine) < 0.35)
    _write(folder / "elevation.tif", height, FINE_STEP, "int16", -9999)
    _write(folder / "water_level.tif", level, FINE_STEP, "float32", -9999)
    _write(folder / "well_yield.tif", rate, FINE_STEP, "float32", -9999)
    _write(folder / "population.tif", np.round(people), FINE_STEP, "float32", -9999)
    return {"level": level, "rate": rate}


def _districts(folder: Path, side: float) -> None:
    """A square grid of districts, each of about a degree."""
    count = max(int(np.ceil(side)), 1)
    edges = np.linspace(0.0, side, count + 1)
    boxes = [
        shapely.box(WEST + edges[x], NORTH - edges[y + 1], WEST + edges[x + 1], NORTH - edges[y])
        for y in range(count)
        for x in range(count)
    ]
    names = [f"District {number + 1:03d}" for number in range(len(boxes))]
    frame = gpd.GeoDataFrame({"name": names}, geometry=boxes, crs="EPSG:4326")
    frame.to_file(folder / "districts.gpkg", driver="GPKG", layer="districts")


def _inventory(folder: Path, count: int, side: float, surfaces: dict[str, Floats], random: np.random.Generator) -> None:
    x, y = random.random(count) * side, random.random(count) * side
    row, column = ((one + AHEAD) / FINE_STEP for one in (y, x))
    at = row.astype(int), column.astype(int)
    level = np.round(np.clip(surfaces["level"][at] * np.exp(random.normal(0, 0.25, count)), 0.5, 140), 1)
    rate = np.round(np.clip(surfaces["rate"][at] * np.exp(random.normal(0, 0.5, count)), 0.2, 60), 2)
    pumping = np.round(level + np.exp(random.normal(2.0, 0.6, count)), 1)
    depth = np.round(np.maximum(pumping + 6, level + random.gamma(4, 9, count)), 1)
    people = np.round(np.exp(random.normal(5.5, 0.7, count)))
    status = random.choice(["working", "needs_repair", "abandoned", "dry", ""], count, p=[0.6, 0.15, 0.08, 0.07, 0.1])
    pump = random.choice(["none", "handpump", "diesel", "solar", "grid"], count, p=[0.3, 0.55, 0.05, 0.06, 0.04])
    columns = {
        "site_id": [f"W{number:07d}" for number in range(1, count + 1)],
        "sub_district": _kept(_district_of(x, y, side), 0.9, random),
        "site_name": random.choice(["Upper", "Lower", "Old", "New", "East", "West"], count).astype(object)
        + random.choice([" Dvevra", " Shlomi", " Tarun", " Obrek", " Quilun", " Vrisha"], count).astype(object),
        "latitude": _texts(NORTH - y, 5),
        "longitude": _texts(WEST + x, 5),
        "depth_m": _kept(_texts(depth, 1), 0.85, random),
        "casing_mm": _kept(_texts(random.choice([100, 113, 125, 152, 203], count), 0), 0.5, random),
        "static_level_m": _kept(_texts(level, 1), 0.5, random),
        "tested_yield_m3_h": _kept(_texts(rate, 2), 0.67, random),
        "pumping_level_m": _kept(_texts(pumping, 1), 0.33, random),
        "test_kind": random.choice(["constant_rate", "step", "airlift", ""], count, p=[0.5, 0.1, 0.1, 0.3]),
        "test_hours": _kept(_texts(random.choice([2, 4, 6, 12, 24], count), 0), 0.4, random),
        "test_date": _kept(_texts(random.integers(1985, 2026, count), 0), 0.5, random),
        "people": _kept(_texts(people, 0), 0.7, random),
        "livestock_tlu": _kept(_texts(random.poisson(20, count), 0), 0.3, random),
        "ec_us_cm": _kept(_texts(np.exp(random.normal(6, 0.6, count)), 0), 0.3, random),
        "fluoride_mg_l": _kept(_texts(np.exp(random.normal(-0.5, 0.7, count)), 2), 0.2, random),
        "status": status,
        "equipped_with": pump,
    }
    table = pd.DataFrame(columns).astype("object")
    _make_odd(table, random)
    table.to_csv(folder / "boreholes.csv", index=False, lineterminator="\n")


def _district_of(x: Floats, y: Floats, side: float) -> NDArray[np.object_]:
    count = max(int(np.ceil(side)), 1)
    column, row = (np.minimum((one / side * count).astype(int), count - 1) for one in (x, y))
    return np.array([f"District {number + 1:03d}" for number in row * count + column], dtype=object)


def _texts(values: NDArray[np.generic], digits: int) -> NDArray[np.object_]:
    return np.array([f"{value:.{digits}f}" for value in values], dtype=object)


def _kept(texts: NDArray[np.object_], share: float, random: np.random.Generator) -> NDArray[np.object_]:
    return np.where(random.random(len(texts)) < share, texts, "")


def _make_odd(table: pd.DataFrame, random: np.random.Generator) -> None:
    """Faults of real inventories, in place."""
    count = len(table)
    for name, unit in (("depth_m", " m"), ("static_level_m", " m"), ("tested_yield_m3_h", " m3/h"), ("people", "")):
        odd = random.choice(count, count // 40, replace=False)
        cells = table[name].to_numpy(dtype=object, copy=True)
        for number, place in enumerate(odd):
            if cells[place]:
                faults = (cells[place] + unit, "~" + cells[place], "n/a", cells[place] + unit.upper(), "unknown")
                cells[place] = faults[number % len(faults)]
        table[name] = cells
    swapped = random.choice(count, count // 200, replace=False)
    pair = table.iloc[swapped][["longitude", "latitude"]].to_numpy()
    table.iloc[swapped, [table.columns.get_loc("latitude"), table.columns.get_loc("longitude")]] = pair
    again = random.choice(count - 1, count // 100, replace=False)
    table.iloc[again + 1] = table.iloc[again].to_numpy()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--tables-only", action="store_true", help="no map and no GeoPackage")
    given = parser.parse_args()
    files = '"csv", "parquet"' if given.tables_only else '"csv", "parquet", "gpkg", "map"'
    print(make_nation(given.count, given.folder, given.seed, files))


if __name__ == "__main__":
    main()
