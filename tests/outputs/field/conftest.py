"""A small programme's results without a run: the inventory as it is read, decisions written down by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.outputs.material import Material
from planner.plan import read_plan
from planner.tables.inventory import read_inventory

MakeMaterial = Callable[..., Material]

DECISIONS = (("equip", "funded"), ("test_first", ""), ("equip", "reserve"), ("hold", ""), ("equip", ""))


def material_of(plan_file: Path) -> Material:
    """Decisions of DECISIONS in turn, ranks by row; what no field file needs is left out."""
    plan = read_plan(plan_file)
    sites = read_inventory(plan).columns.reset_index()
    turn = [DECISIONS[place % len(DECISIONS)] for place in range(len(sites))]
    equip = np.array([decision == "equip" for decision, _ in turn])
    sites["decision"], sites["funding"] = [one for one, _ in turn], [one for _, one in turn]
    sites["rank"] = np.where(equip, len(sites) - np.arange(len(sites)), np.nan)
    sites["evidence_grade"] = "A"
    sites["people_source"] = "inventory"
    about = {
        **{"programme": plan.plan.programme.name, "run_id": "0123456789ab", "date": "2026-01-01"},
        **{"version": "0.1.0", "currency": "USD", "price_year": 2026},
    }
    none = pd.DataFrame()
    return Material(plan, None, sites, none, [], none, None, about)  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def make_material(make_programme: Callable[..., Path]) -> MakeMaterial:
    """Factory: folder, rows as of make_programme → what the field files are drawn from."""

    def make(folder: Path, rows: Sequence[Mapping[str, str] | None], plan: str | None = None) -> Material:
        return material_of(make_programme(folder, rows, *([plan] if plan else [])))

    return make
