"""Hourly weather files: the three that pvlib ships, and small ones written from its clear sky, one fault at a time.

Expected values are closed forms of the file that the test wrote, unless a comment says otherwise.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from planner.engine.weather import Weather
from planner.errors import WeatherError
from planner.tables import weather_file, weather_sun
from planner.tables.step import Finding
from planner.tables.weather_file import read_weather

SHIPPED = Path(pvlib.__file__).parent / "data"
MIAMI, SAND_POINT, GREENSBORO = "12839.tm2", "703165TY.csv", "723170TYA.CSV"
# An invented place in the tropics, east of its zone's meridian by 3 degrees.
LATITUDE, LONGITUDE, ZONE, ELEVATION = -11.25, 33.0, 2.0, 1100.0
HEADER = [
    "LOCATION,Mbiri,-,-,invented,000000,-11.25,33.0,2.0,1100.0",
    "DESIGN CONDITIONS,0",
    "TYPICAL/EXTREME PERIODS,0",
    "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    "COMMENTS 1,invented",
    "COMMENTS 2,",
    "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
]
FIRST = len(HEADER)
NOON = FIRST + 12  # 1 January, hour 13
AIR, GHI, DNI, DHI, WIND = 6, 13, 14, 15, 21  # fields of an EPW line, from 0
Write = Callable[..., Path]


@cache
def clear_year(year: int = 2001, late_min: int = 0) -> tuple[str, ...]:
    """EPW lines of a clear-sky year: means of each hour over its minutes, from pvlib, `late_min` after the sun."""
    minutes = pd.date_range(f"{year}-01-01 00:02:30", f"{year}-12-31 23:59", freq="5min", tz="Etc/GMT-2")
    true = minutes - pd.Timedelta(minutes=late_min)
    sun = pvlib.solarposition.get_solarposition(true, LATITUDE, LONGITUDE)
    mass = pvlib.atmosphere.get_relative_airmass(sun["apparent_zenith"])
    sky = pvlib.clearsky.ineichen(
        sun["apparent_zenith"], mass, linke_turbidity=3.0, altitude=ELEVATION, dni_extra=1367.0
    )
    sky["dni"] = ((sky["ghi"] - sky["dhi"]) / np.cos(np.radians(sun["zenith"]))).clip(0, sky["dni"])
    hours = sky.set_axis(minutes).resample("h").mean()
    wave = 25 - 6 * np.cos(2 * np.pi * (hours.index.hour - 3) / 24)
    lines = []
    for stamp, light, air in zip(hours.index, hours.itertuples(), wave, strict=True):
        row = ["9"] * 35
        row[:5] = [str(year), str(stamp.month), str(stamp.day), str(stamp.hour + 1), "0"]
        row[AIR], row[WIND] = f"{air:.1f}", f"{2 + stamp.hour / 10:.1f}"
        row[GHI], row[DNI], row[DHI] = f"{light.ghi:.2f}", f"{light.dni:.2f}", f"{light.dhi:.2f}"
        lines.append(",".join(row))
    return tuple(lines)


def epw(year: int = 2001, late_min: int = 0) -> list[str]:
    return [*HEADER, *clear_year(year, late_min)]


def put(lines: list[str], at: int | range | slice, field: int, text: str) -> None:
    """Write one field of an EPW line, or of several."""
    which = range(len(lines))[at] if isinstance(at, slice) else at if isinstance(at, range) else [at]
    for each in which:
        row = lines[each].split(",")
        row[field] = text
        lines[each] = ",".join(row)


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write lines to a file; returns its path."""

    def make(lines: list[str], *, encoding: str = "utf-8", ends: str = "\n", last: str = "") -> Path:
        path = tmp_path / "place.epw"
        path.write_bytes((ends.join(lines) + ends + last).encode(encoding))
        return path

    return make


def refused(path: Path) -> str:
    """What is told about a file that is refused."""
    with pytest.raises(WeatherError) as raised:
        read_weather("place.epw", path)
    assert all(fault.file == "place.epw" for fault in raised.value.faults)
    return str(raised.value)


