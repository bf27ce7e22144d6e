"""From what the engine reads and chooses to a `Case` of the slow model: only units change here.

The motor cable and the clip of the drive are worked out again; the design itself is the engine's.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.assess import Context, Sites
from planner.engine.choose import choose
from planner.engine.cost import Market, price_market
from planner.engine.days import Days
from planner.engine.light import Light, Plane, light
from planner.engine.report import perform
from planner.engine.room import make_room
from planner.engine.site import Record, Rules, record, records
from planner.engine.site import Site as WellSite
from planner.engine.sun import Climate, monthly_sky
from planner.plan import Array
from tests.reference.slow_model import Case, Months
from tests.reference.slow_set import Numbers, Site, Stock

POWER_FACTOR = 0.85  # of small motors, common practice; the motor's rated current follows from it
CABLE_C = 50.0  # temperature of a motor cable under water, common practice
COPPER_PER_K = 0.00393  # annealed copper, IEC 60028
PRIMING = 0.97  # availability of a set that must be primed, common practice
FAMILY_NAMES = ("helical", "centrifugal", "surface")


class Chosen(NamedTuple):
    """The engine's choice at a site: places in the small catalogue, and what the design gives."""

    pump: int
    riser: int
    delivery: int
    cable: int
    module: int
    array_wp: float
    tank: int
    cost_per_m3: float  # whole scheme, at the tap
    reliability: float  # share of the year's demand, design year, mean sun
    worst_month: float  # of any month's, the same
    used_m3_year: float  # design year, mean sun, at the tank inlet


def engine_choice(site: Site, stock: Stock, numbers: Numbers, days: Days) -> Chosen | None:
    """The engine's choice among all designs of a small catalogue; None where no design is buildable.

    site     well and demand; the names are those of the engine's `Site`, of which `level_is_screen` is False, `stands`
             is False and `submergence_m` is that of `numbers`. `site.sun` is the climate with the plane: a new array
             of the given tilt and azimuth, no tracker, `soiling`, `shade`, `other_losses`, `wiring_loss` and `albedo`
             as there, monthly means only (no weather file), the law of the tropics where `tropical`. Nothing is
             chosen about the plane.
    stock    everything that may be chosen; an entry of `drives` is named by `pumps.drive`
    numbers  the plan's; `[array] ratio_max` is empty, residual values count, the whole scheme is costed, days are
             balanced one by one
    days     the order of the days for this site

    Places are those in `stock`. Results are of the chosen design, not of a year of low sun.
    """
    market = Market(
        records(stock.pumps, "worth"),
        records(stock.drives),
        records(stock.modules, "worth"),
        records(stock.risers, "worth", "worth_corrosive"),
        records(stock.deliveries, "worth", "worth_corrosive"),
        records(stock.cables, "worth"),
        records(stock.tanks, "worth"),
        record(stock.prices),
        record(stock.lives),
    )
    rules = _rules(numbers)
    price_market(market, rules)
    light = _light(site.sun, days, np.asarray(stock.modules.gamma_per_k))
    well, room = _well(site, numbers), make_room(market)
    best = choose(well, light, market, rules, room).chosen
    if best.pump < 0:
        return None
    done = perform(best, well, light, market, rules, room)
    places = (best.pump, best.riser, best.delivery, best.cable, best.module)
    return Chosen(
        *(int(place) for place in places), float(best.array_wp), int(best.tank), float(best.cost_per_m3),
        done.reliability, done.worst_month, float(best.used_m3_year),
    )  # fmt: skip


def _rules(numbers: Numbers) -> Record:
    """The plan's numbers as the kernels read them."""
    shared = numbers.__dict__.copy()
    del shared["submergence_m"]
    shared |= {name: float(shared[name]) for name in ("horizon_y", "design_year")}
    return record(
        Rules(
            **shared,
            ratio_max=0.0,
            safe_hours_day=10.0,
            contingency_equipment=numbers.contingency,
            residual=True,
            daily=True,
            tracking=False,
        )
    )


