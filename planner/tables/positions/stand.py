"""Where rows lie as they stand, by what is declared for them, and why the others lie nowhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.tables.positions.cells import Column
from planner.tables.positions.datum import System
from planner.tables.positions.readings import Written, zone_to_wgs84
from planner.tables.positions.utm import in_utm_range

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass
class Stand:
    """Rows on WGS 84.

    longitude, latitude  deg, missing where nothing that is declared places the row
    zone                 the zone that placed the row, else None
    as_degrees           the row is read as degrees
    zone_unread          a zone is stated that is none, and would have been needed
    """

    longitude: Floats
    latitude: Floats
    zone: npt.NDArray[np.object_]
    as_degrees: Bools
    zone_unread: Bools

    @property
    def zoned(self) -> Bools:
        """Rows that a zone of their own placed."""
        return np.array([zone is not None for zone in self.zone.tolist()], dtype=bool)

    def drop(self, rows: npt.NDArray[np.int64]) -> None:
        """Take the places of rows away."""
        self.longitude[rows], self.latitude[rows] = np.nan, np.nan


def stand_of(
    written: Written, columns: tuple[Column, Column], both: Bools, zone_cells: pd.Series, system: System, degrees: bool
) -> Stand:
    """Place rows by their marks, their zone, or the inventory's reference system, in this order.

    both     rows with two numbers that are no placeholder
    degrees  the position columns are latitude and longitude
    """
    north, east = columns
    proper = np.isin(north.letter, ("", "N", "S")) & np.isin(east.letter, ("", "E", "W"))
    proper &= (np.abs(written.north) <= 90) & (np.abs(written.east) <= 180)
    as_degrees = both & proper & (degrees | (north.marked & east.marked))
    metres = both & ~as_degrees & ~north.marked & ~east.marked
    stated = (zone_cells != "").to_numpy(dtype=bool)
    gridded = metres & in_utm_range(written.north, written.east)
    unread = stated & (gridded if degrees else metres)
    unread &= np.array([not zones for zones in written.zones], dtype=bool)
    missing = np.full(len(both), np.nan)
    stand = Stand(missing.copy(), missing.copy(), np.full(len(both), None, dtype=object), as_degrees, unread)
    stand.longitude[as_degrees], stand.latitude[as_degrees] = system.place(
        written.east[as_degrees], written.north[as_degrees]
    )
    another = _by_zone(written, stand, gridded & stated, system)
    if system.crs.is_projected:
        here = metres & ~another
        stand.longitude[here], stand.latitude[here] = system.grid(written.east[here], written.north[here])
        # Numbers that could be degrees are a grid's only where the system has such places.
        small = here & (np.abs(written.north) <= 180) & (np.abs(written.east) <= 180)
        stand.drop(np.flatnonzero(small & ~system.has(stand.longitude, stand.latitude)))
    return stand


def _by_zone(written: Written, stand: Stand, rows: Bools, system: System) -> Bools:
    """Place rows of a zone that is not the inventory's own; True for all that are not in the inventory's own."""
    another = np.zeros(len(rows), dtype=bool)
    for row in np.flatnonzero(rows).tolist():
        zones = written.zones[row]
        another[row] = bool(zones) and system.own_zone not in {(zone.number, zone.south) for zone in zones}
        if another[row] and len(zones) == 1:
            stand.zone[row] = zones[0]
    for zone in dict.fromkeys(zone for zone in stand.zone.tolist() if zone is not None):
        here = np.array([one == zone for one in stand.zone.tolist()], dtype=bool)
        stand.longitude[here], stand.latitude[here] = zone_to_wgs84(
            zone, system.datum.crs, system.place, written.east[here], written.north[here]
        )
    return another


def explain(
    written: Written, lost: Bools, pair: tuple[str, str], system: System
) -> Iterator[tuple[str, str, Bools, list[str]]]:
    """Why rows lie nowhere: rule, column ("" for both), rows, and the candidates of each in words."""
    left, degrees = lost.copy(), pair[0] == "latitude"
    north, east = written.letters
    gridded = in_utm_range(written.north, written.east) | in_utm_range(written.east, written.north)
    small = (np.abs(written.north) <= 180) & (np.abs(written.east) <= 180)
    marked = (north != "") | (east != "")
    for rule, where in (
        ("swapped_coordinates", np.isin(north, ("E", "W", "O")) | np.isin(east, ("N", "S"))),
        ("hemisphere_ambiguous", east == "O"),
        ("utm_zone_unknown", gridded & ~marked & (degrees | ~_in_own_zone(written, system))),
        ("degrees_in_metres", small & (not degrees)),
    ):
        rows = left & where
        if rows.any():
            yield rule, "", rows, [_words(rule, written, row) for row in np.flatnonzero(rows).tolist()]
        left &= ~where
    unfit = np.zeros(len(lost), dtype=bool)
    for name, number, whole, limit in zip(
        pair, (written.north, written.east), written.whole, (90.0, 180.0), strict=True
    ):
        beyond = left & (np.abs(number) > (limit if degrees else np.inf))
        unfit |= beyond
        for rule, rows in (("decimal_point_lost", beyond & whole), ("out_of_range", beyond & ~whole)):
            if rows.any():
                told = number[rows].tolist()
                yield rule, name, rows, [_points(one, limit) if rule != "out_of_range" else "" for one in told]
    rest = left & ~unfit
    if rest.any():
        yield "position_not_converted", "", rest, [""] * int(rest.sum())


def _in_own_zone(written: Written, system: System) -> Bools:
    """Rows that state no zone, or the inventory's own: it is not the zone that is unknown."""
    own = system.own_zone
    return np.array(
        [not zones or own in {(zone.number, zone.south) for zone in zones} for zones in written.zones], dtype=bool
    ) & bool(system.crs.is_projected)


def _words(rule: str, written: Written, row: int) -> str:
    north, east = written.north[row], written.east[row]
    if rule == "hemisphere_ambiguous":
        return f"west: {north:.6f}, {-abs(east):.6f}; east: {north:.6f}, {abs(east):.6f}"
    if rule == "swapped_coordinates":
        return f"exchanged: {east:.6f}, {north:.6f}"
    return "; ".join(str(zone) for zone in written.zones[row])


def _points(number: float, limit: float) -> str:
    """Every place of a decimal point that gives degrees of two figures or three, or one."""
    told = [number / 10**place for place in range(1, 12)]
    return " or ".join(f"{one:.10g}" for one in told if 1 <= abs(one) <= limit)
