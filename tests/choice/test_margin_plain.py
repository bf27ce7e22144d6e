"""A large choice under a budget alone: the same value as by the solver's relaxation, and within the bound."""

from __future__ import annotations

import numpy as np
import pytest

from planner.choice import margin
from planner.choice.problem import Problem, keeps


@pytest.mark.parametrize("share", [0.0, 0.1, 0.9, 2.0])
def test_a_budget_alone_is_relaxed_without_the_solver(share: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Independent library: the linear relaxation of HiGHS."""
    random = np.random.default_rng(3)
    cost = np.ceil(np.exp(random.normal(14, 0.5, 2_100))).astype(np.int64)
    value = np.rint(np.exp(random.normal(9, 0.8, 2_100))).astype(np.int64)
    value[::50] = 0
    problem = Problem(value, cost, np.arange(1, 2_101), int(cost.sum() * share))
    found = margin.select_near(problem, prove=False)
    monkeypatch.setattr(margin, "PLAIN_SITES", 10**9)
    solver = margin.select_near(problem, prove=False)
    assert found is not None and solver is not None
    assert keeps(problem, found.chosen)
    assert found.bound == solver.bound
    assert value[found.chosen].sum() == pytest.approx(value[solver.chosen].sum(), rel=1e-6)
