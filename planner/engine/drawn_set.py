"""A bought set in the site of a draw: hung as it was bought, capped anew, cut out by level, through the years."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.catalogue.arrays import HELICAL, SURFACE
from planner.engine.balance import Storage, balance, enter, storage_of, taken
from planner.engine.cost import (
    IS_GOODS,
    Market,
    bill,
    renewal,
    rotor_stator_cost,
    rotor_stator_life_y,
    upkeep_year,
)
from planner.engine.curve import KNOTS
from planner.engine.drawn import NO_LIMIT_M3_H, PART_OF_ITEM, PUMP_PART
from planner.engine.duty import (
    ABOVE_SAFE_RATE,
    FITS,
    Duty,
    Prospect,
    Rig,
    cable_ratio_of,
    delivery_friction,
    fit_set,
    full_flow_m3_h,
    full_speed_m3_h,
    highest_flow,
    lay_heads,
    prospect_of,
    riser_friction,
    suction_flow,
)
from planner.engine.light import Light
from planner.engine.report import flow_at
from planner.engine.room import DESIGN_YEAR, FIRST_YEAR, OTHER, OWN, WORN_YEAR, Room, present
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.volume import curves, month_curve, month_volume, open_year
from planner.engine.weigh import running_hours_day, worn_out_slip
from planner.engine.well import SURFACE_SUBMERGENCE_M, Well, drawdown_m, well_limits
from planner.physics.aquifer import flow_at_level_m3_h
from planner.physics.equation import kernel
from planner.physics.money import annuity_factor
from planner.physics.pumps import starting_torque_nm
from planner.physics.water import GRAVITY_M_S2

Floats = NDArray[np.float64]

DRY_SHARE = 1e-6  # of the demand: rounding
SHORT_OF_HALF = 0.5  # of the demand: less is the failure of a set that was bought untested


class Cuts(NamedTuple):
    """Room for what the level cut-out leaves of each month: flow, share of the running time; a curve to try."""

    cap_m3_h: Floats
    share: Floats
    curve: Record


def make_cuts() -> Cuts:
    """Room for one thread."""
    return Cuts(np.zeros(12), np.zeros(12), curves().view(np.recarray)[0])


class Bought(NamedTuple):
    """How deep a set was hung: intake, and the intake of its highest flow, m below ground."""

    intake_m: float
    prospect_intake_m: float


@kernel
def hung(design: Record, site: Record, market: Market, rules: Record, room: Room) -> Bought:
    """How deep a design is hung at the site that it was made for."""
    pump, drive = market.pumps[design.pump], market.drives[market.pumps[design.pump].drive]
    well = well_limits(site)
    riser, delivery = market.risers[design.riser], market.deliveries[design.delivery]
    prospect = prospect_of(pump, drive, site, rules, well, room.bare)
    take_pipes(riser, delivery, site, rules, well, room)
    duty = fit_set(
        pump, drive, prospect, riser, delivery, market.cables[design.cable], site, rules, well, room.desk
    )  # fmt: skip
    return Bought(duty.intake_m, prospect.intake_m)


@kernel
def take_pipes(riser: Record, delivery: Record, site: Record, rules: Record, well: Well, room: Room) -> None:
    """The knots of the bare pump and the pipes' friction at them onto the desk."""
    for k in range(KNOTS):
        room.desk.flow[k] = room.bare.flow[k]
    riser_friction(riser, rules, well, room.desk)
    delivery_friction(delivery, site, well, room.desk)


@kernel
def stands_in(
    design: Record, hang: Bought, pump: Record, own: Record, market: Market, rules: Record, room: Room
) -> tuple[Duty, Well]:  # fmt: skip
    """A bought set in a drawn well: its duty with the cap reset, no cap where it gives nothing. Heads are left on the
    desk; the drawn record's safe rate may be lifted for a pump that cannot run so slowly."""
    drive, riser, delivery = market.drives[pump.drive], market.risers[design.riser], market.deliveries[design.delivery]
    # Two rounds of one call each, here and below: numba would compile what is called for every place it is called at.
    for _ in range(2):
        well = well_limits(own)
        prospect = prospect_of(pump, drive, own, rules, well, room.bare)
        if prospect.rule != ABOVE_SAFE_RATE or own.share_rate_m3_h <= 0.0:
            break
        own.share_rate_m3_h = NO_LIMIT_M3_H
    cap, surface = 0.0, pump.family == SURFACE
    if prospect.rule == FITS:
        take_pipes(riser, delivery, own, rules, well, room)
        cap = cap_of(design, hang, pump, prospect, own, market, rules, well, room)
        lay_heads(own, hang.intake_m, room.desk)
    length = rules.cable_to_drive_m + (0.0 if surface else hang.intake_m)
    ratio = cable_ratio_of(pump, drive, market.cables[design.cable], length)
    duty = Duty(
        FITS, 0.0, 0.0, cap, prospect.safe_m3_h, prospect.safe_limit, hang.intake_m, ratio, prospect.clip_w,
        prospect.availability, full_speed_m3_h(pump), pump.min_speed_ratio, 0.0,
    )  # fmt: skip
    return duty, well