def _well(site: Site, numbers: Numbers) -> Record:
    """The site as the kernels read it."""
    shared = {name: value for name, value in site.__dict__.items() if name not in ("name", "sun")}
    shared |= {name: np.array(shared[name]) for name in ("rest_m", "demand_m3_day")}
    return record(WellSite(**shared, level_is_screen=False, submergence_m=numbers.submergence_m, stands=False))


def _light(case: Case, days: Days, gammas: np.ndarray) -> Light:
    """The engine's light on the case's plane."""
    climate = Climate(
        case.latitude_deg, case.tropical, *(np.array(months) for months in (
            case.ghi_kwh_m2_day, case.dhi_kwh_m2_day, case.clearness_spread, case.air_temperature_c, case.daily_range_k,
            case.wind_m_s,
        ))
    )  # fmt: skip
    array = Array(
        soiling=case.soiling, shade=case.shade, other_losses=case.other_losses, wiring_loss=case.wiring_loss,
        albedo=case.albedo,
    )  # fmt: skip
    return light(monthly_sky(climate), days, Plane(case.tilt_deg, case.azimuth_deg, False), gammas, array)


def case_of(sites: Sites, i: int, row: dict[str, object], context: Context) -> Case:
    """The chosen design of site `i` as a case.

    row  the engine's results of that site: pump, pipes, cable, intake, array, tilt and cap are taken from it
    """
    plan, catalogue = context.plan, context.catalogue
    pump = _entry(catalogue.pumps, catalogue.pump_ids, row["pump_id"])
    drive = _entry(catalogue.drives, catalogue.drive_ids, row["drive_id"])
    riser = _entry(catalogue.risers, catalogue.riser_ids, row["riser_id"])
    delivery = _first(catalogue.deliveries, "nominal_mm", row["delivery_mm"])
    module = _module(row, context)
    surface, tracking = pump["family"] == SURFACE, row["mounting"] == "single_axis"
    length = plan.pipes.cable_to_drive_m + (0.0 if surface else _number(row, "intake_depth_m"))
    design_year = min(plan.demand.design_year, plan.programme.horizon_years)
    warm = 0.0 if surface else max(0.0, sites.water_temperature_used_c[i] - 30.0)  # 2 %/K above 30 °C
    tank_lift = plan.pipes.stand_m + plan.pipes.tank_height_m
    return Case(
        latitude_deg=float(sites.solar_latitude[i]),
        ghi_kwh_m2_day=_months(sites.ghi[i]),
        air_temperature_c=_months(sites.air_temperature[i]),
        wind_m_s=_months(sites.wind[i]),
        tilt_deg=0.0 if tracking else _number(row, "tilt_deg"),
        azimuth_deg=0.0 if tracking else _number(row, "azimuth_deg"),
        tropical=bool(sites.tropical[i]),
        tracking=tracking,
        dhi_kwh_m2_day=_months(sites.diffuse[i]),
        clearness_spread=_months(sites.clearness_spread[i]),
        daily_range_k=_months(sites.temperature_range[i]),
        albedo=plan.array.albedo,
        array_wp=_number(row, "array_wp"),
        ageing_factor=1.0 - plan.array.ageing_year * design_year,
        gamma_per_k=module["gamma_per_k"],
        soiling=plan.array.soiling,
        shade=plan.array.shade,
        other_losses=plan.array.other_losses,
        wiring_loss=plan.array.wiring_loss,
        rest_level_m=_months(sites.rest_level[i]),
        interference_m=float(sites.interference_m[i]),
        memory_m_per_m3_day=float(sites.memory_d_m2[i]),
        drawdown_b_d_m2=float(sites.drawdown_b_d_m2[i]),
        drawdown_c_d2_m5=float(sites.drawdown_c_d2_m5[i]),
        demand_m3_day=_months(sites.demand[i]),
        lift_m=_or(sites.tank_height_m[i], tank_lift),
        residual_m=plan.pipes.residual_pressure_m,
        water_temperature_c=float(sites.water_temperature_used_c[i]),
        intake_depth_m=_number(row, "intake_depth_m"),
        riser_inner_mm=riser["inside_mm"],
        riser_roughness_mm=riser["roughness_mm"],
        minor_loss_k=plan.pipes.minor_loss_k,
        delivery_length_m=_or(sites.pipe_length_m[i], plan.pipes.pipe_length_m),
        delivery_inner_mm=delivery["inside_mm"],
        delivery_roughness_mm=delivery["roughness_mm"],
        family=FAMILY_NAMES[int(pump["family"])],
        rated_speed_rpm=pump["rated_speed_rpm"],
        min_speed_ratio=pump["min_speed_ratio"],
        rated_shaft_w=pump["motor_w"],
        k_copper=pump["copper_share"],
        k_speed=pump["iron_share"],
        cable_to_motor_resistance=_cable_to_motor(pump, drive, _number(row, "cable_mm2"), length, context),
        drive_efficiency=drive["efficiency"],
        standby_w=drive["standby_w"],
        clip_w=pump["motor_w"] / pump["motor_efficiency"] / drive["efficiency"] * (1.0 - 0.02 * warm),
        flow_cap_m3_h=_number(row, "cap_flow_m3_h"),
        availability=plan.equipment.pump_availability * (PRIMING if surface else 1.0),
        displacement_cm3=pump["displacement_cm3"],
        slip_m3_h_bar=1e5 * pump["slip_m3_h_pa"],
        slip_factor=pump["slip_life_factor"] if pump["family"] == HELICAL else 1.0,
        fit_torque_nm=pump["fit_friction_nm"],
        start_fit_factor=pump["breakaway_ratio"],
        best_flow_m3_h=pump["best_flow_m3_h"],
        best_head_m=pump["head_at_best_m"],
        stages=1,  # the catalogue gives the head of all stages together
        best_efficiency=pump["best_efficiency"],
        max_flow_ratio=pump["max_flow_ratio"],
    )


