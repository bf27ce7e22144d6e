"""Reasons as data: chosen as the decision chose them, and whole enough to make the very sentences."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.reason_data import said, stopped
from planner.outputs.map.site_data import site_frame
from planner.texts import parts, sentence, texts

Sites = Callable[..., pd.DataFrame]


def test_the_checks_behind_the_codes_make_the_text_of_the_reasons(
    invented_sites: Sites, invented_checks: Sites
) -> None:
    sites = invented_sites(200)
    found = said(site_frame(sites), invented_checks(sites))
    made = [
        sentence(rule, subject, value, limit)
        for rule, subject, value, limit in zip(
            found["rule"], found["subject"], found["value"], found["limit"], strict=True
        )
    ]
    told = pd.Series(made).groupby(found["place"].to_numpy()).agg(" ".join)
    assert told.tolist() == sites["reason_text"].tolist()


def test_a_rule_that_failed_hides_its_passes(invented_sites: Sites, invented_checks: Sites) -> None:
    sites = invented_sites(200)
    found = said(site_frame(sites), invented_checks(sites))
    assert not found.loc[found["rule"] == "casing_assumed", "pass"].any()


def test_what_stopped_a_family_is_kept_beside_the_design(invented_sites: Sites, invented_checks: Sites) -> None:
    sites = invented_sites(200)
    found = stopped(site_frame(sites), invented_checks(sites))
    surface = found.loc[found["subject"] == "surface", "place"]
    assert set(np.flatnonzero(sites["pump_id"] != "")) <= set(surface)


@pytest.mark.parametrize("value", [0.0, 0.98765, 66.99999999999, 2.125, 1234.5, float("nan")])
def test_parts_and_template_make_the_sentence(value: float) -> None:
    for rule, (kind, template) in texts().items():
        if kind != "reason":
            continue
        _, *filling = parts(rule, "{value}", value, 0.9)
        words = dict(zip(("subject", "value", "limit"), filling, strict=True))
        made = re.sub(r"\{(subject|value|limit)\}", lambda found, words=words: words[found[1]], template)
        assert made == sentence(rule, "{value}", value, 0.9)


def test_a_language_without_a_text_falls_back_to_english() -> None:
    assert set(texts("sw")) == set(texts("en"))
    assert all(text for _, text in texts("sw").values())
