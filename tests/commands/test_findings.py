"""Findings on the terminal: what is printed is safe for it, and adds up."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from planner import cli
from planner.commands.findings import tell_findings
from planner.outputs.finding_summary import SEVERITIES
from planner.tables.step import Finding
from planner.texts import finding_words

MakeProgramme = Callable[..., Path]


def findings(names: tuple[str, ...]) -> list[Finding]:
    hostile = [
        Finding(row, name, name, f"rule_{row}", "warning", name, name) for row, name in enumerate(names, start=1)
    ]
    return [
        *hostile,
        Finding(1, "a", "depth_m", "zero_as_missing", "info", "0"),
        Finding(0, "", "x", "column_not_read", "info", "x"),
    ]


def test_plain_lines_are_one_a_rule_and_hold_no_control_character(
    hostile_names: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    district = pd.Series(dict(enumerate(hostile_names, start=1)))
    tell_findings(findings(hostile_names), district)
    told = capsys.readouterr().out
    assert all(one.isprintable() or one == "\n" for one in told)
    lines = told.splitlines()
    rules = [line for line in lines if line.split()[0] in SEVERITIES]
    assert len(rules) == len(hostile_names) + 2
    assert rules[-1].startswith("info    zero_as_missing") or rules[-2].startswith("info    zero_as_missing")
    assert any(finding_words("zero_as_missing") in line and "row 1 depth_m '0'" in line for line in rules)
    assert "rule 1" in rules[0], "a rule without a sentence is spelled out"
    counts = re.findall(r"^sub-district .*: (\d+) stop, (\d+) warning, (\d+) info$", told, re.M)
    assert sum(int(one) for row in counts for one in row) == len(hostile_names) + 2
    assert max(len(line) for line in lines) < 300


def test_a_terminal_gets_a_table_without_foreign_markup(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "160")
    tell_findings(
        [Finding(3, "a", "[bold]x[/bold]", "odd_rule", "stop", "\x1b[31m[red]", "", "stopped")],
        pd.Series({3: "[blink]"}),
    )
    told = capsys.readouterr().out
    assert "[bold]x[/bold]" in told and "[blink]" in told and "[red]" in told
    assert "\x1b[31m[red]" not in told
    assert "what it means" in told


def test_nothing_found_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    tell_findings([], pd.Series(dtype="str"))
    assert capsys.readouterr().out == "no findings\n"


def test_check_and_run_tell_what_was_found(
    make_programme: MakeProgramme, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = make_programme(tmp_path / "in", [{"depth_m": "0"}, {"casing_mm": "150mm"}, {}])

    def planner(*words: str) -> tuple[str, str]:
        monkeypatch.setattr(sys, "argv", ["planner", *words])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        assert not ended.value.code
        told = capsys.readouterr()
        return told.out, told.err

    out, _ = planner("check", str(plan))
    assert re.search(r"^info +zero_as_missing +flagged +1  row 1 depth_m '0'", out, re.M)
    assert re.search(r"^info +unit_in_cell +repaired +1  row 2 casing_mm '150mm' -> '150'", out, re.M)
    _, err = planner("run", str(plan), "--out", str(tmp_path / "out"))
    assert re.search(r"^findings, stop: 0$", err, re.M) and re.search(r"^findings, info: \d+$", err, re.M)
    assert str(tmp_path / "out" / "findings.csv") in err
