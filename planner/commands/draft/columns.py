"""Which column of a table becomes which planner name: one each, the better of two, the rest left open."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from planner.commands.draft.headers import Meaning, understand
from planner.commands.draft.opening import RawTable, clip
from planner.commands.draft.units import UNIT_ASKED
from planner.glossary import glossary
from planner.tables.cells.read import fold, vocabulary

PLAIN_DECIMAL = re.compile(r"[+-]?[0-9]{1,12}(?:[.,][0-9]{1,12})?")


@dataclass(frozen=True)
class Column:
    """A column of the table with its meaning: `name` may differ from the meaning's where values decided."""

    header: str
    place: int
    rows: Sequence[Sequence[str]]
    meaning: Meaning
    name: str
    doubt: str
    beside: tuple[str, ...] = ()

    @cached_property
    def cells(self) -> list[str]:
        """Its cells, from the first data row to the last."""
        return [row[self.place] if self.place < len(row) else "" for row in self.rows]

    @cached_property
    def counts(self) -> dict[str, int]:
        """Its distinct texts without outer spaces, with how often; the empty one is left out."""
        counts: dict[str, int] = {}
        for cell, count in Counter(self.cells).items():
            if bare := cell.strip():
                counts[bare] = counts.get(bare, 0) + count
        return counts

    @cached_property
    def filled(self) -> int:
        """How many cells are not empty."""
        return sum(self.counts.values())

    @property
    def sample(self) -> str:
        """The first cell that is not empty."""
        return next(iter(self.counts), "")

    @property
    def unit_text(self) -> str:
        """The unit as the plan writes it, "" where it needs none."""
        return self.meaning.unit_text if self.name == self.meaning.name else ""

    def renamed(self, name: str, doubt: str) -> Column:
        """The same column under another name, which is doubtful."""
        return replace(self, name=name, doubt="; ".join(one for one in (self.doubt, doubt) if one))

    def doubted(self, doubt: str) -> Column:
        """The same column with one more doubt."""
        return self.renamed(self.name, doubt)

    @property
    def order(self) -> tuple[int, int, int, int, int]:
        """Of two columns for one name the one with the lower order is taken."""
        certainty = {"": 0, "unit": 0, "only": 0, "second": 1, "axis": 2, "no": 3}[self.meaning.certainty]
        own = self.meaning.spelling is not None
        unit = self.meaning.unit
        if self.name in UNIT_ASKED and not self.unit_text:
            certainty = max(certainty, 1)
        certainty = max(certainty, 2 * (unit is not None and unit.doubt != ""), 3 * (self.meaning.closeness == 2))
        return own, certainty, self.meaning.closeness, -self.filled, self.place


def understand_columns(table: RawTable, known_names: tuple[str, ...]) -> tuple[list[Column], list[tuple[str, Meaning]]]:
    """Columns that mean something to the planner, and header and meaning of those left open."""
    columns, left = [], []
    for place, name in enumerate(table.header):
        meaning = _meaning(table, place, known_names)
        if meaning.name:
            columns.append(_by_words(Column(name.strip(), place, table.rows, meaning, meaning.name, meaning.doubt)))
        else:
            left.append((name.strip(), meaning))
    kept = [column for column in columns if column.name]
    left += [(one.header, replace(one.meaning, name="", reason=one.doubt)) for one in columns if not one.name]
    return kept, left


def _meaning(table: RawTable, place: int, known_names: tuple[str, ...]) -> Meaning:
    """By the header, with its line of units between brackets, and by the HXL hashtag below it."""
    name = table.header[place]
    unit = table.unit[place].strip() if place < len(table.unit) else ""
    if unit and name.endswith(unit) and name not in known_names:
        name = f"{name.removesuffix(unit)} ({unit.strip('()[] ')})"
    meaning = understand(name, known_names)
    tag = table.found.get(f"hxl:{table.header[place].strip()}", "")
    if not tag or meaning.private:
        return meaning
    tagged = understand(tag, known_names)
    if tagged.private or (tagged.name and not meaning.name and meaning.spelling is None):
        return tagged
    if tagged.name and meaning.name and tagged.name != meaning.name:
        return replace(meaning, doubt=f"its hashtag {clip(tag)} says {tagged.name}")
    return meaning


def _by_words(column: Column) -> Column:
    """A doubtful header over known words is certain, one over foreign words is left open."""
    if column.name not in vocabulary() or not column.filled:
        return column
    known = vocabulary()[column.name]
    distinct = {fold(cell) for cell in column.counts}
    share = sum(word in known for word in distinct) / max(len(distinct), 1)
    if share == 0 and (column.meaning.certainty == "no" or column.meaning.closeness == 2):
        return replace(column, name="", doubt=f"could be {column.name}, but none of its words is known")
    if column.meaning.certainty == "no" and share >= 0.5:
        return replace(column, doubt="")
    if share == 0:
        return column.doubted("none of its words is known")
    if share < 0.2 and len(distinct) > 30:
        return column.doubted(f"{len(distinct)} different texts, few of them known words")
    return column


def one_each(columns: list[Column]) -> tuple[list[Column], list[tuple[str, str]]]:
    """One column a name, in the order of the glossary of the table; header and reason of those that gave way."""
    chosen: dict[str, Column] = {}
    left: list[tuple[str, str]] = []
    for column in sorted(columns, key=lambda one: one.order):
        best = chosen.get(column.name)
        if best is None:
            chosen[column.name] = column
            continue
        left.append((column.header, f"{clip(best.header)} is taken as {column.name} instead"))
        if column.meaning.certainty != "second" and best.meaning.spelling is not None:
            beside = (*best.beside, column.header)
            told = f"also possible: {', '.join(clip(one) for one in beside)}"
            chosen[column.name] = replace(best, beside=beside, doubt=_add(best, told))
    return sorted(chosen.values(), key=lambda one: one.place), left


def _add(best: Column, told: str) -> str:
    others = [part for part in best.doubt.split("; ") if part and not part.startswith("also possible")]
    return "; ".join([*others, told])


def unit_guess(column: Column) -> tuple[str, str, str]:
    """Unit for the plan ("" for none), the reason, and the doubt."""
    name, meaning = column.name, column.meaning
    quantity = glossary().get(name)
    if quantity is None or quantity.dtype == "text" or meaning.spelling is None:
        return "", "", ""
    if column.unit_text:
        assert meaning.unit is not None
        return column.unit_text, f"the header says {column.unit_text}", meaning.unit.doubt
    if name in {"latitude", "longitude"} or quantity.unit in {"-", "people", "TLU"}:
        return "", "", ""
    if name not in UNIT_ASKED:
        return "", f"no unit in the header: {quantity.unit} is taken", ""
    return "", "", f"the header has no unit: {quantity.unit} is taken ({spread(column.counts)})"


def spread(counts: dict[str, int]) -> str:
    """Least, middle and largest of the plain numbers, for a person to judge; nothing is concluded from them."""
    values = []
    for text, count in counts.items():
        if PLAIN_DECIMAL.fullmatch(text):
            values += [float(text.replace(",", "."))] * count
    values.sort()
    if not values:
        return "no plain numbers"
    return f"values {values[0]:g} to {values[-1]:g}, middle one {values[len(values) // 2]:g}"


def unknown_words(column: Column, most: int = 12) -> list[tuple[str, int]]:
    """Texts of a column of words that the vocabulary does not have, with how often; the most frequent first."""
    if column.name not in vocabulary():
        return []
    known = vocabulary()[column.name]
    counts = {text: count for text, count in column.counts.items() if fold(text) not in known or "?" in text}
    return sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:most]
