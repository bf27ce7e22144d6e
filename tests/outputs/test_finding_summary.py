"""Counts of findings; expected numbers by hand."""

from __future__ import annotations

import pandas as pd

from planner.outputs.finding_summary import WHOLE_FILE, by_district, by_rule, finding_frame, summary_record
from planner.tables.step import Finding

FINDINGS = [
    Finding(0, "", "remarks", "column_not_read", "info", "remarks"),
    Finding(1, "a", "depth_m", "zero_as_missing", "info", "0"),
    Finding(2, "b", "depth_m", "zero_as_missing", "info", "0.0"),
    Finding(2, "b", "people", "zero_as_missing", "info", "0"),
    Finding(3, "c", "latitude", "position_missing", "stop", "", "", "stopped"),
    Finding(3, "c", "status", "unknown_word", "warning", "ok?", "unknown"),
]
DISTRICT = pd.Series({1: "North", 2: "North", 3: ""})


def test_by_rule_the_gravest_first_with_the_first_example() -> None:
    told = by_rule(finding_frame(FINDINGS))
    assert told["rule"].tolist() == ["position_missing", "unknown_word", "zero_as_missing", "column_not_read"]
    assert told["count"].tolist() == [1, 1, 3, 1]
    zero = told.iloc[2]
    assert (zero["row"], zero["column"], zero["old_value"], zero["action"]) == (1, "depth_m", "0", "flagged")


def test_by_district_with_the_file_last() -> None:
    told = by_district(finding_frame(FINDINGS), DISTRICT)
    assert told.index.tolist() == ["", "North", WHOLE_FILE]
    assert told.to_numpy().tolist() == [[1, 1, 0], [0, 0, 3], [0, 0, 1]]


def test_the_record_adds_up() -> None:
    record = summary_record(finding_frame(FINDINGS), DISTRICT)
    assert (record["info"], record["warning"], record["stop"]) == (4, 1, 1)
    assert sum(one["count"] for one in record["by_rule"]) == 6
    assert record["by_sub_district"][""] == {"stop": 1, "warning": 1, "info": 0}


def test_no_finding_at_all() -> None:
    frame = finding_frame([])
    assert by_rule(frame).empty
    assert summary_record(frame, DISTRICT) == {"info": 0, "warning": 0, "stop": 0, "by_rule": [], "by_sub_district": {}}
