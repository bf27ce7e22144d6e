"""Seconds and memory of every stage of a run; run by hand, on a plan of tests/benchmarks/make_nation.py.

    python -m tests.benchmarks.measure_scale PLAN [PLAN …] [--until sizing|end] [--sample N] [--out DIR] [--profile]

Each plan runs in a process of its own. Of each stage: seconds by the clock, seconds of the processor (all threads),
memory of the process when it ended, and the largest memory while it went on (Linux only: read from /proc). Stages
within stages are indented. `--until sizing`, the default, ends before the engine.

`--sample N` sizes only N sites, some of each chunk, and lets the results of each stand for the sites beside it, so
that what comes after the engine can be measured without sizing a nation. The stage `sizing` and all numbers in the
results then mean nothing; stages, rows and files are as large as in a whole run. For nations of 100 000
sites and more: of a few thousand sites draws are made, and those need each site's own design.
"""

from __future__ import annotations

import argparse
import cProfile
import dataclasses
import importlib
import pstats
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

MODULES = ["screening", "rasters", "resource", "catchments", "demand", "distance", "wells", "neighbours"]
# Where sites go through the engine: a module that calls `assess` for each chunk, and the function over all of them.
SIZING = ("planner.stages.sizing", "size")
# What is watched: module, function, stage. A name is replaced where it is used.
WATCHED = [
    ("planner.pipeline", "_read", "inventory"),
    ("planner.tables.inventory", "open_inventory", "text cells"),
    ("planner.pipeline", "_inputs", "inputs"),
    *((f"planner.tables.{name}", "run", name) for name in MODULES),
    ("planner.chunks", "engine_sites", "engine_sites"),
    (*SIZING, "sizing"),
    ("planner.pipeline", "engine_columns", "engine_columns"),
    ("planner.alternatives.compare", "take", "alternatives"),
    ("planner.pipeline", "design_checks", "design_checks"),
    ("planner.stages.sizing", "family_checks", "family_checks"),
    ("planner.pipeline", "on_priors", "on_priors"),
    ("planner.pipeline", "decide", "decide"),
    ("planner.choice.funding", "fund", "funding"),
    ("planner.stages.drawing", "take", "drawing"),
    ("planner.stages.well_tests", "take", "well_tests"),
    ("planner.stages.selection", "finish", "selection"),
    ("planner.choice.lots.stage", "group", "lots"),
    ("planner.pipeline", "what_if", "scenarios"),
    ("planner.pipeline", "publish", "publish"),
    ("planner.outputs.tables", "write_sites_csv", "sites.csv"),
    ("planner.outputs.tables", "write_parquet", "parquet"),
    ("planner.outputs.tables", "write_findings_csv", "findings.csv"),
    ("planner.publish", "write_bills", "bills"),
    ("planner.outputs.map.write", "write_map", "map.html"),
    ("planner.outputs.geopackage.geopackage", "write_geopackage", "plan.gpkg"),
    ("planner.outputs.field.write", "write_field", "field"),
    ("planner.outputs.charts.write", "write_charts", "charts"),
    ("planner.outputs.workbook.write", "write_workbook", "programme.xlsx"),
    ("planner.outputs.sheets.write", "write_sheets", "site_sheets.pdf"),
    ("planner.outputs.sheets.write", "write_brief", "brief.pdf"),
    ("planner.publish", "summary_record", "summary"),
]


class Watch:
    """Stages in the order in which they began: depth, name, seconds, seconds of processor, MB at the end, most MB, most
    MB without pages of files, which the system takes back when it needs them (looked at twenty times a second)."""

    def __init__(self) -> None:
        self.stages: list[list[Any]] = []
        self.depth = 0
        self.own: list[tuple[float, float]] = []
        threading.Thread(target=self._look, daemon=True).start()

    def _look(self) -> None:
        while True:
            self.own.append((time.perf_counter(), _memory("RssAnon")))
            time.sleep(0.05)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        line: list[Any] = [self.depth, name, 0.0, 0.0, 0.0, 0.0, 0.0]
        self._peak_so_far()
        self.stages.append(line)
        self.depth += 1
        clock, busy = time.perf_counter(), time.process_time()
        try:
            yield
        finally:
            line[2:5] = time.perf_counter() - clock, time.process_time() - busy, _memory("VmRSS")
            line[6] = max([mb for at, mb in self.own if at >= clock], default=_memory("RssAnon"))
            self.depth -= 1
            self._peak_so_far(line)

    def _peak_so_far(self, ended: list[Any] | None = None) -> None:
        """The largest memory since the last stage began or ended counts for all stages that are open."""
        most = _memory("VmHWM")
        open_ones: dict[int, list[Any]] = {}
        for line in self.stages:
            open_ones[line[0]] = line
        for depth in range(self.depth):
            open_ones[depth][5] = max(open_ones[depth][5], most)
        if ended is not None:
            ended[5] = max(ended[5], most)
        _reset_peak()

    def around(self, module: str, name: str, stage: str) -> None:
        """Have a function of a module watched."""
        home = importlib.import_module(module)
        inner: Callable[..., Any] | None = getattr(home, name, None)
        if inner is None:
            return

        def watched(*given: Any, **named: Any) -> Any:
            with self.stage(stage):
                return inner(*given, **named)

        setattr(home, name, watched)


