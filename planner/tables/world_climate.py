"""The built-in sun and air temperature of any place on land. Not a step; the steps that need a climate share it.

Monthly irradiation on the horizontal is the MERRA-2 grid (2011–2015, 3°, bilinear) × the ratio of the place's
Köppen–Geiger zone: mean of measured places of the zone over the mean of the grid on the same land. No month exceeds
0.95 of pvlib's clear sky (Ineichen & Perez 2002 with its monthly Linke turbidity). Air temperature is the ERA5 mean
2000–2025, brought from sea level to the elevation. All is computed at the centre of a 5′ cell (9 km at the equator),
so sites of one cell, of elevations that agree to 100 m, share one sun. `planner/data/make_world.py` made the data;
planner/data/world/NOTICE names the sources.

Against six hourly years of the United States the year is within −6 … +13 %; tests/benchmarks/measure_world_climate.py
prints the table.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner.physics.sun import declination_rad, sunset_hour_angle_rad

__all__ = ["WorldClimate", "clear_sky_kwh_m2_day", "climate_zones", "seasonal_shape", "world_climate"]

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]

ROWS, COLUMNS = 2160, 4320  # cells of 5′, row 0 at the North Pole, column 0 at 180° W; as pvlib's own grids
SOUTH, NORTH = -58.5, 73.5  # edges of the MERRA-2 grid's cells
DAYS = np.array((31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0))
CAP = 0.95  # highest month, share of the clear sky: no month of a measured year is without cloud
LAPSE_K_M = 0.0065  # International Standard Atmosphere; the data were brought to sea level with the same
CELL_KM = 40_008.0 / 2 / ROWS
COAST_KM = 25.0  # a place at sea takes the nearest land within this
ELEVATION_STEP_M = 100.0

# Half-width of the P10–P90 range of the year, share of it. Ordinary land: root mean square error 7 % against measured
# years, ±1.28 of it 9 %, and what a climate's mean does not know of the place. Wider where 3° cannot see the place.
ORDINARY, WIDE = 0.15, 0.25
RELIEF_M = 1000.0  # between the lowest and the highest 5′ cell within 0.25°: deep valleys, coast to highland
FOG_LATITUDES = (10.0, 35.0)
FOG_KM = 50.0  # from the sea in the west, on dry land
OPEN_SEA_KM = 500.0  # the sea reaches this far west, so that it is no gulf

# Three days a month stand for it: the mean day alone misses a month in which the sun comes back.
DAYS_OF_MONTH = (1 / 6, 1 / 2, 5 / 6)  # of its length
MONTH_START = np.array((0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334))
HALF_DAY_POINTS = 6  # of Gauss and Legendre, noon to sunset
CHUNK = 10_000  # places whose clear sky is computed at once, about 60 MB
LOWEST_SINE = 1e-3  # of the sun's altitude, for the models; at lower points the sun is down all day and counts nothing
ALTITUDE_STEP_M, ALTITUDE_LOWEST_M, ALTITUDE_NONE = 28.0, -450.0, 255  # pvlib.location.lookup_altitude
TURBIDITY_STEP = 0.05  # pvlib.clearsky.lookup_linke_turbidity


class WorldClimate(NamedTuple):
    """What is known of n places; NaN, "" and -1 where no land is near or the grid ends."""

    ghi_kwh_m2_day: Floats  # (n, 12) monthly means on the horizontal
    air_temperature_c: Floats  # (n, 12)
    zone: NDArray[np.str_]  # (n,) Köppen–Geiger code; "" also on islands that its map lacks
    range_share: Floats  # (n,) half-width of the P10–P90 range of the year's irradiation, share of it
    cell: Integers  # (n,) row × 4320 + column of the 5′ cell
    cell_latitude_deg: Floats  # (n,) of the cell's centre


class _Data(NamedTuple):
    zone: NDArray[np.uint8]  # (2160, 4320), 0 at sea
    ghi_kwh_m2_day: Floats  # (44, 120, 12), from 57° S and 180° W every 3°
    sea_level_c: Floats  # (181, 360, 12), from 90° N and 0° E every degree
    code: NDArray[np.str_]  # by zone number
    ratio: Floats  # by zone number
    altitude_m: Floats  # (2160, 4320), 0 at sea


class _Cells(NamedTuple):
    flat: Integers  # row × 4320 + column
    row: Integers
    column: Integers
    latitude_deg: Floats  # of the centre
    longitude_deg: Floats


def world_climate(latitude_deg: ArrayLike, longitude_deg: ArrayLike, elevation_m: ArrayLike) -> WorldClimate:
    """Sun and air temperature of places, all (n,); latitude −90 to 90, longitude in any turn.

    The elevation, m above sea, is rounded to 100 m; NaN stands for that of pvlib's map. A place at sea takes the
    nearest land within 25 km. Farther out, on islands far from any land of the grid (Hawaii, the Azores), beyond
    58.5° S and 73.5° N, and at NaN there is no climate.

    >>> found = world_climate([-1.29, 0.0], [36.82, -30.0], [1700.0, float("nan")])
    >>> [str(zone) for zone in found.zone], found.cell.tolist()
    (['Cfb', ''], [4733001, -1])
    """
    latitude, longitude, elevation = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(each, dtype=np.float64)) for each in (latitude_deg, longitude_deg, elevation_m))
    )
    cell = _land_cell(latitude, longitude)
    out = WorldClimate(
        np.full((cell.size, 12), np.nan),
        np.full((cell.size, 12), np.nan),
        np.full(cell.size, "", dtype="<U3"),
        np.full(cell.size, np.nan),
        cell,
        np.full(cell.size, np.nan),
    )
    land = cell >= 0
    if not land.any():
        return out
    distinct, of = np.unique(cell[land], return_inverse=True)
    cells = _cells(distinct)
    data = _data()
    number = data.zone[cells.row, cells.column]
    height = np.where(
        np.isfinite(elevation[land]),
        np.round(elevation[land] / ELEVATION_STEP_M) * ELEVATION_STEP_M,
        data.altitude_m[cells.row, cells.column][of],
    )
    levels, of_level = np.unique(np.stack([of.astype(np.float64), height]), axis=1, return_inverse=True)
    level_of, level, of_level = levels[0].astype(np.int64), levels[1], of_level.ravel()

    grid = _bilinear(data.ghi_kwh_m2_day, (cells.latitude_deg + 57.0) / 3.0, (cells.longitude_deg + 180.0) / 3.0)
    ghi = (grid * data.ratio[number][:, None])[level_of]
    air = _bilinear(data.sea_level_c, 90.0 - cells.latitude_deg, cells.longitude_deg)[level_of]
    out.ghi_kwh_m2_day[land] = np.minimum(ghi, _caps(cells, level_of, level))[of_level]
    out.air_temperature_c[land] = (air - LAPSE_K_M * level[:, None])[of_level]
    out.zone[land] = data.code[number][of]
    unseen = _rough(cells) | _fog_coast(cells) | (data.code[number] == "")
    out.range_share[land] = np.where(unseen, WIDE, ORDINARY)[of]
    out.cell_latitude_deg[land] = cells.latitude_deg[of]
    return out


def climate_zones(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> NDArray[np.str_]:
    """Köppen–Geiger code of places (n,), as in `WorldClimate`, and no more of their climate.

    >>> climate_zones([-1.29, 0.0], [36.82, -30.0]).tolist()
    ['Cfb', '']
    """
    latitude, longitude = (np.atleast_1d(np.asarray(each, dtype=np.float64)) for each in (latitude_deg, longitude_deg))
    cell = _land_cell(latitude, longitude)
    cells, data = _cells(np.maximum(cell, 0)), _data()
    return np.where(cell >= 0, data.code[data.zone[cells.row, cells.column]], "")


def seasonal_shape(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Floats:
    """Monthly irradiation over the year's mean at places (n,): (n, 12), weighted by days 1 on average; NaN at sea."""
    ghi = world_climate(latitude_deg, longitude_deg, np.nan).ghi_kwh_m2_day
    return np.asarray(ghi / (ghi @ DAYS / DAYS.sum())[:, None])


