"""Damaged and hostile inventory files: every reader gives a table or clear faults, never a traceback.

The seeds are small good files of every kind, made here; hypothesis cuts, overwrites and joins their bytes. Zip files
are damaged inside as well: the part is changed and packed again, so that the damage reaches the reader of the part.
How to run it for minutes stands in damage.py.
"""

from __future__ import annotations

import io
import random
import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import Fault, InventoryError
from planner.plan import Inventory, LoadedPlan, Plan
from planner.tables.files.table_file import open_table, sheets_of
from planner.tables.inventory import read_inventory
from tests.fuzz.damage import Try, damaged, damaged_inside, for_minutes

CSV = 'site_id;latitude;longitude;depth_m\n#loc;;;\nA;-9,5;33,5;60\n"B;é";-9,6;33,6;1.234,5\n'
TOKENS = [
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"\n", b"\r", b";", b"\t", b",", b"#", b"<", b">", b"]]>", b"&a;"),
    *(b"<!DOCTYPE a [<!ENTITY a 'b'>]>", b"PK\x03\x04", b"1048576", b"XFD", b"99999999999", b"-1", b"1e999", b"NaN"),
    *(b'r="XFD1048576"', b't="e"', b's="999"', b'hidden="1"', b'number-columns-repeated="99999999"', b"[" * 1000),
    *(b"\xf0\x9f\x92\xa7", "\u202e".encode(), b"sep=;\n", b"{}", b"null", b'"coordinates":[1]', b'"crs":{}'),
]


def seeds(folder: Path) -> dict[str, bytes]:
    """A good file of every kind: name → bytes."""
    files = {"wells.csv": CSV.encode(), "wells.txt": CSV.encode("utf-16"), "old.csv": CSV.encode("cp1252")}
    book_file = io.BytesIO()
    with xlsxwriter.Workbook(book_file) as book:
        sheet = book.add_worksheet("Wells")
        sheet.merge_range("A1:B1", "Title")
        for number, line in enumerate(CSV.splitlines()):
            sheet.write_row(number + 2, 0, line.split(";"))
        sheet.write(4, 0, "x", book.add_format({"font_strikeout": True, "bg_color": "#FF0000"}))
        sheet.write_formula(4, 1, "=1/0", None, "#DIV/0!")
        sheet.set_row(4, None, None, {"hidden": True})
    files["wells.xlsx"] = book_file.getvalue()
    frame = gpd.GeoDataFrame(
        {"site_id": ["A", "é"], "depth_m": [60.0, None], "when": pd.to_datetime(["2019-03-05", None])},
        geometry=[shapely.Point(33.5, -9.5), shapely.Point(33.6, -9.6)],
        crs="EPSG:4326",
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, driver in (("wells.gpkg", "GPKG"), ("wells.shp", "ESRI Shapefile"), ("wells.geojson", "GeoJSON")):
            frame.to_file(folder / name, driver=driver)
            files[name] = (folder / name).read_bytes()
        frame.to_parquet(folder / "wells.parquet")
        files["wells.parquet"] = (folder / "wells.parquet").read_bytes()
    files["wells.ods"] = _ods()
    return files


def _ods() -> bytes:
    spaces = "".join(
        f' xmlns:{one}="urn:oasis:names:tc:opendocument:xmlns:{one}:1.0"' for one in ("office", "table", "text")
    )
    cells = "".join(
        '<table:table-row table:visibility="filter">'
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>'
            for cell in line.replace('"', "").split(";")
        )
        + '<table:table-cell table:number-columns-repeated="16000"/></table:table-row>'
        for line in CSV.splitlines()
    )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f"<office:document-content{spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="Wells">{cells}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return file.getvalue()


