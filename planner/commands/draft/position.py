"""Where the wells are: which columns hold the position, in degrees or metres, and in which reference system."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from planner.commands.draft.columns import Column
from planner.commands.draft.opening import clip

DEGREES, METRES = ("latitude", "longitude"), ("northing", "easting")
_PAIRED = dict(zip(DEGREES + METRES, METRES + DEGREES, strict=True))
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?")
_SEXAGESIMAL = re.compile(
    r"\s*[NSEWO]?\s*[+-]?\d{1,3}\s*[°º:\s]\s*\d{1,2}(?:[.,]\d+)?\s*['′’:\s]?\s*(?:\d{1,2}(?:[.,]\d+)?)?\s*[\"″”]?'*\s*[NSEWO]?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Reference:
    """The reference system of the positions: `crs` as the plan takes it or "", why, and what is doubtful about it."""

    crs: str
    reason: str
    doubt: str = ""


@dataclass(frozen=True)
class Shape:
    """How many cells of a position column are filled, and how many of these are plain numbers within ±180, larger
    ones, degrees with minutes, and numbers with a decimal comma."""

    filled: int
    degrees: int
    metres: int
    sexagesimal: int
    comma: int


def shape_of(counts: dict[str, int]) -> Shape:
    """What the cells of a position column look like; `counts` holds its distinct texts with how often."""
    degrees = metres = sexagesimal = comma = 0
    for text, count in counts.items():
        if len(text) > 40:
            continue
        if _NUMBER.fullmatch(text):
            comma += count * ("," in text)
            value = abs(float(text.replace(",", ".")))
            degrees += count * (value <= 180)
            metres += count * (value > 1000)
        elif _SEXAGESIMAL.fullmatch(text):
            sexagesimal += count
    return Shape(sum(counts.values()), degrees, metres, sexagesimal, comma)


def settle_axes(columns: list[Column]) -> tuple[list[Column], list[str]]:
    """Columns whose header says only x or y, or whose values are of the other kind, take the name that fits.

    Returns the columns and what is to be told about them.
    """
    settled, told = [], []
    for column in columns:
        name = column.name
        if name not in _PAIRED:
            settled.append(column)
            continue
        shape = shape_of(column.counts)
        kind = DEGREES if shape.degrees > shape.metres else METRES if shape.metres > 0 else ()
        if column.meaning.certainty == "axis":
            fits = name if not kind or name in kind else _PAIRED[name]
            doubt = f"the header says only {clip(column.header)}; the values look like {_words(kind)}"
            settled.append(column.renamed(fits, doubt))
        elif kind and name not in kind and 2 * max(shape.degrees, shape.metres) > shape.filled:
            doubt = f"the header says {name}, but most values look like {_words(kind)}"
            settled.append(column.renamed(_PAIRED[name], doubt))
        else:
            settled.append(column)
        told += _told(column.header, shape)
    return settled, told


def _words(kind: tuple[str, ...]) -> str:
    return "degrees" if kind == DEGREES else "metres" if kind == METRES else "neither degrees nor metres"


def _told(header: str, shape: Shape) -> list[str]:
    said = (
        (shape.sexagesimal, "are degrees with minutes or seconds"),
        (shape.comma, "have a decimal comma"),
        (shape.metres if shape.degrees else 0, f"look like metres, {shape.degrees} like degrees"),
        (shape.filled - shape.degrees - shape.metres - shape.sexagesimal, "are neither degrees nor metres"),
    )
    return [f"{clip(header)}: {count} of {shape.filled} values {what}" for count, what in said if count]


def one_pair(columns: list[Column], geometry: str) -> tuple[list[Column], list[tuple[str, str]]]:
    """One pair of columns: the file's own points, else degrees, else metres; header and reason of the others.

    geometry  names of the two columns that the file's points became, with a comma between, or ""
    """
    names = {column.name for column in columns}
    pairs = (METRES, DEGREES) if geometry == ",".join(METRES) else (DEGREES, METRES)
    kept = next((pair for pair in pairs if set(pair) <= names), None)
    if kept is None:
        return columns, []
    other = METRES if kept == DEGREES else DEGREES
    left = [(one.header, f"{kept[0]} and {kept[1]} are taken instead") for one in columns if one.name in other]
    return [one for one in columns if one.name not in other], left


def reference(columns: list[Column], own: str | None, zone_cells: list[str] | None) -> Reference | None:
    """The reference system of the chosen position columns; None where there is no position.

    own         of the file itself (a file of layers), which is no guess
    zone_cells  of a column of UTM zones
    """
    by_name = {column.name: column for column in columns}
    if own:
        return Reference(own, "the file's own")
    for pair in (DEGREES, METRES):
        if all(name in by_name for name in pair):
            break
    else:
        return None
    meanings = [by_name[name].meaning for name in pair]
    datum = next((one.datum for one in meanings if one.datum), "")
    if pair == DEGREES:
        plain = Reference("EPSG:4326", "latitude and longitude; WGS 84 is assumed, as positioning sets give it")
        if not datum:
            return plain
        doubt = f"the header names {datum}: find its EPSG code and put it in place of EPSG:4326"
        return replace(plain, doubt=doubt)
    zone = next((one.zone for one in meanings if one.zone), "")
    if "utm_zone" in by_name:
        return _zones_by_row(by_name["utm_zone"].cells)
    zones = [zone] if zone else sorted({cell.strip().upper() for cell in zone_cells or () if cell.strip()})
    result = _utm(zones)
    return replace(result, doubt=f"{result.doubt}; the header names {datum}, which is not WGS 84") if datum else result


def _zones_by_row(cells: list[str]) -> Reference:
    """Each row names its zone; the plan's system gives only the datum."""
    zones = sorted({cell.strip().upper() for cell in cells if cell.strip()})
    reason = f"each row's own UTM zone ({', '.join(clip(one) for one in zones[:6])}); WGS 84 is assumed"
    if any(re.fullmatch(r"\d{1,2}\s*S", one) for one in zones):
        return Reference("EPSG:4326", reason, "a zone like 36S: is S south, or the latitude band S, which is north?")
    return Reference("EPSG:4326", reason)


def _utm(zones: list[str]) -> Reference:
    if not zones:
        return Reference(
            "",
            "eastings and northings in metres",
            "the table does not say its reference system: write crs = \"EPSG:326zz\" (UTM zone zz north, WGS 84) or "
            "\"EPSG:327zz\" (south), or that of your national grid",
        )  # fmt: skip
    if len(zones) > 1:
        return Reference("", "metres", f"{len(zones)} UTM zones in one table: one crs cannot do")
    found = re.search(r"(\d{1,2})\s*([A-Z])?", zones[0])
    number = int(found[1]) if found else 0
    if found is None or not 1 <= number <= 60:
        return Reference("", "metres", f"{clip(zones[0])} is no UTM zone: write the reference system into crs")
    letter = found[2] or ""
    if letter == "S":
        doubt = f"zone {number}S is taken as south; if S is the latitude band, it is north: EPSG:326{number:02d}"
    elif letter:
        doubt = f"zone {number}{letter} is taken as {'south' if letter < 'N' else 'north'}, WGS 84"
    else:
        doubt = f"zone {number} without north or south is taken as north; if south, write EPSG:327{number:02d}"
    south = letter != "" and (letter < "N" or letter == "S")
    return Reference(f"EPSG:{327 if south else 326}{number:02d}", f"UTM zone {number}{letter}, WGS 84 assumed", doubt)
