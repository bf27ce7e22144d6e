"""The sun, the temperature and the wind of each site, from rasters, a weather file and the built-in climate.

Rasters of three by three cells; every expected number is a closed form of the small raster beside it, unless a
comment says otherwise. The built-in climate and the weather file have stand-ins here and tests of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from rasterio import Affine

from planner.errors import Fault, InputError
from planner.glossary import monthly
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.plan import LoadedPlan
from planner.tables import raster_limits, resource
from planner.tables.raster_files import DAYS
from planner.tables.step import Finding
from planner.tables.world_climate import WorldClimate

# South-west corner 30°E 10°S; cells of 0.1°; row 0 is the northernmost.
NINE = np.arange(1.0, 10.0).reshape(3, 3)
SUN = np.linspace(5.0, 6.1, 12)  # kWh/m2/d, plausible all year at 10°S (common practice)
MONTH_DAYS = np.array(DAYS)
MIDDLE = (-9.85, 30.15)
SEA = 30.2  # stand-in: the sea begins at this longitude
LOW_YEAR = 1 - 1.2816 * 0.025  # of the stand-in's zone: nine in ten years of a normal law, spread 2.5 %
BUILT_IN, ZONES = resource.world_climate, resource.climate_zones
CURVE = np.cos(np.pi * np.arange(12) / 6)


@pytest.fixture(autouse=True)
def climate(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stand-in of the built-in climate: 5 ± 0.5 kWh/m2/d and 24 ± 2 °C on land, west of SEA."""

    def world_climate(latitude: np.ndarray, longitude: np.ndarray, elevation_m: np.ndarray) -> WorldClimate:
        assert np.isfinite(latitude).all()
        land = longitude < SEA
        sea = np.where(land, 0.0, np.nan)
        curve = CURVE + sea[:, None]
        cool = np.nan_to_num(elevation_m)[:, None] * 0.0065
        cell = np.where(land, np.floor(longitude * 10).astype("int64"), -1)
        zone = np.where(land, "Aw", "")
        return WorldClimate(5 + 0.5 * curve, 24 + 2 * curve - cool, zone, 0.15 + sea, cell, latitude.round(1) + sea)

    def seasonal_shape(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
        shape = 1 + 0.1 * CURVE + np.where(longitude < SEA, 0.0, np.nan)[:, None]
        return np.asarray(shape / (shape @ MONTH_DAYS / MONTH_DAYS.sum())[:, None])

    monkeypatch.setattr(resource, "world_climate", world_climate)
    monkeypatch.setattr(resource, "climate_zones", lambda at, east: np.where(east < SEA, "Aw", ""))
    monkeypatch.setattr(resource, "seasonal_shape", seasonal_shape)


def weather_year() -> SimpleNamespace:
    """365 days of 24 hours: the sun of month m is SUN[m], its air 20 + m °C, its wind 2 + m/10 m/s."""
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    month = np.repeat(np.arange(12), days * 24)
    light = np.tile(np.where(np.arange(24) == 12, 1.0, 0.0), 365)  # the whole day in one hour
    return SimpleNamespace(
        latitude_deg=-9.0,
        longitude_deg=30.0,
        month=month,
        day=np.repeat(np.arange(1, 366), 24),
        ghi_w_m2=1000 * SUN[month] * light,
        air_temperature_c=20.0 + month,
        wind_m_s=2.0 + month / 10,
    )


@pytest.fixture
def weather(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """The section [weather] of a plan whose file reads as `weather_year`."""
    told = [Finding(0, "", "wind_m_s", "weather_filled", "warning", "12 hours")]
    monkeypatch.setattr(resource, "read_weather", lambda name, path: (weather_year(), told))
    return {"file": "hours.epw"}


def run(sites: pd.DataFrame, plan: LoadedPlan, keeps_promise: Callable[..., None]) -> Any:
    before = sites.copy(deep=True)
    step = resource.run(sites, plan)
    pd.testing.assert_frame_equal(sites, before)
    keeps_promise(step, sites, resource.WRITES)
    return step


def faults_of(sites: pd.DataFrame, plan: LoadedPlan) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        resource.run(sites, plan)
    return tuple(str(fault) for fault in caught.value.faults)


def at(make_sites: Any, *points: tuple[float, float], **given: Any) -> pd.DataFrame:
    """Sites at (latitude, longitude)."""
    latitude, longitude = zip(*points, strict=True)
    return make_sites(resource.READS, rows=len(points), latitude=list(latitude), longitude=list(longitude), **given)


def told(step: Any) -> list[tuple[int, str, str]]:
    return [(finding.row, finding.column, finding.rule) for finding in step.findings]


def rows(table: pd.DataFrame, stem: str) -> np.ndarray:
    return table[monthly(stem)].to_numpy()


def monthly_raster(cells: np.ndarray, months: np.ndarray) -> np.ndarray:
    """Twelve bands: the month's value × the cell's number."""
    return months[:, None, None] * cells[None]


def test_solar_is_that_of_the_cell_and_knows_the_cell(make_sites, make_plan, make_raster, keeps_promise):
    cells = np.ones((3, 3))
    cells[1, 2] = 1.1
    file = make_raster("sun.tif", monthly_raster(cells, SUN))
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/day"}})
    sites = at(make_sites, (-9.71, 30.01), (-9.899, 30.201), (-9.95, 30.15))
    columns = run(sites, plan, keeps_promise).columns
    assert columns["solar_cell"].tolist() == [0, 1 * 3 + 2, 2 * 3 + 1]
    assert columns["solar_latitude"].tolist() == pytest.approx([-9.75, -9.85, -9.95], abs=1e-12)
    np.testing.assert_allclose(columns[monthly("ghi")].to_numpy(), np.outer([1.0, 1.1, 1.0], SUN), rtol=1e-12)


@pytest.mark.parametrize(
    ("unit", "stored"),
    [
        ("kWh/m2/day", 5.0),
        ("MJ/m2/day", 18.0),  # 1 kWh is 3.6 MJ
        ("W/m2", 5000 / 24),
        ("kWh/m²/day", 5.0),  # the same unit, spelled with a raised two
    ],
)
def test_units_of_irradiation(unit, stored, make_sites, make_plan, make_raster, keeps_promise):
    file = make_raster("sun.tif", np.full((12, 3, 3), stored))
    plan = make_plan(rasters={"solar": {"file": file, "unit": unit}})
    columns = run(at(make_sites, (-9.85, 30.15)), plan, keeps_promise).columns
    np.testing.assert_allclose(columns[monthly("ghi")].to_numpy(), 5.0, rtol=1e-12)


def test_monthly_sums_are_divided_by_the_days_of_the_month(make_sites, make_plan, make_raster, keeps_promise):
    file = make_raster("sun.tif", np.full((12, 3, 3), 150.0))
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/month"}})
    columns = run(at(make_sites, (-9.85, 30.15)), plan, keeps_promise).columns
    assert columns.loc[1, "ghi_04"] == pytest.approx(150 / 30)
    assert columns.loc[1, "ghi_02"] == pytest.approx(150 / 28.25)  # mean February, leap years included


def test_one_band_of_wind_stands_for_all_months(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"wind_speed": {"file": make_raster("w.tif", NINE), "unit": "m/s"}})
    columns = run(at(make_sites, (-9.85, 30.15)), plan, keeps_promise).columns
    assert (columns[monthly("wind")] == 5.0).all(axis=None)


def test_bands_of_the_plan_are_in_month_order(make_sites, make_plan, make_raster, keeps_promise):
    values = np.arange(13.0)[:, None, None] * np.ones((1, 3, 3))
    source = {"file": make_raster("t.tif", values), "unit": "degC", "bands": list(range(13, 1, -1))}
    columns = run(at(make_sites, (-9.85, 30.15)), make_plan(rasters={"air_temperature": source}), keeps_promise).columns
    assert columns[monthly("air_temperature")].iloc[0].tolist() == list(range(12, 0, -1))


def test_outside_nodata_and_valid_are_told_apart(make_sites, make_plan, make_raster, keeps_promise):
    cells = np.ones((3, 3))
    cells[0, 0] = np.nan
    file = make_raster("sun.tif", monthly_raster(cells, SUN))
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/day"}})
    points = [(-9.85, 30.15), (-9.75, 30.05), (-9.85, 30.35), (np.nan, np.nan), (0.0, 0.0), (-9.75, 30.15)]
    sites = at(
        make_sites,
        *points,
        position_status=["ok", "ok", "ok", "missing", "placeholder", "outside"],
        row_kind=["site", "site", "site", "blank", "site", "site"],
    )
    step = run(sites, plan, keeps_promise)
    valid = ["valid", "nodata", "outside", "outside", "outside", "valid"]
    assert step.columns["ghi_status"].tolist() == valid
    assert step.columns["solar_cell"].tolist() == [4, -1, -1, -1, -1, 1]
    assert step.columns[monthly("ghi")].notna().all(axis=1).tolist() == [each == "valid" for each in valid]
    # Rows without a position already have a finding of their own.
    assert [(finding.row, finding.rule) for finding in step.findings] == [
        (2, "raster_nodata"),
        (3, "raster_outside"),
    ]
    checks = step.checks.set_index("inventory_row")
    assert checks["rule"].eq("no_solar_value").all()
    assert checks["pass"].to_dict() == {1: True, 2: False, 3: False, 5: False, 6: True}
    assert checks["subject"].tolist() == ["valid", "nodata", "outside", "outside", "valid"]


def test_a_month_without_data_takes_the_year_away(make_sites, make_plan, make_raster, keeps_promise):
    values = monthly_raster(np.ones((3, 3)), SUN)
    values[6, 1, 1] = np.nan
    plan = make_plan(rasters={"solar": {"file": make_raster("s.tif", values), "unit": "kWh/m2/day"}})
    columns = run(at(make_sites, (-9.85, 30.15)), plan, keeps_promise).columns
    assert columns.loc[1, "ghi_status"] == "nodata"
    assert columns[monthly("ghi")].isna().all(axis=None)


@pytest.mark.parametrize(
    ("declared", "stored", "likely"),
    [
        ("kWh/m2/day", 165.0, "'kWh/m2/month'"),
        ("kWh/m2/day", 19.0, "'MJ/m2/day'"),
        ("W/m2", 5.5, "'kWh/m2/day'"),
        ("MJ/m2/day", 5.5, "'kWh/m2/day'"),
        ("kWh/m2/month", 5.5, "'kWh/m2/day'"),
    ],
)
def test_a_wrong_unit_of_irradiation_is_named(declared, stored, likely, make_sites, make_plan, make_raster):
    # 5.5 kWh/m2/d is 165 kWh a month of 30 days and 19.8 MJ; at 10°S about 10 fall outside the atmosphere.
    file = make_raster("sun.tif", np.full((12, 3, 3), stored))
    plan = make_plan(rasters={"solar": {"file": file, "unit": declared}})
    (fault,) = faults_of(at(make_sites, (-9.85, 30.15)), plan)
    assert f"band 1: found {stored:g} {declared} near inventory row 1 (1 of 1 positions)" in fault
    assert f"the values fit unit = {likely}" in fault


def test_a_wrong_unit_of_temperature_is_named(make_sites, make_plan, make_raster):
    file = make_raster("t.tif", np.full((12, 3, 3), 298.0))
    plan = make_plan(rasters={"air_temperature": {"file": file, "unit": "degC"}})
    (fault,) = faults_of(at(make_sites, (-9.85, 30.15)), plan)
    assert "expected -60 to 60 degC; the values fit unit = 'K'" in fault


def test_one_bad_month_is_named(make_sites, make_plan, make_raster):
    months = SUN.copy()
    months[2] = 11.5  # above the 10.4 kWh/m2/d outside the atmosphere in March at 10°S (FAO-56 equation 21)
    file = make_raster("sun.tif", monthly_raster(np.ones((3, 3)), months))
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/day"}})
    (fault,) = faults_of(at(make_sites, (-9.85, 30.15)), plan)
    assert "band 3: found 11.5 kWh/m2/day" in fault


# Forms of a raster ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "column", "unit", "stored", "ours"),
    [
        ("air_temperature", "air_temperature_07", "K", 298.15, 25.0),
        ("wind_speed", "wind_07", "km/h", 36.0, 10.0),
        ("rain", "rain_07", "mm/month", 62.0, 62.0),
        ("rain", "rain_07", "mm/day", 2.0, 62.0),
    ],
)
def test_other_units(key, column, unit, stored, ours, make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={key: {"file": make_raster("a.tif", np.full((12, 3, 3), stored)), "unit": unit}})
    columns = run(at(make_sites, MIDDLE), plan, keeps_promise).columns
    assert columns.loc[1, column] == pytest.approx(ours, rel=1e-12)


