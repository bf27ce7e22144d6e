"""What a position that cannot stand as it is written could mean, and the area as the judge.

Every reading is tried on all doubtful rows at once. A row is repaired where exactly one reading lies inside
the area; where several do, none is taken. Readings that agree on the place are one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from planner.tables.boundary import Boundary
from planner.tables.positions.degrees import unpack
from planner.tables.positions.utm import Zone, in_utm_range, to_degrees

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Place = Callable[[Floats, Floats], tuple[Floats, Floats]]  # x, y of a reference system → longitude, latitude, WGS 84

_FIGURES = 10  # places of a lost decimal point that are tried


@dataclass(frozen=True)
class Written:
    """Positions as numbers, one a row.

    north, east  as written, in whatever they are
    letters      hemisphere letter of each: N, S, E, W, O (west or east) or ""
    whole        written without a decimal point
    zones        what each row's zone can be; empty where none is stated
    """

    north: Floats
    east: Floats
    letters: tuple[npt.NDArray[np.str_], npt.NDArray[np.str_]]
    whole: tuple[Bools, Bools]
    zones: Sequence[tuple[Zone, ...]]

    def only(self, rows: npt.NDArray[np.int64]) -> Written:
        """The same of some rows."""
        return Written(
            self.north[rows],
            self.east[rows],
            (self.letters[0][rows], self.letters[1][rows]),
            (self.whole[0][rows], self.whole[1][rows]),
            [self.zones[row] for row in rows.tolist()],
        )


@dataclass(frozen=True)
class Reading:
    """One reading of all rows: WGS 84 (deg), missing where a row cannot be read so."""

    rule: str
    words: str
    longitude: Floats
    latitude: Floats


@dataclass(frozen=True)
class Decision:
    """Per row: the one reading inside the area (-1: none or several), and all that lie inside, in words."""

    chosen: npt.NDArray[np.int64]
    longitude: Floats
    latitude: Floats
    candidates: dict[int, str]


def as_degrees(written: Written, place: Place) -> Iterator[Reading]:
    """As degrees: as they stand, with other signs where no letter states them, exchanged, and both."""
    for swap, south, west in product((False, True), (False, True), (False, True)):
        y, x = (written.east, written.north) if swap else (written.north, written.east)
        of_y, of_x = reversed(written.letters) if swap else written.letters
        fits = np.isin(of_y, ("", "N", "S")) & np.isin(of_x, ("", "E", "W", "O"))
        fits &= (np.abs(y) <= 90) & (np.abs(x) <= 180)
        if south:
            fits &= of_y == ""
        if west:
            fits &= np.isin(of_x, ("", "O"))
        rule = "swapped_coordinates" if swap else "sign_lost" if south or west else "as_written"
        changes = [word for word, on in (("exchanged", swap), ("latitude", south), ("longitude", west)) if on]
        words = " ".join(f"{word} with the other sign" if word != "exchanged" else word for word in changes)
        yield _reading(rule, words or "as degrees", fits, place, -x if west else x, -y if south else y)


def with_a_decimal_point(written: Written, place: Place) -> Iterator[Reading]:
    """As degrees that lost their decimal point, in one coordinate or both, in every place it could have had."""
    lost = [
        whole & (np.abs(number) > limit) & (letter != "O")
        for number, limit, whole, letter in zip(
            (written.north, written.east), (90, 180), written.whole, written.letters, strict=True
        )
    ]
    some = lost[0] | lost[1]
    roles = np.isin(written.letters[0], ("", "N", "S")) & np.isin(written.letters[1], ("", "E", "W"))
    for north, east in product(range(_FIGURES), range(_FIGURES)):
        fits = some & roles & (lost[0] == (north > 0)) & (lost[1] == (east > 0))
        if fits.any():
            y, x = written.north / 10**north, written.east / 10**east
            fits &= (np.abs(y) <= 90) & (np.abs(x) <= 180) & (np.floor(np.abs(written.north)) >= 10 ** (north - 1))
            fits &= np.floor(np.abs(written.east)) >= 10 ** (east - 1) if east else True
            yield _reading("decimal_point_lost", "decimal point", fits, place, x, y)


def as_packed(written: Written, place: Place) -> Iterator[Reading]:
    """As degrees, minutes and seconds in one figure (15.4118 for 15° 41′ 18″)."""
    y, x = (np.array([unpack(one, "dd.mmss") for one in number.tolist()]) for number in (written.north, written.east))
    plain = (written.letters[0] == "") & (written.letters[1] == "") & ~(written.whole[0] | written.whole[1])
    fits = plain & (np.abs(y) <= 90) & (np.abs(x) <= 180)
    yield _reading("packed_angle", "as degrees, minutes and seconds", fits, place, x, y)


def as_zones(written: Written, zones: Sequence[Zone], datum: object, place: Place) -> Iterator[Reading]:
    """As northing and easting, or exchanged, of each zone, and of the zones that the rows themselves state."""
    stated = {zone for own in written.zones for zone in own}
    every = list(dict.fromkeys([*zones, *sorted(stated, key=lambda zone: (zone.number, zone.south, zone.on_wgs84))]))
    for zone, swap in product(every, (False, True)):
        y, x = (written.east, written.north) if swap else (written.north, written.east)
        fits = in_utm_range(y, x)
        if zone not in zones:
            fits &= np.array([zone in own for own in written.zones], dtype=bool)
        if fits.any():
            longitude, latitude = zone_to_wgs84(
                zone, datum, place, np.where(fits, x, np.nan), np.where(fits, y, np.nan)
            )
            yield Reading("utm", str(zone) + (", exchanged" if swap else ""), longitude, latitude)


def zone_to_wgs84(zone: Zone, datum: object, place: Place, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Longitude and latitude on WGS 84 of eastings and northings of a zone."""
    longitude, latitude = to_degrees(zone, datum, y, x)  # type: ignore[arg-type]
    return (longitude, latitude) if zone.on_wgs84 else place(longitude, latitude)


