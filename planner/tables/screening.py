"""Screening: is the position usable, do the levels agree, is the row a repeat, how good is the evidence."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.plan import LoadedPlan
from planner.tables.boundary import OUTSIDE_M, Boundary, read_boundary
from planner.tables.cells.read import findings_for
from planner.tables.grade import explained, grades, rough_yields
from planner.tables.levels import contradictions, derived
from planner.tables.positions.read import SHARED_BY, repeated_findings, shared_positions
from planner.tables.step import Finding, Step, join_checks, rule_rows
from planner.tables.visits import visits_of

READS: tuple[str, ...] = (
    "site_id",
    "site_name",
    "sub_district",
    "latitude",
    "longitude",
    "row_kind",
    "depth_m",
    "casing_mm",
    "static_level_m",
    "tested_yield_m3_h",
    "pumping_level_m",
    "test_hours",
    "test_date",
    "test_kind",
    "screen_top_m",
    "main_strike_m",
    "aquifer",
    "drawdown_m",
    "specific_capacity_m3_h_m",
    "existing_intake_m",
    "sand_mg_l",
    "fluoride_mg_l",
    "arsenic_mg_l",
    "nitrate_mg_l",
    "people",
    "demand_m3_day",
    "status",
    "equipped_with",
    "existing_pump_id",
    "existing_array_wp",
)
WRITES: tuple[str, ...] = (
    "position_status",
    "boundary_distance_m",
    "area_name",
    "sub_district_used",
    "duplicate_of",
    "visits",
    "evidence_grade",
    "evidence_reasons",
    "evidence_raise",
    "level_conflict",
)

# Guideline values: WHO 2022, Guidelines for drinking-water quality, 4th edition with the 1st and 2nd addenda,
# table A3.3 (nitrate as the ion).
QUALITY_LIMITS_MG_L = {"arsenic": 0.01, "fluoride": 1.5, "nitrate": 50.0}


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Screen every row; rows that are no site get no position and grade D, and only their own check.

    Raises AreaError where the plan's boundary cannot be used.
    """
    boundary, findings = read_boundary(plan)
    is_site = sites["row_kind"] == "site"
    columns = _positions(sites, is_site, boundary)
    columns["sub_district_used"] = sites["sub_district"].mask(
        is_site & (sites["sub_district"] == ""), columns["area_name"]
    )
    usable = columns["position_status"].isin(["ok", "outside"])
    columns["evidence_grade"] = grades(sites)
    columns[["evidence_reasons", "evidence_raise"]] = explained(sites, columns["evidence_grade"])
    columns["level_conflict"], level_findings, level_checks = contradictions(sites, plan.plan.well.season_swing_m)
    visits, visit_findings, visit_checks = visits_of(
        sites[list(READS)], usable, columns["evidence_grade"], columns["level_conflict"]
    )
    columns[["duplicate_of", "visits"]] = visits
    derived_findings, derived_checks = derived(sites)
    findings += _position_findings(sites, is_site, columns, boundary) + visit_findings + level_findings
    findings += derived_findings + rough_yields(sites)
    checks = join_checks([_checks(sites, is_site, columns), *visit_checks, *level_checks, *derived_checks])
    return Step(columns[list(WRITES)], sorted(findings, key=lambda finding: finding.row), checks)


def _positions(sites: pd.DataFrame, is_site: pd.Series, boundary: Boundary | None) -> pd.DataFrame:
    """position_status, boundary_distance_m and area_name."""
    columns = pd.DataFrame(index=sites.index)
    known = is_site & sites["latitude"].notna() & sites["longitude"].notna()
    placed = sites[known]
    distance = pd.Series(np.nan, index=sites.index)
    name = pd.Series("", index=sites.index, dtype="str")
    if boundary is not None and len(placed):
        points = boundary.points(placed["latitude"].to_numpy(), placed["longitude"].to_numpy())
        nearest, away = boundary.nearest(points)
        distance[known] = away
        name[known] = np.array(boundary.names, dtype=object)[nearest]
    placeholder = _placeholders(sites, known, distance == 0)
    outside = known & (distance > OUTSIDE_M)
    status = pd.Series("missing", index=sites.index, dtype="str")
    status = status.mask(known, "ok").mask(outside, "outside").mask(placeholder, "placeholder")
    columns["position_status"] = status
    columns["boundary_distance_m"] = distance
    columns["area_name"] = name.where(status == "ok", "")
    return columns


def _placeholders(sites: pd.DataFrame, known: pd.Series, inside: pd.Series) -> pd.Series:
    """Positions that stand for none: at (0, 0), a nought outside the area, one coordinate for many sites."""
    size = pd.DataFrame({name: sites[name].abs() for name in ("latitude", "longitude")})
    origin = (size < 0.01).all(axis=1)
    nought = (size < 1e-6).any(axis=1) & ~inside
    shared = shared_positions(sites, known) >= SHARED_BY
    return (origin | nought | shared) & known


