"""The invented land: outline, rivers, rock units, relief, water table and climate of the demo district.

Everything lives on one grid of 300 m cells in UTM zone 31 south (row 0 is the northern edge). The frame lies
in open sea on purpose: no cell of it can be taken for a real place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.features import rasterize
from rasterio.transform import Affine, from_origin
from scipy.interpolate import make_interp_spline
from scipy.ndimage import distance_transform_edt, gaussian_filter
from shapely import LineString, MultiLineString, MultiPoint, Point, Polygon, STRtree, voronoi_polygons
from shapely import transform as reshape
from shapely.geometry.base import BaseGeometry
from shapely.ops import polygonize, unary_union

Grid = NDArray[np.float64]
Mask = NDArray[np.bool_]

CRS_UTM = "EPSG:32731"
CELL_M = 300.0
WEST_M, NORTH_M = 580_000.0, 8_611_800.0
ROWS, COLUMNS = 372, 400
TRANSFORM: Affine = from_origin(WEST_M, NORTH_M, CELL_M, CELL_M)

GRANITE, SANDSTONE, ALLUVIUM, SCHIST = 0, 1, 2, 3
UNIT_NAMES = ("granite", "sandstone", "alluvium", "schist")

# Control points in km from the south-western corner of the frame, upstream first.
RIVER = ((124, 108), (103, 99), (93, 86), (79, 74), (70, 60), (57, 51), (47, 37), (31, 30), (19, 15), (-4, 6))
TRIBUTARIES = (
    ((27, 96), (42, 84), (52, 74), (70, 60)),
    ((22, 62), (31, 53), (44, 49), (57, 51)),
    ((108, 60), (97, 63), (86, 66), (79, 74)),
    ((95, 30), (84, 41), (74, 49), (70, 60)),
    ((70, 14), (60, 22), (55, 31), (47, 37)),
    ((66, 104), (72, 95), (76, 84), (79, 74)),
)
BELT_KM = 3.0  # offset of the schist belt's axis
SEEDS_KM = ((66, 92), (36, 84), (34, 56), (56, 72), (92, 72), (78, 50), (86, 28), (50, 22))


@dataclass(frozen=True)
class Land:
    """Fields of the frame; every grid has ROWS × COLUMNS cells.

    outline       polygon of the district, UTM metres
    sub_districts polygons that fill the outline without gap or overlap, UTM metres
    unit          rock unit, GRANITE … SCHIST
    elevation_m   ground above sea level
    water_m       depth to water below ground, before the accidents of single wells
    richness      0.5 … 2, how much better or worse than its unit's median the rock yields
    inside        cells of the district
    """

    outline: Polygon
    sub_districts: list[Polygon]
    unit: NDArray[np.int64]
    elevation_m: Grid
    water_m: Grid
    richness: Grid
    inside: Mask
    river_m: Grid


def make_land(rng: Generator) -> Land:
    river = _river_line(rng, RIVER)
    streams = [_river_line(rng, points) for points in TRIBUTARIES]
    outline = _outline(rng)
    sub_districts = _sub_districts(rng, outline, river)
    river_m, stream_m = _distance_m([river]), _distance_m([river, *streams])
    unit = _units(rng, river_m, stream_m)
    elevation_m = _relief(rng, unit, river_m, stream_m)
    water_m = _water_table(rng, unit, elevation_m, river_m)
    richness = np.clip(np.exp(0.35 * noise(rng, 18.0)), 0.5, 2.0)
    inside = rasterize([outline], (ROWS, COLUMNS), transform=TRANSFORM).astype(bool)
    return Land(outline, sub_districts, unit, elevation_m, water_m, richness, inside, river_m)


def cell_of(easting_m: float, northing_m: float) -> tuple[int, int]:
    """Row and column of the grid cell that holds a point."""
    return int((NORTH_M - northing_m) // CELL_M), int((easting_m - WEST_M) // CELL_M)


def noise(rng: Generator, cells: float) -> Grid:
    """Smooth random field, mean 0 and standard deviation 1, features about `cells` cells wide."""
    field: Grid = gaussian_filter(rng.standard_normal((ROWS, COLUMNS)), cells, mode="wrap")
    field -= field.mean()
    field /= field.std()
    return field


def rugged(rng: Generator, cells: float) -> Grid:
    """Noise on five scales, each half as wide and about half as strong as the one before."""
    return sum(0.55**k * noise(rng, cells / 2**k) for k in range(5)) / 1.2  # type: ignore[return-value]


def _km(points: Sequence[tuple[float, float]]) -> Grid:
    """Kilometres from the south-western corner to UTM metres, (n, 2)."""
    south_m = NORTH_M - ROWS * CELL_M
    return np.asarray(points, float) * 1000 + (WEST_M, south_m)


def _wander(rng: Generator, line: LineString, share: float, step_m: float) -> LineString:
    """Midpoint displacement: each leg's middle moves aside by a random share of the leg; the ends stay."""
    points = np.asarray(line.coords)
    while np.hypot(*np.diff(points, axis=0).T).max() > step_m:
        legs = np.diff(points, axis=0)
        aside = np.column_stack([-legs[:, 1], legs[:, 0]])
        middles = points[:-1] + legs / 2 + aside * np.clip(rng.normal(0, share, (len(legs), 1)), -0.3, 0.3)
        points = np.insert(points, np.arange(1, len(points)), middles, axis=0)
    return LineString(points)


