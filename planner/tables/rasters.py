"""Step: ground elevation, regional priors and road distance of each site, from the plan's rasters.

Elevation and depth to water are bilinear; yield and road distance are those of the cell. Each value comes with a
status, so that a site off the raster, a hole in it and a raster that is not given are never taken for one another. The
population raster is only checked here; its people are counted by a step of their own. The sun is a step of its own
too.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from planner.errors import Fault, RasterError, raise_if
from planner.plan import LoadedPlan, RasterSource
from planner.tables.raster_files import open_raster, sample
from planner.tables.raster_limits import impossible, missing_values, off_area, within
from planner.tables.step import Finding, Step, frame_of


class Wanted(NamedTuple):
    """What one raster gives: its key in [rasters], our column, its status, and the glossary name with the range."""

    name: str
    column: str
    status: str
    ranged: str
    bilinear: bool = False


WANTED = (
    Wanted("elevation", "elevation_m", "elevation_status", "elevation_m", bilinear=True),
    Wanted("water_level", "prior_level_m", "prior_level_status", "prior_level_m", bilinear=True),
    Wanted("well_yield", "prior_yield_m3_h", "prior_yield_status", "prior_yield_m3_h"),
    Wanted("road_distance", "road_raster_km", "road_raster_status", "road_raster_km"),
)
POPULATION = Wanted("population", "", "", "people_nearest")

READS = ("site_id", "latitude", "longitude", "position_status")
WRITES = tuple(column for wanted in WANTED for column in (wanted.column, wanted.status))


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Sample every raster of the ground at every position.

    Raises RasterError with the faults of all rasters together.
    """
    position = sites[["latitude", "longitude"]].where(sites["position_status"].isin(["ok", "outside"]))
    latitude, longitude = position.to_numpy(dtype="float64").T
    placed = np.isfinite(latitude) & np.isfinite(longitude)

    columns: dict[str, object] = {}
    faults: list[Fault] = []
    findings: list[Finding] = []
    for wanted in (*WANTED, POPULATION):
        if wanted.column:
            columns |= {wanted.column: np.nan, wanted.status: "absent"}
        source: RasterSource | None = getattr(plan.plan.rasters, wanted.name)
        if source is None:
            continue
        try:
            with open_raster(wanted.name, source, plan.resolve) as raster:
                taken = sample(raster, latitude, longitude, bilinear=wanted.bilinear)
                faults += off_area(raster, taken, latitude, longitude)
                faults += impossible(raster, taken, sites.index, within(wanted.ranged))
        except RasterError as error:
            faults += error.faults
            continue
        if wanted.column:
            columns |= {wanted.column: taken.values[0], wanted.status: taken.status}
            findings += missing_values(wanted.name, sites["site_id"], placed, taken.status)
    raise_if(faults, RasterError)

    return Step(frame_of(columns, WRITES, sites.index), findings)
