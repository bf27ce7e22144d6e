"""The one shape of a table step: the whole table in, NEW columns out, with findings and checks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pandas.api.types import union_categoricals

Severity = Literal["info", "warning", "stop"]
Action = Literal["repaired", "flagged", "stopped"]

FINDING_COLUMNS = ["row", "site_id", "column", "rule", "severity", "old_value", "new_value", "action"]
_PART = 50_000
CHECK_TEXTS = ("rule", "subject", "operator", "unit")
CHECK_COLUMNS = ["inventory_row", "rule", "subject", "value", "operator", "limit", "unit", "pass"]


@dataclass(frozen=True, slots=True)
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
              Texts are categories (`join_checks`): a run of a nation has twenty million rows of a few dozen texts.
    """

    columns: pd.DataFrame
    findings: list[Finding] = field(default_factory=list)
    checks: pd.DataFrame = field(default_factory=lambda: no_checks())  # noqa: PLW0108 (defined below)


def frame_of(columns: Mapping[str, object], names: Iterable[str], index: pd.Index) -> pd.DataFrame:
    """A step's columns in the order of the names, without a copy; one value for all rows stands once."""
    data = {}
    for name in names:
        values = columns[name]
        if isinstance(values, str):
            data[name] = pd.Series(values, index=index, dtype="str")
        elif isinstance(values, pd.Series):
            data[name] = values
        else:
            array = np.asarray(values)
            kind = "str" if array.dtype.kind in "UO" else None
            data[name] = pd.Series(np.broadcast_to(array, len(index)), index=index, dtype=kind, copy=False)
    return pd.DataFrame(data, index=index, copy=False)


def parts_of(count: int) -> Iterator[slice]:
    """Places 0 to `count` in parts, for work on many numbers a row."""
    yield from (slice(start, min(start + _PART, count)) for start in range(0, count, _PART))


def no_checks() -> pd.DataFrame:
    """An empty checks frame with the right types."""
    return _frame(
        np.zeros(0, dtype="int64"), {name: "" for name in CHECK_TEXTS}, np.nan, np.nan, np.zeros(0, dtype=bool)
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

    def at(values: pd.Series) -> pd.Series:
        return values if values.index is rows else values.reindex(rows)

    def number(values: pd.Series | float) -> NDArray[np.float64] | float:
        return at(values).to_numpy(dtype="float64") if isinstance(values, pd.Series) else float(values)

    about = subject if isinstance(subject, str) else at(subject).astype("str")
    texts = {"rule": rule, "subject": about, "operator": operator, "unit": unit}
    held = at(passed).astype("bool").to_numpy()
    return _frame(rows.to_numpy(dtype="int64"), texts, number(value), number(limit), held)


def _frame(
    rows: NDArray[np.int64],
    texts: dict[str, pd.Series | str],
    value: NDArray[np.float64] | float,
    limit: NDArray[np.float64] | float,
    passed: NDArray[np.bool_],
) -> pd.DataFrame:
    count = len(rows)

    def category(values: pd.Series | str) -> pd.Categorical:
        if isinstance(values, str):
            return pd.Categorical.from_codes(np.zeros(count, dtype="int8"), pd.Index([values], dtype="str"))
        return pd.Categorical(values)

    columns = {
        "inventory_row": rows,
        "rule": category(texts["rule"]),
        "subject": category(texts["subject"]),
        "value": np.broadcast_to(np.asarray(value, dtype="float64"), count),
        "operator": category(texts["operator"]),
        "limit": np.broadcast_to(np.asarray(limit, dtype="float64"), count),
        "unit": category(texts["unit"]),
        "pass": passed,
    }
    return pd.DataFrame(columns, copy=False)  # a number for all rows stands once


def join_checks(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Checks one behind the other, their texts as categories in the order of the alphabet."""
    some = [frame for frame in frames if len(frame)]
    if not some:
        return no_checks()
    columns: dict[str, Any] = {}
    for name in CHECK_COLUMNS:
        parts = [frame[name] for frame in some]
        if name in CHECK_TEXTS:
            columns[name] = union_categoricals(
                [one.astype("str").astype("category") if one.dtype != "category" else one for one in parts],
                sort_categories=True,
            )
        else:
            columns[name] = np.concatenate([one.to_numpy() for one in parts])
    return pd.DataFrame(columns, copy=False)


def sort_checks(checks: pd.DataFrame) -> pd.DataFrame:
    """Checks of `join_checks` by inventory_row, rule and subject; what is alike stays in its order."""
    texts = {name: checks[name].cat for name in CHECK_TEXTS}
    key = checks["inventory_row"].to_numpy(dtype="int64", copy=True)
    for name in ("rule", "subject"):
        key *= max(len(texts[name].categories), 1)
        key += texts[name].codes.to_numpy()
    order = np.argsort(key, kind="stable")
    return pd.DataFrame({name: checks[name].array.take(order) for name in CHECK_COLUMNS}, copy=False)


def plain_texts(checks: pd.DataFrame) -> pd.DataFrame:
    """Some checks with their texts as text: many times as large, so never all of a large run."""
    return checks.astype({name: "str" for name in CHECK_TEXTS if name in checks.columns})
