"""Many sites into lots: the flows of a transport programme, made whole and connected, then bettered site by site.

Nothing is drawn at random: the same problem gives the same lots. A lot hangs together at every step.
"""

from __future__ import annotations

import heapq
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array, vstack

from planner.choice.lots.exact import relaxed
from planner.choice.lots.graph import parts
from planner.choice.lots.problem import Answer, Lots, Problem, broken, cost_km, excess

SWEEPS = 300
LEAST_GAIN_KM = 1e-9
RELAXED_CELLS = 20_000  # sites × lots up to which pump types stand in the relaxed programme
EAGER = (0.0, 1.0, 3.0)

Floats = NDArray[np.float64]


def search(problem: Problem) -> Answer:
    """Good lots, the best of a few starts, with a bound of their cost. Rules may be broken where the search finds no
    way: see broken()."""
    flows, per_value, per_site = _transport(problem, 0)
    starts = [flows]
    if problem.sites * problem.lots <= RELAXED_CELLS:
        starts.append(relaxed(problem, 0)[1])
    found = [_bettered(problem, start, eager) for start in starts for eager in EAGER]
    lot = min(found, key=lambda one: _standing(problem, one))
    reached = excess(problem, lot)
    bound = _bound(problem, per_value, per_site, reached)
    if reached > 0:  # the bound is that of the value bounds as they are kept
        _, per_value, per_site = _transport(problem, reached)
        bound = max(bound, _bound(problem, per_value, per_site, reached))
    if problem.sites * problem.lots <= RELAXED_CELLS:
        bound = max(bound, relaxed(problem, reached)[0])
    cost = cost_km(problem, lot)
    return Answer(lot, reached, cost, min(bound, cost), False, "search")


def _bettered(problem: Problem, flows: Floats, eager: float) -> Lots:
    """Lots from a start, at first with pump types that count more or less than they do."""
    lots = _State(replace(problem, kind_km=problem.kind_km * eager), _connected(problem, flows))
    lots.balance()
    lots.improve()
    last = _State(problem, lots.lot)
    last.balance()
    last.improve()
    return last.lot


def _standing(problem: Problem, lot: Lots) -> tuple[int, int, float]:
    return len(broken(problem, lot)), excess(problem, lot), cost_km(problem, lot)


def _transport(problem: Problem, slack: int) -> tuple[Floats, Floats, Floats]:
    """Shares of sites in lots, (n, k), and the prices (2, k) of value and of the number of sites: the programme without
    pump types and connectedness, sites divisible. Zeros where it has no solution."""
    sites, lots = problem.sites, problem.lots
    every = np.arange(sites * lots)
    site, lot = every // lots, every % lots
    scale = float(max(1, problem.high))
    share = problem.value[site] / scale
    most = sites if problem.sites_max is None else problem.sites_max
    high = problem.high + slack if problem.value_max is None else min(problem.high + slack, problem.value_max)
    value = coo_array((share, (lot, every)), shape=(lots, every.size))
    count = coo_array((np.ones(every.size), (lot, every)), shape=(lots, every.size))
    found = linprog(
        problem.distance_km.ravel(),
        A_ub=csr_array(vstack([value, -value, count])),
        b_ub=np.concatenate(
            [np.full(lots, high / scale), np.full(lots, -(problem.low - slack) / scale), np.full(lots, most)]
        ),
        A_eq=csr_array(coo_array((np.ones(every.size), (site, every)), shape=(sites, every.size))),
        b_eq=np.ones(sites),
        bounds=np.column_stack([np.zeros(every.size), problem.within.ravel().astype(np.float64)]),
        method="highs",
    )
    if found.x is None or found.status != 0:
        return np.zeros((sites, lots)), np.zeros((2, lots)), np.zeros(lots)
    prices = found.ineqlin.marginals
    return found.x.reshape(sites, lots), prices[: 2 * lots].reshape(2, lots) / scale, prices[2 * lots :]


