"""Location sketches as data: places are shares of the frame. One frame a site, and one of the whole area."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.outputs.shared import M_PER_DEGREE
from planner.texts import decimal_text, say

if TYPE_CHECKING:
    import geopandas
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
PLACES = 4
LENGTHS_KM = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
BAR_SHARE = 0.35  # of the frame that the scale bar takes at most

# A shape a group, told apart without colour. The first that holds is a site's.
SHAPES = {"funded": "disc", "reserve": "ring", "test_first": "triangle", "other": "cross"}


def group_of(decision: str, funding: str) -> str:
    """The group of a site on maps: funded, reserve, test_first or other."""
    if funding in ("funded", "reserve"):
        return funding
    return "test_first" if decision == "test_first" else "other"


@dataclass(frozen=True)
class Frame:
    """A map window: its middle and half of its width and height, in metres of a plane about the middle."""

    latitude: float
    longitude: float
    half_x_m: float
    half_y_m: float

    def xy_m(self, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Metres east and north of the middle. A plane: true enough for a sketch of a district."""
        east = (np.asarray(longitude) - self.longitude + 180.0) % 360.0 - 180.0
        return (
            east * math.cos(math.radians(self.latitude)) * M_PER_DEGREE,
            (np.asarray(latitude) - self.latitude) * M_PER_DEGREE,
        )

    def places(self, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Shares of the frame's width and height, from the lower left."""
        x, y = self.xy_m(latitude, longitude)
        return 0.5 + 0.5 * x / self.half_x_m, 0.5 + 0.5 * y / self.half_y_m

    def bar(self, language: str) -> dict[str, Any]:
        """The scale bar: a round length."""
        most = BAR_SHARE * 2 * self.half_x_m / 1000
        length = max([one for one in LENGTHS_KM if one <= most], default=LENGTHS_KM[0])
        words = decimal_text(length, language, 1 if length < 1 else 0) + "\u00a0km"
        return {"length": round(1000 * length / (2 * self.half_x_m), PLACES), "words": words}


@dataclass
class Sketch:
    """A sketch as the template takes it."""

    frame: Frame
    language: str
    lines: list[dict[str, Any]] = field(default_factory=list)
    marks: list[dict[str, Any]] = field(default_factory=list)
    names: list[dict[str, Any]] = field(default_factory=list)

    def outline(self, shapes: Sequence[BaseGeometry], style: str = "border", simplify_m: float = 0.0) -> None:
        """The borders of areas inside the frame."""
        import shapely

        f = self.frame
        high = f.half_y_m / M_PER_DEGREE
        wide = f.half_x_m / M_PER_DEGREE / math.cos(math.radians(f.latitude))
        box = (f.longitude - wide, f.latitude - high, f.longitude + wide, f.latitude + high)
        for shape in shapes:
            inside = shapely.clip_by_rect(shape, *box)
            if simplify_m:
                inside = shapely.simplify(inside, simplify_m / M_PER_DEGREE)
            for part in shapely.get_parts(inside):
                x, y = f.places(*shapely.get_coordinates(part).T[::-1])
                points = np.column_stack((x, y)).round(PLACES).tolist()
                if len(points) > 1:
                    self.lines.append({"points": points, "style": style})

    def mark(self, latitude: float, longitude: float, shape: str) -> tuple[float, float]:
        """A mark at a position; where it stands."""
        x, y = (float(one) for one in self.frame.places(np.array(latitude), np.array(longitude)))
        self.marks.append({"x": round(x, PLACES), "y": round(y, PLACES), "shape": shape})
        return x, y

    def name(self, x: float, y: float, words: str, strong: bool = False) -> None:
        """Words whose upper left corner stands at a place of the frame."""
        self.names.append({"x": round(x, PLACES), "y": round(y, PLACES), "words": words, "strong": strong})

    def data(self) -> dict[str, Any]:
        """All of it for JSON."""
        return {
            "lines": self.lines,
            "marks": self.marks,
            "names": self.names,
            "bar": self.frame.bar(self.language),
            "north": say("sheets_north", self.language),
        }


def borders(polygons: geopandas.GeoDataFrame | None) -> list[BaseGeometry]:
    """The borders of all areas, as lines; common borders of neighbours once."""
    import shapely

    if polygons is None:
        return []
    shapes = polygons.geometry[polygons.geometry.notna() & ~polygons.geometry.is_empty].to_numpy()
    lines = shapely.boundary(shapes)
    lines = lines[~shapely.is_missing(lines) & ~shapely.is_empty(lines)]
    if not len(lines):
        return []
    light = shapely.simplify(lines, 30.0 / M_PER_DEGREE)  # 30 m: less than a tenth of a millimetre on a sheet
    whole = shapely.union_all(light)
    return [shapely.line_merge(whole)]


def frame_of(polygons: geopandas.GeoDataFrame | None, sites: pd.DataFrame, shape: float) -> Frame | None:
    """The frame of the whole area, or of all sites without one; shape: height over width. None without a position."""
    if polygons is not None and len(polygons):
        west, south, east, north = (float(one) for one in polygons.total_bounds)
    else:
        placed = sites[sites["latitude"].notna() & sites["longitude"].notna()]
        if placed.empty:
            return None
        west, east = float(placed["longitude"].min()), float(placed["longitude"].max())
        south, north = float(placed["latitude"].min()), float(placed["latitude"].max())
    if not all(map(math.isfinite, (west, south, east, north))):
        return None
    latitude = 0.5 * (south + north)
    half_y = max(0.53 * (north - south) * M_PER_DEGREE, 500.0)
    half_x = max(0.53 * (east - west) * M_PER_DEGREE * math.cos(math.radians(latitude)), 500.0)
    half_x = max(half_x, half_y / shape)
    return Frame(latitude, 0.5 * (west + east), half_x, half_x * shape)
