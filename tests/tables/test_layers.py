"""Files with geometry as text cells. Sites are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from planner.errors import Fault, InventoryError
from planner.tables.files.raw_table import RawTable
from planner.tables.files.table_file import sheets_of
from planner.tables.step import Step
from tests.tables.files import (
    ATTRIBUTES,
    FORMATS,
    places,
    rules,
    save,
    told,
)

Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


@pytest.mark.parametrize(("name", "driver"), FORMATS)
def test_attributes_and_points_become_columns(opened: Open, read: Read, tmp_path: Path, name: str, driver: str) -> None:
    path = save(places(**ATTRIBUTES), tmp_path / name, driver)
    table = opened(path)
    assert table.header == ["site_id", "people", "depth_m", "latitude", "longitude"]
    assert table.crs == "EPSG:4326" and table.found["geometry_columns"] == "latitude,longitude"
    assert [[*row[:2], float(row[2]), *row[3:]] for row in table.rows] == [
        ["00123", "250", 60, "-9.5", "33.5"],
        ["Étang", "", 62.5, "-9.6", "33.6"],
    ]
    assert table.findings == []
    step = read(path)
    assert step.columns["latitude"].tolist() == [-9.5, -9.6] and step.columns["people"][1] == 250


@pytest.mark.parametrize(("name", "driver"), FORMATS)
def test_the_reference_system_is_the_files(read: Read, tmp_path: Path, name: str, driver: str) -> None:
    path = save(places("EPSG:32736", **ATTRIBUTES), tmp_path / name, driver)
    step = read(path)
    assert step.columns["longitude"][1] == pytest.approx(33, abs=1e-6)  # closed form: the central meridian
    assert "EPSG:32736" in told(step)["crs"] or "UTM" in told(step)["crs"]
    assert read(path, crs="EPSG:32736").columns["longitude"][1] == pytest.approx(33, abs=1e-6)
    with pytest.raises(InventoryError, match="crs: found 'EPSG:4326'"):
        read(path, crs="EPSG:4326")


def test_columns_of_the_same_name_are_read_instead_of_the_geometry(opened: Open, tmp_path: Path) -> None:
    frame = places(latitude=[-1.0, -2.0], longitude=[30.0, 31.0])
    table = opened(save(frame, tmp_path / "wells.gpkg", "GPKG"))
    assert table.rows[0] == ["-1", "30"] and rules(table) == [(0, "geometry_not_used")] * 2


def test_a_layer_is_chosen_by_its_points_or_by_the_plan(opened: Open, refused: Refuse, tmp_path: Path) -> None:
    path = tmp_path / "wells.gpkg"
    areas = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(33, -10, 34, -9)], crs="EPSG:4326")
    save(areas, path, "GPKG", layer="areas")
    save(places(**ATTRIBUTES), path, "GPKG", layer="wells")
    assert sheets_of(path) == ["areas", "wells"]
    assert told(opened(path)) == {"sheet": "wells"}
    assert "Polygon" in refused(path, sheet="areas")[0].found
    save(places(**ATTRIBUTES), path, "GPKG", layer="more")
    assert "'wells', 'more'" in refused(path)[0].expected
    assert opened(path, sheet="more").found["sheet"] == "more"


def test_no_reference_system_and_other_geometry_are_told(opened: Open, tmp_path: Path) -> None:
    table = opened(save(places(None, **ATTRIBUTES), tmp_path / "wells.shp", "ESRI Shapefile"))
    assert table.crs is None and rules(table) == [(0, "crs_missing")]
    frame = places(**ATTRIBUTES)
    frame.geometry = [shapely.Point(33.5, -9.5, 1200), shapely.LineString([(33, -9), (34, -9)])]
    table = opened(save(frame, tmp_path / "wells.geojson", "GeoJSON"))
    assert table.rows[1][-2:] == ["", ""]
    assert rules(table) == [(2, "geometry_not_a_point"), (0, "height_not_read")]


def test_dates_flags_and_lists_of_a_parquet_file(opened: Open, tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "latitude": [-9.5],
            "longitude": [33.5],
            "test_date": [pd.Timestamp("2019-03-05")],
            "ok": [True],
            "tags": [["a", "é"]],
        }
    )
    frame.to_parquet(tmp_path / "wells.parquet")
    table = opened(tmp_path / "wells.parquet")
    assert table.rows == [["-9.5", "33.5", "2019-03-05 00:00", "TRUE", '["a", "é"]']]


def test_numbers_of_geojson_keep_their_text(opened: Open) -> None:
    properties = '{"q":1.10,"n":9007199254740993}'
    geometry = '{"type":"Point","coordinates":[33.50,-9.5]}'
    feature = f'{{"type":"Feature","id":7,"geometry":{geometry},"properties":{properties}}}'
    table = opened('{"type":"FeatureCollection","features":[' + feature + "]}", name="wells.geojson")
    assert table.header == ["q", "n", "id", "latitude", "longitude"]
    assert table.rows == [["1.10", "9007199254740993", "7", "-9.5", "33.5"]]
