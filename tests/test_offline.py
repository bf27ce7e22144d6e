"""No file leads to the network: a server on this machine stands at every address, and nobody may come.

The first test is the counter-test: the same files lead GDAL there when it is left to itself.
"""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from pyproj.network import is_network_enabled, set_network_enabled

from planner import offline
from planner.errors import AreaError, Fault, InputError, InventoryError, RasterError
from planner.plan import Inventory, LoadedPlan, Plan, RasterSource
from planner.tables import raster_files
from planner.tables.boundary import read_boundary
from planner.tables.files.raster_door import opened_raster
from planner.tables.files.table_file import open_table

TRANSFORM = rasterio.Affine(0.1, 0, 30.0, 0, -0.1, -9.6)
VRT = (
    '<VRTDataset rasterXSize="64" rasterYSize="64"><SRS>EPSG:4326</SRS><GeoTransform>30,.1,0,-9.6,0,-.1</GeoTransform>'
    '<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename relativeToVRT="0">{}</SourceFilename>'
    "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
)
TILES = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>{}/t.png</ServerUrl></Service><DataWindow><UpperLeftX>30</UpperLeftX>'
    "<UpperLeftY>-9</UpperLeftY><LowerRightX>31</LowerRightX><LowerRightY>-10</LowerRightY><SizeX>64</SizeX>"
    "<SizeY>64</SizeY></DataWindow><Projection>EPSG:4326</Projection><BandsCount>1</BandsCount></GDAL_WMS>"
)
OVERVIEWS = '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{}</MDI></Metadata></PAMDataset>'


class Server:
    """An address on this machine, and who came."""

    def __init__(self) -> None:
        self.came: list[str] = []
        came = self.came

        class Handler(BaseHTTPRequestHandler):
            def handle(self) -> None:
                came.append("somebody")
                super().handle()

            def do_GET(self) -> None:
                came.append(self.path)
                self.send_error(404)

            do_HEAD = do_GET  # noqa: N815

            def log_message(self, *_: object) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self.http.server_port}"
        threading.Thread(target=self.http.serve_forever, daemon=True).start()


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.http.shutdown()
    made.http.server_close()


@pytest.fixture(autouse=True)
def nobody_yet(server: Server) -> None:
    server.came.clear()


def tif(path: Path, size: int = 64) -> Path:
    profile = {"driver": "GTiff", "dtype": "float32", "crs": "EPSG:4326", "count": 1, "width": size, "height": size}
    with rasterio.open(path, "w", transform=TRANSFORM, **profile) as target:
        target.write(np.full((1, size, size), 5.5, dtype="float32"))
    return path


def vrt(folder: Path, to: str) -> Path:
    path = folder / "a.vrt"
    path.write_text(VRT.format(to), encoding="utf-8")
    return path


def tiles(folder: Path, to: str) -> Path:
    path = folder / "tiles.tif"
    path.write_text(TILES.format(to.removeprefix("/vsicurl/").removeprefix("/vsicurl_streaming/")), encoding="utf-8")
    return path


def tag(folder: Path, to: str) -> Path:
    path = tif(folder / "tag.tif")
    with rasterio.open(path, "r+") as target:
        target.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=to)
    return path


def aux(folder: Path, to: str) -> Path:
    path = tif(folder / "aux.tif")
    (folder / "aux.tif.aux.xml").write_text(OVERVIEWS.format(to), encoding="utf-8")
    return path


def aux_in_figures(folder: Path, to: str) -> Path:
    """The same with a letter of its key written as its number."""
    path = tif(folder / "figures.tif")
    text = OVERVIEWS.format(to).replace("OVERVIEW_FILE", "&#79;VERVIEW_FILE")
    (folder / "figures.tif.aux.xml").write_text(text, encoding="utf-8")
    return path


def overviews(folder: Path, to: str) -> Path:
    path = tif(folder / "over.tif")
    (folder / "over.tif.ovr").write_text(VRT.format(to), encoding="utf-8")
    return path


def capital_overviews(folder: Path, to: str) -> Path:
    path = tif(folder / "capital.tif")
    (folder / "capital.tif.OVR").write_text(VRT.format(to), encoding="utf-8")
    return path


