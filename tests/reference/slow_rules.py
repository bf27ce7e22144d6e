"""The rules of the slow model: what limits a pump with its pipes and cable at a site, and whether it may be built.

The highest flow, the cap, is the least of what well, pump with its drive, pipes and suction allow; `fit` finds it by
`scipy.optimize.brentq` and tests the rules there.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq

from planner.catalogue.arrays import HDPE, HELICAL, SURFACE
from tests.reference.slow_model import GRAVITY_M_S2, velocity_m_s, water_density_kg_m3
from tests.reference.slow_set import WARM_C, Set, Site

RELIEF = 1.1  # relief setting ÷ working pressure, common practice
HANGING_MPA = 5.0  # of a plastic riser, common practice
HANGING_CABLE_KG_M = 0.7
SUCTION_MARGIN_M = 0.5
LEAST_NPSH_M = 2.0
CABLE_C, COPPER_PER_K, POWER_FACTOR = 50.0, 0.00393, 0.85
COOL_LOSS_W, COOL_M_S, SLEEVE_MM, CLEARANCE_MM = 250.0, 0.08, 12.0, 6.0


def lifted_most(site: Site) -> float:
    """Volume lifted day after day that limits and rules count on, m3/d."""
    return min(max(site.demand_m3_day), site.safe_volume_m3_day)


def highest_level_m(site: Site) -> float:
    return min(site.rest_m) + site.memory_d_m2 * lifted_most(site)


def planning_level_m(site: Site) -> float:
    """Deepest level before pumping that rules count on; memory goes with B."""
    ratio = site.b_rule_d_m2 / site.b_d_m2 if site.b_d_m2 > 0 else 1.0
    return site.rest_rule_m + site.memory_d_m2 * ratio * lifted_most(site)


def safe_rate_m3_h(site: Site) -> float:
    """Least of the tested share and of the flow at the level limit."""
    room = site.level_limit_m - planning_level_m(site)
    if room <= 0 or site.share_rate_m3_h <= 0:
        return 0.0
    q = site.share_rate_m3_h

    def below(flow: float) -> float:
        return site.b_rule_d_m2 * 24 * flow + site.c_d2_m5 * (24 * flow) ** 2 - room

    return q if below(q) <= 0 else float(brentq(below, 0, q, xtol=1e-12))


def largest(excess: Callable[[float], float], most: float) -> float:
    """The largest flow up to `most` where excess is not above 0; -1 where there is none."""
    if excess(most) <= 0:
        return most
    return -1.0 if excess(0.0) > 0 else float(brentq(excess, 0.0, most, xtol=1e-11))


def intake_depth_m(one: Set, flow: float) -> float:
    """Level at a flow by planning values, and the submergence, in whole metres."""
    water = 1.0 if one.family == SURFACE else one.numbers.submergence_m
    level = planning_level_m(one.site) + float(one.drawdown_m(flow, True)) + water
    return min(max(math.ceil(level - 1e-9), 1.0), one.site.deepest_intake_m)


def replaced(one: Set, **changes: float) -> Set:
    return Set(**(one.__dict__ | changes))


def fit(one: Set) -> tuple[Set | None, str]:
    """The set with intake, cable and cap settled, or None with the rule that it fails."""
    site, numbers, pump = one.site, one.numbers, one.pump
    safe = safe_rate_m3_h(site)
    if safe <= 0:
        return None, "no_safe_rate"
    if site.casing_mm < pump["casing_min_mm"]:
        return None, "no_casing"
    if one.family != SURFACE and site.water_c > min(numbers.water_temp_max_c, pump["water_temp_max_c"]):
        return None, "water_too_warm"
    if site.sand_mg_l > pump["sand_max_mg_l"]:
        return None, "sand_above_limit"
    slip, highest = pump["slip_life_factor"], highest_level_m(site)
    free = largest(lambda q: _free_excess(one, q, highest, slip), safe)
    if free <= 0:
        return None, "no_head"
    fastest = min(
        numbers.velocity_riser_m_s / velocity_m_s(1.0, one.riser["inside_mm"]),
        numbers.velocity_delivery_m_s / velocity_m_s(1.0, one.delivery["inside_mm"]),
    )
    one = replaced(one, intake_m=intake_depth_m(one, free))
    cap = largest(lambda q: float(one.excess(q, highest, slip)), min(safe, fastest))
    if cap > 0 and one.family == SURFACE:
        cap = largest(lambda q: -_suction_spare_m(one, q), cap)
        if cap <= 0:
            return None, "no_suction"
    if cap <= 0:
        return None, "no_head"
    one = replaced(one, intake_m=intake_depth_m(one, cap))
    share, ratio = _cable(one, cap)
    if share > numbers.cable_loss:
        return None, "no_cable"
    one = replaced(one, cable_ratio=ratio)
    one = replaced(one, cap_m3_h=largest(lambda q: float(one.excess(q, highest, slip)), cap))
    if one.cap_m3_h <= 0:
        return None, "no_head"
    return _tested(one)


def _tested(one: Set) -> tuple[Set | None, str]:
    """Rules at the cap."""
    site, numbers, pump, cap = one.site, one.numbers, one.pump, one.cap_m3_h
    easy = one.head_m(highest_level_m(site), cap)
    if one.speed(cap, easy, pump["slip_life_factor"]) < pump["min_speed_ratio"]:
        return None, "above_safe_rate"
    lift, head = site.lift_m + numbers.residual_m, one.head_m(planning_level_m(site), cap, rule=True)
    if RELIEF * one.pascal_per_m * head > one.riser["pressure_pa"]:
        return None, "no_riser"
    if RELIEF * one.pascal_per_m * (lift + one.delivery_m(cap)) > one.delivery["pressure_pa"]:
        return None, "no_delivery_pipe"
    hangs = one.family != SURFACE and one.riser["material"] == HDPE
    if hangs and (one.intake_m > numbers.hdpe_max_m or _hanging_mpa(one) > HANGING_MPA):
        return None, "no_riser"
    if one.family == HELICAL:
        if RELIEF * one.pascal_per_m * head > pump["pressure_limit_pa"]:
            return None, "no_pressure"
        held = one.pascal_per_m * (planning_level_m(site) + lift)
        start = pump["displacement_cm3"] * 1e-6 * held / (2 * math.pi)
        start += pump["breakaway_ratio"] * pump["fit_friction_nm"]
        if start > pump["peak_torque_ratio"] * pump["rated_torque_nm"]:
            return None, "no_start_torque"
    return one, "pump_fits"


def _free_excess(one: Set, flow: float, level: float, slip: float) -> float:
    """As `Set.excess`, without friction and motor cable."""
    head = level + float(one.drawdown_m(flow)) + one.site.lift_m + one.numbers.residual_m
    speed = float(one.speed(flow, head, slip))
    worst = max(speed, float(one.electrical_w(flow, head, speed)) / one.clip_w)
    if one.family != HELICAL:
        worst = max(worst, flow / (one.pump["best_flow_m3_h"] * speed) / one.pump["max_flow_ratio"])
    return worst - 1


def _suction_spare_m(one: Set, flow: float) -> float:
    """Suction head available less required."""
    site = one.site
    air_pa = 101325 * (1 - 2.25577e-5 * site.elevation_m) ** 5.25588  # ISO 2533
    vapour_pa = 610.94 * math.exp(17.625 * site.water_c / (site.water_c + 243.04))  # Alduchov & Eskridge 1996
    level = planning_level_m(site) + float(one.drawdown_m(flow, True))
    available = (air_pa - vapour_pa) / one.pascal_per_m - level - float(one.riser_m(flow)) - SUCTION_MARGIN_M
    x = flow / one.pump["best_flow_m3_h"]
    return float(available) - max(LEAST_NPSH_M, one.pump["npshr_best_m"] * x**2)


def _cable(one: Set, cap: float) -> tuple[float, float]:
    """Loss in the motor cable at the cap's torque, share, and its resistance ÷ the winding's."""
    pump, volts = one.pump, one.drive["motor_voltage_v"]
    head = one.head_m(planning_level_m(one.site), cap, rule=True)
    speed = one.speed(cap, head, pump["slip_life_factor"])
    torque = float(one.shaft_w(cap, head, speed) / (speed * one.rated_rad_s))
    length = one.numbers.cable_to_drive_m + (0.0 if one.family == SURFACE else one.intake_m)
    ohm = one.cable["r20_ohm_m"] * (1 + COPPER_PER_K * (CABLE_C - 20)) * length
    rated = pump["motor_input_w"] / (math.sqrt(3) * volts * POWER_FACTOR)
    part = min(torque / pump["rated_torque_nm"], 1.0)
    share = math.sqrt(3) * rated * part * ohm / (volts * POWER_FACTOR)
    return share, 3 * rated**2 * ohm / (pump["copper_share"] * pump["motor_w"])


def _hanging_mpa(one: Set) -> float:
    inside, outside = (math.pi / 4 * (one.riser[name] / 1000) ** 2 for name in ("inside_mm", "outside_mm"))
    water = water_density_kg_m3(one.site.water_c) * one.intake_m * inside
    mass = water + one.pump["mass_kg"] + HANGING_CABLE_KG_M * one.intake_m
    return GRAVITY_M_S2 * mass / (outside - inside) / 1e6


def sleeve_of(one: Set, volume: float, hours: float) -> int:
    """0 where the motor is cool without a sleeve, 1 with one, -1 where neither does."""
    pump = one.pump
    if one.family == SURFACE:
        return 0
    if one.site.water_c <= WARM_C and pump["motor_input_w"] - pump["motor_w"] <= COOL_LOSS_W:
        return 0
    if hours <= 0:
        return -1

    def velocity(around_mm: float) -> float:
        ring = math.pi / 4 * (around_mm**2 - pump["outside_mm"] ** 2) / 1e6
        return volume / hours / 3600 / ring

    if velocity(one.site.casing_mm) >= COOL_M_S:
        return 0
    around = pump["outside_mm"] + SLEEVE_MM
    return 1 if around + CLEARANCE_MM <= one.site.casing_mm and velocity(around) >= COOL_M_S else -1
