"""Water used: what is wanted, as far as pump, well and tank give it, day after day.

The tank carries a day's water from pumping to drawing (`Site.storage_share` of the day); what it holds beyond that
carries water over to duller days. Each day takes what is wanted from what is stored and pumped, and the rest is stored
as far as there is room; the pump stops at a full tank. Water used in a month is the mean over all its days.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.duty import Duty, Rig
from planner.engine.light import MOST_KINDS, Light
from planner.engine.site import Record, Records
from planner.engine.sun import DAYS
from planner.engine.volume import kinds_of_day, pump_year
from planner.physics.equation import kernel

Floats = NDArray[np.float64]

# Volumes (m3 of the mean day, at the tank inlet) and running hours of the months of a year, water used, and whether a
# month has a curve of its own.
YEAR = np.dtype([("volume", "f8", 12), ("hours", "f8", 12), ("used", "f8", 12), ("own", "i8", 12)])
# m3: pumped on a day of each month and kind; by month: wanted on each day, and what all counted days are short of.
LEDGER = np.dtype([("pumped", "f8", 12 * MOST_KINDS), ("wanted", "f8", 12), ("short", "f8", 12)])


class Storage(NamedTuple):
    """A tank at a site: what it lets a day use, and what it carries to the next, m3."""

    day_m3: float
    over_m3: float


@kernel
def storage_of(site: Record, tank_m3: float) -> Storage:
    """The day's use that a tank allows, and what it holds beyond the share of a day that goes through it."""
    through = site.storage_share * min(site.demand_m3_day.max(), site.safe_volume_m3_day)
    most = site.safe_volume_m3_day
    if site.storage_share > 0.0:
        most = min(most, tank_m3 / site.storage_share)
    return Storage(most, max(tank_m3 - through, 0.0))


@kernel
def balance(light: Light, over_m3: float, ledger: Record) -> None:
    """What the counted days of each month are short of, together, into the ledger, from what is pumped and wanted."""
    for m in range(12):
        ledger.short[m] = 0.0
    a = b = c = d = 0.5 * over_m3  # stored, by lane
    pumped = ledger.pumped
    for span in range(light.spans.shape[0]):
        m, counted, short = light.spans[span, 0], light.spans[span, 3], 0.0
        wanted = ledger.wanted[m]
        for n in range(light.spans[span, 1], light.spans[span, 2]):
            a, short_a = through(a, pumped[light.day[n, 0]] - wanted, over_m3)
            b, short_b = through(b, pumped[light.day[n, 1]] - wanted, over_m3)
            c, short_c = through(c, pumped[light.day[n, 2]] - wanted, over_m3)
            d, short_d = through(d, pumped[light.day[n, 3]] - wanted, over_m3)
            short += (short_a + short_b) + (short_c + short_d)
        if counted:
            ledger.short[m] += short


@kernel
def through(stored: float, surplus: float, over_m3: float) -> tuple[float, float]:
    """What is stored after a day, and what the day was short of."""
    left = stored + surplus
    return min(max(left, 0.0), over_m3), max(-left, 0.0)


@kernel
def best_month(light: Light, m: int, over_m3: float, ledger: Record) -> float:
    """Water used on the mean day of a month, m3, if the tank is full whenever the month begins."""
    short, pumped, wanted = 0.0, ledger.pumped, ledger.wanted[m]
    for span in range(light.spans.shape[0]):
        if light.spans[span, 0] != m or not light.spans[span, 3]:
            continue
        a = b = c = d = over_m3
        for n in range(light.spans[span, 1], light.spans[span, 2]):
            a, short_a = through(a, pumped[light.day[n, 0]] - wanted, over_m3)
            b, short_b = through(b, pumped[light.day[n, 1]] - wanted, over_m3)
            c, short_c = through(c, pumped[light.day[n, 2]] - wanted, over_m3)
            d, short_d = through(d, pumped[light.day[n, 3]] - wanted, over_m3)
            short += (short_a + short_b) + (short_c + short_d)
    return ledger.wanted[m] - short / light.month.counted[m]


@kernel
def enter(
    light: Light, w: int, m: int, array_w: float, curve: Record, duty: Duty, safe_m3: float, wanted_m3: float,
    ledger: Record,
) -> None:  # fmt: skip
    """Enter a month into the ledger: what each kind of day pumps, and what is wanted of it."""
    ledger.wanted[m] = wanted_m3
    first = m * MOST_KINDS
    kinds_of_day(light, w, m, array_w, curve, duty.availability, ledger.pumped[first : first + MOST_KINDS])
    for i in range(first, first + light.month.kinds[m]):
        ledger.pumped[i] = min(ledger.pumped[i], safe_m3)


@kernel
def taken(light: Light, m: int, ledger: Record) -> float:
    """Water used on the mean day of a month, m3, after the balance."""
    return max(ledger.wanted[m] - ledger.short[m] / light.month.counted[m], 0.0)


@kernel
def water_used(
    rig: Rig, duty: Duty, fan: Record, light: Light, w: int, array_w: float, share: float,
    at_demand: Records, own: Records, storage: Storage, year: Record, ledger: Record,
) -> tuple[float, float, float]:  # fmt: skip
    """Water used in a year (m3 at the tank inlet), share of the year's demand, least share of a month's; volumes,
    hours and water used of the months into `year`. Arguments as in `pump_year`."""
    site = rig.site
    pump_year(rig, duty, fan, light, w, array_w, share, at_demand, own, year)
    for m in range(12):
        wanted = min(share * site.demand_m3_day[m], storage.day_m3)
        year.used[m] = min(wanted, year.volume[m])
        if rig.rules.daily:
            curve = own[m] if year.own[m] else at_demand[m]
            enter(light, w, m, array_w, curve, duty, site.safe_volume_m3_day, wanted, ledger)
    if rig.rules.daily:
        balance(light, storage.over_m3, ledger)
        for m in range(12):
            year.used[m] = taken(light, m, ledger)
    used = demanded = 0.0
    worst = 1.0
    for m in range(12):
        demand = share * site.demand_m3_day[m]
        used += DAYS[m] * year.used[m]
        demanded += DAYS[m] * demand
        if demand > 0.0:
            worst = min(worst, year.used[m] / demand)
    return used, used / demanded if demanded > 0.0 else 1.0, worst
