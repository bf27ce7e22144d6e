"""Columns of a large table in a file that the system reads as they are asked for.

A nation of a million sites has some three hundred columns: more than a laptop's memory, and each step reads a few. The
file has no name where the system allows that, so nothing is left behind whatever ends the run.
"""

from __future__ import annotations

import mmap
import tempfile
import warnings
import weakref
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

ROWS = 50_000  # smaller tables stay in memory


class ColumnsOnDisk:
    """Frames of one table, each in a file of `folder`; without a folder they stay as they are."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self._maps: list[weakref.ref[mmap.mmap]] = []  # a file goes with the last frame that reads it

    def keep(self, frame: pd.DataFrame, rows: int) -> pd.DataFrame:
        """The same frame in a file, if the table has many rows; in memory where none can be written.

        Columns are numbers, flags, text or categories; `frame` may have another number of rows than the table. In
        memory columns of a kind lie together, since pandas warns of many that lie apart; here that is on purpose.
        """
        if self.folder is None or rows < ROWS or frame.empty:
            return frame.copy()
        warnings.simplefilter("ignore", pd.errors.PerformanceWarning)
        try:
            mapped = _mapped(_written(frame), self.folder)
        except OSError:
            return frame
        self._maps.append(weakref.ref(mapped))
        stored = pa.ipc.open_file(pa.BufferReader(pa.py_buffer(mapped))).read_all()
        columns = {name: _column(stored.column(place), frame[name]) for place, name in enumerate(frame.columns)}
        return pd.DataFrame(columns, index=frame.index, copy=False)

    def release(self) -> None:
        """Have the system take back the memory of what was read; it is read again when it is asked for."""
        if hasattr(mmap, "MADV_DONTNEED"):
            for one in self._maps:
                if (mapped := one()) is not None:
                    mapped.madvise(mmap.MADV_DONTNEED)


def _written(frame: pd.DataFrame) -> pa.Table:
    arrays = []
    for name in frame.columns:
        values = frame[name]
        if values.dtype == "str":
            texts = pa.array(values, type=pa.large_string())
            arrays.append(texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts)
        else:
            kept = values.cat.codes if isinstance(values.dtype, pd.CategoricalDtype) else values
            numbers = np.ascontiguousarray(kept.to_numpy())
            arrays.append(pa.array(numbers.view("uint8") if numbers.dtype == bool else numbers))
    return pa.Table.from_arrays(arrays, names=[str(name) for name in frame.columns])


def _mapped(table: pa.Table, folder: Path) -> mmap.mmap:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryFile(dir=folder) as file:
        with pa.ipc.new_file(file, table.schema) as writer:
            writer.write_table(table)
        file.flush()
        return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def _column(stored: pa.ChunkedArray, was: pd.Series) -> pd.Series:
    if was.dtype == "str":
        return pd.Series(pd.array(stored, dtype="str"), index=was.index, copy=False)
    values = stored.chunk(0).to_numpy(zero_copy_only=True)
    if isinstance(was.dtype, pd.CategoricalDtype):
        texts = pd.Categorical.from_codes(values, dtype=was.dtype, validate=False)
        return pd.Series(texts, index=was.index, copy=False)
    return pd.Series(values.view("bool") if was.dtype == bool else values, index=was.index, copy=False)
