"""What `planner draft` tells at the terminal, in plain text."""

from __future__ import annotations

from pathlib import Path

from planner.commands.draft.guesses import PINNED, Draft, Guess
from planner.commands.draft.opening import clip
from planner.commands.draft.toml_text import remark

_ROWS = 3  # of sample
_CELL = 20  # characters of a sample


def report(draft: Draft, target: Path, checked: list[str]) -> str:
    """Recognised columns, sample, columns left open, doubts, the check's summary and the next command."""
    table = draft.table
    found = ", ".join(f"{key} {table.found[key]!r}" for key in PINNED if table.found.get(key))
    lines = [
        f"{clip(draft.file)[1:-1]}: {len(table.rows)} rows, {len(table.header)} columns"
        + (f"; {found}" if found else "")
    ]
    lines += ["", f"recognised: {len(draft.guesses)} columns (? = to be confirmed)", *_recognised(draft.guesses)]
    if draft.reference is not None:
        mark = "?" if draft.reference.doubt else " "
        lines += [f"{mark} crs {clip(draft.reference.crs)[1:-1] or 'not known'}: {draft.reference.reason}"]
    else:
        lines += ["no position was recognised; the plan file says what to write"]
    lines += _sample(draft.guesses)
    for name, words in draft.words.items():
        shown = ", ".join(f"{clip(text)} ({count})" for text, count in words[:8])
        lines += ["", *remark(f"words of {name} that are not known: {shown}", "")]
    if draft.told:
        lines += ["", "positions:", *(f"  {one}" for one in draft.told)]
    lines += _left(draft.left)
    lines += ["", *checked]
    if draft.unconfirmed:
        lines += ["", "to confirm, in [inventory] unconfirmed of the plan file; planner run waits for it:"]
        for number, one in enumerate(draft.unconfirmed, start=1):
            lines += remark(f"{number}. {one}", "  ")
    lines += ["", f"written: {target}"]
    lines += ["next: open it in a text editor" + (", settle the list above" if draft.unconfirmed else "") + ", then"]
    return "\n".join([*lines, f"  planner check {_argument(target)}", f"  planner run {_argument(target)}"]) + "\n"


def _argument(target: Path) -> str:
    text = str(target)
    return text if text.isprintable() and " " not in text else '"' + text + '"'


def _recognised(guesses: list[Guess]) -> list[str]:
    lines = []
    for one in guesses:
        mark = "?" if one.column.doubt or one.unit_doubt else " "
        unit = one.unit or ("unit not said" if one.unit_doubt else "")
        lines.append(f"{mark} {one.column.name:26}{clip(one.column.header):32} {unit:16} {one.reason}".rstrip())
    return lines


def _sample(guesses: list[Guess]) -> list[str]:
    """A few rows as they stand, recognised columns only: the others may name people."""
    count = min(_ROWS, max((len(one.column.cells) for one in guesses), default=0))
    if not count:
        return []
    lines = ["", f"first {count} rows:" if count > 1 else "first row:"]
    for one in guesses:
        cells = [_short(cell) for cell in one.column.cells[:count]]
        lines.append(f"  {one.column.name:26}" + "".join(f"{cell:{_CELL + 2}}" for cell in cells).rstrip())
    return lines


def _short(cell: str) -> str:
    text = clip(cell.strip())[1:-1]
    return text if len(text) <= _CELL else text[: _CELL - 1] + "…"


def _left(left: list[tuple[str, str, bool]]) -> list[str]:
    lines = []
    private = [clip(name) for name, _, private in left if private]
    if private:
        text = "may name people or their phones, never read and never carried into results: " + ", ".join(private)
        lines += ["", *remark(text, "")]
    others = [(name, reason) for name, reason, private in left if not private]
    if others:
        lines += ["", "left open:", *(f"  {clip(name):32} {reason}" for name, reason in others)]
    return lines