def mask(folder: Path, to: str) -> Path:
    path = tif(folder / "mask.tif")
    (folder / "mask.tif.msk").write_text(VRT.format(to), encoding="utf-8")
    return path


def overviews_of_overviews(folder: Path, to: str) -> Path:
    path = tif(folder / "deep.tif")
    tag(folder, to).rename(folder / "deep.tif.ovr")
    return path


def crs_of_aux(folder: Path, to: str) -> Path:
    path = tif(folder / "crs.tif")
    (folder / "crs.tif.aux.xml").write_text(f"<PAMDataset><SRS>{to}</SRS></PAMDataset>", encoding="utf-8")
    return path


RASTERS = (
    *(vrt, tiles, tag, aux, aux_in_figures, overviews, capital_overviews, mask, overviews_of_overviews, crs_of_aux),
)


def use(path: Path) -> None:
    """Everything that a run does with a raster, and the coarse reading of the relief."""
    with opened_raster(path.name, path) as opened:
        opened.read(1)
        opened.read_masks(1)
        opened.read(1, out_shape=(8, 8))
        opened.overviews(1)


LEFT_ALONE = """\
import sys, warnings
import rasterio
warnings.simplefilter("ignore")
try:
    with rasterio.open(sys.argv[1]) as opened:
        opened.read(1, out_shape=(8, 8))
        opened.overviews(1)
except rasterio.errors.RasterioError:
    pass
"""


@pytest.mark.parametrize("make", [vrt, tag, aux, overviews], ids=lambda make: make.__name__)
def test_the_same_files_lead_gdal_to_the_network_when_it_is_left_to_itself(
    make: Callable[[Path, str], Path], server: Server, tmp_path: Path
) -> None:
    """In a process of its own: this one may have been closed by a test of the command line."""
    path = make(tmp_path, f"/vsicurl/{server.address}/{make.__name__}.tif")
    alone = {name: value for name, value in os.environ.items() if name not in offline.GDAL_SETTINGS}
    subprocess.run([sys.executable, "-c", LEFT_ALONE, str(path)], check=True, timeout=120, env=alone)
    assert server.came


@pytest.mark.parametrize("make", RASTERS, ids=lambda make: make.__name__)
@pytest.mark.parametrize("way", ["/vsicurl/", "/vsicurl_streaming/"])
def test_no_raster_leads_to_the_network(
    server: Server, tmp_path: Path, make: Callable[[Path, str], Path], way: str
) -> None:
    path = make(tmp_path, f"{way}{server.address}/{make.__name__}_door.tif")
    with pytest.raises(RasterError) as caught:
        use(path)
    assert server.came == []
    assert all(one.file and one.place and one.found and one.expected for one in caught.value.faults)


@pytest.mark.parametrize("make", [make for make in RASTERS if make is not tiles], ids=lambda make: make.__name__)
def test_no_raster_leads_to_another_file(tmp_path: Path, make: Callable[[Path, str], Path]) -> None:
    other = tif(tmp_path / "other.tif")
    if make is crs_of_aux:
        pytest.skip("the text of a CRS is no file")
    with pytest.raises(RasterError):
        use(make(tmp_path, str(other)))


@pytest.mark.parametrize("way", ["/vsicurl/", "/vsicurl_streaming/"])
def test_the_settings_alone_keep_gdal_off_the_network(server: Server, tmp_path: Path, way: str) -> None:
    """What stands behind the door, should a way past it be missed."""
    for number, make in enumerate((vrt, tag, aux, overviews)):
        path = make(tmp_path, f"{way}{server.address}/{make.__name__}_{number}.tif")
        with warnings.catch_warnings(), rasterio.Env(**offline.GDAL_SETTINGS):
            warnings.simplefilter("ignore")
            try:
                with rasterio.open(path) as opened:
                    opened.read(1, out_shape=(8, 8))
                    opened.overviews(1)
            except rasterio.errors.RasterioError:
                pass
    assert server.came == []


