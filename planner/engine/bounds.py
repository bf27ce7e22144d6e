"""What no design of a pump can be better than: the bounds that let the search pass over most of them.

Each is a plain inequality: energy at the best efficiency anywhere; the array that one month asks for when nothing is
lost in pipes and cable; the fewest pairs of rotor and stator that wear can ask for.
"""

from __future__ import annotations

import math

import numpy as np

from planner.catalogue.arrays import HELICAL
from planner.engine.balance import Storage, best_month, enter, storage_of, water_used
from planner.engine.cost import rotor_stator_cost, rotor_stator_life_y
from planner.engine.curve import (
    speed_power_torque,
    start_power_w,
)
from planner.engine.design import behind
from planner.engine.duty import (
    FITS,
    RELIEF_RATIO,
    Duty,
    Prospect,
    Rig,
    cable_ratio_of,
    delivery_head_m,
    prospect_of,
    riser_head_m,
)
from planner.engine.parts import lay_least, list_parts
from planner.engine.room import (
    ANY,
    DEMAND,
    NO,
    OTHER,
    OWN,
    Place,
    Room,
    carried_m3_day,
    largest_storage,
    least_pumped_m3,
    present,
    site_worth,
)
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.volume import above, mean_day, month_curve, open_year, year_curves
from planner.engine.weigh import sleeve_at
from planner.engine.well import drawdown_m
from planner.physics.equation import kernel
from planner.physics.pumps import helical_slip_m3_h, starting_torque_nm
from planner.physics.water import GRAVITY_M_S2

ROUNDING = 1e-9


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
            for i in range(arrays_up_to(strings, room.arrays[pump.drive, w], largest)):
                watts = strings[i].array_wp
                used, water = lifted_water(watts, place)
                if used >= place.task.goal_m3:
                    least = min(least, (base + place.market.modules[w].worth * watts) / water)
        return least
    m = task.hardest
    target = least_pumped_m3(site, rules, largest_storage(place).over_m3, m)
    if task.flow_m3_h > place.well.safe_m3_h or target > site.safe_volume_m3_day:
        return np.inf
    head = site.rest_m[m] + site.memory_d_m2 * target + site.lift_m + rules.residual_m
    head += drawdown_m(site, task.flow_m3_h, False)
    energy = target * least_power_wh_m3(pump, drive, head, place.well.density_kg_m3)
    end = place.light.steps.shape[2] - 1
    for w in range(place.market.modules.size):
        wp = place.light.steps[w, m, end].energy * task.aged * site.low_sun * rules.availability
        strings, count = room.strings[pump.drive, w], room.arrays[pump.drive, w]
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
            place.task.lifted[m] = (
                most * rules.availability / least_power_wh_m3(pump, drive, head, place.well.density_kg_m3)
            )


@kernel
def lifted_water(watts: float, place: Place) -> tuple[float, float]:
    """Most water of the design year, m3 at the tank inlet, and of the horizon, present value at the tap."""
    task, site = place.task, place.site
    storage = storage_of(site, place.market.tanks[place.market.tanks.size - 1].volume_m3)
    first = design = last = 0.0
    for m in range(12):
        volume = min(task.lifted[m] * watts + carried_m3_day(place.rules, storage.over_m3, m), storage.day_m3)
        first += DAYS[m] * min(task.first * site.demand_m3_day[m], storage.day_m3)
        design += DAYS[m] * min(site.demand_m3_day[m], volume)
        last += DAYS[m] * min(task.last * site.demand_m3_day[m], volume)
    return design, present(place.rules, first, design, last)


