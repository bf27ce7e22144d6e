"""Damaged and hostile tables of pumps, points and prices: loaded, or refused with clear faults; never a traceback."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.catalogue.loader import load_catalogue
from planner.errors import CatalogueError
from planner.plan import LoadedPlan
from tests.catalogue.test_catalogue import plan_with, rows_of, write_rows
from tests.catalogue.test_measured import centrifugal_points, helical_points, pump_rows
from tests.fuzz.damage import Try, clear, damaged, for_minutes

CELLS = (
    *(
        "",
        "nan",
        "inf",
        "-inf",
        "1e400",
        "1e308",
        "-1",
        "0",
        "-0",
        "1e-300",
        "1,5",
        "1_000",
        "0x10",
        "=1+1",
        "@SUM(A1)",
    ),
    *("9" * 400, "\u0663", "True", "<b>", "\u202eabc", "a" * 100_000, "USD", "usd", "share", "people", "Wp", "each"),
    *("1999.5", "2101", "\x1b[31m", '"', "\0", "HR10-12", "CF-M", "each\n", "surface", "induction", "yes"),
)
TOKENS = (b"\0", b"\xff", b"\xef\xbb\xbf", b'"', b",", b";", b"\n", b"\r", b"pump_id", b"price", b"1e999", b"=1+1")
PLAN = '[equipment]\npumps = "pumps.csv"\npump_points = "points.csv"\nprices = "prices.csv"\n'
MONEY = '[programme]\ncurrency = "KES"\n[costs]\nexchange_rate = { USD = 1e18 }\ninflation = 1.0\n'
NAMES = ("pumps.csv", "points.csv", "prices.csv")


def seeds(folder: Path) -> dict[str, bytes]:
    """Tables of two pumps, of points measured on them, and of some prices."""
    points = [{name: str(value) for name, value in one.items()} for one in centrifugal_points() + helical_points()]
    prices = rows_of("prices.csv")
    for name, rows in zip(NAMES, (pump_rows(), points, prices), strict=True):
        write_rows(folder / name, rows)
    return {name: (folder / name).read_bytes() for name in NAMES}


def twisted(data: bytes, rng: random.Random) -> bytes:
    """The same with cells, rows or columns replaced, doubled or dropped."""
    rows = list(csv.reader(io.StringIO(data.decode())))
    for _ in range(rng.choice((1, 1, 2, 10))):
        at, kind = rng.randrange(len(rows)), rng.randrange(6)
        if kind < 3 and rows[at]:
            rows[at][rng.randrange(len(rows[at]))] = rng.choice(CELLS)
        elif kind == 3:
            rows.insert(rng.randrange(len(rows)), list(rows[at]))
        elif kind == 4 and rows[0]:
            column = rng.randrange(len(rows[0]))
            rows = [row[:column] + row[column + 1 :] for row in rows]
        elif len(rows) > 1:
            del rows[at]
    text = io.StringIO()
    csv.writer(text, lineterminator=rng.choice(("\n", "\r\n", "\r"))).writerows(rows)
    return text.getvalue().encode(rng.choice(("utf-8", "utf-8-sig", "utf-16")), "replace")


def load_or_refuse(plan: LoadedPlan) -> None:
    """One catalogue with numbers and prices that are some, or refused with faults that have all words."""
    try:
        found = load_catalogue(plan)
    except CatalogueError as error:
        clear(error.faults)
        return
    arrays: tuple[Any, ...] = (found.pumps, found.drives, found.modules, found.risers, found.deliveries, found.tanks)
    for array in (*arrays, found.cables, found.prices, found.lives):
        for name, values in array._asdict().items():
            assert np.isfinite(values).all(), (type(array).__name__, name)
            assert "price" not in name or (np.asarray(values) >= 0).all(), name
    assert len(set(found.pump_ids)) == len(found.pump_ids) > 0


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return seeds(tmp_path_factory.mktemp("tables"))


@pytest.fixture
def attempt(corpus: dict[str, bytes], tmp_path: Path) -> Try:
    """Damage one of the three tables and load them."""
    for name, data in corpus.items():
        (tmp_path / name).write_bytes(data)
    plans = [plan_with(tmp_path, text) for text in (PLAN, f"{PLAN}{MONEY}")]

    def run(name: str, rng: random.Random) -> None:
        for one, data in corpus.items():
            if one == name:
                data = twisted(data, rng) if rng.random() < 0.7 else damaged(data, rng, TOKENS)  # noqa: PLW2901
            (tmp_path / one).write_bytes(data)
        load_or_refuse(rng.choice(plans))

    return run


def test_the_seeds_are_a_catalogue(corpus: dict[str, bytes], tmp_path: Path) -> None:
    for name, data in corpus.items():
        (tmp_path / name).write_bytes(data)
    assert load_catalogue(plan_with(tmp_path, PLAN)).pump_ids == ("CF-M", "HR-M")


def test_damaged_catalogues_are_loaded_or_refused(attempt: Try) -> None:
    for seed in range(40):
        for name in NAMES:
            attempt(name, random.Random(seed))


def refused(folder: Path, key: str, text: str | bytes) -> str:
    path = folder / "own.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(plan_with(folder, f'[equipment]\n{key} = "own.csv"\n'))
    clear(caught.value.faults)
    return str(caught.value)


@pytest.mark.parametrize("key", ["prices", "pumps"])
def test_tables_beyond_all_measure(tmp_path: Path, key: str) -> None:
    head = "item,unit,price,currency,price_year\n" if key == "prices" else "pump_id,family\n"
    assert "at most 20000 rows" in refused(tmp_path, key, head + "".join(f"x{row},each\n" for row in range(100_000)))
    assert "of 500 cells" in refused(tmp_path, key, "a," * 100_000 + "\n")
    assert "at most 20 MB" in refused(tmp_path, key, head + "x" * 21_000_000)
    told = refused(tmp_path, key, head + "".join(f"nozzle{row},each,1,USD,2026\n" for row in range(5000)))
    assert "expected" in told


@pytest.mark.fuzz
def test_damaged_catalogues_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
