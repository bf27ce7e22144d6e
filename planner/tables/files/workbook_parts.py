"""The XML inside XLSX and ODS files: whether it is safe to open, and what a reader of values alone would lose.

Parts are read as a stream of bytes and searched, because a sheet may be hundreds of megabytes; whether those that hold
cells are well-formed is tested on the way. Parts are refused if they declare a document type, which the Open Packaging
Conventions forbid (ISO/IEC 29500-2), so that no entity is ever expanded.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree
from xml.parsers import expat

MAX_UNPACKED_BYTES = 1_000_000_000
MAX_RATIO = 200  # unpacked ÷ packed, of parts of more than MANY_BYTES: real sheets stay below 50
MANY_BYTES = 20_000_000
MAX_PARTS = 10_000
MAX_DENSE_CELLS = 20_000_000  # the reader lays a sheet out as a rectangle from A1 to its last cell
_CHUNK = 4_000_000

_CELL = re.compile(rb"<(?:\w+:)?c\s(?:[^>]*?\s)??r\s*=\s*[\"']([A-Za-z]{1,3})([0-9]{1,20})[\"'][^>]*(?<!/)>")
_UNPLACED = re.compile(rb"<(?:\w+:)?c(?=[\s>])(?![^>]*\sr\s*=)[^>]*(?<!/)>")  # a cell that stands where the row says
_PLACE = re.compile(rb"<(?:\w+:)?row\s(?:[^>]*?\s)??r\s*=\s*[\"']([0-9]{1,20})[\"']")
_ERROR = re.compile(
    rb"<(?:\w+:)?c\s(?=[^>]*\st=[\"']e[\"'])(?:[^>]*?\s)??r=[\"']([A-Z]{1,3})([0-9]{1,7})[\"'][^>]*(?<!/)>"
    rb"(?:(?!</?(?:\w+:)?c\b).)*?<(?:\w+:)?v>([^<]{1,20})",
    re.DOTALL,
)
_ROW = re.compile(rb"<(?:\w+:)?row\s(?=[^>]*\bhidden=[\"'](?:1|true)[\"'])(?:[^>]*?\s)??r=[\"']([0-9]{1,7})[\"']")
_COLUMN = re.compile(rb"<(?:\w+:)?col\s(?=[^>]*\bhidden=[\"'](?:1|true)[\"'])[^>]*>")
_FILTER = re.compile(rb"<(?:\w+:)?filterColumn\b")
_ODS_TAG = re.compile(rb"<(/?)table:(table|table-row|table-cell|covered-table-cell)(?=[\s/>])([^>]*)>")
_REPEATED = re.compile(rb"number-(?:rows|columns)-repeated=[\"']([0-9]{1,9})[\"']")
_READ = re.compile(r"content\.xml|xl/(workbook|sharedStrings)\.xml|xl/worksheets/[^/]*\.xml")  # by the reader
_ODS_TEXT = re.compile(rb"<text:p>([^<]{1,20})")


class PartsError(Exception):
    """What was found (args[0]) and what is expected (args[1])."""


@dataclass
class Marks:
    """What stands beside the values of a sheet; rows and columns from 1, as the sheet numbers them.

    struck, coloured  rows with such a cell that is filled
    errors            (row, column, text) of cells whose formula failed
    padded            column → how many of its numbers are shown with leading noughts
    """

    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    filtered: bool = False
    struck: set[int] = field(default_factory=set)
    coloured: set[int] = field(default_factory=set)
    errors: list[tuple[int, int, str]] = field(default_factory=list)
    padded: dict[int, int] = field(default_factory=dict)


def check_parts(path: Path) -> set[str]:
    """Names of the parts of a zip file that may be opened; raises PartsError for bombs, damage and passwords."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            if len(parts) > MAX_PARTS:
                raise PartsError(f"{len(parts)} parts", f"at most {MAX_PARTS}")
            total = 0
            for part in parts:
                if part.flag_bits & 1:
                    raise PartsError("a file with a password", "one without")
                total = _check_part(archive, part, total)
            return {part.filename for part in parts}
    # zipfile raises NotImplementedError for a zip version or a compression that it cannot read.
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError) as error:
        raise PartsError("a damaged file", "a workbook that is whole") from error


def _check_part(archive: zipfile.ZipFile, part: zipfile.ZipInfo, total: int) -> int:
    """Unpacked bytes so far. The size that the directory states is believed only to refuse, never to accept."""
    allowed = f"at most {MAX_UNPACKED_BYTES // 1_000_000} MB in all and {MAX_RATIO} times the packed size"
    stated = part.file_size
    if total + stated > MAX_UNPACKED_BYTES or (stated > MANY_BYTES and stated > MAX_RATIO * part.compress_size):
        raise PartsError(f"a part that unpacks to {stated // 1_000_000} MB", allowed)
    opened = copy(part)
    opened.file_size = MAX_UNPACKED_BYTES  # the stream ends where its bytes do, whatever was stated
    size = 0
    parser = expat.ParserCreate() if _READ.fullmatch(part.filename) else None
    with archive.open(opened) as stream:
        while block := stream.read(_CHUNK):
            if size == 0 and part.filename.endswith((".xml", ".rels")):
                _check_start(block[:4096])
            size += len(block)
            if total + size > MAX_UNPACKED_BYTES or (size > MANY_BYTES and size > MAX_RATIO * part.compress_size):
                raise PartsError(f"a part that unpacks to more than {size // 1_000_000} MB", allowed)
            _feed(parser, block, part.filename)
    _feed(parser, b"", part.filename)
    return total + size


