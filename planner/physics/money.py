"""Present values in real money: capital at time 0, yearly sums at year ends; rates as shares, years ≥ 0."""

from __future__ import annotations

import math

from planner.physics.equation import equation

__all__ = [
    "annuity_factor",
    "capital_recovery_factor",
    "discount_factor",
    "replacement_factor",
    "residual_factor",
]

ROUNDING = 1e-9  # a life that divides the horizon up to rounding is taken to divide it


@equation
def discount_factor(rate: float, years: float) -> float:
    """Present value of 1 paid after a number of years: (1 + i)^−t.

    >>> round(float(discount_factor(0.08, 10.0)), 4)
    0.4632
    """
    return float((1.0 + rate) ** -float(years))


@equation
def annuity_factor(rate: float, years: float) -> float:
    """Present value of 1 a year at the ends of years 1 … N: (1 − (1 + i)^−N) / i, and N at rate 0.

    >>> round(float(annuity_factor(0.08, 25.0)), 4)
    10.6748
    """
    if abs(rate) < 1e-12:
        return float(years)
    return -math.expm1(-years * math.log1p(rate)) / rate


@equation
def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly sum over N years, at their ends, that 1 today is worth: the inverse of the annuity factor.

    >>> round(float(capital_recovery_factor(0.08, 10.0)), 5)
    0.14903
    """
    return float(1.0 / annuity_factor(rate, years))


@equation
def replacement_factor(rate: float, life_years: float, horizon_years: float) -> float:
    """Present value of a part's replacements over its price: Σ (1 + i)^−kL, k = 1, 2 … while kL < N.

    None at the horizon itself. life_years may be fractional or infinite; must be > 0 (else missing).

    >>> round(float(replacement_factor(0.08, 8.0, 25.0)), 6) == round(1.08**-8 + 1.08**-16 + 1.08**-24, 6)
    True
    """
    if not life_years > 0.0:
        return math.nan
    count = math.ceil(horizon_years / life_years - ROUNDING) - 1
    total = 0.0
    for k in range(1, count + 1):
        total += (1.0 + rate) ** (-k * life_years)
    return total


@equation
def residual_factor(rate: float, life_years: float, horizon_years: float) -> float:
    """Present value of what is left of a part at the horizon over its price: (1 − age / L) (1 + i)^−N.

    Straight line; the age counts from the last purchase in `replacement_factor`. life_years > 0 (else
    missing).

    >>> round(float(residual_factor(0.0, 8.0, 20.0)), 3)
    0.5
    """
    if not life_years > 0.0:
        return math.nan
    if math.isinf(life_years):
        return float(discount_factor(rate, horizon_years))
    bought = max(math.ceil(horizon_years / life_years - ROUNDING) - 1, 0)
    age = horizon_years - bought * life_years
    return float(max(1.0 - age / life_years, 0.0) * discount_factor(rate, horizon_years))
