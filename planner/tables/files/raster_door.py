"""Which rasters are opened at all: kinds that hold their own cells, and no file beside them that leads elsewhere.

GDAL opens any of two hundred kinds by their content, and many of them are only a list of addresses or of other files
(virtual rasters, tile services). Even a plain GeoTIFF can name another file or an address as its overviews, by a tag
inside it or in the .aux.xml beside it; its .ovr and .msk are opened whatever they are. So: the kind is told by the
first bytes and opened by the reader of that kind alone, and what stands beside the file is looked at before GDAL is.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.parsers import expat

from planner.errors import Fault, RasterError
from planner.offline import GDAL_SETTINGS, quiet

KINDS = "GeoTIFF, an ESRI ASCII grid (.asc) or SRTM (.hgt); QGIS and gdal_translate save any raster as GeoTIFF"
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")  # the second pair is BigTIFF
_ASCII_GRID = re.compile(rb"\s*(ncols|nrows|xll|yll|cellsize|dx|dy)", re.IGNORECASE)
_HGT_BYTES = {2 * side * side for side in (1201, 3601)} | {2 * 1201 * 3601, 2 * 3601 * 1801}
_POINTS_ELSEWHERE = re.compile(r"OVERVIEW_FILE|/vsi|://|[XY]_DATASET|<(VRT|OGRVRT|GDAL_)", re.IGNORECASE)
_SCHEMAS = re.compile(r"http://www\.(w3\.org|esri\.com|isotc211\.org|opengis\.net)/")  # names, not addresses
_MOST_SIDECAR_BYTES = 20_000_000
_DEEPEST = 4  # file, its overviews, their mask, its overviews


@contextmanager
def opened_raster(name: str, path: Path) -> Iterator[Any]:
    """The raster at `path` as an open rasterio dataset, off the network; `name` as the plan writes it, for faults.

    Raises RasterError where it is of another kind, cannot be read, or leads to another file.
    """
    import rasterio

    driver = _driver(name, path)
    with rasterio.Env(**GDAL_SETTINGS), quiet():
        _look_beside(name, path)
        with _opened(name, path, driver) as dataset:
            _no_other_file(name, "overviews", dataset)
            yield dataset


def _opened(name: str, path: Path, driver: str) -> Any:
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # told as a fault by who needs a position
            return rasterio.open(path, driver=driver)
    except Exception as error:  # rasterio, GDAL and the decoding of texts have errors of their own
        found = " ".join(str(error).split())[:200] or type(error).__name__
        raise RasterError([Fault(name, "file", found, "a raster that can be read")]) from error


def _driver(name: str, path: Path) -> str:
    """GDAL's name of the kind of a file, by its first bytes."""

    def refuse(found: str, expected: str) -> RasterError:
        return RasterError([Fault(name, "file", found, expected)])

    if not path.is_file():
        found = "a folder" if path.is_dir() else "no file" if path.exists() else "nothing at this path"
        raise refuse(found, "a raster that can be read")
    try:
        with path.open("rb") as file:
            start = file.read(4096)
        size = path.stat().st_size
    except OSError as error:
        raise refuse(error.strerror or "an unreadable file", "a raster that can be read") from error
    if start.startswith(_TIFF):
        return "GTiff"
    if _ASCII_GRID.match(start):
        return "AAIGrid"
    if path.suffix.lower() == ".hgt" and size in _HGT_BYTES:
        return "SRTMHGT"
    if start.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
        raise refuse("XML, which can lead to other files and addresses", f"a raster that can be read: {KINDS}")
    raise refuse("another kind of file" if start else "an empty file", f"a raster that can be read: {KINDS}")


def _look_beside(name: str, path: Path, depth: int = 0) -> None:
    """Refuse a file beside the raster by which GDAL would be led elsewhere; their own neighbours likewise."""
    for beside in _beside(path):
        shown = str(Path(name).with_name(beside.name))
        if beside.suffix.lower() == ".xml":
            _plain_xml(shown, beside)
            continue
        with beside.open("rb") as file:
            start = file.read(16)
        if beside.suffix.lower() == ".aux":
            if start.startswith(b"EHFA_HEADER_TAG"):
                expected = "no .aux beside a raster: move it away, or build overviews as .ovr"
                raise RasterError([Fault(shown, "file", "overviews of another kind", expected)])
            continue
        if not start.startswith(_TIFF) or depth >= _DEEPEST:
            expected = f"a {beside.suffix} that is a TIFF: build it again, or move it away"
            raise RasterError([Fault(shown, "file", "another kind of file beside the raster", expected)])
        _look_beside(shown, beside, depth + 1)
        with _opened(shown, beside, "GTiff") as dataset:
            _no_other_file(shown, "overviews", dataset)


def _beside(path: Path) -> list[Path]:
    """Files that GDAL reads with this one, whatever the case of their ending."""
    name = path.name.casefold()
    wanted = {name + end for end in (".ovr", ".msk", ".aux.xml", ".aux")} | {path.stem.casefold() + ".aux"}
    try:
        return sorted(one for one in path.parent.iterdir() if one.name.casefold() in wanted and one.is_file())
    except OSError:  # a folder whose files may be read but not listed
        ends = (".ovr", ".OVR", ".msk", ".MSK", ".aux.xml", ".aux")
        return [one for end in ends if (one := path.with_name(path.name + end)).is_file()]


def _plain_xml(name: str, path: Path) -> None:
    """Refuse an .aux.xml that is broken, declares types, or names a file or an address."""
    expected = "statistics and georeference alone: move it away, or let QGIS write it again"
    if path.stat().st_size > _MOST_SIDECAR_BYTES:
        most = f"at most {_MOST_SIDECAR_BYTES // 1_000_000} MB"
        raise RasterError([Fault(name, "file", f"{path.stat().st_size // 1_000_000} MB", most)])
    parser = expat.ParserCreate()
    found: list[str] = []
    parser.StartElementHandler = lambda tag, values: found.extend((f"<{tag}", *values, *values.values()))
    parser.CharacterDataHandler = found.append
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = lambda *_: found.append("<VRT")
    try:
        parser.Parse(path.read_bytes(), True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise RasterError([Fault(name, "file", "XML that is broken", expected)]) from error
    for text in found:
        if pointer := _POINTS_ELSEWHERE.search(_SCHEMAS.sub("", text)):
            raise RasterError([Fault(name, "file", f"a way to another file ({pointer.group()})", expected)])


def _no_other_file(name: str, place: str, dataset: Any) -> None:
    """Refuse overviews that a tag says to be in another file; GDAL would open whatever it names."""
    try:
        named = dataset.tags(ns="OVERVIEWS")
    except Exception:  # a tag that is no text
        named = {"": ""}
    if named:
        found = f"another file ({next(iter(named.values()))[:60]!r})"
        raise RasterError([Fault(name, place, found, "overviews inside the raster or as .ovr beside it")])
