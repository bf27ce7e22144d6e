"""Damaged and hostile plan files: read, or refused with clear faults; never a traceback, never a wait without end.

The seed has most sections. Values are replaced by others that TOML allows, lines are moved about, bytes are damaged.
"""

from __future__ import annotations

import math
import os
import random
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from planner.errors import PlanError
from planner.plan import read_plan
from planner.plan.read import input_files
from tests.fuzz.damage import Try, clear, damaged, for_minutes

MORE = """
[demand]
norm_l_person_day = 20
season = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]
crop = "maize"

[well]
tested_share = { bailer = 0.3 }
season_swing_m = 2.5

[equipment]
families = ["centrifugal"]
tank_max_m3 = 20

[costs]
exchange_rate = { KES = 0.0078 }
supply_base = [-9.7, 30.2]
residual = true

[portfolio]
minimum_count = { "Lower Mwesa" = 1 }

[[phase]]
year = 2027
budget = 1e5

[lots]
count = 2

[[scenario]]
name = "drought"
well = { level_decline_m = 5 }
[scenario.costs]
price_factor = { works = 1.2 }
"""
VALUES = (
    *(
        "true",
        "false",
        "nan",
        "-inf",
        "inf",
        "1e400",
        "-1e308",
        "1" + "0" * 400,
        "9" * 5000,
        "-0",
        "0x7fffffffffffffff",
    ),
    *("1979-05-27", "07:32:00", "1979-05-27T00:32:00-07:00", '""', "'\\x00'", '"' + "a" * 100_000 + '"', "[]", "{}"),
    *("[" * 80 + "]" * 80, "{a=" * 30 + "1" + "}" * 30, "[" + "1," * 20_000 + "]", '"../../etc/passwd"', '"/dev/zero"'),
    *(
        '"/vsicurl/http://127.0.0.1:9/a.tif"',
        '"http://127.0.0.1:9/a"',
        '"file:///etc/passwd"',
        '"\\u0000"',
        '"\\u202e"',
    ),
    *('"."', '".."', '"NETCDF:a.nc:b"', '"' + "../" * 2000 + '"', "0.5", "3", "-1", '"en"', "['a', 'b']", "[true]"),
)
TOKENS = (
    *(b"[[", b"]]", b"[a]\n", b"=", b'"""', b"'''", b"\n", b"\r", b"\0", b"\xff", b"\xef\xbb\xbf", b"[inventory]\n"),
    *(b"[[scenario]]\nname='x'\n", b"a.b.c.d=1\n", b"[" * 300, b"\\", b"\x1b[31m", b"#", b"[scenario.well]\n"),
)


def twisted(text: str, rng: random.Random) -> str:
    """The same with values replaced and lines moved, doubled or dropped."""
    lines = text.splitlines()
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(lines))
        kind = rng.randrange(5)
        if kind < 3:
            lines[at] = re.sub(r"=\s*.*", lambda _: "= " + rng.choice(VALUES), lines[at], count=1)
        elif kind == 3:
            lines.insert(rng.randrange(len(lines)), lines[at])
        else:
            del lines[at]
    return "\n".join(lines)


def numbers(value: Any) -> Iterator[float]:
    """Every number of nested tables and lists."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for one in value:
            yield from numbers(one)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield value


def read_or_refuse(path: Path) -> None:
    """One plan read, with finite numbers and files that are files, or refused with faults that have all words."""
    try:
        loaded = read_plan(path)
    except PlanError as error:
        clear(error.faults)
        assert len(error.faults) < 1000
        return
    assert all(math.isfinite(one) for one in numbers(loaded.plan.model_dump()))
    for name in input_files(loaded.plan).values():
        assert loaded.resolve(name).is_file()


@pytest.fixture(scope="module")
def seed_text(plan_text: str) -> str:
    head, _, tail = plan_text.partition("[output]")
    return head + MORE + "\n[output]" + tail


@pytest.fixture
def attempt(seed_text: str, tmp_path: Path) -> Try:
    """Damage the plan, its values or its bytes, and read it."""
    for name in ("wells.csv", "area.geojson", "solar.tif", "water_level.tif", "well_yield.tif"):
        (tmp_path / name).write_bytes(b"x")

    def run(name: str, rng: random.Random) -> None:
        text = twisted(seed_text, rng)
        data = damaged(seed_text.encode(), rng, TOKENS) if name == "bytes" else text.encode("utf-8", "surrogatepass")
        (tmp_path / "plan.toml").write_bytes(data)
        read_or_refuse(tmp_path / "plan.toml")

    return run


NAMES = ("values", "bytes")


def test_the_seed_is_a_plan(seed_text: str, attempt: Try, tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(seed_text, encoding="utf-8")
    loaded = read_plan(path)
    assert len(loaded.scenarios) == 1 and loaded.plan.lots.count == 2


def test_damaged_plans_are_read_or_refused(attempt: Try) -> None:
    for seed in range(150):
        for name in NAMES:
            attempt(name, random.Random(seed))


def refused(tmp_path: Path, text: str | bytes) -> str:
    path = tmp_path / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    clear(caught.value.faults)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a = " + "[" * 5000, "TOML"),
        ("a = " + "{b=" * 2000, "TOML"),
        (".".join("a" * 3000) + " = 1", "tables in one another"),
        ("[" + ".".join("a" * 3000) + "]", "tables in one another"),
        ("a = " + "9" * 5000, "TOML"),
        ("a = 1979-13-45", "TOML"),
        ('a = "' + "x" * 3_000_000 + '"', "at most 2 MB"),
        ("\n".join(f"k{number} = 1" for number in range(5000)), "faults more"),
        ("\n".join(f"[s{number}]" for number in range(5000)), "faults more"),
        ("[[scenario]]\nname = 'x'\n" * 3000, "at most 200 scenarios"),
        ("[inventory]\nfile = 'a'\nfile = 'b'", "TOML"),
        ("[inventory]\nfile = '/dev/zero'", "no file at"),
        ("[inventory]\nfile = '/vsistdin/'", "not an address"),
        ("[inventory]\nfile = 'http://127.0.0.1:9/a.csv'", "not an address"),
        ("[inventory]\nfile = '.'", "no file at"),
        ("[demand]\nnorm_l_person_day = true", "not true or false"),
        ("[demand]\nseason = [true, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]", "not true or false"),
        ("[demand]\nnorm_l_person_day = 1e300", "at most 1e+18"),
        ("[demand]\nnorm_l_person_day = 2026-01-01", "a valid number"),
        ("[well]\ntested_share = { bailer = true }", "not true or false"),
        ("x = '" + "[" * 100_000 + "'\n[programme]\nnmae = 1", "'name'"),
    ],
    ids=range(21),
)
def test_plans_beyond_all_measure(tmp_path: Path, text: str, told: str) -> None:
    assert told in refused(tmp_path, text)


def test_a_plan_that_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "loop.toml").symlink_to(tmp_path / "loop.toml")
    for path in (tmp_path / "pipe.toml", Path("/dev/zero"), tmp_path, tmp_path / "loop.toml"):
        with pytest.raises(PlanError) as caught:
            read_plan(path)
        clear(caught.value.faults)


def test_inputs_that_are_pipes_are_not_waited_for(tmp_path: Path, seed_text: str) -> None:
    os.mkfifo(tmp_path / "wells.csv")
    told = refused(tmp_path, seed_text)
    assert "no file at 'wells.csv'" in told


@pytest.mark.fuzz
def test_damaged_plans_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
