"""The pictures: sums by hand, words from the table, hostile text, boundaries of the catalogue, the same bytes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from planner.catalogue.arrays import CENTRIFUGAL, HELICAL
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.choice.decision import CONSEQUENCE
from planner.errors import InternalError
from planner.glossary import monthly
from planner.outputs.charts.drawing import Scale, rounded_up
from planner.outputs.charts.funnel import Stage, funnel, funnel_svg
from planner.outputs.charts.head_flow import PA_PER_M, boundary_m, duty_rows
from planner.outputs.charts.months import month_sites, month_sums
from planner.outputs.charts.supply_curve import supply_rows
from planner.outputs.charts.write import CHARTS, chart_texts
from planner.physics.pumps import helical_flow_m3_h
from planner.plan import LoadedPlan, read_plan
from planner.texts import texts
from tests.quick_demo import DEMO

ABOUT = {"programme": "Invented", "currency": "USD", "price_year": 2026, "run_id": "0123456789ab", "date": "2026-05-04"}


@pytest.fixture(scope="module")
def plan() -> LoadedPlan:
    return read_plan(DEMO / "plan.toml")


@pytest.fixture(scope="module")
def catalogue(plan: LoadedPlan) -> Catalogue:
    return load_catalogue(plan)


@pytest.fixture
def sites() -> pd.DataFrame:
    """Eight invented rows, one of every fate."""
    rows = [
        ("equip", "funded", "demand_met", 0.5, 10.0, "helical_rotor", 1.0, 50.0),
        ("equip", "funded", "demand_met", 0.3, 20.0, "centrifugal", 5.0, 20.0),
        ("equip", "reserve", "demand_met", 0.4, 5.0, "helical_rotor", 0.5, 80.0),
        ("equip", "", "demand_met", 0.9, 2.0, "helical_rotor", 0.2, 60.0),
        ("test_first", "", "demand_met;grade_below_a;yield_prior", 0.2, 9.0, "centrifugal", 3.0, 15.0),
        ("hold", "", "coverage_low;grade_below_a", np.nan, np.nan, "", np.nan, np.nan),
        ("unsuitable", "", "status_dry", np.nan, np.nan, "", np.nan, np.nan),
        ("not_assessed", "", "position_missing", np.nan, np.nan, "", np.nan, np.nan),
    ]
    names = ["decision", "funding", "reason_codes", "cost_per_m3", "volume_used_m3_day", "pump_family"]
    frame = pd.DataFrame(rows, columns=[*names, "peak_flow_m3_h", "total_head_m"])
    frame.insert(0, "inventory_row", range(1, 9))
    for stem, factor in (("volume", 2.0), ("demand", 1.5), ("used", 1.0)):
        frame[monthly(stem)] = np.outer(frame["volume_used_m3_day"], factor * np.arange(1, 13) / 6.5)
    return frame


def material(sites: pd.DataFrame, plan: LoadedPlan, catalogue: Catalogue, **about: Any) -> Any:
    return SimpleNamespace(sites=sites, plan=plan, catalogue=catalogue, about={**ABOUT, **about})


def test_the_supply_curve_by_hand(sites: pd.DataFrame) -> None:
    rows = supply_rows(sites)
    assert rows["inventory_row"].tolist() == [2, 3, 1, 4]
    assert rows["until"].tolist() == [20.0, 25.0, 35.0, 37.0]
    assert rows["funded"].tolist() == [True, False, True, False]


def test_the_months_by_hand(sites: pd.DataFrame) -> None:
    """Two funded sites with 30 m3 a day at the tap; a tenth is lost between tank and tap."""
    sums = month_sums(sites, 0.1)
    assert sums["pumped"].mean() == pytest.approx(60.0)
    assert sums["wanted"].mean() == pytest.approx(45.0)
    assert sums["used"].mean() * 0.9 == pytest.approx(30.0)
    nothing = sites.assign(funding="")
    assert month_sites(nothing)["inventory_row"].tolist() == [1, 2, 3, 4]


def test_the_funnel_by_hand(sites: pd.DataFrame) -> None:
    assert funnel(sites) == [
        Stage("rows", 8),
        Stage("assessed", 7, (("position_missing", 1),)),
        Stage("suitable", 6, (("status_dry", 1),)),
        Stage("clear", 5, (("coverage_low", 1),)),
        Stage("equip", 4, (("grade_below_a", 1),)),
        Stage("funded", 2, (("not_funded", 1), ("reserve", 1))),
    ]
    assert [stage.key for stage in funnel(sites.assign(funding=""))][-1] == "equip"


def test_a_funnel_that_does_not_add_up_is_refused(sites: pd.DataFrame) -> None:
    with pytest.raises(InternalError, match="add up"):
        funnel(sites.assign(decision=sites["decision"].replace("hold", "a new decision")))


def test_every_rule_that_decides_has_its_words() -> None:
    deciding = {rule for rule, decision in CONSEQUENCE.items() if decision not in ("", "equip")}
    named = {key.removeprefix("chart_loss_") for key in texts() if key.startswith("chart_loss_")}
    assert named == deciding | {"reserve", "not_funded", "other"}


def test_boundaries_are_those_of_the_pumps(catalogue: Catalogue) -> None:
    """At the boundary of the rotors, the pump that sets it gives just that flow (or is at its limit); closed form."""
    pumps, flow = catalogue.pumps, np.array([0.2, 1.0, 3.0])
    heads = boundary_m(pumps, HELICAL, flow)
    own = np.flatnonzero(pumps.family == HELICAL)
    given = [
        max(
            helical_flow_m3_h(
                pumps.rated_speed_rpm[i], head * PA_PER_M, pumps.displacement_cm3[i], pumps.slip_m3_h_pa[i]
            )
            for i in own
            if pumps.pressure_limit_pa[i] >= head * PA_PER_M * (1 - 1e-9)
        )
        for head in heads.tolist()
    ]
    assert all(got >= asked * (1 - 1e-9) for got, asked in zip(given, flow, strict=True))
    # No flow: the highest shut-off head of all.
    still = boundary_m(pumps, CENTRIFUGAL, np.array([0.0]))
    assert still[0] == pumps.head_0_m[pumps.family == CENTRIFUGAL].max()
    assert np.isnan(boundary_m(pumps, HELICAL, np.array([1e4]))).all()


def test_pictures_are_well_formed_and_say_what_every_output_says(
    sites: pd.DataFrame, plan: LoadedPlan, catalogue: Catalogue
) -> None:
    made = chart_texts(material(sites, plan, catalogue))
    assert tuple(made) == CHARTS and made == chart_texts(material(sites, plan, catalogue))
    cautions = [text for kind, text in texts().values() if kind == "caution"]
    for name, text in made.items():
        root = ElementTree.fromstring(text)
        told = " ".join(node.text or "" for node in root.iter())
        assert all(part in told for part in ("Invented", "0123456789ab", "4 May 2026", *cautions)), name
        assert ("USD at prices of 2026" in told) == (name == "chart_supply_curve.svg")  # the one that shows costs
        assert "nan" not in text and "inf" not in text


@pytest.mark.parametrize("rows", [[], [7], [0]], ids=["no row", "nothing assessed", "one site"])
def test_few_rows(sites: pd.DataFrame, rows: list[int], plan: LoadedPlan, catalogue: Catalogue) -> None:
    for text in chart_texts(material(sites.iloc[rows], plan, catalogue)).values():
        assert "nan" not in text
        ElementTree.fromstring(text)


def test_foreign_text_stays_text(
    sites: pd.DataFrame, hostile_names: tuple[str, ...], plan: LoadedPlan, catalogue: Catalogue
) -> None:
    for name in hostile_names:
        for text in chart_texts(material(sites, plan, catalogue, programme=name)).values():
            root = ElementTree.fromstring(text)
            kinds = {node.tag.rpartition("}")[2] for node in root.iter()}
            assert kinds <= {"svg", "title", "desc", "text", "rect", "circle", "polygon", "polyline"}
            assert not [key for node in root.iter() for key in node.attrib if key.startswith("on") or key == "style"]
            assert max(len(node.text or "") for node in root.iter("{http://www.w3.org/2000/svg}text")) < 200


def test_the_language_is_the_plans(sites: pd.DataFrame, plan: LoadedPlan, catalogue: Catalogue) -> None:
    programme = plan.plan.programme.model_copy(update={"language": "fr"})
    french = replace(plan, plan=plan.plan.model_copy(update={"programme": programme}))
    assert "févr." in chart_texts(material(sites, french, catalogue))["chart_months.svg"]


def test_scales() -> None:
    assert Scale(0.0, 10.0, 100.0, 0.0).at(2.5) == 75.0
    assert [rounded_up(value) for value in (0.0, 0.93, 7.0, 1312.0)] == [1.0, 1.0, 7.0, 1400.0]


def test_the_demo_lies_under_its_boundaries(quick_run: Path, catalogue: Catalogue) -> None:
    sites = pd.read_parquet(quick_run / "out" / "sites.parquet")
    rows, plan = duty_rows(sites), read_plan(quick_run / "demo" / "plan.toml").plan
    for family, name in ((HELICAL, "helical_rotor"), (CENTRIFUGAL, "centrifugal")):
        own = rows[rows["pump_family"] == name]
        limit = boundary_m(catalogue.pumps, family, own["flow"].to_numpy(dtype="float64"))
        assert len(own) > 50 and (own["head"].to_numpy() <= 1.02 * limit).all()  # 2 %: water of another warmth
    funded = sites[sites["funding"] == "funded"]
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    used = month_sums(sites, plan.demand.losses)["used"] * (1 - plan.demand.losses)
    assert (used * days).sum() / 365 == pytest.approx(funded["volume_used_m3_day"].sum(), rel=1e-9)
    assert sum(count for stage in funnel(sites) for _, count in stage.losses) + len(funded) == len(sites)
    assert "Rows of the inventory" in funnel_svg(sites, ABOUT, "en")
