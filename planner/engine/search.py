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

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import Storage, storage_of
from planner.engine.bounds import (
    arrays_up_to,
    first_bound,
    largest_array_w,
    least_of,
    least_pairs,
    list_candidates,
    look,
    most_to_begin,
)
from planner.engine.cost import Market
from planner.engine.curve import KNOTS
from planner.engine.design import behind, strings_of
from planner.engine.duty import (
    FITS,
    Duty,
    Prospect,
    Rig,
    cable_ratio_of,
    fit_set,
    full_flow_m3_h,
    lay_heads,
    prospect_of,
)
from planner.engine.light import Light
from planner.engine.parts import lay_least, least_ratio, loose_duty, part_count, take_least, take_part
from planner.engine.reach import most_used
from planner.engine.room import (
    ANY,
    CABLE,
    DELIVERY,
    DEMAND,
    DESIGN_YEAR,
    FIRST_YEAR,
    FREE,
    LAST_YEAR,
    NUMBERS,
    OTHER,
    OWN,
    RISER,
    WORN_YEAR,
    YES,
    Place,
    Room,
    largest_storage,
    present,
    riser_worth,
    set_task,
    shallowest_m,
    wanted_year,
)
from planner.engine.seen import least_given, see
from planner.engine.site import Record, Records
from planner.engine.volume import open_year, pump_year, year_curves
from planner.engine.weigh import copy_design, enough, sleeve_at, sleeve_needed, weigh, worn_out_slip, year_of
from planner.engine.well import well_limits
from planner.physics.equation import kernel

LIMITED_SHARE = 0.9  # of the most water, for designs that compete when the demand cannot be met


@kernel
def search(site: Record, light: Light, market: Market, rules: Record, best: Records, room: Room) -> bool:
    """The best design of each family into `best`; whether any meets the demand."""
    return seek(site, light, market, rules, best, room, NUMBERS[1])


@kernel
def search_one(site: Record, light: Light, market: Market, rules: Record, best: Records, room: Room) -> bool:
    """The best design of any family into the first of `best`, the same as the best of `search`, in less time; whether
    it meets the demand."""
    return seek(site, light, market, rules, best, room, NUMBERS[0])


@kernel
def seek(site: Record, light: Light, market: Market, rules: Record, best: Records, room: Room, families: int) -> bool:
    """The best design into `best`: of each family if `families` is 1, of all into the first if it is 0."""
    place = Place(site, light, market, rules, well_limits(site), room.task)
    set_task(place)
    strings_of(market, site.record_low_c, rules.hot_cell_c, room.strings, room.arrays)
    for attempt in range(2):
        pumps = market.pumps
        for j in range(pumps.size):
            room.pumps[j].bound, room.pumps[j].close = first_bound(j, place, room), 0
        while True:
            j = least_of(room.pumps, pumps.size)
            if j < 0:
                break
            leader, rank = best[pumps[j].family * families], room.pumps[j]
            bound, rank.bound = rank.bound, np.inf
            if behind(bound, 0.0, -1, leader):
                continue
            if rank.close:
                best_of_pump(j, place, leader, room)
            else:
                rank.bound, rank.close = look(j, place, leader, room), 1
        found = False
        for n in range(best.size):
            found = found or best[n].pump >= 0
        if attempt == 1 or found:
            return attempt == 0
        room.task.goal_m3 = LIMITED_SHARE * most_used(place, room)
        if room.task.goal_m3 <= 0.0:
            return False
    return False