@pytest.mark.parametrize(
    ("stored", "unit", "expected"),
    [
        (np.full((3, 3), 700.0), "mm/month", "bands: found 1; expected 12"),  # a year's rain says nothing of seasons
        (np.full((12, 3, 3), 60.0), "mm/year", "expected one of: mm/month, mm/day"),
        (np.full((12, 3, 3), -1.0), "mm/month", "expected 0 to 4000 mm/month; if it means no data, write nodata = -1"),
    ],
)
def test_rain_that_is_refused(stored, unit, expected, make_sites, make_plan, make_raster):
    plan = make_plan(rasters={"rain": {"file": make_raster("rain.tif", stored), "unit": unit}})
    (fault,) = faults_of(at(make_sites, MIDDLE), plan)
    assert expected in fault


def test_rain_is_empty_beside_the_raster_and_without_one(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"rain": {"file": make_raster("r.tif", monthly_raster(NINE, SUN)), "unit": "mm/month"}})
    step = run(at(make_sites, MIDDLE, (-9.85, 30.35)), plan, keeps_promise)
    np.testing.assert_allclose(rows(step.columns, "rain")[0], 5.0 * SUN)  # row by row, the middle cell is 5
    assert np.isnan(rows(step.columns, "rain")[1]).all() and (2, "rain", "raster_outside") in told(step)
    bare = run(at(make_sites, MIDDLE), make_plan(), keeps_promise)
    assert np.isnan(rows(bare.columns, "rain")).all()