def exchanged(written: Written, place: Place) -> Iterator[Reading]:
    """In the inventory's own projected system, easting and northing exchanged."""
    fits = (written.letters[0] == "") & (written.letters[1] == "")
    yield _reading("swapped_coordinates", "easting and northing exchanged", fits, place, written.north, written.east)


def _reading(rule: str, words: str, fits: Bools, place: Place, x: Floats, y: Floats) -> Reading:
    longitude, latitude = np.full(len(x), np.nan), np.full(len(x), np.nan)
    if fits.any():
        longitude[fits], latitude[fits] = place(x[fits], y[fits])
    return Reading(rule, words, longitude, latitude)


def decide(readings: Sequence[Reading], boundary: Boundary | None, count: int) -> Decision:
    """What the area says of `count` rows; without an area nothing is chosen."""
    chosen = np.full(count, -1, dtype=np.int64)
    x, y = np.full(count, np.nan), np.full(count, np.nan)
    candidates: dict[int, str] = {}
    if boundary is None or not readings:
        return Decision(chosen, x, y, candidates)
    box = box_of(boundary)
    inside = np.array([_inside(boundary, box, one) for one in readings])
    first = inside.argmax(axis=0)
    alone = inside.sum(axis=0) == 1
    chosen[alone] = first[alone]
    for row in np.flatnonzero(inside.sum(axis=0) > 1).tolist():
        spots: dict[tuple[float, float], int] = {}
        for at in np.flatnonzero(inside[:, row]).tolist():
            spot = (round(float(readings[at].latitude[row]), 6), round(float(readings[at].longitude[row]), 6))
            spots.setdefault(spot, at)
        if len(spots) == 1:
            chosen[row] = next(iter(spots.values()))
        else:
            candidates[row] = "; ".join(f"{readings[at].words}: {a:.6f}, {b:.6f}" for (a, b), at in spots.items())
    for row in np.flatnonzero(chosen >= 0).tolist():
        x[row], y[row] = readings[chosen[row]].longitude[row], readings[chosen[row]].latitude[row]
    return Decision(chosen, x, y, candidates)


def _inside(boundary: Boundary, box: tuple[float, float, float, float], reading: Reading) -> Bools:
    """Whether each place of a reading lies in or on the area; missing ones do not."""
    longitude, latitude = reading.longitude, reading.latitude
    inside = np.zeros(len(longitude), dtype=bool)
    west, south, east, north = box
    near = (latitude >= south) & (latitude <= north) & (longitude >= west) & (longitude <= east)
    if near.any():
        inside[near] = boundary.containing(boundary.points(latitude[near], longitude[near])) >= 0
    return inside


def box_of(boundary: Boundary) -> tuple[float, float, float, float]:
    """West, south, east and north of the area in degrees, a little wide; all longitudes where it crosses 180°."""
    import shapely

    corners = shapely.get_coordinates(boundary.polygons)
    x, y = boundary.to_metres.transform(corners[:, 0], corners[:, 1], direction="INVERSE")
    if x.max() - x.min() > 180 or np.abs(y).max() > 89:
        return -180.0, -90.0, 180.0, 90.0
    return float(x.min()) - 0.1, float(y.min()) - 0.1, float(x.max()) + 0.1, float(y.max()) + 0.1
