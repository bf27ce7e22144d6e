"""Every rule that the chosen pump was tested by, with value and limit."""

from __future__ import annotations

import math

from planner.catalogue.arrays import HDPE, HELICAL, SURFACE
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import Sheet, agree, n
from planner.commands.why.water import Year
from planner.engine import duty as engine
from planner.engine import search
from planner.physics.cables import cable_loss_share, conductor_resistance_ohm_km, motor_current_a
from planner.physics.photovoltaic import temperature_factor
from planner.physics.pipes import friction_head_m, hanging_stress_mpa, velocity_m_s
from planner.physics.pumps import npsh_available_m, npsh_required_m, starting_torque_nm
from planner.physics.water import GRAVITY_M_S2, atmospheric_pressure_kpa, vapour_pressure_kpa


def cap_before_cable(sized: Sized, chosen: Chosen) -> float:
    """The cap that rules of level and pressure are tested at: the cable's loss can lower it a little after."""
    site, rules, well, market, duty = sized.site, sized.rules, sized.well, sized.market, chosen.done.duty
    surface = chosen.pump["family"] == SURFACE
    static = well.highest_m + site.lift_m + rules.residual_m
    pipes = market.risers, duty.riser, market.deliveries, duty.delivery
    intake = _first_intake(sized, chosen)
    cap = engine.top_flow(
        chosen.pump, chosen.drive, static, site, rules, duty.clip_w, 0.0, well, *pipes, intake, well.safe_m3_h
    )
    if not site.stands:
        cap = min(cap, *pipe_limits_m3_h(sized, chosen))
    if surface:
        first = engine.intake_depth_m(site, well, cap, surface)
        cap = min(cap, engine.suction_flow(chosen.pump, site, well, market.risers, duty.riser, first, cap))
    return float(cap)


def pipe_limits_m3_h(sized: Sized, chosen: Chosen) -> tuple[float, float]:
    """Flows at the highest velocities of delivery pipe and riser."""
    return (
        float(engine.full_flow_m3_h(chosen.delivery["inside_mm"], sized.rules.velocity_delivery_m_s)),
        float(engine.full_flow_m3_h(chosen.riser["inside_mm"], sized.rules.velocity_riser_m_s)),
    )


def _free_flow(sized: Sized, chosen: Chosen) -> float:
    """Flow without friction, up to the safe rate: what pipes are chosen for."""
    site, rules, well, market, duty = sized.site, sized.rules, sized.well, sized.market, chosen.done.duty
    static = well.highest_m + site.lift_m + rules.residual_m
    return float(
        engine.top_flow(
            chosen.pump,
            chosen.drive,
            static,
            site,
            rules,
            duty.clip_w,
            0.0,
            well,
            market.risers,
            -1,
            market.deliveries,
            -1,
            0.0,
            well.safe_m3_h,
        )
    )


def _first_intake(sized: Sized, chosen: Chosen) -> float:
    surface = chosen.pump["family"] == SURFACE
    return float(engine.intake_depth_m(sized.site, sized.well, _free_flow(sized, chosen), surface))


