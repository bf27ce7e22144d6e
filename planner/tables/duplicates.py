"""Rows of one inventory that may describe the same well: found in space first, never by comparing all names.

Two rows are compared where they share an identifier or a name and lie within 100 m. Their score is our own rule:

    place   0.40 × (1 − distance ÷ 60 m), 0 from 60 m
    id      + 0.40 the same, − 0.20 both given and different
    name    + 0.35 the same, − 0.10 both given and different
    depth   + 0.10 alike (1 m or 2 %), − 0.15 different (more than 5 m and 10 %)
    date    + 0.10 the same day of test

From 0.50, and within 30 m, they are one well; from 0.30 they are candidates, which are told and stay two.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.tables.cells.read import fold_all

SAME_PLACE_M = 30.0  # a phone's position error twice over; common practice, not from a source
CANDIDATE_M = 100.0
PLACE_M = 60.0
SAME_WELL, CANDIDATE = 0.50, 0.30
_APART_M = 1000.0  # between two keys on the added axis of the index: more than CANDIDATE_M
_NEIGHBOURS = 16  # looked at where rows of one key lie so densely that all pairs are too many

# Words that stand for no identifier or no name, folded.
NO_KEY = frozenset(
    [
        *("", "na", "n a", "nil", "none", "null", "nan", "nd", "n d", "0", "00", "000", "0000", "x", "xx", "xxx"),
        *("tbd", "tba", "new", "test", "unknown", "not known", "no id", "no number", "no name", "unnamed"),
        *("sans", "sans nom", "sans numero", "inconnu", "desconhecido", "sem numero", "sem nome"),
        *("desconocido", "sin numero", "sin nombre", "haijulikani", "hakuna"),
    ]
)
_ROMAN = {
    roman: str(number)
    for number, roman in enumerate(
        ("i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii", "xiii", "xiv", "xv"), start=1
    )
}

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class Matches(NamedTuple):
    """cluster: number of each row's well. candidates: row, other, score, distance_m, for pairs that stay two."""

    cluster: pd.Series
    candidates: pd.DataFrame


def id_keys(site_id: pd.Series) -> pd.Series:
    """Identifiers for comparison: folded, "" for those that stand for none."""
    folded = fold_all(site_id)
    return folded.mask(folded.isin(NO_KEY), "").astype("str")


def name_keys(site_name: pd.Series) -> pd.Series:
    """Names for comparison: folded, the number at their end in figures, "" for those that stand for none.

    >>> name_keys(pd.Series(["Nkhoma I", "NKHOMA-01", "Nkhoma1", "n/a"])).tolist()
    ['nkhoma 1', 'nkhoma 1', 'nkhoma 1', '']
    """
    places, distinct = pd.factorize(fold_all(site_name))
    keys = pd.Series([_numbered(one) for one in distinct], dtype="str")
    return pd.Series(keys.to_numpy()[places], index=site_name.index, dtype="str")


def _numbered(name: str) -> str:
    if name in NO_KEY:
        return ""
    words = re.sub(r"(?<=[^\W\d])(?=\d+$)", " ", name).split()
    if len(words) > 1:
        last = _ROMAN.get(words[-1], words[-1])
        words[-1] = last.lstrip("0") or "0" if last.isdecimal() else last
    return " ".join(words)


def score(pairs: pd.DataFrame) -> Floats:
    """Score of each pair as the module states it.

    pairs  distance_m; same_id, other_id, same_name, other_name, same_day (flags); depth_a, depth_b (m, may be missing)
    """
    gap = (pairs["depth_a"] - pairs["depth_b"]).abs().to_numpy()
    deeper = np.fmax(pairs["depth_a"].to_numpy(), pairs["depth_b"].to_numpy())
    alike = gap <= np.fmax(1.0, 0.02 * deeper)
    differs = (gap > 5.0) & (gap > 0.10 * deeper)
    place = 0.40 * (1.0 - pairs["distance_m"].to_numpy() / PLACE_M).clip(min=0.0)
    return np.asarray(
        place
        + 0.40 * pairs["same_id"]
        - 0.20 * pairs["other_id"]
        + 0.35 * pairs["same_name"]
        - 0.10 * pairs["other_name"]
        + 0.10 * alike
        - 0.15 * differs
        + 0.10 * pairs["same_day"],
        dtype="float64",
    )