def clear_sky_kwh_m2_day(latitude_deg: Floats, linke_turbidity: Floats, elevation_m: Floats) -> Floats:
    """Monthly means of a cloudless sky on the horizontal (n, 12): latitude (n,), turbidity (n, 12), elevation (n,).

    Ineichen & Perez 2002 as in pvlib, air mass of Kasten & Young 1989, without refraction, on three days a month, six
    points noon to sunset. Against pvlib every ten minutes the year is within 0.4 % up to 65°; a month within 1.5 % up
    to 40° and 5 % up to 65°, where it is above 0.5 kWh/m² a day.
    """
    from pvlib.atmosphere import alt2pres, get_absolute_airmass, get_relative_airmass
    from pvlib.clearsky import ineichen
    from pvlib.irradiance import get_extra_radiation

    node, weight = np.polynomial.legendre.leggauss(HALF_DAY_POINTS)
    share = (node + 1.0) / 2.0  # of the way from noon to sunset
    latitude = np.radians(latitude_deg)[:, None, None]
    pressure, height = alt2pres(elevation_m)[:, None, None], elevation_m[:, None, None]
    clear = np.zeros((latitude_deg.size, 12))
    for day_of_month in DAYS_OF_MONTH:
        day = MONTH_START + 0.5 + day_of_month * DAYS
        declination = np.asarray(declination_rad(day))
        sunset = np.asarray(sunset_hour_angle_rad(latitude_deg[:, None], declination))[:, :, None]
        sine = np.sin(latitude) * np.sin(declination)[:, None]
        sine = sine + np.cos(latitude) * np.cos(declination)[:, None] * np.cos(sunset * share)
        zenith = np.degrees(np.arccos(np.maximum(sine, LOWEST_SINE)))
        mass = get_absolute_airmass(get_relative_airmass(zenith), pressure)
        extra = np.asarray(get_extra_radiation(day))[:, None]
        light = ineichen(zenith, mass, linke_turbidity[:, :, None], height, extra)["ghi"]
        hours = 24.0 * sunset[:, :, 0] / np.pi
        clear += light @ (weight / 2.0) * hours / 1000.0
    return clear / len(DAYS_OF_MONTH)


