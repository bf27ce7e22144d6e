"""Two finished runs side by side, from their files only."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from planner import pipeline
from planner.cli import app
from planner.commands.compare.command import compare
from planner.commands.compare.matching import match
from planner.commands.compare.opened import open_run
from planner.errors import OutputError

MakeProgramme = Callable[..., Path]
ROWS = [{"people": "300"}, {"people": "250", "static_level_m": "25", "pumping_level_m": "30"}, {"people": "150"}]


@pytest.fixture(scope="module")
def runs(make_programme: MakeProgramme, plan_text: str, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The second: two sites in another order with another level, one gone, one new, dearer by a tax."""
    old = make_programme(tmp_path_factory.mktemp("old"), ROWS, plan_text)
    pipeline.run(old, old.parent / "out")
    place = {"latitude": "-9.8700", "longitude": "30.0500"}
    other = {"latitude": "-9.8700", "longitude": "30.0600"}
    rows = [
        {"people": "250", "site_id": "W001", **other, "static_level_m": "59", "pumping_level_m": "59.5"},
        {"people": "300", "site_id": "W000", **place},
        {"people": "80", "site_id": "new \x1b[31mred\nline", "latitude": "-9.9000", "longitude": "30.1000"},
    ]
    new = make_programme(tmp_path_factory.mktemp("new"), rows, plan_text + "[costs]\ntax = 0.2\n")
    pipeline.run(new, new.parent / "out")
    return old.parent / "out", new.parent / "out"


def test_the_same_run_twice_moves_nothing(runs: tuple[Path, Path]) -> None:
    text = compare(runs[0], runs[0])
    assert "Both are the same run" in text
    assert "Rows: 3 paired (3 by row)." in text
    assert "Plans: no key differs." in text
    assert "Nothing moved" in text


