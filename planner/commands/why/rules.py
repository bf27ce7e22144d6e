"""Every rule that the chosen pump was tested by, with value and limit."""

from __future__ import annotations

import math

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.commands.why.cap import cap
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import Sheet, agree, n
from planner.commands.why.water import Year
from planner.engine import duty as engine
from planner.engine import weigh
from planner.physics.photovoltaic import temperature_factor
from planner.physics.pumps import starting_torque_nm
from planner.physics.water import GRAVITY_M_S2


def rules(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """Each rule in the order it is tested, with value and limit."""
    sheet.section("Rules of the pump")
    sheet.text("The set was tested by these rules, in this order; the first that fails stops a set.")
    _well_and_water(sheet, opened, sized, chosen)
    _without_pipes(sheet, sized, chosen)
    cap(sheet, sized, chosen)
    _strings(sheet, sized, chosen)
    if chosen.pump["family"] != SURFACE:
        _cooling(sheet, opened, sized, chosen, year)


def _well_and_water(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """Safe rate, casing, warmth and sand."""
    site, well, pump = sized.site, sized.well, chosen.pump
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
    if pump["family"] != SURFACE:
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


def _without_pipes(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
    """What the pump can do whatever its pipes: suction, highest flow, and a helical rotor's pressure and start."""
    site, well, pump, prospect = sized.site, sized.well, chosen.pump, chosen.done.prospect
    if pump["family"] == SURFACE:
        flow = float(engine.suction_flow(pump, site, well, well.safe_m3_h, 0.0, 1.0, 0.0))
        sheet.rule(
            "no_suction: flow that suction allows without friction, up to the safe rate",
            "",
            flow,
            ">",
            0.0,
            "m3/h",
            "by trial at the planning level",
        )
    sheet.rule(
        "no_head: highest flow without friction, cable and runout, up to the safe rate",
        "",
        prospect.top_m3_h,
        ">",
        0.0,
        "m3/h",
        "by trial at the highest level: what speed and drive allow, a helical rotor not below its lowest speed",
    )
    if pump["family"] != HELICAL:
        return
    lift = float(site.lift_m + sized.rules.residual_m)
    force = f"{n(well.density_kg_m3)} × {n(GRAVITY_M_S2)}"
    held = well.density_kg_m3 * GRAVITY_M_S2 * (well.deepest_m + lift)
    sheet.rule(
        "no_pressure: pressure of the full riser with relief margin, 1.1 × density × g × (planning level + lift)",
        f"{n(engine.RELIEF_RATIO)} × {force} × ({n(well.deepest_m)} + {n(lift)}) / 100000",
        engine.RELIEF_RATIO * held / 1e5,
        "<=",
        float(pump["pressure_limit_pa"]) / 1e5,
        "bar",
        "common practice; catalogue",
    )
    start = float(starting_torque_nm(pump["displacement_cm3"], held, pump["fit_friction_nm"], pump["breakaway_ratio"]))
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


def _strings(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
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
    sleeve, velocity = weigh.sleeve_needed(pump, site, year.engine)
    loss = float(pump["motor_input_w"] - pump["motor_w"])
    if site.water_c <= weigh.COOLING_FREE_C and loss <= weigh.COOLING_FREE_LOSS_W:
        sheet.value(
            "no_cooling",
            f"no flow past the motor is asked for: water {n(site.water_c)} °C, motor loss "
            f"{n(loss)} W, at most {n(weigh.COOLING_FREE_C)} °C and {n(weigh.COOLING_FREE_LOSS_W)} W",
        )
        return
    agree("cooling sleeve", float(sleeve), float(bool(opened.row["sleeve"])))
    outside = float(pump["outside_mm"])
    around = outside + weigh.SLEEVE_MM if sleeve == 1 else float(site.casing_mm)
    sheet.rule(
        f"no_cooling: water past the motor {'in a sleeve' if sleeve == 1 else 'in the casing'}, mean flow / ring area",
        f"{n(year.volumes.sum())} / {n(year.running.sum())} / 3600 / (pi / 4 × ({n(around)}^2 - {n(outside)}^2) / "
        "1000000)",
        velocity,
        ">=",
        weigh.COOLING_M_S,
        "m/s",
        "trade practice; sums of V and hours of the twelve mean days",
    )