@kernel
def best_of_pump(j: int, place: Place, best: Record, room: Room) -> None:
    """Look for a design of pump j that comes before the best, and leave it there."""
    site, market, rules = place.site, place.market, place.rules
    pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
    prospect = prospect_of(pump, drive, site, rules, place.well, room.bare)
    if prospect.rule != FITS:
        return
    count = list_candidates(j, prospect, place, best, room, YES)
    room.task.sets = 0
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    rig = Rig(pump, drive, site, rules, place.well, room.bare)
    free = lay_least(pump, drive, prospect, place, room)
    begin = most_to_begin(rig, prospect, place, ANY, ANY)
    # First those that lead by the water they give with the least losses; then, the best being known, what may still
    # beat it.
    for again in range(2):
        least, some = np.inf, False
        open_year(rig, free, pump.slip_life_factor, room.fan)
        year_curves(rig, free, room.fan, 1.0, room.curves[DEMAND])
        if not again and place.task.goal_m3 <= 0.0 and not can_meet(rig, free, place, room):
            return
        for c in range(count):
            one = room.candidates[c]
            room.known[0, c].water = 0.0
            bound = (one.price + one.pairs) / one.water
            if one.done or behind(bound, one.array_wp, j, best) or (not again and bound > least):
                continue
            storage = storage_of(site, market.tanks[one.tank].volume_m3)
            one.done = 1
            # First with all that is wanted in the first and the last year, then with what they give.
            one.first = wanted_year(site, place.task.first, storage.day_m3)
            one.last = wanted_year(site, place.task.last, storage.day_m3)
            water, pairs, _ = loose_water(
                c, rig, free, begin, place, 0.0, one.pairs, storage, best, j, room
            )  # fmt: skip
            if water > 0.0:
                more = rules.water_first * one.first + rules.water_last * one.last
                one.first = year_of(
                    rig, free, place, one.module, one.array_wp, FIRST_YEAR, OTHER, storage, room.other, room
                )
                one.last = year_of(
                    rig, free, place, one.module, one.array_wp, LAST_YEAR, OTHER, storage, room.other, room
                )
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
def can_meet(rig: Rig, duty: Duty, place: Place, room: Room) -> bool:
    """Whether the pump meets the demand with its largest array, the largest tank and the friction at hand. The curves
    DEMAND are those of the set at hand."""
    market, pump = place.market, rig.pump
    storage, largest = largest_storage(place), largest_array_w(pump, rig.drive, place.rules)
    for w in range(market.modules.size):
        strings = room.strings[pump.drive, w]
        count = arrays_up_to(strings, room.arrays[pump.drive, w], largest)
        if count > 0 and enough(rig, duty, place, w, strings[count - 1].array_wp, storage, room):
            return True
    return False