def rules(findings: list[Finding]) -> list[str]:
    assert all(finding.row == 0 and finding.severity == "warning" for finding in findings)
    return [finding.rule for finding in findings]


def clock_of(path: Path) -> float:
    """Minutes by which the light of a file comes after the sun."""
    lines = weather_file._lines("a", path)
    layout = weather_file._layout("a", lines)
    stamps, values = weather_file._numbers("a", lines, layout)
    start, _ = weather_file._start("a", stamps, 1)
    latitude, longitude, zone, _ = layout.place
    return weather_sun.clock_minutes(
        np.nan_to_num(values["ghi_w_m2"]), weather_sun.hour_sun(latitude, longitude, start, zone)
    )


# The files that pvlib ships ---------------------------------------------------------------------------------


@pytest.fixture(params=[MIAMI, SAND_POINT, GREENSBORO])
def shipped(request: pytest.FixtureRequest) -> tuple[Weather, pd.DataFrame]:
    """A file as we read it and as pvlib does, whose columns and units are brought to ours."""
    path = SHIPPED / request.param
    weather, findings = read_weather(request.param, path)
    assert findings == []
    if request.param == MIAMI:
        data, meta = pvlib.iotools.read_tmy2(str(path))
        data = data.rename(
            columns={"GHI": "ghi", "DHI": "dhi", "DNI": "dni", "DryBulb": "temp_air", "Wspd": "wind_speed"}
        )
        data[["temp_air", "wind_speed"]] /= 10
        data["date_month"] = data["month"].astype("int64")
    else:
        data, meta = pvlib.iotools.read_tmy3(str(path))
        data["date_month"] = pd.to_numeric(data["Date (MM/DD/YYYY)"].str[:2])
    place = (weather.latitude_deg, weather.longitude_deg, weather.elevation_m)
    assert place == pytest.approx((meta["latitude"], meta["longitude"], meta["altitude"]))
    return weather, data


def test_a_shipped_file_reads_as_pvlib_reads_it(shipped: tuple[Weather, pd.DataFrame]) -> None:
    weather, data = shipped
    # Independent library, hour by hour and month by month.
    for ours, theirs in (
        (weather.ghi_w_m2, "ghi"), (weather.dhi_w_m2, "dhi"), (weather.dni_w_m2, "dni"),
        (weather.air_temperature_c, "temp_air"), (weather.wind_m_s, "wind_speed"),
    ):  # fmt: skip
        np.testing.assert_allclose(ours, data[theirs].to_numpy(dtype="float64"), atol=1e-9)
    months = data.groupby("date_month")["ghi"].sum().to_numpy()
    np.testing.assert_allclose(np.bincount(weather.month, weather.ghi_w_m2), months)


def test_a_shipped_file_closes_under_the_sun(shipped: tuple[Weather, pd.DataFrame]) -> None:
    weather, _ = shipped
    total = weather.dhi_w_m2 + weather.dni_w_m2 * np.cos(np.radians(weather.zenith_deg))
    by_day = (weather.zenith_deg < 85) & (weather.ghi_w_m2 > 50)
    # Common practice: whole W/m2 are stored, and the sun of the hour's middle stands for its hour.
    assert np.sqrt(np.mean((total - weather.ghi_w_m2)[by_day] ** 2)) < 12
    assert not weather.ghi_w_m2[weather.zenith_deg > 90].any()


@pytest.mark.parametrize("file", [MIAMI, SAND_POINT, GREENSBORO])
def test_the_clocks_of_shipped_files_are_right(file: str) -> None:
    assert abs(clock_of(SHIPPED / file)) < 1  # snapshot: 0.7, -0.3 and -0.1 min


def test_rows_keep_their_own_year() -> None:
    weather, _ = read_weather(MIAMI, SHIPPED / MIAMI)
    # The months of a TMY come from different years; 1 March is day 60, or 61 in a leap year.
    years = [int(line[1:3]) for line in (SHIPPED / MIAMI).read_text(encoding="ascii").splitlines()[1:]]
    march = 59 * 24
    assert weather.day[march] == (61 if years[march] % 4 == 0 else 60)
    assert weather.day[0] == 1


