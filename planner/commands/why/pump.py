"""The chosen set: rules, operating point, and the water of the design month and the year."""

from __future__ import annotations

import math

import numpy as np

from planner.catalogue.arrays import FAMILIES, HELICAL, SURFACE
from planner.catalogue.equipment import WATER_KG_M3
from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import Sheet, n
from planner.commands.why.well import MONTH_NAMES
from planner.engine import sun
from planner.engine.duty import (
    CABLE_C,
    KNOTS,
    POWER_FACTOR,
    RELIEF_RATIO,
    dynamic_heads_m,
    flow_curve,
)
from planner.engine.report import Performance
from planner.engine.search import COOLING_M_S, series_window, sleeve_needed, used_month
from planner.engine.site import Record
from planner.engine.volume import above
from planner.physics.cables import cable_loss_share, conductor_resistance_ohm_km, motor_current_a
from planner.physics.pipes import friction_factor, friction_head_m, minor_head_m, velocity_m_s
from planner.physics.pumps import (
    centrifugal_shaft_power_w,
    centrifugal_speed_ratio,
    helical_speed_rpm,
    helical_torque_nm,
    motor_input_w,
    starting_torque_nm,
)
from planner.physics.water import GRAVITY_M_S2
from planner.texts import texts


def family_word(family: str) -> str:
    """A pump family in words."""
    return texts()[family][1]


