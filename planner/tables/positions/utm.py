"""Zones of the universal transverse Mercator grid: as people write them, which cover an area, and to degrees.

Zones are 6° wide from 180° W (Snyder 1987, USGS Professional Paper 1395, chapter 8). The wider zones about
Norway and Svalbard are not known here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from planner.tables.cells.read import fold

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

    from planner.tables.boundary import Boundary

Floats = npt.NDArray[np.float64]

EASTINGS_M = (100_000.0, 900_000.0)  # a zone is 668 km wide at the equator; beyond these it is another zone's
NORTHINGS_M = (1_000.0, 10_000_000.0)  # no degree is that large

_NORTH = {"north", "nord", "norte", "kaskazini", "northern", "hemisphere north", "northern hemisphere"}
_SOUTH = {"south", "sud", "sul", "sur", "kusini", "southern", "hemisphere south", "southern hemisphere"}
_ZONE = re.compile(r"(?:utm )?(?:zone |fuseau |fuso |huso |kanda )?([0-9]{1,2}) ?([a-z ]*)")


@dataclass(frozen=True)
class Zone:
    """One zone and hemisphere; on_wgs84: the datum is stated beside it, else it is the inventory's."""

    number: int
    south: bool
    on_wgs84: bool = False

    def __str__(self) -> str:
        return f"UTM zone {self.number} {'south' if self.south else 'north'}"


def read_zone(text: str) -> tuple[Zone, ...]:
    """What a text can mean: no, one or two zones. "36S" is two: the southern half, or latitude band S in the north.

    >>> [str(zone) for zone in read_zone("36S")]
    ['UTM zone 36 south', 'UTM zone 36 north']
    >>> [str(zone) for zone in read_zone("UTM 36M WGS84")], read_zone("36I")
    (['UTM zone 36 south'], ())
    """
    words = fold(text[:60]) if len(text) <= 60 else ""
    epsg = re.fullmatch(r"(?:epsg )?32([67])([0-9]{2})", words)
    if epsg and 1 <= int(epsg[2]) <= 60:
        return (Zone(int(epsg[2]), epsg[1] == "7", True),)
    bare = re.sub(r"\bwgs ?(?:19)?84\b", " ", words)
    found = _ZONE.fullmatch(" ".join(bare.split()))
    if found is None or not 1 <= int(found[1]) <= 60:
        return ()
    return tuple(Zone(int(found[1]), south, bare != words) for south in _hemispheres(found[2].strip()))


def _hemispheres(word: str) -> tuple[bool, ...]:
    """Whether south, for each meaning of what stands behind a zone's number."""
    if word in _SOUTH:
        return (True,)
    if word in _NORTH:
        return (False,)
    if word in ("", "s"):
        return (True, False)
    if len(word) == 1 and word in "cdefghjklmnpqrtuvwx":  # latitude bands, C in the south to X in the north
        return (word < "n",)
    return ()


def zones_covering(boundary: Boundary) -> list[Zone]:
    """Every zone that a part of the area lies in, both hemispheres."""
    import shapely

    corners = shapely.get_coordinates(boundary.polygons)
    longitude, _ = boundary.to_metres.transform(corners[:, 0], corners[:, 1], direction="INVERSE")
    numbers = np.unique(np.floor((longitude[np.isfinite(longitude)] + 180) / 6).astype(int) % 60 + 1)
    return [Zone(int(number), south) for number in numbers for south in (True, False)]


def in_utm_range(northing_m: Floats, easting_m: Floats) -> npt.NDArray[np.bool_]:
    """Whether numbers can be a northing and an easting of any zone."""
    return (
        (easting_m >= EASTINGS_M[0])
        & (easting_m <= EASTINGS_M[1])
        & (northing_m >= NORTHINGS_M[0])
        & (northing_m <= NORTHINGS_M[1])
    )


def to_degrees(zone: Zone, datum: CRS, northing_m: Floats, easting_m: Floats) -> tuple[Floats, Floats]:
    """Longitude and latitude (deg) on the zone's datum, else on the given one; missing where there is none."""
    from pyproj import CRS

    base = CRS.from_epsg(4326) if zone.on_wgs84 else datum
    transformer = _transformer(zone.number, zone.south, base.to_wkt())
    longitude, latitude = transformer.transform(easting_m, northing_m)
    good = np.isfinite(longitude) & np.isfinite(latitude)
    return np.where(good, longitude, np.nan), np.where(good, latitude, np.nan)


@cache
def _transformer(number: int, south: bool, datum: str) -> Transformer:
    from pyproj import CRS, Transformer
    from pyproj.crs import ProjectedCRS
    from pyproj.crs.coordinate_operation import UTMConversion

    base = CRS.from_wkt(datum)
    grid = ProjectedCRS(UTMConversion(str(number), "S" if south else "N"), geodetic_crs=base)
    return Transformer.from_crs(grid, base, always_xy=True)