def _bound(problem: Problem, per_value: Floats, per_site: Floats, reached: int) -> float:
    """No lots whose values keep low − reached … high + reached cost less: weak duality, with any prices ≤ 0."""
    over, under = np.minimum(per_value, 0.0)
    each = np.minimum(per_site, 0.0)
    reduced = problem.distance_km - (over - under) * problem.value[:, None] - each
    reduced = np.where(problem.within, reduced, np.inf).min(axis=1)
    most = problem.sites if problem.sites_max is None else problem.sites_max
    high = problem.high + reached
    if problem.value_max is not None:
        high = min(high, problem.value_max)
    fixed = over.sum() * high - under.sum() * (problem.low - reached) + each.sum() * most
    every_kind = len(set(problem.kind.tolist()))  # each stands in one lot at least
    return float(reduced.sum() + fixed) + problem.kind_km * every_kind


def _connected(problem: Problem, flows: Floats) -> Lots:
    """Lots that hang together: of each the part around the site nearest to its place, and what is left over joins the
    nearest of the lots it touches."""
    sites, lots = problem.sites, problem.lots
    wish = np.where(flows.max(axis=1) > 0, np.argmax(flows, axis=1), np.argmin(problem.distance_km, axis=1))
    lot = np.full(sites, -1, dtype=np.intp)
    seeds: list[int] = []
    for one in range(lots):
        away = np.where(wish == one, problem.distance_km[:, one], problem.distance_km[:, one] + 1e9)
        away[seeds] = np.inf
        seeds.append(int(np.argmin(away)))
    for one, seed in enumerate(seeds):
        members = {int(site) for site in np.flatnonzero(wish == one)} - set(seeds) | {seed}
        lot[next(part for part in parts(problem.around, members) if seed in part)] = one
    edge: list[tuple[float, int, int]] = []

    def offer(site: int) -> None:
        for other in problem.around[site]:
            if lot[other] < 0:
                one = int(lot[site])
                far = float(problem.distance_km[other, one])
                heapq.heappush(edge, (far if problem.within[other, one] else far + 1e9, other, one))

    for placed in np.flatnonzero(lot >= 0).tolist():
        offer(placed)
    while edge:
        _, site, one = heapq.heappop(edge)
        if lot[site] < 0:
            lot[site] = one
            offer(site)
    return lot


