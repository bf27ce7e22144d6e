"""No pipe runs faster at the cap than the plan allows, also where the pump is near the end of its curve."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.engine.duty import FITS
from tests.engine import bed


@given(static=st.floats(1.0, 60.0), rate=st.floats(0.5, 25.0), length=st.sampled_from([10.0, 100.0, 1000.0]))
def test_velocity_at_the_cap(static: float, rate: float, length: float) -> None:
    bench = bed.bench(bed.one_site(static, 3.0 * rate, share_rate_m3_h=rate, pipe_length_m=length))
    market, rules = bench.context.market, bench.context.rules
    for pump in range(market.pumps.size):
        duty = bench.fit(pump)
        if duty.rule != FITS:
            continue
        for pipes, which, most in (
            (market.deliveries, duty.delivery, rules.velocity_delivery_m_s),
            (market.risers, duty.riser, rules.velocity_riser_m_s),
        ):
            velocity = duty.cap_m3_h / 3600.0 / (math.pi / 4.0 * (pipes["inside_mm"][which] / 1000.0) ** 2)
            assert velocity <= most or velocity == pytest.approx(most, rel=1e-9)
