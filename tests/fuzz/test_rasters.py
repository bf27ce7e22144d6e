"""Damaged and hostile rasters: opened and sampled, or refused with clear faults; never a traceback, never the memory.

The seeds are small rasters of every kind that is read, made here. Their bytes are damaged, and in a TIFF the entries of
its directory are set to sizes, offsets and types that no file has; so are doubles: positions, scales and cells.
"""

from __future__ import annotations

import random
import struct
import warnings
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.enums import Resampling

from planner.errors import RasterError
from planner.plan import RasterSource
from planner.tables import raster_files
from tests.fuzz.damage import Try, clear, damaged, for_minutes

TOKENS = (
    *(b"\0\0", b"\xff\xff\xff\xff", b"II*\0", b"MM\0+", b"<VRTDataset>", b"OVERVIEW_FILE", b"nan", b"inf", b"-9999"),
    *(b"ncols 99999999\n", b"cellsize 0\n", b"nodata_value nan\n", b"<MDI key='SCALE'>0</MDI>", b"<!DOCTYPE a>"),
)
DOUBLES = (float("nan"), float("inf"), float("-inf"), 0.0, -1.0, 1e300, 5e-324, 1e10, 360.0)
WHOLE = (0, 1, 2, 3, 7, 255, 256, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1)
SOUTH = np.array([-9.85, -9.61, -9.0, np.nan, -9.999, -90.0])
EAST = np.array([30.15, 30.01, 30.0, 30.1, 30.399, 180.0])


def seeds(folder: Path) -> dict[str, dict[str, bytes]]:
    """Rasters by name, each its file and those beside it: ending → bytes."""
    kinds = {
        "tiles": {"tiled": True, "blockxsize": 16, "blockysize": 16, "compress": "deflate", "nodata": -9999.0},
        "strips": {"dtype": "int16", "nodata": -1, "compress": "lzw", "predictor": 2},
        "big": {"BIGTIFF": "YES", "dtype": "float64", "interleave": "band"},
        "bytes": {"dtype": "uint8", "nbits": 1},
        "signed": {"dtype": "int8", "nodata": -128},
        "unsigned": {"dtype": "uint64", "nodata": 0},
        "complex": {"dtype": "complex64"},
        "southup": {"transform": rasterio.Affine(0.1, 0, 30.0, 0, 0.1, -12.8)},
        "sheared": {"transform": rasterio.Affine(0.1, 0.01, 30.0, 0.02, -0.1, -9.6)},
        "metres": {"crs": "EPSG:32736", "transform": rasterio.Affine(1000, 0, 170000, 0, -1000, 8940000)},
    }
    found: dict[str, dict[str, bytes]] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, options in kinds.items():
            path = folder / f"{name}.tif"
            profile = {
                "driver": "GTiff",
                "dtype": "float32",
                "crs": "EPSG:4326",
                "count": 12,
                "width": 32,
                "height": 32,
            }
            profile |= {"height": 32, "transform": rasterio.Affine(0.1, 0, 30.0, 0, -0.1, -9.6), **options}
            cells = np.arange(12 * 32 * 32).reshape(12, 32, 32) % (2 if name == "bytes" else 7)
            with rasterio.open(path, "w", **profile) as target:
                target.write(cells.astype(profile["dtype"]))
                if name == "tiles":
                    target.scales, target.offsets = (0.5,) * 12, (1.0,) * 12
            found[name] = {".tif": path.read_bytes()}
        (folder / "tiles.tif.aux.xml").write_text("<PAMDataset><Metadata/></PAMDataset>", encoding="utf-8")
        with rasterio.Env(TIFF_USE_OVR=True), rasterio.open(folder / "big.tif", "r+") as target:
            target.build_overviews([2, 4], Resampling.nearest)
        found["overviews"] = {".tif": found["big"][".tif"], ".tif.ovr": (folder / "big.tif.ovr").read_bytes()}
        with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=False), rasterio.open(folder / "strips.tif", "r+") as target:
            target.write_mask(np.ones((32, 32), dtype="bool"))
        found["mask"] = {".tif": found["strips"][".tif"], ".tif.msk": (folder / "strips.tif.msk").read_bytes()}
    text = (
        "<PAMDataset><PAMRasterBand band='1'><Scale>2</Scale><NoDataValue>-1</NoDataValue></PAMRasterBand></PAMDataset>"
    )
    found["aux"] = {".tif": found["tiles"][".tif"], ".tif.aux.xml": text.encode()}
    grid = "ncols 4\nnrows 4\nxllcorner 30\nyllcorner -10\ncellsize 0.1\nnodata_value -9999\n" + "1 2 3 4\n" * 4
    found["ascii"] = {".asc": grid.encode(), ".prj": b'GEOGCS["WGS 84",DATUM["D",SPHEROID["S",6378137,298.257]]]'}
    return found


