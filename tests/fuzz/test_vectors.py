"""Damaged and hostile boundary files: read and used, or refused with clear faults; never a traceback, never a hang.

The seeds are small good files, made here. Bytes are damaged; a GeoJSON gets other numbers and other kinds of geometry,
a GeoPackage other rows, views, triggers and computed columns, by SQL.
"""

from __future__ import annotations

import json
import random
import sqlite3
import warnings
from contextlib import closing
from copy import deepcopy
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from planner.errors import AreaError
from planner.plan import LoadedPlan, Plan
from planner.tables import boundary
from planner.tables.boundary import read_boundary
from tests.fuzz.damage import Try, clear, damaged, for_minutes

TOKENS = (
    *(b"\0\0\xf0\x7f", b"\0\0\xf8\x7f", b"\xff\xff\xff\xff", b"1e999", b"NaN", b"null", b"[]", b"[" * 500, b"EPSG:0"),
    *(b'"crs":{"type":"link","properties":{"href":"http://127.0.0.1:9/"}},', b'"coordinates":[],', b"-", b"0"),
)
VIEW = (
    "CREATE VIEW v AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) "
    "SELECT x AS fid, geom, name FROM c, a"
)
REGISTERED = (
    "INSERT INTO gpkg_contents(table_name, data_type, identifier, srs_id) VALUES ('v', 'features', 'v', 4326);"
    "INSERT INTO gpkg_geometry_columns VALUES ('v', 'geom', 'POLYGON', 4326, 0, 0)"
)
SQL = (
    "UPDATE a SET geom = NULL",
    "UPDATE a SET geom = randomblob(200)",
    "UPDATE a SET geom = substr(geom, 1, 60)",
    "UPDATE a SET geom = geom || zeroblob(1000)",
    "UPDATE a SET name = zeroblob(100000)",
    "DELETE FROM a",
    "DELETE FROM gpkg_contents",
    "DELETE FROM gpkg_geometry_columns",
    "DELETE FROM gpkg_spatial_ref_sys",
    "DROP TABLE gpkg_spatial_ref_sys",
    "UPDATE gpkg_spatial_ref_sys SET definition = 'http://127.0.0.1:9/crs', organization = 'x'",
    "UPDATE gpkg_geometry_columns SET geometry_type_name = 'CURVEPOLYGON', z = 1, m = 1",
    "UPDATE gpkg_contents SET table_name = 'none'",
    "ALTER TABLE a ADD COLUMN computed AS (printf('%.*c', 9000000, 'x'))",
    f"{VIEW};{REGISTERED}",
    "CREATE VIEW w AS SELECT ogr_geocode('x') FROM a",
    "CREATE TRIGGER t AFTER UPDATE ON a BEGIN DELETE FROM a; END",
    "ALTER TABLE gpkg_contents RENAME TO old; CREATE VIEW gpkg_contents AS SELECT * FROM old",
)
LATITUDE, LONGITUDE = np.array([-9.5, -9.1, np.nan, 0.0, 90.0]), np.array([33.5, 33.1, 33.0, 0.0, 180.0])


def seeds(folder: Path) -> dict[str, dict[str, bytes]]:
    """Boundary files by name, each its parts: ending → bytes."""
    hole = shapely.Polygon(shapely.box(33, -10, 34, -9).exterior.coords, [shapely.box(33.2, -9.8, 33.4, -9.6).exterior])
    shapes = [hole, shapely.MultiPolygon([shapely.box(34, -10, 35, -9), shapely.box(36, -10, 37, -9)])]
    frame = gpd.GeoDataFrame({"name": ["A", "é"], "people": [1.5, None]}, geometry=shapes, crs="EPSG:4326")
    found: dict[str, dict[str, bytes]] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame.to_file(folder / "a.gpkg", layer="a", driver="GPKG", SPATIAL_INDEX="NO")
        frame.to_crs("EPSG:32736").to_file(folder / "b.gpkg", layer="a", driver="GPKG", SPATIAL_INDEX="NO")
        frame.to_file(folder / "a.shp", driver="ESRI Shapefile")
        frame.set_geometry(frame.geometry.force_3d(5.0)).to_file(folder / "a.geojson", driver="GeoJSON")
    for name in ("a.gpkg", "b.gpkg", "a.geojson"):
        found[name] = {Path(name).suffix: (folder / name).read_bytes()}
    found["a.shp"] = {end: (folder / f"a{end}").read_bytes() for end in (".shp", ".shx", ".dbf", ".prj", ".cpg")}
    return found


