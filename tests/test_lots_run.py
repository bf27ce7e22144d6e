"""A small invented programme from plan to lots: every output says the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from planner import pipeline

MakeProgramme = Callable[..., Path]


def test_a_run_with_lots(tmp_path: Path, make_programme: MakeProgramme, plan_text: str) -> None:
    import geopandas as gpd

    plan = plan_text + '\n[lots]\ncount = 2\nbases = { "Wolda" = [-9.87, 30.04], "Ngaru" = [-9.87, 30.2] }\n'
    path = make_programme(tmp_path / "in", [{}, {}, {}, {}, {"people": ""}, {}], plan)
    outcome = pipeline.run(path, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    sites = pd.read_csv(tmp_path / "out" / "sites.csv")
    lots = pd.read_csv(tmp_path / "out" / "lots.csv")
    equip = sites["decision"] == "equip"
    assert equip.sum() == 5
    assert sites.loc[~equip, ["lot", "lot_base_km"]].isna().all().all()
    assert sites.loc[equip, "lot"].tolist() == [1, 1, 1, 2, 2] or sites.loc[equip, "lot"].tolist() == [1, 1, 2, 2, 2]
    # Auditor's check: each lot is the sum of its site rows.
    by_lot = sites[equip].groupby("lot")
    assert lots["sites"].tolist() == by_lot.size().tolist()
    for name in ("capital_cost", "people_served", "volume_used_m3_day"):
        assert (lots[name] / by_lot[name].sum().to_numpy() - 1).abs().max() < 1e-4  # lots.csv has three decimals
    assert (lots["max_base_km"] - by_lot["lot_base_km"].max().to_numpy()).abs().max() < 1e-3
    assert lots["base"].tolist() == ["Wolda", "Ngaru"]
    assert [row["capital_cost"] for row in record["lots"]["rows"]] == lots["capital_cost"].tolist()
    assert "lots.csv" in record["files"]
    assert any(str(line).startswith("Lots: 2 of ") for line in outcome.budget)
    layer = gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="lots")
    assert layer["base"].tolist() == ["Wolda", "Ngaru"]
    assert layer.geometry.is_valid.all()


def test_a_run_without_lots_has_no_file_of_them(tmp_path: Path, make_programme: MakeProgramme) -> None:
    pipeline.run(make_programme(tmp_path / "in", [{}]), tmp_path / "out")
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert record["lots"] is None
    assert not (tmp_path / "out" / "lots.csv").exists()
