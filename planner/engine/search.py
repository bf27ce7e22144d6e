"""The choice of one site: of every design that can be built, the cheapest that will do.

A design is a pump with riser, delivery pipe, motor cable, array (module, strings) and tank. It meets the demand when
every month gets at least the plan's share of it, and the year its share, with as much less sun as the rules count on
(`Site.low_sun`; an array that much smaller stands for it). Among those the least life-cycle cost per cubic metre used
wins; volumes and costs are of the mean year. When no design meets the demand, the designs that give at least 0.9 of the
most water that any gives compete instead. Equal costs (to 0.1 %) go to the smaller array, then to the pump that comes
first by id, then to the lower cost.

Nothing is left out that could win. A pump without friction and cable loss gives at least the water of the same pump
with any pipes and cable, so

- the array that it needs in one month is the least that any design with that pump needs, and its cost with the
  cheapest of everything else, over all the water that is demanded, is below that of any of them: pumps whose bound
  lies behind the best found are not looked at;
- the water that it gives with an array and tank is the most that any pipes and cable can give: they are tried only
  as long as their price over that water is not behind the best found.

Water grows with array and tank (the days are the same for all), so the least array that will do is found by halving.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import LEDGER, YEAR, Storage, best_month, enter, storage_of, water_used
from planner.engine.cost import Market, rotor_stator_cost, rotor_stator_life_y
from planner.engine.design import DESIGN, STRINGS, behind, most_strings, strings_of, ties
from planner.engine.duty import (
    CURVE,
    DESK,
    FITS,
    KNOTS,
    RELIEF_RATIO,
    Duty,
    Prospect,
    Rig,
    Well,
    cable_loss,
    cable_ratio_of,
    delivery_friction,
    delivery_friction,
    delivery_head_m,
    drawdown_m,
    fit_set,
    full_flow_m3_h,
    intake_depth_m,
    lay_heads,
    prospect_of,
    riser_can_hang,
    riser_friction,
    riser_head_m,
    speed_power_torque,
    start_power_w,
    well_limits,
)
from planner.engine.light import Light
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.volume import above, mean_day, month_volume, year_curves
from planner.physics.equation import kernel
from planner.physics.pumps import helical_slip_m3_h, starting_torque_nm
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

ROUNDING = 1e-9
LIMITED_SHARE = 0.9  # of the most water, for designs that compete when the demand cannot be met
FAMILY_COUNT = 3
# Motor cooling, trade practice: water past the motor at 0.08 m/s, none needed for small losses in cool water.
COOLING_M_S = 0.08
COOLING_FREE_C = 30.0
COOLING_FREE_LOSS_W = 250.0
SLEEVE_MM = 12.0
CLEARANCE_MM = 6.0


class Room(NamedTuple):
    """Room that the search works in, made once for each thread."""

    desk: Record  # of a pump with its pipes
    bare: Record  # of a pump without
    year: Record
    other: Record
    ledger: Record
    trial: Record  # the design that is being weighed
    task: Record
    curves: Records  # (SETS, 12)
    strings: Records  # (drives, modules, most)
    count: Integers  # (drives, modules) arrays in `strings`
    pumps: Records  # (pumps) of RANK
    parts: Records  # (3, parts) of PART: cables, risers, delivery pipes of the pump at hand
    candidates: Records
    known: Records  # (1 + 2 × parts, candidates) of KNOWN


# Sets of curves: for the demand of the design year; of another year, or with a worn rotor; of months that fall short.
DEMAND, OTHER, OWN, SETS = range(4)
CABLE, RISER, DELIVERY = range(3)  # parts that are chosen with a pump
RANK = np.dtype([("bound", "f8"), ("close", "i8")])  # least cost of a pump; whether it has been looked at
# Worth of a part at the shallowest intake above that of the cheapest, whether it passes its rules at the least flow, the
# least cost of any design with it, and whether that counts its own loss.
PART = np.dtype([("extra", "f8"), ("may", "i8"), ("bound", "f8"), ("close", "i8")])
KNOWN = np.dtype([("water", "f8"), ("pairs", "f8")])  # the most water of a candidate, the least cost of its rotors
CANDIDATE = np.dtype(
    [(name, "i8") for name in ("tank", "module", "strings", "done")]
    + [(name, "f8") for name in ("array_wp", "price", "pairs", "water", "first", "last")]
)
# What is common to all designs of a site: the month whose demand × head is largest for its sun; the smallest tank that
# holds the day's share; mean flow of the hardest month if it ran through all the light; worth of what every design has, or
# more; present value of all water that is wanted and allowed; demand of year 1 and the last year over that of the design
# year; power of the array in the design year, year 1 and the last over new; water of a year that a design must give (0: it
# must meet the demand); water of each month that no watt can pass.
TASK = np.dtype(
    [("hardest", "i8"), ("first_tank", "i8")]
    + [(name, "f8") for name in ("flow_m3_h", "priced", "water_m3", "first", "last", "aged", "aged_first", "aged_last")]
    + [("goal_m3", "f8"), ("lifted", "f8", 12)]
)


def blank(kind: np.dtype[np.void]) -> Record:
    """One record of zeros."""
    return np.zeros(1, kind).view(np.recarray)[0]


def make_room(market: Market) -> Room:
    """Room for one thread."""
    drives, modules = market.drives.size, market.modules.size
    most = most_strings(market) * modules * market.tanks.size + 1
    parts = max(market.cables.size, market.risers.size, market.deliveries.size)
    return Room(
        *(blank(kind) for kind in (DESK, DESK, YEAR, YEAR, LEDGER, DESIGN, TASK)),
        np.zeros((SETS, 12), CURVE),
        np.zeros((drives, modules, most_strings(market)), STRINGS),
        np.zeros((drives, modules), np.int64),
        np.zeros(market.pumps.size, RANK),
        np.zeros((3, parts), PART),
        np.zeros(most, CANDIDATE),
        np.zeros((1 + 2 * parts, most), KNOWN),
    )


class Place(NamedTuple):
    """Everything about a site that its designs share, handed from kernel to kernel."""

    site: Record
    light: Light
    market: Market
    rules: Record
    well: Well
    task: Record


@kernel
def set_task(place: Place) -> None:
    """Set out the task of a site."""
    site, light, market, rules, task = place.site, place.light, place.market, place.rules, place.task
    most = -1.0
    task.hardest, task.flow_m3_h, task.goal_m3 = 0, 0.0, 0.0
    end = light.steps.shape[2] - 1
    for m in range(12):
        energy, hours = light.steps[0, m, end].energy, 0.0
        for n in range(end, 0, -1):
            if light.steps[0, m, n - 1].power > 0.0:
                hours = light.steps[0, m, n].hours
                break
        target = rules.reliability_month * site.demand_m3_day[m]
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
    most_day = storage_of(site, market.tanks[market.tanks.size - 1].volume_m3).day_m3
    task.water_m3 = present(
        rules, wanted_year(site, task.first, most_day), wanted_year(site, 1.0, most_day),
        wanted_year(site, task.last, most_day),
    )  # fmt: skip


@kernel
def riser_worth(riser: Record, site: Record) -> float:
    """Worth of a metre of riser in the water of the site."""
    return riser.worth_corrosive if site.corrosive else riser.worth


@kernel
def site_worth(site: Record, rules: Record) -> float:
    """Worth of taps and transport."""
    return rules.tap_worth * site.taps + rules.km_worth * site.distance_km


@kernel
def wanted_year(site: Record, share: float, most_day: float) -> float:
    """Water of a year, m3, when each day takes what is wanted but no more than it may."""
    total = 0.0
    for m in range(12):
        total += DAYS[m] * min(share * site.demand_m3_day[m], most_day)
    return total


@kernel
def tank_for(site: Record, tanks: Records) -> int:
    """The smallest tank that holds the day's share of what can be demanded of the well; else the largest."""
    wanted = site.storage_share * min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    for k in range(tanks.size):
        if tanks[k].volume_m3 >= wanted - 1e-9:
            return k
    return tanks.size - 1


