"""An invented district: every name, position and number here is made up for the tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import Browser, Page
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import polygonize, unary_union

from planner.glossary import glossary, monthly
from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.outputs.map.relief import make_relief
from planner.texts import sentence

# Rule → subject, value, limit, passed, as the rules of the tool would find them.
CHECKS: dict[str, tuple[str, float, float, bool]] = {
    "demand_met": ("", 96.7, 90.0, True),
    "supply_limited_well": ("", 71.2, 90.0, False),
    "quality_untested": ("", np.nan, np.nan, False),
    "grade_below_a": ("B", np.nan, np.nan, False),
    "casing_assumed": ("", 113.0, np.nan, False),
    "fluoride_above_limit": ("", 2.125, 1.5, False),
    "no_design": ("", np.nan, np.nan, False),
    "no_head": ("helical_rotor", 138.4, 125.0, False),
    "no_suction": ("surface", 22.25, 6.5, False),
    "position_missing": ("", np.nan, np.nan, False),
}
REASONS = {
    "equip": "demand_met;quality_untested",
    "test_first": "grade_below_a;casing_assumed;supply_limited_well;quality_untested",
    "hold": "demand_met;fluoride_above_limit",
    "unsuitable": "no_design;no_head;no_suction",
    "not_assessed": "position_missing",
}
CENTRE = (-12.9, 4.3)  # latitude and longitude of a place in open sea


ELEVATION = Path(__file__).parents[3] / "data_demo/elevation.tif"  # laid under the invented district
WIDE = (1366, 768)
NARROW = (390, 844)


class Visit:
    """A page that was opened, with all that it said and asked for."""

    def __init__(self, browser: Browser, file: Path, size: tuple[int, int], bypass_csp: bool = False) -> None:
        self.trouble: list[str] = []
        viewport = {"width": size[0], "height": size[1]}
        self.context = browser.new_context(viewport=viewport, bypass_csp=bypass_csp, reduced_motion="reduce")
        self.context.set_offline(True)
        self.context.route("**/*", self._route)
        self.page: Page = self.context.new_page()
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.trouble.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.trouble.append(dialog.message), dialog.dismiss()))
        self.page.goto(file.as_uri())
        self.page.wait_for_function("document.getElementById('status').textContent !== ''")

    def _hear(self, message: Any) -> None:
        if "Multiple readback" not in message.text:  # the tests' own looking at pixels
            self.trouble.append(message.text)

    def _route(self, route: Any) -> None:
        if route.request.url.startswith("file:"):
            route.continue_()
        else:
            self.trouble.append(route.request.url)
            route.abort()

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text()

    def close(self) -> None:
        self.context.close()
        assert self.trouble == []


@pytest.fixture(scope="session")
def open_page(browser: Browser) -> Callable[..., Visit]:
    """Open a file at a size; `close` of what comes back checks that the page was quiet and asked for nothing."""

    def opened(file: Path, size: tuple[int, int] = WIDE, bypass_csp: bool = False) -> Visit:
        return Visit(browser, file, size, bypass_csp)

    return opened


@pytest.fixture(scope="session")
def hostile_sites(hostile_names: tuple[str, ...]) -> pd.DataFrame:
    return make_sites(600, hostile=hostile_names)


@pytest.fixture(scope="session")
def page_file(
    hostile_sites: pd.DataFrame, hostile_names: tuple[str, ...], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The page of 600 sites, the first of them with hostile texts, in a district with relief."""
    sites, district = hostile_sites, make_district()
    path = tmp_path_factory.mktemp("map") / "map.html"
    page = map_page(
        sites,
        simplify_areas(district, "name"),
        make_run(sites),
        checks=make_checks(sites),
        findings=make_findings(sites),
        relief=make_relief(ELEVATION, tuple(district.total_bounds)),
    )
    path.write_text(page, encoding="utf-8", newline="")
    return path


@pytest.fixture(params=[WIDE, NARROW], ids=["wide", "narrow"])
def visit(open_page: Callable[..., Visit], page_file: Path, request: pytest.FixtureRequest) -> Iterator[Visit]:
    opened = open_page(page_file, request.param)
    yield opened
    opened.close()


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
def invented_checks() -> Callable[[pd.DataFrame], pd.DataFrame]:
    return make_checks


@pytest.fixture(scope="session")
def invented_findings() -> Callable[[pd.DataFrame], list[dict[str, Any]]]:
    return make_findings