def _feed(parser: expat.XMLParserType | None, block: bytes, name: str) -> None:
    """A reader may wait for ever for the end of a table: XML that is not well-formed goes no further. b"": the end."""
    if parser is None:
        return
    try:
        parser.Parse(block, not block)
    except expat.ExpatError as error:
        found = f"XML that is broken in {name} (line {error.lineno}, column {error.offset})"
        raise PartsError(found, "a workbook that is whole") from error
    except (LookupError, ValueError) as error:  # an encoding that the file states and nobody knows
        raise PartsError(f"XML that is not UTF-8 in {name}", "a workbook as spreadsheets save it") from error


def _check_start(start: bytes) -> None:
    if start[:2] in {b"\xff\xfe", b"\xfe\xff"} or b"\x00" in start:
        raise PartsError("XML that is not UTF-8", "a workbook as spreadsheets save it")
    if b"<!DOCTYPE" in start or b"<!ENTITY" in start:
        raise PartsError("XML with a document type", "a workbook as spreadsheets save it")


def sheet_marks(path: Path, sheet: str) -> Marks:
    """Marks of one sheet of an XLSX file; raises PartsError where the sheet is too wide and long to be laid out."""
    with zipfile.ZipFile(path) as archive:
        part = _part_of(archive, sheet)
        marks = Marks()
        if part is None:
            return marks
        struck, coloured, padded = _styles(archive)
        odd = sorted(struck | coloured | set(padded))
        styled = None
        if odd:
            numbers = b"|".join(str(one).encode() for one in odd)
            styled = re.compile(
                rb"<(?:\w+:)?c\s(?=[^>]*?\bs=[\"'](" + numbers + rb")[\"'])(?:[^>]*?\s)?"
                rb"r=[\"']([A-Z]{1,3})([0-9]{1,7})[\"']([^>]*)(?<!/)>"
            )
        last_row = last_column = 0
        for data in _pieces(archive, part):
            cells = _CELL.findall(data)
            if cells:
                last_row = max([last_row, *map(int, {row for _, row in cells})])
                last_column = max([last_column, *map(column_number, {name for name, _ in cells})])
            if _UNPLACED.search(data):
                last_row = max([last_row, *map(int, _PLACE.findall(data))])
            _check_dense(last_row, last_column)
            marks.hidden_rows |= {int(row) for row in _ROW.findall(data)}
            for tag in _COLUMN.findall(data):
                limits = [re.search(name + rb"=[\"']([0-9]{1,6})", tag) for name in (rb"min", rb"max")]
                if limits[0] and limits[1]:
                    marks.hidden_columns |= set(range(int(limits[0][1]), min(int(limits[1][1]), 16384) + 1))
            marks.filtered |= bool(_FILTER.search(data))
            failed = _ERROR.findall(data) if b't="e"' in data or b"t='e'" in data else []
            for name, row, text in failed:
                marks.errors.append((int(row), column_number(name), text.decode("utf-8", "replace")))
            for style, name, row, rest in styled.findall(data) if styled else ():
                kind = int(style)
                if kind in struck:
                    marks.struck.add(int(row))
                if kind in coloured:
                    marks.coloured.add(int(row))
                if kind in padded and b"t=" not in rest:
                    column = column_number(name)
                    marks.padded[column] = marks.padded.get(column, 0) + 1
        return marks


def _check_dense(rows: int, columns: int) -> None:
    if rows * columns > MAX_DENSE_CELLS:
        expected = f"at most {MAX_DENSE_CELLS} cells; delete what stands far from the table"
        raise PartsError(f"a sheet that reaches to row {rows} and column {columns}", expected)


