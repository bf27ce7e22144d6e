"""Reads a printed calculation and works its lines out again: a pocket calculator of a few lines, not the package."""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import NamedTuple

import pvlib
import pytest

CLOSES = 0.005  # a hand calculation from the printed digits
NUMBER = r"-?\d[\d.]*(?:e[+-]\d+)?"
OPERATIONS: dict[type, Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
}
FUNCTIONS: dict[str, Callable[..., float]] = {
    "ln": math.log,
    "log10": math.log10,
    "sqrt": math.sqrt,
    "exp": math.exp,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "acos": math.acos,
    "atan": math.atan,
    "ceil": math.ceil,
    "min": min,
    "max": max,
}


def calculate(expression: str) -> float:
    """The value of an expression of numbers: a pocket calculator, nothing more."""

    def at(node: ast.AST) -> float:
        if isinstance(node, ast.Constant):
            return float(node.value)  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return {"pi": math.pi}[node.id]
        if isinstance(node, ast.BinOp):
            return OPERATIONS[type(node.op)](at(node.left), at(node.right))
        if isinstance(node, ast.UnaryOp):
            return OPERATIONS[type(node.op)](at(node.operand))
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        return FUNCTIONS[node.func.id](*map(at, node.args))

    return at(ast.parse(expression.replace("×", "*").replace("^", "**"), mode="eval").body)


def worked(text: str) -> Iterator[tuple[str, float]]:
    """Every expression of the sheet with the value printed behind it, wrapped lines joined."""
    for line in re.sub(r"\n {6}(?! )", " ", text).splitlines():
        if line.startswith("    = "):
            match = re.fullmatch(rf" {{4}}= (.+) = ({NUMBER})( \S+)?", line)
            assert match, line
            yield match[1], float(match[2])
        elif match := re.search(rf": ([^:=]+) = ({NUMBER}) (?:<=|>=|>) {NUMBER}.* holds", line):
            yield match[1], float(match[2])


def table(text: str, section: str, heading: str, number: int = 0) -> list[list[str]]:
    """Cells of a table of a section, by the first word of its heading; columns lie two spaces or more apart."""
    body = re.split(r"\n\n\d+  ", re.split(rf"\n\d+  {section}", text, maxsplit=1)[1])[0].splitlines()
    starts = [i for i, line in enumerate(body) if re.match(rf" {{4}}{heading}(  |$)", line)]
    rows = []
    for line in body[starts[number] + 1 :]:
        if not re.match(r" {4}\S", line):
            break
        rows.append(re.split(r" {2,}", line.strip()))
    return rows


def value(text: str, name: str) -> float:
    """The number printed behind `name:`, or the result of `name = …`."""
    joined = re.sub(r"\n {6}(?! )", " ", text)
    if match := re.search(rf"^  {re.escape(name)}: ({NUMBER})", joined, re.MULTILINE):
        return float(match[1])
    match = re.search(rf"^  {re.escape(name)} = .*\n {{4}}= .+ = ({NUMBER})( \S+)?$", joined, re.MULTILINE)
    assert match, name
    return float(match[1])


def closes(text: str, least: int) -> None:
    """Every printed line of a sheet can be worked out again."""
    found = list(worked(text))
    assert len(found) >= least
    for expression, printed in found:
        assert calculate(expression) == pytest.approx(printed, rel=CLOSES, abs=1e-6), expression
    assert not [line for line in text.splitlines() if len(line) > 100]
    assert "nan" not in text.split()


def plane_and_cells(text: str, tilt: float, azimuth: float) -> None:
    """Light on the plane and cell temperature of the worked hour, by pvlib."""
    joined = re.sub(r"\n {6}(?! )", " ", text)
    up, east, north = (
        float(re.findall(rf"^  {name}, .*\n {{4}}= .+ = ({NUMBER})$", joined, re.MULTILINE)[0])
        for name in ("up", "east", "north")
    )
    light, diffuse, beam, extra = (
        float(re.findall(rf"^  {name}, [^=\n]*(?:= .*\n {{4}}= .+ = |: )({NUMBER}) W/m2", joined, re.MULTILINE)[0])
        for name in ("G", "D", "B_n", "I_0")
    )
    seen = pvlib.irradiance.get_total_irradiance(
        tilt,
        azimuth,
        math.degrees(math.acos(up)),
        math.degrees(math.atan2(east, north)),
        beam,
        light,
        diffuse,
        dni_extra=extra,
        albedo=0.2,
        model="haydavies",
    )["poa_global"]
    assert value(text, "light on the plane") == pytest.approx(seen, rel=1e-4)
    match = re.search(rf"^  cell temperature = .*\n {{4}}= ({NUMBER}) \+ .* × ({NUMBER})\) = ({NUMBER}) ", joined, re.M)
    assert match
    cells = pvlib.temperature.faiman(seen, float(match[1]), float(match[2]))
    assert float(match[3]) == pytest.approx(cells, rel=1e-4)


class Order(NamedTuple):
    """The order in which kinds of day come, which is given: month and kind, both from 0, and days not counted."""

    days: list[tuple[int, int]]
    before: int


def water_of_knots(text: str, number: int) -> float:
    """Sum of a table of knots, each worked out again."""
    knots = [[float(cell) for cell in cells] for cells in table(text, "Volume of", "knot", number)]
    adds = [knots[0][2] * knots[0][3]]
    for before, here in pairwise(knots):
        adds.append((here[2] - before[2]) / (here[1] - before[1]) * (before[4] - here[4]))
    assert adds == pytest.approx([cells[5] for cells in knots], rel=CLOSES, abs=1e-4)
    return sum(adds)
