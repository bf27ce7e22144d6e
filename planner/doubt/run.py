"""Sites in, what each does in every draw out. A site's outcomes do not depend on its neighbours in the chunk."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.doubt.draws import common_points, site_draws
from planner.doubt.short_list import learn
from planner.doubt.site import Doubts, doubt_of, ground_of
from planner.engine.assess import Context, Sites, site_record, sized
from planner.engine.design import no_designs
from planner.engine.drawn import OUTCOME, draw_site
from planner.engine.drawn_runs import commit, redesign
from planner.engine.drawn_set import Cuts, make_cuts
from planner.engine.room import Room, make_room
from planner.engine.site import Record, Records
from planner.engine.skies import Skies
from planner.errors import InternalError

Singles = NDArray[np.float32]
NUMBERS = ("cost", "water", "capital", "volume", "level")
FLAGS = ("met", "short", "bought", "kept")


@dataclass(frozen=True)
class Outcomes:
    """What sites do in draws: (sites, draws). Money of the price year; volumes at the tap; in a draw without a set all
    are 0.

    cost      life-cycle cost, scheme, present value
    water     present value of the water used, m3: cost / water is the cost of water, infinite without any
    capital   first cost, scheme
    volume    water used on the mean day of the design year, m3/d
    level     pumping level at the peak of the design month, m below ground; NaN without water
    met       the demand is met by the plan's shares
    short     less than half of it is
    bought    there is a design to buy
    kept      the family of the plain run is the cheapest
    """

    cost: Singles
    water: Singles
    capital: Singles
    volume: Singles
    level: Singles
    met: NDArray[np.bool_]
    short: NDArray[np.bool_]
    bought: NDArray[np.bool_]
    kept: NDArray[np.bool_]

    def cost_per_m3(self) -> Singles:
        """Cost of water in every draw, (sites, draws); infinite where there is none."""
        dry = np.full(self.cost.shape, np.inf, dtype=np.float32)
        return np.divide(self.cost, self.water, out=dry, where=self.water > 0.0)


@dataclass(frozen=True)
class Drawn:
    """Both runs over the same draws, by site. Rows of `test_first` of tested sites (grade A) say nothing."""

    inventory_row: NDArray[np.int64]
    tested: NDArray[np.bool_]
    commit: Outcomes
    test_first: Outcomes

    def reported(self) -> Outcomes:
        """The run that counts: commit where a test has nothing to tell, else test first."""
        which = self.tested[:, None]
        pairs = {name: (getattr(self.commit, name), getattr(self.test_first, name)) for name in (*NUMBERS, *FLAGS)}
        return Outcomes(**{name: np.where(which, *pair) for name, pair in pairs.items()})


class Bench(NamedTuple):
    """What one thread works with."""

    skies: Skies
    room: Room
    cuts: Cuts


def draw_sites(sites: Sites, doubts: Doubts, context: Context, draws: int) -> Drawn:
    """Both runs of every site of a chunk; each has a design."""
    widths, key = context.plan.uncertainty, sites.inventory_row
    common = common_points(draws, widths.seed)
    bench = Bench(context.skies(), make_room(context.market), make_cuts())
    runs = tuple(np.zeros((key.size, draws), OUTCOME) for _ in range(2))
    for i in range(key.size):
        drawn = site_draws(widths, doubt_of(doubts, i, context.plan), int(key[i]), draws, common)
        for run, found in zip(runs, both_runs(sites, doubts, i, context, drawn, bench), strict=True):
            run[i] = found
    return Drawn(key, doubts.tested, outcomes_of(runs[0]), outcomes_of(runs[1]))


def both_runs(
    sites: Sites, doubts: Doubts, i: int, context: Context, drawn: Records, bench: Bench
) -> tuple[Records, Records]:
    """Outcomes of site i in every draw, committed and tested first; the latter zeros for a tested site."""
    site, ground = site_record(sites, i, context), ground_of(sites, doubts, i, context.plan)
    market, rules, room, climate = context.market, context.rules, bench.room, sites.climate(i)
    light = bench.skies.light(climate, bench.skies.plane(climate, site, np.nan))
    choice, done = sized(site, light, context, room, -1, 0.0)
    if done is None:
        raise InternalError(f"row {sites.inventory_row[i]}: no design to draw about")
    own, worn = standing(site), np.zeros(1, market.pumps.dtype)
    bought, chosen_anew = np.zeros(drawn.size, OUTCOME), np.zeros(drawn.size, OUTCOME)
    commit(
        choice.best, choice.family, site, ground, drawn, light, market, rules, own, worn, bench.cuts, room, bought
    )  # fmt: skip
    if not doubts.tested[i]:
        points = (as_tested(site, ground, draw, rules) for draw in drawn)
        short = learn(points, light, market, rules, room).short
        redesign(
            no_designs(3), choice.family, site, ground, drawn, light, market, rules, short, copied(site), own, worn,
            bench.cuts, room, chosen_anew,
        )  # fmt: skip
    return bought, chosen_anew


def as_tested(site: Record, ground: Record, draw: Record, rules: Record) -> Record:
    """The site's record as a test finds it in a draw."""
    tested = copied(site)
    draw_site(site, ground, draw, rules, True, tested)
    return tested


def copied(site: Record) -> Record:
    """A record of its own with the same values."""
    return np.array([site], site.dtype).view(np.recarray)[0]


def standing(site: Record) -> Record:
    """The same with a set that stands: no rules of choosing."""
    own = copied(site)
    own.stands = 1
    return own


def outcomes_of(records: Records) -> Outcomes:
    """Records of the kernels, (sites, draws), as columns."""
    numbers: dict[str, Any] = {name: records[name].astype(np.float32) for name in NUMBERS}
    flags: dict[str, Any] = {name: records[name].astype(np.bool_) for name in FLAGS}
    return Outcomes(**numbers, **flags)
