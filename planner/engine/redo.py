"""The choice again for a site that has changed: among a short list of sets that won before, not in the whole catalogue.

Doubt about a well means choosing its set a thousand times, for a level, a drawdown, a yield or a demand a little
different each time. The sets that win are few. So exact searches at some of the changed sites (`search`) give a short
list of pump, riser, delivery pipe, cable and tank; each other site is served from the list, with the array made anew.
Rules, water and costs of a design are those of the search, word for word. What is approximate is that a set which is
not on the list cannot win: the choice may be a little dearer than the search's, never cheaper.

Nothing is approximate about whether the demand can be met: where no set of the list meets it, either no pump of the
catalogue can by a bound, or the whole search is made and what it finds joins the list.
"""

from __future__ import annotations

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import Storage, storage_of
from planner.engine.bounds import (
    arrays_up_to,
    first_bound,
    largest_array_w,
    least_array,
    least_pairs,
    least_power_wh_m3,
    lift_water,
    lifted_water,
    look,
    month_water,
    most_to_begin,
)
from planner.engine.cost import Market
from planner.engine.curve import KNOTS
from planner.engine.design import behind, strings_of
from planner.engine.duty import FITS, Duty, Prospect, Rig, fit_set, prospect_of
from planner.engine.light import Light
from planner.engine.parts import take_part
from planner.engine.reach_again import most_again
from planner.engine.room import (
    DELIVERY,
    DEMAND,
    DESIGN_YEAR,
    OTHER,
    RISER,
    Place,
    Room,
    largest_storage,
    least_pumped_m3,
    riser_worth,
    set_task,
    shallowest_m,
    site_worth,
    wanted_year,
)
from planner.engine.search import LIMITED_SHARE, best_of_pump, search
from planner.engine.site import Record, Records
from planner.engine.volume import month_curve, open_year, year_curves
from planner.engine.weigh import copy_design, enough, sleeve_at, weigh, year_of
from planner.engine.well import drawdown_m, well_limits
from planner.physics.equation import kernel

# A set of the list; pump −1 for a place that is free. `over`: tanks above the smallest that holds the day's share.
# Beside them, of the pump whose number is the place's: whether a set with it is listed, and how often it was searched
# in vain; and what it gave when the most water was last sought, m3.
SHORT = np.dtype(
    [(name, "i8") for name in ("pump", "riser", "delivery", "cable", "over", "listed", "misses")] + [("gave", "f8")]
)
MOST_SETS = 128
CLEARLY, MOST_MISSES = 0.98, 3  # our choice: 2 % of the cost of water
FAR_BEHIND = 1.15  # times the cost of another family: ours; P90 of a part's drawn price is 1.1


def empty_list(pumps: int) -> Records:
    """A short list with free places, for a catalogue of so many pumps; without any for none."""
    short = np.zeros(max(pumps, MOST_SETS) if pumps else 0, SHORT).view(np.recarray)
    short["pump"] = -1
    return short


@kernel
def choose_again(
    site: Record, light: Light, market: Market, rules: Record, short: Records, best: Records, room: Room, others: bool
) -> bool:
    """The best design of each family among the sets of the list, into `best`; whether any meets the demand.

    others  whether pumps that are not on the list are looked at, too: worth its time where a site is chosen for often

    As `search`, except that a family which costs more than `FAR_BEHIND` times another may hold a dearer design, or
    none. `best` (3) is empty at the start; `short` has free places, which a whole search fills where one is needed.
    """
    place = Place(site, light, market, rules, well_limits(site), room.task)
    set_task(place)
    strings_of(market, site.record_low_c, rules.hot_cell_c, room.strings, room.arrays)
    if try_list(place, short, best, room):
        if others:
            try_others(place, short, best, room)
        return True
    if demand_may_be_met(place, best, room):
        return search_and_note(site, light, market, rules, short, best, room)
    room.task.goal_m3 = LIMITED_SHARE * most_again(place, short, room)
    if room.task.goal_m3 <= 0.0:
        return False
    if try_list(place, short, best, room):
        if others:
            try_others(place, short, best, room)
        return False
    return search_and_note(site, light, market, rules, short, best, room)


@kernel
def search_and_note(
    site: Record, light: Light, market: Market, rules: Record, short: Records, best: Records, room: Room
) -> bool:
    """The whole search; the best of each family joins the list."""
    met = search(site, light, market, rules, best, room)
    for family in range(best.size):
        if best[family].pump >= 0:
            note(best[family], room.task.first_tank, short)
    return met