class _State:
    """Lots that change site by site, with their sums."""

    def __init__(self, problem: Problem, lot: Lots) -> None:
        self.problem, self.lot = problem, lot.copy()
        self.value = np.zeros(problem.lots, dtype=np.int64)
        np.add.at(self.value, lot, problem.value)
        self.count = np.bincount(lot, minlength=problem.lots)
        self.kinds = np.zeros((int(problem.kind.max()) + 1, problem.lots), dtype=np.int64)
        np.add.at(self.kinds, (problem.kind, lot), 1)
        self.within = problem.within
        self.unit = max(1, int(problem.value.sum()) // problem.sites)

    def balance(self) -> None:
        """Moves that bring values nearer to their bounds, or to one another as long as one is out of bounds."""
        for _ in range(SWEEPS):
            if not any(self._fault(one, 0, 0) for one in range(self.problem.lots)) and not self._far():
                return
            moves = sorted((self._cost(site, to), site, to) for site, to in self._moves())
            done = False
            for _, site, to in moves:
                worse, spread = self._worse(site, to), self._spread(site, to)
                if (worse < 0 or (worse == 0 and spread < 0)) and self._may(site, to):
                    self._move(site, to)
                    done = True
            if not done:
                return

    def improve(self) -> None:
        """Moves, and exchanges between two lots, that cost less and break nothing more."""
        for _ in range(SWEEPS):
            moves = sorted((self._cost(site, to), site, to) for site, to in self._moves())
            done = False
            for cost, site, to in moves:
                if cost > -LEAST_GAIN_KM:
                    break
                if self._may(site, to) and self._cost(site, to) < -LEAST_GAIN_KM and self._worse(site, to) <= 0:
                    self._move(site, to)
                    done = True
            if not done and not self._exchange():
                return

    def _exchange(self) -> bool:
        """The first sites that lots can exchange to the good, each at most once; whether there were any."""
        by_way: dict[tuple[int, int], list[int]] = {}
        for site, to in self._moves():
            by_way.setdefault((int(self.lot[site]), to), []).append(site)
        done = False
        for (one, other), there in sorted(by_way.items()):
            back = by_way.get((other, one), [])
            if one > other or not back:
                continue
            ways = ((self._cost(go, other) + self._cost(come, one), go, come) for go in there for come in back)
            for gain, go, come in sorted(way for way in ways if way[0] < -LEAST_GAIN_KM):
                if self.lot[go] == one and self.lot[come] == other and self._exchanged(go, come, gain):
                    done = True
        return done

    def _exchanged(self, go: int, come: int, gain: float) -> bool:
        """Exchange two sites of two lots unless it breaks something; whether it was done."""
        one, other = int(self.lot[go]), int(self.lot[come])
        before = self._fault(one, 0, 0) + self._fault(other, 0, 0) + self._reach(go, one) + self._reach(come, other)
        cost = self._cost(go, other)
        if not self._may(go, other):
            return False
        self._move(go, other)
        cost += self._cost(come, one)
        after = self._reach(go, other) + self._reach(come, one)
        if self._may(come, one) and cost < -LEAST_GAIN_KM:
            self._move(come, one)
            after += self._fault(one, 0, 0) + self._fault(other, 0, 0)
            holds = len(parts(self.problem.around, np.flatnonzero(self.lot == one).tolist())) == 1
            if after <= before and holds and gain < 0:
                return True
            self._move(come, other)
        self._move(go, one)
        return False

    def _moves(self) -> list[tuple[int, int]]:
        """Sites at the edge of their lot, with each lot they touch."""
        around, lot = self.problem.around, self.lot
        return [
            (site, to)
            for site in range(self.problem.sites)
            for to in sorted({int(lot[other]) for other in around[site]} - {int(lot[site])})
        ]

    def _may(self, site: int, to: int) -> bool:
        """Whether a site still touches a lot, and leaves its own in one part."""
        lot, around = self.lot, self.problem.around
        home = int(lot[site])
        if home == to or self.count[home] == 1 or not any(lot[other] == to for other in around[site]):
            return False
        near = [other for other in around[site] if lot[other] == home]
        left = set(near[1:])
        seen, stack = {site, near[0]}, [near[0]]
        while left and stack:
            for other in around[stack.pop()]:
                if lot[other] == home and other not in seen:
                    seen.add(other)
                    left.discard(other)
                    stack.append(other)
        return not left

    def _cost(self, site: int, to: int) -> float:
        home, kind = self.lot[site], self.problem.kind[site]
        driven = self.problem.distance_km[site, to] - self.problem.distance_km[site, home]
        more = int(self.kinds[kind, to] == 0) - int(self.kinds[kind, home] == 1)
        return float(driven + self.problem.kind_km * more)

    def _fault(self, one: int, value: int, count: int) -> int:
        """How far a lot with so much more lies outside what it may be; rules that must be kept weigh a thousandfold."""
        problem = self.problem
        has, sites = int(self.value[one]) + value, int(self.count[one]) + count
        fault = max(0, has - problem.high, problem.low - has)
        if problem.value_max is not None:
            fault += 1000 * max(0, has - problem.value_max)
        if problem.sites_max is not None:
            fault += 1000 * self.unit * max(0, sites - problem.sites_max)
        return fault

    def _reach(self, site: int, one: int) -> int:
        return 0 if self.within[site, one] else 1000 * self.unit

    def _far(self) -> bool:
        return not bool(self.within[np.arange(self.problem.sites), self.lot].all())

    def _worse(self, site: int, to: int) -> int:
        home, value = int(self.lot[site]), int(self.problem.value[site])
        after = self._fault(home, -value, -1) + self._fault(to, value, 1) + self._reach(site, to)
        return after - self._fault(home, 0, 0) - self._fault(to, 0, 0) - self._reach(site, home)

    def _spread(self, site: int, to: int) -> int:
        """Change of half the sum of squares of the lots' values."""
        value = int(self.problem.value[site])
        return value * (int(self.value[to]) - int(self.value[self.lot[site]]) + value)

    def _move(self, site: int, to: int) -> None:
        home, kind, value = int(self.lot[site]), int(self.problem.kind[site]), int(self.problem.value[site])
        self.lot[site] = to
        self.value[home] -= value
        self.value[to] += value
        self.count[home] -= 1
        self.count[to] += 1
        self.kinds[kind, home] -= 1
        self.kinds[kind, to] += 1