def equipment(sheet: Sheet, opened: Opened, sized: Sized, done: Performance) -> None:
    """What was chosen and the rules it was tested by."""
    row, plan, design = opened.row, opened.plan, sized.choice.chosen
    market, site, duty, well = opened.context.market, sized.site, done.duty, sized.well
    pump = market.pumps[design.pump]
    drive, riser, delivery = market.drives[pump["drive"]], market.risers[duty.riser], market.deliveries[duty.delivery]
    sheet.section("The set and its rules")
    sheet.value("pump", f"{row['pump_id']}, {family_word(row['pump_family']).lower()}, motor {n(row['motor_w'])} W")
    strings = ""
    if not math.isnan(row["modules_series"]):
        strings = f": {row['modules_parallel']:.0f} string(s) of {row['modules_series']:.0f} {row['module_id']}"
    sheet.value(
        "array", f"{n(row['array_wp'])} Wp{strings}, tilt {n(row['tilt_deg'])}°, azimuth {n(row['azimuth_deg'])}°"
    )
    sheet.value(
        "pipes and cable",
        f"riser {row['riser_id']}, {n(row['intake_depth_m'])} m; delivery "
        f"{n(row['delivery_mm'])} mm, {n(site.pipe_length_m)} m; motor cable {n(row['cable_mm2'])} mm2",
    )
    sheet.value("tank", f"{n(row['tank_m3'])} m3", "plan [demand] storage_share, [equipment] tank_max_m3")

    submersible = pump["family"] != SURFACE
    sheet.check("casing", site.casing_mm, ">=", pump["casing_min_mm"], "mm", "outside diameter + 6 mm")
    if submersible:
        warmest = min(plan.equipment.water_temp_max_c, float(pump["water_temp_max_c"]))
        sheet.check("water temperature", site.water_c, "<=", warmest, "°C", "plan [equipment] water_temp_max_c")
    if not math.isnan(site.sand_mg_l):
        sheet.check("sand", site.sand_mg_l, "<=", pump["sand_max_mg_l"], "mg/L", "catalogue")
    sheet.check("cap", duty.cap_m3_h, "<=", duty.safe_m3_h, "m3/h", "safe rate; the drive is set to the cap")
    if pump["family"] == HELICAL:
        working = RELIEF_RATIO * well.density_kg_m3 * GRAVITY_M_S2 * done.head_rule_m / 1e5
        sheet.check("1.1 × working pressure", working, "<=", pump["pressure_limit_pa"] / 1e5, "bar", "catalogue")
        held = well.density_kg_m3 * GRAVITY_M_S2 * (well.deepest_m + site.lift_m + opened.context.rules.residual_m)
        start = starting_torque_nm(pump["displacement_cm3"], held, pump["fit_friction_nm"], pump["breakaway_ratio"])
        most = pump["peak_torque_ratio"] * pump["rated_torque_nm"]
        sheet.check("starting torque", float(start), "<=", most, "N m", "motor and drive, catalogue")
    for name, pipe, most in (
        ("riser", riser, plan.pipes.velocity_max_riser_m_s),
        ("delivery pipe", delivery, plan.pipes.velocity_max_delivery_m_s),
    ):
        speed = float(velocity_m_s(duty.cap_m3_h, pipe["inside_mm"]))
        sheet.check(f"velocity in the {name} at the cap", speed, "<=", most, "m/s", "plan [pipes]")
    head = RELIEF_RATIO * done.head_rule_m
    sheet.check("riser pressure", head, "<=", riser["pressure_pa"] / 9806.65, "m of water", "pressure class")
    volts = drive["motor_voltage_v"]
    current = float(motor_current_a(pump["motor_input_w"], volts, POWER_FACTOR))
    length = plan.pipes.cable_to_drive_m + (duty.intake_m if submersible else 0.0)
    ohm_km = conductor_resistance_ohm_km(1000 * market.cables[duty.cable]["r20_ohm_m"], CABLE_C)
    loss = float(cable_loss_share(current, length, ohm_km, volts, POWER_FACTOR))
    sheet.value(
        "motor cable at rated current",
        f"{n(100 * loss)} % of the power is lost; the rule is tested at the "
        f"cap's torque, at most {n(100 * plan.pipes.cable_loss_max)} %",
        "IEC 60228 class 5, 50 °C",
    )
    if not math.isnan(row["modules_series"]):
        module = market.modules[design.module]
        fewest, most = series_window(module, drive, site.record_low_c, plan.array.hot_cell_c)
        sheet.check("modules in a string, least", float(design.series), ">=", float(fewest), "", "hot cells, drive MPP")
        sheet.check(
            "modules in a string, most", float(design.series), "<=", float(most), "", "coldest dawn, drive limit"
        )
        strings_a = design.parallel * module["isc_a"]
        sheet.check("short-circuit current", strings_a, "<=", drive["isc_max_a"], "A", "drive")
        ratio = plan.array.ratio_max or float(drive["ratio_max"])
        sheet.check("array", design.array_wp, "<=", ratio * pump["drive_rating_w"], "W", "ratio_max × drive input")
    if submersible:
        running = np.full(12, done.running_hours_day)
        sleeve, speed = sleeve_needed(pump, site, done.volumes_m3_day, running)
        if sleeve != 0 or speed != COOLING_M_S:
            sheet.value(
                "water past the motor", f"{n(speed)} m/s{', with a sleeve' if sleeve else ''}", "0.08 m/s wanted"
            )


