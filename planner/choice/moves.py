"""Which sites move between two results, and why: of a plan and its scenario, or of two runs.

Pure functions of two tables with one row a site, paired by their index. A site moves when its decision, its funding,
its pump or its rank is another. Why is read from what stands in both results, never worked out again: rules that
fail or pass now, inputs and values of the design that differ, its own cost, the other sites, the budget and its rules.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.glossary import glossary, monthly
from planner.plan import Change
from planner.texts import Figure, Listed, Said, Sentence, Spoken, Value, counted, said, texts

DECISIONS = ("equip", "test_first", "hold", "unsuitable", "not_assessed")
MOVED = {"decision": "decision", "funding": "funding", "pump": "pump_id", "rank": "rank"}
TEXTS = ("decision", "funding", "pump_family", "pump_id", "reason_codes")
NUMBERS = ("rank", "array_wp", "capital_cost", "cost_per_m3", "volume_used_m3_day", "people_served")
SHOWN = (
    *("decision", "funding", "rank", "pump_family", "pump_id", "array_wp"),
    *("capital_cost", "cost_per_m3", "volume_used_m3_day", "people_served"),
)
# What was measured and read, and what the design rests on beside it.
INPUTS = (
    *("static_level_m", "tested_yield_m3_h", "pumping_level_m", "depth_m", "casing_mm", "screen_top_m", "test_hours"),
    *("people", "livestock_tlu", "irrigated_ha", "demand_m3_day", "tank_height_m", "pipe_length_m", "sand_mg_l"),
    *("water_temperature_c", "fluoride_mg_l", "arsenic_mg_l", "nitrate_mg_l", "existing_array_wp"),
    *("test_kind", "aquifer", "status", "equipped_with", "water_point_type", "existing_pump_id", "evidence_grade"),
)
DESIGN = ("rest_level_rule_m", "share_rate_m3_h", "demand", "people_counted", "solar_kwh_m2_day", "interference_m")
DESIGN_WORDS = {"rest_level_rule_m", "share_rate_m3_h", "demand"}  # with words of their own
SAID = "why_said"  # a column of sentences, for outputs in other languages; no column of a file
BUDGET_KEYS = ("programme.budget", "portfolio.", "phase")
RANKING_KEYS = ("ranking.",)
SAME = 1e-6  # relative: what stands in a file of six figures is the same

LISTED, LONGEST_ID = 20, 40
NAMED = 4  # keys of the plan that a sentence names

Reasons = dict[Any, list[tuple[str, Said]]]


@dataclass(frozen=True)
class Between:
    """What two results have between them beside their sites.

    changes  keys of the plan that differ; money: unit of amounts; comparable: whether both count in the same money
    """

    changes: tuple[Change, ...] = ()
    money: str = ""
    comparable: bool = True
    checks: tuple[pd.DataFrame | None, pd.DataFrame | None] = field(default=(None, None))


def moves(old: pd.DataFrame, new: pd.DataFrame, between: Between) -> pd.DataFrame:
    """The sites that move, by the common index of `old` and `new`: what moved, both values of SHOWN, and why.

    Columns: moved (words of MOVED joined by ;), each name of SHOWN as `<name>_old` and `<name>_new`, why_codes
    (joined by ;), why (plain English sentences) and why_said (the same before their language is known). The checks of
    `between` are keyed by the same index as `inventory_row`.
    """
    old, new = _complete(old), _complete(new.loc[old.index])
    differs = {word: different(old[name], new[name]) for word, name in MOVED.items()}
    moving = old.index[np.logical_or.reduce(list(differs.values()))]
    reasons = _reasons(old, new, moving, differs, between)
    places = old.index.get_indexer(moving)
    columns = {"moved": _texts((";".join(word for word in MOVED if differs[word][one]) for one in places), moving)}
    for name in SHOWN:
        columns[f"{name}_old"], columns[f"{name}_new"] = old.loc[moving, name], new.loc[moving, name]
    columns["why_codes"] = _texts((";".join(dict.fromkeys(code for code, _ in reasons[row])) for row in moving), moving)
    told = [tuple(dict.fromkeys(one for _, one in reasons[row])) for row in moving]
    columns["why"] = _texts((" ".join(dict.fromkeys(one.text() for one in sentences)) for sentences in told), moving)
    columns[SAID] = pd.Series(told, index=moving, dtype="object")
    return pd.DataFrame(columns, index=moving)


def _texts(words: Iterable[str], index: pd.Index) -> pd.Series:
    return pd.Series(list(words), index=index, dtype="str")


def totals(sites: pd.DataFrame) -> dict[str, Any]:
    """Sites by decision and funding, and sums of the sites to equip and of the funded ones.

    capital_cost in the plan's money; people_served; volume_used_m3_day; cost_per_m3_median of the sites to equip.
    """
    sites = _complete(sites)
    found: dict[str, Any] = {name: int((sites["decision"] == name).sum()) for name in DECISIONS}
    found |= {"ranked": int(sites["rank"].notna().sum())}
    found |= {name: int((sites["funding"] == name).sum()) for name in ("funded", "reserve")}
    for word, part in (("equip", sites["decision"] == "equip"), ("funded", sites["funding"] == "funded")):
        for name in ("capital_cost", "people_served", "volume_used_m3_day"):
            found[f"{word}_{name}"] = round(float(sites.loc[part, name].sum()), 3)
    cost = sites.loc[sites["decision"] == "equip", "cost_per_m3"].median()
    found["cost_per_m3_median"] = None if pd.isna(cost) else round(float(cost), 6)
    return found


def summary(old: pd.DataFrame, new: pd.DataFrame, moved: pd.DataFrame) -> dict[str, Any]:
    """Index values of the sites that go in and out of funding and of `equip`, and how costs and pumps change.

    cost_change_median  median of new ÷ old cost per m3 − 1 over the sites that have a cost in both
    """
    old, new = _complete(old), _complete(new.loc[old.index])
    found: dict[str, Any] = {"moved": len(moved)}
    for word, name in (("funded", "funding"), ("equip", "decision")):
        was, now = old[name] == word, new[name] == word
        found[f"into_{word}"], found[f"out_of_{word}"] = list(old.index[now & ~was]), list(old.index[was & ~now])
    found["pump_changed"] = int((moved["pump_id_old"] != moved["pump_id_new"]).sum())
    found["rank_changed"] = int(moved["moved"].str.contains("rank").sum())
    ratio = (new["cost_per_m3"] / old["cost_per_m3"] - 1.0).replace([np.inf, -np.inf], np.nan).dropna()
    found["cost_change_median"] = round(float(ratio.median()), 6) if len(ratio) else None
    found["cost_compared"] = len(ratio)
    return found


def site_labels(sites: pd.DataFrame, rows: Sequence[Any]) -> list[Value]:
    """The first LISTED sites by id, with the row where the id is not theirs alone; the last says how many more."""
    ids = sites["site_id"]
    repeated = ids.duplicated(keep=False)
    labels: list[Value] = []
    for row in rows[:LISTED]:
        name = str(ids[row]) if len(str(ids[row])) <= LONGEST_ID else f"{str(ids[row])[: LONGEST_ID - 1]}…"
        number_of_row: Any = sites.at[row, "inventory_row"] if "inventory_row" in sites else row
        place = str(int(number_of_row))
        if not name:
            labels.append(said("move_row", row=place))
        else:
            labels.append(said("move_site_of_row", site=name, row=place) if repeated[row] else name)
    return [*labels, *([said("move_more", n=str(len(rows) - LISTED))] if len(rows) > LISTED else [])]


def different(old: pd.Series, new: pd.Series) -> NDArray[np.bool_]:
    """Where two columns differ: texts exactly, numbers by more than six figures tell; missing equals missing."""
    if old.dtype.kind in "fiu" and new.dtype.kind in "fiu":
        before, after = old.to_numpy(dtype="float64"), new.to_numpy(dtype="float64")
        return np.asarray(~np.isclose(before, after, rtol=SAME, atol=1e-9, equal_nan=True))
    found: NDArray[np.bool_] = old.fillna("").astype("str").to_numpy() != new.fillna("").astype("str").to_numpy()
    return found


def _complete(sites: pd.DataFrame) -> pd.DataFrame:
    """With every column that is compared, empty where the result has none."""
    absent: dict[str, Any] = {name: "" for name in TEXTS if name not in sites}
    absent |= {name: np.nan for name in NUMBERS if name not in sites}
    found = sites.assign(**absent)
    if set(monthly("demand")) <= set(found) and "demand" not in found:
        found = found.assign(demand=found[monthly("demand")].max(axis=1))
    elif "design_demand_m3_day" in found and "demand" not in found:
        found = found.assign(demand=found["design_demand_m3_day"])
    return found


def _reasons(
    old: pd.DataFrame, new: pd.DataFrame, moving: pd.Index, differs: dict[str, NDArray[np.bool_]], between: Between
) -> Reasons:
    """Reasons of each moving site, the nearest cause first."""
    found: Reasons = defaultdict(list)
    flags = {word: pd.Series(which, index=old.index).loc[moving] for word, which in differs.items()}
    was, now = old.loc[moving], new.loc[moving]
    own_cost = pd.Series(different(was["cost_per_m3"], now["cost_per_m3"]), index=moving) & between.comparable
    itself = flags["decision"] | flags["pump"] | own_cost
    _rules(found, was, now, between.checks)
    _values(found, was, now, INPUTS, "input_changed", pd.Series(True, index=moving))
    _values(found, was, now, DESIGN, "design_value", itself)
    _dry(found, was, now)
    _plan_keys(found, moving, flags, itself, between.changes)
    dearer = (own_cost & was["cost_per_m3"].notna() & now["cost_per_m3"].notna()).to_numpy()
    _changed(
        found, was, now, "cost_per_m3", dearer, "cost_changed", said("move_cost"), f"{between.money}/m3".lstrip("/")
    )
    _others(found, old, new, moving[flags["rank"] & was["rank"].notna() & now["rank"].notna()])
    _funding(found, was, now, moving[flags["funding"]], between)
    for row in moving:
        if not found[row]:
            found[row].append(("not_told", said("move_not_told")))
    return found


def _rules(found: Reasons, was: pd.DataFrame, now: pd.DataFrame, checks: tuple[pd.DataFrame | None, ...]) -> None:
    """Reason codes that come and go, as the sentences that the checks make of them."""
    before, after = ([codes.split(";") if codes else [] for codes in side["reason_codes"]] for side in (was, now))
    told = [_sentences(one, was.index) for one in checks]
    for row, old, new in zip(was.index, before, after, strict=True):
        found[row] += [("rule_fails", said("move_now", text=told[1](row, code))) for code in new if code not in old]
        found[row] += [
            ("rule_passes", said("move_no_longer", text=told[0](row, code))) for code in old if code not in new
        ]


def _sentences(checks: pd.DataFrame | None, rows: pd.Index) -> Any:
    """A function (row, rule) → sentence: that of the failing check, else the rule's name in words."""
    known: dict[tuple[Any, str], list[Spoken]] = defaultdict(list)
    if checks is not None:
        part = checks[checks["inventory_row"].isin(rows)]
        part = part[~part["pass"] | (part["rule"] == "demand_met")]
        columns = (part[name] for name in ("inventory_row", "rule", "subject", "value", "limit"))
        for row, rule, subject, value, limit in zip(*columns, strict=True):
            if str(rule) in texts():
                known[row, str(rule)].append(Sentence(str(rule), str(subject), float(value), float(limit)))

    def told(row: Any, code: str) -> Value:
        found = known.get((row, code))
        return Listed(tuple(dict.fromkeys(found)), " ") if found else f"{code.replace('_', ' ')}."

    return told


