"""Processor time of reading 200 000 positions: plain ones, and files in which every row is odd.

Run: python -m tests.benchmarks.measure_positions
"""

from __future__ import annotations

import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from planner.plan import LoadedPlan, Plan
from planner.tables.positions.read import read_positions

ROWS = 200_000


def measure(what: str, north: list[str], east: list[str], folder: Path, **inventory: Any) -> None:
    """Print the seconds of one file's positions, with the commonest findings."""
    plan = Plan.model_validate({"inventory": {"file": "a.csv", **inventory}, "area": {"boundary": "area.gpkg"}})
    index = pd.RangeIndex(1, len(north) + 1, name="inventory_row")
    pair = ("northing", "easting") if "327" in inventory.get("crs", "") else ("latitude", "longitude")
    cells = {name: pd.Series(texts, index=index, dtype="str") for name, texts in zip(pair, (north, east), strict=True)}
    site_id = pd.Series(index.astype("str"), index=index, dtype="str")
    started = time.process_time()
    loaded = LoadedPlan(plan, folder / "plan.toml", {}, {})
    _, _, findings = read_positions(loaded, pair, cells, cells, site_id, plan.inventory.crs, declared=True)
    seconds = time.process_time() - started
    print(f"{what}: {seconds:.2f} s, {Counter(one.rule for one in findings).most_common(2)}", flush=True)


def sixty(degrees: float, letters: str) -> str:
    """Degrees, minutes and seconds with a letter."""
    whole, rest = divmod(round(abs(degrees) * 360_000), 360_000)
    minutes, seconds = divmod(rest, 6_000)
    return f"{whole}°{minutes:02d}'{seconds / 100:05.2f}\"{letters[degrees < 0]}"


def main() -> None:
    rng = np.random.default_rng(1)
    latitude, longitude = rng.uniform(-16, -13, ROWS), rng.uniform(33, 36, ROWS)
    easting, northing = Transformer.from_crs(4326, 32736, always_xy=True).transform(longitude, latitude)
    north, east = ([f"{one:.6f}" for one in values.tolist()] for values in (latitude, longitude))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        box = gpd.GeoDataFrame({"name": ["A"]}, geometry=[shapely.box(33, -16, 36, -13)], crs="EPSG:4326")
        box.to_file(folder / "area.gpkg")
        measure("two rows", north[:2], east[:2], folder)
        measure("plain", north, east, folder)
        measure("old datum", north, east, folder, crs="EPSG:4209")
        grid = [f"{one:.1f}" for one in northing.tolist()], [f"{one:.1f}" for one in easting.tolist()]
        measure("grid", *grid, folder, crs="EPSG:32736")
        measure("every sign lost", [one.lstrip("-") for one in north], east, folder)
        measure("grid among degrees", *grid, folder)
        degrees = [sixty(one, "NS") for one in latitude.tolist()], [sixty(one, "EW") for one in longitude.tolist()]
        measure("degrees, minutes, seconds", *degrees, folder)


if __name__ == "__main__":
    main()
