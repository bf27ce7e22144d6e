"""Which sites are neighbours, and whether a group of them hangs together.

Two sites are neighbours where no third one lies in the circle over their distance as diameter (Gabriel & Sokal 1969):
the way from one to the other passes no other site. This graph is a part of the Delaunay triangulation without its long
edges along the hull, and always holds a shortest spanning tree, so that it is connected.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Neighbours = tuple[tuple[int, ...], ...]

SAME_PLACE_M = 1.0  # sites of one well field, or positions of one metre: neighbours of each other
TOLERANCE = 1e-9


def middle_degrees(latitude: Floats, longitude: Floats) -> tuple[float, float]:
    """The mean of positions as directions from the centre of the sphere, so that no date line ends them; degrees."""
    lat, lon = np.radians(latitude), np.radians(longitude)
    x, y, z = (np.cos(lat) * np.cos(lon)).mean(), (np.cos(lat) * np.sin(lon)).mean(), np.sin(lat).mean()
    return float(np.degrees(np.arctan2(z, np.hypot(x, y)))), float(np.degrees(np.arctan2(y, x)))


def plane_m(latitude: Floats, longitude: Floats) -> Floats:
    """East and north of the middle of the sites, m, shape (n, 2): azimuthal equidistant on WGS 84."""
    from pyproj import Proj

    if not latitude.size:
        return np.zeros((0, 2))
    north, east = middle_degrees(latitude, longitude)
    middle = Proj(proj="aeqd", ellps="WGS84", lat_0=north, lon_0=east)
    return np.column_stack(middle(longitude, latitude)).astype("float64")


def neighbours(xy_m: Floats) -> Neighbours:
    """For each site the places of its neighbours, ascending; xy_m: shape (n, 2), m."""
    _, first, cell_of = np.unique(np.round(xy_m / SAME_PLACE_M), axis=0, return_index=True, return_inverse=True)
    cell_of = cell_of.ravel()
    around: list[set[int]] = [set() for _ in range(len(xy_m))]

    def link(one: int, other: int) -> None:
        around[one].add(other)
        around[other].add(one)

    for one, other in _edges(xy_m[first]):
        link(int(first[one]), int(first[other]))
    for site in range(len(xy_m)):
        if first[cell_of[site]] != site:
            link(site, int(first[cell_of[site]]))
    return tuple(tuple(sorted(one)) for one in around)


def parts(around: Neighbours, members: Iterable[int]) -> list[list[int]]:
    """The connected parts of a group of sites, each ascending, in the order of their first sites."""
    left = set(members)
    found = []
    while left:
        start = min(left)
        left.discard(start)
        part, stack = [start], [start]
        while stack:
            for other in around[stack.pop()]:
                if other in left:
                    left.discard(other)
                    part.append(other)
                    stack.append(other)
        found.append(sorted(part))
    return found


def _edges(points: Floats) -> list[tuple[int, int]]:
    """Neighbours among points that all differ."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import minimum_spanning_tree
    from scipy.spatial import Delaunay, QhullError, cKDTree

    if len(points) < 3:
        return [(0, 1)] if len(points) == 2 else []
    try:
        mesh = Delaunay(points)
    except QhullError:  # all on one line
        return _along(points)
    pairs = np.concatenate([mesh.simplices[:, [0, 1]], mesh.simplices[:, [1, 2]], mesh.simplices[:, [0, 2]]])
    if len(mesh.coplanar):
        pairs = np.concatenate([pairs, mesh.coplanar[:, [0, 2]]])
    pairs = np.unique(np.sort(pairs, axis=1), axis=0)
    middle = points[pairs].mean(axis=1)
    half = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1) / 2
    away, near = cKDTree(points).query(middle, k=3)
    between = (near != pairs[:, [0]]) & (near != pairs[:, [1]]) & (away <= half[:, None] * (1 + TOLERANCE))
    free = pairs[~between.any(axis=1)]
    lengths = coo_array((2 * half, (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    tree = minimum_spanning_tree(lengths.tocsr()).tocoo()  # a part of `free` but for rounding
    edges = {(int(one), int(other)) for one, other in free}
    edges |= {(int(min(one, other)), int(max(one, other))) for one, other in zip(tree.row, tree.col, strict=True)}
    return sorted(edges)


def _along(points: Floats) -> list[tuple[int, int]]:
    spread = np.ptp(points, axis=0)
    order = np.lexsort((points[:, 1], points[:, 0])) if spread[0] >= spread[1] else np.lexsort(points.T)
    return [(int(one), int(other)) for one, other in pairwise(order)]
