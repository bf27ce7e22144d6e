"""An invented district: every name, position and number here is made up for the tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import polygonize, unary_union

from planner.glossary import glossary, monthly

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror="window.hurt=1">',
    "</script><script>window.hurt=2</script>",
    "${window.hurt=3}",
    "{{7*7}}",
    "`window.hurt=4`",
    "Kesu\u202eredrum",
    "<!--<script>",
    "@@SCRIPT@@ &amp; \u2028 'quoted'",
    "=1+1",
)
CENTRE = (-12.9, 4.3)  # latitude and longitude of a place in open sea


@pytest.fixture(scope="session")
def invented_sites() -> Callable[..., pd.DataFrame]:
    return make_sites


@pytest.fixture(scope="session")
def invented_run() -> Callable[[pd.DataFrame], dict[str, Any]]:
    return make_run


@pytest.fixture(scope="session")
def invented_district() -> gpd.GeoDataFrame:
    return make_district()


@pytest.fixture(scope="session")
def hostile_names() -> tuple[str, ...]:
    return HOSTILE


def make_sites(count: int = 600, hostile: bool = False) -> pd.DataFrame:
    """Sites with the columns of sites.csv; the last three have no position."""
    random = np.random.default_rng(20)
    index = pd.RangeIndex(1, count + 1, name="inventory_row")
    empty = {name: "" if quantity.dtype == "text" else np.nan for name, quantity in glossary().items()}
    sites = pd.DataFrame(empty, index=index).drop(columns="inventory_row")
    sites["site_id"] = [f"{row:05d}" for row in sites.index]
    parts = (
        ["Lu", "Mwa", "Te", "Oru", "Ki", "Sha", "Ndo", "Bala"],
        ["mbo", "reni", "tala", "keso", "vu", "ngali"],
        ["", " School", " Market", " Dispensary", " Upper", " Lower"],
    )
    sites["site_name"] = ["".join(random.choice(part) for part in parts) for _ in sites.index]
    _place(sites, random)
    _decide(sites, random)
    _design(sites, random)
    if hostile:
        sites.iloc[: len(HOSTILE), sites.columns.get_loc("site_name")] = list(HOSTILE)
        sites.iloc[: len(HOSTILE), sites.columns.get_loc("site_id")] = list(HOSTILE)
        sites.iloc[: len(HOSTILE), sites.columns.get_loc("reason_text")] = list(HOSTILE)
    sites.iloc[-3:, [sites.columns.get_loc("latitude"), sites.columns.get_loc("longitude")]] = np.nan
    return sites


def _place(sites: pd.DataFrame, random: np.random.Generator) -> None:
    district = make_district()
    whole = district.geometry.union_all()
    points: list[Point] = []
    while len(points) < len(sites):
        spread = random.normal(0, 0.17, 2) if len(points) % 3 else random.uniform(-0.4, 0.4, 2)
        point = Point(CENTRE[1] + spread[0] * 1.2, CENTRE[0] + spread[1])
        if whole.contains(point):
            points.append(point)
    sites["longitude"] = [point.x for point in points]
    sites["latitude"] = [point.y for point in points]
    joined = gpd.GeoDataFrame(geometry=points, crs="EPSG:4326").sjoin(district, how="left")
    sites["sub_district"] = joined["name"].fillna("").to_numpy()[: len(sites)]


def _decide(sites: pd.DataFrame, random: np.random.Generator) -> None:
    shares = [0.34, 0.30, 0.14, 0.16, 0.06]
    decisions = ["equip", "test_first", "hold", "unsuitable", "not_assessed"]
    sites["decision"] = random.choice(decisions, len(sites), p=shares)
    sites.iloc[-3:, sites.columns.get_loc("decision")] = "not_assessed"
    grade = {"equip": "A", "test_first": "B", "hold": "A", "unsuitable": "C", "not_assessed": "D"}
    sites["evidence_grade"] = sites["decision"].map(grade)
    reason = {
        "equip": "Tested with drawdown. The design meets 96 % of the demand of the year, limit 90 %.",
        "test_first": "Yield is known from an airlift only (grade B), grade A is required. "
        "The casing is not known. Water quality was not measured.",
        "hold": "Fluoride is 2.1 mg/L, limit 1.5 mg/L.",
        "unsuitable": "The pumping level of 96 m is deeper than the lowest intake of 84 m.",
        "not_assessed": "There is no usable position: latitude and longitude are empty.",
    }
    sites["reason_text"] = sites["decision"].map(reason)


def _design(sites: pd.DataFrame, random: np.random.Generator) -> None:
    count = len(sites)
    designed = sites["decision"].isin(["equip", "test_first", "hold"]).to_numpy()
    demand = random.lognormal(2.6, 0.6, count)
    used = demand * random.uniform(0.6, 0.9, count)
    cost = 0.28 * (used / 12) ** -0.45 * random.lognormal(0, 0.3, count)
    season = 1.12 + 0.18 * np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
    values: dict[str, Any] = {
        "solar_kwh_m2_day": random.uniform(5.2, 5.9, count),
        "design_month": 7,
        "design_static_level_m": random.uniform(8, 60, count),
        "design_demand_m3_day": demand,
        "volume_used_m3_day": used,
        "volume_pumped_m3_day": demand * 1.05,
        "supply_reliability": random.uniform(0.86, 0.999, count),
        "supply_reliability_worst_month": random.uniform(0.7, 0.95, count),
        "peak_flow_m3_h": demand / 6,
        "safe_rate_m3_h": demand / 5,
        "motor_w": random.choice([370, 750, 1100, 2200], count),
        "array_wp": random.choice([1100, 2200, 3300, 6600], count),
        "modules_series": random.choice([4, 6, 12], count),
        "modules_parallel": 1,
        "tilt_deg": 10,
        "tank_m3": random.choice([5, 10, 20, 50], count),
        "capital_cost": random.lognormal(9.9, 0.35, count),
        "people_served": used * 50,
        "cost_per_m3": cost,
        "cost_equipment_per_m3": cost * 0.45,
    }
    values["design_pumping_level_m"] = values["design_static_level_m"] + random.uniform(2, 18, count)
    values["total_head_m"] = values["design_pumping_level_m"] + 9
    values["intake_depth_m"] = np.ceil(values["design_pumping_level_m"] + 4)
    values["annual_cost"] = values["capital_cost"] * 0.13
    for place in range(12):
        values[monthly("volume")[place]] = demand * season[place] * 0.98
        values[monthly("demand")[place]] = demand * (1.0 if 3 <= place <= 9 else 0.85)
    for name, column in values.items():
        sites[name] = np.where(designed, column, np.nan)
    texts = {"pump_family": "helical_rotor", "pump_id": "HR-12-60", "safe_rate_limit": "tested_share"}
    for name, text in texts.items():
        sites[name] = np.where(designed, text, "")
    ranked = sites["decision"] == "equip"
    sites.loc[ranked, "rank"] = sites.loc[ranked, "cost_per_m3"].rank(method="first")
    sites.loc[ranked, "funding"] = np.where(sites.loc[ranked, "rank"] <= 60, "funded", "")


def make_run(sites: pd.DataFrame) -> dict[str, Any]:
    return {
        "programme": "Kesumba district, rural water",
        "currency": "USD",
        "price_year": 2026,
        "run_id": "0f3a91c2d7be",
        "date": "2026-05-04",
        "version": "0.1.0",
        "counts": sites["decision"].value_counts().to_dict(),
        "defaults_used": {
            "programme.discount_rate": 0.08,
            "programme.horizon_years": 20,
            "demand.norm_l_person_day": 20.0,
            "demand.season": [1.0] * 12,
            "ranking.allow_prior_equip": False,
        },
        "without_effect": {"programme.language": "outputs are in English"},
        "cautions": [
            "Planning grade: buy nothing before a pumping test and a water quality test of the site.",
            "Capital is quoted from generic prices; tenders in remote places run higher.",
            "Volumes are those of a mean year; a dry or cloudy year gives less.",
        ],
        "notes": [
            "Three rows have no position.",
            "Water levels are taken to fall no further over the horizon.",
        ],
    }


def make_district() -> gpd.GeoDataFrame:
    """Six areas with shared, wavy borders (WGS 84)."""
    turn = np.linspace(0, 2 * np.pi, 1200, endpoint=False)
    reach = 0.40 + 0.03 * np.sin(3 * turn) + 0.02 * np.cos(7 * turn + 1)
    outline = Polygon(
        zip(CENTRE[1] + 1.25 * reach * np.cos(turn), CENTRE[0] + reach * np.sin(turn), strict=True)
    )
    along = np.linspace(-0.7, 0.7, 600)
    wave = 0.03 * np.sin(along * 14)
    cuts = [
        LineString(zip(CENTRE[1] - 0.16 + wave, CENTRE[0] + along, strict=True)),
        LineString(zip(CENTRE[1] + 0.19 - wave, CENTRE[0] + along, strict=True)),
        LineString(zip(CENTRE[1] + along, CENTRE[0] + 0.03 + wave, strict=True)),
    ]
    pieces = polygonize(unary_union([outline.boundary, *cuts]))
    parts = [piece for piece in pieces if outline.contains(piece.representative_point())]
    names = ["Oruvani", "Lake Side", "Temba Hills", "Kesumba Town", "Ndoreni", "Shatala"]
    return gpd.GeoDataFrame({"name": names[: len(parts)]}, geometry=parts, crs="EPSG:4326")
