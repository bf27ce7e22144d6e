"""The invented settlements of the demo district and their wells, before any fault is planted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from geology import (
    ALLUVIUM,
    CELL_M,
    GRANITE,
    NORTH_M,
    SANDSTONE,
    SCHIST,
    WEST_M,
    Land,
    cell_of,
    noise,
    sub_district_of,
)
from numpy.random import Generator
from scipy.special import exp1
from shapely import Point, Polygon, prepare

WELLS = 590
TOWN_WELLS = (9, 8, 7, 6)
APART_M = 2200  # between settlements
BETWEEN_WELLS_M = 150

# The language of the demo: a word is an onset, a vowel, a middle and an ending. The clusters are chosen so
# that no word is a name in use; the list of names was compared once with a gazetteer of towns.
ONSETS = (
    "Thr",
    "Vr",
    "Sk",
    "Zl",
    "Dv",
    "Pr",
    "Gw",
    "Fn",
    "Kv",
    "Shl",
    "Ml",
    "Tv",
    "Ostr",
    "Elv",
    "Irg",
    "Ulm",
)
VOWELS = ("a", "e", "i", "o", "u", "ae", "oi")
MIDDLES = ("lv", "shk", "rthm", "nzh", "mv", "zdr", "ldg", "vr", "thn", "gl", "kst", "rv")
ENDINGS = ("ith", "une", "ozh", "arl", "iff", "esk", "oom", "ynd", "ael", "urn", "ivo", "eth")
PLACES = ("School", "Clinic", "Market", "Lower", "Upper", "Ford", "Mill", "East", "West")


@dataclass(frozen=True)
class Rock:
    """What drilling into a unit finds: medians, spreads (of natural logarithms), customs of drillers."""

    transmissivity_m2_day: float
    spread: float
    storage: float
    yield_m3_h: tuple[float, float]
    below_water_m: tuple[float, float]  # from rest level to the end of the hole
    screen_m: tuple[float, float]  # length of the screen above the end of the hole
    people: float
    round_share: float  # share of tests run at the round rates of a small test pump


ROCKS = {
    GRANITE: Rock(9.0, 0.5, 1e-3, (0.4, 2.4), (25, 45), (6, 12), 290, 0.55),
    SANDSTONE: Rock(28.0, 0.5, 1e-3, (2.0, 15.0), (35, 65), (10, 18), 430, 0.4),
    ALLUVIUM: Rock(110.0, 0.45, 0.1, (10.0, 45.0), (17, 34), (5, 10), 560, 0.2),
    SCHIST: Rock(3.4, 0.4, 1e-3, (0.2, 0.9), (28, 48), (6, 12), 250, 0.6),
}
ROUND_L_S = (0.25, 0.5, 0.75, 1.0)
CASINGS_MM = (78, 90, 103, 113, 125, 152, 203)
# Drillers case the soft rocks wider: first row alluvium and sandstone, second row granite and schist.
CASING_SHARES = ((0.02, 0.03, 0.10, 0.20, 0.20, 0.33, 0.12), (0.06, 0.08, 0.18, 0.32, 0.24, 0.12, 0.0))
WELL_LOSS = 0.2  # share of the drawdown of a test that is lost in the well


@dataclass
class Well:
    """A well as the land has it; what the district office knows of it is decided in `office.py`."""

    name: str
    settlement: int
    sub_district: int
    easting_m: float
    northing_m: float
    unit: int
    people: int
    static_m: float
    pumping_m: float
    screen_m: float
    depth_m: float
    yield_l_s: float
    test_h: float
    casing_mm: int
    wide: bool
    town: bool


@dataclass(frozen=True)
class Settlement:
    name: str
    easting_m: float
    northing_m: float
    wells: int
    town: bool


def make_names(rng: Generator, count: int) -> list[str]:
    """Different words of the demo's language."""
    names: dict[str, None] = {}
    while len(names) < count:
        names["".join(str(rng.choice(part)) for part in (ONSETS, VOWELS, MIDDLES, ENDINGS))] = None
    return list(names)


def make_settlements(rng: Generator, land: Land, names: list[str]) -> list[Settlement]:
    """Places at least APART_M from one another, denser on the valley fill, until their wells are WELLS."""
    # Share of settlements by rock: the plain is small but well peopled.
    liking = np.choose(land.unit, [0.85, 1.6, 5.0, 2.6]) * np.exp(0.5 * noise(rng, 12)) * land.inside
    liking *= land.richness**0.5
    inner = land.outline.buffer(-1500)
    prepare(inner)
    places: list[Settlement] = []
    wells = 0
    for cell in rng.choice(liking.size, 6000, replace=False, p=liking.ravel() / liking.sum()):
        row, column = divmod(int(cell), land.unit.shape[1])
        east = WEST_M + (column + rng.random()) * CELL_M
        north = NORTH_M - (row + rng.random()) * CELL_M
        near = any(np.hypot(east - place.easting_m, north - place.northing_m) < APART_M for place in places)
        if near or not inner.contains(Point(east, north)):
            continue
        town = len(places) < len(TOWN_WELLS)
        count = TOWN_WELLS[len(places)] if town else int(rng.choice([1, 2, 3, 4], p=[0.46, 0.34, 0.15, 0.05]))
        count = min(count, WELLS - wells)
        places.append(Settlement(names[len(places)], east, north, count, town))
        wells += count
        if wells == WELLS:
            return places
    raise RuntimeError(f"room for {wells} of {WELLS} wells only")