def operating_point(sheet: Sheet, opened: Opened, sized: Sized, done: Performance) -> None:
    """Level, head, speed and power at the peak flow in the design month."""
    row, site, rules, well = opened.row, sized.site, opened.context.rules, sized.well
    market, duty, design, flow = opened.context.market, done.duty, sized.choice.chosen, done.peak_m3_h
    pump, month = market.pumps[design.pump], done.design_month
    drive = market.drives[pump["drive"]]
    riser, delivery = market.risers[duty.riser], market.deliveries[duty.delivery]
    sheet.section(f"Operating point: the peak flow of {n(flow)} m3/h in {MONTH_NAMES[month]}, the design month")
    lifted, day = min(done.volumes_m3_day[month], site.demand_m3_day[month]), 24 * flow
    sheet.result(
        "pumping level",
        "rest + memory × lifted + B Q + C Q^2, Q = 24 × flow",
        f"{n(site.rest_m[month])} + {n(site.memory_d_m2)} × {n(lifted)} + {n(site.b_d_m2)} × {n(day)}"
        f" + {n(site.c_d2_m5)} × {n(day)}^2",
        done.level_m,
        "m",
    )
    friction = []
    for name, pipe, length in (("riser", riser, duty.intake_m), ("delivery pipe", delivery, site.pipe_length_m)):
        bore, speed = pipe["inside_mm"], float(velocity_m_s(flow, pipe["inside_mm"]))
        reynolds = speed * bore / 1000 / well.viscosity_m2_s
        factor = float(friction_factor(reynolds, pipe["roughness_mm"] / bore))
        head = float(friction_head_m(flow, length, bore, pipe["roughness_mm"], well.viscosity_m2_s))
        sheet.result(
            f"friction in the {name}",
            "f × L / D × v^2 / (2 g)",
            f"{n(factor)} × {n(length)} / {n(bore / 1000)} × {n(speed)}^2 / (2 × 9.80665)",
            head,
            "m",
            f"Darcy–Weisbach, Colebrook; Re {reynolds:.0f}",
        )
        friction.append(head)
    minor = float(minor_head_m(flow, riser["inside_mm"], rules.minor_k))
    speed = float(velocity_m_s(flow, riser["inside_mm"]))
    sheet.result("fittings", "K × v^2 / (2 g)", f"{n(rules.minor_k)} × {n(speed)}^2 / (2 × 9.80665)", minor, "m")
    sheet.result(
        "total head",
        "pumping level + lift above ground + residual + friction + fittings",
        " + ".join(map(n, (done.level_m, site.lift_m, rules.residual_m, *friction, minor))),
        done.head_m,
        "m",
    )
    rated_rpm = float(pump["rated_speed_rpm"])
    if pump["family"] == HELICAL:
        rpm, torque = _helical(sheet, pump, flow, done.head_m, well.density_kg_m3)
    else:
        rpm, torque = _centrifugal(sheet, pump, flow, done.head_m, well.density_kg_m3)
    copper, iron = float(pump["copper_share"]), float(pump["iron_share"])
    watts = motor_input_w(
        torque,
        rpm,
        pump["motor_w"],
        pump["rated_torque_nm"],
        rated_rpm,
        copper,
        iron,
        duty.cable_ratio,
        drive["efficiency"],
        drive["standby_w"],
    )
    sheet.result(
        "power from the array",
        "(torque × 2 pi rpm / 60 + rated W × (copper (1 + cable) (torque / rated)^2 + iron (rpm / rated)^1.5)) "
        "/ drive efficiency + standby",
        f"({n(torque)} × 0.10472 × {n(rpm)} + {n(pump['motor_w'])} × ({n(copper)} × (1 + {n(duty.cable_ratio)}) × "
        f"({n(torque)} / {n(pump['rated_torque_nm'])})^2 + {n(iron)} × ({n(rpm)} / {n(rated_rpm)})^1.5)) / "
        f"{n(drive['efficiency'])} + {n(drive['standby_w'])}",
        float(watts),
        "W",
        f"catalogue; the drive takes at most {n(duty.clip_w)} W",
    )
    hydraulic = well.density_kg_m3 * GRAVITY_M_S2 * flow / 3600 * done.head_m
    sheet.result(
        "hydraulic power",
        "density × g × flow / 3600 × head",
        f"{n(well.density_kg_m3)} × 9.80665 × {n(flow)} / 3600 × {n(done.head_m)}",
        hydraulic,
        "W",
    )
    sheet.value("wire to water over the year", n(row["wire_to_water"]))


def _helical(sheet: Sheet, pump: Record, flow: float, head_m: float, density: float) -> tuple[float, float]:
    """Speed (rpm) and torque (N m) of a helical rotor pump, worked out."""
    pressure = density * GRAVITY_M_S2 * head_m
    sheet.result("pressure", "density × g × head", f"{n(density)} × 9.80665 × {n(head_m)}", pressure, "Pa")
    volume, slip = float(pump["displacement_cm3"]), float(pump["slip_life_factor"] * pump["slip_m3_h_pa"])
    rpm = float(helical_speed_rpm(flow, pressure, volume, slip))
    sheet.result(
        "speed",
        "(flow + slip at mid-life × pressure) / (60e-6 × swept volume)",
        f"({n(flow)} + {n(slip)} × {n(pressure)}) / (0.00006 × {n(volume)})",
        rpm,
        "rpm",
        "catalogue",
    )
    fit = float(pump["fit_friction_nm"])
    torque = float(helical_torque_nm(volume, pressure, fit))
    sheet.result(
        "torque",
        "swept volume × pressure / (2 pi) + friction of the fit",
        f"0.000001 × {n(volume)} × {n(pressure)} / 6.28319 + {n(fit)}",
        torque,
        "N m",
    )
    return rpm, torque