@kernel
def may_do(
    duty: Duty, place: Place, w: int, watts: float, m: int, curve: Record, storage: Storage, room: Room, daily: bool
) -> bool:
    """Whether a month lets a set without friction meet the demand, each run of its days begun with a full tank if
    `daily`; the curve is that of the least that is wanted."""
    wanted = place.rules.reliability_month * place.site.demand_m3_day[m]
    array_w = watts * place.task.aged * place.site.low_sun
    volume, _ = mean_day(place.light, w, m, array_w, curve)
    if storage.day_m3 < wanted:
        return False
    if duty.availability * volume < least_pumped_m3(place.site, place.rules, storage.over_m3, m):
        return False
    if not (daily and place.rules.daily):
        return True
    most = min(place.site.demand_m3_day[m], storage.day_m3)
    safe = place.site.safe_volume_m3_day
    enter(place.light, w, m, array_w, curve, duty, safe, most, room.ledger)
    return best_month(place.light, m, storage.over_m3, room.ledger) >= wanted


@kernel
def list_candidates(j: int, prospect: Prospect, place: Place, best: Record, room: Room, close: bool) -> int:
    """Arrays and tanks with which pump j could come before the best, cheapest first; how many.

    A candidate's price is that with the cheapest pipes and cable and the shallowest intake, its pairs what rotors and
    stators cost at least. Its water is all that is wanted, or what the months give at most. Unless `close`, those
    dearer than one that is listed may be left out. Where a goal is set, `close` leaves out the arrays that miss it
    without friction; else the largest array and tank are tried only.
    """
    site, market, task, rules = place.site, place.market, place.task, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    rig = Rig(pump, drive, site, rules, place.well, room.bare)
    least = pump.worth + site_worth(site, rules) + list_parts(pump, drive, place, room.parts)
    if least == np.inf:  # a part that may do is wanting
        return 0
    free = lay_least(pump, drive, prospect, place, room)
    meeting = place.task.goal_m3 <= 0.0
    open_year(rig, free, pump.slip_life_factor, room.fan)
    for m in range(12):
        lifted = least_pumped_m3(site, rules, largest_storage(place).over_m3, m) if meeting else 0.0
        month_curve(rig, free, room.fan, m, lifted, room.curves[OTHER, m])
    if not meeting:
        year_curves(rig, free, room.fan, 1.0, room.curves[DEMAND])
    begin = most_to_begin(rig, prospect, place, ANY, ANY)
    sleeve, _ = sleeve_at(pump, site, prospect.top_m3_h)
    if sleeve < 0:  # not even at its highest flow
        return 0
    least += sleeve * rules.sleeve_worth
    largest = largest_array_w(pump, drive, rules)
    n, lead = 0, np.inf
    for w in range(market.modules.size):
        strings = room.strings[pump.drive, w]
        count, worth = arrays_up_to(strings, room.arrays[pump.drive, w], largest), market.modules[w].worth
        floor = 0
        if meeting:
            floor = least_array(free, place, w, strings, 0, count, largest_storage(place), room)
        for tank in range(task.first_tank, market.tanks.size):
            base = least + market.tanks[tank].worth
            if floor == count or beaten((base + worth * strings[floor].array_wp) / task.water_m3, 0.0, j, best, lead):
                continue
            storage, low = storage_of(site, market.tanks[tank].volume_m3), 0
            if meeting:
                low = least_array(free, place, w, strings, floor, count, storage, room)
            elif close or tank == market.tanks.size - 1:
                low = goal_reached(rig, free, place, w, strings, count, storage, room, close)
            passed, fewest = False, 0.0  # what passes with an array passes with a larger one, which runs more hours
            for i in range(low, count):
                watts = strings[i].array_wp
                price, water = base + worth * watts, task.water_m3
                if beaten((price + fewest) / water, watts, j, best, lead):
                    break
                if meeting and not passed:
                    passed = True
                    for m in range(12):
                        passed = passed and may_do(
                            free, place, w, watts, m, room.curves[OTHER, m], storage, room, m == task.hardest
                        )  # fmt: skip
                    if not passed:
                        continue
                elif not meeting:
                    used, water = month_water(free, place, w, watts, room.curves[OTHER], storage)
                    if used < place.task.goal_m3 or behind(price / water, watts, j, best):
                        continue
                pairs = 0.0
                if pump.family == HELICAL:
                    pairs = least_pairs(rig, place, w, watts, np.inf, begin)
                    fewest = max(fewest, pairs)
                    if behind((price + pairs) / water, watts, j, best):
                        continue
                at = n
                while at > 0 and room.candidates[at - 1].price > price:
                    copy_candidate(room.candidates[at - 1], room.candidates[at])
                    at -= 1
                one = room.candidates[at]
                one.tank, one.module, one.strings, one.done = tank, w, i, 0
                one.array_wp, one.price, one.pairs, one.water = watts, price, pairs, water
                if not close:
                    lead = min(lead, (price + pairs) / water)
                n += 1
    return n


