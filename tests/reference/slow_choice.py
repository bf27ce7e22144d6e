"""The slow model's choice: every design of a small catalogue, day after day through its tank, the cheapest taken.

A design is a pump with riser, delivery pipe, motor cable, array and tank. The days' water is that of slow_set.py, the
rules are those of slow_rules.py, the money is that of slow_cost.py. Nothing is pruned and nothing is bounded: all
designs are carried through all days.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from planner.catalogue.arrays import HELICAL
from planner.engine.days import Days
from tests.reference import slow_cost
from tests.reference.slow_rules import fit, sleeve_of
from tests.reference.slow_set import (
    Floats,
    Numbers,
    Row,
    Set,
    Site,
    Stock,
    Water,
    entry,
    water,
    watts_per_wp,
)
from tests.reference.slow_sun import DAYS

LENGTHS = np.array(DAYS, dtype="float64")
TIE = 1e-3  # costs are equal that agree so far in their logarithm
MOST_WATER = 0.9  # of the most water: what competes where no design meets


class Design(NamedTuple):
    """One design with its results; places are those in the small catalogue. m3 of water at the tank inlet."""

    pump: int
    riser: int
    delivery: int
    cable: int
    module: int
    array_wp: float
    tank: int
    sleeve: bool
    intake_m: float
    cap_m3_h: float
    used_m3_year: float  # design year, mean sun
    reliability: float
    worst_month: float
    low_sun_reliability: float
    low_sun_worst_month: float
    meets: bool
    cost_per_m3: float  # NaN where the design does not compete
    capital: float

    @property
    def key(self) -> tuple[float, ...]:
        """What names a design."""
        return (self.pump, self.riser, self.delivery, self.cable, self.module, self.array_wp, self.tank)


class Found(NamedTuple):
    """The chosen design, if any is buildable, and all of them."""

    chosen: Design | None
    designs: list[Design]
    stopped: dict[str, int]  # rule → sets that it stopped


def balance(kinds: Floats, wanted: Floats, safe_m3: float, storage: Floats, days: Days) -> Floats:
    """Water used on the mean day of each month, m3, (12, tanks, designs): day after day, all designs at once.

    kinds    pumpable on a day of each kind, (12, kinds, designs)
    wanted   most that is drawn on a day of the month, (12, tanks)
    storage  of each tank, above what it needs within the day, (tanks,)
    """
    supply = np.minimum(kinds, safe_m3)
    used, counted = np.zeros((12, storage.size, kinds.shape[2])), np.zeros(12)
    full, drawn = storage[:, None], wanted[:, :, None]
    stored = np.broadcast_to(full / 2, used.shape[1:]).copy()
    for day, (m, k) in enumerate(zip(days.month.tolist(), days.kind.tolist(), strict=True)):
        stored += supply[m, k]
        taken = np.minimum(drawn[m], stored)
        stored -= taken
        np.minimum(stored, full, out=stored)
        if day >= days.warm_up:
            used[m] += taken
            counted[m] += 1
    return used / np.maximum(counted, 1)[:, None, None]


def tanks_for(site: Site, stock: Stock) -> tuple[list[int], float]:
    """Tanks that hold a day's share of what can be asked of the well, else the largest alone; and that share, m3."""
    need = site.storage_share * min(max(site.demand_m3_day), site.safe_volume_m3_day)
    volumes = stock.tanks.volume_m3
    enough = [t for t in range(volumes.size) if volumes[t] >= need]
    return enough or [int(volumes.argmax())], need


def arrays_of(pump: Row, drive: Row, module: Row, site: Site, numbers: Numbers) -> list[float]:
    """Rated power of every array of a module that voltage, current and rating of the drive allow, W."""
    hot = module["vmp_v"] * (1 + module["gamma_vmp_per_k"] * (numbers.hot_cell_c - 25))
    cold = module["vmp_v"] * (1 + module["gamma_vmp_per_k"] * (site.record_low_c - 25))
    cold_open = module["voc_v"] * (1 + module["beta_voc_per_k"] * (site.record_low_c - 25))
    fewest = math.ceil(drive["mpp_min_v"] / hot - 1e-9)
    most = min(math.floor(drive["mpp_max_v"] / cold + 1e-9), math.floor(drive["v_max_v"] / cold_open + 1e-9))
    strings = math.floor(drive["isc_max_a"] / module["isc_a"] + 1e-9)
    found = {s * p * module["rated_wp"] for s in range(fewest, most + 1) for p in range(1, strings + 1)}
    return sorted(w for w in found if w <= drive["ratio_max"] * pump["drive_rating_w"] * (1 + 1e-12))


class _Lot(NamedTuple):
    """The arrays of one set, with what they give."""

    one: Set
    place: tuple[int, int, int, int]  # pump, riser, delivery, cable
    modules: list[int]
    array_wp: Floats
    watts: list[tuple[Floats, ...]]
    days: Water  # design year, mean sun
    dull: Floats  # kinds of day, design year, low sun
    sleeves: list[int]