@kernel
def largest_array_w(pump: Record, drive: Record, rules: Record) -> float:
    """The largest array that a pump's drive may be given."""
    return (rules.ratio_max if rules.ratio_max > 0.0 else drive.ratio_max) * pump.drive_rating_w


@kernel
def arrays_up_to(strings: Records, count: int, largest_w: float) -> int:
    """How many of so many arrays, ascending, are no larger."""
    low, high = 0, count
    while low < high:
        middle = (low + high) // 2
        if strings[middle].array_wp <= largest_w:
            low = middle + 1
        else:
            high = middle
    return low


@kernel
def least_power_wh_m3(pump: Record, drive: Record, head_m: float, density: float) -> float:
    """Energy, Wh, below which no cubic metre can be lifted so high: at the best efficiency of pump, motor and drive.

    With losses k_c t² + k_f r^1.5 at torque t and speed r ≤ 1 a motor is never better than 1/(1 + 2 √(k_c k_f)). A
    helical rotor turns at least its swept volume, against the friction of its fit.
    """
    pressure = density * GRAVITY_M_S2 * head_m
    if pump.family == HELICAL:
        shaft = pressure + 2.0e6 * math.pi * pump.fit_friction_nm / pump.displacement_cm3
    else:
        shaft = pressure / pump.best_efficiency
    return shaft * (1.0 + 2.0 * math.sqrt(pump.copper_share * pump.iron_share)) / drive.efficiency / 3600.0


@kernel
def first_bound(j: int, place: Place, room: Room) -> float:
    """Cost below which no design of a pump that will do can be, from energy alone; infinite where none can do.

    To meet the demand: the energy of the hardest month at the best efficiency, for its mean flow (head grows with
    flow, so an uneven flow needs more). To give the goal: the water of each array at the best efficiency.
    """
    site, task, rules = place.site, place.task, place.rules
    pump, drive = place.market.pumps[j], place.market.drives[place.market.pumps[j].drive]
    largest = largest_array_w(pump, drive, rules)
    base = pump.worth + place.market.tanks[task.first_tank].worth + task.priced
    least = np.inf
    if place.task.goal_m3 > 0.0:
        lift_water(pump, drive, place)
        for w in range(place.market.modules.size):
            strings = room.strings[pump.drive, w]
            for i in range(arrays_up_to(strings, room.count[pump.drive, w], largest)):
                watts = strings[i].array_wp
                used, water = lifted_water(watts, place)
                if used >= place.task.goal_m3:
                    least = min(least, (base + place.market.modules[w].worth * watts) / water)
        return least
    m = task.hardest
    target = rules.reliability_month * site.demand_m3_day[m]
    if task.flow_m3_h > place.well.safe_m3_h or target > site.safe_volume_m3_day:
        return np.inf
    head = site.rest_m[m] + site.memory_d_m2 * target + site.lift_m + rules.residual_m
    head += drawdown_m(site, task.flow_m3_h, False)
    energy = target * least_power_wh_m3(pump, drive, head, place.well.density_kg_m3)
    end = place.light.steps.shape[2] - 1
    for w in range(place.market.modules.size):
        wp = place.light.steps[w, m, end].energy * task.aged * site.low_sun * rules.availability
        strings, count = room.strings[pump.drive, w], room.count[pump.drive, w]
        k = arrays_up_to(strings, count, energy / wp * (1.0 - ROUNDING))
        if k < count and strings[k].array_wp <= largest:
            least = min(least, place.market.modules[w].worth * strings[k].array_wp)
    return (least + base) / task.water_m3


