"""Set many different site sheets and measure time and memory; run by hand.

    python -m tests.benchmarks.measure_sheets PLAN [500]        # a plan, run first; or
    python -m tests.benchmarks.measure_sheets MATERIAL.pkl 500  # a pickled Material of a run

The sites that get a sheet are drawn anew, seeded, with other ids, names, places, costs, volumes and reasons, so that no
two sheets are alike. Prints processor and wall time and the largest memory of the process that only sets the sheets.
"""

from __future__ import annotations

import os
import pickle
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from planner.outputs.material import Material
from planner.outputs.sheets.sheet_data import sheet_sites
from planner.outputs.sheets.write import write_sheets
from planner.plan.sections import Output
from tests.benchmarks.enlarged_run import FIRST, LAST, MIDDLE

SEED = 43
MOVED = (
    "cost",
    "volume",
    "used_",
    "people_served",
    "demand_",
    "pumping_level",
    "capital",
    "annual",
    "lifecycle",
    "ec_us",
)


def different(material: Material, count: int) -> Material:
    """The material with `count` sites that have a set, funded or to be tested first as they come; invented."""
    random = np.random.default_rng(SEED)
    base = sheet_sites(material.sites)
    designed = base[base["engine_status"] == "designed"]
    sites = designed.iloc[random.integers(0, len(designed), count)].copy()
    before = sites["inventory_row"].to_numpy()
    sites["inventory_row"] = np.arange(1, count + 1)
    sites["rank"] = np.arange(1, count + 1, dtype="f8")
    sites["site_id"] = [f"{one:05d}" for one in random.permutation(90_000)[:count]]
    parts = (random.choice(words, count) for words in (FIRST, MIDDLE, MIDDLE, LAST))
    sites["site_name"] = ["".join(one) for one in zip(*parts, strict=True)]
    for name in ("latitude", "longitude"):
        sites[name] = sites[name] + random.normal(0.0, 0.02, count)
    share = random.uniform(0.9, 1.1, count)
    for name in sites.columns:
        if name.startswith(MOVED) and sites[name].dtype == "float64":
            sites[name] = sites[name] * share
    flow = random.uniform(0.93, 1.0, count)
    for name in ("peak_flow_m3_h", "delivery_m", "drawdown_b_d_m2", "intake_depth_m"):
        sites[name] = sites[name] * flow
    checks = pd.concat(
        [
            material.checks[material.checks["inventory_row"] == old].assign(inventory_row=new)
            for new, old in enumerate(before, start=1)
        ]
    )
    checks["value"] = checks["value"] * random.uniform(0.97, 1.03, len(checks))
    plan = material.plan.plan
    output = Output.model_validate(plan.output.model_dump() | {"sheets_max": count})
    loaded = replace(material.plan, plan=plan.model_copy(update={"output": output}))
    return replace(material, sites=sites.reset_index(drop=True), checks=checks, plan=loaded)


def material_of(path: Path) -> Material:
    """Of a pickle, or of a run of a plan."""
    if path.suffix == ".pkl":
        found = pickle.loads(path.read_bytes())
        assert isinstance(found, Material)
        return found
    from planner import pipeline

    with tempfile.TemporaryDirectory() as folder:
        return pipeline.run(path, Path(folder)).material


def main() -> None:
    path, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 500
    material = different(material_of(path), count)
    out = Path(sys.argv[3]) if len(sys.argv) > 3 else Path(tempfile.mkdtemp()) / "site_sheets.pdf"
    before = _memory_mb()
    wall, processor = time.perf_counter(), time.process_time()
    write_sheets(material, out)
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count} sheets: {processor:.1f} s of processor time, {wall:.1f} s, largest memory {largest:.0f} MB "
        f"({before:.0f} MB before), {out.stat().st_size / 1e6:.2f} MB; load {os.getloadavg()[0]:.1f}"
    )


def _memory_mb() -> float:
    """What the process holds now (Linux)."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * resource.getpagesize() / 2**20


if __name__ == "__main__":
    main()
