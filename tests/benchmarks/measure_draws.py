"""How many draws of a site are computed in a second, committed and tested first.

    python -m tests.benchmarks.measure_draws [DRAWS [SITES]]

Sites of the demo district that are drawn, spread over the table; processor time of one thread, compiling left out.
"""

from __future__ import annotations

import dataclasses
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from planner import chunks, pipeline
from planner.doubt.run import draw_sites
from planner.doubt.site import Doubts
from planner.engine.assess import Sites
from planner.plan import read_plan
from planner.stages.drawing import chosen_sites, doubts_of

DEMO = Path(__file__).parents[2] / "data_demo" / "plan.toml"


def picked(columns: Sites | Doubts, which: np.ndarray) -> Sites | Doubts:
    """The same columns of some sites."""
    return type(columns)(**{one.name: getattr(columns, one.name)[which] for one in dataclasses.fields(columns)})


def main(draws: int = 200, count: int = 12) -> None:
    """Print milliseconds a draw and site of grade A and of the others, and what 1 000 draws of 500 sites would take."""
    plan = read_plan(DEMO)
    catalogue, table = pipeline._inputs(plan)
    with tempfile.TemporaryDirectory() as folder:
        sized = pipeline._computed(
            plan, catalogue, table, loop=chunks.Loop(chunks.Store(Path(folder)), chunks.Threads(2)), chunk_sites=None,
            progress=lambda _done, _total: None, tell=print,
        )  # fmt: skip
    which = chosen_sites(table.sites, sized.sites)
    sites = picked(sized.sites, which)
    doubts = doubts_of(table.sites, sites, plan.plan)
    each = {}
    for tested in (True, False):
        some = np.flatnonzero(doubts.tested == tested)
        draw_sites(picked(sites, some[:1]), picked(doubts, some[:1]), sized.context, 2)
        draw_sites(picked(sites, some[:1]), picked(doubts, some[:1]), sized.context, 40)
        some = some[np.linspace(0, some.size - 1, count).astype(int)]
        start = time.thread_time()
        draw_sites(picked(sites, some), picked(doubts, some), sized.context, draws)
        each[tested] = 1000.0 * (time.thread_time() - start) / draws / count
        print(f"{'commit only' if tested else 'both runs'}: {each[tested]:.2f} ms a draw and site", flush=True)
    share = float(doubts.tested.mean())
    mean = share * each[True] + (1.0 - share) * each[False]
    print(f"1 000 draws of 500 sites, {share:.0%} tested as in the demo: {mean * 500 / 60:.1f} min of one thread")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
