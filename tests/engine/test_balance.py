"""Days through the tank: the kernel against the plain balance of `physics.storage`, by hand, and its own month."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.engine.assess import Sites
from planner.engine.balance import LEDGER, balance, storage_of, taken
from planner.engine.days import Days, synthetic_days
from planner.engine.light import MOST_KINDS, Light, Plane, light
from planner.engine.report import short_days
from planner.engine.room import blank
from planner.engine.sun import DAYS
from planner.engine.volume import kinds_of_day, mean_day, month_curve, open_year
from planner.physics.storage import daily_balance
from planner.plan import Array
from tests.engine import bed
from tests.engine.test_light import SKY

PUMPS = range(len(bed.context().catalogue.pump_ids))


def light_of(days: Days) -> Light:
    return light(SKY, days, Plane(15.0, 0.0, False), np.array([-0.0035]), Array())


def test_five_days_by_hand() -> None:
    """Mass balance by hand: 12, 8, 0, 15, 4 m3 for 10 a day, a tank of 5 m3 that is full; 7 + 1 of 50 m3 are missing.

    The kernel begins half full, so that the first day is given the other half. Nothing is asked of later months."""
    made = light_of(Days(np.repeat(np.arange(12), 5), np.tile(np.arange(5), 12), 0))
    ledger = blank(LEDGER)
    ledger.pumped[:5], ledger.wanted[0] = [12.0 + 2.5, 8.0, 0.0, 15.0, 4.0], 10.0
    balance(made, 5.0, ledger)
    assert ledger.short.sum() / made.day.shape[1] == pytest.approx(7.0 + 1.0, rel=1e-12)  # the same in every lane
    assert taken(made, 0, ledger) == pytest.approx(10.0 - 8.0 / 5.0, rel=1e-12)
    assert short_days(made, 5.0, ledger) == pytest.approx(1 / 60)  # only the third gets less than 8 m3


@given(st.integers(0, 10_000), st.floats(0.0, 40.0), st.sampled_from([0.0, 0.5, 1.0, 3.0]), st.booleans())
def test_the_kernel_is_the_plain_balance(seed: int, demand: float, tank_days: float, seasons: bool) -> None:
    """Independent: the same days, one by one, in `physics.storage.daily_balance`: four lanes of five years, each after
    the sixty days before it. In one piece they give the same but for a month here and there: 60 days forget."""
    dice = np.random.default_rng(seed)
    days = synthetic_days(dice.uniform(0.2, 0.75, 12))
    made, over, ledger = light_of(days), tank_days * demand, blank(LEDGER)
    ledger.pumped[:] = dice.uniform(0.0, 2.0 * demand + 1e-9, ledger.pumped.shape)
    ledger.wanted[:] = demand * (1.0 + 0.5 * seasons * np.cos(2.0 * np.pi * np.arange(12) / 12.0))
    balance(made, over, ledger)
    place = (days.month * MOST_KINDS + days.kind)[days.warm_up :]
    years = place.size // 4
    used, short, whole = np.zeros(12), 0.0, []
    for lane in range(4):
        own = np.take(place, range(lane * years - days.warm_up, (lane + 1) * years), mode="wrap")
        asked = ledger.wanted[own // MOST_KINDS]
        _, unmet = daily_balance(ledger.pumped[own], asked, over, 0.5 * over)
        counted = slice(days.warm_up, None)
        used += np.bincount(own[counted] // MOST_KINDS, (asked - unmet)[counted], 12)
        short += float((unmet > 0.2 * asked)[counted].mean()) / 4
        whole.append(own[counted])
    np.testing.assert_array_equal(np.concatenate(whole), place)
    used /= np.bincount(place // MOST_KINDS, minlength=12)
    np.testing.assert_allclose([taken(made, m, ledger) for m in range(12)], used, rtol=1e-9, atol=1e-9)
    assert short_days(made, over, ledger) == pytest.approx(short, abs=2e-4)


@given(bed.random_sites(), st.sampled_from(PUMPS), st.floats(0.2, 2.0))
def test_kinds_of_day_make_up_the_month(sites: Sites, pump: int, size: float) -> None:
    """Closed form: the mean of the kinds of day is the month's mean day."""
    fitted = bed.bench(sites).fit(pump)
    if fitted is None:
        return
    made, curve, out = fitted.bench.light, fitted.room.curves[0, 0], np.zeros(MOST_KINDS)
    watts = size * float(fitted.rig.pump["drive_rating_w"])
    open_year(fitted.rig, fitted.duty, fitted.rig.pump["slip_life_factor"], fitted.room.fan)
    for m in range(12):
        month_curve(fitted.rig, fitted.duty, fitted.room.fan, m, 1.0, curve)
        volume, _ = mean_day(made, 0, m, watts, curve)
        kinds_of_day(made, 0, m, watts, curve, fitted.duty.availability, out)
        mean = out[: made.month.kinds[m]].mean()
        assert mean == pytest.approx(fitted.duty.availability * volume, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("tank_m3", "day_m3", "over_m3"), [(8.0, 10.0, 0.0), (4.0, 5.0, 0.0), (20.0, 25.0, 12.0), (80.0, 33.0, 72.0)]
)
def test_what_a_tank_does(tank_m3: float, day_m3: float, over_m3: float) -> None:
    """Definition: 0.8 of a day's 10 m3 goes through the tank; 33 m3 a day is what the well may give."""
    storage = storage_of(bed.bench(bed.one_site(40.0, 10.0)).site, tank_m3)
    assert storage == pytest.approx((day_m3, over_m3))


def test_a_tank_of_many_days_evens_out_all_days() -> None:
    """Closed form: with no end of room a month that pumps more than is wanted lacks nothing, whatever its days."""
    bench = bed.bench(bed.one_site(60.0, 8.0))
    fitted = bench.fit(bench.context.catalogue.pump_ids.index("HR10-12"))
    assert fitted is not None
    large, small = fitted.water(1200.0, 1e6), fitted.water(1200.0, 0.8 * 8.0)
    assert (large.volume >= 8.0).all()
    assert large.used_m3_year == pytest.approx(8.0 * DAYS.sum(), rel=1e-12)
    assert 0.7 * large.used_m3_year < small.used_m3_year < large.used_m3_year
