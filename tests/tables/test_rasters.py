"""Rasters of three by three and four by four cells whose answers a reader finds in the head.

Every expected number is a closed form of the small raster beside it, unless a comment says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rasterio import Affine
from rasterio.windows import Window

from planner.errors import RasterError
from planner.plan import LoadedPlan, RasterSource
from planner.tables import raster_files, rasters

# South-west corner 30°E 10°S; cells of 0.1°; row 0 is the northernmost.
NINE = np.arange(1.0, 10.0).reshape(3, 3)


def grid(west: float, north: float, cell: float) -> Affine:
    """Square cells, the first one at the north-west corner."""
    return Affine(cell, 0, west, 0, -cell, north)


def run(sites: pd.DataFrame, plan: LoadedPlan, keeps_promise: Callable[..., None]) -> Any:
    before = sites.copy(deep=True)
    step = rasters.run(sites, plan)
    pd.testing.assert_frame_equal(sites, before)
    keeps_promise(step, sites, rasters.WRITES)
    return step


def faults_of(sites: pd.DataFrame, plan: LoadedPlan) -> tuple[str, ...]:
    with pytest.raises(RasterError) as caught:
        rasters.run(sites, plan)
    return tuple(str(fault) for fault in caught.value.faults)


def at(make_sites: Any, *points: tuple[float, float], **given: Any) -> pd.DataFrame:
    """Sites at (latitude, longitude)."""
    latitude, longitude = zip(*points, strict=True)
    return make_sites(rasters.READS, rows=len(points), latitude=list(latitude), longitude=list(longitude), **given)


def test_without_rasters_all_is_absent(make_sites, make_plan, keeps_promise):
    step = run(at(make_sites, (-9.85, 30.15), (np.nan, np.nan)), make_plan(), keeps_promise)
    status = [name for name in rasters.WRITES if name.endswith("_status")]
    assert len(status) == 4
    assert (step.columns[status] == "absent").all(axis=None)
    assert step.columns.drop(columns=status).isna().all(axis=None)
    assert step.findings == []
    assert step.checks.empty


def test_an_empty_table_is_no_fault(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", NINE), "unit": "m"}})
    sites = at(make_sites, (-9.85, 30.15)).iloc[:0]
    assert run(sites, plan, keeps_promise).columns.empty


@pytest.mark.parametrize(
    ("key", "column", "unit", "stored", "ours"),
    [
        ("elevation", "elevation_m", "ft", 1000.0, 304.8),  # international foot
        ("water_level", "prior_level_m", "ft", 100.0, 30.48),
        ("well_yield", "prior_yield_m3_h", "L/s", 2.0, 7.2),
    ],
)
def test_other_units(key, column, unit, stored, ours, make_sites, make_plan, make_raster, keeps_promise):
    file = make_raster("a.tif", np.full((1, 3, 3), stored))
    plan = make_plan(rasters={key: {"file": file, "unit": unit}})
    columns = run(at(make_sites, (-9.85, 30.15)), plan, keeps_promise).columns
    assert columns.loc[1, column] == pytest.approx(ours, rel=1e-12)


def test_elevation_is_bilinear_between_cell_centres(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", NINE), "unit": "m"}})
    # NINE is the plane 5 + 10 (x − 30.15) + 30 (−9.85 − y), and bilinear values of a plane lie on the plane.
    sites = at(make_sites, (-9.85, 30.15), (-9.80, 30.10), (-9.825, 30.20))
    columns = run(sites, plan, keeps_promise).columns
    assert columns["elevation_m"].tolist() == pytest.approx([5.0, (1 + 2 + 4 + 5) / 4, 5 + 0.5 - 0.75])


def test_bilinear_at_the_edge_takes_the_cells_there_are(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", NINE), "unit": "m"}})
    sites = at(make_sites, (-9.71, 30.01), (-9.70, 30.0), (-9.99, 30.2), (-10.0, 30.3))
    columns = run(sites, plan, keeps_promise).columns
    assert columns["elevation_m"].tolist() == pytest.approx([1.0, 1.0, (8 + 9) / 2, 9.0])


def test_bilinear_next_to_a_hole_is_renormalised(make_sites, make_plan, make_raster, keeps_promise):
    values = NINE.copy()
    values[1, 1] = -9999
    file = make_raster("e.tif", values, nodata=-9999)
    plan = make_plan(rasters={"elevation": {"file": file, "unit": "m"}})
    # Corner of cells 1, 2, 4 and the hole; the hole's own centre; a quarter of the way from 4 into the hole.
    step = run(
        at(make_sites, (-9.80, 30.10), (-9.85, 30.15), (-9.85, 30.075), site_id=["a", "b", "c"]),
        plan,
        keeps_promise,
    )
    columns = step.columns
    assert columns["elevation_status"].tolist() == ["valid", "nodata", "valid"]
    assert columns.loc[[1, 3], "elevation_m"].tolist() == pytest.approx([(1 + 2 + 4) / 3, 4.0])
    assert np.isnan(columns.loc[2, "elevation_m"])
    (finding,) = step.findings
    assert (finding.row, finding.site_id, finding.column, finding.rule, finding.severity) == (
        2,
        "b",
        "elevation",
        "raster_nodata",
        "warning",
    )


def test_yield_is_that_of_the_cell_and_depth_is_bilinear(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(
        rasters={
            "water_level": {"file": make_raster("l.tif", NINE), "unit": "m"},
            "well_yield": {"file": make_raster("y.tif", NINE), "unit": "m3/h"},
        }
    )
    columns = run(at(make_sites, (-9.801, 30.101)), plan, keeps_promise).columns
    assert columns.loc[1, "prior_yield_m3_h"] == 5.0
    # From the plane of the test above.
    assert columns.loc[1, "prior_level_m"] == pytest.approx(5 - 10 * 0.049 - 30 * 0.049)


def test_scale_offset_and_nodata_together(make_sites, make_plan, make_raster, keeps_promise):
    stored = np.array([[0, 10, 20], [30, 40, 50], [60, 70, 255]], dtype="uint8")
    file = make_raster("y.tif", stored, nodata=255, scale=0.1, offset=2.0)
    points = [(-9.75, 30.05), (-9.85, 30.15), (-9.95, 30.25)]

    def values(**source: Any) -> list[float]:
        plan = make_plan(rasters={"well_yield": {"file": file, "unit": "m3/h", **source}})
        return run(at(make_sites, *points), plan, keeps_promise).columns["prior_yield_m3_h"].tolist()

    assert values() == pytest.approx([2.0, 6.0, np.nan], nan_ok=True)
    # What the plan says outvotes the file, one by one.
    assert values(scale=1.0) == pytest.approx([2.0, 42.0, np.nan], nan_ok=True)
    assert values(offset=0.0) == pytest.approx([0.0, 4.0, np.nan], nan_ok=True)
    assert values(nodata=0) == pytest.approx([np.nan, 6.0, 27.5], nan_ok=True)


def test_a_mask_in_the_file_counts(make_sites, make_plan, make_raster, keeps_promise):
    mask = np.full((3, 3), 255, dtype="uint8")
    mask[1, 1] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True):
        file = make_raster("y.tif", NINE, mask=mask)
    plan = make_plan(rasters={"well_yield": {"file": file, "unit": "m3/h"}})
    columns = run(at(make_sites, (-9.85, 30.15), (-9.85, 30.05)), plan, keeps_promise).columns
    assert columns["prior_yield_status"].tolist() == ["nodata", "valid"]


def test_nodata_of_32_bits_is_found(make_sites, make_plan, make_raster, keeps_promise):
    values = NINE.astype("float32")
    values[1, 1] = -9999.9
    file = make_raster("y.tif", values)
    plan = make_plan(rasters={"well_yield": {"file": file, "unit": "m3/h", "nodata": -9999.9}})
    columns = run(at(make_sites, (-9.85, 30.15), (-9.85, 30.05)), plan, keeps_promise).columns
    assert columns["prior_yield_status"].tolist() == ["nodata", "valid"]


def test_points_are_brought_to_the_crs_of_the_raster(make_sites, make_plan, make_raster, keeps_promise):
    utm = pyproj.Transformer.from_crs("EPSG:32736", "EPSG:4326", always_xy=True)
    file = make_raster("e.tif", NINE, crs="EPSG:32736", transform=grid(500_000, 8_900_000, 1000))
    plan = make_plan(
        rasters={
            "elevation": {"file": file, "unit": "m"},
            "well_yield": {"file": file, "unit": "m3/h"},
        }
    )
    # Centre of the middle cell, and 250 m east of it: a quarter of the way from 5 to 6.
    points = [utm.transform(501_500 + east, 8_898_500)[::-1] for east in (0, 250)]
    columns = run(at(make_sites, *points), plan, keeps_promise).columns
    assert columns["elevation_m"].tolist() == pytest.approx([5.0, 5.25], abs=1e-6)
    assert columns["prior_yield_m3_h"].tolist() == [5.0, 5.0]


def test_longitudes_may_run_to_360_and_rows_northwards(make_sites, make_plan, make_raster, keeps_promise):
    whole = make_raster("y.tif", np.arange(1.0, 5.0)[None], transform=Affine(90.0, 0, 0.0, 0, -180.0, 90.0))
    upward = make_raster("e.tif", NINE, transform=Affine(0.1, 0, 30.0, 0, 0.1, -10.0))
    sites = at(make_sites, (-9.95, 30.05), (-9.95, -10.0))
    plan = make_plan(rasters={"well_yield": {"file": whole, "unit": "m3/h"}})
    assert run(sites, plan, keeps_promise).columns["prior_yield_m3_h"].tolist() == [1.0, 4.0]
    plan = make_plan(rasters={"elevation": {"file": upward, "unit": "m"}})
    columns = run(sites, plan, keeps_promise).columns
    assert columns.loc[1, "elevation_m"] == pytest.approx(1.0)  # first stored row is the southernmost
    assert columns.loc[2, "elevation_status"] == "outside"


def test_all_faults_of_all_rasters_come_at_once(make_sites, make_plan, make_raster):
    rotated = Affine(0.1, 0.02, 30.0, 0.02, -0.1, -9.7)
    plan = make_plan(
        rasters={
            "elevation": {"file": make_raster("dem.tif", NINE, transform=rotated), "unit": "m"},
            "water_level": {"file": make_raster("level.tif", NINE), "unit": "m", "bands": [4]},
            "well_yield": {"file": make_raster("yield.tif", NINE), "unit": "m3/h", "scale": 0.0},
            "population": {"file": make_raster("people.tif", -NINE), "unit": "people"},
        }
    )
    faults = faults_of(at(make_sites, (-9.85, 30.15)), plan)
    expected = [
        ("dem.tif", "rotated grid", "along the axes"),
        ("level.tif", "band 4", "1 bands in the file"),
        ("yield.tif", "scale: found 0", "another number"),
        ("people.tif", "band 1: found -5 people near inventory row 1", "at least 0 people"),
    ]
    assert len(faults) == len(expected)
    for fault, parts in zip(faults, expected, strict=True):
        assert all(part in fault for part in parts), (fault, parts)


def test_a_raster_without_origin_is_refused(tmp_path, make_sites, make_plan):
    path = tmp_path / "e.tif"
    profile = {"driver": "GTiff", "dtype": "float64", "count": 1, "height": 3, "width": 3, "crs": "EPSG:4326"}
    with (
        pytest.warns(rasterio.errors.NotGeoreferencedWarning),
        rasterio.open(path, "w", **profile) as target,
    ):
        target.write(NINE[None])
    plan = make_plan(rasters={"elevation": {"file": str(path), "unit": "m"}})
    (fault,) = faults_of(at(make_sites, (-9.85, 30.15)), plan)
    assert "grid: found no position" in fault


def test_a_broken_off_file_is_a_fault_with_its_place(make_sites, make_plan, make_raster):
    file = make_raster("e.tif", np.ones((64, 64)), compress="deflate", transform=grid(30, -9, 0.1))
    content = Path(file).read_bytes()
    Path(file).write_bytes(content[:-20])
    plan = make_plan(rasters={"elevation": {"file": file, "unit": "m"}})
    (fault,) = faults_of(at(make_sites, (-9.05, 30.05), (-15.2, 36.2)), plan)
    assert "e.tif" in fault
    assert "cells that can be read" in fault or "a raster that can be read" in fault


def test_undeclared_nodata_is_suggested_even_when_blending_hides_it(make_sites, make_plan, make_raster):
    values = NINE.copy()
    values[1, 1] = -9999
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", values), "unit": "m"}})
    # The weight of the hole is 2 %: the blend would be a credible −200 m.
    (fault,) = faults_of(at(make_sites, (-9.752, 30.15)), plan)
    assert "found -9999 m near inventory row 1" in fault
    assert "write nodata = -9999" in fault


def test_a_raster_elsewhere_is_refused_with_both_extents(make_sites, make_plan, make_raster):
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", NINE), "unit": "m"}})
    (fault,) = faults_of(at(make_sites, (9.85, 30.15), (9.95, 30.25)), plan)
    assert "latitude -10.000 to -9.700, longitude 30.000 to 30.300" in fault
    assert "latitude 9.850 to 9.950, longitude 30.150 to 30.250" in fault


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(range(12)))
def test_the_order_of_sites_does_not_matter(order, make_sites, make_plan, make_raster):
    plan = make_plan(rasters={"elevation": {"file": make_raster("e.tif", NINE), "unit": "m"}})
    chance = np.random.default_rng(1)
    points = zip(chance.uniform(-10.1, -9.6, 12), chance.uniform(29.9, 30.4, 12), strict=True)
    sites = at(make_sites, *points)
    whole = rasters.run(sites, plan).columns
    pd.testing.assert_frame_equal(rasters.run(sites.iloc[list(order)], plan).columns.sort_index(), whole)


@pytest.mark.parametrize("layout", [{"tiled": True, "blockxsize": 16, "blockysize": 16}, {"blockysize": 1}])
def test_each_block_is_read_once_and_only_where_needed(layout, make_raster, monkeypatch):
    values = np.arange(64.0 * 48).reshape(64, 48)
    file = make_raster("a.tif", values, **layout)
    windows: list[Window] = []
    read = raster_files.read_window

    def counted(raster: Any, rows: tuple[int, int], columns: tuple[int, int]) -> Any:
        windows.append((rows, columns))
        return read(raster, rows, columns)

    monkeypatch.setattr(raster_files, "read_window", counted)
    chance = np.random.default_rng(2)
    rows, columns = chance.integers(0, 64, 500), chance.integers(0, 16, 500)
    source = RasterSource(file=file, unit="m")
    with raster_files.open_raster("elevation", source, Path) as raster:
        taken = raster_files.read_cells(raster, rows, columns)
    np.testing.assert_array_equal(taken[0], values[rows, columns])
    # Tiles: the four of the first tile column. Strips of one row: together.
    assert len(windows) == (4 if "tiled" in layout else 1)
