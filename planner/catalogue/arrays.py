"""Equipment and prices as tuples of plain arrays, ready for a compiled kernel.

All arrays are one-dimensional, C-contiguous, float64 or int64. Money is in the plan's currency and price
year. A field that does not apply to a pump's family is 0.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

HELICAL, CENTRIFUGAL, SURFACE = 0, 1, 2
FAMILIES: tuple[str, ...] = ("helical_rotor", "centrifugal", "surface")  # index = Pumps.family
HDPE, STEEL = 0, 1
MATERIALS: tuple[str, ...] = ("hdpe", "steel")  # index = Pipes.material


class Pumps(NamedTuple):
    """One entry a pump (pump end + motor + drive), all families together, ascending by pump_id."""

    family: Integers  # HELICAL, CENTRIFUGAL, SURFACE
    displacement_cm3: Floats  # helical: swept volume of one turn
    slip_m3_h_pa: Floats  # helical, new: q = V n - slip × pressure^slip_exponent, m3/h per Pa^slip_exponent
    slip_exponent: Floats  # helical: 1, or what measured points give
    slip_life_factor: Floats  # helical: mid-life slip ÷ new
    slip_end_factor: Floats  # helical: slip at the end of rotor and stator ÷ new
    fit_friction_nm: Floats  # helical: torque of the rotor's fit, any speed
    breakaway_ratio: Floats  # helical: friction at start ÷ running
    pressure_limit_pa: Floats  # helical: highest pressure across the pump
    fit_temp_min_c: Floats  # helical: water temperature band of the rotor's fit
    fit_temp_max_c: Floats
    best_flow_m3_h: Floats  # centrifugal, surface: at rated speed
    head_at_best_m: Floats  # centrifugal, surface: all stages
    best_efficiency: Floats  # centrifugal, surface: of the pump end
    best_power_w: Floats  # centrifugal, surface: shaft power at best flow, water of 20 °C
    head_0_m: Floats  # centrifugal, surface: H = head_0 r² + head_1 r q + head_2 q², of every pump
    head_1_m_h_m3: Floats
    head_2_m_h2_m6: Floats
    measured: Integers  # centrifugal, surface: 1 where power is fitted to measured points, else the general form
    power_0_w: Floats  # measured: P = r³ (power_0 + power_1 x + power_2 x² + power_3 x³), water of 20 °C; else 0
    power_1_w: Floats
    power_2_w: Floats
    power_3_w: Floats
    max_flow_ratio: Floats  # centrifugal, surface: highest flow ÷ best flow at the same speed
    npshr_best_m: Floats  # surface: suction head needed at best flow
    rated_speed_rpm: Floats
    min_speed_ratio: Floats  # lowest ÷ rated speed
    motor_w: Floats  # rated shaft power
    rated_torque_nm: Floats
    peak_torque_ratio: Floats  # highest ÷ rated torque, motor with its drive
    motor_efficiency: Floats  # at rated power
    copper_share: Floats  # loss that goes with torque², at rated ÷ rated shaft power
    iron_share: Floats  # loss that goes with speed^1.5, same; copper + iron = 1/efficiency - 1
    motor_input_w: Floats  # rated shaft power ÷ motor efficiency
    drive_rating_w: Floats  # motor input ÷ drive efficiency: the array's power is clipped here
    outside_mm: Floats  # largest outside diameter; 0 for surface pumps
    casing_min_mm: Floats  # narrowest casing that the pump may serve
    water_temp_max_c: Floats  # warmest water for the motor
    sand_max_mg_l: Floats
    sand_warn_mg_l: Floats
    mass_kg: Floats
    pump_price: Floats  # pump end + motor, or motor pump
    life_y: Floats  # calendar life of pump end + motor
    rotor_stator_price: Floats  # helical: the pair with labour
    hours_life: Floats  # helical: of rotor and stator in clean water
    wear_sand_mg_l: Floats  # helical: hours_life ÷ (1 + sand ÷ this)
    rotor_stator_cap_y: Floats  # helical: calendar cap of rotor and stator
    drive: Integers  # index into Drives
    drive_price: Floats


class Drives(NamedTuple):
    """One entry a drive, in the order of the file."""

    induction: Integers  # 0 permanent magnet, 1 induction
    mpp_min_v: Floats
    mpp_max_v: Floats
    v_max_v: Floats
    shaft_min_kw: Floats
    shaft_max_kw: Floats
    ratio_max: Floats  # highest array ÷ drive_rating_w; the plan's [array] ratio_max replaces it
    isc_max_a: Floats  # sum of the strings' short-circuit currents
    motor_voltage_v: Floats  # line voltage of the motor at rated speed
    boost: Integers  # 1: array voltage never limits speed
    efficiency: Floats
    standby_w: Floats
    life_y: Floats


class Modules(NamedTuple):
    """One entry a module, ascending by rated power."""

    rated_wp: Floats
    vmp_v: Floats
    voc_v: Floats
    imp_a: Floats
    isc_a: Floats
    gamma_per_k: Floats  # power
    beta_voc_per_k: Floats  # open-circuit voltage
    gamma_vmp_per_k: Floats  # voltage at maximum power
    price_wp: Floats
    life_y: Floats


class Pipes(NamedTuple):
    """One entry a pipe, ascending by price a metre, then by id."""

    material: Integers  # HDPE, STEEL
    nominal_mm: Floats  # outside diameter (plastic), nominal size (steel)
    outside_mm: Floats
    inside_mm: Floats
    pressure_pa: Floats  # pressure class
    roughness_mm: Floats
    price_m: Floats
    life_y: Floats
    life_corrosive_y: Floats  # pH < 6.5 or chloride > 200 mg/L


class Cables(NamedTuple):
    """One entry a submersible four-core motor cable, ascending by size."""

    mm2: Floats
    r20_ohm_m: Floats  # one conductor, copper, 20 °C
    mass_kg_m: Floats
    price_m: Floats
    life_y: Floats


class Tanks(NamedTuple):
    """Tanks on their stand, ascending by volume, none above [equipment] tank_max_m3.

    After the largest size come its whole multiples, as so many tanks side by side.
    """

    volume_m3: Floats
    price: Floats
    life_y: Floats


class Prices(NamedTuple):
    """Prices of everything else at a site, one float an item; shares and counts are dimensionless."""

    mounting_wp: float
    mounting_tracker_wp: float  # in place of mounting_wp where arrays turn with the sun
    dc_wiring_wp: float
    dc_wiring_site: float
    relief_and_check_set: float  # helical
    check_valve_set: float  # centrifugal
    suction_set: float  # surface
    dry_run_and_level_switch: float
    cooling_sleeve: float
    wellhead_civil: float
    tap_stand: float
    people_per_tap: float  # people
    fence_site: float
    fence_wp: float
    anti_theft_site: float
    earthing_lightning: float
    pumping_test: float
    water_quality_test: float
    transport_km: float  # a kilometre driven: a site pays 2 × its road distance
    training_site: float
    supervision_site: float
    supervision_share: float  # of all other items of the scheme
    installation_site: float
    installation_share: float  # of array + pump + drive
    installation_helical: float  # on top, helical only
    om_equipment_year: float
    om_equipment_share: float  # of the goods of the equipment, a year
    om_scheme_year: float
    om_scheme_share: float  # of the same goods, a year
    om_tank_share: float  # of the tank's price, a year
    om_tracker_wp: float  # a year
    guard_year: float


class Lives(NamedTuple):
    """Lives in years of the items of `Prices` that wear out, same names."""

    mounting_wp: float
    mounting_tracker_wp: float
    dc_wiring_wp: float
    dc_wiring_site: float
    relief_and_check_set: float
    check_valve_set: float
    suction_set: float
    dry_run_and_level_switch: float
    cooling_sleeve: float
    wellhead_civil: float
    tap_stand: float
    fence_site: float
    fence_wp: float
    anti_theft_site: float
    earthing_lightning: float