@kernel
def loose_water(
    c: int, rig: Rig, duty: Duty, begin: tuple[float, float, float], place: Place, extra: float, pairs: float,
    storage: Storage, best: Record, j: int, room: Room,
) -> tuple[float, float, float]:  # fmt: skip
    """The most water that candidate c gives with at least the friction at hand, and the least that its rotors and
    stators cost; no water when it cannot meet the demand or come before the best; then the water alone, none when it
    cannot meet the demand. The curves DEMAND are those of the set at hand.

    extra          what the pipes add to the candidate's price
    begin          what the pump needs at most to begin (`bounds.most_to_begin`)
    pairs          what is known of the cost of rotors and stators
    """
    one, meeting = room.candidates[c], place.task.goal_m3 <= 0.0
    if meeting and not enough(rig, duty, place, one.module, one.array_wp, storage, room):
        return 0.0, pairs, 0.0
    used = year_of(rig, duty, place, one.module, one.array_wp, DESIGN_YEAR, DEMAND, storage, room.year, room)
    if used < place.task.goal_m3 or used <= 0.0:
        return 0.0, pairs, 0.0
    water = present(place.rules, one.first, used, one.last)
    price = one.price + extra
    if behind((price + pairs) / water, one.array_wp, j, best):
        return 0.0, pairs, water
    if meeting and rig.pump.family == HELICAL:
        year_of(rig, duty, place, one.module, one.array_wp, WORN_YEAR, OTHER, storage, room.other, room)
        limit = worn_out_slip(rig.pump, place.site, place.rules, room.year, room.other)
        if limit < np.inf:
            pairs = max(pairs, least_pairs(rig, place, one.module, one.array_wp, limit, begin))
            if behind((price + pairs) / water, one.array_wp, j, best):
                return 0.0, pairs, water
    return water, pairs, water


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
    bound_parts(first, firsts, j, count, 0.0, FREE, best, room)
    while True:
        one = least_of(room.parts[first], firsts)
        if one < 0:
            break
        part = room.parts[first, one]
        take_part(first, one, place, room.desk)
        if not part.close:
            take_least(RISER, place, room.parts, room.desk)
            if third == DELIVERY:
                take_least(DELIVERY, place, room.parts, room.desk)
            part.bound = node(
                rig,
                prospect,
                place,
                first,
                one,
                ANY,
                prospect.top_m3_h,
                count,
                part.extra,
                FREE,
                1 + one,
                best,
                room,
                j,
            )
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
                cap = most_cap(rig, prospect, place, third, one, two, count, extra, 1 + one, best, room, j)
                if cap == 0.0:
                    riser.bound = np.inf
                    continue
                if third == DELIVERY:
                    take_least(DELIVERY, place, room.parts, room.desk)
                riser.bound = node(
                    rig, prospect, place, first, one, two, cap, count, extra, 1 + one, row, best, room, j
                )
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
def node(
    rig: Rig, prospect: Prospect, place: Place, first: int, one_i: int, riser: int, cap: float, count: int,
    extra: float, above: int, row: int, best: Record, room: Room, j: int,
) -> float:  # fmt: skip
    """What each candidate gives at most with the friction on the desk, into a row; the least cost of any.

    first, one_i  kind of the first part and which one; riser −1 where it is not chosen yet
    cap           flow that the parts chosen let pass at most, m3/h
    above         the row with what is known; no water there for those that cannot come before the best
    """
    market, rules = place.market, place.rules
    intake = shallowest_m(rig.pump, place)
    ratio = least_ratio(rig.pump, rig.drive, place, room.parts)
    if first == CABLE:
        length = rules.cable_to_drive_m + (0.0 if rig.pump.family == SURFACE else intake)
        ratio = cable_ratio_of(rig.pump, rig.drive, market.cables[one_i], length)
    else:
        cap = min(cap, full_flow_m3_h(market.deliveries[one_i].inside_mm, rules.velocity_delivery_m_s))
    lay_heads(place.site, intake, room.desk)
    duty = loose_duty(rig.pump, prospect, cap, ratio)
    for c in range(count):
        room.limit[c] = room.known[above, c].water
    least_given(room.sets, room.given, room.task, room.desk, ratio, cap, count, room.limit)
    begin = most_to_begin(rig, prospect, place, one_i if first == CABLE else ANY, riser)
    drawn, at = False, -1
    least = np.inf
    for c in range(count):
        one = room.candidates[c]
        water, pairs = room.limit[c], room.known[above, c].pairs
        room.known[row, c].water = 0.0
        if water > 0.0 and rig.pump.family == HELICAL:
            pairs = max(pairs, least_pairs(rig, place, one.module, one.array_wp, np.inf, begin))
        if water <= 0.0 or behind((one.price + extra + pairs) / water, one.array_wp, j, best):
            continue
        if not drawn:
            open_year(rig, duty, rig.pump.slip_life_factor, room.fan)
            year_curves(rig, duty, room.fan, 1.0, room.curves[DEMAND])
            drawn, at = True, see(room.sets, room.given, room.task, room.desk, ratio, cap, count)
        storage = storage_of(place.site, place.market.tanks[one.tank].volume_m3)
        water, pairs, most = loose_water(
            c, rig, duty, begin, place, extra, pairs, storage, best, j, room
        )  # fmt: skip
        room.known[row, c].water, room.known[row, c].pairs = water, pairs
        if at >= 0:
            room.given[at, c] = most
        if water > 0.0:
            least = min(least, (one.price + extra + pairs) / water)
    return least


@kernel
def most_cap(
    rig: Rig, prospect: Prospect, place: Place, third: int, one_i: int, r: int, count: int, extra: float, row: int,
    best: Record, room: Room, j: int,
) -> float:  # fmt: skip
    """The highest cap, m3/h, with a first part, a riser and any choice of the last that passes the rules; 0 if none
    does."""
    market = place.market
    cap, fits = 0.0, -1
    for last_i in range(part_count(third, market) - 1, -1, -1):
        part = room.parts[third, last_i]
        if not part.may or (fits >= 0 and loses_more(third, last_i, fits, market)):
            continue
        if bound_of(j, count, extra + part.extra, row, best, room) == np.inf:
            continue
        cable, d = (last_i, one_i) if third == CABLE else (one_i, last_i)
        take_part(third, last_i, place, room.desk)
        duty = fit_set(
            rig.pump, rig.drive, prospect, market.risers[r], market.deliveries[d], market.cables[cable], place.site,
            place.rules, place.well, room.desk,
        )  # fmt: skip
        if duty.rule == FITS:
            fits, cap = last_i, max(cap, duty.cap_m3_h)
    return cap


