"""The order in which the page lists sites, and those that a page of many sites has no room for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.site_data import DECISIONS, floats, significant
from planner.outputs.map.words import spoken
from planner.texts import LANGUAGES, texts

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
    """What the page says of the sites that it only counts: by cell of a grid, and in words; None where there are none.

    rest: of site_frame, after the `kept` ones in reading order. Gives {"count", "off_map", "words", "size",
    "cells": [[south, west, sites]]}: degrees, and `size` the side of a cell.
    """
    if rest.empty:
        return None
    latitude, longitude = floats(rest["latitude"]), floats(rest["longitude"])
    known = np.isfinite(latitude) & np.isfinite(longitude)
    cells, size = _cells(latitude[known], longitude[known])
    counts = {"kept": _spaced(kept), "rest": _spaced(len(rest))}
    words = {
        name: spoken({language: texts(language)[f"scale_rest_{name}"][1].format(**counts) for language in LANGUAGES})
        for name in ("note", "status", "row")
    }
    return {"count": len(rest), "off_map": int((~known).sum()), "words": words, "size": size, "cells": cells}


def _cells(latitude: np.ndarray, longitude: np.ndarray) -> tuple[list[list[float]], float]:
    if latitude.size == 0:
        return [], 1.0
    extent = max(np.ptp(latitude), np.ptp(longitude), 0.01)
    size = float(f"{extent / CELLS:.2g}")
    places = np.column_stack((np.floor(latitude / size), np.floor(longitude / size)))
    corners, counts = np.unique(places, axis=0, return_counts=True)
    corners = np.round(corners * size, 6)
    return [[south, west, count] for (south, west), count in zip(corners.tolist(), counts.tolist(), strict=True)], size


def _spaced(count: int) -> str:
    return f"{count:,}".replace(",", "\u202f")
