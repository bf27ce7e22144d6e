"""Reasons as data: rule, subject, value and limit of each. The page makes the sentences from its own table of texts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.tables.step import plain_texts
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
    rules = pd.Index(codes.unique())
    wanted_key = codes.index * len(rules) + rules.get_indexer(codes)
    order = pd.Series(codes.groupby(level=0).cumcount().to_numpy(), index=wanted_key)
    order = order[~order.index.duplicated()]
    # Of millions of checks one in ten is asked for: whole numbers find it fastest.
    rule = rules.get_indexer(checks["rule"])
    place = pd.Index(frame["inventory_row"]).get_indexer(checks["inventory_row"])
    key = np.where((rule >= 0) & (place >= 0), place * len(rules) + rule, -1)
    found_order = order.index.get_indexer(pd.Index(key))
    wanted = found_order >= 0
    found = plain_texts(checks[wanted]).assign(place=place[wanted], order=order.to_numpy()[found_order[wanted]])
    best = found["pass"].groupby(key[wanted]).transform("min")
    found = found[found["pass"] == best].sort_values(["place", "order"], kind="stable")
    return found.drop_duplicates(["place", "rule", "subject", "value", "limit"])


def stopped(frame: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """The failed checks whose subject is a pump family; `place` is the site's."""
    failed = plain_texts(checks[~checks["pass"] & checks["subject"].isin(["helical_rotor", "centrifugal", "surface"])])
    place = pd.Series(frame.index, index=frame["inventory_row"])
    failed = failed.assign(place=failed["inventory_row"].map(place)).dropna(subset="place")
    return failed.astype({"place": "int64"}).sort_values("place", kind="stable")


class _Book:
    """Kinds of sentence and texts of numbers, each once."""

    def __init__(self) -> None:
        self.kinds: dict[tuple[str, str, str, bool], int] = {}
        self.amounts: dict[str, int] = {}

    def pack(self, checks: pd.DataFrame, count: int) -> dict[str, Any]:
        alike = checks.groupby(["rule", "subject", "limit", "pass"], dropna=False, sort=False)
        group: NDArray[np.int64] = np.array(alike.ngroup().tolist(), dtype=np.int64)
        first = checks.iloc[np.unique(group, return_index=True)[1]]
        kinds = [self._kind(*row) for row in first[["rule", "subject", "limit", "pass"]].itertuples(index=False)]
        counts = np.bincount(checks["place"].to_numpy(dtype=np.int64), minlength=count)
        return {
            "counts": counts.astype(np.int64),
            "kinds": np.array(kinds, dtype=np.int64)[group],
            "values": self._values(checks["value"].to_numpy(dtype="float64"), first["rule"].tolist(), group),
        }

    def _kind(self, rule: str, subject: str, limit: float, passed: bool) -> int:
        template, _, _, limit_text = parts(rule, subject, 0.0, limit)
        kind = (rule, subject, limit_text if "{limit}" in template else "", bool(passed))
        return self.kinds.setdefault(kind, len(self.kinds))

    def _values(self, values: NDArray[np.float64], rules: list[str], group: NDArray[np.int64]) -> NDArray[np.int64]:
        """Places in `amounts` of the values as the rules of their groups write them; "" where a rule writes none."""
        codes = np.full(values.size, self.amounts.setdefault("", len(self.amounts)), dtype=np.int64)
        templates = [parts(rule, "", 0.0, 0.0)[0] for rule in rules]
        for percent in (False, True):  # a share is written otherwise than a number; each different one is written once
            alike = [rule for rule, text in zip(rules, templates, strict=True) if ("{value} %" in text) == percent]
            told = np.array(["{value}" in text and ("{value} %" in text) == percent for text in templates], dtype=bool)
            chosen = told[group] if told.size else np.zeros(0, dtype=bool)
            different, place = np.unique(values[chosen], return_inverse=True)
            told_as = [parts(alike[0], "", value, 0.0)[2] for value in different.tolist()]
            places = [self.amounts.setdefault(text, len(self.amounts)) for text in told_as]
            codes[chosen] = np.array(places, dtype=np.int64)[place]
        return codes
