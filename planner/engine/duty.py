"""One pump in one well, with its pipes and cable: the flow it is capped at, and every rule that stops it.

The cap is read from the pump's curve (`engine.curve`) at the highest level of the year.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from planner.catalogue.arrays import HDPE, HELICAL, SURFACE
from planner.engine.curve import KNOTS, flow_curve, speed_power_torque
from planner.engine.site import Record
from planner.engine.well import Well, drawdown_m, intake_depth_m
from planner.physics.cables import cable_loss_share, cable_ratio, conductor_resistance_ohm_km, motor_current_a
from planner.physics.equation import kernel
from planner.physics.pipes import friction_head_m, hanging_stress_mpa, minor_head_m
from planner.physics.pumps import npsh_available_m, npsh_required_m, starting_torque_nm
from planner.physics.water import GRAVITY_M_S2

BISECTIONS = 40
TINY = 1e-9
# Common practice, no published value: relief valve at 1.1 × working pressure; motor cable at 50 °C; four-core
# cable of 0.7 kg/m on a hanging pipe of at most 5 MPa; power factor of small motors 0.85.
RELIEF_RATIO = 1.1
CABLE_C = 50.0
CABLE_KG_M = 0.7
HANGING_STRESS_MPA = 5.0
POWER_FACTOR = 0.85
DERATE_FROM_C = 30.0
DERATE_PER_K = 0.02
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
    "short_of_demand",
)
(
    FITS, NO_SAFE_RATE, NO_CASING, WATER_TOO_WARM, SAND, NO_HEAD, NO_DELIVERY, NO_RISER, NO_SUCTION,
    ABOVE_SAFE_RATE, NO_PRESSURE, NO_START_TORQUE, NO_CABLE, NO_VOLTAGE_WINDOW, NO_COOLING, SHORT_OF_DEMAND,
) = range(len(RULES))  # fmt: skip


class Prospect(NamedTuple):
    """What a pump can do in a well whatever its pipes and cable, or the rule that stopped it with value and limit."""

    rule: int  # FITS or the rule that failed
    value: float
    limit: float
    top_m3_h: float  # highest flow without friction, cable and runout
    safe_m3_h: float
    safe_limit: int  # index of LIMITS
    intake_m: float  # for the highest flow; a smaller one may need less
    clip_w: float  # power that the drive takes at most
    availability: float


class Duty(NamedTuple):
    """A pump fitted to a well with its pipes and cable, or the rule that stopped it with value and limit."""

    rule: int
    value: float
    limit: float
    cap_m3_h: float
    safe_m3_h: float
    safe_limit: int
    intake_m: float
    cable_ratio: float
    clip_w: float
    availability: float
    runout_m3_h: float  # most flow at rated speed, in proportion to speed; infinite for a helical rotor
    lowest: float  # speed below which it does not run, over rated
    floor: float  # speed that slower points of its curve are lifted to: none, or the lowest (`parts.loose_duty`)


class Rig(NamedTuple):
    """A pump in a well, with the room its kernels work in."""

    pump: Record
    drive: Record
    site: Record
    rules: Record
    well: Well
    desk: Record


@kernel
def riser_head_m(flow: float, riser: Record, intake_m: float, rules: Record, well: Well) -> float:
    """Friction of the riser and its fittings, m."""
    friction = friction_head_m(flow, intake_m, riser.inside_mm, riser.roughness_mm, well.viscosity_m2_s)
    return friction + minor_head_m(flow, riser.inside_mm, rules.minor_k)


@kernel
def delivery_head_m(flow: float, delivery: Record, site: Record, well: Well) -> float:
    """Friction of the delivery pipe, m."""
    return friction_head_m(flow, site.pipe_length_m, delivery.inside_mm, delivery.roughness_mm, well.viscosity_m2_s)


@kernel
def full_flow_m3_h(inside_mm: float, velocity_m_s: float) -> float:
    """Flow that a pipe carries at a velocity."""
    return velocity_m_s * 3600.0 * math.pi / 4.0 * (inside_mm / 1000.0) ** 2


@kernel
def refused(rule: int, value: float, limit: float, well: Well) -> Prospect:
    """A pump that a rule refuses before any pipe is chosen."""
    return Prospect(rule, value, limit, 0.0, well.safe_m3_h, well.limit, 0.0, 0.0, 0.0)


@kernel
def prospect_of(pump: Record, drive: Record, site: Record, rules: Record, well: Well, desk: Record) -> Prospect:
    """What a pump can do in a well whatever its pipes, or the first rule that stops it; the knots go into the desk.

    For a set that stands already (`site.stands`) the rules of choosing are not tested.
    """
    surface = pump.family == SURFACE
    chosen_now = not site.stands
    safe, safe_limit = well.safe_m3_h, well.limit
    if safe <= 0.0:
        return refused(NO_SAFE_RATE, safe, 0.0, well)
    if chosen_now and site.casing_mm < pump.casing_min_mm:
        return refused(NO_CASING, site.casing_mm, pump.casing_min_mm, well)
    warmest = min(rules.water_temp_max_c, pump.water_temp_max_c)
    if chosen_now and not surface and site.water_c > warmest:
        return refused(WATER_TOO_WARM, site.water_c, warmest, well)
    if chosen_now and site.sand_mg_l > pump.sand_max_mg_l:
        return refused(SAND, site.sand_mg_l, pump.sand_max_mg_l, well)
    if surface:
        suction = suction_flow(pump, site, well, safe, 0.0, 1.0, 0.0)
        if suction <= 0.0:
            available = npsh_available_m(site.elevation_m, site.water_c, 0.0, 0.0, SUCTION_MARGIN_M)
            required = npsh_required_m(0.0, pump.best_flow_m3_h, pump.npshr_best_m)
            return refused(NO_SUCTION, well.deepest_m, available - required, well)
        if suction < safe:
            safe, safe_limit = suction, 3

    derate = 1.0 if surface else 1.0 - DERATE_PER_K * max(0.0, site.water_c - DERATE_FROM_C)
    clip = pump.drive_rating_w * derate
    static = well.highest_m + site.lift_m + rules.residual_m
    # No pump gives more at its full speed, however much the well may give.
    most = pump.max_flow_ratio * pump.best_flow_m3_h
    if pump.family == HELICAL:
        most = 60e-6 * pump.displacement_cm3 * pump.rated_speed_rpm
    for k in range(KNOTS):
        desk.flow[k] = min(safe, most) * k / (KNOTS - 1)
        desk.head[k] = drawdown_m(site, desk.flow[k], False)
    top = highest_flow(
        pump, drive, clip, 0.0, well.density_kg_m3, static, safe, np.inf, pump.min_speed_ratio, loose_floor(pump), desk
    )
    if top == 0.0:
        head = well.deepest_m + site.lift_m + rules.residual_m
        most = pump.pressure_limit_pa / (well.density_kg_m3 * GRAVITY_M_S2)
        if pump.family != HELICAL:
            most = pump.head_0_m
        return refused(NO_HEAD, head, most, well)
    if top < 0.0:  # at its lowest speed it already passes the safe rate
        return refused(ABOVE_SAFE_RATE, pump.min_speed_ratio, -top, well)
    if chosen_now and pump.family == HELICAL:
        held = well.density_kg_m3 * GRAVITY_M_S2 * (well.deepest_m + site.lift_m + rules.residual_m)
        if RELIEF_RATIO * held > pump.pressure_limit_pa:  # without any flow
            return refused(NO_PRESSURE, RELIEF_RATIO * held / 1e5, pump.pressure_limit_pa / 1e5, well)
        start = starting_torque_nm(pump.displacement_cm3, held, pump.fit_friction_nm, pump.breakaway_ratio)
        if start > pump.peak_torque_ratio * pump.rated_torque_nm:
            return refused(NO_START_TORQUE, start, pump.peak_torque_ratio * pump.rated_torque_nm, well)
    for k in range(KNOTS):
        desk.flow[k] = top * k / (KNOTS - 1)
        desk.head[k] = drawdown_m(site, desk.flow[k], False)
    intake = intake_depth_m(site, well, top, surface)
    availability = rules.availability * (PRIMING_AVAILABILITY if surface else 1.0)
    return Prospect(FITS, 0.0, 0.0, top, safe, safe_limit, intake, clip, availability)


@kernel
def highest_flow(
    pump: Record, drive: Record, clip_w: float, ratio: float, density: float, static_m: float, cap: float,
    runout_m3_h: float, lowest: float, floor: float, desk: Record,
) -> float:  # fmt: skip
    """Flow at the last knot of the desk's heads; 0 if nothing flows; −speed, the highest that keeps to the cap and to
    runout, if that is below its lowest."""
    knots, _ = flow_curve(
        pump, drive, clip_w, ratio, density, static_m, pump.slip_life_factor, cap, runout_m3_h, lowest, floor,
        desk, desk.try_power, desk.try_flow,
    )  # fmt: skip
    if knots > 0:
        return float(desk.try_flow[knots - 1])
    if floor > 0.0:
        return 0.0
    speed, power, _ = speed_power_torque(pump, drive, 0.0, static_m, pump.slip_life_factor, ratio, density)
    allowed = speed
    if speed > 1.0 or power > clip_w:
        return 0.0
    head = static_m
    for k in range(1, KNOTS):
        if desk.flow[k] >= cap:
            part = (cap - desk.flow[k - 1]) / (desk.flow[k] - desk.flow[k - 1])
            head = static_m + desk.head[k - 1] + part * (desk.head[k] - desk.head[k - 1])
            break
    speed, _, _ = speed_power_torque(pump, drive, cap, head, pump.slip_life_factor, ratio, density)
    for k in range(KNOTS):
        if desk.flow[k] / runout_m3_h > desk.speed[k]:
            break
        allowed = desk.speed[k]
    speed = min(speed, allowed)
    return -max(speed, TINY) if speed < lowest else 0.0


@kernel
def riser_friction(riser: Record, rules: Record, well: Well, desk: Record) -> None:
    """Friction at the knots into the desk: of a metre of riser, and of its fittings."""
    for k in range(KNOTS):
        flow = desk.flow[k]
        desk.riser_m[k] = friction_head_m(flow, 1.0, riser.inside_mm, riser.roughness_mm, well.viscosity_m2_s)
        desk.fitting_m[k] = minor_head_m(flow, riser.inside_mm, rules.minor_k)


@kernel
def delivery_friction(delivery: Record, site: Record, well: Well, desk: Record) -> None:
    """Friction of the delivery pipe at the knots into the desk."""
    for k in range(KNOTS):
        desk.delivery_m[k] = delivery_head_m(desk.flow[k], delivery, site, well)


@kernel
def lay_heads(site: Record, intake_m: float, desk: Record) -> None:
    """What each knot's flow adds to the static head: drawdown, friction with an intake at that depth, fittings."""
    for k in range(KNOTS):
        head = drawdown_m(site, desk.flow[k], False)
        desk.head[k] = head + intake_m * desk.riser_m[k] + desk.fitting_m[k] + desk.delivery_m[k]


