"""Positions of the inventory: from what people write to latitude and longitude on WGS 84.

A plain number in the inventory's reference system is taken as it stands. All else has a finding: repaired
where one reading alone fits, by its own marks or because it alone lies inside the declared area; flagged where
several fit. Size alone converts nothing, and no row's position depends on another row.
"""

from __future__ import annotations

import math
from itertools import chain

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.errors import Fault, InventoryError
from planner.plan import LoadedPlan
from planner.tables.boundary import OUTSIDE_M, Boundary, read_boundary
from planner.tables.cells.read import SEVERITY, findings_for, show
from planner.tables.duplicates import id_keys
from planner.tables.positions import readings as read_as
from planner.tables.positions.cells import Column, coarse_findings, packed_findings, read_column, rounded
from planner.tables.positions.datum import System, system_of
from planner.tables.positions.degrees import METRES_A_DEGREE
from planner.tables.positions.readings import Decision, Reading, Written, decide
from planner.tables.positions.stand import Stand, explain, stand_of
from planner.tables.positions.utm import Zone, read_zone, zones_covering
from planner.tables.step import Action, Finding, Severity

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

TINY = 1e-3  # both coordinates nearer to 0 than this stand for none; our own rule
SHARED_BY = 5  # this many different sites at one coordinate: somebody entered the centre of an area; our own rule


def read_positions(
    plan: LoadedPlan,
    pair: tuple[str, str],
    raw: dict[str, pd.Series],
    cells: dict[str, pd.Series],
    site_id: pd.Series,
    crs: str,
    *,
    declared: bool,
) -> tuple[pd.Series, pd.Series, list[Finding]]:
    """Latitude and longitude (deg, WGS 84; both missing where either cannot be read), and findings.

    pair   names of the two columns, north first
    raw    text of the mapped columns; cells: the same without outer spaces, empty in rows that are no site
    crs    reference system of the columns; declared: by the plan or by the file, not assumed
    Raises InventoryError for a reference system without a known way to WGS 84, AreaError for the boundary.
    """
    system = system_of(crs)
    if not system.datum.is_wgs84 and not system.datum.ways:
        found = f"{system.crs.name!r}, which no known operation takes to WGS 84"
        expected = "a system whose datum is known, for example by its EPSG code; it is never taken for WGS 84"
        raise InventoryError([Fault(str(plan.path), "[inventory] crs", found, expected)])
    reading = _Positions(plan, pair, raw, cells, site_id, system, declared=declared)
    stand = reading.read()
    index = site_id.index
    return pd.Series(stand.latitude, index=index), pd.Series(stand.longitude, index=index), reading.findings