def month_files(make_raster: Any, months: np.ndarray, **profile: Any) -> list[str]:
    return [make_raster(f"m{number:02d}.tif", np.full((3, 3), month), **profile) for number, month in enumerate(months)]


def test_twelve_files_are_twelve_bands(make_sites, make_plan, make_raster, keeps_promise):
    whole = {"file": make_raster("sun.tif", monthly_raster(np.ones((3, 3)), SUN)), "unit": "kWh/m2/day"}
    apart = {"files": month_files(make_raster, SUN), "unit": "kWh/m2/day"}
    sites = at(make_sites, MIDDLE, (-9.85, 30.35), (-9.71, 30.01))
    steps = [run(sites, make_plan(rasters={"solar": source}), keeps_promise) for source in (whole, apart)]
    pd.testing.assert_frame_equal(steps[0].columns, steps[1].columns)
    assert told(steps[1]) == [(2, "solar", "raster_outside")]


def test_twelve_files_have_scale_band_and_nodata_each(make_sites, make_plan, make_raster, keeps_promise):
    files = []
    for number, month in enumerate(SUN):
        nodata = -1 - number
        bands = np.stack([np.full((3, 3), 7777), np.full((3, 3), round(100 * month))]).astype("int16")
        bands[1, 0, 0] = nodata
        files.append(make_raster(f"m{number}.tif", bands, nodata=nodata, scale=0.01))
    plan = make_plan(rasters={"solar": {"files": files, "unit": "kWh/m2/day", "bands": [2]}})
    step = run(at(make_sites, MIDDLE, (-9.71, 30.01)), plan, keeps_promise)
    np.testing.assert_allclose(rows(step.columns, "ghi")[0], SUN, atol=0.005)  # stored as hundredths
    assert step.columns["ghi_status"].tolist() == ["valid", "nodata"]


