"""Boundaries of the page: light, in WGS 84, with shared borders."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import Point, Polygon, shape

from planner.outputs.map.areas import label_point, simplify_areas


def vertices(areas: list[dict[str, Any]]) -> int:
    return sum(int(shapely.get_num_coordinates(shape(area["geometry"]))) for area in areas)


def test_lighter_and_hardly_moved(invented_district: gpd.GeoDataFrame) -> None:
    areas = simplify_areas(invented_district, "name")
    assert [area["name"] for area in areas] == invented_district["name"].tolist()
    assert vertices(areas) < 0.4 * shapely.get_num_coordinates(invented_district.geometry.to_numpy()).sum()
    for area, whole in zip(areas, invented_district.geometry, strict=True):
        # By judgement: a part in two hundred of an area of 30 km is not seen on a screen.
        assert abs(shape(area["geometry"]).area / whole.area - 1) < 0.005


def test_shared_borders_stay_shared(invented_district: gpd.GeoDataFrame) -> None:
    shapes = np.array([shape(area["geometry"]) for area in simplify_areas(invented_district, "name")])
    assert shapely.coverage_is_valid(shapes)


def test_other_reference_systems_are_brought_to_degrees(invented_district: gpd.GeoDataFrame) -> None:
    metres = simplify_areas(invented_district.to_crs("EPSG:32736"), "name")
    for area, here in zip(metres, simplify_areas(invented_district, "name"), strict=True):
        assert shape(area["geometry"]).hausdorff_distance(shape(here["geometry"])) < 0.002


def test_overlaps_and_gaps_do_not_stop_it() -> None:
    squares = [
        Polygon([(0, 0), (2, 0), (2, 2), (0, 2)]),
        Polygon([(1, 1), (3, 1), (3, 3), (1, 3)]),
        None,
        Point(1, 1),
    ]
    frame = gpd.GeoDataFrame({"name": ["a", "b", "none", "point"]}, geometry=squares, crs="EPSG:4326")
    assert [area["name"] for area in simplify_areas(frame, "name")] == ["a", "b"]


def test_label_lies_inside_the_larger_part() -> None:
    small = [[[5, 5], [5.1, 5], [5.1, 5.1], [5, 5]]]
    large = [[[0, 0], [4, 0], [4, 1], [1, 1], [1, 4], [0, 4], [0, 0]]]  # an L
    latitude, longitude = label_point({"type": "MultiPolygon", "coordinates": [small, large]})
    assert Polygon(large[0]).contains(Point(longitude, latitude))
