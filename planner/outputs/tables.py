"""The tables of a run: sites.csv, sites.parquet, checks.parquet, findings.csv."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from planner.glossary import glossary, monthly
from planner.tables.step import FINDING_COLUMNS

# Columns of sites.csv: those of the contract, in its order, then ours.
SITE_COLUMNS = [
    "inventory_row", "site_id", "site_name", "sub_district", "latitude", "longitude",
    "evidence_grade", "decision", "funding", "rank", "reason_codes", "reason_text",
    "solar_kwh_m2_day", "design_month", "resource_source",
    "design_static_level_m", "design_pumping_level_m", "total_head_m",
    "peak_flow_m3_h", "safe_rate_m3_h", "safe_rate_limit",
    "pump_family", "pump_id", "motor_w", "intake_depth_m", "riser_mm", "cable_mm2",
    "array_wp", "modules_series", "modules_parallel", "tilt_deg", "tank_m3",
    "design_demand_m3_day", "volume_pumped_m3_day", "volume_used_m3_day", *monthly("volume"),
    "supply_reliability", "supply_reliability_worst_month", "supply_limited",
    "capital_cost", "annual_cost", "lifecycle_cost", "cost_per_m3", "cost_equipment_per_m3",
    "family_margin", "people_served",
    "cost_per_m3_p10", "cost_per_m3_p90", "failure_probability", "funded_probability",
    "drive_id", "module_id", "riser_id", "delivery_mm", "sleeve", "mounting", "azimuth_deg",
    "low_sun_reliability", "low_sun_reliability_worst_month", "power_share_to_run",
    "climate_zone", "solar_range_share", "solar_sizing_factor",
    "cap_flow_m3_h", "peak_design_m3_h", "design_pumping_level_rule_m", "total_head_rule_m",
    "running_hours_day", "wire_to_water", "specific_output_m4_kwp_day",
    "cost_helical_rotor_per_m3", "cost_centrifugal_per_m3", "cost_surface_per_m3",
    "people_counted", "people_source", "interference_m", "engine_status",
    "duplicate_of", "visits", "evidence_reasons", "evidence_raise",
    "lot", "lot_base_km",
    "coverage_do_nothing", "people_unserved_do_nothing",
    "coverage_handpump", "cost_handpump_per_m3", "handpumps_needed", "cost_handpumps_per_m3",
    "generator_kw", "coverage_diesel", "cost_diesel_per_m3", "diesel_l_year",
    "coverage_diesel_solar", "cost_diesel_solar_per_m3", "coverage_grid", "cost_grid_per_m3",
    "co2_diesel_t_year", "co2_diesel_solar_t_year", "co2_grid_t_year", "co2_avoided_t_year",
    "alternative_cheapest", "alternative_margin", "alternatives_missing",
    "cost_per_person", "road_km", "distance_source", "delivery_id", "delivery_m", "motor_cable_m", "tap_stands",
    "phase", "pump_id_standard", "cost_standard_per_m3", "rank_rests_on_prior", "rank_weighted", "score_weighted",
    "top_share_weighted", "budget_steps_mask",
    "range_kind", "cost_per_m3_p50", "volume_used_m3_day_p10", "volume_used_m3_day_p50", "volume_used_m3_day_p90",
    "pumping_level_m_p10", "pumping_level_m_p50", "pumping_level_m_p90", "demand_met_probability",
    "family_probability", "expected_lifecycle_cost", "expected_used_m3", "rank_p10", "rank_p90",
    "cost_per_m3_p10_untested", "cost_per_m3_p50_untested", "cost_per_m3_p90_untested",
    "volume_used_m3_day_p10_untested", "volume_used_m3_day_p50_untested", "volume_used_m3_day_p90_untested",
    "failure_probability_untested", "demand_met_probability_untested", "expected_lifecycle_cost_untested",
    "expected_used_m3_untested",
    "switch_input", "switch_value", "switch_unit", "switch_to", "switch_text",
    "test_value", "test_cost", "test_rank", "test_funded",
]  # fmt: skip
# Read from the inventory: written as they are, all digits.
AS_READ = {"latitude", "longitude"}
SIGNIFICANT = 6
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def write_sites_csv(sites: pd.DataFrame, path: Path, shown: pd.DataFrame | None = None) -> None:
    """sites.csv: UTF-8, comma, dot; missing is empty; derived numbers to six significant digits.

    shown: columns of the inventory that the plan asks for, header → text, row by row; they come last.
    """
    known = glossary()
    names = [name for name in SITE_COLUMNS if name in sites.columns]
    texts = {name: _cells(sites[name], known[name].dtype, name not in AS_READ) for name in names}
    for name, column in {} if shown is None else as_shown(shown).items():
        names.append(_safe(str(name)))
        texts[names[-1]] = [_safe(value) for value in column]
    _write_csv(path, names, zip(*(texts[name] for name in names), strict=True))


def as_shown(shown: pd.DataFrame) -> pd.DataFrame:
    """The same columns under names that no column of ours has: `inventory:remarks`."""
    return shown.rename(columns=lambda header: f"inventory:{header}")


def write_findings_csv(findings: Sequence[Mapping[str, Any]], path: Path) -> None:
    """findings.csv: every fault and repair."""
    rows = (
        [_safe(value) if isinstance(value, str) else str(value) for value in (one[name] for name in FINDING_COLUMNS)]
        for one in findings
    )
    _write_csv(path, FINDING_COLUMNS, rows)


def write_moves_csv(moves: pd.DataFrame, path: Path) -> None:
    """Sites that move, with old and new values side by side (`rank_old`, `rank_new`): types as in the glossary."""
    known = glossary()
    texts = []
    moves = moves.drop(columns="why_said", errors="ignore")  # the sentences of `why` for outputs in other languages
    for name in moves.columns:
        quantity = known.get(str(name).removesuffix("_old").removesuffix("_new"))
        kind = "text" if quantity is None and moves[name].dtype.kind not in "fiu" else "number"
        texts.append(_cells(moves[name], kind if quantity is None else quantity.dtype, str(name) not in AS_READ))
    _write_csv(path, [str(name) for name in moves.columns], zip(*texts, strict=True))


def write_weights_csv(weights: pd.DataFrame, path: Path) -> None:
    """weights.csv: the weighted order with raw and normalised values of its criteria."""
    whole = {"inventory_row", "rank", "rank_weighted"}
    cells = [
        _cells(weights[name], "text" if name == "site_id" else "integer" if name in whole else "number", True)
        for name in weights.columns
    ]
    _write_csv(path, list(weights.columns), zip(*cells, strict=True))


def write_parquet(frame: pd.DataFrame, path: Path, shown: pd.DataFrame | None = None) -> None:
    """A table, exact, with whole numbers as nullable integers; `shown` as in sites.csv."""
    exact_frame(frame, shown).to_parquet(path, index=False)


def exact_frame(frame: pd.DataFrame, shown: pd.DataFrame | None = None) -> pd.DataFrame:
    """A table as its parquet file holds it."""
    known = glossary()
    exact = frame.copy()
    for name in exact.columns:
        if name in known and known[name].dtype == "integer" and exact[name].dtype.kind == "f":
            exact[name] = exact[name].astype("Int64")
    if shown is not None:
        exact = pd.concat([exact, as_shown(shown).set_axis(exact.index)], axis=1)
    return exact


def write_rows(path: Path, names: list[str], rows: Iterable[Iterable[str]]) -> None:
    """Any other table of texts, as sites.csv is written."""
    _write_csv(path, names, ([_safe(cell) for cell in row] for row in rows))


def _cells(values: pd.Series, dtype: str, rounded: bool) -> list[str]:
    if dtype == "text":
        return [_safe(value) for value in values]
    if dtype == "flag":
        return ["" if pd.isna(value) else str(int(bool(value))) for value in values]
    if dtype == "integer":
        return ["" if pd.isna(value) else str(int(value)) for value in values]
    return [_number(float(value), rounded) for value in values]


def _number(value: float, rounded: bool) -> str:
    if math.isnan(value):
        return ""
    if not rounded:
        return repr(value)
    text = f"{value:.{SIGNIFICANT}g}"
    return f"{value:.0f}" if "e+" in text else text


def _safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe goes before = + - @, tab and return."""
    formula = text[:1] in {"=", "+", "-", "@", "\t", "\r"} and not NUMBER.fullmatch(text)
    return "'" + text if formula else text


def cell_text(text: str) -> str:
    """A foreign text as a cell of a CSV file: never a formula, quoted where needed."""
    return _quoted(_safe(text))


def _write_csv(path: Path, names: list[str], rows: Iterable[Iterable[str]]) -> None:
    """Quotes where needed (RFC 4180). The csv module leaves a lone return bare, and a reader breaks the line there."""
    with path.open("w", encoding="utf-8", newline="") as file:
        for row in (names, *rows):
            file.write(",".join(_quoted(cell) for cell in row) + "\n")


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if any(mark in cell for mark in ',"\r\n') else cell
