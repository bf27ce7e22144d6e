"""Irrigation by month, from climate, rain and crop. Not a step; the step of demand uses it.

Reference evapotranspiration is Penman–Monteith's of FAO-56 (Allen, Pereira, Raes & Smith 1998) on the mean day of each
month, with its procedures for missing data: humidity from the lowest temperature, the plan's wind. Crops stand behind
one another, each planted on the first day of a month. The gross need of a month is
(Kc ET0 + percolation − effective rain, not below 0) ÷ efficiency ÷ (1 − leaching), spread over all its days. Kc is the
table's, for air of middling humidity and wind; nothing is carried in the soil from month to month.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.crops import Crop, crop_named, crops
from planner.glossary import monthly
from planner.physics import evapotranspiration as et
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.plan import LoadedPlan
from planner.tables.cells.read import findings_for
from planner.tables.raster_files import DAYS
from planner.tables.raster_limits import MEAN_DAY
from planner.tables.step import Finding, parts_of

Floats = NDArray[np.float64]

READS: tuple[str, ...] = (
    "site_id",
    "latitude",
    "elevation_m",
    "climate_zone",
    *monthly("ghi"),
    *monthly("air_temperature"),
    *monthly("temperature_range"),
    *monthly("wind"),
    *monthly("rain"),
    "irrigated_ha",
    "crop",
)
MJ_KWH = 3.6
MONTH_DAYS = np.array(DAYS)
CALENDAR = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])  # the year in which crops stand
FIRST_DAY = np.concatenate([[0], np.cumsum(CALENDAR)])
# In dry climates the air is not saturated at the day's lowest temperature: FAO-56, equation 48, takes that for the
# dew point elsewhere and advises 2 to 3 K less here.
DRY_AIR_K = 2.0
CALMEST_M_S = 0.5  # FAO-56: even calm air takes vapour away
WEATHER_WIND_M, PLAIN_WIND_M = 10.0, 2.0  # height of the wind in weather files; of modules, and of the reference


class Irrigation(NamedTuple):
    """Of n rows: irrigation (n, 12), NaN where nothing is irrigated or there is no sun; its crop; first planting."""

    m3_day: Floats
    crop: pd.Series
    planting_month: Floats
    findings: list[Finding]


def reference_mm_day(sites: pd.DataFrame, plan: LoadedPlan) -> Floats:
    """Reference evapotranspiration (n, 12), mm a day; NaN where the sun or the place is not known."""
    known = np.isfinite(sites[[*monthly("ghi"), "latitude"]].to_numpy(dtype="float64")).all(axis=1)
    found = np.full((known.size, 12), np.nan)
    for part in parts_of(known.size):
        found[part][known[part]] = _reference_mm_day(sites.iloc[part][known[part]], plan)
    return found


def _reference_mm_day(sites: pd.DataFrame, plan: LoadedPlan) -> Floats:
    """The same of sites whose sun and place are known."""
    of_plan, array = plan.plan.demand, plan.plan.array
    mean = _months(sites, "air_temperature", array.air_temperature_c)
    half = _months(sites, "temperature_range", array.temperature_range_k) / 2.0
    highest, lowest = mean + half, mean - half
    wind = _months(sites, "wind", array.wind_m_s)
    by_file = plan.plan.weather is not None and plan.plan.rasters.wind_speed is None
    height = of_plan.wind_height_m or (WEATHER_WIND_M if by_file else PLAIN_WIND_M)
    wind_2_m = np.maximum(et.wind_at_2_m_m_s(wind, height), CALMEST_M_S)
    elevation = sites["elevation_m"].fillna(plan.plan.equipment.elevation_unknown_m).to_numpy(dtype="float64")[:, None]

    below = np.where(sites["climate_zone"].str.startswith("B"), DRY_AIR_K, 0.0)[:, None]
    if of_plan.dew_point_below_minimum_k is not None:
        below = np.full(below.shape, of_plan.dew_point_below_minimum_k)
    vapour = et.saturation_pressure_kpa(lowest - below)
    solar = MJ_KWH * sites[monthly("ghi")].to_numpy(dtype="float64")
    latitude = sites["latitude"].to_numpy(dtype="float64")[:, None]
    outside = MJ_KWH * daily_extraterrestrial_kwh_m2(latitude, MEAN_DAY[None, :].astype("float64"))
    clear = et.field_clear_sky_mj_m2(outside, elevation)
    net = et.net_radiation_mj_m2(solar, et.net_longwave_mj_m2(highest, lowest, vapour, solar, clear))
    soil = et.soil_heat_flux_mj_m2(np.roll(mean, 1, axis=1), np.roll(mean, -1, axis=1))
    saturation = et.mean_saturation_pressure_kpa(highest, lowest)
    pressure = et.field_air_pressure_kpa(elevation)
    return np.asarray(et.reference_evapotranspiration_mm_day(net, soil, mean, wind_2_m, saturation, vapour, pressure))


def irrigation(sites: pd.DataFrame, et0_mm_day: Floats, plan: LoadedPlan) -> Irrigation:
    """Gross irrigation of every row with an irrigated area, from the reference evapotranspiration (n, 12)."""
    demand = plan.plan.demand
    irrigated = (sites["irrigated_ha"] > 0).to_numpy()
    crop, findings = _crops(sites, irrigated, demand.crop)
    rain = np.nan_to_num(sites[monthly("rain")].to_numpy(dtype="float64"))  # unknown rain does not count
    served = et.effective_rain_mm_month(rain) / MONTH_DAYS
    net, planting = np.full(et0_mm_day.shape, np.nan), np.full(irrigated.size, np.nan)
    for name in sorted(set(crop[irrigated])):
        here = np.flatnonzero(irrigated & (crop == name).to_numpy() & np.isfinite(et0_mm_day).all(axis=1))
        fitting = demand.crops_a_year
        for part in parts_of(here.size):
            some = here[part]
            needs, fit = _needs(crops()[name], demand.crops_a_year, et0_mm_day[some], served[some])
            if demand.planting_month is None:
                first = (needs @ CALENDAR).round(6).argmax(axis=1)  # equal needs: the earliest month
            else:
                first = np.full(some.size, demand.planting_month - 1)
            net[some], planting[some] = needs[np.arange(some.size), first], first + 1.0
            fitting = min(fitting, int(fit[first].min()))
        asked = "crops_a_year" in demand.model_fields_set
        if asked and fitting < demand.crops_a_year:
            told = f"{name}: {fitting}"
            findings.append(Finding(0, "", "crop", "crops_do_not_fit", "info", f"{name}: {demand.crops_a_year}", told))
    if irrigated.any() and plan.plan.rasters.rain is None:
        findings.append(Finding(0, "", "rain", "no_rain", "warning"))
    area = sites["irrigated_ha"].to_numpy(dtype="float64")[:, None]
    gross = area * et.gross_irrigation_m3_ha_day(net, demand.irrigation_efficiency, demand.leaching)
    return Irrigation(np.asarray(gross), crop, planting, findings)


def month_shares(crop: Crop, crops_a_year: int, planting_month: int) -> tuple[Floats, Floats, int]:
    """Mean Kc of each month (12,), share of its days under crop (12,), and how many crops fit into a year.

    planting_month  1 to 12; a crop is planted on the first of the month that follows the harvest of the last
    """
    ends = np.concatenate([[0], np.cumsum(crop.days)])
    kc = np.interp(
        np.arange(crop.length_days) + 0.5, ends, (crop.kc_ini, crop.kc_ini, crop.kc_mid, crop.kc_mid, crop.kc_end)
    )  # FAO-56 equation 66, at the middle of each day
    start = FIRST_DAY[planting_month - 1]
    year = np.zeros(FIRST_DAY[-1])
    under = np.zeros(year.size)
    planted, fit = start, 0
    while fit < crops_a_year and planted + crop.length_days <= start + year.size:
        days = np.arange(planted, planted + crop.length_days) % year.size
        year[days], under[days] = kc, 1.0
        fit += 1
        planted = _first_of_month(planted + crop.length_days)
    by_month = FIRST_DAY[:-1]
    return np.add.reduceat(year, by_month) / CALENDAR, np.add.reduceat(under, by_month) / CALENDAR, fit


def _first_of_month(day: int) -> int:
    """The first day of a month that is not before `day`, counted from 1 January of any year."""
    years, within = divmod(day, int(FIRST_DAY[-1]))
    return int(years * FIRST_DAY[-1] + FIRST_DAY[np.searchsorted(FIRST_DAY, within)])


def _needs(
    crop: Crop, crops_a_year: int, et0_mm_day: Floats, served_mm_day: Floats
) -> tuple[Floats, NDArray[np.int64]]:
    """Net need of n sites, mm a day (n, 12 planting months, 12 months), and the crops that fit (12 planting months)."""
    plantings = [month_shares(crop, crops_a_year, month) for month in range(1, 13)]
    kc, under = (np.stack([planting[part] for planting in plantings]) for part in (0, 1))
    taken = kc[None] * et0_mm_day[:, None] + under[None] * (crop.percolation_mm_day - served_mm_day[:, None])
    return np.maximum(taken, 0.0), np.array([planting[2] for planting in plantings])


def _crops(sites: pd.DataFrame, irrigated: NDArray[np.bool_], default: str) -> tuple[pd.Series, list[Finding]]:
    """Crop of each irrigated row, "" of others; a finding for each that the table does not have."""
    distinct = {words: crop_named(words) for words in sites["crop"].unique()}
    named = sites["crop"].map({words: "" if crop is None else crop.name for words, crop in distinct.items()})
    unknown = irrigated & (named == "") & (sites["crop"].str.strip() != "")
    rows = sites.index[unknown]
    findings = findings_for(rows, sites["site_id"], "crop", "unknown_crop", "warning", old=sites["crop"], new=default)
    return named.mask(named == "", default).where(irrigated, "").astype("str"), findings


def _months(sites: pd.DataFrame, stem: str, instead: float) -> Floats:
    """Twelve columns (n, 12), the plan's value where they are missing."""
    values = sites[monthly(stem)].to_numpy(dtype="float64")
    return np.where(np.isnan(values), instead, values)