def test_two_runs(runs: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "moves.csv"
    text = compare(*runs, out)
    assert "Rows: 2 paired (2 by site id)." in text
    assert "Only in the old run: 1: W002." in text
    assert "Only in the new run: 1: new \\x1b[31mred\\nline." in text
    assert "costs.tax 0 → 0.2" in text
    assert "Files that differ: inventory.file." in text
    assert "Out of equip (1): W001." in text
    assert "Rest level 25 → 59 m." in text
    assert "\x1b" not in text
    table = pd.read_csv(out, dtype="str", keep_default_na=False)
    moved = table[table["site_id"] == "W001"].iloc[0]
    assert (moved["match"], moved["inventory_row_old"], moved["inventory_row_new"]) == ("site_id", "2", "1")
    assert moved["decision_old"] == "equip"
    assert "input_changed" in moved["why_codes"].split(";")
    assert set(table["match"]) >= {"only_old", "only_new"}
    with pytest.raises(OutputError, match="there already"):
        compare(*runs, out)
    compare(*runs, out, force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["moves.csv"]


@pytest.mark.parametrize("name", ["sites.csv", "run.json"])
def test_no_file_of_a_run_is_written_over(runs: tuple[Path, Path], name: str) -> None:
    before = (runs[0] / name).read_bytes()
    with pytest.raises(OutputError, match="a file of the run"):
        compare(*runs, runs[0] / name, force=True)
    assert (runs[0] / name).read_bytes() == before


def copied(run: Path, folder: Path, **changes: Any) -> Path:
    shutil.copytree(run, folder, ignore=shutil.ignore_patterns(".planner"))
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    (folder / "run.json").write_text(json.dumps({**record, **changes}), encoding="utf-8")
    return folder


def test_what_cannot_be_compared_is_named_first(runs: tuple[Path, Path], tmp_path: Path) -> None:
    other = copied(runs[0], tmp_path / "other", currency="EUR", version="0.0.0", catalogue="x", programme="Q\x1b[2J")
    text = compare(runs[0], other)
    assert "USD of 2026 and EUR of 2026 are not the same money" in text
    assert "versions" in text
    assert "tables of equipment or prices" in text
    assert "Cost of water, sites with a design in both" not in text
    assert "\x1b" not in text


def test_csv_alone_gives_the_same_moves(runs: tuple[Path, Path], tmp_path: Path) -> None:
    less = copied(runs[1], tmp_path / "csv")
    for name in ("sites.parquet", "checks.parquet"):
        (less / name).unlink()
    text = compare(runs[0], less)
    assert "has no checks.parquet" in text
    assert "Out of equip (1): W001." in text
    again = compare(runs[1], less)
    assert "Nothing moved" in again  # six figures are as good


def test_a_changed_file_is_told(runs: tuple[Path, Path], tmp_path: Path) -> None:
    other = copied(runs[0], tmp_path / "edited")
    sites = pd.read_parquet(other / "sites.parquet")
    sites.assign(rank=sites["rank"] + 1).to_parquet(other / "sites.parquet", index=False)
    assert "sites.parquet of the new run was changed since" in compare(runs[0], other)


@pytest.mark.parametrize("fault", ["absent", "no record", "list", "keys", "no sites", "broken", "columns", "rows"])
def test_what_is_no_run_is_one_clear_error(runs: tuple[Path, Path], tmp_path: Path, fault: str) -> None:
    folder = tmp_path / "run"
    if fault != "absent":
        copied(runs[0], folder)
    sites = pd.read_parquet(runs[0] / "sites.parquet")
    if fault == "no record":
        (folder / "run.json").write_text("{", encoding="utf-8")
    elif fault == "list":
        (folder / "run.json").write_text("[]", encoding="utf-8")
    elif fault == "keys":
        (folder / "run.json").write_text("{}", encoding="utf-8")
    elif fault == "no sites":
        (folder / "sites.parquet").unlink()
        (folder / "sites.csv").unlink()
    elif fault == "broken":
        (folder / "sites.parquet").write_bytes(b"PAR1")
    elif fault == "columns":
        sites.drop(columns="decision").to_parquet(folder / "sites.parquet", index=False)
    elif fault == "rows":
        sites.assign(inventory_row=1).to_parquet(folder / "sites.parquet", index=False)
    result = CliRunner().invoke(app, ["compare", str(runs[0]), str(folder)])
    assert isinstance(result.exception, OutputError)
    assert len(result.exception.faults) == 1


def test_other_places_are_refused(runs: tuple[Path, Path], tmp_path: Path) -> None:
    other = copied(runs[1], tmp_path / "far")
    sites = pd.read_parquet(other / "sites.parquet")
    sites.assign(latitude=sites["latitude"] + 1).to_parquet(other / "sites.parquet", index=False)
    with pytest.raises(OutputError, match="more than 10 km away"):
        compare(runs[0], other)


def test_the_csv_guard_against_formulas_is_read_away(runs: tuple[Path, Path], tmp_path: Path) -> None:
    other = copied(runs[0], tmp_path / "guard")
    (other / "sites.parquet").unlink()
    text = (other / "sites.csv").read_text(encoding="utf-8").replace("W001", "'=1+1")
    (other / "sites.csv").write_text(text, encoding="utf-8")
    assert open_run(other).sites["site_id"].tolist() == ["W000", "=1+1", "W002"]


# Pairs ------------------------------------------------------------------------------------------------------


def sites(*rows: tuple[str, float, float]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["site_id", "latitude", "longitude"], index=range(1, len(rows) + 1))
    return frame.astype({"site_id": "str"})


def test_rows_are_paired_by_id_then_place_then_number() -> None:
    nan = np.nan
    old = sites(("a", 1, 1), ("b", 2, 2), ("", 3, 3), ("d", 4, 4), ("d", 5, 5), ("", nan, nan), ("gone", 9, 9))
    new = sites(("b", 2, 2), ("renamed", 3, 3), ("a", 1, 1), ("d", 4, 4), ("x", 5, 5), ("", nan, nan), ("here", 8, 8))
    pairs = match(old, new, same_rows=False)
    found = {(row["old"], row["new"]): row["how"] for _, row in pairs.table.iterrows()}
    assert found == {
        **{(1, 3): "site_id", (2, 1): "site_id", (3, 2): "position"},
        **{(4, 4): "position", (5, 5): "position", (6, 6): "row"},
    }
    assert (list(pairs.only_old), list(pairs.only_new)) == ([7], [7])
    assert not len(pairs.ambiguous_old)


def test_what_could_be_several_is_not_paired() -> None:
    old, new = sites(("a", 1, 1), ("a", 1, 1)), sites(("a", 1, 1), ("b", 2, 2))
    pairs = match(old, new, same_rows=False)
    assert len(pairs.table) == 0
    assert (list(pairs.ambiguous_old), list(pairs.ambiguous_new), list(pairs.only_new)) == ([1, 2], [1], [2])


def test_distance_between_two_positions() -> None:
    pairs = match(sites(("a", 0.0, 179.999)), sites(("a", 0.0, -179.999)), same_rows=False)
    # closed form: 0.002° of a sphere of 6 371 km is 222.4 m
    assert pairs.table["apart_m"].tolist() == pytest.approx([222.39], abs=0.01)
