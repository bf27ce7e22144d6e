"""The comparison of two runs in words: what to know first, what differs in the plans, totals, and who moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planner.choice.moves import DECISIONS, site_labels
from planner.commands.compare.matching import FAR_M, Pairs
from planner.commands.compare.opened import Run
from planner.errors import printable
from planner.plan import Change
from planner.texts import Listed

SIDES = ("old", "new")
TOLD = 40  # sites with their reasons; --out has all
KEYS = 60  # changed keys of the plan


@dataclass(frozen=True)
class Compared:
    """Two runs, their pairs, and what moves between them; names and moved by the index of pairs.table."""

    old: Run
    new: Run
    pairs: Pairs
    names: pd.DataFrame
    moved: pd.DataFrame
    changes: tuple[Change, ...]
    same_money: bool
    totals: tuple[dict[str, Any], dict[str, Any]]
    summary: dict[str, Any]


def report(found: Compared) -> str:
    """The whole report; foreign text in it cannot steer a terminal."""
    lines = [
        *_heads(found),
        *_first(found),
        *_rows(found),
        *_plans(found),
        *_sums(found),
        *_lists(found),
        *_moves(found),
    ]
    return "".join(f"{one_line(line)}\n" for line in lines)


def one_line(text: str) -> str:
    """Foreign text without anything that steers a terminal or breaks the line."""
    return printable(text).replace("\n", "\\n")


def _heads(found: Compared) -> Iterator[str]:
    for word, run in zip(SIDES, (found.old, found.new), strict=True):
        record = run.record
        money = f"{record['currency']} of {record['price_year']}"
        yield f"{word}  {run.folder}  run {record['run_id']}  {record['programme']}, {money}, {len(run.sites)} rows"


def _first(found: Compared) -> Iterator[str]:
    """What bears on how far the two can be compared."""
    old, new = found.old.record, found.new.record
    if old["run_id"] == new["run_id"]:
        yield "Both are the same run: same plan, inputs, catalogue and version."
    if old["programme"] != new["programme"]:
        yield f"Read first: two programmes, {old['programme']!r} and {new['programme']!r}."
    if old["version"] != new["version"]:
        yield f"Read first: versions {old['version']} and {new['version']} of the program; its rules may differ."
    if not found.same_money:
        money = [f"{record['currency']} of {record['price_year']}" for record in (old, new)]
        yield f"Read first: {' and '.join(money)} are not the same money: costs stand side by side, not compared."
    if old["catalogue"] != new["catalogue"]:
        yield "Read first: the tables of equipment or prices, or the keys that act on them, differ."
    if any(change.key in {"programme.horizon_years", "programme.discount_rate"} for change in found.changes):
        yield "Read first: costs of water are counted over other years or at another rate."
    budgets = [run["plan"].get("programme", {}).get("budget") for run in (old, new)]
    if (budgets[0] is None) != (budgets[1] is None):
        yield "Read first: only one of the two has a budget; all its funded sites count as moved."
    for word, run in zip(SIDES, (found.old, found.new), strict=True):
        if run.edited:
            yield f"Read first: {', '.join(run.edited)} of the {word} run was changed since the run wrote it."
        if run.checks is None:
            yield f"Read first: the {word} run has no checks.parquet; reasons are told by their codes, without numbers."
    inputs = {**old["inputs"], **new["inputs"]}
    other = [key for key in inputs if _digest(old, key) != _digest(new, key)]
    if other:
        yield f"Files that differ: {', '.join(other)}."


def _digest(record: dict[str, Any], key: str) -> Any:
    one = record["inputs"].get(key)
    return one.get("sha256") if isinstance(one, dict) else None


def _rows(found: Compared) -> Iterator[str]:
    pairs = found.pairs
    how = pairs.table["how"].value_counts()
    words = {"row": "by row", "site_id": "by site id", "position": "by position"}
    parts = ", ".join(f"{how[key]} {told}" for key, told in words.items() if key in how)
    yield f"Rows: {len(pairs.table)} paired{f' ({parts})' if parts else ''}."
    for word, run, only, unsure in (
        ("old", found.old, pairs.only_old, pairs.ambiguous_old),
        ("new", found.new, pairs.only_new, pairs.ambiguous_new),
    ):
        if len(only):
            yield f"Only in the {word} run: {len(only)}: {_names(run.sites, only)}."
        if len(unsure):
            yield f"Ambiguous in the {word} run, not compared: {len(unsure)}: {_names(run.sites, unsure)}."
    far = pairs.table.index[pairs.table["apart_m"] > FAR_M]
    if len(far):
        names = _names(found.names, far)
        yield f"Read first: {len(far)} paired sites lie more than 1 km apart in the two runs: {names}."


def _plans(found: Compared) -> Iterator[str]:
    if not found.changes:
        yield "Plans: no key differs."
        return
    yield f"Plans: {len(found.changes)} keys differ:"
    yield from (f"  {change}" for change in found.changes[:KEYS])
    if len(found.changes) > KEYS:
        yield f"  and {len(found.changes) - KEYS} more"


def _sums(found: Compared) -> Iterator[str]:
    old, new = found.totals
    yield f"{'All rows of each run':36}{'old':>14}{'new':>14}{'change':>14}"
    money = [run.record["currency"] for run in (found.old, found.new)]
    for key in (*DECISIONS, "ranked", "funded", "reserve"):
        yield _sum_line(key, old[key], new[key], ".0f")
    for word in ("equip", "funded"):
        if word == "funded" and not (old["funded"] or new["funded"]):
            continue
        unit = money[0] if money[0] == money[1] else f"{money[0]}, {money[1]}"
        yield _sum_line(f"{word}: capital, {unit}", *_two(found, f"{word}_capital_cost"), ".0f", found.same_money)
        yield _sum_line(f"{word}: people served", *_two(found, f"{word}_people_served"), ".0f")
        yield _sum_line(f"{word}: water used, m3/d", *_two(found, f"{word}_volume_used_m3_day"), ".0f")
    yield _sum_line("equip: median cost per m3", *_two(found, "cost_per_m3_median"), ".3g", found.same_money)
    change = found.summary["cost_change_median"]
    if found.same_money and change is not None:
        sites = found.summary["cost_compared"]
        yield f"Cost of water, sites with a design in both ({sites}): median {round(change, 4) + 0.0:+.2%}."


def _two(found: Compared, key: str) -> tuple[Any, Any]:
    return found.totals[0][key], found.totals[1][key]


def _sum_line(words: str, old: Any, new: Any, style: str, comparable: bool = True) -> str:
    known = old is not None and new is not None
    texts = ["-" if one is None else format(one, style) for one in (old, new)]
    change = "" if not known or not comparable else format(new - old + 0.0, f"+{style}") if new != old else "0"
    return f"  {words:34}{texts[0]:>14}{texts[1]:>14}{change:>14}"


def _lists(found: Compared) -> Iterator[str]:
    for key, words in (
        ("into_funded", "Into funding"),
        ("out_of_funded", "Out of funding"),
        ("into_equip", "Into equip"),
        ("out_of_equip", "Out of equip"),
    ):
        rows = found.summary[key]
        if rows:
            yield f"{words} ({len(rows)}): {_names(found.names, rows)}."


def _moves(found: Compared) -> Iterator[str]:
    moved = found.moved
    if not len(moved):
        yield "Nothing moved: decision, funding, pump and rank of every paired site are the same."
        return
    counts = {word: int(moved["moved"].str.contains(word).sum()) for word in ("decision", "funding", "pump", "rank")}
    told = ", ".join(f"{word} {count}" for word, count in counts.items())
    yield f"{len(moved)} of {len(found.pairs.table)} paired sites move ({told}). Those whose decision or funding moves:"
    first = moved[moved["moved"].str.contains("decision|funding")]
    for at, row in first.head(TOLD).iterrows():
        parts = [
            f"{name} {row[f'{name}_old'] or 'none'} → {row[f'{name}_new'] or 'none'}"
            for name in ("decision", "funding")
            if row[f"{name}_old"] != row[f"{name}_new"]
        ]
        yield f"  {_names(found.names, [at])}: {', '.join(parts)}. {row['why']}"
    if len(first) > TOLD:
        yield f"  and {len(first) - TOLD} more"
    if len(first) > TOLD or len(moved) > len(first):
        yield "--out FILE.csv writes all sites that move, with both values and why."


def _names(sites: pd.DataFrame, rows: Sequence[Any] | pd.Index) -> str:
    return Listed(tuple(site_labels(sites, list(rows)))).text()
