"""Files that are broken or meant to do harm: one clear fault, nothing opened, fetched or expanded."""

from __future__ import annotations

import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.errors import Fault
from planner.tables.files import raw_table, workbook_parts
from planner.tables.files.raw_table import RawTable
from planner.tables.step import Step
from tests.tables.files import (
    ATTRIBUTES,
    FORMATS,
    HEADER,
    attempt,
    ods,
    ods_row,
    places,
    plain,
    save,
    text,
    workbook,
)

Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


def xlsx_with(path: Path, source: Path, part: str, content: bytes) -> Path:
    """A copy of a workbook with one part replaced or added."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, content if name == part else old.read(name))
        if part not in old.namelist():
            new.writestr(part, content)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_zip_bombs_are_refused(refused: Refuse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    bomb = xlsx_with(tmp_path / "bomb.xlsx", good, "xl/media/image1.bin", b"\0" * 30_000_000)
    assert "unpacks to 30 MB" in refused(bomb)[0].found
    # A directory that lies about the size: the stream itself is counted.
    data = bytearray(bomb.read_bytes())
    size = (30_000_000).to_bytes(4, "little")
    while (at := data.find(size)) >= 0:
        data[at : at + 4] = (1000).to_bytes(4, "little")
    assert refused(bytes(data), name="lie.xlsx")
    monkeypatch.setattr(workbook_parts, "MAX_UNPACKED_BYTES", 1000)
    assert "unpacks" in refused(good)[0].found


def test_a_cell_far_away_does_not_fill_the_memory(refused: Refuse, tmp_path: Path) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    for reference in ('r="XFD1048576"', "r='XFD1048576'", 'r = "xfd1048576"', 't="n"\nr="XFD1048576"'):
        sheet = zipfile.ZipFile(good).read(SHEET).decode()
        far = f'<row r="1048576"><c {reference}><v>1</v></c></row></sheetData>'
        path = xlsx_with(tmp_path / "far.xlsx", good, SHEET, sheet.replace("</sheetData>", far).encode())
        assert "row 1048576 and column 16384" in refused(path)[0].found
    sheet = sheet.replace('r="E1"', 'r="XFD1"')
    path = xlsx_with(
        tmp_path / "unplaced.xlsx",
        good,
        SHEET,
        sheet.replace("</sheetData>", '<row r="1048576"><c><v>1</v></c></row></sheetData>').encode(),
    )
    assert "row 1048576 and column 16384" in refused(path)[0].found
    repeated = (
        ods_row(*HEADER)
        + '<table:table-row table:number-rows-repeated="1048576">'
        + (
            '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="16384"/>'
            "</table:table-row>"
        )
    )
    assert "column 16384" in refused(ods(tmp_path / "far.ods", repeated))[0].found


def test_entities_are_never_expanded(refused: Refuse, tmp_path: Path) -> None:
    good = workbook(tmp_path / "good.xlsx", plain)
    secret = tmp_path / "secret.txt"
    secret.write_text("secret", encoding="utf-8")
    for part in (SHEET, "xl/sharedStrings.xml", "xl/styles.xml", "xl/workbook.xml"):
        content = zipfile.ZipFile(good).read(part).decode()
        doctype = f'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY s SYSTEM "{secret.as_uri()}">]>'
        evil = content.replace("?>", "?>" + doctype, 1).encode()
        [fault] = refused(xlsx_with(tmp_path / "evil.xlsx", good, part, evil))
        assert fault.found == "XML with a document type"


def test_a_cell_beyond_all_measure_is_refused(refused: Refuse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    long = "x" * 40_000
    assert "more than 32767 characters" in refused(text() + f"9,{long},-9,33,5\n")[0].found
    assert "longer cell" in refused(json.dumps(collection(note=long)), name="wells.geojson")[0].found
    monkeypatch.setattr("planner.tables.files.text_table.MAX_TEXT_BYTES", 1000)
    assert "at most" in refused(text() + long)[0].expected
    assert raw_table.MAX_TEXT_BYTES < 1_000_000_000  # so a cell of 1 GB is refused by the size of its file, unread


def collection(**properties: Any) -> dict[str, Any]:
    point = {"type": "Point", "coordinates": [33.5, -9.5]}
    return {"type": "FeatureCollection", "features": [{"geometry": point, "properties": properties}]}


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "link", "properties": {"href": "http://example.invalid/crs"}},
        {"type": "name", "properties": {"name": "http://example.invalid/crs"}},
        {"type": "name", "properties": {"name": "+proj=longlat +nadgrids=/etc/passwd"}},
        {"type": "name", "properties": {"name": "EPSG:0"}},
        [],
    ],
)
def test_a_reference_system_by_address_is_refused(refused: Refuse, crs: Any) -> None:
    assert refused(json.dumps({**collection(a=1), "crs": crs}), name="wells.geojson")[0].place == "crs"


@pytest.mark.parametrize(
    ("name", "content", "found"),
    [
        ("wells.geojson", b"[" * 100_000, "no JSON"),
        ("wells.geojson", b'{"type":"Topology"}', "no list of features"),
        ("wells.geojson", b'{"features":[{"properties":[1]}]}', "no object"),
        ("wells.geojson", b'{"features":[]}', "no features"),
        ("wells.geojson", b"\xff\xfe{", "no JSON"),
        ("wells.gpkg", b"<OGRVRTDataSource/>", "web page or XML"),
        ("wells.shp", b"<OGRVRTDataSource/>", "web page or XML"),
        ("wells.gpkg", b"SQLite format 3\x00" + bytes(100), "another kind"),
        ("wells.gpkg", b"SQLite format 3\x00" + bytes(52) + b"GPKG" + bytes(100), "damaged"),
        ("wells.shp", b"\x00\x00\x27\x0a" + bytes(100), "damaged"),
        ("wells.parquet", b"PAR1" + bytes(100), "damaged"),
        ("wells.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "damaged"),
        ("wells.xls", b"<html><table></table></html>", "web page"),
        ("wells.xlsx", b"", "nothing"),
        ("wells.pdf", b"%PDF-1.4", "another kind"),
    ],
)
def test_broken_files_are_one_clear_fault(refused: Refuse, name: str, content: bytes, found: str) -> None:
    [fault] = refused(content, name=name)
    assert found in fault.found


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("name", ["wells.xlsx", *(name for name, _ in FORMATS)])
def test_truncated_files_are_one_clear_fault_or_fewer_rows(tmp_path: Path, name: str, share: float) -> None:
    if name == "wells.xlsx":
        path = workbook(tmp_path / name, plain)
    else:
        path = save(places(**ATTRIBUTES), tmp_path / name, dict(FORMATS)[name])
    data = path.read_bytes()
    table, faults = attempt(tmp_path, data[: int(len(data) * share)], name)
    assert len(faults) == 1 or (table is not None and table.rows)


def test_folders_devices_and_pipes_are_no_files(refused: Refuse, tmp_path: Path) -> None:
    assert refused(tmp_path)[0].found == "a folder"
    assert refused(tmp_path / "none.csv")[0].expected == "a readable file"
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.csv")
        assert refused(tmp_path / "pipe.csv")[0].found == "no file"
        assert refused(Path("/dev/zero"))[0].found == "no file"
