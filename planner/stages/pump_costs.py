"""Every near-optimal pump of the sites to equip, chunk by chunk."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from planner.chunks import Loop, Task
from planner.chunks.loop import Columns, Settings
from planner.chunks.store import Tables
from planner.engine.assess import Context, Sites
from planner.engine.near import Floats, near_costs


def work(columns: Columns, context: Context, settings: Settings) -> Tables:
    """A list of costs for each site of a chunk, one a pump."""
    (sites,), (tolerance,) = columns, settings
    costs = near_costs(sites, context, tolerance)
    return (pa.table({"cost_per_m3": pa.FixedSizeListArray.from_arrays(pa.array(costs.ravel()), costs.shape[1])}),)


TASK = Task("pump_types", work, rehearse=work, sites=64)


def pump_costs(sites: Sites, context: Context, tolerance: float, loop: Loop) -> Floats:
    """Cost per m3 of the best design with each pump, (sites, pumps), infinite beyond the tolerance: near.near_costs.

    sites  new sets only
    """
    costs = np.full((sites.inventory_row.size, context.market.pumps.size), np.inf)

    def take(rows: slice, tables: Tables) -> None:
        found = tables[0].column("cost_per_m3").combine_chunks().flatten().to_numpy()
        costs[rows] = found.reshape(-1, costs.shape[1])

    loop.run(TASK, (sites,), context, take, (tolerance,))
    return costs
