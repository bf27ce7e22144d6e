"""The choice without any bound: every pump, module and string is costed, as a check of the search that stops early."""

from __future__ import annotations

import numpy as np

from planner.engine.cost import Market
from planner.engine.design import NO_DESIGN, Design, arrays_of, better, make_design, make_task, set_up
from planner.engine.duty import FITS, fit_pump, well_limits
from planner.engine.light import Light
from planner.engine.site import Record
from planner.physics.equation import kernel


@kernel
def exhaustive(site: Record, light: Light, market: Market, rules: Record) -> list[Design]:
    """The best design of each of the three families."""
    well = well_limits(site)
    task = make_task(site, rules, market, well, 0.0)
    every = [NO_DESIGN]
    for j in range(market.pumps.size):
        pump, drive = market.pumps[j], market.drives[market.pumps[j].drive]
        duty = fit_pump(pump, drive, market.risers, market.deliveries, market.cables, site, rules, well)
        if duty.rule != FITS:
            continue
        state = set_up(j, duty, task, site, market, rules)
        for w in range(market.modules.size):
            arrays = arrays_of(pump, drive, market.modules[w], site, rules, task)
            for k in range(arrays.watts.size):
                at = (arrays.watts[k], arrays.series[k], arrays.parallel[k])
                every.append(make_design(state, w, at[0], at[1], at[2], task, site, light, market, rules))
    most = 0.0
    any_meets = False
    for design in every:
        most = max(most, design.used_m3_year)
        any_meets = any_meets or design.meets
    best = [NO_DESIGN, NO_DESIGN, NO_DESIGN]
    for design in every:
        competes = design.meets if any_meets else design.used_m3_year >= 0.9 * most
        if design.pump >= 0 and competes:
            family = market.pumps[design.pump].family
            if better(design, best[family]):
                best[family] = design
    return best


def random_columns(random: np.random.Generator) -> tuple[float, float, dict[str, object]]:
    """Rest level, demand and other columns of a well that spans the demo and its extremes."""
    static = float(np.exp(random.uniform(np.log(1.5), np.log(220.0))))
    demand = float(np.exp(random.uniform(0.0, np.log(100.0))))
    columns: dict[str, object] = {
        "solar_sizing_factor": float(random.choice([1.0, 0.955, 0.9])),
        "demand_growth": float(random.choice([0.0, 0.02])),
        "casing_used_mm": float(random.choice([100.0, 125.0, 150.0, 200.0])),
        "water_temperature_used_c": float(random.uniform(15.0, 38.0)),
        "elevation_m": float(random.uniform(0.0, 2500.0)),
    }
    if random.random() < 0.4:
        columns["share_rate_m3_h"] = demand / float(random.uniform(3.0, 25.0))
        columns["safe_volume_m3_day"] = demand * float(random.uniform(0.3, 3.0))
    if random.random() < 0.4:
        columns["memory_d_m2"] = float(random.uniform(0.0, 0.3))
    if random.random() < 0.3:
        columns["sand_mg_l"] = float(random.uniform(0.0, 60.0))
    return static, demand, columns
