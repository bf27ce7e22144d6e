"""Decisions: what regional priors and assumptions may lead to, and what they may not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.choice.decision import CONSEQUENCE, FAMILY_RULES, RESTS_ON, decide, on_priors
from planner.tables.step import rule_rows

STAND_INS = ("level_prior", "yield_prior", "drawdown_prior", "depth_assumed", "casing_assumed")


def checks_of(*failed: str, **values: float) -> pd.DataFrame:
    """Failed rules of row 1, with a value for those named."""
    rows = pd.Index([1], name="inventory_row")
    never = pd.Series(False, index=rows)
    frames = [
        rule_rows(rows, rule, never, value=values.get(rule, 1.0), limit=1.0, subject="surface") for rule in failed
    ]
    return pd.concat(frames, ignore_index=True)


def decided(checks: pd.DataFrame, sized: bool, allow: bool = False) -> pd.Series:
    row = pd.Series([sized], index=pd.Index([1], name="inventory_row"))
    whole = pd.concat([checks, on_priors(checks)], ignore_index=True)
    return decide(whole, row, allow).loc[1]


@pytest.mark.parametrize(
    ("failed", "decision"),
    [
        (("no_suction", "no_head"), "unsuitable"),  # all measured
        (("no_suction", "level_prior"), "test_first"),
        (("no_suction", "yield_prior"), "unsuitable"),  # suction knows no yield
        (("no_casing", "casing_assumed"), "test_first"),
        (("no_casing", "level_prior", "yield_prior"), "unsuitable"),  # the casing was measured
        (("no_casing", "no_suction", "level_prior"), "test_first"),  # a shallower level might let a surface pump
        (("no_safe_rate", "level_prior"), "test_first"),
        (("no_safe_rate", "depth_assumed"), "test_first"),
        (("no_safe_rate", "yield_prior"), "unsuitable"),  # the measured level stands at its limit
        (("above_safe_rate", "yield_prior"), "test_first"),
        (("water_too_warm", "level_prior", "yield_prior"), "unsuitable"),
        (("no_head", "drawdown_prior"), "unsuitable"),
        (("no_head", "level_prior", "status_dry"), "unsuitable"),
        (("no_head", "level_prior", "duplicate"), "hold"),
    ],
)
def test_no_design_on_a_prior_asks_for_a_test(failed: tuple[str, ...], decision: str) -> None:
    row = decided(checks_of("no_design", *failed), sized=False)
    assert row["decision"] == decision
    assert "no_design" in row["reason_codes"].split(";")


def test_a_regional_yield_of_nought_condemns_no_well() -> None:
    checks = checks_of("no_design", "no_safe_rate", "yield_prior", yield_prior=0.0)
    assert decided(checks, sized=False)["decision"] == "test_first"


@pytest.mark.parametrize("allow", [False, True])
def test_without_a_design_no_plan_lets_a_site_be_equipped(allow: bool) -> None:
    row = decided(checks_of("no_design", "no_head", "level_prior"), sized=False, allow=allow)
    assert row["decision"] == "test_first"
    assert row["reason_codes"] == "no_design;no_head;no_design_on_prior;level_prior"


@pytest.mark.parametrize("stand_in", STAND_INS)
def test_a_site_on_a_prior_is_tested_first_unless_the_plan_allows_it(stand_in: str) -> None:
    checks = checks_of(stand_in)
    assert decided(checks, sized=True)["decision"] == "test_first"
    allowed = decided(checks, sized=True, allow=True)
    assert (allowed["decision"], allowed["reason_codes"]) == ("equip", stand_in), "visibly"


RULES = st.lists(st.sampled_from([*CONSEQUENCE]), min_size=1, max_size=6, unique=True)


@settings(deadline=None)
@given(failed=RULES, sized=st.booleans())
def test_whatever_fails_no_prior_equips(failed: list[str], sized: bool) -> None:
    sized = sized and not {"no_design", "no_design_on_prior", "yield_unknown", "level_unknown"} & set(failed)
    checks = checks_of(*(rule for rule in failed if rule != "no_design_on_prior"), "grade_below_a")
    row = decided(checks, sized=sized)
    assert row["decision"] != "equip"


def test_what_a_rule_rests_on_is_a_rule() -> None:
    assert set(RESTS_ON) <= set(FAMILY_RULES)
    named = {stand_in for stand_ins in RESTS_ON.values() for stand_in in stand_ins}
    assert named - {"yield_prior of nought"} <= set(CONSEQUENCE)


def test_rows_with_a_design_are_not_asked() -> None:
    empty: Any = on_priors(checks_of("no_head", "level_prior"))
    assert empty.empty and list(empty) == list(checks_of("no_head"))
    assert np.isnan(on_priors(checks_of("no_design", "no_head"))["value"]).all()
