"""The worked life-cycle case of README: its own text read, worked again by hand, numpy-financial and the engine."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy_financial as npf
import pytest

from planner.engine.cost import present_volume, renewal, rotor_stator_cost
from planner.physics.money import annuity_factor, capital_recovery_factor, discount_factor
from tests.engine import bed

README = Path(__file__).parents[2] / "README.md"
RATE, YEARS = 0.08, 20
CENT = 0.00501  # amounts are written to the cent


def section() -> str:
    text = README.read_text(encoding="utf-8")
    return text.split("### A life-cycle cost by hand\n")[1].split("\n### ")[0]


def tables() -> list[dict[str, list[str]]]:
    """The tables of the section, by the first cell of each row."""
    found: list[dict[str, list[str]]] = []
    for block in re.findall(r"(?:^\|.*\n)+", section(), re.M):
        lines = [[cell.strip() for cell in line.strip("|\n").split("|")] for line in block.splitlines()]
        found.append({cells[0]: cells[1:] for cells in lines[2:]})
    return found


def numbers(text: str) -> list[float]:
    return [float(one) for one in re.findall(r"[0-9]+(?:\.[0-9]+)?", text)]


@pytest.fixture(scope="module")
def parts() -> dict[str, list[str]]:
    return tables()[0]


@pytest.fixture(scope="module")
def steps() -> dict[str, list[str]]:
    return tables()[1]


@pytest.fixture(scope="module")
def rules() -> Any:
    return bed.context().rules  # 20 years, 8 %, residual values counted: the plan's defaults


def test_the_terms_of_the_case_are_those_of_the_rules(rules: Any) -> None:
    assert "over 20 years at 8 % real" in section()
    assert (rules.horizon_y, rules.discount_rate, rules.residual) == (YEARS, RATE, 1)


def test_every_part_by_hand_and_by_the_engine(parts: dict[str, list[str]], rules: Any) -> None:
    sums = [0.0, 0.0, 0.0]
    for name, (price, life, years, factors, again, left, left_now) in parts.items():
        if name == "sum":
            continue
        cost, bought = float(price), numbers(years)
        assert numbers(factors) == pytest.approx([1.08**-year for year in bought], abs=5.1e-7)
        assert float(again) == pytest.approx(sum(cost * 1.08**-year for year in bought), abs=2 * CENT), name
        assert float(again) == pytest.approx(sum(-npf.pv(RATE, year, 0, cost) for year in bought), abs=2 * CENT), name
        if life:
            assert bought == [k * float(life) for k in range(1, 100) if k * float(life) < YEARS]
            age = YEARS - (bought[-1] if bought else 0.0)
            assert float(left) == pytest.approx(cost * (1 - age / float(life)), abs=CENT)
            assert float(left_now) == pytest.approx(cost * (1 - age / float(life)) * 1.08**-YEARS, abs=CENT)
        value = renewal(cost, float(life or 0), bool(life), rules)
        assert float(again) - float(left_now) == pytest.approx(value, abs=3 * CENT), name
        sums = [sums[0] + cost, sums[1] + float(again), sums[2] + float(left_now)]
    total = parts["sum"]
    assert [float(total[0]), float(total[4]), float(total[6])] == pytest.approx(sums, abs=1e-9)


def test_rotor_and_stator_by_the_engine(rules: Any) -> None:
    terms = (
        r"stator, ([\d.]+) a pair, last (\d+)\s+years.*years (\d+) and (\d+), factors ([\d.]+) and ([\d.]+), ([\d.]+)\."
    )
    found = re.search(terms, section(), re.S)
    assert found is not None
    price, life, first, second, factor, factor_2, amount = (float(one) for one in found.groups())
    assert (factor, factor_2) == pytest.approx((1.08**-first, 1.08**-second), abs=5.1e-7)
    assert amount == pytest.approx(price * (1.08**-first + 1.08**-second), abs=2 * CENT)
    assert amount == pytest.approx(rotor_stator_cost(price, life, 8.0, rules), abs=2 * CENT)


def test_the_steps_to_the_cent(parts: dict[str, list[str]], steps: dict[str, list[str]], rules: Any) -> None:
    amount = {name: float(cells[-1]) for name, cells in steps.items()}
    supervision, contingency, tax = (numbers(steps[name][0])[0] / 100 for name in ("supervision", "contingency", "tax"))
    price = float(parts["sum"][0])
    assert amount["supervision"] == pytest.approx(supervision * price, abs=CENT)
    assert amount["capital cost"] == pytest.approx(price * (1 + supervision) * (1 + contingency) * (1 + tax), abs=CENT)
    upkeep, water = numbers(steps["upkeep"][0])[0], numbers(steps["water"][0])[0]
    assert amount["upkeep"] == pytest.approx(-npf.pv(RATE, YEARS, upkeep), abs=CENT)
    assert amount["upkeep"] == pytest.approx(upkeep * annuity_factor(RATE, YEARS), abs=CENT)
    assert amount["water"] == pytest.approx(present_volume(water, water, water, rules), abs=CENT)
    # The whole through the engine's functions, without rounding in between, is the same to the cent.
    lifecycle = (
        amount["capital cost"] + upkeep * annuity_factor(RATE, YEARS) + rotor_stator_cost(300.0, 5.0, 8.0, rules)
    )
    for name, (cost, life, *_) in parts.items():
        lifecycle += 0.0 if name == "sum" else renewal(float(cost), float(life or 0), bool(life), rules)
    assert round(lifecycle, 2) == amount["life-cycle cost"]
    terms = numbers(steps["life-cycle cost"][0])
    assert sum(terms[:-1]) - terms[-1] == pytest.approx(amount["life-cycle cost"], abs=1e-9)
    assert round(lifecycle * capital_recovery_factor(RATE, YEARS), 2) == amount["annual cost"]
    assert round(-float(npf.pmt(RATE, YEARS, lifecycle)), 2) == amount["annual cost"]
    assert round(lifecycle / present_volume(water, water, water, rules), 4) == amount["cost per m³"]
    assert discount_factor(RATE, 20.0) == pytest.approx(0.214548, abs=5.1e-7)