def _position_findings(
    sites: pd.DataFrame, is_site: pd.Series, columns: pd.DataFrame, boundary: Boundary | None
) -> list[Finding]:
    status, site_id = columns["position_status"], sites["site_id"]
    written = _pair(sites["latitude"], sites["longitude"])
    findings = repeated_findings(sites, is_site)
    for word, rule in (
        ("missing", "position_missing"),
        ("placeholder", "position_placeholder"),
        ("outside", "outside_area"),
    ):
        rows = sites.index[is_site & (status == word)]
        findings += findings_for(rows, site_id, "latitude", rule, "stop", old=written, action="stopped")
    filled = is_site & (sites["sub_district"] == "") & (columns["area_name"] != "")
    findings += findings_for(
        sites.index[filled],
        site_id,
        "sub_district",
        "sub_district_from_area",
        "info",
        new=columns["area_name"],
        action="repaired",
    )
    if boundary is not None:
        swapped = _swapped(sites[status == "outside"], boundary)
        findings += findings_for(
            swapped,
            site_id,
            "latitude",
            "swapped_coordinates",
            "stop",
            old=written,
            new=_pair(sites["longitude"], sites["latitude"]),
            action="stopped",
        )
    return findings


def _swapped(outside: pd.DataFrame, boundary: Boundary) -> pd.Index:
    """Rows outside the area that lie in it with latitude and longitude exchanged: shown, never repaired."""
    possible = outside[outside["longitude"].abs() <= 90]
    points = boundary.points(possible["longitude"].to_numpy(), possible["latitude"].to_numpy())
    return possible.index[boundary.containing(points) >= 0]


def _pair(first: pd.Series, second: pd.Series) -> pd.Series:
    both = first.notna() & second.notna()
    texts = [f"{a:.9g}, {b:.9g}" for a, b in zip(first[both].tolist(), second[both].tolist(), strict=True)]
    return pd.Series(texts, index=first.index[both], dtype="str").reindex(first.index, fill_value="")


def _checks(sites: pd.DataFrame, is_site: pd.Series, columns: pd.DataFrame) -> pd.DataFrame:
    """Every rule on every row that it can be tested on; a row that is no site has only its own."""
    status, equipped = sites["status"], sites["equipped_with"]
    place, distance = columns["position_status"], columns["boundary_distance_m"]
    grade = columns["evidence_grade"]
    every = pd.Series(True, index=sites.index)
    no_set = (sites["existing_pump_id"] == "") | sites["existing_array_wp"].isna()
    measured = sites[[f"{name}_mg_l" for name in QUALITY_LIMITS_MG_L]].notna().sum(axis=1)

    def rows(testable: pd.Series) -> pd.Index:
        return sites.index[is_site & testable]

    kind = sites["row_kind"]
    checks = [
        rule_rows(sites.index[is_site | (kind == word)], f"{word}_row", kind != word, subject=kind)
        for word in ("blank", "total")
    ]
    checks += [
        rule_rows(rows(every), "position_missing", place != "missing", subject=place),
        rule_rows(rows(place != "missing"), "position_placeholder", place != "placeholder", subject=place),
        rule_rows(
            rows(place.isin(["ok", "outside"]) & distance.notna()),
            "outside_area",
            distance <= OUTSIDE_M,
            value=distance,
            operator="<=",
            limit=OUTSIDE_M,
            unit="m",
        ),
        rule_rows(rows(status != "unknown"), "status_dry", status != "dry", subject=status),
        rule_rows(rows(status != "unknown"), "status_abandoned", status != "abandoned", subject=status),
        rule_rows(rows(equipped != "unknown"), "already_grid", equipped != "grid", subject=equipped),
        rule_rows(
            rows(equipped != "unknown"),
            "solar_unspecified",
            ~((equipped == "solar") & no_set),
            subject=equipped,
        ),
        *(
            rule_rows(
                rows(sites[f"{name}_mg_l"].notna()),
                f"{name}_above_limit",
                sites[f"{name}_mg_l"] <= limit,
                value=sites[f"{name}_mg_l"],
                operator="<=",
                limit=limit,
                unit="mg/L",
            )
            for name, limit in QUALITY_LIMITS_MG_L.items()
        ),
        rule_rows(rows(every), "quality_untested", measured == 3, value=measured, operator=">=", limit=3.0, unit="-"),
        rule_rows(rows(every), "grade_below_a", grade == "A", subject=grade),
    ]
    return join_checks(checks)
