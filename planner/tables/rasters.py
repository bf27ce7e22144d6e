"""Step: sun, temperature, wind, ground elevation and regional priors of each site, from the plan's rasters.

Solar, temperature and wind are those of the cell that holds the site, because the resource is computed once a
solar cell; elevation and depth to water are bilinear; yield is that of the cell. Each value comes with a
status, so that a site off the raster, a hole in it and a raster that is not given are never taken for one
another. The population raster is only checked here; its people are counted by a step of their own.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.errors import Fault, RasterError, raise_if
from planner.glossary import glossary, monthly
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.plan import LoadedPlan, RasterSource
from planner.tables.raster_files import (
    DAYS,
    UNITS,
    Floats,
    Raster,
    Sample,
    centres,
    extent,
    open_raster,
    sample,
)
from planner.tables.step import Finding, Step, rule_rows

Flags = NDArray[np.bool_]


class Wanted(NamedTuple):
    """What one raster gives: its key in [rasters], our columns, and the glossary name with the range."""

    name: str
    columns: tuple[str, ...]
    status: str
    ranged: str
    bilinear: bool = False


WANTED = (
    Wanted("solar", tuple(monthly("ghi")), "ghi_status", "ghi_01"),
    Wanted("air_temperature", tuple(monthly("air_temperature")), "air_temperature_status", "air_temperature_01"),
    Wanted("wind_speed", tuple(monthly("wind")), "wind_status", "wind_01"),
    Wanted("elevation", ("elevation_m",), "elevation_status", "elevation_m", bilinear=True),
    Wanted("water_level", ("prior_level_m",), "prior_level_status", "prior_level_m", bilinear=True),
    Wanted("well_yield", ("prior_yield_m3_h",), "prior_yield_status", "prior_yield_m3_h"),
)
POPULATION = Wanted("population", (), "", "people_nearest")

READS = ("site_id", "row_kind", "latitude", "longitude", "position_status")
WRITES = (
    "solar_cell",
    "solar_latitude",
    *(column for wanted in WANTED for column in (*wanted.columns, wanted.status)),
)

# Day of the year whose declination is nearest to the month's mean (Klein 1977, Solar Energy 19:325, table 1).
MEAN_DAY = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])
# Room above the extraterrestrial irradiation, for rounding and for the polar night, kWh/m2/d.
TOP_MARGIN = 0.1
# Share of the extraterrestrial irradiation of a year that reaches the ground: about 0.3 on the cloudiest
# inhabited coasts, 0.7 in the clearest deserts (from memory). kWh taken for MJ show a share of 0.08 to 0.2.
CLEARNESS_MIN = 0.2
CLEARNESS_USUAL = 0.3


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Sample every raster of the plan at every position.

    Raises RasterError with the faults of all rasters together.
    """
    position = sites[["latitude", "longitude"]].where(sites["position_status"].isin(["ok", "outside"]))
    latitude, longitude = position.to_numpy(dtype="float64").T
    placed = np.isfinite(latitude) & np.isfinite(longitude)

    columns: dict[str, object] = {"solar_cell": np.int64(-1), "solar_latitude": np.nan}
    faults: list[Fault] = []
    findings: list[Finding] = []
    for wanted in (*WANTED, POPULATION):
        columns |= dict.fromkeys(wanted.columns, np.nan)
        if wanted.status:
            columns[wanted.status] = "absent"
        source: RasterSource | None = getattr(plan.plan.rasters, wanted.name)
        if source is None:
            continue
        try:
            with open_raster(wanted.name, source, plan.resolve(source.file)) as raster:
                taken = sample(raster, latitude, longitude, bilinear=wanted.bilinear)
                faults += _off_area(raster, taken, latitude, longitude)
                faults += _impossible(raster, wanted, taken, latitude, sites.index)
                if wanted.name == "solar":
                    columns |= _solar_cell(raster, taken)
        except RasterError as error:
            faults += error.faults
            continue
        if wanted.columns:
            # One band of wind stands for all months.
            values = np.broadcast_to(taken.values, (len(wanted.columns), len(sites)))
            columns |= dict(zip(wanted.columns, values, strict=True))
            columns[wanted.status] = taken.status
            findings += _findings(sites, wanted.name, taken, placed)
    raise_if(faults, RasterError)

    table = pd.DataFrame(columns, index=sites.index)[list(WRITES)]
    table = table.astype({name: "str" for name in WRITES if name.endswith("_status")})
    return Step(table, findings, _checks(sites, table["ghi_status"]))


def _solar_cell(raster: Raster, taken: Sample) -> dict[str, object]:
    """Cell and latitude of its centre, for points with a value."""
    cell = np.where(taken.status == "valid", taken.cell, -1)
    row, column = np.divmod(np.maximum(cell, 0), raster.dataset.width)
    latitude, _ = centres(raster, row, column)
    return {"solar_cell": cell, "solar_latitude": np.where(cell >= 0, latitude, np.nan)}