def choose(site: Site, stock: Stock, numbers: Numbers, days: Days) -> Found:
    """The best design by the rules of choosing, and every buildable one."""
    lots, stopped = _lots(site, stock, numbers)
    if not lots:
        return Found(None, [], stopped)
    tanks, _ = tanks_for(site, stock)
    usual = _used(site, stock, numbers, days, [lot.days.kinds for lot in lots], numbers.design_year)
    low = usual
    if site.low_sun != 1.0:
        low = _used(site, stock, numbers, days, [lot.dull for lot in lots], numbers.design_year)
    demand = np.array(site.demand_m3_day)
    designs, first = [], 0
    for lot in lots:
        count = lot.array_wp.size
        part = slice(first, first + count)
        designs += _designs(lot, tanks, usual[:, :, part], low[:, :, part], demand, numbers)
        first += count
    designs = [d for d in designs if d.used_m3_year > 0]
    if not designs:
        return Found(None, [], stopped)
    priced = _priced(competing(designs), lots, site, stock, numbers, days)
    rest = {d.key for d in priced}
    return Found(cheapest(priced), priced + [d for d in designs if d.key not in rest], stopped)


def competing(designs: list[Design]) -> list[Design]:
    """Those that meet the demand, or where none does those with nearly the most water."""
    meet = [d for d in designs if d.meets]
    most = max(d.used_m3_year for d in designs)
    return meet or [d for d in designs if d.used_m3_year >= MOST_WATER * most]


def cheapest(priced: list[Design]) -> Design:
    """The least cost a cubic metre; of equal ones the smaller array, then the order of pumps and of modules."""
    return min(priced, key=_order)


def _order(d: Design) -> tuple[float, ...]:
    return (round(math.log(d.cost_per_m3) / TIE), d.array_wp, d.pump, d.module, d.cost_per_m3)


def _lots(site: Site, stock: Stock, numbers: Numbers) -> tuple[list[_Lot], dict[str, int]]:
    lots: list[_Lot] = []
    stopped: dict[str, int] = {}
    sizes = (stock.pumps, stock.risers, stock.deliveries, stock.cables)
    for j, r, d, c in np.ndindex(*(len(table[0]) for table in sizes)):
        place = (j, r, d, c)
        pump, riser, delivery, cable = (entry(table, i) for table, i in zip(sizes, place, strict=True))
        drive = entry(stock.drives, int(pump["drive"]))
        one, rule = fit(Set(site, numbers, pump, drive, riser, delivery, cable))
        if one is not None:
            lot = _lot(one, place, stock, numbers)
            rule = "no_voltage_window" if lot is None else rule
            if lot is not None:
                lots.append(lot)
        stopped[rule] = stopped.get(rule, 0) + 1
    return lots, stopped


def _lot(one: Set, place: tuple[int, int, int, int], stock: Stock, numbers: Numbers) -> _Lot | None:
    modules: list[int] = []
    sizes: list[float] = []
    for w in range(stock.modules.rated_wp.size):
        found = arrays_of(one.pump, one.drive, entry(stock.modules, w), one.site, numbers)
        modules += [w] * len(found)
        sizes += found
    if not sizes:
        return None
    watts = [watts_per_wp(one.site.sun, float(stock.modules.gamma_per_k[w])) for w in modules]
    aged = np.array(sizes) * (1 - numbers.ageing_year * numbers.design_year)
    suns = np.concatenate([aged, aged * one.site.low_sun])
    both = water(one, watts + watts, suns, one.site.demand_m3_day, one.pump["slip_life_factor"])
    n = len(sizes)
    given, dull = Water(both.kinds[:, :, :n], both.hours[:, :n]), both.kinds[:, :, n:]
    volumes, hours = given.kinds.mean(axis=1).sum(axis=0), given.hours.sum(axis=0)
    sleeves = [sleeve_of(one, float(volumes[a]), float(hours[a])) for a in range(len(sizes))]
    return _Lot(one, place, modules, np.array(sizes), watts, given, dull, sleeves)


def _demand(site: Site, numbers: Numbers, year: float) -> tuple[float, ...]:
    return tuple(d * (1 + site.growth) ** (year - numbers.design_year) for d in site.demand_m3_day)


def _water(lot: _Lot, numbers: Numbers, year: float, slip: float | None = None) -> Water:
    """Water of a lot's arrays in a year of the horizon, mean sun."""
    aged = lot.array_wp * (1 - numbers.ageing_year * year)
    factor = lot.one.pump["slip_life_factor"] if slip is None else slip
    return water(lot.one, lot.watts, aged, _demand(lot.one.site, numbers, year), factor)


def _used(site: Site, stock: Stock, numbers: Numbers, days: Days, kinds: list[Floats], year: float) -> Floats:
    """Water used by all arrays of all lots with all tanks in a year, (12, tanks, arrays)."""
    tanks, need = tanks_for(site, stock)
    volumes = stock.tanks.volume_m3[tanks]
    most = np.minimum(volumes / site.storage_share if site.storage_share > 0 else np.inf, site.safe_volume_m3_day)
    wanted = np.minimum(np.array(_demand(site, numbers, year))[:, None], most[None, :])
    storage = np.maximum(volumes - need, 0.0)
    return balance(np.concatenate(kinds, axis=2), wanted, site.safe_volume_m3_day, storage, days)


