"""The polygons of the programme area: which one a point lies in, and how far outside it lies.

Distances are taken in an azimuthal equidistant projection about the middle of the area (Snyder 1987, Map
Projections: A Working Manual, USGS Professional Paper 1395, chapter 25): exact from the middle, 0.1 % too
long across at 500 km from it.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from planner.errors import AreaError, Fault, raise_if
from planner.plan import LoadedPlan
from planner.tables.polygon_file import read_polygons
from planner.tables.step import Finding

if TYPE_CHECKING:
    import geopandas
    from pyproj import Transformer
    from shapely.geometry.base import BaseGeometry

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

__all__ = ["OUTSIDE_M", "Boundary", "read_boundary", "read_polygons"]

OUTSIDE_M = 1000.0  # beyond this from the area a position is wrong, not just imprecise
# More than any boundary of a nation has; a file can ask for more than a memory or a day holds.
MOST_CORNERS = 5_000_000
LONG_EDGE = 0.1  # degrees
# Edges of a polygon that crosses itself whose boxes meet, beside those that meet along its line: 3 s to mend.
MOST_MEETING = 200_000
LOOKED_AT = 1000  # edges, of which the number is estimated


@dataclass(frozen=True)
class Boundary:
    """Polygons in local metres with their names, and the way from degrees to these metres."""

    names: tuple[str, ...]
    polygons: npt.NDArray[np.object_]
    to_metres: Transformer

    def points(self, latitude: Floats, longitude: Floats) -> npt.NDArray[np.object_]:
        """Points in local metres."""
        import shapely

        x, y = self.to_metres.transform(longitude, latitude)
        return np.asarray(shapely.points(x, y))

    def containing(self, points: npt.NDArray[np.object_]) -> Ints:
        """Index of the polygon that each point lies in or on, the first if several; -1 outside."""
        import shapely

        # The tree holds the points: a predicate prepares what it queries with, here the large polygons.
        polygon, point = shapely.STRtree(points).query(self.polygons, predicate="intersects")
        found = np.full(len(points), len(self.polygons), dtype=np.int64)
        np.minimum.at(found, point, polygon)
        return np.where(found == len(self.polygons), -1, found)

    def nearest(self, points: npt.NDArray[np.object_]) -> tuple[Ints, Floats]:
        """Index of the polygon at or nearest to each point, and the distance to it in m (0 inside)."""
        import shapely

        nearest, distance = self.containing(points), np.zeros(len(points))
        outside = np.flatnonzero(nearest < 0)
        if len(outside):
            edges, owner = _edges(self.polygons)
            tree = shapely.STRtree(edges)
            pairs, away = tree.query_nearest(points[outside], return_distance=True, all_matches=False)
            nearest[outside[pairs[0]]] = owner[pairs[1]]
            distance[outside[pairs[0]]] = away
        return nearest, distance


def _edges(polygons: npt.NDArray[np.object_]) -> tuple[npt.NDArray[np.object_], Ints]:
    """Every edge of the polygons, and whose it is: a tree of edges finds the nearest of many at once."""
    import shapely

    parts, owner_of_part = shapely.get_parts(polygons, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    edges = shapely.linestrings(np.stack([corners[:-1][joined], corners[1:][joined]], axis=1))
    return np.asarray(edges), np.asarray(owner_of_part[part[ring[1:][joined]]], dtype=np.int64)


def read_boundary(plan: LoadedPlan) -> tuple[Boundary | None, list[Finding]]:
    """The plan's area, with findings about its file; None if the plan has no area.

    Raises AreaError: no file, not readable, no reference system, no polygons, no such name field.
    """
    area = plan.plan.area
    if area is None:
        return None, []
    frame = read_polygons(area.boundary, plan.resolve(area.boundary))
    faults: list[Fault] = []
    is_polygon = frame.geom_type.isin(["Polygon", "MultiPolygon"]) & ~frame.is_empty
    if not is_polygon.any():
        kinds = ", ".join(sorted({str(kind) for kind in frame.geom_type.dropna()})) or "no geometry"
        faults.append(Fault(area.boundary, "geometry", kinds, "polygons"))
    if frame.crs is None:
        faults.append(Fault(area.boundary, "reference system", "none", "a file that states its CRS"))
    fields = [str(name) for name in frame.columns if name != frame.geometry.name]
    if area.name_field not in fields:
        near = difflib.get_close_matches(area.name_field, fields, n=1, cutoff=0.5)
        expected = f"{near[0]!r}, the nearest" if near else "one of: " + ", ".join(map(repr, fields[:60]))
        faults.append(Fault(str(plan.path), "[area] name_field", repr(area.name_field), expected))
    raise_if(faults, AreaError)
    boundary, findings = _project(frame[is_polygon], area.name_field, area.boundary)
    if left := int((~is_polygon).sum()):
        findings.append(Finding(0, "", "area_name", "boundary_left_out", "warning", str(left)))
    return boundary, findings


def _project(frame: geopandas.GeoDataFrame, name_field: str, file: str) -> tuple[Boundary, list[Finding]]:
    """Valid polygons in degrees, then in metres about their middle."""
    import shapely
    from pyproj import CRS, Transformer
    from pyproj.exceptions import ProjError

    corners = int(shapely.get_num_coordinates(np.asarray(frame.geometry)).sum())
    _refuse_above(corners, file)
    try:
        degrees = frame.geometry.force_2d().to_crs("EPSG:4326")
    except ProjError as error:
        expected = "a CRS that can be related to WGS 84"
        raise AreaError([Fault(file, "reference system", " ".join(str(error).split())[:200], expected)]) from error
    bounds = degrees.bounds.to_numpy()
    # Of every corner: the bounds of a polygon leave its holes out.
    if not (np.abs(shapely.get_coordinates(np.asarray(degrees))) <= [360, 90]).all():
        found = f"coordinates that {frame.crs.name} does not have"
        raise AreaError([Fault(file, "geometry", found, "polygons inside their reference system")])
    _refuse_above(corners + float(shapely.length(np.asarray(degrees)).sum()) / LONG_EDGE, file)
    names = frame[name_field].astype("str").where(frame[name_field].notna(), "").tolist()
    broken = np.flatnonzero(~degrees.is_valid)
    for at in broken:
        _refuse_tangle(degrees.iloc[at], names[at], file)
    findings = [
        Finding(0, "", "area_name", "boundary_repaired", "warning", names[at], str(reason), "repaired")
        for at, reason in zip(broken, degrees.iloc[broken].is_valid_reason(), strict=True)
    ]
    degrees = degrees.make_valid(method="structure", keep_collapsed=False)
    if degrees.is_empty.any():
        raise AreaError([Fault(file, "geometry", "polygons without an area", "polygons")])

    latitude, longitude = _middle(bounds)
    local = CRS.from_dict({"proj": "aeqd", "lat_0": latitude, "lon_0": longitude, "datum": "WGS84", "units": "m"})
    # Long edges get corners, so that what is straight in degrees stays so on the projection.
    projected = np.array(degrees.segmentize(LONG_EDGE).to_crs(local))
    if not np.isfinite(shapely.get_coordinates(projected)).all():
        raise AreaError([Fault(file, "geometry", "an area around half the Earth", "an area of one country or region")])
    # Rounding may cross edges that touched; that is not the file's fault.
    polygons = shapely.make_valid(projected, method="structure", keep_collapsed=False)
    to_metres = Transformer.from_crs("EPSG:4326", local, always_xy=True)
    return Boundary(tuple(names), polygons, to_metres), findings


def _refuse_above(corners: float, file: str) -> None:
    if not corners <= MOST_CORNERS:
        expected = f"at most {MOST_CORNERS}: simplify the polygons in a GIS"
        raise AreaError([Fault(file, "geometry", f"{corners:.0f} corners, one at least every 0.1 degrees", expected)])


def _refuse_tangle(polygon: BaseGeometry, name: str, file: str) -> None:
    """Refuse a polygon whose edges cross one another so often that mending it would take minutes or the memory."""
    import shapely

    edges, _ = _edges(np.array([polygon], dtype=object))
    looked_at = edges[:: max(1, len(edges) // LOOKED_AT)]
    meeting = len(shapely.STRtree(edges).query(looked_at)[0]) / len(looked_at) * len(edges) / 2
    if meeting > 8 * len(edges) + MOST_MEETING:
        expected = "a polygon that does not cross itself"
        raise AreaError(
            [Fault(file, f"geometry of {name[:60]!r}", "edges that cross one another everywhere", expected)]
        )


def _middle(bounds: Floats) -> tuple[float, float]:
    """Latitude and longitude of the mean direction of boxes (west, south, east, north), also across 180°."""
    east = np.radians((bounds[:, 0] + bounds[:, 2]) / 2)
    north = np.radians((bounds[:, 1] + bounds[:, 3]) / 2)
    x, y, z = (part.mean() for part in (np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)))
    return float(np.degrees(np.arctan2(z, np.hypot(x, y)))), float(np.degrees(np.arctan2(y, x)))