def twisted_json(data: bytes, rng: random.Random) -> bytes:
    """The same with single numbers, geometries or members replaced."""
    whole = json.loads(data)
    odd = (None, [], {}, "x", 1e308, -1e308, 10**400, 91, True, [1], [[1, 2]], {"type": "Point"})
    for _ in range(rng.choice((1, 2, 5))):
        one = whole
        while isinstance(one, dict | list) and one:
            key = rng.choice(list(one) if isinstance(one, dict) else range(len(one)))
            if not isinstance(one[key], dict | list) or not one[key] or rng.random() < 0.15:
                one[key] = deepcopy(rng.choice(odd))
                break
            one = one[key]
    return json.dumps(whole).encode()


def twisted_package(data: bytes, rng: random.Random, folder: Path) -> bytes:
    """The same after a few statements of SQL."""
    path = folder / "twisted.gpkg"
    path.write_bytes(data)
    with closing(sqlite3.connect(path)) as opened:
        for _ in range(rng.choice((1, 1, 2))):
            try:
                opened.executescript(rng.choice(SQL))
            except sqlite3.Error:
                continue
            opened.commit()
    found = path.read_bytes()
    path.unlink()
    return found


def read_or_refuse(path: Path) -> None:
    """One boundary read and asked for places, or refused with faults that have all words."""
    keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": path.name}}
    plan = LoadedPlan(Plan.model_validate(keys), path.parent / "plan.toml", {}, {})
    try:
        area, findings = read_boundary(plan)
    except AreaError as error:
        clear(error.faults)
        return
    assert area is not None
    assert len(area.names) == len(area.polygons) > 0
    nearest, distance = area.nearest(area.points(LATITUDE[:2], LONGITUDE[:2]))
    assert (nearest >= 0).all() and np.isfinite(distance).all()
    area.containing(area.points(LATITUDE, LONGITUDE))
    assert all(one.rule.startswith("boundary_") for one in findings)


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, bytes]]:
    return seeds(tmp_path_factory.mktemp("vectors"))


@pytest.fixture
def attempt(corpus: dict[str, dict[str, bytes]], tmp_path: Path) -> Try:
    """Damage one part of the seed of this name and read it."""

    def run(name: str, rng: random.Random) -> None:
        for old in tmp_path.iterdir():
            old.unlink()
        parts = corpus[name]
        chosen = rng.choice(list(parts))
        for end, data in parts.items():
            changed = data
            if end == chosen and end == ".geojson" and rng.random() < 0.6:
                changed = twisted_json(data, rng)
            elif end == chosen and end == ".gpkg" and rng.random() < 0.4:
                changed = twisted_package(data, rng, tmp_path)
            elif end == chosen:
                changed = damaged(data, rng, TOKENS)
            (tmp_path / f"a{end}").write_bytes(changed)
        read_or_refuse(tmp_path / f"a{next(iter(parts))}")

    return run


NAMES = ("a.gpkg", "b.gpkg", "a.shp", "a.geojson")


