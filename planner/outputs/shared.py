"""What leaves the house: map.html and plan.gpkg with positions on a grid, and without private texts in findings.

The tables of the run (sites.csv, sites.parquet, findings.csv) are working files and stay exact. Nothing is computed
from a coarsened position.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.tables.private import private_text
from planner.texts import sentence

M_PER_DEGREE = 111_195.0  # of a great circle on the mean sphere, radius 6 371 009 m
POSITION_COLUMNS = {"latitude", "longitude", "northing", "easting"}
PRIVATE_TEXT = "(looks private: see findings.csv)"
EXACT_POSITION = "(exact position: see findings.csv)"


def coarse(
    latitude: NDArray[np.float64], longitude: NDArray[np.float64], grid_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres of the cells, grid_m metres high and wide, in which positions lie; degrees on WGS 84, NaN stays.

    Rows of cells are counted from the equator, cells in a row from Greenwich, their width in degrees by the latitude
    of the row's centre. The grid rests on nothing but grid_m, so that repeated runs, other inventories or a position
    measured anew tell no more than one: a random shift could be averaged away.

    >>> [round(float(one[0]), 6) for one in coarse(np.array([-9.8765]), np.array([30.1234]), 1000.0)]
    [-9.879041, 30.119707]
    """
    high = grid_m / M_PER_DEGREE
    y = np.clip((np.floor(latitude / high) + 0.5) * high, -90.0, 90.0)
    wide = np.minimum(high / np.maximum(np.cos(np.radians(y)), 1e-6), 360.0)
    x = np.clip((np.floor(longitude / wide) + 0.5) * wide, -180.0, 180.0)
    return y, x


def coarse_sites(sites: pd.DataFrame, checks: pd.DataFrame, grid_m: float) -> pd.DataFrame:
    """The table with coarse positions and nothing beside them that tells the place better; as it is for grid_m 0.

    sites: inventory_row as a column. checks: those behind its reasons.
    """
    if not grid_m:
        return sites
    known = {name: sites[name].to_numpy(dtype="float64") for name in ("latitude", "longitude")}
    latitude, longitude = coarse(known["latitude"], known["longitude"], grid_m)
    told = sites.assign(latitude=latitude, longitude=longitude)
    if "solar_kwh_m2_day" in sites.columns:  # its last digits are those of one raster cell
        told["solar_kwh_m2_day"] = sites["solar_kwh_m2_day"].round(1)
    if "boundary_distance_m" in sites.columns:
        told["boundary_distance_m"] = _up(sites["boundary_distance_m"], grid_m)
    if "lot_base_km" in sites.columns:
        told["lot_base_km"] = _up(sites["lot_base_km"], grid_m / 1000)
    told["reason_text"] = _coarse_reasons(sites, checks, grid_m)
    return told


def coarse_checks(checks: pd.DataFrame, grid_m: float) -> pd.DataFrame:
    """The checks with distances to the area rounded up to the grid."""
    if not grid_m:
        return checks
    away = checks["rule"] == "outside_area"
    return checks.assign(value=checks["value"].mask(away, _up(checks["value"], grid_m)))


def shared_findings(findings: list[dict[str, Any]], grid_m: float) -> list[dict[str, Any]]:
    """The findings for shared outputs: no telephone, e-mail or identity number, and no exact position beside a grid."""
    told, tells = [], cache(_tells_position)
    for one in findings:
        place = bool(grid_m) and one["row"] > 0 and tells(one["column"], one["rule"])
        held = {
            name: EXACT_POSITION if place else PRIVATE_TEXT
            for name in ("old_value", "new_value")
            if one[name] and not one[name].startswith("row ") and (place or private_text(one[name]))
        }
        told.append(one | held if held else one)
    return told


def _tells_position(column: str, rule: str) -> bool:
    words = ("position", "coordinate", "latitude", "longitude", "utm", "zone", "outside")
    return column in POSITION_COLUMNS or any(word in rule for word in words)


def _up(distance: pd.Series, grid_m: float) -> pd.Series:
    up: pd.Series = np.ceil(distance / grid_m) * grid_m
    return up


def _coarse_reasons(sites: pd.DataFrame, checks: pd.DataFrame, grid_m: float) -> pd.Series:
    """reason_text with the distance to the area rounded up, in the sentence that says it."""
    words = sites.set_index("inventory_row")["reason_text"].copy()
    away = checks[(checks["rule"] == "outside_area") & ~checks["pass"]]
    rounded = _up(away["value"], grid_m)
    for row, exact, coarser, limit in zip(away["inventory_row"], away["value"], rounded, away["limit"], strict=True):
        said, instead = (sentence("outside_area", "", value, limit) for value in (exact, coarser))
        words[row] = words[row].replace(said, instead)
    return words.set_axis(sites.index)
