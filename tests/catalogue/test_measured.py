"""Pumps from measured points: curves that are known are found again, and points that no pump gives are refused.

"Closed form" means points worked out from invented coefficients; what is published or from memory says so.
"""

from __future__ import annotations

import csv
import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wntr
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from planner.catalogue.fitting import best_flow, fit_head, fit_power, fit_slip
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.errors import CatalogueError
from planner.physics.pumps import (
    curve_head_m,
    curve_shaft_power_w,
    helical_slip_m3_h,
    helical_speed_rpm,
    helical_torque_nm,
    motor_input_w,
)
from planner.physics.water import GRAVITY_M_S2, density_kg_m3
from tests.catalogue.test_catalogue import plan_with, rows_of, write_rows

RATED = 2900.0
HEAD = (60.0, -0.8, -0.25)  # m; at rated speed: 60 at no flow, 25.6 at 10.2 m3/h
POWER = (500.0, 110.0, -3.0)  # W, against flow at rated speed in m3/h
FLOWS = (0.0, 1.5, 3.0, 4.5, 6.0, 7.5, 9.0, 10.2)
ROTOR = dict(displacement_cm3=12.0, slip_m3_h_pa=8e-8, exponent=1.0, friction_nm=0.4)
HEADS = (20.0, 45.0, 70.0, 95.0, 120.0)

Rows = list[dict[str, Any]]


def centrifugal_points(
    pump_id: str = "CF-M", speeds: tuple[float, ...] = (2900.0, 2200.0), celsius: float = 20.0
) -> Rows:
    """Closed form: points on HEAD and POWER, with the flows that go with each speed."""
    found = []
    for rpm in speeds:
        r = rpm / RATED
        for x in FLOWS:
            shaft = r**3 * float(Polynomial(POWER)(x)) * float(density_kg_m3(celsius)) / 998.2
            head = float(curve_head_m(x * r, r, *HEAD))
            found.append(
                {"pump_id": pump_id, "flow_m3_h": x * r, "head_m": head, "speed_rpm": rpm, "shaft_power_w": shaft}
            )
            if celsius != 20.0:
                found[-1]["water_temperature_c"] = celsius
    return found


def helical_points(
    pump_id: str = "HR-M", rotor: dict[str, float] = ROTOR, speeds: tuple[float, ...] = (3000.0, 1500.0)
) -> Rows:
    """Closed form: points of a rotor at each speed and head."""
    found = []
    for rpm in speeds:
        for head in HEADS:
            pressure = float(density_kg_m3(20.0)) * GRAVITY_M_S2 * head
            leak = float(helical_slip_m3_h(pressure, rotor["slip_m3_h_pa"], rotor["exponent"]))
            torque = float(helical_torque_nm(rotor["displacement_cm3"], pressure, rotor["friction_nm"]))
            flow, shaft = 60e-6 * rotor["displacement_cm3"] * rpm - leak, torque * rpm * math.pi / 30
            found.append(
                {"pump_id": pump_id, "flow_m3_h": flow, "head_m": head, "speed_rpm": rpm, "shaft_power_w": shaft}
            )
    return found


def pump_rows(**cells: str) -> list[dict[str, str]]:
    """A centrifugal and a helical pump of the generic tables, without the columns that points give."""
    turning = next(row for row in rows_of("pumps_centrifugal.csv") if row["motor_kw"] == "1.8")
    rotor = next(row for row in rows_of("pumps_helical.csv") if row["pump_id"] == "HR10-12")
    empty = dict.fromkeys(("best_flow_m3_h", "head_at_best_m", "max_flow_m3_h", "best_eff"), "")
    turning = turning | empty | {"pump_id": "CF-M", "rated_speed_rpm": "2900", "min_speed_rpm": "1450"}
    empty = dict.fromkeys(("displacement_cm3", "volumetric_eff_new", "hydromech_eff"), "")
    rotor = rotor | empty | {"pump_id": "HR-M", "rated_speed_rpm": "3000", "min_speed_rpm": "750"}
    return [
        row | {name: value for name, value in cells.items() if row.get(name) is not None} for row in (turning, rotor)
    ]


