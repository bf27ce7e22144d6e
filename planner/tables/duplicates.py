"""Rows of one inventory that describe the same well: found in space first, never by comparing all names."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.tables.cells import fold_all

SAME_PLACE_M = 30.0  # a phone's position error twice over; common practice, not from a source
_APART_M = 1000.0  # between two keys on the added axis of the index: more than SAME_PLACE_M

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def clusters(rows: pd.DataFrame) -> pd.Series:
    """Cluster number of each row: rows within 30 m of one another with the same folded name or site_id.

    rows  latitude and longitude (deg, none missing), site_name, site_id
    Clusters chain: with A next to B and B next to C, all three are one.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    points = geocentric(rows)
    by_name = _same_key_nearby(points, fold_all(rows["site_name"]))
    by_id = _same_key_nearby(points, rows["site_id"])
    count = len(rows)
    groups = np.concatenate([count + by_name, count + by_name.max(initial=-1) + 1 + by_id])
    members = np.tile(np.arange(count), 2)
    size = int(groups.max(initial=-1)) + 1
    graph = coo_array((np.ones(2 * count), (members, groups)), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    return pd.Series(label[:count].astype(np.int64), index=rows.index)


def kept_rows(cluster: pd.Series, test_date: pd.Series, known: pd.Series) -> pd.Series:
    """The row kept of each row's cluster: the latest test, else the most known values, else the first."""
    order = pd.DataFrame({"cluster": cluster, "date": test_date, "known": known, "row": cluster.index})
    order = order.sort_values(["cluster", "date", "known", "row"], ascending=[True, False, False, True])
    return order.groupby("cluster")["row"].transform("first").reindex(cluster.index)


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


def _same_key_nearby(points: Floats, keys: pd.Series) -> Ints:
    """Group number of each row: rows of one key that chain within 30 m; an empty key is a group of its own.

    The key is a fourth axis of the index, on which different keys lie farther apart than any match.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(keys):
        return np.zeros(0, dtype=np.int64)
    codes = pd.factorize(keys)[0].astype("float64")
    empty = (keys == "").to_numpy()
    codes[empty] = codes.max() + 1 + np.arange(empty.sum())
    placed = np.column_stack([np.round(points, 2), codes * _APART_M])
    # Rows of one key at one spot are one node, so that a stack of repeat visits makes no pairs.
    nodes, node_of_row = np.unique(placed, axis=0, return_inverse=True)
    pairs = cKDTree(nodes).query_pairs(SAME_PLACE_M, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(nodes), len(nodes)))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label[node_of_row.reshape(-1)], dtype=np.int64)
