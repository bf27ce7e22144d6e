"""What is drawn about a site, and the site of a draw."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.cost import ITEMS
from planner.engine.site import Record
from planner.engine.well import well_limits
from planner.physics.equation import kernel

Floats = NDArray[np.float64]

# Parts of a bill whose prices move together, beside what moves all. What a bill adds in time counts as works.
PARTS = ("array", "helical_rotor", "centrifugal", "surface", "pipes", "tank", "works")
PUMP_PART, WORKS = 1, PARTS.index("works")
_PART_OF = {
    "modules": "array", "mounting": "array", "array wiring": "array", "pump and motor": "helical_rotor",
    "drive": "helical_rotor", "riser": "pipes", "motor cable": "pipes", "delivery pipe": "pipes",
    "tank on stand": "tank",
}  # fmt: skip
PART_OF_ITEM = np.array([PARTS.index(_PART_OF.get(item, "works")) for item, _, _ in ITEMS])

# A draw: how far a site is from the central values. E is what a test tells, A what shows after the purchase, P prices.
KNOWN_BY_TEST = ("rest_m", "b_factor", "yield_factor", "loss_share")
LEARNT = ("swing_m", "decline_m_year", "demand", "sun", "clean", "ageing", "slip", "life", "upkeep")
DRAW = np.dtype([(name, "f8") for name in (*KNOWN_BY_TEST, *LEARNT, "price")] + [("part", "f8", len(PARTS))])
# What a set did in a draw: present value of cost and water (m3 at the tap), capital, water used on the mean day of the
# design year (m3 at the tap), pumping level at the peak of the design month (m), whether the demand is met, whether
# less than half of it is, whether anything was bought, whether the family of the plain run is the cheapest.
OUTCOME = np.dtype(
    [(name, "f8") for name in ("cost", "water", "capital", "volume", "level")]
    + [(name, "i8") for name in ("met", "short", "bought", "kept")]
)
NO_LIMIT_M, NO_LIMIT_M3_H = 1e6, 1e6  # deeper and more than any well


class Ground(NamedTuple):
    """What a site's record leaves out and a draw needs. Levels in m below ground, months January first."""

    fall: Floats  # (12) share of the season's swing by which the rest level lies below its highest
    fall_read: float  # the same at the time of the reading
    swing_m: float
    decline_m_year: float
    rest_margin_m: float  # planning rest level (P75) below the median
    rate_margin: float  # median of the safe rate over its planning value (P25)
    loss_share: float  # of the tested drawdown that is well loss
    test_flow_m3_d: float
    main_strike_m: float  # NaN unknown
    available_share: float
    interference_m: float


@kernel
def draw_site(site: Record, ground: Record, draw: Record, rules: Record, tested: bool, own: Record) -> None:
    """The site of a draw into `own`; with `tested` only what a test tells is drawn.

    What is drawn is known: planning values (P75, P25) have no margin left. No draw lifts the water above the ground
    where the plain run does not.
    """
    swing, decline, demand = 0.0, 0.0, 1.0
    if not tested:
        swing, decline = draw.swing_m - ground.swing_m, draw.decline_m_year - ground.decline_m_year
        demand = draw.demand
    for m in range(12):
        moved = draw.rest_m + swing * (ground.fall[m] - ground.fall_read) + decline * 0.5 * rules.horizon_y
        own.rest_m[m] = max(site.rest_m[m] + moved, min(site.rest_m[m], 0.0))
        own.demand_m3_day[m] = site.demand_m3_day[m] * demand
    deepest = site.rest_rule_m - ground.rest_margin_m + draw.rest_m
    deepest += swing * (1.0 - ground.fall_read) + decline * rules.horizon_y
    own.rest_rule_m = max(deepest, min(site.rest_rule_m, 0.0))
    loss = draw.loss_share
    aquifer = draw.b_factor * (1.0 - loss) / (1.0 - ground.loss_share)
    own.b_d_m2 = own.b_rule_d_m2 = site.b_d_m2 * aquifer
    own.memory_d_m2 = site.memory_d_m2 * aquifer
    own.c_d2_m5 = site.c_d2_m5
    if ground.loss_share > 0.0:
        own.c_d2_m5 *= loss / ground.loss_share
    elif loss > 0.0:
        own.c_d2_m5 = loss / (1.0 - loss) * site.b_d_m2 / ground.test_flow_m3_d
    own.share_rate_m3_h = site.share_rate_m3_h * ground.rate_margin * draw.yield_factor
    own.safe_volume_m3_day = site.safe_volume_m3_day * ground.rate_margin * draw.yield_factor
    lowest = site.deepest_intake_m - site.submergence_m
    rest = own.rest_rule_m - ground.interference_m
    limit = min(rest + ground.available_share * (lowest - rest), lowest)
    own.level_limit_m = ground.main_strike_m if ground.main_strike_m < limit else limit


@kernel
def settle(site: Record, ground: Record, draw: Record, rules: Record, own: Record) -> None:
    """The site of a draw into `own`, its safe rate as a test tells it: the drive's cap, whatever shows later."""
    draw_site(site, ground, draw, rules, True, own)
    safe = well_limits(own).safe_m3_h
    draw_site(site, ground, draw, rules, False, own)
    own.share_rate_m3_h, own.level_limit_m = safe, NO_LIMIT_M
