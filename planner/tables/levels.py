"""Levels: brought to ground level, completed and compared with what the inventory derives from them.

A level that was measured from the casing top or that is an elevation says nothing below ground until the height
that lies between is known. Nothing is clamped, and no elevation of a raster is put in the place of a survey's.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from typing import Literal

import numpy as np
import pandas as pd

from planner.glossary import glossary
from planner.tables.cells.read import Note, findings_for, show
from planner.tables.cells.units import LEVELS
from planner.tables.step import Action, Finding, Severity, rule_rows

Datum = Literal["casing_top", "sea_level"]

# Our own rules. A casing stands knee high, seldom a man's height; 59 is 0.59 without its point.
STICKUP_MAX_M = 2.0
DERIVED_SHARE = 0.10  # a stated value this far from the own one is told
WIDE_CASING_MM, DEEP_WELL_M = 350.0, 40.0  # wider than drilled wells of this depth are
LONG_TEST_H = 30 * 24.0

SEVERITY: dict[str, tuple[Severity, Action]] = {
    "level_to_ground": ("info", "repaired"),
    "stickup_unknown": ("warning", "flagged"),
    "stickup_doubtful": ("warning", "flagged"),
    "ground_unknown": ("warning", "flagged"),
    "level_beyond_range": ("warning", "flagged"),
}
_COMPARE: dict[str, Callable[[pd.Series, pd.Series | float], pd.Series]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


def to_ground(
    levels: pd.Series, datum: Datum, casing_stickup_m: pd.Series, ground_elevation_m: pd.Series
) -> tuple[pd.Series, list[Note]]:
    """Levels below ground, m, positive down, and a note for each that is doubtful or lost.

    levels              m below the casing top, or m above sea level, by datum; missing stays missing
    casing_stickup_m    height of the casing top above ground, m
    ground_elevation_m  elevation of the ground, m

    Level = reading − casing height, or elevation − reading. Where the casing height is missing or beyond 2 m the
    reading is kept: the two differ by less than a usual error of levels, and it lies on the safe side. Where the
    elevation is missing the level is missing.

    >>> level, none = pd.Series([12.0]), pd.Series([float("nan")])
    >>> to_ground(level, "casing_top", pd.Series([0.5]), none)[0].tolist()
    [11.5]
    """
    if datum == "sea_level":
        moved = ground_elevation_m - levels
        notes = _notes(moved, levels.notna() & ground_elevation_m.isna(), "ground_unknown")
    else:
        unknown = levels.notna() & casing_stickup_m.isna()
        doubtful = levels.notna() & (casing_stickup_m.abs() > STICKUP_MAX_M)
        moved = levels - casing_stickup_m.mask(unknown | doubtful, 0.0)
        notes = _notes(moved, unknown, "stickup_unknown") + _notes(moved, doubtful, "stickup_doubtful")
    low, high = glossary()["static_level_m"].low, glossary()["static_level_m"].high
    beyond = moved.notna() & ~moved.between(-np.inf if low is None else low, np.inf if high is None else high)
    kept = moved.mask(beyond)
    return kept, notes + _notes(kept, beyond, "level_beyond_range")


def _notes(kept: pd.Series, where: pd.Series, rule: str) -> list[Note]:
    """A note for each marked level, with the value that stands now: none where the kept level is missing."""
    marked = kept[where]
    return [Note(int(row), rule, show(value)) for row, value in zip(marked.index, marked.tolist(), strict=True)]


def on_ground(
    sites: pd.DataFrame, datum: Mapping[str, str], raw: Mapping[str, pd.Series]
) -> tuple[pd.DataFrame, list[Finding]]:
    """The table with its level columns below ground, and what there is to tell.

    sites  with site_id, the two levels, casing_stickup_m and ground_elevation_m
    datum  level column → casing_top or sea_level; other columns and words are left alone
    raw    text of the columns in the file
    """
    sites, findings = sites.copy(), []
    for column in LEVELS:
        before = sites[column]
        measured_from = datum.get(column)
        if measured_from in ("casing_top", "sea_level") and before.notna().any():
            sites[column], notes = to_ground(
                before,
                "casing_top" if measured_from == "casing_top" else "sea_level",
                sites["casing_stickup_m"],
                sites["ground_elevation_m"],
            )
            findings += _tell_datum(sites, column, measured_from, before, notes, raw)
    return sites, findings


def _tell_datum(
    sites: pd.DataFrame,
    column: str,
    datum: str,
    before: pd.Series,
    notes: list[Note],
    raw: Mapping[str, pd.Series],
) -> list[Finding]:
    """One finding for the file, and one for each doubtful level; a column that lacks every height is told once."""
    severity, action = SEVERITY["level_to_ground"]
    moved = int((sites[column].notna() & (sites[column] != before)).sum())
    words = {"casing_top": "below casing top", "sea_level": "above sea level"}[datum]
    findings = [
        Finding(0, "", column, "level_to_ground", severity, f"m {words}", f"m below ground, {moved} rows", action)
    ]
    if sites["casing_stickup_m"].isna().all() and any(note.rule == "stickup_unknown" for note in notes):
        severity, action = SEVERITY["stickup_unknown"]
        findings.append(Finding(0, "", column, "stickup_unknown", severity, "", "kept as read", action))
        notes = [note for note in notes if note.rule != "stickup_unknown"]
    site_id = sites["site_id"]
    for note in notes:
        severity, action = SEVERITY[note.rule]
        place = "casing_stickup_m" if note.rule == "stickup_doubtful" else column
        old = raw[place][note.row]
        findings.append(Finding(note.row, site_id[note.row], place, note.rule, severity, old, note.new_value, action))
    return findings


def pumping_from_drawdown(sites: pd.DataFrame) -> tuple[pd.Series, list[Finding]]:
    """Pumping levels, with rest level + stated drawdown, which it is by definition, where none is given."""
    stands = sites["pumping_level_m"].isna() & (sites["drawdown_m"] > 0) & sites["static_level_m"].notna()
    level = sites["static_level_m"] + sites["drawdown_m"]
    stands &= level <= (glossary()["pumping_level_m"].high or np.inf)
    pumping = sites["pumping_level_m"].mask(stands, level)
    rows = sites.index[stands]
    new = pd.Series([show(one) for one in pumping[rows].tolist()], index=rows, dtype="str")
    rule = "pumping_level_from_drawdown"
    return pumping, findings_for(rows, sites["site_id"], "pumping_level_m", rule, "info", new=new, action="repaired")


def shown(sites: pd.DataFrame, rows: pd.Index, column: str) -> pd.Series:
    """Texts of a column's numbers on the given rows."""
    return pd.Series([show(one) for one in sites.loc[rows, column].tolist()], index=rows, dtype="str")


