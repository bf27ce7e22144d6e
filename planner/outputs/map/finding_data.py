"""Findings of the run for the page: by group of rule, severity, action and column, with exact counts.

What is alike in a group is said once, and a group's rows are packed columns, so that a finding costs little more than
its own texts. A page carries at most MOST findings, some of every group; its counts are those of all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.finding_summary import SEVERITIES, WHOLE_FILE, districts_of
from planner.outputs.map.pack import pack_numbers, pack_texts
from planner.texts import texts

MOST = 30_000  # by judgement: about 0.7 MB
LONGEST = 200  # letters of a value that the page shows
ALIKE = ["rule", "severity", "action", "column"]


def finding_data(
    findings: Sequence[Mapping[str, Any]], frame: pd.DataFrame, listed: int | None = None
) -> dict[str, Any]:
    """{"count", "carried", "districts": [name], "groups": [group]}.

    findings: row (inventory_row, 0 for the whole file), column, rule, severity, old_value, new_value, action.
    frame: inventory_row and sub_district of the sites, of which the page lists the first `listed` (default all):
    findings of the others are counted only. A group has rule, severity, action, column, keys of what
    was done and is to be done, count,
    the counts by place in `districts` (`at`, `here`), and of the `carried` first ones row, old_value, new_value.
    """
    table = pd.DataFrame(list(findings), columns=["row", *ALIKE, "old_value", "new_value"])
    district = districts_of(table, frame.set_index("inventory_row")["sub_district"])
    names = [*sorted(set(district) - {WHOLE_FILE}), WHOLE_FILE]
    table["district"] = pd.Categorical(district, names).codes
    table["listed"] = table["row"].isin([0, *frame["inventory_row"].iloc[:listed]])
    groups = [group for _, group in table.groupby(ALIKE, sort=True)]
    groups.sort(key=lambda group: (SEVERITIES.index(group["severity"].iloc[0]), -len(group)))
    share = _share([int(group["listed"].sum()) for group in groups])
    return {
        "count": len(table),
        "carried": sum(min(int(group["listed"].sum()), share) for group in groups),
        "districts": names,
        "groups": [_group(group, share) for group in groups],
    }


def finding_keys(data: Mapping[str, Any]) -> set[str]:
    """Keys of the texts that the findings of finding_data need: their sentences, their advice, labels of columns."""
    keys = {key for group in data["groups"] for key in (group["done"], group["todo"])}
    keys |= {f"finding_{group['rule']}" for group in data["groups"]}
    return keys | {f"label_{group['column']}" for group in data["groups"]}


def _group(group: pd.DataFrame, share: int) -> dict[str, Any]:
    first = group[group["listed"]].sort_values("row", kind="stable").head(share)
    alike = {name: str(group[name].iloc[0]) for name in ALIKE}
    done, todo = f"done_{alike['rule']}", f"todo_{alike['rule']}"
    at, here = np.unique(group["district"].to_numpy(dtype="int64"), return_counts=True)
    return {
        **alike,
        "done": done if done in texts() else f"done_when_{alike['action']}",
        "todo": todo if todo in texts() else "todo_any",
        "count": len(group),
        "places": len(at),
        "at": at,
        "here": here.astype("int64"),
        "carried": len(first),
        "row": pack_numbers(first["row"].to_numpy(dtype="float64"), 0),
        **{name: pack_texts(first[name].map(_short)) for name in ("old_value", "new_value")},
    }


def _share(counts: list[int]) -> int:
    """The most that a group may carry so that all together carry at most MOST: small groups whole, large ones cut.

    >>> _share([10, 20_000, 50_000])
    14995
    """
    room, left = MOST, len(counts)
    for count in sorted(counts):
        if count * left > room:
            return max(room // left, 1)
        room, left = room - count, left - 1
    return max([1, *counts])


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"
