"""The findings of a run counted: by rule, severity and action, and by sub-district."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from planner.tables.step import FINDING_COLUMNS, Finding

SEVERITIES = ("stop", "warning", "info")  # the gravest first
WHOLE_FILE = "(the whole file)"


def finding_frame(findings: Sequence[Finding]) -> pd.DataFrame:
    """Findings as a table of FINDING_COLUMNS."""
    columns = {name: [getattr(one, name) for one in findings] for name in FINDING_COLUMNS}
    types = {name: "int64" if name == "row" else "str" for name in FINDING_COLUMNS}
    return pd.DataFrame(columns).astype(types)


def by_rule(frame: pd.DataFrame) -> pd.DataFrame:
    """A row for each rule, severity and action: count, and row, column, old_value, new_value of the first one.

    frame: FINDING_COLUMNS. The gravest come first, then the most frequent, then by name.
    """
    names = ["rule", "severity", "action"]
    groups = frame.groupby(names, sort=True)
    counted = groups.size().rename("count").to_frame()
    first = groups[["row", "column", "old_value", "new_value"]].nth(0)
    first = frame.loc[first.index].set_index(names)[["row", "column", "old_value", "new_value"]]
    told = counted.join(first).reset_index()
    told["gravity"] = told["severity"].map(SEVERITIES.index)
    told = told.sort_values(["gravity", "count", "rule"], ascending=[True, False, True], kind="stable")
    return told.drop(columns="gravity").reset_index(drop=True)


def by_district(frame: pd.DataFrame, district: pd.Series) -> pd.DataFrame:
    """Counts by sub-district (index, by name; "" where none is known) and severity (columns, all three).

    district: name by inventory_row. Findings about the file as a whole come last, as WHOLE_FILE.
    """
    place = districts_of(frame, district)
    counts = pd.crosstab(place, frame["severity"]).reindex(columns=list(SEVERITIES), fill_value=0)
    last = [WHOLE_FILE] if WHOLE_FILE in counts.index else []
    return counts.reindex([*sorted(set(counts.index) - set(last)), *last]).rename_axis(
        index="sub_district", columns=None
    )


def districts_of(frame: pd.DataFrame, district: pd.Series) -> pd.Series:
    """The sub-district of each finding's row; WHOLE_FILE for row 0."""
    rows = frame["row"].astype("int64")
    names = district.astype("str").reindex(rows, fill_value="").set_axis(frame.index)
    return names.mask(rows == 0, WHOLE_FILE)


def summary_record(frame: pd.DataFrame, district: pd.Series) -> dict[str, Any]:
    """The same for run.json."""
    rules = by_rule(frame)[["rule", "severity", "action", "count"]]
    districts = by_district(frame, district)
    return {
        **{kind: int((frame["severity"] == kind).sum()) for kind in reversed(SEVERITIES)},
        "by_rule": [
            dict(zip(rules.columns, values, strict=True))
            for values in rules.astype(object).itertuples(index=False, name=None)
        ],
        "by_sub_district": {
            str(name): {kind: int(row[kind]) for kind in SEVERITIES} for name, row in districts.iterrows()
        },
    }
