"""The engine's choice against the enumeration of every design by the slow model, on small catalogues.

Twelve sites in the ordinary run, all 320 by hand (`-m slow -s` shows the table). What is compared: pump and array,
and on the same design the cost of a cubic metre, the share of the demand and the water. Where the two choose unlike
designs both are shown with what the slow model makes of each, so that a tie can be told from a defect.

Of the 320 sites 309 have a design: 189 a helical rotor, 109 a centrifugal, 11 a surface pump; 184 meet the demand.
Random errors of 0.005 % in the cost of each design would change pump or array at one site in a thousand, of 0.02 % at
14 in a thousand (measured on the slow model itself). The slow model takes 1.5 s a site.
"""

from __future__ import annotations

import math
import time
from typing import NamedTuple

import numpy as np
import pytest

from planner.engine.days import Days, synthetic_days
from tests.reference import choice_sites, slow_choice, slow_sun
from tests.reference.adapter import Chosen, engine_choice
from tests.reference.choice_sites import Trial
from tests.reference.slow_choice import Design, Found
from tests.reference.slow_set import Numbers

NUMBERS = Numbers()
SAME_SETS = 0.98  # share of sites with the same pump and array
COST = 0.002  # on the same design
SHARE = 0.005  # of the demand, on the same design
# One of each: much memory, a tank too small, surface, no storage to speak of, the well's and the pumps' limits …
FEW = (4, 35, 120, 160, 163, 176, 181, 183, 186, 188, 192, 216)


class Compared(NamedTuple):
    trial: Trial
    ours: Design | None
    theirs: Chosen | None
    twin: Design | None  # the engine's design as the slow model sees it
    slow_s: float
    engine_s: float

    @property
    def same_set(self) -> bool:
        """Pump and array."""
        if self.ours is None or self.theirs is None:
            return self.ours is None and self.theirs is None
        return (self.ours.pump, self.ours.array_wp) == (self.theirs.pump, self.theirs.array_wp)

    @property
    def same_design(self) -> bool:
        return self.ours is not None and self.theirs is not None and self.ours.key == _key(self.theirs)

    @property
    def cost_error(self) -> float:
        """Of the engine's design: its cost there ÷ here, less 1; NaN where it is not priced here."""
        if self.theirs is None or self.twin is None:
            return math.nan
        return self.theirs.cost_per_m3 / self.twin.cost_per_m3 - 1

    @property
    def loss(self) -> float:
        """What the engine's choice costs more than ours, both by the slow model."""
        if self.ours is None or self.twin is None:
            return math.nan
        return self.twin.cost_per_m3 / self.ours.cost_per_m3 - 1


def _key(chosen: Chosen) -> tuple[float, ...]:
    return tuple(chosen[:7])


def days_of(trial: Trial) -> Days:
    """The order of the days that goes with the site's clearness."""
    return synthetic_days(np.array([slow_sun.month_clearness(trial.site.sun, m) for m in range(12)]))


def compare(trial: Trial) -> Compared:
    stock, days = choice_sites.stock_of(trial.lists), days_of(trial)
    start = time.perf_counter()
    found: Found = slow_choice.choose(trial.site, stock, NUMBERS, days)
    middle = time.perf_counter()
    theirs = engine_choice(trial.site, stock, NUMBERS, days)
    end = time.perf_counter()
    twin = None
    if theirs is not None:
        twin = next((d for d in found.designs if d.key == _key(theirs)), None)
    return Compared(trial, found.chosen, theirs, twin, middle - start, end - middle)


def told(one: Compared) -> str:
    """A site in words: both designs, by place in the site's lists, and the engine's as the slow model sees it."""
    lines = [f"{one.trial.site.name}: cost error {100 * one.cost_error:+.3f} %, loss {100 * one.loss:+.3f} %"]
    ids = choice_sites.catalogue().pump_ids
    for who, d in (("slow", one.ours), ("engine", one.theirs), ("engine's, slow", one.twin)):
        if d is None:
            lines.append(f"  {who:15} none")
            continue
        pump = ids[one.trial.lists.pumps[d.pump]]
        parts = f"riser {d.riser} delivery {d.delivery} cable {d.cable} module {d.module} tank {d.tank}"
        low = ""
        if isinstance(d, Design):
            low = f" low sun {d.low_sun_reliability:.4f} {d.low_sun_worst_month:.4f} meets {d.meets}"
            low += f" intake {d.intake_m:.1f} cap {d.cap_m3_h:.4f} sleeve {d.sleeve}"
        lines.append(
            f"  {who:15} {pump:9} {d.array_wp:6.0f} W {parts} cost {d.cost_per_m3:.5f} R {d.reliability:.4f} "
            f"{d.worst_month:.4f} U {d.used_m3_year:.1f}{low}"
        )
    return "\n".join(lines)


def table(results: list[Compared]) -> str:
    """The whole comparison as text."""
    same = [one for one in results if one.same_set]
    alike = [one for one in results if one.same_design]
    errors = np.array([abs(one.cost_error) for one in alike])
    shares = np.array([abs(one.theirs.reliability - one.ours.reliability) for one in alike if one.ours and one.theirs])
    losses = np.array([one.loss for one in results if not math.isnan(one.loss)])
    count, none = len(results), sum(one.ours is None and one.theirs is None for one in results)
    slow_s, engine_s = (sum(getattr(one, name) for one in results) for name in ("slow_s", "engine_s"))
    lines = [
        f"{count} sites, {none} without a design; same pump and array {len(same)} ({100 * len(same) / count:.1f} %)",
        f"same design {len(alike)}",
        f"slow model {count / slow_s:.2f} sites a second, engine with its adapter {count / engine_s:.1f}",
    ]
    for what, values in (("cost, same design", errors), ("share of demand, same design", shares), ("loss", losses)):
        if values.size:
            half, nine, hundred, most = np.percentile(values, [50, 90, 99, 100])
            lines.append(f"{what}: median {half:.2e}, 90 % {nine:.2e}, 99 % {hundred:.2e}, most {most:.2e}")
    apart = [one for one in results if not one.same_design and (one.ours, one.theirs) != (None, None)]
    return "\n".join([*lines, *(told(one) for one in apart)])


def judge(results: list[Compared], least_same: float) -> None:
    text = table(results)
    print("\n" + text)
    assert sum(one.same_set for one in results) >= least_same * len(results), text
    for one in results:
        if one.same_design and one.ours is not None and one.theirs is not None:
            assert abs(one.cost_error) <= COST, told(one)
            assert one.theirs.reliability == pytest.approx(one.ours.reliability, abs=SHARE), told(one)
            assert one.theirs.worst_month == pytest.approx(one.ours.worst_month, abs=2 * SHARE), told(one)


def test_the_choice_of_a_few_sites_is_the_slow_models() -> None:
    trials = choice_sites.trials()
    judge([compare(trials[i]) for i in FEW], 11 / 12)  # one may be a tie


@pytest.mark.slow
def test_the_choice_of_all_sites_is_the_slow_models() -> None:
    judge([compare(trial) for trial in choice_sites.trials()], SAME_SETS)