@kernel
def try_others(place: Place, short: Records, best: Records, room: Room) -> None:
    """Search the pumps that are not on the list but could cost clearly less by their bounds; one that does joins it.

    A pump that was searched in vain `MOST_MISSES` times is let be: it is not near enough to winning.
    """
    pumps = place.market.pumps
    for s in range(short.size):
        if short[s].pump >= 0:
            short[short[s].pump].listed = 1
    for j in range(pumps.size):
        if short[j].listed or short[j].misses >= MOST_MISSES:
            continue
        least = CLEARLY * least_cost(best)
        if first_bound(j, place, room) >= least:
            continue
        family = pumps[j].family
        if look(j, place, best[family], room) >= least:
            continue
        before, pump = best[family].cost_per_m3, best[family].pump
        best_of_pump(j, place, best[family], room)
        if best[family].cost_per_m3 < before or best[family].pump != pump:
            note(best[family], room.task.first_tank, short)
            short[j].listed = 1
        else:
            short[j].misses += 1


@kernel
def least_cost(best: Records) -> float:
    """Cost of the cheapest family's best."""
    least = np.inf
    for family in range(best.size):
        if best[family].pump >= 0:
            least = min(least, best[family].cost_per_m3)
    return float(least)


@kernel
def note(design: Record, first_tank: int, short: Records) -> bool:
    """Put the set of a design on the list; whether it was new."""
    over = design.tank - first_tank
    for s in range(short.size):
        one = short[s]
        if one.pump < 0:
            one.pump, one.riser, one.delivery = design.pump, design.riser, design.delivery
            one.cable, one.over = design.cable, over
            return True
        if (
            one.pump == design.pump
            and one.riser == design.riser
            and one.delivery == design.delivery
            and one.cable == design.cable
            and one.over == over
        ):
            return False
    return False


@kernel
def demand_may_be_met(place: Place, best: Records, room: Room) -> bool:
    """Whether any pump of the catalogue might meet the demand; False is certain. `best` is empty."""
    room.task.goal_m3 = 0.0
    for j in range(place.market.pumps.size):
        if first_bound(j, place, room) < np.inf and look(j, place, best[0], room) < np.inf:
            return True
    return False


@kernel
def overtaken(cost_per_m3: float, array_wp: float, pump: int, family: int, best: Records) -> bool:
    """Whether a design that costs at least so much comes after the best of its family, or so far behind that of
    another that no doubt about prices lets it win."""
    if behind(cost_per_m3, array_wp, pump, best[family]):
        return True
    for other in range(best.size):
        if best[other].pump >= 0 and cost_per_m3 > FAR_BEHIND * best[other].cost_per_m3:
            return True
    return False


@kernel
def try_list(place: Place, short: Records, best: Records, room: Room) -> bool:
    """The best design of the list under the task at hand, into `best`; whether there is one.

    Sets are taken by their bounds: first from energy alone, then with their own losses by the months' means.
    """
    n = 0
    while n < short.size and short[n].pump >= 0:
        n += 1
    bound, close = np.empty(n), np.zeros(n, np.int64)
    for s in range(n):
        bound[s] = far_bound(short[s], place, room)
    at_pump, at_set = -1, -1
    prospect = nothing()
    duty = no_duty()
    while True:
        s, least = -1, np.inf
        for i in range(n):
            if bound[i] < least:
                s, least = i, bound[i]
        if s < 0:
            break
        one = short[s]
        pump, drive = place.market.pumps[one.pump], place.market.drives[place.market.pumps[one.pump].drive]
        if overtaken(least, 0.0, -1, pump.family, best):
            bound[s] = np.inf
            continue
        if one.pump != at_pump:
            prospect = prospect_of(pump, drive, place.site, place.rules, place.well, room.bare)
            at_pump = one.pump
            for k in range(KNOTS):
                room.desk.flow[k] = room.bare.flow[k]
        if prospect.rule != FITS:
            bound[s] = np.inf
            continue
        rig = Rig(pump, drive, place.site, place.rules, place.well, room.desk)
        if s != at_set:
            take_part(RISER, one.riser, place, room.desk)
            take_part(DELIVERY, one.delivery, place, room.desk)
            duty = fit_set(
                pump, drive, prospect, place.market.risers[one.riser], place.market.deliveries[one.delivery],
                place.market.cables[one.cable], place.site, place.rules, place.well, room.desk,
            )  # fmt: skip
            at_set = s
            if duty.rule == FITS:
                open_year(rig, duty, pump.slip_life_factor, room.fan)
                year_curves(rig, duty, room.fan, 1.0, room.curves[DEMAND])
        if duty.rule != FITS:
            bound[s] = np.inf
            continue
        if not close[s]:
            bound[s], close[s] = try_set(one, rig, duty, prospect, place, best, room, False), 1
            continue
        bound[s] = np.inf
        try_set(one, rig, duty, prospect, place, best, room, True)
    return best[0].pump >= 0 or best[1].pump >= 0 or best[2].pump >= 0


