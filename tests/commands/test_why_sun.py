"""`planner why`: where the sun comes from, and the worked hour against independent libraries."""

from __future__ import annotations

import math
import re
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import rasterio

from planner.commands.why.command import why
from planner.errors import OutputError
from planner.pipeline import run
from tests.commands.sheet_reader import closes, plane_and_cells, table, value

MakeProgramme = Callable[..., Path]

MIAMI = Path(pvlib.__file__).parent / "data" / "12839.tm2"
WEST = 30.0  # of the rasters, as in conftest


def sun_raster(folder: Path, name: str, months: Sequence[float], north: float = -9.6) -> None:
    """A raster of four by four cells with the same twelve values in each."""
    with rasterio.open(
        folder / name,
        "w",
        driver="GTiff",
        dtype="float64",
        crs="EPSG:4326",
        transform=rasterio.Affine(0.1, 0, WEST, 0, -0.1, north),
        width=4,
        height=4,
        count=12,
        nodata=-9999.0,
    ) as target:
        target.write(np.broadcast_to(np.reshape(months, (12, 1, 1)), (12, 4, 4)))


def test_an_array_that_turns_with_the_sun(make_programme: MakeProgramme, plan_text: str, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}], plan_text + '\n[array]\nmounting = "single_axis"\nlow_year_factor = 0.9\n')
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    closes(text, 100)
    turn = value(text, "turn of the array")
    plane_and_cells(text, abs(math.degrees(turn)), 90.0 if turn > 0 else 270.0)
    assert "mounting: turns with the sun" in text
    mounting = next(cells for cells in table(text, "Bill", "item") if cells[0] == "mounting, tracker")
    assert float(mounting[3]) == 0.38 and mounting[5] == "mounting_tracker_wp"  # the illustrative price book
    assert f"+ 0.012 × {mounting[1]} = {value(text, 'upkeep a year, equipment only'):g} USD/year" in text
    assert value(text, "low sun, of the mean year's") == 0.9


def test_diffuse_light_and_spread_of_days_that_are_given(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    given = 'diffuse = { file = "diffuse.tif", unit = "kWh/m2/day" }\n'
    given += 'clearness_spread = { file = "spread.tif", unit = "1" }\n'
    given += 'temperature_range = { file = "range.tif", unit = "K" }'
    plan = make_programme(tmp_path, [{}], plan_text.replace("[rasters]", f"[rasters]\n{given}"))
    sun_raster(tmp_path, "diffuse.tif", [2.0123456] * 12)
    sun_raster(tmp_path, "spread.tif", [0.1823456] * 12)
    sun_raster(tmp_path, "range.tif", [13.123456] * 12)
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    closes(text, 100)
    plane_and_cells(text, value(text, "tilt"), value(text, "azimuth"))
    kinds = [float(cells[1]) for cells in table(text, "One hour", "kind")]
    assert float(np.std(kinds)) == pytest.approx(0.18235, rel=1e-3)
    assert {"2.01235", "0.1823", "13.12"} <= set(table(text, "Sun", "month")[0])
    assert "beam, scaled to the month's diffuse light" in text


@pytest.mark.parametrize("scaled", [True, False])
def test_an_hourly_year(make_programme: MakeProgramme, plan_text: str, tmp_path: Path, scaled: bool) -> None:
    """The typical year of a file that pvlib ships, alone and with its months scaled to a raster."""
    text = plan_text if scaled else re.sub("solar = .*\n", "", plan_text)
    plan = make_programme(tmp_path, [{}], text + '\n[weather]\nfile = "hours.tm2"\n')
    shutil.copy(MIAMI, tmp_path / "hours.tm2")
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    closes(text, 90)
    plane_and_cells(text, value(text, "tilt"), value(text, "azimuth"))
    assert (value(text, "factor of the month") == pytest.approx(1.0, abs=1e-3)) == (not scaled)
    assert ("scaled to rasters.solar" in re.sub(r"\s+", " ", text)) == scaled
    with (tmp_path / "hours.tm2").open("a", encoding="ascii") as file:
        file.write("\n")
    with pytest.raises(OutputError, match=r"hours\.tm2 changed since the run"):
        why(tmp_path / "out", "row:1")
    (tmp_path / "hours.tm2").unlink()
    with pytest.raises(OutputError, match=r"no file at .*hours\.tm2"):
        why(tmp_path / "out", "row:1")


def test_the_built_in_sun(make_programme: MakeProgramme, plan_text: str, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}], re.sub("solar = .*\n", "", plan_text))
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    closes(text, 100)
    assert "built-in climate of the place" in re.sub(r"\s+", " ", text)
    found = pd.read_parquet(tmp_path / "out" / "sites.parquet").iloc[0]
    assert value(text, "low sun, of the mean year's") == pytest.approx(found["solar_sizing_factor"], rel=1e-5)
    assert found["solar_sizing_factor"] < 1


@pytest.mark.parametrize("months", ["all year", "with sun"])
def test_beyond_the_polar_circle(make_programme: MakeProgramme, plan_text: str, tmp_path: Path, months: str) -> None:
    """Where a month is dark the sheet says so; where it is not wanted, a dull one is worked."""
    text = re.sub(r"\[area\].*?\n\n", "", plan_text, flags=re.DOTALL)
    text = re.sub(r"(water_level|well_yield) = .*\n", "", text)
    if months == "with sun":
        text += "\n[demand]\nseason = [0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0]\n"
    plan = make_programme(tmp_path, [{"latitude": "67.0", "longitude": "30.15"}], text)
    sun = [0.0, 0.4, 1.6, 3.2, 4.8, 5.4, 5.0, 3.6, 2.0, 0.8, 0.1, 0.0]  # plausible at 67 degrees north
    sun_raster(tmp_path, "solar.tif", sun, 67.2)
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    closes(text, 80)
    assert ("The month is dark." in text) == (months == "all year")
    assert "law of days: Bendt 1981 with Herzog 1985" in text
    assert table(text, "Sun", "month")[0][-1] == "-"
