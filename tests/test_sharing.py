"""What a run hands on: originals to be had back, hashes of inputs, nothing private or exact that was not asked for."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from planner import pipeline, publish
from planner.errors import PlanError
from planner.outputs.map.order import reading_order
from planner.outputs.map.site_data import site_frame
from planner.outputs.shared import M_PER_DEGREE, coarse
from planner.plan import read_plan
from planner.tables import inventory
from planner.tables.cells.read import vocabulary
from planner.tables.inventory_file import NUMBERS, read_table
from tests.tables.files import with_columns

MakeProgramme = Callable[..., Path]
SECRETS = ("Tundu Kesi", "0712 345 678", "kesi@example.org", "19880214-12345-00001-23", "silver teapot")
GRID_M = 700.0
ROWS: list[dict[str, str] | None] = [
    {"casing_mm": "355.6mm", "static_level_m": "~6", "site_id": " W000 "},
    {"depth_m": "0", "tested_yield_m3_h": "1.5 L/s", "test_date": "03/04/2019"},
    {"latitude": "30.12345", "longitude": "-9.87654"},  # exchanged
    {"static_level_m": "3-4", "people": "n/a", "status": "working?"},
    None,
    {"pumping_level_m": "dry", "sand_mg_l": "12,5", "fluoride_mg_l": "1.5e-1"},
    {"sub_district": "", "longitude": "30.3812345", "latitude": "-9.8123456"},  # outside, beyond the eastern edge
    {},
]


@pytest.fixture(scope="module")
def shared(
    make_programme: MakeProgramme, hostile_names: tuple[str, ...], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Path]:
    """Plan and results of a run with private columns, one of them asked for, hostile cells, and a coarse grid."""
    folder, rows = tmp_path_factory.mktemp("sharing"), ROWS
    hostile = list(hostile_names[: len(rows)])
    columns = {
        "Caretaker": [SECRETS[0]] * len(rows),
        "Phone": [SECRETS[1]] * len(rows),
        "E-mail": [SECRETS[2]] * len(rows),
        "kitambulisho": [SECRETS[3]] * len(rows),
        "office use": [SECRETS[4]] * len(rows),
        "=Remarks": hostile,
        "rank": [f"{place}th" for place in range(len(rows))],
    }
    extra = f'show_columns = ["=Remarks", "RANK"]\ncoarsen_m = {GRID_M}\n'
    plan = with_columns(make_programme(folder / "in", rows), columns, extra)
    pipeline.run(plan, folder / "out")
    return plan, folder / "out"


@pytest.fixture(scope="module")
def exact(shared: tuple[Path, Path]) -> pd.DataFrame:
    return pd.read_parquet(shared[1] / "sites.parquet").set_index("inventory_row")


def everything(folder: Path) -> Iterator[tuple[str, str]]:
    """Every file of a run, with all that can be read from it as text."""
    for path in sorted(folder.rglob("*")):
        if path.suffix == ".parquet":
            yield path.name, pd.read_parquet(path).to_csv()
        elif path.suffix == ".gpkg":
            with closing(sqlite3.connect(path)) as file:
                yield path.name, "\n".join(file.iterdump())
        elif path.is_file():
            yield path.name, path.read_bytes().decode("utf-8", errors="replace")


def test_columns_that_are_not_asked_for_are_in_no_file(shared: tuple[Path, Path]) -> None:
    for name, text in everything(shared[1]):
        for secret in SECRETS:
            assert secret not in text, f"{name} holds {secret!r}"


def test_columns_that_are_asked_for_are_where_they_belong(
    shared: tuple[Path, Path], exact: pd.DataFrame, hostile_names: tuple[str, ...]
) -> None:
    _, out = shared
    wanted = list(hostile_names[: len(exact)])
    assert exact["inventory:=Remarks"].tolist() == wanted
    assert exact["inventory:rank"].tolist() == [f"{place}th" for place in range(len(exact))]
    with (out / "sites.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file, strict=True))
    assert list(table[0])[-2:] == ["inventory:=Remarks", "inventory:rank"]
    told = [row["inventory:=Remarks"] for row in table]
    assert all(one in {text, "'" + text} for one, text in zip(told, wanted, strict=True))
    assert all(not row["inventory:=Remarks"].startswith(("=", "+", "-", "@", "\t", "\r")) for row in table)
    data = json.loads(re.findall(r'id="data">(.*?)</script>', (out / "map.html").read_text(encoding="utf-8"))[0])
    assert [one["name"] for one in data["shown"]] == ["=Remarks", "rank"]
    rows = reading_order(site_frame(exact.reset_index()))["inventory_row"]  # the page's order
    assert data["shown"][0]["column"]["texts"] == [wanted[exact.index.get_loc(row)] for row in rows]


def test_private_columns_are_told_once(shared: tuple[Path, Path]) -> None:
    findings = pd.read_csv(shared[1] / "findings.csv", dtype="str", keep_default_na=False)
    told = findings[findings["rule"] == "private_column"]
    assert told["column"].tolist() == ["Caretaker", "Phone", "E-mail", "kitambulisho"]
    assert set(told["row"]) == {"0"} and set(told["severity"]) == {"info"}


def test_without_the_key_nothing_of_the_inventory_is_added(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = with_columns(make_programme(tmp_path / "in", [{}]), {"Caretaker": [SECRETS[0]]}, "")
    pipeline.run(plan, tmp_path / "out")
    assert not [name for name in pd.read_parquet(tmp_path / "out" / "sites.parquet") if name.startswith("inventory:")]


def test_a_header_that_is_not_there_stops_the_run(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = with_columns(
        make_programme(tmp_path / "in", [{}]), {"Caretaker": [SECRETS[0]]}, 'show_columns = ["care taker"]\n'
    )
    with pytest.raises(PlanError, match="show_columns: found no column 'care taker'"):
        pipeline.run(plan, tmp_path / "out")
    assert not (tmp_path / "out" / "run.json").exists()


# Positions ----------------------------------------------------------------------------------------------------


def test_the_map_and_the_geopackage_hold_centres_of_cells(shared: tuple[Path, Path], exact: pd.DataFrame) -> None:
    _, out = shared
    wanted = np.column_stack(coarse(exact["latitude"].to_numpy(), exact["longitude"].to_numpy(), GRID_M))
    layer = gpd.read_file(out / "plan.gpkg", layer="sites").set_index("inventory_row")
    places = layer.index.to_numpy() - 1
    np.testing.assert_array_equal(layer[["latitude", "longitude"]].to_numpy(), wanted[places])
    np.testing.assert_array_equal(np.column_stack([layer.geometry.y, layer.geometry.x]), wanted[places])
    moved = np.hypot(*(wanted - exact[["latitude", "longitude"]].to_numpy()).T) * M_PER_DEGREE
    assert np.nanmax(moved) > 50


def test_no_exact_position_is_in_a_shared_file(shared: tuple[Path, Path], exact: pd.DataFrame) -> None:
    # Four decimals, 11 m, of one coordinate are enough to know a well; the polygon's own corners have at most two.
    _, out = shared
    shared_text = {name: text for name, text in everything(out) if name in {"map.html", "plan.gpkg"}}
    data = json.loads(re.findall(r'id="data">(.*?)</script>', shared_text["map.html"])[0])
    told = json.dumps(data) + shared_text["plan.gpkg"]
    for name in ("latitude", "longitude"):
        for value in exact[name].dropna():
            digits = f"{abs(value):.4f}"
            assert digits not in told, f"{name} {value}"
    decimals = {one for one in re.findall(r"-?\d+\.\d{5,}", shared_text["plan.gpkg"])}
    assert decimals  # the centres
    assert "5200" not in str(data["sites"]["numbers"]["latitude"])
    distances = exact.loc[exact["reason_codes"].str.contains("outside_area"), "boundary_distance_m"]
    assert len(distances) >= 1
    for distance in distances:
        assert f"lies {distance:.0f} m" not in told
    assert "lies" in shared_text["plan.gpkg"]


def test_the_tables_of_the_programme_stay_exact(shared: tuple[Path, Path]) -> None:
    table = pd.read_csv(shared[1] / "sites.csv", dtype="str")
    assert "30.3812345" in table["longitude"].tolist()
    findings = (shared[1] / "findings.csv").read_text(encoding="utf-8")
    assert "-9.8123456" in findings


def test_nothing_is_computed_from_coarse_positions(
    shared: tuple[Path, Path], exact: pd.DataFrame, tmp_path: Path
) -> None:
    shutil.copytree(shared[0].parent, tmp_path / "in")
    plan = tmp_path / "in" / "plan.toml"
    lines = plan.read_text(encoding="utf-8").splitlines()
    plan.write_text("\n".join(one for one in lines if not one.startswith(("show_", "coarsen_"))), encoding="utf-8")
    pipeline.run(plan, tmp_path / "out")
    plain = pd.read_parquet(tmp_path / "out" / "sites.parquet").set_index("inventory_row")
    pd.testing.assert_frame_equal(exact[list(plain.columns)], plain)
    layer = gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="sites").set_index("inventory_row")
    assert layer.geometry.y.tolist() == plain.loc[layer.index, "latitude"].tolist()


def test_the_grid_is_told_where_it_holds(shared: tuple[Path, Path]) -> None:
    _, out = shared
    with closing(sqlite3.connect(out / "plan.gpkg")) as file:
        [[words]] = file.execute("SELECT description FROM gpkg_contents WHERE table_name = 'sites'").fetchall()
        assert file.execute("SELECT value FROM run WHERE key = 'coarsen_m'").fetchall() == [("700.0",)]
    assert "centres of a grid of 700 m" in words
    assert json.loads((out / "run.json").read_text(encoding="utf-8"))["coarsen_m"] == GRID_M


# Originals ----------------------------------------------------------------------------------------------------


def test_every_repaired_cell_can_be_had_back(shared: tuple[Path, Path]) -> None:
    """The read table with the old values of the findings put back is the file, cell by cell, for the columns read."""
    loaded = read_plan(shared[0])
    table, _ = read_table(loaded)
    step = inventory.read_inventory(loaded)
    written = pd.read_csv(shared[1] / "findings.csv", dtype="str", keep_default_na=False)
    written = written[written["row"] != "0"]
    old: dict[tuple[int, str], set[str]] = {}
    for row, column, value in zip(written["row"].astype(int), written["column"], written["old_value"], strict=True):
        old.setdefault((row, column), set()).add(value.removeprefix("'"))
    repaired = written[written["action"] == "repaired"]
    assert {"unit_in_cell", "unit_converted", "outer_spaces"} <= set(repaired["rule"])
    for row, column, value in zip(repaired["row"].astype(int), repaired["column"], repaired["old_value"], strict=True):
        cells = table.rows[row - 1]
        pair = ", ".join(cells[table.place[name]] for name in table.position)  # both, where both were read anew
        assert value.removeprefix("'") in {cells[table.place[column]], pair}
    for name, place in table.place.items():
        for row in step.columns.index:
            cell = table.rows[row - 1][place]
            told = old.get((row, name), set())
            if name in table.position:
                told = {part for one in table.position for text in old.get((row, one), ()) for part in text.split(", ")}
            if cell in told:
                continue
            assert same(name, step.columns.at[row, name], cell), f"row {row} {name}: {cell!r} is lost"


def same(name: str, value: Any, cell: str) -> bool:
    """Whether what was read says what stands in the cell, without any help."""
    if isinstance(value, float) and np.isnan(value):
        return cell.strip() == ""
    if name in NUMBERS or name in {"latitude", "longitude"}:
        return float(cell) == value  # no column of this plan has a unit of its own
    known = vocabulary().get(name)
    if known is not None:
        return known.get(cell.casefold().replace("_", " "), "unknown") == value or (
            cell == "" and value in {"", "unknown"}
        )
    return bool(cell == value)


def test_measured_inputs_are_echoed_unchanged(shared: tuple[Path, Path], exact: pd.DataFrame) -> None:
    step = inventory.read_inventory(read_plan(shared[0])).columns
    pd.testing.assert_frame_equal(exact[list(step.columns)], step, check_dtype=False)


# The record ---------------------------------------------------------------------------------------------------


def test_every_input_has_its_size_and_hash(shared: tuple[Path, Path]) -> None:
    plan, out = shared
    record = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert "inventory.file" in record["inputs"]
    for one in record["inputs"].values():
        data = (plan.parent / one["file"]).read_bytes()
        assert (one["bytes"], one["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())


def test_a_shapefile_is_hashed_with_its_parts(tmp_path: Path) -> None:
    for end in (".shp", ".dbf", ".shx"):
        (tmp_path / f"area{end}").write_bytes(end.encode())
    found = publish.fingerprint(tmp_path / "area.shp")
    assert list(found["parts"]) == [".dbf", ".shx"]
    assert found["parts"][".dbf"] == {"bytes": 4, "sha256": hashlib.sha256(b".dbf").hexdigest()}


def test_the_record_counts_the_findings(shared: tuple[Path, Path]) -> None:
    findings = pd.read_csv(shared[1] / "findings.csv", dtype="str", keep_default_na=False)
    told = json.loads((shared[1] / "run.json").read_text(encoding="utf-8"))["findings"]
    for severity in ("info", "warning", "stop"):
        assert told[severity] == (findings["severity"] == severity).sum()
        assert told[severity] == sum(one["count"] for one in told["by_rule"] if one["severity"] == severity)
        assert told[severity] == sum(one[severity] for one in told["by_sub_district"].values())
