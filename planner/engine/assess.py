"""The heart: sites in, results out, a row for each, in the same order.

`assess` reads no file and keeps no state; what it returns for a site does not depend on the sites it shares a
chunk with. `Sites` holds exactly the columns it reads, `Context` everything that is common to all sites.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import FAMILIES
from planner.catalogue.loader import Catalogue
from planner.engine import sun
from planner.engine.cost import Market
from planner.engine.duty import LIMITS, RULES
from planner.engine.report import Performance, perform
from planner.engine.search import Choice, search
from planner.engine.site import Record, Rules, Site, record, records
from planner.engine.volume import Light
from planner.physics.money import capital_recovery_factor
from planner.plan import Plan

Floats = NDArray[np.float64]

TILT_PUMPING_HOURS = 6.0  # a day's demand at this many hours gives the head that a tilt is chosen with
CORROSIVE_PH = 6.5
CORROSIVE_CHLORIDE_MG_L = 200.0
MONTHLY = ("ghi", "air_temperature", "wind", "rest_level", "demand")


@dataclass(frozen=True)
class Sites:
    """Columns of the sites to assess: (n,), or (n, 12) for the names in MONTHLY. Units as in the glossary."""

    inventory_row: NDArray[np.int64]
    solar_latitude: Floats
    ghi: Floats
    air_temperature: Floats
    wind: Floats
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
    distance_km: Floats
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


def make_context(plan: Plan, catalogue: Catalogue) -> Context:
    """Everything the kernels read besides the sites."""
    c = catalogue
    market = Market(
        records(c.pumps),
        records(c.drives),
        records(c.modules),
        records(c.risers),
        records(c.deliveries),
        records(c.cables),
        records(c.tanks),
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
        storage_share=plan.demand.storage_share,
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
        detour=plan.costs.detour,
        residual=plan.costs.residual,
    )
    return Context(plan, catalogue, record(rules), market)


def assess(sites: Sites, context: Context) -> Results:
    """Size and cost every site of a chunk."""
    rows: list[dict[str, object]] = []
    rules: list[FamilyRule] = []
    skies = Skies(context)
    for i in range(sites.inventory_row.size):
        site = site_record(sites, i, context)
        climate = sun.Climate(
            float(sites.solar_latitude[i]),
            tuple(sites.ghi[i]),
            tuple(sites.air_temperature[i]),
            tuple(sites.wind[i]),
        )
        installed = int(sites.existing_pump[i])
        tilt = sites.existing_tilt_deg[i] if installed >= 0 else np.nan
        if np.isnan(tilt):
            tilt = skies.tilt(climate, site)
        light = skies.light(climate, float(tilt))
        array_w = float(sites.existing_array_wp[i]) if installed >= 0 else 0.0
        choice = search(site, light, context.market, context.rules, installed, array_w)
        row: dict[str, object] = {"inventory_row": int(sites.inventory_row[i]), "resource_source": "raster"}
        row["solar_kwh_m2_day"] = float(sites.ghi[i] @ sun.DAYS / sun.DAYS.sum())
        if choice.chosen.pump >= 0:
            done = perform(choice.chosen, site, light, context.market, context.rules)
            row |= _equipment(choice, done, context, installed >= 0)
            row |= _water(done, site, context)
            row |= _money(choice, context, installed >= 0)
            row["people_served"] = _people_served(sites, i, done, site, context.plan)
            row["tilt_deg"] = float(tilt)
            row["azimuth_deg"] = skies.azimuth(climate)
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


class Skies:
    """Light of the climates met in a chunk, the latest kept: sites come sorted by solar cell."""

    def __init__(self, context: Context) -> None:
        self.array = context.plan.array
        self.gammas = np.asarray(context.catalogue.modules.gamma_per_k)
        self._climate: sun.Climate | None = None
        self._energy: Floats = np.empty(0)
        self._lights: dict[float, Light] = {}

    def azimuth(self, climate: sun.Climate) -> float:
        """Direction of the array, degrees from north: the plan's, else towards the equator."""
        fixed = self.array.azimuth_deg
        return sun.towards_equator_deg(climate.latitude_deg) if fixed is None else fixed

    def light(self, climate: sun.Climate, tilt_deg: float) -> Light:
        """Power-duration of every module of the catalogue at a tilt."""
        self._use(climate)
        if tilt_deg not in self._lights:
            power = sun.hourly_power(climate, np.array([tilt_deg]), self.azimuth(climate), self.gammas, self.array)[0]
            curves = [sun.duration(module) for module in power]
            longest = max(curve.power.shape[1] for curve in curves)
            padded = [_pad(curve, longest) for curve in curves]
            self._lights[tilt_deg] = Light(*(np.stack(parts) for parts in zip(*padded, strict=True)))
        return self._lights[tilt_deg]

    def tilt(self, climate: sun.Climate, site: Record) -> float:
        """The tilt whose worst month gives most energy for its demand and head."""
        if self.array.tilt_deg is not None:
            return self.array.tilt_deg
        self._use(climate)
        if self._energy.size == 0:
            power = sun.hourly_power(climate, sun.TILTS_DEG, self.azimuth(climate), self.gammas[:1], self.array)
            self._energy = power[:, 0].sum(axis=-1).mean(axis=-1)
        day = site.demand_m3_day * 24.0 / TILT_PUMPING_HOURS
        head = site.rest_m + site.memory_d_m2 * site.demand_m3_day + site.lift_m
        head = head + site.b_d_m2 * day + site.c_d2_m5 * day**2
        worst = (self._energy / np.maximum(site.demand_m3_day * head, 1e-9)).min(axis=1)
        return float(sun.TILTS_DEG[int(np.argmax(worst))])

    def _use(self, climate: sun.Climate) -> None:
        if climate != self._climate:
            self._climate, self._energy, self._lights = climate, np.empty(0), {}


