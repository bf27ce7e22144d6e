"""Day after day: kinds of day of the design month, what the tank carries over, and ten days worked one by one."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.commands.why.opened import Chosen, Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, n
from planner.commands.why.water import Floats, Year
from planner.engine.light import MOST_KINDS, Light
from planner.engine.report import SHORT_SHARE

SHOWN = 10  # days worked one by one


class Ledger(NamedTuple):
    """The counted days in order: month 0 to 11, kind; m3 pumped, wanted, stored in the morning, taken, left over."""

    month: NDArray[np.int64]
    kind: NDArray[np.int64]
    pumped: Floats
    wanted: Floats
    before: Floats
    taken: Floats
    after: Floats


def balance(light: Light, year: Year, over_m3: float) -> Ledger:
    """The days of a year's sequence one by one; a second count beside the engine's, which keeps only sums."""
    lanes = light.day.T.astype(np.int64)
    if (lanes == lanes[0]).all():  # one sequence in every lane
        lanes = lanes[:1]
    month, kind = lanes // MOST_KINDS, lanes % MOST_KINDS
    pumped, wanted = year.kinds[month, kind], year.wanted[month]
    before, taken, after = (np.empty(month.shape) for _ in range(3))
    stored = np.full(len(lanes), 0.5 * over_m3)
    for day in range(month.shape[1]):
        before[:, day] = stored
        taken[:, day] = np.minimum(wanted[:, day], stored + pumped[:, day])
        stored = np.minimum(over_m3, stored + pumped[:, day] - taken[:, day])
        after[:, day] = stored
    first = int(light.spans[light.spans[:, 3] == 1, 1].min())  # days before fill the tank
    return Ledger(
        month[:, first:].ravel(), kind[:, first:].ravel(), pumped[:, first:].ravel(), wanted[:, first:].ravel(),
        before[:, first:].ravel(), taken[:, first:].ravel(), after[:, first:].ravel(),
    )  # fmt: skip


def held_against(light: Light, year: Year, over_m3: float) -> Ledger:
    """The balance, whose months must be the engine's."""
    days = balance(light, year, over_m3)
    for m in range(12):
        taken, wanted = float(days.taken[days.month == m].mean()), float(year.wanted[m])
        agree(f"used in {MONTH_NAMES[m]}", wanted + taken, wanted + float(year.used[m]))
    return days


def day_by_day(sheet: Sheet, opened: Opened, sized: Sized, chosen: Chosen, year: Year) -> None:
    """Kinds of day, the tank, ten days in a row, and how many days fall short."""
    m, light, storage = chosen.done.design_month, sized.light, chosen.storage
    sheet.section(f"Days of {MONTH_NAMES[m]} and the tank")
    _kinds(sheet, opened, sized, year, m)
    _tank(sheet, sized, chosen)
    days = held_against(light, year, storage.over_m3)
    sheet.text(
        f"A day wants w, the least of D and the day's use allowed; it takes t = least of w and S + s, S stored in the "
        f"morning, and leaves the least of the room and S + s - t. In {MONTH_NAMES[m]} "
        f"w = min({n(year.demand[m])}, {n(storage.day_m3)}) m3. The order of the days is "
        + (
            "that of the weather file; its last 60 days go before, not counted."
            if opened.context.weather is not None
            else "drawn once for the months' clearness, the same for every set: 20 years by the Markov chain of "
            "Aguiar, Collares-Pereira & Conde 1988, in which each kind of day comes equally often; 60 days go before, "
            "not counted."
        )
        + f" {SHOWN} of its days in a row, m3:"
    )
    first = _window(days, m)
    rows = []
    for day in range(first, min(first + SHOWN, days.month.size)):
        cells = (days.before, days.pumped, days.wanted, days.taken, days.after)
        rows.append((str(day + 1), str(days.kind[day] + 1), *(n(float(part[day])) for part in cells)))
    sheet.table(("day", "kind", "stored", "pumped s", "wanted w", "taken t", "left over"), rows)
    short = days.wanted - days.taken > SHORT_SHARE * days.wanted
    counted, count = days.month.size, int(short.sum())
    agree("short days", 1 + count / counted, 1 + float(opened.row["days_below_80pct"]))
    sheet.result(
        f"days that get less than {n(1 - SHORT_SHARE)} of what is wanted",
        f"from the balance of {counted} days",
        f"{count} / {counted}",
        count / counted,
    )