class _Positions:
    """One reading of the two position columns of an inventory."""

    def __init__(
        self,
        plan: LoadedPlan,
        pair: tuple[str, str],
        raw: dict[str, pd.Series],
        cells: dict[str, pd.Series],
        site_id: pd.Series,
        system: System,
        *,
        declared: bool,
    ) -> None:
        self.plan, self.pair, self.site_id, self.system = plan, pair, site_id, system
        self.declared = declared
        self.index = site_id.index
        self.cells = [cells[name] for name in pair]
        self.raw = [raw[name] for name in pair]
        self.both_raw = self.raw[0] + ", " + self.raw[1]
        self.degrees = pair[0] == "latitude"
        self.boundary: Boundary | None = read_boundary(plan)[0]
        self.zone_cells = cells.get("utm_zone", pd.Series("", index=self.index, dtype="str"))
        self.zone_raw = raw.get("utm_zone", self.zone_cells)
        self.findings: list[Finding] = []

    def read(self) -> Stand:
        units = self.plan.plan.inventory.units
        north, east = (
            read_column(name, cells, metres=not self.degrees, packed=units.get(name, "").replace("deg", ""))
            for name, cells in zip(self.pair, self.cells, strict=True)
        )
        self._note_cells(north, east)
        written = Written(
            north.number, east.number, (north.letter, east.letter), (north.whole, east.whole), self._zones()
        )
        both = np.isfinite(written.north) & np.isfinite(written.east) & ~north.nines & ~east.nines
        tiny = both & (np.abs(written.north) < TINY) & (np.abs(written.east) < TINY)
        if not self.degrees:
            self._note(tiny, "position_placeholder")
            both &= ~tiny
        stand = stand_of(written, (north, east), both, self.zone_cells, self.system, self.degrees)
        self._note(stand.zone_unread, "utm_zone_not_read", column="utm_zone", old=self.zone_raw)
        as_degrees = stand.as_degrees & ~tiny
        self._judge(written, stand, both, tiny)
        self.findings += coarse_findings(north, east, as_degrees, self.site_id, self.both_raw)
        if self.degrees and not set(self.pair) & set(units):
            self.findings += packed_findings(north, east, as_degrees, self.site_id, self.both_raw)
        self._note_datum(stand)
        return stand

    def _zones(self) -> list[tuple[Zone, ...]]:
        if not (self.zone_cells != "").any():
            return [()] * len(self.index)
        codes, distinct = pd.factorize(self.zone_cells)
        meant = [read_zone(text) for text in distinct]
        return [meant[code] for code in codes.tolist()]

    # --- findings ---

    def _note(
        self,
        where: Bools | Ints,
        rule: str,
        *,
        column: str = "",
        old: pd.Series | None = None,
        new: pd.Series | str = "",
        action: Action | None = None,
    ) -> None:
        """Findings of rows, given as a mask or as places; `old` is the text of both cells unless given."""
        severity, usual = SEVERITY[rule]
        rows = self.index[where]
        before = self.both_raw if old is None else old
        name = column or self.pair[0]
        self.findings += findings_for(
            rows, self.site_id, name, rule, severity, old=before, new=new, action=action or usual
        )

    def _note_cells(self, *columns: Column) -> None:
        for place, column in enumerate(columns):
            cells, other, raw = self.cells[place], self.cells[1 - place], self.raw[place]
            at = self.index[column.rewritten]
            new = pd.Series([show(one) for one in column.number[column.rewritten].tolist()], index=at, dtype="str")
            self._note(column.unread, "position_not_decimal", column=column.name, old=raw)
            self._note(column.nines, "position_placeholder", column=column.name, old=raw)
            self._note(column.rewritten, "position_rewritten", column=column.name, old=raw, new=new)
            half = ((cells == "") & (other != "")).to_numpy(dtype=bool)
            self._note(half, "half_position", column=column.name, old=raw)

    def _note_datum(self, stand: Stand) -> None:
        used, datum, north = np.isfinite(stand.latitude), self.system.datum, self.pair[0]
        if not self.declared and self.degrees and used.any():
            new = "WGS 84 is assumed; ±300 m if another datum was meant"
            self.findings.append(Finding(0, "", north, "datum_not_declared", "info", "", new))
        if not used.any() or (datum.is_wgs84 and self.degrees):
            return
        name = self.system.crs.name
        if datum.is_wgs84:
            self.findings.append(Finding(0, "", north, "reprojected", "info", name, "WGS 84, accuracy 0 m"))
        else:
            for way in datum.ways_used(stand.longitude, stand.latitude):
                severity: Severity = "info" if way.accuracy_m >= 0 else "warning"
                grids = "; a more accurate grid is not installed" if datum.grids_missing else ""
                self.findings.append(Finding(0, "", north, "reprojected", severity, name, way.words + grids))

    # --- the area judges ---

    def _judge(self, written: Written, stand: Stand, both: Bools, tiny: Bools) -> None:
        known = np.isfinite(stand.latitude)
        far = np.zeros(len(known), dtype=bool)
        if self.boundary is not None and known.any():
            points = self.boundary.points(stand.latitude[known], stand.longitude[known])
            far[known] = ~(self.boundary.nearest(points)[1] <= OUTSIDE_M)
        nought = (np.abs(written.north) < 1e-6) | (np.abs(written.east) < 1e-6)
        doubtful = np.flatnonzero(both & ~tiny & ~nought & (far | ~known))
        settled = np.zeros(len(known), dtype=bool)
        if len(doubtful) and self.boundary is not None:
            settled[self._decide(written.only(doubtful), stand, doubtful, self.boundary)] = True
        by_zone = known & stand.zoned & ~settled
        if self.system.crs.is_projected or self.degrees:
            rule = "utm_in_degrees" if self.degrees else "utm_zone_used"
            self._note(by_zone, rule, new=self._places(stand, np.flatnonzero(by_zone)))
        lost = both & ~np.isfinite(stand.latitude) & ~settled
        for rule, column, where, words in explain(written, lost, self.pair, self.system):
            old = None if column == "" else self.raw[self.pair.index(column)]
            new = pd.Series(words, index=self.index[where], dtype="str")
            self._note(where, rule, column=column, old=old, new=new, action="flagged")

    def _places(self, stand: Stand, rows: Ints) -> pd.Series:
        texts = [f"{stand.latitude[row]:.7f}, {stand.longitude[row]:.7f} ({stand.zone[row]})" for row in rows.tolist()]
        return pd.Series(texts, index=self.index[rows], dtype="str")

    def _readings(self, written: Written, boundary: Boundary) -> list[Reading]:
        place, datum = self.system.place, self.system.datum.crs
        parts = [
            read_as.as_degrees(written, place),
            read_as.as_zones(written, zones_covering(boundary), datum, place),
        ]
        if self.degrees:
            parts += [read_as.with_a_decimal_point(written, place), read_as.as_packed(written, place)]
        if self.system.crs.is_projected:
            parts.append(read_as.exchanged(written, self.system.grid))
        return list(chain.from_iterable(parts))

    def _decide(self, some: Written, stand: Stand, doubtful: Ints, boundary: Boundary) -> Ints:
        """Repair what one reading alone explains, drop what several do; returns the places of rows with a finding."""
        readings = self._readings(some, boundary)
        decision = decide(readings, boundary, len(doubtful))
        repaired = [
            self._take(reading, decision, some, stand, doubtful, decision.chosen == place)
            for place, reading in enumerate(readings)
            if (decision.chosen == place).any()
        ]
        several = doubtful[list(decision.candidates)]
        new = pd.Series(list(decision.candidates.values()), index=self.index[several], dtype="str")
        self._note(several, "position_ambiguous", new=new)
        stand.drop(several)
        return np.concatenate([several, *repaired]).astype(np.int64)

    def _take(
        self, reading: Reading, decision: Decision, some: Written, stand: Stand, doubtful: Ints, rows: Bools
    ) -> Ints:
        at, (y, x) = doubtful[rows], (decision.latitude[rows], decision.longitude[rows])
        texts = [f"{a:.7f}, {b:.7f} ({reading.words})" for a, b in zip(y.tolist(), x.tolist(), strict=True)]
        new = pd.Series(texts, index=self.index[at], dtype="str")
        if reading.rule == "packed_angle":
            away = np.hypot(stand.latitude[at] - y, stand.longitude[at] - x) * METRES_A_DEGREE
            far = [f", {rounded(one)} m away" if math.isfinite(one) else "" for one in away.tolist()]
            new += pd.Series(far, index=new.index, dtype="str")
            self._note(at, "packed_angle", new=new)
            return at
        stand.latitude[at], stand.longitude[at] = y, x
        open_side = np.isin(some.letters[1][rows], ("O",)) | np.isin(some.letters[0][rows], ("O",))
        if reading.rule == "utm":
            rules = np.full(len(at), "utm_in_degrees" if self.degrees else "utm_zone_found", dtype=object)
        elif not self.degrees and reading.words != "easting and northing exchanged":
            rules = np.full(len(at), "degrees_in_metres", dtype=object)
        else:
            usual = "sign_lost" if reading.rule == "as_written" else reading.rule
            rules = np.where(open_side & (reading.rule != "swapped_coordinates"), "hemisphere_ambiguous", usual)
        for rule in sorted(set(rules.tolist())):
            self._note(at[rules == rule], rule, new=new, action="repaired")
        return at


