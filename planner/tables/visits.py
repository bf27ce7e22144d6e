"""Several rows of one well: one is kept for sizing, the others are held with their data; what they disagree on.

Nothing of a row that is not kept is put into the kept one. That another visit has what the kept row lacks, and how
far the visits differ, are findings.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.tables.cells.read import findings_for, show
from planner.tables.duplicates import Matches, geocentric, id_keys, match, near_neighbours
from planner.tables.step import Finding, rule_rows

# Our own rules. Columns of a visit that are compared: they differ by more than so much, and by more than so great
# a share. Rest levels fall by metres within a year.
TOLERANCE: dict[str, tuple[float, float]] = {
    "depth_m": (2.0, 0.05),
    "casing_mm": (10.0, 0.10),
    "screen_top_m": (2.0, 0.05),
    "static_level_m": (3.0, 0.0),
    "tested_yield_m3_h": (0.2, 0.25),
    "pumping_level_m": (3.0, 0.0),
}
OTHERS_HAVE = (*TOLERANCE, "people", "demand_m3_day", "fluoride_mg_l", "arsenic_mg_l", "nitrate_mg_l", "sand_mg_l")
CONFLICT_M = 1000.0  # beyond this two rows of one identifier are two wells, one of them misnamed
ENDED = ("dry", "abandoned")


def visits_of(
    sites: pd.DataFrame, usable: pd.Series, grade: pd.Series, held: pd.Series
) -> tuple[pd.DataFrame, list[Finding], list[pd.DataFrame]]:
    """duplicate_of and visits, with findings and checks.

    sites   the inventory's columns
    usable  rows with a position that can be one
    grade   evidence grade of each row, by its own values
    held    rows whose levels contradict each other
    """
    placed = sites[usable]
    matches = match(placed)
    kept = kept_rows(placed, matches.cluster, grade[usable], held[usable])
    away = kept[kept != kept.index]
    columns = pd.DataFrame(index=sites.index)
    columns["duplicate_of"] = away.astype("float64").reindex(sites.index)
    rows_of_well = kept.groupby(kept).transform("size")
    columns["visits"] = rows_of_well.reindex(sites.index, fill_value=1).where(sites["row_kind"] == "site", 0)
    columns["visits"] = columns["visits"].astype("int64")

    series = placed[kept.duplicated(keep=False)]
    series = series.assign(kept=kept.loc[series.index])
    findings, checks = _told_apart(sites, usable, series)
    findings += _neighbours(placed, matches, kept) + _same_ids(sites, columns["duplicate_of"])
    findings += _differences(series) + _others_have(series)
    return columns, findings, checks


def kept_rows(rows: pd.DataFrame, cluster: pd.Series, grade: pd.Series, held: pd.Series) -> pd.Series:
    """The row kept of each row's cluster: levels without contradiction, best grade, latest test, fullest, first."""
    known = rows.select_dtypes("float64").notna().sum(axis=1)
    order = pd.DataFrame({"cluster": cluster, "held": held, "grade": grade, "date": rows["test_date"], "known": known})
    order["row"] = rows.index
    shared = order[order["cluster"].duplicated(keep=False)]
    upwards = [True, True, True, False, False, True]
    shared = shared.sort_values(["cluster", "held", "grade", "date", "known", "row"], ascending=upwards)
    kept = order["row"].copy()
    kept.loc[shared.index] = shared.groupby("cluster")["row"].transform("first")
    return kept


def _told_apart(
    sites: pd.DataFrame, usable: pd.Series, series: pd.DataFrame
) -> tuple[list[Finding], list[pd.DataFrame]]:
    """Duplicates, which repeat a visit, and repeat visits, which have a test of another date; both are held."""
    away = series[series["kept"] != series.index]
    own, kept_date = away["test_date"], series["test_date"].reindex(away["kept"]).set_axis(away.index)
    visited = pd.Series(
        [_another_date(a, b) for a, b in zip(own.tolist(), kept_date.tolist(), strict=True)],
        index=away.index,
        dtype="bool",
    )
    findings: list[Finding] = []
    checks = []
    for rule, rows in (("duplicate", away.index[~visited]), ("repeat_visit", away.index[visited])):
        findings += findings_for(
            rows,
            sites["site_id"],
            "site_id",
            rule,
            "stop",
            old=sites["site_id"],
            new=row_text(away["kept"].loc[rows]),
            action="stopped",
        )
        tested = sites.index[usable] if rule == "duplicate" else series.index
        number = away["kept"].loc[rows].astype("float64").reindex(sites.index)
        checks.append(rule_rows(tested, rule, number.isna(), value=number))
    checks.append(_ended(series))
    return findings, checks


def _another_date(date: str, other: str) -> bool:
    """Whether two dates of any precision, "" for none, are surely two days."""
    shorter = min(len(date), len(other))
    return shorter > 0 and date[:shorter] != other[:shorter]


def _ended(series: pd.DataFrame) -> pd.DataFrame:
    """A kept row fails where a visit that is not surely older says that the well is dry or abandoned."""
    kept = series[series["kept"] == series.index]
    away = series[(series["kept"] != series.index) & series["status"].isin(ENDED)]
    date = kept["test_date"].reindex(away["kept"]).tolist()
    later = [
        not own or own >= theirs[: len(own)] or not theirs
        for own, theirs in zip(away["test_date"].tolist(), date, strict=True)
    ]
    word = away[np.array(later, dtype=bool)].drop_duplicates("kept").set_index("kept")["status"]
    says = word.reindex(kept.index)
    ended = says.notna() & ~kept["status"].isin(ENDED)
    return rule_rows(kept.index, "other_visit_ended", ~ended, subject=says.where(ended, ""))


