"""What the kernels know of one site and of the plan: plain numbers with their unit in the name.

Kernels take them, and the rows of the catalogue, as records: one pointer each, which keeps compiling quick.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Record = Any  # one record of a structured array, fields as in the tuple it was made of
Records = NDArray[np.void]


def records(columns: NamedTuple, *more: str) -> Records:
    """A structured array from a tuple of equally long arrays, one record a position; `more` columns of zeros."""
    fields = columns._asdict() | {name: np.zeros(len(columns[0])) for name in more}
    array = np.empty(len(columns[0]), dtype=[(name, values.dtype) for name, values in fields.items()])
    for name, values in fields.items():
        array[name] = values
    return array


def record(values: NamedTuple) -> Record:
    """One record from a tuple of numbers and arrays; flags become 0 or 1."""
    fields = {name: np.asarray(value) for name, value in values._asdict().items()}
    fields = {name: value.astype(np.int64) if value.dtype == bool else value for name, value in fields.items()}
    array = np.empty(1, dtype=[(name, value.dtype, value.shape) for name, value in fields.items()])
    for name, value in fields.items():
        array[name] = value
    return array.view(np.recarray)[0]


class Site(NamedTuple):
    """One well with its demand. Levels are metres below ground, positive down; months are January first."""

    rest_m: Floats  # (12) median rest level at mid-horizon, neighbours' drawdown included
    rest_rule_m: float  # deepest planning level (P75, end of the horizon), neighbours included
    b_d_m2: float  # aquifer loss of a pumping day, median; Q in m3/d
    b_rule_d_m2: float  # the same, P75
    c_d2_m5: float  # well loss; Q in m3/d
    memory_d_m2: float  # added drawdown for each m3/d lifted day after day
    share_rate_m3_h: float  # safe share of the tested yield, P25
    safe_volume_m3_day: float  # volume a day that the well may give
    level_limit_m: float  # deepest pumping level allowed
    level_is_screen: bool  # the screen sets that limit
    deepest_intake_m: float
    submergence_m: float
    lift_m: float  # ground at the wellhead to tank inlet
    pipe_length_m: float
    casing_mm: float
    water_c: float
    sand_mg_l: float  # NaN unknown
    corrosive: bool  # pH < 6.5 or chloride > 200 mg/L
    elevation_m: float
    record_low_c: float  # coldest air at dawn, for string voltage
    demand_m3_day: Floats  # (12) design year, at the tank inlet
    storage_share: float  # of a day's demand, goes through the tank from pumping to drawing
    low_sun: float  # sun that the sizing rules count on ÷ the mean year's
    growth: float  # of demand, 1/year
    road_km: float  # to the supply base, one way
    taps: float  # tap stands
    stands: bool  # a set is installed already and is assessed as it stands


class Rules(NamedTuple):
    """The plan's numbers that the kernels read."""

    residual_m: float
    velocity_riser_m_s: float
    velocity_delivery_m_s: float
    minor_k: float
    cable_to_drive_m: float
    cable_loss: float
    ratio_max: float  # 0: the drive's own
    hot_cell_c: float
    ageing_year: float
    availability: float
    hdpe_max_m: float
    water_temp_max_c: float
    safe_hours_day: float
    reliability_year: float
    reliability_month: float
    losses: float
    horizon_y: float
    design_year: float
    discount_rate: float
    contingency: float
    contingency_equipment: float
    tax: float
    residual: bool
    daily: bool  # days are balanced one by one; else each month is its mean day
    tracking: bool  # arrays turn about a level north–south axis
    # Filled by `cost.price_market`, present values: a sleeve, a tap stand, a kilometre of road to the supply base;
    # present volume = these times the water of year 1, the design year and the last.
    sleeve_worth: float = 0.0
    tap_worth: float = 0.0
    km_worth: float = 0.0
    water_first: float = 0.0
    water_design: float = 0.0
    water_last: float = 0.0