def test_the_seeds_are_boundaries(corpus: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    for name, parts in corpus.items():
        for end, data in parts.items():
            (tmp_path / f"{name[0]}{end}").write_bytes(data)
        keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": name}}
        area, findings = read_boundary(LoadedPlan(Plan.model_validate(keys), tmp_path / "plan.toml", {}, {}))
        assert area is not None and area.names == ("A", "é") and findings == []
        assert area.containing(area.points(LATITUDE[:2], LONGITUDE[:2])).tolist() == [0, 0]


def test_damaged_boundaries_are_read_or_refused(attempt: Try) -> None:
    for seed in range(40):
        for name in NAMES:
            attempt(name, random.Random(seed))


@pytest.mark.parametrize("statement", SQL)
def test_a_package_of_any_content_is_read_or_refused(
    corpus: dict[str, dict[str, bytes]], tmp_path: Path, statement: str
) -> None:
    path = tmp_path / "a.gpkg"
    path.write_bytes(corpus["a.gpkg"][".gpkg"])
    with closing(sqlite3.connect(path)) as opened:
        opened.executescript(statement)
        opened.commit()
    read_or_refuse(path)


def test_a_layer_that_is_a_query_without_end_is_not_run(corpus: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    """Such a view ran for as long as it liked when its layer was read."""
    path = tmp_path / "a.gpkg"
    path.write_bytes(corpus["a.gpkg"][".gpkg"])
    with closing(sqlite3.connect(path)) as opened:
        opened.executescript(f"{VIEW};{REGISTERED};DELETE FROM gpkg_geometry_columns WHERE table_name = 'a'")
        opened.executescript("DELETE FROM gpkg_contents WHERE table_name = 'a'; DROP TABLE a")
        opened.commit()
    keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": "a.gpkg"}}
    with pytest.raises(AreaError, match="no layers but queries"):
        read_boundary(LoadedPlan(Plan.model_validate(keys), tmp_path / "plan.toml", {}, {}))


def _area(tmp_path: Path, *rings: list[list[float]], kind: str = "Polygon") -> None:
    features = [
        {"type": "Feature", "properties": {"name": "A"}, "geometry": {"type": kind, "coordinates": [ring]}}
        for ring in rings
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (tmp_path / "a.geojson").write_text(text, encoding="utf-8")
    keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": "a.geojson"}}
    read_boundary(LoadedPlan(Plan.model_validate(keys), tmp_path / "plan.toml", {}, {}))


def test_a_tangle_and_a_scribble_are_refused_before_they_are_mended(tmp_path: Path) -> None:
    """2000 edges across one another take 19 s and 1 GB to mend, ten times as many a hundred times that."""
    tangle = np.random.default_rng(0).uniform(30, 40, (20_000, 2)).tolist()
    with pytest.raises(AreaError, match="cross one another everywhere"):
        _area(tmp_path, [*tangle, tangle[0]])
    scribble = [[-179.0 if at % 2 else 179.0, 1e-5 * at] for at in range(3000)]
    with pytest.raises(AreaError, match="corners"):
        _area(tmp_path, [*scribble, scribble[0]])


def test_many_corners_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boundary, "MOST_CORNERS", 100)
    angles = np.linspace(0, 2 * np.pi, 200)
    with pytest.raises(AreaError, match="at most 100"):
        _area(tmp_path, np.column_stack([33 + np.cos(angles), -9 + np.sin(angles)]).tolist())


def test_what_is_no_polygon_is_left_out_and_told(tmp_path: Path) -> None:
    square = shapely.to_geojson(shapely.box(33, -10, 34, -9))
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": geometry}
        for name, geometry in (
            ("A", json.loads(square)),
            ("B", None),
            ("C", {"type": "Point", "coordinates": [33, -9]}),
        )
    ]
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": "a.geojson"}}
    area, findings = read_boundary(LoadedPlan(Plan.model_validate(keys), tmp_path / "plan.toml", {}, {}))
    assert area is not None and area.names == ("A",)
    assert [(one.rule, one.old_value) for one in findings] == [("boundary_left_out", "2")]


@pytest.mark.fuzz
def test_damaged_boundaries_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
