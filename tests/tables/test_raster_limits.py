"""What a wrong unit of a solar raster looks like, and that true ones pass.

Irradiation of real places, kWh/m2/d by month, from memory of published monthly means and good to about 10 %; what
is tested does not depend on more.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from planner.errors import InputError
from planner.physics.sun import daily_extraterrestrial_kwh_m2
from planner.tables import raster_limits, resource
from planner.tables.raster_files import DAYS, UNITS, units_for

PLACES = {
    # name: (latitude, elevation m, twelve months)
    "wet tropics": (4.0, 100.0, [4.6, 4.9, 4.8, 4.7, 4.3, 3.7, 3.2, 3.1, 3.5, 3.8, 4.1, 4.3]),
    "highland": (-1.3, 1700.0, [6.3, 6.6, 6.3, 5.4, 4.9, 4.5, 4.2, 4.5, 5.6, 5.7, 5.2, 5.8]),
    "savanna": (13.5, 220.0, [5.4, 6.2, 6.6, 6.7, 6.6, 6.3, 5.9, 5.6, 5.9, 6.0, 5.6, 5.2]),
    "desert": (22.0, 400.0, [5.0, 6.0, 6.8, 7.5, 7.7, 8.1, 7.9, 7.5, 6.7, 5.9, 5.1, 4.6]),
    "high desert": (-23.0, 2400.0, [8.7, 8.2, 7.4, 6.3, 5.3, 4.8, 5.1, 6.0, 7.2, 8.2, 8.8, 9.0]),
    "mid-latitude": (47.0, 300.0, [1.1, 1.9, 3.2, 4.4, 5.3, 5.8, 5.9, 5.0, 3.7, 2.2, 1.2, 0.9]),
    "cloudy basin": (29.5, 600.0, [1.4, 1.8, 2.5, 3.4, 3.7, 3.7, 4.2, 4.0, 2.7, 1.9, 1.6, 1.3]),
    "northern coast": (60.4, 20.0, [0.2, 0.8, 2.0, 3.6, 4.9, 5.3, 4.9, 3.8, 2.2, 1.0, 0.3, 0.1]),
}
# (declared, true) that cannot be told apart. W/m2 of what is kWh/m2/month shows 0.73 of the sun, and the other way
# round 1.37: no month of it need be brighter than the clear sky. MJ/m2/month of what is W/m2 shows 0.38, too dull
# for a climate but where the sky is clearest of all.
ALIKE = {("W/m2", "kWh/m2/month"), ("kWh/m2/month", "W/m2")}
ALIKE_UNDER_THE_CLEAREST_SKY = ("MJ/m2/month", "W/m2")
MONTHS = units_for("solar", 12)
YEAR = units_for("solar", 1)


def convert(stored: np.ndarray, unit: str) -> np.ndarray:
    """Stored values (months or one, 1, 1) in our unit."""
    factor = np.asarray(UNITS["solar"][unit].factor)
    return stored * factor[:, None, None]


def wrong_units(units: list[str]) -> list[tuple[str, str]]:
    return [(declared, true) for declared in units for true in units if declared != true]


def stored(place: str, unit: str, months: bool) -> tuple[np.ndarray, raster_limits.Rule]:
    """What a file in this unit holds, and the rule of the place."""
    latitude, elevation, values = PLACES[place]
    sun = np.array(values)
    days = np.array(DAYS)
    shape = None if months else (sun / (sun @ days / days.sum()))[:, None]
    here = sun if months else np.array([sun @ days / days.sum()])
    factor = np.asarray(UNITS["solar"][unit].factor)
    rule = raster_limits.sun(np.array([latitude]), np.array([elevation]), shape)
    return (here / factor)[:, None, None], rule


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("months", "unit"), [*((True, each) for each in MONTHS), *((False, each) for each in YEAR)])
def test_the_true_unit_passes(place: str, months: bool, unit: str) -> None:
    values, rule = stored(place, unit, months)
    assert not rule(convert(values, unit), False)[0].any()


@pytest.mark.parametrize(("declared", "true"), wrong_units(MONTHS))
def test_a_wrong_unit_of_months_is_refused(declared: str, true: str) -> None:
    for place in PLACES:
        values, rule = stored(place, true, months=True)
        refused = rule(convert(values, declared), False)[0].any()
        clearest = place == "high desert" and (declared, true) == ALIKE_UNDER_THE_CLEAREST_SKY
        assert refused or clearest or (declared, true) in ALIKE, place
        if refused and place not in {"northern coast", "cloudy basin"}:
            assert not rule(convert(values, true), True)[0].any(), f"{place}: the hint would leave out {true}"


@pytest.mark.parametrize(("declared", "true"), wrong_units(YEAR))
def test_a_wrong_unit_of_a_year_is_refused(declared: str, true: str) -> None:
    for place in PLACES:
        values, rule = stored(place, true, months=False)
        assert rule(convert(values, declared), False)[0].any(), place


def test_the_pairs_that_cannot_be_told_apart_are_as_listed() -> None:
    found = {}
    for declared, true in (*ALIKE, ALIKE_UNDER_THE_CLEAREST_SKY):
        for place in PLACES:
            values, rule = stored(place, true, months=True)
            found[declared, place] = bool(rule(convert(values, declared), False)[0].any())
    assert found["kWh/m2/month", "desert"], "too bright under a clear sky"
    assert not found["kWh/m2/month", "wet tropics"]
    assert not found["W/m2", "savanna"]
    assert not found["MJ/m2/month", "high desert"]
    assert found["MJ/m2/month", "desert"]


# The clear sky --------------------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's
@pytest.mark.parametrize(("latitude", "elevation"), [(0.0, 0.0), (-23.4, 2300.0), (35.5, 150.0), (60.4, 50.0)])
def test_the_ceiling_agrees_with_whole_months_of_the_clear_sky(latitude: float, elevation: float) -> None:
    """Independent: pvlib's own sun, hour by hour through a year; ours is of mean days and a table."""
    place = pvlib.location.Location(latitude, 0.0, "UTC", elevation)
    hours = pd.date_range("2023-01-01 00:30", "2023-12-31 23:30", freq="h", tz="UTC")
    sky = place.get_clearsky(hours, linke_turbidity=raster_limits.TURBIDITY)["ghi"]
    months = sky.groupby(sky.index.month).mean().to_numpy() * 0.024
    ours = raster_limits.clear_sky_kwh_m2(np.array([latitude]), np.array([elevation]))[:, 0]
    np.testing.assert_allclose(ours, months, rtol=0.03, atol=0.06)


