"""The tables of a run: sites.csv, sites.parquet, checks.parquet, findings.csv."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from planner.glossary import glossary, monthly
from planner.outputs.csv_cells import Cells, cells_of, quoted, safe, text_cells, write_block
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
SLICE_ROWS = 20_000  # of sites.csv, so that a nation's table never stands as text as a whole
GROUP_CELLS, GROUP_ROWS = 50_000_000, 2**20  # most of a group of a parquet file


def _nothing() -> None:
    """Nothing to do between slices of a table that lies in memory."""


def write_sites_csv(
    sites: pd.DataFrame, path: Path, shown: pd.DataFrame | None = None, written: Callable[[], None] = _nothing
) -> None:
    """sites.csv: UTF-8, comma, dot; missing is empty; derived numbers to six significant digits.

    shown: columns of the inventory that the plan asks for, header → text, row by row; they come last. written: called
    after each slice of rows.
    """
    known = glossary()
    names = [name for name in SITE_COLUMNS if name in sites.columns]
    extra = pd.DataFrame(index=sites.index) if shown is None else as_shown(shown)
    with path.open("wb") as file:
        header = [*names, *(safe(str(name)) for name in extra.columns)]
        file.write((",".join(map(quoted, header)) + "\n").encode())
        for start in range(0, len(sites), SLICE_ROWS):
            at = slice(start, start + SLICE_ROWS)
            cells = [cells_of(sites[name].iloc[at], known[name].dtype, name not in AS_READ) for name in names]
            write_block(file, [*cells, *(text_cells(extra[name].iloc[at]) for name in extra.columns)])
            written()


def as_shown(shown: pd.DataFrame) -> pd.DataFrame:
    """The same columns under names that no column of ours has: `inventory:remarks`."""
    return shown.rename(columns=lambda header: f"inventory:{header}")


def write_findings_csv(findings: Sequence[Mapping[str, Any]], path: Path) -> None:
    """findings.csv: every fault and repair."""
    rows = (
        [safe(value) if isinstance(value, str) else str(value) for value in (one[name] for name in FINDING_COLUMNS)]
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
        texts.append(cells_of(moves[name], kind if quantity is None else quantity.dtype, str(name) not in AS_READ))
    _write_columns(path, [str(name) for name in moves.columns], texts)


def write_weights_csv(weights: pd.DataFrame, path: Path) -> None:
    """weights.csv: the weighted order with raw and normalised values of its criteria."""
    whole = {"inventory_row", "rank", "rank_weighted"}
    cells = [
        cells_of(weights[name], "text" if name == "site_id" else "integer" if name in whole else "number", True)
        for name in weights.columns
    ]
    _write_columns(path, list(weights.columns), cells)


def write_parquet(
    frame: pd.DataFrame, path: Path, shown: pd.DataFrame | None = None, written: Callable[[], None] = _nothing
) -> None:
    """A table, exact, with whole numbers as nullable integers; `shown` as in sites.csv. Written group by group, and
    `written` called after each."""
    writer: pq.ParquetWriter | None = None
    rows_a_group = min(GROUP_ROWS, GROUP_CELLS // max(len(frame.columns), 1))
    for start in range(0, max(len(frame), 1), rows_a_group):
        at = slice(start, start + rows_a_group)
        part = frame.iloc[at], None if shown is None else shown.iloc[at]
        rows = _arrow(*part, None if writer is None else writer.schema)
        if writer is None:
            writer = pq.ParquetWriter(path, rows.schema)
        writer.write_table(rows, row_group_size=rows_a_group)
        written()
    assert writer is not None
    writer.close()


def _arrow(frame: pd.DataFrame, shown: pd.DataFrame | None, schema: Any) -> Any:
    """Rows as arrow's table; schema: of the rows before, None of the first. Categories become text within arrow."""
    categories = [name for name in frame.columns if frame[name].dtype == "category"]
    exact = exact_frame(frame.drop(columns=categories), shown)
    if not categories:
        return pa.Table.from_pandas(exact, schema=schema, preserve_index=False)
    texts = pa.Table.from_pandas(frame[categories], preserve_index=False)
    texts = {name: texts[name].cast(pa.large_string()) for name in categories}
    schema = schema or pa.Schema.from_pandas(exact_frame(frame.iloc[:1], shown), preserve_index=False)
    plain = pa.Table.from_pandas(exact, preserve_index=False)
    return pa.Table.from_arrays([texts[name] if name in texts else plain[name] for name in schema.names], schema=schema)


def exact_frame(frame: pd.DataFrame, shown: pd.DataFrame | None = None) -> pd.DataFrame:
    """A table as its parquet file holds it."""
    known = glossary()
    exact = frame.copy(deep=False)
    for name in exact.columns:
        if name in known and known[name].dtype == "integer" and exact[name].dtype.kind == "f":
            exact[name] = exact[name].astype("Int64")
        elif exact[name].dtype == "category":
            exact[name] = exact[name].astype("str")
    if shown is not None:
        exact = pd.concat([exact, as_shown(shown).set_axis(exact.index)], axis=1)
    return exact


def write_rows(path: Path, names: list[str], rows: Iterable[Iterable[str]]) -> None:
    """Any other table of texts, as sites.csv is written."""
    _write_csv(path, names, ([safe(cell) for cell in row] for row in rows))


def cell_text(text: str) -> str:
    """A foreign text as a cell of a CSV file: never a formula, quoted where needed."""
    return quoted(safe(text))


def _write_columns(path: Path, names: Sequence[str], columns: Sequence[Cells]) -> None:
    with path.open("wb") as file:
        file.write((",".join(map(quoted, names)) + "\n").encode())
        write_block(file, columns)


def _write_csv(path: Path, names: list[str], rows: Iterable[Iterable[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        for row in (names, *rows):
            file.write(",".join(map(quoted, row)) + "\n")
