"""Wells: drawdown, what a pumping test tells, memory of earlier days, the flow that a level limit allows.

Metres, days and m3/d inside; a confined, infinite, uniform aquifer without storage in the well. Drawdown is
linear in flow, so wells and pumping periods add up; only the loss in the well itself, C Q², does not.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import exp1, gammaln

from planner.physics.equation import equation

__all__ = [
    "LARGEST_U",
    "cooper_jacob_transmissivity_m2_d",
    "day_loss_d_m2",
    "depth_class",
    "flow_at_level_m3_h",
    "intermittent_drawdown_m",
    "logan_transmissivity_m2_d",
    "memory_coefficient_d_m2",
    "productivity_class",
    "recovery_drawdown_m",
    "step_drawdown_m",
    "theis_drawdown_m",
    "transmissivity_from_test",
    "well_function",
    "well_loss_s2_m5",
]

Floats = NDArray[np.float64]

LARGEST_U = 0.43481820438490393
"""Where u W(u) is greatest, the root of W(u) = exp(−u).

Two transmissivities can give one drawdown. Below this u lies the larger, where drawdown falls as it grows.
At the smaller the cone has hardly left the well, whose own storage Theis leaves out.
"""
SMALLEST_SHARE = 0.05


def well_function(u: ArrayLike) -> Floats:
    """W(u) of Theis 1935, the exponential integral E1, for u ≥ 0.

    >>> round(float(well_function(1e-5)), 4)
    10.9357
    """
    return np.asarray(exp1(np.asarray(u, dtype=np.float64)))


def theis_drawdown_m(
    flow_m3_d: ArrayLike,
    transmissivity_m2_d: ArrayLike,
    storativity: ArrayLike,
    radius_m: ArrayLike,
    time_d: ArrayLike,
) -> Floats:
    """Drawdown, m, at a radius and a time after a well began to pump: Q/(4πT) W(r²S/4Tt), Theis 1935.

    All arguments > 0 (flow ≥ 0), broadcast. storativity is dimensionless.

    >>> round(float(theis_drawdown_m(500, 100, 0.001, 50, 1)), 3)
    1.792
    """
    flow, transmissivity, storage, radius, time = _arrays(flow_m3_d, transmissivity_m2_d, storativity, radius_m, time_d)
    u = radius**2 * storage / (4.0 * transmissivity * time)
    return np.asarray(flow / (4.0 * math.pi * transmissivity) * exp1(u))


def transmissivity_from_test(
    flow_m3_d: ArrayLike,
    drawdown_m: ArrayLike,
    radius_m: ArrayLike,
    storativity: ArrayLike,
    time_d: ArrayLike,
) -> Floats:
    """Transmissivity, m2/d, that gives a drawdown at the end of a test: the inverse of `theis_drawdown_m`.

    flow_m3_d     of the test, > 0
    drawdown_m    in the pumped well, less the well loss, > 0
    radius_m      of the well
    storativity   assumed; ten times more storage lowers the answer by about a fifth
    time_d        of pumping

    Missing where an input is missing or not positive, or where no transmissivity gives so large a drawdown.
    Solved for u by bisection in ln u (63 halvings of 1e-30 … 0.43, to rounding); the larger of the two
    solutions.

    >>> round(float(transmissivity_from_test(500, 1.7918, 50, 0.001, 1)), 1)
    100.0
    """
    flow, drawdown, radius, storage, time = _arrays(flow_m3_d, drawdown_m, radius_m, storativity, time_d)
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = radius**2 * storage / (4.0 * time)  # T = scale / u
        target = 4.0 * math.pi * drawdown * scale / flow  # = u W(u)
        usable = np.isfinite(target) & (flow > 0) & (drawdown > 0) & (scale > 0)
        usable &= target <= LARGEST_U * math.exp(-LARGEST_U)
    low = np.full(target.shape, math.log(1e-30))
    high = np.full(target.shape, math.log(LARGEST_U))
    for _ in range(63):
        middle = 0.5 * (low + high)
        u = np.exp(middle)
        below = u * exp1(u) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(usable, scale / np.exp(0.5 * (low + high)), np.nan)


def day_loss_d_m2(
    test_loss_d_m2: ArrayLike, transmissivity_m2_d: ArrayLike, time_test_h: ArrayLike, time_day_h: ArrayLike
) -> Floats:
    """Linear drawdown coefficient B, d/m2, after a pumping day, from that at the end of a test.

    B_day = B_test + ln(t_day / t_test) / 4πT (Cooper & Jacob 1946), up or down; never below 5 % of B_test,
    where the logarithm no longer holds (judgement).

    >>> round(float(day_loss_d_m2(0.05, 10.0, 24.0, 8.0)), 5)
    0.04126
    """
    loss, transmissivity, test, day = _arrays(test_loss_d_m2, transmissivity_m2_d, time_test_h, time_day_h)
    return np.maximum(loss + np.log(day / test) / (4.0 * math.pi * transmissivity), SMALLEST_SHARE * loss)


def memory_coefficient_d_m2(transmissivity_m2_d: ArrayLike, days: ArrayLike, share_of_day: ArrayLike) -> Floats:
    """Background drawdown at the end of a pumping day, per m3/d of daily volume, d/m2.

    days          N ≥ 1 pumped since the water table last recovered, the present one included
    share_of_day  f, share of each day that the pump runs, 0 to 1

    Superposing N − 1 earlier days of pumping at V/f leaves V/(4πT f) Σ_{k=1}^{N−1} ln((k + f)/k), which is
    V/(4πT) [lnΓ(N + f) − lnΓ(N) − lnΓ(1 + f)]/f; for large N the bracket over f is ln N − lnΓ(1 + f)/f.

    >>> round(16.0 * float(memory_coefficient_d_m2(10.0, 30, 8 / 24)), 3)
    0.475
    """
    transmissivity, day, share = _arrays(transmissivity_m2_d, days, share_of_day)
    rise = (gammaln(day + share) - gammaln(day) - gammaln(1.0 + share)) / share
    return np.asarray(rise / (4.0 * math.pi * transmissivity))


def recovery_drawdown_m(
    flow_m3_d: ArrayLike, transmissivity_m2_d: ArrayLike, pumped_d: ArrayLike, stopped_d: ArrayLike
) -> Floats:
    """Drawdown left, m, a time after the pump stopped: Q/(4πT) ln(t/t'), Theis 1935; u small.

    >>> round(float(recovery_drawdown_m(500, 100, 5, 1)), 3)
    0.713
    """
    flow, transmissivity, pumped, stopped = _arrays(flow_m3_d, transmissivity_m2_d, pumped_d, stopped_d)
    return flow / (4.0 * math.pi * transmissivity) * np.log((pumped + stopped) / stopped)


def intermittent_drawdown_m(
    flow_m3_d: float,
    transmissivity_m2_d: float,
    storativity: float,
    radius_m: float,
    hours_per_day: float,
    time_d: float,
) -> float:
    """Drawdown, m, at a time after the first start of a well that pumps the first hours of every day.

    flow_m3_d      the rate while it runs
    hours_per_day  0 to 24
    time_d         since the first start; N − 1 + hours/24 is the end of pumping of day N

    +Q at each start and −Q at each stop, superposed (linear, confined).

    >>> round(intermittent_drawdown_m(48.0, 10.0, 1e-3, 0.1, 8.0, 29 + 8 / 24), 3)
    5.641
    """
    starts = np.arange(math.ceil(time_d))
    stops = starts + hours_per_day / 24.0
    stops = stops[stops < time_d - 1e-9]
    arguments = flow_m3_d, transmissivity_m2_d, storativity, radius_m
    drawn = theis_drawdown_m(*arguments, time_d - starts).sum()
    return float(drawn - theis_drawdown_m(*arguments, time_d - stops).sum())


def cooper_jacob_transmissivity_m2_d(flow_m3_d: ArrayLike, drawdown_per_log_cycle_m: ArrayLike) -> Floats:
    """Transmissivity, m2/d, from the straight line of drawdown over log10 time: ln 10 · Q / (4π Δs).

    Cooper & Jacob 1946, Trans. AGU 27:526.

    >>> round(float(cooper_jacob_transmissivity_m2_d(788, 0.375)), 0)
    385.0
    """
    flow, drawdown = _arrays(flow_m3_d, drawdown_per_log_cycle_m)
    return math.log(10.0) * flow / (4.0 * math.pi * drawdown)


def logan_transmissivity_m2_d(specific_capacity_m2_d: ArrayLike) -> Floats:
    """Transmissivity, m2/d, of a confined aquifer from Q/s near steady state: 1.22 Q/s, Logan 1964.

    >>> round(float(logan_transmissivity_m2_d(50)), 1)
    61.0
    """
    return 1.22 * np.asarray(specific_capacity_m2_d, dtype=np.float64)


def step_drawdown_m(loss_b_d_m2: ArrayLike, loss_c_d2_m5: ArrayLike, flow_m3_d: ArrayLike) -> Floats:
    """Drawdown in a pumped well, m: B Q + C Q², Jacob 1947.

    >>> round(float(step_drawdown_m(3.26e-3, 1.45e-7, 5019)), 2)
    20.01
    """
    linear, square, flow = _arrays(loss_b_d_m2, loss_c_d2_m5, flow_m3_d)
    return linear * flow + square * flow**2


def well_loss_s2_m5(loss_c_d2_m5: ArrayLike) -> Floats:
    """The well-loss coefficient C in s2/m5 from d2/m5 (1 d = 86 400 s).

    >>> round(float(well_loss_s2_m5(1.4e-7)))
    1045
    """
    return np.asarray(loss_c_d2_m5, dtype=np.float64) * 86400.0**2


@equation
def flow_at_level_m3_h(level_limit_m: float, rest_level_m: float, b_d_m2: float, c_d2_m5: float) -> float:
    """Flow, m3/h, that draws the level down to a limit: the root of rest + B Q + C Q² = limit, Q in m3/d.

    Levels in metres below ground; B, C ≥ 0. 0 where the rest level is at or below the limit, infinite where B
    and C are both 0.

    >>> round(float(flow_at_level_m3_h(30.0146, 10.0, 3.26e-3, 1.45e-7)) * 24)
    5019
    """
    drawdown = level_limit_m - rest_level_m
    if drawdown <= 0.0:
        return 0.0
    divisor = b_d_m2 + math.sqrt(b_d_m2 * b_d_m2 + 4.0 * c_d2_m5 * drawdown)
    if divisor < 1e-200:  # no drawdown at any flow; dividing would overflow
        return math.inf
    return 2.0 * drawdown / divisor / 24.0  # the stable form of the root: no difference of near equals when C is small


def productivity_class(yield_l_s: ArrayLike) -> NDArray[np.str_]:
    """Aquifer productivity class of a yield in L/s: VL < 0.1, L < 0.5, LM < 1, M < 5, H ≤ 20, VH above.

    MacDonald et al. 2012, Environ. Res. Lett. 7:024009. "" where the yield is missing.

    >>> str(productivity_class(3.0))
    'M'
    """
    return _class(yield_l_s, [0.1, 0.5, 1.0, 5.0, 20.0], ["VL", "L", "LM", "M", "H", "VH"])


def depth_class(depth_m: ArrayLike) -> NDArray[np.str_]:
    """Class of the depth to water in m: VS < 7, S < 25, SM < 50, M < 100, D ≤ 250, VD above.

    MacDonald et al. 2012, Environ. Res. Lett. 7:024009. "" where the depth is missing.

    >>> str(depth_class(30.0))
    'SM'
    """
    return _class(depth_m, [7.0, 25.0, 50.0, 100.0, 250.0], ["VS", "S", "SM", "M", "D", "VD"])


def _class(value: ArrayLike, bounds: list[float], codes: list[str]) -> NDArray[np.str_]:
    """The code of the band a value lies in; a bound opens the band above, but the last closes its own."""
    number = np.asarray(value, dtype=np.float64)
    edges = [*bounds[:-1], np.nextafter(bounds[-1], np.inf)]
    names = np.array([*codes, ""])
    band = np.where(np.isnan(number), len(codes), np.searchsorted(edges, number, side="right"))
    picked: NDArray[np.str_] = names[band]
    return picked


def _arrays(*values: ArrayLike) -> tuple[Floats, ...]:
    return tuple(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)))
