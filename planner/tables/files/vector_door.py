"""Which files with geometry GDAL is given: GeoPackage and Shapefile by their first bytes, and no layer that is a query.

By their content others can lead it to the network or to other files. A GeoPackage is a data base, and a view in it is a
program that runs when the layer is read: it may call functions that open files, and it may never end.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from planner.offline import GDAL_SETTINGS, quiet

SQLITE = b"SQLite format 3\x00"
GEOPACKAGES = {b"GPKG", b"GP10", b"GP11"}  # the application id in the file's head: OGC 12-128, requirement 2
SHAPEFILE = b"\x00\x00\x27\x0a"
_VIRTUAL = re.compile(r"\s*create\s+virtual\b", re.I)
_INDEXES = re.compile(r"\s*create\s+virtual\s+table\s.*?\susing\s+[\"'\[]?(rtree|rtree_i32|fts[345])\b", re.I | re.S)


def vector_kind(path: Path) -> str | None:
    """gpkg, shp or geojson, else None; raises OSError."""
    with path.open("rb") as file:
        start = file.read(512)
    if start.startswith(SQLITE):
        return "gpkg" if start[68:72] in GEOPACKAGES else None
    if start.startswith(SHAPEFILE):
        return "shp"
    return "geojson" if start.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{" else None


def queries_of(path: Path) -> set[str]:
    """Names in a GeoPackage, in small letters, of what is computed when it is read: views, virtual tables, tables with
    computed columns. Raises sqlite3.Error where the file is damaged."""
    # A file written beside it by another program belongs to it; without one nothing is locked and nothing is written.
    waiting = any(path.with_name(path.name + end).exists() for end in ("-wal", "-journal"))
    address = f"file:{quote(str(path.resolve()))}?mode=ro" + ("" if waiting else "&immutable=1")
    opened = sqlite3.connect(address, uri=True)
    try:
        found = set()
        for kind, name, sql in opened.execute("SELECT type, name, sql FROM sqlite_master").fetchall():
            virtual = _VIRTUAL.match(str(sql)) is not None
            if kind == "view" or (kind == "table" and virtual and not _INDEXES.match(str(sql))):
                found.add(str(name).casefold())
            elif kind == "table" and not virtual:
                columns = opened.execute("SELECT 1 FROM pragma_table_xinfo(?) WHERE hidden IN (2, 3)", [name])
                found |= {str(name).casefold()} if columns.fetchall() else set()
        return found
    finally:
        opened.close()


@contextmanager
def offline_layers() -> Iterator[None]:
    """GDAL's settings of `offline` while layers are read by pyogrio; what stood there is put back."""
    import pyogrio

    before = {name: pyogrio.get_gdal_config_option(name) for name in GDAL_SETTINGS}
    pyogrio.set_gdal_config_options(GDAL_SETTINGS)
    try:
        with quiet():
            yield
    finally:
        pyogrio.set_gdal_config_options(before)
