"""The grade of a site's evidence, A to D: why it is what it is, and what would raise it.

Sentences are made from the table of texts, so another language needs no code.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.tables.cells.read import findings_for
from planner.tables.step import Finding
from planner.texts import ENGLISH, texts

ROUGH_KINDS = ("airlift", "bailer")  # rough yields, rather lower bounds
# Columns that matter to every site: without one no row of the file can pass what its text names.
KEY_COLUMNS = (
    "static_level_m",
    "tested_yield_m3_h",
    "pumping_level_m",
    "depth_m",
    "casing_mm",
    "test_date",
)


# What is said of yield, rest level and drawdown, and what raises the grade: keys of the table of texts.
YIELD = ("no_yield", "yield_rough", "yield")
LEVEL = ("no_level", "level")
DRAWDOWN = ("", "no_drawdown", "drawdown", "pumping_too_deep", "no_pumping_level")
RAISE = ("", "pump_test", "pumping_level", "levels_again", "yield", "rest_level", "rest_level_and_test", "test")


def grades(sites: pd.DataFrame) -> pd.Series:
    """A: yield and drawdown, not by airlift or bailer. B: yield and rest level. C: one of them. D: neither.

    A pumping level that is not below the rest level shows no drawdown, and one below the bottom of the well or
    below the pump's intake cannot have been measured.
    """
    has_yield, has_level = sites["tested_yield_m3_h"].notna(), sites["static_level_m"].notna()
    drawn_down = _drawdown_of(sites) == DRAWDOWN.index("drawdown")
    tested = drawn_down & ~sites["test_kind"].isin(ROUGH_KINDS)
    grade = np.select(
        [has_yield & has_level & tested, has_yield & has_level, has_yield | has_level], ["A", "B", "C"], default="D"
    )
    return pd.Series(grade, index=sites.index, dtype="str")


def explained(sites: pd.DataFrame, grade: pd.Series, language: str = ENGLISH) -> pd.DataFrame:
    """evidence_reasons and evidence_raise: sentences, empty for rows that are no site."""
    is_site = (sites["row_kind"] == "site").to_numpy()
    has_yield, has_level = sites["tested_yield_m3_h"].notna(), sites["static_level_m"].notna()
    rough, drawdown = sites["test_kind"].isin(ROUGH_KINDS), _drawdown_of(sites)
    of_yield = np.select([~has_yield, rough], [0, 1], default=2)
    # what the pumping level says matters once there is a test and a level to hold it against
    of_drawdown = np.where(has_yield & has_level, drawdown, 0)
    raised = np.select(
        [
            grade == "A",
            (grade == "B") & rough,
            (grade == "B") & (drawdown == DRAWDOWN.index("no_pumping_level")),
            grade == "B",
            (grade == "C") & has_level,
            (grade == "C") & sites["pumping_level_m"].notna() & ~rough,
            grade == "C",
        ],
        list(range(len(RAISE) - 1)),
        default=len(RAISE) - 1,
    )
    known = texts(language)

    def said(stem: str, *keys: str) -> str:
        return " ".join(known[f"{stem}_{key}"][1] for key in keys if key)

    reasons = [said("evidence", *keys) for keys in product(YIELD, LEVEL, DRAWDOWN)]
    places = (of_yield * len(LEVEL) + has_level.to_numpy()) * len(DRAWDOWN) + of_drawdown
    raising = [said("raise", key) for key in RAISE]
    return pd.DataFrame(
        {
            "evidence_reasons": _texts(["", *reasons], np.where(is_site, places + 1, 0), sites.index),
            "evidence_raise": _texts(raising, np.where(is_site, raised, 0), sites.index),
        }
    )


def _drawdown_of(sites: pd.DataFrame) -> NDArray[np.int64]:
    """What the pumping level says, as a place in DRAWDOWN."""
    static, pumping = sites["static_level_m"], sites["pumping_level_m"]
    too_deep = (pumping > sites["depth_m"]) | (pumping > sites["existing_intake_m"])
    return np.asarray(np.select([pumping.isna(), too_deep, pumping > static], [4, 3, 2], default=1), dtype=np.int64)


def _texts(distinct: list[str], places: NDArray[np.int64], index: pd.Index) -> pd.Series:
    return pd.Series(pd.array(distinct, dtype="str").take(places), index=index)


def columns_absent(sites: pd.DataFrame, language: str = ENGLISH) -> list[Finding]:
    """A finding for the whole file for each key column in which no site has a value, with what that costs."""
    rows = sites[sites["row_kind"] == "site"]
    if rows.empty:
        return []
    findings = []
    for name in KEY_COLUMNS:
        empty = (rows[name] == "").all() if name == "test_date" else rows[name].isna().all()
        if empty:
            cost = texts(language)[f"absent_{name}"][1]
            findings.append(Finding(0, "", name, "column_absent", "warning", new_value=cost))
    return findings


def rough_yields(sites: pd.DataFrame) -> list[Finding]:
    """Yields by airlift or bailer: kept, rather lower bounds, grade B at best."""
    rows = sites.index[sites["test_kind"].isin(ROUGH_KINDS) & sites["tested_yield_m3_h"].notna()]
    return findings_for(rows, sites["site_id"], "tested_yield_m3_h", "rough_yield", "info", old=sites["test_kind"])
