"""Results of the engine as typed columns: the rows of a chunk at once, chunks gathered into the columns of a table.

Of a million sites only these columns are ever in memory: rows as records exist for one chunk at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from planner.engine.assess import FamilyRule, Results
from planner.glossary import Dtype, glossary

FIRST, BEHIND = "engine_status", "decision"  # columns of the glossary: the engine's first, and the first after them
SKIPPED = "skipped"  # engine_status of a row that was not assessed
TEXT = pa.dictionary(pa.int32(), pa.string())
RULES = pa.schema(
    [("site", pa.int32()), ("family", TEXT), ("rule", TEXT), ("value", pa.float64()), ("limit", pa.float64())]
)


@cache
def engine_names() -> dict[str, Dtype]:
    """The engine's columns and their types, in the order of the table."""
    names = list(glossary())
    return {name: glossary()[name].dtype for name in names[names.index(FIRST) : names.index(BEHIND)]}


def rows_table(rows: Sequence[Mapping[str, Any]]) -> pa.Table:
    """Records of sites as columns, in their order; a missing number is NaN, a missing text empty, a flag off."""
    data = {}
    for name, kind in engine_names().items():
        if kind == "text":
            data[name] = pa.array([row.get(name, "") for row in rows], pa.string()).dictionary_encode()
        elif kind == "flag":
            data[name] = pa.array([bool(row.get(name, False)) for row in rows], pa.bool_())
        else:
            data[name] = pa.array(np.array([row.get(name, np.nan) for row in rows], dtype=np.float64))
    return pa.table(data)


def rules_table(rules: Sequence[FamilyRule], inventory_row: NDArray[np.int64]) -> pa.Table:
    """What decided each family, `site` being the place in `inventory_row`."""
    place = {int(row): number for number, row in enumerate(inventory_row)}
    sites = pa.array([place[rule.inventory_row] for rule in rules], pa.int32())
    texts = [pa.array([getattr(rule, name) for rule in rules], pa.string()).cast(TEXT) for name in ("family", "rule")]
    numbers = [pa.array([float(getattr(rule, name)) for rule in rules], pa.float64()) for name in ("value", "limit")]
    return pa.table([sites, *texts, *numbers], schema=RULES)


def engine_tables(results: Results, inventory_row: NDArray[np.int64]) -> tuple[pa.Table, pa.Table]:
    """Results of a chunk, a row for each of `inventory_row` and in its order, and what decided each family."""
    return rows_table(results.rows), rules_table(results.rules, inventory_row)


class Texts:
    """A text column filled piece by piece: a number for each row, each different text once."""

    def __init__(self, size: int, empty: str = "") -> None:
        self._numbers = np.zeros(size, dtype=np.int32)
        self._words = {empty: 0}

    def put(self, places: NDArray[np.int64] | slice, column: pa.ChunkedArray) -> None:
        """Fill some places from a dictionary-encoded column."""
        self._numbers[places] = numbered(column, self._words)

    def array(self) -> Any:
        """The column as pandas keeps text."""
        words = pa.array(list(self._words), pa.large_string())
        texts = pa.DictionaryArray.from_arrays(self._numbers, words).dictionary_decode()
        kind: Any = pd.StringDtype(na_value=np.nan)
        return kind.__from_arrow__(texts)


def numbered(column: pa.ChunkedArray, words: dict[str, int]) -> NDArray[np.int32]:
    """A dictionary-encoded column by the numbers of its texts in `words`, which grows by those that are new."""
    found = [np.zeros(0, dtype=np.int32)]
    for part in column.chunks:
        known = [words.setdefault(word, len(words)) for word in part.dictionary.to_pylist()]
        found.append(np.array(known, dtype=np.int32)[part.indices.to_numpy()])
    return np.concatenate(found)


class Gathered:
    """The engine's columns of a whole table, filled chunk by chunk; a row that never comes is `skipped`.

    Numbers that stand side by side in the table are one block, as pandas has them: nothing is copied at the end.
    """

    def __init__(self, size: int) -> None:
        self._texts: dict[str, Texts] = {}
        self._values: dict[str, NDArray[Any]] = {}
        self._blocks: list[tuple[list[str], NDArray[Any] | None]] = []
        for kind, run in groupby(engine_names().items(), key=lambda item: _kind(item[1])):
            names = [name for name, _ in run]
            block = None
            if kind == "text":
                self._texts |= {name: Texts(size, SKIPPED if name == FIRST else "") for name in names}
            else:
                shape = (len(names), size)
                block = np.zeros(shape, dtype=bool) if kind == "flag" else np.full(shape, np.nan)
                self._values |= dict(zip(names, block, strict=True))
            self._blocks.append((names, block))

    def put(self, places: NDArray[np.int64], table: pa.Table) -> None:
        """Fill in a chunk. places: of its sites among the rows of the whole table."""
        for name, values in self._values.items():
            values[places] = table.column(name).to_numpy()
        for name, texts in self._texts.items():
            texts.put(places, table.column(name))

    def frame(self, index: pd.Index) -> pd.DataFrame:
        """The columns with the index of the table; nothing can be put in any more."""
        frames = []
        for names, block in self._blocks:
            data: Any = {name: self._texts.pop(name).array() for name in names} if block is None else block.T
            frames.append(pd.DataFrame(data, index=index, columns=names, copy=False))
        return pd.concat(frames, axis=1)


def _kind(dtype: Dtype) -> str:
    return dtype if dtype in {"text", "flag"} else "number"


class GatheredRules:
    """What decided each family at each site, gathered chunk by chunk; texts as numbers."""

    def __init__(self) -> None:
        self._words: dict[str, dict[str, int]] = {"family": {}, "rule": {}}
        self._pieces: dict[str, list[NDArray[Any]]] = {name: [] for name in ("inventory_row", *RULES.names[1:])}

    def put(self, inventory_row: NDArray[np.int64], table: pa.Table) -> None:
        """Add those of a chunk with the given sites."""
        self._pieces["inventory_row"].append(inventory_row[table.column("site").to_numpy()])
        for name in RULES.names[1:]:
            column = table.column(name)
            words = self._words.get(name)
            self._pieces[name].append(column.to_numpy() if words is None else numbered(column, words))

    def frame(self) -> pd.DataFrame:
        """inventory_row, family, rule (categories), value, limit; by row, then as the engine has its families."""
        if not self._pieces["inventory_row"]:
            return pd.DataFrame(columns=list(self._pieces))
        order = np.argsort(np.concatenate(self._pieces["inventory_row"]), kind="stable")
        data: dict[str, Any] = {
            name: np.concatenate(self._pieces.pop(name))[order] for name in ("inventory_row", *RULES.names[1:])
        }
        for name, words in self._words.items():
            data[name] = pd.Categorical.from_codes(data[name], pd.Index(list(words)))
        return pd.DataFrame(data, copy=False)
