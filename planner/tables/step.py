"""The one shape of a table step: the whole table in, NEW columns out, with findings and checks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import pandas as pd

Severity = Literal["info", "warning", "stop"]
Action = Literal["repaired", "flagged", "stopped"]

FINDING_COLUMNS = ["row", "site_id", "column", "rule", "severity", "old_value", "new_value", "action"]
CHECK_COLUMNS = ["inventory_row", "rule", "subject", "value", "operator", "limit", "unit", "pass"]


@dataclass(frozen=True)
class Finding:
    """One fault, repair or remark about a cell of the inventory. `row` is the inventory_row, 0 for the whole file."""

    row: int
    site_id: str
    column: str
    rule: str
    severity: Severity
    old_value: str = ""
    new_value: str = ""
    action: Action = "flagged"


@dataclass(frozen=True)
class Step:
    """What a step returns.

    columns   one row for each inventory_row, same index as the table that came in, only new names
    findings  list of Finding
    checks    frame with CHECK_COLUMNS: every rule that was tested on a row, passed or failed. `subject` is the
              pump family or the text value the rule looked at, else empty; value and limit are numbers or missing.
    """

    columns: pd.DataFrame
    findings: list[Finding] = field(default_factory=list)
    checks: pd.DataFrame = field(default_factory=lambda: no_checks())  # noqa: PLW0108 (defined below)


def no_checks() -> pd.DataFrame:
    """An empty checks frame with the right types."""
    return pd.DataFrame(
        {
            "inventory_row": pd.Series(dtype="int64"),
            "rule": pd.Series(dtype="str"),
            "subject": pd.Series(dtype="str"),
            "value": pd.Series(dtype="float64"),
            "operator": pd.Series(dtype="str"),
            "limit": pd.Series(dtype="float64"),
            "unit": pd.Series(dtype="str"),
            "pass": pd.Series(dtype="bool"),
        }
    )


def rule_rows(
    rows: pd.Index,
    rule: str,
    passed: pd.Series,
    *,
    value: pd.Series | float = float("nan"),
    operator: str = "",
    limit: pd.Series | float = float("nan"),
    unit: str = "",
    subject: pd.Series | str = "",
) -> pd.DataFrame:
    """The checks of one rule over the given rows (an index of inventory_row)."""
    frame = pd.DataFrame(index=rows)
    frame["inventory_row"] = rows.to_numpy(dtype="int64")
    frame["rule"] = rule
    frame["subject"] = subject if isinstance(subject, str) else subject.reindex(rows).astype("str")
    frame["value"] = value.reindex(rows).astype("float64") if isinstance(value, pd.Series) else float(value)
    frame["operator"] = operator
    frame["limit"] = limit.reindex(rows).astype("float64") if isinstance(limit, pd.Series) else float(limit)
    frame["unit"] = unit
    frame["pass"] = passed.reindex(rows).astype("bool")
    return frame.reset_index(drop=True)[CHECK_COLUMNS].astype(
        {"rule": "str", "operator": "str", "unit": "str", "subject": "str"}
    )
