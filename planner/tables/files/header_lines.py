"""Where the header of a table stands: lines above it, units or a group of columns in a line of their own, HXL hashtags.

The first line that carries names wins, by the names of the plan and of the glossary where it has them, else by its
width. What is skipped is told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from planner.errors import Fault
from planner.glossary import glossary
from planner.plan import Inventory
from planner.tables.files.raw_table import clip, told
from planner.tables.step import Finding

Line = Sequence[str]

SEEN = 50  # lines in which a header is looked for
WIDE = 0.6  # share of the widest line that a header fills at least: titles fill a cell or two

_TAG = re.compile(r"#[A-Za-z][A-Za-z0-9_]*(?:\s*[+!][A-Za-z][A-Za-z0-9_]*)*")  # HXL 1.1: a hashtag with attributes
_FIGURE = re.compile(r"[+\-−]?[.,]?[0-9]")
_UNITS = frozenset(
    re.split(
        " ",
        "m mm cm km ft feet in inch inches l/s l/sec lps l/min lpm l/h l/hr lph m3/h m3/hr m3/d m3/day gpm usgpm igpm "
        "gph mg/l g/m3 ug/l us/cm ms/cm deg ° °c degc ha kw kwp wp w v h hr hrs hours min mbgl masl magl mbtoc "
        "m/d m2/d m3/h/m mmwc bar ntu ph % degrees decimaldegrees people persons year years yyyy litres l",
    )
)
_NEUTRAL = frozenset(re.split(" ", "- – text date name code number no no. n/a yyyy-mm-dd dd/mm/yyyy yes/no bgl"))
_METRES_OF = re.compile(r"(?:m|ft)(?:bgl|btoc|bmp|asl|agl|belowground|belowgroundlevel)")


@dataclass(frozen=True)
class Header:
    """Names of the columns, and where they stand.

    names  outer spaces removed; several lines joined by a space
    title  the first line alone where there are several, else empty
    unit   the last line where it holds units, else empty
    tags   HXL hashtags, "" for a column without one; empty without such a row
    at     place of the first header line among the lines, from 0
    lines  how many
    body   place of the first data row
    """

    names: list[str]
    title: list[str]
    unit: list[str]
    tags: list[str]
    at: int
    lines: int
    body: int


def find_header(
    lines: Sequence[Line],
    settings: Inventory,
    faults: list[Fault],
    *,
    at: int | None = None,
    groups: Sequence[tuple[int, int, int]] = (),
) -> Header | None:
    """The header, or None and a fault.

    lines   rows of cells from the top of the file or sheet, with empty ones
    at      place of the header among them where the plan says it
    groups  (line, first column, last column) of cells that are merged over several columns
    """
    start = _first_line(lines, settings) if at is None else at
    if start is None or start >= len(lines):
        found = "nothing" if at is None else "fewer lines"
        faults.append(Fault(settings.file, "file", found, "a header line and data rows"))
        return None
    if not any(cell.strip() for cell in lines[start]):
        faults.append(Fault(settings.file, f"line {settings.header_row}", "an empty line", "the header"))
        return None
    grouped = [(first, last) for line, first, last in groups if line == start and last > first]
    units = False
    if "header_rows" in settings.model_fields_set:
        count = min(settings.header_rows, len(lines) - start)
        units = count > 1 and _is_unit_line(lines[start + count - 1])
    else:
        count = 2 if grouped and start + 1 < len(lines) and _is_text(lines[start + 1]) else 1
        units = start + count < len(lines) and _is_unit_line(lines[start + count])
        count += units
    top = [list(line) for line in lines[start : start + count]]
    width = max(map(len, top))
    top = [line + [""] * (width - len(line)) for line in top]
    if count > 1:
        for first, last in grouped:
            top[0][first : last + 1] = [top[0][first]] * (last + 1 - first)
    names = [" ".join(filter(None, (cell.strip() for cell in column))) for column in zip(*top, strict=True)]
    body = start + count
    tags: list[str] = []
    if body < len(lines) and is_tag_line(lines[body]) and not is_tag_line(lines[start]):
        tags = [cell.strip() for cell in lines[body]][:width]
        body += 1
    title = [cell.strip() for cell in top[0]] if count > 1 else []
    unit = [cell.strip(" \t()[]") for cell in top[-1]] if units else []
    return Header(names, title, unit, tags, start, count, body)


def repeated_names(file: str, names: Sequence[str]) -> list[Fault]:
    """A fault for each name that several columns have."""
    return [
        Fault(file, "header", f"{clip(name)} {names.count(name)} times", "each column name once")
        for name in sorted({name for name in names if name and names.count(name) > 1})
    ]


def header_findings(
    header: Header, lines: Sequence[Line], number: int, settings: Inventory
) -> tuple[dict[str, str], list[Finding]]:
    """What was found about the header, and what is told of it.

    number  line or sheet row of the header in the file, from 1
    """
    found = {"header_row": str(number), "header_rows": str(header.lines)}
    findings = []
    if settings.header_row is None and number != 1:
        above = " / ".join(" ".join(filter(None, map(str.strip, line))) for line in lines[: header.at])
        findings.append(told("header_row", str(number), above.strip(" /")[:500]))
    if "header_rows" not in settings.model_fields_set and header.lines != 1:
        second = " | ".join(cell.strip() for cell in lines[header.at + header.lines - 1])
        findings.append(told("header_rows", str(header.lines), second[:500]))
    if header.tags:
        found |= {f"hxl:{name}": tag for name, tag in zip(header.names, header.tags, strict=False) if tag}
        findings.append(Finding(0, "", "", "hxl_row", "info", " | ".join(header.tags)[:500]))
    return found, findings


def is_tag_line(line: Line) -> bool:
    """Whether every filled cell is an HXL hashtag. Names of WPDx look the same: they are a header where none is above.

    >>> is_tag_line(["#adm1+name", "", "#geo+lat"]), is_tag_line(["#1", "Borehole"])
    (True, False)
    """
    filled = [cell.strip() for cell in line if cell.strip()]
    return bool(filled) and all(_TAG.fullmatch(cell) for cell in filled)


def _first_line(lines: Sequence[Line], settings: Inventory) -> int | None:
    seen = lines[:SEEN]
    filled = [sum(bool(cell.strip()) for cell in line) for line in seen]
    widest = max(filled, default=0)
    if not widest:
        return None
    known = {name.strip() for name in settings.columns.values()} | set(glossary()) | {"easting", "northing"}
    for place, line in enumerate(seen):
        if len(known & {cell.strip() for cell in line}) >= min(2, widest):
            return place
    for place in range(1, len(seen)):
        if is_tag_line(seen[place]):
            above = seen[place - 1]
            return place - 1 if filled[place - 1] >= WIDE * filled[place] and _is_text(above) else place
    start = next(place for place, count in enumerate(filled) if count >= WIDE * widest)
    # Two cells of a title beside a narrow table: the names below it fill more columns and have figures below them.
    figures = sum(bool(_FIGURE.match(cell.strip())) for cell in seen[start])
    for place in range(start + 1, min(start + 5, len(seen) - 1)):
        fuller = filled[place] > filled[start] or figures * 2 >= filled[start]
        if fuller and filled[place] == widest and _is_text(seen[place]) and not _is_text(seen[place + 1]):
            return place
    return start


def _is_text(line: Line) -> bool:
    """Whether some cell is filled and none begins as a number does."""
    filled = [cell.strip() for cell in line if cell.strip()]
    return bool(filled) and not any(_FIGURE.match(cell) for cell in filled)


def _is_unit_line(line: Line) -> bool:
    filled = [re.sub(r"[\s()\[\]]+", "", cell).casefold() for cell in line if cell.strip()]
    filled = [cell.replace("³", "3").replace("²", "2").replace("µ", "u").replace("μ", "u") for cell in filled]
    real = [cell for cell in filled if cell in _UNITS or _METRES_OF.fullmatch(cell)]
    return len(real) >= 2 and all(cell in _UNITS or cell in _NEUTRAL or cell in real for cell in filled)
