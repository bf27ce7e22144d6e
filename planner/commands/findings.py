"""The findings on the terminal: a table on a terminal, plain lines where they are piped or kept."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import pandas as pd
import typer

from planner.errors import printable
from planner.outputs.finding_summary import SEVERITIES, by_district, by_rule, finding_frame
from planner.tables.step import Finding
from planner.texts import finding_words

HEADS = ("severity", "rule", "action", "rows", "example", "what it means")
SHORT = ("severity", "rule", "action", "rows")
LONGEST = 40  # letters of an example
COLOURS = {"stop": "bold red", "warning": "yellow", "info": ""}


def tell_findings(findings: Sequence[Finding], district: pd.Series) -> None:
    """Print the findings by rule, with an example each, then their counts by sub-district (name by inventory_row)."""
    if not findings:
        typer.echo("no findings")
        return
    frame = finding_frame(findings)
    rules = rule_lines(frame)
    places = [
        (one_line(str(name)) or "(no sub-district)", *(str(row[kind]) for kind in SEVERITIES))
        for name, row in by_district(frame, district).iterrows()
    ]
    if sys.stdout.isatty():
        _table(HEADS, rules)
        _table(("sub-district", *SEVERITIES), places)
    else:
        for severity, rule, action, rows, example, words in rules:
            typer.echo(f"{severity:8}{rule:30}{action:9}{rows:>7}  {example}  {words}")
        for name, *counts in places:
            told = ", ".join(f"{count} {kind}" for kind, count in zip(SEVERITIES, counts, strict=True))
            typer.echo(f"sub-district {name}: {told}")
    typer.echo("`planner run` writes every finding, with the text that was found, to findings.csv")


def rule_lines(frame: pd.DataFrame) -> list[tuple[str, ...]]:
    """The rows of the table, as HEADS, from findings as a frame; foreign text is made safe for a terminal."""
    lines: list[tuple[str, ...]] = []
    for record in by_rule(frame).to_dict("records"):
        one = {str(name): value for name, value in record.items()}
        words = finding_words(one["rule"])
        lines.append((one["severity"], one["rule"], one["action"], str(one["count"]), _example(one), words))
    return lines


def _example(one: dict[str, object]) -> str:
    old, new = (one_line(str(one[name])) for name in ("old_value", "new_value"))
    change = f" {old!r}" if old else ""
    change += f" -> {new!r}" if new and new != old else ""
    place = f"row {one['row']}" if one["row"] else "file"
    return f"{place} {one_line(str(one['column']))}{change}"


def one_line(text: str) -> str:
    """Short foreign text without anything that steers a terminal or breaks the line."""
    shown = printable(text).replace("\n", "\\n")
    return shown if len(shown) <= LONGEST else shown[: LONGEST - 1] + "…"


def _table(heads: Sequence[str], lines: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for head in heads:
        table.add_column(
            head, justify="right" if head in {"rows", *SEVERITIES} else "left", no_wrap=head in SHORT, overflow="fold"
        )
    for line in lines:
        # Text, not str: square brackets of an inventory are no markup.
        table.add_row(*(Text(cell) for cell in line), style=COLOURS.get(line[0], ""))
    Console().print(table)