@kernel
def stopped(rule: int, value: float, limit: float, prospect: Prospect) -> Duty:
    """A duty that a rule refuses."""
    return Duty(rule, value, limit, 0.0, prospect.safe_m3_h, prospect.safe_limit, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@kernel
def riser_can_hang(pump: Record, riser: Record, intake_m: float, rules: Record, density: float) -> bool:
    """Whether a riser carries pump, cable and water: plastic only so deep and so stressed."""
    if riser.material != HDPE:
        return True
    hanging = pump.mass_kg + CABLE_KG_M * intake_m
    stress = hanging_stress_mpa(intake_m, riser.inside_mm, riser.outside_mm, hanging, density)
    return intake_m <= rules.hdpe_max_m and stress <= HANGING_STRESS_MPA


@kernel
def cable_ratio_of(pump: Record, drive: Record, cable: Record, length_m: float) -> float:
    """Resistance of a cable over that of the motor's winding."""
    ohm_km = conductor_resistance_ohm_km(1000.0 * cable.r20_ohm_m, CABLE_C)
    current = motor_current_a(pump.motor_input_w, drive.motor_voltage_v, POWER_FACTOR)
    return cable_ratio(current, length_m, ohm_km, pump.motor_w, pump.copper_share)


@kernel
def cable_loss(pump: Record, drive: Record, cable: Record, length_m: float, torque_nm: float) -> float:
    """Share of the motor's power that is lost in a cable at a torque, and of the voltage."""
    ohm_km = conductor_resistance_ohm_km(1000.0 * cable.r20_ohm_m, CABLE_C)
    current = motor_current_a(pump.motor_input_w, drive.motor_voltage_v, POWER_FACTOR)
    current *= min(torque_nm / pump.rated_torque_nm, 1.0)
    return cable_loss_share(current, length_m, ohm_km, drive.motor_voltage_v, POWER_FACTOR)


@kernel
def fit_set(
    pump: Record, drive: Record, prospect: Prospect, riser: Record, delivery: Record, cable: Record, site: Record,
    rules: Record, well: Well, desk: Record,
) -> Duty:  # fmt: skip
    """Fit a pump with its pipes and cable to a well: cap and intake, or the first rule that stops it.

    The desk holds the pump's knots (`prospect_of`) and the pipes' friction at them (`riser_friction`,
    `delivery_friction`); it is left with the heads of the fitted set. The cap keeps the water in both pipes below the
    plan's velocities.
    """
    surface = pump.family == SURFACE
    chosen_now = not site.stands
    density, lift = well.density_kg_m3, site.lift_m + rules.residual_m
    ceiling = prospect.top_m3_h
    if chosen_now:
        ceiling = min(ceiling, full_flow_m3_h(riser.inside_mm, rules.velocity_riser_m_s))
        ceiling = min(ceiling, full_flow_m3_h(delivery.inside_mm, rules.velocity_delivery_m_s))
    if surface:
        ceiling = suction_flow(
            pump, site, well, ceiling, prospect.intake_m, riser.inside_mm, riser.roughness_mm
        )  # fmt: skip
    ratio = cable_ratio_of(pump, drive, cable, rules.cable_to_drive_m + (0.0 if surface else prospect.intake_m))
    lay_heads(site, prospect.intake_m, desk)
    runout, lowest = full_speed_m3_h(pump), pump.min_speed_ratio
    cap = highest_flow(
        pump, drive, prospect.clip_w, ratio, density, well.highest_m + lift, ceiling, runout, lowest, 0.0, desk
    )  # fmt: skip
    if cap < 0.0:
        return stopped(ABOVE_SAFE_RATE, pump.min_speed_ratio, -cap, prospect)
    if cap == 0.0:
        return stopped(NO_HEAD, well.deepest_m + lift, well.deepest_m, prospect)
    intake = intake_depth_m(site, well, cap, surface)
    length = rules.cable_to_drive_m + (0.0 if surface else intake)
    ratio = cable_ratio_of(pump, drive, cable, length)
    lay_heads(site, intake, desk)

    friction_d = delivery_head_m(cap, delivery, site, well)
    head_rule = well.deepest_m + drawdown_m(site, cap, True) + lift + friction_d
    head_rule += riser_head_m(cap, riser, intake, rules, well)
    pressure = density * GRAVITY_M_S2
    working = RELIEF_RATIO * pressure * head_rule
    if chosen_now and pump.family == HELICAL and working > pump.pressure_limit_pa:
        return stopped(NO_PRESSURE, working / 1e5, pump.pressure_limit_pa / 1e5, prospect)
    if chosen_now and delivery.pressure_pa < RELIEF_RATIO * pressure * (lift + friction_d):
        most = delivery.pressure_pa / (RELIEF_RATIO * pressure)
        return stopped(NO_DELIVERY, lift + friction_d, most, prospect)
    if chosen_now and riser.pressure_pa < RELIEF_RATIO * pressure * head_rule:
        return stopped(NO_RISER, RELIEF_RATIO * head_rule, riser.pressure_pa / pressure, prospect)
    if chosen_now and not surface and not riser_can_hang(pump, riser, intake, rules, density):
        return stopped(NO_RISER, RELIEF_RATIO * head_rule, riser.pressure_pa / pressure, prospect)

    _, _, torque = speed_power_torque(pump, drive, cap, head_rule, pump.slip_life_factor, 0.0, density)
    loss = cable_loss(pump, drive, cable, length, torque)
    if chosen_now and loss > rules.cable_loss:
        return stopped(NO_CABLE, loss, rules.cable_loss, prospect)
    return Duty(
        FITS, 0.0, 0.0, cap, prospect.safe_m3_h, prospect.safe_limit, intake, ratio, prospect.clip_w,
        prospect.availability, runout, lowest, 0.0,
    )  # fmt: skip


@kernel
def loose_floor(pump: Record) -> float:
    """Lowest speed of a centrifugal pump, which it comes to at less flow with friction than without; a helical rotor's
    flow at its lowest speed hardly hangs on the head."""
    return 0.0 if pump.family == HELICAL else pump.min_speed_ratio


@kernel
def full_speed_m3_h(pump: Record) -> float:
    """Most flow of a pump at rated speed, runout: infinite for a helical rotor, whose speed alone sets it."""
    return np.inf if pump.family == HELICAL else pump.max_flow_ratio * pump.best_flow_m3_h


@kernel
def suction_flow(
    pump: Record, site: Record, well: Well, ceiling: float, suction_pipe_m: float, bore_mm: float, roughness_mm: float
) -> float:  # fmt: skip
    """Highest flow up to `ceiling` whose suction head suffices at the planning level, m3/h; 0 when none.

    suction_pipe_m  length of the suction pipe; 0 leaves its friction out
    """
    low, high = 0.0, ceiling
    for step in range(BISECTIONS):
        flow = ceiling if step == 0 else 0.5 * (low + high)
        lift = well.deepest_m + drawdown_m(site, flow, True)
        friction = 0.0
        if suction_pipe_m > 0.0:
            friction = friction_head_m(flow, suction_pipe_m, bore_mm, roughness_mm, well.viscosity_m2_s)
        available = npsh_available_m(site.elevation_m, site.water_c, lift, friction, SUCTION_MARGIN_M)
        if available >= npsh_required_m(flow, pump.best_flow_m3_h, pump.npshr_best_m):
            low = flow
            if step == 0:
                return flow
        else:
            high = flow
    return low
