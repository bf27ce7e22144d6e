"""How often each site is funded over the draws of a run: in each the budget is spent anew on what that draw makes of
the sites."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.choice.funding import VALUE_UNITS, Funding, problem_of
from planner.choice.funding_rules import CENTS
from planner.choice.stability import FundedShare, funded_probability
from planner.doubt.run import Drawn, Outcomes
from planner.errors import InternalError
from planner.glossary import monthly
from planner.plan import LoadedPlan, Plan
from planner.texts import Figure, Said, counted

Floats = NDArray[np.float64]

OFTEN = 0.8  # of the draws: the same 8 of 10 as the ranges


def with_share(
    funded: Funding, sites: pd.DataFrame, shown: pd.DataFrame, drawn: Drawn | None, plan: LoadedPlan
) -> tuple[pd.Series, Funding]:
    """The column funded_probability, and the programme with what is to say of it: record `funded_probability` of
    run.json's `funding`, and a sentence. Empty and as it was without a budget, draws or sites to equip.

    sites  the decided table, by inventory_row; shown: columns of the inventory as text
    """
    column = pd.Series(np.nan, index=sites.index)
    if drawn is None or funded.record is None:
        return column, funded
    problem, order = problem_of(sites, shown, plan)
    if not len(order):
        return column, funded
    places = pd.Index(drawn.inventory_row).get_indexer(order)
    if (places < 0).any():
        raise InternalError(f"row {order[places < 0][0]} can be funded and was not drawn")
    outcomes, rows = drawn.reported(), sites.loc[order]
    volume = outcomes.volume[places].astype(np.float64)
    by_people = plan.plan.portfolio.objective == "people_served"
    value = people_in_draws(rows, volume, plan.plan) if by_people else volume
    found = funded_probability(
        outcomes.cost_per_m3()[places].astype(np.float64),
        # to the nearest cent: the draws keep seven digits, so that rounding up would break a budget that just holds
        np.rint(outcomes.capital[places].astype(np.float64) * CENTS),
        value * VALUE_UNITS,
        problem,
    )
    column[order] = found.probability
    record = record_of(found, outcomes)
    lines = [*funded.lines, line_of(record, found.probability[(rows["funding"] == "funded").to_numpy()])]
    return column, dataclasses.replace(funded, record={**funded.record, "funded_probability": record}, lines=lines)


def people_in_draws(rows: pd.DataFrame, volume: Floats, plan: Plan) -> Floats:
    """People served in every draw, (sites, draws); 0 where nobody knows how many people there are.

    volume  water used in every draw, (sites, draws), m3/d at the tap

    The draws keep the year's volume, not its months: what the worst month gives (definition of people_served) is taken
    to move as the year does. Where the plan serves all people counted, what its worst month gives may be more than they
    need, as it is where demand grows: that many people more could be served before one is left out.
    """
    counted, served = (rows[name].to_numpy(dtype="float64") for name in ("people_counted", "people_served"))
    demand, share = (rows[monthly(stem)].to_numpy(dtype="float64") for stem in ("demand", "people_share"))
    least = np.where(demand > 0.0, demand * share, np.inf).min(axis=1)
    worst = rows["supply_reliability_worst_month"].to_numpy(dtype="float64") * least
    could = 1000.0 * (1.0 - plan.demand.losses) * worst / plan.demand.norm_l_person_day
    could = np.where(served < counted, served, np.fmax(served, could))
    planned = rows["volume_used_m3_day"].to_numpy(dtype="float64")[:, None]
    moved = np.divide(volume, planned, out=np.zeros_like(volume), where=planned > 0.0)
    return np.asarray(np.nan_to_num(np.minimum(counted[:, None], could[:, None] * moved), nan=0.0))


def record_of(found: FundedShare, outcomes: Outcomes) -> dict[str, Any]:
    """For run.json. Gaps are relative, to what no set can exceed; shares are of all draws."""
    return {
        "draws": outcomes.cost.shape[1],
        "gap_mean": found.gap_mean,
        "gap_most": found.gap_max,
        "rules_kept": found.rules_kept,
        "no_set": found.impossible,
    }


def line_of(record: dict[str, Any], shares: Floats) -> Said:
    """The record in words; shares: of the funded sites."""
    often = int((shares >= OFTEN - 1e-9).sum())
    kept = {} if record["rules_kept"] == 1.0 else {"kept": Figure(100.0 * record["rules_kept"], ".2g")}
    gap = Figure(100.0 * record["gap_mean"], ".2g")
    return counted("budget_often_rules" if kept else "budget_often", shares.size, often=often, gap=gap, **kept)