def test_every_fault_of_twelve_files_is_told(tmp_path, make_sites, make_plan, make_raster):
    files = month_files(make_raster, SUN)
    files[1] = make_raster("shifted.tif", np.full((3, 3), 5.0), transform=eastward(30.05))
    files[2] = make_raster("smaller.tif", np.full((3, 2), 5.0))
    files[3] = make_raster("metres.tif", np.full((3, 3), 5.0), crs="EPSG:4210")
    files[4] = make_raster("two.tif", np.full((2, 3, 3), 5.0))
    files[6] = files[5]
    (tmp_path / "text.tif").write_text("no raster", encoding="utf-8")
    files[7] = str(tmp_path / "text.tif")
    faults = faults_of(at(make_sites, MIDDLE), make_plan(rasters={"solar": {"files": files, "unit": "kWh/m2/year"}}))
    expected = [
        ("m00.tif", "'kWh/m2/year' with 12 months", "'kWh/m2/month'"),
        ("m05.tif", "one file for several months"),
        ("shifted.tif", "grid", "from 30.05", "from 30,"),
        ("smaller.tif", "3 x 2 cells", "3 x 3 cells"),
        ("metres.tif", "CRS", "EPSG:4210", "EPSG:4326"),
        ("two.tif", "bands: found 2", "expected 1; choose them with bands = [numbers]"),
        ("text.tif", "a raster that can be read"),
    ]
    assert len(faults) == len(expected), faults
    for fault, parts in zip(faults, expected, strict=True):
        assert all(part in fault for part in parts), (fault, parts)


def eastward(west: float) -> Any:
    return Affine(0.1, 0, west, 0, -0.1, -9.7)


def test_an_impossible_value_names_the_file_of_its_month(make_sites, make_plan, make_raster):
    months = SUN.copy()
    months[4] = 9.9
    plan = make_plan(rasters={"solar": {"files": month_files(make_raster, months), "unit": "kWh/m2/day"}})
    (fault,) = faults_of(at(make_sites, MIDDLE), plan)
    assert "m04.tif: band 1: found 9.9 kWh/m2/day" in fault


