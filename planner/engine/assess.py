"""The heart: sites in, results out, a row for each, in the same order.

`assess` reads no file and keeps no state; what it returns for a site does not depend on the sites it shares a
chunk with. `Sites` holds exactly the columns it reads, `Context` everything that is common to all sites.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import FAMILIES, SURFACE
from planner.catalogue.loader import Catalogue
from planner.engine.choose import Choice, as_it_stands, choose
from planner.engine.cost import Market, design_cost, price_market
from planner.engine.duty import (
    RULES,
)
from planner.engine.light import Light
from planner.engine.report import Performance, intake_of, perform
from planner.engine.room import Room, make_room
from planner.engine.site import Record, Rules, Site, record, records
from planner.engine.skies import Skies, Suns
from planner.engine.sun import DAYS
from planner.engine.weather import Weather
from planner.engine.well import LIMITS
from planner.physics.money import capital_recovery_factor
from planner.plan import Plan

Floats = NDArray[np.float64]

CORROSIVE_PH = 6.5
CORROSIVE_CHLORIDE_MG_L = 200.0
MONTHLY = (
    "ghi",
    "diffuse",
    "clearness_spread",
    "air_temperature",
    "temperature_range",
    "wind",
    "rest_level",
    "demand",
    "people_share",
)


@dataclass(frozen=True)
class Sites(Suns):
    """Columns of the sites to assess: (n,), or (n, 12) for the names in MONTHLY. Units as in the glossary."""

    inventory_row: NDArray[np.int64]
    solar_sizing_factor: Floats
    storage_share: Floats
    elevation_m: Floats
    rest_level: Floats
    rest_level_rule_m: Floats
    interference_m: Floats
    drawdown_b_d_m2: Floats
    drawdown_b_rule_d_m2: Floats
    drawdown_c_d2_m5: Floats
    memory_d_m2: Floats
    share_rate_m3_h: Floats
    safe_volume_m3_day: Floats
    level_limit_m: Floats
    level_is_screen: NDArray[np.bool_]
    deepest_intake_m: Floats
    tank_height_m: Floats
    pipe_length_m: Floats
    casing_used_mm: Floats
    water_temperature_used_c: Floats
    sand_mg_l: Floats
    ph: Floats
    chloride_mg_l: Floats
    demand: Floats
    demand_growth: Floats
    road_km: Floats
    people_counted: Floats
    people_share: Floats
    existing_pump: NDArray[np.int64]  # index into the catalogue, -1 for a new set
    existing_array_wp: Floats
    existing_tilt_deg: Floats


@dataclass(frozen=True)
class Context:
    """What all sites share."""

    plan: Plan
    catalogue: Catalogue
    rules: Record
    market: Market
    weather: Weather | None  # an hourly year for all sites, in place of kinds of day

    def skies(self) -> Skies:
        """The maker of light, with nothing made yet."""
        return Skies(self.plan.array, np.asarray(self.catalogue.modules.gamma_per_k), self.weather)


@dataclass(frozen=True)
class FamilyRule:
    """The rule that decided a family at a site: `pump_fits`, or what stopped its furthest pump."""

    inventory_row: int
    family: str
    rule: str
    value: float
    limit: float


@dataclass(frozen=True)
class Results:
    """One record a site, glossary name → value with missing names left out, and what decided each family."""

    rows: list[dict[str, object]]
    rules: list[FamilyRule]


def make_context(plan: Plan, catalogue: Catalogue, weather: Weather | None = None) -> Context:
    """Everything the kernels read besides the sites."""
    c = catalogue
    market = Market(
        records(c.pumps, "worth"),
        records(c.drives),
        records(c.modules, "worth"),
        records(c.risers, "worth", "worth_corrosive"),
        records(c.deliveries, "worth", "worth_corrosive"),
        records(c.cables, "worth"),
        records(c.tanks, "worth"),
        record(c.prices),
        record(c.lives),
    )
    rules = Rules(
        residual_m=plan.pipes.residual_pressure_m,
        velocity_riser_m_s=plan.pipes.velocity_max_riser_m_s,
        velocity_delivery_m_s=plan.pipes.velocity_max_delivery_m_s,
        minor_k=plan.pipes.minor_loss_k,
        cable_to_drive_m=plan.pipes.cable_to_drive_m,
        cable_loss=plan.pipes.cable_loss_max,
        ratio_max=plan.array.ratio_max or 0.0,
        hot_cell_c=plan.array.hot_cell_c,
        ageing_year=plan.array.ageing_year,
        availability=plan.equipment.pump_availability,
        hdpe_max_m=plan.equipment.hdpe_riser_max_m,
        water_temp_max_c=plan.equipment.water_temp_max_c,
        safe_hours_day=plan.well.safe_hours_day,
        reliability_year=plan.equipment.reliability_year,
        reliability_month=plan.equipment.reliability_worst_month,
        losses=plan.demand.losses,
        horizon_y=float(plan.programme.horizon_years),
        design_year=float(min(plan.demand.design_year, plan.programme.horizon_years)),
        discount_rate=plan.programme.discount_rate,
        contingency=plan.costs.contingency,
        contingency_equipment=plan.costs.contingency_equipment,
        tax=plan.costs.tax,
        residual=plan.costs.residual,
        daily=True,
        tracking=plan.array.mounting == "single_axis",
    )
    rules_record = record(rules)
    price_market(market, rules_record)
    return Context(plan, catalogue, rules_record, market, weather)


def assess(sites: Sites, context: Context) -> Results:
    """Size and cost every site of a chunk."""
    rows: list[dict[str, object]] = []
    rules: list[FamilyRule] = []
    skies, room = context.skies(), make_room(context.market)
    for i in range(sites.inventory_row.size):
        site = site_record(sites, i, context)
        climate = sites.climate(i)
        installed = int(sites.existing_pump[i])
        plane = skies.plane(climate, site, float(sites.existing_tilt_deg[i]) if installed >= 0 else np.nan)
        light = skies.light(climate, plane)
        array_w = float(sites.existing_array_wp[i]) if installed >= 0 else 0.0
        choice, done = sized(site, light, context, room, installed, array_w)
        row: dict[str, object] = {"inventory_row": int(sites.inventory_row[i])}
        row["solar_kwh_m2_day"] = float(sites.ghi[i] @ DAYS / DAYS.sum())
        if done is not None:
            row |= _equipment(choice, done, context, installed >= 0)
            row |= _quantities(choice.chosen, done, site, context)
            row |= _water(done, site, context)
            row |= _money(choice, done, site, context, room, installed >= 0)
            row["people_served"] = _people_served(sites, i, done, site, context.plan)
            row |= _per_person(row)
            row["mounting"] = "single_axis" if plane.tracking else "fixed"
            if not plane.tracking:
                row |= {"tilt_deg": plane.tilt_deg, "azimuth_deg": plane.azimuth_deg}
            row["engine_status"] = "installed" if installed >= 0 else "designed"
        elif installed >= 0:  # it stands, but gives no water here
            row |= {"engine_status": "installed", "pump_id": context.catalogue.pump_ids[installed], "array_wp": array_w}
            row |= {"supply_reliability": 0.0, "supply_reliability_worst_month": 0.0, "supply_limited": "catalogue"}
        else:
            row["engine_status"] = "no_design"
        rows.append(row)
        for family, name in enumerate(FAMILIES):
            if choice.rule[family] >= 0:
                rule = RULES[choice.rule[family]]
                rules.append(
                    FamilyRule(int(sites.inventory_row[i]), name, rule, choice.value[family], choice.limit[family])
                )
    return Results(rows, rules)


def sized(
    site: Record, light: Light, context: Context, room: Room, installed: int, array_w: float
) -> tuple[Choice, Performance | None]:
    """The choice of a site and what the chosen design does; None where nothing can be built or lifts water.

    installed, array_w  index of the pump of a set that stands already and its array; −1 for a new set
    """
    market, rules = context.market, context.rules
    if installed < 0:
        choice = choose(site, light, market, rules, room)
    else:
        choice = as_it_stands(installed, array_w, site, light, market, rules, room)
    if choice.family < 0:
        return choice, None
    done = perform(choice.chosen, site, light, market, rules, room)
    return choice, done if done.used_m3_day > 0.0 else None


def site_record(s: Sites, i: int, context: Context) -> Record:
    """The kernels' record of site i: the columns of the inventory with the plan's defaults in their gaps."""
    plan = context.plan
    lift = s.tank_height_m[i]
    if np.isnan(lift):
        lift = plan.pipes.stand_m + plan.pipes.tank_height_m
    length = s.pipe_length_m[i]
    people = s.people_counted[i]
    if np.isnan(people):  # taps for as many as the demand would serve
        people = 1000.0 * s.demand[i].mean() * (1 - plan.demand.losses) / plan.demand.norm_l_person_day
    return record(
        Site(
            rest_m=s.rest_level[i] + s.interference_m[i],
            rest_rule_m=float(s.rest_level_rule_m[i] + s.interference_m[i]),
            b_d_m2=float(s.drawdown_b_d_m2[i]),
            b_rule_d_m2=float(s.drawdown_b_rule_d_m2[i]),
            c_d2_m5=float(s.drawdown_c_d2_m5[i]),
            memory_d_m2=float(s.memory_d_m2[i]),
            share_rate_m3_h=float(s.share_rate_m3_h[i]),
            safe_volume_m3_day=float(s.safe_volume_m3_day[i]),
            level_limit_m=float(s.level_limit_m[i]),
            level_is_screen=bool(s.level_is_screen[i]),
            deepest_intake_m=float(s.deepest_intake_m[i]),
            submergence_m=plan.well.submergence_m,
            lift_m=float(lift),
            pipe_length_m=float(plan.pipes.pipe_length_m if np.isnan(length) else length),
            casing_mm=float(s.casing_used_mm[i]),
            water_c=float(s.water_temperature_used_c[i]),
            sand_mg_l=float(s.sand_mg_l[i]),
            corrosive=bool(s.ph[i] < CORROSIVE_PH or s.chloride_mg_l[i] > CORROSIVE_CHLORIDE_MG_L),
            elevation_m=float(s.elevation_m[i]),
            record_low_c=float(s.air_temperature[i].min() - plan.array.record_low_margin_k),
            demand_m3_day=np.ascontiguousarray(s.demand[i]),
            storage_share=float(s.storage_share[i]),
            low_sun=float(s.solar_sizing_factor[i]),
            growth=float(s.demand_growth[i]),
            road_km=float(s.road_km[i]),
            taps=float(np.ceil(people / context.catalogue.prices.people_per_tap)),
            stands=bool(s.existing_pump[i] >= 0),
        )
    )


def _equipment(choice: Choice, done: Performance, context: Context, installed: bool) -> dict[str, object]:
    design, duty, c = choice.chosen, done.duty, context.catalogue
    found: dict[str, object] = {
        "pump_family": FAMILIES[c.pumps.family[design.pump]],
        "pump_id": c.pump_ids[design.pump],
        "drive_id": c.drive_ids[c.pumps.drive[design.pump]],
        "motor_w": float(c.pumps.motor_w[design.pump]),
        "intake_depth_m": duty.intake_m,
        "riser_id": c.riser_ids[design.riser],
        "riser_mm": float(c.risers.nominal_mm[design.riser]),
        "delivery_id": c.delivery_ids[design.delivery],
        "delivery_mm": float(c.deliveries.nominal_mm[design.delivery]),
        "cable_mm2": float(c.cables.mm2[design.cable]),
        "sleeve": bool(design.sleeve),
        "array_wp": float(design.array_wp),
        "tank_m3": float(c.tanks.volume_m3[design.tank]),
    }
    if not installed:
        found["module_id"] = c.module_ids[design.module]
        found["modules_series"] = float(design.series)
        found["modules_parallel"] = float(design.parallel)
    return found


def _quantities(design: Record, done: Performance, site: Record, context: Context) -> dict[str, object]:
    """Lengths and counts of the bill that no other column tells."""
    surface = context.catalogue.pumps.family[design.pump] == SURFACE
    in_well_m = 0.0 if surface else float(done.duty.intake_m)
    return {
        "motor_cable_m": float(context.rules.cable_to_drive_m) + in_well_m,
        "delivery_m": float(site.pipe_length_m),
        "tap_stands": float(site.taps),
    }


def _water(done: Performance, site: Record, context: Context) -> dict[str, object]:
    plan = context.plan
    month = done.design_month
    found: dict[str, object] = {
        "design_month": float(month + 1),
        "design_static_level_m": done.rest_m,
        "design_pumping_level_m": done.level_m,
        "total_head_m": done.head_m,
        "design_pumping_level_rule_m": done.level_rule_m,
        "total_head_rule_m": done.head_rule_m,
        "peak_flow_m3_h": done.peak_m3_h,
        "peak_design_m3_h": done.peak_design_m3_h,
        "cap_flow_m3_h": done.duty.cap_m3_h,
        "safe_rate_m3_h": done.duty.safe_m3_h,
        "safe_rate_limit": LIMITS[done.duty.safe_limit],
        "design_demand_m3_day": float(site.demand_m3_day[month]),
        "volume_pumped_m3_day": float(done.volumes_m3_day @ DAYS / DAYS.sum()),
        "volume_used_m3_day": done.used_m3_day * (1 - plan.demand.losses),
        "supply_reliability": done.reliability,
        "supply_reliability_worst_month": done.worst_month,
        "low_sun_reliability": done.low_sun_reliability,
        "low_sun_reliability_worst_month": done.low_sun_worst_month,
        "power_share_to_run": done.run_share,
        "days_below_80pct": done.short_days,
        "running_hours_day": done.running_hours_day,
        "wire_to_water": done.wire_to_water,
        "specific_output_m4_kwp_day": done.specific_output,
        "supply_limited": _supply_limited(done, site, context),
    }
    for m in range(12):
        found[f"volume_{m + 1:02d}"] = float(done.volumes_m3_day[m])
        found[f"used_{m + 1:02d}"] = float(done.used_m3_month_day[m]) * (1 - plan.demand.losses)
    return found


def _supply_limited(done: Performance, site: Record, context: Context) -> str:
    rules = context.rules
    year, month = done.low_sun_reliability, done.low_sun_worst_month
    if site.stands:  # what stands is judged by the mean year
        year, month = done.reliability, done.worst_month
    if year >= rules.reliability_year and month >= rules.reliability_month:
        return ""
    most = rules.safe_hours_day * done.well.safe_m3_h
    return "well" if most < rules.reliability_month * site.demand_m3_day.max() else "catalogue"


def _money(
    choice: Choice, done: Performance, site: Record, context: Context, room: Room, installed: bool
) -> dict[str, object]:
    """Costs of the chosen design, and the best of every family with both of its costs."""
    programme, catalogue = context.plan.programme, context.catalogue
    if installed:  # bought already: what stands there has no first cost and no rank
        return {"capital_cost": 0.0}
    recovery = float(capital_recovery_factor(programme.discount_rate, programme.horizon_years))
    found: dict[str, object] = {}
    scheme, equipment = np.full(3, np.inf), np.full(3, np.inf)
    for family, name in enumerate(FAMILIES):
        design = choice.best[family]
        if design.pump < 0:
            continue
        intake = done.duty.intake_m
        if family != choice.family:
            intake = intake_of(design, site, context.market, context.rules, room)
        money = design_cost(design, intake, design.rotor_life_y, site, context.rules, context.market)
        scheme[family] = money.lifecycle / design.present_m3
        equipment[family] = money.equipment_lifecycle / design.present_m3
        found |= {
            f"{name}_pump_id": catalogue.pump_ids[design.pump],
            f"{name}_array_wp": float(design.array_wp),
            f"{name}_tank_m3": float(catalogue.tanks.volume_m3[design.tank]),
            f"cost_{name}_per_m3": float(scheme[family]),
            f"cost_equipment_{name}_per_m3": float(equipment[family]),
        }
        if family == choice.family:
            found |= {
                "capital_cost": money.capital,
                "lifecycle_cost": money.lifecycle,
                "annual_cost": recovery * money.lifecycle,
                "cost_per_m3": float(scheme[family]),
                "cost_equipment_per_m3": float(equipment[family]),
            }
    others = [family for family in range(3) if family != choice.family and np.isfinite(scheme[family])]
    if others:
        nearest = min(others, key=lambda family: scheme[family])
        found["family_margin"] = float(scheme[nearest] / scheme[choice.family] - 1.0)
        found["family_margin_equipment"] = float(equipment[nearest] / equipment[choice.family] - 1.0)
    return found


def _per_person(row: dict[str, object]) -> dict[str, object]:
    """First cost of the whole scheme ÷ people served; nothing where it serves nobody, or nobody knows how many."""
    capital, people = (float(str(row.get(name, "nan"))) for name in ("capital_cost", "people_served"))
    return {"cost_per_person": capital / people} if capital > 0.0 and people > 0.0 else {}


def _people_served(s: Sites, i: int, done: Performance, site: Record, plan: Plan) -> float:
    """People of today whose need is met in the worst month; missing where the people are unknown."""
    people = s.people_counted[i]
    if np.isnan(people):
        return float("nan")
    delivered = done.used_share * site.demand_m3_day * s.people_share[i]
    delivered = delivered[site.demand_m3_day > 0.0]
    met = 1000.0 * (1 - plan.demand.losses) * delivered.min() / plan.demand.norm_l_person_day
    return float(min(people, met))