@kernel
def lift_water(pump: Record, drive: Record, place: Place) -> None:
    """Water of each month's mean day, m3, that no watt of array can pass, at the month's rest level."""
    site, rules = place.site, place.rules
    end = place.light.steps.shape[2] - 1
    for m in range(12):
        head = site.rest_m[m] + site.lift_m + rules.residual_m
        most = 0.0
        for w in range(place.market.modules.size):
            most = max(most, place.light.steps[w, m, end].energy)
        place.task.lifted[m] = np.inf
        if head > 0.0:
            place.task.lifted[m] = most * rules.availability / least_power_wh_m3(pump, drive, head, place.well.density_kg_m3)


@kernel
def lifted_water(watts: float, place: Place) -> tuple[float, float]:
    """Most water of the design year, m3 at the tank inlet, and of the horizon, present value at the tap."""
    task, site = place.task, place.site
    storage = storage_of(site, place.market.tanks[place.market.tanks.size - 1].volume_m3)
    first = design = last = 0.0
    for m in range(12):
        volume = min(task.lifted[m] * watts, storage.day_m3)
        first += DAYS[m] * min(task.first * site.demand_m3_day[m], storage.day_m3)
        design += DAYS[m] * min(site.demand_m3_day[m], volume)
        last += DAYS[m] * min(task.last * site.demand_m3_day[m], volume)
    return design, present(place.rules, first, design, last)


@kernel
def present(rules: Record, first: float, design: float, last: float) -> float:
    """Present value at the tap of water at the tank inlet in year 1, the design year and the last."""
    total = rules.water_first * first + rules.water_design * design + rules.water_last * last
    return total * (1.0 - rules.losses)


@kernel
def may_do(
    duty: Duty, place: Place, w: int, watts: float, m: int, curve: Record, storage: Storage, room: Room, daily: bool
) -> bool:
    """Whether a month lets a set without friction meet the demand, each run of its days begun with a full tank if
    `daily`; the curve is that of the least that is wanted."""
    wanted = place.rules.reliability_month * place.site.demand_m3_day[m]
    array_w = watts * place.task.aged * place.site.low_sun
    volume, _ = mean_day(place.light, w, m, array_w, curve)
    if min(duty.availability * volume, storage.day_m3) < wanted:
        return False
    if not (daily and place.rules.daily):
        return True
    most = min(place.site.demand_m3_day[m], storage.day_m3)
    enter(place.light, w, m, array_w, curve, duty, place.site.safe_volume_m3_day, most, room.ledger, 0)
    return best_month(place.light, m, most, storage.over_m3, room.ledger) >= wanted


@kernel
def year_of(
    rig: Rig, duty: Duty, place: Place, w: int, watts: float, part: int, sets: int, storage: Storage, year: Record,
    room: Room,
) -> float:  # fmt: skip
    """Water used, m3 at the tank inlet, in the design year (part 0), the first (1), the last (2), or the design year
    with rotor and stator at the end of their life (3); its months into `year`. The curves are drawn into the set."""
    task = place.task
    share, aged, slip = 1.0, task.aged, rig.pump.slip_life_factor
    if part == 1:
        share, aged = task.first, task.aged_first
    elif part == 2:
        share, aged = task.last, task.aged_last
    elif part == 3:
        slip = rig.pump.slip_end_factor
    if sets != DEMAND:
        year_curves(rig, duty, slip, share, room.curves[sets])
    used, _, _ = water_used(
        rig, duty, slip, place.light, w, watts * aged, share, room.curves[sets], room.curves[OWN], storage,
        year, room.ledger,
    )  # fmt: skip
    return used


@kernel
def list_candidates(j: int, prospect: Prospect, place: Place, best: Record, room: Room) -> int:
    """Arrays and tanks with which pump j could come before the best, cheapest first; how many.

    A candidate's price is that with the cheapest pipes and cable and the shallowest intake, and with the fewest pairs
    of rotor and stator. Its water is all that is wanted, or what its energy lifts at most.
    """
    site, market, task, rules = place.site, place.market, place.task, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    rig = Rig(pump, drive, site, rules, place.well, room.bare)
    free = loose_duty(prospect, prospect.top_m3_h, 0.0)
    meeting = place.task.goal_m3 <= 0.0
    share = rules.reliability_month if meeting else 1.0
    year_curves(rig, free, pump.slip_life_factor, share, room.curves[OTHER])
    if not meeting:
        lift_water(pump, drive, place)
    least = pump.worth + site_worth(site, rules) + list_parts(pump, drive, place, room.parts)
    sleeve, _ = sleeve_at(pump, site, prospect.top_m3_h)
    if sleeve < 0:  # not even at its highest flow
        return 0
    least += sleeve * rules.sleeve_worth
    largest = largest_array_w(pump, drive, rules)
    n = 0
    for tank in range(task.first_tank, market.tanks.size):
        storage = storage_of(site, market.tanks[tank].volume_m3)
        for w in range(market.modules.size):
            strings = room.strings[pump.drive, w]
            count = arrays_up_to(strings, room.count[pump.drive, w], largest)
            low = 0
            if meeting:
                high, m = count, task.hardest
                while low < high:
                    middle = (low + high) // 2
                    watts = strings[middle].array_wp
                    if may_do(free, place, w, watts, m, room.curves[OTHER, m], storage, room, False):
                        high = middle
                    else:
                        low = middle + 1
            for i in range(low, count):
                watts = strings[i].array_wp
                price = least + market.tanks[tank].worth + market.modules[w].worth * watts
                if behind(price / task.water_m3, watts, j, best):
                    break
                water = task.water_m3
                if meeting:
                    will = True
                    for m in range(12):
                        will = will and may_do(
                            free, place, w, watts, m, room.curves[OTHER, m], storage, room, m == task.hardest
                        )  # fmt: skip
                    if not will:
                        continue
                else:
                    used, water = lifted_water(watts, place)
                    if used < place.task.goal_m3 or behind(price / water, watts, j, best):
                        continue
                pairs = 0.0
                if pump.family == HELICAL:
                    pairs = least_pairs(rig, prospect, place, w, watts, np.inf, room)
                    if behind((price + pairs) / water, watts, j, best):
                        continue
                at = n
                while at > 0 and room.candidates[at - 1].price > price:
                    copy_candidate(room.candidates[at - 1], room.candidates[at])
                    at -= 1
                one = room.candidates[at]
                one.tank, one.module, one.strings, one.done = tank, w, i, 0
                one.array_wp, one.price, one.pairs, one.water = watts, price, pairs, water
                n += 1
    return n


