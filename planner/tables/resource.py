"""Step: what sun, air temperature, wind and rain each site has, and where they come from.

Sun: the solar raster; else the weather file; else the built-in climate of the place. The resource is computed
once a solar cell, so sites take the values of the cell that holds them, at its centre. Air temperature: its
raster, else the weather file, else what the plan writes, else the built-in climate. Each value comes with a
status, so that a site off the raster, a hole in it, a place at sea and a raster that is not given are never taken
for one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from planner.engine.weather import monthly_ghi_kwh_m2_day
from planner.errors import Fault, InputError, raise_if
from planner.glossary import monthly
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.plan import LoadedPlan, RasterSource
from planner.tables import raster_limits as limits
from planner.tables.raster_files import DAYS, Floats, Integers, Raster, Sample, centres, open_raster, sample
from planner.tables.step import Finding, Step, frame_of, rule_rows
from planner.tables.weather_file import read_weather
from planner.tables.world_climate import WorldClimate, climate_zones, seasonal_shape, world_climate

Flags = NDArray[np.bool_]
Texts = NDArray[np.str_]

# Key in [rasters] → stem of our twelve columns. The sun comes first: the diffuse part is held against it.
STEMS = {
    "solar": "ghi",
    "diffuse": "diffuse",
    "clearness_spread": "clearness_spread",
    "air_temperature": "air_temperature",
    "temperature_range": "temperature_range",
    "wind_speed": "wind",
    "rain": "rain",
}
READS = ("site_id", "row_kind", "latitude", "longitude", "position_status", "elevation_m")
WRITES = (
    "climate_zone",
    "resource_source",
    "solar_cell",
    "solar_latitude",
    *monthly("ghi"),
    "ghi_status",
    *monthly("diffuse"),
    *monthly("clearness_spread"),
    "solar_range_share",
    "solar_sizing_factor",
    *monthly("air_temperature"),
    "air_temperature_status",
    *monthly("temperature_range"),
    *monthly("wind"),
    "wind_status",
    *monthly("rain"),
)

# Sizing rules take the built-in sun lower, so that nine in ten places and years have more: its root mean square error
# against measured years is 7 %, a year differs from the mean one by 3 %, and 1.28 × 7.6 % is 10 % of the value.
BUILT_IN_SIZING = 1 / 1.11
# Standard deviation of a year's irradiation about the mean year, share, by the beginning of the Köppen–Geiger code: of
# satellite records of 12 to 19 years seen, 2.2 to 2.9 % where it is dry or tropical with a dry season, 3.1 % in a humid
# subtropical place, 4.2 to 4.5 % in temperate ones, 5.5 % at 63° N. For the wet tropics there is judgement only.
YEARLY_SPREAD = {"Aw": 0.025, "As": 0.025, "A": 0.035, "B": 0.025, "Cfa": 0.035, "Cwa": 0.035, "Csa": 0.03, "C": 0.045}
YEARLY_SPREAD |= {"D": 0.045, "E": 0.055, "": 0.035}
NINE_IN_TEN = 1.2816  # standard deviations below the mean that nine in ten years exceed, normal law
# Farther from the weather file's place than this is told, km.
FAR_KM = 200.0
FAR_SHARE = 0.25  # range of the irradiation of sites so far from the file, where no solar raster corrects it
# Rasters that an hourly year leaves without use: its hours have all this.
OF_THE_HOURS = ("diffuse", "clearness_spread", "temperature_range", "wind_speed")
# Months of the raster over those of the weather file that are told beyond.
SCALED = (0.7, 1.4)
MONTH_DAYS = np.array(DAYS)


@dataclass(frozen=True)
class Points:
    """The sites' rows and positions; NaN where there is no usable position or no elevation."""

    site_id: pd.Series
    latitude: Floats
    longitude: Floats
    elevation_m: Floats

    @property
    def rows(self) -> pd.Index:
        """The inventory_row of each."""
        return self.site_id.index

    @cached_property
    def placed(self) -> Flags:
        """Whether there is a position."""
        return np.asarray(np.isfinite(self.latitude) & np.isfinite(self.longitude))

    @cached_property
    def zone(self) -> Texts:
        """The climate zone of each place; "" at sea and without a position."""
        zone = np.full(self.placed.size, "", dtype="<U3")
        zone[self.placed] = climate_zones(self.latitude[self.placed], self.longitude[self.placed])
        return zone

    @cached_property
    def climate(self) -> WorldClimate:
        """The built-in climate, computed when first asked for; as at sea where there is no position."""
        some = world_climate(*(each[self.placed] for each in (self.latitude, self.longitude, self.elevation_m)))
        count, empty = self.placed.size, {"f": np.nan, "i": -1, "U": ""}
        spread = []
        for part in some:
            whole = np.full((count, *part.shape[1:]), empty[part.dtype.kind], dtype=part.dtype)
            whole[self.placed] = part
            spread.append(whole)
        return WorldClimate(*spread)

    def findings(self, where: Flags, column: str, rule: str, values: list[str] | None = None) -> list[Finding]:
        """A warning for each row `where`."""
        rows = zip(self.rows[where], self.site_id[where], values or [""] * int(where.sum()), strict=True)
        return [Finding(int(row), site_id, column, rule, "warning", value) for row, site_id, value in rows]