def make_sites(count: int = 600, hostile: tuple[str, ...] = ()) -> pd.DataFrame:
    """Sites with the columns of sites.csv; the last three have no position, the first have hostile texts."""
    random = np.random.default_rng(20)
    index = pd.RangeIndex(1, count + 1, name="inventory_row")
    empty = {name: "" if quantity.dtype == "text" else np.nan for name, quantity in glossary().items()}
    sites = pd.DataFrame(empty, index=index).drop(columns="inventory_row").copy()  # in one piece
    sites["site_id"] = [f"{row:05d}" for row in sites.index]
    parts = (
        ["Lu", "Mwa", "Te", "Oru", "Ki", "Sha", "Ndo", "Bala"],
        ["mbo", "reni", "tala", "keso", "vu", "ngali"],
        ["", " School", " Market", " Dispensary", " Upper", " Lower"],
    )
    sites["site_name"] = ["".join(random.choice(part) for part in parts) for _ in sites.index]
    _place(sites, random)
    _decide(sites, random)
    sites = sites.copy()  # in one piece, as pandas wants it
    _design(sites, random)
    for name in ("site_name", "site_id", "sub_district") if hostile else ():
        sites.iloc[: len(hostile), sites.columns.get_loc(name)] = list(hostile)
    sites["sub_district_used"] = sites["sub_district"]
    sites.iloc[-3:, [sites.columns.get_loc("latitude"), sites.columns.get_loc("longitude")]] = np.nan
    said = sites["reason_codes"].str.split(";").explode()
    sentences = [sentence(rule, *CHECKS[rule][:3]) for rule in said]
    sites["reason_text"] = pd.Series(sentences, index=said.index).groupby(level=0).agg(" ".join)
    return sites.copy()  # in one piece: columns were set one by one


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
    sites["reason_codes"] = sites["decision"].map(REASONS)


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
        "low_sun_reliability_worst_month": random.uniform(0.65, 0.9, count),
        "solar_range_share": 0.08,
        "peak_flow_m3_h": demand / 6,
        "safe_rate_m3_h": demand / 5,
        "motor_w": random.choice([370, 750, 1100, 2200], count),
        "array_wp": random.choice([1100, 2200, 3300, 6600], count),
        "modules_series": random.choice([4, 6, 12], count),
        "modules_parallel": 1,
        "tilt_deg": 10,
        "tank_m3": random.choice([5, 10, 20, 50], count),
        "cost_helical_rotor_per_m3": cost,
        "cost_centrifugal_per_m3": cost * 1.07,
        "family_margin": 0.07,
        "riser_mm": 40,
        "delivery_mm": 32,
        "cable_mm2": random.choice([1.5, 2.5, 4.0], count),
        "azimuth_deg": 0,
        "sleeve": random.choice([0.0, 1.0], count),
        "capital_cost": random.lognormal(9.9, 0.35, count),
        "people_served": used * 50,
        "cost_per_m3": cost,
        "cost_equipment_per_m3": cost * 0.45,
        "cost_diesel_per_m3": cost * 2.0,
        "coverage_diesel": 1.0,
        "co2_diesel_t_year": 3.2,
        "co2_avoided_t_year": 3.1,
        "alternative_margin": 1.0,
        "coverage_do_nothing": 0.0,
        "people_unserved_do_nothing": 480.0,
        "cost_per_m3_p10": cost * 0.8,
        "cost_per_m3_p90": cost * 1.4,
        "volume_used_m3_day_p10": used * 0.7,
        "volume_used_m3_day_p90": used * 1.2,
        "demand_met_probability": 0.7,
        "failure_probability": 0.02,
        "family_probability": 0.9,
        "funded_probability": np.where(sites["decision"] == "equip", np.arange(count) % 11 / 10, np.nan),
        "test_value": 200.0 * (np.arange(count) % 21 - 10.0),
        "test_cost": 990.0,
    }
    values["design_pumping_level_m"] = values["design_static_level_m"] + random.uniform(2, 18, count)
    values["total_head_m"] = values["design_pumping_level_m"] + 9
    values["intake_depth_m"] = np.ceil(values["design_pumping_level_m"] + 4)
    values["annual_cost"] = values["capital_cost"] * 0.13
    values["lifecycle_cost"] = values["annual_cost"] * 9.8181  # annuity factor of 20 years at 8 %
    values["cost_per_person"] = values["capital_cost"] / 250.0
    for place in range(12):
        values[monthly("volume")[place]] = demand * season[place] * 0.98
        values[monthly("demand")[place]] = demand * (1.0 if 3 <= place <= 9 else 0.85)
        values[monthly("used")[place]] = 0.9 * np.minimum(
            values[monthly("volume")[place]], values[monthly("demand")[place]]
        )
    for name, column in values.items():
        sites[name] = np.where(designed, column, np.nan)
    texts = {
        "pump_family": "helical_rotor",
        "pump_id": "HR-12-60",
        "drive_id": "DC-S",
        "module_id": "M330",
        "riser_id": "HDPE-40",
        "safe_rate_limit": "tested_share",
        "resource_source": "raster",
        "mounting": "fixed",
        "alternative_cheapest": "diesel",
        "alternatives_missing": "handpump too_deep;grid distance_unknown",
        "range_kind": "commit",
    }
    for name, text in texts.items():
        sites[name] = np.where(designed, text, "")
    sites["switch_text"] = np.where(designed, "rest level deeper than 41 m: no pump fits", "")
    worth = sites["test_value"] > 0
    sites.loc[worth, "test_rank"] = sites.loc[worth, "test_value"].rank(method="first", ascending=False)
    ranked = sites["decision"] == "equip"
    sites.loc[ranked, "rank"] = sites.loc[ranked, "cost_per_m3"].rank(method="first")
    sites.loc[ranked, "funding"] = np.where(sites.loc[ranked, "rank"] <= 60, "funded", "")


