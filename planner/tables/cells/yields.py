"""What a column of tested yields says about itself: values whose unit is in doubt, and the test pump's limit.

Both are our own rules of thumb: they make a finding, never another number.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

ENOUGH = 8  # yields from which a column has a middle to stand out from
ABOVE, GAP, FEW = 3.0, 2.0, 0.05  # times the median, times the next lower yield, share of all yields
LIMIT_SITES, LIMIT_SHARE = 5, 0.30  # so many sites, and such a share of the yields, at one value


def doubtful_units(yields: pd.Series, has_unit: pd.Series) -> pd.Series:
    """Which tested yields (m3/h) stand out so far that their unit is in doubt; never one whose cell has a unit.

    Doubted are the few highest (5 %, or one) that a gap sets apart: at least twice the next lower yield and more than
    three times the median. Litres a second among cubic metres an hour are 3.6 times too low or too high. High yields
    that follow one another without a gap are a good aquifer, however far above the median they lie.
    """
    known = yields[yields > 0]
    doubtful = pd.Series(False, index=yields.index)
    if len(known) < ENOUGH:
        return doubtful
    known = known.sort_values()
    ordered = known.to_numpy(dtype="float64")
    lower, higher = ordered[:-1], ordered[1:]
    unsaid = ~has_unit[known.index].to_numpy(dtype=bool)
    above = unsaid[::-1].cumsum()[::-1][1:]  # how many yields without a unit lie above each gap
    apart = (higher >= GAP * lower) & (higher > ABOVE * np.median(ordered)) & (above <= max(1.0, FEW * len(ordered)))
    if apart.any():
        doubtful[known.index] = known >= higher[apart.argmax()]
    return doubtful & ~has_unit


def pump_limited(yields: pd.Series, district: pd.Series) -> pd.Series:
    """Which tested yields look like the limit of the test pump: a lower bound of what the well gives.

    At least five sites and 30 % of the yields of the table, or of a sub-district, at exactly one value.
    """
    known = yields[yields > 0]
    place = district[known.index]
    limited = pd.Series(False, index=yields.index)
    at_value = known.groupby([place, known]).transform("size")
    in_district = known.groupby(place).transform("size")
    everywhere = known.groupby(known).transform("size")
    local = (place != "") & (at_value >= LIMIT_SITES) & (at_value >= LIMIT_SHARE * in_district)
    limited[known.index] = local | ((everywhere >= LIMIT_SITES) & (everywhere >= LIMIT_SHARE * len(known)))
    return limited
