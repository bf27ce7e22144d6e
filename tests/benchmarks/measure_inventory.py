"""Write a large inventory as CSV and as XLSX and measure how long reading and screening take; run by hand.

    python -m tests.benchmarks.measure_inventory [--rows 200000 100000] [--profile]

Each file is read in a process of its own: as text cells, then into the glossary and screened; printed are seconds of a
processor, seconds by the clock and the largest memory of that process. A cell in twenty of five columns is odd (a unit,
a qualifier, a word). With --profile the slowest functions are printed as well.
"""

from __future__ import annotations

import argparse
import cProfile
import csv
import pstats
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import xlsxwriter

from planner import pipeline
from planner.plan import read_plan
from planner.tables.files.table_file import open_table

HEADER = [
    *("site_id", "site_name", "sub_district", "latitude", "longitude", "status", "equipped_with", "people"),
    *("depth_m", "casing_mm", "static_level_m", "pumping_level_m", "tested_yield_m3_h", "test_hours", "test_date"),
    *("test_kind", "ec_us_cm", "fluoride_mg_l", "screen_top_m", "remarks"),
]
ODD = {
    "depth_m": ["60 m", "~55", "unknown", "0"],
    "tested_yield_m3_h": [">5", "1.5 L/s", "3-4", "dry"],
    "casing_mm": ['6 "', "152.4mm", "n/a"],
    "test_date": ["03/04/2019", "25/03/2019", "soon", "2019"],
    "static_level_m": ["dry", "12 m", "-"],
}
STATUS = ["working", "Fonctionnel", "en panne", "abandoned", "F"]


def record(number: int, rng: random.Random) -> list[str | float]:
    """One row of an invented inventory."""
    static = round(rng.uniform(3, 40), 1)
    row: list[str | float] = [
        *(f"{number:06d}", f"Village {number}", f"Area {number % 37}"),
        *(round(rng.uniform(-10, -9), 6), round(rng.uniform(33, 34), 6), rng.choice(STATUS), "handpump"),
        *(rng.randrange(100, 900), round(static + rng.uniform(20, 60), 1), 125, static, round(static + 8, 1)),
        *(round(rng.uniform(0.5, 12), 2), rng.choice([6, 24]), f"20{rng.randrange(10, 24)}-0{rng.randrange(1, 10)}-15"),
        *(
            "constant rate",
            rng.randrange(100, 2000),
            round(rng.uniform(0.1, 2), 2),
            static + 12,
            "seen by the committee",
        ),
    ]
    for place, name in enumerate(HEADER):
        if name in ODD and rng.random() < 0.05:
            row[place] = rng.choice(ODD[name])
    return row


def write(folder: Path, kind: str, rows: int) -> Path:
    """The inventory and a plan beside it; the path of the plan."""
    rng = random.Random(1)
    records = (record(number, rng) for number in range(rows))
    if kind == "csv":
        with (folder / "wells.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([HEADER])
            csv.writer(file).writerows(records)
    else:
        with xlsxwriter.Workbook(folder / "wells.xlsx", {"constant_memory": True}) as book:
            sheet = book.add_worksheet("Wells")
            sheet.write_row(0, 0, HEADER)
            for number, row in enumerate(records, start=1):
                sheet.write_row(number, 0, row)
    plan = folder / f"{kind}.toml"
    plan.write_text(f'[inventory]\nfile = "wells.{kind}"\n', encoding="utf-8")
    return plan


def measure(path: Path, profile: bool) -> None:
    """Read and screen in this process, and print."""
    plan = read_plan(path)
    settings = plan.plan.inventory
    before = time.process_time()
    open_table(settings, plan.resolve(settings.file), [])
    cells = time.process_time() - before
    profiler = cProfile.Profile(time.process_time)
    started, before = time.perf_counter(), time.process_time()
    if profile:
        profiler.enable()
    _, table = pipeline.check(path)
    profiler.disable()
    taken, busy = time.perf_counter() - started, time.process_time() - before
    if profile:
        pstats.Stats(profiler).sort_stats("tottime").print_stats(25)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000  # kB on Linux
    print(
        f"{settings.file}: {len(table.sites)} rows of {len(HEADER)} cells, {len(table.findings)} findings; "
        f"text cells {cells:.1f} s of a processor, read and screened {busy:.1f} s ({taken:.1f} s by the clock), "
        f"{memory:.0f} MB"
    )


def main() -> None:
    """Write both files and measure each in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rows", type=int, nargs=2, default=(200_000, 100_000), metavar=("CSV", "XLSX"))
    parser.add_argument("--profile", action="store_true")
    parser.add_argument("--plan", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.plan:
        measure(arguments.plan, arguments.profile)
        return
    with tempfile.TemporaryDirectory() as name:
        for kind, rows in zip(("csv", "xlsx"), arguments.rows, strict=True):
            plan = write(Path(name), kind, rows)
            command = [sys.executable, "-m", "tests.benchmarks.measure_inventory", "--plan", str(plan)]
            subprocess.run(command + ["--profile"] * arguments.profile, check=True)


if __name__ == "__main__":
    main()
