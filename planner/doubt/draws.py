"""Draws of everything that is not known: common factors once a draw for all sites, each site's own beside them.

Every input is one of four kinds. E: what a pumping test and a survey tell before the purchase (rest level, aquifer and
well loss, yield). P: what tenders tell (prices). A: what shows after the purchase (season's swing, long decline, sun,
demand, dust, ageing, wear, lives, upkeep). C: what is chosen (discount rate, norms, horizon): scenarios, never drawn.
Not drawn either: casing, depth, lift, water quality and temperature, drawdown between neighbours. Storativity, whose
factor of ten moves a transmissivity by a fifth, lies within the factor on the aquifer loss, which also moves the memory
of earlier days: both go with 1/transmissivity.

The points are scrambled Sobol points (scipy.stats.qmc). Two such sequences, of two sites or of a site and what is
common, are not independent place by place: their scramblings keep the first binary digit of a dimension, or turn it. So
the draws of a site are put into an order of their own; what one site sees alone is spread as evenly as before.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from planner.doubt.site import Doubt
from planner.engine.drawn import DRAW, PARTS
from planner.engine.site import Records
from planner.plan.uncertainty import Uncertainty

Floats = NDArray[np.float64]

Z90 = NormalDist().inv_cdf(0.90)  # standard deviations in a half-width P10–P90
COMMON = ("sun", "demand", "decline_m_year", "price", *(f"price_{part}" for part in PARTS))
OWN = (
    "rest_m", "b_factor", "yield_factor", "loss_share", "swing_m", "sun", "demand", "clean", "ageing", "slip", "life",
    "upkeep", "price",
)  # fmt: skip


def points(draws: int, names: tuple[str, ...], *key: int) -> dict[str, Floats]:
    """Scrambled Sobol points in (0, 1), (draws,) by name; `key` begins the sequence: plan's seed, then a site's row."""
    generator = np.random.default_rng([*key])
    sequence = qmc.Sobol(len(names), scramble=True, rng=generator)
    found = sequence.random_base2(max(math.ceil(math.log2(max(draws, 1))), 0))[:draws]
    if len(key) > 1:
        found = found[generator.permutation(draws)]
    found = np.clip(found, 2.0**-53, 1.0 - 2.0**-53)
    return {name: found[:, i] for i, name in enumerate(names)}


def common_points(draws: int, seed: int) -> dict[str, Floats]:
    """Points of what all sites share."""
    return points(draws, COMMON, seed)


def level(at: Floats, half_width: float) -> Floats:
    """A normal deviation with that half-width P10–P90.

    >>> level(np.array([0.1, 0.5, 0.9]), 2.0).round(6).tolist()
    [-2.0, 0.0, 2.0]
    """
    return np.asarray(half_width / Z90 * ndtri(at))


def factor(at: Floats, width: float) -> Floats:
    """A lognormal factor, P10–P90 from 1 / width to width, median 1.

    >>> factor(np.array([0.1, 0.5, 0.9]), 2.0).round(6).tolist()
    [0.5, 1.0, 2.0]
    """
    return np.asarray(np.exp(math.log(width) / Z90 * ndtri(at)))


def between(at: Floats, low: float, central: float, high: float) -> Floats:
    """Half of the draws evenly between the low end and the central value, half above; an end on its wrong side is the
    central value itself.

    >>> between(np.array([0.0, 0.5, 0.75]), 0.0, 3.0, 10.0).tolist()
    [0.0, 3.0, 6.5]
    """
    low, high = min(low, central), max(high, central)
    step = 2.0 * at - 1.0
    return np.asarray(central + np.where(step < 0.0, central - low, high - central) * step)


def site_draws(widths: Uncertainty, doubt: Doubt, row: int, draws: int, common: dict[str, Floats]) -> Records:
    """The draws of one site, (draws,) of DRAW.

    row     stable key of the site: its row in the inventory
    common  of `common_points`
    """
    return draws_at(widths, doubt, common, points(draws, OWN, widths.seed, row))


def draws_at(widths: Uncertainty, doubt: Doubt, common: dict[str, Floats], own: dict[str, Floats]) -> Records:
    """The draws at given points."""
    found = np.zeros(own["rest_m"].size, DRAW).view(np.recarray)
    found["rest_m"] = level(own["rest_m"], doubt.rest_half_width_m)
    found["b_factor"] = factor(own["b_factor"], doubt.drawdown_factor)
    found["yield_factor"] = factor(own["yield_factor"], doubt.yield_factor)
    found["loss_share"] = doubt.loss_share
    if not doubt.loss_known:
        low, high = widths.well_loss_range
        found["loss_share"] = between(own["loss_share"], low, doubt.loss_share, high)
    low, high = widths.season_swing_range_m
    found["swing_m"] = between(own["swing_m"], low, doubt.swing_m, high)
    found["decline_m_year"] = doubt.decline_m_year + level(common["decline_m_year"], widths.decline_half_width_m_year)
    shared, width = math.sqrt(widths.solar_common_share), math.log1p(doubt.sun_half_width)
    normal = shared * ndtri(common["sun"]) + math.sqrt(1.0 - widths.solar_common_share) * ndtri(own["sun"])
    found["sun"] = np.exp(width / Z90 * normal)
    found["demand"] = factor(common["demand"], widths.demand_common_factor)
    found["demand"] *= factor(own["demand"], widths.demand_site_factor)
    dust = np.minimum(doubt.soiling * factor(own["clean"], widths.soiling_factor), 1.0)
    found["clean"] = (1.0 - dust) / (1.0 - doubt.soiling) if doubt.soiling < 1.0 else 1.0
    found["ageing"] = factor(own["ageing"], widths.ageing_factor)
    found["slip"] = factor(own["slip"], widths.slip_factor)
    found["life"] = factor(own["life"], widths.life_factor)
    found["upkeep"] = factor(own["upkeep"], widths.upkeep_factor)
    found["price"] = factor(common["price"], widths.price_common_factor)
    found["price"] *= factor(own["price"], widths.price_site_factor)
    for i, part in enumerate(PARTS):
        found["part"][:, i] = factor(common[f"price_{part}"], widths.price_part_factor)
    return found
