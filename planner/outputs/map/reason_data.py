"""Reasons as data: rule, subject, value and limit of each. The page makes the sentences from its own table of texts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

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
    combined, lists = pd.factorize(frame["reason_codes"].fillna("").astype("str"))
    rules = checks["rule"].astype("category").array
    # Of each different list of codes, where in it a rule stands; of millions of checks one in ten is asked for.
    turn = np.full((len(lists), len(rules.categories)), -1, dtype=np.int16)
    for line, codes in enumerate(lists):
        known = rules.categories.get_indexer(list(dict.fromkeys(codes.split(";"))))
        turn[line, known[known >= 0]] = np.flatnonzero(known >= 0)
    place = _places(frame, checks)
    here = np.flatnonzero(place >= 0)
    order = turn[combined.astype(np.int64)[place[here]], rules.codes.astype(np.int64)[here]]
    here, order = here[order >= 0], order[order >= 0]
    key = place[here] * len(rules.categories) + rules.codes.astype(np.int64)[here]
    passed = checks["pass"].to_numpy(dtype=np.bool_)[here]
    counts = ~passed | ~pd.Index(key).isin(key[~passed])
    here, order = here[counts], order[counts]
    turn_of = np.argsort(place[here] * (int(order.max(initial=0)) + 1) + order, kind="stable")
    found: pd.DataFrame = checks.iloc[here[turn_of]].assign(place=place[here[turn_of]])
    return found.drop_duplicates(["place", "rule", "subject", "value", "limit"])


def stopped(frame: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """The failed checks whose subject is a pump family; `place` is the site's."""
    failed = checks[~checks["pass"] & checks["subject"].isin(["helical_rotor", "centrifugal", "surface"])]
    place = _places(frame, failed)
    failed = failed.assign(place=place)[place >= 0]
    return failed.sort_values("place", kind="stable")


def _places(frame: pd.DataFrame, checks: pd.DataFrame) -> NDArray[np.int64]:
    """The place in the frame of each check's row, -1 where it has none."""
    found = pd.Index(frame["inventory_row"]).get_indexer(pd.Index(checks["inventory_row"]))
    return np.asarray(found, dtype=np.int64)


class _Book:
    """Kinds of sentence and texts of numbers, each once."""

    def __init__(self) -> None:
        self.kinds: dict[tuple[str, str, str, bool], int] = {}
        self.amounts: dict[str, int] = {}

    def pack(self, checks: pd.DataFrame, count: int) -> dict[str, Any]:
        key = np.zeros(len(checks), dtype=np.int64)
        for name in ("rule", "subject", "limit", "pass"):
            codes, different = pd.factorize(checks[name])
            key = pd.factorize(key * (len(different) + 1) + codes + 1)[0].astype(np.int64)
        group = key
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
