"""plan.gpkg reads back whole: every column of every site, names that no two columns share, the schema extension."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from planner.glossary import Quantity, glossary
from planner.outputs.geopackage.areas import AREA_FIELDS
from planner.outputs.geopackage.fields import alias, glossary_fields
from planner.outputs.geopackage.geopackage import FINDING_FIELDS, RUN_FIELDS, write_geopackage
from planner.outputs.tables import SITE_COLUMNS

ROWS = 40
RUN = {"run_id": "0123456789ab", "date": "2026-05-04", "currency": "USD", "without_effect": []}


@pytest.fixture
def sites() -> pd.DataFrame:
    """Invented rows: every column filled with its own numbers, a third of the numbers missing."""
    known, draw = glossary(), np.random.default_rng(7)
    columns = {}
    for name in SITE_COLUMNS:
        holes = draw.random(ROWS) < 1 / 3
        columns[name] = {
            "text": np.where(holes, "", [f"{name} <&\"'{row}>" for row in range(ROWS)]),
            "flag": holes,
            "integer": np.where(holes, np.nan, draw.integers(0, 10**9, ROWS)),
            "number": np.where(holes, np.nan, draw.normal(0, 1e3, ROWS)),
        }[known[name].dtype]
    frame = pd.DataFrame(columns)
    frame["inventory_row"] = np.arange(1, ROWS + 1)
    frame["latitude"], frame["longitude"] = draw.uniform(-5, 5, ROWS), draw.uniform(20, 30, ROWS)
    frame.loc[[3, 8], ["latitude", "longitude"]] = np.nan
    return frame.astype({name: "str" for name in SITE_COLUMNS if known[name].dtype == "text"})


def test_every_value_of_every_column(sites: pd.DataFrame, tmp_path: Path) -> None:
    write_geopackage(sites, None, "", [], RUN, tmp_path / "plan.gpkg")
    points = gpd.read_file(tmp_path / "plan.gpkg", layer="sites")
    rest = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="sites_without_position")
    assert rest["inventory_row"].tolist() == [4, 9]
    assert list(rest.columns) == SITE_COLUMNS
    assert list(points.columns) == [*SITE_COLUMNS, "geometry"]
    placed = sites["latitude"].notna().to_numpy()
    for read, written in ((points, sites[placed]), (rest, sites[~placed])):
        for name in SITE_COLUMNS:
            kind = glossary()[name].dtype
            if kind == "text":
                assert read[name].tolist() == written[name].tolist(), name
            else:
                exact = read[name].to_numpy(dtype="float64", na_value=np.nan)
                np.testing.assert_array_equal(exact, written[name].to_numpy(dtype="float64"), err_msg=name)
    with closing(sqlite3.connect(tmp_path / "plan.gpkg")) as file:
        types = dict(file.execute("SELECT name, type FROM pragma_table_info('sites')"))
    kinds = {"text": "TEXT", "flag": "BOOLEAN", "integer": "INTEGER", "number": "REAL"}
    assert {name: types[name] for name in SITE_COLUMNS} == {
        name: kinds[glossary()[name].dtype] for name in SITE_COLUMNS
    }


@pytest.mark.parametrize(
    "fields",
    [glossary_fields(SITE_COLUMNS), AREA_FIELDS, FINDING_FIELDS, RUN_FIELDS],
    ids=["sites", "areas", "findings", "run"],
)
def test_no_two_columns_share_a_name(fields: list[Quantity]) -> None:
    names = [alias(field, "USD") for field in fields]
    assert sorted(set(names)) == sorted(names)


def test_the_schema_extension_is_whole(sites: pd.DataFrame, tmp_path: Path) -> None:
    # OGC 12-128r18, annex F.9: both tables, both registered.
    write_geopackage(sites, None, "", [], RUN, tmp_path / "plan.gpkg")
    with closing(sqlite3.connect(tmp_path / "plan.gpkg")) as file:
        tables = {name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        told = set(file.execute("SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'"))
        run = dict(file.execute("SELECT key, value FROM run"))
    assert {"gpkg_data_columns", "gpkg_data_column_constraints"} <= tables
    assert told == {("gpkg_data_columns",), ("gpkg_data_column_constraints",)}
    assert run["without_effect"] == "[]"  # nothing is told as nothing, not left out
