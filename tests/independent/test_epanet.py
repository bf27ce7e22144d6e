"""Pump, riser, delivery pipe and tank in EPANET, a program of another house, against the flow of our engine.

EPANET (Rossman and others, through the library wntr) solves the same network its own way: Darcy–Weisbach with the
friction factor of Swamee and Jain (1976) above a Reynolds number of 4000, a cubic of Dunlop's below, and a pump
curve through three points. Swamee and Jain lie within 1 % of Colebrook's equation, which the engine solves; where
friction is a part of the head, flows agree closer than that.
"""

from __future__ import annotations

import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.catalogue.arrays import HDPE
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.engine.assess import make_context
from planner.engine.curve import KNOTS, flow_curve
from planner.engine.duty import (
    FITS,
    delivery_friction,
    delivery_head_m,
    fit_set,
    prospect_of,
    riser_friction,
    riser_head_m,
)
from planner.engine.room import make_room
from planner.engine.site import Record, Site, record
from planner.engine.well import well_limits
from planner.physics.water import kinematic_viscosity_m2_s
from planner.plan import LoadedPlan, read_plan

EPANET_VISCOSITY_M2_S = 1.1e-5 * 0.3048**2  # the unit of its viscosity, 1.1e-5 ft2/s, from its source code
MINOR_K = 8.0
WATER_C = 20.0


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> LoadedPlan:
    folder = tmp_path_factory.mktemp("plan")
    (folder / "wells.csv").write_text("latitude,longitude\n-9.9,30.1\n", encoding="utf-8")
    text = f'[inventory]\nfile = "wells.csv"\n[pipes]\nminor_loss_k = {MINOR_K}\n'
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return read_plan(folder / "plan.toml")


@pytest.fixture(scope="module")
def catalogue(plan: LoadedPlan) -> Catalogue:
    return load_catalogue(plan)


def site(rest_m: float, lift_m: float, pipe_m: float, rate_m3_h: float) -> Record:
    """A well that is never drawn down: the network has a reservoir there."""
    return record(
        Site(
            rest_m=np.full(12, rest_m),
            rest_rule_m=rest_m,
            b_d_m2=0.0,
            b_rule_d_m2=0.0,
            c_d2_m5=0.0,
            memory_d_m2=0.0,
            share_rate_m3_h=rate_m3_h,
            safe_volume_m3_day=10_000.0,
            level_limit_m=500.0,
            level_is_screen=False,
            deepest_intake_m=500.0,
            submergence_m=2.0,
            lift_m=lift_m,
            pipe_length_m=pipe_m,
            casing_mm=300.0,
            water_c=WATER_C,
            sand_mg_l=0.0,
            corrosive=False,
            elevation_m=1000.0,
            record_low_c=5.0,
            demand_m3_day=np.full(12, 10.0),
            storage_share=0.8,
            low_sun=1.0,
            growth=0.0,
            road_km=0.0,
            taps=1.0,
            stands=True,
        )
    )


def epanet_flow_m3_h(
    pump: Record,
    riser: Record,
    delivery: Record,
    rest_m: float,
    lift_m: float,
    intake_m: float,
    pipe_m: float,
    tmp: Path,
) -> float:
    """Flow of one steady state: reservoir at the water level, pump, riser to the ground, delivery pipe, tank."""
    with warnings.catch_warnings():  # of its own making: its imports, and that roughness becomes a length
        warnings.filterwarnings("ignore", category=DeprecationWarning)
        warnings.filterwarnings("ignore", message="Changing the headloss formula")
        import wntr

        network = wntr.network.WaterNetworkModel()
        hydraulic = network.options.hydraulic
        hydraulic.headloss = "D-W"
        hydraulic.inpfile_units = "CMH"
        hydraulic.viscosity = float(kinematic_viscosity_m2_s(WATER_C)) / EPANET_VISCOSITY_M2_S
        hydraulic.accuracy = 1e-7
        network.options.time.duration = 0
        network.add_reservoir("well", base_head=-rest_m)
        network.add_junction("intake", elevation=-intake_m)
        network.add_junction("wellhead", elevation=0.0)
        network.add_tank("tank", elevation=lift_m, init_level=0.0, min_level=0.0, max_level=10.0, diameter=50.0)
        best, head = float(pump["best_flow_m3_h"]), float(pump["head_at_best_m"])
        # Closed form of the catalogue: H = N h_b (1.30 − 0.30 x²); three points fix it for EPANET too.
        points = [(x * best / 3600.0, head * (1.30 - 0.30 * x**2)) for x in (0.0, 0.8, 1.4)]
        network.add_curve("curve", "HEAD", points)
        network.add_pump("pump", "well", "intake", "HEAD", "curve")
        for name, start, end, pipe, length, minor in (
            ("riser", "intake", "wellhead", riser, intake_m, MINOR_K),
            ("delivery", "wellhead", "tank", delivery, pipe_m, 0.0),
        ):
            network.add_pipe(
                name,
                start,
                end,
                length=length,
                diameter=float(pipe["inside_mm"]) / 1000.0,
                roughness=float(pipe["roughness_mm"]) / 1000.0,
                minor_loss=minor,
            )
        results = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=str(tmp / "network"))
    return float(results.link["flowrate"]["pump"].iloc[0]) * 3600.0