def test_one_file_is_read_in_less_than_two_seconds() -> None:
    began = time.perf_counter()
    read_weather(MIAMI, SHIPPED / MIAMI)
    assert time.perf_counter() - began < 2


# An EPW of ours ---------------------------------------------------------------------------------------------


def test_epw_comes_back(write: Write) -> None:
    weather, findings = read_weather("place.epw", write(epw()))
    assert findings == []
    assert weather[:3] == (LATITUDE, LONGITUDE, ELEVATION)
    assert all(array.shape == (8760,) for array in weather[3:])
    for ours, field in zip(weather[5:8], (GHI, DHI, DNI), strict=True):
        np.testing.assert_allclose(ours, [float(line.split(",")[field]) for line in clear_year()])
    data, _ = pvlib.iotools.read_epw(io.StringIO("\n".join(epw())))  # independent library
    np.testing.assert_allclose(weather.air_temperature_c, data["temp_air"])
    np.testing.assert_allclose(weather.wind_m_s, data["wind_speed"])
    np.testing.assert_array_equal(weather.month, data.index.month - 1)
    np.testing.assert_array_equal(weather.day, data.index.day_of_year)


def test_the_sun_stands_in_the_lit_part_of_the_hour(write: Write) -> None:
    weather, _ = read_weather("place.epw", write(epw()))
    # Independent library: minutes of the hour with the sun up, by pvlib's sun.
    minutes = pd.date_range("2001-01-01 00:00:30", "2001-12-31 23:59:30", freq="min", tz="Etc/GMT-2")[: 1440 * 20]
    zenith = pvlib.solarposition.get_solarposition(minutes, LATITUDE, LONGITUDE)["zenith"].to_numpy().reshape(-1, 60)
    up = (zenith < 90).sum(axis=1)
    hours = np.arange(up.size)
    rising = (up > 0) & (up < 60) & (hours % 24 < 12)
    setting = (up > 0) & (up < 60) & (hours % 24 > 12)
    assert rising.sum() == setting.sum() == 20
    middle = np.where(rising, 60 - up // 2, np.where(setting, up // 2, 30))
    expected = zenith[hours, np.minimum(middle, 59)]
    np.testing.assert_allclose(weather.zenith_deg[hours], expected, atol=0.3)  # a minute is 0.25 degrees
    lit = weather.ghi_w_m2 > 1
    assert (weather.zenith_deg[lit] < 90).all()
    # Closed form: the light above the atmosphere in the hour, from its minutes.
    above = (np.maximum(np.cos(np.radians(zenith)), 0)).mean(axis=1) * weather.extra_w_m2[hours]
    start = pd.date_range("2001-01-01", "2001-12-31 23:00", freq="h").to_numpy()
    ours = weather_sun.hour_sun(LATITUDE, LONGITUDE, start, ZONE).above()[hours]
    np.testing.assert_allclose(ours, above, atol=1.0)


@pytest.mark.parametrize("late", [0, 13, 30, 60, -30])
def test_a_clock_that_is_off_is_measured(write: Write, late: int) -> None:
    path = write(epw(late_min=late))
    assert clock_of(path) == pytest.approx(late, abs=0.2)
    weather, findings = read_weather("place.epw", path)
    assert rules(findings) == (["weather_clock"] if late else [])
    right, _ = read_weather("place.epw", write(epw()))
    # With the sun moved, GHI and its parts agree as in the right file; moved the wrong way they would not.
    total = weather.dhi_w_m2 + weather.dni_w_m2 * np.cos(np.radians(weather.zenith_deg))
    assert np.abs(total - weather.ghi_w_m2)[weather.zenith_deg < 85].max() < 15
    noon = np.arange(12, 8760, 24)
    moved = np.abs(weather.zenith_deg - right.zenith_deg)[noon].mean()
    assert (moved > 1) == (late != 0)


def test_clouds_of_the_afternoon_do_not_pass_for_a_clock(write: Write) -> None:
    lines = epw()
    random = np.random.default_rng(1)
    for day in range(365):
        morning, afternoon = random.beta(4, 1.5), random.beta(2, 2)
        for hour in range(24):
            at = FIRST + day * 24 + hour
            ghi = float(lines[at].split(",")[GHI]) * (morning if hour < 12 else afternoon)
            put(lines, at, GHI, f"{ghi:.1f}")
    # Common practice: clouds of half days; the whole year's centroid is far off, the clearest days' much less.
    assert abs(clock_of(write(lines))) < 10


@pytest.mark.parametrize(("place", "told"), [("-11.25,-33.0,2.0", "264 min"), ("-11.25,33.0,-2.0", "240 min")])
def test_a_wrong_longitude_or_zone_is_refused(write: Write, place: str, told: str) -> None:
    lines = epw()
    lines[0] = lines[0].replace("-11.25,33.0,2.0", place)
    message = refused(write(lines))
    assert "clock" in message and "within 90 min" in message
    assert told in message


# What files hold besides ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "form",
    [
        {"encoding": "utf-8-sig"},
        {"encoding": "latin-1"},
        {"ends": "\r\n"},
        {"ends": "\r"},
        {"last": "\n\n \n"},
    ],
)
def test_harmless_differences(write: Write, form: dict[str, str]) -> None:
    lines = epw()
    lines[0] = lines[0].replace("Mbiri", "São Tomé <b>=1+1")
    weather, findings = read_weather("place.epw", write(lines, **form))
    assert findings == [] and weather.ghi_w_m2.size == 8760