def twisted(data: bytes, rng: random.Random) -> bytes:
    """A classic little-endian TIFF with entries of its directory, or doubles, that no file has."""
    data = bytearray(data)
    if rng.random() < 0.5:
        for _ in range(rng.choice((1, 2, 6))):
            at = rng.randrange(max(1, len(data) - 8)) & ~7
            data[at : at + 8] = struct.pack("<d", rng.choice(DOUBLES))
        return bytes(data)
    if len(data) < 8 or not data.startswith(b"II*\0"):
        return bytes(data)
    (start,) = struct.unpack_from("<I", data, 4)
    if start + 2 > len(data):
        return bytes(data)
    (count,) = struct.unpack_from("<H", data, start)
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = start + 2 + 12 * rng.randrange(max(1, count))
        place, code = rng.choice(((at, "<H"), (at + 2, "<H"), (at + 4, "<I"), (at + 8, "<I"), (at + 8, "<I")))
        if place + 4 <= len(data):
            value = rng.choice(WHOLE) & (0xFFFF if code == "<H" else 0xFFFFFFFF)
            struct.pack_into(code, data, place, value)
    return bytes(data)


def open_or_refuse(path: Path, rng: random.Random) -> None:
    """One raster opened, sampled in both ways and read to its edge, or refused with faults that have all words."""
    name, unit = rng.choice(
        (("solar", "kWh/m2/day"), ("elevation", "m"), ("population", "people"), ("rain", "mm/month"))
    )
    keys = rng.choice(
        ({}, {}, {"bands": [1]}, {"nodata": 1e300}, {"scale": 1e17}, {"bands": [13]}, {"bands": [1] * 12})
    )
    try:
        source = RasterSource(file=path.name, unit=unit, **keys)
        with raster_files.open_raster(name, source, lambda _: path) as raster:
            for bilinear in (False, True):
                taken = raster_files.sample(raster, SOUTH, EAST, bilinear=bilinear)
                assert not np.isinf(taken.values).any()
                assert set(taken.status.tolist()) <= {"valid", "nodata", "outside"}
            assert len(raster_files.extent(raster)) == 4
            height, width = raster.dataset.shape
            raster_files.read_cells(raster, np.array([0, height - 1]), np.array([width - 1, 0]))
    except RasterError as error:
        clear(error.faults)


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, bytes]]:
    return seeds(tmp_path_factory.mktemp("rasters"))


@pytest.fixture
def attempt(corpus: dict[str, dict[str, bytes]], tmp_path: Path) -> Try:
    """Damage one of the files of a seed and open it."""

    def run(name: str, rng: random.Random) -> None:
        for old in tmp_path.iterdir():
            old.unlink()
        files = corpus[name]
        chosen = rng.choice(list(files))
        for end, data in files.items():
            if end == chosen:
                data = twisted(data, rng) if rng.random() < 0.6 else damaged(data, rng, TOKENS)  # noqa: PLW2901
            (tmp_path / f"a{end}").write_bytes(data)
        open_or_refuse(tmp_path / f"a{next(iter(files))}", rng)

    return run


NAMES = (
    *("tiles", "strips", "big", "bytes", "signed", "unsigned", "complex", "southup", "sheared", "metres", "overviews"),
    *("mask", "aux", "ascii"),
)


def test_the_seeds_are_rasters(corpus: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    refused = {"complex": "real numbers", "sheared": "rows and columns along"}
    for name, files in corpus.items():
        for end, data in files.items():
            (tmp_path / f"{name}{end}").write_bytes(data)
        path = tmp_path / f"{name}{next(iter(files))}"
        source = RasterSource(file=path.name, unit="m", bands=(1,))
        try:
            with raster_files.open_raster("elevation", source, lambda _, path=path: path) as raster:
                assert raster.dataset.count in {12, 1}
        except RasterError as error:
            assert refused[name] in str(error)
    assert set(NAMES) == set(corpus)


def test_damaged_rasters_are_opened_or_refused(attempt: Try) -> None:
    for seed in range(12):
        for name in NAMES:
            attempt(name, random.Random(seed))


@pytest.mark.fuzz
def test_damaged_rasters_for_minutes(attempt: Try) -> None:
    for_minutes(attempt, NAMES)