def load(folder: Path, points: Rows, pumps: list[dict[str, str]] | None = None) -> Catalogue:
    write_rows(folder / "pumps.csv", pumps or pump_rows())
    write_rows(
        folder / "points.csv", [{name: repr(v) if isinstance(v, float) else v for name, v in p.items()} for p in points]
    )
    return load_catalogue(plan_with(folder, '[equipment]\npumps = "pumps.csv"\npump_points = "points.csv"\n'))


def refusals(folder: Path, points: Rows, pumps: list[dict[str, str]] | None = None) -> list[str]:
    with pytest.raises(CatalogueError) as caught:
        load(folder, points, pumps)
    return str(caught.value).splitlines()


def field(catalogue: Catalogue, pump_id: str, name: str) -> float:
    return float(getattr(catalogue.pumps, name)[catalogue.pump_ids.index(pump_id)])


# What is known is found again ---------------------------------------------------------------------------------


def test_known_curves_are_found_again(tmp_path: Path) -> None:
    """Closed form: coefficients, and the best point by a search on a fine grid."""
    catalogue = load(tmp_path, centrifugal_points() + helical_points())
    assert catalogue.pump_ids == ("CF-M", "HR-M") and set(catalogue.fits) == {"CF-M", "HR-M"}
    found = [field(catalogue, "CF-M", name) for name in ("head_0_m", "head_1_m_h_m3", "head_2_m_h2_m6")]
    assert found == pytest.approx(HEAD, rel=1e-6)
    best = field(catalogue, "CF-M", "best_flow_m3_h")
    powers = [field(catalogue, "CF-M", f"power_{k}_w") for k in range(4)]
    assert powers[:3] == pytest.approx([POWER[k] * best**k for k in range(3)], rel=1e-6)
    assert abs(powers[3]) < 1e-6 * powers[0]
    flow = np.linspace(0.01, 10.2, 200_001)
    efficiency = 998.2 * GRAVITY_M_S2 * flow / 3600 * Polynomial(HEAD)(flow) / Polynomial(POWER)(flow)
    assert best == pytest.approx(flow[efficiency.argmax()], abs=1e-4)
    assert field(catalogue, "CF-M", "best_efficiency") == pytest.approx(efficiency.max(), rel=1e-9)
    assert field(catalogue, "CF-M", "head_at_best_m") == pytest.approx(float(Polynomial(HEAD)(best)))
    assert field(catalogue, "CF-M", "best_power_w") == pytest.approx(float(Polynomial(POWER)(best)))
    assert field(catalogue, "CF-M", "max_flow_ratio") * best == pytest.approx(10.2)
    assert field(catalogue, "CF-M", "measured") == 1 and field(catalogue, "HR-M", "measured") == 0
    for name, value in zip(
        ("displacement_cm3", "slip_m3_h_pa", "slip_exponent", "fit_friction_nm"), ROTOR.values(), strict=True
    ):
        assert field(catalogue, "HR-M", name) == pytest.approx(value, rel=1e-6), name
    for values in catalogue.pumps:
        assert np.isfinite(values).all()


