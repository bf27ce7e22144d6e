"""Boundary polygons made light enough for the page, with shared borders kept shared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry

TOLERANCE_DEG = 0.0008  # about 90 m: half a pixel when a district of 100 km fills a screen
DECIMALS = 4  # about 11 m


def simplify_areas(frame: gpd.GeoDataFrame, name_field: str) -> list[dict[str, Any]]:
    """Polygons as a list of {"name", "geometry"}, GeoJSON geometry in WGS 84, simplified and rounded.

    frame: polygons with a CRS. Neighbours that fit without gap or overlap are simplified together, so that
    their common border stays one line; others one by one. Outer rings run against the clock, holes with it.
    Rows without a polygon are left out: they cannot be drawn.
    """
    import shapely
    from shapely.geometry import mapping

    drawn = frame[frame.geometry.notna() & frame.geometry.geom_type.isin(["Polygon", "MultiPolygon"])]
    shapes = drawn.geometry.to_crs("EPSG:4326").to_numpy()
    if shapes.size and shapely.coverage_is_valid(shapes):
        light = shapely.coverage_simplify(shapes, TOLERANCE_DEG)
    else:
        light = shapely.simplify(shapes, TOLERANCE_DEG, preserve_topology=True)
    light = shapely.orient_polygons(light)
    return [
        {
            "name": str(name),
            "geometry": {"type": shape.geom_type, "coordinates": _round(mapping(shape)["coordinates"])},
        }
        for name, shape in zip(drawn[name_field].fillna(""), light, strict=True)
    ]


def label_point(geometry: dict[str, Any]) -> tuple[float, float]:
    """Latitude and longitude, degrees, of the place for the name: the middle of the roomiest part."""
    from shapely.geometry import shape
    from shapely.ops import polylabel

    widest = max(_polygons(shape(geometry)), key=lambda part: part.area)
    point = polylabel(widest, tolerance=0.01) if widest.is_valid else widest.representative_point()
    return round(point.y, DECIMALS), round(point.x, DECIMALS)


def _polygons(geometry: BaseGeometry) -> list[Any]:
    return list(geometry.geoms) if hasattr(geometry, "geoms") else [geometry]


def _round(coordinates: Any) -> Any:
    """Nested GeoJSON coordinates rounded; height, if any, dropped."""
    if isinstance(coordinates[0], (int, float)):
        return [round(coordinates[0], DECIMALS), round(coordinates[1], DECIMALS)]
    return [_round(part) for part in coordinates]
