"""From the inventory's reference system to WGS 84, by known operations only.

A reference system whose datum leads nowhere is refused: its coordinates are never taken for WGS 84 as they
stand. Operations and their accuracies are those of the EPSG data set, which pyproj holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

Floats = npt.NDArray[np.float64]

MARGIN_DEG = 1.0  # how far beyond the box of an operation it is still taken where there is none other; our own rule


@dataclass(frozen=True)
class Way:
    """One operation to WGS 84: its name, its accuracy in m (negative: not known) and the degrees it is made for."""

    name: str
    accuracy_m: float
    west: float
    south: float
    east: float
    north: float
    transformer: Transformer

    @property
    def words(self) -> str:
        """Its accuracy and its name, for a finding."""
        accuracy = f"accuracy {self.accuracy_m:.10g} m" if self.accuracy_m >= 0 else "accuracy unknown"
        return f"WGS 84, {accuracy}, by {self.name}"

    def holds(self, longitude: Floats, latitude: Floats, margin: float) -> npt.NDArray[np.bool_]:
        """Whether points (deg) lie where the operation is made for, or up to `margin` degrees beyond."""
        west = self.west - margin
        width = (self.east - self.west) % 360 + 2 * margin if self.east - self.west < 360 else 360.0
        along = (longitude - west) % 360 <= width
        return along & (latitude >= self.south - margin) & (latitude <= self.north + margin)


@dataclass(frozen=True)
class Datum:
    """A geographic reference system and its ways to WGS 84, the most accurate first; none needed: `is_wgs84`."""

    crs: CRS
    is_wgs84: bool
    ways: tuple[Way, ...]
    grids_missing: bool

    def shift(self, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
        """Longitude and latitude (deg) on WGS 84 and the place of the way taken; missing where no way is made for.

        A point's way depends on the point alone.
        """
        if self.is_wgs84:
            return longitude, latitude, np.zeros(len(longitude), dtype=np.int64)
        x, y = np.full(len(longitude), np.nan), np.full(len(longitude), np.nan)
        taken = np.full(len(longitude), -1, dtype=np.int64)
        for margin, (place, way) in product((0.0, MARGIN_DEG), enumerate(self.ways)):
            here = (taken < 0) & way.holds(longitude, latitude, margin)
            if here.any():
                moved = way.transformer.transform(longitude[here], latitude[here])
                good = np.isfinite(moved[0]) & np.isfinite(moved[1])
                at = np.flatnonzero(here)[good]
                x[at], y[at], taken[at] = moved[0][good], moved[1][good], place
        return x, y, taken

    def ways_used(self, longitude: Floats, latitude: Floats) -> list[Way]:
        """The ways that points (deg, missing ones left out) take; their datum does not matter for that."""
        known = np.isfinite(longitude)
        _, _, taken = self.shift(longitude[known], latitude[known])
        return [way for place, way in enumerate(self.ways) if (taken == place).any()]


@cache
def datum_of(crs: str) -> Datum:
    """The datum of a reference system that is geographic or projected; no ways where none is known."""
    import warnings

    from pyproj import CRS
    from pyproj.crs import BoundCRS
    from pyproj.transformer import TransformerGroup

    system = CRS.from_user_input(crs)
    source = system.source_crs if system.is_bound and system.source_crs is not None else system
    geographic = source.geodetic_crs or source
    geographic = geographic.to_2d()
    if geographic.equals("EPSG:4326", ignore_axis_order=True) and not system.is_bound:
        return Datum(geographic, True, (), False)
    start = geographic
    if system.is_bound:  # its shift is part of what the user wrote
        start = BoundCRS(geographic, system.target_crs, system.coordinate_operation)
    with warnings.catch_warnings(action="ignore"):  # that a better grid is missing is told by grids_missing
        group = TransformerGroup(start, "EPSG:4326", always_xy=True, allow_ballpark=False)
    ways = [_way(transformer, geographic) for transformer in group.transformers]
    ways.sort(key=lambda way: (way.accuracy_m < 0, way.accuracy_m))
    return Datum(geographic, False, tuple(ways), bool(group.unavailable_operations))


def _way(transformer: Transformer, geographic: CRS) -> Way:
    name = (
        str(transformer.description).replace(" + axis order change (2D)", "").replace("axis order change (2D) + ", "")
    )
    area = transformer.area_of_use
    meridian = geographic.prime_meridian
    plain = geographic.axis_info[0].unit_name == "degree" and meridian is not None and meridian.longitude == 0
    west, south, east, north = area.bounds if area is not None and plain else (-400.0, -400.0, 400.0, 400.0)
    return Way(name, float(transformer.accuracy), west, south, east, north, transformer)


@dataclass(frozen=True)
class System:
    """The inventory's reference system, with its ways to WGS 84."""

    crs: CRS
    datum: Datum

    @property
    def own_zone(self) -> tuple[int, bool] | None:
        """Number and whether south, if the system is a zone of the UTM grid."""
        code = self.crs.utm_zone
        return (int(code[:-1]), code[-1] == "S") if code else None

    def place(self, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
        """Degrees on the system's datum to longitude and latitude on WGS 84."""
        x, y, _ = self.datum.shift(longitude, latitude)
        return x, y

    def grid(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Easting and northing of a projected system to longitude and latitude on WGS 84; missing beyond its reach."""
        return self.place(*self.unproject(easting, northing))

    def unproject(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Easting and northing of a projected system to degrees on its own datum."""
        from pyproj import Transformer

        source = self.crs.source_crs if self.crs.is_bound and self.crs.source_crs is not None else self.crs
        transformer = Transformer.from_crs(source.to_2d(), self.datum.crs, always_xy=True)
        x, y = transformer.transform(easting, northing)
        good = np.isfinite(x) & np.isfinite(y)
        return np.where(good, x, np.nan), np.where(good, y, np.nan)

    def has(self, longitude: Floats, latitude: Floats) -> npt.NDArray[np.bool_]:
        """Whether places (deg) lie in the box that the system is made for; everywhere if it has none."""
        area = self.crs.area_of_use
        if area is None:
            return np.isfinite(longitude)
        width = (area.east - area.west) % 360 or 360.0
        return ((longitude - area.west) % 360 <= width) & (latitude >= area.south) & (latitude <= area.north)


def system_of(crs: str) -> System:
    """The reference system of a name that pyproj knows."""
    from pyproj import CRS

    return System(CRS.from_user_input(crs), datum_of(crs))
