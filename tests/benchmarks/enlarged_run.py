"""A finished run enlarged to any number of sites: rows drawn anew with other names, places and numbers; seeded.

Shares of decisions, missing values, reasons, findings, ranges and switch texts are those of the run; every number with
a fraction is moved by some per cent, so that nothing repeats that would not repeat in a large inventory.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

SEED = 41
FIRST = ("Lu", "Mwa", "Te", "Oru", "Ki", "Sha", "Ndo", "Bala", "Ére", "Ghi", "Vo", "Zan", "Pem", "Uru", "Isa", "Chi")
MIDDLE = ("mbo", "reni", "tala", "keso", "vu", "ngali", "dara", "po", "shwe", "lim", "gué", "hota")
LAST = ("", "", "", " School", " Market", " Dispensary", " Upper", " Lower", " 2", " Mission")
AS_THEY_ARE = ("probability", "coverage", "reliability", "share")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Enlarged:
    """What map_page takes, of `count` sites."""

    sites: pd.DataFrame
    checks: pd.DataFrame
    findings: list[dict[str, Any]]
    run: dict[str, Any]


def enlarge(folder: Path, count: int) -> Enlarged:
    """folder: results of a run with sites.parquet, checks.parquet, findings.csv and run.json."""
    random = np.random.default_rng(SEED)
    base = pd.read_parquet(folder / "sites.parquet").reset_index()
    base = base.astype({"inventory_row": "int64"})
    chosen = random.integers(0, len(base), count)
    sites = _sites(base, chosen, random).copy()  # in one piece
    checks = pd.read_parquet(folder / "checks.parquet")
    found = pd.read_csv(folder / "findings.csv", dtype=str, keep_default_na=False)
    rows = base["inventory_row"].to_numpy()[chosen]
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    return Enlarged(sites, _checks(checks, rows, random), _findings(found, rows, random), _run(record, sites))


def _sites(base: pd.DataFrame, chosen: np.ndarray, random: np.random.Generator) -> pd.DataFrame:
    count = len(chosen)
    sites = base.iloc[chosen].reset_index(drop=True)
    moved: dict[str, Any] = {}
    together = {prefix: np.exp(random.normal(0, 0.15, count)) for prefix in ("cost", "volume", "design", "other")}
    for name in sites.select_dtypes("number"):
        values = sites[name].to_numpy(dtype="float64", na_value=np.nan)
        known = values[np.isfinite(values)]
        whole = not (known % 1).any()
        if (
            name == "inventory_row"
            or (whole and len(np.unique(known)) < 100)
            or any(part in name for part in AS_THEY_ARE)
        ):
            continue
        prefix = next((one for one in together if name.startswith(one)), "other")
        values = values * together[prefix] * np.exp(random.normal(0, 0.01, count))
        moved[name] = np.round(values) if whole else values
    sites = sites.assign(**moved)
    sites["latitude"] = base["latitude"].to_numpy()[chosen] + random.normal(0, 0.03, count)
    sites["longitude"] = base["longitude"].to_numpy()[chosen] + random.normal(0, 0.03, count)
    sites["budget_steps_mask"] = base["budget_steps_mask"].to_numpy()[chosen]
    sites["inventory_row"] = np.arange(1, count + 1)
    sites["site_id"] = [f"{place:03d}-{row:06d}" for row, place in enumerate(random.integers(0, 60, count), 1)]
    names = [random.choice(part, count) for part in (FIRST, MIDDLE, MIDDLE, LAST)]
    sites["site_name"] = ["".join(parts) for parts in zip(*names, strict=True)]
    sites["switch_text"] = _other_numbers(sites["switch_text"], random)
    for rank, by in (("rank", "cost_per_m3"), ("test_rank", "test_value")):
        ranked = sites[rank].notna()
        sites[rank] = sites[by].where(ranked).rank(method="first", ascending=by == "cost_per_m3")
    for rank, share in (("rank_p10", 0.8), ("rank_p90", 1.3)):
        sites[rank] = np.round(sites["rank"].astype("float64") * share * np.exp(random.normal(0, 0.1, count)))
    return sites.set_index("inventory_row")


def _checks(checks: pd.DataFrame, rows: np.ndarray, random: np.random.Generator) -> pd.DataFrame:
    places = checks.groupby("inventory_row").indices
    parts = [places.get(row, np.empty(0, dtype="int64")) for row in rows]
    drawn = checks.iloc[np.concatenate(parts)].reset_index(drop=True)
    value = drawn["value"].to_numpy(dtype="float64")
    moved = np.where(value % 1 != 0, value * np.exp(random.normal(0, 0.1, len(value))), value)
    return drawn.assign(
        inventory_row=np.repeat(np.arange(1, len(rows) + 1), [len(part) for part in parts]), value=moved
    )


def _findings(found: pd.DataFrame, rows: np.ndarray, random: np.random.Generator) -> list[dict[str, Any]]:
    found = found.assign(row=pd.to_numeric(found["row"]).fillna(0).astype("int64"))
    places = found.groupby("row").indices
    parts = [places.get(row, np.empty(0, dtype="int64")) for row in rows]
    drawn = pd.concat([found[found["row"] == 0], found.iloc[np.concatenate(parts)]], ignore_index=True)
    drawn["row"] = np.concatenate(
        [
            np.zeros(len(drawn) - sum(map(len, parts)), "int64"),
            np.repeat(np.arange(1, len(rows) + 1), list(map(len, parts))),
        ]
    )
    for name in ("old_value", "new_value"):
        drawn[name] = _other_numbers(drawn[name], random)
    names = ["row", "column", "rule", "severity", "old_value", "new_value", "action"]
    return [dict(zip(names, values, strict=True)) for values in drawn[names].itertuples(index=False)]


def _other_numbers(texts: pd.Series, random: np.random.Generator) -> list[str]:
    """The texts with their first number moved, at most three digits as in sentences."""
    factor = np.exp(random.normal(0, 0.3, len(texts)))
    return [
        NUMBER.sub(lambda found, by=by: f"{float(f'{float(found[0]) * by:.3g}'):g}", str(text or ""), count=1)
        for text, by in zip(texts, factor, strict=True)
    ]


def _run(record: dict[str, Any], sites: pd.DataFrame) -> dict[str, Any]:
    return {
        "programme": "Enlarged demo",
        "currency": "USD",
        "price_year": 2026,
        "run_id": record["run_id"],
        "date": "2026-01-01",
        "version": record["version"],
        "counts": sites["decision"].value_counts().to_dict(),
        "plan": record["plan"],
        "defaults_used": record["defaults_used"],
        "without_effect": {},
        "cautions": ["Planning grade: buy nothing before a pumping test and a water quality test of the site."],
        "notes": ["The run of the demo, enlarged."],
        "budget": [],  # run.json has its lines in English only
        "budget_steps": record.get("budget_steps", []),
    }
