"""Rasters on disk: open, validate, read cells. Not a step; the steps that need a raster share it.

Conventions: the value of a cell belongs to the whole cell, and stands at the cell's centre when values are
interpolated. Rows and columns count from 0 at the first stored cell. A missing value is NaN from here on.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyproj
import rasterio
from numpy.typing import NDArray
from rasterio.enums import MaskFlags
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from planner.errors import Fault, RasterError, raise_if
from planner.plan import RasterSource

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

WGS84 = "EPSG:4326"
# Days of the mean month, leap years included.
DAYS = (31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0)
# Strips shorter than this many cells are read several at a time.
WINDOW_CELLS = 2**18
# Rounding of coordinates may push a point on the outer edge this far out, cells.
EDGE = 1e-6


class Unit(NamedTuple):
    """Our unit = factor × declared unit + offset; one factor, or one a month."""

    factor: tuple[float, ...] = (1.0,)
    offset: float = 0.0


METRES = {"m": Unit(), "ft": Unit((0.3048,))}
# The first unit of each raster is ours. Names are the keys of [rasters].
UNITS: dict[str, dict[str, Unit]] = {
    "solar": {
        "kWh/m2/day": Unit(),
        "kWh/m2/month": Unit(tuple(1 / days for days in DAYS)),
        "MJ/m2/day": Unit((1 / 3.6,)),
        "W/m2": Unit((0.024,)),
    },
    "air_temperature": {"degC": Unit(), "K": Unit((1.0,), -273.15)},
    "wind_speed": {"m/s": Unit(), "km/h": Unit((1 / 3.6,))},
    "elevation": METRES,
    "water_level": METRES,
    "well_yield": {"m3/h": Unit(), "L/s": Unit((3.6,))},
    "population": {"people": Unit(), "people/km2": Unit()},
}
BANDS: dict[str, tuple[int, ...]] = {"solar": (12,), "air_temperature": (12,), "wind_speed": (12, 1)}


@dataclass(frozen=True)
class Raster:
    """An open raster that has passed its checks. Values come out in the first of UNITS, but see `population`.

    file       name as written in the plan
    unit       declared unit, spelled as in UNITS
    bands      band numbers in month order
    scale      (bands,) value in the declared unit = scale × stored + offset
    nodata     stored value that means no data, if any
    masked     whether the file's own masks count
    to_raster  WGS 84 longitude, latitude → coordinates of the raster
    """

    name: str
    file: str
    dataset: Any
    unit: str
    bands: tuple[int, ...]
    scale: Floats
    offset: Floats
    nodata: float | None
    masked: bool
    to_raster: pyproj.Transformer

    def convert(self, declared: Floats, unit: str) -> Floats:
        """Values read as being in `unit`, in our unit; the first axis is the band."""
        factor, offset = UNITS[self.name][unit]
        column = (-1,) + (1,) * (declared.ndim - 1)
        values: Floats = declared * np.asarray(factor).reshape(column) + offset
        return values

    def declared(self, values: Floats) -> Floats:
        """The inverse of `convert` for the declared unit."""
        factor, offset = UNITS[self.name][self.unit]
        column = (-1,) + (1,) * (values.ndim - 1)
        declared: Floats = (values - offset) / np.asarray(factor).reshape(column)
        return declared


@dataclass(frozen=True)
class Sample:
    """What a raster says at n points.

    values      (bands, n) NaN where there is none; a point has a value in all bands or in none
    status      (n,) text: valid, nodata or outside
    cell        (n,) row × width + column of the cell that holds the point, -1 outside
    neighbours  (bands, k, n) the cells that the values were made of: k = 1 nearest, 4 bilinear
    """

    values: Floats
    status: NDArray[np.str_]
    cell: Integers
    neighbours: Floats


@contextmanager
def open_raster(name: str, source: RasterSource, path: Path) -> Iterator[Raster]:
    """Open `[rasters] name`. Raises RasterError with every fault of the file and of its declaration."""
    unit = source.unit.strip().replace("²", "2").replace("³", "3").replace("°C", "degC")
    faults = []
    if unit not in UNITS[name]:
        faults.append(
            Fault(source.file, f"[rasters] {name} unit", repr(source.unit), "one of: " + ", ".join(UNITS[name]))
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # told below, as a fault
            dataset = rasterio.open(path)
    except (RasterioError, OSError) as error:
        raise RasterError([*faults, Fault(source.file, "file", _short(error), "a raster that can be read")]) from error
    with dataset:
        bands, band_faults = _bands(name, source, dataset)
        transformer, place_faults = _transformer(source, dataset)
        faults += band_faults + place_faults
        scale, offset = _scaling(source, dataset, bands) if not band_faults else (np.ones(1), np.zeros(1))
        if (scale == 0).any():
            faults.append(Fault(source.file, "scale", "0", "another number"))
        raise_if(faults, RasterError)
        assert transformer is not None
        flags = [set(dataset.mask_flag_enums[band - 1]) for band in bands]
        yield Raster(
            name,
            source.file,
            dataset,
            unit,
            bands,
            scale,
            offset,
            source.nodata if source.nodata is not None else dataset.nodatavals[bands[0] - 1],
            # A mask made from the file's nodata value must not outvote the plan's.
            any(not each or each - {MaskFlags.all_valid, MaskFlags.nodata} for each in flags),
            transformer,
        )


def _bands(name: str, source: RasterSource, dataset: Any) -> tuple[tuple[int, ...], list[Fault]]:
    allowed = BANDS.get(name, (1,))
    bands = source.bands or tuple(range(1, dataset.count + 1))
    faults = [
        Fault(
            source.file,
            f"band {band}",
            f"{dataset.count} bands in the file",
            "a band of the file, counted from 1",
        )
        for band in bands
        if not 1 <= band <= dataset.count
    ]
    if len(bands) not in allowed:
        wanted = " or ".join(str(count) for count in allowed)
        expected = f"{wanted}; choose them with bands = [numbers]" if dataset.count > min(allowed) else wanted
        faults.append(Fault(source.file, "bands", str(len(bands)), expected))
    if not faults:
        faults = [
            Fault(source.file, f"band {band}", f"values of type {dataset.dtypes[band - 1]}", "real numbers")
            for band in bands
            if dataset.dtypes[band - 1].startswith("complex")
        ]
        different = {str(dataset.nodatavals[band - 1]) for band in bands}
        if source.nodata is None and len(different) > 1:
            faults.append(
                Fault(
                    source.file,
                    "nodata",
                    ", ".join(sorted(different)),
                    "one value for all bands, or nodata in the plan",
                )
            )
    return bands, faults


def _scaling(source: RasterSource, dataset: Any, bands: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Scale and offset of each band: the plan's, else the file's own."""
    scale = [dataset.scales[band - 1] if source.scale is None else source.scale for band in bands]
    offset = [dataset.offsets[band - 1] if source.offset is None else source.offset for band in bands]
    return np.array(scale, dtype="float64"), np.array(offset, dtype="float64")