def test_a_leap_day_is_kept(write: Write) -> None:
    weather, findings = read_weather("place.epw", write(epw(2004)))
    assert findings == [] and weather.ghi_w_m2.size == 8784
    assert np.bincount(weather.month)[1] == 29 * 24
    assert weather.day[-1] == 366


@pytest.mark.parametrize("year", [2001, 2004])
def test_the_rows_decide_whether_there_is_a_leap_day(write: Write, year: int) -> None:
    lines = epw(year)
    lines[4] = lines[4].replace("No", "Yes")
    lines = [line for line in lines if not line.startswith("2004,2,29,")]
    weather, findings = read_weather("place.epw", write(lines))
    assert findings == [] and weather.ghi_w_m2.size == 8760
    assert weather.day[-1] == (366 if year == 2004 else 365)  # the day of the row's own year


def test_what_instruments_do_is_told_and_harmless(write: Write) -> None:
    """Readings a little below zero in the dark count as 0; a few hours beyond the sun's light are kept."""
    lines = epw()
    put(lines, slice(FIRST, None, 24), GHI, "-2")
    put(lines, NOON, GHI, "1650")
    weather, findings = read_weather("place.epw", write(lines))
    assert rules(findings) == ["weather_dark", "weather_excess"]
    assert findings[0].old_value == "365 hours below 0, least -2 W/m2"
    assert weather.ghi_w_m2[0] == 0.0 and weather.ghi_w_m2[12] == 1650.0


def test_few_hours_without_temperature_or_wind_are_filled(write: Write) -> None:
    lines = epw()
    put(lines, FIRST + 5, AIR, "99.9")
    put(lines, FIRST + 6, AIR, "")
    put(lines, FIRST + 100, WIND, "999")
    weather, findings = read_weather("place.epw", write(lines))
    assert rules(findings) == ["weather_filled", "weather_filled"]
    assert [finding.column for finding in findings] == ["air_temperature_c", "wind_m_s"]
    assert findings[0].old_value == "2 hours missing, first: month 1 day 1 hour 6"
    air = weather.air_temperature_c
    assert air[5:7] == pytest.approx([air[4] + (air[7] - air[4]) / 3, air[4] + (air[7] - air[4]) * 2 / 3])
    assert weather.wind_m_s[100] == pytest.approx((weather.wind_m_s[99] + weather.wind_m_s[101]) / 2)


