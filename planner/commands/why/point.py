"""The operating point: level, head, speed, torque and power at the peak flow of the year, in the design month."""

from __future__ import annotations

import math

from planner.catalogue.arrays import HELICAL
from planner.catalogue.equipment import WATER_KG_M3
from planner.commands.why.cap import pipe_limits_m3_h
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, in_brackets, n
from planner.engine.curve import speed_power_torque
from planner.physics.pipes import (
    LAMINAR_END,
    TURBULENT_START,
    friction_factor,
    friction_head_m,
    minor_head_m,
    velocity_m_s,
)
from planner.physics.pumps import centrifugal_shaft_power_w, curve_shaft_power_w
from planner.physics.water import GRAVITY_M_S2

BETWEEN = 5e-4  # a curve is straight between its knots: its end may lie so far off the pump's own


def operating_point(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """Step by step from the flow to the power taken from the array."""
    row, site, rules, well, done = opened.row, sized.site, sized.rules, sized.well, chosen.done
    month, flow, cap = done.design_month, done.peak_m3_h, done.duty.cap_m3_h
    sheet.section(f"Operating point in {MONTH_NAMES[month]}, the design month")
    bound = "speed or power of the set"
    if math.isclose(cap, done.duty.safe_m3_h, rel_tol=1e-9):
        bound = "the safe rate"
    elif any(math.isclose(cap, most, rel_tol=1e-9) for most in pipe_limits_m3_h(sized, chosen)):
        bound = "the velocity in a pipe"
    sheet.value(
        "cap, set in the drive", f"{n(cap)} m3/h", f"limited by {bound}; safe rate {n(done.duty.safe_m3_h)} m3/h"
    )
    least = "equal to the cap" if math.isclose(flow, cap, rel_tol=1e-9) else "below the cap: speed, power or sun"
    sheet.value("peak flow of the year, q", f"{n(flow)} m3/h", least)
    lifted = min(float(done.volumes_m3_day[month]), float(site.demand_m3_day[month]))
    day = sheet.result("Q", "24 × q", f"24 × {n(flow)}", 24 * flow, "m3/d")
    sheet.result(
        "pumping level",
        "rest with neighbours + M V + B Q + C Q^2, V lifted in the month",
        f"{n(site.rest_m[month])} + {n(site.memory_d_m2)} × {n(lifted)} + {n(site.b_d_m2)} × {n(day)} + "
        f"{n(site.c_d2_m5)} × {n(day)}^2",
        done.level_m,
        "m",
    )
    agree("pumping level", done.level_m, float(row["design_pumping_level_m"]))
    friction = _friction(sheet, opened, sized, chosen, flow)
    sheet.result(
        "H, total head",
        "pumping level + lift above ground + residual + riser + fittings + delivery pipe",
        f"{n(done.level_m)} + {n(site.lift_m)} + {n(rules.residual_m)} + {friction}",
        done.head_m,
        "m",
        "lift: inventory, else pipes.stand_m + tank_height_m; pipes.residual_pressure_m",
    )
    agree("total head", done.head_m, float(row["total_head_m"]))
    speed, power, torque = speed_power_torque(
        chosen.pump,
        chosen.drive,
        flow,
        done.head_m,
        chosen.pump["slip_life_factor"],
        done.duty.cable_ratio,
        well.density_kg_m3,
    )
    if chosen.pump["family"] == HELICAL:
        _helical(sheet, sized, chosen, flow, speed, torque)
    else:
        _centrifugal(sheet, sized, chosen, flow, speed, torque)
    _power(sheet, sized, chosen, speed, torque, power)
    if speed > 1 + BETWEEN or power > done.duty.clip_w * (1 + BETWEEN):
        sheet.text("That is more than the set can in this month: here its curve ends below the peak of the year.")
    hydraulic = well.density_kg_m3 * GRAVITY_M_S2 * flow / 3600 * done.head_m
    sheet.result(
        "wire to water here",
        "density × g × q / 3600 × H / power",
        f"{n(well.density_kg_m3)} × {n(GRAVITY_M_S2)} × {n(flow)} / 3600 × {n(done.head_m)} / {n(power)}",
        hydraulic / power,
        "",
        f"over the year {n(row['wire_to_water'])}",
    )
    sheet.value(
        "at the planning level and the cap",
        f"level {n(row['design_pumping_level_rule_m'])} m, head {n(row['total_head_rule_m'])} m",
        "what the rules were tested at",
    )


def _friction(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, flow: float) -> str:
    """Losses of riser, fittings and delivery pipe; returns their sum as numbers to put in."""
    site, viscosity, duty = sized.site, sized.well.viscosity_m2_s, chosen.done.duty
    sheet.value(
        "viscosity of the water",
        f"{n(viscosity)} m2/s at {n(site.water_c)} °C",
        f"Pátek 2009; density {n(sized.well.density_kg_m3)} kg/m3, Kell 1975",
    )
    heads = []
    for name, pipe, length in (
        ("riser", chosen.riser, duty.intake_m),
        ("delivery pipe", chosen.delivery, site.pipe_length_m),
    ):
        bore, rough = float(pipe["inside_mm"]), float(pipe["roughness_mm"])
        v = float(velocity_m_s(flow, bore))
        sheet.result(
            f"velocity in the {name}, v",
            "q / 3600 / (pi / 4 × d^2)",
            f"{n(flow)} / 3600 / (pi / 4 × ({n(bore)} / 1000)^2)",
            v,
            "m/s",
        )
        reynolds = v * bore / 1000 / viscosity
        sheet.result("Reynolds number", "v d / viscosity", f"{n(v)} × {n(bore)} / 1000 / {n(viscosity)}", reynolds)
        factor = float(friction_factor(reynolds, rough / bore))
        if reynolds <= LAMINAR_END:
            sheet.result("friction factor f", "64 / Re", f"64 / {n(reynolds)}", factor, "", "laminar")
        elif reynolds < TURBULENT_START:
            sheet.value("friction factor f", n(factor), "between laminar and turbulent: a smooth curve that meets both")
        else:
            sheet.value("friction factor f", n(factor), "by trial, Colebrook 1939")
            sheet.result(
                "check: 1 / sqrt f",
                "-2 log10(roughness / (3.7 d) + 2.51 / (Re sqrt f))",
                f"0 - 2 × log10({n(rough)} / (3.7 × {n(bore)}) + 2.51 / ({n(reynolds)} × sqrt({n(factor)})))",
                1 / math.sqrt(factor),
            )
        head = float(friction_head_m(flow, length, bore, rough, viscosity))
        sheet.result(
            f"friction in the {name}",
            "f × L / d × v^2 / (2 g)",
            f"{n(factor)} × {n(length)} / ({n(bore)} / 1000) × {n(v)}^2 / (2 × {n(GRAVITY_M_S2)})",
            head,
            "m",
            "Darcy–Weisbach",
        )
        heads.append(n(head))
        if name == "riser":
            fittings = float(minor_head_m(flow, bore, sized.rules.minor_k))
            sheet.result(
                "fittings",
                "K × v^2 / (2 g)",
                f"{n(sized.rules.minor_k)} × {n(v)}^2 / (2 × {n(GRAVITY_M_S2)})",
                fittings,
                "m",
                "pipes.minor_loss_k",
            )
            heads.append(n(fittings))
    return " + ".join(heads)


def _helical(sheet: Sheet, sized: Sized, chosen: Chosen, flow: float, speed: float, torque: float) -> None:
    pump, density = chosen.pump, sized.well.density_kg_m3
    pressure = density * GRAVITY_M_S2 * chosen.done.head_m
    sheet.result(
        "p, pressure", "density × g × H", f"{n(density)} × {n(GRAVITY_M_S2)} × {n(chosen.done.head_m)}", pressure, "Pa"
    )
    swept, slip = float(pump["displacement_cm3"]), float(pump["slip_m3_h_pa"])
    exponent = "" if pump["slip_exponent"] == 1 else f"^{n(pump['slip_exponent'])}"
    sheet.result(
        "speed",
        f"(q + slip at mid-life × p{exponent}) / (0.00006 × swept volume): swept volume × speed - slip = flow",
        f"({n(flow)} + {n(pump['slip_life_factor'])} × {n(slip)} × {n(pressure)}{exponent}) / (0.00006 × {n(swept)})",
        speed * float(pump["rated_speed_rpm"]),
        "rev/min",
    )
    sheet.result(
        "T, torque",
        "swept volume × p / (2 pi) + T_fit",
        f"0.000001 × {n(swept)} × {n(pressure)} / (2 × pi) + {n(pump['fit_friction_nm'])}",
        torque,
        "N·m",
    )


def _centrifugal(sheet: Sheet, sized: Sized, chosen: Chosen, flow: float, speed: float, torque: float) -> None:
    pump = chosen.pump
    form = _measured if pump["measured"] else _general
    shaft = form(sheet, sized, chosen, flow, speed)
    rpm = speed * float(pump["rated_speed_rpm"])
    sheet.result("speed", "r × rated", f"{n(speed)} × {n(pump['rated_speed_rpm'])}", rpm, "rev/min")
    sheet.result(
        "T, torque", "shaft power / (2 pi × speed / 60)", f"{n(shaft)} / (2 × pi × {n(rpm)} / 60)", torque, "N·m"
    )


def _measured(sheet: Sheet, sized: Sized, chosen: Chosen, flow: float, speed: float) -> float:
    """Speed and shaft power on curves through measured points; returns the power."""
    pump, density, head = chosen.pump, sized.well.density_kg_m3, chosen.done.head_m
    a0, a1, a2 = (float(pump[name]) for name in ("head_0_m", "head_1_m_h_m3", "head_2_m_h2_m6"))
    linear = f"{in_brackets(a1)} × {n(flow)}"
    sheet.result(
        "r, speed over rated",
        "(sqrt((a1 q)^2 - 4 a0 (a2 q^2 - H)) - a1 q) / (2 a0)",
        f"(sqrt(({linear})^2 - 4 × {n(a0)} × ({in_brackets(a2)} × {n(flow)}^2 - {n(head)})) - {linear}) / "
        f"(2 × {n(a0)})",
        speed,
        "",
        "H = a0 r^2 + a1 r q + a2 q^2 through measured points",
    )
    best, most = float(pump["best_flow_m3_h"]), float(pump["max_flow_ratio"])
    x = sheet.result("x", "q / (q_b r)", f"{n(flow)} / ({n(best)} × {n(speed)})", flow / (best * speed))
    powers = [float(pump[f"power_{k}_w"]) for k in range(4)]
    terms = [f"{in_brackets(p)} × {n(min(x, most))}^{k}" for k, p in enumerate(powers) if k and p]
    form = " + ".join([n(powers[0]), *terms])
    return sheet.result(
        "shaft power",
        "r^3 (p0 + p1 x + p2 x^2 + p3 x^3) × density / density at 20 °C",
        f"{n(speed)}^3 × ({form}) × {n(density)} / {n(WATER_KG_M3)}",
        float(curve_shaft_power_w(flow, speed, best, most, *powers)) * density / WATER_KG_M3,
        "W",
        "through measured points",
    )


def _general(sheet: Sheet, sized: Sized, chosen: Chosen, flow: float, speed: float) -> float:
    """Speed and shaft power of a pump known by its best point; returns the power."""
    pump, density, head = chosen.pump, sized.well.density_kg_m3, chosen.done.head_m
    best, stages, efficiency = (
        float(pump["best_flow_m3_h"]),
        float(pump["head_at_best_m"]),
        float(pump["best_efficiency"]),
    )
    sheet.result(
        "r, speed over rated",
        "sqrt((H / H_b + 0.30 (q / q_b)^2) / 1.30)",
        f"sqrt(({n(head)} / {n(stages)} + 0.3 × ({n(flow)} / {n(best)})^2) / 1.3)",
        speed,
        "",
        "H = H_b r^2 (1.30 - 0.30 x^2), affinity laws",
    )
    x = sheet.result("x", "q / (q_b r)", f"{n(flow)} / ({n(best)} × {n(speed)})", flow / (best * speed))
    best_w = float(pump["best_power_w"]) * density / WATER_KG_M3
    sheet.result(
        "P_b, shaft power at best flow",
        "density × g × q_b / 3600 × H_b / eta_b",
        f"{n(density)} × {n(GRAVITY_M_S2)} × {n(best)} / 3600 × {n(stages)} / {n(efficiency)}",
        best_w,
        "W",
        "catalogue",
    )
    shaft = float(centrifugal_shaft_power_w(flow, speed, best, best_w, efficiency))
    return sheet.result(
        "shaft power",
        "P_b r^3 (1.30 - 0.30 x^2) / (2 - x) × eta_b / (1 - (1 - eta_b) r^-0.1)",
        f"{n(best_w)} × {n(speed)}^3 × (1.3 - 0.3 × {n(x)}^2) / (2 - {n(x)}) × {n(efficiency)} / "
        f"(1 - (1 - {n(efficiency)}) × {n(speed)}^(0 - 0.1))",
        shaft,
        "W",
        "small speeds: Sârbu & Borza 1998",
    )


def _power(sheet: Sheet, sized: Sized, chosen: Chosen, speed: float, torque: float, power: float) -> None:
    pump, drive = chosen.pump, chosen.drive
    rated_t, rated_w, rpm = (float(pump[name]) for name in ("rated_torque_nm", "motor_w", "rated_speed_rpm"))
    shaft = sheet.result(
        "shaft power",
        "T × 2 pi × speed / 60",
        f"{n(torque)} × 2 × pi × {n(speed * rpm)} / 60",
        torque * 2 * math.pi * speed * rpm / 60,
        "W",
    )
    copper = rated_w * float(pump["copper_share"]) * (1 + chosen.done.duty.cable_ratio) * (torque / rated_t) ** 2
    sheet.result(
        "loss in winding and cable",
        "P_r k_c (1 + R_cable / R_winding) (T / T_r)^2",
        f"{n(rated_w)} × {n(pump['copper_share'])} × (1 + {n(chosen.done.duty.cable_ratio)}) × ({n(torque)} / "
        f"{n(rated_t)})^2",
        copper,
        "W",
        "current follows torque",
    )
    iron = rated_w * float(pump["iron_share"]) * speed**1.5
    sheet.result(
        "loss in iron and drag",
        "P_r k_f (speed / rated)^1.5",
        f"{n(rated_w)} × {n(pump['iron_share'])} × {n(speed)}^1.5",
        iron,
        "W",
        "textbook split of losses",
    )
    sheet.result(
        "power taken from the array",
        "(shaft + losses) / drive efficiency + own use",
        f"({n(shaft)} + {n(copper)} + {n(iron)}) / {n(drive['efficiency'])} + {n(drive['standby_w'])}",
        power,
        "W",
        f"the drive takes at most {n(chosen.done.duty.clip_w)} W",
    )
    again = (shaft + copper + iron) / float(drive["efficiency"]) + float(drive["standby_w"])
    agree("power taken from the array", again, power)
