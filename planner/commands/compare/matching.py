"""Which row of one run is which of the other.

The same file of the same sheet: by row. Else, in this order and each only where it is unique in both runs: by site id;
by position, to 5 decimals (about 1 m), of rows that no id pairs; rows with neither by their number. What could be
several is ambiguous and not paired.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

DECIMALS = 5
FAR_M = 1000.0
ELSEWHERE_M = 10_000.0
M_PER_DEG = 111_195.0  # on a sphere of 6 371 km


@dataclass(frozen=True)
class Pairs:
    """table: columns old, new (rows of each), how (row, site_id, position) and apart_m (missing without positions);
    the other rows of either run by their number."""

    table: pd.DataFrame
    only_old: pd.Index
    only_new: pd.Index
    ambiguous_old: pd.Index
    ambiguous_new: pd.Index


def match(old: pd.DataFrame, new: pd.DataFrame, *, same_rows: bool) -> Pairs:
    """Pair the rows of two runs by site_id, latitude and longitude.

    same_rows: both read the same rows of one file; the second may have more behind them.
    """
    if same_rows and old.index.equals(new.index[: len(old)]):
        found = pd.DataFrame({"old": old.index, "new": old.index, "how": "row"})
        none = old.index[:0]
        return Pairs(_apart(found, old, new), none, new.index[len(old) :], none, none)
    left, right = (_keys(side) for side in (old, new))
    parts: list[pd.DataFrame] = []
    for how in ("site_id", "position", "row"):
        one, other = (side.loc[side[how].notna() & ~side[how].duplicated(keep=False), how] for side in (left, right))
        if parts:  # of the rows that are left; unique in the whole run none the less
            taken = pd.concat(parts)
            one, other = one.drop(taken["old"], errors="ignore"), other.drop(taken["new"], errors="ignore")
        both = one.rename_axis("old").reset_index().merge(other.rename_axis("new").reset_index(), on=how)
        parts.append(both[["old", "new"]].assign(how=how))
    found = pd.concat(parts, ignore_index=True).sort_values(["old", "new"], ignore_index=True)
    left, right = left.drop(found["old"]), right.drop(found["new"])
    unsure_old = _elsewhere(left, _keys(new))
    unsure_new = _elsewhere(right, _keys(old))
    return Pairs(
        _apart(found, old, new),
        left.index[~unsure_old],
        right.index[~unsure_new],
        left.index[unsure_old],
        right.index[unsure_new],
    )


def _keys(sites: pd.DataFrame) -> pd.DataFrame:
    """site_id, position as text, and the row's number where it has neither; missing where there is none."""
    names = sites["site_id"].where(sites["site_id"] != "")
    nowhere = pd.Series(np.nan, index=sites.index)
    lat, lon = (sites.get(name, nowhere) for name in ("latitude", "longitude"))
    place = lat.round(DECIMALS).astype("str") + " " + lon.round(DECIMALS).astype("str")
    place = place.where(lat.notna() & lon.notna())
    number = pd.Series(sites.index.astype("str"), index=sites.index).where(names.isna() & place.isna())
    return pd.DataFrame({"site_id": names, "position": place, "row": number}, dtype="object")


def _elsewhere(rows: pd.DataFrame, other: pd.DataFrame) -> pd.Series:
    """Whether the id or the position of a row that found no partner stands in the other run all the same."""
    found: pd.Series = rows["site_id"].notna() & rows["site_id"].isin(other["site_id"].dropna())
    return found | (rows["position"].notna() & rows["position"].isin(other["position"].dropna()))


def _apart(pairs: pd.DataFrame, old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """With the distance between both positions, m."""
    if not {"latitude", "longitude"} <= (set(old) & set(new)):
        return pairs.assign(apart_m=np.nan)
    one, other = old.loc[pairs["old"]], new.loc[pairs["new"]]
    lat, lon = (np.stack([side[name].to_numpy() for side in (one, other)]) for name in ("latitude", "longitude"))
    east = (np.diff(lon, axis=0)[0] + 180.0) % 360.0 - 180.0
    north = np.diff(lat, axis=0)[0]
    return pairs.assign(apart_m=M_PER_DEG * np.hypot(north, east * np.cos(np.radians(lat.mean(axis=0)))))