def test_all_faults_of_all_rasters_come_at_once(tmp_path, make_sites, make_plan, make_raster):
    (tmp_path / "text.tif").write_text("not a raster", encoding="utf-8")
    year = np.ones((12, 3, 3))
    plan = make_plan(
        rasters={
            "solar": {"file": make_raster("sun.tif", year, crs=None), "unit": "suns"},
            "air_temperature": {"file": str(tmp_path / "text.tif"), "unit": "degC"},
            "wind_speed": {"file": make_raster("wind.tif", year[:3]), "unit": "m/s"},
            "diffuse": {"file": make_raster("diffuse.tif", NINE), "unit": "kWh/m2/day"},
        }
    )
    faults = faults_of(at(make_sites, MIDDLE), plan)
    expected = [
        ("sun.tif", "'suns'", "one of: kWh/m2/day, kWh/m2/month, MJ/m2/day, MJ/m2/month, W/m2"),
        ("sun.tif", "CRS", "coordinate reference system"),
        ("diffuse.tif", "bands: found 1", "expected 12"),
        ("text.tif", "file", "a raster that can be read"),
        ("wind.tif", "bands: found 3", "expected 12 or 1"),
    ]
    assert len(faults) == len(expected)
    for fault, parts in zip(faults, expected, strict=True):
        assert all(part in fault for part in parts), (fault, parts)


# One value a year -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "stored"),
    [
        ("kWh/m2/day", 5.5),
        ("kWh/m2/year", 5.5 * 365.25),
        ("MJ/m2/day", 19.8),
        ("MJ/m2/year", 19.8 * 365.25),
        ("W/m2", 5500 / 24),
    ],
)
def test_a_year_of_sun_follows_the_seasons(unit, stored, make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"solar": {"file": make_raster("s.tif", np.full((3, 3), stored)), "unit": unit}})
    # The middle cell is on land; the centre of the eastern one lies at sea of the stand-in.
    step = run(at(make_sites, MIDDLE, (-9.85, 30.21)), plan, keeps_promise)
    ghi = rows(step.columns, "ghi")
    np.testing.assert_allclose(ghi @ MONTH_DAYS / MONTH_DAYS.sum(), 5.5, rtol=1e-12)
    np.testing.assert_allclose(ghi[0] / ghi[0, 3], (1 + 0.1 * CURVE) / (1 + 0.1 * CURVE[3]), rtol=1e-12)
    outside = np.asarray(daily_extraterrestrial_kwh_m2(-9.85, raster_limits.MEAN_DAY))
    np.testing.assert_allclose(ghi[1] / ghi[1, 0], outside / outside[0], rtol=1e-9)
    assert told(step) == [(0, "solar", "annual_shape"), (2, "solar", "annual_shape_sea")]
    assert (step.columns["resource_source"] == "raster").all()


def test_a_year_of_a_raster_of_longitudes_to_360(make_sites, make_plan, make_raster, keeps_promise):
    file = make_raster("s.tif", np.full((2, 4), 5.0), transform=Affine(90, 0, 0, 0, -90, 90))
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/day"}})
    # The cell's centre is 315°E, which is 45°W: land of the stand-in.
    step = run(at(make_sites, (20.0, -80.0), (np.nan, 0.0)), plan, keeps_promise)
    assert told(step) == [(0, "solar", "annual_shape")]
    assert step.columns["ghi_status"].tolist() == ["valid", "outside"]


@pytest.mark.parametrize(("scale", "written"), [(None, "12"), (0.1, "1.2")])
def test_one_mean_month_is_refused_with_what_to_write(scale, written, make_sites, make_plan, make_raster):
    source = {"file": make_raster("s.tif", np.full((3, 3), 165.0)), "unit": "kWh/m2/month", "scale": scale}
    (fault,) = faults_of(at(make_sites, MIDDLE), make_plan(rasters={"solar": source}))
    assert "'kWh/m2/month' with one band" in fault
    assert f"expected 'kWh/m2/year'; of the mean month's total, with scale = {written}" in fault


def test_a_year_of_temperature_follows_the_built_in_curve(make_sites, make_plan, make_raster, keeps_promise):
    plan = make_plan(rasters={"air_temperature": {"file": make_raster("t.tif", np.full((3, 3), 20.0)), "unit": "degC"}})
    step = run(at(make_sites, MIDDLE, (-9.85, 30.25)), plan, keeps_promise)
    air = rows(step.columns, "air_temperature")
    np.testing.assert_allclose(air @ MONTH_DAYS / MONTH_DAYS.sum(), 20.0, rtol=1e-12)
    np.testing.assert_allclose(air[0] - air[0, 0], 2 * (CURVE - 1), atol=1e-12)
    assert (air[1] == 20.0).all()
    assert (1, "latitude", "at_sea") not in told(step)
    assert {(0, "air_temperature", "annual_shape"), (2, "air_temperature", "annual_shape_sea")} <= set(told(step))


# What goes with the sun -----------------------------------------------------------------------------------------


