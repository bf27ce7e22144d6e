"""What stands around every picture of a run: title, the words below, and what a reader of one picture must know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from planner.outputs.charts.drawing import GREY, picture, shortened, text
from planner.texts import date_text, say, texts

WIDTH = 900
LEFT, RIGHT, TOP = 84, 24, 78  # edges of the plot


def framed(
    about: Mapping[str, Any],
    language: str,
    title: str,
    below: str,
    parts: Sequence[str],
    bottom: float,
    *,
    costs: bool = False,
) -> str:
    """The picture with its title and its foot.

    about   what every output says; its programme is foreign text
    below   the sentence under the title
    bottom  where the drawing ends, pixels
    costs   whether the picture shows costs, so that its foot says in which money and of which year
    """
    cautions = [words for kind, words in texts(language).values() if kind == "caution"]
    head = [
        text(16, 28, title, size=17, weight="bold"),
        text(16, 48, shortened(str(about["programme"])), size=13),
        text(16, 66, below, fill=GREY),
    ]
    money = say("chart_money", language, money=str(about["currency"]), year=str(about["price_year"]))
    priced = [money] if costs else []
    run = say("chart_run", language, run=str(about["run_id"]), date=date_text(str(about["date"]), language))
    foot = [
        text(16, bottom + 18, " ".join([*priced, run]), size=11, fill=GREY),
        text(16, bottom + 34, cautions[0], size=11, fill=GREY),
    ]
    return picture(WIDTH, bottom + 46, title, " ".join([below, *priced, run, *cautions]), [*head, *parts, *foot])
