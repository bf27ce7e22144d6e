"""Step: the way from the supply base to each site, which transport is priced by.

Where the raster of road distances has a value that can be, it is the way; else straight line × detour. A site without
a supply base to measure from takes the plan's distance.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.plan import LoadedPlan
from planner.tables.step import Finding, Step

READS: tuple[str, ...] = ("site_id", "row_kind", "position_status", "latitude", "longitude", "road_raster_km")
WRITES: tuple[str, ...] = ("distance_km", "road_km", "distance_source")
# Our own rule: a road is never shorter than the straight line; a raster's cell and the place where the count of a road
# begins may be this far off.
CELL_KM = 2.0
SHORTEST = 0.9


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Straight distance, way by road and where it is from, for every row that is a site; km."""
    is_site = sites["row_kind"] == "site"
    straight = _straight_km(sites, is_site, plan)
    measured = plan.plan.costs.supply_base is not None
    raster = sites["road_raster_km"].where(is_site)
    short = measured & raster.notna() & (raster < SHORTEST * straight - CELL_KM)
    by_road = raster.notna() & ~short
    road = raster.where(by_road, straight * plan.plan.costs.detour)
    source = np.where(by_road, "road", np.where(road.isna(), "", "straight" if measured else "assumed"))
    columns = pd.DataFrame(
        {
            "distance_km": straight,
            "road_km": road,
            "distance_source": pd.Series(source, index=sites.index, dtype="str"),
        }
    )
    findings = [
        Finding(
            int(row),
            str(sites.at[row, "site_id"]),
            "road_distance",
            "road_below_straight",
            "warning",
            f"{raster[row]:.6g} km",
            f"{road[row]:.6g} km",
        )
        for row in sites.index[short]
    ]
    return Step(columns, findings)


def _straight_km(sites: pd.DataFrame, is_site: pd.Series, plan: LoadedPlan) -> pd.Series:
    """Geodesic to the supply base on WGS 84 (Karney 2013, through PROJ), km.

    Without a supply base the plan's distance holds for every site; with one, a site without a usable
    position has none.
    """
    costs = plan.plan.costs
    if costs.supply_base is None:
        return pd.Series(costs.distance_unknown_km, index=sites.index, dtype="float64").where(is_site)
    from pyproj import Geod

    placed = (
        is_site
        & sites["position_status"].isin(["ok", "outside"])
        & sites["latitude"].notna()
        & sites["longitude"].notna()
    )
    distance_km = pd.Series(np.nan, index=sites.index, dtype="float64")
    at = sites.loc[placed, ["latitude", "longitude"]].to_numpy(dtype="float64")
    base = np.broadcast_to(np.asarray(costs.supply_base, dtype="float64"), at.shape)
    _, _, metres = Geod(ellps="WGS84").inv(at[:, 1], at[:, 0], base[:, 1], base[:, 0])
    distance_km[placed] = np.asarray(metres) / 1000.0
    return distance_km
