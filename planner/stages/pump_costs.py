"""Every near-optimal pump of the sites to equip, in chunks: in threads, stored by content like the chunks of a run."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from planner import chunks
from planner.engine.assess import Context, Sites
from planner.engine.near import Floats, near_costs

FOLDER = "pumps"  # inside the folder of stored chunks, whose clearing does not reach it


def pump_costs(sites: Sites, context: Context, tolerance: float, store: Path, workers: int, fresh: bool) -> Floats:
    """Cost per m3 of the best design with each pump, (sites, pumps), infinite beyond the tolerance: near.near_costs.

    sites  new sets only. Stored chunks of other plans are dropped once all of these are there.
    """
    folder = store / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    common = f"{chunks.context_digest(context)} {tolerance!r}"
    total = sites.inventory_row.size
    parts = [
        chunks.part_of(sites, at, min(at + chunks.CHUNK_SITES, total)) for at in range(0, total, chunks.CHUNK_SITES)
    ]

    def path_of(part: Sites) -> Path:
        return folder / f"{chunks.key_of(common, part)}.npy"

    def one(part: Sites) -> Floats:
        path = path_of(part)
        found = None if fresh else _load(path)
        if found is None:
            found = near_costs(part, context, tolerance)
            _save(found, path)
        return found

    with ThreadPoolExecutor(max_workers=workers) as executor:
        found = list(executor.map(one, parts))
    used = {path_of(part).name for part in parts}
    for old in folder.glob("*.npy"):
        if old.name not in used:
            old.unlink(missing_ok=True)
    return np.vstack(found) if found else np.zeros((0, context.market.pumps.size))


def _save(costs: Floats, path: Path) -> None:
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.save(file, costs, allow_pickle=False)
    part.replace(path)


def _load(path: Path) -> Floats | None:
    try:
        with path.open("rb") as file:
            return np.asarray(np.load(file, allow_pickle=False), dtype=np.float64)
    except (OSError, ValueError, EOFError):
        return None