def _memory(key: str) -> float:
    """MB of this process, by a key of /proc/self/status."""
    for line in Path("/proc/self/status").read_text(encoding="ascii", errors="replace").splitlines():
        if line.startswith(f"{key}:"):
            return float(line.split()[1]) / 1000
    return 0.0


def _reset_peak() -> None:
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def sample_sizing(count: int) -> None:
    """Have `count` sites sized, some of each chunk, whose results stand for those beside them."""
    home = importlib.import_module(SIZING[0])
    size, assess, total = getattr(home, SIZING[1]), home.assess, 1

    def counted(*given: Any, **named: Any) -> Any:
        nonlocal total
        total = next(one for one in given if hasattr(one, "inventory_row")).inventory_row.size
        return size(*given, **named)

    def sampled(sites: Any, context: Any) -> Any:
        rows = sites.inventory_row
        few = max(1, round(count * rows.size / total))
        if few >= rows.size:
            return assess(sites, context)
        chosen = np.unique(np.linspace(0, rows.size - 1, few).round().astype("int64"))
        names = [field.name for field in dataclasses.fields(sites)]
        found = assess(dataclasses.replace(sites, **{name: getattr(sites, name)[chosen] for name in names}), context)
        nearest = np.searchsorted((chosen[1:] + chosen[:-1]) / 2, np.arange(rows.size))
        results = {row["inventory_row"]: row for row in found.rows}
        rules: dict[int, list[Any]] = {}
        for rule in found.rules:
            rules.setdefault(rule.inventory_row, []).append(rule)
        pairs = list(zip(rows.tolist(), rows[chosen][nearest].tolist(), strict=True))
        return type(found)(
            [{**results[other], "inventory_row": row} for row, other in pairs if other in results],
            [dataclasses.replace(rule, inventory_row=row) for row, other in pairs for rule in rules.get(other, ())],
        )

    setattr(home, SIZING[1], counted)
    setattr(home, "assess", sampled)  # noqa: B010 (mypy does not know that it is there)


def measure(plan: Path, until: str, sample: int, out: Path | None, profile: bool) -> None:
    """Run one plan in this process, and print."""
    from planner import pipeline

    if sample:
        sample_sizing(sample)
    watch = Watch()
    for module, name, stage in WATCHED:
        watch.around(module, name, stage)
    profiler = cProfile.Profile(time.process_time)
    with tempfile.TemporaryDirectory() as scratch, watch.stage(f"all of {plan}"):
        if profile:
            profiler.enable()
        if until == "sizing":
            rows = len(pipeline.before_sizing(plan, Path(scratch))[2].sites)
        else:
            rows = len(pipeline.run(plan, out or Path(scratch) / "results").material.sites)
        profiler.disable()
    if profile:
        pstats.Stats(profiler).sort_stats("tottime").print_stats(45)
        pstats.Stats(profiler).sort_stats("cumtime").print_stats(70)
    say(watch, sample)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000  # kB on Linux
    print(f"{rows} rows; the largest memory {max(most, watch.stages[0][5]):.0f} MB")


def say(watch: Watch, sample: int) -> None:
    if sample:
        print(f"Only {sample} sites were sized; their results stand for those beside them.")
    print(f"{'stage':32}{'clock s':>10}{'busy s':>10}{'MB after':>10}{'most MB':>10}{'own MB':>10}")
    for depth, name, clock, busy, after, most, own in watch.stages:
        print(f"{'  ' * depth + name:32.60}{clock:10.1f}{busy:10.1f}{after:10.0f}{most:10.0f}{own:10.0f}")


def main() -> None:
    """Measure each plan in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("plans", type=Path, nargs="+")
    parser.add_argument("--until", choices=["sizing", "end"], default="sizing")
    parser.add_argument("--sample", type=int, default=0, help="sites that are sized; 0: all")
    parser.add_argument("--out", type=Path, help="folder of the results; else they are thrown away")
    parser.add_argument("--profile", action="store_true")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.here:
        measure(given.plans[0], given.until, given.sample, given.out, given.profile)
        return
    for plan in given.plans:
        options = ["--here", "--until", given.until, "--sample", str(given.sample)]
        options += ["--out", str(given.out)] if given.out else []
        options += ["--profile"] if given.profile else []
        subprocess.run([sys.executable, "-m", "tests.benchmarks.measure_scale", str(plan), *options], check=True)


if __name__ == "__main__":
    main()
