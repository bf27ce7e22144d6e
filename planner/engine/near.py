"""What every pump of the catalogue costs at a site, as far as it costs little more than the best: for standard types.

The search of engine/search.py is asked pump by pump for designs below a cost, and so passes over everything dearer as
fast as it passes over what cannot win. It never changes the choice of a site.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner.engine.assess import Context, Sites, site_record
from planner.engine.choose import choose
from planner.engine.cost import Market
from planner.engine.design import no_designs, strings_of
from planner.engine.light import Light
from planner.engine.reach import most_used
from planner.engine.room import Place, Room, make_room, set_task
from planner.engine.search import LIMITED_SHARE, best_of_pump
from planner.engine.site import Record, Records
from planner.engine.well import well_limits
from planner.physics.equation import kernel

Floats = NDArray[np.float64]

SLACK = 1e-9  # relative: the best design itself is always within a tolerance of nought


def near_costs(sites: Sites, context: Context, tolerance: float) -> Floats:
    """Life-cycle cost per m3 used of the best design with each pump, whole scheme; infinite where it costs more than
    (1 + tolerance) × the site's optimum, where none can be built, and in every row that has no new design.

    sites      new sets only: columns of existing sets are not looked at
    tolerance  share, engine.md 6 "Ties"
    returns    (sites, pumps of the catalogue), currency/m3
    """
    market, rules = context.market, context.rules
    found = np.full((sites.inventory_row.size, market.pumps.size), np.inf)
    skies, room = context.skies(), make_room(market)
    best = no_designs(1)
    for i in range(found.shape[0]):
        site, climate = site_record(sites, i, context), sites.climate(i)
        light = skies.light(climate, skies.plane(climate, site, np.nan))
        choice = choose(site, light, market, rules, room)
        if choice.family < 0:
            continue
        chosen = choice.chosen
        limit = float(chosen.cost_per_m3) * (1.0 + tolerance + SLACK)
        near_pumps(site, light, market, rules, bool(chosen.meets), limit, best, room, found[i])
        found[i, chosen.pump] = chosen.cost_per_m3
    return found


@kernel
def near_pumps(
    site: Record, light: Light, market: Market, rules: Record, meets: bool, limit: float, best: Records, room: Room,
    costs: Floats,
) -> None:  # fmt: skip
    """Least cost per m3 with each pump into `costs`, where it is below the limit.

    meets  whether the site's choice meets the demand; else designs need 0.9 of the most water of any, as in the search
    """
    place = Place(site, light, market, rules, well_limits(site), room.task)
    set_task(place)
    strings_of(market, site.record_low_c, rules.hot_cell_c, room.strings, room.arrays)
    if not meets:
        room.task.goal_m3 = LIMITED_SHARE * most_used(place, room)
    for j in range(market.pumps.size):
        # A rival that costs the limit, equal to nothing: whatever is cheaper takes its place.
        best[0].pump, best[0].array_wp, best[0].cost_per_m3 = market.pumps.size, 0.0, limit
        best[0].tie_low, best[0].tie_high = limit, limit
        best_of_pump(j, place, best[0], room)
        if best[0].pump == j:
            costs[j] = best[0].cost_per_m3
