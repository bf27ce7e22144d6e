"""The grade of a site's evidence, A to D: why it is what it is, and what would raise it.

Sentences are made from the table of texts, so another language needs no code.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.tables.cells import findings_for
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


def grades(sites: pd.DataFrame) -> pd.Series:
    """A: yield and drawdown, not by airlift or bailer. B: yield and rest level. C: one of them. D: neither.

    A pumping level that is not below the rest level shows no drawdown, and one below the bottom of the well or
    below the pump's intake cannot have been measured.
    """
    has_yield, has_level = sites["tested_yield_m3_h"].notna(), sites["static_level_m"].notna()
    tested = _drawdown_of(sites).eq("drawdown") & ~sites["test_kind"].isin(ROUGH_KINDS)
    grade = pd.Series("D", index=sites.index, dtype="str")
    grade = grade.mask(has_yield | has_level, "C")
    return grade.mask(has_yield & has_level, "B").mask(has_yield & has_level & tested, "A")


def explained(sites: pd.DataFrame, grade: pd.Series, language: str = ENGLISH) -> pd.DataFrame:
    """evidence_reasons and evidence_raise: sentences, empty for rows that are no site."""
    has_yield, has_level = sites["tested_yield_m3_h"].notna(), sites["static_level_m"].notna()
    kind, drawdown = sites["test_kind"], _drawdown_of(sites)
    rough = kind.isin(ROUGH_KINDS)
    of_yield = np.select([~has_yield, rough], ["no_yield", "yield_rough"], default="yield")
    of_level = np.where(has_level, "level", "no_level")
    # what the pumping level says matters once there is a test and a level to hold it against
    of_drawdown = np.where(has_yield & has_level, drawdown, "")
    raised = np.select(
        [
            grade == "A",
            (grade == "B") & rough,
            (grade == "B") & (drawdown == "no_pumping_level"),
            grade == "B",
            (grade == "C") & has_level,
            (grade == "C") & sites["pumping_level_m"].notna() & ~rough,
            grade == "C",
        ],
        ["", "pump_test", "pumping_level", "levels_again", "yield", "rest_level", "rest_level_and_test"],
        default="test",
    )
    is_site = (sites["row_kind"] == "site").to_numpy()
    parts = zip(of_yield.tolist(), of_level.tolist(), of_drawdown.tolist(), strict=True)
    codes = pd.Series([";".join(part) for part in parts], dtype="str")
    said = _sentences(codes, "evidence", language).where(is_site, "")
    raising = _sentences(pd.Series(raised, dtype="str"), "raise", language).where(is_site, "")
    return pd.DataFrame(
        {
            "evidence_reasons": pd.Series(said.to_numpy(), index=sites.index, dtype="str"),
            "evidence_raise": pd.Series(raising.to_numpy(), index=sites.index, dtype="str"),
        }
    )


def _drawdown_of(sites: pd.DataFrame) -> pd.Series:
    """What the pumping level says: drawdown, or why it says none."""
    static, pumping = sites["static_level_m"], sites["pumping_level_m"]
    word = np.select(
        [
            pumping.isna(),
            (pumping > sites["depth_m"]) | (pumping > sites["existing_intake_m"]),
            pumping > static,
        ],
        ["no_pumping_level", "pumping_too_deep", "drawdown"],
        default="no_drawdown",
    )
    return pd.Series(word, index=sites.index, dtype="str")


def _sentences(codes: pd.Series, stem: str, language: str) -> pd.Series:
    """The sentences of codes joined by `;`, each distinct combination made once."""
    places, distinct = pd.factorize(codes)
    known = texts(language)
    made = [" ".join(known[f"{stem}_{code}"][1] for code in one.split(";") if code) for one in distinct]
    return pd.Series(np.array(made, dtype=object)[places], index=codes.index, dtype="str")


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
