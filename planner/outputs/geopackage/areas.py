"""The polygons of the programme area with the totals of their sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from planner.glossary import Quantity
from planner.outputs.geopackage.fields import DECISION_LABELS, glossary_fields

if TYPE_CHECKING:
    import geopandas as gpd

FUNDED = "Sum of the funded sites that it is known of, whole scheme; empty if of none"
AREA_FIELDS = [
    *glossary_fields(["area_name"]),
    Quantity("sites", "-", "integer", 0, None, "Rows of the inventory", "All decisions together"),
    *(
        Quantity(decision, "-", "integer", 0, None, label, f"Sites with the decision {decision}")
        for decision, label in DECISION_LABELS.items()
    ),
    Quantity("equip_volume_used_m3_day", "m3/d", "number", 0, None, "Volume used, equip", "Sum of the sites to equip"),
    Quantity(
        "equip_capital_cost",
        "currency",
        "number",
        0,
        None,
        "Capital cost, equip",
        "Sum of the sites to equip, whole scheme",
    ),
    Quantity(
        "equip_people_served",
        "people",
        "number",
        0,
        None,
        "People served, equip",
        "Sum of the sites to equip whose people are known; empty if none is",
    ),
    Quantity(
        "equip_cost_per_m3",
        "currency/m3",
        "number",
        0,
        None,
        "Cost of water, equip",
        "Mean of the sites to equip, whole scheme, weighted by volume used",
    ),
    Quantity("funded", "-", "integer", 0, None, "Funded", "Sites that the budget buys"),
    Quantity("funded_people_served", "people", "number", 0, None, "People served, funded", FUNDED),
    Quantity("funded_volume_used_m3_day", "m3/d", "number", 0, None, "Volume used, funded", FUNDED),
    Quantity("funded_capital_cost", "currency", "number", 0, None, "Capital cost, funded", FUNDED),
]
SUMS = ("people_served", "volume_used_m3_day", "capital_cost")


def area_totals(sites: pd.DataFrame, areas: gpd.GeoDataFrame, name_field: str) -> gpd.GeoDataFrame:
    """One row for each name, with AREA_FIELDS and a MULTIPOLYGON in WGS 84, in the order of the file.

    sites: rows with area_name, decision and the columns that are summed. areas: any CRS; polygons that share a
    name become one, as their sites share one total. Sites in no area are totalled in a last row without name
    and geometry, so that the rows add up to the inventory.
    """
    import geopandas as gpd

    shapes = _by_name(areas, name_field)
    nowhere = [name for name in sites["area_name"].unique() if name not in shapes.index]
    names = [*shapes.index, *nowhere]
    totals = _totals(sites).reindex(names).rename_axis("area_name").reset_index()
    counts = ["sites", *DECISION_LABELS, "funded"]
    totals[counts] = totals[counts].fillna(0).astype("int64")
    for part in ("equip", "funded"):
        for name in SUMS:
            totals[f"{part}_{name}"] = totals[f"{part}_{name}"].mask(totals[part] == 0, 0.0)
    columns = totals[[field.name for field in AREA_FIELDS]]
    return gpd.GeoDataFrame(columns, geometry=shapes.reindex(names).to_numpy(), crs="EPSG:4326")


def _by_name(areas: gpd.GeoDataFrame, name_field: str) -> gpd.GeoSeries:
    """Flat, valid polygons in WGS 84 by name."""
    import shapely

    drawn = areas[areas.geom_type.isin(["Polygon", "MultiPolygon"]) & ~areas.is_empty].to_crs("EPSG:4326")
    names = drawn[name_field].astype("str").where(drawn[name_field].notna(), "")
    shapes = drawn.geometry.force_2d()
    # As in the screening of the sites, which also tells of the repair.
    shapes = shapes.where(shapes.is_valid, shapes.make_valid(method="structure", keep_collapsed=False))
    return shapes.groupby(names.to_numpy(), sort=False).agg(
        lambda group: group.iloc[0] if len(group) == 1 else shapely.union_all(group.to_numpy())
    )


def _totals(sites: pd.DataFrame) -> pd.DataFrame:
    """Counts and sums by area_name; NaN where nothing is known."""
    totals = pd.crosstab(sites["area_name"], sites["decision"])
    totals = totals.reindex(columns=list(DECISION_LABELS), fill_value=0)
    totals.insert(0, "sites", totals.sum(axis=1))
    equip = sites[sites["decision"] == "equip"]
    area, volume = equip["area_name"], equip["volume_used_m3_day"]
    funded = sites[sites["funding"] == "funded"]
    totals["funded"] = funded.groupby("area_name").size()
    for part, rows in (("equip", equip), ("funded", funded)):
        for name in SUMS:
            totals[f"{part}_{name}"] = rows.groupby("area_name")[name].sum(min_count=1)
    priced = volume.where(equip["cost_per_m3"].notna()).groupby(area).sum(min_count=1)
    spent = (equip["cost_per_m3"] * volume).groupby(area).sum(min_count=1)
    totals["equip_cost_per_m3"] = spent / priced.replace(0.0, np.nan)
    return totals
