"""What becomes of each row of the inventory, and why: every failed rule counts, the weightiest decides."""

from __future__ import annotations

import pandas as pd

from planner.errors import InternalError
from planner.tables.step import plain_texts, rule_rows
from planner.texts import sentence

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
    failed = plain_texts(checks[~checks["pass"]])
    without = pd.Index(failed.loc[failed["rule"] == "no_design", "inventory_row"].unique())
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
    rows = sized.index
    said = plain_texts(
        checks[
            (~checks["pass"] & checks["rule"].isin(CONSEQUENCE))
            | (checks["pass"] & checks["rule"].isin(SAID_WHEN_PASSED))
        ]
    )
    no_design = set(said.loc[said["rule"] == "no_design", "inventory_row"])
    said = said[~said["rule"].isin(FAMILY_RULES) | said["inventory_row"].isin(no_design)]
    order = {rule: number for number, rule in enumerate([*SAID_WHEN_PASSED, *CONSEQUENCE])}
    said = said.assign(order=said["rule"].map(order)).sort_values(["inventory_row", "order"], kind="stable")

    weight = {decision: number for number, decision in enumerate(DECISIONS)}
    consequence = said["rule"].map(CONSEQUENCE).replace("", "equip").fillna("equip")
    unsure = said.loc[said["rule"] == "no_design_on_prior", "inventory_row"]
    softened = (said["rule"] == "no_design") & said["inventory_row"].isin(unsure)
    consequence = consequence.mask(softened, "test_first")
    if allow_prior_equip:
        consequence = consequence.mask(
            (consequence == "test_first") & ~said["rule"].isin(NOT_SIZED) & ~softened, "equip"
        )
    worst = (
        consequence.map(weight)
        .astype("float64")
        .groupby(said["inventory_row"])
        .min()
        .reindex(rows)
        .fillna(weight["equip"])
    )

    sentences = [
        sentence(str(rule), str(subject), float(value), float(limit))
        for rule, subject, value, limit in zip(said["rule"], said["subject"], said["value"], said["limit"], strict=True)
    ]
    said = said.assign(sentence=sentences)
    codes = said.groupby("inventory_row")["rule"].agg(lambda rules: ";".join(dict.fromkeys(rules))).astype("str")
    texts = said.groupby("inventory_row")["sentence"].agg(lambda parts: " ".join(dict.fromkeys(parts))).astype("str")
    # A promise between our own parts: what is recommended has a design, and everything has a reason.
    empty = worst.index[(worst == weight["equip"]) & ~sized]
    if len(empty):
        raise InternalError(f"rows {list(empty[:8])} would be equipped without a design")
    return pd.DataFrame(
        {
            "decision": worst.astype(int).map(dict(enumerate(DECISIONS))).astype("str"),
            "reason_codes": codes.reindex(rows).fillna("").astype("str"),
            "reason_text": texts.reindex(rows).fillna("").astype("str"),
        },
        index=rows,
    )
