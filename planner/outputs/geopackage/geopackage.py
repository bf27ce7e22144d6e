"""plan.gpkg: sites, areas, findings and the run in one file, with styles and readable names inside.

Layers and tables are written by GDAL, the registered tables `layer_styles` (QML, the default style of each layer)
and `gpkg_data_columns` (schema extension, OGC 12-128r18, clause 2.3 / annex F.9) by SQLite. All dates are the
run's and nothing is random: the same run gives the same bytes.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from planner.glossary import Quantity
from planner.outputs.geopackage.areas import AREA_FIELDS, area_totals
from planner.outputs.geopackage.fields import alias, glossary_fields, holdable_column
from planner.outputs.geopackage.lots import LOT_FIELDS, lot_shapes
from planner.outputs.geopackage.styles import areas_style, evidence_style, lots_style, sites_style, table_style
from planner.outputs.tables import SITE_COLUMNS
from planner.texts import ENGLISH

if TYPE_CHECKING:
    import geopandas as gpd

NO_POSITION = ("missing", "placeholder")
VERSION = "1.3"  # of the GeoPackage standard; older readers warn of what they do not know

FINDING_FIELDS = [
    Quantity("row", "-", "integer", 0, None, "Row", "Row of the inventory; 0 for a whole file"),
    Quantity("site_id", "-", "text", None, None, "Site", "Identifier as written in the inventory"),
    Quantity("column", "-", "text", None, None, "Column", "Column of the cell"),
    Quantity("rule", "-", "text", None, None, "Rule", "Rule that found it"),
    Quantity("severity", "-", "text", None, None, "Severity", "info, warning or stop"),
    Quantity("old_value", "-", "text", None, None, "Value found", "As written in the inventory"),
    Quantity("new_value", "-", "text", None, None, "Value used", "Empty unless repaired"),
    Quantity("action", "-", "text", None, None, "Action", "repaired, flagged or stopped"),
]
RUN_FIELDS = [
    Quantity("key", "-", "text", None, None, "What", "Name of the entry"),
    Quantity("value", "-", "text", None, None, "Value", "Text, number or list"),
]

STYLES_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  f_table_catalog TEXT(256),
  f_table_schema TEXT(256),
  f_table_name TEXT(256),
  f_geometry_column TEXT(256),
  styleName TEXT(30),
  styleQML TEXT,
  styleSLD TEXT,
  useAsDefault BOOLEAN,
  description TEXT,
  owner TEXT(30),
  ui TEXT(30),
  update_time DATETIME
)"""
COLUMNS_TABLE = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL,
  column_name TEXT NOT NULL,
  name TEXT,
  title TEXT,
  description TEXT,
  mime_type TEXT,
  constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name)
)"""
# Stays empty; the extension is both tables.
CONSTRAINTS_TABLE = """
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL,
  constraint_type TEXT NOT NULL,
  value TEXT,
  min NUMERIC,
  min_is_inclusive BOOLEAN,
  max NUMERIC,
  max_is_inclusive BOOLEAN,
  description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value)
)"""
SCHEMA_TABLES = {"gpkg_data_columns": COLUMNS_TABLE, "gpkg_data_column_constraints": CONSTRAINTS_TABLE}
SCHEMA_EXTENSION = "http://www.geopackage.org/spec/#extension_schema"


@dataclass(frozen=True)
class Layer:
    """A layer or table: its fields in order, its rows, and how it is drawn."""

    name: str
    description: str
    fields: Sequence[Quantity]
    frame: pd.DataFrame
    style: str
    geometry: str | None = None
    more_styles: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True)
class View:
    """A layer that shows some rows of `sites`, without a copy of them."""

    name: str
    description: str
    condition: str


# Only columns and words of ours stand in the conditions.
VIEWS = (
    View("sites_funded", "Sites that the budget buys", "funding = 'funded'"),
    View("sites_reserve", "Sites next in line when a funded one falls out", "funding = 'reserve'"),
    View("sites_test_first", "Sites to test before anything is bought", "decision = 'test_first'"),
)


def write_geopackage(
    sites: pd.DataFrame,
    areas: gpd.GeoDataFrame | None,
    name_field: str,
    findings: list[dict[str, Any]],
    run: dict[str, Any],
    path: Path,
    lots: pd.DataFrame | None = None,
) -> None:
    """Write plan.gpkg (EPSG:4326); a file that stands at `path` is replaced.

    sites: a row for each row of the inventory with SITE_COLUMNS, area_name and, if screened, position_status;
    missing is NaN in numbers and "" in texts. areas: polygons of the programme area in any CRS, their name in
    `name_field`; None if the plan has no area. findings: rows of findings.csv. run: what every output states,
    with at least `date` (YYYY-MM-DD) and `currency`. lots: rows of lots.csv, the sites with their `lot`; None if sites
    are not grouped.
    """
    layers = _layers(sites, areas, name_field, findings, run)
    if lots is not None:
        layers.insert(2, _lots_layer(sites, lots, run))
    path.unlink(missing_ok=True)
    stamp = f"{run['date']}T00:00:00.000Z"
    with _date_of_files(stamp):
        for layer in layers:
            _write_layer(layer, path)
    with closing(sqlite3.connect(path)) as file, file:
        views = _write_views(file, layers[0], stamp)
        _write_names(file, [*layers, *views], str(run["currency"]))
        _write_styles(file, [*layers, *views], stamp)


def _layers(
    sites: pd.DataFrame,
    areas: gpd.GeoDataFrame | None,
    name_field: str,
    findings: list[dict[str, Any]],
    run: dict[str, Any],
) -> list[Layer]:
    import geopandas as gpd

    currency = str(run["currency"])
    fields = glossary_fields(
        (name for name in SITE_COLUMNS if name in sites.columns), str(run.get("language", ENGLISH))
    )
    columns = _typed(sites, fields)
    placed = _has_position(sites)
    points = gpd.points_from_xy(columns["longitude"][placed], columns["latitude"][placed], crs="EPSG:4326")
    site_points = gpd.GeoDataFrame(columns[placed], geometry=points)
    site_style = sites_style(sites, fields, currency)

    def table(name: str, description: str, fields: Sequence[Quantity], frame: pd.DataFrame) -> Layer:
        return Layer(name, description, fields, _typed(frame, fields), table_style(fields, currency))

    grid_m = run.get("coarsen_m", 0)
    where = f"; positions are the centres of a grid of {grid_m:g} m, not the wells" if grid_m else ""
    layers = [
        Layer(
            "sites",
            f"Sites: every row of the inventory with a position{where}",
            fields,
            site_points,
            site_style,
            "Point",
            (("evidence_grade", evidence_style(sites, fields, currency)),),
        ),
        table("sites_without_position", "Rows of the inventory without a usable position", fields, sites[~placed]),
        table("findings", "Faults of the inventory, what was done", FINDING_FIELDS, _frame(findings, FINDING_FIELDS)),
        table("run", "What this plan rests on", RUN_FIELDS, _frame(_run_rows(run), RUN_FIELDS)),
    ]
    if areas is not None:
        totals = area_totals(sites, areas, name_field)
        shown = gpd.GeoDataFrame(_typed(totals, AREA_FIELDS), geometry=totals.geometry)
        style = areas_style(AREA_FIELDS, currency)
        words = "Areas with the totals of their sites"
        layers.insert(2, Layer("areas", words, AREA_FIELDS, shown, style, "MultiPolygon"))
    return layers


def _lots_layer(sites: pd.DataFrame, lots: pd.DataFrame, run: dict[str, Any]) -> Layer:
    import geopandas as gpd

    shapes = lot_shapes(sites, lots, float(run.get("coarsen_m", 0)))
    shown = gpd.GeoDataFrame(_typed(shapes, LOT_FIELDS), geometry=shapes.geometry)
    words = "Lots for tender with the totals of their sites; a point belongs to the lot of the nearest site"
    return Layer("lots", words, LOT_FIELDS, shown, lots_style(LOT_FIELDS, str(run["currency"])), "MultiPolygon")


def _has_position(sites: pd.DataFrame) -> pd.Series:
    placed: pd.Series = sites["latitude"].notna() & sites["longitude"].notna()
    if "position_status" in sites.columns:
        placed &= ~sites["position_status"].isin(NO_POSITION)
    return placed


def _typed(frame: pd.DataFrame, fields: Sequence[Quantity]) -> pd.DataFrame:
    """The columns of the fields, with missing whole numbers and flags as such, not as fractions."""
    types = {"text": "str", "number": "float64", "integer": "Int64", "flag": "boolean"}
    columns = {one.name: frame[one.name] for one in fields}
    columns |= {one.name: holdable_column(frame[one.name]) for one in fields if one.dtype == "text"}
    return pd.DataFrame(columns, index=frame.index).astype({field.name: types[field.dtype] for field in fields})


def _frame(rows: list[dict[str, Any]], fields: Sequence[Quantity]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=[field.name for field in fields], dtype="object")


def _run_rows(run: dict[str, Any]) -> list[dict[str, Any]]:
    """The run as key and value: parts of a part as `counts.equip`, lists of sentences as `cautions.1`, ….

    >>> _run_rows({"counts": {"equip": 3}, "cautions": ["Test."]})
    [{'key': 'counts.equip', 'value': '3'}, {'key': 'cautions.1', 'value': 'Test.'}]
    >>> _run_rows({"without_effect": []})
    [{'key': 'without_effect', 'value': '[]'}]
    """
    rows: dict[str, Any] = {}
    for name, part in run.items():
        inner = dict(enumerate(part, start=1)) if isinstance(part, list) else part
        parts = inner if isinstance(inner, dict) else {}
        rows |= {f"{name}.{key}": value for key, value in parts.items()} or {name: part}
    return [
        {"key": key, "value": value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)}
        for key, value in rows.items()
    ]


@contextmanager
def _date_of_files(stamp: str) -> Iterator[None]:
    """Let GDAL write this date instead of today's."""
    import pyogrio

    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": stamp})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _write_layer(layer: Layer, path: Path) -> None:
    import pyogrio

    pyogrio.write_dataframe(
        layer.frame,
        path,
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.geometry,
        promote_to_multi=layer.geometry == "MultiPolygon",
        use_arrow=True,  # the same file in a third of the time
        dataset_options=None if path.exists() else {"VERSION": VERSION},
        layer_options={"IDENTIFIER": layer.name, "DESCRIPTION": layer.description},
    )


