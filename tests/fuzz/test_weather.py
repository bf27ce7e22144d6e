"""Damaged and hostile weather files: read, or refused with clear faults; never a traceback, no odd numbers."""

from __future__ import annotations

import random
import re
from pathlib import Path

import numpy as np
import pvlib
import pytest

from planner.errors import WeatherError
from planner.tables.weather_file import read_weather
from tests.fuzz.damage import Try, clear, damaged, for_minutes
from tests.tables.test_weather_file import epw

CELLS = (
    *("", "nan", "inf", "-inf", "1e400", "-9999", "9999", "99.9", "-1", "0", "1e9", "1,5", "x", "25", "366", "-0.0"),
    *("9" * 400, "\u0663", "0x10", "1e-400", " 5 ", "True", "=1+1", "2001-01-01"),
)
TOKENS = (b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\n", b"\r", b",", b";", b'"', b"LOCATION,", b"DATA PERIODS", b"1e999")


def seeds() -> dict[str, bytes]:
    """A year of each kind: one of a clear sky in EPW, and the TMY3 and TMY2 files that pvlib ships."""
    shipped = Path(pvlib.__file__).parent / "data"
    return {
        "a.epw": "\n".join(epw()).encode(),
        "a.csv": (shipped / "703165TY.csv").read_bytes(),
        "a.tm2": (shipped / "12839.tm2").read_bytes(),
    }


def twisted(data: bytes, rng: random.Random) -> bytes:
    """The same with cells of a few lines, of the header or of one whole column replaced, or lines lost or doubled."""
    lines = data.decode("latin-1").splitlines()
    kind = rng.randrange(4)
    if kind == 0:
        for _ in range(rng.choice((1, 3, 200))):
            at = rng.randrange(len(lines))
            cells = lines[at].split(",")
            cells[rng.randrange(len(cells))] = rng.choice(CELLS)
            lines[at] = ",".join(cells)
    elif kind == 1:
        column, text = rng.randrange(25), rng.choice(CELLS)
        for at in range(10, len(lines)):
            cells = lines[at].split(",")
            cells[min(column, len(cells) - 1)] = text
            lines[at] = ",".join(cells)
    elif kind == 2:
        at = rng.randrange(min(9, len(lines)))
        lines[at] = re.sub(r"-?\d+(\.\d+)?", lambda _: rng.choice(CELLS), lines[at], count=rng.choice((1, 2, 20)))
    else:
        at, length = rng.randrange(len(lines)), rng.choice((1, 24, 800, 8000))
        lines = lines[:at] + lines[at : at + length] * rng.choice((0, 2)) + lines[at + length :]
    return "\n".join(lines).encode("utf-8", "replace")


def read_or_refuse(path: Path) -> None:
    """One file read, its numbers finite and its light not negative, or refused with faults that have all words."""
    try:
        weather, findings = read_weather(path.name, path)
    except WeatherError as error:
        clear(error.faults)
        return
    for name, values in weather._asdict().items():
        assert np.isfinite(values).all(), name
    assert weather.ghi_w_m2.min() >= 0 and weather.ghi_w_m2.size in {8760, 8784}
    assert all(one.row == 0 for one in findings)


@pytest.fixture(scope="module")
def corpus() -> dict[str, bytes]:
    return seeds()


@pytest.fixture
def attempt(corpus: dict[str, bytes], tmp_path: Path) -> Try:
    """Damage the seed of this name and read it."""

    def run(name: str, rng: random.Random) -> None:
        data = corpus[name]
        path = tmp_path / f"{rng.randrange(10**9)}{Path(name).suffix}"  # a file of one name and size is read once
        path.write_bytes(twisted(data, rng) if rng.random() < 0.6 else damaged(data, rng, TOKENS))
        read_or_refuse(path)
        path.unlink()

    return run


NAMES = ("a.epw", "a.csv", "a.tm2")


def test_damaged_weather_is_read_or_refused(attempt: Try) -> None:
    for seed in range(4):
        for name in NAMES:
            attempt(name, random.Random(seed))


@pytest.mark.fuzz
def test_damaged_weather_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
