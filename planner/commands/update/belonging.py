"""Which row of the inventory a row of the form is of. What does not agree is told and never matched."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from planner.commands.update.returned import GPS, Row
from planner.commands.update.told import Told, not_used, quoted
from planner.outputs.field.form import FAR_M
from planner.outputs.field.visits import plain

NEW = 0
M_PER_DEG = 111_195.0  # on a sphere of 6 371 km
_SAYS_WHERE = ("latitude", "longitude")


def rows_of(rows: Sequence[Row], sites: pd.DataFrame, fingerprint: str) -> tuple[dict[int, int], list[Told]]:
    """Row of the form → row of the inventory, NEW for a well to be added; and what is told.

    sites        columns of the inventory as read, by inventory_row
    fingerprint  of the inventory's file: what the form says of it is the same where row numbers mean the same rows
    """
    found: dict[int, int] = {}
    told: list[Told] = []
    names = [plain(one) for one in sites["site_id"].tolist()]
    by_name = pd.Series(sites.index, index=names)
    for row in rows:
        if row.inventory_row > 0 or not row.values:
            at, wrong = _numbered(row, sites, by_name, fingerprint) if row.values else (None, None)
        elif row.inventory_row < 0:
            at, wrong = None, None  # told by the reader
        else:
            at, wrong = _named(row, by_name)
        if at and wrong is None:
            wrong = _elsewhere(row, sites.loc[at].to_dict(), at)
        told += [wrong] if wrong is not None else []
        if at is not None and (wrong is None or wrong.what == "doubtful"):
            found[row.number] = at
    return _once(rows, found, told), told


def _numbered(row: Row, sites: pd.DataFrame, by_name: pd.Series, fingerprint: str) -> tuple[int | None, Told | None]:
    """A row with a number: the number and the site's id must agree."""
    at, name = row.inventory_row, plain(row.site_id)
    there = plain(sites["site_id"][at]) if at in sites.index else None
    same_file = row.inventory_file == fingerprint
    if there == name and (name or same_file or plain(row.site_name) == plain(sites["site_name"][at]) != ""):
        return at, None
    found = f"row {at} of site {quoted(row.site_id)}"
    expected = f"site {quoted(there)} there" if there is not None else f"a row from 1 to {len(sites)}"
    same = by_name[by_name.index == name] if name else by_name[:0]
    if len(same) == 1 and not same_file:
        moved = int(same.iloc[0])
        why = f"{found}, which is row {moved} of this inventory"
        doubt = Told("doubtful", row.number, moved, row.site_id, "inventory_row", found=why, expected="a look at it")
        return moved, doubt
    return None, not_used(row.number, found, expected, site_id=row.site_id, column="inventory_row")


def _named(row: Row, by_name: pd.Series) -> tuple[int | None, Told | None]:
    """A row without a number: of the site of its id, or a new well where nobody has that id."""
    name = plain(row.site_id)
    same = by_name[by_name.index == name] if name else by_name[:0]
    if len(same) == 1:
        return int(same.iloc[0]), None
    if len(same) > 1:
        rows = ", ".join(str(one) for one in same.tolist()[:5])
        found = f"site {quoted(row.site_id)}, which several rows have ({rows})"
        return None, not_used(row.number, found, "its row in inventory_row", site_id=row.site_id, column="site_id")
    if all(name in row.values for name in _SAYS_WHERE):
        return NEW, None
    expected = "gps_latitude and gps_longitude for a well that is not in the inventory"
    found = f"site {quoted(row.site_id)}, not in the inventory, without a position"
    return None, not_used(row.number, found, expected, site_id=row.site_id)


def _elsewhere(row: Row, site: Mapping[Hashable, Any], at: int) -> Told | None:
    """A visit, or a site as the form has it, too far from where the inventory has the site."""
    here = [float(site[name]) for name in _SAYS_WHERE]
    visited = [float(row.values.get(name, np.nan)) for name in _SAYS_WHERE]
    for place, column in (([row.latitude, row.longitude], "latitude"), (visited, GPS["latitude"])):
        away = metres(*place, *here)
        if away > FAR_M:
            found = f"a place {away / 1000:.1f} km from the site"
            expected = f"one within {FAR_M / 1000:g} km; where it is right, correct the inventory's position first"
            return not_used(row.number, found, expected, row=at, site_id=row.site_id, column=column)
    return None


def metres(lat: float, lon: float, other_lat: float, other_lon: float) -> float:
    """Distance between two near places; NaN where one has no position.

    >>> round(metres(0.0, 179.999, 0.0, -179.999))
    222
    """
    east = (other_lon - lon + 180.0) % 360.0 - 180.0
    return float(M_PER_DEG * np.hypot(other_lat - lat, east * np.cos(np.radians((lat + other_lat) / 2))))


def _once(rows: Sequence[Row], found: dict[int, int], told: list[Told]) -> dict[int, int]:
    """Without sites that two rows of the form claim: neither is used."""
    counts = pd.Series([at for at in found.values() if at != NEW], dtype="int64").value_counts()
    twice = set(counts.index[counts > 1])
    for row in rows:
        at = found.get(row.number)
        if at in twice:
            what = f"a second row of site {quoted(row.site_id)}"
            told.append(not_used(row.number, what, "one row a site", row=int(at or 0), site_id=row.site_id))
    return {number: at for number, at in found.items() if at not in twice}
