"""The cap of a pump with its pipes and cable, and the rules that are tested at it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from planner.catalogue.arrays import HDPE, HELICAL, SURFACE
from planner.commands.why.opened import Chosen, Sized
from planner.commands.why.sheet import Sheet, agree, n
from planner.engine import duty as engine
from planner.engine import well as well_physics
from planner.engine.curve import DESK, speed_power_torque
from planner.engine.room import blank
from planner.engine.site import Record
from planner.physics.cables import cable_loss_share, conductor_resistance_ohm_km, motor_current_a
from planner.physics.pipes import friction_head_m, hanging_stress_mpa
from planner.physics.pumps import npsh_available_m, npsh_required_m
from planner.physics.water import GRAVITY_M_S2, atmospheric_pressure_kpa, vapour_pressure_kpa

SPEED = "above_safe_rate: speed at the cap, of rated"


class Knot(NamedTuple):
    """A point of a curve: flow (m3/h), head (m), speed over rated, power (W), and flow over the most of its speed."""

    flow: float
    head: float
    speed: float
    power: float
    runout: float


Limit = tuple[str, float, Callable[[Knot], float]]  # its name, how far it lets, of what


def pipe_limits_m3_h(sized: Sized, chosen: Chosen) -> tuple[float, float]:
    """Flows at the highest velocities of riser and delivery pipe."""
    return (
        float(engine.full_flow_m3_h(chosen.riser["inside_mm"], sized.rules.velocity_riser_m_s)),
        float(engine.full_flow_m3_h(chosen.delivery["inside_mm"], sized.rules.velocity_delivery_m_s)),
    )


def cap(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
    """With the chosen riser, delivery pipe and cable: ceiling, cap, and the rules at the cap."""
    sheet.text(
        "With the riser, the delivery pipe and the cable that the search chose: the drive is set so that their "
        "velocities are never passed."
    )
    ceiling = _ceiling(sheet, sized, chosen)
    if chosen.pump["family"] == SURFACE:
        ceiling = _suction_ceiling(sheet, sized, chosen, ceiling)
    _curve(sheet, sized, chosen, ceiling)
    if chosen.pump["family"] == SURFACE:
        _suction(sheet, sized, chosen)
    head = _pressures(sheet, sized, chosen)
    if chosen.pump["family"] != SURFACE:
        _hanging(sheet, sized, chosen)
    _cable(sheet, sized, chosen, head)


def _ceiling(sheet: Sheet, sized: Sized, chosen: Chosen) -> float:
    top, (riser, delivery) = chosen.done.prospect.top_m3_h, pipe_limits_m3_h(sized, chosen)
    for name, pipe, key, flow in (
        ("riser", chosen.riser, "riser", riser),
        ("delivery pipe", chosen.delivery, "delivery", delivery),
    ):
        most, bore = float(sized.rules[f"velocity_{key}_m_s"]), float(pipe["inside_mm"])
        sheet.result(
            f"flow at the highest velocity in the {name}",
            "velocity × 3600 × bore area",
            f"{n(most)} × 3600 × pi / 4 × ({n(bore)} / 1000)^2",
            flow,
            "m3/h",
            f"pipes.velocity_max_{key}_m_s; catalogue",
        )
    return sheet.result(
        "ceiling",
        "least of the highest flow without friction and these two",
        f"min({n(top)}, {n(riser)}, {n(delivery)})",
        min(top, riser, delivery),
        "m3/h",
    )


def _suction_ceiling(sheet: Sheet, sized: Sized, chosen: Chosen, ceiling: float) -> float:
    first, riser = chosen.done.prospect.intake_m, chosen.riser
    found = float(
        engine.suction_flow(
            chosen.pump, sized.site, sized.well, ceiling, first, riser["inside_mm"], riser["roughness_mm"]
        )
    )
    sheet.value("ceiling by suction, with friction", f"{n(found)} m3/h", "by trial: least of the ceiling and this")
    return found


def _curve(sheet: Sheet, sized: Sized, chosen: Chosen, ceiling: float) -> None:
    """The cap: where the pump's curve at the highest level of the year meets its first limit."""
    knots, clip = highest_knots(sized, chosen), chosen.done.prospect.clip_w
    sheet.text(
        "The curve at the highest level of the year, "
        f"{n(sized.well.highest_m)} m before pumping: {len(knots)} flows up to the highest without friction; at each, "
        "head with the drawdown, pipes and fittings of that flow, then speed (of rated) and power, worked out as under "
        "the operating point. The cap lies where the first limit is met, on the straight line between two of them:"
    )
    helical = chosen.pump["family"] == HELICAL
    rows = []
    for i, one in enumerate(knots, start=1):
        runout = () if helical else (n(one.runout),)
        rows.append((str(i), n(one.flow), n(one.head), n(one.speed), n(one.power), *runout))
    sheet.table(("flow", "q m3/h", "head m", "speed", "power W", *(() if helical else ("of most flow",))), rows)
    limits: list[Limit] = [
        ("speed 1", 1.0, lambda k: k.speed),
        ("power", clip, lambda k: k.power),
        ("ceiling", ceiling, lambda k: k.flow),
    ]
    if not helical:
        limits.append(("most flow at its speed", 0.0, lambda k: k.runout - k.speed))
    beyond = [i for i, k in enumerate(knots) if any(of(k) > most + 1e-9 * max(most, 1.0) for _, most, of in limits)]
    after = knots[beyond[0]] if beyond else None
    before = knots[beyond[0] - 1] if beyond else knots[-1]
    if after is not None:
        _between(sheet, chosen, before, after, limits)
        return
    found = chosen.done.duty.cap_m3_h
    agree("cap", before.flow, found)
    sheet.value("cap", f"{n(found)} m3/h", "the last of these flows: no limit is met before it")
    lowest = float(chosen.pump["min_speed_ratio"])
    sheet.rule(SPEED, n(before.speed), before.speed, ">=", lowest, "", "catalogue lowest speed")