@kernel
def cap_of(
    design: Record, hang: Bought, pump: Record, prospect: Prospect, own: Record, market: Market, rules: Record,
    well: Well, room: Room,
) -> float:  # fmt: skip
    """Flow that the drive is set to: the safe rate and what both pipes carry at the plan's velocities, but for a pump
    that cannot run so slowly; 0 where it lifts nothing."""
    drive, riser, delivery = market.drives[pump.drive], market.risers[design.riser], market.deliveries[design.delivery]
    length = rules.cable_to_drive_m + (0.0 if pump.family == SURFACE else hang.prospect_intake_m)
    ratio = cable_ratio_of(pump, drive, market.cables[design.cable], length)
    lay_heads(own, hang.prospect_intake_m, room.desk)
    static, full = well.highest_m + own.lift_m + rules.residual_m, full_speed_m3_h(pump)
    slow = min(prospect.top_m3_h, full_flow_m3_h(riser.inside_mm, rules.velocity_riser_m_s))
    slow = min(slow, full_flow_m3_h(delivery.inside_mm, rules.velocity_delivery_m_s))
    if pump.family == SURFACE:
        slow = suction_flow(pump, own, well, slow, hang.prospect_intake_m, riser.inside_mm, riser.roughness_mm)
    cap = 0.0
    for attempt in range(3):  # in the last runout is left to the months: it may bind in the shallowest only
        most, runout = prospect.top_m3_h if attempt else slow, np.inf if attempt == 2 else full
        cap = highest_flow(
            pump, drive, prospect.clip_w, ratio, well.density_kg_m3, static, most, runout, pump.min_speed_ratio, 0.0,
            room.desk,
        )  # fmt: skip
        if cap >= 0.0 or slow <= 0.0:
            break
    return max(cap, 0.0)


@kernel
def limit_months(rig: Rig, duty: Duty, fan: Record, growth: float, hang: Bought, cuts: Cuts) -> None:
    """Cap and share of the running time of each month into `cuts`: what keeps the intake under water.

    growth  of the demand since the design year, as a factor: what is lifted day after day goes with it
    """
    pump, site, well = rig.pump, rig.site, rig.well
    # A hundred-millionth of a metre is what `well.intake_depth_m` lets an intake be short of.
    covered = hang.intake_m - (SURFACE_SUBMERGENCE_M if pump.family == SURFACE else site.submergence_m) + 1e-8
    for m in range(12):
        lifted = min(growth * site.demand_m3_day[m], site.safe_volume_m3_day)
        level = site.rest_m[m] + site.memory_d_m2 * lifted
        wet = flow_at_level_m3_h(covered, level, site.b_d_m2, site.c_d2_m5)
        cuts.cap_m3_h[m], cuts.share[m] = min(duty.cap_m3_h, wet), 1.0
        if not starts(pump, site, rig.rules, level, well.density_kg_m3):
            cuts.cap_m3_h[m] = 0.0
        if cuts.cap_m3_h[m] <= 0.0 or wet >= duty.cap_m3_h:
            continue
        for cap in (wet, duty.cap_m3_h):
            month_curve(rig, cut(duty, cap, 1.0), fan, m, lifted, cuts.curve)
            if cuts.curve.knots > 0:
                break
        slowest = cuts.curve.flow_m3_h[0]
        if cuts.curve.knots > 0 and slowest > wet:
            cuts.cap_m3_h[m], cuts.share[m] = slowest * (1.0 + 1e-9), wet / slowest


@kernel
def cut(duty: Duty, cap_m3_h: float, share: float) -> Duty:
    """A duty with another cap, running a share of the time."""
    return Duty(
        duty.rule, duty.value, duty.limit, cap_m3_h, duty.safe_m3_h, duty.safe_limit, duty.intake_m, duty.cable_ratio,
        duty.clip_w, duty.availability * share, duty.runout_m3_h, duty.lowest, duty.floor,
    )  # fmt: skip