@given(
    st.floats(5.0, 300.0), st.floats(0.0, 0.4), st.floats(0.05, 0.5), st.floats(0.5, 100.0),
    st.floats(0.3, 0.8), st.floats(0.2, 1.2),
)  # fmt: skip
def test_any_falling_parabola_is_found_again(
    shut_off: float, first: float, second: float, end: float, rise: float, p0: float
) -> None:
    """Closed form: H / H0 = 1 - first x - second x², P / P0 = p0 + x - rise x² / 3."""
    flow = end * np.array([0.0, 0.2, 0.35, 0.5, 0.65, 0.8, 1.0])
    coefficients = (shut_off, -first * shut_off / end, -second * shut_off / end**2)
    head = fit_head(flow, Polynomial(coefficients)(flow), end)
    x = flow / end
    assert np.abs(head.residuals).max() < 1e-9
    np.testing.assert_allclose(Polynomial(head.coefficients)(flow), Polynomial(coefficients)(flow), rtol=1e-6)
    power = fit_power(flow, 100.0 * (p0 + x - rise * x * x / 3))
    scaled = [c * end**k / 100.0 for k, c in enumerate(power.coefficients)]
    np.testing.assert_allclose(scaled, [p0, 1.0, -rise / 3, 0.0], rtol=1e-6, atol=1e-6)


@given(st.floats(0.5, 0.95), st.floats(0.01, 0.3), st.floats(1.0, 60.0))
def test_any_slip_exponent_is_found_again(exponent: float, share: float, displacement: float) -> None:
    """Closed form: slip at the highest pressure is `share` of the swept volume at rated speed."""
    pressure = np.tile(np.linspace(1e5, 20e5, 6), 2)
    speed = np.repeat([1.0, 0.5], 6)
    swept = 60e-6 * displacement * 3000
    slip = share * swept / 20e5**exponent
    found = fit_slip(swept * speed - slip * pressure**exponent, speed, pressure, None)
    assert found.coefficients == pytest.approx((swept, slip, exponent), rel=1e-4)
    fixed = fit_slip(swept * speed - slip * pressure**exponent, speed, pressure, swept)
    assert fixed.coefficients == pytest.approx((swept, slip, exponent), rel=1e-4)  # worst at the bounds of a