def _pad(curve: sun.Duration, steps: int) -> sun.Duration:
    """The same curve with dark steps at its end, so that modules stack."""
    more = steps - curve.power.shape[1]
    if more == 0:
        return curve
    last = np.arange(1, more + 1) / sun.KINDS
    return sun.Duration(
        np.pad(curve.power, ((0, 0), (0, more))),
        np.concatenate([curve.hours, curve.hours[:, -1:] + last], axis=1),
        np.pad(curve.energy, ((0, 0), (0, more)), mode="edge"),
    )


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
            growth=float(s.demand_growth[i]),
            distance_km=float(s.distance_km[i]),
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
        "riser_id": c.riser_ids[duty.riser],
        "riser_mm": float(c.risers.nominal_mm[duty.riser]),
        "delivery_mm": float(c.deliveries.nominal_mm[duty.delivery]),
        "cable_mm2": float(c.cables.mm2[duty.cable]),
        "sleeve": bool(design.sleeve),
        "array_wp": design.array_wp,
        "tank_m3": float(c.tanks.volume_m3[design.tank]),
    }
    if not installed:
        found["module_id"] = c.module_ids[design.module]
        found["modules_series"] = float(design.series)
        found["modules_parallel"] = float(design.parallel)
    return found


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
        "volume_pumped_m3_day": float(done.volumes_m3_day @ sun.DAYS / sun.DAYS.sum()),
        "volume_used_m3_day": done.used_m3_day * (1 - plan.demand.losses),
        "supply_reliability": done.reliability,
        "supply_reliability_worst_month": done.worst_month,
        "running_hours_day": done.running_hours_day,
        "wire_to_water": done.wire_to_water,
        "specific_output_m4_kwp_day": done.specific_output,
        "supply_limited": _supply_limited(done, site, context),
    }
    for m in range(12):
        found[f"volume_{m + 1:02d}"] = float(done.volumes_m3_day[m])
    return found


def _supply_limited(done: Performance, site: Record, context: Context) -> str:
    rules = context.rules
    if done.reliability >= rules.reliability_year and done.worst_month >= rules.reliability_month:
        return ""
    most = rules.safe_hours_day * done.well.safe_m3_h
    return "well" if most < rules.reliability_month * site.demand_m3_day.max() else "catalogue"


def _money(choice: Choice, context: Context, installed: bool) -> dict[str, object]:
    design, programme = choice.chosen, context.plan.programme
    if installed:  # bought already: what stands there has no first cost and no rank
        return {"capital_cost": 0.0}
    recovery = float(capital_recovery_factor(programme.discount_rate, programme.horizon_years))
    found: dict[str, object] = {
        "capital_cost": design.capital,
        "lifecycle_cost": design.lifecycle,
        "annual_cost": recovery * design.lifecycle,
        "cost_per_m3": design.cost_per_m3,
        "cost_equipment_per_m3": design.equipment_lifecycle / design.present_m3,
    }
    chosen = context.catalogue.pumps.family[design.pump]
    others = [choice.best_cost[f] for f in range(3) if f != chosen and np.isfinite(choice.best_cost[f])]
    if others:
        found["family_margin"] = min(others) / design.cost_per_m3 - 1.0
    for family, name in enumerate(FAMILIES):
        if np.isfinite(choice.best_cost[family]):
            found[f"cost_{name}_per_m3"] = float(choice.best_cost[family])
    return found


def _people_served(s: Sites, i: int, done: Performance, site: Record, plan: Plan) -> float:
    """People of today whose need is met in the worst month; missing where the people are unknown."""
    people = s.people_counted[i]
    if np.isnan(people):
        return float("nan")
    delivered = done.used_share * site.demand_m3_day * s.people_share[i]
    met = 1000.0 * (1 - plan.demand.losses) * delivered.min() / plan.demand.norm_l_person_day
    return float(min(people, met))