def pipe_of(pipes: Any, bore_mm: float, material: int = HDPE) -> int:
    """The narrowest pipe of at least this bore."""
    fits = [
        number
        for number in range(len(pipes))
        if pipes[number]["inside_mm"] >= bore_mm and pipes[number]["material"] == material
    ]
    return min(fits, key=lambda number: float(pipes[number]["inside_mm"]))


@pytest.mark.parametrize(
    ("pump_id", "velocity_m_s", "rest_m", "lift_m", "pipe_m"),
    [
        ("CF1-13", 0.6, 38.0, 6.0, 100.0),
        ("CF3-19", 1.0, 60.0, 8.0, 200.0),
        ("CF8-12", 1.5, 20.0, 6.0, 600.0),
        ("CF14-15", 2.0, 30.0, 10.0, 100.0),
        ("CF20-6", 1.9, 25.0, 12.0, 300.0),
        ("CF45-6", 1.9, 20.0, 12.0, 500.0),
    ],
)
def test_flow_at_full_speed(
    plan: LoadedPlan,
    catalogue: Catalogue,
    tmp_path: Path,
    pump_id: str,
    velocity_m_s: float,
    rest_m: float,
    lift_m: float,
    pipe_m: float,
) -> None:
    context = make_context(plan.plan, catalogue)
    rules, market, room = context.rules, context.market, make_room(context.market)
    pump = market.pumps[catalogue.pump_ids.index(pump_id)]
    drive = market.drives[pump["drive"]]
    bore_mm = 1000.0 * math.sqrt(4.0 * pump["best_flow_m3_h"] / 3600.0 / (math.pi * velocity_m_s))
    riser, delivery = (pipes[pipe_of(pipes, bore_mm)] for pipes in (market.risers, market.deliveries))
    cable = market.cables[market.cables.size - 1]

    # A set that stands: no rule of choosing may cap the flow before full speed does.
    place = site(rest_m, lift_m, pipe_m, 2.0 * float(pump["best_flow_m3_h"]))
    well = well_limits(place)
    prospect = prospect_of(pump, drive, place, rules, well, room.bare)
    assert prospect.rule == FITS
    room.desk.flow[:] = room.bare.flow
    riser_friction(riser, rules, well, room.desk)
    delivery_friction(delivery, place, well, room.desk)
    duty = fit_set(pump, drive, prospect, riser, delivery, cable, place, rules, well, room.desk)
    assert duty.rule == FITS
    power, flow = np.zeros(KNOTS + 2), np.zeros(KNOTS + 2)
    knots, _ = flow_curve(
        pump, drive, math.inf, 0.0, well.density_kg_m3, rest_m + lift_m, 1.0, math.inf, duty.runout_m3_h, duty.lowest,
        0.0, room.desk, power, flow,
    )  # fmt: skip
    ours = float(flow[knots - 1])
    theirs = epanet_flow_m3_h(pump, riser, delivery, rest_m, lift_m, duty.intake_m, pipe_m, tmp_path)
    assert ours == pytest.approx(theirs, rel=0.01)
    assert duty.cap_m3_h <= 1.01 * theirs  # less where drive or runout bind before full speed
    # The pair says something about pipes: they take a good part of the head, and the pump stays in its range.
    friction_m = riser_head_m(ours, riser, duty.intake_m, rules, well) + delivery_head_m(ours, delivery, place, well)
    assert friction_m > 0.02 * (rest_m + lift_m)
    assert 0.3 < ours / pump["best_flow_m3_h"] < pump["max_flow_ratio"]