@kernel
def try_last(
    rig: Rig, prospect: Prospect, place: Place, first: int, one_i: int, r: int, count: int, extra: float, row: int,
    best: Record, room: Room, j: int,
) -> None:  # fmt: skip
    """Try the candidates with a first part, a riser and every choice of the last that could make one come before the
    best.

    From the last of the catalogue, the widest or thickest, down, since what loses less bounds what loses more.
    """
    site, market, rules, trial, pump, drive = place.site, place.market, place.rules, room.trial, rig.pump, rig.drive
    surface, intake = pump.family == SURFACE, shallowest_m(pump, place)
    third = DELIVERY if first == CABLE else CABLE
    warms = sleeve_at(pump, site, 0.0)[0] < 0  # where little flows past the motor
    for last_i in range(part_count(third, market) - 1, -1, -1):
        cable, d = (one_i, last_i) if first == CABLE else (last_i, one_i)
        part = room.parts[third, last_i]
        more = extra + part.extra
        if not part.may or bound_of(j, count, more, row, best, room) == np.inf:
            continue
        take_part(third, last_i, place, room.desk)
        duty = fit_set(
            pump, drive, prospect, market.risers[r], market.deliveries[d], market.cables[cable], site, rules,
            place.well, room.desk,
        )  # fmt: skip
        if duty.rule != FITS:
            continue
        for c in range(count):
            room.limit[c] = room.known[row, c].water
        least_given(room.sets, room.given, room.task, room.desk, duty.cable_ratio, duty.cap_m3_h, count, room.limit)
        jumps = pump.family != HELICAL and room.desk.speed[0] < pump.min_speed_ratio
        more += (duty.intake_m - intake) * (
            riser_worth(market.risers[r], site) + (0.0 if surface else market.cables[cable].worth)
        )
        drawn, at = False, -1
        for c in range(count):
            one = room.candidates[c]
            water, price = room.limit[c], one.price + more
            if water <= 0.0 or behind((price + room.known[row, c].pairs) / water, one.array_wp, j, best):
                continue
            if not drawn:
                open_year(rig, duty, pump.slip_life_factor, room.fan)
                year_curves(rig, duty, room.fan, 1.0, room.curves[DEMAND])
                drawn = True
                for i in range(count):
                    room.candidates[i].cooled = ANY
                if not jumps:
                    at = see(
                        room.sets, room.given, room.task, room.desk, duty.cable_ratio, duty.cap_m3_h, count
                    )  # fmt: skip
            if warms and not cooled(c, count, rig, duty, place, room):
                continue
            storage = storage_of(site, market.tanks[one.tank].volume_m3)
            if place.task.goal_m3 <= 0.0 and not enough(rig, duty, place, one.module, one.array_wp, storage, room):
                if at >= 0:
                    room.given[at, c] = 0.0
                continue
            strings = room.strings[rig.pump.drive, one.module, one.strings]
            trial.pump, trial.riser, trial.delivery, trial.cable = j, r, d, cable
            trial.module, trial.tank, trial.array_wp = one.module, one.tank, one.array_wp
            trial.series, trial.parallel = strings.series, strings.parallel
            trial.meets = place.task.goal_m3 <= 0.0
            if weigh(rig, duty, prospect, place, price, one.first, one.last, storage, best, room):
                copy_design(trial, best)
            if at >= 0:
                room.given[at, c] = trial.present_m3


@kernel
def cooled(c: int, count: int, rig: Rig, duty: Duty, place: Place, room: Room) -> bool:
    """Whether the set at hand cools its motor with the array of candidate c, sleeve or not; worked out once for all
    tanks."""
    one = room.candidates[c]
    if one.cooled == ANY:
        pump_year(
            rig, duty, room.fan, place.light, one.module, one.array_wp * place.task.aged, 1.0, room.curves[DEMAND],
            room.curves[OWN], room.year,
        )  # fmt: skip
        known = NUMBERS[1] if sleeve_needed(rig.pump, place.site, room.year)[0] >= 0 else NUMBERS[0]
        for i in range(count):
            other = room.candidates[i]
            if other.module == one.module and other.strings == one.strings:
                other.cooled = known
    return bool(one.cooled > 0)


@kernel
def loses_more(kind: int, i: int, other: int, market: Market) -> bool:
    """Whether a cable or delivery pipe loses at least as much as another at any flow."""
    if kind == CABLE:
        return bool(market.cables[i].r20_ohm_m >= market.cables[other].r20_ohm_m)
    one, two = market.deliveries[i], market.deliveries[other]
    return bool(one.inside_mm <= two.inside_mm and one.roughness_mm >= two.roughness_mm)
