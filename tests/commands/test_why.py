"""`planner why`: the printed arithmetic is done again from the printed numbers, and the end is that of the run."""

from __future__ import annotations

import ast
import json
import math
import operator
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from planner.commands.why.command import why
from planner.errors import InternalError, OutputError
from planner.pipeline import run

DEMO = Path(__file__).parents[2] / "data_demo" / "plan.toml"
CLOSES = 0.005  # a hand calculation from the printed digits
OPERATIONS: dict[type, Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
}
FUNCTIONS: dict[str, Callable[..., float]] = {"ln": math.log, "sqrt": math.sqrt, "min": min, "max": max}


def calculate(expression: str) -> float:
    """The value of an expression of numbers: a pocket calculator, nothing more."""

    def at(node: ast.AST) -> float:
        if isinstance(node, ast.Constant):
            return float(node.value)  # type: ignore[arg-type]
        if isinstance(node, ast.BinOp):
            return OPERATIONS[type(node.op)](at(node.left), at(node.right))
        if isinstance(node, ast.UnaryOp):
            return OPERATIONS[type(node.op)](at(node.operand))
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        return FUNCTIONS[node.func.id](*map(at, node.args))

    return at(ast.parse(expression.replace("×", "*").replace("^", "**"), mode="eval").body)


def results(text: str) -> list[tuple[str, float]]:
    """Every `= expression = value unit` of the sheet, lines joined."""
    joined = re.sub(r"\n {6}(?! )", " ", text)
    found = []
    for line in joined.splitlines():
        if match := re.fullmatch(r" {4}= (.+) = (-?[\d.e+-]+)( \S+)?", line):
            found.append((match[1], float(match[2])))
    return found


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("why") / "out"
    run(DEMO, folder)
    return folder


@pytest.fixture(scope="module")
def sites(done: Path) -> pd.DataFrame:
    return pd.read_parquet(done / "sites.parquet").set_index("inventory_row")


def varied(sites: pd.DataFrame) -> list[int]:
    """Designed sites of both families over all heads, with and without enough water."""
    designed = sites[sites["engine_status"] == "designed"].sort_values("total_head_m")
    groups = designed.groupby([designed["pump_family"], designed["supply_limited"] == ""])
    return [int(row) for _, group in groups for row in group.index[:: max(len(group) // 3, 1)][:3]]


def test_the_arithmetic_closes(done: Path, sites: pd.DataFrame) -> None:
    rows = varied(sites)
    assert len(rows) >= 10
    for row in rows:
        text = why(done, f"row:{row}")
        found = results(text)
        assert len(found) >= 20
        for expression, value in found:
            assert calculate(expression) == pytest.approx(value, rel=CLOSES, abs=1e-6), (row, expression)
        assert max(map(len, text.splitlines())) <= 100


def test_tables_add_up(done: Path, sites: pd.DataFrame) -> None:
    """The knots give the volume, the bill gives the capital cost, the months give the year."""
    for row in varied(sites)[:6]:
        text, site = why(done, f"row:{row}"), sites.loc[row]
        lines = re.findall(r"^ {4}([\d.]+)((?: +[\d.]+){4})$", text, re.MULTILINE)
        knots = [float(rest.split()[-1]) for _, rest in lines]
        if "hours between count half" not in text:
            volume = site[f"volume_{int(site['design_month']):02d}"]
            assert 0.99 * sum(knots) == pytest.approx(volume, rel=CLOSES)
        months = re.findall(r"^ {4}[A-Z][a-z]{2} +(\d+) +(\S+) +(\S+) +(\S+)$", text, re.MULTILINE)
        assert len(months) == 12
        used = sum(int(days) * float(used) for days, _, _, used in months) / 365
        assert 0.9 * used == pytest.approx(site["volume_used_m3_day"], rel=CLOSES)
        bill = text.split("unit price")[1].split("sum = all prices")[0]
        prices = [float(line.split()[-2]) for line in bill.splitlines()[1:] if line.strip()]
        assert 1.18 * sum(prices) == pytest.approx(site["capital_cost"], rel=CLOSES)


def test_the_last_line_is_that_of_the_run(done: Path, sites: pd.DataFrame) -> None:
    written = pd.read_csv(done / "sites.csv").set_index("inventory_row")
    for row in varied(sites):
        last = why(done, f"row:{row}").rstrip().splitlines()[-1]
        assert float(last.split()[4]) == written.loc[row, "cost_per_m3"]


def test_site_id_and_row_are_the_same_site(done: Path, sites: pd.DataFrame) -> None:
    first = sites[sites["rank"] == 1]
    assert why(done, first["site_id"].iloc[0]) == why(done, f"row:{first.index[0]}")


def test_a_repeated_id_lists_its_rows(done: Path, sites: pd.DataFrame) -> None:
    ids = sites.loc[sites["site_id"] != "", "site_id"]
    repeated = ids[ids.duplicated()].iloc[0]
    with pytest.raises(OutputError) as error:
        why(done, repeated)
    for row in ids.index[ids == repeated]:
        assert f"row:{row}" in str(error.value)


def test_an_unknown_id_names_the_nearest(done: Path, sites: pd.DataFrame) -> None:
    known = sites.loc[sites["rank"] == 1, "site_id"].iloc[0]
    with pytest.raises(OutputError, match=re.escape(repr(known))):
        why(done, known + "9")
    with pytest.raises(OutputError, match="row:1 to row:"):
        why(done, "row:99999")


def test_every_kind_of_row_has_its_sheet(done: Path, sites: pd.DataFrame) -> None:
    for status, decision in sites.groupby(["engine_status", "decision"]).groups:
        row = sites.index[(sites["engine_status"] == status) & (sites["decision"] == decision)][0]
        text = why(done, f"row:{row}")
        assert f"decision: {decision}" in text and "No one enters a well" in text
        if status == "no_design":
            assert "Pump families" in text and "What stands against it" in text
        if status == "installed":
            assert "The installed set" in text and "Bill" not in text


def test_a_changed_result_fails_loudly(done: Path, sites: pd.DataFrame, tmp_path: Path) -> None:
    row = int(sites.index[sites["rank"] == 1][0])
    for name in ("cost_per_m3", "capital_cost", "volume_06", "total_head_m"):
        spoilt = tmp_path / name
        shutil.copytree(done, spoilt, ignore=shutil.ignore_patterns(".planner"))
        table = pd.read_parquet(spoilt / "sites.parquet")
        table.loc[table["inventory_row"] == row, name] *= 1.001
        table.to_parquet(spoilt / "sites.parquet", index=False)
        with pytest.raises(InternalError, match="the run wrote"):
            why(spoilt, f"row:{row}")


def test_a_folder_that_is_no_run(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no finished run"):
        why(tmp_path, "row:1")


def test_another_catalogue_is_told(done: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(done, other, ignore=shutil.ignore_patterns(".planner"))
    record = json.loads((other / "run.json").read_text(encoding="utf-8"))
    record["catalogue"] = "0" * 64
    (other / "run.json").write_text(json.dumps(record), encoding="utf-8")
    with pytest.raises(OutputError, match="repeat `planner run`"):
        why(other, "row:1")
