"""Screening: is the position usable, do the levels agree, is the row a repeat, how good is the evidence."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.plan import LoadedPlan
from planner.tables.boundary import OUTSIDE_M, Boundary, read_boundary
from planner.tables.cells import findings_for, show
from planner.tables.duplicates import clusters, kept_rows, near_neighbours
from planner.tables.positions import SHARED_BY, repeated_findings, shared_positions
from planner.tables.step import Finding, Step, rule_rows

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
    "evidence_grade",
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
    columns["duplicate_of"], duplicate_findings = _duplicates(sites, usable, is_site)
    columns["evidence_grade"] = _grades(sites)
    columns["level_conflict"], level_findings = _levels(sites)
    findings += _position_findings(sites, is_site, columns, boundary) + duplicate_findings + level_findings
    checks = _checks(sites, is_site, columns)
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


def _duplicates(sites: pd.DataFrame, usable: pd.Series, is_site: pd.Series) -> tuple[pd.Series, list[Finding]]:
    """The kept row of every row that is not kept, and findings about neighbours and repeated identifiers."""
    placed = sites.loc[usable, list(READS)]
    cluster = clusters(placed)
    evidence = placed.select_dtypes("float64").notna().sum(axis=1)
    kept = kept_rows(cluster, placed["test_date"], evidence)
    away = kept[kept != kept.index]
    duplicate_of = away.astype("float64").reindex(sites.index)
    site_id = sites["site_id"]
    kept_row = _row_text(away)
    findings = findings_for(
        away.index, site_id, "site_id", "duplicate", "stop", old=site_id, new=kept_row, action="stopped"
    )
    alone = placed.index.difference(away.index)
    near = near_neighbours(placed.loc[alone], cluster.loc[alone])
    findings += findings_for(near.index, site_id, "latitude", "near_neighbour", "info", new=_row_text(near))

    named = site_id[is_site & (site_id != "") & duplicate_of.isna()]
    named = named[named.duplicated(keep=False)]
    same_id = named.index.to_series().groupby(named)
    first, last = same_id.transform("min"), same_id.transform("max")
    another = _row_text(first.where(first != first.index, last))
    findings += findings_for(named.index, site_id, "site_id", "repeated_id", "warning", old=site_id, new=another)
    return duplicate_of, findings


def _row_text(rows: pd.Series) -> pd.Series:
    return "row " + rows.astype("int64").astype("str")


def _grades(sites: pd.DataFrame) -> pd.Series:
    """A: yield and drawdown, not by airlift or bailer. B: yield and rest level. C: one of them. D: neither.

    A pumping level that is not below the rest level shows no drawdown.
    """
    has_yield, has_level = sites["tested_yield_m3_h"].notna(), sites["static_level_m"].notna()
    drawn_down = sites["pumping_level_m"] > sites["static_level_m"]
    tested = drawn_down & ~sites["test_kind"].isin(["airlift", "bailer"])
    grade = pd.Series("D", index=sites.index, dtype="str")
    grade = grade.mask(has_yield | has_level, "C")
    return grade.mask(has_yield & has_level, "B").mask(has_yield & has_level & tested, "A")


def _levels(sites: pd.DataFrame) -> tuple[pd.Series, list[Finding]]:
    """level_conflict, and a finding for every pair of levels that cannot both be right."""
    depth, static = sites["depth_m"], sites["static_level_m"]
    pumping, screen = sites["pumping_level_m"], sites["screen_top_m"]
    below, artesian = static >= depth, static < 0
    findings = []
    for column, rule, where, stop in (
        ("static_level_m", "static_below_depth", below, True),
        ("static_level_m", "artesian_undeclared", artesian, True),
        ("pumping_level_m", "pumping_above_static", pumping < static, False),
        ("pumping_level_m", "no_drawdown", pumping == static, False),
        ("pumping_level_m", "pumping_below_depth", pumping > depth, False),
        ("screen_top_m", "screen_below_depth", screen > depth, False),
    ):
        rows = sites.index[where]
        old = pd.Series([show(one) for one in sites.loc[rows, column].tolist()], index=rows, dtype="str")
        findings += findings_for(
            rows,
            sites["site_id"],
            column,
            rule,
            "stop" if stop else "warning",
            old=old,
            action="stopped" if stop else "flagged",
        )
    return below | artesian, findings


def _checks(sites: pd.DataFrame, is_site: pd.Series, columns: pd.DataFrame) -> pd.DataFrame:
    """Every rule on every row that it can be tested on; a row that is no site has only its own."""
    status, equipped = sites["status"], sites["equipped_with"]
    place, distance = columns["position_status"], columns["boundary_distance_m"]
    static, depth = sites["static_level_m"], sites["depth_m"]
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
        rule_rows(
            rows(static.notna() & depth.notna()),
            "level_conflict",
            static < depth,
            value=static,
            operator="<",
            limit=depth,
            unit="m",
            subject="depth_m",
        ),
        rule_rows(
            rows(static.notna()),
            "level_conflict",
            static >= 0,
            value=static,
            operator=">=",
            limit=0.0,
            unit="m",
            subject="ground",
        ),
        rule_rows(
            rows(place.isin(["ok", "outside"])),
            "duplicate",
            columns["duplicate_of"].isna(),
            value=columns["duplicate_of"],
        ),
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
    return pd.concat(checks, ignore_index=True)