def _transformer(source: RasterSource, dataset: Any) -> tuple[pyproj.Transformer | None, list[Fault]]:
    grid = dataset.transform
    if dataset.crs is None:
        return None, [Fault(source.file, "CRS", "none", "a coordinate reference system stored with the raster")]
    if grid.is_identity:
        return None, [Fault(source.file, "grid", "no position", "an origin and a cell size stored with the raster")]
    if grid.b != 0 or grid.d != 0:
        return None, [Fault(source.file, "grid", "a rotated grid", "rows and columns along the axes of the CRS")]
    try:
        crs = pyproj.CRS.from_user_input(dataset.crs)
        return pyproj.Transformer.from_crs(WGS84, crs, always_xy=True), []
    except pyproj.exceptions.ProjError as error:
        return None, [Fault(source.file, "CRS", _short(error), "a CRS that can be related to WGS 84")]


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:200]


def pixels(raster: Raster, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
    """Row and column of WGS 84 points, fractional: 0.5 is the centre of the first cell.

    NaN (or infinite) where a point has no position in the raster's CRS.
    """
    x, y = (np.asarray(each, dtype="float64") for each in raster.to_raster.transform(longitude, latitude))
    grid, bounds = raster.dataset.transform, raster.dataset.bounds
    if raster.to_raster.target_crs is not None and raster.to_raster.target_crs.is_geographic:
        # Longitudes 0 to 360 are as good as -180 to 180.
        turned = bounds.left + np.mod(np.where(np.isfinite(x), x, 0.0) - bounds.left, 360.0)
        off = np.isfinite(x) & ((x < bounds.left) | (x > bounds.right))
        x = np.where(off & (turned <= bounds.right), turned, x)
    return (y - grid.f) / grid.e, (x - grid.c) / grid.a


def on_raster(raster: Raster, row: Floats, column: Floats) -> NDArray[np.bool_]:
    """Whether fractional rows and columns lie on the raster, its outer edge included."""
    height, width = raster.dataset.shape
    inside = (row >= -EDGE) & (row <= height + EDGE) & (column >= -EDGE) & (column <= width + EDGE)
    return np.asarray(inside)


def centres(raster: Raster, rows: Integers | Floats, columns: Integers | Floats) -> tuple[Floats, Floats]:
    """Latitude and longitude on WGS 84 of the centres of cells; shapes broadcast."""
    grid = raster.dataset.transform
    x, y = np.broadcast_arrays(grid.c + grid.a * (columns + 0.5), grid.f + grid.e * (rows + 0.5))
    longitude, latitude = raster.to_raster.transform(x, y, direction="INVERSE")
    return np.asarray(latitude), np.asarray(longitude)


def extent(raster: Raster) -> tuple[float, float, float, float]:
    """South, north, west, east of the raster in degrees on WGS 84."""
    bounds = raster.dataset.bounds
    left, right = sorted((bounds.left, bounds.right))
    bottom, top = sorted((bounds.bottom, bounds.top))
    box = raster.to_raster.transform_bounds(left, bottom, right, top, direction="INVERSE")
    west, south, east, north = box
    return south, north, west, east


def read_window(raster: Raster, rows: tuple[int, int], columns: tuple[int, int]) -> Floats:
    """Cells first to last + 1 of rows and columns → (bands, rows, columns) in our unit, NaN where no data.

    Raises RasterError when the file breaks off or is damaged there.
    """
    window = Window.from_slices(rows, columns)
    bands = list(raster.bands)
    try:
        stored = raster.dataset.read(bands, window=window)
        masks = raster.dataset.read_masks(bands, window=window) if raster.masked else None
    except RasterioError as error:
        place = f"rows {rows[0]} to {rows[1] - 1}, columns {columns[0]} to {columns[1] - 1}"
        raise RasterError([Fault(raster.file, place, _short(error), "cells that can be read")]) from error
    values = stored.astype("float64")
    missing = ~np.isfinite(values)
    if raster.nodata is not None:
        # Compared as stored: -3.4e38 written to 32 bits is not the same 64-bit number.
        target = stored.dtype.type(raster.nodata) if stored.dtype.kind == "f" else raster.nodata
        missing |= stored == target
    if masks is not None:
        missing |= masks == 0
    values = values * raster.scale[:, None, None] + raster.offset[:, None, None]
    values[missing] = np.nan
    return raster.convert(values, raster.unit)


def block_shape(raster: Raster) -> tuple[int, int]:
    """Rows and columns that are read together: the file's block, or several strips where blocks are thin."""
    height, width = raster.dataset.block_shapes[raster.bands[0] - 1]
    if width >= raster.dataset.width:
        height *= max(1, WINDOW_CELLS // (height * width))
    return height, width


def read_cells(raster: Raster, rows: Integers, columns: Integers) -> Floats:
    """Values of single cells, (bands, n): cells are sorted by block and each block is read once."""
    values = np.full((len(raster.bands), rows.size), np.nan)
    if not rows.size:
        return values
    height, width = block_shape(raster)
    block = (rows // height) * (raster.dataset.width // width + 1) + columns // width
    order = np.argsort(block, kind="stable")
    starts = np.flatnonzero(np.diff(block[order])) + 1
    for part in np.split(order, starts):
        row, column = rows[part], columns[part]
        top, left = int(row.min()), int(column.min())
        window = read_window(raster, (top, int(row.max()) + 1), (left, int(column.max()) + 1))
        values[:, part] = window[:, row - top, column - left]
    return values


def sample(raster: Raster, latitude: Floats, longitude: Floats, *, bilinear: bool = False) -> Sample:
    """Value of the cell that holds each WGS 84 point, or the bilinear value between cell centres.

    Bilinear weights are renormalised over the cells with data, so that an edge or a hole nearby does not take
    the value away; without any it is missing. A point on the outer edge is inside; a NaN position is outside.
    """
    count, bands = latitude.size, len(raster.bands)
    height, width = raster.dataset.shape
    row, column = pixels(raster, latitude, longitude)
    inside = np.flatnonzero(on_raster(raster, row, column))
    row, column = row[inside], column[inside]
    home_row = np.clip(np.floor(row).astype("int64"), 0, height - 1)
    home_column = np.clip(np.floor(column).astype("int64"), 0, width - 1)
    if bilinear:
        rows, columns, weights = _four(row, column)
    else:
        rows, columns, weights = home_row[None, :], home_column[None, :], np.ones((1, inside.size))
    exists = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    near = read_cells(raster, np.clip(rows, 0, height - 1).ravel(), np.clip(columns, 0, width - 1).ravel()).reshape(
        bands, *rows.shape
    )
    weight = np.where(exists & np.isfinite(near), weights, 0.0)
    total = weight.sum(axis=1)
    known = (total > 1e-9).all(axis=0)
    blend = (weight * np.nan_to_num(near)).sum(axis=1)

    values = np.full((bands, count), np.nan)
    values[:, inside[known]] = blend[:, known] / total[:, known]
    status = np.full(count, "outside", dtype="<U7")
    status[inside] = np.where(known, "valid", "nodata")
    cell = np.full(count, -1, dtype="int64")
    cell[inside] = home_row * width + home_column
    neighbours = np.full((bands, rows.shape[0], count), np.nan)
    neighbours[:, :, inside] = near
    return Sample(values, status, cell, neighbours)


def _four(row: Floats, column: Floats) -> tuple[Integers, Integers, Floats]:
    """The four cells whose centres surround each point, with bilinear weights, all (4, n)."""
    top, left = np.floor(row - 0.5), np.floor(column - 0.5)
    down, across = row - 0.5 - top, column - 0.5 - left
    rows = np.stack([top, top, top + 1, top + 1]).astype("int64")
    columns = np.stack([left, left + 1, left, left + 1]).astype("int64")
    weights = np.stack([(1 - down) * (1 - across), (1 - down) * across, down * (1 - across), down * across])
    return rows, columns, weights
