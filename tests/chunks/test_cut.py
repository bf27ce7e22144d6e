"""Where sites are cut into chunks: by what the rows say. Bounds on sizes and on what moves are our own rule."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.chunks.cut import LONGEST, cut, part_of
from tests.chunks.light import Rows, rows_of


def contents(rows: Rows, sites: int) -> list[bytes]:
    """Every chunk by what is in it, its place in the file left out."""
    return [part_of(rows, one).value.tobytes() + part_of(rows, one).months.tobytes() for one in cut(rows, sites)]


@pytest.mark.parametrize("sites", [1, 3, 8, 64])
def test_every_row_is_in_one_chunk_and_none_is_long(sites: int) -> None:
    found = cut(rows_of(1000), sites)
    assert [one.start for one in found] == [0, *(one.stop for one in found[:-1])]
    assert found[-1].stop == 1000
    assert max(one.stop - one.start for one in found) <= LONGEST * sites
    assert 0.5 * sites <= 1000 / len(found) <= 1.5 * sites


def test_no_rows_no_chunk() -> None:
    assert cut(rows_of(0), 5) == []


def test_equal_rows_do_not_fall_apart() -> None:
    same = Rows(np.arange(1, 501), np.full(500, 0.25), np.full((500, 12), 0.5))
    assert len(cut(same, 8)) == -(-500 // 16)


@given(st.integers(0, 299), st.sampled_from(["insert", "drop", "change"]))
def test_one_row_moves_one_chunk_or_two(place: int, what: str) -> None:
    rows = rows_of(300)
    one = rows_of(1, seed=place + 1000)
    values, months = rows.value, rows.months
    if what == "insert":
        values, months = np.insert(values, place, one.value), np.insert(months, place, one.months, axis=0)
    elif what == "drop":
        values, months = np.delete(values, place), np.delete(months, place, axis=0)
    else:
        values = values.copy()
        values[place] = one.value[0]
    changed = Rows(np.arange(1, values.size + 1), values, months)
    new = set(contents(changed, 16)) - set(contents(rows, 16))
    # a long run without a boundary of its own is cut by length: there a few pieces of the same run may move
    assert len(new) <= 5
    apart = [one for one in contents(changed, 16) if one in set(contents(rows, 16))]
    assert len(apart) >= len(contents(rows, 16)) - 6


def test_on_average_an_inserted_row_costs_less_than_two_chunks() -> None:
    rows, known = rows_of(600), set(contents(rows_of(600), 16))
    moved = []
    for place in range(0, 600, 5):
        one = rows_of(1, seed=place + 1000)
        values, months = np.insert(rows.value, place, one.value), np.insert(rows.months, place, one.months, axis=0)
        moved.append(len(set(contents(Rows(np.arange(601), values, months), 16)) - known))
    assert np.mean(moved) < 2.0


def test_the_place_in_the_file_moves_nothing() -> None:
    rows = rows_of(300)
    assert cut(rows, 8) == cut(dataclasses.replace(rows, inventory_row=rows.inventory_row + 40), 8)
