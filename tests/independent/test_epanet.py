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
from planner.engine.duty import pipe_head_m, top_flow, well_limits
from planner.engine.site import Record, Site, record, records
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


def site(rest_m: float, lift_m: float, pipe_m: float) -> Record:
    """A well that is never drawn down: the network has a reservoir there."""
    return record(
        Site(
            rest_m=np.full(12, rest_m),
            rest_rule_m=rest_m,
            b_d_m2=0.0,
            b_rule_d_m2=0.0,
            c_d2_m5=0.0,
            memory_d_m2=0.0,
            share_rate_m3_h=1000.0,
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
            low_sun=1.0,
            growth=0.0,
            distance_km=0.0,
            taps=1.0,
            stands=False,
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
        ("CF3-19", 1.0, 45.0, 8.0, 200.0),
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
    rules = make_context(plan.plan, catalogue).rules
    risers, deliveries = records(catalogue.risers), records(catalogue.deliveries)
    pump = records(catalogue.pumps)[catalogue.pump_ids.index(pump_id)]
    drive = records(catalogue.drives)[pump["drive"]]
    bore_mm = 1000.0 * math.sqrt(4.0 * pump["best_flow_m3_h"] / 3600.0 / (math.pi * velocity_m_s))
    riser, delivery = pipe_of(risers, bore_mm), pipe_of(deliveries, bore_mm)
    intake_m = rest_m + 5.0

    place = site(rest_m, lift_m, pipe_m)
    well = well_limits(place)
    ours = top_flow(
        pump, drive, rest_m + lift_m, place, rules, math.inf, 0.0, well, risers, riser, deliveries, delivery,
        intake_m, 2.0 * pump["best_flow_m3_h"],
    )  # fmt: skip
    theirs = epanet_flow_m3_h(pump, risers[riser], deliveries[delivery], rest_m, lift_m, intake_m, pipe_m, tmp_path)
    assert ours == pytest.approx(theirs, rel=0.01)
    # The pair says something about pipes: they take a good part of the head, and the pump stays in its range.
    friction_m = pipe_head_m(ours, place, rules, risers, riser, deliveries, delivery, intake_m, well.viscosity_m2_s)
    assert friction_m > 0.02 * (rest_m + lift_m)
    assert 0.3 < ours / pump["best_flow_m3_h"] < pump["max_flow_ratio"]
