"""One pump in one well: the pipes and cable it needs, the flow it is capped at, and every rule that stops it.

The unknown of an operating point is usually the speed at a given power. Here flow is marched instead: at a
given flow the head, then the speed, then the power follow explicitly for every family, so nothing has to be
solved and the steep start of a centrifugal pump is resolved. A curve is `KNOTS` flows from rest to the cap.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HDPE, HELICAL, SURFACE
from planner.catalogue.equipment import WATER_KG_M3
from planner.engine.site import Record, Records
from planner.physics.aquifer import flow_at_level_m3_h
from planner.physics.cables import cable_loss_share, cable_ratio, conductor_resistance_ohm_km, motor_current_a
from planner.physics.equation import kernel
from planner.physics.pipes import friction_head_m, hanging_stress_mpa, minor_head_m
from planner.physics.pumps import (
    centrifugal_shaft_power_w,
    centrifugal_speed_ratio,
    helical_speed_rpm,
    helical_torque_nm,
    motor_input_w,
    npsh_available_m,
    npsh_required_m,
    starting_power_w,
    starting_torque_nm,
)
from planner.physics.water import GRAVITY_M_S2, density_kg_m3, kinematic_viscosity_m2_s

Floats = NDArray[np.float64]

KNOTS = 16
BISECTIONS = 40
RPM_TO_RAD_S = math.pi / 30.0
# Common practice, no published value: relief valve at 1.1 × working pressure; motor cable at 50 °C; four-core
# cable of 0.7 kg/m on a hanging pipe of at most 5 MPa; power factor of small motors 0.85.
RELIEF_RATIO = 1.1
CABLE_C = 50.0
CABLE_KG_M = 0.7
HANGING_STRESS_MPA = 5.0
POWER_FACTOR = 0.85
DERATE_FROM_C = 30.0
DERATE_PER_K = 0.02
SURFACE_SUBMERGENCE_M = 1.0
SUCTION_MARGIN_M = 0.5
PRIMING_AVAILABILITY = 0.97

# What stops a pump, in the order the rules are tested. The names are the rules of checks.parquet.
RULES = (
    "pump_fits",
    "no_safe_rate",
    "no_casing",
    "water_too_warm",
    "sand_above_limit",
    "no_head",
    "no_delivery_pipe",
    "no_riser",
    "no_suction",
    "above_safe_rate",
    "no_pressure",
    "no_start_torque",
    "no_cable",
    "no_voltage_window",
    "no_cooling",
)
(
    FITS, NO_SAFE_RATE, NO_CASING, WATER_TOO_WARM, SAND, NO_HEAD, NO_DELIVERY, NO_RISER, NO_SUCTION,
    ABOVE_SAFE_RATE, NO_PRESSURE, NO_START_TORQUE, NO_CABLE, NO_VOLTAGE_WINDOW, NO_COOLING,
) = range(len(RULES))  # fmt: skip

# Which limit of the well binds the safe rate.
LIMITS = ("tested_share", "level", "screen", "suction")


class Well(NamedTuple):
    """Planning limits of the well, before any pump is known."""

    safe_m3_h: float
    limit: int  # index of LIMITS
    deepest_m: float  # planning rest level with the memory of earlier days
    highest_m: float  # median rest level of the shallowest month, likewise
    density_kg_m3: float
    viscosity_m2_s: float


class Duty(NamedTuple):
    """A pump fitted to a well, or the rule that stopped it with value and limit."""

    rule: int  # FITS or the rule that failed
    value: float
    limit: float
    cap_m3_h: float
    safe_m3_h: float
    safe_limit: int
    intake_m: float
    riser: int
    delivery: int
    cable: int
    cable_ratio: float
    clip_w: float  # power that the drive takes at most
    availability: float


@kernel
def well_limits(site: Record) -> Well:
    """Safe rate of the well and the levels it is judged at."""
    density = density_kg_m3(site.water_c)
    viscosity = kinematic_viscosity_m2_s(site.water_c)
    lifted = min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    # P75 of the aquifer loss goes with the memory term: both are 1/transmissivity.
    memory_rule = site.memory_d_m2 * (site.b_rule_d_m2 / site.b_d_m2 if site.b_d_m2 > 0 else 1.0)
    deepest = site.rest_rule_m + memory_rule * lifted
    highest = site.rest_m.min() + site.memory_d_m2 * lifted
    by_level = flow_at_level_m3_h(site.level_limit_m, deepest, site.b_rule_d_m2, site.c_d2_m5)
    if by_level < site.share_rate_m3_h:
        return Well(by_level, 2 if site.level_is_screen else 1, deepest, highest, density, viscosity)
    return Well(site.share_rate_m3_h, 0, deepest, highest, density, viscosity)


@kernel
def drawdown_m(site: Record, flow_m3_h: float, rule: bool) -> float:
    """Drawdown of a pumping day at a flow, median or planning (P75)."""
    day = 24.0 * flow_m3_h
    return (site.b_rule_d_m2 if rule else site.b_d_m2) * day + site.c_d2_m5 * day * day


@kernel
def speed_power_torque(
    pump: Record, drive: Record, flow: float, head: float, slip_factor: float, ratio: float, density: float
) -> tuple[float, float, float]:
    """Speed ratio, electrical power (W) and torque (N m) at a flow (m3/h) against a head (m)."""
    rated = pump.rated_speed_rpm
    if pump.family == HELICAL:
        pressure = density * GRAVITY_M_S2 * head
        displacement = pump.displacement_cm3
        rpm = helical_speed_rpm(flow, pressure, displacement, slip_factor * pump.slip_m3_h_pa)
        torque = helical_torque_nm(displacement, pressure, pump.fit_friction_nm)
        speed = rpm / rated
    else:
        speed = centrifugal_speed_ratio(flow, head, pump.best_flow_m3_h, pump.head_at_best_m)
        rpm = speed * rated
        shaft = centrifugal_shaft_power_w(
            flow, speed, pump.best_flow_m3_h, pump.best_power_w * density / WATER_KG_M3, pump.best_efficiency
        )
        torque = shaft / (rpm * RPM_TO_RAD_S) if rpm > 0 else 0.0
    power = motor_input_w(
        torque, rpm, pump.motor_w, pump.rated_torque_nm, rated, pump.copper_share, pump.iron_share,
        ratio, drive.efficiency, drive.standby_w,
    )  # fmt: skip
    return speed, power, torque


@kernel
def pipe_head_m(
    flow: float, site: Record, rules: Record, risers: Records, riser: int, deliveries: Records, delivery: int,
    intake_m: float, viscosity: float,
) -> float:  # fmt: skip
    """Friction and fittings, m; a pipe of index -1 has none."""
    head = 0.0
    if riser >= 0:
        bore = risers[riser].inside_mm
        head += friction_head_m(flow, intake_m, bore, risers[riser].roughness_mm, viscosity)
        head += minor_head_m(flow, bore, rules.minor_k)
    if delivery >= 0:
        head += friction_head_m(
            flow,
            site.pipe_length_m,
            deliveries[delivery].inside_mm,
            deliveries[delivery].roughness_mm,
            viscosity,
        )
    return head


@kernel
def full_flow_m3_h(inside_mm: float, velocity_m_s: float) -> float:
    """Flow that a pipe carries at a velocity."""
    return velocity_m_s * 3600.0 * math.pi / 4.0 * (inside_mm / 1000.0) ** 2


@kernel
def can_pump(
    pump: Record, drive: Record, flow: float, static_m: float, friction_m: float, site: Record, clip_w: float,
    ratio: float, density: float,
) -> bool:  # fmt: skip
    """Whether speed, drive and runout allow a flow at a median static head."""
    head = static_m + drawdown_m(site, flow, False) + friction_m
    speed, power, _ = speed_power_torque(pump, drive, flow, head, pump.slip_life_factor, ratio, density)
    if speed > 1.0 or power > clip_w:
        return False
    return pump.family == HELICAL or flow <= pump.max_flow_ratio * pump.best_flow_m3_h * speed


@kernel
def top_flow(
    pump: Record, drive: Record, static_m: float, site: Record, rules: Record, clip_w: float, ratio: float,
    well: Well, risers: Records, riser: int, deliveries: Records, delivery: int, intake_m: float,
    ceiling: float,
) -> float:  # fmt: skip
    """Highest flow up to `ceiling` that the pump gives at a median static head, m3/h; 0 when none."""
    low, high = 0.0, ceiling
    for step in range(BISECTIONS):
        flow = ceiling if step == 0 else 0.5 * (low + high)
        friction = pipe_head_m(flow, site, rules, risers, riser, deliveries, delivery, intake_m, well.viscosity_m2_s)
        if can_pump(pump, drive, flow, static_m, friction, site, clip_w, ratio, well.density_kg_m3):
            low = flow
            if step == 0:
                return flow
        else:
            high = flow
    return low


@kernel
def intake_depth_m(site: Record, well: Well, flow: float, surface: bool) -> float:
    """Intake for a flow at the planning level: submergence below, whole metres, at most the deepest place."""
    submergence = SURFACE_SUBMERGENCE_M if surface else site.submergence_m
    wanted = math.ceil(well.deepest_m + drawdown_m(site, flow, True) + submergence - 1e-9)
    return min(max(wanted, 1.0), site.deepest_intake_m)


@kernel
def stopped(rule: int, value: float, limit: float, well: Well) -> Duty:
    """A duty that a rule refuses."""
    return Duty(rule, value, limit, 0.0, well.safe_m3_h, well.limit, 0.0, -1, -1, -1, 0.0, 0.0, 0.0)


@kernel
def fit_pump(
    pump: Record, drive: Record, risers: Records, deliveries: Records, cables: Records, site: Record,
    rules: Record, well: Well,
) -> Duty:  # fmt: skip
    """Fit a pump to a well: cap, intake, riser, delivery pipe and cable, or the first rule that stops it.

    Pipes and cable are the cheapest that meet velocity and pressure class at the cap and the cable's loss. For a set
    that stands already (`site.stands`) the rules of choosing are not tested, and where no pipe or cable meets its
    rule the largest is taken.
    """
    surface = pump.family == SURFACE
    chosen_now = not site.stands
    if well.safe_m3_h <= 0.0:
        return stopped(NO_SAFE_RATE, well.safe_m3_h, 0.0, well)
    if chosen_now and site.casing_mm < pump.casing_min_mm:
        return stopped(NO_CASING, site.casing_mm, pump.casing_min_mm, well)
    warmest = min(rules.water_temp_max_c, pump.water_temp_max_c)
    if chosen_now and not surface and site.water_c > warmest:
        return stopped(WATER_TOO_WARM, site.water_c, warmest, well)
    if chosen_now and site.sand_mg_l > pump.sand_max_mg_l:
        return stopped(SAND, site.sand_mg_l, pump.sand_max_mg_l, well)

    derate = 1.0 if surface else 1.0 - DERATE_PER_K * max(0.0, site.water_c - DERATE_FROM_C)
    clip = pump.drive_rating_w * derate
    lift = site.lift_m + rules.residual_m
    static = well.highest_m + lift
    safe, limit = well.safe_m3_h, well.limit

    free = top_flow(pump, drive, static, site, rules, clip, 0.0, well, risers, -1, deliveries, -1, 0.0, safe)
    if free <= 0.0:
        head = well.deepest_m + lift
        most = pump.pressure_limit_pa / (well.density_kg_m3 * GRAVITY_M_S2)
        if pump.family != HELICAL:
            most = 1.30 * pump.head_at_best_m
        return stopped(NO_HEAD, head, most, well)

    intake = intake_depth_m(site, well, free, surface)
    pressure = RELIEF_RATIO * well.density_kg_m3 * GRAVITY_M_S2
    head_rule = well.deepest_m + drawdown_m(site, free, True) + lift
    delivery = -1
    for d in range(deliveries.size):
        bore = deliveries[d].inside_mm
        full = full_flow_m3_h(bore, rules.velocity_delivery_m_s)
        friction = pipe_head_m(min(full, free), site, rules, risers, -1, deliveries, d, intake, well.viscosity_m2_s)
        if deliveries[d].pressure_pa < pressure * (lift + friction):
            continue
        if free <= full or not can_pump(pump, drive, full, static, friction, site, clip, 0.0, well.density_kg_m3):
            delivery = d
            break
    if delivery < 0 and site.stands:
        delivery = deliveries.size - 1
    if delivery < 0:
        widest = deliveries["inside_mm"].max() / 1000.0
        return stopped(NO_DELIVERY, free, rules.velocity_delivery_m_s * 900.0 * math.pi * widest**2, well)

    riser = -1
    for r in range(risers.size):
        bore = risers[r].inside_mm
        full = full_flow_m3_h(bore, rules.velocity_riser_m_s)
        friction = pipe_head_m(
            min(full, free), site, rules, risers, r, deliveries, delivery, intake, well.viscosity_m2_s
        )
        if risers[r].pressure_pa < pressure * (head_rule + friction):
            continue
        if risers[r].material == HDPE and not surface:
            if intake > rules.hdpe_max_m:
                continue
            hanging = pump.mass_kg + CABLE_KG_M * intake
            if hanging_stress_mpa(intake, bore, risers[r].outside_mm, hanging, well.density_kg_m3) > HANGING_STRESS_MPA:
                continue
        if free <= full or not can_pump(pump, drive, full, static, friction, site, clip, 0.0, well.density_kg_m3):
            riser = r
            break
    if riser < 0 and site.stands:
        riser = risers.size - 1
    if riser < 0:
        strongest = risers["pressure_pa"].max() / (well.density_kg_m3 * GRAVITY_M_S2)
        return stopped(NO_RISER, RELIEF_RATIO * head_rule, strongest, well)

    cap = top_flow(pump, drive, static, site, rules, clip, 0.0, well, risers, riser, deliveries, delivery, intake, safe)
    if chosen_now:  # near runout the friction of both pipes lets more through than that of each by itself
        cap = min(cap, full_flow_m3_h(deliveries[delivery].inside_mm, rules.velocity_delivery_m_s))
        cap = min(cap, full_flow_m3_h(risers[riser].inside_mm, rules.velocity_riser_m_s))
    intake = intake_depth_m(site, well, cap, surface)
    if surface:
        suction = suction_flow(pump, site, well, risers, riser, intake, cap)
        if suction <= 0.0:
            available = npsh_available_m(site.elevation_m, site.water_c, 0.0, 0.0, SUCTION_MARGIN_M)
            required = npsh_required_m(0.0, pump.best_flow_m3_h, pump.npshr_best_m)
            return stopped(NO_SUCTION, well.deepest_m, available - required, well)
        cap = min(cap, suction)
        if suction < safe:
            safe, limit = suction, 3
        intake = intake_depth_m(site, well, cap, surface)

    # A pump that already passes the safe rate at its lowest speed cannot be held below it.
    friction = pipe_head_m(cap, site, rules, risers, riser, deliveries, delivery, intake, well.viscosity_m2_s)
    head = static + drawdown_m(site, cap, False) + friction
    speed, _, _ = speed_power_torque(pump, drive, cap, head, pump.slip_life_factor, 0.0, well.density_kg_m3)
    if speed < pump.min_speed_ratio:
        return stopped(ABOVE_SAFE_RATE, pump.min_speed_ratio, speed, well)

    head_rule = well.deepest_m + drawdown_m(site, cap, True) + lift + friction
    rated_torque = pump.rated_torque_nm
    if chosen_now and pump.family == HELICAL:
        working = RELIEF_RATIO * well.density_kg_m3 * GRAVITY_M_S2 * head_rule
        if working > pump.pressure_limit_pa:
            return stopped(NO_PRESSURE, working / 1e5, pump.pressure_limit_pa / 1e5, well)
        held = well.density_kg_m3 * GRAVITY_M_S2 * (well.deepest_m + lift)
        start = starting_torque_nm(pump.displacement_cm3, held, pump.fit_friction_nm, pump.breakaway_ratio)
        if start > pump.peak_torque_ratio * rated_torque:
            return stopped(NO_START_TORQUE, start, pump.peak_torque_ratio * rated_torque, well)

    _, _, torque = speed_power_torque(pump, drive, cap, head_rule, pump.slip_life_factor, 0.0, well.density_kg_m3)
    volts = drive.motor_voltage_v
    rated_current = motor_current_a(pump.motor_input_w, volts, POWER_FACTOR)
    length = rules.cable_to_drive_m + (0.0 if surface else intake)
    cable = -1
    ratio = 0.0
    loss = 0.0
    for c in range(cables.size):
        ohm_km = conductor_resistance_ohm_km(1000.0 * cables[c].r20_ohm_m, CABLE_C)
        current = rated_current * min(torque / rated_torque, 1.0)
        loss = cable_loss_share(current, length, ohm_km, volts, POWER_FACTOR)
        if loss <= rules.cable_loss or (site.stands and c == cables.size - 1):
            cable = c
            ratio = cable_ratio(rated_current, length, ohm_km, pump.motor_w, pump.copper_share)
            break
    if cable < 0:
        return stopped(NO_CABLE, loss, rules.cable_loss, well)
    # The cable's loss can bring the drive's limit a little lower: the cap is what is left with it.
    cap = min(cap, top_flow(
        pump, drive, static, site, rules, clip, ratio, well, risers, riser, deliveries, delivery, intake, cap
    ))  # fmt: skip
    availability = rules.availability * (PRIMING_AVAILABILITY if surface else 1.0)
    return Duty(FITS, 0.0, 0.0, cap, safe, limit, intake, riser, delivery, cable, ratio, clip, availability)


@kernel
def suction_flow(
    pump: Record, site: Record, well: Well, risers: Records, riser: int, intake_m: float, ceiling: float
) -> float:
    """Highest flow up to `ceiling` whose suction head suffices at the planning level, m3/h; 0 when none."""
    low, high = 0.0, ceiling
    for step in range(BISECTIONS):
        flow = ceiling if step == 0 else 0.5 * (low + high)
        lift = well.deepest_m + drawdown_m(site, flow, True)
        friction = friction_head_m(
            flow, intake_m, risers[riser].inside_mm, risers[riser].roughness_mm, well.viscosity_m2_s
        )
        available = npsh_available_m(site.elevation_m, site.water_c, lift, friction, SUCTION_MARGIN_M)
        required = npsh_required_m(flow, pump.best_flow_m3_h, pump.npshr_best_m)
        if available >= required:
            low = flow
            if step == 0:
                return flow
        else:
            high = flow
    return low


@kernel
def dynamic_heads_m(
    duty: Duty, site: Record, rules: Record, well: Well, risers: Records, deliveries: Records
) -> tuple[Floats, Floats]:
    """Flows of the knots (m3/h) and what they add to the static head (m): drawdown, friction, fittings."""
    flows = np.empty(KNOTS)
    heads = np.empty(KNOTS)
    for k in range(KNOTS):
        flows[k] = duty.cap_m3_h * k / (KNOTS - 1)
        heads[k] = drawdown_m(site, flows[k], False) + pipe_head_m(
            flows[k],
            site,
            rules,
            risers,
            duty.riser,
            deliveries,
            duty.delivery,
            duty.intake_m,
            well.viscosity_m2_s,
        )
    return flows, heads


@kernel
def flow_curve(
    pump: Record, drive: Record, duty: Duty, density: float, static_m: float, slip_factor: float,
    flows: Floats, heads: Floats, power_out: Floats, flow_out: Floats,
) -> tuple[int, float]:  # fmt: skip
    """Flow against power at a static head: fills `power_out`, `flow_out` and returns the number of knots and
    the power at which the pump starts. Knots run from the start of flow (a jump, where the lowest speed
    already lifts water) to the first limit met: speed, drive, runout or cap. No knot: no water at this head.
    """
    n = 0
    lowest = pump.min_speed_ratio
    speed_before = power_before = over_before = 0.0
    for k in range(KNOTS):
        speed, power, _ = speed_power_torque(
            pump, drive, flows[k], static_m + heads[k], slip_factor, duty.cable_ratio, density
        )
        # how far beyond each limit: ≤ 0 within
        over = max(speed - 1.0, power / duty.clip_w - 1.0)
        if pump.family != HELICAL:
            over = max(over, flows[k] / (pump.max_flow_ratio * pump.best_flow_m3_h) - speed)
        if over > 1e-9:
            if k > 0 and over_before < 0.0:
                part = over_before / (over_before - over)
                if speed_before + part * (speed - speed_before) >= lowest:
                    if n == 0:  # it starts and ends between the same two knots
                        start = (lowest - speed_before) / (speed - speed_before)
                        power_out[0] = power_before + start * (power - power_before)
                        flow_out[0] = flows[k - 1] + start * (flows[k] - flows[k - 1])
                        n = 1
                    power_out[n] = power_before + part * (power - power_before)
                    flow_out[n] = flows[k - 1] + part * (flows[k] - flows[k - 1])
                    n += 1
            break
        if speed >= lowest:
            if n == 0 and k > 0:
                start = (lowest - speed_before) / (speed - speed_before)
                power_out[0] = power_before + start * (power - power_before)
                flow_out[0] = flows[k - 1] + start * (flows[k] - flows[k - 1])
                n = 1
            power_out[n] = power
            flow_out[n] = flows[k]
            n += 1
        speed_before, power_before, over_before = speed, power, over
    if n == 0:
        return 0, 0.0
    start_w = power_out[0]
    if pump.family == HELICAL:
        torque = starting_torque_nm(
            pump.displacement_cm3,
            density * GRAVITY_M_S2 * static_m,
            pump.fit_friction_nm,
            pump.breakaway_ratio,
        )
        start_w = max(start_w, starting_power_w(
            torque, pump.motor_w, pump.rated_torque_nm, pump.copper_share, duty.cable_ratio,
            lowest * pump.rated_speed_rpm, drive.efficiency, drive.standby_w,
        ))  # fmt: skip
    return n, start_w
