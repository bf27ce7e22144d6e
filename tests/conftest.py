"""A small invented programme on disk: sixteen raster cells, one square area, wells written row by row."""

from __future__ import annotations

import csv
import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
import rasterio
from filelock import FileLock
from hypothesis import settings
from playwright.sync_api import Browser, sync_playwright

from tests.quick_demo import quick_demo

# A busy machine, or a kernel that is compiled first, is no fault.
settings.register_profile("no_deadline", deadline=None)
settings.load_profile("no_deadline")

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
MakeProgramme = Callable[..., Path]
Once = Callable[[str, Callable[[Path], object]], Path]

MOST_WORKERS = 4  # each holds up to 2 GB, and compiles for itself what no other has compiled yet
# Workers take files in this order, then the others as collected. What is long and begins last leaves the other
# workers idle. The first compiles almost every kernel; those that need none come next, so that no two workers
# compile the same one.
FIRST = (
    "tests/commands/test_why.py",
    "tests/inventories/test_faults.py",
    "tests/choice/test_phases.py",
    "tests/tables/test_screening.py",
    "tests/tables/test_inventory.py",
    "tests/tables/test_positions.py",
    "tests/tables/test_cells.py",
    "tests/tables/test_weather_file.py",
    "tests/choice/test_lots_problem.py",
    "tests/reference/test_slow_sun.py",
    "tests/outputs/map/test_browser.py",
    "tests/reference/test_engine_against_reference.py",
    "tests/outputs/geopackage/test_geopackage.py",
    "tests/test_pipeline.py",
    "tests/test_bad_input.py",
    "tests/outputs/map/test_demo_page.py",
    "tests/stages/test_scenarios.py",
    "tests/stages/test_drawing.py",
    "tests/commands/test_why_sun.py",
)

# A tested well with its water analysed, a village beside it, and nothing that speaks against equipping it.
GOOD: Mapping[str, str] = {
    "site_name": "Tundare",
    "sub_district": "Lower Mwesa",
    "depth_m": "60",
    "casing_mm": "150",
    "static_level_m": "12",
    "tested_yield_m3_h": "6",
    "pumping_level_m": "18",
    "test_hours": "24",
    "test_kind": "constant_rate",
    "test_date": "2024-05-10",
    "aquifer": "",
    "status": "working",
    "equipped_with": "none",
    "water_point_type": "",
    "existing_pump_id": "",
    "existing_array_wp": "",
    "people": "300",
    "demand_m3_day": "",
    "fluoride_mg_l": "0.3",
    "arsenic_mg_l": "0.001",
    "nitrate_mg_l": "4",
    "sand_mg_l": "2",
    "water_temperature_c": "24",
}
COLUMNS = ("site_id", "latitude", "longitude", *GOOD)

# Four by four cells of 0.1 degrees; the south has no regional prior, the north-eastern cell no sun.
WEST, NORTH, CELL, SIDE = 30.0, -9.6, 0.1, 4
# What would change a decision takes longer than all the rest, and so do printed files: who tests them asks for them.
PLAN = """\
[programme]
name = "Small invented programme"

[inventory]
file = "wells.csv"

[area]
boundary = "area.geojson"

[rasters]
solar = { file = "solar.tif", unit = "kWh/m2/day" }
water_level = { file = "water_level.tif", unit = "m" }
well_yield = { file = "well_yield.tif", unit = "m3/h" }

[uncertainty]
draws = 4

[testing]
switch_values = false

[output]
files = ["map", "csv", "parquet", "gpkg", "bill"]
date = "2026-01-01"
"""

