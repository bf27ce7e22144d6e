"""The demo, run once for the tests of the worked calculation, and sheets of sites of every kind."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from planner.commands.why.command import why
from planner.commands.why.opened import open_row
from planner.engine.days import clearness_of, synthetic_days
from tests.commands.sheet_reader import Order


@pytest.fixture(scope="session")
def done(quick_run: Path) -> Path:
    return quick_run / "out"


@pytest.fixture(scope="session")
def sites(done: Path) -> pd.DataFrame:
    return pd.read_parquet(done / "sites.parquet").set_index("inventory_row")


@pytest.fixture(scope="session")
def sheets(done: Path, sites: pd.DataFrame) -> dict[int, str]:
    """Designed sites of both families over all heads, with and without enough water, near others and alone, grade A
    and below, with a sleeve, with the shortest life of a rotor, and one whose wear makes a month fall short."""
    designed = sites[sites["engine_status"] == "designed"].sort_values("total_head_m")
    groups = designed.groupby([designed["pump_family"], designed["supply_limited"] == ""])
    rows = [int(row) for _, group in groups for row in group.index[:: max(len(group) // 3, 1)][:3]]
    rows += [int(designed["neighbours"].idxmax()), int(designed["running_hours_day"].idxmax())]
    rotors = designed[(designed["pump_family"] == "helical_rotor") & (designed["supply_limited"] == "")]
    scarce = rotors["supply_reliability_worst_month"].sort_values().index[:20]
    rows += [next(int(row) for row in scarce if "slip at the limit" in why(done, f"row:{row}"))]
    rows += [int(found.index[0]) for _, found in designed.groupby("transmissivity_source")]
    rows += list(designed.index[designed["sleeve"]][:1]) + list(designed.index[designed["test_month"].notna()][:1])
    return {int(row): why(done, f"row:{row}") for row in dict.fromkeys(rows)}


@pytest.fixture(scope="session")
def orders(done: Path, sheets: dict[int, str]) -> dict[int, Order]:
    found = {}
    for row in sheets:
        sized = open_row(done, f"row:{row}").sized
        assert sized is not None
        days = synthetic_days(clearness_of(sized.climate))
        found[row] = Order(list(zip(days.month.tolist(), days.kind.tolist(), strict=True)), days.warm_up)
    return found
