"""The CSV of the rows shown, as a spreadsheet and a machine read it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.outputs.map.page import map_page
from planner.outputs.map.table_columns import table_columns
from planner.outputs.tables import SITE_COLUMNS

pytestmark = pytest.mark.browser


def download(visit: Any, folder: Path) -> tuple[str, bytes]:
    with visit.page.expect_download() as waiting:
        visit.page.click("#download")
    waiting.value.save_as(folder / "rows.csv")
    return waiting.value.suggested_filename, (folder / "rows.csv").read_bytes()


def rows_of(data: bytes) -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_all_rows_with_machine_names_and_plain_numbers(visit: Any, hostile_sites: pd.DataFrame, tmp_path: Path) -> None:
    name, data = download(visit, tmp_path)
    assert name == "sites_0f3a91c2d7be.csv"
    rows = rows_of(data)
    assert list(rows[0]) == [*table_columns(), "reason_codes", "reason_text", "run_id", "currency", "price_year"]
    assert len(rows) == len(hostile_sites)
    read = pd.DataFrame(rows).set_index("inventory_row").sort_index(key=lambda rows: rows.astype(int))
    assert read["site_id"].iloc[-1] == hostile_sites["site_id"].iloc[-1]
    for column, decimals in (
        ("cost_per_m3", 3),
        ("volume_used_m3_day", 2),
        ("volume_07", 1),
        ("demand_01", 0),
        ("latitude", 5),
    ):
        shown = pd.to_numeric(read[column]).to_numpy()
        assert shown == pytest.approx(hostile_sites[column].to_numpy(), abs=0.51 * 10.0**-decimals, nan_ok=True), column
    assert (
        set(read["currency"]) == {"USD"}
        and set(read["price_year"]) == {"2026"}
        and set(read["run_id"]) == {"0f3a91c2d7be"}
    )
    assert set(read["decision"]) == set(hostile_sites["decision"])


def test_hostile_texts_stay_texts(visit: Any, hostile_names: tuple[str, ...], tmp_path: Path) -> None:
    _, data = download(visit, tmp_path)
    rows = sorted(rows_of(data), key=lambda row: int(row["inventory_row"]))
    for row, name in zip(rows, hostile_names, strict=False):
        for column in ("site_name", "site_id", "sub_district"):
            cell = row[column]
            assert cell == (f"'{name}" if name[0] in "=+-@\t\r" else name)
    for row in rows:
        for column, cell in row.items():
            assert cell[:1] not in set("=+@\t\r"), column
            assert cell[:1] != "-" or np.isfinite(float(cell)), column


def test_only_the_rows_shown(visit: Any, hostile_sites: pd.DataFrame, tmp_path: Path) -> None:
    visit.page.check("text=Only funded")
    name, data = download(visit, tmp_path)
    assert name == "sites_filtered_0f3a91c2d7be.csv"
    funded = hostile_sites[hostile_sites["funding"] == "funded"]
    assert sorted(int(row["inventory_row"]) for row in rows_of(data)) == funded.index.to_list()


def test_positions_are_those_of_the_page(
    open_page: Callable[..., Any],
    invented_sites: Callable[..., pd.DataFrame],
    invented_run: Callable[..., Any],
    invented_checks: Callable[..., Any],
    tmp_path: Path,
) -> None:
    sites = invented_sites(30)
    sites[["latitude", "longitude"]] = sites[["latitude", "longitude"]].round(1)  # a coarse grid
    file = tmp_path / "map.html"
    run = {**invented_run(sites), "coarsen_m": 10_000.0}
    page = map_page(sites, None, run, checks=invented_checks(sites), findings=[])
    file.write_text(page, encoding="utf-8", newline="")
    visit = open_page(file)
    _, data = download(visit, tmp_path)
    for row in rows_of(data):
        assert row["latitude"] == "" or float(row["latitude"]) == sites.loc[int(row["inventory_row"]), "latitude"]
    visit.close()


def test_columns_are_in_the_order_of_sites_csv() -> None:
    columns = table_columns()
    assert columns[:4] == SITE_COLUMNS[:4] and len(columns) == len(set(columns))
    in_both = [name for name in SITE_COLUMNS if name in columns]
    assert [name for name in columns if name in in_both] == in_both
