"""The order in which the page lists sites, and those that a page of many sites has no room for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.site_data import DECISIONS, floats, significant

MOST_SITES = 100_000  # by judgement: a page that common computers open in seconds
CELLS = 48  # cells along the longer side of the area


def reading_order(frame: pd.DataFrame) -> pd.DataFrame:
    """Ranked sites by rank, then the other decisions in their order, each by cost and then by inventory row.

    frame: of site_frame. A missing rank or cost comes last. The index is 0, 1, 2 … anew, and
    `place` says which row of `frame` each was.
    """
    group = frame["decision"].map({name: place for place, name in enumerate(DECISIONS)}).to_numpy()
    cost, rank = significant(frame["cost_per_m3"]), floats(frame["rank"])
    place = np.lexsort((cost, rank, group))
    return frame.iloc[place].assign(place=place).reset_index(drop=True)


def rest_data(rest: pd.DataFrame, kept: int) -> dict[str, Any] | None:
    """What the page says of the sites that it only counts: by cell of a grid; None where there are none.

    rest: of site_frame, after the `kept` ones in reading order. Gives {"count", "kept", "off_map", "size",
    "cells": [[south, west, sites]]}: degrees, and `size` the side of a cell.
    """
    if rest.empty:
        return None
    latitude, longitude = floats(rest["latitude"]), floats(rest["longitude"])
    known = np.isfinite(latitude) & np.isfinite(longitude)
    cells, size = _cells(latitude[known], longitude[known])
    return {"count": len(rest), "kept": kept, "off_map": int((~known).sum()), "size": size, "cells": cells}


def _cells(latitude: np.ndarray, longitude: np.ndarray) -> tuple[list[list[float]], float]:
    if latitude.size == 0:
        return [], 1.0
    # A few positions far off the area make a few cells more, not larger ones.
    extent = max(0.01, *(float(np.ptp(np.quantile(side, [0.02, 0.98]))) for side in (latitude, longitude)))
    size = float(f"{extent / CELLS:.2g}")
    places = np.column_stack((np.floor(latitude / size), np.floor(longitude / size)))
    corners, counts = np.unique(places, axis=0, return_counts=True)
    corners = np.round(corners * size, 6)
    return [[south, west, count] for (south, west), count in zip(corners.tolist(), counts.tolist(), strict=True)], size
