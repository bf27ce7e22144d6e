"""What must hold for any site: energy, rising curves, the cap, more water from more array, independence."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from planner.catalogue.arrays import HELICAL
from planner.engine import assess as engine
from planner.engine.assess import Sites
from planner.engine.curve import KNOTS, flow_curve, speed_power_torque
from planner.physics.pumps import hydraulic_power_w
from planner.physics.water import GRAVITY_M_S2, density_kg_m3
from tests.engine import bed

WH_PER_M4 = 2.724  # closed form: ρ g / 3600 at 1000 kg/m3, Wh a cubic metre a metre
PUMPS = range(len(bed.context().catalogue.pump_ids))


@given(bed.random_sites())
def test_energy_chain_and_cap(sites: Sites) -> None:
    row = bed.row_of(sites)
    if row["engine_status"] == "no_design":
        return
    assert 0.0 < row["wire_to_water"] < 0.8  # closed form: no product of efficiencies reaches it
    assert row["peak_flow_m3_h"] <= row["cap_flow_m3_h"] * (1 + 1e-9)
    assert row["cap_flow_m3_h"] <= row["safe_rate_m3_h"] * (1 + 1e-9)
    assert row["safe_rate_m3_h"] <= sites.share_rate_m3_h[0] * (1 + 1e-9)
    assert row["peak_design_m3_h"] <= row["peak_flow_m3_h"] * (1 + 1e-9)
    assert row["intake_depth_m"] <= sites.deepest_intake_m[0]
    # The water lifted through the rest level alone needs no more than all that the array can give.
    bench = bed.bench(sites)
    module = bed.context().catalogue.module_ids.index(row["module_id"])
    array_wh = row["array_wp"] * bench.light.steps["energy"][module, :, -1]  # of each month's mean day, new array
    volumes = np.array([row[f"volume_{m:02d}"] for m in range(1, 13)])
    density = density_kg_m3(bench.site["water_c"]) / 1000.0
    assert (volumes * bench.site["rest_m"] * WH_PER_M4 * density <= array_wh).all()
    assert 0.0 <= row["supply_reliability_worst_month"] <= row["supply_reliability"] + 1e-12 <= 1.0 + 1e-9
    assert row["volume_used_m3_day"] <= row["volume_pumped_m3_day"] + 1e-9


@given(st.sampled_from(PUMPS), st.floats(0.02, 1.0), st.floats(0.02, 1.2), st.floats(0.0, 0.3), st.floats(5.0, 35.0))
def test_power_is_lost_at_every_step(
    pump: int, flow_share: float, head_share: float, cable: float, water_c: float
) -> None:
    """Water gets no more than the shaft gives, the shaft no more than the drive takes, at any running point."""
    market, density = bed.context().market, float(density_kg_m3(water_c))
    record = market.pumps[pump]
    if record["family"] == HELICAL:
        flow = flow_share * 60e-6 * record["displacement_cm3"] * record["rated_speed_rpm"]
        head = head_share * record["pressure_limit_pa"] / (density * GRAVITY_M_S2)
    else:
        head = head_share * record["head_at_best_m"]
        flow = flow_share * record["best_flow_m3_h"]
    speed, electrical, torque = speed_power_torque(
        record, market.drives[record["drive"]], flow, head, record["slip_life_factor"], cable, density
    )
    if record["family"] != HELICAL and flow > record["max_flow_ratio"] * record["best_flow_m3_h"] * speed:
        return  # beyond runout no pump is run
    shaft = torque * speed * record["rated_speed_rpm"] * 2.0 * math.pi / 60.0
    hydraulic = float(hydraulic_power_w(flow, head, density))
    assert hydraulic <= shaft <= electrical


@given(bed.random_sites(), st.sampled_from(PUMPS))
def test_flow_curve_rises(sites: Sites, pump: int) -> None:
    bench = bed.bench(sites)
    fitted = bench.fit(pump)
    if fitted is None:
        return
    record, duty, desk = fitted.rig.pump, fitted.duty, fitted.room.desk
    power, flow = np.empty(KNOTS + 2), np.empty(KNOTS + 2)
    for rest in (bench.site["rest_m"].min(), bench.site["rest_m"].max()):
        knots, start = flow_curve(
            record, fitted.rig.drive, duty.clip_w, duty.cable_ratio, bench.well.density_kg_m3,
            rest + bench.site["lift_m"], record["slip_life_factor"], duty.cap_m3_h, duty.runout_m3_h,
            duty.lowest, 0.0, desk, power, flow,
        )  # fmt: skip
        if knots == 0:
            continue
        assert (np.diff(power[:knots]) > 0).all() and (np.diff(flow[:knots]) >= 0).all()
        assert start >= power[0] and power[knots - 1] <= duty.clip_w * (1 + 1e-3)
        assert flow[knots - 1] <= duty.cap_m3_h * (1 + 1e-9)


@given(bed.random_sites(), st.sampled_from(PUMPS), st.floats(1.0, 40.0))
def test_more_array_or_tank_never_gives_less(sites: Sites, pump: int, tank_m3: float) -> None:
    """Same strings, below the clip or above it: more power never lifts less water, more room never loses any."""
    fitted = bed.bench(sites).fit(pump)
    if fitted is None:
        return
    before = np.zeros(12)
    used = 0.0
    for share in (0.3, 0.6, 1.0, 1.5, 2.0):
        watts = share * float(fitted.rig.pump["drive_rating_w"])
        year = fitted.water(watts, tank_m3)
        # The memory of earlier days is settled to 1e-7, and so is the comparison.
        assert (year.volume >= before * (1 - 1e-6)).all()
        assert year.used_m3_year >= used * (1 - 1e-6) - 1e-9
        before, used = year.volume, year.used_m3_year
        more = fitted.water(watts, 1.3 * tank_m3)
        assert more.used_m3_year >= used * (1 - 1e-12) - 1e-9
        np.testing.assert_array_equal(more.volume, year.volume)


def test_results_do_not_depend_on_company_or_order() -> None:
    parts = [
        bed.one_site(static, demand, inventory_row=row)
        for row, (static, demand) in enumerate([(5.0, 40.0), (60.0, 8.0), (150.0, 15.0), (20.0, 3.0)], start=1)
    ]
    alone = [engine.assess(part, bed.context()).rows[0] for part in parts]
    for order in ([0, 1, 2, 3], [3, 1, 0, 2], [2, 0]):
        found = engine.assess(bed.together([parts[i] for i in order]), bed.context()).rows
        for place, row in zip(order, found, strict=True):
            np.testing.assert_equal(row, alone[place])  # to the last bit


def test_an_installed_set_is_taken_as_it_stands() -> None:
    catalogue = bed.context().catalogue
    place = catalogue.pump_ids.index("HR6.3-12")
    row = bed.row_of(bed.one_site(50.0, 8.0, existing_pump=place, existing_array_wp=777.0, existing_tilt_deg=33.0))
    assert (row["engine_status"], row["pump_id"], row["array_wp"]) == ("installed", "HR6.3-12", 777.0)
    assert row["tilt_deg"] == 33.0 and row["capital_cost"] == 0.0
    assert "modules_series" not in row and "cost_per_m3" not in row