@kernel
def least_pairs(
    rig: Rig, prospect: Prospect, place: Place, w: int, watts: float, slip_at_limit: float, room: Room
) -> float:
    """Cost below which the rotors and stators of an array cannot be, whatever the pipes and cable.

    Friction and a thin cable raise the power at which a pump begins to run, a little, since it begins at its lowest
    speed: with the most of both it runs the fewest hours, and a pair lasts the longest.
    """
    site, rules, pump, drive, well = place.site, place.rules, rig.pump, rig.drive, place.well
    pressure = well.density_kg_m3 * GRAVITY_M_S2
    lift = site.lift_m + rules.residual_m
    shallow = pressure * (well.highest_m + lift)
    slip = helical_slip_m3_h(shallow, pump.slip_life_factor * pump.slip_m3_h_pa, pump.slip_exponent)
    flow = max(60e-6 * pump.displacement_cm3 * pump.min_speed_ratio * pump.rated_speed_rpm - slip, 0.0)
    friction = 0.0
    for r in range(place.market.risers.size):
        friction = max(friction, riser_head_m(flow, place.market.risers[r], prospect.intake_m, rules, well))
    narrow = 0.0
    for d in range(place.market.deliveries.size):
        narrow = max(narrow, delivery_head_m(flow, place.market.deliveries[d], site, well))
    friction += narrow + drawdown_m(site, flow, False)
    load = starting_torque_nm(pump.displacement_cm3, shallow, pump.fit_friction_nm, 1.0) / pump.rated_torque_nm
    ratio = rules.cable_loss * pump.motor_input_w / (pump.copper_share * pump.motor_w * min(load, 1.0))
    array_w = watts * place.task.aged
    hours = 0.0
    for m in range(12):
        static = site.rest_m[m] + site.memory_d_m2 * site.demand_m3_day[m] + lift
        _, power, _ = speed_power_torque(
            pump, drive, flow, static + friction, pump.slip_life_factor, ratio, well.density_kg_m3
        )
        start = max(power, start_power_w(pump, drive, pressure * static, ratio))
        running, _ = above(place.light, w, m, power / array_w)
        started, _ = above(place.light, w, m, start / array_w)
        hours += DAYS[m] * 0.5 * (running + started)
    life = rotor_stator_life_y(pump, site.sand_mg_l, hours / 365.0, slip_at_limit)
    return rotor_stator_cost(pump.rotor_stator_price, life, pump.life_y, rules)


@kernel
def copy_candidate(a: Record, b: Record) -> None:
    """Candidate a into b."""
    b.tank, b.module, b.strings = a.tank, a.module, a.strings
    b.array_wp, b.price, b.pairs, b.water, b.done = a.array_wp, a.price, a.pairs, a.water, a.done
    b.first, b.last = a.first, a.last


@kernel
def shallowest_m(pump: Record, place: Place) -> float:
    """The shallowest intake that a pump can have which does what is wanted."""
    return intake_depth_m(place.site, place.well, least_flow_m3_h(place), pump.family == SURFACE)


@kernel
def list_parts(pump: Record, drive: Record, place: Place, parts: Records) -> float:
    """What each cable, riser and delivery pipe costs more than the cheapest that may do, at the shallowest intake; what
    the three cheapest cost together."""
    site, market, rules = place.site, place.market, place.rules
    surface, intake, flow = pump.family == SURFACE, shallowest_m(pump, place), least_flow_m3_h(place)
    length = rules.cable_to_drive_m + (0.0 if surface else intake)
    head = place.well.deepest_m + drawdown_m(site, flow, True) + site.lift_m + rules.residual_m
    density = place.well.density_kg_m3
    held = RELIEF_RATIO * density * GRAVITY_M_S2 * head
    _, _, torque = speed_power_torque(pump, drive, flow, head, pump.slip_life_factor, 0.0, density)
    total = 0.0
    for kind in range(3):
        least, count = np.inf, part_count(kind, market)
        for i in range(count):
            if kind == CABLE:
                cable = market.cables[i]
                price, may = cable.worth * length, cable_loss(pump, drive, cable, length, torque) <= rules.cable_loss
            elif kind == RISER:
                riser = market.risers[i]
                price = riser_worth(riser, site) * intake
                may = riser.pressure_pa >= held
                may = may and full_flow_m3_h(riser.inside_mm, rules.velocity_riser_m_s) >= flow
                may = may and (surface or riser_can_hang(pump, riser, intake, rules, density))
            else:
                pipe = market.deliveries[i]
                price = pipe.worth * site.pipe_length_m
                may = full_flow_m3_h(pipe.inside_mm, rules.velocity_delivery_m_s) >= flow
            parts[kind, i].extra, parts[kind, i].may = price, may
            if may:
                least = min(least, price)
        for i in range(count):
            parts[kind, i].extra -= least
        total += least
    return total


@kernel
def part_count(kind: int, market: Market) -> int:
    """How many cables, risers or delivery pipes there are."""
    if kind == CABLE:
        return market.cables.size
    return market.risers.size if kind == RISER else market.deliveries.size


@kernel
def look(j: int, place: Place, best: Record, room: Room) -> float:
    """A closer bound for pump j: with the least arrays that the months allow, and all the water that is wanted."""
    pump, drive = place.market.pumps[j], place.market.drives[place.market.pumps[j].drive]
    prospect = prospect_of(pump, drive, place.site, place.rules, place.well, room.bare)
    if prospect.rule != FITS or (pump.family == HELICAL and least_head_pa(place) > pump.pressure_limit_pa):
        return np.inf
    least = np.inf
    for c in range(list_candidates(j, prospect, place, best, room)):
        one = room.candidates[c]
        least = min(least, (one.price + one.pairs) / one.water)
    return least