def _neighbours(placed: pd.DataFrame, matches: Matches, kept: pd.Series) -> list[Finding]:
    """Candidates that stay two, with their score, and wells of other names that stand very near."""
    found = matches.candidates
    both = pd.concat([found, found.rename(columns={"row": "other", "other": "row"})])
    both = both.assign(row=kept.loc[both["row"]].to_numpy(), other=kept.loc[both["other"]].to_numpy())
    both = both.sort_values(["row", "score", "other"], ascending=[True, False, True])
    best = both.drop_duplicates("row").set_index("row")
    words = pd.Series(
        [
            f"row {other:.0f}, score {score:.2f}, {distance:.0f} m"
            for other, score, distance in best[["other", "score", "distance_m"]].itertuples(index=False, name=None)
        ],
        index=best.index,
        dtype="str",
    )
    site_id = placed["site_id"]
    findings = findings_for(best.index, site_id, "site_id", "duplicate_candidate", "warning", old=site_id, new=words)
    alone = placed.index[kept == kept.index]
    near = near_neighbours(placed.loc[alone], matches.cluster.loc[alone]).drop(best.index, errors="ignore")
    return findings + findings_for(near.index, site_id, "latitude", "near_neighbour", "info", new=row_text(near))


def _same_ids(sites: pd.DataFrame, duplicate_of: pd.Series) -> list[Finding]:
    """One identifier on rows that are not one well: a conflict where they lie more than 1 km apart."""
    is_site, site_id = sites["row_kind"] == "site", sites["site_id"]
    named = site_id[is_site & duplicate_of.isna() & (site_id != "")]
    named = named[named.duplicated(keep=False)]
    distinct = pd.Series(named.unique(), dtype="str")
    named = named[named.isin(distinct[id_keys(distinct) != ""])]
    same_id = named.index.to_series().groupby(named)
    first, last = same_id.transform("min"), same_id.transform("max")
    to_first, to_last = _apart_m(sites, named.index, first), _apart_m(sites, named.index, last)
    another = first.mask((first == first.index) | (to_last > to_first), last)
    far = np.fmax(to_first, to_last) > CONFLICT_M
    findings = []
    for rule, which in (("repeated_id", ~far), ("id_conflict", far)):
        rows = named.index[which]
        findings += findings_for(
            rows, site_id, "site_id", rule, "warning", old=site_id, new=row_text(another.loc[rows])
        )
    return findings


def _apart_m(sites: pd.DataFrame, rows: pd.Index, others: pd.Series) -> np.ndarray:
    """Straight distance of each row to its other; NaN where a position is missing."""
    place = sites.loc[rows, ["latitude", "longitude"]]
    there = sites.loc[others, ["latitude", "longitude"]]
    known = (place.notna().all(axis=1).to_numpy()) & (there.notna().all(axis=1).to_numpy())
    metres = np.full(len(rows), np.nan)
    if known.any():
        metres[known] = np.linalg.norm(geocentric(place[known]) - geocentric(there[known]), axis=1)
    return metres


def _differences(series: pd.DataFrame) -> list[Finding]:
    """On the kept row, for each column in which the visits of a well disagree: its own value and the range."""
    findings: list[Finding] = []
    site_id = series["site_id"]
    for name, (metres, share) in TOLERANCE.items():
        ends = series.groupby("kept")[name].agg(["min", "max"])
        gap = ends["max"] - ends["min"]
        ends = ends[(gap > metres) & (gap > share * ends["max"])]
        own = pd.Series([show(one) for one in series.loc[ends.index, name].tolist()], index=ends.index, dtype="str")
        ranges = [f"{show(low)} to {show(high)}" for low, high in ends.itertuples(index=False, name=None)]
        said = pd.Series(ranges, index=ends.index, dtype="str")
        findings += findings_for(ends.index, site_id, name, "visits_differ", "warning", old=own, new=said)
    stated = series.loc[series["status"] != "unknown", ["kept", "status"]].drop_duplicates()
    stated = stated[stated["kept"].duplicated(keep=False)].sort_values(["kept", "status"])
    both = stated.groupby("kept")["status"].agg(", ".join).astype("str")
    return findings + findings_for(
        both.index, site_id, "status", "visits_differ", "warning", old=series["status"], new=both
    )


def _others_have(series: pd.DataFrame) -> list[Finding]:
    """On the kept row, for each column that it lacks and another visit has: that value, which is not used."""
    findings: list[Finding] = []
    latest = series.sort_values("test_date", ascending=False, kind="stable")
    for name in OTHERS_HAVE:
        missing = series.index[(series["kept"] == series.index) & series[name].isna()]
        given = latest[latest[name].notna() & latest["kept"].isin(missing)].drop_duplicates("kept")
        words = [f"{show(value)} in row {row}" for row, value in zip(given.index, given[name].tolist(), strict=True)]
        said = pd.Series(words, index=pd.Index(given["kept"]), dtype="str")
        findings += findings_for(said.index, series["site_id"], name, "other_visit_has", "info", new=said)
    return findings


def row_text(rows: pd.Series) -> pd.Series:
    """Texts such as `row 12` of inventory rows."""
    return "row " + rows.astype("int64").astype("str")