def contradictions(sites: pd.DataFrame, season_swing_m: float) -> tuple[pd.Series, list[Finding], list[pd.DataFrame]]:
    """Whether levels contradict each other so that the site is held; findings; the checks of every pair of levels.

    season_swing_m  fall of the rest level from wettest to driest month: so much a strike may lie above it
    """
    depth, static, pumping = sites["depth_m"], sites["static_level_m"], sites["pumping_level_m"]
    undeclared = static.where(sites["aquifer"] != "artesian")
    strike, intake = sites["main_strike_m"], sites["existing_intake_m"]
    free_strike = strike.where(sites["aquifer"] == "unconfined")
    deep_casing = sites["casing_mm"].where(depth > DEEP_WELL_M)
    findings: list[Finding] = []
    checks: list[pd.DataFrame] = []
    held = pd.Series(False, index=sites.index)
    rules: list[tuple[str, str, pd.Series, str, pd.Series | float, Severity, str]] = [
        ("static_below_depth", "static_level_m", static, "<", depth, "stop", "depth_m"),
        ("artesian_undeclared", "static_level_m", undeclared, ">=", 0.0, "stop", "ground"),
        ("pumping_above_static", "pumping_level_m", pumping, ">=", static, "warning", ""),
        ("no_drawdown", "pumping_level_m", pumping.where(pumping >= static), ">", static, "warning", ""),
        ("pumping_below_depth", "pumping_level_m", pumping, "<=", depth, "warning", ""),
        ("pumping_below_intake", "pumping_level_m", pumping, "<=", intake, "warning", ""),
        ("pumping_below_screen", "pumping_level_m", pumping, "<=", sites["screen_top_m"], "info", ""),
        ("static_below_intake", "static_level_m", static, "<", intake, "warning", ""),
        ("intake_below_depth", "existing_intake_m", intake, "<=", depth, "warning", ""),
        ("screen_below_depth", "screen_top_m", sites["screen_top_m"], "<=", depth, "warning", ""),
        ("strike_below_depth", "main_strike_m", strike, "<=", depth, "warning", ""),
        ("strike_above_static", "main_strike_m", strike, ">=", static - season_swing_m, "info", ""),
        ("strike_under_pressure", "main_strike_m", free_strike, "<=", static + season_swing_m, "info", ""),
        ("casing_wide", "casing_mm", deep_casing, "<=", WIDE_CASING_MM, "warning", ""),
        ("test_long", "test_hours", sites["test_hours"], "<=", LONG_TEST_H, "warning", ""),
    ]
    for rule, column, value, sign, limit, severity, subject in rules:
        testable = value.notna() if isinstance(limit, float) else value.notna() & limit.notna()
        if not testable.any():
            continue
        passed = _COMPARE[sign](value, limit)
        rows = sites.index[testable & ~passed]
        action: Action = "stopped" if severity == "stop" else "flagged"
        findings += findings_for(
            rows, sites["site_id"], column, rule, severity, old=shown(sites, rows, column), action=action
        )
        name = "level_conflict" if severity == "stop" else rule
        checks.append(
            rule_rows(
                sites.index[testable],
                name,
                passed,
                value=value,
                operator=sign,
                limit=limit,
                unit=glossary()[column].unit,
                subject=subject,
            )
        )
        if severity == "stop":
            held |= testable & ~passed
    return held, findings, checks


def derived(sites: pd.DataFrame) -> tuple[list[Finding], list[pd.DataFrame]]:
    """Stated drawdown and specific capacity against the levels' and the test's own, which are what is used."""
    own_drawdown = (sites["pumping_level_m"] - sites["static_level_m"]).where(lambda metres: metres > 0)
    findings: list[Finding] = []
    checks: list[pd.DataFrame] = []
    for column, own in (
        ("drawdown_m", own_drawdown),
        ("specific_capacity_m3_h_m", sites["tested_yield_m3_h"] / own_drawdown),
    ):
        stated = sites[column]
        testable = stated.notna() & own.notna()
        if not testable.any():
            continue
        passed = (stated - own).abs() <= DERIVED_SHARE * own + 1e-9
        rows = sites.index[testable & ~passed]
        used = pd.Series([f"{one:.3g}" for one in own[rows].tolist()], index=rows, dtype="str")
        findings += findings_for(
            rows,
            sites["site_id"],
            column,
            "derived_differs",
            "warning",
            old=shown(sites, rows, column),
            new=used,
        )
        checks.append(
            rule_rows(
                sites.index[testable],
                "derived_differs",
                passed,
                value=stated,
                operator="within",
                limit=own,
                unit=glossary()[column].unit,
                subject=column,
            )
        )
    return findings, checks