@kernel
def best_of_pump(j: int, place: Place, best: Record, room: Room) -> None:
    """Look for a design of pump j that comes before the best, and leave it there."""
    site, market, rules = place.site, place.market, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    prospect = prospect_of(pump, drive, site, rules, place.well, room.bare)
    if prospect.rule != FITS:
        return
    count = list_candidates(j, prospect, place, best, room)
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    rig = Rig(pump, drive, site, rules, place.well, room.bare)
    free = loose_duty(prospect, prospect.top_m3_h, 0.0)
    # First those that lead by the water they give without friction; then, the best being known, what may still beat it.
    for again in range(2):
        least, some = np.inf, False
        for c in range(count):
            one = room.candidates[c]
            room.known[0, c].water = 0.0
            bound = (one.price + one.pairs) / one.water
            if one.done or behind(bound, one.array_wp, j, best) or (not again and bound > least):
                continue
            storage = storage_of(site, market.tanks[one.tank].volume_m3)
            one.done = 1
            year_curves(rig, free, pump.slip_life_factor, 1.0, room.curves[DEMAND])
            if not enough(rig, free, place, one.module, one.array_wp, storage, room):
                continue
            # First with all that is wanted in the first and the last year, then with what they give.
            one.first = wanted_year(site, place.task.first, storage.day_m3)
            one.last = wanted_year(site, place.task.last, storage.day_m3)
            water, pairs = loose_water(
                c, rig, free, prospect, place, 0.0, one.water, one.pairs, storage, best, j, room
            )  # fmt: skip
            if water > 0.0:
                more = rules.water_first * one.first + rules.water_last * one.last
                one.first = year_of(rig, free, place, one.module, one.array_wp, 1, OTHER, storage, room.other, room)
                one.last = year_of(rig, free, place, one.module, one.array_wp, 2, OTHER, storage, room.other, room)
                more -= rules.water_first * one.first + rules.water_last * one.last
                water -= more * (1.0 - rules.losses)
                if behind((one.price + pairs) / water, one.array_wp, j, best):
                    water = 0.0
            room.known[0, c].water, room.known[0, c].pairs = water, pairs
            if water <= 0.0:
                continue
            least = min(least, (one.price + pairs) / water)
            some = True
        if some:
            try_pipes(j, prospect, place, count, best, room)


@kernel
def loose_water(
    c: int, rig: Rig, duty: Duty, prospect: Prospect, place: Place, extra: float, water: float, pairs: float,
    storage: Storage, best: Record, j: int, room: Room,
) -> tuple[float, float]:  # fmt: skip
    """The most water that candidate c gives with at least the friction at hand, and the least that its rotors and
    stators cost; no water when it cannot come before the best. The curves DEMAND are those of the set at hand.

    extra          what the pipes add to the candidate's price
    water, pairs   what is known of both
    """
    one = room.candidates[c]
    used = year_of(rig, duty, place, one.module, one.array_wp, 0, DEMAND, storage, room.year, room)
    if used < place.task.goal_m3 or used <= 0.0:
        return 0.0, pairs
    water = present(place.rules, one.first, used, one.last)
    price = one.price + extra
    if behind((price + pairs) / water, one.array_wp, j, best):
        return 0.0, pairs
    if rig.pump.family == HELICAL and place.task.goal_m3 <= 0.0:
        year_of(rig, duty, place, one.module, one.array_wp, 3, OTHER, storage, room.other, room)
        limit = worn_out_slip(rig.pump, place.site, place.rules, room.year, room.other)
        if limit < np.inf:
            pairs = max(pairs, least_pairs(rig, prospect, place, one.module, one.array_wp, limit, room))
            if behind((price + pairs) / water, one.array_wp, j, best):
                return 0.0, pairs
    return water, pairs


@kernel
def node(
    rig: Rig, prospect: Prospect, place: Place, first: int, one_i: int, riser: int, count: int, extra: float,
    above: int, row: int, best: Record, room: Room, j: int,
) -> float:  # fmt: skip
    """What each candidate gives at most with the friction on the desk, into a row; the least cost of any.

    first, one_i  kind of the first part and which one; riser −1 where it is not chosen yet
    above         the row with what is known; no water there for those that cannot come before the best
    """
    market, rules = place.market, place.rules
    intake = shallowest_m(rig.pump, place)
    cap, ratio = prospect.top_m3_h, 0.0
    if first == CABLE:
        length = rules.cable_to_drive_m + (0.0 if rig.pump.family == SURFACE else intake)
        ratio = cable_ratio_of(rig.pump, rig.drive, market.cables[one_i], length)
    else:
        cap = min(cap, full_flow_m3_h(market.deliveries[one_i].inside_mm, rules.velocity_delivery_m_s))
    if riser >= 0:
        cap = min(cap, full_flow_m3_h(market.risers[riser].inside_mm, rules.velocity_riser_m_s))
    lay_heads(place.site, intake, room.desk)
    duty = loose_duty(prospect, cap, ratio)
    drawn = False
    least = np.inf
    for c in range(count):
        one = room.candidates[c]
        water, pairs = room.known[above, c].water, room.known[above, c].pairs
        room.known[row, c].water = 0.0
        if water <= 0.0 or behind((one.price + extra + pairs) / water, one.array_wp, j, best):
            continue
        if not drawn:
            year_curves(rig, duty, rig.pump.slip_life_factor, 1.0, room.curves[DEMAND])
            drawn = True
        storage = storage_of(place.site, place.market.tanks[one.tank].volume_m3)
        water, pairs = loose_water(
            c, rig, duty, prospect, place, extra, water, pairs, storage, best, j, room
        )  # fmt: skip
        room.known[row, c].water, room.known[row, c].pairs = water, pairs
        if water > 0.0:
            least = min(least, (one.price + extra + pairs) / water)
    return least