@kernel
def beaten(cost_per_m3: float, array_wp: float, pump: int, best: Record, lead: float) -> bool:
    """Whether a cost lies behind the best or is no less than that of a candidate in the lead."""
    return cost_per_m3 >= lead or behind(cost_per_m3, array_wp, pump, best)


@kernel
def least_array(
    free: Duty, place: Place, w: int, strings: Records, low: int, high: int, storage: Storage, room: Room
) -> int:
    """The first of the arrays from `low` on with which the hardest month's mean day may do; `high` where none does."""
    m = place.task.hardest
    while low < high:
        middle = (low + high) // 2
        if may_do(free, place, w, strings[middle].array_wp, m, room.curves[OTHER, m], storage, room, NO):
            high = middle
        else:
            low = middle + 1
    return low


@kernel
def copy_candidate(a: Record, b: Record) -> None:
    """Candidate a into b."""
    b.tank, b.module, b.strings = a.tank, a.module, a.strings
    b.array_wp, b.price, b.pairs, b.water, b.done = a.array_wp, a.price, a.pairs, a.water, a.done
    b.first, b.last = a.first, a.last


@kernel
def goal_reached(
    rig: Rig, free: Duty, place: Place, w: int, strings: Records, count: int, storage: Storage, room: Room, close: bool
) -> int:
    """The first of so many arrays that reaches the goal without friction; `count` where none does, and, unless
    `close`, 0 where the largest does."""
    low, high = 0 if close else count - 1, count
    array = count - 1
    while low < high:
        used, _, _ = water_used(
            rig, free, room.fan, place.light, w, strings[array].array_wp * place.task.aged, 1.0, room.curves[DEMAND],
            room.curves[OWN], storage, room.year, room.ledger,
        )  # fmt: skip
        if used >= place.task.goal_m3:
            high = array
        else:
            low = array + 1
        array = (low + high) // 2
    return low if close or low == count else 0


@kernel
def month_water(
    free: Duty, place: Place, w: int, watts: float, curves: Records, storage: Storage
) -> tuple[float, float]:
    """The most water of the design year, m3 at the tank inlet, and of the horizon, present value at the tap, by the
    months' means at the rest level."""
    task, site = place.task, place.site
    first = design = last = 0.0
    for m in range(12):
        volume, _ = mean_day(place.light, w, m, watts * task.aged, curves[m])
        volume = min(free.availability * volume + carried_m3_day(place.rules, storage.over_m3, m), storage.day_m3)
        first += DAYS[m] * min(task.first * site.demand_m3_day[m], storage.day_m3)
        design += DAYS[m] * min(site.demand_m3_day[m], volume)
        last += DAYS[m] * min(task.last * site.demand_m3_day[m], volume)
    return design, present(place.rules, first, design, last)


