"""Rasters on disk: open, validate, read cells. Not a step; the steps that need a raster share it.

A raster is one file, or twelve on one grid, January first.

Conventions: the value of a cell belongs to the whole cell, and stands at the cell's centre when values are
interpolated. Rows and columns count from 0 at the first stored cell. A missing value is NaN from here on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyproj
from numpy.typing import NDArray
from rasterio.enums import ColorInterp, MaskFlags
from rasterio.windows import Window

from planner.errors import Fault, RasterError, raise_if
from planner.plan import RasterSource
from planner.tables.files.raster_door import opened_raster

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

WGS84 = "EPSG:4326"
# Days of the mean month, leap years included.
DAYS = (31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0)
# Strips shorter than this many cells are read several at a time.
WINDOW_CELLS = 2**18
# Cells that a file makes us read together, over all bands: 2**25 numbers are a quarter of a gigabyte.
MOST_BLOCK_CELLS = 2**25
# No scale or offset is larger; twice this still is a number.
MOST_NUMBER = 1e100
# Farther no coordinate of a place on Earth lies, and no cell is smaller, m or degrees.
MOST_COORDINATE, LEAST_CELL = 1e9, 1e-9
# Rounding of coordinates may push a point on the outer edge this far out, cells.
EDGE = 1e-6


class Unit(NamedTuple):
    """Our unit = factor × declared unit + offset; one factor, or one a month."""

    factor: tuple[float, ...] = (1.0,)
    offset: float = 0.0


METRES = {"m": Unit(), "ft": Unit((0.3048,))}
YEAR_DAYS = sum(DAYS)
IRRADIATION = {
    "kWh/m2/day": Unit(),
    "kWh/m2/month": Unit(tuple(1 / days for days in DAYS)),
    "kWh/m2/year": Unit((1 / YEAR_DAYS,)),
    "MJ/m2/day": Unit((1 / 3.6,)),
    "MJ/m2/month": Unit(tuple(1 / 3.6 / days for days in DAYS)),
    "MJ/m2/year": Unit((1 / 3.6 / YEAR_DAYS,)),
    "W/m2": Unit((0.024,)),
}
# The first unit of each raster is ours. Names are the keys of [rasters].
UNITS: dict[str, dict[str, Unit]] = {
    "solar": IRRADIATION,
    "diffuse": IRRADIATION,
    "clearness_spread": {"1": Unit(), "%": Unit((0.01,))},
    "air_temperature": {"degC": Unit(), "K": Unit((1.0,), -273.15)},
    "temperature_range": {"K": Unit(), "degC": Unit()},
    "wind_speed": {"m/s": Unit(), "km/h": Unit((1 / 3.6,))},
    "rain": {"mm/month": Unit(), "mm/day": Unit(DAYS)},
    "elevation": METRES,
    "water_level": METRES,
    "well_yield": {"m3/h": Unit(), "L/s": Unit((3.6,))},
    "population": {"people": Unit(), "people/km2": Unit()},
    "road_distance": {"km": Unit(), "m": Unit((0.001,))},
}
# How many values a cell may have: 12 months, or 1 for the year or for good.
BANDS: dict[str, tuple[int, ...]] = {
    "solar": (12, 1),
    "diffuse": (12,),
    "clearness_spread": (12,),
    "air_temperature": (12, 1),
    "temperature_range": (12, 1),
    "wind_speed": (12, 1),
    "rain": (12,),
}


def units_for(name: str, count: int) -> list[str]:
    """Units that `count` values of a raster may have: totals of a month go with months, of a year with one band."""
    ending = "/month" if count == 1 else "/year"
    return [unit for unit in UNITS[name] if not unit.endswith(ending)]


@dataclass(frozen=True)
class Part:
    """One open file of a raster.

    file    name as written in the plan
    bands   band numbers in month order
    scale   (bands,) value in the declared unit = scale × stored + offset
    nodata  stored value that means no data, if any
    masked  whether the file's own masks count
    """

    file: str
    dataset: Any
    bands: tuple[int, ...]
    scale: Floats
    offset: Floats
    nodata: float | None
    masked: bool


@dataclass(frozen=True)
class Raster:
    """An open raster that has passed its checks. Values come out in the first of UNITS, but see `population`.

    unit       declared unit, spelled as in UNITS
    parts      its file, or its twelve of one band each
    to_raster  WGS 84 longitude, latitude → coordinates of the raster
    """

    name: str
    unit: str
    parts: tuple[Part, ...]
    to_raster: pyproj.Transformer

    @property
    def file(self) -> str:
        """Name of the (first) file as written in the plan."""
        return self.parts[0].file

    @property
    def dataset(self) -> Any:
        """The (first) file; its grid is that of all."""
        return self.parts[0].dataset

    @property
    def bands(self) -> tuple[int, ...]:
        """Band numbers in month order, over all files."""
        return tuple(band for part in self.parts for band in part.bands)

    def place(self, band: int) -> tuple[str, str]:
        """File and band, in words, that the values number `band` (from 0) come from."""
        places = [(part.file, f"band {number}") for part in self.parts for number in part.bands]
        return places[band]

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

    def stored(self, declared: Floats) -> Floats:
        """Values in the declared unit as they stand in the file."""
        scale, offset = (np.concatenate([getattr(part, key) for part in self.parts]) for key in ("scale", "offset"))
        column = (-1,) + (1,) * (declared.ndim - 1)
        values: Floats = (declared - offset.reshape(column)) / scale.reshape(column)
        return values


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
def open_raster(name: str, source: RasterSource, resolve: Callable[[str], Path]) -> Iterator[Raster]:
    """Open `[rasters] name`; `resolve` gives the path of a name as written.

    Raises RasterError with every fault of the files and of their declaration.
    """
    unit = source.unit.strip().replace("²", "2").replace("³", "3").replace("°C", "degC")
    faults: list[Fault] = []
    parts: list[Part] = []
    if source.files and 12 not in BANDS.get(name, (1,)):
        raise RasterError([Fault(source.names[0], f"[rasters] {name} files", "12 files", "file = one raster")])
    if len(set(source.names)) < len(source.names):
        faults += _repeated(name, source)
    with ExitStack() as stack:
        transformer = None
        for file in source.names:
            try:
                dataset = stack.enter_context(opened_raster(file, resolve(file)))
                part, found = _part(name, source, file, dataset)
                turned, displaced = _transformer(file, dataset)
            except RasterError as error:
                faults += error.faults
                continue
            faults += found + displaced
            if parts and turned is not None and not displaced:
                faults += _other_grid(part, parts[0])
            if not displaced:
                transformer = transformer or turned
                parts.append(part)
        count = 12 if source.files else len(source.bands or (parts[0].bands if parts else ()))
        faults = _unit_faults(name, source, unit, count) + faults
        raise_if(faults, RasterError)
        assert transformer is not None
        yield Raster(name, unit, tuple(parts), transformer)


def _repeated(name: str, source: RasterSource) -> list[Fault]:
    """A file that stands for two months was copied and not renamed."""
    again = sorted({file for file in source.names if source.names.count(file) > 1})
    return [Fault(file, f"[rasters] {name} files", "one file for several months", "a file for each") for file in again]


def _unit_faults(name: str, source: RasterSource, unit: str, count: int) -> list[Fault]:
    place = f"[rasters] {name} unit"
    usable = units_for(name, count)
    if unit not in UNITS[name]:
        return [Fault(source.names[0], place, repr(source.unit), "one of: " + ", ".join(usable))]
    if unit in usable or count not in BANDS.get(name, (1,)):
        return []
    if count == 1:
        year = unit.replace("/month", "/year")
        expected = f"{year!r}; of the mean month's total, with scale = {12 * (source.scale or 1):g}"
        return [Fault(source.names[0], place, f"{unit!r} with one band", expected)]
    month = unit.replace("/year", "/month")
    return [Fault(source.names[0], place, f"{unit!r} with 12 months", f"{month!r} or another unit of a month")]


def _part(name: str, source: RasterSource, file: str, dataset: Any) -> tuple[Part, list[Fault]]:
    try:
        bands, faults = _bands(name, source, file, dataset)
    except Exception as error:  # what the file says of its bands may be no text or no number
        raise RasterError([Fault(file, "bands", _short(error), "a raster that can be read")]) from error
    if faults:
        return Part(file, dataset, bands, np.ones(1), np.zeros(1), None, False), faults
    scale, offset = _scaling(source, dataset, bands)
    for key, values in (("scale", scale), ("offset", offset)):
        wrong = ~(np.abs(values) <= MOST_NUMBER) | ((values == 0) & (key == "scale"))
        if wrong.any():
            faults.append(Fault(file, key, f"{values[wrong][0]:g}", "another number"))
    flags = [set(dataset.mask_flag_enums[band - 1]) for band in bands]
    nodata = source.nodata if source.nodata is not None else dataset.nodatavals[bands[0] - 1]
    # A mask made from the file's nodata value must not outvote the plan's.
    masked = any(not each or each - {MaskFlags.all_valid, MaskFlags.nodata} for each in flags)
    return Part(file, dataset, bands, scale, offset, nodata, masked), faults


def _bands(name: str, source: RasterSource, file: str, dataset: Any) -> tuple[tuple[int, ...], list[Fault]]:
    allowed = (1,) if source.files else BANDS.get(name, (1,))
    bands = source.bands or tuple(range(1, dataset.count + 1))
    faults = [
        Fault(file, f"band {band}", f"{dataset.count} bands in the file", "a band of the file, counted from 1")
        for band in bands
        if not 1 <= band <= dataset.count
    ]
    if len(bands) not in allowed:
        wanted = " or ".join(str(count) for count in allowed)
        expected = f"{wanted}; choose them with bands = [numbers]" if dataset.count > min(allowed) else wanted
        faults.append(Fault(file, "bands", str(len(bands)), expected))
    if not faults:
        faults = [
            Fault(file, f"band {band}", f"values of type {dataset.dtypes[band - 1]}", "real numbers")
            for band in bands
            if dataset.dtypes[band - 1].startswith("complex")
        ]
        faults += [
            Fault(file, f"band {band}", "a palette: numbers of colours", "measured values")
            for band in bands
            if dataset.colorinterp[band - 1] == ColorInterp.palette
        ]
        height, width = dataset.block_shapes[bands[0] - 1]
        if height * width * len(bands) > MOST_BLOCK_CELLS:
            found = f"{height} x {width} cells for {len(bands)} bands"
            expected = f"at most {MOST_BLOCK_CELLS} cells: save it in tiles (TILED=YES)"
            faults.append(Fault(file, "blocks", found, expected))
        different = {str(dataset.nodatavals[band - 1]) for band in bands}
        if source.nodata is None and len(different) > 1:
            found = ", ".join(sorted(different))
            faults.append(Fault(file, "nodata", found, "one value for all bands, or nodata in the plan"))
    return bands, faults


def _other_grid(part: Part, first: Part) -> list[Fault]:
    """The months of a raster must lie on one another: same size, same cells to a thousandth, same CRS."""
    grid, other = part.dataset.transform, first.dataset.transform
    near = max(abs(grid.a), abs(grid.e)) * 1e-3
    reach = max(part.dataset.shape)
    stretch = reach * max(abs(grid.a - other.a), abs(grid.e - other.e))
    shift = max(abs(grid.c - other.c), abs(grid.f - other.f), stretch)
    faults = []
    if part.dataset.shape != first.dataset.shape or shift > near:
        faults.append(Fault(part.file, "grid", _grid(part), f"that of {first.file}, {_grid(first)}"))
    if part.dataset.crs != first.dataset.crs:
        faults.append(Fault(part.file, "CRS", str(part.dataset.crs), f"that of {first.file}, {first.dataset.crs}"))
    return faults


def _grid(part: Part) -> str:
    (height, width), grid = part.dataset.shape, part.dataset.transform
    return f"{height} x {width} cells of {grid.a:g} by {grid.e:g} from {grid.c:g}, {grid.f:g}"


def _scaling(source: RasterSource, dataset: Any, bands: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Scale and offset of each band: the plan's, else the file's own."""
    scale = [dataset.scales[band - 1] if source.scale is None else source.scale for band in bands]
    offset = [dataset.offsets[band - 1] if source.offset is None else source.offset for band in bands]
    return np.array(scale, dtype="float64"), np.array(offset, dtype="float64")