def test_the_ceiling_rises_with_height_and_stays_below_the_sun_outside() -> None:
    latitude = np.linspace(-90, 90, 37)
    low, unknown, high = (raster_limits.clear_sky_kwh_m2(latitude, np.full(37, m)) for m in (0.0, np.nan, 4000.0))
    outside = np.asarray(daily_extraterrestrial_kwh_m2(latitude[None, :], raster_limits.MEAN_DAY[:, None]))
    # Under the lowest sun the model does not rise with height, by little.
    assert (low <= unknown + 0.05).all()
    assert (unknown <= high + 0.05).all()
    assert (high <= outside)[:, np.abs(latitude) <= 65].all()  # beyond, a mean day stands badly for its month
    assert (low >= 0).all()


def test_the_elevation_of_the_site_lowers_the_ceiling() -> None:
    sun = np.full((12, 1, 1), 8.9)  # between the clear sky at the sea and that at 3000 m, at 10°S in October
    wrong = {
        height: raster_limits.sun(np.array([-10.0]), np.array([height]), None)(sun, False)[0][9, 0, 0]
        for height in (0.0, 3000.0)
    }
    assert wrong == {0.0: True, 3000.0: False}


@pytest.mark.parametrize("stray", [-9999.0, 0.0])
def test_a_month_that_means_no_data_is_found_and_named(stray, make_sites, make_plan, make_raster) -> None:
    values = np.full((12, 3, 3), 5.5)
    values[3, 1, 1] = stray
    plan = make_plan(rasters={"solar": {"file": make_raster("s.tif", values), "unit": "kWh/m2/day"}})
    sites = make_sites(resource.READS, latitude=-9.85, longitude=30.15)
    with pytest.raises(InputError) as caught:
        resource.run(sites, plan)
    told = str(caught.value)
    assert f"band 4: found {stray:g} kWh/m2/day near inventory row 1" in told
    assert f"if it means no data, write nodata = {stray:g}" in told


def test_the_mean_month_of_a_year_is_hinted_with_its_scale(make_sites, make_plan, make_raster) -> None:
    file = make_raster("s.tif", np.full((3, 3), 165.0))  # kWh/m2 of the mean month
    plan = make_plan(rasters={"solar": {"file": file, "unit": "kWh/m2/day"}})
    sites = make_sites(resource.READS, latitude=-9.85, longitude=30.15)
    with pytest.raises(InputError, match="'kWh/m2/year' with scale = 12") as caught:
        resource.run(sites, plan)
    assert "(1 of 1 positions)" in str(caught.value)
