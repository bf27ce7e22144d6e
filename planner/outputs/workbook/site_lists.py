"""The lists of sites: by decision and funding, and all of them. Positions are exact: the workbook is a working file."""

from __future__ import annotations

import pandas as pd

from planner.glossary import monthly
from planner.outputs.map.reason_data import said
from planner.outputs.material import Material
from planner.outputs.tables import SITE_COLUMNS, as_shown
from planner.outputs.workbook.lists import Listing, columns_of
from planner.outputs.workbook.words import Words
from planner.tables.grade import explained
from planner.texts import ENGLISH, sentence

PLACE = ["site_id", "site_name", "sub_district_used"]
BEFORE_RANK = ["rank", *PLACE]
RESULT = [
    "evidence_grade", "people_served", "design_demand_m3_day", "volume_used_m3_day", "supply_reliability_worst_month",
    "cost_per_m3", "capital_cost", "pump_family", "pump_id", "array_wp", "tank_m3", "reason_text",
]  # fmt: skip
SET = [
    "inventory_row", "latitude", "longitude", "annual_cost", "lifecycle_cost", "cost_equipment_per_m3",
    "cost_per_person", "cost_per_m3_p10", "cost_per_m3_p90", "volume_used_m3_day_p10", "volume_used_m3_day_p90",
    "rank_p10", "rank_p90", "funded_probability", "failure_probability", "motor_w", "drive_id", "intake_depth_m",
    "design_static_level_m", "design_pumping_level_m", "total_head_m", "peak_flow_m3_h", "safe_rate_m3_h",
    "safe_rate_limit", "supply_limited", "riser_id", "cable_mm2", "motor_cable_m", "module_id", "modules_series",
    "modules_parallel", "tilt_deg", "azimuth_deg", "delivery_id", "delivery_m", "tap_stands", "road_km",
    "volume_pumped_m3_day", *monthly("volume"), "alternative_cheapest", "alternative_margin", "switch_text",
]  # fmt: skip
TEST = ["test_rank", "test_value", "test_cost", "test_funded", "evidence_raise"]
INPUTS = [
    "depth_m", "casing_mm", "static_level_m", "tested_yield_m3_h", "pumping_level_m", "test_hours", "test_date",
    "test_kind", "people", "livestock_tlu", "irrigated_ha", "demand_m3_day", "status", "equipped_with",
]  # fmt: skip
# Sheet → columns, how many of them are printed, how many stay in sight.
LISTS: dict[str, tuple[list[str], int, int]] = {
    "funded": ([*BEFORE_RANK, "phase", "lot", *RESULT, *SET], 18, 4),
    "reserve": ([*BEFORE_RANK, "lot", *RESULT, *SET], 17, 4),
    "test_first": ([*TEST[:1], *PLACE, *TEST[1:], "evidence_grade", "reason_text", *RESULT, *INPUTS, *SET], 15, 4),
    "hold": ([*PLACE, "reason_text", "evidence_grade", *INPUTS, "inventory_row", "latitude", "longitude",
              "reason_codes", *RESULT[1:-1]], 14, 3),
    "unsuitable": ([*PLACE, "reason_text", "evidence_grade", *INPUTS, "inventory_row", "latitude", "longitude",
                    "reason_codes"], 14, 3),
    "not_assessed": ([*PLACE, "reason_text", *INPUTS, "inventory_row", "latitude", "longitude", "reason_codes"], 14, 3),
    "all_sites": (
        ["inventory_row", *PLACE, "decision", "funding", "rank", *RESULT, *INPUTS,
         *(name for name in SITE_COLUMNS if name not in {"inventory_row", "decision", "funding", "rank"})], 18, 4),
}  # fmt: skip


def in_language(material: Material, language: str) -> pd.DataFrame:
    """The sites by place 0, 1, 2 … with the sentences of the run in the language, drawn from its checks."""
    sites = material.sites.reset_index(drop=True)
    if language == ENGLISH:
        return sites
    evidence = explained(sites, sites["evidence_grade"], language)
    return sites.assign(
        reason_text=reasons_in(sites, material.checks, language),
        evidence_reasons=evidence["evidence_reasons"],
        evidence_raise=evidence["evidence_raise"],
    )


def reasons_in(sites: pd.DataFrame, checks: pd.DataFrame, language: str) -> pd.Series:
    """The reasons of each site as sentences in a language, in the order of its codes; sites by place."""
    found = said(sites, checks)
    facts = (found[name].tolist() for name in ("rule", "subject", "value", "limit"))
    told = [sentence(rule, subject, value, limit, language) for rule, subject, value, limit in zip(*facts, strict=True)]
    groups = pd.Series(told, index=found["place"].to_numpy(), dtype="object").groupby(level=0)
    whole = groups.agg(lambda parts: " ".join(dict.fromkeys(parts)))
    return whole.reindex(sites.index, fill_value="").astype("str")


def site_lists(material: Material, sites: pd.DataFrame, words: Words) -> list[Listing]:
    """The lists of sites in reading order; sites: of `in_language`, with columns that the plan shows."""
    limit = material.plan.plan.output.workbook_row_limit
    rest = "sites.csv" if "csv" in material.plan.plan.output.files else ""
    extra = [] if material.shown.empty else list(as_shown(material.shown).columns)
    filled = {name for name in sites.columns if (sites[name].notna() & (sites[name] != "")).any()}
    found = []
    for key, (names, printed, frozen) in LISTS.items():
        chosen = _rows(sites, key)
        kept = [name for number, name in enumerate(dict.fromkeys(names)) if number < printed or name in filled]
        columns = columns_of(chosen.head(limit), words, [*kept, *extra])
        found.append(Listing(key, columns, len(chosen), rest, frozen, printed))
    return found


def with_shown(sites: pd.DataFrame, material: Material) -> pd.DataFrame:
    """The sites with the columns of the inventory that the plan carries along."""
    if material.shown.empty:
        return sites
    return pd.concat([sites, as_shown(material.shown).set_axis(sites.index)], axis=1)


def _rows(sites: pd.DataFrame, key: str) -> pd.DataFrame:
    if key == "all_sites":
        return sites
    if key in {"funded", "reserve"}:
        return sites[sites["funding"] == key].sort_values("rank", kind="stable")
    chosen = sites[sites["decision"] == key]
    by = [name for name in ("test_rank", "cost_per_m3") if name in sites.columns]
    return chosen.sort_values(by, kind="stable") if key == "test_first" and by else chosen