def _river_line(rng: Generator, points: Sequence[tuple[float, float]]) -> LineString:
    control = _km(points)
    along = np.linspace(0, 1, len(control))
    smooth = make_interp_spline(along, control, k=3)(np.linspace(0, 1, 4 * len(control)))
    return _wander(rng, LineString(smooth), 0.20, 400)


def _outline(rng: Generator) -> Polygon:
    """A blob about 94 km across with the small turns of a border that follows streams and ridges."""
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    radius = np.full_like(angle, 46_000.0)
    for k in range(2, 7):
        radius += 46_000 * 0.15 / k**0.7 * rng.normal() * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
    centre = _km([(60, 56)])[0]
    ring = centre + np.column_stack([np.cos(angle), np.sin(angle)]) * radius[:, None]
    return Polygon(_wander(rng, LineString([*ring, ring[0]]), 0.15, 900))


def _sub_districts(rng: Generator, outline: Polygon, river: LineString) -> list[Polygon]:
    """Eight polygons: the river parts the outline in two, wandering lines part each bank in four.

    The lines are cut into polygons together, so that neighbours share their vertices exactly.
    """
    banks = polygonize(unary_union([outline.exterior, river]))
    seeds = [Point(seed) for seed in _km(SEEDS_KM)]
    edges: list[BaseGeometry] = [outline.exterior, river]
    for bank in banks:
        own = [seed for seed in seeds if bank.contains(seed)]
        if len(own) > 1:
            for edge in _inner_edges(own):
                # A little longer than the bank, so that the ends surely cross its border; trimmed below.
                edges.append(_wander(rng, edge, 0.11, 900).intersection(bank.buffer(1500)))
    pieces = [piece for piece in polygonize(unary_union(edges)) if outline.contains(piece.representative_point())]
    return _merge_slivers(pieces, seeds)


def _inner_edges(seeds: list[Point]) -> list[LineString]:
    cells = list(voronoi_polygons(MultiPoint(seeds), extend_to=Point(seeds[0]).buffer(90_000)).geoms)
    shared = []
    for k, cell in enumerate(cells):
        for other in cells[k + 1 :]:
            edge = cell.intersection(other)
            if isinstance(edge, MultiLineString | LineString) and edge.length > 1:
                shared.append(LineString(edge.coords))
    return shared


def _merge_slivers(pieces: list[Polygon], seeds: list[Point]) -> list[Polygon]:
    """One polygon a seed, in the seeds' order: a piece without one joins the neighbour it touches longest."""
    chosen: list[BaseGeometry] = [next(piece for piece in pieces if piece.contains(seed)) for seed in seeds]
    loose = sorted((p for p in pieces if not any(p.contains(s) for s in seeds)), key=lambda p: -p.area)
    for piece in loose:
        touch = [piece.intersection(polygon).length for polygon in chosen]
        chosen[int(np.argmax(touch))] = unary_union([chosen[int(np.argmax(touch))], piece])
    return [polygon for polygon in chosen if isinstance(polygon, Polygon)]


def _distance_m(lines: list[LineString]) -> Grid:
    drawn = rasterize(lines, (ROWS, COLUMNS), transform=TRANSFORM, all_touched=True)
    return np.asarray(distance_transform_edt(drawn == 0)) * CELL_M


def _units(rng: Generator, river_m: Grid, stream_m: Grid) -> NDArray[np.int64]:
    """Granite; a sandstone plateau in the north-west, a schist belt in the south-east, the valley fill."""
    easting_km, northing_km = _axes_km()
    unit = np.full((ROWS, COLUMNS), GRANITE)
    across = (easting_km - 60) * 0.62 - (northing_km - 6) * 0.78  # km from the axis of the belt
    unit[np.abs(across - BELT_KM) < 5.5 + 2.2 * rugged(rng, 30)] = SCHIST
    plateau = np.hypot(easting_km - 24, (northing_km - 88) * 1.1)
    unit[(plateau < 33 + 6 * rugged(rng, 30)) & (river_m > 5000)] = SANDSTONE
    widening = 1 + 0.6 * np.clip((90 - easting_km) / 90, 0, 1)  # the plain widens downstream
    plain = (river_m < (2300 + 700 * rugged(rng, 15)) * widening) | ((stream_m < 500) & (river_m < 9000))
    unit[plain] = ALLUVIUM
    return unit


def _axes_km() -> tuple[Grid, Grid]:
    easting = (np.arange(COLUMNS) + 0.5) * CELL_M / 1000
    northing = (ROWS - np.arange(ROWS) - 0.5) * CELL_M / 1000
    grid = np.meshgrid(easting, northing)
    return grid[0], grid[1]


