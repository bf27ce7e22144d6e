"""What wells nearby take from each other: the drawdown at a site from pumping at its neighbours.

s_i = Σ_j V_j ÷ (4π T_i) × W(r_ij² S_i ÷ (4 T_i t)) by Theis 1935 and superposition, with T and S of the
receiving site and t the season since the water table last recovered. V_j is what the neighbour needs, at
most what its well may give. One pass over the table: designs do not enter, so the sites stay separable and
the result does not depend on the order of rows.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.glossary import monthly
from planner.physics import aquifer
from planner.plan import LoadedPlan, Well
from planner.tables.step import Step

READS: tuple[str, ...] = (
    "row_kind",
    "status",
    "duplicate_of",
    "latitude",
    "longitude",
    "position_status",
    "tested_yield_m3_h",
    *monthly("demand"),
    "safe_volume_m3_day",
    "transmissivity_used_m2_d",
    "storativity_used",
)
WRITES: tuple[str, ...] = ("interference_m", "neighbours", "neighbour_abstraction_m3_day")

# Nearer than this, two rows are one well field or a position error; the log law would run away.
NEAREST_M = 10.0
DAYS_OF_MONTH = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) / 365.0


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Interference, number and abstraction of the neighbours of every site.

    Interference and abstraction are missing where the site has no position, zero where it has no neighbour.
    """
    pairs = contributions(sites, plan.plan.well)
    at, rows = pairs["at"], len(sites)
    columns = pd.DataFrame(
        {
            "interference_m": np.bincount(at, pairs["drawdown_m"], minlength=rows).astype("float64"),
            "neighbours": np.bincount(at, minlength=rows).astype("int64"),
            "neighbour_abstraction_m3_day": np.bincount(at, pairs["volume_m3_day"], minlength=rows).astype("float64"),
        },
        index=sites.index,
    )
    unplaced = ["interference_m", "neighbour_abstraction_m3_day"]
    columns[unplaced] = columns[unplaced].where(_receives(sites))
    return Step(columns[list(WRITES)])


def contributions(sites: pd.DataFrame, well: Well) -> pd.DataFrame:
    """What each neighbour adds at each site: a row for every pair within the radius of the plan.

    Neighbours have a tested yield, a position inside the area, and are neither dry, abandoned nor
    duplicates; an unknown demand counts as the well's daily limit.

    Columns: at, by (places in the table of the site and its neighbour), distance_m, volume_m3_day of the
    neighbour, drawdown_m at the site.
    """
    placed = (sites["row_kind"] == "site") & sites["latitude"].notna() & sites["longitude"].notna()
    needed_m3_day = (sites[monthly("demand")].to_numpy() * DAYS_OF_MONTH).sum(axis=1)
    taken_m3_day = np.fmin(needed_m3_day, sites["safe_volume_m3_day"])
    gives = (
        placed
        & (sites["position_status"] == "ok")
        & ~sites["status"].isin(["dry", "abandoned"])
        & sites["duplicate_of"].isna()
        & (sites["tested_yield_m3_h"] > 0)
        & (taken_m3_day > 0)
    )
    at, by, distance_m = _pairs(sites, _receives(sites), gives, well.interference_radius_m)
    volume_m3_day = taken_m3_day.to_numpy()[by]
    # summed in an order of the values themselves, so that shuffled rows give the same bytes
    order = np.lexsort((volume_m3_day, distance_m, at))
    at, by, volume_m3_day, distance_m = at[order], by[order], volume_m3_day[order], distance_m[order]
    drawdown_m = aquifer.theis_drawdown_m(
        volume_m3_day,
        sites["transmissivity_used_m2_d"].to_numpy()[at],
        sites["storativity_used"].to_numpy()[at],
        np.maximum(distance_m, NEAREST_M),
        well.days_since_recovery,
    )
    return pd.DataFrame(
        {"at": at, "by": by, "distance_m": distance_m, "volume_m3_day": volume_m3_day, "drawdown_m": drawdown_m}
    )


def _receives(sites: pd.DataFrame) -> pd.Series:
    """Sites with a position near enough to the area."""
    placed = (sites["row_kind"] == "site") & sites["latitude"].notna() & sites["longitude"].notna()
    return placed & sites["position_status"].isin(["ok", "outside"])


def _pairs(
    sites: pd.DataFrame, receives: pd.Series, gives: pd.Series, radius_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Receiving row, neighbour (both as places in the table) and distance in m, all pairs within the radius.

    Distances are straight lines between points of the ellipsoid: no map zone ends anywhere, and 300 m of
    chord differ from the arc by less than a micrometre.
    """
    from scipy.spatial import cKDTree

    to, of = np.flatnonzero(receives), np.flatnonzero(gives)
    if not len(to) or not len(of) or radius_m <= 0:
        nothing = np.zeros(0, dtype="int64")
        return nothing, nothing, np.zeros(0)
    points = _geocentric_m(sites["latitude"].to_numpy(), sites["longitude"].to_numpy())
    near = cKDTree(points[to]).sparse_distance_matrix(cKDTree(points[of]), radius_m, output_type="ndarray")
    at, by = to[near["i"]], of[near["j"]]
    other = at != by
    return at[other], by[other], near["v"][other]


def _geocentric_m(latitude_deg: NDArray[np.float64], longitude_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points on the WGS 84 ellipsoid as x, y, z from the centre of the earth, m; shape (n, 3)."""
    from pyproj import Transformer

    degrees_to_metres = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84"
    )
    x, y, z = degrees_to_metres.transform(longitude_deg, latitude_deg, np.zeros(len(latitude_deg)))
    return np.column_stack([x, y, z])