def _centrifugal(sheet: Sheet, pump: Record, flow: float, head_m: float, density: float) -> tuple[float, float]:
    """Speed (rpm) and torque (N m) of a centrifugal pump, worked out."""
    best, stages, rated_rpm = (float(pump[name]) for name in ("best_flow_m3_h", "head_at_best_m", "rated_speed_rpm"))
    speed = float(centrifugal_speed_ratio(flow, head_m, best, stages))
    sheet.result(
        "speed r, of rated",
        "sqrt((head / head at best + 0.30 (flow / best flow)^2) / 1.30)",
        f"sqrt(({n(head_m)} / {n(stages)} + 0.30 × ({n(flow)} / {n(best)})^2) / 1.30)",
        speed,
        "",
        "catalogue",
    )
    power, efficiency = float(pump["best_power_w"]) * density / WATER_KG_M3, float(pump["best_efficiency"])
    shaft = float(centrifugal_shaft_power_w(flow, speed, best, power, efficiency))
    x = flow / (best * speed)
    sheet.result(
        "shaft power, x = flow / (best flow × r)",
        "best W × r^3 (1.30 - 0.30 x^2) / (2 - x) × best efficiency / (1 - (1 - best efficiency) r^-0.1)",
        f"{n(power)} × {n(speed)}^3 × (1.30 - 0.30 × {n(x)}^2) / (2 - {n(x)}) × {n(efficiency)} / "
        f"(1 - (1 - {n(efficiency)}) × {n(speed)}^(-0.1))",
        shaft,
        "W",
    )
    rpm = speed * rated_rpm
    torque = shaft / (rpm * math.pi / 30)
    sheet.result("torque", "shaft power / (2 pi rpm / 60)", f"{n(shaft)} / (0.10472 × {n(rpm)})", torque, "N m")
    return rpm, torque