def test_helical_pump_with_turbulent_leakage(tmp_path: Path) -> None:
    """Closed form: exponent 0.7; the engine's equation then gives the speeds of the points."""
    rotor = ROTOR | {"exponent": 0.7, "slip_m3_h_pa": 6e-6}
    points = helical_points(rotor=rotor)
    catalogue = load(tmp_path, centrifugal_points() + points)
    assert field(catalogue, "HR-M", "slip_exponent") == pytest.approx(0.7, rel=1e-6)
    assert field(catalogue, "HR-M", "slip_m3_h_pa") == pytest.approx(6e-6, rel=1e-5)
    for point in points:
        pressure = float(density_kg_m3(20.0)) * GRAVITY_M_S2 * point["head_m"]
        slip, exponent = (field(catalogue, "HR-M", name) for name in ("slip_m3_h_pa", "slip_exponent"))
        leak = helical_slip_m3_h(pressure, slip, exponent)
        speed = helical_speed_rpm(point["flow_m3_h"] + leak, 0.0, field(catalogue, "HR-M", "displacement_cm3"), 0.0)
        assert speed == pytest.approx(point["speed_rpm"], rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_scatter_of_one_per_cent_stays_within_bands(tmp_path: Path, seed: int) -> None:
    """Closed form with normal scatter of 1 % on flow, head and power; the bands are a little wider than was seen."""
    rng = np.random.default_rng(seed)
    points = centrifugal_points() + helical_points()
    for point in points:
        for name in ("flow_m3_h", "head_m", "shaft_power_w"):
            point[name] = float(point[name] * (1 + 0.01 * rng.standard_normal()))
    catalogue = load(tmp_path, points)
    fit = catalogue.fits["CF-M"]
    x = np.linspace(0.5, 10.2, 50)
    head = curve_head_m(x, 1.0, *(fit.coefficients[name] for name in ("head_0_m", "head_1_m_h_m3", "head_2_m_h2_m6")))
    assert np.abs(head / Polynomial(HEAD)(x) - 1).max() < 0.03
    powers = [fit.coefficients[f"power_{k}_w"] for k in range(4)]
    power = curve_shaft_power_w(x, 1.0, fit.coefficients["best_flow_m3_h"], 2.0, *powers)
    assert np.abs(power / Polynomial(POWER)(x) - 1).max() < 0.03
    assert 0.98 < fit.r2["head"] < 1 and 0.002 < fit.largest_residual["head"] < 0.05
    assert field(catalogue, "HR-M", "displacement_cm3") == pytest.approx(12.0, rel=0.04)
    assert field(catalogue, "HR-M", "fit_friction_nm") == pytest.approx(0.4, rel=0.1)


def test_electrical_power_is_brought_to_the_shaft(tmp_path: Path) -> None:
    """Closed form: what the drive takes, worked out from the shaft power, leads back to the same curves."""
    by_shaft = load(tmp_path, centrifugal_points() + helical_points())
    points = centrifugal_points() + helical_points()
    for point in points:
        at = by_shaft.pump_ids.index(point["pump_id"])
        pump = {name: float(values[at]) for name, values in by_shaft.pumps._asdict().items()}
        drive = {name: float(values[int(pump["drive"])]) for name, values in by_shaft.drives._asdict().items()}
        rpm = point["speed_rpm"]
        motor = [pump[name] for name in ("motor_w", "rated_torque_nm", "rated_speed_rpm", "copper_share", "iron_share")]
        torque = point.pop("shaft_power_w") / (rpm * math.pi / 30)
        point["electrical_power_w"] = float(
            motor_input_w(torque, rpm, *motor, 0.0, drive["efficiency"], drive["standby_w"])
        )
    by_drive = load(tmp_path, points)
    assert by_drive.fits["CF-M"].power == "electrical_power_w"
    for name in by_shaft.pumps._fields:
        np.testing.assert_allclose(getattr(by_drive.pumps, name), getattr(by_shaft.pumps, name), rtol=1e-6, atol=1e-9)


def test_warm_water_of_a_test_is_reckoned_with(tmp_path: Path) -> None:
    """Closed form: in water of 60 °C, 1.5 % lighter, the pump takes as much less; its curve is that at 20 °C."""
    catalogue = load(tmp_path, centrifugal_points(celsius=60.0) + helical_points())
    assert field(catalogue, "CF-M", "power_0_w") == pytest.approx(POWER[0], rel=1e-6)


def test_what_the_table_fills_in(tmp_path: Path) -> None:
    """Highest flow and swept volume of the table are kept; best point and efficiencies are the points'."""
    pumps = pump_rows(
        max_flow_m3_h="9.5", best_flow_m3_h="3", head_at_best_m="20", best_eff="0.4",
        displacement_cm3="12", volumetric_eff_new="0.5", hydromech_eff="0.5",
    )  # fmt: skip
    catalogue = load(tmp_path, centrifugal_points() + helical_points(), pumps)
    assert field(catalogue, "CF-M", "max_flow_ratio") * field(catalogue, "CF-M", "best_flow_m3_h") == pytest.approx(9.5)
    assert field(catalogue, "CF-M", "best_flow_m3_h") > 5 and field(catalogue, "CF-M", "best_efficiency") > 0.5
    assert field(catalogue, "HR-M", "displacement_cm3") == 12.0
    assert field(catalogue, "HR-M", "slip_m3_h_pa") == pytest.approx(8e-8, rel=1e-6)


def test_columns_that_points_give_may_be_absent(tmp_path: Path) -> None:
    absent = {"best_flow_m3_h", "head_at_best_m", "best_eff", "max_flow_m3_h"}
    pumps = [{name: value for name, value in row.items() if name not in absent} for row in pump_rows()]
    points = centrifugal_points() + helical_points()
    assert load(tmp_path, points, pumps).pump_ids == ("CF-M", "HR-M")
    plain = dict(pumps[0], pump_id="CF-Z")
    found = refusals(tmp_path, points, [*pumps, plain])
    assert sorted(line.split(": ")[1] for line in found) == sorted(f"header, column {name}" for name in absent)


def test_the_fit_is_shown(tmp_path: Path) -> None:
    points = centrifugal_points() + helical_points()
    points[3]["head_m"] *= 1.02  # row 4
    catalogue = load(tmp_path, points)
    fit = catalogue.fits["CF-M"]
    assert (fit.family, fit.points, fit.power, fit.largest_row["head"]) == ("centrifugal", 16, "shaft_power_w", 4)
    assert fit.flow_m3_h == (0.0, 10.2) and fit.speed_rpm == (2200.0, 2900.0)
    assert "CF-M: 16 points, 0 to 10.2 m3/h" in fit.line() and "in row 4; P = r^3 (" in fit.line()
    assert "HR-M: 10 points" in catalogue.fits["HR-M"].line() and "12 cm3 × n" in catalogue.fits["HR-M"].line()
    assert "\n" not in fit.line() + catalogue.fits["HR-M"].line()
    json.dumps({name: dataclasses.asdict(one) for name, one in catalogue.fits.items()}, allow_nan=False)


def test_points_are_part_of_the_digest(tmp_path: Path) -> None:
    points = centrifugal_points() + helical_points()
    first = load(tmp_path, points)
    points[0]["note"] = "typed again"
    second = load(tmp_path, points)
    assert first.digest != second.digest
    assert first.sources == second.sources  # a point is no source of the pump's row


# Published ----------------------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore:Covariance of the parameters")  # wntr's, of three numbers through three points
def test_a_pump_of_a_published_network() -> None:
    """Published: pump curves of EPANET example network 3 (Rossman 2000), as wntr carries it; three points each, so a
    falling parabola meets them all. Independent: EPANET's own power law through the same points.
    """
    network = wntr.network.WaterNetworkModel("Net3")
    for name in ("10", "335"):
        points = np.array(network.get_link(name).get_pump_curve().points)
        flow, head = points.T
        curve = fit_head(flow, head, flow.max())
        assert np.abs(curve.residuals).max() < 1e-9 and curve.r2 == pytest.approx(1.0)
        a, b, c = network.get_link(name).get_head_curve_coefficients()
        q = np.linspace(0, flow.max(), 40)
        assert np.abs(Polynomial(curve.coefficients)(q) - (a - b * q**c)).max() < 0.02 * head.max()


def test_a_measured_pump_of_a_text_book() -> None:
    """From memory: test of a pump with an impeller of 9 in at 1750 rpm, an exercise of Munson, Young and Okiishi,
    Fundamentals of Fluid Mechanics, chapter 12 (flow in gal/min, pressure rise in psi, power in hp). The highest
    efficiency of a point, by hand, is 0.61 at 100 and 0.60 at 120 gal/min.
    """
    flow = 0.227125 * np.array([20.0, 40, 60, 80, 100, 120, 140])
    head = 0.703070 / 0.9982 * np.array([40.2, 40.1, 38.1, 36.2, 33.5, 30.1, 25.8])
    power = 745.700 * np.array([1.58, 2.27, 2.67, 2.95, 3.19, 3.49, 4.00])
    of_head, of_power = fit_head(flow, head, flow.max()), fit_power(flow, power)
    assert np.abs(of_head.residuals).max() < 0.02 and of_head.r2 > 0.99
    assert np.abs(of_power.residuals).max() < 0.06
    h, p = Polynomial(of_head.coefficients), Polynomial(of_power.coefficients)
    best = best_flow(h, p, flow.max())
    assert 0.227125 * 95 < best < 0.227125 * 125
    assert 998.2 * GRAVITY_M_S2 * best / 3600 * h(best) / p(best) == pytest.approx(0.60, abs=0.02)


# What is refused ----------------------------------------------------------------------------------------------


def changed(points: Rows, at: int, **cells: Any) -> Rows:
    return [*points[:at], points[at] | cells, *points[at + 1 :]]


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"flow_m3_h": "1,5"}, "row 2 (CF-M), column flow_m3_h: found '1,5'; expected a number from 0 to 20000"),
        ({"head_m": -1.0}, "row 2 (CF-M), column head_m: found -1.0"),
        ({"speed_rpm": 48.3}, "row 2 (CF-M), column speed_rpm: found 48.3; expected a number from 50 to 20000"),
        ({"shaft_power_w": ""}, "row 2 (CF-M), column shaft_power_w: found nothing, nor electrical_power_w;"),
        ({"shaft_power_w": 0.0}, "row 2 (CF-M), column shaft_power_w: found 0.0; expected a number from 0.1"),
        ({"electrical_power_w": 800.0}, "row 2 (CF-M), column shaft_power_w: found both it and electrical_power_w"),
        (
            {"shaft_power_w": "", "electrical_power_w": 800.0},
            "row 2 (CF-M), column electrical_power_w: found 800.0; expected shaft_power_w, as in the rows of",
        ),
        ({"water_temperature_c": "warm"}, "row 2 (CF-M), column water_temperature_c: found 'warm'"),
        ({"pump_id": "CF-N"}, "row 2 (CF-N), column pump_id: found 'CF-N'; expected a pump_id of pumps.csv, as 'CF-M'"),
        ({"pump_id": ""}, "row 2, column pump_id: found nothing"),
        ({"shaft_power_w": 150.0}, "row 2 (CF-M), column shaft_power_w: found 150 W, of which 237.5 W go to"),
        ({"head_m": 50.0}, "pump CF-M, head: found R² 0.9714, farthest point off by 11.8% in row 2; expected at mo"),
        ({"shaft_power_w": 900.0}, "pump CF-M, power: found R² 0."),
    ],
)  # fmt: skip
def test_a_wrong_point_is_named(tmp_path: Path, cells: dict[str, Any], expected: str) -> None:
    points = changed(centrifugal_points(), 1, **cells) + helical_points()
    (fault,) = refusals(tmp_path, points)
    assert fault.startswith(f"points.csv: {expected}"), fault


