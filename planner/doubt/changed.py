"""A site with one thing or several known otherwise: the engine's record, changed."""

from __future__ import annotations

import numpy as np

from planner.engine.light import Light
from planner.engine.site import Record


def changed(
    site: Record,
    *,
    deeper_m: float = 0.0,
    drawdown: float = 1.0,
    well_yield: float = 1.0,
    demand: float = 1.0,
    available_share: float = 2 / 3,
) -> Record:
    """A copy of a site's record (`engine.site.Site`) with a rest level so many metres deeper and factors on the rest.

    deeper_m    metres on all rest levels; above ground stays at ground, as a pump lifts from there at least
    drawdown    factor on aquifer loss and on the memory of earlier days, both 1/transmissivity; well loss stays
    well_yield  factor on the safe rate and the safe volume
    demand      factor on every month
    available_share  of the available drawdown ([well]): the level limit moves with the rest level
    """
    new = site.copy().view(np.recarray)
    new = new if new.ndim == 0 else new[0]
    deepest = float(site["deepest_intake_m"]) - float(site["submergence_m"])
    rule, limit = float(site["rest_rule_m"]), float(site["level_limit_m"])
    new["rest_m"] = np.asarray(site["rest_m"]) + deeper_m
    new["rest_rule_m"] = rule + deeper_m
    moved = rule + deeper_m + available_share * (deepest - rule - deeper_m)
    held = limit < rule + available_share * (deepest - rule) - 1e-9  # by a strike, which stays where it is
    new["level_limit_m"] = min(limit, moved, deepest) if held else min(moved, deepest)
    for name in ("b_d_m2", "b_rule_d_m2", "memory_d_m2"):
        new[name] = float(site[name]) * drawdown
    for name in ("share_rate_m3_h", "safe_volume_m3_day"):
        new[name] = float(site[name]) * well_yield
    new["demand_m3_day"] = np.asarray(site["demand_m3_day"]) * demand
    return new


def brighter(light: Light, factor: float) -> Light:
    """The same light, so many times as strong at every step."""
    steps = light.steps.copy()
    for name in ("power", "energy"):
        steps[name] *= factor
    return light._replace(steps=steps)
