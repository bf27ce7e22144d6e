"""Ranges from draws: what is reported of a site, and its place among all sites that are equipped."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from planner.choice.stability import ranks
from planner.doubt.run import Drawn, Outcomes, Singles

Floats = NDArray[np.float64]

SHARES = {"p10": 0.1, "p50": 0.5, "p90": 0.9}
UNTESTED = "_untested"  # ends the columns of a set bought without the test that its site needs


def quantile(values: Floats | Singles | NDArray[np.int64], share: float) -> Floats:
    """Quantile of each row, (rows,), values (rows, draws) that may be infinite; missing ones come from no draw.

    At place share × (n + 1) of the ordered draws, on a straight line between two (Weibull 1939): one more draw of the
    same law lies below it with that probability, however few draws there are. NaN for a row without values.
    """
    ordered = np.sort(values.astype(np.float64), axis=1)  # NaN last
    count = np.count_nonzero(~np.isnan(ordered), axis=1)
    place = np.clip(share * (count + 1.0) - 1.0, 0.0, np.maximum(count - 1.0, 0.0))
    below = np.floor(place).astype(np.int64)
    above = np.minimum(below + 1, np.maximum(count - 1, 0))
    rows, part = np.arange(len(ordered)), place - below
    low, high = ordered[rows, below], ordered[rows, above]
    with np.errstate(invalid="ignore"):
        between = low + part * (high - low)
    return np.asarray(np.where((part == 0.0) | (low == high), low, between))


def site_ranges(drawn: Drawn) -> dict[str, Floats]:
    """Columns of the reported run (commit for tested sites, else test first), then those of sets bought untested, NaN
    for tested sites. (sites,) each; names as in the glossary."""
    reported = drawn.reported()
    failed = np.where(drawn.tested, drawn.commit.short.mean(axis=1), 1.0 - drawn.test_first.bought.mean(axis=1))
    found = run_ranges(reported, failed)
    untested = run_ranges(drawn.commit, drawn.commit.short.mean(axis=1))
    for name, values in untested.items():
        if not name.startswith(("pumping_level_m", "family_probability")):
            found[name + UNTESTED] = np.where(drawn.tested, np.nan, values)
    return found


def run_ranges(run: Outcomes, failed: Floats) -> dict[str, Floats]:
    """Columns of one run; `failed` is its failure probability. An infinite cost (draws without water) stays empty."""
    values = {"cost_per_m3": run.cost_per_m3(), "volume_used_m3_day": run.volume, "pumping_level_m": run.level}
    found: dict[str, Floats] = {}
    for name, of_draws in values.items():
        for end, share in SHARES.items():
            at = quantile(of_draws, share)
            found[f"{name}_{end}"] = np.where(np.isfinite(at), at, np.nan)
    return found | {
        "failure_probability": failed,
        "demand_met_probability": run.met.mean(axis=1),
        "family_probability": run.kept.mean(axis=1),
        "expected_lifecycle_cost": run.cost.mean(axis=1, dtype=np.float64),
        "expected_used_m3": run.water.mean(axis=1, dtype=np.float64),
    }


def rank_interval(cost_per_m3: Floats | Singles) -> tuple[Floats, Floats]:
    """P10 (rounded down) and P90 (rounded up) of each site's rank over the draws; those without water come last."""
    places = ranks(cost_per_m3)
    low, high = np.floor(quantile(places, 0.1)), np.ceil(quantile(places, 0.9))
    return low, high


def draws_for(wanted: int | None, sites: int, default: int, most: int) -> int:
    """How many draws: what the plan names, else the default, none for more than `most` sites."""
    if wanted is not None:
        return wanted
    return default if sites <= most else 0


def in_ten(share: float) -> str:
    """A probability as cases in ten, for people.

    >>> in_ten(0.84), in_ten(0.996), in_ten(0.01)
    ('8 in 10', 'nearly all', 'hardly any')
    """
    if math.isnan(share):
        return "unknown"
    if share > 0.95:
        return "all" if share == 1.0 else "nearly all"
    if share < 0.05:
        return "none" if share == 0.0 else "hardly any"
    return f"{round(10 * share)} in 10"
