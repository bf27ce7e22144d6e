"""Damaged and hostile forms that come back: used in copies, or refused; inventory, plan and what stood there stay."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter

from planner.commands.update.command import update
from planner.errors import InputError
from tests.commands.test_update import TEST, UNTESTED, send_back
from tests.fuzz.damage import Try, clear, damaged, damaged_inside, for_minutes
from tests.fuzz.test_readers import TOKENS

CELLS = (
    *(
        "",
        "nan",
        "inf",
        "-1",
        "0",
        "1e400",
        "9" * 400,
        "5,2",
        "1.234,5",
        "2 L/s",
        "30.2.2025",
        "31/12/1899",
        "=1+1",
        "yes",
    ),
    *(
        "999999999999",
        "2",
        "3",
        "W001",
        "W000",
        "\u202e",
        "\x1b[31m",
        "a" * 33_000,
        "<b>",
        "=HYPERLINK(1)",
        "-9,5",
        "91",
    ),
    *("0123456789ab", "constant rate", "x" * 300, "\u0665", "TRUE", "n/a", "12 m", "> 5"),
)


def twisted(data: bytes, rng: random.Random) -> bytes:
    """The same with cells replaced, rows doubled, columns dropped or named otherwise."""
    rows = list(csv.reader(io.StringIO(data.decode())))
    for _ in range(rng.choice((1, 2, 4, 12))):
        at, kind = rng.randrange(len(rows)), rng.randrange(7)
        if kind < 5:
            row = rows[at] if rng.random() < 0.1 else rows[-1 - rng.randrange(max(1, len(rows) - 1))]
            row[rng.randrange(len(row))] = rng.choice(CELLS)
        elif kind == 5:
            rows.insert(at + 1, list(rows[at]))
        elif len(rows[0]) > 3:
            column = rng.randrange(len(rows[0]))
            rows = [row[:column] + row[column + 1 :] for row in rows]
    text = io.StringIO()
    csv.writer(text, delimiter=rng.choice(",,;\t")).writerows(rows)
    return text.getvalue().encode(rng.choice(("utf-8", "utf-8", "utf-16", "cp1252")), "replace")


def as_workbook(data: bytes) -> bytes:
    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("Form")
        for number, row in enumerate(csv.reader(io.StringIO(data.decode()))):
            for column, cell in enumerate(row):
                sheet.write_string(number, column, cell)
    return file.getvalue()


@pytest.fixture(scope="module")
def programme(make_programme: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A plan with three wells, and the form that came back with two tests and a new well."""
    plan = make_programme(tmp_path_factory.mktemp("forms"), [{}, UNTESTED, {}])
    new = {"site_id": "NEW", "gps_latitude": "-9.9", "gps_longitude": "30.3", **TEST}
    back = send_back(plan, {1: {**TEST, "remarks": "fence"}, 2: TEST, 3: {}}, [new])
    data = back.read_bytes()
    back.unlink()
    return plan, data


@pytest.fixture
def attempt(programme: tuple[Path, bytes], tmp_path: Path) -> Try:
    """Damage the form and take it in."""
    plan, form = programme
    whole = {"form.csv": form, "form.xlsx": as_workbook(form)}
    before = {path: path.read_bytes() for path in plan.parent.iterdir() if path.is_file()}

    def run(name: str, rng: random.Random) -> None:
        data = whole[name]
        if name == "form.xlsx":
            twist = rng.random() < 0.2
            data = damaged(data, rng, TOKENS) if twist else damaged_inside(data, rng, TOKENS)
        else:
            data = twisted(data, rng) if rng.random() < 0.7 else damaged(data, rng, TOKENS)
        (tmp_path / name).write_bytes(data)
        try:
            done = update(plan, tmp_path / name, run=False)
        except InputError as error:
            clear(error.faults)
        else:
            for path in (done.plan, done.inventory, done.changes):
                path.unlink()
        assert {path: path.read_bytes() for path in plan.parent.iterdir() if path.is_file()} == before

    return run


NAMES = ("form.csv", "form.xlsx")


def test_the_seeds_are_forms(programme: tuple[Path, bytes], tmp_path: Path) -> None:
    plan, form = programme
    for name, data in (("form.csv", form), ("form.xlsx", as_workbook(form))):
        (tmp_path / name).write_bytes(data)
        done = update(plan, tmp_path / name, run=False)
        for path in (done.plan, done.inventory, done.changes):
            path.unlink()


def test_damaged_forms_are_used_or_refused(attempt: Try) -> None:
    for seed in range(4):
        for name in NAMES:
            attempt(name, random.Random(seed))


@pytest.mark.fuzz
def test_damaged_forms_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