@kernel
def starts(pump: Record, site: Record, rules: Record, level_m: float, density: float) -> bool:
    """Whether a helical rotor starts against a full riser, its relief valve closed; any other pump does."""
    if pump.family != HELICAL:
        return True
    held = density * GRAVITY_M_S2 * (level_m + site.lift_m + rules.residual_m)
    torque = starting_torque_nm(pump.displacement_cm3, held, pump.fit_friction_nm, pump.breakaway_ratio)
    return bool(held <= pump.pressure_limit_pa and torque <= pump.peak_torque_ratio * pump.rated_torque_nm)


@kernel
def year_drawn(
    rig: Rig, duty: Duty, fan: Record, light: Light, w: int, array_w: float, share: float, hang: Bought,
    storage: Storage, year: Record, cuts: Cuts, room: Room,
) -> float:  # fmt: skip
    """Water used in a year, m3 at the tank inlet, its months into `year`: `balance.water_used` with level cut-out."""
    site = rig.site
    limit_months(rig, duty, fan, share, hang, cuts)
    at_demand, own = room.curves[OTHER], room.curves[OWN]
    for m in range(12):
        wanted = share * site.demand_m3_day[m]
        held = min(wanted, storage.day_m3)
        if cuts.cap_m3_h[m] <= 0.0:
            at_demand[m].knots, own[m].knots = 0, 0
            year.volume[m], year.hours[m], year.own[m], year.used[m] = 0.0, 0.0, 0, 0.0
            enter(light, w, m, array_w, at_demand[m], duty, site.safe_volume_m3_day, held, room.ledger)
            continue
        monthly = cut(duty, cuts.cap_m3_h[m], cuts.share[m])
        month_curve(rig, monthly, fan, m, wanted, at_demand[m])
        year.volume[m], year.hours[m], year.own[m] = month_volume(
            rig, monthly, fan, light, w, m, array_w, wanted, at_demand[m], own[m]
        )
        year.used[m] = min(held, year.volume[m])
        curve = own[m] if year.own[m] else at_demand[m]
        enter(light, w, m, array_w, curve, monthly, site.safe_volume_m3_day, held, room.ledger)
    used = 0.0
    if rig.rules.daily:
        balance(light, storage.over_m3, room.ledger)
    for m in range(12):
        if rig.rules.daily:
            year.used[m] = taken(light, m, room.ledger)
        used += DAYS[m] * year.used[m]
    return used


@kernel
def wear(pump: Record, draw: Record) -> None:
    """A pump's slip and lives as drawn."""
    pump.slip_life_factor = 1.0 + (pump.slip_life_factor - 1.0) * draw.slip
    pump.slip_end_factor = 1.0 + (pump.slip_end_factor - 1.0) * draw.slip
    pump.hours_life *= draw.life
    pump.rotor_stator_cap_y *= draw.life
    pump.life_y *= draw.life


@kernel
def drawn_cost(
    design: Record, intake_m: float, rotor_stator_y: float, site: Record, rules: Record, market: Market,
    pump: Record, draw: Record, learnt: bool,
) -> tuple[float, float]:  # fmt: skip
    """Capital and life-cycle cost, scheme, with drawn prices; with `learnt` drawn lives and upkeep too. The same as
    `cost.design_cost` at the central values.

    pump  the design's, with the lives of the draw (`wear`)
    """
    price, life = bill(design, intake_m, site, rules, market)
    lives, upkeep_factor = (draw.life, draw.upkeep) if learnt else (1.0, 1.0)
    own = PUMP_PART + pump.family
    for item in range(price.size):
        part = PART_OF_ITEM[item]
        price[item] *= draw.price * draw.part[own if part == PUMP_PART else part]
    capital = price.sum() * (1.0 + rules.contingency) * (1.0 + rules.tax)
    later = 0.0
    for item in range(price.size):
        later += renewal(price[item], life[item] * lives, IS_GOODS[item], rules)
    if pump.family == HELICAL:
        pair = pump.rotor_stator_price * draw.price * draw.part[own]
        later += rotor_stator_cost(pair, rotor_stator_y, pump.life_y, rules)
    upkeep, _ = upkeep_year(price, design.array_wp, rules, market)
    return capital, capital + later + upkeep * upkeep_factor * annuity_factor(rules.discount_rate, rules.horizon_y)


