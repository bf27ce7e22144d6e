"""What each site must give: m3 a day by month, at the tank inlet, in the design year.

base = stated demand, else people × norm + livestock × norm + irrigated area × gross irrigation. Then D_m =
base × season_m × (1 + g)^design_year ÷ (1 − losses), with g = 0 where the demand is stated: a stated demand
is the demand to design for. Losses lie between tank inlet and tap. Geometric growth is the usual forecast
of rural water supply manuals; the norms and the growth are the plan's.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.glossary import monthly
from planner.plan import LoadedPlan
from planner.tables.step import Finding, Step, rule_rows

READS: tuple[str, ...] = (
    "site_id",
    "row_kind",
    "latitude",
    "longitude",
    "position_status",
    "people",
    "livestock_tlu",
    "irrigated_ha",
    "demand_m3_day",
    "people_nearest",
)
WRITES: tuple[str, ...] = (
    "people_counted",
    "people_source",
    "demand_source",
    "people_share",
    *monthly("demand"),
    "demand_growth",
    "distance_km",
)


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Demand, the people behind it and the distance to the supply base, for every row.

    Rows that are no sites stay empty. A demand that is not above zero cannot be designed for: it counts as
    unknown, and the site fails the rule `demand_unknown`.
    """
    demand = plan.plan.demand
    is_site = sites["row_kind"] == "site"
    people, people_source = _people(sites, is_site)
    people_m3_day = people * demand.norm_l_person_day / 1000.0
    other_m3_day = (
        sites["livestock_tlu"].fillna(0.0) * demand.livestock_l_tlu_day / 1000.0
        + sites["irrigated_ha"].fillna(0.0) * demand.irrigation_m3_ha_day
    )
    counted_m3_day = people_m3_day.fillna(0.0) + other_m3_day
    stated = is_site & (sites["demand_m3_day"] > 0)
    counted = is_site & ~stated & (counted_m3_day > 0)
    base_m3_day = sites["demand_m3_day"].where(stated, counted_m3_day.where(counted))

    growth = pd.Series(np.where(stated, 0.0, demand.growth), index=sites.index).where(is_site)
    design_m3_day = base_m3_day * (1.0 + growth) ** demand.design_year / (1.0 - demand.losses)

    source = np.where(stated, "stated", np.where(~counted, "", np.where(people_m3_day > 0, "people", "other")))
    columns = pd.DataFrame(
        {
            "people_counted": people,
            "people_source": people_source,
            "demand_source": pd.Series(source, index=sites.index, dtype="str"),
            # a stated demand is taken as people's: nothing in the inventory splits it
            "people_share": (people_m3_day.fillna(0.0) / counted_m3_day.where(counted)).mask(stated, 1.0),
            **{name: design_m3_day * factor for name, factor in zip(monthly("demand"), demand.season, strict=True)},
            "demand_growth": growth,
            "distance_km": _distance_km(sites, is_site, plan),
        },
        index=sites.index,
    )
    known = stated | counted
    checks = rule_rows(
        sites.index[is_site], "demand_unknown", known, value=base_m3_day, operator=">", limit=0.0, unit="m3/d"
    )
    from_raster = columns.index[people_source == "raster"]
    findings = [
        Finding(
            int(row),
            str(sites.at[row, "site_id"]),
            "people",
            "people_from_raster",
            "info",
            new_value=f"{people.at[row]:.0f}",
        )
        for row in from_raster
    ]
    return Step(columns[list(WRITES)], findings, checks)


def _people(sites: pd.DataFrame, is_site: pd.Series) -> tuple[pd.Series, pd.Series]:
    """People and their source: the inventory, else the population nearest to the site if there is any."""
    written = is_site & sites["people"].notna()
    nearest = is_site & ~written & (sites["people_nearest"] > 0)
    people = sites["people"].where(written, sites["people_nearest"].where(nearest))
    source = pd.Series(np.where(written, "inventory", np.where(nearest, "raster", "")), index=sites.index, dtype="str")
    return people, source


def _distance_km(sites: pd.DataFrame, is_site: pd.Series, plan: LoadedPlan) -> pd.Series:
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