def _values(
    found: Reasons, was: pd.DataFrame, now: pd.DataFrame, names: Iterable[str], code: str, where: pd.Series
) -> None:
    """Columns that differ, in words with their unit."""
    known = glossary()
    for name in names:
        if name not in was or name not in now:
            continue
        quantity = known.get(name)
        words = said(f"move_{name}" if name in DESIGN_WORDS else f"label_{name}")
        unit = "m3/d" if quantity is None else quantity.unit
        differs = different(was[name], now[name]) & where.to_numpy()
        _changed(found, was, now, name, differs, code, words, unit)


def _changed(
    found: Reasons,
    was: pd.DataFrame,
    now: pd.DataFrame,
    name: str,
    where: NDArray[np.bool_],
    code: str,
    words: Said,
    unit: str,
) -> None:
    """What the words name, old → new in its unit, for the marked rows."""
    end: dict[str, Value] = {} if unit in {"", "-"} else {"unit": unit}
    before, after = (side[name].to_numpy(dtype="object")[where] for side in (was, now))
    for row, *values in zip(was.index[where], before, after, strict=True):
        old, new = map(_value, values)
        for figures in (5, 7):  # where three do not tell them apart
            if _alike(old, new) and not any(isinstance(value, str) for value in values):
                old, new = (Figure(float(value), f".{figures}g") for value in values)
        found[row].append((code, said("move_unit" if end else "move_bare", what=words, old=old, new=new, **end)))


