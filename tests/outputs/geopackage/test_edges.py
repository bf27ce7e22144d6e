"""plan.gpkg without area, without positions, without rows; areas that share a name; text that no file holds."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from shapely.geometry import Polygon, box

from planner.glossary import glossary
from planner.outputs.geopackage.areas import area_totals
from planner.outputs.geopackage.geopackage import write_geopackage
from planner.outputs.geopackage.styles import cost_classes
from planner.outputs.map.cost_classes import PALETTE
from planner.outputs.tables import SITE_COLUMNS

RUN: dict[str, Any] = {"run_id": "0123456789ab", "date": "2026-05-04", "currency": "USD", "counts": {"equip": 2}}
VIEWS = {"sites_funded", "sites_reserve", "sites_test_first"}
TABLES = {"sites", "sites_without_position", "findings", "run", "layer_styles"} | VIEWS


@pytest.fixture
def sites() -> pd.DataFrame:
    """Five invented rows: two to equip in one area, one to test in no area, a placeholder and a missing position."""
    known = glossary()
    names = [*SITE_COLUMNS, "area_name", "position_status"]
    empty: dict[str, Any] = {"text": "", "flag": False}
    frame = pd.DataFrame({name: [empty.get(known[name].dtype, np.nan)] * 5 for name in names})
    frame["inventory_row"] = range(1, 6)
    frame["latitude"] = [0.5, 0.6, 8.0, 0.0, np.nan]
    frame["longitude"] = [0.5, 1.6, 8.0, 0.0, np.nan]
    frame["position_status"] = ["ok", "ok", "outside", "placeholder", "missing"]
    frame["area_name"] = ["Oruvani", "Oruvani", "", "", ""]
    frame["decision"] = ["equip", "equip", "test_first", "not_assessed", "not_assessed"]
    frame["cost_per_m3"] = [0.2, 0.5, 0.4, np.nan, np.nan]
    frame["volume_used_m3_day"] = [30.0, 10.0, 20.0, np.nan, np.nan]
    frame["capital_cost"] = [1000.0, 3000.0, 2000.0, np.nan, np.nan]
    frame["rank"] = [1.0, 2.0, np.nan, np.nan, np.nan]
    return frame


@pytest.fixture
def areas() -> gpd.GeoDataFrame:
    """Two squares of one name, and one that crosses itself."""
    bow = Polygon([(4, 4), (5, 5), (5, 4), (4, 5)])
    shapes = [box(0, 0, 1, 1), box(1, 0, 2, 1), bow]
    return gpd.GeoDataFrame({"name": ["Oruvani", "Oruvani", "Ndoreni"]}, geometry=shapes, crs="EPSG:4326")


def test_areas_of_one_name_share_one_total(sites: pd.DataFrame, areas: gpd.GeoDataFrame) -> None:
    totals = area_totals(sites, areas, "name")
    assert totals["area_name"].tolist() == ["Oruvani", "Ndoreni", ""]
    assert totals["sites"].tolist() == [2, 0, 3]
    # Closed form, square degrees: two squares; the two halves of a bow tie.
    assert shapely.area(totals.geometry.to_numpy())[:2].tolist() == [2.0, 0.5]
    assert totals.geometry.isna().tolist() == [False, False, True]
    # By hand: (0.2 · 30 + 0.5 · 10) / 40.
    assert totals["equip_cost_per_m3"].tolist() == pytest.approx([0.275, np.nan, np.nan], nan_ok=True)
    # Nobody's people are known in the first area; in the others nothing is to be equipped.
    assert totals["equip_people_served"].tolist() == pytest.approx([np.nan, 0, 0], nan_ok=True)


def test_placeholders_are_no_points(sites: pd.DataFrame, tmp_path: Path) -> None:
    write_geopackage(sites, None, "", [], RUN, tmp_path / "plan.gpkg")
    assert pyogrio.read_info(tmp_path / "plan.gpkg", layer="sites")["features"] == 3
    rest = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="sites_without_position")
    assert rest["inventory_row"].tolist() == [4, 5]
    assert rest["latitude"].tolist() == pytest.approx([0.0, np.nan], nan_ok=True)


@pytest.mark.parametrize("rows", [slice(0), slice(1), slice(4, 5)], ids=["no row", "one row", "no position"])
def test_few_rows_and_no_area(sites: pd.DataFrame, rows: slice, tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    path.write_bytes(b"an older file")
    write_geopackage(sites[rows], None, "", [], RUN, path)
    assert {name for name, _ in pyogrio.list_layers(path)} == TABLES
    with closing(sqlite3.connect(path)) as file:
        assert list(file.execute("PRAGMA integrity_check")) == [("ok",)]


def test_text_that_no_file_holds_costs_no_row(sites: pd.DataFrame, tmp_path: Path) -> None:
    finding = {
        "row": 1,
        "site_id": "a\x00b",
        "column": "depth_m",
        "rule": "control_character",
        "severity": "warning",
        "old_value": "\ud800<b>\x1b",
        "new_value": "",
        "action": "flagged",
    }
    write_geopackage(sites, None, "", [finding, {**finding, "row": 2}], RUN, tmp_path / "plan.gpkg")
    found = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="findings")
    assert found["row"].tolist() == [1, 2]
    assert found["site_id"].tolist() == ["a\u2400b"] * 2
    assert found["old_value"].tolist() == ["\ufffd<b>\u241b"] * 2


def test_dates_are_the_runs_and_the_setting_is_put_back(sites: pd.DataFrame, tmp_path: Path) -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    write_geopackage(sites, None, "", [], RUN, tmp_path / "plan.gpkg")
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
    with closing(sqlite3.connect(tmp_path / "plan.gpkg")) as file:
        written = set(file.execute("SELECT last_change FROM gpkg_contents"))
        written |= set(file.execute("SELECT update_time FROM layer_styles"))
    assert written == {("2026-05-04T00:00:00.000Z",)}


def test_classes_are_those_of_the_map(sites: pd.DataFrame) -> None:
    # By hand: quintiles of 0.2, 0.4, 0.5 are 0.28, 0.36, 0.42, 0.46.
    classes = cost_classes(sites, "USD")
    assert [colour for _, _, colour in classes[:-1]] == list(PALETTE)
    assert [words for _, words, _ in classes[:2]] == ["below 0.28 USD/m3", "0.28 to 0.36 USD/m3"]
    assert classes[1][0] == '"cost_per_m3" >= 0.28 AND "cost_per_m3" < 0.36'
    assert classes[-1][:2] == ('"cost_per_m3" IS NULL', "cost unknown")