def even(volumes: Iterable[float], largest: float) -> list[str]:
    """Volumes with equally many decimals, five digits for the largest, at most five decimals: ten go on a line.

    >>> even([0.01234567, 12.3456789], 12.3)
    ['0.012', '12.346']
    """
    decimals = min(max(4 - math.floor(math.log10(max(largest, 0.1))), 0), 5)
    return [f"{float(one):.{decimals}f}" for one in volumes]


def _kinds(sheet: Sheet, opened: Opened, sized: Sized, year: Year, m: int) -> None:
    """What a day of each kind pumps in the design month; their mean is the month's volume."""
    count, safe = int(sized.light.month.kinds[m]), float(sized.site.safe_volume_m3_day)
    kinds = [float(one) for one in year.kinds[m, :count]]
    what = "real days of the weather file" if opened.context.weather is not None else "kinds of day, equally likely"
    sheet.text(
        f"The month is {count} {what}. The same curve with the light of each kind alone gives what such a day pumps, "
        f"s, at most V_safe = {n(safe)} m3:"
    )
    names, cells = [], []
    for i in range(0, count, SHOWN):
        names.append([str(k + 1) for k in range(i, min(i + SHOWN, count))])
        cells.append(even(kinds[i : i + SHOWN], max(kinds)))
    for heads, row in zip(names, cells, strict=True):
        sheet.table(("kind", *heads), [("s m3", *row)])
    mean = sum(kinds) / count
    held_back = max(kinds) >= safe
    if not held_back:
        agree("mean of the kinds of day", mean, float(year.volumes[m]))
    sheet.result(
        "mean of the kinds", "sum / their number", f"({' + '.join(n(one) for one in kinds)}) / {count}", mean, "m3/d"
    )
    if held_back:
        sheet.text(f"The well holds the brightest days back: with them whole it is V, {n(year.volumes[m])} m3/d.")


def _tank(sheet: Sheet, sized: Sized, chosen: Chosen) -> None:
    """What the tank lets a day use, and what it carries over to the next."""
    site, storage, share = sized.site, chosen.storage, float(sized.site.storage_share)
    most, safe, tank = float(site.demand_m3_day.max()), float(site.safe_volume_m3_day), chosen.tank_m3
    through = sheet.result(
        "goes through the tank within a day",
        "storage share × least of the largest D and V_safe",
        f"{n(share)} × min({n(most)}, {n(safe)})",
        share * min(most, safe),
        "m3",
        "storage share: under Demand; tanks that hold this are tried, or the largest",
    )
    sheet.result(
        "S, room to carry over to later days",
        "tank - what goes through within a day",
        f"max({n(tank)} - {n(through, 10)}, 0)",
        storage.over_m3,
        "m3",
    )
    if share > 0.0:
        sheet.result(
            "a day's use that well and tank allow",
            "least of V_safe and tank / storage share",
            f"min({n(safe)}, {n(tank)} / {n(share)})",
            storage.day_m3,
            "m3",
        )
    else:
        sheet.value("a day's use that the well allows", f"{n(storage.day_m3)} m3", "V_safe")


def _window(days: Ledger, m: int) -> int:
    """First of ten days in a row of the month: the first such days where the tank helps a day and one falls short, or
    either, else the first of the month."""
    size = days.month.size
    best, most = int(np.flatnonzero(days.month == m)[0]), -1
    helped, short = days.pumped < days.taken, days.taken < days.wanted
    for first in range(size - SHOWN + 1):
        part = slice(first, first + SHOWN)
        if days.month[first] == days.month[first + SHOWN - 1] == m and (days.month[part] == m).all():
            score = int(helped[part].any()) + int(short[part].any())
            if score > most:
                best, most = first, score
            if score == 2:
                break
    return best