def _value(value: Any) -> Value:
    if value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
        return said("plan_none")
    if isinstance(value, str):
        return str(value)
    return Figure(float(value), "") if abs(value) < 1e5 else Figure(float(value), ".0f")


def _alike(old: Value, new: Value) -> bool:
    return Listed((old,)).text() == Listed((new,)).text()


def _dry(found: Reasons, was: pd.DataFrame, now: pd.DataFrame) -> None:
    """The pump of the old result would hang above the water of the new one."""
    if "intake_depth_m" not in was or "rest_level_rule_m" not in now:
        return
    intake, level = was["intake_depth_m"], now["rest_level_rule_m"]
    for row in was.index[intake <= level]:
        depths = {"intake": Figure(float(intake[row]), ""), "level": Figure(float(level[row]), "")}
        found[row].append(("set_runs_dry", said("move_dry", **depths)))


def _plan_keys(
    found: Reasons, moving: pd.Index, flags: dict[str, pd.Series], itself: pd.Series, changes: Sequence[Change]
) -> None:
    """Keys of the plan that act on designs, where the design or its cost is another; those of the decision alone,
    where no rule tells why the decision is."""
    acting = [one for one in changes if not one.key.startswith((*BUDGET_KEYS, *RANKING_KEYS))]
    deciding = [one for one in changes if one.key.startswith(RANKING_KEYS)]
    told = _told(acting, NAMED)
    if len(acting) > NAMED:
        told = counted("move_plan_more", len(acting) - NAMED, changes=told.value_of("changes"))
    for row in moving[itself] if acting else ():
        found[row].append(("plan_key", told))
    for row in moving[flags["decision"]] if deciding else ():
        found[row].append(("plan_key", _told(deciding, len(deciding))))


