"""Where lots have their service bases: those of the plan, or sites in the middle of the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.choice.lots.bases import EXACT_PAIRS, clusters, kept, middle, p_median
from planner.texts import Said, said

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True)
class Sites:
    """Positions in degrees, the same in a plane in m, (n, 2); detour: road ÷ straight line."""

    latitude: Floats
    longitude: Floats
    xy_m: Floats
    detour: float


@dataclass(frozen=True)
class Bases:
    """Bases of the plan."""

    names: tuple[str, ...]
    latitude: Floats
    longitude: Floats


@dataclass(frozen=True)
class Around:
    """Around what each of k lots is formed, and its base.

    sites        the site in the middle of each lot; empty where lots are formed around bases of the plan
    base         base of the plan of each lot; −1: the site in the middle is the base
    distance_km  drive from the middle of a lot, (n, k); base_km: from its base
    how          how the places were found, in words
    """

    sites: Places
    base: Places
    distance_km: Floats
    base_km: Floats
    how: Said


def driving_km(sites: Sites, latitude: Floats, longitude: Floats) -> Floats:
    """From each site to each place: geodesic on WGS 84 (Karney 2013, through PROJ) × detour, km, shape (n, k)."""
    from pyproj import Geod

    shape = (sites.latitude.size, latitude.size)
    lat, lon = (np.broadcast_to(one[:, None], shape).ravel() for one in (sites.latitude, sites.longitude))
    to_lat, to_lon = (np.broadcast_to(one[None, :], shape).ravel() for one in (latitude, longitude))
    metres = np.asarray(Geod(ellps="WGS84").inv(lon, lat, to_lon, to_lat)[2])
    return metres.reshape(shape) / 1000 * sites.detour


def places(sites: Sites, bases: Bases | None, count: int, radius_km: float | None) -> Around | None:
    """The places of `count` lots; None where no choice of sites has every site within the radius."""
    if bases is None or count > len(bases.names):
        found = _among_sites(sites, count, radius_km if bases is None else None)
        return None if found is None else around_sites(sites, bases, *found)
    distance = driving_km(sites, bases.latitude, bases.longitude)
    if count == len(bases.names):
        chosen, how = np.arange(count), said("lots_places_bases")
    elif distance.size <= EXACT_PAIRS:
        median = p_median(distance, count, radius_km)
        if median is None:
            return None
        key = "lots_places_some_proven" if median.optimal else "lots_places_some_unproven"
        chosen, how = median.places, said(key, count=count, bases=len(bases.names))
    else:
        chosen = kept(distance, count)
        how = said("lots_places_some_left", count=count, bases=len(bases.names))
    return Around(np.zeros(0, dtype=np.intp), chosen, distance[:, chosen], distance[:, chosen], how)


def around_sites(sites: Sites, bases: Bases | None, chosen: Places, how: Said) -> Around:
    """Lots around sites; their base is that site or, with bases of the plan, the one nearest to it."""
    distance = driving_km(sites, sites.latitude[chosen], sites.longitude[chosen])
    if bases is None:
        return Around(chosen, np.full(chosen.size, -1), distance, distance, how)
    to_bases = driving_km(sites, bases.latitude, bases.longitude)
    base = np.argmin(to_bases[chosen], axis=1)
    return Around(chosen, base, distance, to_bases[:, base], said("lots_places_served", places=how))


def moved(sites: Sites, bases: Bases | None, around: Around, lot: Places) -> Around | None:
    """The same with each lot around its own middle site; None where it is there already, or around bases of
    the plan."""
    if not around.sites.size:
        return None
    chosen = np.array([middle(sites.xy_m, np.flatnonzero(lot == one)) for one in range(around.sites.size)])
    if np.array_equal(chosen, around.sites):
        return None
    how = around.how
    if how.key == "lots_places_served" and isinstance(inner := how.value_of("places"), Said):
        how = inner
    if how.key != "lots_places_moved":
        how = said("lots_places_moved", places=how)
    return around_sites(sites, bases, chosen.astype(np.intp), how)


def _among_sites(sites: Sites, count: int, radius_km: float | None) -> tuple[Places, Said] | None:
    number = sites.latitude.size
    if number * number <= EXACT_PAIRS:
        median = p_median(driving_km(sites, sites.latitude, sites.longitude), count, radius_km)
        if median is None:
            return None
        key = "lots_places_middle_proven" if median.optimal else "lots_places_middle_unproven"
        return median.places, said(key)
    return clusters(sites.xy_m, count), said("lots_places_clusters", sites=str(int(EXACT_PAIRS**0.5)))
