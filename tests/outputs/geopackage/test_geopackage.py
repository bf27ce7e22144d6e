"""plan.gpkg: what is read back, names and styles, hostile text, the same bytes twice."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest

from planner.outputs.folder import chunk_folder
from planner.outputs.geopackage.fields import holdable
from planner.pipeline import run
from planner.plan import read_plan
from planner.tables.boundary import read_polygons
from tests.quick_demo import DEMO, quick_demo

SHOWN = ("funded", "reserve", "test_first")  # layers that show some of the sites
STYLES = ("decision and cost", "evidence")


@pytest.fixture(scope="module")
def done(hostile_names: tuple[str, ...], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with hostile names in its first rows."""
    folder = tmp_path_factory.mktemp("gpkg") / "data"
    plan = quick_demo(folder)
    table = pd.read_csv(folder / "boreholes.csv", dtype="str", keep_default_na=False)
    table.loc[: len(hostile_names) - 1, "village"] = list(hostile_names)
    table.to_csv(folder / "boreholes.csv", index=False)
    run(plan, folder.parent / "out")
    return folder.parent / "out"


def rows(path: Path, statement: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as file:
        return list(file.execute(statement))


def test_every_row_is_there_and_reads_back(done: Path, hostile_names: tuple[str, ...]) -> None:
    exact = pd.read_parquet(done / "sites.parquet").set_index("inventory_row")
    sites = gpd.read_file(done / "plan.gpkg", layer="sites").set_index("inventory_row")
    rest = pyogrio.read_dataframe(done / "plan.gpkg", layer="sites_without_position").set_index("inventory_row")
    assert sorted([*sites.index, *rest.index]) == list(exact.index)
    assert sites.crs == "EPSG:4326"
    same = exact.loc[sites.index]
    for name in ("cost_per_m3", "volume_used_m3_day", "rank", "design_month", "modules_series", "total_head_m"):
        pd.testing.assert_series_equal(
            sites[name].astype("float64"), same[name].astype("float64"), check_names=False, rtol=0, atol=0
        )
    assert sites.geometry.x.tolist() == same["longitude"].tolist()
    everything = pd.concat([sites, rest])["site_name"].fillna("")
    for row, name in enumerate(hostile_names, start=1):
        assert everything[row] == holdable(name)  # text in, text out


def test_whole_numbers_stay_whole(done: Path) -> None:
    types = dict(rows(done / "plan.gpkg", "SELECT name, type FROM pragma_table_info('sites')"))
    assert {types[name] for name in ("rank", "design_month", "modules_series", "modules_parallel")} == {"INTEGER"}
    assert types["sleeve"] == "BOOLEAN" and types["cost_per_m3"] == "REAL"
    ranks = [value for (value,) in rows(done / "plan.gpkg", "SELECT typeof(rank) FROM sites")]
    assert set(ranks) == {"integer", "null"}


def test_areas_add_up_to_the_inventory(done: Path) -> None:
    areas = gpd.read_file(done / "plan.gpkg", layer="areas")
    exact = pd.read_parquet(done / "sites.parquet")
    assert areas["sites"].sum() == len(exact)
    for decision, count in exact["decision"].value_counts().items():
        assert areas[decision].sum() == count
    equip = exact[exact["decision"] == "equip"]
    assert areas["equip_capital_cost"].sum() == pytest.approx(equip["capital_cost"].sum(), rel=1e-12)
    plan = read_plan(DEMO / "plan.toml").plan
    assert plan.area is not None
    drawn = read_polygons(plan.area.boundary, DEMO / plan.area.boundary)
    assert set(areas["area_name"]) >= set(drawn[plan.area.name_field])


def test_areas_have_the_totals_of_the_funded(done: Path) -> None:
    areas = gpd.read_file(done / "plan.gpkg", layer="areas")
    exact = pd.read_parquet(done / "sites.parquet")
    funded = exact[exact["funding"] == "funded"]
    assert areas["funded"].sum() == len(funded) > 0
    for name in ("people_served", "volume_used_m3_day", "capital_cost"):
        assert areas[f"funded_{name}"].sum() == pytest.approx(funded[name].sum(), rel=1e-12), name


def test_layers_of_some_sites_are_those_of_the_table(done: Path) -> None:
    exact = pd.read_parquet(done / "sites.parquet").set_index("inventory_row")
    sites = gpd.read_file(done / "plan.gpkg", layer="sites")
    for name, of in zip(SHOWN, (exact["funding"], exact["funding"], exact["decision"]), strict=True):
        read = gpd.read_file(done / "plan.gpkg", layer=f"sites_{name}")
        assert read["inventory_row"].tolist() == [row for row in sites["inventory_row"] if of[row] == name]
        assert list(read.columns) == list(sites.columns) and read.crs == "EPSG:4326"
        assert read.geometry.geom_type.unique().tolist() == ["Point"]


def test_run_and_findings(done: Path) -> None:
    record = json.loads((done / "run.json").read_text(encoding="utf-8"))
    told = dict(rows(done / "plan.gpkg", "SELECT key, value FROM run"))
    assert told["run_id"] == record["run_id"] and told["date"] == record["date"]
    assert told["counts.equip"] == str(record["counts"]["equip"])
    assert any("pumping test" in value for key, value in told.items() if key.startswith("cautions."))
    found = rows(done / "plan.gpkg", "SELECT count(*) FROM findings")[0][0]
    assert found == len(pd.read_csv(done / "findings.csv", dtype="str"))


def test_styles_name_only_columns_that_exist(done: Path) -> None:
    path = done / "plan.gpkg"
    styles = rows(path, "SELECT f_table_name, styleQML, useAsDefault FROM layer_styles")
    tables = {"sites", "sites_without_position", "areas", "lots", "findings", "run"}
    assert {name for name, _, _ in styles} == tables | {"sites_funded", "sites_reserve", "sites_test_first"}
    assert sorted(name for name, _, default in styles if default) == sorted({name for name, _, _ in styles})
    assert [name for name, _, default in styles if not default] == ["sites", *(f"sites_{one}" for one in SHOWN)]
    for layer, qml, _ in styles:
        columns = {name for (name,) in rows(path, f"SELECT name FROM pragma_table_info('{layer}')")}
        root = ET.fromstring(qml)
        aliases = root.findall("aliases/alias")
        assert {alias.get("field") for alias in aliases} == columns - {"fid", "geom"}
        # A desktop GIS counts the key as field 0.
        order = [name for (name,) in rows(path, f"SELECT name FROM pragma_table_info('{layer}')") if name != "geom"]
        assert all(order[int(alias.get("index") or 0)] == alias.get("field") for alias in aliases)
        texts = [value for element in root.iter() for value in (*element.attrib.values(), element.text or "")]
        for text in texts:
            for part in text.split('"')[1::2]:  # a quoted name in an expression is a column
                assert part in columns, text
        for style in root.iter("text-style"):
            assert style.get("fieldName") in columns
    described = rows(path, "SELECT name, title FROM gpkg_data_columns WHERE column_name = 'cost_per_m3'")
    assert ("Cost of water, whole scheme (USD/m3)", "Cost of water, whole scheme") in described


@pytest.mark.parametrize("style", STYLES)
def test_every_rule_has_a_symbol_and_every_site_a_rule(done: Path, style: str) -> None:
    (qml,) = rows(done / "plan.gpkg", "SELECT styleQML FROM layer_styles WHERE f_table_name = 'sites' ORDER BY id")[
        STYLES.index(style)
    ]
    root = ET.fromstring(qml)
    symbols = {symbol.get("name") for symbol in root.findall("renderer-v2/symbols/symbol")}
    used = {rule.get("symbol") for rule in root.iter("rule") if rule.get("symbol") is not None}
    assert used == symbols
    caught: set[int] = set()
    for rule in root.findall("renderer-v2/rules/rule"):
        inner = [f"({rule.get('filter')}) AND ({one.get('filter')})" for one in rule.findall("rule")]
        for condition in inner or [rule.get("filter") or ""]:
            found = {row for (row,) in rows(done / "plan.gpkg", f"SELECT inventory_row FROM sites WHERE {condition}")}
            assert not caught & found
            caught |= found
    assert caught == {row for (row,) in rows(done / "plan.gpkg", "SELECT inventory_row FROM sites")}


def test_two_runs_give_the_same_bytes(done: Path, quick_run: Path, tmp_path: Path) -> None:
    # The other run has its sites from a third one, which computed them for itself, perhaps in another process.
    shutil.copytree(chunk_folder(quick_run / "out"), chunk_folder(tmp_path))
    run(done.parent / "data" / "plan.toml", tmp_path)
    assert (tmp_path / "plan.gpkg").read_bytes() == (done / "plan.gpkg").read_bytes()


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="no ogrinfo on this machine")
def test_ogrinfo_has_nothing_to_complain_of(done: Path) -> None:
    told = subprocess.run(
        ["ogrinfo", "-so", "-al", str(done / "plan.gpkg")], capture_output=True, text=True, check=True, timeout=60
    )
    assert "warning" not in told.stderr.lower() and "error" not in told.stderr.lower(), told.stderr
