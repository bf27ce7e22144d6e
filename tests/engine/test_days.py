"""The order of days: every kind equally often, dull days in rows as the published matrices have them."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import numpy as np
import pvlib
import pytest

from planner.engine import days, sun
from planner.engine.days import Days, clearness_of, kind_of_hour, split_mix, synthetic_days, weather_days
from planner.engine.weather import Weather, monthly_ghi_kwh_m2_day
from planner.physics.day_order import clearness_matrices
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.tables.weather_file import read_weather
from tests.engine.test_sun import climate, outside

# Mean clearness of a month of each class.
OF_CLASS = (0.24, 0.33, 0.37, 0.43, 0.48, 0.53, 0.58, 0.62, 0.67, 0.73)
# A made year from the dullest class to the clearest and back.
SEASONS = np.array([0.25, 0.32, 0.37, 0.42, 0.47, 0.52, 0.57, 0.62, 0.72, 0.67, 0.52, 0.37])
# Weather years that pvlib ships: 36° N and 55° N as TMY3, 26° N as TMY2.
SHIPPED = ("723170TYA.CSV", "703165TY.csv", "12839.tm2")


@cache
def year(name: str) -> Weather:
    return read_weather(name, Path(pvlib.__file__).parent / "data" / name)[0]


def lag1(values: np.ndarray) -> float:
    """Correlation of a day with the day after."""
    return float(np.corrcoef(values[:-1], values[1:])[0, 1])


def counted(sequence: Days) -> np.ndarray:
    return sequence.kind[sequence.warm_up :]


# Monthly means ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("clearness", [SEASONS, np.full(12, 0.2), np.full(12, 0.55), np.zeros(12)])
def test_every_kind_comes_equally_often_in_every_month(clearness: np.ndarray) -> None:
    """Closed form: twenty years of 28, 30 or 31 days in ten equal parts; so monthly means come back, exactly."""
    sequence = synthetic_days(clearness)
    month, kind = sequence.month[sequence.warm_up :], counted(sequence)
    assert month.size == 20 * 365
    met = np.zeros((12, 10), int)
    np.add.at(met, (month, kind), 1)
    np.testing.assert_array_equal(met, np.repeat(2 * sun.DAYS[:, None], 10, axis=1))
    volume = np.random.default_rng(1).uniform(0.0, 50.0, (12, 10))
    mean = np.bincount(month, volume[month, kind]) / np.bincount(month)
    np.testing.assert_allclose(mean, volume.mean(axis=1), rtol=1e-12)


def test_months_follow_the_calendar() -> None:
    """Closed form: sixty days that end with December, then twenty years of 365 days."""
    sequence = synthetic_days(SEASONS)
    assert (sequence.month.size, sequence.warm_up) == (60 + 20 * 365, 60)
    one = np.repeat(np.arange(12), sun.DAYS.astype(int))
    np.testing.assert_array_equal(sequence.month[60:], np.tile(one, 20))
    np.testing.assert_array_equal(sequence.month[:60], one[-60:])
    np.testing.assert_array_equal(sequence.kind[:60], sequence.kind[-60:])


def persistence(k: int) -> float:
    """Correlation of today's and tomorrow's kind in the stationary chain of class k.

    Closed form: kinds are the tenths of the stationary distribution; within a state every clearness is equally
    likely whatever the day before, so only the mean kind of each state counts. Variance of 0 … 9: 8.25.
    """
    steps = clearness_matrices()[k]
    often = np.linalg.matrix_power(steps, 500)[0]
    edges = np.concatenate([[0.0], np.cumsum(often)])
    place = np.linspace(0.0, 1.0, 100_001)
    summed = np.concatenate([[0.0], np.cumsum(np.minimum(np.floor(place[1:] * 10 - 1e-9), 9)) / 100_000])
    mean_kind = np.diff(np.interp(edges, place, summed)) / np.maximum(often, 1e-12)
    return float((often[:, None] * steps * np.outer(mean_kind, mean_kind)).sum() - 4.5**2) / 8.25


@pytest.mark.parametrize("k", range(10))
def test_days_hold_on_as_long_as_in_the_matrices(k: int) -> None:
    """The same class in all months, against the stationary chain in closed form; 7 300 days have a standard error of
    0.012. Ranking by month, 560 to 620 days, moves it little."""
    found = lag1(counted(synthetic_days(np.full(12, OF_CLASS[k]))))
    assert found == pytest.approx(persistence(k), abs=0.04)


def test_persistence_of_the_classes() -> None:
    """Snapshot of the closed form: dull days come in rows in all classes but the second (a few days)."""
    found = [persistence(k) for k in range(10)]
    assert min(found[k] for k in range(10) if k != 1) > 0.2
    assert max(found) < 0.4
    assert abs(found[1]) < 0.05


@pytest.mark.parametrize("k", [2, 5, 8])
def test_the_chain_keeps_the_mean_of_its_class(k: int) -> None:
    """Published matrices: the stationary mean (tests/published) within three standard errors of 7 300 days."""
    mean = (0.374, 0.429, 0.476, 0.526, 0.575, 0.620, 0.668)[k - 2]
    assert days._chain((k,) * 12)[60:].mean() == pytest.approx(mean, abs=0.008)


def test_the_sky_is_carried_over_month_ends() -> None:
    """The last day of a month and the first of the next belong together as any two days do: 240 pairs, standard error
    0.065. All months of the middle class, then two classes turn about."""
    for clearness in (np.full(12, 0.53), np.where(np.arange(12) % 2 == 0, 0.53, 0.67)):
        sequence = synthetic_days(clearness)
        ends = np.flatnonzero(np.diff(sequence.month[60:]) != 0) + 60
        found = np.corrcoef(sequence.kind[ends], sequence.kind[ends + 1])[0, 1]
        assert ends.size == 239
        assert 0.1 < found < 0.5


@pytest.mark.parametrize("classes", [*((k,) * 12 for k in range(10)), (0, 9) * 6])
def test_the_first_year_follows_on_the_twentieth(classes: tuple[int, ...]) -> None:
    """The warm-up draws the numbers of the last days and falls in with them long before it ends."""
    clearness = days._chain(classes)
    np.testing.assert_array_equal(clearness[20:60], clearness[-40:])


def test_the_same_bytes_again() -> None:
    """Snapshot: the bytes are the same on every machine, in every version; a change here changes results."""
    digests = [
        hashlib.sha256(np.asarray(synthetic_days(clearness).kind, dtype="<i8").tobytes()).hexdigest()[:16]
        for clearness in (SEASONS, np.full(12, 0.55))
    ]
    assert digests == ["ba64a8d0b2d027a0", "82bf0eff01dec019"]
    days._markov_days.cache_clear()
    again = synthetic_days(SEASONS)
    assert hashlib.sha256(np.asarray(again.kind, dtype="<i8").tobytes()).hexdigest()[:16] == digests[0]


def test_sites_of_like_climate_share_their_days() -> None:
    """Only classes count; another class in one month alone changes the days."""
    sequence = synthetic_days(np.full(12, 0.51))
    assert synthetic_days(np.full(12, 0.54)) is sequence
    other = np.full(12, 0.51)
    other[6] = 0.56
    moved = synthetic_days(other)
    assert moved.month is sequence.month
    different = sequence.month[sequence.kind != moved.kind]
    assert {6} <= set(different.tolist())
    for array in (sequence.month, sequence.kind):
        assert array.dtype == np.int64
        assert array.flags.c_contiguous
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_random_numbers_are_those_of_the_published_generator() -> None:
    """Published: first outputs of splitmix64.c (Vigna) from the seeds 1234567 and 0."""
    known = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821]
    assert split_mix(1234567, 5).tolist() == known
    assert split_mix(0, 3).tolist() == [0xE220A8397B1DCDAF, 0x6E789E6AA1B965F4, 0x06C45D188009454F]


def test_random_numbers_are_even() -> None:
    """Closed form: mean, variance and no memory, within three standard errors of 7 300 numbers."""
    draws = np.array(days._draws()[60:])
    assert draws.mean() == pytest.approx(0.5, abs=3 * 0.289 / 7300**0.5)
    assert draws.var() == pytest.approx(1 / 12, abs=3 * 0.0745 / 7300**0.5)
    assert abs(lag1(draws)) < 3 / 7300**0.5


def test_kinds_of_the_sun_go_from_dull_to_clear() -> None:
    """The ranked days are matched with the kinds of the sun by their order: it is the same."""
    for tropical in (True, False):
        for spread in (np.nan, 0.2):
            kinds = sun._kinds_of_day(climate(15.0, np.linspace(2.5, 7.0, 12), tropical=tropical, spread=spread))
            assert (np.diff(kinds, axis=1) >= 0).all()


def test_clearness_is_light_over_that_outside() -> None:
    """Closed form; nothing in the months of polar night."""
    found = clearness_of(climate(-12.0, 5.5))
    np.testing.assert_allclose(found, 5.5 / outside(-12.0), rtol=1e-12)
    polar = clearness_of(climate(80.0, 0.0))
    assert polar.tolist() == [0.0] * 12


# Weather years ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHIPPED)
def test_a_weather_year_gives_its_days_in_order(name: str) -> None:
    """Closed form: hours of the days add up to the months; the days are those of the calendar."""
    weather = year(name)
    sequence = weather_days(weather)
    month, kind = sequence.month[60:], counted(sequence)
    assert month.size == 365
    np.testing.assert_array_equal(month, np.repeat(np.arange(12), sun.DAYS.astype(int)))
    np.testing.assert_array_equal(kind, np.concatenate([np.arange(n) for n in sun.DAYS.astype(int)]))
    np.testing.assert_array_equal(sequence.kind[:60], kind[-60:])
    np.testing.assert_array_equal(sequence.month[:60], month[-60:])
    daily = np.zeros((12, 31))
    np.add.at(daily, (weather.month, kind_of_hour(weather)), weather.ghi_w_m2 / 1000.0)
    np.testing.assert_allclose(
        np.bincount(month, daily[month, kind]) / np.bincount(month), monthly_ghi_kwh_m2_day(weather), rtol=1e-12
    )


def test_a_leap_year_and_days_without_light_count() -> None:
    """Closed form: 29 February is kind 28; a dark day is a day; March of another year keeps its days."""
    w = year(SHIPPED[0])
    february = np.flatnonzero(w.month == 1)
    more = np.insert(np.arange(w.month.size), february[-1] + 1, february[-24:])
    longer = Weather(*w[:3], *(part[more] for part in w[3:]))
    added = slice(february[-1] + 1, february[-1] + 25)
    longer.day[added] = 60
    longer.ghi_w_m2[added] = 0.0
    leap_march = (longer.month == 2).nonzero()[0]
    longer.day[leap_march] += 1
    sequence = weather_days(longer)
    assert np.bincount(sequence.month[60:]).tolist() == [31, 29, *sun.DAYS[2:]]
    assert sequence.kind[60 + 59] == 28
    assert kind_of_hour(longer)[added].tolist() == [28] * 24
    np.testing.assert_array_equal(kind_of_hour(longer)[leap_march], np.repeat(np.arange(31), 24))


@pytest.mark.parametrize("name", SHIPPED)
def test_real_days_hold_on_about_as_long(name: str) -> None:
    """A sanity range and no proof: in one year of 365 days, ranked month by month, a correlation has a standard error
    of 0.05 and the years differ. Found, days of the year against the chain of its months: printed by
    tests/benchmarks/measure_day_order.py."""
    weather = year(name)
    daily = np.zeros((12, 31))
    np.add.at(daily, (weather.month, kind_of_hour(weather)), weather.ghi_w_m2 / 1000.0)
    sequence = weather_days(weather)
    light = daily[sequence.month, sequence.kind][60:]
    clearness = light / np.asarray(daily_extraterrestrial_kwh_m2(weather.latitude_deg, np.arange(1.0, 366.0)))
    month = sequence.month[60:]
    rank = np.empty(365)
    for m in range(12):
        rank[month == m] = (np.argsort(np.argsort(clearness[month == m])) + 0.5) / sun.DAYS[m]
    chain = lag1(counted(synthetic_days(clearness_of(climate(weather.latitude_deg, monthly_ghi_kwh_m2_day(weather))))))
    assert lag1(rank) == pytest.approx(chain, abs=0.2)
    assert lag1(rank) > 0.05
