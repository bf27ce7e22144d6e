"""Make the demo district: `python make_demo.py [FOLDER]` writes its data, by default beside this file.

The same versions of the libraries give the same bytes. Nothing here describes a real place.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from faults import LIST_HEADERS, plant_all
from geology import (
    CRS_UTM,
    TRANSFORM,
    Grid,
    Land,
    in_degrees,
    make_land,
    monthly_irradiation,
    monthly_rain,
    monthly_temperature,
    noise,
)
from numpy.random import Generator
from numpy.typing import NDArray
from office import HEADERS, Record, write_down
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.features import rasterize
from rasterio.transform import Affine, from_origin
from rasterio.warp import reproject
from wells import ROCKS, Settlement, make_names, make_settlements, make_wells

SEED = 20260
# The committed files were written with these; other versions may pack the same values into other bytes.
WRITTEN_WITH = {"rasterio": "1.4.4", "pyogrio": "0.13.0"}

DEGREES = "EPSG:4326"
WEST, NORTH, EAST, SOUTH = 3.75, -12.55, 4.80, -13.55
COARSE, FINE = 0.05, 0.005  # cells of the climate and of the population raster, degrees
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip


def main(folder: Path) -> None:
    rng = np.random.default_rng(SEED)
    land = make_land(rng)
    names = make_names(rng, 420)
    wards, village_names = names[:8], names[8:400]
    places = make_settlements(rng, land, village_names)
    records = write_down(rng, make_wells(rng, land, places), wards)
    write_climate(rng, folder, land)
    write_ground(folder, land)
    write_groundwater(rng, folder, land)
    write_population(rng, folder, land, places, records)  # true numbers of people, hence before the faults
    write_sub_districts(folder, land, wards)
    planter = plant_all(rng, land, records, names[400:])
    write_csv(folder / "boreholes.csv", HEADERS, (record.text.values() for record in planter.records))
    write_csv(folder / "planted_faults.csv", LIST_HEADERS, planter.numbered())


def write_csv(path: Path, headers: Sequence[str], lines: Iterable[Iterable[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(headers)
        writer.writerows(lines)


def write_raster(
    path: Path,
    bands: NDArray[np.generic],
    transform: Affine,
    crs: str,
    unit: str,
    nodata: float | None = None,
    scale: float = 1.0,
    tile: int = 128,
) -> None:
    """Tiled, packed GeoTIFF with overviews; `bands` is (bands, rows, columns) of stored values."""
    count, height, width = bands.shape
    with rasterio.open(
        path, "w", driver="GTiff", count=count, height=height, width=width, dtype=bands.dtype, crs=crs,
        transform=transform, nodata=nodata, tiled=True, blockxsize=tile, blockysize=tile, compress="DEFLATE",
        predictor=3 if bands.dtype.kind == "f" else 2, zlevel=9,
    ) as file:  # fmt: skip
        file.write(bands)
        file.units = [unit] * count
        file.scales = [scale] * count
        if count == 12:
            file.descriptions = MONTHS
    with rasterio.open(path, "r+") as file:
        file.build_overviews([k for k in (2, 4, 8) if min(height, width) // k >= 4], Resampling.average)


def write_climate(rng: Generator, folder: Path, land: Land) -> None:
    """Irradiation as hundredths in 16 bits, temperature in tenths as plain numbers, rain in mm; on 0.05 degrees."""
    elevation_m = on_degrees(land.elevation_m, COARSE)
    transform, (rows, columns) = degree_grid(COARSE)
    latitude = np.repeat(NORTH - (np.arange(rows) + 0.5)[:, None] * COARSE, columns, axis=1)
    irradiation = np.rint(monthly_irradiation(rng, latitude, elevation_m) * 100).astype("int16")
    write_raster(folder / "ghi_monthly.tif", irradiation, transform, DEGREES, "kWh/m2/day", -32768, 0.01, tile=16)
    temperature = np.round(monthly_temperature(elevation_m), 1).astype("float32")
    write_raster(folder / "air_temperature.tif", temperature, transform, DEGREES, "degC", tile=16)
    rain = np.rint(monthly_rain(elevation_m)).astype("int16")
    write_raster(folder / "rain.tif", rain, transform, DEGREES, "mm/month", -32768, tile=16)


def write_ground(folder: Path, land: Land) -> None:
    """Elevation in whole metres on the projected grid, without data far outside the district."""
    near = rasterize([land.outline.buffer(6000)], land.inside.shape, transform=TRANSFORM).astype(bool)
    stored = np.where(near, np.rint(land.elevation_m), -32768).astype("int16")
    write_raster(folder / "elevation.tif", stored[None], TRANSFORM, CRS_UTM, "m", -32768)


def write_groundwater(rng: Generator, folder: Path, land: Land) -> None:
    """Regional maps of depth to water and yield: coarse, off by some 12 %, with gaps where nobody mapped."""
    medians = [np.mean(ROCKS[unit].yield_m3_h) * 0.7 for unit in sorted(ROCKS)]
    water_m = on_degrees(land.water_m * np.exp(0.12 * noise(rng, 25)), COARSE)
    yield_m3_h = on_degrees(np.choose(land.unit, medians) * land.richness * np.exp(0.12 * noise(rng, 25)), COARSE)
    far = on_degrees(land.inside.astype(float), COARSE) == 0
    gaps = far | (on_degrees(noise(rng, 14), COARSE) > 1.9)
    transform, _ = degree_grid(COARSE)
    for name, values, unit in (("water_level", water_m, "m"), ("well_yield", yield_m3_h, "m3/h")):
        stored = np.where(gaps, -9999, np.round(values, 1)).astype("float32")
        write_raster(folder / f"{name}.tif", stored[None], transform, DEGREES, unit, -9999, tile=16)


def write_population(rng: Generator, folder: Path, land: Land, places: list[Settlement], records: list[Record]) -> None:
    """People a cell: a settlement's well users in a bell around its middle, one in eight farther out."""
    users = np.zeros(len(places))
    for record in records:
        if record.well is not None and record.text["status"] not in {"dry", "abandoned"}:
            users[record.well.settlement] += record.well.people
    transform, (rows, columns) = degree_grid(FINE)
    longitude = WEST + (np.arange(columns) + 0.5) * FINE
    latitude = NORTH - (np.arange(rows) + 0.5) * FINE
    to_utm = Transformer.from_crs(DEGREES, CRS_UTM, always_xy=True)
    easting, northing = to_utm.transform(*np.meshgrid(longitude, latitude))
    expected = np.zeros((rows, columns))
    for place, people in zip(places, users, strict=True):
        squared = (easting - place.easting_m) ** 2 + (northing - place.northing_m) ** 2
        for share, reach_m in ((7 / 8, 550 if place.town else 330), (1 / 8, 1500)):
            bell = np.exp(-squared / (2 * reach_m**2))
            expected += share * people * bell / bell.sum()
    inside = rasterize([in_degrees(land.outline)], (rows, columns), transform=transform).astype(bool)
    stored = np.where(inside, rng.poisson(expected), 65535).astype("uint16")
    write_raster(folder / "population.tif", stored[None], transform, DEGREES, "people", 65535)


def write_sub_districts(folder: Path, land: Land, names: list[str]) -> None:
    path = folder / "district.gpkg"
    path.unlink(missing_ok=True)
    frame = gpd.GeoDataFrame({"name": names}, geometry=[in_degrees(p) for p in land.sub_districts], crs=DEGREES)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-01-01T00:00:00.000Z"})  # else the hour of writing
    pyogrio.write_dataframe(frame, path, layer="sub_districts", driver="GPKG", geometry_type="Polygon")


def degree_grid(cell: float) -> tuple[Affine, tuple[int, int]]:
    return from_origin(WEST, NORTH, cell, cell), (round((NORTH - SOUTH) / cell), round((EAST - WEST) / cell))


def on_degrees(values: Grid, cell: float) -> Grid:
    """Means of a field of the land over the cells of a grid in degrees."""
    transform, shape = degree_grid(cell)
    means = np.full(shape, np.nan)
    reproject(
        values, means, src_transform=TRANSFORM, src_crs=CRS_UTM, dst_transform=transform, dst_crs=DEGREES,
        resampling=Resampling.average, dst_nodata=np.nan,
    )  # fmt: skip
    if np.isnan(means).any():
        raise RuntimeError("the grid in degrees reaches beyond the land")
    return means


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