def _transformer(file: str, dataset: Any) -> tuple[pyproj.Transformer | None, list[Fault]]:
    grid = dataset.transform
    height, width = dataset.shape
    reach = np.array([grid.c, grid.f, grid.c + grid.a * width, grid.f + grid.e * height])
    try:
        if dataset.crs is None:
            return None, [Fault(file, "CRS", "none", "a coordinate reference system stored with the raster")]
        if grid.is_identity:
            return None, [Fault(file, "grid", "no position", "an origin and a cell size stored with the raster")]
        if not np.isfinite(grid[:6]).all() or not (np.abs(reach) <= MOST_COORDINATE).all():
            found = f"cells of {grid.a:g} by {grid.e:g} from {grid.c:g}, {grid.f:g}"
            return None, [Fault(file, "grid", found, "an origin and a cell size on Earth")]
        if grid.b != 0 or grid.d != 0:
            return None, [Fault(file, "grid", "a rotated grid", "rows and columns along the axes of the CRS")]
        if min(abs(grid.a), abs(grid.e)) < LEAST_CELL:
            return None, [Fault(file, "grid", f"cells of {grid.a:g} by {grid.e:g}", "cells with a width and a height")]
        crs = pyproj.CRS.from_user_input(dataset.crs)
        return pyproj.Transformer.from_crs(WGS84, crs, always_xy=True), []
    except Exception as error:  # rasterio, PROJ and the decoding of texts have errors of their own
        return None, [Fault(file, "CRS", _short(error), "a CRS that can be related to WGS 84")]


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


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
    values = np.concatenate([_read_part(part, window) for part in raster.parts])
    return raster.convert(values, raster.unit)