def sun_and(make_plan: Any, make_raster: Any, **others: tuple[np.ndarray, str]) -> LoadedPlan:
    """A plan with the sun of SUN and more rasters: key = (values, unit)."""
    sources = {"solar": (monthly_raster(np.ones((3, 3)), SUN), "kWh/m2/day"), **others}
    rasters = {
        key: {"file": make_raster(f"{key}.tif", values), "unit": unit} for key, (values, unit) in sources.items()
    }
    return make_plan(rasters=rasters)


def test_diffuse_spread_and_range_are_read(make_sites, make_plan, make_raster, keeps_promise):
    plan = sun_and(
        make_plan,
        make_raster,
        diffuse=(monthly_raster(np.ones((3, 3)), 0.4 * SUN * 3.6), "MJ/m2/day"),
        clearness_spread=(np.full((12, 3, 3), 17.0), "%"),
        temperature_range=(np.full((3, 3), 12.0), "K"),
    )
    step = run(at(make_sites, MIDDLE, (-9.85, 30.35)), plan, keeps_promise)
    np.testing.assert_allclose(rows(step.columns, "diffuse")[0], 0.4 * SUN, rtol=1e-12)
    np.testing.assert_allclose(rows(step.columns, "clearness_spread")[0], 0.17, rtol=1e-12)
    np.testing.assert_allclose(rows(step.columns, "temperature_range")[0], 12.0)
    for stem in ("diffuse", "clearness_spread", "temperature_range"):
        assert np.isnan(rows(step.columns, stem)[1]).all()
        assert (2, stem, "raster_outside") in told(step)


@pytest.mark.parametrize(
    ("key", "values", "unit", "found", "expected"),
    [
        ("diffuse", 1.03 * SUN, "kWh/m2/day", "band 1: found 5.15 kWh/m2/day", "at most the global irradiation"),
        ("diffuse", 0.4 * SUN, "MJ/m2/day", "band 1: found 2 MJ/m2/day", "the values fit unit = 'kWh/m2/day'"),
        ("diffuse", 0.4 * SUN * 3.6, "kWh/m2/day", "found 7.2 kWh", "the values fit unit = 'MJ/m2/day'"),
        ("diffuse", -0.1 * SUN, "kWh/m2/day", "found -0.5 kWh", "at most the global irradiation"),
        ("clearness_spread", np.full(12, 0.46), "1", "found 0.46 1", "expected 0 to 0.45"),
        ("clearness_spread", np.full(12, 17.0), "1", "found 17 1", "the values fit unit = '%'"),
        ("temperature_range", np.full(12, 36.0), "K", "found 36 K", "expected 0 to 35 K"),
        ("temperature_range", np.full(12, -1.0), "K", "found -1 K", "expected 0 to 35 K"),
    ],
)
def test_impossible_companions_are_refused(key, values, unit, found, expected, make_sites, make_plan, make_raster):
    plan = sun_and(make_plan, make_raster, **{key: (monthly_raster(np.ones((3, 3)), values), unit)})
    (fault,) = faults_of(at(make_sites, MIDDLE), plan)
    assert f"{key}.tif" in fault
    assert found in fault, fault
    assert expected in fault, fault


def test_diffuse_up_to_two_percent_above_the_sun_is_rounding(make_sites, make_plan, make_raster, keeps_promise):
    plan = sun_and(make_plan, make_raster, diffuse=(monthly_raster(np.ones((3, 3)), 1.015 * SUN), "kWh/m2/day"))
    run(at(make_sites, MIDDLE), plan, keeps_promise)


# Without a raster -----------------------------------------------------------------------------------------------


def test_the_built_in_sun_stands_in_on_land(make_sites, make_plan, keeps_promise):
    points = [MIDDLE, (-9.85, 30.25), (np.nan, np.nan), (0.0, 0.0)]
    sites = at(
        make_sites,
        *points,
        position_status=["ok", "ok", "missing", "placeholder"],
        elevation_m=[1000.0, np.nan, np.nan, np.nan],
    )
    step = run(sites, make_plan(), keeps_promise)
    columns = step.columns
    assert columns["climate_zone"].tolist() == ["Aw", "", "", ""]
    assert columns["ghi_status"].tolist() == ["valid", "sea", "absent", "absent"]
    assert columns["resource_source"].tolist() == ["built-in", "", "", ""]
    assert columns["solar_cell"].tolist() == [301, -1, -1, -1]
    assert columns["solar_latitude"].tolist() == pytest.approx([-9.8, np.nan, np.nan, np.nan], nan_ok=True)
    np.testing.assert_allclose(rows(columns, "ghi")[0], 5 + 0.5 * CURVE)
    assert np.isnan(rows(columns, "ghi")[1:]).all()
    # The elevation of the site reaches the climate: 6.5 K a kilometre in the stand-in.
    np.testing.assert_allclose(rows(columns, "air_temperature")[0], 24 + 2 * CURVE - 6.5)
    assert columns["air_temperature_status"].tolist() == ["built-in", "absent", "absent", "absent"]
    assert (columns["wind_status"] == "absent").all()
    assert columns["solar_range_share"].tolist() == pytest.approx([0.15, np.nan, np.nan, np.nan], nan_ok=True)
    assert columns["solar_sizing_factor"].tolist() == pytest.approx([1 / 1.11, np.nan, np.nan, np.nan], nan_ok=True)
    assert told(step) == [(2, "latitude", "at_sea")]
    checks = step.checks.set_index("inventory_row")
    assert checks["pass"].to_dict() == {1: True, 2: False, 3: False, 4: False}
    assert checks["subject"].tolist() == ["valid", "sea", "absent", "absent"]


