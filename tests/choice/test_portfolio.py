"""The selection under a budget against every subset, a textbook case, and what must hold of any answer."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.choice.portfolio import (
    RELATIVE_GAP,
    Flags,
    Problem,
    Rule,
    clash,
    in_rank_order,
    least_cost,
    select,
)

# Brute force --------------------------------------------------------------------------------------------------
# Written apart from portfolio.py, from the words of the rules, over every subset.


def allowed(problem: Problem) -> set[int]:
    out = {site for rule in problem.rules if rule.locked_out is not None for site in np.flatnonzero(rule.locked_out)}
    return set(range(problem.cost.size)) - out


def obeys(problem: Problem, taken: set[int]) -> bool:
    may = allowed(problem)
    if not taken <= may:
        return False
    if problem.budget is not None and sum(int(problem.cost[site]) for site in taken) > problem.budget:
        return False
    for rule in problem.rules:
        if rule.locked_in is not None and not set(np.flatnonzero(rule.locked_in)) <= taken:
            return False
        for members, least in rule.counts:
            group = set(np.flatnonzero(members)) & may
            if len(group & taken) < least and not group <= taken:
                return False
        for members, share in rule.shares:
            group = set(np.flatnonzero(members)) & may
            if len(group & taken) < share * len(taken) - 1e-9 and not group <= taken:
                return False
    if not taken and any(rule.shares for rule in problem.rules):
        # Our own rule: a share is no reason to leave all money unspent.
        limit = np.inf if problem.budget is None else problem.budget
        return not any(problem.value[site] > 0 and problem.cost[site] <= limit for site in may)
    return True


def every_set(problem: Problem) -> list[tuple[int, int, int, tuple[int, ...]]]:
    """(-value, cost, rank sum, sites) of every set that obeys, the best first."""
    sites = range(problem.cost.size)
    found = []
    for size in range(len(sites) + 1):
        for taken in itertools.combinations(sites, size):
            if obeys(problem, set(taken)):
                chosen = list(taken)
                amounts = [int(part[chosen].sum()) for part in (problem.value, problem.cost, problem.rank)]
                found.append((-amounts[0], amounts[1], amounts[2], taken))
    return sorted(found)


def measure(problem: Problem, chosen: Flags) -> tuple[int, int, int]:
    value, cost, rank = (int(part[chosen].sum()) for part in (problem.value, problem.cost, problem.rank))
    return -value, cost, rank


def random_problem(number: int) -> Problem:
    """Small whole numbers, so that ties of value and of cost are frequent."""
    draw = np.random.default_rng(number)
    sites = int(draw.integers(1, 11))
    value = draw.integers(0, [3, 8, 400][number % 3], sites)
    cost = draw.integers(1, [4, 12, 900][number // 3 % 3], sites)
    area = draw.integers(0, 3, sites)  # area 2 is in no floor
    rules = []
    if draw.random() < 0.5:
        least = int(draw.integers(1, 4))
        rules.append(Rule("minimum_count", counts=tuple((area == one, least) for one in (0, 1))))
    if draw.random() < 0.4:
        share = float(draw.choice([0.1, 0.25, 1 / 3, 0.5, 0.6]))
        rules.append(Rule("minimum_share", shares=tuple((area == one, share) for one in (0, 1))))
    lock = draw.random(sites)
    if draw.random() < 0.3:
        rules.append(Rule("locked_in", locked_in=lock < 0.2))
    if draw.random() < 0.3:
        rules.append(Rule("locked_out", locked_out=lock > 0.8))
    budget = None if draw.random() < 0.05 else int(cost.sum() * draw.uniform(0.0, 1.1))
    return Problem(value, cost, draw.permutation(sites) + 1, budget, tuple(rules))


@pytest.mark.parametrize("block", range(10))
def test_the_solver_finds_what_trying_every_set_finds(block: int) -> None:
    for number in range(30 * block, 30 * block + 30):
        problem = random_problem(number)
        best = every_set(problem)[:1]
        found = select(problem)
        if not best:
            assert found is None, number
            continue
        assert found is not None, number
        assert measure(problem, found.chosen) == best[0][:3], number
        assert found.ties
        assert found.optimal
        assert found.gap <= RELATIVE_GAP
        assert least_cost(problem) == min(one[1] for one in every_set(replace(problem, budget=None)))


@pytest.mark.parametrize("number", [7, 8])
def test_fourteen_sites(number: int) -> None:
    draw = np.random.default_rng(number)
    area = draw.integers(0, 4, 14)
    rules = (
        Rule("minimum_count", counts=tuple((area == one, 1) for one in range(4))),
        Rule("minimum_share", shares=((area == 3, 0.4),)),
        Rule("locked_in", locked_in=np.arange(14) == 2),
        Rule("locked_out", locked_out=np.arange(14) == 5),
    )
    problem = Problem(draw.integers(0, 30, 14), draw.integers(1, 20, 14), np.arange(1, 15), 70, rules)
    found = select(problem)
    assert found is not None
    assert measure(problem, found.chosen) == every_set(problem)[0][:3]


def test_ties_go_to_lower_cost_then_to_lower_ranks() -> None:
    # Closed form: all sets of two are worth 2; those with site 2 cost 1 more; of the others ranks 1 + 3 are lowest.
    problem = Problem(np.ones(4, dtype=int), np.array([5, 5, 6, 5]), np.array([4, 1, 2, 3]), 11)
    found = select(problem)
    assert found is not None
    assert found.chosen.tolist() == [False, True, False, True]


# Kreher & Stinson's and other well-known instances, from memory, with the optima that trying every set gives, too.
KNAPSACKS = [
    (165, [23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72], 309),
    (26, [12, 7, 11, 8, 9], [24, 13, 23, 15, 16], 51),
    (50, [31, 10, 20, 19, 4, 3, 6], [70, 20, 39, 37, 7, 5, 10], 107),
]


@pytest.mark.parametrize(("budget", "cost", "value", "best"), KNAPSACKS)
def test_textbook_knapsacks(budget: int, cost: list[int], value: list[int], best: int) -> None:
    problem = Problem(np.array(value), np.array(cost), np.arange(1, len(cost) + 1), budget)
    found = select(problem)
    assert found is not None
    assert problem.value[found.chosen].sum() == best == -every_set(problem)[0][0]


# Rules that clash ---------------------------------------------------------------------------------------------


def test_every_clash_that_is_named_is_one_and_none_of_its_rules_can_be_spared() -> None:
    clashes = 0
    for number in range(600):
        problem = random_problem(number)
        if problem.cost.size > 7 or every_set(problem):
            continue
        clashes += 1
        found = clash(problem)
        rules, with_budget = found.rules, found.budget
        budget = problem.budget if with_budget else None
        named = replace(problem, rules=rules, budget=budget)
        assert not every_set(named), number
        for left_out in range(len(rules)):
            fewer = tuple(rule for place, rule in enumerate(rules) if place != left_out)
            assert every_set(replace(named, rules=fewer)), number
        if with_budget:
            assert every_set(replace(named, budget=None)), number
    assert clashes > 20


def test_a_site_locked_in_and_out_is_a_clash_without_the_budget() -> None:
    site = np.array([True, False])
    rules = (Rule("in", locked_in=site), Rule("floor", counts=((site, 1),)), Rule("out", locked_out=site))
    named = clash(Problem(np.array([1, 1]), np.array([1, 1]), np.array([1, 2]), 0, rules))
    assert [rule.name for rule in named.rules] == ["in", "out"]
    assert not named.budget


def test_no_site_at_all() -> None:
    nothing = np.zeros(0, dtype=np.int64)
    found = select(Problem(nothing, nothing, nothing, 5))
    assert found is not None
    assert found.chosen.size == 0


def test_rank_order_passes_over_what_no_longer_fits() -> None:
    problem = Problem(np.ones(3, dtype=int), np.array([4, 7, 2]), np.array([1, 2, 3]), 6)
    assert in_rank_order(problem).tolist() == [True, False, True]


# What must hold of any answer ---------------------------------------------------------------------------------

seeds = st.integers(0, 10_000)


@settings(max_examples=60, deadline=None)
@given(seeds, st.integers(1, 500))
def test_more_money_never_buys_less(seed: int, more: int) -> None:
    problem = random_problem(seed)
    if problem.budget is None:
        return
    less, richer = select(problem), select(replace(problem, budget=problem.budget + more))
    shares = any(rule.shares for rule in problem.rules)
    # A share may only bind once there is something to share: then the poorer programme is the empty one.
    if less is not None and not (shares and not less.chosen.any()):
        assert richer is not None
        assert problem.value[richer.chosen].sum() >= problem.value[less.chosen].sum()


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_a_rule_never_adds_and_locks_are_obeyed(seed: int) -> None:
    problem = random_problem(seed)
    found = select(problem)
    if found is None:
        return
    for rule in problem.rules:
        free = select(replace(problem, rules=tuple(one for one in problem.rules if one is not rule)))
        # Floors count sites that are not locked out: without the locks they may ask for more.
        if rule.locked_out is None or len(problem.rules) == 1:
            assert free is not None
            assert problem.value[free.chosen].sum() >= problem.value[found.chosen].sum()
        assert rule.locked_in is None or found.chosen[rule.locked_in].all()
        assert rule.locked_out is None or not found.chosen[rule.locked_out].any()


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_the_order_of_rows_does_not_matter(seed: int) -> None:
    problem = random_problem(seed)
    order = np.random.default_rng(seed + 1).permutation(problem.cost.size)
    turned = Problem(
        problem.value[order],
        problem.cost[order],
        problem.rank[order],
        problem.budget,
        tuple(rule.ordered(order) for rule in problem.rules),
    )
    found, again = select(problem), select(turned)
    assert (found is None) == (again is None)
    if found is not None and again is not None:
        assert found.chosen[order].tolist() == again.chosen.tolist()
