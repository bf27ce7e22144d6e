"""What comes after decision, rank and funding: years, budget steps, standard pump types, the weighted order, and which
ranks rest on what was not measured. One step of a run."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from planner import chunks
from planner.choice import weights
from planner.choice.decision import CONSEQUENCE
from planner.choice.funding import Funding
from planner.choice.pump_types import NONE, TOLERANCE, Standard, standard_types
from planner.engine.assess import Context
from planner.plan import LoadedPlan
from planner.run_table import Table
from planner.stages.pump_costs import pump_costs
from planner.tables.step import Finding, Step
from planner.texts import Figure, Listed, Said, counted, said

DAYS = 365
LISTED = 20  # sites that a sentence names
PRIORS = frozenset(rule for rule, decision in CONSEQUENCE.items() if decision == "test_first")


@dataclass(frozen=True)
class Chosen:
    """pump_types, ranking: for run.json, None where the plan asks for none; lines: in words; weights: weights.csv."""

    pump_types: dict[str, Any] | None = None
    ranking: dict[str, Any] | None = None
    lines: list[Said] = field(default_factory=list)
    weights: pd.DataFrame | None = None


def finish(
    table: Table, funded: Funding, plan: LoadedPlan, context: Context, loop: chunks.Loop, tell: Callable[[str], None]
) -> Chosen:  # fmt: skip
    """Take the columns phase, budget_steps_mask, pump_id_standard, cost_standard_per_m3, rank_rests_on_prior,
    rank_weighted, score_weighted and top_share_weighted into the table."""
    started = time.perf_counter()
    sites = table.sites
    rests = rests_on_prior(sites)
    weighted = weights.weigh(sites, sites["funding"] == "funded", plan)
    columns = pd.DataFrame(
        {
            "phase": funded.phase,
            "budget_steps_mask": funded.mask,
            "pump_id_standard": pd.Series("", index=sites.index, dtype="str"),
            "cost_standard_per_m3": np.nan,
            "rank_rests_on_prior": rests,
            "rank_weighted": weighted.rank,
            "score_weighted": weighted.score,
            "top_share_weighted": weighted.share,
        }
    )
    rules = plan.plan.portfolio
    record: dict[str, Any] | None = None
    findings: list[Finding] = []
    lines: list[Said] = [*_prior_lines(sites, rests), *weighted.lines]
    if rules.max_pump_types is not None or rules.pump_type_tolerance is not None:
        tolerance = TOLERANCE if rules.pump_type_tolerance is None else rules.pump_type_tolerance
        rows = sites.index[(sites["decision"] == "equip") & (sites["engine_status"] == "designed")]
        known = chunks.engine_sites(sites, rows, plan.plan, context.catalogue)
        costs = pump_costs(known, context, tolerance, loop)
        rows = pd.Index(known.inventory_row)
        found, extra = _standard(sites.loc[rows], costs, rules.max_pump_types)
        record, findings = _types(sites, rows, found, costs, extra, columns, context, tolerance, rules.max_pump_types)
        lines += _type_lines(record, plan.plan.programme.currency)
    table.take("selection", Step(columns, findings), tuple(columns.columns), time.perf_counter() - started)
    tell(f"selection: {table.stages[-1]['seconds']} s")
    return Chosen(record, weighted.record, lines, weighted.table)


def rests_on_prior(sites: pd.DataFrame) -> pd.Series:
    """Ranked rows with a reason that would ask for a test first: evidence below grade A, a map's value, an assumption.

    Only where the plan lets such sites be equipped can there be any.
    """
    codes, different = pd.factorize(sites["reason_codes"])
    some = np.array([not PRIORS.isdisjoint(str(one).split(";")) for one in different], dtype=bool)[codes]
    return sites["rank"].notna() & some


def _prior_lines(sites: pd.DataFrame, rests: pd.Series) -> list[Said]:
    if not rests.any():
        return []
    ranked, funded = int(sites["rank"].notna().sum()), int((rests & (sites["funding"] == "funded")).sum())
    return [counted("budget_on_prior", int(rests.sum()), ranked=ranked, funded=funded)]


def _standard(table: pd.DataFrame, costs: np.ndarray, most: int | None) -> tuple[Standard, np.ndarray]:
    """The standard set, and what each pump costs more than the site's choice, currency a year."""
    own, water = (table[name].to_numpy()[:, None] for name in ("cost_per_m3", "volume_used_m3_day"))
    extra = np.where(np.isfinite(costs), np.maximum(costs - own, 0.0) * water * DAYS, 0.0)
    return standard_types(costs, extra, (table["funding"] == "funded").to_numpy(), most), extra