def _findings(sites: pd.DataFrame, name: str, taken: Sample, placed: Flags) -> list[Finding]:
    """A warning for each position without a value; rows without position have theirs already."""
    missing = placed & (taken.status != "valid")
    rows = zip(sites.index[missing], sites.loc[missing, "site_id"], taken.status[missing], strict=True)
    return [Finding(int(row), site_id, name, f"raster_{status}", "warning") for row, site_id, status in rows]


def _checks(sites: pd.DataFrame, status: pd.Series) -> pd.DataFrame:
    rows = sites.index[sites["row_kind"] == "site"]
    return rule_rows(rows, "no_solar_value", status == "valid", subject=status)


def _off_area(raster: Raster, taken: Sample, latitude: Floats, longitude: Floats) -> list[Fault]:
    """A raster on which no position falls is the wrong raster."""
    if np.isnan(latitude).all() or (taken.status != "outside").any():
        return []
    south, north, west, east = extent(raster)
    area = _degrees(np.nanmin(latitude), np.nanmax(latitude), np.nanmin(longitude), np.nanmax(longitude))
    found = _degrees(south, north, west, east)
    return [Fault(raster.file, "extent", found, f"a raster that covers the sites, at {area}")]


def _degrees(south: float, north: float, west: float, east: float) -> str:
    return f"latitude {south:.3f} to {north:.3f}, longitude {west:.3f} to {east:.3f} degrees"


def _impossible(raster: Raster, wanted: Wanted, taken: Sample, latitude: Floats, rows: pd.Index) -> list[Fault]:
    """One fault a raster for values that cannot be: the first one, how many, and what is likely to be wrong.

    Every cell that a value was made of is tested, not only the interpolated value.
    """
    values = taken.neighbours
    wrong, limit = out_of_range(wanted, values, latitude)
    if not wrong.any():
        return []
    band, _, point = np.argwhere(wrong)[0]
    declared = raster.declared(values)
    number = declared[tuple(np.argwhere(wrong)[0])]
    found = (
        f"{number:.6g} {raster.unit} near inventory row {rows[point]} "
        f"({wrong.any(axis=(0, 1)).sum()} of {np.isfinite(values).any(axis=(0, 1)).sum()} positions)"
    )
    expected = limit + _hint(raster, wanted, declared, wrong, latitude)
    return [Fault(raster.file, f"band {raster.bands[band]}", found, expected)]


def out_of_range(
    wanted: Wanted, values: Floats, latitude_deg: Floats, clearness_min: float = CLEARNESS_MIN
) -> tuple[Flags, str]:
    """Which of the values (bands, k, n) in our unit cannot be, and what can be, in words.

    Ranges are the glossary's. Irradiation must also stay below that outside the atmosphere at the latitude,
    month by month, and reach `clearness_min` of it over the year.
    """
    quantity = glossary()[wanted.ranged]
    low, high = quantity.low, quantity.high
    low, high = -np.inf if low is None else low, np.inf if high is None else high
    wrong = (values < low) | (values > high)
    if wanted.name != "solar":
        end = f"{low:g} to {high:g}" if np.isfinite(high) else f"at least {low:g}"
        return wrong, f"{end} {quantity.unit}"
    # Points without a position have no values either.
    top = np.asarray(daily_extraterrestrial_kwh_m2(np.nan_to_num(latitude_deg)[None, :], MEAN_DAY[:, None]))
    wrong |= values > top[:, None, :] + TOP_MARGIN
    days = np.array(DAYS)
    share = np.einsum("bkn,b->kn", values, days) / (days @ top)
    wrong |= share < clearness_min
    most = np.where(wrong.any(axis=1), top, 0.0).max(initial=0.0)
    return wrong, (
        f"below the irradiation outside the atmosphere ({most:.1f} kWh/m2/day at most) "
        f"and at least {clearness_min:.0%} of it over the year"
    )


def _hint(raster: Raster, wanted: Wanted, declared: Floats, wrong: Flags, latitude: Floats) -> str:
    """The likely mistake: another unit in which all values can be, or a nodata value that is not declared."""
    fitting = [
        unit
        for unit in UNITS[wanted.name]
        if unit != raster.unit
        and not out_of_range(wanted, raster.convert(declared, unit), latitude, CLEARNESS_USUAL)[0].any()
    ]
    if fitting:
        return f"; the values fit unit = {' or '.join(repr(unit) for unit in fitting)}"
    stored = (declared - raster.offset[:, None, None]) / raster.scale[:, None, None]
    stray = np.unique(np.round(stored[wrong], 6))
    return f"; if it means no data, write nodata = {stray[0]:.10g}" if stray.size == 1 else ""
