"""Rows of text cells, held column by column: a list of lists of a large table takes ten times as much memory."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, overload

import pandas as pd
import pyarrow as pa

_ROWS = 10_000  # that are turned into columns together


class TextRows(Sequence[list[str]]):
    """Rows of `width` cells each; to those who take a row at a time they are lists of text."""

    def __init__(self, rows: Iterable[Sequence[str]], width: int) -> None:
        blocks: list[list[pa.Array]] = [[] for _ in range(width)]
        self._count, source = 0, iter(rows)
        while some := list(islice(source, _ROWS)):
            self._count += len(some)
            for block, cells in zip(blocks, zip(*some, strict=True), strict=True):
                block.append(pa.array(cells, type=pa.large_string()))
        self._columns = [pa.chunked_array(block, type=pa.large_string()) for block in blocks]

    def column(self, place: int) -> pa.ChunkedArray:
        """The cells of one column."""
        return self._columns[place]

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> list[str]: ...
    @overload
    def __getitem__(self, at: slice) -> list[list[str]]: ...
    def __getitem__(self, at: int | slice) -> list[str] | list[list[str]]:
        if isinstance(at, slice):
            return [self[place] for place in range(*at.indices(self._count))]
        place = range(self._count)[at]
        return [column[place].as_py() for column in self._columns]

    def __iter__(self) -> Iterator[list[str]]:
        for start in range(0, self._count, _ROWS):
            cells = [column.slice(start, _ROWS).to_pylist() for column in self._columns]
            yield from map(list, zip(*cells, strict=True))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]


def column_of(rows: Sequence[Sequence[str]], place: int) -> Any:
    """The cells of one column as an array of pandas' text."""
    if isinstance(rows, TextRows):
        return pd.array(rows.column(place), dtype="str")
    return pd.array([row[place] for row in rows], dtype="str")