def reliability(used: Floats, demand: Floats) -> tuple[float, float]:
    """Share of the year's demand met, and of the worst month's."""
    shares = np.where(demand > 0, used / np.where(demand > 0, demand, 1.0), 1.0)
    return float(used @ LENGTHS / (demand @ LENGTHS)), float(shares.min())


def _designs(lot: _Lot, tanks: list[int], used: Floats, low: Floats, demand: Floats, numbers: Numbers) -> list[Design]:
    found = []
    for a, size in enumerate(lot.array_wp):
        if lot.sleeves[a] < 0:
            continue
        for t, tank in enumerate(tanks):
            year, month = reliability(used[:, t, a], demand)
            dull_year, dull_month = reliability(low[:, t, a], demand)
            meets = dull_month >= numbers.reliability_month and dull_year >= numbers.reliability_year
            found.append(
                Design(
                    *lot.place, lot.modules[a], float(size), tank, lot.sleeves[a] == 1, lot.one.intake_m,
                    lot.one.cap_m3_h, float(used[:, t, a] @ LENGTHS), year, month, dull_year, dull_month, meets,
                    math.nan, math.nan,
                )
            )  # fmt: skip
    return found


def _priced(
    compete: list[Design], lots: list[_Lot], site: Site, stock: Stock, numbers: Numbers, days: Days
) -> list[Design]:
    """The designs with their cost: water of the first and the last year, and of the worn pump, worked out as well."""
    wanted = {(d.pump, d.riser, d.delivery, d.cable, d.module, d.array_wp) for d in compete}
    parts = [_part(lot, [i for i in range(len(lot.modules)) if _name(lot, i) in wanted]) for lot in lots]
    parts = [part for part in parts if part.modules]
    places = {_name(part, i): (p, i) for p, part in enumerate(parts) for i in range(len(part.modules))}
    starts = np.cumsum([0, *(len(part.modules) for part in parts)])
    tanks, _ = tanks_for(site, stock)

    def year(when: float) -> Floats:
        kinds = [_water(part, numbers, when).kinds for part in parts]
        return _used(site, stock, numbers, days, kinds, when)

    first, last = year(1), year(numbers.horizon_y)
    worn, usual = None, None
    if any(d.meets for d in compete) and any(part.one.family == HELICAL for part in parts):
        when = numbers.design_year
        kinds = [
            _water(part, numbers, when, slip=part.one.pump["slip_end_factor"]).kinds
            if part.one.family == HELICAL
            else part.days.kinds
            for part in parts
        ]
        worn = _used(site, stock, numbers, days, kinds, when)
        usual = _used(site, stock, numbers, days, [part.days.kinds for part in parts], when)
    priced = []
    for d in compete:
        p, i = places[(d.pump, d.riser, d.delivery, d.cable, d.module, d.array_wp)]
        part, t, at = parts[p], tanks.index(d.tank), starts[p] + i
        life = math.inf
        if part.one.family == HELICAL:
            slip = math.inf
            if d.meets and worn is not None and usual is not None:
                slip = slip_at_limit(part.one.pump, site, numbers, usual[:, t, at], worn[:, t, at])
            hours = float(part.days.hours[:, i] @ LENGTHS / LENGTHS.sum())
            life = slow_cost.pair_life_y(part.one.pump, site.sand_mg_l, hours, slip)
        capital, cost = slow_cost.lifecycle(
            part.one, entry(stock.modules, d.module), d.array_wp, entry(stock.tanks, d.tank), d.sleeve, life, stock,
            numbers,
        )  # fmt: skip
        years = first[:, t, at] @ LENGTHS, d.used_m3_year, last[:, t, at] @ LENGTHS
        taps = slow_cost.present_water(*years, numbers) * (1 - numbers.losses)
        priced.append(d._replace(cost_per_m3=cost / taps, capital=capital))
    return priced


def slip_at_limit(pump: Row, site: Site, numbers: Numbers, usual: Floats, worn: Floats) -> float:
    """Slip ÷ new with which the first month gives no more than its share of the demand; ∞ if none comes to that."""
    found, life, end = math.inf, pump["slip_life_factor"], pump["slip_end_factor"]
    for demand, before, after in zip(site.demand_m3_day, usual, worn, strict=True):
        least = numbers.reliability_month * demand
        if after < least:
            share = (before - least) / (before - after) if before > after else 0.0
            found = min(found, life + max(share, 0.0) * (end - life))
    return found


def _name(lot: _Lot, i: int) -> tuple[float, ...]:
    return (*lot.place, lot.modules[i], float(lot.array_wp[i]))


def _part(lot: _Lot, kept: list[int]) -> _Lot:
    return lot._replace(
        modules=[lot.modules[i] for i in kept],
        array_wp=lot.array_wp[kept],
        watts=[lot.watts[i] for i in kept],
        days=Water(lot.days.kinds[:, :, kept], lot.days.hours[:, kept]),
        dull=lot.dull[:, :, kept],
        sleeves=[lot.sleeves[i] for i in kept],
    )