def test_all_faults_at_once(tmp_path: Path) -> None:
    points = changed(centrifugal_points(), 0, head_m="tall")
    points += changed(helical_points(), 2, shaft_power_w=10.0)
    found = refusals(tmp_path, points, [row | {"price": "-1"} for row in pump_rows()])
    assert [line.split(":")[0] for line in found] == ["points.csv", "pumps.csv", "pumps.csv", "points.csv"]
    assert "row 19 (HR-M), column shaft_power_w: found 10 W" in found[3]  # after 16 of the first pump


def bent(head: Any = None, power: Any = None) -> Rows:
    """Points at rated speed on other curves."""
    points = centrifugal_points(speeds=(2900.0,))
    for point in points:
        x = point["flow_m3_h"]
        point["head_m"] = float(head(x)) if head else point["head_m"]
        point["shaft_power_w"] = float(power(x)) if power else point["shaft_power_w"]
    return points


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        (centrifugal_points(speeds=(2900.0,))[:4], "pump CF-M, flows: found 4 points, 4 flows from 0 to 4.5 at"),
        (centrifugal_points(speeds=(2900.0,))[3:], "pump CF-M, flows: found 5 points, 5 flows from 4.5 to 10.2"),
        (centrifugal_points(speeds=(2900.0,))[:3] * 2, "pump CF-M, flows: found 6 points, 3 flows"),
        (bent(head=lambda x: 30 + 2 * x, power=lambda x: 1500 + 30 * x), "pump CF-M, head: found R² "),
        (bent(head=lambda x: 40 - 0.2 * x + 2 * math.sin(2 * x)), "pump CF-M, head: found R² "),
        (bent(power=lambda x: 2400 - 150 * x), "pump CF-M, power: found less power for more flow or speed, from "),
    ],
)  # fmt: skip
def test_points_that_make_no_pump(tmp_path: Path, points: Rows, expected: str) -> None:
    (fault,) = refusals(tmp_path, points + helical_points())
    assert fault.startswith(f"points.csv: {expected}"), fault


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        (helical_points(speeds=(3000.0,))[:4], "pump HR-M, pressures: found 4 points, 4 pressures from 1.958 to"),
        (helical_points()[3:5] * 3, "pump HR-M, pressures: found 6 points, 2 pressures"),
        (helical_points(rotor=ROTOR | {"friction_nm": -0.4}), "row 17 (HR-M), column shaft_power_w: found"),
        (helical_points(rotor=ROTOR | {"slip_m3_h_pa": -2e-7, "friction_nm": 1.2}), "pump HR-M, flow: found R² "),
        (changed(helical_points(), 4, flow_m3_h=1.6), "pump HR-M, flow: found R² "),
        (changed(helical_points(), 4, shaft_power_w=1200.0), "pump HR-M, power: found R² "),
    ],
)
def test_points_that_make_no_rotor(tmp_path: Path, points: Rows, expected: str) -> None:
    found = refusals(tmp_path, centrifugal_points() + points)
    assert found[0].startswith(f"points.csv: {expected}"), found
    assert all(line.startswith("points.csv: row ") for line in found[1:])