@pytest.mark.parametrize("gone", [("", ""), ("9999", "9999"), ("0", "0"), ("9999", "0")])
def test_without_parts_the_light_is_split(write: Write, gone: tuple[str, str]) -> None:
    lines = epw()
    put(lines, slice(FIRST, None), DHI, gone[0])
    put(lines, slice(FIRST, None), DNI, gone[1])
    weather, findings = read_weather("place.epw", write(lines))
    assert rules(findings) == ["weather_split"]
    total = weather.dhi_w_m2 + weather.dni_w_m2 * np.cos(np.radians(weather.zenith_deg))
    np.testing.assert_allclose(total, weather.ghi_w_m2, atol=1e-6)
    assert 0.1 < weather.dhi_w_m2.sum() / weather.ghi_w_m2.sum() < 0.4  # clear sky, common practice


def test_parts_that_do_not_add_up_are_told(write: Write) -> None:
    lines = epw()
    for at in range(FIRST, len(lines)):
        put(lines, at, DNI, f"{float(lines[at].split(',')[DNI]) * 0.6:.1f}")
    _, findings = read_weather("place.epw", write(lines))
    assert rules(findings) == ["weather_closure"]
    assert "median 3" in findings[0].old_value and "rms" in findings[0].old_value


def test_night_codes_are_no_light(write: Write) -> None:
    lines = epw()
    for field in (GHI, DHI, DNI):
        put(lines, range(FIRST, FIRST + 3), field, "9999")
    weather, findings = read_weather("place.epw", write(lines))
    assert findings == [] and not weather.ghi_w_m2[:3].any()


# Faults -----------------------------------------------------------------------------------------------------


def decimal_commas(lines: list[str]) -> list[str]:
    return lines[:FIRST] + [line.replace(".", ",") for line in lines[FIRST:]]


def quoted_commas(lines: list[str]) -> list[str]:
    put(lines, NOON, AIR, "25.5")
    return [*lines[:NOON], lines[NOON].replace("25.5", '"25,5"'), *lines[NOON + 1 :]]


def semicolons(lines: list[str]) -> list[str]:
    return [line.replace(".", "#").replace(",", ";").replace("#", ",") for line in lines]


def edited(at: int | range | slice, field: int, text: str) -> Callable[[list[str]], list[str]]:
    def edit(lines: list[str]) -> list[str]:
        put(lines, at, field, text)
        return lines

    return edit


def half_hours(lines: list[str]) -> list[str]:
    doubled = []
    for line in lines[FIRST:]:
        row = line.split(",")
        doubled += [",".join([*row[:4], "30", *row[5:]]), ",".join([*row[:4], "60", *row[5:]])]
    return lines[:FIRST] + doubled


def swapped(lines: list[str]) -> list[str]:
    lines[100:124], lines[124:148] = lines[124:148], lines[100:124]
    return lines


