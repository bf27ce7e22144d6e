"""A run with pumps known by measured points: the fit is told, kept, and what the engine works with."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pandas as pd
import pytest

from planner import cli
from planner.commands.why.command import why
from planner.pipeline import run
from tests.catalogue.test_catalogue import write_rows
from tests.catalogue.test_measured import HEAD, ROTOR, centrifugal_points, helical_points, pump_rows
from tests.commands.sheet_reader import closes, value

PLAN = '[inventory]\nfile = "wells.csv"\n[equipment]\npumps = "pumps.csv"\npump_points = "points.csv"\n'
# Invented: a shallow well with much water, a deep one with little.
WELLS = (
    "site_id,latitude,longitude,depth_m,casing_mm,static_level_m,tested_yield_m3_h,pumping_level_m,test_hours,"
    "test_kind,water_temperature_c,demand_m3_day\n"
    "wide,-12,30,60,150,15,9,20,24,constant_rate,25,20\n"
    "deep,-12,30.5,120,150,60,2.5,70,24,constant_rate,25,7\n"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("measured")
    rotor = ROTOR | {"exponent": 0.7, "slip_m3_h_pa": 6e-6}
    points = centrifugal_points() + helical_points(rotor=rotor)
    write_rows(folder / "pumps.csv", pump_rows())
    write_rows(folder / "points.csv", [{name: str(cell) for name, cell in point.items()} for point in points])
    (folder / "wells.csv").write_text(WELLS, encoding="utf-8")
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    return folder


def test_a_run_uses_and_shows_the_fit(folder: Path) -> None:
    told: list[str] = []
    run(folder / "plan.toml", folder / "out", tell=told.append)
    assert [line.split(":")[0] for line in told[:2]] == ["CF-M", "HR-M"]
    record = json.loads((folder / "out" / "run.json").read_text(encoding="utf-8"))
    assert record["pump_fits"]["CF-M"]["coefficients"]["head_0_m"] == pytest.approx(HEAD[0])
    assert record["pump_fits"]["HR-M"]["coefficients"]["slip_exponent"] == pytest.approx(0.7)
    assert set(record["inputs"]) == {"inventory.file", "equipment.pumps", "equipment.pump_points"}
    sites = pd.read_parquet(folder / "out" / "sites.parquet")
    assert sites["pump_id"].tolist() == ["CF-M", "HR-M"], sites[["engine_status", "reason_text"]].to_dict()
    for row, pump in ((1, "CF-M"), (2, "HR-M")):
        text = why(folder / "out", f"row:{row}")
        closes(text, 100)
        assert record["pump_fits"][pump]["points"] > 0 and "curves through measured points" in text
        assert 0 < value(text, "wire to water here") < 0.7
    assert "fitted to points.csv" in text and "m3/h/Pa^0.7" in text


def test_check_tells_the_fit_and_refuses_a_poor_one(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def check(name: str) -> int:
        monkeypatch.setattr(sys, "argv", ["planner", "check", str(folder / name)])
        with pytest.raises(SystemExit) as left:
            cli.main()
        return int(str(left.value.code))

    assert check("plan.toml") == 0
    assert "CF-M: 16 points, 0 to 10.2 m3/h" in capsys.readouterr().err
    text = (folder / "points.csv").read_text(encoding="utf-8").splitlines()
    cells = text[4].split(",")
    cells[2] = "12"  # the head of row 4
    (folder / "poor.csv").write_text("\n".join([*text[:4], ",".join(cells), *text[5:]]), encoding="utf-8")
    (folder / "poor.toml").write_text(PLAN.replace("points.csv", "poor.csv"), encoding="utf-8")
    assert check("poor.toml") == 2
    error = capsys.readouterr().err
    assert "poor.csv: pump CF-M, head: found R² " in error and "in row 4; expected at most 5%" in error
