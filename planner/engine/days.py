"""The order in which kinds of day come, for the tank that carries water from one day to the next.

How much water a day gives hangs on its kind alone, and how often each kind comes is settled by the month. What a tank
adds hangs on their order: dull days come in rows.

Monthly means   20 years whose daily clearness is a first-order Markov chain (Aguiar, Collares-Pereira & Conde 1988,
                Solar Energy 40:269), each month by the matrix of its own clearness. Of the chain only the order is
                kept: all days of a month are ranked by clearness and cut into ten equal groups, the kinds of day, so
                that each kind comes equally often and the mean of a month is that of its kinds, exactly
Hourly weather  the days of the file

Every design, and every site of like climate, sees the same days: differences between them are not chance.
"""

from __future__ import annotations

from bisect import bisect_right
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.engine.sun import DAYS, clearness_of
from planner.engine.weather import Weather, days_of_file, kind_of_hour
from planner.physics.day_order import HIGHEST, LOWEST, STATES, clearness_class, clearness_matrices
from planner.physics.sun import KINDS

__all__ = ["Days", "clearness_of", "kind_of_hour", "synthetic_days", "weather_days"]

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

YEARS = 20
WARM_UP = 60
SEED = 1988
MOST_KEPT = 256  # sequences, 60 kB each; a region has few dozens of climates by class


class Days(NamedTuple):
    """Days in order, read-only: month 0 to 11 and kind of day within the month, 0 the first, (days,).

    The first `warm_up` days fill the tank and are not counted. They are the last days over again, as if the counted
    days came round and round.
    """

    month: Integers
    kind: Integers
    warm_up: int


def synthetic_days(clearness: Floats) -> Days:
    """Twenty years of 365 days in the order of a Markov chain, after 60 days of warm-up.

    clearness  (12) monthly mean clearness index, see `clearness_of`; only its classes, 0.05 wide, are used

    Kinds are those of `engine.sun`, 0 the dullest to 9 the clearest; each makes up exactly a tenth of the counted
    days of each month. The same classes give the same bytes on every machine.
    """
    return _markov_days(tuple(clearness_class(clearness).tolist()))


def weather_days(weather: Weather) -> Days:
    """The days of an hourly year, month by month, after its last 60: kind k is the k-th day of its month in the file.

    Days without light count. The months may come from different years.
    """
    month, kind, _ = days_of_file(weather)
    return Days(_last_days_first(month), _last_days_first(kind), WARM_UP)


def _last_days_first(days: Integers) -> Integers:
    """The days after a warm-up with the last of them."""
    joined = np.concatenate([days[-WARM_UP:], days])
    joined.setflags(write=False)
    return joined


@lru_cache(maxsize=MOST_KEPT)
def _markov_days(classes: tuple[int, ...]) -> Days:
    month = _months()[WARM_UP:]
    clearness = _chain(classes)[WARM_UP:]
    kind = np.empty(month.size, dtype=np.int64)
    for m in range(12):
        (days,) = np.nonzero(month == m)
        kind[days[np.argsort(clearness[days], kind="stable")]] = np.arange(days.size) * KINDS // days.size
    return Days(_months(), _last_days_first(kind), WARM_UP)


@cache
def _months() -> Integers:
    """Month of every day of the twenty years and their warm-up."""
    year = np.repeat(np.arange(12, dtype=np.int64), DAYS.astype(np.int64))
    return _last_days_first(np.tile(year, YEARS))


def _chain(classes: tuple[int, ...]) -> Floats:
    """Daily clearness of the twenty years and their warm-up, one random number a day.

    A day is drawn from the matrix of its own month, in the row of the state that the clearness of the day before has
    there: so the sky is carried over from month to month. Inside a state every clearness is equally likely; the place
    of the random number between the two sums of shares around it is the place within the state.

    The warm-up draws the numbers of the last days: the chain is on its course when the first year begins, which
    follows on from the twentieth.
    """
    sums = np.cumsum(clearness_matrices(), axis=2)
    sums = (sums / sums[:, :, -1:]).tolist()  # the last is 1 to the bit
    width = [(high - low) / STATES for low, high in zip(LOWEST, HIGHEST, strict=True)]
    clearness = np.empty(_months().size)
    today = 0.5 * (LOWEST[classes[-1]] + HIGHEST[classes[-1]])
    for day, (month, draw) in enumerate(zip(_months().tolist(), _draws(), strict=True)):
        k = classes[month]
        state = min(max(int((today - LOWEST[k]) / width[k]), 0), STATES - 1)
        row = sums[k][state]
        tomorrow = bisect_right(row, draw)
        below = row[tomorrow - 1] if tomorrow else 0.0
        today = LOWEST[k] + width[k] * (tomorrow + (draw - below) / (row[tomorrow] - below))
        clearness[day] = today
    return clearness


@cache
def _draws() -> list[float]:
    """A random number, 0 to less than 1, for each day; the warm-up has those of the last days."""
    draws = (split_mix(SEED, YEARS * 365) >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return np.concatenate([draws[-WARM_UP:], draws]).tolist()


def split_mix(seed: int, count: int) -> NDArray[np.uint64]:
    """The first numbers of the SplitMix64 generator: whole numbers only, so the same everywhere.

    Steele, Lea & Flood 2014, Fast splittable pseudorandom number generators, OOPSLA '14, with the shifts 30, 27, 31
    of Vigna's public-domain splitmix64.c, whose first number from 1234567 this is:

    >>> int(split_mix(1234567, 1)[0])
    6457827717110365317
    """
    z = np.uint64(seed) + np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))