@kernel
def nothing() -> Prospect:
    """No prospect yet."""
    return Prospect(-1, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0)


@kernel
def no_duty() -> Duty:
    """No duty yet."""
    return Duty(-1, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@kernel
def set_price(one: Record, intake_m: float, place: Place) -> float:
    """Worth of a set without array, tank, sleeve and rotors."""
    site, market, rules = place.site, place.market, place.rules
    pump = market.pumps[one.pump]
    length = rules.cable_to_drive_m + (0.0 if pump.family == SURFACE else intake_m)
    price = pump.worth + site_worth(site, rules) + market.cables[one.cable].worth * length
    price += riser_worth(market.risers[one.riser], site) * intake_m
    return float(price + market.deliveries[one.delivery].worth * site.pipe_length_m)


@kernel
def tank_of(one: Record, place: Place) -> int:
    """The tank of a set at this site."""
    return int(min(place.task.first_tank + one.over, place.market.tanks.size - 1))


@kernel
def far_bound(one: Record, place: Place, room: Room) -> float:
    """Cost below which a set cannot be, from energy alone, at the shallowest intake; infinite where it will not do."""
    site, task, rules, market = place.site, place.task, place.rules, place.market
    pump, drive = market.pumps[one.pump], market.drives[market.pumps[one.pump].drive]
    largest = largest_array_w(pump, drive, rules)
    base = set_price(one, shallowest_m(pump, place), place) + market.tanks[tank_of(one, place)].worth
    least = np.inf
    if task.goal_m3 > 0.0:
        lift_water(pump, drive, place)
        for w in range(market.modules.size):
            strings = room.strings[pump.drive, w]
            low, high = 0, arrays_up_to(strings, room.arrays[pump.drive, w], largest)
            count = high
            while low < high:
                middle = (low + high) // 2
                used, _ = lifted_water(strings[middle].array_wp, place)
                if used >= task.goal_m3:
                    high = middle
                else:
                    low = middle + 1
            if low < count:
                least = min(least, market.modules[w].worth * strings[low].array_wp)
        return (base + least) / task.water_m3
    m = task.hardest
    target = least_pumped_m3(site, rules, largest_storage(place).over_m3, m)
    if task.flow_m3_h > place.well.safe_m3_h or target > site.safe_volume_m3_day:
        return np.inf
    head = site.rest_m[m] + site.memory_d_m2 * target + site.lift_m + rules.residual_m
    head += drawdown_m(site, task.flow_m3_h, False)
    energy = target * least_power_wh_m3(pump, drive, head, place.well.density_kg_m3)
    end = place.light.steps.shape[2] - 1
    for w in range(market.modules.size):
        wp = place.light.steps[w, m, end].energy * task.aged * site.low_sun * rules.availability
        strings, count = room.strings[pump.drive, w], room.arrays[pump.drive, w]
        k = arrays_up_to(strings, count, energy / wp * (1.0 - 1e-9))
        if k < count and strings[k].array_wp <= largest:
            least = min(least, market.modules[w].worth * strings[k].array_wp)
    return (base + least) / task.water_m3


@kernel
def try_set(
    one: Record, rig: Rig, duty: Duty, prospect: Prospect, place: Place, best: Records, room: Room, now: bool
) -> float:
    """A bound of the cost of a set that fits, with every module; `now` its designs are weighed.

    The curves DEMAND are those of the set.
    """
    site, task, rules, market, pump = place.site, place.task, place.rules, place.market, rig.pump
    certain, _ = sleeve_at(pump, site, prospect.top_m3_h)
    if certain < 0:
        return np.inf
    tank = tank_of(one, place)
    storage = storage_of(site, market.tanks[tank].volume_m3)
    base = set_price(one, duty.intake_m, place) + market.tanks[tank].worth + certain * rules.sleeve_worth
    largest = largest_array_w(pump, rig.drive, rules)
    least = np.inf
    for w in range(market.modules.size):
        strings, worth = room.strings[pump.drive, w], market.modules[w].worth
        count = arrays_up_to(strings, room.arrays[pump.drive, w], largest)
        low = first_array(rig, duty, place, w, strings, count, storage, room)
        if low == count:
            continue
        watts, pairs = strings[low].array_wp, 0.0
        price = base + worth * watts
        if overtaken(price / task.water_m3, watts, one.pump, pump.family, best):
            continue
        if pump.family == HELICAL:
            begin = most_to_begin(rig, prospect, place, one.cable, one.riser)
            pairs = least_pairs(rig, place, w, watts, np.inf, begin)
        bound = (price + pairs) / task.water_m3
        least = min(least, bound)
        if now and not overtaken(bound, watts, one.pump, pump.family, best):
            room.trial.pump, room.trial.riser, room.trial.delivery = one.pump, one.riser, one.delivery
            room.trial.cable, room.trial.tank, room.trial.module = one.cable, tank, w
            weigh_arrays(rig, duty, prospect, place, base, pairs, w, low, count, storage, best, room)
    return least


@kernel
def first_array(
    rig: Rig, duty: Duty, place: Place, w: int, strings: Records, count: int, storage: Storage, room: Room
) -> int:
    """The first array that may do by the months' means; `count` where none does."""
    site, rules, task = place.site, place.rules, place.task
    if task.goal_m3 <= 0.0:
        m = task.hardest
        month_curve(rig, duty, room.fan, m, least_pumped_m3(site, rules, storage.over_m3, m), room.curves[OTHER, m])
        return least_array(duty, place, w, strings, 0, count, storage, room)
    for m in range(12):
        month_curve(rig, duty, room.fan, m, 0.0, room.curves[OTHER, m])
    low, high = 0, count
    while low < high:
        middle = (low + high) // 2
        used, _ = month_water(duty, place, w, strings[middle].array_wp, room.curves[OTHER], storage)
        if used >= task.goal_m3:
            high = middle
        else:
            low = middle + 1
    return low


@kernel
def does(rig: Rig, duty: Duty, place: Place, w: int, watts: float, storage: Storage, room: Room) -> bool:
    """Whether an array meets the demand, or gives the goal."""
    if place.task.goal_m3 <= 0.0:
        return enough(rig, duty, place, w, watts, storage, room)
    used = year_of(rig, duty, place, w, watts, DESIGN_YEAR, DEMAND, storage, room.year, room)
    return bool(used >= place.task.goal_m3)


@kernel
def weigh_arrays(
    rig: Rig, duty: Duty, prospect: Prospect, place: Place, base: float, pairs: float, w: int, low: int, count: int,
    storage: Storage, best: Records, room: Room,
) -> None:  # fmt: skip
    """Weigh the least array that will do, and larger ones as long as their water might pay for them.

    base, pairs  worth of the set without array; what its rotors cost at least
    """
    task, site, trial, pump = place.task, place.site, room.trial, rig.pump
    strings, worth = room.strings[pump.drive, w], place.market.modules[w].worth
    # The least that will do lies a step or two above what the months' means ask for: steps that double, then halves.
    at, step, failed = low, 1, low - 1
    while True:
        watts = strings[at].array_wp
        if overtaken((base + pairs + worth * watts) / task.water_m3, watts, trial.pump, pump.family, best):
            if at == failed + 1:
                return
            at, step = failed + 1, 1
            continue
        if does(rig, duty, place, w, watts, storage, room):
            break
        failed = at
        if at == count - 1:
            return
        at, step = min(at + step, count - 1), 2 * step
    while at - failed > 1:
        middle = (at + failed) // 2
        if does(rig, duty, place, w, strings[middle].array_wp, storage, room):
            at = middle
        else:
            failed = middle
    first = wanted_year(site, task.first, storage.day_m3)
    last = wanted_year(site, task.last, storage.day_m3)
    for i in range(at, count):
        watts = strings[i].array_wp
        price = base + worth * watts
        if overtaken((price + pairs) / task.water_m3, watts, trial.pump, pump.family, best):
            return
        for m in range(12):
            month_curve(rig, duty, room.fan, m, 0.0, room.curves[OTHER, m])
        _, water = month_water(duty, place, w, watts, room.curves[OTHER], storage)
        if overtaken((price + pairs) / water, watts, trial.pump, pump.family, best):
            continue
        trial.array_wp, trial.series, trial.parallel = watts, strings[i].series, strings[i].parallel
        trial.meets = task.goal_m3 <= 0.0
        if weigh(rig, duty, prospect, place, price, first, last, storage, best[pump.family], room):
            copy_design(trial, best[pump.family])
        elif i > at:  # each further watt gives less water: cost falls, then rises
            return
