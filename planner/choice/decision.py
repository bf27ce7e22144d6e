"""What becomes of each row of the inventory, and why: every failed rule counts, the weightiest decides."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.errors import InternalError
from planner.tables.step import plain_texts, rule_rows
from planner.texts.many import joined, sentences

Flags = NDArray[np.bool_]
Places = NDArray[np.intp]

# Rule → decision it leads to when it fails; "" keeps the decision and only gives a reason. The order is the order
# in which reasons are listed. The first decision of DECISIONS that any rule asks for is taken.
CONSEQUENCE = {
    "blank_row": "not_assessed",
    "total_row": "not_assessed",
    "position_missing": "not_assessed",
    "position_placeholder": "not_assessed",
    "no_solar_value": "not_assessed",
    "no_level_or_yield": "not_assessed",
    "status_dry": "unsuitable",
    "status_abandoned": "unsuitable",
    "not_a_borehole": "unsuitable",
    "no_design": "unsuitable",
    "no_safe_rate": "",
    "no_casing": "",
    "water_too_warm": "",
    "sand_above_limit": "",
    "no_head": "",
    "above_safe_rate": "",
    "no_pressure": "",
    "no_start_torque": "",
    "no_suction": "",
    "no_riser": "",
    "no_delivery_pipe": "",
    "no_cable": "",
    "no_voltage_window": "",
    "no_cooling": "",
    "short_of_demand": "",
    "no_design_on_prior": "test_first",
    "level_conflict": "hold",
    "unit_doubtful": "hold",
    "drawdown_beyond_half": "hold",
    "outside_area": "hold",
    "duplicate": "hold",
    "repeat_visit": "hold",
    "other_visit_ended": "hold",
    "arsenic_above_limit": "hold",
    "fluoride_above_limit": "hold",
    "nitrate_above_limit": "hold",
    "demand_unknown": "hold",
    "already_grid": "hold",
    "solar_unspecified": "hold",
    "unknown_pump_id": "hold",
    "already_equipped": "hold",
    "installed_set_short": "hold",
    "coverage_low": "hold",
    "yield_unknown": "test_first",
    "level_unknown": "test_first",
    "grade_below_a": "test_first",
    "casing_assumed": "test_first",
    "level_prior": "test_first",
    "yield_prior": "test_first",
    "drawdown_prior": "test_first",
    "depth_assumed": "test_first",
    "supply_limited_well": "",
    "supply_limited_catalogue": "",
    "array_small": "",
    "sun_built_in": "",
    "quality_untested": "",
    "dummy_run_required": "",
    "confirm_rotor_size": "",
    "sand_warning": "",
    "sand_settles": "",
}
DECISIONS = ("not_assessed", "unsuitable", "hold", "test_first", "equip")
PART_ROWS = 200_000  # of a large table that are decided at once
# Rules whose passing is worth a sentence.
SAID_WHEN_PASSED = ("demand_met",)
# Without these nothing is sized, so nothing can be equipped, whatever the plan allows.
NOT_SIZED = ("yield_unknown", "level_unknown", "no_design_on_prior")
# What stopped a pump family is a reason only where no family can be built.
FAMILY_RULES = tuple(
    list(CONSEQUENCE)[list(CONSEQUENCE).index("no_safe_rate") : list(CONSEQUENCE).index("no_design_on_prior")]
)
# What each rule of a family takes from the well that a map or an assumption may stand in for. The others rest on
# what is measured, or on the catalogue alone, and condemn a site whatever else is unknown.
_LEVEL, _DEPTH, _YIELD, _CASING = "level_prior", "depth_assumed", "yield_prior", "casing_assumed"
_NO_YIELD = "yield_prior of nought"
RESTS_ON: dict[str, tuple[str, ...]] = {
    "no_safe_rate": (_LEVEL, _DEPTH, _NO_YIELD),  # the level stands at its limit, or there is no yield
    "no_casing": (_CASING,),
    "no_head": (_LEVEL,),
    "above_safe_rate": (_LEVEL, _DEPTH, _YIELD),
    "no_pressure": (_LEVEL,),
    "no_start_torque": (_LEVEL,),
    "no_suction": (_LEVEL,),
    "no_riser": (_LEVEL, _DEPTH),
    "no_cable": (_LEVEL, _DEPTH),
    "no_cooling": (_CASING, _YIELD),
    "short_of_demand": (_LEVEL, _DEPTH, _YIELD),
}


def on_priors(checks: pd.DataFrame) -> pd.DataFrame:
    """Checks of `no_design_on_prior`: a row without a design fails where any family was stopped by a value that a
    regional map or an assumption stands in for, since the central value of a prior must not condemn a well.

    checks  of one run, with the columns of Step.checks
    """
    failed = checks[~checks["pass"]]
    without = pd.Index(failed.loc[failed["rule"] == "no_design", "inventory_row"].unique())
    failed = plain_texts(failed[failed["inventory_row"].isin(without)])
    rested = [(rule, stand_in) for rule, stand_ins in RESTS_ON.items() for stand_in in stand_ins]
    stops = failed.loc[failed["inventory_row"].isin(without), ["inventory_row", "rule"]].drop_duplicates()
    needs = stops.merge(pd.DataFrame(rested, columns=["rule", "stand_in"]), on="rule")
    nought = failed.loc[(failed["rule"] == _YIELD) & (failed["value"] == 0), ["inventory_row"]]
    stood_in = pd.concat([stops.rename(columns={"rule": "stand_in"}), nought.assign(stand_in=_NO_YIELD)])
    unsure = needs.merge(stood_in, on=["inventory_row", "stand_in"])["inventory_row"].unique()
    return rule_rows(without, "no_design_on_prior", pd.Series(~without.isin(unsure), index=without))


def decide(checks: pd.DataFrame, sized: pd.Series, allow_prior_equip: bool) -> pd.DataFrame:
    """Decision, reason_codes and reason_text of every row; `checks` has the columns of Step.checks.

    sized              whether a row has a design; by inventory_row, one for every row
    allow_prior_equip  let evidence below grade A and assumed values be reasons without consequence
    """
    if len(sized) <= PART_ROWS:
        return _decided(checks, sized, allow_prior_equip)
    parts = []
    for part in (sized.iloc[start : start + PART_ROWS] for start in range(0, len(sized), PART_ROWS)):
        some = checks[checks["inventory_row"].between(part.index.min(), part.index.max())]
        parts.append(_decided(some, part, allow_prior_equip))
    return pd.concat(parts)


def _decided(checks: pd.DataFrame, sized: pd.Series, allow_prior_equip: bool) -> pd.DataFrame:
    rows = sized.index
    said, place = _said(checks, rows)
    rule = said["rule"].array

    def holds(*named: str) -> Flags:
        return np.asarray(rule.categories.isin(named)[rule.codes])

    weight = {decision: number for number, decision in enumerate(DECISIONS)}
    asked = np.array([weight[CONSEQUENCE.get(name) or "equip"] for name in rule.categories], dtype=np.int64)[rule.codes]
    softened = holds("no_design") & _rows_with(place, holds("no_design_on_prior"), len(rows))[place]
    asked[softened] = weight["test_first"]
    if allow_prior_equip:
        asked[(asked == weight["test_first"]) & ~holds(*NOT_SIZED) & ~softened] = weight["equip"]
    worst = np.full(len(rows), weight["equip"])
    np.minimum.at(worst, place, asked)

    codes = joined(place, rule.codes.astype(np.int64), list(rule.categories), ";", len(rows))
    texts = joined(place, *sentences(said), " ", len(rows))
    # A promise between our own parts: what is recommended has a design, and everything has a reason.
    empty = rows[(worst == weight["equip"]) & ~sized.to_numpy()]
    if len(empty):
        raise InternalError(f"rows {list(empty[:8])} would be equipped without a design")
    decision = pd.Categorical.from_codes(worst, pd.Index(DECISIONS, dtype="str"))
    return pd.DataFrame(
        {
            "decision": pd.Series(decision, index=rows).astype("str"),
            "reason_codes": codes.set_axis(rows),
            "reason_text": texts.set_axis(rows),
        },
        index=rows,
    )


def _said(checks: pd.DataFrame, rows: pd.Index) -> tuple[pd.DataFrame, Places]:
    """The checks that are reasons, by row and in the order of CONSEQUENCE, and the place of each one's row in `rows`;
    rule and subject are categories."""
    rule = checks["rule"].astype("category").array
    failed, when_passed = rule.categories.isin(list(CONSEQUENCE)), rule.categories.isin(SAID_WHEN_PASSED)
    wanted = np.where(checks["pass"], when_passed[rule.codes], failed[rule.codes])
    said = checks[["inventory_row", "rule", "subject", "value", "limit"]][wanted]
    said = said.astype({"rule": "category", "subject": "category"})
    place, rule = rows.get_indexer(pd.Index(said["inventory_row"])), said["rule"].array
    without = _rows_with(place, rule.categories.isin(["no_design"])[rule.codes], len(rows))
    order = {name: number for number, name in enumerate([*SAID_WHEN_PASSED, *CONSEQUENCE])}
    kept = np.flatnonzero(~rule.categories.isin(FAMILY_RULES)[rule.codes] | without[place])
    turn = np.array([order.get(name, 0) for name in rule.categories], dtype=np.int64)[rule.codes[kept]]
    kept = kept[np.argsort(place[kept] * len(order) + turn, kind="stable")]
    return said.iloc[kept], place[kept]


def _rows_with(place: Places, holds: Flags, rows: int) -> Flags:
    """Which rows have a check of those that hold."""
    found = np.zeros(rows, dtype=np.bool_)
    found[place[holds]] = True
    return found