def shared_positions(sites: pd.DataFrame, known: pd.Series) -> pd.Series:
    """How many different sites stand at each row's coordinate; 0 where the position is not known.

    Repeat visits to one well are no placeholder, so sites are counted, not rows.
    """
    spots = pd.DataFrame({"y": sites["latitude"].round(7), "x": sites["longitude"].round(7)})[known]
    count = known.astype("int64")
    met = spots[spots.duplicated(keep=False)]
    if len(met):
        here = sites.loc[met.index]
        label = here["site_id"].mask(id_keys(here["site_id"]) == "", "name " + here["site_name"])
        row = pd.Series(here.index.astype("str"), index=here.index, dtype="str")
        met = met.assign(label=label.mask(label == "name ", "row " + row))
        count[met.index] = met.groupby(["y", "x"])["label"].transform("nunique").astype("int64")
    return count


def repeated_findings(sites: pd.DataFrame, is_site: pd.Series) -> list[Finding]:
    """A finding for each site whose coordinate is that of SHARED_BY sites or more."""
    shared = shared_positions(sites, is_site & sites["latitude"].notna() & sites["longitude"].notna())
    rows = sites.index[shared >= SHARED_BY]
    new = shared[rows].astype("str") + " sites at one position"
    severity, action = SEVERITY["repeated_position"]
    return findings_for(rows, sites["site_id"], "latitude", "repeated_position", severity, new=new, action=action)
