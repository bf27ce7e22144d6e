"""Value of a pumping test: a case of two states by hand, and what holds for any."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.doubt.test_value import gain_of_test as gain_of
from planner.doubt.test_value import worth_of_water


def test_two_states_by_hand() -> None:
    """Closed form. Rest level 20 m or 60 m, as likely. A large set costs 9 000 and gives 10 000 m3 in both; a small one
    costs 5 000, gives 10 000 m3 at 20 m and 2 000 at 60 m. A cubic metre is worth 1.

    At once: the large set nets 1 000, the small one ½ (5 000 − 3 000) = 1 000: either. Tested: small at 20 m (5 000),
    large at 60 m (1 000), 3 000 in the mean. The test gains 2 000; at a price of 1 500 its value is 500."""
    small, large = (5_000.0, 0.5 * (10_000.0 + 2_000.0)), (9_000.0, 10_000.0)
    tested = (0.5 * (5_000.0 + 9_000.0), 10_000.0)
    for at_once in (small, large):
        assert gain_of(*at_once, *tested, 1.0) == pytest.approx(2_000.0)
    assert gain_of(*small, *tested, 1.0) - 1_500.0 == pytest.approx(500.0)


def test_who_tests_may_keep_to_the_plan() -> None:
    """Closed form: the set chosen after a test is cheaper per cubic metre (0.40 against 0.45) but nets less at 1 a
    cubic metre (3 000 against 5 500): the planned set is kept, and the test gains nothing."""
    assert gain_of(4_500.0, 10_000.0, 2_000.0, 5_000.0, 1.0) == 0.0


@given(
    st.lists(
        st.tuples(st.floats(0.0, 1.0), *[st.tuples(st.floats(0, 1e4), st.floats(0, 1e4))] * 3), min_size=1, max_size=6
    ),
    st.floats(0.1, 5.0),
)
def test_information_cannot_hurt(states: list, worth: float) -> None:
    """Who may choose in each state of the world what is best there never does worse than with one choice for all."""
    weight = np.array([state[0] for state in states]) + 1e-3
    weight /= weight.sum()
    cost = np.array([[design[0] for design in state[1:]] for state in states])
    water = np.array([[design[1] for design in state[1:]] for state in states])
    benefit = worth * water - cost
    at_once = int(np.argmax(weight @ benefit))
    each = benefit.argmax(axis=1)
    picked = np.arange(len(states)), each
    gain = gain_of(
        weight @ cost[:, at_once], weight @ water[:, at_once], weight @ cost[picked], weight @ water[picked], worth
    )
    assert gain >= -1e-6 * (1.0 + np.abs(benefit).max())


def test_worth_of_water_is_the_third_quartile_of_costs() -> None:
    """Of 1, 2, 3, 4, 5 it is 4 (closed form, linear between); sites without a cost do not count."""
    assert worth_of_water([5.0, 1.0, np.nan, 3.0, np.inf, 2.0, 4.0]) == 4.0
    assert np.isnan(worth_of_water([np.nan]))
