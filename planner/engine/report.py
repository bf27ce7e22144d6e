"""What a chosen design does, hour by hour of the power-duration table: flows, levels, heads and energy."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.cost import Market
from planner.engine.duty import Duty, Well, drawdown_m, dynamic_heads_m, fit_pump, pipe_head_m, well_limits
from planner.engine.light import Light
from planner.engine.search import DAYS, Design, days_mean, used_month, used_year
from planner.engine.site import Record
from planner.engine.volume import curves_of, monthly_volumes, no_curves
from planner.physics.equation import kernel
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]

PEAK_SHARE = 0.02  # of the pumping hours of the design month, for the design peak


class Performance(NamedTuple):
    """Results of a design; volumes are at the tank inlet."""

    duty: Duty
    well: Well
    volumes_m3_day: Floats  # (12) pumpable
    used_share: Floats  # (12) of each month's demand delivered
    reliability: float
    worst_month: float
    low_sun_reliability: float  # the same two with the sun that the sizing rules count on
    low_sun_worst_month: float
    used_m3_day: float
    run_share: float  # power at which water begins to flow in the design month ÷ rated power of the array
    running_hours_day: float
    design_month: int  # 0 to 11
    peak_m3_h: float
    peak_design_m3_h: float
    rest_m: float  # design month, with the memory of earlier days not counted
    level_m: float  # design month, at the peak
    head_m: float
    level_rule_m: float
    head_rule_m: float
    wire_to_water: float
    specific_output: float  # m4/kWp/d


@kernel
def flow_at(power_w: float, power: Floats, flow: Floats, knots: int) -> float:
    """Flow (m3/h) at a power, 0 below the start, the last flow above the last knot."""
    if knots == 0 or power_w < power[0]:
        return 0.0
    for k in range(1, knots):
        if power_w < power[k]:
            part = (power_w - power[k - 1]) / (power[k] - power[k - 1])
            return flow[k - 1] + part * (flow[k] - flow[k - 1])
    return flow[knots - 1]


@kernel
def perform(design: Design, site: Record, light: Light, market: Market, rules: Record) -> Performance:
    """Run a design through the year."""
    j, w = design.pump, design.module
    pump = market.pumps[j]
    drive = market.drives[pump.drive]
    well = well_limits(site)
    duty = fit_pump(pump, drive, market.risers, market.deliveries, market.cables, site, rules, well)
    flows, heads = dynamic_heads_m(duty, site, rules, well, market.risers, market.deliveries)
    slip, density = pump.slip_life_factor, well.density_kg_m3
    demand = site.demand_m3_day
    array_w = design.array_wp * (1.0 - rules.ageing_year * rules.design_year)
    curves = curves_of(pump, drive, duty, site, rules, density, slip, demand, flows, heads)
    scratch = no_curves()
    volumes, running = np.empty(12), np.empty(12)
    monthly_volumes(
        pump, drive, duty, site, rules, density, slip, flows, heads, curves, demand, light, w, array_w,
        scratch, volumes, running,
    )  # fmt: skip
    tank_m3 = market.tanks[design.tank].volume_m3
    used, reliability, worst = used_year(volumes, demand, site, rules, tank_m3)
    low_volumes, low_running = np.empty(12), np.empty(12)
    monthly_volumes(
        pump, drive, duty, site, rules, density, slip, flows, heads, curves, demand, light, w,
        array_w * site.low_sun, scratch, low_volumes, low_running,
    )  # fmt: skip
    _, low_reliability, low_worst = used_year(low_volumes, demand, site, rules, tank_m3)
    lifted = np.minimum(volumes, demand)
    curves = curves_of(pump, drive, duty, site, rules, density, slip, lifted, flows, heads)

    pumpable = np.full(12, np.inf)
    used_share = np.ones(12)
    for m in range(12):
        if demand[m] > 0.0:
            pumpable[m] = volumes[m] / demand[m]
            used_share[m] = used_month(volumes[m], demand[m], site, rules, tank_m3) / demand[m]
    month = int(np.argmin(pumpable))

    run_share = curves.power_w[month, 0] / design.array_wp if curves.knots[month] > 0 else np.nan

    peak = peak_design = 0.0
    hydraulic = electrical = lift_volume = 0.0
    for m in range(12):
        power = light.power[w, m]
        static = site.rest_m[m] + site.memory_d_m2 * lifted[m] + site.lift_m + rules.residual_m
        counted = 0.0
        for k in range(power.size):
            available = power[k] * array_w
            flow = flow_at(available, curves.power_w[m], curves.flow_m3_h[m], curves.knots[m])
            if flow <= 0.0:
                break
            hours = light.hours[w, m, k + 1] - light.hours[w, m, k]
            if available < curves.start_w[m]:
                hours *= 0.5
            peak = max(peak, flow)
            counted += hours
            if m == month and counted <= max(PEAK_SHARE * running[m], hours):
                peak_design = flow
            head = static + drawdown_m(site, flow, False) + pipe_head_m(
                flow, site, rules, market.risers, duty.riser, market.deliveries, duty.delivery, duty.intake_m,
                well.viscosity_m2_s,
            )  # fmt: skip
            hydraulic += DAYS[m] * hours * density * GRAVITY_M_S2 * flow / 3600.0 * head
            electrical += DAYS[m] * hours * min(available, curves.power_w[m, curves.knots[m] - 1])
            lift_volume += DAYS[m] * hours * flow * head

    friction = pipe_head_m(
        peak, site, rules, market.risers, duty.riser, market.deliveries, duty.delivery, duty.intake_m,
        well.viscosity_m2_s,
    )  # fmt: skip
    friction_cap = heads[-1] - drawdown_m(site, duty.cap_m3_h, False)
    level = site.rest_m[month] + site.memory_d_m2 * lifted[month] + drawdown_m(site, peak, False)
    level_rule = well.deepest_m + drawdown_m(site, duty.cap_m3_h, True)
    above_ground = site.lift_m + rules.residual_m
    return Performance(
        duty, well, volumes, used_share, reliability, worst, low_reliability, low_worst, used / DAYS.sum(),
        run_share, days_mean(running), month,
        peak, peak_design, site.rest_m[month], level, level + above_ground + friction, level_rule,
        level_rule + above_ground + friction_cap, hydraulic / electrical if electrical > 0.0 else 0.0,
        duty.availability * lift_volume / DAYS.sum() / (design.array_wp / 1000.0),
    )  # fmt: skip
