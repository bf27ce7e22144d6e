"""Pumps known by measured points: the table of points, the curves through them, and when they are refused.

A row is a point: pump_id, flow_m3_h, head_m (of the pump alone, all stages), speed_rpm, and either `shaft_power_w` or
`electrical_power_w`, the direct-current power at the terminals of the drive, as a test of a solar pump set measures
it; the same of the two for all points of a pump. Losses of motor and drive are taken off with the equation that the
engine adds them with, so that the set takes at a measured point what was measured, however the losses are shared out.
`water_temperature_c` is optional (20 °C).
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.polynomial import Polynomial

from planner.catalogue.arrays import FAMILIES, HELICAL
from planner.catalogue.fitting import Curve, Floats, best_flow, fit_friction, fit_head, fit_power, fit_slip
from planner.catalogue.reading import NEAREST_TOLD, Row, Table, require_columns
from planner.errors import Fault
from planner.physics.pumps import RPM_TO_RAD_S, hydraulic_power_w, motor_input_w, motor_torque_nm
from planner.physics.water import GRAVITY_M_S2, density_kg_m3

WATER_KG_M3 = 998.2  # water of 20 °C (Kell 1975)
SHAFT, ELECTRICAL = POWERS = ("shaft_power_w", "electrical_power_w")
POINT = {"flow_m3_h": (0.0, 20_000.0), "head_m": (0.0, 2_500.0), "speed_rpm": (50.0, 20_000.0)}
# What points give, by family; a table of pumps may leave it empty; of what they seldom show,
# displacement_cm3 and max_flow_m3_h, a filled cell is kept.
GIVEN_BY_POINTS = (
    frozenset({"volumetric_eff_new", "hydromech_eff", "displacement_cm3"}),
    *[frozenset({"best_flow_m3_h", "head_at_best_m", "best_eff", "max_flow_m3_h"})] * 2,
)

# Fewest points: three coefficients and two to spare, as the five of an acceptance test. A pump's start is decided at
# low flow, so the curve may not be drawn there from afar.
FEWEST = 5
FEWEST_PRESSURES = 3
LOWEST_FLOW_SHARE = 0.4  # one point at or below this share of the highest flow
LOWEST_PRESSURE_SHARE = 0.6  # one point at or below this share of the highest pressure
BEYOND_FLOW = 1.1  # a highest flow of the table over the highest measured
BEYOND_PRESSURE = 1.5  # a pressure limit of the table over the highest measured
# Farthest that a point may lie from its curve: head by the tolerance of ISO 9906 grade 2B (5 %, published); power by
# that of the same grade (8 %, from memory). A curve that follows no closer would not pass as the same pump.
FARTHEST = {"head": 0.05, "flow": 0.05, "power": 0.08}
# Least R² of the head. Not of power, nor of a helical pump's flow: where a curve is nearly level it explains no
# variance, however well it fits.
LEAST_R2 = 0.95
HIGHEST_EFFICIENCY = 0.85  # of a pump end; the range of the catalogue's own columns


@dataclass
class Points:
    """Points of one pump, in the order of the file. `sound`: none of its rows has a fault."""

    rows: list[Row] = field(default_factory=list)
    values: list[dict[str, float]] = field(default_factory=list)
    power: str = ""  # which column it stands in
    sound: bool = True

    def column(self, name: str) -> Floats:
        """One of the columns of `POINT`, `power_w` or `density_kg_m3`."""
        return np.array([value[name] for value in self.values])


@dataclass(frozen=True)
class PumpFit:
    """A pump's curves through its measured points.

    coefficients      by name with unit: head_0_m … and power_0_w …, or displacement_cm3, slip_m3_h_pa …
    r2                explained share of the variance, by curve: head or flow, power
    largest_residual  by curve, a share: head of the highest head and flow of the highest flow, both at rated speed;
                      power of the power at that point
    largest_row       the row of the file where it is
    """

    pump_id: str
    family: str
    points: int
    power: str
    flow_m3_h: tuple[float, float]
    head_m: tuple[float, float]
    speed_rpm: tuple[float, float]
    best_efficiency: float
    coefficients: dict[str, float]
    r2: dict[str, float]
    largest_residual: dict[str, float]
    largest_row: dict[str, int]

    def line(self) -> str:
        """The fit in one line."""
        c = self.coefficients
        if self.family == FAMILIES[HELICAL]:
            leak = f"{c['slip_m3_h_pa']:.5g} p^{c['slip_exponent']:.3g}"
            first = f"q = {c['displacement_cm3']:.5g} cm3 × n - {leak} (m3/h, Pa)"
            second = f"T = swept × p / 2 pi + {c['fit_friction_nm']:.5g} N·m"
        else:
            first = "H = " + _sum([c[name] for name in HEAD_FIELDS], (" r^2", " r q", " q^2"))
            powers = _sum([c[name] for name in POWER_FIELDS], ("", " x", " x^2", " x^3"))
            second = f"P = r^3 ({powers}), x = q / ({c['best_flow_m3_h']:.5g} r)"
        (name, *_), shares = self.r2, self.largest_residual
        return (
            f"{self.pump_id}: {self.points} points, {_span(self.flow_m3_h)} m3/h, {_span(self.head_m)} m, "
            f"{_span(self.speed_rpm)} rpm: {first}, R2 {self.r2[name]:.4f}, off by at most {shares[name]:.1%} in row "
            f"{self.largest_row[name]}; {second}, R2 {self.r2['power']:.4f}, off by at most {shares['power']:.1%} in "
            f"row {self.largest_row['power']}; best efficiency {self.best_efficiency:.3f}"
        )


def read_points(table: Table, faults: list[Fault]) -> dict[str, Points]:
    """The points of each pump; every wrong cell is a fault that names its row."""
    require_columns(table, ("pump_id", *POINT), faults)
    if table.columns and not set(POWERS) & set(table.columns):
        faults.append(Fault(table.file, "header", "no power", f"a column {SHAFT} or {ELECTRICAL}"))
    found: dict[str, Points] = {}
    for row in table.rows:
        points = found.setdefault(row.label, Points())
        before = len(faults)
        value = row.numbers(POINT)
        celsius = row.number_in("water_temperature_c", 0, 60) if row.cells.get("water_temperature_c") else 20.0
        value["density_kg_m3"] = float(density_kg_m3(celsius))
        value["power_w"] = _power(row, points)
        if row.label and len(faults) == before and not any(math.isnan(one) for one in value.values()):
            points.rows.append(row)
            points.values.append(value)
        else:
            points.sound = False
    found.pop("", None)
    return found


def _power(row: Row, points: Points) -> float:
    given = [name for name in POWERS if row.cells.get(name)]
    if len(given) != 1:
        if set(POWERS) & set(row.cells):
            row.fault(SHAFT, f"both it and {ELECTRICAL}" if given else f"nothing, nor {ELECTRICAL}", "one of the two")
        return math.nan
    points.power = points.power or given[0]
    if given[0] != points.power:
        row.fault(given[0], row.cells[given[0]], f"{points.power}, as in the rows of this pump above")
    return row.number_in(given[0], 0.1, 1e7)


def strangers(table: Table, pump_ids: Collection[str], pumps_file: str, faults: list[Fault]) -> None:
    """A fault for each pump that has points and no row in the table of pumps; it names the first of its rows."""
    told = set(pump_ids)
    for row in table.rows:
        if row.label and row.label not in told:
            told.add(row.label)
            known = sorted(pump_ids) if len(faults) < NEAREST_TOLD else []
            near = difflib.get_close_matches(row.label, known, n=1, cutoff=0.6)
            hint = f", as {near[0]!r}" if near else ""
            row.fault("pump_id", repr(row.label), f"a pump_id of {pumps_file}{hint}")


def fit_pump(
    row: Row, family: int, record: dict[str, Any], drive: dict[str, Any], points: Points
) -> tuple[dict[str, float], PumpFit | None]:
    """Fields of the arrays that the points give, and the fit; without fit the fields are NaN and the faults are noted.

    row     of the pump in the table of pumps
    record  its checked columns and what follows from them (motor, speeds), 0 where the points give it
    drive   its drive: efficiency, standby_w
    """
    fit = _Fit(row, record, drive, points)
    asked = ("rated_speed_rpm", "drive_rating_w", "copper_share", "pressure_limit_bar")
    if points.sound and not any(math.isnan(record[name]) for name in asked) and fit.shaft_is_sound():
        found = fit.helical() if family == HELICAL else fit.rotodynamic(FAMILIES[family])
        if found is not None:
            return found
    names = HELICAL_FIELDS if family == HELICAL else ROTODYNAMIC_FIELDS
    return dict.fromkeys(names, math.nan), None


HELICAL_FIELDS = ("displacement_cm3", "slip_m3_h_pa", "slip_exponent", "fit_friction_nm")
HEAD_FIELDS = ("head_0_m", "head_1_m_h_m3", "head_2_m_h2_m6")
POWER_FIELDS = ("power_0_w", "power_1_w", "power_2_w", "power_3_w")
BEST_FIELDS = ("best_flow_m3_h", "head_at_best_m", "best_efficiency", "best_power_w", "max_flow_ratio")
ROTODYNAMIC_FIELDS = (*BEST_FIELDS, *HEAD_FIELDS, *POWER_FIELDS)


class _Fit:
    """One pump's points on their way to its curves."""

    def __init__(self, row: Row, record: dict[str, Any], drive: dict[str, Any], points: Points) -> None:
        self.row, self.record, self.drive, self.points = row, record, drive, points
        self.flow, self.head, self.rpm = (points.column(name) for name in POINT)
        self.density = points.column("density_kg_m3")
        self.speed = self.rpm / record["rated_speed_rpm"]
        self.shaft = points.column("power_w")

    def fault(self, what: str, found: str, expected: str) -> None:
        """A fault of the pump's points as a whole."""
        file = self.points.rows[0].file
        self.row.faults.append(Fault(file, f"pump {self.row.label}, {what}", found, expected))

    def shaft_is_sound(self) -> bool:
        """Bring power to the shaft; a fault for each point whose water gets more of it than a pump can give."""
        before = len(self.row.faults)
        if self.points.power == ELECTRICAL:
            self.shaft = self._at_the_shaft()
        hydraulic = hydraulic_power_w(self.flow, self.head, self.density)
        taken = "" if self.points.power == SHAFT else " at the shaft, after the motor's and drive's losses"
        for row, water, shaft in zip(self.points.rows, hydraulic, self.shaft, strict=True):
            if water > HIGHEST_EFFICIENCY * shaft > 0:
                found = f"{shaft:.4g} W{taken}, of which {water:.4g} W go to the water"
                row.fault(self.points.power, found, f"an efficiency of at most {HIGHEST_EFFICIENCY}")
        return len(self.row.faults) == before

    def _at_the_shaft(self) -> Floats:
        motor = [self.record[name] for name in ("motor_w", "rated_torque_nm", "rated_speed_rpm")]
        losses = self.record["copper_share"], self.record["iron_share"]
        drive = self.drive["efficiency"], self.drive["standby_w"]
        torque = motor_torque_nm(self.shaft, self.rpm, *motor, *losses, *drive)
        idle = motor_input_w(0.0, self.rpm, *motor, *losses, 0.0, *drive)
        for row, nm, most in zip(self.points.rows, torque, idle, strict=True):
            if nm <= 0:
                row.fault(
                    ELECTRICAL, row.cells[ELECTRICAL], f"more than motor and drive lose by themselves, {most:.4g} W"
                )
        shaft: Floats = torque * self.rpm * RPM_TO_RAD_S
        return shaft

    def rotodynamic(self, family: str) -> tuple[dict[str, float], PumpFit] | None:
        """H and P at rated speed; None with faults where they cannot be used."""
        flow, head = self.flow / self.speed, self.head / self.speed**2
        power = self.shaft / self.speed**3 * WATER_KG_M3 / self.density
        given = self.record["max_flow_m3_h"]
        end = given if given > 0 else float(flow.max())
        if not self._spread(flow, FEWEST, LOWEST_FLOW_SHARE, "flows", "at rated speed") or math.isnan(given):
            return None
        if end > BEYOND_FLOW * flow.max():
            expected = f"at most {BEYOND_FLOW} × the highest measured flow, {flow.max():.4g} at rated speed"
            self.row.fault("max_flow_m3_h", f"{end:g}", expected)
            return None
        curves = {"head": fit_head(flow, head, max(end, float(flow.max()))), "power": fit_power(flow, power)}
        if not self._close(curves, "that falls with flow") or not self._works(curves, end):
            return None
        h, p = Polynomial(curves["head"].coefficients), Polynomial(curves["power"].coefficients)
        best = best_flow(h, p, end)
        head_at_best, power_at_best = float(h(best)), float(p(best))
        fields = {
            "best_flow_m3_h": best,
            "head_at_best_m": head_at_best,
            "best_efficiency": float(hydraulic_power_w(best, head_at_best, WATER_KG_M3)) / power_at_best,
            "best_power_w": power_at_best,
            "max_flow_ratio": end / best,
        }
        coefficients = dict(zip(HEAD_FIELDS, curves["head"].coefficients, strict=True))
        scaled = [value * best**k for k, value in enumerate(curves["power"].coefficients)]
        coefficients |= dict(zip(POWER_FIELDS, scaled, strict=True))
        shown = coefficients | {"best_flow_m3_h": best, "head_at_best_m": head_at_best, "max_flow_m3_h": end}
        return fields | coefficients, self._fit(family, fields["best_efficiency"], shown, curves)

    def _works(self, curves: dict[str, Curve], end: float) -> bool:
        """Whether the curves are those of a pump from no flow to the highest."""
        flow = np.linspace(0.0, end, 201)
        head, power = (Polynomial(curves[name].coefficients)(flow) for name in ("head", "power"))
        efficiency = hydraulic_power_w(flow, head, WATER_KG_M3) / np.where(power > 0, power, np.inf)
        if head[-1] <= 0:
            self.fault("head", f"{head[-1]:.4g} m at {end:.4g} m3/h on the curve", "a head above 0 at the highest flow")
        elif power.min() <= 0:
            found = f"{power.min():.4g} W at {flow[power.argmin()]:.4g} m3/h on the curve"
            self.fault("power", found, "more than 0 at every flow")
        elif efficiency.max() > HIGHEST_EFFICIENCY:
            found = f"an efficiency of {efficiency.max():.3f} at {flow[efficiency.argmax()]:.4g} m3/h on the curves"
            self.fault("power", found, f"at most {HIGHEST_EFFICIENCY}")
        else:
            # At one head r² goes as 1 / H(x), and power as P(x) / H(x)^1.5; at one flow its slope with speed has the
            # sign of 3 P(x) - x P'(x). Both must rise, whatever the pipe, or more sun gave less water.
            slope = Polynomial(curves["power"].coefficients).deriv()(flow)
            falls = (np.diff(power / head**1.5, prepend=0.0) <= 0) | (3 * power <= flow * slope)
            if not falls.any():
                return True
            found = (
                f"less power for more flow or speed, from {flow[falls.argmax()]:.4g} m3/h at rated speed on the curve"
            )
            self.fault("power", found, "power that rises with flow")
        return False

    def helical(self) -> tuple[dict[str, float], PumpFit] | None:
        """Slip and friction; None with faults where they cannot be used."""
        pressure = self.density * GRAVITY_M_S2 * self.head
        if not self._spread(pressure / 1e5, FEWEST_PRESSURES, LOWEST_PRESSURE_SHARE, "pressures", "in bar"):
            return None
        limit = 1e5 * self.record["pressure_limit_bar"]
        if limit > BEYOND_PRESSURE * pressure.max():
            expected = f"at most {BEYOND_PRESSURE} × the highest measured pressure, {pressure.max() / 1e5:.4g} bar"
            self.row.fault("pressure_limit_bar", f"{limit / 1e5:g}", expected)
            return None
        turns_m3_h = 60e-6 * self.record["rated_speed_rpm"]  # of 1 cm3 at rated speed
        given = self.record["displacement_cm3"]
        slip = fit_slip(self.flow, self.speed, pressure, turns_m3_h * given if given > 0 else None)
        swept, leak, exponent = slip.coefficients
        displacement = given if given > 0 else swept / turns_m3_h
        torque = self.shaft / (self.rpm * RPM_TO_RAD_S)
        curves = {"flow": slip, "power": fit_friction(torque, 1e-6 * displacement * pressure / (2 * math.pi))}
        (friction,) = curves["power"].coefficients
        hint = "that falls with pressure" + (f" from displacement_cm3 {given:g} (empty: fitted)" if given > 0 else "")
        if not self._close(curves, hint):
            return None
        if friction <= 0:
            self.fault("power", f"a friction of the rotor's fit of {friction:.3g} N·m", "more than 0")
            return None
        fields = dict(zip(HELICAL_FIELDS, (displacement, leak, exponent, friction), strict=True))
        # The best of both curves: the highest pressure at full speed, or where slip has begun to outweigh friction.
        pa = np.linspace(0.0, max(limit, float(pressure.max())), 201)
        flow = np.maximum(swept - leak * pa**exponent, 0.0)
        best = float((flow / swept * pa / (pa + 2e6 * math.pi * friction / displacement)).max())
        if best > HIGHEST_EFFICIENCY:
            self.fault("power", f"an efficiency of {best:.3f} on the curves", f"at most {HIGHEST_EFFICIENCY}")
            return None
        return fields, self._fit(FAMILIES[HELICAL], best, fields, curves)

    def _spread(self, values: Floats, different: int, lowest: float, name: str, unit: str) -> bool:
        """Whether there are points enough, and far enough apart."""
        shares = values / values.max() if values.size and values.max() > 0 else np.zeros(1)
        levels = np.unique(np.round(shares, 2)).size
        if values.size < FEWEST or levels < different or shares.min() > lowest:
            seen = f"{values.size} points, {levels} {name}"
            if values.size:
                seen += f" from {values.min():.4g} to {values.max():.4g} {unit}"
            expected = f"at least {FEWEST} points at {different} {name}, one at most {lowest} of the highest"
            self.fault(name, seen, expected)
            return False
        return True

    def _close(self, curves: dict[str, Curve], shape: str) -> bool:
        """Whether every point lies near its curve; the farthest is named."""
        close = True
        for name, curve in curves.items():
            at = int(np.argmax(np.abs(curve.residuals)))
            off = abs(curve.residuals[at])
            most = FARTHEST[name]
            r2 = f"R² {curve.r2:.4f}, farthest point off by {off:.1%} in row {self.points.rows[at].number}"
            like = f" from a curve {shape}" if name != "power" else " from the curve"
            if off > most:
                self.fault(name, r2, f"at most {most:.0%}{like}")
            elif name == "head" and not curve.r2 >= LEAST_R2:
                self.fault(name, r2, f"R² of at least {LEAST_R2}{like}")
            else:
                continue
            close = False
        return close

    def _fit(self, family: str, best: float, coefficients: dict[str, float], curves: dict[str, Curve]) -> PumpFit:
        farthest = {name: int(np.argmax(np.abs(curve.residuals))) for name, curve in curves.items()}
        return PumpFit(
            pump_id=self.row.label,
            family=family,
            points=self.flow.size,
            power=self.points.power,
            flow_m3_h=(float(self.flow.min()), float(self.flow.max())),
            head_m=(float(self.head.min()), float(self.head.max())),
            speed_rpm=(float(self.rpm.min()), float(self.rpm.max())),
            best_efficiency=best,
            coefficients=coefficients,
            r2={name: curve.r2 for name, curve in curves.items()},
            largest_residual={name: float(abs(curves[name].residuals[at])) for name, at in farthest.items()},
            largest_row={name: self.points.rows[at].number for name, at in farthest.items()},
        )


def _sum(values: list[float], names: tuple[str, ...]) -> str:
    terms = [
        f"{'-' if value < 0 else '+'} {abs(value):.5g}{name}"
        for value, name in zip(values, names, strict=True)
        if value
    ]
    return " ".join(terms).removeprefix("+ ")


def _span(ends: tuple[float, float]) -> str:
    low, high = ends
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"
