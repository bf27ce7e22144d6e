"""Rows held column by column are the rows."""

from __future__ import annotations

import pytest

from planner.tables.files import text_rows
from planner.tables.files.text_rows import TextRows, column_of

ROWS = [["A", "", "é"], ["B", "1\n2", "=x"], ["C", " ", "漢"], ["", "", ""], ["E", "5", "6"]]


@pytest.mark.parametrize("block", [1, 2, 5, 100])
def test_rows_come_back_in_order(block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_rows, "_ROWS", block)
    rows = TextRows(iter(ROWS), 3)
    assert len(rows) == 5 and list(rows) == ROWS and rows == ROWS
    assert rows[0] == ROWS[0] and rows[-1] == ROWS[-1] and rows[1:3] == ROWS[1:3]
    assert column_of(rows, 1).tolist() == column_of(ROWS, 1).tolist() == [row[1] for row in ROWS]
    with pytest.raises(IndexError):
        rows[5]


def test_no_rows_have_empty_columns() -> None:
    rows = TextRows([], 2)
    assert len(rows) == 0 and list(rows) == [] and column_of(rows, 1).tolist() == []