def boundary_of(path: Path) -> list[Fault]:
    """Faults of a boundary file, none where it is read."""
    keys = {"inventory": {"file": "a.csv"}, "area": {"boundary": path.name}}
    try:
        read_boundary(LoadedPlan(Plan.model_validate(keys), path.parent / "plan.toml", {}, {}))
    except AreaError as error:
        return list(error.faults)
    return []


def test_no_boundary_and_no_inventory_leads_to_the_network(server: Server, tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"name": ["A"]}, geometry=[shapely.box(30, -10, 31, -9)], crs="EPSG:4326")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame.to_file(tmp_path / "a.shp")
        frame.to_file(tmp_path / "a.gpkg", layer="a", SPATIAL_INDEX="NO")
    (tmp_path / "a.prj").write_text(server.address, encoding="utf-8")
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as package:
        change = "UPDATE gpkg_spatial_ref_sys SET definition = ?, organization = 'x' WHERE srs_id = 4326"
        package.execute(change, [server.address])
        package.commit()
    for number, crs in enumerate(
        (
            {"type": "link", "properties": {"href": f"{server.address}/crs", "type": "proj4"}},
            {"type": "name", "properties": {"name": f"{server.address}/crs"}},
            {"type": "name", "properties": {"name": f"+proj=longlat +nadgrids={server.address}/g.tif"}},
        )
    ):
        collection = json.loads(frame.to_json()) | {"crs": crs}
        (tmp_path / f"{number}.geojson").write_text(json.dumps(collection), encoding="utf-8")
    to = f"/vsicurl/{server.address}/a.geojson"
    text = (
        f'<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{to}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
    )
    for name in ("v.vrt", "v.gpkg", "v.shp", "v.geojson", "v.kml"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    for path in sorted(tmp_path.iterdir()):
        if path.suffix in {".geojson", ".vrt", ".shp", ".gpkg", ".kml"}:
            assert boundary_of(path), path.name
            faults: list[Fault] = []
            try:
                open_table(Inventory.model_validate({"file": path.name}), path, faults)
            except InventoryError as error:
                faults += error.faults
            assert faults or path.name == "a.gpkg", path.name
    assert server.came == []


LEFT_OPEN = "from planner import cli, offline; offline.close = lambda: None; cli.main()"


@pytest.mark.parametrize("open_", [False, True], ids=["closed", "left open"])
def test_a_command_opens_no_socket_whatever_its_environment(server: Server, tmp_path: Path, open_: bool) -> None:
    """Positions on a datum whose shift is a grid that PROJ would fetch; without our settings it comes for it."""
    (tmp_path / "wells.csv").write_text("site_id,latitude,longitude\nA,45.4,-75.7\n", encoding="utf-8")
    (tmp_path / "plan.toml").write_text('[inventory]\nfile = "wells.csv"\ncrs = "EPSG:4267"\n', encoding="utf-8")
    asked = {
        **{
            "PROJ_NETWORK": "ON",
            "PROJ_NETWORK_ENDPOINT": server.address,
            "PROJ_USER_WRITABLE_DIRECTORY": str(tmp_path),
        },
        **{"CPL_VSIL_CURL_ALLOWED_FILENAME": "", "GDAL_DRIVER_PATH": str(tmp_path), "GDAL_VRT_ENABLE_PYTHON": "YES"},
    }
    how = ["-c", LEFT_OPEN] if open_ else ["-m", "planner"]
    ended = subprocess.run(
        [sys.executable, *how, "check", str(tmp_path / "plan.toml")],
        env=os.environ | asked,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert ended.returncode in {0, 1}, ended.stderr
    assert "Traceback" not in ended.stderr
    assert bool(server.came) == open_


def test_grids_of_datum_shifts_are_not_fetched(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROJ_NETWORK", "ON")
    before = is_network_enabled()
    set_network_enabled(True)
    try:
        with offline.closed():
            assert not is_network_enabled()
            assert os.environ["PROJ_NETWORK"] == "OFF"
        assert is_network_enabled()
        assert os.environ["PROJ_NETWORK"] == "ON"
    finally:
        set_network_enabled(before)


# Rasters that are what they say, and hostile all the same ---------------------------------------------------------


def told_of(path: Path, **keys: object) -> str:
    source = RasterSource.model_validate({"file": path.name, "unit": "m", **keys})
    with pytest.raises(RasterError) as caught, raster_files.open_raster("elevation", source, lambda _: path) as raster:
        raster_files.sample(raster, np.array([-9.85]), np.array([30.15]), bilinear=True)
    return str(caught.value)


def made(folder: Path, **options: object) -> Path:
    profile = {"driver": "GTiff", "dtype": "float32", "crs": "EPSG:4326", "count": 1, "width": 8, "height": 8}
    profile |= {"transform": TRANSFORM, **options}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with rasterio.open(folder / "a.tif", "w", **profile) as target:
            if profile["width"] == 8:
                target.write(np.ones((1, 8, 8), dtype=str(profile["dtype"])))
    return folder / "a.tif"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"dtype": "complex64"}, "real numbers"),
        ({"transform": rasterio.Affine(0.1, 0.01, 30, 0.01, -0.1, -9.6)}, "a rotated grid"),
        ({"transform": rasterio.Affine(float("nan"), 0, 30, 0, -0.1, -9.6)}, "on Earth"),
        ({"transform": rasterio.Affine(1e300, 0, 30, 0, -0.1, -9.6)}, "on Earth"),
        ({"transform": rasterio.Affine(5e-324, 0, 30, 0, -0.1, -9.6)}, "a width and a height"),
        ({"crs": None}, "coordinate reference system"),
        ({"photometric": "palette", "dtype": "uint8"}, "a palette"),
        (
            {"width": 8192, "height": 8192, "SPARSE_OK": "TRUE", "blockxsize": 8192, "blockysize": 8192, "tiled": True},
            "at most 33554432 cells",
        ),
    ],
    ids=range(8),
)
def test_a_raster_that_no_run_can_use_is_refused(tmp_path: Path, options: dict[str, object], told: str) -> None:
    path = made(tmp_path, **options)
    if options.get("photometric"):
        with rasterio.open(path, "r+") as target:
            target.write_colormap(1, {0: (0, 0, 0, 255), 1: (255, 0, 0, 255)})
    assert told in told_of(path)


