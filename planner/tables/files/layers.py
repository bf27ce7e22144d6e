"""Files with geometry: GeoPackage and Shapefile by GDAL, Parquet by Arrow, GeoJSON by the JSON reader.

Attributes become text cells and points become two columns. GDAL is given only files whose first bytes are those of a
GeoPackage or a Shapefile: by their content others can lead it to the network or to other files, GeoJSON by its `crs`.
"""

from __future__ import annotations

import json
import re
import sqlite3
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.number_marks import date_order_of
from planner.tables.files.raw_table import MAX_CELLS, MAX_FILE_BYTES, MAX_TEXT_BYTES, RawTable, clip, text_of, told
from planner.tables.files.vector_door import offline_layers, queries_of
from planner.tables.step import Finding

WGS84 = "EPSG:4326"
_AXES = {True: ("latitude", "longitude"), False: ("northing", "easting")}
_POINT, _MULTIPOINT = 0, 4


class LayerError(Exception):
    """What was found (args[0]) and what is expected (args[1]), and where in the file or plan (args[2])."""


def read_layers(settings: Inventory, path: Path, kind: str, faults: list[Fault]) -> RawTable | None:
    """The table of a file of this kind (gpkg, shp, geojson, parquet), or None and the faults."""
    findings: list[Finding] = []
    found = {"format": kind}
    try:
        _check_size(path, kind)
        if kind == "geojson":
            names, columns, points, crs = _geojson(path, findings)
        elif kind == "parquet":
            names, columns, points, crs = _parquet(path, findings)
        else:
            names, columns, points, crs = _gdal(settings, path, kind, found, findings)
    except LayerError as error:
        faults.append(Fault(settings.file, error.args[2], error.args[0], error.args[1]))
        return None
    count = len(columns[0]) if columns else 0 if points is None else len(points)
    if not count:
        faults.append(Fault(settings.file, "file", "no features", "at least one"))
        return None
    names = [name.strip() for name in names]
    if points is not None:
        _add_points(settings, names, columns, points, crs, found, findings)
    rows = [list(row) for row in zip(*columns, strict=True)]
    found["decimal"] = settings.decimal or "."
    found["date_order"] = settings.date_order or date_order_of(rows, len(names))
    return RawTable(names, rows, crs, found, findings)


def layer_names(path: Path, kind: str) -> list[str]:
    """Names of the layers of a GeoPackage; [] of files that have but one. Raises LayerError."""
    return [name for name, _ in layers_of(path, kind)] if kind == "gpkg" else []


def _check_size(path: Path, kind: str) -> None:
    size, most = path.stat().st_size, MAX_TEXT_BYTES if kind == "geojson" else MAX_FILE_BYTES
    if size > most:
        raise LayerError(f"{size // 1_000_000} MB", f"at most {most // 1_000_000} MB", "file")