def monthly_results(row: dict[str, object]) -> np.ndarray:
    """The engine's pumpable volumes, m3/d, shape (12,)."""
    return np.array([_number(row, f"volume_{month:02d}") for month in range(1, 13)])


def _cable_to_motor(
    pump: dict[str, float], drive: dict[str, float], mm2: float, length_m: float, context: Context
) -> float:
    """Loss of the motor cable ÷ copper loss of the motor, both at rated current: 3 I² R / (k_c P)."""
    cable = _first(context.catalogue.cables, "mm2", mm2)
    current = pump["motor_input_w"] / (math.sqrt(3.0) * drive["motor_voltage_v"] * POWER_FACTOR)
    ohm = cable["r20_ohm_m"] * (1.0 + COPPER_PER_K * (CABLE_C - 20.0)) * length_m
    return 3.0 * current**2 * ohm / (pump["copper_share"] * pump["motor_w"])


def _module(row: dict[str, object], context: Context) -> dict[str, float]:
    """The chosen module; an installed array is of unknown make and taken as the catalogue's first."""
    ids = context.catalogue.module_ids
    return _entry(context.catalogue.modules, ids, row.get("module_id", ids[0]))


def _entry(columns: tuple[np.ndarray, ...], ids: tuple[str, ...], wanted: object) -> dict[str, float]:
    return _at(columns, ids.index(str(wanted)))


def _first(columns: tuple[np.ndarray, ...], name: str, value: object) -> dict[str, float]:
    """The first entry of which a field has a value."""
    return _at(columns, int(np.flatnonzero(getattr(columns, name) == value)[0]))


def _at(columns: tuple[np.ndarray, ...], place: int) -> dict[str, float]:
    return {name: float(values[place]) for name, values in columns._asdict().items()}


def _months(values: np.ndarray) -> Months:
    return tuple(float(value) for value in values)


def _number(row: dict[str, object], name: str) -> float:
    return float(row[name])  # type: ignore[arg-type]


def _or(value: float, default: float) -> float:
    return float(default if math.isnan(value) else value)