@kernel
def least_flow_m3_h(place: Place) -> float:
    """The least that a set which will do must be able to pump."""
    return 0.0 if place.task.goal_m3 > 0.0 else place.task.flow_m3_h


@kernel
def take_part(kind: int, i: int, place: Place, desk: Record) -> None:
    """Put the friction of a riser or delivery pipe on the desk; −1 takes it off."""
    if kind == RISER and i >= 0:
        riser_friction(place.market.risers[i], place.rules, place.well, desk)
    elif kind == RISER:
        for k in range(KNOTS):
            desk.riser_m[k] = desk.fitting_m[k] = 0.0
    elif kind == DELIVERY and i >= 0:
        delivery_friction(place.market.deliveries[i], place.site, place.well, desk)
    elif kind == DELIVERY:
        for k in range(KNOTS):
            desk.delivery_m[k] = 0.0


@kernel
def loose_duty(prospect: Prospect, cap: float, ratio: float) -> Duty:
    """A pump with some or none of its friction and cable loss."""
    return Duty(
        FITS, 0.0, 0.0, cap, prospect.safe_m3_h, prospect.safe_limit, prospect.intake_m, ratio, prospect.clip_w,
        prospect.availability,
    )  # fmt: skip


@kernel
def try_pipes(j: int, prospect: Prospect, place: Place, count: int, best: Record, room: Room) -> None:
    """Try the candidates with every cable, riser and delivery pipe that could make one come before the best.

    What matters most is chosen first: to a helical rotor its cable, to a centrifugal pump the delivery pipe. The
    choices of the first part, and those of the second with each, are taken by their bounds; the one that leads has
    its bound made closer, with its own loss, before it is followed.
    """
    pump, drive = place.market.pumps[j], place.market.drives[place.market.pumps[j].drive]
    rig = Rig(pump, drive, place.site, place.rules, place.well, room.desk)
    first, third = (CABLE, DELIVERY) if pump.family == HELICAL else (DELIVERY, CABLE)
    firsts, risers = part_count(first, place.market), place.market.risers.size
    bound_parts(first, firsts, j, count, 0.0, 0, best, room)
    while True:
        one = least_of(room.parts[first], firsts)
        if one < 0:
            break
        part = room.parts[first, one]
        take_part(first, one, place, room.desk)
        if not part.close:
            take_part(RISER, -1, place, room.desk)
            take_part(third, -1, place, room.desk)
            part.bound = node(rig, prospect, place, first, one, -1, count, part.extra, 0, 1 + one, best, room, j)
            part.close = 1
            continue
        part.bound = np.inf
        bound_parts(RISER, risers, j, count, part.extra, 1 + one, best, room)
        while True:
            two = least_of(room.parts[RISER], risers)
            if two < 0:
                break
            riser = room.parts[RISER, two]
            extra, row = part.extra + riser.extra, 1 + firsts + two
            take_part(RISER, two, place, room.desk)
            if not riser.close:
                take_part(third, -1, place, room.desk)
                riser.bound = node(rig, prospect, place, first, one, two, count, extra, 1 + one, row, best, room, j)
                riser.close = 1
                continue
            riser.bound = np.inf
            try_last(rig, prospect, place, first, one, two, count, extra, row, best, room, j)


@kernel
def bound_parts(kind: int, parts: int, j: int, count: int, extra: float, row: int, best: Record, room: Room) -> None:
    """Bounds of the choices of a part from what a row knows."""
    for i in range(parts):
        part = room.parts[kind, i]
        part.bound, part.close = np.inf, 0
        if part.may:
            part.bound = bound_of(j, count, extra + part.extra, row, best, room)


@kernel
def bound_of(j: int, count: int, extra: float, row: int, best: Record, room: Room) -> float:
    """The least cost of any candidate with so much more to pay; infinite where none can come before the best."""
    least = np.inf
    for c in range(count):
        one = room.candidates[c]
        water, price = room.known[row, c].water, one.price + extra + room.known[row, c].pairs
        if water > 0.0 and not behind(price / water, one.array_wp, j, best):
            least = min(least, price / water)
    return least


@kernel
def least_of(ranked: Records, count: int) -> int:
    """Index of the smallest of so many bounds, −1 when none is finite."""
    index, least = -1, np.inf
    for i in range(count):
        if ranked[i].bound < least:
            index, least = i, ranked[i].bound
    return index


@kernel
def least_head_pa(place: Place) -> float:
    """The least pressure, Pa, that pump and riser must be made for: relief valve, planning level, least flow."""
    head = place.well.deepest_m + place.site.lift_m + place.rules.residual_m
    if place.task.goal_m3 <= 0.0:
        head += drawdown_m(place.site, place.task.flow_m3_h, True)
    return RELIEF_RATIO * place.well.density_kg_m3 * GRAVITY_M_S2 * head