def match(rows: pd.DataFrame) -> Matches:
    """Which rows are one well, and which pairs might be.

    rows  latitude and longitude (deg, none missing), site_name, site_id, depth_m, test_date
    Wells chain: with A one with B and B one with C, all three are one.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    points = np.round(geocentric(rows), 2)
    told = pd.DataFrame(
        {
            "id": _codes(id_keys(rows["site_id"])),
            "name": _codes(name_keys(rows["site_name"])),
            "depth": rows["depth_m"].to_numpy(),
            "date": _codes(rows["test_date"].where(rows["test_date"].str.len() == 10, "")),
        }
    )
    # Rows that say the same at one spot are one node, so that a stack of repeat visits makes no pairs.
    said = pd.DataFrame(points).join(told)
    nameless = (told["id"] < 0) & (told["name"] < 0)
    said["alone"] = np.where(nameless, np.arange(len(rows)), -1)
    node_of_row = said.groupby(list(said.columns), dropna=False, sort=False).ngroup().to_numpy()
    first = np.flatnonzero(~pd.Series(node_of_row).duplicated().to_numpy())
    pairs = _pairs(points[first], told.iloc[first].reset_index(drop=True))
    same = pairs[(pairs["score"] >= SAME_WELL) & (pairs["distance_m"] <= SAME_PLACE_M)]
    graph = coo_array((np.ones(len(same)), (same["a"], same["b"])), shape=(len(first), len(first)))
    _, label = connected_components(graph, directed=False)
    cluster = pd.Series(label[node_of_row].astype(np.int64), index=rows.index)
    perhaps = pairs[(pairs["score"] >= CANDIDATE) & (label[pairs["a"]] != label[pairs["b"]])]
    at = rows.index.to_numpy()[first]
    candidates = pd.DataFrame(
        {
            "row": at[perhaps["a"]],
            "other": at[perhaps["b"]],
            "score": perhaps["score"].to_numpy(),
            "distance_m": perhaps["distance_m"].to_numpy(),
        }
    )
    return Matches(cluster, candidates)


def _codes(keys: pd.Series) -> Ints:
    """A number for each distinct text, -1 for none."""
    codes = pd.factorize(keys)[0].astype(np.int64)
    codes[(keys == "").to_numpy()] = -1
    return codes


def _pairs(points: Floats, told: pd.DataFrame) -> pd.DataFrame:
    """Pairs a < b of nodes within 100 m that share an identifier or a name: distance and score."""
    found = np.concatenate([_same_key_nearby(points, told[key].to_numpy()) for key in ("id", "name")])
    found = np.unique(np.sort(found, axis=1), axis=0) if len(found) else found
    a, b = found[:, 0], found[:, 1]
    one, other = told.iloc[a].reset_index(drop=True), told.iloc[b].reset_index(drop=True)
    pairs = pd.DataFrame(
        {
            "a": a,
            "b": b,
            "distance_m": np.linalg.norm(points[a] - points[b], axis=1),
            "depth_a": one["depth"],
            "depth_b": other["depth"],
            "same_day": (one["date"] == other["date"]) & (one["date"] >= 0),
        }
    )
    for key in ("id", "name"):
        known = (one[key] >= 0) & (other[key] >= 0)
        pairs[f"same_{key}"] = known & (one[key] == other[key])
        pairs[f"other_{key}"] = known & (one[key] != other[key])
    pairs["score"] = score(pairs)
    return pairs


def _same_key_nearby(points: Floats, codes: Ints) -> Ints:
    """Pairs (n, 2) of places in `points` with one code, not -1, within 100 m.

    The code is a fourth axis of the index, on which different codes lie farther apart than any match.
    """
    from scipy.spatial import cKDTree

    keyed = np.flatnonzero(codes >= 0)
    if keyed.size < 2:
        return np.zeros((0, 2), dtype=np.int64)
    tree = cKDTree(np.column_stack([points[keyed], codes[keyed] * _APART_M]))
    if tree.count_neighbors(tree, CANDIDATE_M) <= 2 * _NEIGHBOURS * keyed.size + 100_000:
        pairs = tree.query_pairs(CANDIDATE_M, output_type="ndarray")
    else:
        _, near = tree.query(tree.data, k=min(_NEIGHBOURS, keyed.size), distance_upper_bound=CANDIDATE_M)
        mine = np.repeat(np.arange(keyed.size), near.shape[1])
        pairs = np.column_stack([mine, near.ravel()])
        pairs = pairs[(pairs[:, 1] < keyed.size) & (pairs[:, 0] != pairs[:, 1])]
    return np.asarray(keyed[pairs], dtype=np.int64).reshape(-1, 2)


def near_neighbours(rows: pd.DataFrame, cluster: pd.Series) -> pd.Series:
    """inventory_row of the nearest other cluster's row within 30 m, for the rows that have one."""
    from scipy.spatial import cKDTree

    if len(rows) < 2:
        return pd.Series(dtype="int64")
    points = geocentric(rows)
    wanted = min(len(rows), 8)
    distance, other = cKDTree(points).query(points, k=wanted, distance_upper_bound=SAME_PLACE_M)
    label = np.append(cluster.to_numpy(), -1)  # the tree answers len(rows) where it finds no more
    mine = label[:-1, np.newaxis]
    differs = np.isfinite(distance) & (label[other] != mine)
    has = differs.any(axis=1)
    nearest = other[np.arange(len(rows)), differs.argmax(axis=1)]
    return pd.Series(rows.index.to_numpy()[nearest[has]], index=rows.index[has])


def geocentric(rows: pd.DataFrame) -> Floats:
    """Earth-centred x, y, z in m on the WGS 84 ellipsoid; straight lines equal distances at this scale."""
    from pyproj import Transformer

    transformer = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    longitude, latitude = rows["longitude"].to_numpy(), rows["latitude"].to_numpy()
    return np.column_stack(transformer.transform(longitude, latitude, np.zeros(len(rows))))