def water(sheet: Sheet, opened: Opened, sized: Sized, done: Performance) -> None:
    """The design month's volume from its curve, then the twelve months."""
    row, site, rules = opened.row, sized.site, opened.context.rules
    market, duty, design, month = opened.context.market, done.duty, sized.choice.chosen, done.design_month
    pump = market.pumps[design.pump]
    drive = market.drives[pump["drive"]]
    flows, heads = dynamic_heads_m(duty, site, rules, sized.well, market.risers, market.deliveries)
    lifted = min(done.volumes_m3_day[month], site.demand_m3_day[month])
    static = site.rest_m[month] + site.memory_d_m2 * lifted + site.lift_m + rules.residual_m
    power, flow = np.empty(KNOTS + 2), np.empty(KNOTS + 2)
    knots, start = flow_curve(
        pump, drive, duty, sized.well.density_kg_m3, static, pump["slip_life_factor"], flows, heads, power, flow
    )
    array_w = design.array_wp * (1 - rules.ageing_year * rules.design_year)
    sheet.section(f"Water of {MONTH_NAMES[month]}, the design month")
    sheet.value(
        "irradiation on the horizontal",
        f"{n(row['ghi_' + f'{month + 1:02d}'])} kWh/m2/d",
        "raster; ten kinds of day, Saunier 1987 or Bendt 1981",
    )
    sheet.result(
        "array after ageing",
        "rated × (1 - ageing × years)",
        f"{n(design.array_wp)} × (1 - {n(rules.ageing_year)} × {n(rules.design_year)})",
        array_w,
        "W",
    )
    lit, energy = above(sized.light, design.module, month, 0.0)
    sheet.value("light", f"{n(lit)} h and {n(energy)} Wh for each Wp on the mean day")
    if knots == 0:
        sheet.text("No water is lifted at this head.")
    else:
        sheet.text(
            "Volume = flow at the start × hours above its power + sum over the steps of (rise of flow / rise of power) "
            "× (energy above the lower power - energy above the higher)."
        )
        rows, total = _steps(sized, design.module, month, array_w, power, flow, knots, power[0])
        sheet.table(("power W", "flow m3/h", "hours above", "Wh above", "adds m3"), rows)
        if start > power[0]:
            _, late = _steps(sized, design.module, month, array_w, power, flow, knots, start)
            sheet.text(
                f"The pump starts at {n(start)} W only and runs on down to {n(power[0])} W: hours between count half. "
                f"From the start alone it gives {n(late)} m3."
            )
            sheet.result(
                "volume with half hours",
                "(all + from the start) / 2",
                f"({n(total)} + {n(late)}) / 2",
                (total + late) / 2,
                "m3/d",
            )
            total = (total + late) / 2
        sheet.result(
            "pumpable volume",
            "volume × availability",
            f"{n(total)} × {n(duty.availability)}",
            done.volumes_m3_day[month],
            "m3/d",
            "plan [equipment] pump_availability",
        )
    tank = float(row["tank_m3"])
    rows = []
    for m in range(12):
        used = used_month(done.volumes_m3_day[m], site.demand_m3_day[m], site, rules, tank)
        rows.append((MONTH_NAMES[m], str(sun.DAYS[m]), n(site.demand_m3_day[m]), n(done.volumes_m3_day[m]), n(used)))
    sheet.section("The year, m3 a day at the tank inlet")
    sheet.table(("month", "days", "demand", "pumpable", "used"), rows)
    sheet.text("Used: the least of demand, pumpable volume, the well's daily limit and what a day's tank can pass on.")
    sheet.value(
        "demand met",
        f"{n(row['supply_reliability'])} of the year, {n(row['supply_reliability_worst_month'])} of the worst month",
    )
    sheet.result(
        "used at the tap",
        "yearly mean × (1 - losses)",
        f"{n(done.used_m3_day)} × (1 - {n(rules.losses)})",
        float(row["volume_used_m3_day"]),
        "m3/d",
    )


def families(sheet: Sheet, sized: Sized, currency: str) -> None:
    """The best of each family, or what stopped it."""
    from planner.choice.design_checks import UNITS
    from planner.engine.duty import RULES
    from planner.texts import sentence

    sheet.section("Pump families")
    for family, name in enumerate(FAMILIES):
        cost, rule = sized.choice.best_cost[family], sized.choice.rule[family]
        if math.isfinite(cost):
            sheet.value(family_word(name), f"best design {n(cost)} {currency}/m3")
        elif rule > 0 and RULES[rule] in UNITS:
            sheet.text(
                sentence(RULES[rule], name, float(sized.choice.value[family]), float(sized.choice.limit[family]))
            )
        elif rule == 0:
            sheet.value(family_word(name), "can be built, but gives too little water to compete")
        else:
            sheet.value(family_word(name), "is not in the catalogue or not allowed by the plan")


def _steps(
    sized: Sized, w: int, m: int, array_w: float, power: np.ndarray, flow: np.ndarray, knots: int, start_w: float
) -> tuple[list[tuple[str, ...]], float]:
    """Rows of the table of knots above `start_w`, and their sum."""
    points = [(power[k], flow[k]) for k in range(knots) if power[k] > start_w]
    points.insert(0, (start_w, float(np.interp(start_w, power[:knots], flow[:knots]))))
    rows: list[tuple[str, ...]] = []
    total = before = 0.0
    for k, (watts, litres) in enumerate(points):
        hours, energy = above(sized.light, w, m, watts / array_w)
        energy *= array_w
        if k == 0:
            adds = litres * hours
        else:
            adds = (litres - points[k - 1][1]) / (watts - points[k - 1][0]) * (before - energy)
        before = energy
        total += adds
        rows.append((n(watts), n(litres), n(hours), n(energy), n(adds)))
    return rows, total