def _add_points(
    settings: Inventory,
    names: list[str],
    columns: list[list[str]],
    points: np.ndarray,
    crs: str | None,
    found: dict[str, str],
    findings: list[Finding],
) -> None:
    """The points as two columns, north first, unless the file has columns of these names."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if crs is None:
        findings.append(Finding(0, "", "[inventory] crs", "crs_missing", "warning", "", settings.crs))
    try:
        pair = _AXES[CRS.from_user_input(crs or settings.crs).is_geographic]
    except CRSError:
        pair = _AXES[True]
    taken = [name for name in pair if name in names]
    if taken:
        findings += [Finding(0, "", name, "geometry_not_used", "warning", name) for name in taken]
        return
    found["geometry_columns"] = ",".join(pair)
    for name, values in zip(pair, (points[:, 1], points[:, 0]), strict=True):
        names.append(name)
        columns.append([text_of(value) if value == value else "" for value in values.tolist()])  # noqa: PLR0124 (NaN)


def _points(geometry: Any, findings: list[Finding]) -> np.ndarray:
    """x and y of each geometry, missing where it is none; raises LayerError where none is a point."""
    import shapely

    kinds = shapely.get_type_id(geometry)
    single = (kinds == _MULTIPOINT) & (shapely.get_num_geometries(geometry) == 1)
    geometry = np.where(single, shapely.get_geometry(geometry, 0), geometry)
    there = ~shapely.is_missing(geometry) & ~shapely.is_empty(geometry)
    point = there & (shapely.get_type_id(geometry) == _POINT)
    if there.any() and not point.any():
        found = clip(str(geometry[there][0].geom_type))
        raise LayerError(f"{found} as geometry", "points", "geometry")
    points = np.full((len(geometry), 2), np.nan)
    points[point] = shapely.get_coordinates(geometry[point])
    points[~np.isfinite(points)] = np.nan
    for at in np.flatnonzero(there & ~point).tolist():
        kind = str(geometry[at].geom_type)
        findings.append(Finding(at + 1, "", "", "geometry_not_a_point", "warning", kind))
    if (shapely.has_z(geometry) & point).any():
        findings.append(Finding(0, "", "", "height_not_read", "info"))
    return points


def layers_of(path: Path, kind: str) -> list[tuple[str, str]]:
    """Name and geometry type of each layer that is stored in the file, not computed. Raises LayerError."""
    import pyogrio

    try:
        computed = queries_of(path) if kind == "gpkg" else set()
        if tables := sorted(name for name in computed if name.startswith("gpkg_")):
            raise LayerError(f"{clip(tables[0])} as a query", "a GeoPackage whose own tables are tables", "file")
        with warnings.catch_warnings(), offline_layers():
            warnings.simplefilter("ignore")
            found = [(str(name), str(kind or "")) for name, kind in pyogrio.list_layers(path)]
    except LayerError:
        raise
    except (sqlite3.Error, ValueError, RuntimeError) as error:  # pyogrio's are RuntimeError and ValueError
        raise LayerError(f"a damaged file ({clip(str(error))})", "a file that is whole", "file") from error
    stored = [one for one in found if one[0].casefold() not in computed]
    if found and not stored:
        raise LayerError("no layers but queries", "a layer that is a table: save it as a new GeoPackage", "file")
    return stored


def _choose(settings: Inventory, path: Path, kind: str, findings: list[Finding]) -> str:
    layers = layers_of(path, kind)
    names = [name for name, _ in layers]
    listed = "one of: " + ", ".join(clip(name) for name in names[:30]) + (", …" if len(names) > 30 else "")
    if settings.sheet is not None and kind == "gpkg":
        if settings.sheet not in names:
            raise LayerError(clip(settings.sheet), listed, "[inventory] sheet")
        return settings.sheet
    likely = [name for name, geometry in layers if "Point" in geometry]
    if len(names) == 1:
        return names[0]
    if len(likely) != 1:
        several = f"nothing, and {len(likely)} layers have points"
        raise LayerError(several, listed, "[inventory] sheet")
    others = ", ".join(clip(name) for name in names[:30] if name != likely[0])
    findings.append(told("sheet", likely[0], f"not read: {others}"))
    return likely[0]


Columns = tuple[list[str], list[list[str]], np.ndarray | None, str | None]


def _gdal(settings: Inventory, path: Path, kind: str, found: dict[str, str], findings: list[Finding]) -> Columns:
    import pyogrio
    import shapely

    layer = _choose(settings, path, kind, findings)
    if kind == "gpkg":
        found["sheet"] = layer
    encoding = settings.encoding if kind == "shp" else None
    try:
        with warnings.catch_warnings(), offline_layers():
            warnings.simplefilter("ignore")  # GDAL's remarks on a file; what cannot be read is an error
            about = pyogrio.read_info(path, layer=layer, encoding=encoding)
            fields: Any = about["fields"]
            _check_cells(int(str(about["features"])), len(fields))
            meta, table = pyogrio.read_arrow(path, layer=layer, encoding=encoding)
        found["encoding"] = str(encoding or about["encoding"] or "")
        geometry = meta["geometry_name"] or "wkb_geometry"
        points = None
        if geometry in table.column_names:
            shapes = shapely.from_wkb(table[geometry].to_numpy(zero_copy_only=False), on_invalid="ignore")
            points = _points(shapes, findings)
            table = table.drop_columns([geometry])
        return list(table.column_names), _texts(table), points, meta["crs"]
    except LayerError:
        raise
    except LookupError as error:
        raise LayerError(clip(str(encoding)), "an encoding of this text", "[inventory] encoding") from error
    except Exception as error:  # GDAL, Arrow and GEOS have errors of their own
        raise LayerError(f"a damaged file ({clip(str(error))})", "a file that is whole", "file") from error


def _check_cells(rows: int, columns: int) -> None:
    if rows * max(columns, 1) > MAX_CELLS:
        raise LayerError(f"{rows} rows of {columns} cells", f"at most {MAX_CELLS} cells", "file")


def _parquet(path: Path, findings: list[Finding]) -> Columns:
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(path)
        about = file.metadata
        _check_cells(about.num_rows, about.num_columns)
        size = sum(about.row_group(at).total_byte_size for at in range(about.num_row_groups))
        if size > MAX_FILE_BYTES:
            raise LayerError(f"{size // 1_000_000} MB unpacked", f"at most {MAX_FILE_BYTES // 1_000_000} MB", "file")
        table = file.read()
        geo = json.loads((about.metadata or {}).get(b"geo", b"{}"))
        column = geo.get("primary_column")
        points, crs = None, None
        if column in table.column_names:
            described = geo.get("columns", {}).get(column, {})
            points = _points(_shapes(table[column], described.get("encoding", "WKB")), findings)
            crs = _crs_text(described["crs"]) if described.get("crs", "") != "" else WGS84
            table = table.drop_columns([column])
        return [str(name) for name in table.column_names], _texts(table), points, crs
    except LayerError:
        raise
    except Exception as error:  # Arrow, GEOS and PROJ have errors of their own
        raise LayerError(f"a damaged file ({clip(str(error))})", "a file that is whole", "file") from error


def _shapes(column: Any, encoding: str) -> Any:
    import shapely

    if encoding == "WKB":
        return shapely.from_wkb(np.array(column.to_pylist(), dtype=object), on_invalid="ignore")
    if encoding == "point":
        pairs = [(one or {"x": None, "y": None}) for one in column.to_pylist()]
        values = np.array([[one["x"], one["y"]] for one in pairs], dtype="float64")
        return np.where(np.isfinite(values).all(axis=1), shapely.points(values), None)
    raise LayerError(f"geometry as {clip(encoding)}", "WKB or point", "geometry")


def _crs_text(crs: Any) -> str | None:
    """Short text of a reference system, None if it has none."""
    from pyproj import CRS

    if crs is None:
        return None
    system = CRS.from_user_input(crs)
    if system.equals(WGS84, ignore_axis_order=True):
        return WGS84
    authority = system.to_authority(min_confidence=100)
    return ":".join(authority) if authority else system.to_wkt()


def _texts(table: Any) -> list[list[str]]:
    """Text cells of every column of an Arrow table."""
    return [_column_texts(column) for column in table.columns]


def _column_texts(column: Any) -> list[str]:
    import pyarrow as pa

    if pa.types.is_integer(column.type) or pa.types.is_string(column.type):
        return column.cast(pa.string()).fill_null("").to_pylist()  # type: ignore[no-any-return]
    if pa.types.is_timestamp(column.type):
        column = column.cast(pa.timestamp("us", column.type.tz), safe=False)
    return [_text(value) for value in column.to_pylist()]


def _text(value: Any) -> str:
    if value.__class__ is str:
        return str(value)
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, default=str)
    if isinstance(value, bytes):
        return value.hex()
    return "" if isinstance(value, float) and np.isnan(value) else text_of(value)


def _geojson(path: Path, findings: list[Finding]) -> Columns:
    """A FeatureCollection of RFC 7946; numbers keep the text in which they are written."""
    expected = "a GeoJSON FeatureCollection, in UTF-8"
    try:
        text = path.read_bytes().decode("utf-8-sig")
        data = json.loads(text, parse_float=str, parse_int=str, parse_constant=str)
    except OSError as error:
        raise LayerError(error.strerror or "an unreadable file", "a readable file", "file") from error
    except (ValueError, RecursionError) as error:
        raise LayerError(f"no JSON ({clip(str(error))})", expected, "file") from error
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(features, list) or not all(isinstance(one, dict) for one in features):
        raise LayerError("no list of features", expected, "file")
    records = [one.get("properties") or {} for one in features]
    if not all(isinstance(one, dict) for one in records):
        raise LayerError("properties that are no object", expected, "file")
    names = list(dict.fromkeys(str(name) for record in records for name in record))
    _check_cells(len(records), len(names))
    columns = [[_text(record.get(name)) for record in records] for name in names]
    if "id" not in names and any("id" in one for one in features):
        names.append("id")
        columns.append([_text(one.get("id")) for one in features])
    points = _geojson_points([one.get("geometry") for one in features], findings)
    return names, columns, points, geojson_crs(data)


def _geojson_points(geometries: list[Any], findings: list[Finding]) -> np.ndarray:
    """x and y, missing without a point; raises LayerError where all geometry is of another kind."""
    points = np.full((len(geometries), 2), np.nan)
    others, heights = {}, False
    for place, geometry in enumerate(geometries):
        if not isinstance(geometry, dict):
            continue
        kind, at = str(geometry.get("type")), geometry.get("coordinates")
        if kind == "MultiPoint" and isinstance(at, list) and len(at) == 1:
            kind, at = "Point", at[0]
        if kind != "Point":
            others[place] = kind
            continue
        try:
            points[place] = [float(one) for one in at[:2]] if isinstance(at, list) else np.nan
            heights |= isinstance(at, list) and len(at) > 2
        except (TypeError, ValueError):
            points[place] = np.nan
    points[~np.isfinite(points).all(axis=1)] = np.nan
    if others and len(others) == len([one for one in geometries if one]):
        raise LayerError(f"{clip(next(iter(others.values())))} as geometry", "points", "geometry")
    findings += [
        Finding(place + 1, "", "", "geometry_not_a_point", "warning", kind[:100]) for place, kind in others.items()
    ]
    if heights:
        findings.append(Finding(0, "", "", "height_not_read", "info"))
    return points


def geojson_crs(data: dict[str, Any]) -> str | None:
    """WGS 84, or the system that files older than RFC 7946 name; raises LayerError, also where that is an address."""
    crs = data.get("crs")
    if crs is None:
        return WGS84
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    expected = "a name such as urn:ogc:def:crs:EPSG::32736, or none"
    if not isinstance(name, str) or not re.fullmatch(r"(?:urn:ogc:def:crs:)?[A-Z]{3,5}:[\w.]*:?\w+", name):
        raise LayerError(clip(str(crs)), expected, "crs")
    from pyproj.exceptions import CRSError

    try:
        return _crs_text(name)
    except CRSError as error:
        raise LayerError(clip(name), expected, "crs") from error
