"""Polygons of a file: GeoPackage and Shapefile by GDAL, GeoJSON by the JSON reader. Not a step; `boundary` uses it.

GDAL would read ninety kinds, and among them files that are only addresses; a GeoJSON makes it fetch its `crs`.
"""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import AreaError, Fault
from planner.tables.files.layers import LayerError, geojson_crs, layers_of
from planner.tables.files.raw_table import MAX_CELLS, MAX_FILE_BYTES, MAX_TEXT_BYTES, clip
from planner.tables.files.vector_door import offline_layers, vector_kind

if TYPE_CHECKING:
    import geopandas

KINDS = "a file of polygons: GeoPackage, GeoJSON or Shapefile; QGIS saves any layer as GeoPackage"


def read_polygons(name: str, path: Path) -> geopandas.GeoDataFrame:
    """The first polygon layer of a file, else its first layer; raises AreaError if it cannot be read."""

    def refuse(found: str, expected: str = KINDS, place: str = "file") -> AreaError:
        return AreaError([Fault(name, place, found, expected)])

    if not path.is_file():
        found = "a folder" if path.is_dir() else "no file" if path.exists() else "nothing at this path"
        raise refuse(found, "a file of polygons")
    try:
        kind = vector_kind(path)
        if kind is None:
            raise refuse("a file that cannot be read (another kind)")
        size, most = path.stat().st_size, MAX_TEXT_BYTES if kind == "geojson" else MAX_FILE_BYTES
        if size > most:
            raise refuse(f"{size // 1_000_000} MB", f"at most {most // 1_000_000} MB")
        return _geojson(path) if kind == "geojson" else _gdal(path, kind)
    except LayerError as error:
        found, expected, place = error.args
        raise refuse(found, expected, place) from error
    except AreaError:
        raise
    except Exception as error:  # GDAL, GEOS, PROJ and the decoding of texts have errors of their own
        raise refuse(f"a file that cannot be read ({clip(str(error))})") from error


def _gdal(path: Path, kind: str) -> geopandas.GeoDataFrame:
    import geopandas
    import pyogrio

    layers = layers_of(path, kind)
    polygonal = [layer for layer, geometry in layers if "Polygon" in geometry]
    chosen = polygonal[0] if polygonal else layers[0][0]
    with warnings.catch_warnings(), offline_layers():
        warnings.simplefilter("ignore")  # GDAL's remarks on a file; what cannot be read is an error
        about: dict[str, Any] = pyogrio.read_info(path, layer=chosen)
        _check_cells(int(about["features"]), len(about["fields"]))
        frame = geopandas.read_file(path, layer=chosen)
    if not isinstance(frame, geopandas.GeoDataFrame):
        frame = geopandas.GeoDataFrame(frame, geometry=geopandas.GeoSeries([None] * len(frame)))
    return frame


def _check_cells(rows: int, columns: int) -> None:
    if rows * max(columns, 1) > MAX_CELLS:
        raise LayerError(f"{rows} features of {columns} fields", f"at most {MAX_CELLS} cells", "file")


def _geojson(path: Path) -> geopandas.GeoDataFrame:
    """Features of RFC 7946, or of the older draft with a named reference system."""
    import geopandas
    import shapely

    expected = "a GeoJSON FeatureCollection, in UTF-8"
    try:
        data = json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=lambda text: text)
    except (ValueError, RecursionError) as error:
        raise LayerError(f"a file that cannot be read (no JSON: {clip(str(error))})", expected, "file") from error
    features = _features(data)
    if not all(isinstance(one, dict) for one in features):
        raise LayerError("features that are no objects", expected, "file")
    records = [one.get("properties") or {} for one in features]
    if not all(isinstance(one, dict) for one in records):
        raise LayerError("properties that are no object", expected, "file")
    names = list(dict.fromkeys(str(name) for record in records for name in record))
    _check_cells(len(records), len(names))
    described = [one.get("geometry") for one in features]
    shapes = shapely.from_geojson([None if one is None else json.dumps(one) for one in described], on_invalid="ignore")
    lost = [at for at, one in enumerate(described, start=1) if one is not None and shapes[at - 1] is None]
    if lost:
        found = f"a geometry that cannot be read ({len(lost)} in all)"
        raise LayerError(found, "polygons as RFC 7946 has them", f"feature {lost[0]}")
    crs = geojson_crs(data)
    columns = {name: _column([record.get(name) for record in records]) for name in names if name != "geometry"}
    return geopandas.GeoDataFrame(columns, geometry=geopandas.GeoSeries(np.asarray(shapes, dtype=object), crs=crs))


def _features(data: Any) -> list[Any]:
    kind = data.get("type") if isinstance(data, dict) else None
    if kind == "Feature":
        return [data]
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(features, list) or not features:
        raise LayerError("a file that cannot be read (no features)", "a GeoJSON FeatureCollection, in UTF-8", "file")
    return features


def _column(values: list[Any]) -> Any:
    """Numbers as numbers where all are, anything else as text."""
    import pandas as pd

    numbers = [isinstance(one, int | float) and not isinstance(one, bool) for one in values if one is not None]
    if numbers and all(numbers) and None not in values:
        return pd.Series([float(one) if isinstance(one, float) or abs(one) > 2**53 else one for one in values])
    texts = [one if one is None or isinstance(one, str) else json.dumps(one, ensure_ascii=False) for one in values]
    return pd.Series(texts, dtype="str")