def _read_part(part: Part, window: Window) -> Floats:
    """Values of one file in the declared unit, NaN where no data."""
    bands = list(part.bands)
    try:
        stored = part.dataset.read(bands, window=window)
        masks = part.dataset.read_masks(bands, window=window) if part.masked else None
    except Exception as error:  # rasterio and GDAL have errors of their own, and numpy's where memory ends
        (top, bottom), (left, right) = window.toranges()
        place = f"rows {top} to {bottom - 1}, columns {left} to {right - 1}"
        raise RasterError([Fault(part.file, place, _short(error), "cells that can be read")]) from error
    with np.errstate(invalid="ignore"):  # a signalling NaN is a NaN
        values = stored.astype("float64")
    missing = ~np.isfinite(values)
    if part.nodata is not None:
        # Compared as stored: -3.4e38 written to 32 bits is not the same 64-bit number.
        with np.errstate(over="ignore", invalid="ignore"):  # a number that the type cannot hold is no cell's
            target = stored.dtype.type(part.nodata) if stored.dtype.kind == "f" else part.nodata
        missing |= stored == target
    if masks is not None:
        missing |= masks == 0
    with np.errstate(over="ignore", invalid="ignore"):
        values = values * part.scale[:, None, None] + part.offset[:, None, None]
    values[missing] = np.nan
    if np.isinf(values).any():
        place = f"rows {window.row_off} to {window.row_off + window.height - 1}"
        raise RasterError([Fault(part.file, place, "numbers beyond all measure once they are scaled", "another scale")])
    return np.asarray(values, dtype="float64")


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
