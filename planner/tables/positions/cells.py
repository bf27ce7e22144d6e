"""The two position columns as numbers, and what is said about how they were written."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.tables.cells.read import PLAIN_NUMBER, findings_for
from planner.tables.positions.degrees import METRES_A_DEGREE, decimals_of, read_angle, read_metres, unpack
from planner.tables.step import Finding

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

COARSE_DEG = 0.01  # last figure of both coordinates: half of it is 560 m, more than a raster's cell; our own rule
PACKED_ROWS = 12  # so many in a row look packed by chance once in 0.36^-12 = 200 000 columns; our own rule
PACKED_SHARE = 0.05  # rows of four decimals among others that have more: fewer than this stand out; our own rule

_LIMIT = {"latitude": 90.0, "longitude": 180.0}


@dataclass(frozen=True)
class Column:
    """One position column, a row each.

    number     as written; an angle in degrees, signed; missing where the cell is empty or cannot be read
    letter     N, S, E, W, O or ""
    marked     written as an angle: it is no distance
    whole      a plain number without a decimal point
    decimals   figures behind the point of a plain number, -1 elsewhere
    step_deg   place value of the last figure, read as degrees
    unread, nines, rewritten   cells that cannot be read; that are all nines; that are no plain number but read
    """

    name: str
    number: Floats
    letter: npt.NDArray[np.str_]
    marked: Bools
    whole: Bools
    decimals: npt.NDArray[np.int64]
    step_deg: Floats
    unread: Bools
    nines: Bools
    rewritten: Bools


def read_column(name: str, cells: pd.Series, *, metres: bool, packed: str = "") -> Column:
    """Read a column's cells (text without outer spaces).

    packed  a form of degrees.PACKED, if the plan says that plain numbers are minutes and seconds
    """
    count = len(cells)
    plain = cells.str.fullmatch(PLAIN_NUMBER).to_numpy(dtype=bool)
    texts = cells[plain].tolist()
    number, decimals = np.full(count, np.nan), np.full(count, -1, dtype=np.int64)
    number[plain] = [float(one) for one in texts]
    decimals[plain] = [decimals_of(one) for one in texts]
    whole = plain & (decimals == 0)
    unread = plain & ~np.isfinite(number)
    number[unread] = np.nan
    step, marked, letter = np.full(count, np.nan), np.zeros(count, dtype=bool), np.full(count, "", dtype="U1")
    step[plain] = 10.0 ** -decimals[plain]
    large = plain if metres else plain & (np.abs(number) > _LIMIT.get(name, 180.0))
    nines = np.zeros(count, dtype=bool)
    nines[large] = cells[large].str.fullmatch(r"-?9{2,}(?:\.[09]*)?").to_numpy(dtype=bool)
    if packed:
        number[plain] = [unpack(one, packed) for one in number[plain].tolist()]
        step[plain] /= 3600 / 10_000
        unread |= plain & np.isnan(number)
    rewritten = np.zeros(count, dtype=bool)
    odd = np.flatnonzero(~plain & (cells != "").to_numpy())
    known: dict[str, tuple[float, str, float, bool]] = {}
    for place, text in zip(odd.tolist(), cells.iloc[odd].tolist(), strict=True):
        if text not in known:
            known[text] = _read(text, metres)
        number[place], letter[place], step[place], marked[place] = known[text]
        unread[place] = math.isnan(number[place])
        rewritten[place] = not unread[place]
    return Column(name, number, letter, marked, whole, decimals, step, unread, nines, rewritten)


def _read(text: str, metres: bool) -> tuple[float, str, float, bool]:
    """Number, letter, last place in degrees and whether marked, of a cell that is no plain number."""
    angle = read_angle(text)
    if angle is not None and abs(angle.degrees) <= 180 and (angle.marked or not metres):
        return angle.degrees, angle.letter, angle.step, angle.marked
    return read_metres(text), "", math.nan, False


def coarse_findings(north: Column, east: Column, where: Bools, site_id: pd.Series, old: pd.Series) -> list[Finding]:
    """Positions in degrees with two decimals or fewer, with half of the last figure in m."""
    step = np.where(where, np.minimum(north.step_deg, east.step_deg), 0.0)
    coarse = step > 0.99 * COARSE_DEG
    rows = site_id.index[coarse]
    half = (np.maximum(north.step_deg, east.step_deg)[coarse] / 2 * METRES_A_DEGREE).tolist()
    new = pd.Series([f"±{rounded(one)} m" for one in half], index=rows, dtype="str")
    return findings_for(rows, site_id, north.name, "coarse_position", "info", old=old, new=new)


def packed_findings(north: Column, east: Column, where: Bools, site_id: pd.Series, old: pd.Series) -> list[Finding]:
    """Columns, and single rows among others, whose decimals could be minutes and seconds: told, never converted."""
    apart, looks = [], []
    for column in (north, east):
        plain = where & (column.decimals >= 3) & ~column.marked
        other = np.full(len(plain), np.nan)
        # Rounded, since 0.5800 as a binary number is a little less.
        size = np.round(np.abs(column.number[plain]) % 1 * 1e4, 5)
        minutes, seconds = np.floor(size / 100), np.round(size % 100, 5)
        decimal = np.floor(np.abs(column.number[plain])) + minutes / 60 + seconds / 3600
        fits = (minutes < 60) & (seconds < 60)
        other[plain] = np.where(fits, np.abs(decimal - np.abs(column.number[plain])) * METRES_A_DEGREE, np.nan)
        apart.append(other)
        looks.append(np.isfinite(other))
    findings = []
    used = np.flatnonzero(where)
    for column, other, fits in zip((north, east), apart, looks, strict=True):
        told = where & (column.decimals >= 3)
        if len(np.unique(column.number[told])) >= PACKED_ROWS and fits[told].all() and told[used].mean() > 0.9:
            new = f"up to {rounded(float(np.nanmax(other)))} m apart if the decimals are minutes and seconds"
            findings.append(Finding(0, "", column.name, "packed_angle", "warning", "", new))
    four = where & (north.decimals == 4) & (east.decimals == 4)
    if not findings and len(used) >= 20 and four.sum() <= PACKED_SHARE * len(used):
        odd = four & looks[0] & looks[1]
        metres = np.hypot(apart[0], apart[1])[odd].tolist()
        rows = site_id.index[odd]
        new_texts = pd.Series([_apart(one) for one in metres], index=rows, dtype="str")
        findings += findings_for(rows, site_id, north.name, "packed_angle", "warning", old=old, new=new_texts)
    return findings


def _apart(metres: float) -> str:
    return f"{rounded(metres)} m apart if the decimals are minutes and seconds"


def rounded(metres: float) -> str:
    """Two figures."""
    return f"{float(f'{metres:.1e}'):.10g}"
