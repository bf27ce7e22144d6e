"""Reasons as data: rule, subject, value and limit of each. The page makes the sentences from its own table of texts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.map.pack import pack
from planner.texts import parts


def reason_data(frame: pd.DataFrame, checks: pd.DataFrame) -> dict[str, Any]:
    """Sentences of all sites and what stopped each pump family, packed.

    frame   of site_frame: inventory_row and reason_codes by place
    checks  columns of Step.checks
    Gives {"kinds": [[rule, subject, limit, passed]], "amounts": [text], "reasons", "stops"}; the last two hold
    {"counts", "kinds", "values"}: how many each site has, and kind and value (a place in amounts) of each. A rule is a
    key of the texts, a subject may be one (a pump family), numbers are as English writes them.
    """
    book = _Book()
    reasons, stops = said(frame, checks), stopped(frame, checks)
    packed = {"reasons": book.pack(reasons, len(frame)), "stops": book.pack(stops, len(frame))}
    return {"kinds": list(book.kinds), "amounts": list(book.amounts), **packed}


def said(frame: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """The checks behind the reason codes of each site, in the order of the codes; `place` is the site's.

    Of the checks of a rule on a row the failed ones count, and the passed ones where none failed.
    """
    codes = frame["reason_codes"].fillna("").str.split(";").explode()
    codes = codes[codes != ""]
    wanted = pd.DataFrame(
        {
            "place": codes.index,
            "inventory_row": frame["inventory_row"].to_numpy()[codes.index],
            "rule": codes.to_numpy(),
            "order": codes.groupby(level=0).cumcount().to_numpy(),
        }
    )
    found = wanted.merge(checks, on=["inventory_row", "rule"], how="inner", sort=False)
    best = found.groupby(["place", "rule"])["pass"].transform("min")
    found = found[found["pass"] == best].sort_values(["place", "order"], kind="stable")
    return found.drop_duplicates(["place", "rule", "subject", "value", "limit"])


def stopped(frame: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """The failed checks whose subject is a pump family; `place` is the site's."""
    failed = checks[~checks["pass"] & checks["subject"].isin(["helical_rotor", "centrifugal", "surface"])]
    place = pd.Series(frame.index, index=frame["inventory_row"])
    failed = failed.assign(place=failed["inventory_row"].map(place)).dropna(subset="place")
    return failed.astype({"place": "int64"}).sort_values("place", kind="stable")


class _Book:
    """Kinds of sentence and texts of numbers, each once."""

    def __init__(self) -> None:
        self.kinds: dict[tuple[str, str, str, bool], int] = {}
        self.amounts: dict[str, int] = {}

    def pack(self, checks: pd.DataFrame, count: int) -> dict[str, Any]:
        kinds, values = [], []
        columns = (checks[name].tolist() for name in ("rule", "subject", "value", "limit", "pass"))
        for rule, subject, value, limit, passed in zip(*columns, strict=True):
            template, _, value_text, limit_text = parts(rule, subject, value, limit)
            kind = (
                rule,
                subject,
                limit_text if "{limit}" in template else "",
                bool(passed),
            )
            kinds.append(self.kinds.setdefault(kind, len(self.kinds)))
            amount = value_text if "{value}" in template else ""
            values.append(self.amounts.setdefault(amount, len(self.amounts)))
        counts = np.bincount(checks["place"].to_numpy(dtype=np.int64), minlength=count)
        return {
            "counts": pack(counts.astype(np.int64)),
            "kinds": pack(np.array(kinds, dtype=np.int64)),
            "values": pack(np.array(values, dtype=np.int64)),
        }
