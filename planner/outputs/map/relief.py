"""A shaded relief of the programme area for the ground of the map: one small grey picture in web Mercator."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

MERCATOR = "EPSG:3857"
PIXELS = 720  # longer side: a pixel of the map when the district fills a common screen
SMALLEST = 240
BYTES = 45_000  # of the picture; 60 kB once it is text
MARGIN = 0.04  # of the area's extent, on every side
SUN_AZIMUTH_DEG, SUN_HEIGHT_DEG = 315.0, 45.0  # the cartographers' custom: light from the upper left
STEEP = 0.35  # gradient that the steeper slopes are brought to, by judgement: seen, but below the marks
LEVEL = 1e-3  # difference of heights below which there is nothing to shade
FLAT, DARK, LIGHT = 240, 188, 254  # greys of level ground, and limits of shade and light


@dataclass(frozen=True)
class Relief:
    """A grey picture with its bounds, degrees on WGS 84; between them it is stretched as web Mercator is."""

    picture: str  # base64 of a JPEG
    south: float
    west: float
    north: float
    east: float


def make_relief(
    path: Path | None, bounds: tuple[float, float, float, float], nodata: float | None = None
) -> Relief | None:
    """The relief inside bounds (west, south, east, north, degrees); None where there is nothing to draw.

    path    an elevation raster with a reference system, any unit of height; None gives None
    nodata  stored value without data, where the file itself does not tell
    Only the part inside the bounds is read, thinned to the picture's pixels.
    """
    if path is None or not np.isfinite(bounds).all():
        return None
    box = _mercator(bounds)
    if box is None:
        return None
    pixels, picture = PIXELS, b""
    while pixels >= SMALLEST:
        heights, cell_m = _heights(path, box, pixels, nodata)
        if not np.isfinite(heights).any() or np.nanmax(heights) - np.nanmin(heights) < LEVEL:
            return None
        shade = hillshade(heights, cell_m)
        for quality in (75, 60, 45):
            picture = _jpeg(shade, quality)
            if len(picture) <= BYTES:
                return Relief(base64.b64encode(picture).decode("ascii"), *_degrees(box))
        pixels = pixels * 3 // 4
    return None


def hillshade(heights: NDArray[np.float64], cell_m: tuple[float, float]) -> NDArray[np.uint8]:
    """Greys of ground lit from the north-west; row 0 is the north. No height gives the grey of level ground.

    Gradients by Horn (1981), "Hill shading and the reflectance map", Proceedings of the IEEE 69(1). Heights are
    exaggerated so that the steeper tenth of the slopes comes to one gradient in flat and in mountainous districts.
    """
    known = np.isfinite(heights)
    padded = np.pad(np.where(known, heights, np.mean(heights[known])), 1, mode="edge")
    across = padded[:-2] + 2 * padded[1:-1] + padded[2:]
    down = padded[:, :-2] + 2 * padded[:, 1:-1] + padded[:, 2:]
    east = (across[:, 2:] - across[:, :-2]) / (8 * cell_m[0])
    north = (down[:-2] - down[2:]) / (8 * cell_m[1])
    slopes = np.hypot(east, north)[known]
    steep = float(np.quantile(slopes, 0.9)) if slopes.size else 0.0
    exaggeration = STEEP / steep if steep > 0 else 1.0
    east, north = east * exaggeration, north * exaggeration
    azimuth, height = np.radians(SUN_AZIMUTH_DEG), np.radians(SUN_HEIGHT_DEG)
    toward = -(east * np.sin(azimuth) + north * np.cos(azimuth)) * np.cos(height) + np.sin(height)
    light = toward / np.sqrt(1 + east**2 + north**2) / np.sin(height)  # 1 on level ground
    grey = np.clip(FLAT + 80 * (light - 1), DARK, LIGHT)
    return np.where(known, grey, FLAT).astype(np.uint8)


def _mercator(bounds: tuple[float, float, float, float]) -> tuple[float, float, float, float] | None:
    """The bounds with their margin, in metres of web Mercator."""
    from pyproj import Transformer

    west, south, east, north = bounds
    margin = MARGIN * max(east - west, north - south, 0.02)
    south, north = max(south - margin, -85.0), min(north + margin, 85.0)
    if south >= north:
        return None
    to_metres = Transformer.from_crs("EPSG:4326", MERCATOR, always_xy=True)
    left, bottom = to_metres.transform(west - margin, south)
    right, top = to_metres.transform(east + margin, north)
    return left, bottom, right, top


def _degrees(box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """South, west, north, east of a box of web Mercator."""
    from pyproj import Transformer

    to_degrees = Transformer.from_crs(MERCATOR, "EPSG:4326", always_xy=True)
    west, south = to_degrees.transform(box[0], box[1])
    east, north = to_degrees.transform(box[2], box[3])
    return round(south, 6), round(west, 6), round(north, 6), round(east, 6)


def _heights(
    path: Path, box: tuple[float, float, float, float], pixels: int, nodata: float | None
) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Heights inside the box, NaN where there are none, and the size of a pixel on the ground in m."""
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.vrt import WarpedVRT

    from planner.tables.files.raster_door import opened_raster

    scale = pixels / max(box[2] - box[0], box[3] - box[1])
    width, height = (max(2, round(side * scale)) for side in (box[2] - box[0], box[3] - box[1]))
    cell = (box[2] - box[0]) / width, (box[3] - box[1]) / height
    options = {} if nodata is None else {"src_nodata": nodata}
    with (
        opened_raster(path.name, path) as source,
        WarpedVRT(
            source,
            crs=MERCATOR,
            transform=rasterio.Affine(cell[0], 0, box[0], 0, -cell[1], box[3]),
            width=width,
            height=height,
            resampling=Resampling.bilinear,
            **options,
        ) as warped,
    ):
        read = warped.read(1, masked=True)
    heights = np.where(np.ma.getmaskarray(read), np.nan, np.ma.getdata(read).astype("float64"))
    south, _, north, _ = _degrees(box)
    true = np.cos(np.radians((south + north) / 2))  # Mercator stretches by 1 ÷ cos(latitude)
    return heights, (cell[0] * true, cell[1] * true)


def _jpeg(grey: NDArray[np.uint8], quality: int) -> bytes:
    import warnings

    import rasterio
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    with warnings.catch_warnings(), MemoryFile() as memory:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # the bounds travel beside the picture
        with rasterio.open(
            memory.name,
            "w",
            driver="JPEG",
            width=grey.shape[1],
            height=grey.shape[0],
            count=1,
            dtype="uint8",
            quality=quality,
        ) as target:
            target.write(grey, 1)
        return bytes(memory.read())
