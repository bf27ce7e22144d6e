"""Waypoints and form: names, order, escaping, structure by the standards, the same bytes twice, other readers agree."""

from __future__ import annotations

import csv
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pyogrio
import pytest
from python_calamine import CalamineWorkbook

from planner.commands.update.returned import as_written
from planner.errors import printable
from planner.glossary import glossary
from planner.outputs.field import form, gpx, kml
from planner.outputs.field.form_files import HEADER_LINES
from planner.outputs.field.visits import NAME_LENGTH, no_markup, plain, short_names, visits_of
from planner.outputs.field.write import write_field
from planner.outputs.material import Material
from planner.tables.cells.read import word_meanings
from planner.texts import of_kind, texts

MakeMaterial = Callable[..., Material]

FILES = ("field.gpx", "field.kml", "field_form.csv", "field_form.xlsx")
G, K = f"{{{gpx.NAMESPACE}}}", f"{{{kml.NAMESPACE}}}"
# GPX 1.1 schema, wptType and metadataType; OGC 07-147r2, AbstractFeatureType and PlacemarkType: order of elements.
GPX_POINT = ("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type")
GPX_HEAD = ("name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions")
KML_FEATURE = (
    *("name", "visibility", "open", "author", "link", "address", "AddressDetails", "phoneNumber", "Snippet"),
    *("description", "LookAt", "TimeStamp", "styleUrl", "Style", "Region", "ExtendedData", "Point", "Folder"),
)


@pytest.fixture(scope="module")
def hostile(make_material: MakeMaterial, tmp_path_factory: pytest.TempPathFactory, hostile_names: tuple[str, ...]):
    """Every hostile name as id, name and sub-district, each under every decision, in a programme of such a name."""
    folder = tmp_path_factory.mktemp("hostile")
    names = [one for one in hostile_names for _ in range(5)]
    rows = [{"site_id": one, "site_name": one, "sub_district": one} for one in names]
    material = make_material(folder, rows)
    material.about["programme"] = hostile_names[0] + hostile_names[10] + hostile_names[18]
    out = folder / "out"
    out.mkdir()
    write_field(material, out)
    return material, out


def visited(material: Material) -> pd.DataFrame:
    return pd.DataFrame([one.site | {"name": one.name} for one in visits_of(material)])


def in_order(element: ET.Element, order: tuple[str, ...]) -> bool:
    places = [order.index(one.tag.partition("}")[2]) for one in element]
    return places == sorted(places)


def test_sites_to_equip_and_to_test_first_are_visited(make_material: MakeMaterial, tmp_path: Path) -> None:
    rows = [{"sub_district": "B"}, {"sub_district": "A"}, {"sub_district": "A"}, {}, {"sub_district": "A"}]
    rows += [{"latitude": "", "longitude": ""}]
    visits = visits_of(make_material(tmp_path, rows))
    assert [one.site["inventory_row"] for one in visits] == [5, 3, 2, 1]  # by sub-district; the last has no position
    assert [one.group for one in visits] == ["equip", "reserve", "test_first", "funded"]


def test_lots_come_before_sub_districts(make_material: MakeMaterial, tmp_path: Path) -> None:
    material = make_material(tmp_path, [{"sub_district": "A"}, {"sub_district": "A"}, {"sub_district": "B"}])
    material.sites["lot"] = [2.0, float("nan"), 1.0]
    assert [one.site["inventory_row"] for one in visits_of(material)] == [3, 1, 2]


def test_what_is_missing_is_asked_for(make_material: MakeMaterial, tmp_path: Path) -> None:
    whole, bare = visits_of(make_material(tmp_path, [{}, {"casing_mm": "", "depth_m": "", "arsenic_mg_l": ""}]))
    known = texts()
    for key in ("casing", "depth", "water", "test"):
        sentence = known[f"field_check_{key}"][1]
        assert sentence in bare.checks and sentence not in whole.checks


def test_names_are_short_plain_and_unique() -> None:
    ids = ["W1", "w1", "Ab-3", "R7", "r2", "", "", "01234567890", "=1+1", "é", " B9 "]
    sites = pd.DataFrame({"inventory_row": range(1, len(ids) + 1), "site_id": ids})
    names = short_names(sites)
    assert names == ["R1", "R2", "Ab-3", "R4", "R5", "R6", "R7", "R8", "R9", "R10", "B9"]


def test_hostile_names_never_are_waypoints(hostile: tuple[Material, Path]) -> None:
    names = visited(hostile[0])["name"].tolist()
    assert len({one.casefold() for one in names}) == len(names)
    assert all(re.fullmatch(rf"[A-Za-z0-9._/ -]{{1,{NAME_LENGTH}}}", one) for one in names)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize(("file", "options"), [("field.gpx", {"layer": "waypoints"}), ("field.kml", {})])
def test_another_reader_finds_the_positions(hostile: tuple[Material, Path], file: str, options: dict[str, str]) -> None:
    material, out = hostile
    path = out / file
    layers = [options["layer"]] if options else [name for name, _ in pyogrio.list_layers(path)]
    read = pd.concat([pyogrio.read_dataframe(path, layer=name) for name in layers])
    read = read.set_index("name" if "name" in read else "Name").sort_index()
    wanted = visited(material).set_index("name").sort_index()
    assert read.index.tolist() == wanted.index.tolist()
    assert read.geometry.x.tolist() == pytest.approx(wanted["longitude"].tolist(), abs=1e-7)
    assert read.geometry.y.tolist() == pytest.approx(wanted["latitude"].tolist(), abs=1e-7)
    assert (read.geometry.y < 0).all() and (read.geometry.x > 29).all()  # the programme lies in the south-east