def make_checks(sites: pd.DataFrame) -> pd.DataFrame:
    """The checks behind the reasons, passed ones that give none, and what stopped the surface pumps."""
    rows = []
    for row, codes, pump in zip(sites.index, sites["reason_codes"], sites["pump_id"], strict=True):
        wanted = codes.split(";")
        wanted += ["no_suction"] if pump and "no_suction" not in wanted else []
        rows += [(row, rule, *CHECKS[rule]) for rule in wanted]
        rows.append((row, "casing_assumed", "", np.nan, np.nan, True))
    frame = pd.DataFrame(rows, columns=["inventory_row", "rule", "subject", "value", "limit", "pass"])
    return frame.assign(operator="", unit="")


def make_findings(sites: pd.DataFrame) -> list[dict[str, Any]]:
    """One finding on every third row and one on the whole file; old values are the sites' names."""
    kinds = (
        ("casing_mm", "unit_in_cell", "info", "repaired", "355.6"),
        ("static_level_m", "static_below_depth", "stop", "stopped", ""),
        ("people", "zero_as_missing", "warning", "flagged", ""),
    )
    names = ("column", "rule", "severity", "action", "new_value")
    found = [
        {"row": int(row), "old_value": name, **dict(zip(names, kinds[place % 3], strict=True))}
        for place, (row, name) in enumerate(zip(sites.index[::3], sites["site_name"][::3], strict=True))
    ]
    whole = {"row": 0, "column": "remarks", "rule": "column_not_read", "severity": "info", "action": "flagged"}
    return [{**whole, "old_value": "remarks", "new_value": ""}, *found]


def make_run(sites: pd.DataFrame) -> dict[str, Any]:
    return {
        "programme": "Kesumba district, rural water",
        "currency": "USD",
        "price_year": 2026,
        "run_id": "0f3a91c2d7be",
        "date": "2026-05-04",
        "version": "0.1.0",
        "counts": sites["decision"].value_counts().to_dict(),
        "plan": {
            "programme": {"name": "Kesumba district, rural water", "discount_rate": 0.08, "horizon_years": 20},
            "demand": {"norm_l_person_day": 20.0, "growth": 0.025},
            "area": {"boundary": "district.gpkg"},
        },
        "defaults_used": {
            "programme.discount_rate": 0.08,
            "programme.horizon_years": 20,
            "demand.norm_l_person_day": 20.0,
            "demand.season": [1.0] * 12,
            "ranking.allow_prior_equip": False,
        },
        "without_effect": {"rasters.recharge": "not compared yet"},
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
    outline = Polygon(zip(CENTRE[1] + 1.25 * reach * np.cos(turn), CENTRE[0] + reach * np.sin(turn), strict=True))
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