def _write_views(file: sqlite3.Connection, sites: Layer, stamp: str) -> list[Layer]:
    """Register VIEWS as layers (OGC 12-128r18, 2.1: a view whose first column is a whole number may be one)."""
    extent = file.execute("SELECT min_x, min_y, max_x, max_y, srs_id FROM gpkg_contents WHERE table_name = 'sites'")
    box = next(extent)
    columns = ", ".join(f'"{name}"' for name in ("fid", "geom", *(field.name for field in sites.fields)))
    made = []
    for view in VIEWS:
        file.execute(f"CREATE VIEW {view.name} AS SELECT {columns} FROM sites WHERE {view.condition}")
        file.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change,"
            " min_x, min_y, max_x, max_y, srs_id) VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
            (view.name, view.name, view.description, stamp, *box),
        )
        file.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', 'POINT', ?, 0, 0)", (view.name, box[-1]))
        made.append(replace(sites, name=view.name, description=view.description))
    return made


def _write_names(file: sqlite3.Connection, layers: Sequence[Layer], currency: str) -> None:
    """Readable names and meanings of all columns."""
    for name, statement in SCHEMA_TABLES.items():
        file.execute(statement)
        file.execute(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')", (name, SCHEMA_EXTENSION)
        )
    file.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description) VALUES (?, ?, ?, ?, ?)",
        [
            (layer.name, field.name, alias(field, currency), field.label, field.meaning)
            for layer in layers
            for field in layer.fields
        ],
    )


def _write_styles(file: sqlite3.Connection, layers: Sequence[Layer], stamp: str) -> None:
    """The styles of each layer, its default first, where a desktop GIS looks for them."""
    file.execute(STYLES_TABLE)
    file.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
        " VALUES (?, ?, ?, ?, ?)",
        ("layer_styles", "attributes", "layer_styles", "Styles of the layers", stamp),
    )
    file.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,"
        " styleQML, styleSLD, useAsDefault, description, owner, update_time)"
        " VALUES ('', '', ?, ?, ?, ?, '', ?, ?, '', ?)",
        [
            (layer.name, "geom" if layer.geometry else "", name, style, place == 0, layer.description, stamp)
            for layer in layers
            for place, (name, style) in enumerate(((layer.name, layer.style), *layer.more_styles))
        ],
    )