def test_the_true_built_in_climate_answers_on_land_and_at_sea(monkeypatch, make_sites, make_plan, keeps_promise):
    monkeypatch.setattr(resource, "world_climate", BUILT_IN)
    monkeypatch.setattr(resource, "climate_zones", ZONES)
    # From memory: about 5 to 6 kWh/m2/d a year and 19 °C at 1700 m near Nairobi; then the middle of the Atlantic.
    sites = at(make_sites, (-1.29, 36.82), (0.5, -25.0), (np.nan, np.nan), elevation_m=[1700.0, np.nan, np.nan])
    columns = run(sites, make_plan(), keeps_promise).columns
    assert columns["ghi_status"].tolist() == ["valid", "sea", "absent"]
    assert 4.8 < rows(columns, "ghi")[0] @ MONTH_DAYS / MONTH_DAYS.sum() < 6.2
    assert 16 < rows(columns, "air_temperature")[0].mean() < 22
    assert columns["climate_zone"].tolist()[1:] == ["", ""]


def test_a_table_without_a_position_is_no_fault(make_sites, make_plan, keeps_promise):
    sites = at(make_sites, (np.nan, np.nan), position_status="missing")
    assert run(sites, make_plan(), keeps_promise).columns.loc[1, "ghi_status"] == "absent"
    assert run(sites.iloc[:0], make_plan(), keeps_promise).columns.empty


def test_a_raster_has_the_plans_range_and_the_low_year_of_its_zone(make_sites, make_plan, make_raster, keeps_promise):
    plan = sun_and(make_plan, make_raster)
    columns = run(at(make_sites, MIDDLE), plan, keeps_promise).columns
    assert columns.loc[1, "solar_range_share"] == 0.08  # the plan's default
    assert columns.loc[1, "solar_sizing_factor"] == pytest.approx(LOW_YEAR)
    file = {"solar": {"file": make_raster("s.tif", monthly_raster(np.ones((3, 3)), SUN)), "unit": "kWh/m2/day"}}
    other = make_plan(rasters=file, uncertainty={"solar_share": 0.2}, array={"low_year_factor": 0.9})
    columns = run(at(make_sites, MIDDLE), other, keeps_promise).columns
    assert columns.loc[1, ["solar_range_share", "solar_sizing_factor"]].tolist() == [0.2, 0.9]


def test_the_built_in_sun_is_sized_for_less(make_sites, make_plan, keeps_promise):
    plan = make_plan(array={"low_year_factor": 0.9})
    columns = run(at(make_sites, MIDDLE), plan, keeps_promise).columns
    assert columns.loc[1, "solar_sizing_factor"] == pytest.approx(0.9 / 1.11)


def test_a_temperature_that_the_plan_writes_is_not_overruled(make_sites, make_plan, keeps_promise):
    step = run(at(make_sites, MIDDLE), make_plan(array={"air_temperature_c": 25.0}), keeps_promise)
    assert step.columns.loc[1, "air_temperature_status"] == "absent"
    assert np.isnan(rows(step.columns, "air_temperature")).all()


# A weather file -------------------------------------------------------------------------------------------------