def _between(sheet: Sheet, chosen: Chosen, before: Knot, after: Knot, limits: list[Limit]) -> None:
    """The cap on the straight line from a point within all limits to one beyond some, and the speed there."""
    found = chosen.done.duty.cap_m3_h
    parts, names, smallest = [], [], 1.0
    for name, most, of in limits:
        if of(after) <= most:
            continue
        parts.append(f"({n(most, 9)} - ({n(of(before), 9)})) / ({n(of(after), 9)} - ({n(of(before), 9)}))")
        smallest = min(smallest, (most - of(before)) / (of(after) - of(before)))
        names.append(name)
    least = parts[0] if len(parts) == 1 else f"min({', '.join(parts)})"
    flow = before.flow + max(smallest, 0.0) * (after.flow - before.flow)
    agree("cap", flow, found)
    sheet.result(
        "cap",
        "q before + part × (q after - q before), part of the way to the first limit",
        f"{n(before.flow)} + max({least}, 0) × ({n(after.flow)} - {n(before.flow)})",
        found,
        "m3/h",
        f"passed at the flow after: {', '.join(names)}",
    )
    part = (found - before.flow) / (after.flow - before.flow)
    sheet.rule(
        SPEED,
        f"{n(before.speed)} + ({n(found, 9)} - {n(before.flow, 9)}) / ({n(after.flow, 9)} - {n(before.flow, 9)}) × "
        f"({n(after.speed)} - {n(before.speed)})",
        before.speed + part * (after.speed - before.speed),
        ">=",
        float(chosen.pump["min_speed_ratio"]),
        "",
        "catalogue lowest speed",
    )