def test_gpx_is_as_its_schema_asks(hostile: tuple[Material, Path]) -> None:
    material, out = hostile
    root = ET.parse(out / "field.gpx").getroot()
    assert root.tag == f"{G}gpx" and root.attrib["version"] == "1.1" and root.attrib["creator"]
    head, *points = root
    assert head.tag == f"{G}metadata" and in_order(head, GPX_HEAD)
    assert head.findtext(f"{G}time") == "2026-01-01T00:00:00Z"
    assert len(points) == len(visits_of(material))
    for point in points:
        assert point.tag == f"{G}wpt" and in_order(point, GPX_POINT) and set(point.attrib) == {"lat", "lon"}
        assert -90 <= float(point.attrib["lat"]) <= 90 and -180 <= float(point.attrib["lon"]) < 180
        assert point.findtext(f"{G}sym") and point.findtext(f"{G}type")


def test_kml_is_as_its_schema_asks(hostile: tuple[Material, Path]) -> None:
    root = ET.parse(hostile[1] / "field.kml").getroot()
    [document] = root
    assert root.tag == f"{K}kml" and document.tag == f"{K}Document" and in_order(document, KML_FEATURE)
    ids = [one.attrib["id"] for one in document.iter(f"{K}Style")]
    assert len(document.findall(f"{K}Folder")) == len(ids) == 4
    for mark in document.iter(f"{K}Placemark"):
        assert in_order(mark, KML_FEATURE)
        assert mark.findtext(f"{K}styleUrl") in {f"#{one}" for one in ids}
        [number] = re.findall(r"^[\d.-]+,[\d.-]+$", mark.findtext(f"{K}Point/{K}coordinates") or "")
        assert float(number.split(",")[0]) > 29  # longitude first
        assert mark.findtext(f"{K}TimeStamp/{K}when") == "2026-01-01"


@pytest.mark.parametrize(("file", "tag"), [("field.gpx", f"{G}desc"), ("field.kml", f"{K}description")])
def test_descriptions_hold_no_markup_and_are_signed(hostile: tuple[Material, Path], file: str, tag: str) -> None:
    material, out = hostile
    texts_found = [one.text or "" for one in ET.parse(out / file).iter(tag)]
    head, *sites = texts_found
    assert all(caution in head for caution in of_kind("caution"))
    assert all("0123456789ab" in one for one in texts_found)
    for one in texts_found:
        assert not set("<>&") & set(one) and "$[" not in one
        assert all(printable(line) == line for line in one.split("\n"))
    for site in visited(material).to_dict("records"):
        assert any(no_markup(site["site_name"]) in one for one in sites)


def test_the_same_bytes_twice(hostile: tuple[Material, Path], tmp_path: Path) -> None:
    material, out = hostile
    write_field(material, tmp_path)
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (out / name).read_bytes(), name


def test_form_and_table_say_the_same(hostile: tuple[Material, Path]) -> None:
    material, out = hostile
    with (out / "field_form.csv").open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    book = CalamineWorkbook.from_path(str(out / "field_form.xlsx"))
    grid = book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    assert grid[HEADER_LINES - 1] == header == [one.name for one in form.columns()]
    assert len(rows) == len(visits_of(material))
    for row, cells, site in zip(rows, grid[HEADER_LINES:], visited(material).to_dict("records"), strict=False):
        for name in ("site_id", "site_name", "sub_district"):
            at = header.index(name)
            assert cells[at] == plain(site[name]) == as_written(row[at])
            assert not row[at].startswith(("=", "+", "-", "@"))
        assert cells[header.index("latitude")] == pytest.approx(site["latitude"])
        assert float(row[header.index("depth_m") - 1]) == site["depth_m"]  # what is known stands beside the empty cell
        assert row[header.index("depth_m")] == ""


def test_no_cell_of_the_form_is_a_formula(hostile: tuple[Material, Path], tmp_path: Path) -> None:
    import zipfile

    with zipfile.ZipFile(hostile[1] / "field_form.xlsx") as archive:
        sheets = [archive.read(name).decode() for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
    assert len(sheets) == 2
    assert not any("<f>" in one for one in sheets)
    assert all("<sheetProtection" in one for one in sheets)
    assert sheets[0].count('type="list"') == len(form.WORDS)


def test_words_of_the_lists_are_read_as_what_they_mean() -> None:
    known = texts()
    for name, words in form.WORDS.items():
        if name in glossary():
            cells = pd.Series([*words, *(known[key][1] for key in words.values())], dtype="str")
            assert word_meanings(cells, name).tolist() == [*words, *words]


def test_every_column_has_a_label_and_a_unit() -> None:
    for column in form.columns():
        assert form.label(column, "en") and "{" not in form.label(column, "en")
        assert form.unit(column, "en") or column.kind != "number" or column.source == "ph"


def test_no_site_to_visit_still_gives_whole_files(make_material: MakeMaterial, tmp_path: Path) -> None:
    material = make_material(tmp_path, [{"latitude": "", "longitude": ""}, {}])
    material.sites["decision"] = "hold"
    write_field(material, tmp_path)
    assert len(ET.parse(tmp_path / "field.gpx").getroot()) == 1
    assert len((tmp_path / "field_form.csv").read_text(encoding="utf-8").splitlines()) == 1
