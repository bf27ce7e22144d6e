"""No pipe runs faster at the cap than the plan allows, also where the pump is near the end of its curve."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engine import bed


@given(
    static=st.floats(1.0, 60.0),
    rate=st.floats(0.5, 25.0),
    length=st.sampled_from([10.0, 100.0, 1000.0]),
    dice=st.randoms(use_true_random=False),
)
def test_velocity_at_the_cap(static: float, rate: float, length: float, dice: random.Random) -> None:
    bench = bed.bench(bed.one_site(static, 3.0 * rate, share_rate_m3_h=rate, pipe_length_m=length))
    market, rules = bench.context.market, bench.context.rules
    for pump in range(0, market.pumps.size, 3):
        fitted = bench.fit(pump, dice.randrange(market.risers.size), dice.randrange(market.deliveries.size))
        if fitted is None:
            continue
        for pipes, which, most in (
            (market.deliveries, fitted.delivery, rules.velocity_delivery_m_s),
            (market.risers, fitted.riser, rules.velocity_riser_m_s),
        ):
            velocity = fitted.duty.cap_m3_h / 3600.0 / (math.pi / 4.0 * (pipes["inside_mm"][which] / 1000.0) ** 2)
            assert velocity <= most or velocity == pytest.approx(most, rel=1e-9)
