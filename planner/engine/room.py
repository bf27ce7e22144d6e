"""Where the search works: the site and its task, and the room for curves, years, candidates and bounds."""

from __future__ import annotations

from typing import NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import SURFACE
from planner.engine.balance import LEDGER, YEAR, Storage, storage_of
from planner.engine.cost import Market
from planner.engine.curve import CURVE, DESK, FAN
from planner.engine.design import DESIGN, STRINGS, most_strings
from planner.engine.light import Light
from planner.engine.seen import MOST_SEEN, SET
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.well import Well, drawdown_m, intake_depth_m
from planner.physics.equation import kernel

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]

# Sets of curves: for the demand of the design year; of another year, or with a worn rotor; of months that fall short.
SETS = 3
# Numbers that kernels hand to one another are numpy's: for plain ones numba compiles a kernel for each value.
NUMBERS: tuple[int, ...] = tuple(cast(int, np.int64(i)) for i in range(4))
DEMAND, OTHER, OWN, _ = NUMBERS
CABLE, RISER, DELIVERY, _ = NUMBERS  # parts that are chosen with a pump
DESIGN_YEAR, FIRST_YEAR, LAST_YEAR, WORN_YEAR = NUMBERS
ANY, FREE = cast(int, np.int64(-1)), NUMBERS[0]  # any part;  # the row of what candidates give with the least losses
YES, NO = cast(bool, np.bool_(True)), cast(bool, np.bool_(False))
RANK = np.dtype([("bound", "f8"), ("close", "i8")])  # least cost of a pump; whether it has been looked at
# Worth of a part at the shallowest intake above that of the cheapest, whether it passes its rules at the least flow,
# the least cost of any design with it, and whether that counts its own loss.
PART = np.dtype([("extra", "f8"), ("may", "i8"), ("bound", "f8"), ("close", "i8")])
KNOWN = np.dtype([("water", "f8"), ("pairs", "f8")])  # the most water of a candidate, the least cost of its rotors
CANDIDATE = np.dtype(
    [(name, "i8") for name in ("tank", "module", "strings", "done", "cooled")]
    + [(name, "f8") for name in ("array_wp", "price", "pairs", "water", "first", "last")]
)
# What is common to all designs of a site: the month whose demand × head is largest for its sun; the smallest tank that
# holds the day's share; mean flow of that month if it ran through all the light; worth of what every design has, or
# more; present value of all water that is wanted and allowed; demand of year 1 and the last year over that of the
# design year; power of the array in the design year, year 1 and the last over new; water of a year that a design must
# give (0: it must meet the demand); water of each month that no watt can pass. Sets of the pump at hand that are kept.
TASK = np.dtype(
    [("hardest", "i8"), ("first_tank", "i8"), ("sets", "i8")]
    + [(name, "f8") for name in ("flow_m3_h", "priced", "water_m3", "first", "last", "aged", "aged_first", "aged_last")]
    + [("goal_m3", "f8"), ("lifted", "f8", 12)]
)


class Place(NamedTuple):
    """Everything about a site that its designs share, handed from kernel to kernel."""

    site: Record
    light: Light
    market: Market
    rules: Record
    well: Well
    task: Record


class Room(NamedTuple):
    """Room that the search works in, made once for each thread."""

    desk: Record  # of a pump with its pipes
    bare: Record  # of a pump without
    year: Record
    other: Record
    ledger: Record
    trial: Record  # the design that is being weighed
    task: Record
    fan: Record  # of the set at hand, rotor and stator at mid-life
    worn: Record  # of the same at the end of their life
    curves: Records  # (SETS, 12)
    strings: Records  # (drives, modules, most)
    arrays: Integers  # (drives, modules) how many there are in `strings`
    pumps: Records  # (pumps) of RANK
    parts: Records  # (3, parts) of PART: cables, risers, delivery pipes of the pump at hand
    candidates: Records
    known: Records  # (1 + 2 × parts, candidates) of KNOWN: with the least losses, by first part, by riser
    sets: Records  # (MOST_SEEN,) of SET: those of the pump at hand that were looked at
    given: Floats  # (MOST_SEEN, candidates) the most water of each with each
    limit: Floats  # (candidates,) the most water with the set at hand


def blank(kind: np.dtype[np.void]) -> Record:
    """One record of zeros."""
    return np.zeros(1, kind).view(np.recarray)[0]


def make_room(market: Market) -> Room:
    """Room for one thread."""
    drives, modules = market.drives.size, market.modules.size
    most = most_strings(market) * modules * market.tanks.size + 1
    parts = max(market.cables.size, market.risers.size, market.deliveries.size)
    return Room(
        blank(DESK),
        blank(DESK),
        blank(YEAR),
        blank(YEAR),
        blank(LEDGER),
        blank(DESIGN),
        blank(TASK),
        blank(FAN),
        blank(FAN),
        np.zeros((SETS, 12), CURVE),
        np.zeros((drives, modules, most_strings(market)), STRINGS),
        np.zeros((drives, modules), np.int64),
        np.zeros(market.pumps.size, RANK),
        np.zeros((3, parts), PART),
        np.zeros(most, CANDIDATE),
        np.zeros((1 + 2 * parts, most), KNOWN),
        np.zeros(MOST_SEEN, SET),
        np.zeros((MOST_SEEN, most)),
        np.zeros(most),
    )


