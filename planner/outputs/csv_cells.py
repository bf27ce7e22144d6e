"""Columns of a large table as cells of a CSV file: whole columns at once in arrow, in place of cell by cell."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from planner.texts.digits import significant

SIGNIFICANT = 6
LEAST_PLAIN = 1e-4  # below, Python writes an exponent
MOST_WHOLE = 9e15  # whole numbers up to it are exact
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
FORMULA = r"^[=+\-@\t\r]"
QUOTED = '[,"\r\n]'

Cells = Any  # arrow's array of texts, one a row; pyarrow has no types of its own


def safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe goes before = + - @, tab and return."""
    formula = text[:1] in {"=", "+", "-", "@", "\t", "\r"} and not NUMBER.fullmatch(text)
    return "'" + text if formula else text


def quoted(cell: str) -> str:
    """A cell in quotes where it needs them (RFC 4180). The csv module leaves a lone return bare, and a reader breaks
    the line there."""
    return '"' + cell.replace('"', '""') + '"' if any(mark in cell for mark in ',"\r\n') else cell


def number(value: float, rounded: bool) -> str:
    """A number as it stands in a table: six significant digits, or all of them; whole above a million."""
    if np.isnan(value):
        return ""
    if not rounded:
        return repr(value)
    text = f"{value:.{SIGNIFICANT}g}"
    return f"{value:.0f}" if "e+" in text else text


def cells_of(values: pd.Series, dtype: str, rounded: bool) -> Cells:
    """The cells of a column; dtype: of the glossary. Text is safe and quoted where it needs to be."""
    if dtype == "text":
        return text_cells(values)
    if dtype == "flag":
        whole = values.astype("boolean").astype("Int8")
        return pc.fill_null(pa.array(whole, from_pandas=True).cast(pa.string()), "")
    if dtype == "integer":
        known = np.asarray(values.astype("float64"), dtype=np.float64)
        return pc.fill_null(_whole(known).cast(pa.string()), "")
    return _numbers(np.asarray(values.astype("float64"), dtype=np.float64), rounded)


def text_cells(values: pd.Series) -> Cells:
    """Foreign text as cells."""
    cells = pa.array(values, type=pa.large_string(), from_pandas=True)
    cells = cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells
    cells = pc.fill_null(cells.cast(pa.string()), "")
    suspect = pc.match_substring_regex(cells, FORMULA)
    if pc.any(suspect).as_py():
        some = [safe(text) for text in cells.filter(suspect).to_pylist()]
        cells = pc.replace_with_mask(cells, suspect, pa.array(some, type=pa.string()))
    in_quotes = pc.match_substring_regex(cells, QUOTED)
    if pc.any(in_quotes).as_py():
        doubled = pc.replace_substring(cells.filter(in_quotes), '"', '""')
        cells = pc.replace_with_mask(cells, in_quotes, pc.binary_join_element_wise('"', doubled, '"', ""))
    return cells


def write_block(file: BinaryIO, columns: Sequence[Cells]) -> None:
    """Write rows: the columns side by side."""
    if not len(columns[0]):
        return
    rows = pc.binary_join_element_wise(*columns, ",")
    lines = pc.binary_join_element_wise(rows, "\n", "")
    lines = lines.combine_chunks() if isinstance(lines, pa.ChunkedArray) else lines
    _, ends, data = lines.buffers()
    stop = np.frombuffer(ends, dtype=np.int32)
    file.write(memoryview(data)[stop[lines.offset] : stop[lines.offset + len(lines)]])


def _whole(values: NDArray[np.float64]) -> Cells:
    missing = np.isnan(values)
    return pa.array(np.where(missing, 0.0, values).astype(np.int64), mask=missing)


def _numbers(values: NDArray[np.float64], rounded: bool) -> Cells:
    missing = np.isnan(values)
    if missing.all():
        return pa.array([""], type=pa.string()).take(pa.array(np.zeros(values.size, dtype=np.int32)))
    if not rounded:
        return pa.array(["" if none else repr(one) for one, none in zip(values.tolist(), missing, strict=True)])
    shown = significant(values, SIGNIFICANT)
    size = np.abs(shown)
    large = (size >= 10**SIGNIFICANT) & (size < MOST_WHOLE)
    cells = pc.fill_null(pa.array(shown, mask=missing | large).cast(pa.string()), "")
    if large.any():
        whole = np.rint(values[large]).astype(np.int64)
        cells = pc.replace_with_mask(cells, pa.array(large), pa.array(whole).cast(pa.string()))
    odd = ~missing & (((size < LEAST_PLAIN) & (shown != 0.0)) | (size >= MOST_WHOLE))
    if odd.any():
        some = pa.array([number(value, rounded) for value in values[odd].tolist()], type=pa.string())
        cells = pc.replace_with_mask(cells, pa.array(odd), some)
    return cells
