"""What the order of days does to a tank: real days in a row against the synthetic order of the engine.

The water of a day is taken as proportional to its light on the horizontal; nine tenths of what its month gives in the
mean are asked for, every day alike. Printed is the share of the demand of a year that is not met, with tanks of none to
three days of demand, from

    real       the days of a weather year, in their order
    own kinds  the tenths of the days of that year, month by month, in the synthetic order: only the order is modelled
    ours       kinds of day from the twelve monthly means alone, in the synthetic order: what the engine does
    random     the same kinds in random order; and the own kinds

and how far one year of the synthetic order strays from the mean of the twenty, by chance. Then how days hold on:
correlation of the rank of a day within its month with that of the day after. Last, the time a sequence takes.

    python -m tests.benchmarks.measure_day_order [--pvdeg FOLDER] [--markdown]

The years are those of measure_weather_years.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.engine import sun
from planner.engine.days import Days, clearness_of, kind_of_hour, synthetic_days, weather_days
from planner.physics.storage import daily_balance
from planner.physics.sun import KINDS, daily_extraterrestrial_kwh_m2
from tests.benchmarks.measure_weather_years import Year, climate_of, pvdeg_years, pvlib_years

Floats = NDArray[np.float64]

ASKED = 0.9  # of the mean supply of the month
TANKS = (0.0, 1.0, 2.0, 3.0)  # days of demand
SHUFFLES = 20


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pvdeg", type=Path, help="folder with psm4_*.csv and meta_*.json")
    parser.add_argument("--markdown", action="store_true", help="the table of DEVELOPERS.md")
    arguments = parser.parse_args()
    tables = {year.name: of_year(year) for year in [*pvlib_years(), *pvdeg_years(arguments.pvdeg)]}
    if arguments.markdown:
        print(markdown(tables))
    else:
        for name, table in tables.items():
            print(f"\n{name}\n{table.to_string(float_format='{:.1f}'.format)}")
    started = time.perf_counter()
    for k in range(10):
        synthetic_days(np.full(12, 0.275 + 0.05 * k))
    print(f"a sequence: {100 * (time.perf_counter() - started):.1f} ms")


def of_year(year: Year) -> pd.DataFrame:
    """Unmet share in per cent by tank; the persistence of days last."""
    climate = climate_of(year, None)
    clearness = clearness_of(climate)
    kinds = sun._kinds_of_day(climate)
    ours = kinds / kinds.mean(axis=1, keepdims=True) * climate.ghi[:, None]
    daily = np.zeros((12, 31))
    # pvlib's reader calls the last hour of 28 February of a leap year the 29th.
    weather = year.weather._replace(day=np.arange(year.weather.day.size) // 24 + 1)
    np.add.at(daily, (weather.month, kind_of_hour(weather)), weather.ghi_w_m2 / 1000.0)
    real, order = weather_days(weather), synthetic_days(clearness)
    own = np.array([tenths(daily[m, real.kind[60:][real.month[60:] == m]]) for m in range(12)])
    columns = {
        "real": [unmet(real, daily, tank) for tank in TANKS],
        "own kinds": [unmet(order, own, tank) for tank in TANKS],
        "ours": [unmet(order, ours, tank) for tank in TANKS],
        "random": [np.mean([unmet(shuffled(order, i), ours, tank) for i in range(SHUFFLES)]) for tank in TANKS],
        "own, random": [np.mean([unmet(shuffled(order, i), own, tank) for i in range(SHUFFLES)]) for tank in TANKS],
        "one year, sd": [np.std(years_unmet(order, ours, tank)) for tank in TANKS],
    }
    table = pd.DataFrame(columns, index=[f"{tank:g} days" for tank in TANKS]) * 100.0
    outside = np.asarray(daily_extraterrestrial_kwh_m2(climate.latitude_deg, np.arange(1.0, 366.0)))
    ranks = ranked(real.month[60:], daily[real.month, real.kind][60:] / outside)
    table.loc["holds on, %"] = [100 * lag1(ranks), *[100 * lag1(order.kind[60:].astype(float))] * 2, 0.0, 0.0, np.nan]
    return table


def unmet(sequence: Days, supply: Floats, tank_days: float) -> float:
    """Share of the demand of the counted days; supply by month and kind, of which `ASKED` is asked for."""
    return float(np.mean(years_unmet(sequence, supply, tank_days)))


def years_unmet(sequence: Days, supply: Floats, tank_days: float) -> Floats:
    """The same by year. The tank holds days of the mean demand of the year."""
    counted = slice(sequence.warm_up, None)
    given = supply[sequence.month, sequence.kind]
    means = np.bincount(sequence.month[counted], given[counted]) / np.bincount(sequence.month[counted])
    demand = ASKED * means[sequence.month]
    tank = tank_days * float(demand[counted].mean())
    lacking = daily_balance(given, demand, tank, 0.5 * tank)[1][counted].reshape(-1, 365).sum(axis=1)
    return lacking / demand[counted][:365].sum()


def shuffled(sequence: Days, number: int) -> Days:
    """The same days, those of each month of all years mixed."""
    rng, kind = np.random.default_rng(number), sequence.kind.copy()
    counted = np.arange(kind.size) >= sequence.warm_up
    for m in range(12):
        (at,) = np.nonzero(counted & (sequence.month == m))
        kind[at] = kind[rng.permutation(at)]
    kind[: sequence.warm_up] = kind[-sequence.warm_up :]
    return Days(sequence.month, kind, sequence.warm_up)


def tenths(values: Floats) -> Floats:
    """Means of the tenths of a month's days, least first; a day may be shared by two."""
    summed = np.concatenate([[0.0], np.cumsum(np.sort(values))])
    return np.diff(np.interp(np.linspace(0.0, values.size, KINDS + 1), np.arange(values.size + 1), summed)) / (
        values.size / KINDS
    )


