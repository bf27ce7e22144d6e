"""Faults of the kinds that inventories have, planted into the demo's rows on purpose and listed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from geology import ALLUVIUM, Land, to_degrees
from numpy.random import Generator
from office import HEADERS, Record
from shapely import Point

LIST_HEADERS = ("inventory_row", "well_no", "column", "fault", "written", "true_value")


@dataclass
class Planted:
    """One planted fault: where, what kind, what the file says and what the office meant."""

    record: Record
    column: str
    fault: str
    true_value: str


class Planter:
    """Draws rows that carry no fault yet, writes the fault, and keeps the list."""

    def __init__(self, rng: Generator, records: list[Record]) -> None:
        self.rng = rng
        self.records = records
        self.list: list[Planted] = []
        self._touched: set[int] = set()

    def pick(self, fits: Callable[[Record], bool] = lambda record: True) -> Record:
        free = [r for r in self.records if id(r) not in self._touched and r.text["equipped"] != "solar" and fits(r)]
        record = free[int(self.rng.integers(len(free)))]
        self._touched.add(id(record))
        return record

    def plant(self, record: Record, column: str, value: str, fault: str) -> None:
        self.list.append(Planted(record, column, fault, record.text[column]))
        record.text[column] = value

    def note(self, record: Record, column: str, fault: str, true_value: str = "") -> None:
        """List a row that is a fault, or looks like one, as a whole."""
        self._touched.add(id(record))
        self.list.append(Planted(record, column, fault, true_value))

    def numbered(self) -> list[tuple[str, ...]]:
        """The list by row of the file, 1 = first data row."""
        row = {id(record): number for number, record in enumerate(self.records, start=1)}
        lines = [
            (
                row[id(p.record)],
                p.record.text["well_no"],
                p.column,
                p.fault,
                p.record.text.get(p.column, ""),
                p.true_value,
            )
            for p in self.list
        ]
        return [tuple(str(cell) for cell in line) for line in sorted(lines)]


def plant_all(rng: Generator, land: Land, records: list[Record], spare_names: list[str]) -> Planter:
    planter = Planter(rng, records)
    _repeats_and_neighbours(planter, spare_names)
    _positions(planter, land)
    _levels(planter)
    _zeros_and_text(planter)
    _identity(planter)
    _other_rows(planter)
    return planter


def _known(*columns: str) -> Callable[[Record], bool]:
    return lambda record: all(record.text[column] for column in columns)


def _number(record: Record, column: str) -> float:
    return float(record.text[column] or "nan")


def _repeats_and_neighbours(planter: Planter, spare_names: list[str]) -> None:
    """Two repeat visits, one under a new number, and two true neighbours that only look like repeats."""
    last = max(int(record.text["well_no"]) for record in planter.records)
    for k in range(2):
        first = planter.pick(_known("swl_mbgl", "yield_l_s", "ward"))
        again = _copy(first, 6.0 + 7.0 * k)
        again.text |= {
            "swl_mbgl": f"{_number(first, 'swl_mbgl') + 0.6:.1f}",
            "pwl_mbgl": "",
            "test_date": "2025-10",
        }
        again.text |= {"test_type": "", "test_h": "", "remarks": "visited again"}
        if k:
            again.text["well_no"] = f"{last + 9:05d}"
        planter.records.append(again)
        planter.note(again, "village", "repeat visit: same name, within 20 m" + (", new number" if k else ""))
    for k in range(2):
        first = planter.pick(_known("swl_mbgl", "yield_l_s", "ward", "people"))
        twin = _copy(first, 25.0)
        twin.text |= {
            "well_no": f"{last + 20 + k:05d}",
            "village": spare_names[k],
            "people": "310",
            "tlu": "",
        }
        twin.text["swl_mbgl"] = f"{_number(first, 'swl_mbgl') + 0.3:.1f}"
        if twin.text["pwl_mbgl"]:
            twin.text["pwl_mbgl"] = f"{_number(first, 'pwl_mbgl') + 0.4:.1f}"
        planter.records.insert(planter.records.index(first) + 1, twin)
        planter.note(twin, "village", "no fault: a second well 25 m from its neighbour")


def _copy(record: Record, metres_east: float) -> Record:
    assert record.well is not None
    well = replace(record.well, easting_m=record.well.easting_m + metres_east)
    longitude, latitude = to_degrees(np.array(well.easting_m), np.array(well.northing_m))
    return Record(well, record.text | {"lat": f"{latitude:.5f}", "lon": f"{longitude:.5f}"})


def _positions(planter: Planter, land: Land) -> None:
    def both(record: Record, latitude: str, longitude: str, fault: str) -> None:
        planter.plant(record, "lat", latitude, fault)
        planter.plant(record, "lon", longitude, fault)

    for latitude, longitude in (("0", "0"), ("0.0", "0.0"), ("-2e-08", "0")):
        both(planter.pick(), latitude, longitude, "zero coordinates")
    for _ in range(4):
        both(planter.pick(), "", "", "coordinates missing")
    for _ in range(2):
        record = planter.pick()
        both(record, record.text["lon"], record.text["lat"], "latitude and longitude swapped")
    record = planter.pick()
    both(record, record.text["lat"].replace(".", ","), record.text["lon"].replace(".", ","), "decimal comma")
    record = planter.pick()
    assert record.well is not None
    easting, northing = f"{record.well.easting_m:.0f}", f"{record.well.northing_m:.0f}"
    both(record, northing, easting, "UTM metres (zone 31 south) among degrees")
    record = planter.pick()
    longitude, latitude = _outside(land, record, 5000.0)
    both(record, latitude, longitude, "5 km outside the district")


def _outside(land: Land, record: Record, distance_m: float) -> tuple[str, str]:
    """The point on the ray from the district's middle through the well that lies so far outside, as text."""
    assert record.well is not None
    middle = np.array(land.outline.centroid.coords[0])
    ray = np.array([record.well.easting_m, record.well.northing_m]) - middle
    ray /= np.hypot(*ray)
    reach = next(r for r in range(0, 120_000, 20) if Point(middle + r * ray).distance(land.outline) >= distance_m)
    longitude, latitude = to_degrees(*(np.array(c) for c in middle + reach * ray))
    return f"{longitude:.5f}", f"{latitude:.5f}"