DAY_29 = FIRST + 58 * 24
FAULTS: dict[str, tuple[Callable[[list[str]], list[str]], list[str]]] = {
    "decimal commas": (decimal_commas, ["line 9 and 8759 more", "numbers with a decimal point"]),
    "decimal comma in quotes": (quoted_commas, [f"line {NOON + 1}, air_temperature_c", "'25,5'", "decimal point"]),
    "semicolons": (semicolons, ["line 1", "semicolons", "numbers with a decimal point"]),
    "no header": (lambda lines: lines[FIRST:], ["line 1", "without the header"]),
    "no data periods": (lambda lines: lines[:7] + lines[FIRST:], ["DATA PERIODS"]),
    "latitude": (edited(0, 6, "95.2"), ["line 1, latitude: found 95.2; expected -90 to 90"]),
    "longitude": (edited(0, 7, "327"), ["line 1, longitude: found 327; expected -180 to 180"]),
    "zone": (edited(0, 8, "<b>"), ["line 1, time zone: found no number"]),
    "place cut off": (lambda lines: ["LOCATION,Mbiri", *lines[1:]], ["latitude", "longitude", "elevation"]),
    "missing hours": (
        lambda lines: lines[:20] + lines[27:],
        ["7 missing: month 1 day 1 hour 13; month 1 day 1 hour 14", "…"],
    ),
    "a short year": (lambda lines: lines[:5000], ["3768 missing: month 7 day 28 hour 1;"]),
    "no hours": (lambda lines: lines[:FIRST], ["no hours"]),
    "twice": (lambda lines: [*lines[:30], lines[29], *lines[30:]], ["month 1 day 1 hour 22", "there twice"]),
    "out of order": (swapped, ["month 1 day 4 hour 21: found after month 1 day 6 hour 20", "hours in order"]),
    "part of a leap day": (
        lambda lines: [*lines[: FIRST + 59 * 24], "2004,2,29" + lines[FIRST][8:], *lines[FIRST + 59 * 24 :]],
        ["23 missing: month 2 day 29 hour 2"],
    ),
    "29 February of a common year": (edited(range(DAY_29, DAY_29 + 24), 2, "29"), [f"line {DAY_29 + 1}", "day 29"]),
    "hour 25": (edited(FIRST + 23, 3, "25"), [f"line {FIRST + 24}", "hour 25", "hour 1 to 24"]),
    "hours from 0": (
        lambda lines: [
            line if at < FIRST else ",".join([*line.split(",")[:3], str((at - FIRST) % 24), *line.split(",")[4:]])
            for at, line in enumerate(lines)
        ],
        ["hours in order, 1 January hour 1 first"],
    ),
    "year": (edited(FIRST, 0, "1e999"), [f"line {FIRST + 1}, year", "whole numbers"]),
    "half hours": (half_hours, ["2 different minutes in an hour", "hourly"]),
    "two records an hour": (edited(7, 2, "2"), ["line 8: found 2 records an hour", "hourly"]),
    "no light at noon": (edited(NOON, GHI, "9999"), ["ghi_w_m2, month 1 day 1 hour 13: found missing", "sun up"]),
    "no light in May": (
        edited(slice(FIRST + 120 * 24, FIRST + 151 * 24), DNI, "9999"),
        # 31 days of 12 or 13 hours with the sun up
        ["dni_w_m2, month 5 day 1 hour 6 and 386 more"],
    ),
    "no temperature": (edited(slice(FIRST, FIRST + 200), AIR, "99.9"), ["air_temperature_c", "199 more", "at most 2%"]),
    "no wind": (edited(slice(FIRST, None), WIND, "999"), ["wind_m_s", "8759 more"]),
    "Kelvin": (edited(FIRST, AIR, "-95"), ["air_temperature_c", "-95", "-90 to 60"]),
    "negative light": (edited(FIRST, GHI, "-30"), ["ghi_w_m2, month 1 day 1 hour 1: found -30"]),
    "no light at all": (edited(slice(FIRST, None), GHI, "0"), ["ghi_w_m2: found 0 in every hour"]),
    "more light than the sun gives": (
        edited(slice(NOON, None, 24), GHI, "1650"),
        ["ghi_w_m2, month 1 day 1 hour 13", "1650", "at most"],
    ),
    "light at night": (
        edited(slice(FIRST, None, 24), GHI, "300"),
        ["ghi_w_m2, month 1 day 1 hour 1 and 364 more", "at most 20 W/m2"],
    ),
    "text": (edited(NOON, GHI, "bright"), [f"line {NOON + 1}, ghi_w_m2", "'bright'"]),
    "a line cut off": (lambda lines: [*lines[:NOON], "2001,1,1", *lines[NOON + 1 :]], [f"line {NOON + 1}", "fields"]),
    "another file": (lambda lines: ["borehole,yield", "B1,2.3"], ["line 1", "EPW, TMY3 (CSV) or TMY2"]),
    "an empty file": (lambda lines: [""], ["line 1", "EPW, TMY3 (CSV) or TMY2"]),
    "bytes": (lambda lines: ["\0PNG", *lines], ["no plain text"]),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_with_its_place(write: Write, fault: str) -> None:
    edit, words = FAULTS[fault]
    message = refused(write(edit(epw())))
    for word in words:
        assert word in message, message
    assert "Mbiri" not in message and "<b>" not in message


def test_faults_are_told_together(write: Write) -> None:
    lines = epw()
    put(lines, FIRST, GHI, "-50")
    put(lines, NOON, DNI, "9999")
    put(lines, slice(FIRST, None), WIND, "999")
    assert len(refused(write(lines)).splitlines()) == 3
    lines = epw()[:-1]
    put(lines, 0, 6, "123")
    assert len(refused(write(lines)).splitlines()) == 2


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.epw"
    with path.open("wb") as file:
        file.truncate(51 * 10**6)
    assert "51 MB; expected at most 50 MB" in refused(path)


def test_no_file(tmp_path: Path) -> None:
    assert "a file that can be read" in refused(tmp_path / "nowhere.epw")
    assert "a file that can be read" in refused(tmp_path)


# TMY3 and TMY2 ----------------------------------------------------------------------------------------------


def lines_of(file: str) -> list[str]:
    return (SHIPPED / file).read_text(encoding="ascii").splitlines()


def with_cell(line: str, at: int, text: str) -> str:
    row = line.split(",")
    row[at] = text
    return ",".join(row)


TMY3_GHI, TMY3_AIR = 4, 31


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (lambda lines: [lines[1], *lines[2:]], ["line 1", "without the header"]),
        (lambda lines: [line.replace(",", ";") for line in lines], ["semicolons"]),
        (lambda lines: [lines[0], lines[1].replace("GHI (W/m^2)", "global"), *lines[2:]], ["'GHI (W/m^2)'"]),
        (
            lambda lines: [*lines[:14], with_cell(lines[14], TMY3_GHI, "-9900"), *lines[15:]],
            ["ghi_w_m2, month 1 day 1 hour 13: found missing"],
        ),
        (lambda lines: [*lines[:14], lines[14].replace("13:00", "13:30"), *lines[15:]], ["line 15", "hourly"]),
        (lambda lines: lines[:-24], ["24 missing: month 12 day 31 hour 1"]),
    ],
)
def test_faults_of_tmy3(write: Write, edit: Callable[[list[str]], list[str]], words: list[str]) -> None:
    message = refused(write(edit(lines_of(GREENSBORO))))
    for word in words:
        assert word in message, message


