"""A plan of two lines: wells on three continents, one in the sea, one beyond the polar circle; and a weather year.

The wells are invented. Positions are round places on land that nobody's well stands for.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from planner import pipeline
from planner.glossary import monthly
from planner.tables.resource import BUILT_IN_SIZING

WELL = {
    "depth_m": "70", "casing_mm": "150", "static_level_m": "15", "tested_yield_m3_h": "4", "pumping_level_m": "24",
    "test_hours": "24", "test_kind": "constant_rate", "test_date": "2024-05-10", "people": "300",
    "fluoride_mg_l": "0.3", "arsenic_mg_l": "0.001", "nitrate_mg_l": "4",
}  # fmt: skip
PLACES = {
    "AFRICA": (-13.5, 34.2),
    "ASIA": (26.9, 75.8),
    "AMERICA": (-8.9, -37.1),
    "SEA": (-5.5, -20.5),
    "NORTH": (70.0, 25.0),
}


def write_plan(folder: Path, *lines: str, places: dict[str, tuple[float, float]] = PLACES) -> Path:
    """The inventory and a plan that names it, with more lines if any."""
    with (folder / "wells.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ["site_id", "latitude", "longitude", *WELL])
        writer.writeheader()
        for name, (latitude, longitude) in places.items():
            writer.writerow({"site_id": name, "latitude": latitude, "longitude": longitude, **WELL})
    plan = folder / "plan.toml"
    plan.write_text("\n".join(['[inventory]\nfile = "wells.csv"', *lines]), encoding="utf-8")
    return plan


@pytest.fixture(scope="module")
def anywhere(tmp_path_factory: pytest.TempPathFactory) -> tuple[pd.DataFrame, Path]:
    folder = tmp_path_factory.mktemp("anywhere")
    pipeline.run(write_plan(folder), folder / "out")
    return pd.read_parquet(folder / "out" / "sites.parquet").set_index("site_id"), folder / "out"


def test_an_inventory_alone_is_enough(anywhere: tuple[pd.DataFrame, Path]) -> None:
    sites, folder = anywhere
    land = sites.drop(index="SEA")
    assert (land["resource_source"] == "built-in").all() and (land["engine_status"] == "designed").all()
    assert (sites.loc[["AFRICA", "ASIA", "AMERICA"], "decision"] == "equip").all()
    # Koeppen-Geiger classes as any atlas has them: savanna, hot steppe, tropical with a dry summer, boreal.
    assert land["climate_zone"].to_dict() == {"AFRICA": "Aw", "ASIA": "BSh", "AMERICA": "As", "NORTH": "Dfc"}
    # From memory, to a fifth: such places have 5 to 6.5 kWh/m2/d over the year, the far north about 2.
    assert land["solar_kwh_m2_day"].between([4.8, 4.6, 5.0, 1.8], [6.6, 6.4, 6.8, 2.8]).all()
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert record["counts"]["rows"] == 5 and "array.air_temperature_c" in record["defaults_used"]


def test_results_on_the_built_in_sun_are_marked_and_sized_for_less(anywhere: tuple[pd.DataFrame, Path]) -> None:
    sites = anywhere[0].loc[["AFRICA", "ASIA", "AMERICA"]]
    assert (sites["solar_sizing_factor"] == BUILT_IN_SIZING).all() and (sites["solar_range_share"] >= 0.15).all()
    assert sites["reason_codes"].str.contains("sun_built_in").all()
    assert sites["reason_text"].str.contains("built-in sun").all()
    low, mean = sites["low_sun_reliability_worst_month"], sites["supply_reliability_worst_month"]
    assert ((low >= 0.9) & (low <= mean)).all()


def test_a_place_in_the_sea_is_explained(anywhere: tuple[pd.DataFrame, Path]) -> None:
    sites, folder = anywhere
    sea = sites.loc["SEA"]
    assert (sea["decision"], sea["ghi_status"], sea["resource_source"]) == ("not_assessed", "sea", "")
    assert "No solar irradiation is known here (sea)." in sea["reason_text"]
    found = pd.read_csv(folder / "findings.csv")
    assert found.loc[found["rule"] == "at_sea", "site_id"].tolist() == ["SEA"]


def test_the_polar_night_is_dark_and_no_more(anywhere: tuple[pd.DataFrame, Path]) -> None:
    """No water in December, some in June, and everything else is a number."""
    north = anywhere[0].loc["NORTH"]
    volumes = north[monthly("volume")].to_numpy(dtype="float64")
    assert volumes[11] == 0.0 and volumes[5] > 3.0
    assert north["supply_limited"] == "catalogue" and 0.3 < north["supply_reliability"] < 0.9
    assert north["tilt_deg"] >= 45.0  # steep, for the months that have a low sun
    assert np.isfinite(north[["cost_per_m3", "capital_cost", "power_share_to_run"]].astype("float64")).all()


def test_one_weather_file_serves_a_district(tmp_path: Path) -> None:
    """Sites within the district have the file's own months; one farther off is told so; `why` would work them out
    from the same file, so it is listed with its hash."""
    file = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    place = (36.1, -79.95)  # of the file's header
    places = {"NEAR": place, "BESIDE": (place[0] + 0.5, place[1] - 0.3), "FAR": (place[0] + 4.0, place[1])}
    plan = write_plan(tmp_path, "[weather]", f"file = '{file.as_posix()}'", places=places)
    pipeline.run(plan, tmp_path / "out")
    sites = pd.read_parquet(tmp_path / "out" / "sites.parquet").set_index("site_id")
    assert (sites["resource_source"] == "weather").all() and (sites["decision"] == "equip").all()
    ghi = sites[monthly("ghi")].to_numpy()
    np.testing.assert_array_equal(ghi, np.broadcast_to(ghi[0], ghi.shape))
    # Computed from the file by hand: 4.29 kWh/m2/d over its year.
    assert sites["solar_kwh_m2_day"].iloc[0] == pytest.approx(4.29, abs=0.005)
    found = pd.read_csv(tmp_path / "out" / "findings.csv")
    assert found.loc[found["rule"] == "weather_far", "site_id"].tolist() == ["FAR"]
    assert sites["solar_range_share"].to_dict() == {"NEAR": 0.08, "BESIDE": 0.08, "FAR": 0.25}  # defaults
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert len(record["inputs"]["weather.file"]["sha256"]) == 64