@pytest.mark.parametrize(("key", "value"), [("scales", 0.0), ("scales", float("nan")), ("offsets", float("inf"))])
def test_a_scale_that_is_none_is_refused(tmp_path: Path, key: str, value: float) -> None:
    path = made(tmp_path)
    with rasterio.open(path, "r+") as target:
        setattr(target, key, (value,))
    assert f"{key[:-1]}: found" in told_of(path)


def test_a_folder_a_pipe_and_a_device_are_no_rasters(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.tif")
    for path in (tmp_path, tmp_path / "pipe.tif", Path("/dev/zero"), tmp_path / "none.tif"):
        assert "file: found" in told_of(path)


def test_a_grid_of_any_declared_size_costs_no_memory(tmp_path: Path) -> None:
    """A sparse file of 16 kB that says it has 2**34 cells: its cells without data are told as missing, in one block."""
    path = made(tmp_path, width=2**17, height=2**17, SPARSE_OK="TRUE", tiled=True, nodata=-1.0)
    source = RasterSource(file=path.name, unit="m")
    with raster_files.open_raster("elevation", source, lambda _: path) as raster:
        taken = raster_files.sample(raster, np.array([-9.85, -80.0]), np.array([30.15, 33.0]))
    assert taken.status.tolist() == ["nodata", "nodata"]
    assert path.stat().st_size < 20_000_000


def test_heights_of_one_degree_are_read(tmp_path: Path) -> None:
    """SRTM (USGS): 1201 x 1201 whole numbers, high byte first, north row first, the place in the name."""
    path = tmp_path / "S10E030.hgt"
    path.write_bytes(np.full((1201, 1201), 1234, dtype=">i2").tobytes())
    with raster_files.open_raster("elevation", RasterSource(file=path.name, unit="m"), lambda _: path) as raster:
        taken = raster_files.sample(raster, np.array([-9.5]), np.array([30.5]), bilinear=True)
    assert taken.values.tolist() == [[1234.0]]


def test_input_errors_are_one_tree() -> None:
    assert issubclass(RasterError, InputError) and issubclass(AreaError, InputError)