def test_tmy3_fills_and_takes_midnight_of_either_day(write: Write) -> None:
    lines = lines_of(GREENSBORO)
    lines[5] = with_cell(lines[5], TMY3_AIR, "-9900")
    _, findings = read_weather("place.epw", write(lines))
    assert rules(findings) == ["weather_filled"]
    assert lines[25].startswith("01/01/1988,24:00")
    lines[25] = lines[25].replace("01/01/1988,24:00", "01/02/1988,00:00")
    weather, _ = read_weather("place.epw", write(lines))
    assert weather.day[23] == 1 and weather.day[24] == 2


def test_tmy2_of_a_town_with_a_longer_name(write: Write) -> None:
    lines = lines_of(MIAMI)
    lines[0] = lines[0].replace("MIAMI     ", "OLD WELL É")
    weather, _ = read_weather("place.epw", write(lines, encoding="latin-1"))
    assert weather[:3] == pytest.approx((25 + 48 / 60, -80 - 16 / 60, 2.0))


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (lambda lines: [" 12839 MIAMI", *lines[1:]], ["line 1, latitude: found no number", "time zone"]),
        (lambda lines: [*lines[:20], lines[20][:50], *lines[21:]], ["line 21", "98 characters"]),
        (
            lambda lines: [*lines[:13], lines[13][:17] + "9999" + lines[13][21:], *lines[14:]],
            ["hour 13: found missing"],
        ),
        (lambda lines: [*lines[:13], lines[13][:67] + " 2,4" + lines[13][71:], *lines[14:]], ["' 2,4'"]),
        (lambda lines: [lines[0], *lines[25:]], ["24 missing: month 1 day 1 hour 1"]),
    ],
)
def test_faults_of_tmy2(write: Write, edit: Callable[[list[str]], list[str]], words: list[str]) -> None:
    message = refused(write(edit(lines_of(MIAMI))))
    for word in words:
        assert word in message, message
