"""Step: people of the population raster, each counted at the nearest site and nowhere else.

A cell counts as a whole, at its centre. Sites that are dry, abandoned, a duplicate or without a usable
position attract nobody. The raster is read once, block by block, and only within the service distance of the
sites' extent.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pandas as pd
import pyproj
from scipy.spatial import cKDTree

from planner.errors import Fault, RasterError
from planner.plan import LoadedPlan
from planner.tables.raster_files import (
    WGS84,
    Floats,
    Raster,
    block_shape,
    centres,
    on_raster,
    open_raster,
    pixels,
    read_window,
)
from planner.tables.step import Finding, Step

READS = ("site_id", "row_kind", "latitude", "longitude", "position_status", "status", "duplicate_of")
WRITES = ("people_nearest",)

# Distances are chords between points on the ellipsoid: no projection, so no zone and no edge. A chord of
# 10 km is 1 mm shorter than the arc.
_TO_CHORDS = pyproj.Transformer.from_crs(WGS84, "EPSG:4978", always_xy=True)
# No degree of latitude is shorter than this, m.
DEGREE_M = 110_500.0


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """People nearest to each site, within `[demand] service_distance_m`.

    NaN for rows that take no part, for sites off the raster (with a finding) and without a raster; 0 where
    nobody is near. A cell at the same distance from two sites goes to one of them, to the lower inventory row
    where both stand at one place. Raises RasterError as `open_raster` does, and for negative numbers.
    """
    people = pd.Series(np.nan, index=sites.index, name="people_nearest", dtype="float64")
    source = plan.plan.rasters.population
    part = _taking_part(sites)
    findings: list[Finding] = []
    if source is not None and not part.empty:
        latitude, longitude = (part[name].to_numpy(dtype="float64") for name in ("latitude", "longitude"))
        with open_raster("population", source, plan.resolve) as raster:
            on = on_raster(raster, *pixels(raster, latitude, longitude))
            counts = _allocate(raster, latitude, longitude, plan.plan.demand.service_distance_m)
        people[part.index] = np.where(on, counts, np.nan)
        findings = [
            Finding(int(row), site_id, "population", "raster_outside", "warning")
            for row, site_id in zip(part.index[~on], part.loc[~on, "site_id"], strict=True)
        ]
    return Step(people.to_frame(), findings)


def _taking_part(sites: pd.DataFrame) -> pd.DataFrame:
    """Rows that people can come to, in the order of the inventory."""
    return sites[
        (sites["row_kind"] == "site")
        & (sites["position_status"] == "ok")
        & ~sites["status"].isin(["dry", "abandoned"])
        & sites["duplicate_of"].isna()
    ].sort_index()


def _allocate(raster: Raster, latitude: Floats, longitude: Floats, distance_m: float) -> Floats:
    """People at each site: every cell within the distance of any site goes to the nearest."""
    places, first = np.unique(_chords(latitude, longitude), axis=0, return_index=True)
    tree = cKDTree(places)
    people = np.zeros(len(latitude))
    for rows, columns in _windows(raster, latitude, longitude, distance_m):
        cells = read_window(raster, rows, columns)[0]
        _refuse_negative(raster, cells, rows[0], columns[0])
        if raster.unit == "people/km2":
            cells = cells * _cell_areas_km2(raster, rows, columns)[:, None]
        row, column = np.nonzero(cells > 0)
        points = _chords(*centres(raster, row + rows[0], column + columns[0]))
        _, nearest = tree.query(points, distance_upper_bound=np.nextafter(distance_m, np.inf))
        near = nearest < len(places)
        np.add.at(people, first[nearest[near]], cells[row, column][near])
    return people


def _chords(latitude: Floats, longitude: Floats) -> Floats:
    """Geocentric coordinates, m, (n, 3), of points at height 0 on the ellipsoid."""
    return np.stack(_TO_CHORDS.transform(longitude, latitude, np.zeros_like(latitude)), axis=-1)


def _windows(
    raster: Raster, latitude: Floats, longitude: Floats, distance_m: float
) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Rows and columns, block by block, of the sites' extent and the distance around it."""
    up = distance_m / DEGREE_M
    across = up / np.maximum(np.cos(np.radians(np.minimum(np.abs(latitude) + up, 89.0))), 0.01)
    # The extent of boxes around the sites; corners and edges, since straight lines bend from CRS to CRS.
    steps = np.array([-1.0, 0.0, 1.0])
    north = np.clip(latitude[:, None, None] + up * steps[:, None], -90, 90)
    east = longitude[:, None, None] + across[:, None, None] * steps
    row, column = pixels(raster, *(each.ravel() for each in np.broadcast_arrays(north, east)))
    for top, bottom in pairwise(_cuts(row, raster.dataset.height, block_shape(raster)[0])):
        for left, right in pairwise(_cuts(column, raster.dataset.width, block_shape(raster)[1])):
            yield (top, bottom), (left, right)


def _cuts(position: Floats, size: int, block: int) -> list[int]:
    """First and last + 1 of the rows (or columns) to read, with the block edges between them."""
    position = position[np.isfinite(position)]
    if not position.size:
        return []
    # One cell more on each side covers the bend of the box between its corners.
    first = int(np.clip(np.floor(position.min()) - 1, 0, size))
    last = int(np.clip(np.ceil(position.max()) + 1, 0, size))
    if first >= last:
        return []
    return [first, *range((first // block + 1) * block, last, block), last]


def _cell_areas_km2(raster: Raster, rows: tuple[int, int], columns: tuple[int, int]) -> Floats:
    """Area on the ellipsoid of the middle cell of each row: half the cross product of its diagonals."""
    row, column = np.arange(*rows, dtype="float64"), (columns[0] + columns[1]) // 2
    a, b, c, d = (
        _chords(*centres(raster, row + down - 0.5, np.full(row.shape, column + right - 0.5)))
        for down, right in ((0, 0), (0, 1), (1, 1), (1, 0))
    )
    area: Floats = np.linalg.norm(np.cross(c - a, d - b), axis=-1) / 2e6
    return area


def _refuse_negative(raster: Raster, cells: Floats, top: int, left: int) -> None:
    wrong = np.argwhere(cells < 0)
    if wrong.size:
        row, column = wrong[0]
        number = raster.declared(cells[None])[0, row, column]
        raise RasterError(
            [
                Fault(
                    raster.file,
                    f"band {raster.bands[0]}, row {row + top}, column {column + left}",
                    f"{number:.6g} {raster.unit}",
                    "0 or more; if it means no data, write it as nodata",
                )
            ]
        )
