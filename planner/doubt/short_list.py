"""The short list of sets with which a site is chosen again (`engine.redo`), grown until it misses little."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.choose import comes_before
from planner.engine.cost import Market
from planner.engine.design import no_designs
from planner.engine.light import Light
from planner.engine.redo import choose_again, empty_list, note
from planner.engine.room import YES, Room
from planner.engine.search import search
from planner.engine.site import Record, Records

LEAST_POINTS, CALM_POINTS, MOST_POINTS = 8, 8, 32
TOLERANCE = 0.003  # of cost per m3


class Learned(NamedTuple):
    """A short list and how it was found."""

    short: Records  # of redo.SHORT
    searched: int  # sites that were searched in full
    missed: NDArray[np.float64]  # what the list as it stood cost more at each of them, share


def first_of(best: Records) -> Record | None:
    """The best of the families' best designs; None where there is none."""
    first = None
    for one in best:
        if one.pump >= 0 and (first is None or comes_before(one, first)):
            first = one
    return first


def learn(
    points: Iterable[Record],
    light: Light,
    market: Market,
    rules: Record,
    room: Room,
    *,
    least: int = LEAST_POINTS,
    calm: int = CALM_POINTS,
    most: int = MOST_POINTS,
    tolerance: float = TOLERANCE,
) -> Learned:
    """Search changed sites in full, one by one, until the list misses no more than the tolerance `calm` times running.

    points  records of the site as drawn, well spread (the first draws of a Sobol sequence are), the planning one first
    """
    short, missed, quiet = empty_list(market.pumps.size), [], 0
    for number, site in enumerate(points):
        if number >= most or (number >= least and quiet >= calm):
            break
        regret = np.inf
        again = no_designs(3)
        if number:
            choose_again(site, light, market, rules, short, again, room, YES)
        best = no_designs(3)
        search(site, light, market, rules, best, room)
        there, ours = first_of(best), first_of(again)
        if number and there is not None and ours is not None:
            regret = float(ours.cost_per_m3 / there.cost_per_m3 - 1.0)
        elif there is None:
            regret = 0.0
        missed.append(regret)
        quiet = quiet + 1 if regret <= tolerance else 0
        for design in best:
            if design.pump >= 0:
                note(design, room.task.first_tank, short)
    return Learned(short, len(missed), np.array(missed))