def _told(changes: Sequence[Change], most: int) -> Said:
    return said("move_plan", changes=Listed(tuple(one.said() for one in changes[:most]), "; "))


def _others(found: Reasons, old: pd.DataFrame, new: pd.DataFrame, rows: pd.Index) -> None:
    """How many sites before a site left the ranking or came into it, and the rest of its way: places exchanged."""
    gone = np.sort(old.loc[old["rank"].notna() & new["rank"].isna(), "rank"].to_numpy())
    come = np.sort(new.loc[new["rank"].notna() & old["rank"].isna(), "rank"].to_numpy())
    before, after = old.loc[rows, "rank"].to_numpy(), new.loc[rows, "rank"].to_numpy()
    left, entered = np.searchsorted(gone, before), np.searchsorted(come, after)
    passed = (after - before) - (entered - left)
    for row, one, other, way, rank_old, rank_new in zip(rows, left, entered, passed, before, after, strict=True):
        parts = [said("move_left", n=str(one))] if one else []
        parts += [said("move_came", n=str(other))] if other else []
        parts += [said("move_pass" if way > 0 else "move_fall", n=f"{abs(way):.0f}")] if way else []
        how = Listed(tuple(parts)) if parts else said("move_places")
        found[row].append(("others_moved", said("move_rank", old=f"{rank_old:.0f}", new=f"{rank_new:.0f}", how=how)))


def _funding(found: Reasons, was: pd.DataFrame, now: pd.DataFrame, rows: pd.Index, between: Between) -> None:
    """Why a site that is to equip in both is bought in one only."""
    rules = [one for one in between.changes if one.key.startswith(BUDGET_KEYS)]
    which = was.index.isin(rows)
    equip = pd.Series((was["decision"] == "equip") & (now["decision"] == "equip"), index=was.index)
    told = _told(rules, NAMED)
    for row in rows:
        if not equip[row]:
            found[row].append(("decision", said("move_only_equip")))
        elif rules:
            found[row].append(("budget_rule", told))
    both = which & equip.to_numpy()
    for name, unit in (("capital_cost", between.money), ("people_served", "")):
        if between.comparable or name != "capital_cost":
            _changed(
                found, was, now, name, both & different(was[name], now[name]), "own_value", said(f"move_{name}"), unit
            )
    for row in was.index[both]:
        found[row].append(("budget_shared", said("move_shared")))
