"""Files of hourly weather: EPW, TMY3 and TMY2, told apart by what is in them. Not a step.

All three count hours that end at the stamp, 1 to 24 in local standard time, and give the irradiation of that hour,
so that W/m2 is the mean of the hour. Temperature and wind are those of the stamp and are taken for the hour.

The cells are read here and not by pvlib's readers, which stop at the first bad cell without naming its line, give
every row of a TMY2 file the year of its first, and move the last hour of 28 February of a leap year to 1 March.

EPW: EnergyPlus, Auxiliary Programs, "EnergyPlus Weather File (EPW) Data Dictionary". TMY3: Wilcox & Marion 2008,
Users Manual for TMY3 Data Sets, NREL/TP-581-43156. TMY2: Marion & Urban 1995, User's Manual for TMY2s.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pvlib
from numpy.typing import NDArray

from planner.engine.weather import Floats, Integers, Weather
from planner.errors import Fault, WeatherError, raise_if
from planner.tables.step import Action, Finding
from planner.tables.weather_sun import Times, clock_minutes, day_of_year, hour_sun, late_words

Flags = NDArray[np.bool_]

MOST_BYTES = 50 * 10**6  # a year of hours is 1 to 3 MB
STAMP = ("year", "month", "day", "hour", "minute")
LIGHT = ("ghi_w_m2", "dhi_w_m2", "dni_w_m2")
# Temperature: just beyond the records of the Earth. Wind: no mean of an hour blows harder (from memory).
AIR = {"air_temperature_c": (-90.0, 60.0), "wind_m_s": (0.0, 75.0)}
# From here on a number is a code for missing: EPW 9999, 99.9, 999; TMY2 9999, 999.9, 99.9; TMY3 -9900 (manuals).
MISSING = dict.fromkeys(LIGHT, 9999.0) | {"air_temperature_c": 99.9, "wind_m_s": 99.9}
MISSING_BELOW = -9000.0
MOST_FILLED = 0.02
# Small negative readings are those of an instrument in the dark, W/m2; taken as 0.
DARK = -20.0
EXCESS = (1.10, 20.0)  # share of the light above the atmosphere, and W/m2: room for rounding and a slow clock
MOST_EXCESS = 0.01  # of the hours with light; fewer beyond it are told and kept
CLOCK_FINE_MIN, CLOCK_MOST_MIN = 10.0, 90.0
CLOSURE = 0.15
LEAP_DAY = slice(59 * 24, 60 * 24)  # hours of 29 February in a leap year
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
POINTS = "numbers with a decimal point, separated by commas"
FORMATS = "hourly weather as EPW, TMY3 (CSV) or TMY2, its header included"


def read_weather(name: str, path: Path) -> tuple[Weather, list[Finding]]:
    """Read a year of hours from the file at `path`; `name` is the file as the plan writes it, for faults.

    Findings (row 0) tell what was changed or looks odd: weather_filled (hours without temperature or wind, at most
    2 %, interpolated), weather_split (diffuse and beam made from GHI, Erbs 1982), weather_clock (the file's hours
    stand beside the sun's, and the sun was moved to them), weather_closure (GHI is not diffuse plus beam).

    Raises WeatherError with every fault that can be told at once: first the shape of the file, then its place and
    its hours, then its values, last its agreement with the sun. A run asks for the file several times; unless it was
    changed meanwhile it is read once.
    """
    try:
        state = path.stat()
        changed = (state.st_mtime_ns, state.st_size)
    except OSError:
        changed = (0, 0)
    weather, findings = _read(name, path, changed)
    return weather, list(findings)


@lru_cache(maxsize=1)
def _read(name: str, path: Path, _changed: tuple[int, int]) -> tuple[Weather, list[Finding]]:
    lines = _lines(name, path)
    layout = _layout(name, lines)
    stamps, values = _numbers(name, lines, layout)
    faults = _place_faults(name, layout)
    start, order_faults = _start(name, stamps, layout.first + 1)
    raise_if(faults + order_faults, WeatherError)
    latitude, longitude, zone, elevation = layout.place
    sun = hour_sun(latitude, longitude, start, zone)

    findings = [found for column in AIR for found in _air(name, column, values, start, faults)]
    split = not all(np.nansum(values[column]) > 0 for column in ("dhi_w_m2", "dni_w_m2"))
    for column in LIGHT:
        findings += _dark(column, values[column])
    for column in LIGHT[: 1 if split else 3]:
        faults += _light_faults(name, column, values[column], start, sun.above() > 0)
    raise_if(faults, WeatherError)

    ghi = np.nan_to_num(values["ghi_w_m2"])
    minutes = clock_minutes(ghi, sun)
    if abs(minutes) > CLOCK_MOST_MIN:
        expected = f"within {CLOCK_MOST_MIN:.0f} min: longitude east positive, time zone of standard time"
        raise WeatherError([Fault(name, "clock", f"the light of clear days {late_words(minutes)}", expected)])
    if abs(minutes) > CLOCK_FINE_MIN:
        moved = "the sun moved to the file's hours"
        findings.append(_finding("weather_clock", "", late_words(minutes), moved, "repaired"))
        sun = sun.moved(minutes)
    zenith, azimuth = sun.position()
    dhi, dni = (np.nan_to_num(values[column]) for column in ("dhi_w_m2", "dni_w_m2"))
    if split:
        findings.append(_finding("weather_split", "dhi_w_m2, dni_w_m2", "missing or 0", "from ghi_w_m2", "repaired"))
        # As in the monthly mode: no beam below 3 degrees.
        parts = pvlib.irradiance.erbs(ghi, zenith, day_of_year(start), min_cos_zenith=0.065, max_zenith=87.0)
        dhi, dni = np.asarray(parts["dhi"]), np.asarray(parts["dni"])
    for column, value, limit in zip(LIGHT, (ghi, dhi, dni), (sun.above(), sun.above(), sun.extra), strict=True):
        if column == "ghi_w_m2" or not split:
            findings += _excess(name, column, value, limit, start, faults)
    raise_if(faults, WeatherError)
    findings += _closure(ghi, dhi + dni * np.cos(np.radians(zenith)), zenith)
    weather = Weather(
        latitude, longitude, elevation, _month(start) - 1, day_of_year(start),
        ghi, dhi, dni, zenith, azimuth, sun.extra,
        values["air_temperature_c"], values["wind_m_s"],
    )  # fmt: skip
    return weather, findings


# Layouts ----------------------------------------------------------------------------------------------------


class _Layout(NamedTuple):
    """Where a format keeps its place and its hours.

    place   latitude, longitude (degrees), time zone (h), elevation (m); NaN where the header has no number
    header  line of the place, from 1
    first   index of the first line of hours
    cells   line → texts of STAMP, LIGHT and AIR; raises ValueError with what is right
    tenths  whether the numbers of AIR are tenths
    """

    place: tuple[float, float, float, float]
    header: int
    first: int
    cells: Callable[[str], list[str]]
    tenths: bool = False


def _lines(name: str, path: Path) -> list[str]:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise WeatherError([Fault(name, "file", f"{size / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB")])
        stored = path.read_bytes()
    except OSError as error:
        raise WeatherError([Fault(name, "file", error.strerror or "an error", "a file that can be read")]) from error
    if b"\0" in stored:
        raise WeatherError([Fault(name, "file", "no plain text", FORMATS)])
    try:
        text = stored.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = stored.decode("latin-1")  # only names of places are not ASCII, and they are not used
    return re.split("\r\n|\n|\r", text.rstrip())


def _layout(name: str, lines: list[str]) -> _Layout:
    first, second = lines[0], (lines[1] if len(lines) > 1 else "")
    if re.match(r"LOCATION\s*;", first, re.IGNORECASE) or re.search(r"Date \(MM/DD/YYYY\)\"?;", first + second):
        raise WeatherError([Fault(name, "line 1", "semicolons", POINTS)])
    if re.match(r"LOCATION\s*,", first, re.IGNORECASE):
        return _epw(name, lines)
    if second.lstrip('"').startswith(TMY3[0]):
        return _tmy3(name, lines)
    if re.match(r".\d{8}[\d ]{12}.{100}", second, re.ASCII):
        return _tmy2(lines)
    bare = first.count(",") >= 21 and all(NUMBER.fullmatch(cell) for cell in first.split(",")[:4])
    bare = bare or first.lstrip('"').startswith(TMY3[0])
    found = "hours without the header before them" if bare else "no header of a weather file"
    raise WeatherError([Fault(name, "line 1", found, FORMATS)])


def _fields(line: str) -> list[str]:
    try:
        return next(csv.reader([line]), [])
    except csv.Error:  # a field as long as a book
        return []


def _number(text: str) -> float:
    """A finite number, else NaN."""
    value = float(text) if NUMBER.fullmatch(text) else np.nan
    return value if np.isfinite(value) else np.nan


def _place(cells: list[str]) -> tuple[float, float, float, float]:
    latitude, longitude, zone, elevation = (_number(cell) for cell in [*cells, *[""] * 4][:4])
    return latitude, longitude, zone, elevation


def _epw(name: str, lines: list[str]) -> _Layout:
    periods = next((at for at, line in enumerate(lines[:30]) if line.upper().startswith("DATA PERIODS")), None)
    if periods is None:
        raise WeatherError([Fault(name, "header", "no line DATA PERIODS", "the eight lines of an EPW header")])
    records = _number([*_fields(lines[periods]), "", "", ""][2])
    if records != 1:
        found = "no number of records an hour" if np.isnan(records) else f"{records:.0f} records an hour"
        raise WeatherError([Fault(name, f"line {periods + 1}", found, "hourly values: 1 record an hour")])

    def cells(line: str) -> list[str]:
        row = _fields(line.rstrip(", "))
        if len(row) > 35:
            raise ValueError(f"at most 35 fields: {POINTS}")
        if len(row) < 22:
            raise ValueError(f"22 to 35 fields: {POINTS}")
        return [*row[:5], row[13], row[15], row[14], row[6], row[21]]

    return _Layout(_place(_fields(lines[0])[6:10]), 1, periods + 1, cells)


TMY3 = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "GHI (W/m^2)", "DHI (W/m^2)", "DNI (W/m^2)", "Dry-bulb (C)", "Wspd (m/s)")
TMY3_STAMP = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4}) (\d{1,2}):00", re.ASCII)


def _tmy3(name: str, lines: list[str]) -> _Layout:
    names = [field.strip() for field in _fields(lines[1])]
    absent = [Fault(name, "line 2", "other columns", f"a column {each!r}") for each in TMY3 if each not in names]
    raise_if(absent, WeatherError)
    wanted = [names.index(column) for column in TMY3]

    def cells(line: str) -> list[str]:
        row = _fields(line)
        # Some rows end with weather codes that the names do not count.
        if not max(wanted) < len(row) <= len(names) + 3:
            raise ValueError(f"{len(names)} fields: {POINTS}")
        date, time, *values = (row[column].strip() for column in wanted)
        stamp = TMY3_STAMP.fullmatch(f"{date} {time}")
        if stamp is None:
            raise ValueError("a date MM/DD/YYYY and a full hour 01:00 to 24:00, hourly values")
        month, day, year, hour = stamp.groups()
        return [year, month, day, hour, "0", *values]

    zone, *rest = [*_fields(lines[0]), *[""] * 7][3:7]
    return _Layout(_place([*rest[:2], zone, rest[2]]), 1, 2, cells)


TMY2_PLACE = re.compile(r"(-?\d+) +([NS]) *(\d+) +(\d+) +([EW]) *(\d+) +(\d+) +(-?\d+)\s*$", re.ASCII)


def _tmy2(lines: list[str]) -> _Layout:
    place = (np.nan, np.nan, np.nan, np.nan)
    if found := TMY2_PLACE.search(lines[0]):
        zone, north, degrees, minutes, east, degrees_east, minutes_east, elevation = found.groups()
        latitude = (float(degrees) + float(minutes) / 60) * (1 if north == "N" else -1)
        longitude = (float(degrees_east) + float(minutes_east) / 60) * (1 if east == "E" else -1)
        place = (latitude, longitude, float(zone), float(elevation))

    def cells(line: str) -> list[str]:
        if len(line) < 98:
            raise ValueError("at least 98 characters")
        stamp = ["19" + line[1:3], line[3:5], line[5:7], line[7:9], "0"]
        return [*stamp, line[17:21], line[29:33], line[23:27], line[67:71], line[95:98]]

    return _Layout(place, 1, 1, cells, tenths=True)


# Shape, place and hours -------------------------------------------------------------------------------------


def _more(count: int) -> str:
    return f" and {count - 1} more" if count > 1 else ""


def _numbers(name: str, lines: list[str], layout: _Layout) -> tuple[dict[str, Integers], dict[str, Floats]]:
    """The stamps and the values of all hours; NaN where a cell is empty or holds a code for missing."""
    rows: list[list[str]] = []
    shapes: dict[str, list[int]] = {}
    for number, line in enumerate(lines[layout.first :], layout.first + 1):
        try:
            rows.append(layout.cells(line))
        except ValueError as error:
            shapes.setdefault(str(error), []).append(number)
    faults = [Fault(name, f"line {at[0]}{_more(len(at))}", "another shape", right) for right, at in shapes.items()]
    if not rows and not faults:
        faults = [Fault(name, "file", "no hours", "8760 or 8784 lines of hours after the header")]
    raise_if(faults, WeatherError)
    columns: dict[str, Floats] = {}
    for column, texts in zip([*STAMP, *LIGHT, *AIR], zip(*rows, strict=True), strict=True):
        values = columns[column] = np.array([_number(text) for text in texts])
        wrong = np.isnan(values) & [bool(text.strip()) for text in texts]
        expected = "numbers with a decimal point"
        if column in STAMP:
            wrong, expected = values % 1 != 0, "whole numbers"
        if wrong.any():
            at = int(np.argmax(wrong))
            place = f"line {at + layout.first + 1}{_more(int(wrong.sum()))}, {column}"
            faults.append(Fault(name, place, repr(texts[at][:20]), expected))
    raise_if(faults, WeatherError)
    stamps = {column: np.clip(columns[column], -1, 10**6).astype("int64") for column in STAMP}
    for column, code in MISSING.items():
        if layout.tenths and column in AIR:
            columns[column] = columns[column] / 10
        columns[column][(columns[column] >= code) | (columns[column] < MISSING_BELOW)] = np.nan
    return stamps, {column: columns[column] for column in MISSING}


def _place_faults(name: str, layout: _Layout) -> list[Fault]:
    """Whether the place of the header is one on Earth."""
    limits = {"latitude": (-90, 90), "longitude": (-180, 180), "time zone": (-12, 14), "elevation": (-450, 6000)}
    faults = []
    for (part, (low, high)), value in zip(limits.items(), layout.place, strict=True):
        if not low <= value <= high:
            found = "no number" if np.isnan(value) else f"{value:g}"
            faults.append(Fault(name, f"line {layout.header}, {part}", found, f"{low} to {high}"))
    return faults


def _start(name: str, stamps: dict[str, Integers], line: int) -> tuple[Times, list[Fault]]:
    """The hours' beginnings in local standard time, and what is wrong with them; the first stands on `line`."""
    year, month, day, hour, minute = (stamps[column] for column in STAMP)
    inside = (year >= 1900) & (year <= 2100) & (month >= 1) & (month <= 12) & (hour >= 0) & (hour <= 24)
    months = np.where(inside, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    date = months.astype("datetime64[D]") + (np.clip(day, 0, 99) - 1)
    start = date.astype("datetime64[h]") + (np.clip(hour, 0, 24) - 1)
    inside &= date.astype("datetime64[M]") == months
    if not inside.all():
        at = int(np.argmin(inside))
        found = f"year {year[at]}, month {month[at]}, day {day[at]}, hour {hour[at]}" + _more(int((~inside).sum()))
        return start, [Fault(name, f"line {line + at}", found, "a date from 1900 to 2100 and an hour 1 to 24")]
    # The hour of the year, on the calendar of a leap year whatever the row's own.
    leap = np.datetime64("2000-01") + (_month(start) - 1)
    within = (start - start.astype("datetime64[M]").astype("datetime64[h]")).astype("int64")
    slot = (leap.astype("datetime64[h]") - np.datetime64("2000-01-01T00")).astype("int64") + within
    count = np.bincount(slot, minlength=8784)
    absent = count == 0
    if absent[LEAP_DAY].all():
        absent[LEAP_DAY] = False
    expected = "every hour of one year, once: hourly values"
    faults = []
    if (twice := np.flatnonzero(count > 1)).size:
        first = start[slot == twice[0]][1]
        minutes = np.unique(minute).size
        found = f"{minutes} different minutes in an hour" if minutes > 1 else "there twice"
        faults.append(Fault(name, f"{_hour(first)}{_more(twice.size)}", found, expected))
    if absent.any():
        gaps = np.datetime64("2000-01-01T00") + np.flatnonzero(absent).astype("timedelta64[h]")
        listed = "; ".join(_hour(gap) for gap in gaps[:5])
        faults.append(Fault(name, "hours", f"{gaps.size} missing: {listed}{'; …' if gaps.size > 5 else ''}", expected))
    if (back := np.flatnonzero(np.diff(slot) < 0)).size:
        place = f"{_hour(start[back[0] + 1])}{_more(back.size)}"
        faults.append(Fault(name, place, f"after {_hour(start[back[0]])}", "hours in order, 1 January hour 1 first"))
    return start, faults


def _hour(start: Any) -> str:
    """An hour in words, from its beginning."""
    text = str(np.datetime64(start, "h"))
    return f"month {int(text[5:7])} day {int(text[8:10])} hour {int(text[11:13]) + 1}"


def _month(start: Times) -> Integers:
    """Month, 1 to 12."""
    return np.asarray(start.astype("datetime64[M]").astype("int64") % 12 + 1)


# Values -----------------------------------------------------------------------------------------------------


def _finding(rule: str, column: str, old: str, new: str, action: Action) -> Finding:
    return Finding(0, "", column, rule, "warning", old, new, action)


def _first(name: str, column: str, value: Floats, wrong: Flags, start: Times, expected: str) -> list[Fault]:
    """A fault of the hours that are `wrong`, if any, with the first of them."""
    if not wrong.any():
        return []
    at = int(np.argmax(wrong))
    place = f"{column}, {_hour(start[at])}{_more(int(wrong.sum()))}"
    return [Fault(name, place, "missing" if np.isnan(value[at]) else f"{value[at]:g}", expected)]


def _air(name: str, column: str, values: dict[str, Floats], start: Times, faults: list[Fault]) -> list[Finding]:
    """Fill the few hours without temperature or wind, in `values`; what cannot be mended goes into `faults`."""
    value, (low, high) = values[column], AIR[column]
    faults += _first(name, column, value, (value < low) | (value > high), start, f"{low:g} to {high:g}")
    gone = np.isnan(value)
    if gone.mean() > MOST_FILLED:
        faults += _first(name, column, value, gone, start, f"at most {MOST_FILLED:.0%} of the hours missing")
    elif gone.any():
        hours = np.arange(value.size)
        values[column] = np.interp(hours, hours[~gone], value[~gone], period=value.size)
        old = f"{int(gone.sum())} hours missing, first: {_hour(start[int(np.argmax(gone))])}"
        return [_finding("weather_filled", column, old, "linear between the hours around", "repaired")]
    return []


def _light_faults(name: str, column: str, value: Floats, start: Times, lit: Flags) -> list[Fault]:
    """Irradiance below zero, without any light, or missing where the sun is up (at night it is known: none)."""
    faults = _first(name, column, value, value < 0, start, "0 W/m2 or more")
    faults += _first(name, column, value, np.isnan(value) & lit, start, "a value in every hour with the sun up")
    if np.isfinite(value).any() and np.nanmax(value) == 0:
        faults.append(Fault(name, column, "0 in every hour", "irradiance"))
    return faults


def _dark(column: str, value: Floats) -> list[Finding]:
    """Take small negative readings as 0, in `value`."""
    small = (value < 0) & (value >= DARK)
    if not small.any():
        return []
    old = f"{int(small.sum())} hours below 0, least {np.min(value[small]):g} W/m2"
    value[small] = 0.0
    return [_finding("weather_dark", column, old, "0", "repaired")]


def _excess(
    name: str, column: str, value: Floats, above: Floats, start: Times, faults: list[Fault]
) -> list[Finding]:  # fmt: skip
    """A finding for a few hours well beyond the light above the atmosphere, which are kept; many go into `faults`."""
    most = EXCESS[0] * above + EXCESS[1]
    wrong = value > most
    if wrong.sum() > MOST_EXCESS * (value > 0).sum():
        expected = f"at most {most[int(np.argmax(wrong))]:.0f} W/m2, by the light above the atmosphere"
        faults += _first(name, column, value, wrong, start, expected)
    elif wrong.any():
        at = int(np.argmax(wrong))
        old = f"{int(wrong.sum())} hours, first {_hour(start[at])}: {value[at]:g} W/m2, {most[at]:.0f} possible"
        return [_finding("weather_excess", column, old, "", "flagged")]
    return []


def _closure(ghi: Floats, total: Floats, zenith: Floats) -> list[Finding]:
    """A finding when GHI and its parts differ widely; low sun, where minutes decide, is left out."""
    counted = (zenith < 85) & (ghi > 50)
    error = (total - ghi)[counted]
    if not error.size or (median := float(np.median(np.abs(error) / ghi[counted]))) <= CLOSURE:
        return []
    old = f"median {median:.0%} of an hour, rms {np.sqrt(np.mean(error**2)):.0f} W/m2"
    return [_finding("weather_closure", "ghi_w_m2", old, "", "flagged")]