def rules(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """Each rule in the order it is tested, with value and limit."""
    site, well, pump = sized.site, sized.well, chosen.pump
    submersible = pump["family"] != SURFACE
    sheet.section("Rules of the pump")
    sheet.text("The pump was tested by these rules, in this order; the first that fails stops a pump.")
    sheet.rule("no_safe_rate: safe rate", "", well.safe_m3_h, ">", 0.0, "m3/h")
    sheet.rule(
        "no_casing: casing",
        "",
        float(site.casing_mm),
        ">=",
        float(pump["casing_min_mm"]),
        "mm",
        f"{opened.row['casing_source']}; catalogue",
    )
    if submersible:
        most = min(sized.rules.water_temp_max_c, float(pump["water_temp_max_c"]))
        sheet.rule(
            "water_too_warm: water", "", float(site.water_c), "<=", most, "°C", "equipment.water_temp_max_c, catalogue"
        )
    if math.isnan(site.sand_mg_l):
        sheet.value("sand_above_limit", f"sand is not measured; the pump takes {n(pump['sand_max_mg_l'])} mg/L")
    else:
        sheet.rule(
            "sand_above_limit: sand",
            "",
            float(site.sand_mg_l),
            "<=",
            float(pump["sand_max_mg_l"]),
            "mg/L",
            "inventory; catalogue",
        )
    sheet.rule(
        "no_head: flow without friction, up to the safe rate",
        "",
        _free_flow(sized, chosen),
        ">",
        0.0,
        "m3/h",
        "by trial: highest flow that speed and drive allow",
    )
    _pipe_rules(sheet, opened, sized, chosen)
    cap = cap_before_cable(sized, chosen)
    if not submersible:
        _suction(sheet, sized, chosen, cap)
    friction = engine.pipe_head_m(
        cap,
        site,
        sized.rules,
        sized.market.risers,
        chosen.done.duty.riser,
        sized.market.deliveries,
        chosen.done.duty.delivery,
        chosen.done.duty.intake_m,
        well.viscosity_m2_s,
    )
    lift = float(site.lift_m + sized.rules.residual_m)
    easy = well.highest_m + lift + engine.drawdown_m(site, cap, False) + friction
    speed, _, _ = engine.speed_power_torque(
        pump, chosen.drive, cap, easy, pump["slip_life_factor"], 0.0, well.density_kg_m3
    )
    sheet.rule(
        "above_safe_rate: speed at the cap, of rated, at the least head of the year",
        "",
        float(speed),
        ">=",
        float(pump["min_speed_ratio"]),
        "",
        f"head {n(easy)} m; catalogue lowest speed",
    )
    level, density = well.deepest_m + engine.drawdown_m(site, cap, True), well.density_kg_m3
    head = level + lift + friction
    sheet.result(
        "head at the planning level and cap",
        "level + lift and residual + friction",
        f"{n(level)} + {n(lift)} + {n(friction)}",
        head,
        "m",
    )
    if pump["family"] == HELICAL:
        force = f"{n(density)} × {n(GRAVITY_M_S2)}"
        sheet.rule(
            "no_pressure: working pressure with relief margin, 1.1 × density × g × head",
            f"{n(engine.RELIEF_RATIO)} × {force} × {n(head)} / 100000",
            engine.RELIEF_RATIO * density * GRAVITY_M_S2 * head / 1e5,
            "<=",
            float(pump["pressure_limit_pa"]) / 1e5,
            "bar",
            "common practice; catalogue",
        )
        held = density * GRAVITY_M_S2 * (well.deepest_m + lift)
        start = float(
            starting_torque_nm(pump["displacement_cm3"], held, pump["fit_friction_nm"], pump["breakaway_ratio"])
        )
        sheet.rule(
            "no_start_torque: swept volume × pressure of the full riser / (2 pi) + start friction",
            f"0.000001 × {n(pump['displacement_cm3'])} × {force} × ({n(well.deepest_m)} + {n(lift)}) / (2 × pi) + "
            f"{n(pump['breakaway_ratio'])} × {n(pump['fit_friction_nm'])}",
            start,
            "<=",
            float(pump["peak_torque_ratio"] * pump["rated_torque_nm"]),
            "N·m",
            f"{n(pump['peak_torque_ratio'])} × T_r of motor and drive, catalogue",
        )
    _cable(sheet, opened, sized, chosen, cap, head)
    if opened.row["engine_status"] == "designed":
        _strings(sheet, opened, sized, chosen)
        if submersible:
            _cooling(sheet, opened, sized, chosen, year)


def _pipe_rules(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    site, rules, well, market, duty = sized.site, sized.rules, sized.well, sized.market, chosen.done.duty
    free, intake, pipes = _free_flow(sized, chosen), _first_intake(sized, chosen), opened.plan.pipes
    density, lift = well.density_kg_m3, float(site.lift_m + rules.residual_m)
    level = well.deepest_m + engine.drawdown_m(site, free, True)
    for name, code, pipe, most, plan_key in (
        ("delivery pipe", "no_delivery_pipe", chosen.delivery, pipes.velocity_max_delivery_m_s, "delivery"),
        ("riser", "no_riser", chosen.riser, pipes.velocity_max_riser_m_s, "riser"),
    ):
        bore = float(pipe["inside_mm"])
        sheet.rule(
            f"{code}: velocity in the {name} at the cap, flow / 3600 / bore area",
            f"{n(duty.cap_m3_h)} / 3600 / (pi / 4 × ({n(bore)} / 1000)^2)",
            float(velocity_m_s(duty.cap_m3_h, bore)),
            "<=",
            most,
            "m/s",
            f"pipes.velocity_max_{plan_key}_m_s",
        )
        flow = min(free, float(engine.full_flow_m3_h(bore, most)))
        riser = duty.riser if name == "riser" else -1
        friction = engine.pipe_head_m(
            flow, site, rules, market.risers, riser, market.deliveries, duty.delivery, intake, well.viscosity_m2_s
        )
        head = (level if name == "riser" else 0.0) + lift + friction
        sheet.rule(
            f"{code}: pressure in the {name} with relief margin, at the flow without friction",
            f"{n(engine.RELIEF_RATIO)} × {n(density)} × {n(GRAVITY_M_S2)} × {n(head)} / 100000",
            engine.RELIEF_RATIO * density * GRAVITY_M_S2 * head / 1e5,
            "<=",
            float(pipe["pressure_pa"]) / 1e5,
            "bar",
            "pressure class, catalogue",
        )
    if chosen.riser["material"] == HDPE and chosen.pump["family"] != SURFACE:
        sheet.rule(
            "no_riser: depth of a plastic riser", "", intake, "<=", rules.hdpe_max_m, "m", "equipment.hdpe_riser_max_m"
        )
        hanging = float(chosen.pump["mass_kg"]) + engine.CABLE_KG_M * intake
        inside, outside = float(chosen.riser["inside_mm"]), float(chosen.riser["outside_mm"])
        stress = float(hanging_stress_mpa(intake, inside, outside, hanging, density))
        area = f"pi / 4 × ({n(inside)} / 1000)^2"
        sheet.rule(
            "no_riser: stress at the top of the plastic riser, (water + pump + cable) g / wall",
            f"{n(GRAVITY_M_S2)} × ({n(density)} × {n(intake)} × {area} + {n(hanging)}) / (pi / 4 × "
            f"({n(outside)} / 1000)^2 - {area}) / 1000000",
            stress,
            "<=",
            engine.HANGING_STRESS_MPA,
            "MPa",
            "common practice",
        )


def _suction(sheet: Sheet, sized: Sized, chosen: Chosen, cap: float) -> None:
    site, well, pump, duty = sized.site, sized.well, chosen.pump, chosen.done.duty
    level = well.deepest_m + engine.drawdown_m(site, cap, True)
    friction = float(
        friction_head_m(
            cap, duty.intake_m, chosen.riser["inside_mm"], chosen.riser["roughness_mm"], well.viscosity_m2_s
        )
    )
    available = float(npsh_available_m(site.elevation_m, site.water_c, level, friction, engine.SUCTION_MARGIN_M))
    required = float(npsh_required_m(cap, pump["best_flow_m3_h"], pump["npshr_best_m"]))
    air, vapour = float(atmospheric_pressure_kpa(site.elevation_m)), float(vapour_pressure_kpa(site.water_c))
    sheet.result(
        "suction head required",
        "at best flow × (q / q_b)^2, at least 2 m",
        f"max(2, {n(pump['npshr_best_m'])} × ({n(cap)} / {n(pump['best_flow_m3_h'])})^2)",
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


def _cable(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, cap: float, head: float) -> None:
    pump, drive, duty = chosen.pump, chosen.drive, chosen.done.duty
    _, _, torque = engine.speed_power_torque(
        pump, drive, cap, head, pump["slip_life_factor"], 0.0, sized.well.density_kg_m3
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
    part = min(torque / float(pump["rated_torque_nm"]), 1.0)
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


def _strings(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    module, drive, design = chosen.module, chosen.drive, chosen.design
    hot_c, cold_c = sized.rules.hot_cell_c, float(sized.site.record_low_c)
    gamma, beta = float(module["gamma_vmp_per_k"]), float(module["beta_voc_per_k"])
    for what, volts, key, at, operator, limit, source in (
        ("hot cells, at maximum power", "vmp_v", gamma, hot_c, ">=", "mpp_min_v", "array.hot_cell_c"),
        ("coldest dawn, at maximum power", "vmp_v", gamma, cold_c, "<=", "mpp_max_v", "array.record_low_margin_k"),
        ("coldest dawn, open circuit", "voc_v", beta, cold_c, "<=", "v_max_v", "array.record_low_margin_k"),
    ):
        one = float(module[volts])
        found = design.series * one * float(temperature_factor(at, key))
        sheet.rule(
            f"no_voltage_window: {what}, modules × volts × (1 + coefficient × (cell - 25))",
            f"{design.series} × {n(one)} × (1 + ({n(key)}) × ({n(at)} - 25))",
            found,
            operator,
            float(drive[limit]),
            "V",
            f"{source}; drive and module of the catalogue",
        )
    sheet.rule(
        "no_voltage_window: short-circuit current of the strings",
        f"{design.parallel} × {n(module['isc_a'])}",
        design.parallel * float(module["isc_a"]),
        "<=",
        float(drive["isc_max_a"]),
        "A",
        "catalogue",
    )
    ratio = sized.rules.ratio_max if sized.rules.ratio_max > 0 else float(drive["ratio_max"])
    sheet.rule(
        "no_voltage_window: array",
        "",
        design.array_wp,
        "<=",
        ratio * float(chosen.pump["drive_rating_w"]),
        "W",
        f"{n(ratio)} × drive input: array.ratio_max, else the drive's",
    )


def _cooling(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    site, pump = sized.site, chosen.pump
    sleeve, velocity = search.sleeve_needed(pump, site, year.volumes, year.running)
    loss = float(pump["motor_input_w"] - pump["motor_w"])
    if site.water_c <= search.COOLING_FREE_C and loss <= search.COOLING_FREE_LOSS_W:
        sheet.value(
            "no_cooling",
            f"no flow past the motor is asked for: water {n(site.water_c)} °C, motor loss "
            f"{n(loss)} W, at most {n(search.COOLING_FREE_C)} °C and {n(search.COOLING_FREE_LOSS_W)} W",
        )
        return
    agree("cooling sleeve", float(sleeve), float(bool(opened.row["sleeve"])))
    outside = float(pump["outside_mm"])
    around = outside + search.SLEEVE_MM if sleeve == 1 else float(site.casing_mm)
    sheet.rule(
        f"no_cooling: water past the motor {'in a sleeve' if sleeve == 1 else 'in the casing'}, mean flow / ring area",
        f"{n(year.volumes.sum())} / {n(year.running.sum())} / 3600 / (pi / 4 × ({n(around)}^2 - {n(outside)}^2) / "
        "1000000)",
        velocity,
        ">=",
        search.COOLING_M_S,
        "m/s",
        "trade practice; sums of V and hours of the twelve mean days",
    )
