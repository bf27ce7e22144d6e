"""What must hold for any site: energy, monotone curves, the cap, independence of the chunk."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from planner.catalogue.arrays import FAMILIES
from planner.engine import assess as engine
from planner.engine.assess import Sites
from planner.engine.duty import FITS, KNOTS, dynamic_heads_m, flow_curve
from planner.engine.volume import curves_of, monthly_volumes
from tests.engine import bed

WH_PER_M4 = 2.725  # closed form: ρ g / 3600 at 1000 kg/m3, Wh a cubic metre a metre


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
    # The water lifted through the rest level alone needs less than all the array can give.
    array_wh = row["array_wp"] * row["solar_kwh_m2_day"] * 1.3  # tilt adds less than 30 % here
    assert row["volume_pumped_m3_day"] * sites.rest_level[0].min() * WH_PER_M4 <= array_wh
    assert 0.0 <= row["supply_reliability_worst_month"] <= row["supply_reliability"] + 1e-12 <= 1.0 + 1e-9
    assert row["volume_used_m3_day"] <= row["volume_pumped_m3_day"] + 1e-9


@given(bed.random_sites(), st.integers(0, 97))
def test_flow_curve_rises(sites: Sites, pump: int) -> None:
    bench = bed.bench(sites)
    duty = bench.fit(pump)
    if duty.rule != FITS:
        return
    market, rules = bench.context.market, bench.context.rules
    record = market.pumps[pump]
    flows, heads = dynamic_heads_m(duty, bench.site, rules, bench.well, market.risers, market.deliveries)
    power, flow = np.empty(KNOTS + 2), np.empty(KNOTS + 2)
    for rest in (bench.site["rest_m"].min(), bench.site["rest_m"].max()):
        static = rest + bench.site["lift_m"]
        knots, start = flow_curve(
            record, market.drives[record["drive"]], duty, bench.well.density_kg_m3, static,
            record["slip_life_factor"], flows, heads, power, flow,
        )  # fmt: skip
        if knots == 0:
            continue
        assert (np.diff(power[:knots]) > 0).all() and (np.diff(flow[:knots]) >= 0).all()
        assert start >= power[0] and power[knots - 1] <= duty.clip_w * (1 + 1e-3)
        assert flow[knots - 1] <= duty.cap_m3_h * (1 + 1e-9)


@given(bed.random_sites(), st.integers(0, 97))
def test_more_array_never_gives_less(sites: Sites, pump: int) -> None:
    """Same strings, below the clip or above it: more power never lifts less water."""
    bench = bed.bench(sites)
    duty = bench.fit(pump)
    if duty.rule != FITS:
        return
    market, rules = bench.context.market, bench.context.rules
    record = market.pumps[pump]
    drive, density = market.drives[record["drive"]], bench.well.density_kg_m3
    slip, demand = record["slip_life_factor"], bench.site["demand_m3_day"].copy()
    flows, heads = dynamic_heads_m(duty, bench.site, rules, bench.well, market.risers, market.deliveries)
    curves = curves_of(record, drive, duty, bench.site, rules, density, slip, demand, flows, heads)
    scratch = curves_of(record, drive, duty, bench.site, rules, density, slip, demand, flows, heads)
    before = np.zeros(12)
    for share in (0.3, 0.6, 1.0, 1.5, 2.0):
        volumes, hours = np.empty(12), np.empty(12)
        monthly_volumes(
            record, drive, duty, bench.site, rules, density, slip, flows, heads, curves, demand, bench.light, 0,
            share * record["drive_rating_w"], scratch, volumes, hours,
        )  # fmt: skip
        # The memory of earlier days is settled to 0.1 %, and so is the comparison.
        assert (volumes >= before * (1 - 2e-3)).all()
        before = volumes


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


def test_where_nothing_fits_every_family_says_why() -> None:
    results = engine.assess(bed.one_site(100.0, 5.0, casing_used_mm=50.0), bed.context())
    assert results.rows[0]["engine_status"] == "no_design"
    assert bed.rules_of(results) == dict.fromkeys(FAMILIES, "no_casing")
    deep = engine.assess(bed.one_site(20.0, 5.0), bed.context())
    assert bed.rules_of(deep)["surface"] == "no_suction"  # 20 m is beyond any suction


def test_an_installed_set_is_taken_as_it_stands() -> None:
    catalogue = bed.context().catalogue
    place = catalogue.pump_ids.index("HR6.3-12")
    row = bed.row_of(bed.one_site(50.0, 8.0, existing_pump=place, existing_array_wp=777.0, existing_tilt_deg=33.0))
    assert (row["engine_status"], row["pump_id"], row["array_wp"]) == ("installed", "HR6.3-12", 777.0)
    assert row["tilt_deg"] == 33.0 and row["capital_cost"] == 0.0
    assert "modules_series" not in row and "cost_per_m3" not in row


def test_warm_water_lowers_what_a_motor_may_take() -> None:
    bench, warm = bed.bench(bed.one_site()), bed.bench(bed.one_site(water_temperature_used_c=38.0))
    pump = bed.context().catalogue.pump_ids.index("CF3-20") if "CF3-20" in bed.context().catalogue.pump_ids else 0
    cool, hot = bench.fit(pump), warm.fit(pump)
    if cool.rule == FITS and hot.rule == FITS:
        np.testing.assert_allclose(hot.clip_w / cool.clip_w, 1 - 0.02 * 8)  # closed form: 2 %/K above 30 °C