@kernel
def try_last(
    rig: Rig, prospect: Prospect, place: Place, first: int, one_i: int, r: int, count: int, extra: float, row: int,
    best: Record, room: Room, j: int,
) -> None:  # fmt: skip
    """Try the candidates with a first part, a riser and every choice of the last that could make one come before the
    best."""
    site, market, rules, trial, pump, drive = place.site, place.market, place.rules, room.trial, rig.pump, rig.drive
    surface, intake = pump.family == SURFACE, shallowest_m(pump, place)
    third = DELIVERY if first == CABLE else CABLE
    for last_i in range(part_count(third, market)):
        cable, d = (one_i, last_i) if first == CABLE else (last_i, one_i)
        part = room.parts[third, last_i]
        more = extra + part.extra
        if not part.may or bound_of(j, count, more, row, best, room) == np.inf:
            continue
        take_part(third, last_i, place, room.desk)
        duty = fit_set(
            pump, drive, prospect, market.risers[r], market.deliveries[d], market.cables[cable], site, rules, place.well,
            room.desk,
        )  # fmt: skip
        if duty.rule != FITS:
            continue
        more += (duty.intake_m - intake) * (
            riser_worth(market.risers[r], site) + (0.0 if surface else market.cables[cable].worth)
        )
        drawn = False
        for c in range(count):
            one = room.candidates[c]
            water, price = room.known[row, c].water, one.price + more
            if water <= 0.0 or behind((price + room.known[row, c].pairs) / water, one.array_wp, j, best):
                continue
            if not drawn:
                year_curves(rig, duty, rig.pump.slip_life_factor, 1.0, room.curves[DEMAND])
                drawn = True
            storage = storage_of(site, market.tanks[one.tank].volume_m3)
            if not enough(rig, duty, place, one.module, one.array_wp, storage, room):
                continue
            strings = room.strings[rig.pump.drive, one.module, one.strings]
            trial.pump, trial.riser, trial.delivery, trial.cable = j, r, d, cable
            trial.module, trial.tank, trial.array_wp = one.module, one.tank, one.array_wp
            trial.series, trial.parallel = strings.series, strings.parallel
            trial.meets = place.task.goal_m3 <= 0.0
            if weigh(rig, duty, prospect, place, price, one.first, one.last, storage, best, room):
                copy_design(trial, best)


@kernel
def enough(
    rig: Rig, duty: Duty, place: Place, w: int, watts: float, storage: Storage, room: Room
) -> bool:
    """Whether a set gives what is wanted of it: the demand under the sun that the rules count on, or the goal."""
    site, rules, task = place.site, place.rules, place.task
    at_demand, own = room.curves[DEMAND], room.curves[OWN]
    slip = rig.pump.slip_life_factor
    array_w = watts * task.aged
    if place.task.goal_m3 > 0.0:
        used, _, _ = water_used(
            rig, duty, slip, place.light, w, array_w, 1.0, at_demand, own, storage, room.year, room.ledger
        )
        return used >= place.task.goal_m3
    array_w *= site.low_sun
    m = task.hardest
    wanted = site.demand_m3_day[m]
    volume, _, _ = month_volume(rig, duty, slip, place.light, w, m, array_w, wanted, at_demand[m], own[m])
    if min(volume, storage.day_m3) < rules.reliability_month * wanted:
        return False
    _, year, month = water_used(
        rig, duty, slip, place.light, w, array_w, 1.0, at_demand, own, storage, room.year, room.ledger
    )
    return year >= rules.reliability_year and month >= rules.reliability_month


@kernel
def weigh(
    rig: Rig, duty: Duty, prospect: Prospect, place: Place, price: float, first: float, last: float, storage: Storage,
    best: Record, room: Room,
) -> bool:  # fmt: skip
    """Complete the trial design, whose price lacks rotors; whether it can be built and comes before the best.

    first, last  the most water of the first and the last year; the curves DEMAND are those of the set at hand
    """
    site, rules, trial = place.site, place.rules, room.trial
    pump, w, watts, year = rig.pump, room.trial.module, room.trial.array_wp, room.year
    used = year_of(rig, duty, place, w, watts, 0, DEMAND, storage, year, room)
    sleeve, _ = sleeve_needed(pump, site, year)
    if used <= 0.0 or sleeve < 0:
        return False
    certain, _ = sleeve_at(pump, site, prospect.top_m3_h)
    price += (sleeve - certain) * rules.sleeve_worth
    trial.sleeve, trial.used_m3_year, trial.rotor_life_y = sleeve, used, np.inf
    if pump.family == HELICAL:
        limit = np.inf
        if trial.meets:
            year_of(rig, duty, place, w, watts, 3, OTHER, storage, room.other, room)
            limit = worn_out_slip(pump, site, rules, year, room.other)
        trial.rotor_life_y = rotor_stator_life_y(pump, site.sand_mg_l, running_hours_day(year), limit)
        price += rotor_stator_cost(pump.rotor_stator_price, trial.rotor_life_y, pump.life_y, rules)
    if behind(price / present(place.rules, first, used, last), watts, trial.pump, best):
        return False
    first = year_of(rig, duty, place, w, watts, 1, OTHER, storage, room.other, room)
    last = year_of(rig, duty, place, w, watts, 2, OTHER, storage, room.other, room)
    trial.present_m3 = present(place.rules, first, used, last)
    trial.lifecycle = price
    trial.cost_per_m3 = price / trial.present_m3
    return not behind(trial.cost_per_m3, watts, trial.pump, best)


@kernel
def sleeve_needed(pump: Record, site: Record, year: Record) -> tuple[int, float]:
    """0 no sleeve, 1 sleeve, -1 neither will do, and velocity past the motor, m/s, at the mean running flow."""
    volume = hours = 0.0
    for m in range(12):
        volume += year.volume[m]
        hours += year.hours[m]
    return sleeve_at(pump, site, volume / hours if hours > 0.0 else 0.0)


@kernel
def sleeve_at(pump: Record, site: Record, flow_m3_h: float) -> tuple[int, float]:
    """The same at a flow."""
    loss = pump.motor_input_w - pump.motor_w
    if pump.family == SURFACE or (site.water_c <= COOLING_FREE_C and loss <= COOLING_FREE_LOSS_W):
        return 0, COOLING_M_S
    mean = flow_m3_h / 3600.0
    outside = pump.outside_mm / 1000.0
    open_area = math.pi / 4.0 * ((site.casing_mm / 1000.0) ** 2 - outside**2)
    velocity = mean / open_area if open_area > 0.0 else 0.0
    if velocity >= COOLING_M_S:
        return 0, velocity
    sleeve = outside + SLEEVE_MM / 1000.0
    velocity = mean / (math.pi / 4.0 * (sleeve**2 - outside**2))
    if velocity >= COOLING_M_S and site.casing_mm >= 1000.0 * sleeve + CLEARANCE_MM:
        return 1, velocity
    return -1, velocity