def highest_knots(sized: Sized, chosen: Chosen) -> list[Knot]:
    """The curve that the cap is read from: highest level of the year, intake for the highest flow without friction."""
    site, rules, well, pump = sized.site, sized.rules, sized.well, chosen.pump
    first, surface = chosen.done.prospect.intake_m, pump["family"] == SURFACE
    desk: Record = blank(DESK)
    desk.flow[:] = chosen.bare.flow
    engine.riser_friction(chosen.riser, rules, well, desk)
    engine.delivery_friction(chosen.delivery, site, well, desk)
    engine.lay_heads(site, first, desk)
    length = rules.cable_to_drive_m + (0.0 if surface else first)
    ratio = engine.cable_ratio_of(pump, chosen.drive, chosen.cable, length)
    static = well.highest_m + site.lift_m + rules.residual_m
    knots = []
    for flow, more in zip(map(float, desk.flow), map(float, desk.head), strict=True):
        speed, power, _ = speed_power_torque(
            pump, chosen.drive, flow, static + more, pump["slip_life_factor"], ratio, well.density_kg_m3
        )
        most = 1.0
        if pump["family"] != HELICAL:
            most = float(pump["max_flow_ratio"] * pump["best_flow_m3_h"])
        knots.append(Knot(flow, static + more, float(speed), float(power), flow / most))
    return knots


