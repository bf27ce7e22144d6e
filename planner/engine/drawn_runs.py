"""One set in a site whose inputs are drawn: what it gives and costs, draw after draw.

Two runs over the same draws. *Commit*: the design of the plain run is bought, and meets what the draw says the site is.
*Test first*: what a pumping test tells (E) is known before the purchase, the design is made anew for it, and meets the
rest of the draw. In both the only thing set anew on site is the drive's cap, to the safe rate of the well as it proves
to be; what shows later only the level cut-out meets, which keeps the water above the intake that was bought.

A set that stands meets no rules of choosing, only physics. A month gives nothing where its level lies at the intake,
its pressure would open the relief valve of a helical rotor or its motor cannot start that. Where a month's water runs
to the intake slower than the pump can run, it runs and waits in turn. A surface pump gives nothing at all once its
suction breaks in the deepest month of the horizon. A pump that cannot be slowed to the safe share of the yield runs
faster, up to the day's safe volume.
"""

from __future__ import annotations

import numpy as np

from planner.engine.cost import Market
from planner.engine.design import ties
from planner.engine.drawn import OUTCOME, draw_site, settle
from planner.engine.drawn_set import Bought, Cuts, drawn_cost, hung, live
from planner.engine.light import Light
from planner.engine.redo import choose_again
from planner.engine.room import YES, Room
from planner.engine.search import search
from planner.engine.site import Record, Records
from planner.physics.equation import kernel


@kernel
def leads(cost: float, array_wp: float, pump: int, before: float, before_wp: float, before_pump: int) -> bool:
    """Whether a design comes before another: cost to 0.1 %, then array, then pump (`choose.comes_before`)."""
    low, high = ties(before)
    if cost < low or cost >= high:
        return cost < low
    return array_wp < before_wp or (array_wp == before_wp and pump < before_pump)


@kernel
def commit(
    best: Records, family: int, site: Record, ground: Record, draws: Records, light: Light, market: Market,
    rules: Record, own: Record, worn: Records, cuts: Cuts, room: Room, outcomes: Records,
) -> None:  # fmt: skip
    """The design of the plain run in every draw, into `outcomes` (draws,).

    best    (3) each family's best design of the plain run; `family` is the chosen one's
    own     room for the drawn site: a copy of the site's record that stands
    """
    intakes, spare = np.zeros((3, 2)), np.zeros(1, OUTCOME)
    for f in range(3):
        if best[f].pump >= 0:
            intakes[f, 0], intakes[f, 1] = hung(best[f], site, market, rules, room)
    for n in range(draws.size):
        draw, outcome = draws[n], outcomes[n]
        for turn in range(3):  # the chosen family first
            f = (family + turn) % 3
            if best[f].pump < 0:
                continue
            into = outcome if turn == 0 else spare[0]
            settle(site, ground, draw, rules, own)
            hang = Bought(intakes[f, 0], intakes[f, 1])
            live(best[f], hang, site, own, draw, light, market, rules, worn, cuts, room, into)
            if turn == 0:
                outcome.kept = outcome.water > 0.0
                if not outcome.kept:
                    break
            elif into.water > 0.0 and leads(
                into.cost / into.water, best[f].array_wp, best[f].pump,
                outcome.cost / outcome.water, best[family].array_wp, best[family].pump,
            ):  # fmt: skip
                outcome.kept = 0


@kernel
def choose_drawn(
    site: Record, light: Light, market: Market, rules: Record, short: Records, best: Records, room: Room
) -> bool:  # fmt: skip
    """The best design of each family for a site as a test found it, into `best`; whether any meets the demand.

    short  what searches of this site found (`redo.empty_list`, grown by `doubt.short_list`); of no size: search in full
    """
    for f in range(best.size):
        best[f].pump, best[f].cost_per_m3 = -1, np.inf
    if short.size > 0:
        return choose_again(site, light, market, rules, short, best, room, YES)
    return search(site, light, market, rules, best, room)


@kernel
def redesign(
    best: Records, family: int, site: Record, ground: Record, draws: Records, light: Light, market: Market,
    rules: Record, short: Records, tested: Record, own: Record, worn: Records, cuts: Cuts, room: Room,
    outcomes: Records,
) -> None:  # fmt: skip
    """Each draw's own design, made for what a test tells and bought at the drawn prices, into `outcomes` (draws,).

    best    (3) room for designs; `family` is the one that the plain run chose
    tested  room for the site as a test finds it: a copy of its record; `own` as in `commit`
    """
    for n in range(draws.size):
        draw, outcome = draws[n], outcomes[n]
        draw_site(site, ground, draw, rules, True, tested)
        choose_drawn(tested, light, market, rules, short, best, room)
        chosen, least, intake = -1, np.inf, Bought(0.0, 0.0)
        for f in range(3):
            one = best[f]
            if one.pump < 0:
                continue
            hang = hung(one, tested, market, rules, room)
            _, cost = drawn_cost(
                one, hang.intake_m, one.rotor_life_y, site, rules, market, market.pumps[one.pump], draw, False
            )  # fmt: skip
            cost /= one.present_m3
            if chosen < 0 or leads(
                cost, one.array_wp, one.pump, least, best[chosen].array_wp, best[chosen].pump
            ):  # fmt: skip
                chosen, least, intake = f, cost, hang
        if chosen < 0:
            outcome.cost = outcome.capital = outcome.water = outcome.volume = 0.0
            outcome.level, outcome.met, outcome.short, outcome.bought, outcome.kept = np.nan, 0, 1, 0, 0
            continue
        settle(site, ground, draw, rules, own)
        live(best[chosen], intake, site, own, draw, light, market, rules, worn, cuts, room, outcome)
        outcome.kept = chosen == family
