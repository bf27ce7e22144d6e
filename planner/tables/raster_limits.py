"""What the values of a raster can be: refusal of the wrong raster, unit or nodata value, with the likely mistake.

Not a step; the steps that sample rasters share it. The sun is held between the clear sky of clean air and the
dullest climates, so that wrong units show. One confusion does not: W/m2 written for kWh/m2/month (27 % too little),
and the reverse (37 % too much) under skies that are never clear.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from planner.errors import Fault
from planner.glossary import glossary
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.tables.raster_files import DAYS, Floats, Raster, Sample, extent, units_for
from planner.tables.step import Finding, parts_of
from planner.tables.world_climate import clear_sky_kwh_m2_day

Flags = NDArray[np.bool_]
# Values (bands, k, n) in our unit, and whether they must also be usual → which cannot be, and what can, in words.
Rule = Callable[[Floats, bool], tuple[Flags, str]]

# Day of the year whose declination is nearest to the month's mean (Klein 1977, Solar Energy 19:325, table 1).
MEAN_DAY = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])
# Room above the highest irradiation, for rounding and for the polar night, kWh/m2/d.
TOP_MARGIN = 0.1
# Clear sky of clean, dry air: Linke turbidity 2; a height that few people live above; room for the model and for
# cells higher than the site.
TURBIDITY = 2.0
HEIGHT_UNKNOWN_M = 3000.0
CLEAR_MARGIN = 1.05
# Share of the extraterrestrial irradiation of a year that reaches the ground: about 0.3 on the cloudiest
# inhabited coasts, 0.7 in the clearest deserts (from memory). kWh taken for MJ show a share of 0.08 to 0.2.
CLEARNESS_MIN = 0.20
CLEARNESS_USUAL = 0.30
# The same of the sunniest month: about 0.38 in the cloudiest basins and on the cloudiest coasts; of any month with
# sun: about 0.15 (from memory).
SUNNIEST_MIN = 0.30
MONTH_MIN = 0.05
# A year's diffuse irradiation over what is usual at its clearness: clean mountains have the least, dusty plains
# the most, both within a third (from memory). kWh taken for MJ show 0.28.
DIFFUSE_MIN = 0.45
DIFFUSE_MARGIN = 1.02
ROUNDING = 0.02  # kWh/m2/d
# Narrower than the glossary's, in our unit: what a raster of the climate can hold.
NARROWER = {"clearness_spread_01": (0.0, 0.45), "temperature_range_01": (0.0, 35.0)}


def off_area(raster: Raster, taken: Sample, latitude: Floats, longitude: Floats) -> list[Fault]:
    """A raster on which no position falls is the wrong raster."""
    if np.isnan(latitude).all() or (taken.status != "outside").any():
        return []
    south, north, west, east = extent(raster)
    area = _degrees(np.nanmin(latitude), np.nanmax(latitude), np.nanmin(longitude), np.nanmax(longitude))
    found = _degrees(south, north, west, east)
    return [Fault(raster.file, "extent", found, f"a raster that covers the sites, at {area}")]


def _degrees(south: float, north: float, west: float, east: float) -> str:
    return f"latitude {south:.3f} to {north:.3f}, longitude {west:.3f} to {east:.3f} degrees"


def missing_values(name: str, site_id: pd.Series, placed: Flags, status: NDArray[np.str_]) -> list[Finding]:
    """A warning for each position without a value; rows without position have theirs already."""
    missing = placed & (status != "valid")
    rows = zip(site_id.index[missing], site_id[missing], status[missing], strict=True)
    return [Finding(int(row), identifier, name, f"raster_{kind}", "warning") for row, identifier, kind in rows]


def impossible(raster: Raster, taken: Sample, rows: pd.Index, rule: Rule) -> list[Fault]:
    """One fault a raster for values that cannot be: the first one, how many, and what is likely to be wrong.

    Every cell that a value was made of is tested, not only the interpolated value.
    """
    values = taken.neighbours
    wrong, limit = rule(values, False)
    if not wrong.any():
        return []
    band, _, point = np.argwhere(wrong)[0]
    declared = raster.declared(values)
    number = declared[tuple(np.argwhere(wrong)[0])]
    found = (
        f"{number:.6g} {raster.unit} near inventory row {rows[point]} "
        f"({wrong.any(axis=(0, 1)).sum()} of {np.isfinite(values).any(axis=(0, 1)).sum()} positions)"
    )
    file, place = raster.place(band)
    return [Fault(file, place, found, limit + _hint(raster, declared, wrong, rule))]


def _hint(raster: Raster, declared: Floats, wrong: Flags, rule: Rule) -> str:
    """The likely mistake: another unit in which all values can be, or a nodata value that is not declared."""
    fitting = [words for words, values in _other_units(raster, declared) if not rule(values, True)[0].any()]
    if fitting:
        return f"; the values fit unit = {' or '.join(fitting)}"
    stray = np.unique(np.round(raster.stored(declared)[wrong], 6))
    return f"; if it means no data, write nodata = {stray[0]:.10g}" if stray.size == 1 else ""


def _other_units(raster: Raster, declared: Floats) -> Iterator[tuple[str, Floats]]:
    """What the plan would say, and the values in our unit; the mean month's total is written as the year's."""
    count = len(raster.bands)
    usable = units_for(raster.name, count)
    for unit in usable:
        if unit != raster.unit:
            yield repr(unit), raster.convert(declared, unit)
    for unit in usable if count == 1 else ():
        if unit.endswith("/year"):
            yield f"{unit!r} with scale = {12 * raster.parts[0].scale[0]:g}", raster.convert(12 * declared, unit)


def within(name: str) -> Rule:
    """The range of a quantity of the glossary."""
    quantity = glossary()[name]
    low, high = NARROWER.get(name, (quantity.low, quantity.high))
    low, high = -np.inf if low is None else low, np.inf if high is None else high

    def rule(values: Floats, usual: bool) -> tuple[Flags, str]:
        end = f"{low:g} to {high:g}" if np.isfinite(high) else f"at least {low:g}"
        return (values < low) | (values > high), f"{end} {quantity.unit}".removesuffix(" -")

    return rule


def sun(latitude_deg: Floats, elevation_m: Floats, shape: Floats | None) -> Rule:
    """Irradiation of the months between clear sky and dullest climate at the sites.

    elevation_m may be NaN. `shape` (12, n) spreads an annual mean over the months, None where the values are
    months.
    """
    # Points without a position have no values either.
    latitude = np.nan_to_num(latitude_deg)
    days = np.array(DAYS)

    def judged(values: Floats, part: slice, usual: bool) -> tuple[Flags, float]:
        outside = np.asarray(daily_extraterrestrial_kwh_m2(latitude[None, part], MEAN_DAY[:, None]))
        top = np.minimum(CLEAR_MARGIN * clear_sky_kwh_m2(latitude[part], elevation_m[part]), outside) + TOP_MARGIN
        months = values if shape is None else values * shape[:, None, part]
        sunlit = outside[:, None, :] > 1.0
        clearness = np.divide(months, outside[:, None, :], out=np.full(months.shape, np.nan), where=sunlit)
        if shape is None:
            wrong = (months < 0) | (months > top[:, None, :]) | (clearness < MONTH_MIN)
        else:  # the months are ours then, the year is the raster's
            year = values[0] > days @ top / days.sum()
            wrong = (values < 0) | year[None]
        share = np.einsum("bkn,b->kn", months, days) / (days @ outside)
        dull = share < (CLEARNESS_USUAL if usual else CLEARNESS_MIN)
        dull |= np.where(sunlit, clearness, 0.0).max(axis=0) < SUNNIEST_MIN
        # A dull year is the fault of all its months, unless it comes from one that cannot be.
        wrong = wrong | (dull & ~wrong.any(axis=0))
        return wrong, float(np.where(wrong.any(axis=(0, 1)), top, 0.0).max(initial=0.0))

    def rule(values: Floats, usual: bool) -> tuple[Flags, str]:
        parts = [judged(values[..., part], part, usual) for part in parts_of(latitude.size)]
        wrong = np.concatenate([flags for flags, _ in parts], axis=-1) if parts else np.zeros(values.shape, dtype=bool)
        most = max((top for _, top in parts), default=0.0)
        return wrong, (
            f"at most the clear sky ({most:.1f} kWh/m2/day in the sunniest month) and at least {CLEARNESS_MIN:.0%} "
            f"of the sun outside the atmosphere over the year, {SUNNIEST_MIN:.0%} in the sunniest month"
        )

    return rule


def diffuse(latitude_deg: Floats, ghi: Floats) -> Rule:
    """Diffuse irradiation (12, k, n) of the months beside the global irradiation (12, n) of the same sites.

    Usual at a clearness: Erbs, Klein & Duffie 1982, Solar Energy 28:293, mean days, sunset later than 81.4°.
    """
    days = np.array(DAYS)
    outside = np.asarray(daily_extraterrestrial_kwh_m2(np.nan_to_num(latitude_deg)[None, :], MEAN_DAY[:, None]))
    clearness = np.clip(days @ ghi / (days @ outside), 0.3, 0.8)
    least = DIFFUSE_MIN * (1.311 - 3.022 * clearness + 3.427 * clearness**2 - 1.821 * clearness**3)

    def rule(values: Floats, usual: bool) -> tuple[Flags, str]:
        wrong = (values < 0) | (values > DIFFUSE_MARGIN * ghi[:, None, :] + ROUNDING)
        wrong = wrong | (np.einsum("bkn,b->kn", values, days) < least * (days @ ghi))
        some = wrong.any(axis=(0, 1))
        share = least[some].max() if some.any() else np.nan
        return wrong, (
            f"at most the global irradiation of the solar raster and at least {share:.0%} of it over the year"
        )

    return rule


def clear_sky_kwh_m2(latitude_deg: Floats, elevation_m: Floats) -> Floats:
    """Irradiation of a clear day of clean air in each month, kWh/m2: (12, n); NaN elevation is HEIGHT_UNKNOWN_M.

    Ineichen & Perez 2002, Solar Energy 73:151, as pvlib has it.
    """
    height = np.where(np.isfinite(elevation_m), elevation_m, HEIGHT_UNKNOWN_M)
    return np.asarray(_clear_sky()(np.stack([latitude_deg, np.clip(height, 0.0, 6000.0)], axis=-1)).T)


@cache
def _clear_sky() -> RegularGridInterpolator:
    """Clear days on a table of latitude and height."""
    latitude, height = np.arange(-90.0, 91.0), np.linspace(0.0, 6000.0, 7)
    places, heights = (each.ravel() for each in np.meshgrid(latitude, height, indexing="ij"))
    table = clear_sky_kwh_m2_day(places, np.full((places.size, 12), TURBIDITY), heights)
    return RegularGridInterpolator((latitude, height), table.reshape(latitude.size, height.size, 12))
