"""The lots of the tender as polygons with their totals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from planner.glossary import Quantity
from planner.outputs.shared import coarse

if TYPE_CHECKING:
    import geopandas as gpd

LOT_FIELDS = [
    Quantity("lot", "-", "integer", 1, None, "Lot", "Number, from the north-west to the south-east"),
    Quantity("base", "-", "text", None, None, "Base", "Service base: its name in the plan, or a site of the lot"),
    Quantity("sites", "-", "integer", 1, None, "Sites", "Sites of the lot"),
    Quantity("capital_cost", "currency", "number", 0, None, "Capital cost", "Sum of the lot, whole schemes"),
    Quantity(
        "value_deviation", "-", "number", -1, None, "Over the mean lot", "Capital cost / that of the mean lot - 1"
    ),
    Quantity("people_served", "people", "number", 0, None, "People served", "Sum of the sites whose people are known"),
    Quantity("volume_used_m3_day", "m3/d", "number", 0, None, "Volume used", "Sum of the lot"),
    Quantity("pump_types", "-", "integer", 1, None, "Pump types", "Different pumps in the lot"),
    Quantity("mean_base_km", "km", "number", 0, None, "Drive from the base, mean", "One way, straight x detour"),
    Quantity("max_base_km", "km", "number", 0, None, "Drive from the base, longest", "One way, straight x detour"),
    Quantity("base_latitude", "deg", "number", -90, 90, "Latitude of the base", "North, WGS 84"),
    Quantity("base_longitude", "deg", "number", -180, 180, "Longitude of the base", "East, WGS 84"),
]
MARGIN = 0.03  # of the width of all lots: how far they reach beyond the outermost sites
LEAST_MARGIN_DEG = 0.005


def lot_shapes(sites: pd.DataFrame, lots: pd.DataFrame, grid_m: float = 0.0) -> gpd.GeoDataFrame:
    """One row a lot with LOT_FIELDS and a MULTIPOLYGON in WGS 84: all that lies nearer to its sites than to others.

    sites: rows with lot, latitude and longitude as they are shared, so that the polygons tell no more than the points.
    grid_m: bases that are sites are put on the same grid, drives are rounded up to it. Lots whose sites share all
    their positions with others get a small circle.
    """
    import geopandas as gpd
    import shapely

    placed = sites[sites["lot"].notna() & sites["latitude"].notna()]
    points = placed[["longitude", "latitude", "lot"]].sort_values(["longitude", "latitude", "lot"])
    points = points.drop_duplicates(["longitude", "latitude"])
    xy = points[["longitude", "latitude"]].to_numpy(dtype="float64")
    of = points["lot"].to_numpy(dtype="int64")
    margin = max(LEAST_MARGIN_DEG, MARGIN * float(np.ptp(xy, axis=0).max()))
    outline = shapely.buffer(shapely.convex_hull(shapely.multipoints(xy)), margin)
    cells = np.array([outline])
    if len(xy) > 1:
        cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(xy), extend_to=outline, ordered=True))
        cells = shapely.intersection(cells, outline)
    shapes = []
    for lot in lots["lot"]:
        if np.any(of == lot):
            shape = shapely.union_all(cells[of == lot])
        else:
            own = placed[placed["lot"] == lot]
            shape = shapely.buffer(shapely.multipoints(own[["longitude", "latitude"]].to_numpy()), LEAST_MARGIN_DEG)
        shapes.append(shapely.multipolygons(shapely.get_parts(shape)))
    told = lots.copy()
    if grid_m:
        own_site = (told["base_source"] == "site").to_numpy()
        north, east = coarse(told["base_latitude"].to_numpy(), told["base_longitude"].to_numpy(), grid_m)
        told["base_latitude"] = np.where(own_site, north, told["base_latitude"])
        told["base_longitude"] = np.where(own_site, east, told["base_longitude"])
        for name in ("mean_base_km", "max_base_km"):
            told[name] = np.ceil(told[name] / (grid_m / 1000)) * (grid_m / 1000)
    return gpd.GeoDataFrame(told[[field.name for field in LOT_FIELDS]], geometry=shapes, crs="EPSG:4326")