def ods_marks(path: Path, sheet: str) -> Marks:
    """Hidden rows and failed formulas of a sheet of an ODS file; raises PartsError as `sheet_marks` does."""
    wanted = re.compile(rb"table:name=[\"']" + re.escape(_escaped(sheet)) + rb"[\"']")
    marks = Marks()
    row = column = repeat = last_row = last_column = 0
    inside = False
    with zipfile.ZipFile(path) as archive:
        for data in _pieces(archive, "content.xml"):
            for tag in _ODS_TAG.finditer(data):
                closing, kind, rest = tag.groups()
                times = int(found[1]) if (found := _REPEATED.search(rest)) else 1
                if kind == b"table":
                    inside, row, repeat = not closing and bool(wanted.search(rest)), 0, 0
                    last_row = last_column = 0
                elif kind == b"table-row" and not closing:
                    row, column, repeat = row + repeat, 0, times
                    if inside and re.search(rb"table:visibility=[\"'](?:collapse|filter)", rest) and times < _CHUNK:
                        marks.hidden_rows |= set(range(row + 1, row + min(times, 100_000) + 1))
                        marks.filtered |= b"filter" in rest
                    if rest.endswith(b"/"):
                        continue
                elif not closing:
                    if not rest.endswith(b"/") or b"value-type=" in rest:
                        last_row, last_column = row + repeat, max(last_column, column + times)
                        _check_dense(last_row, last_column)
                        if inside and re.search(rb"calcext:value-type=[\"']error", rest):
                            text = _ODS_TEXT.search(data, tag.end(), tag.end() + 200)
                            shown = text[1].decode("utf-8", "replace") if text else "error"
                            marks.errors.append((row + 1, column + 1, shown))
                    column += times
    return marks


def _escaped(text: str) -> bytes:
    for sign, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;"), ("'", "&apos;")):
        text = text.replace(sign, entity)
    return text.encode("utf-8")


def _pieces(archive: zipfile.ZipFile, part: str) -> Iterator[bytes]:
    """A part in pieces that end before the beginning of a cell, so that no cell is cut."""
    rest = b""
    with archive.open(part) as stream:
        while block := stream.read(_CHUNK):
            data = rest + block
            cut = max(data.rfind(b"<c "), data.rfind(b":c "), data.rfind(b"<table:table-cell"))
            cut = data.rfind(b"<", 0, cut + 1) if cut > 0 else data.rfind(b"<")
            if cut <= 0:
                raise PartsError("a cell of several megabytes", "shorter cells")
            yield data[:cut]
            rest = data[cut:]
            if len(rest) > _CHUNK:
                raise PartsError("a cell of several megabytes", "shorter cells")
    yield rest


def column_number(letters: bytes) -> int:
    """Number of a column, from 1.

    >>> column_number(b"A"), column_number(b"XFD")
    (1, 16384)
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """The part with the cells of a sheet."""
    workbook = _parsed(archive, "xl/workbook.xml")
    relations = _parsed(archive, "xl/_rels/workbook.xml.rels")
    if workbook is None or relations is None:
        return None
    for entry in workbook.iter():
        if entry.tag.endswith("}sheet") and entry.get("name") == sheet:
            key = next((value for name, value in entry.attrib.items() if name.endswith("}id")), "")
            for relation in relations:
                if relation.get("Id") == key:
                    target = relation.get("Target", "")
                    name = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
                    return name if name in archive.namelist() else None
    return None


def _styles(archive: zipfile.ZipFile) -> tuple[set[int], set[int], set[int]]:
    """Numbers of the cell styles that are struck through, that are coloured, and that pad numbers with noughts."""
    root = _parsed(archive, "xl/styles.xml")
    if root is None:
        return set(), set(), set()
    kinds: dict[str, list[ElementTree.Element]] = {}
    for child in root:
        kinds[child.tag.rpartition("}")[2]] = list(child)
    fonts = [any(_is_on(one) for one in font if one.tag.endswith("}strike")) for font in kinds.get("fonts", [])]
    fills = [
        any(one.get("patternType", "none") not in {"none", "gray125"} for one in fill)
        for fill in kinds.get("fills", [])
    ]
    zeros = {one.get("numFmtId") for one in kinds.get("numFmts", []) if re.fullmatch("00+", one.get("formatCode", ""))}
    struck, coloured, padded = set(), set(), set()
    for number, style in enumerate(kinds.get("cellXfs", [])):
        if _at(fonts, style.get("fontId")):
            struck.add(number)
        if _at(fills, style.get("fillId")):
            coloured.add(number)
        if style.get("numFmtId") in zeros:
            padded.add(number)
    return struck, coloured, padded


def _is_on(element: ElementTree.Element) -> bool:
    return element.get("val", "1") not in {"0", "false"}


def _at(values: list[bool], place: str | None) -> bool:
    return place is not None and place.isdigit() and int(place) < len(values) and values[int(place)]


def _parsed(archive: zipfile.ZipFile, part: str) -> ElementTree.Element | None:
    try:
        data = archive.read(part)
    except KeyError:
        return None
    if len(data) > MANY_BYTES or b"<!" in data.replace(b"<!--", b"").replace(b"<![CDATA[", b""):
        raise PartsError("XML with a document type", "a workbook as spreadsheets save it")
    try:
        return ElementTree.fromstring(data)
    except ElementTree.ParseError:
        return None
    except (LookupError, ValueError) as error:  # an encoding that the file states and nobody knows
        raise PartsError(f"XML that is not UTF-8 in {part}", "a workbook as spreadsheets save it") from error
