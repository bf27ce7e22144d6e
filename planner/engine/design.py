"""A design, the order in which designs come, and the arrays that a drive can be given."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner.engine.cost import Market
from planner.engine.site import Record, Records
from planner.physics.equation import kernel
from planner.physics.photovoltaic import series_maximum, series_minimum

Integers = NDArray[np.int64]

# Indices into the market; pump −1 where there is no design. Water is at the tank inlet, in the design year.
DESIGN = np.dtype(
    [(name, "i8") for name in ("pump", "riser", "delivery", "cable", "module", "series", "parallel", "tank", "sleeve")]
    + [("meets", "i8")]  # meets the demand by the plan's shares
    + [(name, "f8") for name in ("array_wp", "used_m3_year", "cost_per_m3", "lifecycle", "present_m3", "rotor_life_y")]
    + [("tie_low", "f8"), ("tie_high", "f8")]  # costs that count as equal
)
STRINGS = np.dtype([("array_wp", "f8"), ("series", "i8"), ("parallel", "i8")])
TIE = 1e-3


def no_designs(count: int) -> Records:
    """Room for designs, none there yet."""
    room = np.zeros(count, DESIGN).view(np.recarray)
    room["pump"], room["cost_per_m3"] = -1, np.inf
    return room


@kernel
def ties(cost_per_m3: float) -> tuple[float, float]:
    """Costs from the first to below the second count as equal to this one: their logarithms round alike."""
    key = round(math.log(cost_per_m3) / TIE)
    return math.exp((key - 0.5) * TIE), math.exp((key + 0.5) * TIE)


@kernel
def behind(cost_per_m3: float, array_wp: float, pump: int, best: Record) -> bool:
    """Whether a design of that pump and array that costs at least so much comes after the best, whatever else."""
    if best.pump < 0 or cost_per_m3 < best.tie_low:
        return False
    if cost_per_m3 >= best.tie_high:
        return True
    if array_wp != best.array_wp:
        return array_wp > best.array_wp
    return pump >= best.pump


@kernel
def strings_of(market: Market, record_low_c: float, hot_cell_c: float, strings: Records, count: Integers) -> None:
    """The arrays that each drive can be given of each module, ascending: hot above its lowest voltage, cold below
    its limits, currents within its own. Of arrays of one size the one of longest strings is kept.

    strings  (drives, modules, most); count (drives, modules)
    """
    for drive in range(market.drives.size):
        for w in range(market.modules.size):
            fewest, most, rows = string_window(market.modules[w], market.drives[drive], record_low_c, hot_cell_c)
            n = 0
            for parallel in range(1, rows + 1):
                for series in range(fewest, most + 1):
                    watts = series * parallel * market.modules[w].rated_wp
                    place = n
                    while place > 0 and strings[drive, w, place - 1].array_wp > watts:
                        place -= 1
                    if place > 0 and strings[drive, w, place - 1].array_wp == watts:
                        continue
                    for k in range(n, place, -1):
                        strings[drive, w, k].array_wp = strings[drive, w, k - 1].array_wp
                        strings[drive, w, k].series = strings[drive, w, k - 1].series
                        strings[drive, w, k].parallel = strings[drive, w, k - 1].parallel
                    strings[drive, w, place].array_wp = watts
                    strings[drive, w, place].series = series
                    strings[drive, w, place].parallel = parallel
                    n += 1
            count[drive, w] = n


@kernel
def string_window(module: Record, drive: Record, record_low_c: float, hot_c: float) -> tuple[int, int, int]:
    """Fewest and most modules in series, and most strings in parallel."""
    fewest = series_minimum(drive.mpp_min_v, module.vmp_v, module.gamma_vmp_per_k, hot_c)
    most = series_maximum(
        drive.v_max_v, drive.mpp_max_v, module.voc_v, module.vmp_v, module.beta_voc_per_k,
        module.gamma_vmp_per_k, record_low_c,
    )  # fmt: skip
    return int(fewest), int(most), math.floor(drive.isc_max_a / module.isc_a + 1e-9)


def most_strings(market: Market) -> int:
    """The most arrays that any drive can be given of any module, in any climate."""
    rows = np.floor(market.drives["isc_max_a"][:, None] / market.modules["isc_a"] + 1e-9)
    series = np.floor(market.drives["v_max_v"][:, None] / (0.5 * market.modules["vmp_v"])) + 1
    return int((rows * series).max()) + 1
