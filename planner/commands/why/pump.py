"""The chosen set."""

from __future__ import annotations

from planner.catalogue.arrays import FAMILIES, HELICAL, SURFACE
from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import Sheet, n
from planner.engine import duty as engine
from planner.engine import well as well_physics
from planner.texts import texts


def the_set(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """What was chosen, with the numbers of the catalogue that follow-up steps use."""
    design, pump, c = chosen.design, chosen.pump, opened.catalogue
    sheet.section("The set")
    family = texts()[FAMILIES[pump["family"]]][1].lower()
    name = c.pump_ids[design.pump]
    sheet.value("pump", f"{name}, {family}", f"catalogue {name}: {c.sources.get(name, '')}")
    motor, speed = float(pump["motor_w"]), float(pump["rated_speed_rpm"])
    sheet.value(
        "motor",
        f"{n(motor)} W at the shaft, {n(speed)} rev/min, efficiency {n(pump['motor_efficiency'])}, "
        f"lowest speed {n(pump['min_speed_ratio'])} of rated",
        f"catalogue {name}",
    )
    sheet.result(
        "T_r, rated torque",
        "P_r / (2 pi n_r / 60)",
        f"{n(motor)} / (2 × pi × {n(speed)} / 60)",
        float(pump["rated_torque_nm"]),
        "N·m",
    )
    copper, iron = float(pump["copper_share"]), float(pump["iron_share"])
    sheet.result(
        "k_c + k_f, rated losses over P_r",
        "1 / efficiency - 1",
        f"1 / {n(pump['motor_efficiency'])} - 1",
        copper + iron,
        "",
        f"copper k_c {n(copper)}, iron and drag k_f {n(iron)}",
    )
    known_from = f"catalogue {name}"
    if name in c.fits:
        known_from = f"fitted to {opened.plan.equipment.pump_points}"
        sheet.value("curves through measured points", c.fits[name].line(), known_from)
    if pump["family"] == HELICAL:
        sheet.value("swept volume", f"{n(pump['displacement_cm3'])} cm3 a turn", known_from)
        power = "" if pump["slip_exponent"] == 1 else f"^{n(pump['slip_exponent'])}"
        sheet.value(
            "slip when new, k",
            f"{n(pump['slip_m3_h_pa'])} m3/h/Pa{power}; × {n(pump['slip_life_factor'])} at "
            f"mid-life, × {n(pump['slip_end_factor'])} at the end",
            known_from if name in c.fits else f"{known_from}, volumetric efficiency",
        )
        sheet.value(
            "friction of the rotor's fit, T_fit",
            f"{n(pump['fit_friction_nm'])} N·m; × {n(pump['breakaway_ratio'])} at start",
            known_from if name in c.fits else f"{known_from}, hydromechanical efficiency",
        )
    else:
        sheet.value(
            "best flow, head and efficiency",
            f"q_b {n(pump['best_flow_m3_h'])} m3/h, H_b "
            f"{n(pump['head_at_best_m'])} m, eta_b {n(pump['best_efficiency'])}; flow up to "
            f"{n(pump['max_flow_ratio'])} q_b",
            known_from,
        )
    _drive(sheet, opened, sized, chosen)
    _parts(sheet, opened, sized, chosen)


def _drive(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """The drive with what it takes at most, and the array."""
    row, design, site, c = opened.row, chosen.design, sized.site, opened.catalogue
    pump, drive, motor = chosen.pump, chosen.drive, float(chosen.pump["motor_w"])
    sheet.value(
        "drive",
        f"{row['drive_id']}, efficiency {n(drive['efficiency'])}, own use {n(drive['standby_w'])} W",
        f"catalogue {row['drive_id']}",
    )
    rating = sheet.result(
        "drive input at rated power",
        "P_r / motor efficiency / drive efficiency",
        f"{n(motor)} / {n(pump['motor_efficiency'])} / {n(drive['efficiency'])}",
        float(pump["drive_rating_w"]),
        "W",
    )
    warm = max(0.0, float(site.water_c) - engine.DERATE_FROM_C)
    derated = warm if pump["family"] != SURFACE else 0.0
    sheet.result(
        "P_max, taken at most",
        "drive input × (1 - 2 % for each K of water above 30 °C)",
        f"{n(rating)} × (1 - {n(engine.DERATE_PER_K)} × {n(derated)})",
        chosen.done.duty.clip_w,
        "W",
    )
    if row["engine_status"] == "installed":
        sheet.value("array", f"{n(design.array_wp)} Wp", "inventory, taken as it stands")
    else:
        module = c.module_ids[design.module]
        sheet.result(
            "array",
            "in series × strings × watts of a module",
            f"{design.series} × {design.parallel} × {n(chosen.module['rated_wp'])}",
            design.array_wp,
            "Wp",
            f"catalogue {module}",
        )


def _parts(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen) -> None:
    """Pipes, cable, intake and tank."""
    design, done, site, c = chosen.design, chosen.done, sized.site, opened.catalogue
    searched = "chosen by the search"
    if site.stands:
        searched = "not in the inventory: taken as the cheapest that would do"
    for what, which, length in (
        ("riser", c.riser_ids[design.riser], done.duty.intake_m),
        ("delivery pipe", c.delivery_ids[design.delivery], float(site.pipe_length_m)),
    ):
        pipe = chosen.riser if what == "riser" else chosen.delivery
        sheet.value(
            what,
            f"{which}, {n(length)} m long, bore {n(pipe['inside_mm'])} mm, class "
            f"{n(pipe['pressure_pa'] / 1e5)} bar, roughness {n(pipe['roughness_mm'])} mm",
            searched,
        )
    sheet.value("motor cable", f"{n(chosen.cable['mm2'])} mm2", searched)
    intake, submergence = done.duty.intake_m, float(site.submergence_m)
    if chosen.pump["family"] == SURFACE:
        submergence = well_physics.SURFACE_SUBMERGENCE_M
    top = sized.well.deepest_m + well_physics.drawdown_m(site, done.duty.cap_m3_h, True)
    sheet.result(
        "intake",
        "planning level at the cap + submergence, whole metres, at most the deepest intake",
        f"min(max(ceil({n(top, 10)} + {n(submergence)}), 1), {n(site.deepest_intake_m)})",
        intake,
        "m",
        "well.submergence_m; 1 m for a foot valve",
    )
    sheet.value("tank", f"{n(chosen.tank_m3)} m3", searched)
    if not site.stands:
        sheet.text(
            "Pump, riser, delivery pipe, cable, array and tank are chosen together: of all sets that pass the rules "
            "and give the water that is wanted, the one whose cubic metre costs least. Costs within 0.1 % count as "
            "equal; then the smaller array decides."
        )
