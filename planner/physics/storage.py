"""The tank: what it must hold inside a day, and what a sequence of days leaves unserved."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["daily_balance", "inside_day_share"]


def inside_day_share(pumped_by_hour: ArrayLike, drawn_by_hour: ArrayLike) -> NDArray[np.float64]:
    """κ, the tank that carries one day from pumping to drawing, as a share of the day's volume.

    pumped_by_hour, drawn_by_hour  (…, hours) ≥ 0 in any unit, scaled to a sum of 1; no volume → NaN
    Returns (…). The range of the cumulative (pumped − drawn), closed form: a mass curve (Rippl 1883).

    >>> float(inside_day_share([0, 1, 1, 0], [0, 1, 0, 1]))
    0.5
    """
    pumped = np.asarray(pumped_by_hour, dtype=np.float64)
    drawn = np.asarray(drawn_by_hour, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        surplus = pumped / pumped.sum(axis=-1, keepdims=True) - drawn / drawn.sum(axis=-1, keepdims=True)
    share: NDArray[np.float64] = np.ptp(np.cumsum(surplus, axis=-1), axis=-1)
    return share


def daily_balance(
    supply_m3: ArrayLike, demand_m3: ArrayLike, capacity_m3: float, start_m3: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Storage at each day's end and demand not met each day, m3, of one tank; what does not fit is lost.

    supply_m3, demand_m3  (days,), demand may be one number; capacity_m3, start_m3 ≥ 0
    Unmet over demand is the loss of supply by volume. S ← clip(S + in − out, 0, capacity), a mass balance.

    >>> storage, unmet = daily_balance([12, 8, 0, 15, 4], 10, capacity_m3=5, start_m3=5)
    >>> float(unmet.sum()) / 50
    0.16
    """
    supply = np.asarray(supply_m3, dtype=np.float64)
    demand = np.broadcast_to(np.asarray(demand_m3, dtype=np.float64), supply.shape)
    storage, unmet = np.empty_like(supply), np.empty_like(supply)
    held = float(start_m3)
    for day, (gained, wanted) in enumerate(zip(supply, demand, strict=True)):
        balance = held + gained - wanted
        unmet[day] = max(-balance, 0.0)
        held = min(max(balance, 0.0), capacity_m3)
        storage[day] = held
    return storage, unmet