def _suction(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
    site, well, pump, duty = sized.site, sized.well, chosen.pump, chosen.done.duty
    cap_m3_h, first = duty.cap_m3_h, chosen.done.prospect.intake_m
    level = well.deepest_m + well_physics.drawdown_m(site, cap_m3_h, True)
    friction = float(
        friction_head_m(cap_m3_h, first, chosen.riser["inside_mm"], chosen.riser["roughness_mm"], well.viscosity_m2_s)
    )
    available = float(npsh_available_m(site.elevation_m, site.water_c, level, friction, engine.SUCTION_MARGIN_M))
    required = float(npsh_required_m(cap_m3_h, pump["best_flow_m3_h"], pump["npshr_best_m"]))
    air, vapour = float(atmospheric_pressure_kpa(site.elevation_m)), float(vapour_pressure_kpa(site.water_c))
    sheet.result(
        "suction head required",
        "at best flow × (q / q_b)^2, at least 2 m",
        f"max(2, {n(pump['npshr_best_m'])} × ({n(cap_m3_h)} / {n(pump['best_flow_m3_h'])})^2)",
        required,
        "m",
        "affinity law; catalogue",
    )
    sheet.rule(
        "no_suction: suction head available, (air - vapour) / (density g) - level - friction - margin",
        f"1000 × ({n(air)} - {n(vapour)}) / ({n(well.density_kg_m3)} × {n(GRAVITY_M_S2)}) - {n(level)} - "
        f"{n(friction)} - {n(engine.SUCTION_MARGIN_M)}",
        available,
        ">=",
        required,
        "m",
        f"elevation {n(site.elevation_m)} m, ISO 2533; Wagner & Pruss 1993",
    )


def _pressures(sheet: Sheet, sized: Sized, chosen: Chosen) -> float:
    """Pressure in pump, delivery pipe and riser at the planning level and the cap; returns the head there."""
    site, rules, well, duty = sized.site, sized.rules, sized.well, chosen.done.duty
    flow, lift, density = duty.cap_m3_h, float(site.lift_m + rules.residual_m), well.density_kg_m3
    level = float(well.deepest_m + well_physics.drawdown_m(site, flow, True))
    in_riser = float(engine.riser_head_m(flow, chosen.riser, duty.intake_m, rules, well))
    in_delivery = float(engine.delivery_head_m(flow, chosen.delivery, site, well))
    head = sheet.result(
        "head at the planning level and cap",
        "level + lift and residual + friction of riser with fittings + of delivery pipe",
        f"{n(level)} + {n(lift)} + {n(in_riser)} + {n(in_delivery)}",
        level + lift + in_riser + in_delivery,
        "m",
    )
    tested = [
        ("no_delivery_pipe", "the delivery pipe", lift + in_delivery, chosen.delivery["pressure_pa"], "lift, friction"),
        ("no_riser", "the riser", head, chosen.riser["pressure_pa"], "whole head"),
    ]
    if chosen.pump["family"] == HELICAL:
        tested.insert(0, ("no_pressure", "the pump", head, chosen.pump["pressure_limit_pa"], "whole head"))
    for code, where, metres, limit, what in tested:
        sheet.rule(
            f"{code}: pressure in {where} with relief margin, 1.1 × density × g × head",
            f"{n(engine.RELIEF_RATIO)} × {n(density)} × {n(GRAVITY_M_S2)} × {n(metres)} / 100000",
            engine.RELIEF_RATIO * density * GRAVITY_M_S2 * metres / 1e5,
            "<=",
            float(limit) / 1e5,
            "bar",
            f"{what}; common practice; catalogue",
        )
    return head


def _hanging(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
    if chosen.riser["material"] != HDPE:
        return
    intake, density = chosen.done.duty.intake_m, sized.well.density_kg_m3
    most = sized.rules.hdpe_max_m
    sheet.rule("no_riser: depth of a plastic riser", "", intake, "<=", most, "m", "equipment.hdpe_riser_max_m")
    hanging = float(chosen.pump["mass_kg"]) + engine.CABLE_KG_M * intake
    inside, outside = float(chosen.riser["inside_mm"]), float(chosen.riser["outside_mm"])
    area = f"pi / 4 × ({n(inside)} / 1000)^2"
    sheet.rule(
        "no_riser: stress at the top of the plastic riser, (water + pump + cable) g / wall",
        f"{n(GRAVITY_M_S2)} × ({n(density)} × {n(intake)} × {area} + {n(hanging)}) / (pi / 4 × "
        f"({n(outside)} / 1000)^2 - {area}) / 1000000",
        float(hanging_stress_mpa(intake, inside, outside, hanging, density)),
        "<=",
        engine.HANGING_STRESS_MPA,
        "MPa",
        "common practice",
    )


def _cable(sheet: Sheet, sized: Sized, chosen: Chosen, head: float) -> None:
    pump, drive, duty = chosen.pump, chosen.drive, chosen.done.duty
    _, _, torque = speed_power_torque(
        pump, drive, duty.cap_m3_h, head, pump["slip_life_factor"], 0.0, sized.well.density_kg_m3
    )
    volts, watts = float(drive["motor_voltage_v"]), float(pump["motor_input_w"])
    rated = float(motor_current_a(watts, volts, engine.POWER_FACTOR))
    sheet.result(
        "rated current",
        "motor input / (sqrt 3 × volts × power factor)",
        f"{n(watts)} / (sqrt(3) × {n(volts)} × {n(engine.POWER_FACTOR)})",
        rated,
        "A",
        "catalogue",
    )
    cold = 1000 * float(chosen.cable["r20_ohm_m"])
    ohm_km = float(conductor_resistance_ohm_km(cold, engine.CABLE_C))
    sheet.result(
        "conductor at 50 °C",
        "R20 × (1 + 0.00393 × (50 - 20))",
        f"{n(cold)} × (1 + 0.00393 × ({n(engine.CABLE_C)} - 20))",
        ohm_km,
        "ohm/km",
        "IEC 60228, catalogue",
    )
    length = sized.rules.cable_to_drive_m + (0.0 if pump["family"] == SURFACE else duty.intake_m)
    part = min(float(torque) / float(pump["rated_torque_nm"]), 1.0)
    loss = float(cable_loss_share(rated * part, length, ohm_km, volts, engine.POWER_FACTOR))
    sheet.rule(
        "no_cable: loss in the motor cable at the cap, sqrt 3 I L R / (volts × power factor)",
        f"sqrt(3) × {n(rated)} × {n(part)} × {n(length)} × {n(ohm_km)} / 1000 / ({n(volts)} × "
        f"{n(engine.POWER_FACTOR)})",
        loss,
        "<=",
        sized.rules.cable_loss,
        "",
        f"torque {n(part)} of rated; pipes.cable_to_drive_m, cable_loss_max",
    )
    sheet.result(
        "R_cable / R_winding",
        "3 I_r^2 R L / (k_c P_r)",
        f"3 × {n(rated)}^2 × {n(ohm_km)} / 1000 × {n(length)} / ({n(pump['copper_share'])} × {n(pump['motor_w'])})",
        duty.cable_ratio,
    )
