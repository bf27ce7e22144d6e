"""Time and gap of lots over invented sites in clusters.

python -m tests.benchmarks.measure_lots [sites,lots …]
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from planner.choice.lots.stage import group
from planner.plan import read_plan


def invented(count: int, seed: int) -> pd.DataFrame:
    """Sites around villages of about fifteen, of twelve pump types."""
    draw = np.random.default_rng(seed)
    villages = draw.random((max(3, count // 15), 2)) * 1.2
    at = villages[draw.integers(0, len(villages), count)] + draw.normal(0, 0.08, (count, 2))
    return pd.DataFrame(
        {
            "site_id": [f"S{number}" for number in range(count)],
            "latitude": -10 + at[:, 0],
            "longitude": 30 + at[:, 1],
            "decision": "equip",
            "funding": "",
            "capital_cost": draw.lognormal(10, 0.4, count).round(2),
            "people_served": draw.integers(100, 900, count).astype("float64"),
            "volume_used_m3_day": draw.random(count) * 20,
            "pump_id": [f"P{number}" for number in draw.integers(0, 12, count)],
        },
        index=pd.RangeIndex(1, count + 1, name="inventory_row"),
    )


def main() -> None:
    for case in sys.argv[1:] or ("40,4", "100,5", "500,8", "5000,20"):
        sites, lots = map(int, case.split(","))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "plan.toml"
            (path.parent / "wells.csv").write_text("site_id\n", encoding="utf-8")
            path.write_text(f'[inventory]\nfile = "wells.csv"\n[lots]\ncount = {lots}\n', encoding="utf-8")
            plan = read_plan(path)
            started = time.perf_counter()
            found = group(invented(sites, 0), plan)
        seconds = time.perf_counter() - started
        assert found.record is not None
        told = {key: found.record[key] for key in ("method", "gap", "balanced", "cost_km")}
        print(f"{sites} sites, {lots} lots: {seconds:.1f} s, {told}", flush=True)


if __name__ == "__main__":
    main()