def _types(
    sites: pd.DataFrame, rows: pd.Index, found: Standard, costs: np.ndarray, extra: np.ndarray, columns: pd.DataFrame,
    context: Context, tolerance: float, most: int | None,
) -> tuple[dict[str, Any], list[Finding]]:  # fmt: skip
    """Fill the columns of the standard, and its record; a finding for every site that no type of the set suits."""
    ids = np.array(context.catalogue.pump_ids)
    suited = found.pump != NONE
    at = (np.flatnonzero(suited), found.pump[suited])
    columns.loc[rows[suited], "pump_id_standard"] = ids[found.pump[suited]]
    columns.loc[rows[suited], "cost_standard_per_m3"] = costs[at]
    funded = (sites.loc[rows, "funding"] == "funded").to_numpy()
    own = sites.loc[rows, "pump_id"].to_numpy()
    left = sorted(int(row) for row in rows[~suited])
    relative = costs[at] / sites.loc[rows[suited], "cost_per_m3"].to_numpy() - 1.0
    record = {
        "tolerance": tolerance,
        "max_pump_types": most,
        "types": [
            {"pump_id": str(ids[one]), "sites": int((found.pump == one).sum()),
             "funded": int(((found.pump == one) & funded).sum())}
            for one in found.types
        ],
        "types_own": len(set(own)),
        "types_needed": found.needed,
        "gap": found.gap,
        "cheapest_proven": found.cheapest,
        "sites": int(suited.sum()),
        "extra_a_year": round(float(extra[at].sum()), 2),
        "extra_a_year_funded": round(float(extra[at][funded[suited]].sum()), 2),
        "extra_share_mean": float(relative.mean()) if relative.size else 0.0,
        "extra_share_most": float(relative.max()) if relative.size else 0.0,
        "not_suited": [{"inventory_row": row, "site_id": str(sites["site_id"][row])} for row in left],
    }  # fmt: skip
    findings = [
        Finding(row, sites["site_id"][row], "pump_id_standard", "no_standard_pump", "info", sites["pump_id"][row], "")
        for row in left
    ]
    return record, findings


def _type_lines(record: dict[str, Any], money: str) -> list[Said]:
    types = Listed(tuple(said("pumps_type", pump=one["pump_id"], sites=one["sites"]) for one in record["types"]))
    gap = {"gap": Figure(record["gap"], ".2g")} if record["gap"] else {}
    found = counted(
        "pumps_types_gap" if gap else "pumps_types",
        len(record["types"]),
        own=record["types_own"],
        sites=record["sites"],
        tolerance=Figure(100 * record["tolerance"], "g"),
        types=types,
        **gap,
    )
    mean, most = (Figure(100 * record[f"extra_share_{one}"], ".1f") for one in ("mean", "most"))
    cost = said("pumps_cost", more=Figure(record["extra_a_year"]), money=money, mean=mean, most=most)
    lines = [said("pumps_said", text=found), cost]
    left = record["not_suited"]
    if left:
        some = Listed(tuple(one["site_id"] or f"row:{one['inventory_row']}" for one in left[:LISTED]))
        rest = {"more": len(left) - LISTED} if len(left) > LISTED else {}
        key = "pumps_none_more" if rest else "pumps_none"
        lines.append(counted(key, len(left), needed=record["types_needed"], some=some, **rest))
    return lines
