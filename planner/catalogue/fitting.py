"""Curves through measured points: plain numbers in, coefficients and residuals out; no files, no limits.

Rotodynamic pumps are fitted at rated speed: points come in after the affinity laws (q / r, H / r², P / r³). H and P are
fitted, never the efficiency, whose quotient of two scattered numbers would give every error twice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.polynomial import Polynomial
from scipy.optimize import least_squares, nnls

Floats = npt.NDArray[np.float64]

CUBIC_POINTS = 8  # a cubic has four coefficients: below two points for each it follows the scatter
GAIN = 10.0  # F that a further coefficient must reach: chance gives it in 1 of 100 (12 points) to 1 of 20 (6 points)
EXACT = 1e-9  # rms share below which a fit is as good as its numbers: nothing further is freed


class Curve(NamedTuple):
    """Coefficients, residuals (fitted − measured, as shares) and the explained share of the variance, NaN if none."""

    coefficients: tuple[float, ...]
    residuals: Floats
    r2: float


def fit_head(flow: Floats, head: Floats, end: float) -> Curve:
    """H = a0 + a1 q + a2 q² at rated speed, falling from 0 to `end`; residuals are shares of the highest head.

    The slope of a quadratic is linear in q, so the curve falls between two flows when it falls at both: least squares
    with the two slopes ≥ 0 (Lawson & Hanson 1974).
    """
    u = flow / end
    basis = np.column_stack([np.ones_like(u), u * u / 2 - u, -u * u / 2])
    (shut_off, first, last), _ = nnls(basis, head)
    coefficients = (shut_off, -first / end, (first - last) / (2 * end * end))
    fitted = Polynomial(coefficients)(flow)
    return Curve(_floats(coefficients), (fitted - head) / head.max(), _r2(head, fitted))


def fit_power(flow: Floats, power: Floats) -> Curve:
    """P = p0 + p1 q + p2 q² (+ p3 q³) at rated speed, always four coefficients; residuals are shares of each power.

    The cubic term is taken from `CUBIC_POINTS` points on, where it is worth a coefficient.
    """
    scale = flow.max()

    def of_degree(degree: int) -> Polynomial:
        return Polynomial.fit(flow / scale, power, degree, w=1 / power).convert()

    def residuals(found: Polynomial) -> Floats:
        shares: Floats = found(flow / scale) / power - 1
        return shares

    chosen = of_degree(2)
    if flow.size >= CUBIC_POINTS:
        cubic = of_degree(3)
        if worth_a_coefficient(residuals(chosen), residuals(cubic), flow.size - 4):
            chosen = cubic
    coefficients = np.zeros(4)
    coefficients[: chosen.coef.size] = chosen.coef / scale ** np.arange(chosen.coef.size)
    return Curve(_floats(coefficients), residuals(chosen), _r2(power, chosen(flow / scale)))


def fit_slip(flow: Floats, speed_ratio: Floats, pressure_pa: Floats, swept_m3_h: float | None) -> Curve:
    """q = V n − k Δp^a: (V n at rated speed in m3/h, k in m3/h per Pa^a, a); residuals at rated speed, shares of the
    highest flow there.

    `swept_m3_h` fixes V. 0.5 ≤ a ≤ 1, and a = 1 (laminar leakage) unless another is worth a coefficient. k ≥ 0.
    """
    at_rated = flow / speed_ratio
    top = pressure_pa.max()

    def solved(exponent: float) -> tuple[float, float, Floats]:
        leak = (pressure_pa / top) ** exponent / speed_ratio
        if swept_m3_h is None:
            (swept, slip), _ = nnls(np.column_stack([np.ones_like(leak), -leak]), at_rated)
        else:
            swept = swept_m3_h
            (slip,), _ = nnls(leak[:, None], swept - at_rated)
        return swept, slip, (swept - slip * leak - at_rated) / at_rated.max()

    exponent = 1.0
    free = _exponent(lambda a: solved(a)[2])
    if worth_a_coefficient(solved(1.0)[2], solved(free)[2], flow.size - (3 if swept_m3_h is None else 2)):
        exponent = free
    swept, slip, residuals = solved(exponent)
    fitted = (at_rated + residuals * at_rated.max()) * speed_ratio
    return Curve(_floats((swept, slip / top**exponent, exponent)), residuals, _r2(flow, fitted))


def _exponent(residuals: Callable[[float], Floats]) -> float:
    found = least_squares(lambda a: residuals(float(a[0])), 0.75, bounds=(0.5, 1.0), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return float(found.x[0])


def fit_friction(torque_nm: Floats, ideal_nm: Floats) -> Curve:
    """T = V Δp / 2π + T_fit: (T_fit,), N·m; residuals are shares of each torque. `ideal_nm` is V Δp / 2π."""
    weight = 1 / torque_nm**2
    friction = float(np.sum(weight * (torque_nm - ideal_nm)) / np.sum(weight))
    fitted = ideal_nm + friction
    return Curve((friction,), fitted / torque_nm - 1, _r2(torque_nm, fitted))


def best_flow(head: Polynomial, power: Polynomial, end: float) -> float:
    """Flow of the highest efficiency q H / P in 0 < q ≤ end: where (q H)' P = q H P'."""
    lifted = Polynomial([0.0, 1.0]) * head
    places = (lifted.deriv() * power - lifted * power.deriv()).roots()
    real = [float(np.real(place)) for place in places if abs(np.imag(place)) < 1e-9 * end]
    inside = [flow for flow in real if 0 < flow < end]
    return max([*inside, end], key=lambda flow: float(lifted(flow) / power(flow)))


def worth_a_coefficient(without: Floats, having: Floats, left: int) -> bool:
    """Whether one more coefficient lowers the sum of squared residuals by more than chance does.

    `left`: points less coefficients, of the richer curve.
    """
    before, after = float(without @ without), float(having @ having)
    return left > 0 and before > without.size * EXACT**2 and (before - after) * left > GAIN * after


def _floats(values: npt.ArrayLike) -> tuple[float, ...]:
    return tuple(float(value) for value in np.asarray(values))


def _r2(measured: Floats, fitted: Floats) -> float:
    spread = float(np.sum((measured - measured.mean()) ** 2))
    return 1 - float(np.sum((fitted - measured) ** 2)) / spread if spread > 0 else float("nan")