@kernel
def least_pairs(
    rig: Rig, place: Place, w: int, watts: float, slip_at_limit: float, begin: tuple[float, float, float]
) -> float:
    """Cost below which the rotors and stators of an array cannot be.

    Friction and a thin cable raise the power at which a pump begins to run, a little, since it begins at its lowest
    speed: with the most of both it runs the fewest hours, and a pair lasts the longest.

    begin  of `most_to_begin`
    """
    site, pump, drive, density = place.site, rig.pump, rig.drive, place.well.density_kg_m3
    flow, friction, ratio = begin
    array_w = watts * place.task.aged
    hours = 0.0
    for m in range(12):
        static = site.rest_m[m] + site.memory_d_m2 * site.demand_m3_day[m] + site.lift_m + place.rules.residual_m
        _, power, _ = speed_power_torque(pump, drive, flow, static + friction, pump.slip_life_factor, ratio, density)
        start = max(power, start_power_w(pump, drive, density * GRAVITY_M_S2 * static, ratio))
        running, _ = above(place.light, w, m, power / array_w)
        started, _ = above(place.light, w, m, start / array_w)
        hours += DAYS[m] * 0.5 * (running + started)
    life = rotor_stator_life_y(pump, site.sand_mg_l, hours / 365.0, slip_at_limit)
    return rotor_stator_cost(pump.rotor_stator_price, life, pump.life_y, place.rules)


@kernel
def most_to_begin(rig: Rig, prospect: Prospect, place: Place, cable: int, riser: int) -> tuple[float, float, float]:
    """Flow of a helical rotor at its lowest speed, m3/h, the most that it adds to the static head, m, and the highest
    cable resistance over that of the winding; with any cable, or riser, where −1 is given."""
    site, rules, pump, well, market = place.site, place.rules, rig.pump, place.well, place.market
    shallow = well.density_kg_m3 * GRAVITY_M_S2 * (well.highest_m + site.lift_m + rules.residual_m)
    slip = helical_slip_m3_h(shallow, pump.slip_life_factor * pump.slip_m3_h_pa, pump.slip_exponent)
    flow = max(60e-6 * pump.displacement_cm3 * pump.min_speed_ratio * pump.rated_speed_rpm - slip, 0.0)
    friction = narrow = ratio = 0.0
    for r in range(market.risers.size):
        if riser < 0 or r == riser:
            friction = max(friction, riser_head_m(flow, market.risers[r], prospect.intake_m, rules, well))
    for d in range(market.deliveries.size):
        narrow = max(narrow, delivery_head_m(flow, market.deliveries[d], site, well))
    for c in range(market.cables.size):
        if cable < 0 or c == cable:
            length = rules.cable_to_drive_m + prospect.intake_m
            ratio = max(ratio, cable_ratio_of(pump, rig.drive, market.cables[c], length))
    # Nor more than the cable's rule allows at the torque of the full riser.
    load = starting_torque_nm(pump.displacement_cm3, shallow, pump.fit_friction_nm, 1.0) / pump.rated_torque_nm
    rule = rules.cable_loss * pump.motor_input_w / (pump.copper_share * pump.motor_w * min(load, 1.0))
    return flow, friction + narrow + drawdown_m(site, flow, False), min(ratio, rule)


@kernel
def least_of(ranked: Records, count: int) -> int:
    """Index of the smallest of so many bounds, −1 when none is finite."""
    index, least = -1, np.inf
    for i in range(count):
        if ranked[i].bound < least:
            index, least = i, ranked[i].bound
    return index


@kernel
def look(j: int, place: Place, best: Record, room: Room) -> float:
    """A closer bound for pump j: with the least arrays that the months allow, and all the water that is wanted."""
    pump, drive = place.market.pumps[j], place.market.drives[place.market.pumps[j].drive]
    prospect = prospect_of(pump, drive, place.site, place.rules, place.well, room.bare)
    if prospect.rule != FITS or (pump.family == HELICAL and least_head_pa(place) > pump.pressure_limit_pa):
        return np.inf
    least = np.inf
    for c in range(list_candidates(j, prospect, place, best, room, NO)):
        one = room.candidates[c]
        least = min(least, (one.price + one.pairs) / one.water)
    return least


@kernel
def least_head_pa(place: Place) -> float:
    """The least pressure, Pa, that pump and riser must be made for: relief valve, planning level, least flow."""
    head = place.well.deepest_m + place.site.lift_m + place.rules.residual_m
    if place.task.goal_m3 <= 0.0:
        head += drawdown_m(place.site, place.task.flow_m3_h, True)
    return RELIEF_RATIO * place.well.density_kg_m3 * GRAVITY_M_S2 * head