# Texts that must stay texts wherever they come from and wherever they go.
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror="window.hurt=1">',
    "</script><script>window.hurt=2</script>",
    "' onmouseover='window.hurt=5' style='color:red",
    "${window.hurt=3}",
    "{{7*7}}{% raw %}",
    "`window.hurt=4`",
    "Kesu\u202eredrum",
    "<!--<script>",
    "@@SCRIPT@@ &amp; \u2028 'quoted'",
    "bell\x07 escape\x1b[31m",
    "{subject} {value} $& $1",
    "=1+1",
    '=HYPERLINK("http://x.invalid","y")',
    "+1+1",
    "@SUM(1+1)",
    "{=1+1}",
    "_x000D_ _x0007_",
    "]]><b>&#60;i&#62;",
    '#let x = 1; $x^2$ *a* @ref <label> \\ #eval("1")',
    "\u2067اسم البئر\u2069 井",
    "long " + "n" * 9990 + " name",
)


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """How many processes `-n auto` means: none for files named on the command line or with `-s`, where starting them
    takes longer than it saves, or would swallow what is printed."""
    few = all(argument.partition("::")[0].endswith(".py") for argument in config.args)
    return 0 if few or config.getoption("capture") == "no" else min(os.cpu_count() or 1, MOST_WORKERS)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    order = {config.rootpath / file: place for place, file in enumerate(FIRST)}
    assert all(file.exists() for file in order), "a file of FIRST has another name now"
    items.sort(key=lambda item: order.get(item.path, len(order)))


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory) -> Once:
    """`once(name, fill)`: a folder that all workers share, filled by the first that asks, then only read."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base

    def folder(name: str, fill: Callable[[Path], object]) -> Path:
        made, filled = shared / name, shared / f"{name}.filled"
        with FileLock(shared / f"{name}.lock"):
            if not filled.exists():
                shutil.rmtree(made, ignore_errors=True)  # another worker may have failed half-way
                made.mkdir()
                fill(made)
                filled.touch()
        return made

    return folder


@pytest.fixture(scope="session")
def quick_run(once: Once) -> Path:
    """`demo`, the demo with few draws, and its results in `out`: run once for all who only read them."""

    def fill(folder: Path) -> None:
        from planner.pipeline import run

        run(quick_demo(folder / "demo"), folder / "out")

    return once("quick", fill)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One headless Chromium a process of tests: the synchronous driver cannot be started twice."""
    # A contributor may lack a browser, and the README says that these tests then skip themselves. Continuous
    # integration installs Chromium: there they fail rather than skip.
    if CHROMIUM is None and not os.environ.get("CI"):
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pictures of pages and sheets are kept, to be looked at: the folder TEST_PICTURES, else pytest's own."""
    folder = Path(os.environ.get("TEST_PICTURES", tmp_path_factory.getbasetemp() / "pictures"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def hostile_names() -> tuple[str, ...]:
    """Names for inventories, plans and boundaries that try to become markup, script or template."""
    return HOSTILE


@pytest.fixture(scope="session")
def plan_text() -> str:
    """The plan that `make_programme` writes unless it is given another."""
    return PLAN


@pytest.fixture(scope="session")
def make_programme() -> MakeProgramme:
    """Factory of a programme: rows as changes to a good well, None for an empty row; returns the plan's path.

    A row without a position takes the next place, 1.1 km from any other, where no regional prior is known.
    """

    def make(folder: Path, rows: Sequence[Mapping[str, str] | None], plan: str = PLAN) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        write_rasters(folder)
        write_area(folder)
        with (folder / "wells.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS)
            writer.writeheader()
            for number, change in enumerate(rows):
                writer.writerow(dict.fromkeys(COLUMNS, "") if change is None else well(number) | change)
        path = folder / "plan.toml"
        path.write_text(plan, encoding="utf-8")
        return path

    return make


def well(number: int) -> dict[str, str]:
    """A good well at the place of this number, 0 to 215."""
    row, column = divmod(number, 18)
    place = {"latitude": f"{-9.87 - 0.01 * row:.4f}", "longitude": f"{30.05 + 0.01 * column:.4f}"}
    return {"site_id": f"W{number:03d}", **place, **GOOD}


def write_rasters(folder: Path) -> None:
    """Sun, regional water level and regional yield: invented, plausible at 10 degrees south."""
    cells = np.arange(SIDE * SIDE, dtype="float64").reshape(SIDE, SIDE)
    months = 5.6 + 0.6 * np.cos(2 * np.pi * (np.arange(12) - 8) / 12)
    sun = months[:, None, None] + 0.01 * cells
    sun[:, 0, 3] = -9999.0
    north = np.arange(SIDE)[:, None] < 2
    for name, bands in (
        ("solar.tif", sun),
        ("water_level.tif", np.where(north, 15.0 + 0.1 * cells, -9999.0)[None]),
        ("well_yield.tif", np.where(north, 4.0 + 0.1 * cells, -9999.0)[None]),
    ):
        with rasterio.open(
            folder / name,
            "w",
            driver="GTiff",
            dtype="float64",
            crs="EPSG:4326",
            transform=rasterio.Affine(CELL, 0, WEST, 0, -CELL, NORTH),
            width=SIDE,
            height=SIDE,
            count=len(bands),
            nodata=-9999.0,
        ) as target:
            target.write(bands)


def write_area(folder: Path) -> None:
    """One polygon over all but the eastern edge of the rasters."""
    west, east, south, north = WEST, WEST + 0.35, NORTH - SIDE * CELL, NORTH
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    area = {"type": "Feature", "properties": {"name": "Mwesa"}, "geometry": shape}
    text = json.dumps({"type": "FeatureCollection", "features": [area]})
    (folder / "area.geojson").write_text(text, encoding="utf-8")
