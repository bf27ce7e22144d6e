"""Everything that is guessed of a table, and the plan file that says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from planner.commands.draft.columns import Column, one_each, understand_columns, unit_guess, unknown_words
from planner.commands.draft.headers import Meaning
from planner.commands.draft.opening import RawTable, clip
from planner.commands.draft.position import Reference, one_pair, reference, settle_axes
from planner.commands.draft.toml_text import default_lines, default_sections, quoted, remark
from planner.plan import Inventory
from planner.tables.inventory_file import INVENTORY_NAMES

PINNED = ("sheet", "header_row", "header_rows", "encoding", "delimiter", "decimal", "date_order")


@dataclass(frozen=True)
class Guess:
    """One column as it stands in the plan: name, column, unit and what is doubtful about either."""

    column: Column
    unit: str
    unit_reason: str
    unit_doubt: str

    @property
    def reason(self) -> str:
        """Why this column has this name."""
        return self.column.meaning.reason


@dataclass(frozen=True)
class Draft:
    """All guesses. `left` has header, reason and whether it may name a person, for every column without a name."""

    file: str
    table: RawTable
    guesses: list[Guess]
    reference: Reference | None
    left: list[tuple[str, str, bool]]
    told: list[str]
    words: dict[str, list[tuple[str, int]]] = field(default_factory=dict)

    @property
    def unconfirmed(self) -> list[str]:
        """What a person has to look at before a run, each with the key of the plan that it is about."""
        found = [f"columns.{one.column.name}: {clip(one.column.header)}: {one.column.doubt}" for one in self.guesses
                 if one.column.doubt]  # fmt: skip
        found += [f"units.{one.column.name}: {clip(one.column.header)}: {one.unit_doubt}" for one in self.guesses
                  if one.unit_doubt]  # fmt: skip
        if self.reference is not None and self.reference.doubt:
            found.append(f"crs: {self.reference.doubt}")
        return found


def guess(file: str, table: RawTable) -> Draft:
    """Guesses of columns, units and reference system; `file` is the name that the plan gives the table."""
    columns, open_columns = understand_columns(table, INVENTORY_NAMES)
    left = [(name, meaning.reason, meaning.private) for name, meaning in open_columns if name or _filled(table, name)]
    geometry = table.found.get("geometry_columns", "")
    columns, told = settle_axes(columns)
    columns, gave_way = one_each(columns)
    columns, other_pair = one_pair(columns, geometry)
    left += [(name, reason, False) for name, reason in (*gave_way, *other_pair)]
    guesses = [Guess(column, *unit_guess(column)) for column in sorted(columns, key=_by_name)]
    zones = next((one.cells for one in columns if one.name == "utm_zone"), None) or _zones(table, open_columns)
    words = {one.name: unknown_words(one) for one in columns}
    order = {name.strip(): place for place, name in enumerate(table.header)}
    left.sort(key=lambda item: order.get(item[0], 0))
    return Draft(
        file,
        table,
        guesses,
        reference(columns, table.crs if geometry else None, zones),
        left,
        told,
        {name: found for name, found in words.items() if found},
    )


def _by_name(column: Column) -> int:
    return INVENTORY_NAMES.index(column.name)


def _filled(table: RawTable, name: str) -> bool:
    place = [one.strip() for one in table.header].index(name)
    return any(row[place].strip() for row in table.rows)


def _zones(table: RawTable, left: Sequence[tuple[str, Meaning]]) -> list[str] | None:
    """Cells of a column of UTM zones that this version does not read as one."""
    for name, meaning in left:
        if meaning.spelling is not None and meaning.spelling.name == "utm_zone":
            place = [one.strip() for one in table.header].index(name)
            return [row[place] for row in table.rows]
    return None


def plan_file(draft: Draft) -> str:
    """The text of the plan file: guesses with reason and sample, then all other sections with their defaults."""
    table = draft.table
    lines = remark(
        f"A plan drafted from {clip(draft.file)}: {len(table.rows)} rows, {len(table.header)} columns. Every guess has "
        "its reason and a value of the table beside it. Lines of the form `#key = value` are defaults: take the # away "
        "to change one. Paths are relative to this file."
    )
    lines += ["", "[inventory]", f"file = {quoted(draft.file)}"]
    lines += [
        f"{key} = {_pinned(key, table.found[key])}   # found in the file" for key in PINNED if _can_pin(draft, key)
    ]
    lines += _reference_lines(draft.reference)
    lines += _unconfirmed_lines(draft.unconfirmed)
    pinned = {"file", "crs", "unconfirmed", "columns", "units", *(key for key in PINNED if _can_pin(draft, key))}
    for key, setting in Inventory.model_fields.items():
        if key not in pinned:
            lines += default_lines(key, setting)
    lines += ["", "[inventory.columns]", *remark("planner name = name in the file")]
    for one in draft.guesses:
        lines += ["", *_column_lines(one, draft.words.get(one.column.name, []))]
    lines += ["", *_left_lines(draft.left)]
    lines += ["", "[inventory.units]", *remark("planner name = unit in the file")]
    for one in draft.guesses:
        lines += _unit_lines(one)
    lines += default_sections(but="inventory")
    return "\n".join(lines) + "\n"


def _can_pin(draft: Draft, key: str) -> bool:
    """Whether what was found can stand in the plan. A point is no finding: each column may still prove a comma."""
    value = draft.table.found.get(key, "")
    if key == "decimal":
        return value == ","
    if key in {"header_row", "header_rows"}:
        return value.isdecimal()
    return bool(value) and (key != "delimiter" or len(value) == 1)


def _pinned(key: str, value: str) -> str:
    return value if key in {"header_row", "header_rows"} else quoted(value)


def _reference_lines(found: Reference | None) -> list[str]:
    if found is None:
        return remark(
            "No position was recognised: name latitude and longitude, or easting and northing and a crs, below."
        )
    doubt = f" TO CONFIRM: {found.doubt}" if found.doubt else ""
    lines = remark(f"reference system: {found.reason}.{doubt}")
    return [*lines, f"crs = {quoted(found.crs)}" if found.crs else '# crs = "EPSG:…"']


def _unconfirmed_lines(unconfirmed: list[str]) -> list[str]:
    if not unconfirmed:
        return remark("nothing here needs to be confirmed; still, look the guesses over")
    head = remark(
        "Guesses to confirm. `planner run` refuses this plan until the list is empty: look at each in the table, mend "
        "it below where it is wrong, then take its line out of the list."
    )
    return [*head, "unconfirmed = [", *(f"    {quoted(one)}," for one in unconfirmed), "]"]


def _column_lines(one: Guess, words: list[tuple[str, int]]) -> list[str]:
    column = one.column
    value = f"; {clip(column.sample)} for one" if column.sample else "; all its cells are empty"
    lines = remark(f"{one.reason}{value}" + (f". TO CONFIRM: {column.doubt}" if column.doubt else ""))
    if words:
        shown = ", ".join(f"{clip(text)} ({count} rows)" for text, count in words)
        lines += remark(f"words that are not known and will count as unknown: {shown}")
    return [*lines, f"{column.name} = {quoted(column.header)}"]


def _left_lines(left: list[tuple[str, str, bool]]) -> list[str]:
    if not left:
        return []
    lines = remark("Columns that are not read, and why:")
    for name, reason, _ in left:
        lines += remark(f"{clip(name)}: {reason}", "#   ")
    return lines


def _unit_lines(one: Guess) -> list[str]:
    if not one.unit and not one.unit_reason and not one.unit_doubt:
        return []
    said = ". TO CONFIRM: ".join(part for part in (one.unit_reason, one.unit_doubt) if part)
    lines = remark(f"{one.column.name}, {clip(one.column.header)}: {said}")
    return [*lines, f"{one.column.name} = {quoted(one.unit)}"] if one.unit else lines