def test_a_weather_file_gives_sun_air_and_wind(weather, make_sites, make_plan, keeps_promise):
    step = run(at(make_sites, MIDDLE, (np.nan, np.nan)), make_plan(weather=weather), keeps_promise)
    columns = step.columns
    assert columns["resource_source"].tolist() == ["weather", ""]
    assert columns["solar_cell"].tolist() == [0, -1]
    assert columns.loc[1, "solar_latitude"] == -9.0
    np.testing.assert_allclose(rows(columns, "ghi")[0], SUN, rtol=1e-12)
    np.testing.assert_allclose(rows(columns, "air_temperature")[0], 20 + np.arange(12), rtol=1e-12)
    np.testing.assert_allclose(rows(columns, "wind")[0], 2 + np.arange(12) / 10, rtol=1e-12)
    assert columns["ghi_status"].tolist() == columns["wind_status"].tolist() == ["valid", "absent"]
    assert columns.loc[1, "solar_sizing_factor"] == pytest.approx(LOW_YEAR)
    assert told(step) == [(0, "wind_m_s", "weather_filled")]


def test_with_a_raster_the_weather_file_is_scaled_to_it(weather, make_sites, make_plan, make_raster, keeps_promise):
    cells = np.ones((3, 3))
    cells[0, 0], cells[2, 2] = 1.2, 0.6
    rasters = {"solar": {"file": make_raster("s.tif", monthly_raster(cells, SUN)), "unit": "kWh/m2/day"}}
    plan = make_plan(rasters=rasters, weather=weather)
    step = run(at(make_sites, (-9.71, 30.01), MIDDLE), plan, keeps_promise)
    assert (step.columns["resource_source"] == "weather").all()
    assert step.columns["solar_cell"].tolist() == [0, 4]
    assert (step.columns["solar_latitude"] == -9.0).all()
    np.testing.assert_allclose(rows(step.columns, "ghi"), np.outer([1.2, 1.0], SUN), rtol=1e-12)
    np.testing.assert_allclose(rows(step.columns, "air_temperature")[0], 20 + np.arange(12))
    assert told(step) == [(0, "wind_m_s", "weather_filled")]
    step = run(at(make_sites, (-9.99, 30.29), MIDDLE), plan, keeps_promise)
    assert step.findings[-1] == Finding(0, "", "ghi", "weather_scaled", "warning", "0.60 to 0.60, 1 sites")


def test_the_hours_give_the_daily_range_of_temperature(weather, monkeypatch, make_sites, make_plan, keeps_promise):
    year = weather_year()
    swing = np.where(np.arange(8760) % 24 == 14, 3.0 + year.month, 0.0) - np.where(np.arange(8760) % 24 == 5, 2.0, 0.0)
    year.air_temperature_c = year.air_temperature_c + swing
    monkeypatch.setattr(resource, "read_weather", lambda name, path: (year, []))
    columns = run(at(make_sites, MIDDLE), make_plan(weather=weather), keeps_promise).columns
    # closed form: 3 + m above the day's level at 14 h, 2 below it at 5 h
    np.testing.assert_allclose(rows(columns, "temperature_range")[0], 5.0 + np.arange(12))


def test_rasters_that_the_hours_replace_are_told(weather, make_sites, make_plan, make_raster, keeps_promise):
    rasters = {
        "solar": {"file": make_raster("s.tif", SUN[:, None, None] * np.ones((12, 3, 3))), "unit": "kWh/m2/day"},
        "clearness_spread": {"file": make_raster("c.tif", np.full((12, 3, 3), 0.15)), "unit": "1"},
        "wind_speed": {"file": make_raster("w.tif", np.full((1, 3, 3), 2.5)), "unit": "m/s"},
    }
    step = run(at(make_sites, MIDDLE), make_plan(rasters=rasters, weather=weather), keeps_promise)
    assert [found.column for found in step.findings if found.rule == "weather_instead"] == [
        "clearness_spread",
        "wind_speed",
    ]


def test_sites_far_from_the_weather_file_are_told(weather, make_sites, make_plan, keeps_promise):
    # Along a meridian a degree is 110.6 km here (WGS 84): 1.8° are 199 km, 1.82° are 201 km.
    step = run(at(make_sites, (-10.8, 30.0), (-10.82, 30.0), (np.nan, 0.0)), make_plan(weather=weather), keeps_promise)
    (far,) = [finding for finding in step.findings if finding.rule == "weather_far"]
    assert (far.row, far.column, far.old_value) == (2, "latitude", "201 km")


def test_faults_of_weather_and_rasters_come_together(monkeypatch, make_sites, make_plan, make_raster):
    def broken(name: str, path: Path) -> Any:
        raise InputError([Fault(name, "line 9", "a word", "a number")])

    monkeypatch.setattr(resource, "read_weather", broken)
    rasters = {"wind_speed": {"file": make_raster("w.tif", np.full((3, 3), 99.0)), "unit": "m/s"}}
    faults = faults_of(at(make_sites, MIDDLE), make_plan(rasters=rasters, weather={"file": "hours.epw"}))
    assert len(faults) == 2
    assert faults[0].startswith("hours.epw: line 9")
    assert "w.tif" in faults[1]
