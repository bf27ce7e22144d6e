"""Findings of the run as packed columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from planner.outputs.map.pack import pack_numbers, pack_texts
from planner.texts import finding_words

COLUMNS = ("column", "rule", "severity", "old_value", "new_value", "action")


def finding_data(findings: Sequence[Mapping[str, Any]], language: str) -> dict[str, Any]:
    """{"count", "row", one packed column for each of COLUMNS, "words": {rule: text}}.

    findings: row (inventory_row, 0 for the whole file), column, rule, severity, old_value, new_value, action.
    """
    frame = pd.DataFrame(list(findings), columns=["row", *COLUMNS])
    return {
        "count": len(frame),
        "row": pack_numbers(frame["row"].to_numpy(dtype="float64"), 0),
        **{name: pack_texts(frame[name]) for name in COLUMNS},
        "words": {str(rule): finding_words(str(rule), language) for rule in frame["rule"].unique()},
    }
