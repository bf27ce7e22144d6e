"""What a pumping test is worth: how much better a programme that tests first does than one that buys at once.

NB = v · PV(water used) − PV(cost), v the worth of a cubic metre. Both runs meet the same draws, so what they have in
common cancels. Value of a test = E[NB | test first] − E[NB | commit] − cost of the test (expected value of perfect
information about what a test tells, Raiffa & Schlaifer 1961, less its price).

The set that is chosen after a test is the cheapest per cubic metre that meets the demand, as every set of the plan; it
need not be the one of most net benefit. Who tests may also keep to the set planned without: of the two rules the
better in the mean counts, so information never hurts and a test is never worth less than minus its price.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

WORTH_QUANTILE = 0.75


def gain_of_test(
    cost_commit: ArrayLike,
    water_commit: ArrayLike,
    cost_test_first: ArrayLike,
    water_test_first: ArrayLike,
    worth_m3: float,
) -> Floats:
    """E[NB | test first] − E[NB | commit], not below 0, money; the cost of the test is still to be taken off.

    cost_…   expected present value of cost, scheme, (sites,)
    water_…  expected present value of the water used at the tap, m3, (sites,)

    A well gives water worth 10 000 or, as likely, nothing; the set costs 4 000 either way. Bought at once it brings
    1 000, tested first (4 000 and 10 000 in one case of two, else nothing bought) 3 000: the test is worth 2 000.

    >>> float(gain_of_test(4_000.0, 5_000.0, 2_000.0, 5_000.0, 1.0))
    2000.0
    """
    commit = worth_m3 * np.asarray(water_commit, dtype=np.float64) - np.asarray(cost_commit, dtype=np.float64)
    first = worth_m3 * np.asarray(water_test_first, dtype=np.float64) - np.asarray(cost_test_first, dtype=np.float64)
    return np.asarray(np.maximum(first - commit, 0.0))


def worth_of_water(cost_per_m3: ArrayLike) -> float:
    """Worth of a cubic metre where the plan gives none: the P75 of what it costs at the sites of the programme, so that
    three sites in four are worth their cost; NaN without a site."""
    costs = np.asarray(cost_per_m3, dtype=np.float64)
    costs = costs[np.isfinite(costs)]
    return float(np.quantile(costs, WORTH_QUANTILE)) if costs.size else float("nan")