def test_a_table_that_goes_beyond_the_points(tmp_path: Path) -> None:
    points = centrifugal_points() + helical_points()
    found = refusals(tmp_path, points, pump_rows(max_flow_m3_h="12", pressure_limit_bar="24"))
    first = "column max_flow_m3_h: found 12; expected at most 1.1 × the highest measured flow, 10.2 at rated speed"
    second = "column pressure_limit_bar: found 24; expected at most 1.5 × the highest measured pressure, 11.75 bar"
    assert found == [f"pumps.csv: row 1 (CF-M), {first}", f"pumps.csv: row 2 (HR-M), {second}"]
    found = refusals(tmp_path, points, pump_rows(displacement_cm3="10"))
    assert "pump HR-M, flow: found" in found[0] and "from displacement_cm3 10 (empty: fitted)" in found[0]


def test_electrical_power_below_the_losses(tmp_path: Path) -> None:
    points = helical_points(speeds=(3000.0,))
    for point in points:
        point["electrical_power_w"] = 2.0 * point.pop("shaft_power_w")
    points[1]["electrical_power_w"] = 30.0
    (fault,) = refusals(tmp_path, points + centrifugal_points())
    assert fault.startswith("points.csv: row 2 (HR-M), column electrical_power_w: found 30.0; expected more than motor")