def _caps(cells: _Cells, of: Integers, elevation_m: Floats) -> Floats:
    """Highest monthly means, kWh/m² a day (m, 12): of cells of[m] at elevations (m,)."""
    turbidity = _turbidity(cells)
    parts = np.array_split(np.arange(of.size), of.size // CHUNK + 1)
    clear = [clear_sky_kwh_m2_day(cells.latitude_deg[of[p]], turbidity[of[p]], elevation_m[p]) for p in parts]
    return CAP * np.concatenate(clear)


# Cells ------------------------------------------------------------------------------------------------------------


def _cells(index: Integers) -> _Cells:
    row, column = np.divmod(index, COLUMNS)
    return _Cells(index, row, column, 90.0 - (row + 0.5) / 12.0, (column + 0.5) / 12.0 - 180.0)


def _land_cell(latitude: Floats, longitude: Floats) -> Integers:
    """Index of the cell of each place or of the nearest land to it; -1 where there is none."""
    inside = np.isfinite(longitude) & (latitude >= SOUTH) & (latitude <= NORTH)
    row = np.floor((90.0 - np.where(inside, latitude, 0.0)) * 12.0).astype(np.int64)
    column = np.floor((np.where(inside, longitude, 0.0) + 180.0) * 12.0).astype(np.int64) % COLUMNS
    distinct, of = np.unique(np.where(inside, row * COLUMNS + column, -1), return_inverse=True)
    cells = _cells(distinct)
    sea = (distinct >= 0) & (_data().zone[cells.row, cells.column] == 0)
    distinct[sea] = _nearest_land(_cells(distinct[sea]))
    return np.asarray(distinct[of])


def _nearest_land(cells: _Cells) -> Integers:
    """Index of the nearest land cell, centre to centre, within 25 km; else -1."""
    if not cells.flat.size:
        return cells.flat
    down = int(COAST_KM / CELL_KM)
    east_km = CELL_KM * np.cos(np.radians(cells.latitude_deg))
    across = int(COAST_KM / east_km.min())
    rows = cells.row[:, None] + np.repeat(np.arange(-down, down + 1), 2 * across + 1)
    columns = (cells.column[:, None] + np.tile(np.arange(-across, across + 1), 2 * down + 1)) % COLUMNS
    apart = np.hypot(
        CELL_KM * np.repeat(np.arange(-down, down + 1), 2 * across + 1),
        east_km[:, None] * np.tile(np.arange(-across, across + 1), 2 * down + 1),
    )
    apart = np.where((_data().zone[rows, columns] > 0) & (apart <= COAST_KM), apart, np.inf)
    best = apart.argmin(axis=1)
    each = np.arange(best.size)
    return np.where(np.isfinite(apart[each, best]), rows[each, best] * COLUMNS + columns[each, best], -1)


def _rough(cells: _Cells) -> Flags:
    """Whether the land within 0.25° rises by more than 1000 m."""
    step = np.arange(-3, 4)
    around = _data().altitude_m[
        cells.row[:, None, None] + step[:, None], (cells.column[:, None, None] + step) % COLUMNS
    ]
    return np.asarray(np.ptp(around, axis=(1, 2)) > RELIEF_M)


def _fog_coast(cells: _Cells) -> Flags:
    """Whether the place is dry, between 10° and 35°, and an open sea begins within 50 km to the west."""
    data = _data()
    poleward = np.abs(cells.latitude_deg)
    dry = np.char.startswith(data.code[data.zone[cells.row, cells.column]], "B")
    dry &= (poleward >= FOG_LATITUDES[0]) & (poleward <= FOG_LATITUDES[1])
    west_km = CELL_KM * np.cos(np.radians(cells.latitude_deg))[:, None]
    step = np.arange(1, int(OPEN_SEA_KM / west_km.min()) + 1) if dry.any() else np.arange(1, 2)
    sea = data.zone[cells.row[:, None], (cells.column[:, None] - step) % COLUMNS] == 0
    near, far = step * west_km <= FOG_KM, (step * west_km > FOG_KM) & (step * west_km <= OPEN_SEA_KM)
    open_sea = (sea & far).sum(axis=1) >= 0.9 * far.sum(axis=1)
    return np.asarray(dry & (sea & near).any(axis=1) & open_sea)


# Data -------------------------------------------------------------------------------------------------------------


def _bilinear(grid: Floats, row: Floats, column: Floats) -> Floats:
    """Values (n, months) between the four nodes of a grid that closes round the earth; rows beyond take the edge."""
    row = np.clip(row, 0.0, grid.shape[0] - 1.0)
    top = np.minimum(row.astype(np.int64), grid.shape[0] - 2)
    left = np.floor(column).astype(np.int64)
    down, right = (row - top)[:, None], (column - left)[:, None]
    left, beside = left % grid.shape[1], (left + 1) % grid.shape[1]
    upper = grid[top, left] * (1.0 - right) + grid[top, beside] * right
    lower = grid[top + 1, left] * (1.0 - right) + grid[top + 1, beside] * right
    return np.asarray(upper * (1.0 - down) + lower * down)


def _turbidity(cells: _Cells) -> Floats:
    """Linke turbidity of the cells, (n, 12), from pvlib's map, read in the blocks it is stored in."""
    with _pvlib_map("LinkeTurbidities.h5") as file:
        stored: Any = file["LinkeTurbidity"]
        high, wide, _ = stored.chunks
        found = np.empty((cells.flat.size, 12))
        block = cells.row // high * COLUMNS + cells.column // wide
        for each in np.unique(block):
            here = block == each
            top, left = each // COLUMNS * high, each % COLUMNS * wide
            part = stored[top : top + high, left : left + wide]
            found[here] = part[cells.row[here] - top, cells.column[here] - left]
    return found * TURBIDITY_STEP


def _pvlib_map(name: str) -> Any:
    import h5py
    import pvlib

    return h5py.File(Path(pvlib.__file__).parent / "data" / name)


@cache
def _data() -> _Data:
    folder = files("planner") / "data" / "world"
    with (folder / "world.npz").open("rb") as file, np.load(file) as grids:
        zone = grids["zone"]
        ghi = grids["ghi_wh_m2_day"] / 1000.0
        air = np.moveaxis(grids["sea_level_decicelsius"] / 10.0, 0, -1)
    rows = list(csv.DictReader((folder / "zones.csv").read_text(encoding="utf-8").splitlines()))
    code = np.array(["", *(row["code"] for row in rows)])
    ratio = np.array([np.nan, *(float(row["ratio"]) for row in rows)])
    with _pvlib_map("Altitude.h5") as file:
        stored = file["Altitude"][:].astype(np.float32)
    altitude = np.where(stored == ALTITUDE_NONE, 0.0, stored * ALTITUDE_STEP_M + ALTITUDE_LOWEST_M)
    return _Data(zone, ghi, air, code, ratio, altitude)