def _relief(rng: Generator, unit: NDArray[np.int64], river_m: Grid, stream_m: Grid) -> Grid:
    easting_km, northing_km = _axes_km()
    ground = 520 + 0.65 * (easting_km + northing_km)  # the river falls to the south-west
    ground += 230 * (1 - np.exp(-river_m / 14_000)) + 55 * (1 - np.exp(-stream_m / 2500))
    away = 1 - np.exp(-stream_m / 1500)
    ground += 30 * rugged(rng, 24) * away
    plateau = gaussian_filter((unit == SANDSTONE).astype(float), 3.0)
    ground += plateau * (280 + 14 * rugged(rng, 12))  # an escarpment about 2 km wide
    along = 2 * np.pi * ((easting_km - 60) * 0.62 - (northing_km - 6) * 0.78) / 4.5  # ridges every 4.5 km
    belt = gaussian_filter((unit == SCHIST).astype(float), 4.0)
    ground += belt * (45 + 26 * np.cos(along + 1.8 * noise(rng, 14)) + 14 * rugged(rng, 8)) * away
    knobs = np.clip(noise(rng, 3.0) - 2.6, 0, None) * (unit == GRANITE) * away
    ground += gaussian_filter(knobs, 0.8) * 260  # bare granite hills
    return ground


def _water_table(rng: Generator, unit: NDArray[np.int64], elevation_m: Grid, river_m: Grid) -> Grid:
    """Depth to water: a subdued copy of the relief, very deep only under the plateau."""
    local = elevation_m - gaussian_filter(elevation_m, 8.0)
    by_unit = [
        np.clip(14 + 4 * noise(rng, 18) + 0.25 * local, 8, 25),
        np.clip(64 + 0.36 * (elevation_m - 960) + 9 * noise(rng, 20), 60, 160),
        np.clip(2.2 + 0.0011 * river_m + 0.5 * noise(rng, 6), 1.5, 8),
        np.clip(19 + 4 * noise(rng, 18) + 0.20 * local, 10, 32),
    ]
    return np.choose(unit, by_unit)


def monthly_irradiation(rng: Generator, latitude: Grid, elevation_m: Grid) -> Grid:
    """Global horizontal irradiation of the mean day of each month, kWh/m2/day, (12, rows, columns).

    Extraterrestrial daily sum (Duffie & Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3) × a
    clearness index invented for a savanna with rain from November to March.
    """
    clearness = (0.455, 0.465, 0.52, 0.605, 0.665, 0.685, 0.69, 0.695, 0.685, 0.635, 0.535, 0.465)
    middle_day = (17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344)
    patch = gaussian_filter(rng.standard_normal(latitude.shape), 3.0)
    patch = 0.012 * patch / patch.std() - 0.00008 * (elevation_m - 750)  # clouds gather over the plateau
    phi = np.radians(latitude)
    months = []
    for k, day in enumerate(middle_day):
        declination = np.radians(23.45 * np.sin(2 * np.pi * (284 + day) / 365))
        sunset = np.arccos(-np.tan(phi) * np.tan(declination))
        beam = np.cos(phi) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(phi) * np.sin(declination)
        extraterrestrial = 24 / np.pi * 1.367 * (1 + 0.033 * np.cos(2 * np.pi * day / 365)) * beam
        wet = (0.70 - clearness[k]) / 0.25  # cloud patterns matter in the rains only
        months.append(extraterrestrial * clearness[k] * (1 + patch * (0.3 + wet)))
    return np.stack(months)


def monthly_temperature(elevation_m: Grid) -> Grid:
    """Mean air temperature of each month, degC, (12, rows, columns): 6.5 K cooler a km of height."""
    at_750_m = (23.4, 23.3, 23.2, 22.6, 20.6, 18.4, 18.2, 20.6, 24.1, 26.0, 25.1, 23.8)
    return np.array(at_750_m)[:, None, None] - 0.0065 * (elevation_m - 750)[None]


def monthly_rain(elevation_m: Grid) -> Grid:
    """Rain of each month, mm, (12, rows, columns): 800 mm a year at 750 m, a tenth more with every 100 m of height."""
    at_750_m = (190, 170, 130, 35, 5, 0, 0, 1, 6, 28, 85, 150)
    return np.array(at_750_m)[:, None, None] * (1 + 0.001 * (elevation_m - 750))[None]


def sub_district_of(land: Land, easting_m: float, northing_m: float) -> int:
    """Number of the sub-district at a point inside the outline."""
    return int(STRtree(land.sub_districts).nearest(Point(easting_m, northing_m)))


def to_degrees(easting_m: Grid, northing_m: Grid) -> tuple[Grid, Grid]:
    """Longitude and latitude, degrees, of UTM positions."""
    longitude, latitude = Transformer.from_crs(CRS_UTM, "EPSG:4326", always_xy=True).transform(easting_m, northing_m)
    return longitude, latitude


def in_degrees(polygon: BaseGeometry) -> BaseGeometry:
    """UTM metres to degrees rounded to 1e-6; equal vertices stay equal, so shared borders stay shared."""
    return reshape(polygon, lambda xy: np.round(np.column_stack(to_degrees(xy[:, 0], xy[:, 1])), 6))
