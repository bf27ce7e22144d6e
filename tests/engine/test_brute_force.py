"""The search against the enumeration of every design of small random catalogues: it may pass over nothing that wins.

Sites are drawn from all families, with and without enough water, with growth and memory. Sixteen in the ordinary run,
200 by hand (`-m slow -s`). The search prices a design by the worth of its parts, the enumeration by its bill.
"""

from __future__ import annotations

import time
from collections import Counter

import numpy as np
import pytest

from planner.catalogue.arrays import FAMILIES
from planner.engine.choose import choose
from planner.engine.design import no_designs
from planner.engine.room import make_room
from planner.engine.search import search_one
from tests.engine import bed
from tests.engine.every_design import Every, every_design, first_of, key_of, random_site, small_context

FEW, MANY = 16, 200


def compared(number: int) -> tuple[list[str], str]:
    """What the search misses at a site, in words, and what the site is."""
    dice = np.random.default_rng(1_000 + number)
    sites = random_site(dice)
    context = small_context(sites, dice)
    bench = bed.bench(sites, context)
    place = (bench.site, bench.light, context.market, context.rules)
    start = time.perf_counter()
    every = every_design(*place)
    middle = time.perf_counter()
    found = choose(*place, make_room(context.market))
    end = time.perf_counter()
    alone = no_designs(1)
    search_one(*place, alone, make_room(context.market))
    what = f"site {number}: {every.designs.size} designs, {every.compete.size} compete, "
    what += f"{middle - start:.2f} s, search {1000 * (end - middle):.1f} ms"
    if every.compete.size == 0:
        kind = "none"
        faults = [] if found.family < 0 else [f"{what}: the search builds what the enumeration cannot"]
    else:
        kind = FAMILIES[context.market.pumps[found.chosen.pump]["family"]] if found.family >= 0 else "none"
        kind += ", meets" if every.compete["meets"].any() else ", limited"
        faults = faults_of(every, found.best, found.chosen, context.market.pumps["family"])
        if rank_of(alone[0]) != rank_of(found.chosen):
            faults.append(f"alone: {told(alone[0])}, of all families {told(found.chosen)}")
        faults = [f"{what}: {fault}" for fault in faults]
    return faults, kind


def faults_of(every: Every, best: np.ndarray, chosen: np.ndarray, families: np.ndarray) -> list[str]:
    """The best of each family and the choice against the enumeration's."""
    faults = []
    for family in (0, 1, 2, None):
        if family is None:
            compete, ours, name = every.compete, chosen, "choice"
        else:
            compete, ours, name = (
                every.compete[families[every.compete["pump"]] == family],
                best[family],
                FAMILIES[family],
            )
        if (compete.size == 0) != (ours.pump < 0):
            faults.append(f"{name}: {compete.size} compete, the search has pump {ours.pump}")
        if compete.size == 0 or ours.pump < 0:
            continue
        first = first_of(compete)
        same = compete[
            np.logical_and.reduce(
                [
                    compete[part] == ours[part]
                    for part in ("pump", "riser", "delivery", "cable", "module", "tank", "array_wp")
                ]
            )
        ]
        if same.size != 1:
            faults.append(f"{name}: {told(ours)} does not compete; first is {told(first)}")
        elif same["cost_per_m3"][0] != pytest.approx(ours.cost_per_m3, rel=1e-9):
            faults.append(f"{name}: {told(ours)} costs {same['cost_per_m3'][0]:.8f}")
        ranks = [rank_of(ours), rank_of(first)]
        if ranks[0] != ranks[1]:
            faults.append(f"{name}: {told(ours)} {ranks[0]}, but first is {told(first)} {ranks[1]}")
    return faults


def rank_of(design: np.ndarray) -> tuple[int, float, int]:
    """By what designs are put in order."""
    return key_of(design["cost_per_m3"]), float(design["array_wp"]), int(design["pump"])


def told(design: np.ndarray) -> str:
    """A design in words."""
    parts = " ".join(str(design[part]) for part in ("pump", "riser", "delivery", "cable", "module", "tank"))
    return f"[{parts}] {design['array_wp']:.0f} Wp {design['cost_per_m3']:.6f} used {design['used_m3_year']:.2f}"


def judge(numbers: range) -> None:
    faults, kinds = [], Counter()
    for number in numbers:
        found, kind = compared(number)
        faults += found
        kinds[kind] += 1
    text = "\n".join([str(dict(kinds)), *faults])
    print("\n" + text)
    assert not faults, text


def test_nothing_that_wins_is_passed_over() -> None:
    judge(range(FEW))


@pytest.mark.parametrize("number", [77, 142, 550, 683, 835, 916, 1143, 578, 862])
def test_sites_that_once_were_missed(number: int) -> None:
    """A month lives on water that the tank brings over from the month before. At 578 only a narrow riser, which lets
    little flow, is strong enough; at 862 the best gives 0.07 % more than the goal."""
    judge(range(number, number + 1))


@pytest.mark.slow
def test_nothing_that_wins_is_passed_over_at_many_sites() -> None:
    judge(range(FEW, MANY))