def _levels(planter: Planter) -> None:
    levels = _known("swl_mbgl", "depth_m")
    for _ in range(2):
        record = planter.pick(lambda r: levels(r) and _number(r, "swl_mbgl") * 10 > _number(r, "depth_m") + 5)
        slipped = f"{_number(record, 'swl_mbgl') * 10:.0f}"
        planter.plant(record, "swl_mbgl", slipped, "rest level below the bottom: decimal point lost")
    for _ in range(3):
        record = planter.pick(lambda r: levels(r) and bool(r.text["pwl_mbgl"]))
        rest, pumping = record.text["swl_mbgl"], record.text["pwl_mbgl"]
        planter.plant(record, "swl_mbgl", pumping, "pumping level above rest level: cells exchanged")
        planter.plant(record, "pwl_mbgl", rest, "pumping level above rest level: cells exchanged")
    record = planter.pick(lambda r: levels(r) and r.well is not None and r.well.unit == ALLUVIUM)
    planter.plant(record, "swl_mbgl", "-1.2", "negative level, no word of artesian flow")


def _zeros_and_text(planter: Planter) -> None:
    for column in ("depth_m", "people"):
        for _ in range(4):
            planter.plant(planter.pick(_known(column, "swl_mbgl")), column, "0", "zero for missing")
    for column, low, high, value in (
        ("yield_l_s", 5.0, 9.0, ">5"),
        ("swl_mbgl", 5.5, 6.5, "~6"),
        ("swl_mbgl", 3.0, 4.0, "3-4"),
        ("casing_mm", 200, 300, "355.6mm"),
        ("people", 200, 900, "n/a"),
    ):
        record = planter.pick(lambda r, c=column, lo=low, hi=high: lo <= _number(r, c) <= hi)  # type: ignore[misc]
        planter.plant(record, column, value, "text in a number")
    record = planter.pick(lambda r: r.text["status"] == "dry")
    planter.plant(record, "swl_mbgl", "dry", "text in a number")
    for value, fault in (
        ("42735", "date as a spreadsheet's serial number"),
        ("03/04/2019", "day and month in doubt"),
    ):
        planter.plant(planter.pick(_known("test_date", "swl_mbgl")), "test_date", value, fault)
    planter.plant(planter.pick(lambda r: r.text["status"] == "working"), "status", "working?", "word outside the list")


def _plain_name(record: Record) -> bool:
    return re.fullmatch(r"[A-Z][a-z]+", record.text["village"]) is not None


def _identity(planter: Planter) -> None:
    first = planter.pick()
    second = planter.pick(lambda r: r.text["ward"] != first.text["ward"])
    planter.plant(second, "well_no", first.text["well_no"], "number of another well")
    record = planter.pick(_plain_name)
    accented = re.sub("[aeiou]", lambda m: "àéîòû"["aeiou".index(m[0])], record.text["village"], count=1)
    planter.plant(record, "village", accented[:4] + "'" + accented[4:], "no fault: accent and apostrophe")
    record = planter.pick(_plain_name)
    planter.plant(record, "village", f"={record.text['village']}+1", "name that a spreadsheet takes for a formula")
    record = planter.pick(_plain_name)
    planter.plant(record, "village", f"<b>{record.text['village']}</b>", "name that a page takes for markup")
    for _ in range(2):
        record = planter.pick(_plain_name)
        planter.plant(record, "village", f" {record.text['village']}  ", "spaces around the name")


def _other_rows(planter: Planter) -> None:
    """A row of separators between two wards, and the office's sum at the end."""
    people = sum(int(r.text["people"]) for r in planter.records if r.text["people"].isdigit())
    wards = [record.text["ward"] for record in planter.records]
    place = next(k for k in range(300, len(wards)) if wards[k - 1] != wards[k] and wards[k - 1] and wards[k])
    blank = Record(None, dict.fromkeys(HEADERS, ""))
    total = Record(None, dict.fromkeys(HEADERS, "") | {"well_no": "TOTAL", "people": str(people)})
    planter.records.insert(place, blank)
    planter.records.append(total)
    planter.note(blank, "", "row of separators")
    planter.note(total, "people", "row with the sum")