def make_wells(rng: Generator, land: Land, places: list[Settlement]) -> list[Well]:
    """All wells, sub-district by sub-district and place by place, as an office would list them."""
    inner = land.outline.buffer(-400)
    prepare(inner)
    taken: list[tuple[float, float]] = []
    wells = []
    for number, place in enumerate(places):
        labels = rng.permutation(PLACES)
        for k in range(place.wells):
            east, north = _spot(rng, place, taken, inner)
            taken.append((east, north))
            row, column = cell_of(east, north)
            name = (
                place.name if k == 0 else f"{place.name} {labels[k - 1] if rng.random() < 0.7 or place.town else k + 1}"
            )
            well = drill(
                rng,
                int(land.unit[row, column]),
                float(land.water_m[row, column]),
                float(land.richness[row, column]),
                place.town,
            )
            well.name, well.settlement = name, number
            well.easting_m, well.northing_m = east, north
            well.sub_district = sub_district_of(land, east, north)
            wells.append(well)
    return sorted(wells, key=lambda well: (well.sub_district, places[well.settlement].name, well.name))


def _spot(rng: Generator, place: Settlement, taken: list[tuple[float, float]], inner: Polygon) -> tuple[float, float]:
    while True:
        reach = rng.uniform(60, 1100 if place.town else 750)
        angle = rng.uniform(0, 2 * np.pi)
        east, north = place.easting_m + reach * np.cos(angle), place.northing_m + reach * np.sin(angle)
        if all(np.hypot(east - e, north - n) > BETWEEN_WELLS_M for e, n in taken) and inner.contains(
            Point(east, north)
        ):
            return east, north


def drill(rng: Generator, unit: int, water_m: float, richness: float, town: bool) -> Well:
    """One well: hole and casing first, then the test, whose drawdown follows from the transmissivity.

    The rate of the test is the least of what the unit gives, what 60 % of the water above the screen
    allows, and the test pump.
    """
    rock = ROCKS[unit]
    static = max(1.0, water_m * np.exp(rng.normal(0, 0.10)))
    wide = unit == ALLUVIUM and static < 3.2 and rng.random() < 0.7
    below = rng.uniform(9, 12) if wide else rng.uniform(*rock.below_water_m)
    screen_length = rng.uniform(3, 4) if wide else rng.uniform(*rock.screen_m)
    casing = int(
        rng.choice([150, 200, 250]) if wide else rng.choice(CASINGS_MM, p=CASING_SHARES[unit in (GRANITE, SCHIST)])
    )
    depth = static + below
    screen = depth - screen_length
    test_h = float(rng.choice([2, 4, 6, 12, 24], p=[0.1, 0.15, 0.35, 0.1, 0.3]))
    transmissivity = rock.transmissivity_m2_day * richness * np.exp(rng.normal(0, rock.spread))
    capacity = specific_capacity_m3_h_m(transmissivity, rock.storage, casing / 2000, test_h)
    room = 0.6 * (screen - 2 - static)
    possible = rng.uniform(*rock.yield_m3_h)
    rate_l_s = _test_rate_l_s(rng, min(possible, capacity * room) / 3.6, 0.0 if wide else rock.round_share)
    pumping = static + rate_l_s * 3.6 / capacity
    people = int(np.clip(rock.people * (1.25 if town else 1.0) * np.exp(rng.normal(0, 0.45)), 150, 1200))
    people = round(people, -1) if rng.random() < 0.5 else people
    if wide:
        people = min(1200, people + 450)
    return Well(
        "",
        -1,
        -1,
        0.0,
        0.0,
        unit,
        people,
        round(static, 1),
        round(max(pumping, static + 0.1), 1),
        round(screen, 1),
        round(depth, 1),
        rate_l_s,
        test_h,
        casing,
        wide,
        town,
    )


def specific_capacity_m3_h_m(transmissivity_m2_day: float, storage: float, radius_m: float, hours: float) -> float:
    """Rate ÷ drawdown at the end of a test, well loss included (Theis 1935: s = Q/(4πT) W(r²S/4Tt))."""
    u = radius_m**2 * storage / (4 * transmissivity_m2_day * hours / 24)
    drawdown_day_m2 = float(exp1(u)) / (4 * np.pi * transmissivity_m2_day) / (1 - WELL_LOSS)
    return float(np.clip(1 / drawdown_day_m2 / 24, 0.05, 6.0))


def _test_rate_l_s(rng: Generator, possible_l_s: float, round_share: float) -> float:
    """Many tests run at the largest of a small pump's round rates that the well bears: a censored yield."""
    rounds = [rate for rate in ROUND_L_S if rate <= possible_l_s]
    if rounds and rng.random() < round_share:
        return rounds[-1]
    return max(
        0.06,
        float(np.floor(possible_l_s * 100) / 100) if possible_l_s < 2 else float(np.floor(possible_l_s * 10) / 10),
    )
