"""The tables of a run: digits, empties, guards against formulas, quotes, and the exact parquet."""

from __future__ import annotations

import csv
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.glossary import glossary, monthly
from planner.outputs.tables import SITE_COLUMNS, write_findings_csv, write_parquet, write_sites_csv
from planner.tables.step import FINDING_COLUMNS, Finding

# The contract's columns of sites.csv, in its order.
CONTRACT = (
    "inventory_row site_id site_name sub_district latitude longitude evidence_grade decision funding rank "
    "reason_codes reason_text solar_kwh_m2_day design_month resource_source design_static_level_m "
    "design_pumping_level_m total_head_m peak_flow_m3_h safe_rate_m3_h safe_rate_limit pump_family "
    "pump_id motor_w intake_depth_m riser_mm cable_mm2 array_wp modules_series modules_parallel tilt_deg "
    "tank_m3 design_demand_m3_day volume_pumped_m3_day volume_used_m3_day volume_01 volume_02 volume_03 "
    "volume_04 volume_05 volume_06 volume_07 volume_08 volume_09 volume_10 volume_11 volume_12 "
    "supply_reliability supply_reliability_worst_month supply_limited capital_cost annual_cost "
    "lifecycle_cost cost_per_m3 cost_equipment_per_m3 family_margin people_served cost_per_m3_p10 "
    "cost_per_m3_p90 failure_probability funded_probability"
)


def sites(**columns: list[object]) -> pd.DataFrame:
    frame = pd.DataFrame(columns)
    for name in frame:
        if glossary()[name].dtype == "text":
            frame[name] = frame[name].astype("str")
    return frame


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def cell(tmp_path: Path, name: str, value: object) -> str:
    write_sites_csv(sites(**{name: [value], "decision": ["hold"]}), tmp_path / "sites.csv")
    return read(tmp_path / "sites.csv")[0][name]


def test_the_columns_of_the_contract_come_first_and_in_order() -> None:
    contract = CONTRACT.split(" ")
    assert SITE_COLUMNS[: len(contract)] == contract
    assert len(set(SITE_COLUMNS)) == len(SITE_COLUMNS)
    assert set(monthly("volume")) <= set(SITE_COLUMNS)


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("cost_per_m3", 0.123456789, "0.123457"),
        ("cost_per_m3", np.nan, ""),
        ("cost_per_m3", 0.0, "0"),
        ("capital_cost", 1234567.891, "1234568"),
        ("capital_cost", 999999.7, "1000000"),
        ("capital_cost", 123456789012.3, "123456789012"),
        ("total_head_m", 12.0, "12"),
        ("design_static_level_m", -2.5, "-2.5"),
        ("latitude", -9.12345678901, "-9.12345678901"),
        ("longitude", 30.1, "30.1"),
        ("design_month", 7.0, "7"),
        ("rank", np.nan, ""),
        ("inventory_row", 1234567, "1234567"),
        ("sleeve", True, "1"),
        ("sleeve", False, "0"),
        ("site_id", "00123", "00123"),
        ("site_id", "", ""),
    ],
)
def test_digits_and_empties(tmp_path: Path, name: str, value: object, expected: str) -> None:
    assert cell(tmp_path, name, value) == expected


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-A1", "@SUM(A1)", "\t=1", "\r=1", "=", "-", "+1e", "-1_000", "-inf"])
def test_text_that_a_spreadsheet_takes_for_a_formula_gets_an_apostrophe(tmp_path: Path, text: str) -> None:
    assert cell(tmp_path, "site_name", text) == "'" + text


@pytest.mark.parametrize("text", ["-5", "+3.5", "-1e-3", "Well -5", "1=1", "'=1", " =1", "a@b"])
def test_numbers_and_plain_text_stay(tmp_path: Path, text: str) -> None:
    assert cell(tmp_path, "site_name", text) == text


def test_the_file_is_utf8_with_line_feeds_and_quotes_only_where_needed(tmp_path: Path) -> None:
    frame = sites(site_id=["A", "B"], site_name=['Élan, "north"', "plain"])
    write_sites_csv(frame, tmp_path / "sites.csv")
    expected = 'site_id,site_name\nA,"Élan, ""north"""\nB,plain\n'
    assert (tmp_path / "sites.csv").read_bytes() == expected.encode("utf-8")


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=12), min_size=1, max_size=4))
def test_any_text_comes_back(tmp_path: Path, texts: list[str]) -> None:
    write_sites_csv(sites(site_id=["x"] * len(texts), site_name=list(texts)), tmp_path / "sites.csv")
    rows = read(tmp_path / "sites.csv")
    assert [row["site_name"].removeprefix("'") for row in rows] == [text.removeprefix("'") for text in texts]


def test_findings_are_written_in_full(tmp_path: Path) -> None:
    findings = [
        Finding(0, "", "=header", "column_not_read", "info", "=header"),
        Finding(7, "00123", "depth_m", "out_of_range", "warning", "-1 ft, about", "", "flagged"),
    ]
    write_findings_csv([asdict(one) for one in findings], tmp_path / "findings.csv")
    rows = read(tmp_path / "findings.csv")
    assert list(rows[0]) == FINDING_COLUMNS
    assert rows[0]["column"] == "'=header"
    assert rows[1] == dict(
        zip(
            FINDING_COLUMNS,
            ["7", "00123", "depth_m", "out_of_range", "warning", "'-1 ft, about", "", "flagged"],
            strict=True,
        )
    )
    write_findings_csv([], tmp_path / "none.csv")
    assert (tmp_path / "none.csv").read_text(encoding="utf-8") == ",".join(FINDING_COLUMNS) + "\n"


def test_the_parquet_is_exact(tmp_path: Path) -> None:
    frame = sites(
        inventory_row=[1, 2],
        site_name=["=1+1", "x" * 10_000],
        cost_per_m3=[1 / 3, np.nan],
        rank=[1.0, np.nan],
        sleeve=[True, False],
    )
    before = frame.copy()
    write_parquet(frame, tmp_path / "sites.parquet")
    pd.testing.assert_frame_equal(frame, before)
    back = pd.read_parquet(tmp_path / "sites.parquet")
    assert back["site_name"].tolist() == frame["site_name"].tolist()
    assert back["cost_per_m3"].iloc[0] == 1 / 3
    assert str(back["rank"].dtype) == "Int64"
    assert back["rank"].isna().tolist() == [False, True]
    assert back["sleeve"].dtype == bool
    first = (tmp_path / "sites.parquet").read_bytes()
    write_parquet(frame, tmp_path / "sites.parquet")
    assert (tmp_path / "sites.parquet").read_bytes() == first
