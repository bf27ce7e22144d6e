"""The shaded relief: light from the north-west, small, in its place, and never a reason to fail."""

from __future__ import annotations

import base64
from pathlib import Path

import numpy as np
import pytest
import rasterio
from numpy.typing import NDArray
from rasterio.io import MemoryFile

from planner.outputs.map.relief import BYTES, FLAT, Relief, hillshade, make_relief

BOUNDS = (30.0, -10.4, 30.4, -10.0)  # west, south, east, north


def write(path: Path, heights: NDArray[np.float64], crs: str = "EPSG:4326", nodata: float = -9999.0) -> Path:
    rows, columns = heights.shape
    west, south, east, north = BOUNDS
    place = rasterio.Affine((east - west) / columns, 0, west, 0, (south - north) / rows, north)
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float64", crs=crs, transform=place, nodata=nodata,
        width=columns, height=rows, count=1,
    ) as target:  # fmt: skip
        target.write(heights, 1)
    return path


def picture(relief: Relief | None) -> NDArray[np.uint8]:
    assert relief is not None
    with MemoryFile(base64.b64decode(relief.picture)) as memory, pytest.warns(UserWarning), memory.open() as read:
        return np.asarray(read.read(1))


def test_level_ground_is_flat_grey_and_slopes_are_lit_from_the_north_west() -> None:
    # Closed form: a plane that rises to the south-east faces the light, one that rises to the north-west is in shade.
    rows, columns = np.mgrid[0:20, 0:20].astype("float64")
    assert (hillshade(np.full((20, 20), 7.0), (10, 10)) == FLAT).all()
    assert (hillshade(rows + columns, (10, 10)) > FLAT).all()
    assert (hillshade(-rows - columns, (10, 10)) < FLAT).all()


def test_exaggeration_makes_hills_and_mountains_alike() -> None:
    hills = np.random.default_rng(3).normal(0, 1, (30, 30))
    np.testing.assert_allclose(hillshade(hills, (50, 50)), hillshade(900 * hills, (50, 50)), atol=1)


def test_cells_without_height_are_level() -> None:
    heights = np.add.outer(np.arange(9.0), np.arange(9.0))
    heights[4, 4] = np.nan
    assert hillshade(heights, (10, 10))[4, 4] == FLAT


def test_small_and_around_the_bounds(tmp_path: Path) -> None:
    noise = np.random.default_rng(5).normal(500, 200, (900, 900))  # the worst that a picture can be asked for
    relief = make_relief(write(tmp_path / "e.tif", noise), BOUNDS)
    assert relief is not None
    assert len(relief.picture) <= 4 * (BYTES + 2) / 3 <= 60_010
    west, south, east, north = BOUNDS
    assert relief.west < west < east < relief.east
    assert relief.south < south < north < relief.north


def test_hills_stand_where_they_are(tmp_path: Path) -> None:
    # A wall in the middle, from west to east: its southern flank is the darkest row, just below the middle.
    heights = np.zeros((200, 200))
    heights[95:105] = 100
    grey = picture(make_relief(write(tmp_path / "e.tif", heights), BOUNDS))
    rows = grey[:, grey.shape[1] // 2].astype(int)
    assert abs(int(rows.argmin()) / len(rows) - 0.52) < 0.02
    assert abs(int(rows.argmax()) / len(rows) - 0.48) < 0.02


@pytest.mark.parametrize("bounds", [BOUNDS, (float("nan"),) * 4, (80.0, 10.0, 81.0, 11.0)])
def test_nothing_to_draw_is_no_relief(tmp_path: Path, bounds: tuple[float, float, float, float]) -> None:
    path = write(tmp_path / "e.tif", np.full((20, 20), 300.0))
    assert make_relief(path, bounds) is None
    assert make_relief(None, BOUNDS) is None


def test_the_plan_may_name_the_value_of_no_data(tmp_path: Path) -> None:
    heights = np.add.outer(np.arange(80.0), np.zeros(80))
    heights[:40] = -1
    path = write(tmp_path / "e.tif", heights, nodata=-9999.0)
    grey = picture(make_relief(path, BOUNDS, nodata=-1.0))
    assert abs(int(np.median(grey[: len(grey) // 3])) - FLAT) <= 2
