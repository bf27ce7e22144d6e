"""How fast the engine is: search with and without the balance of days, by size of catalogue, on threads; whole sites.

    python -m pytest tests/benchmarks/bench_engine.py --benchmark-only -s

Add `-m "slow or not slow"` for 10 000 and 100 000 sites. Run by hand: the file's name keeps it out of the ordinary run.
Needs pytest-benchmark (`.[bench]`). The mix is fixed: 200 wells of 1 to 180 m, 2 to 70 m3/d, half of them with too
little water for what is wanted, under one sky. Times are without compiling.
"""

from __future__ import annotations

import dataclasses
import resource
import tracemalloc
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Any

import numpy as np
import pytest

from planner.engine import assess as engine
from planner.engine.assess import Context, Sites, make_context
from planner.engine.choose import choose
from planner.engine.room import Room, make_room
from tests.engine import bed
from tests.engine.bed import Bench
from tests.engine.every_design import random_site

SITES = 200
PARTS = ("pumps", "risers", "deliveries", "cables", "modules", "tanks")


@cache
def mix() -> tuple[Sites, ...]:
    """The sites, all under one sky as those of a solar cell are."""
    dice = np.random.default_rng(200)
    sun = bed.one_site()
    same = {name: getattr(sun, name) for name in ("ghi", "tropical")}
    made = (random_site(dice) for _ in range(SITES))
    return tuple(dataclasses.replace(one, inventory_row=np.array([row]), **same) for row, one in enumerate(made, 1))


@cache
def context(share: float = 1.0, daily: bool = True) -> Context:
    """The generic catalogue, or a share of each of its tables, evenly spread."""
    catalogue, few = bed.context().catalogue, {}
    for name in PARTS:
        table = getattr(catalogue, name)
        count = len(table[0])
        places = np.unique(np.linspace(0, count - 1, max(round(share * count), 1)).round().astype(int))
        few[name] = table._replace(**{field: values[places] for field, values in table._asdict().items()})
    made = make_context(bed.make_plan(), dataclasses.replace(catalogue, **few))
    made.rules.daily = int(daily)
    return made


@cache
def benches(share: float = 1.0, daily: bool = True) -> tuple[Bench, ...]:
    """The sites with their light, ready for the search; everything compiled."""
    where = context(share, daily)
    skies, made = where.skies(), []
    for one in mix():
        site, climate = engine.site_record(one, 0, where), one.climate(0)
        made.append(Bench(site, skies.light(climate, skies.plane(climate, site, np.nan)), where, bed.bench(one).well))
    run(tuple(made[:3]), make_room(where.market))
    return tuple(made)


def run(sites: tuple[Bench, ...], room: Room) -> None:
    for one in sites:
        choose(one.site, one.light, one.context.market, one.context.rules, room)


def told(benchmark: Any, count: int) -> None:
    """Sites a second beside the times."""
    if benchmark.stats is not None:
        benchmark.extra_info["sites a second"] = round(count / benchmark.stats.stats.min, 1)
        print(f"\n{benchmark.name}: {benchmark.extra_info}")


@pytest.mark.parametrize("daily", [False, True], ids=["mean days", "day by day"])
def test_search_on_one_thread(benchmark: Any, daily: bool) -> None:
    sites = benches(daily=daily)
    room = make_room(sites[0].context.market)
    benchmark.pedantic(run, args=(sites, room), rounds=3, iterations=1)
    told(benchmark, SITES)


@pytest.mark.parametrize("threads", [2])
def test_search_on_threads(benchmark: Any, threads: int) -> None:
    sites = benches()
    rooms = [make_room(sites[0].context.market) for _ in range(threads)]
    lots = [sites[i::threads] for i in range(threads)]
    with ThreadPoolExecutor(threads) as pool:
        benchmark.pedantic(lambda: list(pool.map(run, lots, rooms)), rounds=3, iterations=1)
    told(benchmark, SITES)


@pytest.mark.parametrize("share", [0.25, 0.5, 1.0], ids=["quarter", "half", "whole"])
def test_search_by_size_of_catalogue(benchmark: Any, share: float) -> None:
    sites = benches(share=share)
    room = make_room(sites[0].context.market)
    market = sites[0].context.market
    benchmark.extra_info |= {name: int(getattr(market, name).size) for name in PARTS}
    benchmark.pedantic(run, args=(sites, room), rounds=3, iterations=1)
    told(benchmark, SITES)


@pytest.mark.parametrize(
    "count",
    [1_000, pytest.param(10_000, marks=pytest.mark.slow), pytest.param(100_000, marks=pytest.mark.slow)],
)
def test_assess(benchmark: Any, count: int) -> None:
    """Inventory columns in, rows out, one thread; the memory of the rows a site, and the process's most."""
    lot = bed.together([mix()[i % SITES] for i in range(min(count, 1_000))])
    lots = count // 1_000
    engine.assess(bed.together(list(mix()[:3])), context())

    def assess_all() -> int:
        return sum(len(engine.assess(lot, context()).rows) for _ in range(lots))

    assert benchmark.pedantic(assess_all, rounds=1, iterations=1) == count
    tracemalloc.start()
    kept = engine.assess(bed.together(list(mix())), context())
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    benchmark.extra_info["kB a site"] = round(held / 1e3 / len(kept.rows), 1)
    benchmark.extra_info["most MB of the process"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    told(benchmark, count)