@kernel
def running_hours_day(year: Record) -> float:
    """Mean running hours a day over the year."""
    total = 0.0
    for m in range(12):
        total += DAYS[m] * year.hours[m]
    return total / 365.0


@kernel
def worn_out_slip(pump: Record, site: Record, rules: Record, middle: Record, worn: Record) -> float:
    """Slip ÷ new slip at which the first month's water used falls below its target; infinite when none does.

    middle  the year at the slip of mid-life, where every month meets its target; between there and `worn`, at the
            end of the life, the water used in a month falls along a straight line
    """
    least, most = pump.slip_life_factor, pump.slip_end_factor
    first = np.inf
    for m in range(12):
        target = rules.reliability_month * site.demand_m3_day[m]
        if worn.used[m] < target <= middle.used[m]:
            part = (middle.used[m] - target) / (middle.used[m] - worn.used[m])
            first = min(first, least + part * (most - least))
        elif worn.used[m] < target:
            first = least
    return first


@kernel
def copy_design(a: Record, b: Record) -> None:
    """Design a into b, with the bounds of costs that count as equal to its own."""
    b.pump, b.riser, b.delivery, b.cable, b.module = a.pump, a.riser, a.delivery, a.cable, a.module
    b.series, b.parallel, b.tank, b.sleeve, b.meets = a.series, a.parallel, a.tank, a.sleeve, a.meets
    b.array_wp, b.used_m3_year, b.cost_per_m3 = a.array_wp, a.used_m3_year, a.cost_per_m3
    b.lifecycle, b.present_m3, b.rotor_life_y = a.lifecycle, a.present_m3, a.rotor_life_y
    b.tie_low, b.tie_high = ties(a.cost_per_m3)


@kernel
def search(site: Record, light: Light, market: Market, rules: Record, best: Records, room: Room) -> bool:
    """The best design of each family into `best`; whether any meets the demand."""
    place = Place(site, light, market, rules, well_limits(site), room.task)
    set_task(place)
    strings_of(market, site.record_low_c, rules.hot_cell_c, room.strings, room.count)
    for attempt in range(2):
        pumps = market.pumps
        for j in range(pumps.size):
            room.pumps[j].bound, room.pumps[j].close = first_bound(j, place, room), 0
        while True:
            j = least_of(room.pumps, pumps.size)
            if j < 0:
                break
            family, rank = pumps[j].family, room.pumps[j]
            bound, rank.bound = rank.bound, np.inf
            if behind(bound, 0.0, -1, best[family]):
                continue
            if rank.close:
                best_of_pump(j, place, best[family], room)
            else:
                rank.bound, rank.close = look(j, place, best[family], room), 1
        if attempt == 1 or best[0].pump >= 0 or best[1].pump >= 0 or best[2].pump >= 0:
            return attempt == 0
        room.task.goal_m3 = LIMITED_SHARE * most_used(place, room)
        if room.task.goal_m3 <= 0.0:
            return False
    return False


@kernel
def most_used(place: Place, room: Room) -> float:
    """The most water of a year that any set gives, m3: with the largest array, tank, pipes and cable."""
    market, task, rules = place.market, place.task, place.rules
    storage = storage_of(place.site, market.tanks[market.tanks.size - 1].volume_m3)
    ceiling = wanted_year(place.site, 1.0, storage.day_m3)
    most = 0.0
    for j in range(market.pumps.size):
        pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
        prospect = prospect_of(pump, drive, place.site, rules, place.well, room.bare)
        if prospect.rule != FITS or most >= ceiling:
            continue
        for k in range(KNOTS):
            room.desk.flow[k] = room.bare.flow[k]
        rig = Rig(pump, drive, place.site, rules, place.well, room.desk)
        riser, delivery, cable = largest_parts(prospect, rig, place)
        if riser < 0:
            continue
        take_part(RISER, riser, place, room.desk)
        take_part(DELIVERY, delivery, place, room.desk)
        duty = fit_set(
            pump, drive, prospect, market.risers[riser], market.deliveries[delivery], market.cables[cable], place.site,
            rules, place.well, room.desk,
        )  # fmt: skip
        if duty.rule != FITS:
            continue
        year_curves(rig, duty, pump.slip_life_factor, 1.0, room.curves[DEMAND])
        for w in range(market.modules.size):
            strings = room.strings[pump.drive, w]
            for i in range(arrays_up_to(strings, room.count[pump.drive, w], largest_array_w(pump, drive, rules)) - 1, -1, -1):
                used = year_of(rig, duty, place, w, strings[i].array_wp, 0, DEMAND, storage, room.year, room)
                if used <= most:
                    break
                if sleeve_needed(pump, place.site, room.year)[0] >= 0:
                    most = used
                    break
    return most


@kernel
def largest_parts(prospect: Prospect, rig: Rig, place: Place) -> tuple[int, int, int]:
    """The widest riser that holds the pump's pressure and weight, the widest delivery pipe, the thickest cable."""
    market, well = place.market, place.well
    held = RELIEF_RATIO * well.density_kg_m3 * GRAVITY_M_S2 * (
        well.deepest_m + drawdown_m(place.site, prospect.top_m3_h, True) + place.site.lift_m + place.rules.residual_m
    )
    riser = delivery = cable = -1
    for r in range(market.risers.size):
        one = market.risers[r]
        if riser >= 0 and one.inside_mm <= market.risers[riser].inside_mm:
            continue
        hangs = rig.pump.family == SURFACE or riser_can_hang(
            rig.pump, one, prospect.intake_m, place.rules, well.density_kg_m3
        )
        if one.pressure_pa >= 1.02 * held and hangs:
            riser = r
    for d in range(market.deliveries.size):
        if delivery < 0 or market.deliveries[d].inside_mm > market.deliveries[delivery].inside_mm:
            delivery = d
    for c in range(market.cables.size):
        if cable < 0 or market.cables[c].r20_ohm_m < market.cables[cable].r20_ohm_m:
            cable = c
    return riser, delivery, cable
