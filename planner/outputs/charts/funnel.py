"""The decision funnel: from the rows of the inventory to the funded sites, every loss with its reason and its count."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planner.choice.decision import CONSEQUENCE
from planner.errors import InternalError
from planner.outputs.charts.drawing import DARK, GREY, INK, LIGHT, Scale, rect, text
from planner.outputs.charts.frame import RIGHT, TOP, WIDTH, framed
from planner.texts import decimal_text, say, texts

LOSSES = ("not_assessed", "unsuitable", "hold", "test_first")
LEFT, LINE, STAGE = 330, 19, 26  # pixels: edge of the bars, height of a loss and of what is left


@dataclass(frozen=True)
class Stage:
    """What is left at a stage, and what went before it.

    key     of the words: rows, assessed, suitable, clear, equip, funded
    left    sites that are left
    losses  (key of the words, sites), the most first; they add up to what the stage before has more
    """

    key: str
    left: int
    losses: tuple[tuple[str, int], ...] = ()


def funnel(sites: pd.DataFrame) -> list[Stage]:
    """All rows first, then what is left behind each decision, the funded last where any is funded.

    sites: decision, reason_codes and funding. A site is lost for the first of its reasons that asks for its decision.
    Raises InternalError if losses and what is left do not add up to the rows.
    """
    stages = [Stage("rows", len(sites))]
    for decision, key in zip(LOSSES, ("assessed", "suitable", "clear", "equip"), strict=True):
        lost = sites[sites["decision"] == decision]
        reasons = lost["reason_codes"].map(lambda codes, of=decision: first_reason(str(codes), of))
        losses = _counted(reasons)
        stages.append(Stage(key, stages[-1].left - len(lost), losses))
    equip = sites[sites["decision"] == "equip"]
    if (equip["funding"] == "funded").any():
        losses = _counted(equip.loc[equip["funding"] != "funded", "funding"].replace("", "not_funded"))
        stages.append(Stage("funded", int((equip["funding"] == "funded").sum()), losses))
    for before, after in itertools.pairwise(stages):
        if before.left - sum(count for _, count in after.losses) != after.left:
            raise InternalError(f"the funnel does not add up at {after.key}")
    if stages[4].left != len(equip):
        raise InternalError("the funnel does not end at the sites to equip")
    return stages


def first_reason(codes: str, decision: str) -> str:
    """The first reason code that asks for a decision; "other" where none does.

    >>> first_reason("demand_met;grade_below_a;yield_prior", "test_first")
    'grade_below_a'
    """
    asking = (code for code in codes.split(";") if CONSEQUENCE.get(code) == decision)
    found = next(asking, "")
    if not found and decision == "test_first" and "no_design" in codes.split(";"):
        found = "no_design_on_prior"  # stops that rest on a map are softened to a test
    return found or "other"


def _counted(reasons: pd.Series) -> tuple[tuple[str, int], ...]:
    counts = reasons.value_counts()
    return tuple(sorted(((str(key), int(count)) for key, count in counts.items()), key=lambda one: (-one[1], one[0])))


def funnel_svg(sites: pd.DataFrame, about: Mapping[str, Any], language: str) -> str:
    """The picture: dark bars for what is left, light ones, at their right end, for what is lost."""
    stages = funnel(sites)
    x = Scale(0.0, float(max(stages[0].left, 1)), LEFT, WIDTH - RIGHT - 60)
    parts, y = [], float(TOP + 8)
    for before, stage in zip([stages[0], *stages[:-1]], stages, strict=True):
        right = before.left
        for reason, count in stage.losses:
            parts.append(rect(x.at(right - count), y + 3, max(x.at(right) - x.at(right - count), 1.0), 12, LIGHT, INK))
            parts.append(text(LEFT - 10, y + 13, loss_words(reason, language), anchor="end", fill=GREY))
            parts.append(text(x.at(right) + 6, y + 13, f"−{decimal_text(count, language)}", fill=GREY))
            right -= count
            y += LINE
        parts.append(rect(LEFT, y + 2, max(x.at(stage.left) - LEFT, 1.0), 20, DARK))
        words = say(f"chart_funnel_{stage.key}", language)
        parts.append(text(LEFT - 10, y + 16, words, anchor="end", weight="bold", size=13))
        parts.append(text(x.at(stage.left) + 6, y + 16, decimal_text(stage.left, language), weight="bold", size=13))
        y += STAGE + 6
    below = say("chart_funnel_below", language)
    return framed(about, language, say("chart_funnel_title", language), below, parts, y)


def loss_words(reason: str, language: str) -> str:
    """The few words of a reason; its code spelled out where the table has none."""
    known = texts(language).get(f"chart_loss_{reason}")
    return known[1] if known else reason.replace("_", " ")