@kernel
def live(
    design: Record, hang: Bought, site: Record, own: Record, draw: Record, light: Light, market: Market, rules: Record,
    worn: Records, cuts: Cuts, room: Room, outcome: Record,
) -> None:  # fmt: skip
    """Run a bought set through the years of a draw, into `outcome`; `own` is the drawn site, `site` the one that its
    works (taps, transport) were counted for, `worn` room for one pump."""
    worn[0] = market.pumps[design.pump]
    pump = worn[0]
    wear(pump, draw)
    drive, ageing = market.drives[pump.drive], rules.ageing_year * draw.ageing
    outcome.water = outcome.volume = 0.0
    outcome.met, outcome.short, outcome.bought, outcome.level = 0, 1, 1, np.nan
    duty, well = stands_in(design, hang, pump, own, market, rules, room)
    hours, limit, worst = 0.0, np.inf, 0.0
    if duty.cap_m3_h > 0.0:
        rig, year = Rig(pump, drive, own, rules, well, room.desk), room.year
        storage, w = storage_of(own, market.tanks[design.tank].volume_m3), design.module
        watts = design.array_wp * draw.sun * draw.clean
        first = used = last = 0.0
        for part in range(4):
            fan, slip, at_year, into = room.fan, pump.slip_life_factor, rules.design_year, room.other
            if part == DESIGN_YEAR:
                into = year
            elif part == WORN_YEAR:
                fan, slip = room.worn, pump.slip_end_factor
                if pump.family != HELICAL or not design.meets or worst < rules.reliability_month:
                    continue
            elif part == FIRST_YEAR:
                at_year = 1.0
            else:
                at_year = rules.horizon_y
            if part in (DESIGN_YEAR, WORN_YEAR):
                open_year(rig, duty, slip, fan)
            aged = watts * max(1.0 - ageing * at_year, 0.0)
            grown = (1.0 + own.growth) ** (at_year - rules.design_year)
            given = year_drawn(rig, duty, fan, light, w, aged, grown, hang, storage, into, cuts, room)
            if part == DESIGN_YEAR:
                used, hours = given, running_hours_day(year)
                share, worst = served(own, year)
                if share <= DRY_SHARE:
                    used = 0.0
                    break
                outcome.volume = used / 365.0 * (1.0 - rules.losses)
                outcome.short = share < SHORT_OF_HALF
                outcome.met = share >= rules.reliability_year and worst >= rules.reliability_month
                outcome.level = peak_level_m(rig, duty, light, w, aged, cuts, room)
            elif part == WORN_YEAR:
                limit = worn_out_slip(pump, own, rules, year, into)
            elif part == FIRST_YEAR:
                first = given
            else:
                last = given
        outcome.water = present(rules, first, used, last)
    life = rotor_stator_life_y(pump, own.sand_mg_l, hours, limit)
    outcome.capital, outcome.cost = drawn_cost(design, hang.intake_m, life, site, rules, market, pump, draw, True)


@kernel
def served(own: Record, year: Record) -> tuple[float, float]:
    """Share of the year's demand that is used, and the least share of a month's."""
    used = demanded = 0.0
    worst = 1.0
    for m in range(12):
        used += DAYS[m] * year.used[m]
        demanded += DAYS[m] * own.demand_m3_day[m]
        if own.demand_m3_day[m] > 0.0:
            worst = min(worst, year.used[m] / own.demand_m3_day[m])
    return (used / demanded if demanded > 0.0 else 1.0), worst


@kernel
def peak_level_m(
    rig: Rig, duty: Duty, light: Light, w: int, array_w: float, cuts: Cuts, room: Room
) -> float:  # fmt: skip
    """Pumping level at the year's highest flow, as far as the design month lets it, with that month's rest level."""
    site, year, curve = rig.site, room.year, room.curves[OWN, 0]
    peak, least, month = 0.0, np.inf, 0
    for m in range(12):
        if cuts.cap_m3_h[m] > 0.0:
            capped = cut(duty, cuts.cap_m3_h[m], 1.0)
            month_curve(rig, capped, room.fan, m, min(year.volume[m], site.demand_m3_day[m]), curve)
            peak = max(peak, flow_at(light.steps[w, m, 0].power * array_w, curve))
        if site.demand_m3_day[m] > 0.0 and year.volume[m] / site.demand_m3_day[m] < least:
            month, least = m, year.volume[m] / site.demand_m3_day[m]
    lifted = min(year.volume[month], site.demand_m3_day[month])
    return float(
        site.rest_m[month] + site.memory_d_m2 * lifted + drawdown_m(site, min(peak, cuts.cap_m3_h[month]), False)
    )