def test_a_table_without_power(tmp_path: Path) -> None:
    points = [{k: v for k, v in p.items() if k != "shaft_power_w"} for p in centrifugal_points() + helical_points()]
    assert refusals(tmp_path, points) == [
        "points.csv: header: found no power; expected a column shaft_power_w or electrical_power_w"
    ]


def test_a_text_that_is_no_table(tmp_path: Path) -> None:
    write_rows(tmp_path / "pumps.csv", pump_rows())
    for content in (b"", b"\xff\xfe", b"pump_id\n", b'"'):
        (tmp_path / "points.csv").write_bytes(content)
        with pytest.raises(CatalogueError, match=r"points\.csv"):
            load_catalogue(plan_with(tmp_path, '[equipment]\npumps = "pumps.csv"\npump_points = "points.csv"\n'))


def test_every_row_of_a_file_as_a_spreadsheet_writes_it(tmp_path: Path) -> None:
    """A byte-order mark, Windows line ends and empty last rows change nothing."""
    first = load(tmp_path, centrifugal_points() + helical_points())
    text = (tmp_path / "points.csv").read_text(encoding="utf-8").replace("\n", "\r\n")
    assert len(list(csv.reader(text.splitlines()))) == 27
    (tmp_path / "points.csv").write_bytes(("\ufeff" + text + ",,,,\r\n").encode())
    second = load_catalogue(plan_with(tmp_path, '[equipment]\npumps = "pumps.csv"\npump_points = "points.csv"\n'))
    assert second.fits == first.fits