def read_or_refuse(path: Path) -> None:
    """One file through every door: a table of even rows or faults with all their words."""
    faults: list[Fault] = []
    table = open_table(Inventory.model_validate({"file": path.name}), path, faults)
    assert table is not None or faults
    for fault in faults:
        assert fault.file and fault.place and fault.found and fault.expected and "\x1b" not in str(fault)
    if table is not None and not faults:
        assert table.rows and all(len(row) == len(table.header) for row in table.rows)
        assert all(isinstance(cell, str) for row in table.rows for cell in row)
        assert all(0 <= one.row <= len(table.rows) for one in table.findings)
    keys = {"file": path.name, **({"sheet": table.found["sheet"]} if table and "sheet" in table.found else {})}
    try:
        step = read_inventory(LoadedPlan(Plan.model_validate({"inventory": keys}), path.parent / "plan.toml", {}, {}))
        assert table is not None and len(step.columns) == len(table.rows)
    except InventoryError as error:
        assert error.faults
    try:
        assert all(isinstance(name, str) for name in sheets_of(path))
    except InventoryError as error:
        assert error.faults


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return seeds(tmp_path_factory.mktemp("seeds"))


@pytest.fixture
def attempt(corpus: dict[str, bytes], tmp_path: Path) -> Try:
    """Damage the seed of this name and read it."""

    def run(name: str, rng: random.Random) -> None:
        data = corpus[name]
        inside = data.startswith(b"PK") and rng.random() < 0.7
        path = tmp_path / name
        path.write_bytes(damaged_inside(data, rng, TOKENS) if inside else damaged(data, rng, TOKENS))
        read_or_refuse(path)

    return run


def test_the_seeds_are_good_files(corpus: dict[str, bytes], tmp_path: Path) -> None:
    for name, data in corpus.items():
        (tmp_path / name).write_bytes(data)
        faults: list[Fault] = []
        beside = {"wells.shp": "no .shx beside it"}
        table = open_table(Inventory.model_validate({"file": name}), tmp_path / name, faults)
        assert table is not None or name in beside, (name, faults)


@pytest.mark.parametrize(("name", "part"), [("wells.ods", "content.xml"), ("wells.xlsx", "xl/worksheets/sheet1.xml")])
def test_a_table_without_an_end_is_refused(corpus: dict[str, bytes], tmp_path: Path, name: str, part: str) -> None:
    """A reader waited for the end of such a table for ever."""
    kept = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(corpus[name])) as whole, zipfile.ZipFile(kept, "w") as broken:
        for one in whole.namelist():
            text = whole.read(one)
            for end in (b"</table:table>", b"</sheetData>"):
                text = text.replace(end, b"<{}/table:table>") if one == part else text
            broken.writestr(one, text)
    (tmp_path / name).write_bytes(kept.getvalue())
    faults: list[Fault] = []
    assert open_table(Inventory.model_validate({"file": name}), tmp_path / name, faults) is None
    assert f"broken in {part}" in faults[0].found


def test_xml_in_an_encoding_that_nobody_knows_is_refused(corpus: dict[str, bytes], tmp_path: Path) -> None:
    """Found by the harness: the error of the encoding came through."""
    for part in ("xl/styles.xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"):
        kept = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(corpus["wells.xlsx"])) as whole, zipfile.ZipFile(kept, "w") as broken:
            for one in whole.namelist():
                text = whole.read(one)
                broken.writestr(one, text.replace(b"UTF-8", b"UUF-8", 1) if one == part else text)
        (tmp_path / "wells.xlsx").write_bytes(kept.getvalue())
        read_or_refuse(tmp_path / "wells.xlsx")
        faults: list[Fault] = []
        assert open_table(Inventory.model_validate({"file": "wells.xlsx"}), tmp_path / "wells.xlsx", faults) is None
        assert "XML that is" in faults[0].found


NAMES = [
    *("wells.csv", "wells.txt", "old.csv", "wells.xlsx", "wells.ods", "wells.gpkg", "wells.shp", "wells.geojson"),
    "wells.parquet",
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(NAMES), st.integers(0, 2**63))
def test_damaged_files_are_read_or_refused(attempt: Try, name: str, seed: int) -> None:
    attempt(name, random.Random(seed))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(NAMES), st.binary(max_size=300))
def test_any_bytes_under_any_name_are_read_or_refused(tmp_path: Path, name: str, data: bytes) -> None:
    (tmp_path / name).write_bytes(data)
    read_or_refuse(tmp_path / name)


@pytest.mark.fuzz
def test_damaged_files_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