@kernel
def riser_worth(riser: Record, site: Record) -> float:
    """Worth of a metre of riser in the water of the site."""
    return riser.worth_corrosive if site.corrosive else riser.worth


@kernel
def site_worth(site: Record, rules: Record) -> float:
    """Worth of taps and transport."""
    return rules.tap_worth * site.taps + rules.km_worth * site.road_km


@kernel
def wanted_year(site: Record, share: float, most_day: float) -> float:
    """Water of a year, m3, when each day takes what is wanted but no more than it may."""
    total = 0.0
    for m in range(12):
        total += DAYS[m] * min(share * site.demand_m3_day[m], most_day)
    return total


@kernel
def present(rules: Record, first: float, design: float, last: float) -> float:
    """Present value at the tap of water at the tank inlet in year 1, the design year and the last."""
    total = rules.water_first * first + rules.water_design * design + rules.water_last * last
    return total * (1.0 - rules.losses)


@kernel
def tank_for(site: Record, tanks: Records) -> int:
    """The smallest tank that holds the day's share of what can be demanded of the well; else the largest."""
    wanted = site.storage_share * min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    for k in range(tanks.size):
        if tanks[k].volume_m3 >= wanted - 1e-9:
            return k
    return tanks.size - 1


@kernel
def carried_m3_day(rules: Record, over_m3: float, m: int) -> float:
    """What a full tank at the beginning of a month adds to its mean day, m3."""
    return over_m3 / DAYS[m] if rules.daily else 0.0


@kernel
def least_pumped_m3(site: Record, rules: Record, over_m3: float, m: int) -> float:
    """What the mean day of a month must pump at least, m3, to meet the demand with a tank that may have been full when
    the month began."""
    return max(rules.reliability_month * site.demand_m3_day[m] - carried_m3_day(rules, over_m3, m), 0.0)


@kernel
def largest_storage(place: Place) -> Storage:
    """The largest tank at the site."""
    return storage_of(place.site, place.market.tanks[place.market.tanks.size - 1].volume_m3)


@kernel
def set_task(place: Place) -> None:
    """Set out the task of a site."""
    site, light, market, rules, task = place.site, place.light, place.market, place.rules, place.task
    most, storage = -1.0, largest_storage(place)
    task.hardest, task.flow_m3_h, task.goal_m3 = 0, 0.0, 0.0
    end = light.steps.shape[2] - 1
    for m in range(12):
        energy, hours = light.steps[0, m, end].energy, 0.0
        for n in range(end, 0, -1):
            if light.steps[0, m, n - 1].power > 0.0:
                hours = light.steps[0, m, n].hours
                break
        target = least_pumped_m3(site, rules, storage.over_m3, m)
        if target <= 0.0:
            continue
        if energy <= 0.0:
            task.hardest, task.flow_m3_h = m, np.inf
            break
        mean = target / (hours * rules.availability)
        head = site.rest_m[m] + site.memory_d_m2 * target + site.lift_m + rules.residual_m
        effort = target * (head + drawdown_m(site, mean, False)) / energy
        if effort > most:
            task.hardest, task.flow_m3_h, most = m, mean, effort
    task.first_tank = tank_for(site, market.tanks)
    cheapest_r = cheapest_d = cheapest_c = np.inf
    for r in range(market.risers.size):
        cheapest_r = min(cheapest_r, riser_worth(market.risers[r], site))
    for d in range(market.deliveries.size):
        cheapest_d = min(cheapest_d, market.deliveries[d].worth)
    for c in range(market.cables.size):
        cheapest_c = min(cheapest_c, market.cables[c].worth)
    task.priced = cheapest_r * intake_depth_m(site, place.well, 0.0, True) + cheapest_d * site.pipe_length_m
    task.priced += cheapest_c * rules.cable_to_drive_m + site_worth(site, rules)
    task.first = (1.0 + site.growth) ** (1.0 - rules.design_year)
    task.last = (1.0 + site.growth) ** (rules.horizon_y - rules.design_year)
    task.aged = 1.0 - rules.ageing_year * rules.design_year
    task.aged_first, task.aged_last = 1.0 - rules.ageing_year, 1.0 - rules.ageing_year * rules.horizon_y
    most_day = storage.day_m3
    task.water_m3 = present(
        rules, wanted_year(site, task.first, most_day), wanted_year(site, 1.0, most_day),
        wanted_year(site, task.last, most_day),
    )  # fmt: skip


@kernel
def least_flow_m3_h(place: Place) -> float:
    """The least that a set which will do must be able to pump."""
    return 0.0 if place.task.goal_m3 > 0.0 else place.task.flow_m3_h


@kernel
def shallowest_m(pump: Record, place: Place) -> float:
    """The shallowest intake that a pump can have which does what is wanted."""
    return intake_depth_m(place.site, place.well, least_flow_m3_h(place), pump.family == SURFACE)