class Months(NamedTuple):
    """Twelve values a site, (12, n), NaN where there are none, with their status (n,)."""

    values: Floats
    status: Texts


class Cells(NamedTuple):
    """The solar cell of each site (n,), -1 where it has none, and the latitude of its centre."""

    cell: Integers
    latitude: Floats


class Year(NamedTuple):
    """The weather file's place and its twelve monthly means."""

    latitude_deg: float
    longitude_deg: float
    ghi_kwh_m2_day: Floats
    air_temperature_c: Floats
    temperature_range_k: Floats  # means of the days' ranges
    wind_m_s: Floats


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Sun, diffuse part, spread of days, temperature, its daily range, wind and rain of every site.

    Raises InputError with the faults of all rasters and of the weather file together.
    """
    position = sites[["latitude", "longitude"]].where(sites["position_status"].isin(["ok", "outside"]))
    latitude, longitude = position.to_numpy(dtype="float64").T
    points = Points(sites["site_id"], latitude, longitude, sites["elevation_m"].to_numpy(dtype="float64"))
    faults: list[Fault] = []
    findings: list[Finding] = []
    year = _weather(plan, faults, findings)
    taken, cells = _rasters(plan, points, faults, findings)
    raise_if(faults, InputError)

    columns: dict[str, object] = {"climate_zone": points.zone}
    columns |= _sun(plan, points, taken.get("solar"), cells, year, findings)
    columns |= _air(plan, points, taken.get("air_temperature"), year)
    columns |= _wind(points, taken.get("wind_speed"), year)
    for name in ("diffuse", "clearness_spread", "temperature_range", "rain"):
        columns |= _twelve(STEMS[name], taken[name].values if name in taken else np.nan)
    if year is not None:
        columns |= _twelve("temperature_range", _for_all(points, year.temperature_range_k).values)
        findings += _beside_weather(points, taken.get("solar"), year)
        findings += [Finding(0, "", name, "weather_instead", "info") for name in OF_THE_HOURS if name in taken]
    table = frame_of(columns, WRITES, sites.index)
    rows = sites.index[sites["row_kind"] == "site"]
    checks = rule_rows(rows, "no_solar_value", table["ghi_status"] == "valid", subject=table["ghi_status"])
    return Step(table, findings, checks)


# Sources ------------------------------------------------------------------------------------------------------


def _weather(plan: LoadedPlan, faults: list[Fault], findings: list[Finding]) -> Year | None:
    """Monthly means of the weather file."""
    if plan.plan.weather is None:
        return None
    name = plan.plan.weather.file
    try:
        weather, told = read_weather(name, plan.resolve(name))
    except InputError as error:
        faults += error.faults
        return None
    findings += told
    hours = np.bincount(weather.month, minlength=12)

    def means(values: Floats) -> Floats:
        return np.asarray(np.bincount(weather.month, weights=values, minlength=12) / hours)

    days = pd.Series(weather.air_temperature_c).groupby(weather.day)
    return Year(
        weather.latitude_deg,
        weather.longitude_deg,
        monthly_ghi_kwh_m2_day(weather),
        means(weather.air_temperature_c),
        means((days.transform("max") - days.transform("min")).to_numpy()),
        means(weather.wind_m_s),
    )


def _rasters(
    plan: LoadedPlan, points: Points, faults: list[Fault], findings: list[Finding]
) -> tuple[dict[str, Months], Cells | None]:
    """Months of every raster of the plan, and the cells of the solar one."""
    taken: dict[str, Months] = {}
    cells = None
    for name in STEMS:
        source: RasterSource | None = getattr(plan.plan.rasters, name)
        if source is None:
            continue
        try:
            with open_raster(name, source, plan.resolve) as raster:
                found = sample(raster, points.latitude, points.longitude)
                shape = _shape(raster, found, points, findings)
                rule = _rule(name, points, shape, taken)
                faults += limits.off_area(raster, found, points.latitude, points.longitude)
                faults += limits.impossible(raster, found, points.rows, rule)
                if name == "solar":
                    cells = _cells(raster, found)
        except InputError as error:
            faults += error.faults
            continue
        taken[name] = Months(_months(name, found.values, shape), found.status)
        findings += limits.missing_values(name, points.site_id, points.placed, found.status)
    return taken, cells


def _rule(name: str, points: Points, shape: Floats | None, taken: dict[str, Months]) -> limits.Rule:
    if name == "solar":
        return limits.sun(points.latitude, points.elevation_m, shape)
    if name == "diffuse" and "solar" in taken:
        return limits.diffuse(points.latitude, taken["solar"].values)
    return limits.within(f"{STEMS[name]}_01")


def _cells(raster: Raster, taken: Sample) -> Cells:
    """Cell and latitude of its centre, for points with a value."""
    cell = np.where(taken.status == "valid", taken.cell, -1)
    latitude, _ = _centres(raster, taken)
    return Cells(cell, np.where(cell >= 0, latitude, np.nan))


def _centres(raster: Raster, taken: Sample) -> tuple[Floats, Floats]:
    return centres(raster, *np.divmod(np.maximum(taken.cell, 0), raster.dataset.width))


# A year's value in months ---------------------------------------------------------------------------------------


def _shape(raster: Raster, taken: Sample, points: Points, findings: list[Finding]) -> Floats | None:
    """Months of a raster of one band: factors of the sun, departures of the temperature (12, n); else None.

    The built-in climate gives them; at sea the sun outside the atmosphere does, and temperature is flat.
    """
    if len(raster.bands) != 1 or raster.name not in {"solar", "air_temperature"}:
        return None
    valid = taken.status == "valid"
    shape = np.full((12, valid.size), np.nan)
    if raster.name == "solar":
        latitude, longitude = (each[valid] for each in _centres(raster, taken))
        shape[:, valid] = seasonal_shape(latitude, (longitude + 180) % 360 - 180).T
        outside = np.asarray(daily_extraterrestrial_kwh_m2(latitude[None, :], limits.MEAN_DAY[:, None]))
        instead = outside / (MONTH_DAYS @ outside / MONTH_DAYS.sum())
    else:
        curve = points.climate.air_temperature_c[valid].T
        shape[:, valid] = curve - MONTH_DAYS @ curve / MONTH_DAYS.sum()
        instead = np.zeros_like(curve)
    sea = valid & np.isnan(shape).any(axis=0)
    shape[:, sea] = instead[:, sea[valid]]
    findings.append(Finding(0, "", raster.name, "annual_shape", "info"))
    findings += points.findings(sea, raster.name, "annual_shape_sea")
    return shape


def _months(name: str, values: Floats, shape: Floats | None) -> Floats:
    """(bands, n) as months; a value of the year alone stands for all of them."""
    if shape is None:
        return np.broadcast_to(values, (12, values.shape[1]))
    return values * shape if name == "solar" else values + shape


# Columns --------------------------------------------------------------------------------------------------------


def _twelve(stem: str, values: Floats | float) -> dict[str, object]:
    if np.ndim(values) == 0:
        return dict.fromkeys(monthly(stem), values)
    return dict(zip(monthly(stem), np.asarray(values), strict=True))


def _for_all(points: Points, values: Floats) -> Months:
    """The same twelve values at every placed site."""
    return Months(
        np.where(points.placed, values[:, None], np.nan), np.where(points.placed, "valid", "absent").astype("<U8")
    )


def _sun(
    plan: LoadedPlan,
    points: Points,
    raster: Months | None,
    cells: Cells | None,
    year: Year | None,
    findings: list[Finding],
) -> dict[str, object]:
    """Where the sun comes from, its cell, its months, its range."""
    share: Floats | float = plan.plan.uncertainty.solar_share
    factor = low_year_factor(points.zone, plan.plan.array.low_year_factor)
    if raster is not None and cells is not None:
        sun, source = raster, "raster" if year is None else "weather"
    elif year is not None:
        sun, source = _for_all(points, year.ghi_kwh_m2_day), "weather"
        share = np.where(_distance_km(points, year) > FAR_KM, max(FAR_SHARE, share), share)
        cells = Cells(np.where(points.placed, 0, -1), np.zeros(points.placed.size))
    else:
        climate = points.climate
        on_land = climate.cell >= 0
        status = np.where(on_land, "valid", np.where(points.placed, "sea", "absent"))
        sun, source = Months(climate.ghi_kwh_m2_day.T, status), "built-in"
        cells = Cells(climate.cell, climate.cell_latitude_deg)
        share, years = climate.range_share, plan.plan.array.low_year_factor
        factor = np.full(on_land.size, BUILT_IN_SIZING * (1.0 if years is None else years))
        findings += points.findings(status == "sea", "latitude", "at_sea")
    valid = sun.status == "valid"
    latitude = cells.latitude if year is None else np.full(valid.size, year.latitude_deg)
    return {
        "resource_source": np.where(valid, source, ""),
        "solar_cell": np.where(valid, cells.cell, -1),
        "solar_latitude": np.where(valid, latitude, np.nan),
        **_twelve("ghi", sun.values),
        "ghi_status": sun.status,
        "solar_range_share": np.where(valid, share, np.nan),
        "solar_sizing_factor": np.where(valid, factor, np.nan),
    }


def low_year_factor(zone: Texts, given: float | None) -> Floats:
    """Sun of a year that nine in ten exceed over that of the mean year, (n,): as given, else by climate zone."""
    if given is not None:
        return np.full(zone.size, given)
    begins = sorted(YEARLY_SPREAD, key=len, reverse=True)
    distinct, place = np.unique(zone, return_inverse=True)
    spread = [next(YEARLY_SPREAD[begin] for begin in begins if code.startswith(begin)) for code in distinct.tolist()]
    return np.asarray(1.0 - NINE_IN_TEN * np.array(spread, dtype=np.float64)[place])


def _air(plan: LoadedPlan, points: Points, raster: Months | None, year: Year | None) -> dict[str, object]:
    """Temperature of the months; absent ones take the plan's value later. What the plan writes is not overruled."""
    if raster is not None:
        air = raster
    elif year is not None:
        air = _for_all(points, year.air_temperature_c)
    elif "air_temperature_c" in plan.plan.array.model_fields_set:
        air = Months(np.full((12, points.placed.size), np.nan), np.full(points.placed.size, "absent"))
    else:
        values = points.climate.air_temperature_c.T
        air = Months(values, np.where(np.isfinite(values).all(axis=0), "built-in", "absent"))
    return {**_twelve("air_temperature", air.values), "air_temperature_status": air.status}


