"""Auditor's check of the bills: every line, every site and every sum against sites.parquet, sites.csv and the book."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner import pipeline
from planner.outputs.bill import BILL_COLUMNS, TOTAL_COLUMNS

BOOK = """item,unit,price,currency,price_year,source
tap_stand,each,52000,KES,2024,tender
DELIVERY-40,m,5,USD,2026,=cmd
supervision_site,site,120.55,USD,2026,contract
"""
MORE = """
[programme]
budget = 45000

[equipment]
prices = "book.csv"
tank_max_m3 = 120

[costs]
tax = 0.16
inflation = 0.03
exchange_rate = { KES = 0.0077 }
"""
ROWS: tuple[dict[str, str], ...] = (
    {"site_id": "=1+1"},
    {"site_id": "@a,b \"c\"", "people": "1500", "tested_yield_m3_h": "12", "pumping_level_m": "15"},
    {"people": "90", "static_level_m": "45", "pumping_level_m": "50", "depth_m": "90"},
    {"people": "4000", "static_level_m": "3", "pumping_level_m": "5", "tested_yield_m3_h": "40", "casing_mm": "250"},
    {"test_kind": "airlift"},
    {"status": "dry"},
)  # fmt: skip


@pytest.fixture(scope="module")
def done(make_programme: Callable[..., Path], plan_text: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bill")
    text = plan_text.replace(
        'name = "Small invented programme"\n', 'name = "Small invented programme"\nbudget = 45000\n'
    )
    path = make_programme(folder, ROWS, text + MORE.replace("[programme]\nbudget = 45000\n", ""))
    (folder / "book.csv").write_text(BOOK, encoding="utf-8")
    pipeline.run(path, folder / "out", workers=1)
    return folder / "out"


@pytest.fixture(scope="module")
def sites(done: Path) -> pd.DataFrame:
    return pd.read_parquet(done / "sites.parquet")


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.fixture(scope="module")
def bill(done: Path) -> pd.DataFrame:
    frame = pd.DataFrame(read(done / "bill.csv"))
    numeric = ["inventory_row", "quantity", "unit_price", "amount"]
    return frame.assign(**{name: pd.to_numeric(frame[name]) for name in numeric})


@pytest.fixture(scope="module")
def totals(done: Path) -> pd.DataFrame:
    frame = pd.DataFrame(read(done / "bill_totals.csv"))
    return frame.assign(**{name: pd.to_numeric(frame[name]) for name in ("sites", "quantity", "unit_price", "amount")})


def test_columns(bill: pd.DataFrame, totals: pd.DataFrame) -> None:
    assert tuple(bill.columns) == BILL_COLUMNS
    assert tuple(totals.columns) == TOTAL_COLUMNS


def test_every_site_to_the_cent(bill: pd.DataFrame, sites: pd.DataFrame, done: Path) -> None:
    bought = sites[sites["engine_status"] == "designed"].set_index("inventory_row")["capital_cost"]
    assert len(bought) == 5
    summed = bill.groupby("inventory_row")["amount"].sum()
    assert set(summed.index) == set(bought.index)
    for row, capital in bought.items():
        assert round(summed[row], 2) == round(capital, 2), row
    shown = {int(one["inventory_row"]): one["capital_cost"] for one in read(done / "sites.csv")}
    for row, capital in summed.items():
        assert float(shown[int(row)]) == pytest.approx(capital, rel=5.1e-6)  # six digits


def test_every_line_is_quantity_times_price(bill: pd.DataFrame) -> None:
    assert (np.abs(bill["quantity"] * bill["unit_price"] - bill["amount"]) < 0.00501 + 1e-8 * bill["amount"]).all()
    assert (bill["amount"] != 0).all()
    small = bill[bill["item"] == "rounding"]["amount"].abs()
    assert (small <= 0.005 * 31).all()  # half a cent a line


def test_totals_are_the_sums_of_the_lines(bill: pd.DataFrame, totals: pd.DataFrame, sites: pd.DataFrame) -> None:
    keys = ["decision", "funding", "item", "size", "boundary", "unit", "price_item", "price_kind"]
    again = bill.groupby(keys).agg(n=("inventory_row", "nunique"), q=("quantity", "sum"), a=("amount", "sum"))
    assert len(again) == len(totals)
    for one in totals.to_dict("records"):
        expected = again.loc[tuple(one[name] for name in keys)]
        assert (one["sites"], one["quantity"]) == (expected["n"], pytest.approx(expected["q"], rel=1e-9))
        assert one["amount"] == pytest.approx(expected["a"], abs=1e-6)
        if one["item"] != "rounding":
            assert one["quantity"] * one["unit_price"] == pytest.approx(one["amount"], abs=0.00501 * one["sites"])
    capital = sites.loc[sites["engine_status"] == "designed", "capital_cost"].round(2).sum()
    assert totals["amount"].sum() == pytest.approx(capital, abs=1e-6)
    funded = sites.loc[sites["funding"] == "funded", "capital_cost"].round(2).sum()
    assert funded > 0
    assert totals.loc[totals["funding"] == "funded", "amount"].sum() == pytest.approx(funded, abs=1e-6)


def test_the_record_reconciles(done: Path, totals: pd.DataFrame) -> None:
    record: dict[str, Any] = json.loads((done / "run.json").read_text(encoding="utf-8"))["bill"]
    assert record["capital"] == pytest.approx(totals["amount"].sum(), abs=1e-6)
    kinds = ("illustrative", "user", "contingency_and_tax", "rounding")
    assert sum(record[name] for name in kinds) == pytest.approx(record["capital"], abs=0.011)
    assert record["user"] > 0


def test_contingency_and_tax_in_closed_form(bill: pd.DataFrame) -> None:
    for _, lines in bill.groupby("inventory_row"):
        amount = lines.groupby("item")["amount"].sum()
        base = amount.drop(["contingency", "tax", "supervision", "rounding"], errors="ignore").sum()
        assert amount["supervision"] == pytest.approx(120.55 + 0.08 * base, abs=0.03)
        assert amount["contingency"] == pytest.approx(0.10 * (base + amount["supervision"]), abs=0.03)
        above = base + amount["supervision"] + amount["contingency"]
        assert amount["tax"] == pytest.approx(0.16 * above, abs=0.05)


def test_quantities_are_those_of_the_sites(bill: pd.DataFrame, sites: pd.DataFrame) -> None:
    lines = {(one["inventory_row"], one["item"], one["size"]): one for one in bill.to_dict("records")}
    for site in sites[sites["engine_status"] == "designed"].to_dict("records"):
        row = site["inventory_row"]
        modules = lines[row, "modules", site["module_id"]]
        assert (modules["quantity"], modules["unit"]) == (site["modules_series"] * site["modules_parallel"], "each")
        assert lines[row, "riser", site["riser_id"]]["quantity"] == site["intake_depth_m"]
        delivery = lines[row, "delivery pipe", site["delivery_id"]]
        assert delivery["quantity"] == 30.0  # the plan's default
        assert lines[row, "tap stands", ""]["quantity"] == np.ceil(site["people"] / 250)  # one for 250 people begun
        # hand: no supply base, 100 km × 1.35 there and back
        assert lines[row, "transport", ""]["quantity"] == 270.0
        tank = next(one for key, one in lines.items() if key[:2] == (row, "tank on stand"))
        assert tank["quantity"] * float(tank["size"].split("-")[1]) == pytest.approx(site["tank_m3"])


def test_whose_price_each_line_is(bill: pd.DataFrame) -> None:
    kinds = bill.groupby("price_item")["price_kind"].unique().map(list).to_dict()
    assert kinds["tap_stand"] == kinds["supervision_site"] == ["user"]
    assert kinds["wellhead_civil"] == ["illustrative"]
    assert kinds["costs.tax"] == kinds["costs.contingency"] == ["plan"]
    taps = bill[bill["item"] == "tap stands"].iloc[0]
    # closed form: 52 000 KES × 0.0077 × 1.03² of 2024 to 2026
    assert (taps["unit_price"], taps["quoted_year"]) == (pytest.approx(52000 * 0.0077 * 1.03**2, rel=1e-9), "2024")
    assert (taps["currency"], taps["price_year"]) == ("USD", "2026")


def test_foreign_text_is_no_formula(bill: pd.DataFrame) -> None:
    ids = bill.drop_duplicates("inventory_row").set_index("inventory_row")["site_id"]
    assert ids[1] == "'=1+1"
    assert ids[2] == '\'@a,b "c"'


def test_cost_per_person(sites: pd.DataFrame) -> None:
    known = sites["people_served"] > 0
    expected = sites["capital_cost"] / sites["people_served"]
    assert sites.loc[known, "cost_per_person"].tolist() == pytest.approx(expected[known].tolist(), rel=1e-12)
    assert sites.loc[~known, "cost_per_person"].isna().all()
    assert known.any() and not known.all()