def ranked(month: NDArray[np.int64], clearness: Floats) -> Floats:
    """Rank of every day within its month, 0 to 1."""
    rank = np.empty(clearness.size)
    for m in range(12):
        here = month == m
        rank[here] = (np.argsort(np.argsort(clearness[here])) + 0.5) / here.sum()
    return rank


def lag1(values: Floats) -> float:
    """Correlation of a day with the day after."""
    return float(np.corrcoef(values[:-1], values[1:])[0, 1])


def markdown(tables: dict[str, pd.DataFrame]) -> str:
    """A row a year, a column a tank: real / own kinds / ours / random."""
    shown = ["real", "own kinds", "ours", "random"]
    lines = ["| year | " + " | ".join(f"tank {tank:g} d" for tank in TANKS) + " | days hold on |", "|---" * 6 + "|"]
    for name, table in tables.items():
        cells = [" / ".join(f"{value:.1f}" for value in row) for row in table[shown].iloc[:-1].to_numpy()]
        holds = " / ".join(f"{value / 100:.2f}" for value in table[["real", "ours"]].iloc[-1])
        lines.append(f"| {name} | " + " | ".join([*cells, holds]) + " |")
    every = pd.concat([table.iloc[:-1] for table in tables.values()])
    for column in [*shown[1:], "own, random"]:
        error = (every[column] - every["real"]).groupby(level=0)
        cells = [f"{part.mean():+.1f}, {np.sqrt((part**2).mean()):.1f}" for _, part in error]
        lines.append(f"| {column}: bias, rms | " + " | ".join(cells) + " | |")
    chance = every["one year, sd"].groupby(level=0).mean()
    lines.append("| one year by chance, sd | " + " | ".join(f"{value:.1f}" for value in chance) + " | |")
    return "\n".join(lines).replace("-", "−").replace("−−−", "---") + "\n"


if __name__ == "__main__":
    main()
