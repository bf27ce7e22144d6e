"""Time of the selection: sites × areas, floors, shares and locks, each rule priced. Sites are invented.

python tests/benchmarks/measure_portfolio.py [sites] [areas] [phases]
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from planner.choice.budget_steps import budget_steps
from planner.choice.portfolio import Phase, Problem, Rule, keeps, select


def invented(sites: int, areas: int) -> Problem:
    """People and costs spread like those of village schemes, dear water last in rank; half of the money is there."""
    draw = np.random.default_rng(5)
    people = draw.lognormal(6.0, 0.7, sites)
    cost = 9_000 + 18 * people * draw.lognormal(0.0, 0.4, sites)
    rank = np.empty(sites, dtype=np.int64)
    rank[np.argsort(cost / people)] = np.arange(1, sites + 1)
    area = draw.choice(areas, sites, p=np.arange(1, areas + 1) / (areas * (areas + 1) / 2))
    lock = draw.random(sites)
    rules = (
        Rule("minimum_count", counts=tuple((area == one, sites // (3 * areas)) for one in range(areas))),
        Rule("minimum_share", shares=tuple((area == one, 0.06) for one in range(areas))),
        Rule("locked_in", locked_in=lock < 0.003),
        Rule("locked_out", locked_out=lock > 0.997),
    )
    cents = np.ceil(cost * 100).astype(np.int64)
    return Problem(np.rint(people * 1000).astype(np.int64), cents, rank, int(cents.sum()) // 2, rules)


def main() -> None:
    sites, areas, years = (
        int(sys.argv[place]) if len(sys.argv) > place else default for place, default in ((1, 10_000), (2, 8), (3, 3))
    )
    problem = invented(sites, areas)
    money = problem.budget or 0
    phases = tuple(Phase(2027 + year, money // years, sites // years // 2) for year in range(years))
    started = time.perf_counter()
    phased = select(replace(problem, phases=phases))
    seconds = time.perf_counter() - started
    assert phased is not None
    assert keeps(replace(problem, phases=phases), phased.chosen, phased.phase)
    print(
        f"{years} phases: {seconds:.1f} s, {np.bincount(phased.phase[phased.chosen])} sites, gap {phased.gap:.2g}",
        flush=True,
    )
    started = time.perf_counter()
    found = select(problem)
    assert found is not None
    seconds = time.perf_counter() - started
    print(f"{sites} sites × {areas} areas: {seconds:.1f} s, {found.chosen.sum()} sites", flush=True)
    print(f"  gap {found.gap:.2g}, optimal {found.optimal}, ties settled {found.ties}", flush=True)
    started = time.perf_counter()
    steps = budget_steps(problem, found.chosen, found.gap)
    gap = max(step.gap or 0.0 for step in steps)
    print(f"  {len(steps)} budget steps: {time.perf_counter() - started:.1f} s, gap at most {gap:.2g}", flush=True)
    for rule in problem.rules:
        started = time.perf_counter()
        free = select(replace(problem, rules=tuple(one for one in problem.rules if one is not rule)), settle_ties=False)
        assert free is not None
        lost = (problem.value[free.chosen].sum() - problem.value[found.chosen].sum()) / 1000
        print(f"  without {rule.name}: {time.perf_counter() - started:.1f} s, {lost:.1f} people more", flush=True)


if __name__ == "__main__":
    main()
