"""People of small rasters, counted at the nearest site; answers that a reader finds in the head."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio
from exactextract import exact_extract
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rasterio import Affine
from shapely import Point, box, union_all

from planner.errors import RasterError
from planner.plan import RasterSource
from planner.tables import catchments, raster_files

UTM = "EPSG:32736"
TO_DEGREES = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)


def grid(west: float, north: float, cell: float) -> Affine:
    """Square cells, the first one at the north-west corner."""
    return Affine(cell, 0, west, 0, -cell, north)


# Cells of 1 km; the corner lies on the zone's central meridian, where a grid metre is 0.9996 m.
CORNER = grid(500_000, 8_900_000, 1000)
SIXTEEN = np.arange(1.0, 17.0).reshape(4, 4)


@pytest.fixture
def make_raster(tmp_path: Path) -> Callable[..., str]:
    def make(values: np.ndarray, transform: Affine = CORNER, crs: str = UTM, **profile: Any) -> str:
        path = tmp_path / "people.tif"
        height, width = values.shape
        profile = {"driver": "GTiff", "count": 1, "dtype": str(values.dtype), "crs": crs, **profile}
        with rasterio.open(path, "w", height=height, width=width, transform=transform, **profile) as target:
            target.write(values[None])
        return str(path)

    return make


@pytest.fixture
def count(make_sites, make_plan, keeps_promise) -> Callable[..., list[float]]:
    """People nearest to sites at (metres east of the corner, metres south of it)."""

    def people(file: str, *places: tuple[float, float], distance: float = 1000.0, **given: Any) -> list[float]:
        unit = given.pop("unit", "people")
        points = [TO_DEGREES.transform(500_000 + east, 8_900_000 - south) for east, south in places]
        sites = make_sites(
            catchments.READS,
            rows=len(points),
            longitude=[point[0] for point in points],
            latitude=[point[1] for point in points],
            **given,
        )
        plan = make_plan(
            rasters={"population": {"file": file, "unit": unit}},
            demand={"service_distance_m": distance},
        )
        step = catchments.run(sites, plan)
        keeps_promise(step, sites, catchments.WRITES)
        return step.columns["people_nearest"].tolist()

    return people


def test_without_a_raster_nothing_is_known(make_sites, make_plan, keeps_promise):
    sites = make_sites(catchments.READS, rows=2, latitude=-9.85, longitude=33.0)
    step = catchments.run(sites, make_plan())
    keeps_promise(step, sites, catchments.WRITES)
    assert step.columns["people_nearest"].isna().all()


def test_a_site_alone_counts_the_cells_within_reach(make_raster, count):
    file = make_raster(SIXTEEN)
    centre = (1500.0, 1500.0)  # of the cell with 6 people
    assert count(file, centre, distance=10.0) == [6.0]
    assert count(file, centre, distance=1001.0) == [6.0 + 2 + 5 + 7 + 10]
    # 1000 grid metres are 1000.4 m on the ground.
    assert count(file, centre, distance=1000.3) == [6.0]
    assert count(file, centre, distance=10_000.0) == [SIXTEEN.sum()]


def test_nobody_is_counted_twice(make_raster, count):
    file = make_raster(SIXTEEN)
    # Columns 0 and 1 are nearer to the first site, 2 and 3 to the second.
    west, east = count(file, (500.0, 2000.0), (3500.0, 2000.0), distance=9000.0)
    assert west == SIXTEEN[:, :2].sum()
    assert east == SIXTEEN[:, 2:].sum()


def test_sites_that_serve_nobody_take_nobody(make_raster, count):
    file = make_raster(SIXTEEN)
    taken = count(
        file,
        *[(1500.0, 1500.0)] * 7,
        distance=9000.0,
        status=["dry", "abandoned", "working", "", "", "", "unknown"],
        duplicate_of=[np.nan, np.nan, 7.0, np.nan, np.nan, np.nan, np.nan],
        position_status=["ok", "ok", "ok", "placeholder", "outside", "ok", "ok"],
        row_kind=["site"] * 5 + ["total", "site"],
    )
    assert np.isnan(taken[:6]).all()
    assert taken[6] == SIXTEEN.sum()


def test_two_sites_at_one_place_count_once(make_raster, count):
    assert count(make_raster(SIXTEEN), (1500.0, 1500.0), (1500.0, 1500.0), distance=9000.0) == [
        SIXTEEN.sum(),
        0.0,
    ]


def test_off_the_raster_is_unknown_and_beside_people_is_zero(make_sites, make_plan, make_raster):
    file = make_raster(np.pad(SIXTEEN, ((0, 0), (0, 6))))
    points = [TO_DEGREES.transform(500_000 + east, 8_898_500) for east in (9500, -9500)]
    sites = make_sites(
        catchments.READS,
        rows=2,
        site_id=["a", "b"],
        longitude=[points[0][0], points[1][0]],
        latitude=[points[0][1], points[1][1]],
    )
    step = catchments.run(sites, make_plan(rasters={"population": {"file": file, "unit": "people"}}))
    assert step.columns["people_nearest"].tolist() == pytest.approx([0.0, np.nan], nan_ok=True)
    assert [(each.row, each.site_id, each.column, each.rule) for each in step.findings] == [
        (2, "b", "population", "raster_outside")
    ]


def test_nodata_is_nobody_and_scale_counts(make_raster, count):
    values = SIXTEEN.astype("int16")
    values[0, 0] = -999
    file = make_raster(values, nodata=-999)
    with rasterio.open(file, "r+") as target:
        target.scales = (10.0,)
    assert count(file, (1500.0, 1500.0), distance=9000.0) == [10.0 * (SIXTEEN.sum() - 1)]


def test_negative_people_are_refused_with_their_place(make_raster, count):
    values = SIXTEEN.copy()
    values[2, 3] = -200.0
    with pytest.raises(RasterError, match=r"band 1, row 2, column 3: found -200 people; expected 0 or more"):
        count(make_raster(values), (1500.0, 1500.0), distance=9000.0)


def test_density_is_multiplied_by_the_area_on_the_ellipsoid(make_raster, count):
    # Grid metres of 0.9996 m on the central meridian (definition of UTM), so the cell has 1 / 0.9996² km2.
    file = make_raster(np.full((4, 4), 100.0))
    assert count(file, (500.0, 500.0), distance=100.0, unit="people/km2") == pytest.approx([100 / 0.9996**2], rel=1e-6)


@pytest.mark.parametrize(("cell", "tolerance"), [(0.01, 1e-6), (0.5, 1e-4)])
def test_area_of_cells_in_degrees(cell, tolerance, make_raster):
    # Independent library: geodesic polygon of GeographicLib, its edges finely divided along the parallels.
    file = make_raster(np.ones((3, 3)), grid(30.0, -9.7, cell), "EPSG:4326")
    source = RasterSource(file=file, unit="people/km2")
    with raster_files.open_raster("population", source, Path) as raster:
        areas = catchments._cell_areas_km2(raster, (0, 3), (0, 3))
    for row, area in enumerate(areas):
        north, steps = -9.7 - row * cell, np.linspace(0, cell, 101)
        longitude = [*(30 + steps), *(30 + steps[::-1])]
        latitude = [*np.full(101, north - cell), *np.full(101, north)]
        exact, _ = pyproj.Geod(ellps="WGS84").polygon_area_perimeter(longitude, latitude)
        assert area == pytest.approx(exact / 1e6, rel=tolerance)


def test_a_disc_agrees_with_exact_coverage(make_raster, count):
    # Independent library: exactextract weighs cells by the share inside the disc, we count whole cells at
    # their centre. With 314 cells in the disc the two agree within 2 %.
    chance = np.random.default_rng(3)
    cells = chance.uniform(50, 150, (40, 40))
    file = make_raster(cells, grid(500_000, 8_900_000, 100), tiled=True, blockxsize=16, blockysize=16)
    disc = gpd.GeoDataFrame(geometry=[Point(502_020, 8_898_030).buffer(1000 * 0.9996, 256)], crs=UTM)
    oracle = exact_extract(file, disc, "sum")[0]["properties"]["sum"]
    assert count(file, (2020.0, 1970.0)) == pytest.approx([oracle], rel=0.02)


def test_the_union_of_the_cells_within_reach_agrees_exactly(make_raster, count):
    chance = np.random.default_rng(4)
    cells = chance.uniform(50, 150, (40, 40))
    file = make_raster(cells, grid(500_000, 8_900_000, 100))
    reach = 1000 * 0.9996
    squares = [
        box(east - 50, north - 50, east + 50, north + 50)
        for east in 500_050 + 100 * np.arange(40)
        for north in 8_899_950 - 100 * np.arange(40)
        if np.hypot(east - 502_020, north - 8_898_030) <= reach
    ]
    union = gpd.GeoDataFrame(geometry=[union_all(squares)], crs=UTM)
    oracle = exact_extract(file, union, "sum")[0]["properties"]["sum"]
    assert count(file, (2020.0, 1970.0)) == pytest.approx([oracle], rel=1e-9)


def test_only_windows_within_reach_are_read(make_raster, count, monkeypatch):
    cells = np.ones((512, 512))
    file = make_raster(cells, grid(500_000, 8_900_000, 100), tiled=True, blockxsize=64, blockysize=64)
    seen: list[tuple[tuple[int, int], tuple[int, int]]] = []
    read = raster_files.read_window

    def counted(raster: Any, rows: tuple[int, int], columns: tuple[int, int]) -> Any:
        seen.append((rows, columns))
        return read(raster, rows, columns)

    monkeypatch.setattr(catchments, "read_window", counted)
    count(file, (6400.0, 9600.0))  # on the edge between two blocks
    assert len(seen) == 2
    (rows, left), (_, right) = seen
    assert left[1] == right[0] == 64
    # 1 km is ten cells, and a cell or two more on each side.
    assert 84 <= rows[0] <= 86 and 106 <= rows[1] <= 108
    assert 52 <= left[0] <= 54 and 74 <= right[1] <= 76


places = st.lists(st.tuples(st.integers(-500, 4500), st.integers(-500, 4500)), min_size=2, max_size=8)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(places=places, distance=st.sampled_from([300.0, 1000.0, 2500.0]), data=st.data())
def test_order_does_not_matter_and_nobody_is_invented(places, distance, data, make_sites, make_plan, make_raster):
    file = make_raster(SIXTEEN)
    points = [TO_DEGREES.transform(500_000 + east, 8_900_000 - south) for east, south in places]
    sites = make_sites(
        catchments.READS,
        rows=len(points),
        longitude=[point[0] for point in points],
        latitude=[point[1] for point in points],
    )
    plan = make_plan(rasters={"population": {"file": file, "unit": "people"}}, demand={"service_distance_m": distance})
    people = catchments.run(sites, plan).columns["people_nearest"]
    assert people.sum() <= SIXTEEN.sum()
    order = data.draw(st.permutations(range(len(points))))
    pd.testing.assert_series_equal(
        catchments.run(sites.iloc[list(order)], plan).columns["people_nearest"].sort_index(), people
    )
