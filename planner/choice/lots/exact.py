"""Sites into lots, exactly: a mixed-integer programme to which connectedness is added as it is needed.

x[i, k] says that site i is in lot k, t[p, k] that pump type p is. Where a lot falls into parts, a cut says of a site u
of the smaller part, a site v of the larger one and the sites S next to the smaller part, without which they cannot
meet: x[u, k] + x[v, k] ≤ 1 + Σ x[s, k] over S, for every lot k (vertex separators; Carvajal et al. 2013, from memory).
The programme with some of the cuts is a relaxation: what it costs is a bound, and an answer that hangs together is the
best one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, vstack

from planner.choice.lots.graph import parts
from planner.choice.lots.problem import Answer, Lots, Problem, cost_km, excess
from planner.choice.solver import Programme, minimise

NODES = 150  # of all solves for one goal, cuts included
ROUNDS = 25  # of cuts
RELATIVE_GAP = 1e-7
CUT_SITES = 6  # of a part that lies apart, at most so many are named in cuts

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Exact:
    """answer: None where none was found; impossible: proven that the rules that must be kept cannot be; excess: the
    least one, None where that was not settled; bound_km: of the cost within that excess."""

    answer: Answer | None
    impossible: bool
    excess: int | None
    bound_km: float


def solve(problem: Problem, known_km: float = np.inf) -> Exact:
    """The lots of least excess over the bounds of value, of these those of least cost. known_km: a cost that
    is known to be within reach at an excess of 0."""
    model = _Model(problem)
    model.known_km = known_km
    found = model.best(0, for_excess=False)
    if not found.impossible:
        return _exact(problem, found, 0)
    model.known_km = np.inf
    least = model.best(None, for_excess=True)
    if least.impossible:
        return Exact(None, True, None, -np.inf)
    if least.lot is None:
        return Exact(None, False, None, -np.inf)
    if not least.optimal:
        return Exact(None, False, None, -np.inf)
    reached = excess(problem, least.lot)
    return _exact(problem, model.best(reached, for_excess=False), reached)


def relaxed(problem: Problem, reached: int) -> tuple[float, Floats]:
    """A bound of the cost within an excess, and the shares of sites in lots, (n, k): sites divisible, lots in parts.
    −inf and zeros where it has no solution."""
    model = _Model(problem)
    cost, lower, upper, _ = model.bounds(reached, for_excess=False)
    found = minimise(model.programme(cost, np.zeros(cost.size, dtype=np.bool_), lower, upper), nodes=1)
    if found.x is None or not found.optimal:
        return -np.inf, np.zeros((problem.sites, problem.lots))
    return found.bound, found.x[: problem.sites * problem.lots].reshape(problem.sites, problem.lots)


@dataclass(frozen=True)
class _Best:
    lot: Lots | None
    impossible: bool
    bound: float
    optimal: bool = False


def _exact(problem: Problem, found: _Best, reached: int) -> Exact:
    if found.lot is None:
        return Exact(None, False, reached, found.bound)
    cost = cost_km(problem, found.lot)
    answer = Answer(found.lot, excess(problem, found.lot), cost, min(found.bound, cost), found.optimal, "exact")
    return Exact(answer, False, reached, found.bound)


class _Model:
    """The programme of one problem with the cuts that were found so far; they hold whatever the goal."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        sites, lots = problem.sites, problem.lots
        self.kinds = int(problem.kind.max()) + 1 if problem.kind_km > 0 else 0
        self.width = sites * lots + self.kinds * lots + 1  # the last: excess, in units of the scale
        self.scale = float(max(1, problem.high))
        self.known_km = np.inf
        self.cuts: list[csr_array] = []
        self.rows: list[csr_array] = []
        self.low: list[Floats] = []
        self.high: list[Floats] = []
        every = np.arange(sites * lots)
        site, lot = every // lots, every % lots
        ones = np.ones(every.size)
        self._add(site, every, ones, sites, 1.0, 1.0)
        most = np.inf if problem.sites_max is None else problem.sites_max
        self._add(lot, every, ones, lots, 1.0, most)
        share = problem.value[site] / self.scale
        slack = 0.5 / self.scale  # sums are whole: half a unit lets nothing else in
        if problem.value_max is not None:
            self._add(lot, every, share, lots, -np.inf, problem.value_max / self.scale + slack)
        all_lots, last = np.arange(lots), np.full(lots, self.width - 1)
        both, columns = np.concatenate([lot, all_lots]), np.concatenate([every, last])
        self._add(both, columns, np.append(share, -np.ones(lots)), lots, -np.inf, problem.high / self.scale + slack)
        self._add(both, columns, np.append(share, np.ones(lots)), lots, problem.low / self.scale - slack, np.inf)
        if self.kinds:
            rows = np.concatenate([every, every])
            columns = np.concatenate([sites * lots + problem.kind[site] * lots + lot, every])
            self._add(rows, columns, np.append(ones, -ones), every.size, 0.0, np.inf)

    def _add(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp], factors: Floats, count: int, low: float, high: float
    ) -> None:
        self.rows.append(csr_array(coo_array((factors, (rows, columns)), shape=(count, self.width))))
        self.low.append(np.full(count, low))
        self.high.append(np.full(count, high))

    def best(self, reached: int | None, *, for_excess: bool) -> _Best:
        """Least cost with an excess of at most `reached`, or (for_excess) least excess."""
        problem = self.problem
        cost, lower, upper, whole = self.bounds(reached, for_excess=for_excess)
        cells, bound, nodes = problem.sites * problem.lots, -np.inf, NODES
        for _ in range(ROUNDS):
            found = minimise(self.programme(cost, whole, lower, upper), nodes=nodes, relative_gap=RELATIVE_GAP)
            nodes -= found.nodes
            if found.impossible:
                return _Best(None, True, np.inf)
            bound = max(bound, found.bound)
            if found.x is None:
                return _Best(None, False, bound)
            lot = np.argmax(found.x[:cells].reshape(problem.sites, problem.lots), axis=1)
            if not self._cut(lot):
                return _Best(lot, False, bound, found.optimal)
            if nodes <= 0:
                break
        return _Best(None, False, bound)

    def bounds(self, reached: int | None, *, for_excess: bool) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
        """Cost, lower and upper bound of each variable, and which are whole numbers."""
        problem = self.problem
        cells = problem.sites * problem.lots
        cost = np.zeros(self.width)
        if for_excess:
            cost[-1] = 1.0
        else:
            cost[:cells] = problem.distance_km.ravel()
            cost[cells:-1] = problem.kind_km
        lower, upper = np.zeros(self.width), np.ones(self.width)
        upper[:cells] = problem.within.ravel()
        upper[-1] = np.inf if reached is None else reached / self.scale
        whole = np.zeros(self.width, dtype=np.bool_)
        whole[:cells] = 1
        return cost, lower, upper, whole

    def programme(self, cost: Floats, whole: NDArray[np.bool_], lower: Floats, upper: Floats) -> Programme:
        """The rows and the cuts that were found so far, under a goal and bounds."""
        rows = csr_array(vstack([*self.rows, *self.cuts]))
        if np.isfinite(self.known_km):
            rows = csr_array(vstack([rows, csr_array(cost[None, :])]))
        low = np.concatenate([*self.low, np.full(rows.shape[0] - sum(map(len, self.low)), -np.inf)])
        known = [self.known_km * (1 + RELATIVE_GAP)] if np.isfinite(self.known_km) else []
        high = np.concatenate([*self.high, np.ones(len(self.cuts)), known])
        return Programme(cost, whole, lower, upper, rows, low, high)

    def _cut(self, lot: Lots) -> bool:
        """Cut off an answer of which a lot falls into parts; whether there was one."""
        around, any_cut = self.problem.around, False
        for one in range(self.problem.lots):
            found = parts(around, np.flatnonzero(lot == one).tolist())
            if len(found) < 2:
                continue
            any_cut = True
            main = max(found, key=lambda part: (len(part), -part[0]))
            for part in found:
                if part is main:
                    continue
                inside = set(part)
                ring = {other for site in part for other in around[site]} - inside
                beyond = next(group for group in parts(around, set(range(len(around))) - ring) if main[0] in group)
                touched = {other for site in beyond for other in around[site]}
                wall = sorted(ring & touched)
                for site in part[:CUT_SITES]:
                    self._separate(site, main[0], wall)
        return any_cut

    def _separate(self, one: int, other: int, wall: list[int]) -> None:
        lots = self.problem.lots
        for lot in range(lots):
            columns = np.array([one, other, *wall]) * lots + lot
            factors = np.append(np.ones(2), -np.ones(len(wall)))
            rows = np.zeros(columns.size, dtype=np.intp)
            self.cuts.append(csr_array(coo_array((factors, (rows, columns)), shape=(1, self.width))))