def _wind(points: Points, raster: Months | None, year: Year | None) -> dict[str, object]:
    if raster is None and year is None:
        return {**_twelve("wind", np.nan), "wind_status": "absent"}
    wind = raster if raster is not None or year is None else _for_all(points, year.wind_m_s)
    assert wind is not None
    return {**_twelve("wind", wind.values), "wind_status": wind.status}


def _distance_km(points: Points, year: Year) -> Floats:
    """From each site to the weather file's place, (n,); meaningless where there is no position."""
    longitude, latitude = (np.full(points.placed.size, each) for each in (year.longitude_deg, year.latitude_deg))
    there = [np.where(points.placed, each, 0.0) for each in (points.longitude, points.latitude)]
    return np.asarray(pyproj.Geod(ellps="WGS84").inv(longitude, latitude, there[0], there[1])[2]) / 1000


def _beside_weather(points: Points, raster: Months | None, year: Year) -> list[Finding]:
    """What to know of a weather file: sites far from its place, and months that the raster makes much of."""
    distance = _distance_km(points, year)
    far = points.placed & (distance > FAR_KM)
    findings = points.findings(far, "latitude", "weather_far", [f"{km:.0f} km" for km in distance[far]])
    if raster is not None:
        ratio = raster.values / np.where(year.ghi_kwh_m2_day > 0.1, year.ghi_kwh_m2_day, np.nan)[:, None]
        off = (ratio < SCALED[0]) | (ratio > SCALED[1])
        if off.any():
            told = f"{np.nanmin(ratio[off]):.2f} to {np.nanmax(ratio[off]):.2f}, {off.any(axis=0).sum()} sites"
            findings.append(Finding(0, "", "ghi", "weather_scaled", "warning", told))
    return findings
